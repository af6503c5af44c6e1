//! `simulate`: the scenario as written.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{OutputArguments, PrecisionArguments, RunArguments, ScenarioArguments};
use super::study;
use crate::render::table;
use clap::Args;

/// Arguments of `simulate`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    #[command(flatten)]
    run: RunArguments,
    #[command(flatten)]
    precision: PrecisionArguments,
    #[command(flatten)]
    output: OutputArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    arguments.output.check_with_promises()?;
    let extra = arguments.precision.words();
    let job = study::prepare("simulate", &arguments.scenario, &arguments.run, &extra)?
        .precisely(&arguments.precision);
    let report = job.run(crate::study::simulate)?;
    arguments
        .output
        .write(console, &report, table::steady_text)?;
    Ok(study::exit_of(&report))
}
