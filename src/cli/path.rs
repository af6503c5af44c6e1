//! `path`: every path between a host and an array, hop by hop.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::ScenarioArguments;
use super::output::{Forms, Output};
use crate::outcome::PathSheet;
use crate::render::{csv, json, table};
use clap::Args;
use std::path::PathBuf;

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
    /// Print every path by itself, not one for all that differ in names alone [default: one for all]
    #[arg(long)]
    all: bool,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write one row a hop of every path as CSV to this file too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// No warnings on the standard error [default: shown]
    #[arg(long)]
    quiet: bool,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let output = Output {
        csv: arguments.csv.as_deref(),
        json: arguments.json,
    };
    output.check()?;
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
    let forms = Forms {
        csv: &|sheets: &Vec<PathSheet>| csv::paths_csv(sheets),
        json: &|sheets| json::paths_json(sheets),
        text: &|sheets| table::paths_text(sheets, arguments.all),
    };
    output.write(console, &sheets, &forms)?;
    Ok(Exit::Done)
}
