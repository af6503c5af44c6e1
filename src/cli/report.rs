//! `report`: everything that applies, as one page with its pictures and figures.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{RunArguments, ScenarioArguments};
use super::study;
use super::write::{self, Foreign};
use crate::render::{page, table};
use crate::study::Ask;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `report`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Folder to write [default: a folder in the current one, named after the scenario]
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Write into a folder that holds files of others, and leave those alone
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    run: RunArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let ask = Ask {
        outages: None,
        switch: true,
        mends: true,
        planned: false,
    };
    let report = study::run(
        "report",
        &arguments.scenario,
        &arguments.run,
        |site, origin, progress| crate::study::study(site, origin, &ask, progress),
    )?;
    let stem = arguments
        .scenario
        .file
        .file_stem()
        .map_or_else(|| "report".into(), PathBuf::from);
    let folder = arguments.output.clone().unwrap_or(stem);
    let files: Vec<(String, Vec<u8>)> = page::attachments(&report)
        .into_iter()
        .map(|file| (file.name, file.bytes))
        .collect();
    let foreign = if arguments.force {
        Foreign::Join
    } else {
        Foreign::Refuse
    };
    write::folder(&folder, &files, foreign)?;
    let page = folder.join("report.html");
    console.result(&format!(
        "{}\nThe page: {}\n",
        table::verdict_text(&report),
        page.display()
    ))?;
    Ok(study::exit_of(&report))
}
