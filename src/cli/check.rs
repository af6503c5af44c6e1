//! `check`: is the scenario sound, and what can be said of the site without a run.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::ScenarioArguments;
use crate::render::{json, table};
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
    /// No warnings on the standard error [default: shown]
    #[arg(long)]
    quiet: bool,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let loaded = load::load(&arguments.scenario, Warnings::unless(arguments.quiet))?;
    let review = crate::study::review::review(&loaded.site);
    if arguments.json {
        console.result(&json::review_json(&review))?;
        return Ok(Exit::Done);
    }
    console.result(&table::review_text(&review))?;
    if arguments.defaults {
        console.result(&table::assumptions_text(&crate::study::assumptions(
            &loaded.site,
        )))?;
    }
    Ok(Exit::Done)
}
