//! `report`: everything that applies, as one page with its pictures and figures.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{
    JunitArguments, MendArguments, PrecisionArguments, RunArguments, ScenarioArguments,
};
use super::output::{only, outage_words};
use super::study;
use super::windows::WindowArguments;
use super::write::{self, Foreign};
use crate::render::{csv, page, sheet, table};
use crate::study::Ask;
use clap::Args;
use std::path::{Path, PathBuf};

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
    /// Only this outage, by name; may be repeated [default: every outage]
    #[arg(long, value_name = "NAME")]
    outage: Vec<String>,
    /// Drain the parts of each outage for a second before they are lost, as for maintenance
    #[arg(long)]
    planned: bool,
    #[command(flatten)]
    run: RunArguments,
    #[command(flatten)]
    precision: PrecisionArguments,
    #[command(flatten)]
    mends: MendArguments,
    #[command(flatten)]
    windows: WindowArguments,
    #[command(flatten)]
    junit: JunitArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let folder = folder(arguments)?;
    let foreign = if arguments.force {
        Foreign::Join
    } else {
        Foreign::Refuse
    };
    // Before the runs, which take time.
    write::check_folder(&folder, foreign)?;
    arguments.junit.check()?;
    let search = arguments.mends.search()?;
    let planned = arguments.planned.then(|| "--planned".to_owned());
    let mut extra = outage_words(&arguments.outage);
    extra.extend(planned);
    extra.extend(arguments.precision.words());
    extra.extend(arguments.mends.words());
    extra.extend(arguments.windows.words());
    let job = study::prepare("report", &arguments.scenario, &arguments.run, &extra)?
        .precisely(&arguments.precision);
    study::known(&arguments.outage, job.site())?;
    let ask = Ask {
        outages: only(&arguments.outage),
        switch: true,
        mends: true,
        planned: arguments.planned,
    };
    if arguments.planned {
        study::taken_out("report --planned", ask.outages.as_deref(), job.site())?;
    }
    let hours = arguments.windows.ask(job.site(), ask.outages.as_deref())?;
    let (report, steps) = job.mended_in_hours(&ask, &search, hours.as_ref())?;
    let mut files: Vec<(String, Vec<u8>)> = page::attachments(&report)
        .into_iter()
        .map(|file| (file.name, file.bytes))
        .collect();
    if let Some(steps) = &steps {
        in_windows(&mut files, steps);
    }
    write::folder(&folder, &files, foreign)?;
    arguments.junit.write(&report)?;
    let page = folder.join("report.html");
    console.result(&format!(
        "{}\nThe page: {}\n",
        table::verdict_text(&report),
        page.display()
    ))?;
    Ok(study::exit_of(&report))
}

/// The work sheet becomes that of the windows: each step at the load of its hour, drained first.
fn in_windows(files: &mut [(String, Vec<u8>)], steps: &sheet::Steps) {
    let own = sheet::sheet(steps);
    for (name, bytes) in files {
        match name.as_str() {
            "test-sheet.html" => *bytes = sheet::sheet_page(steps, &own).into_bytes(),
            "test-sheet.csv" => *bytes = csv::sheet_csv(&own).into_bytes(),
            _ => {}
        }
    }
}

/// The folder asked for, or one named after the scenario.
fn folder(arguments: &Arguments) -> Result<PathBuf, Failure> {
    if let Some(folder) = &arguments.output {
        return Ok(folder.clone());
    }
    let file: &Path = &arguments.scenario.file;
    match (file.file_stem(), file.extension()) {
        (Some(stem), Some(_)) => Ok(PathBuf::from(stem)),
        // Without an ending, the folder would have the scenario's own name.
        _ => Err(Failure::arguments(
            "the scenario's name has no ending to leave out, so a folder cannot be named after it",
            "name the folder with -o",
        )),
    }
}
