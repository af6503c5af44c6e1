//! `check`: is the scenario sound, and what can be said of the site without a run.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::ScenarioArguments;
use clap::Args;

/// Arguments of `check`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// List every input with its value and its mark too: stated, guessed, common practice, published, standard
    #[arg(long)]
    defaults: bool,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let _ = (console, arguments.defaults, arguments.json);
    load::load(&arguments.scenario, Warnings::Shown)?;
    Ok(Exit::Done)
}
