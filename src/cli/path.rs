//! `path`: every path between a host and an array, hop by hop.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::ScenarioArguments;
use crate::render::{json, table};
use clap::Args;

/// Arguments of `path`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Host or host family to start from [default: every host family]
    #[arg(long, value_name = "HOST")]
    from: Option<String>,
    /// Array to reach [default: every array the host uses]
    #[arg(long, value_name = "ARRAY")]
    to: Option<String>,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// No warnings on the standard error [default: shown]
    #[arg(long)]
    quiet: bool,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let loaded = load::load(&arguments.scenario, Warnings::unless(arguments.quiet))?;
    let sheets = crate::study::paths::paths(
        &loaded.site,
        arguments.from.as_deref(),
        arguments.to.as_deref(),
    )
    .map_err(|what| {
        Failure::arguments(
            what,
            "names are those of the scenario's [[host]] and [[array]] tables",
        )
    })?;
    let text = if arguments.json {
        json::paths_json(&sheets)
    } else {
        table::paths_text(&sheets)
    };
    console.result(&text)?;
    Ok(Exit::Done)
}
