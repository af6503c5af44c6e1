//! `check`: is the scenario sound, and what can be said of the site without a run.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::ScenarioArguments;
use super::output::{Forms, Output};
use crate::render::{csv, json, table};
use clap::Args;
use std::path::PathBuf;

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
    /// Write one row a tier, or controller, and case as CSV to this file too [default: no file]
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
    let review = crate::study::review::review(&loaded.site);
    let forms = Forms {
        csv: &csv::review_csv,
        json: &json::review_json,
        text: &table::review_text,
    };
    output.write(console, &review, &forms)?;
    if arguments.defaults && !arguments.json {
        console.result(&table::assumptions_text(&crate::study::assumptions(
            &loaded.site,
        )))?;
    }
    Ok(Exit::Done)
}
