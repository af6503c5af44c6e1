//! `measured`: measured port counters beside the simulated ones.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{RunArguments, ScenarioArguments};
use super::{load, study, write};
use crate::render::{csv, json, table};
use crate::scenario::{counters, render_problems};
use crate::study::measured::{known, measured};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `measured`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// The counters: time,part,direction,bytes,frames; a part is a link, port or switch as outages name them, a
    /// direction is toward-array or toward-host
    #[arg(value_name = "COUNTERS.csv")]
    counters: PathBuf,
    /// They were read in this outage [default: everything healthy]
    #[arg(long, value_name = "NAME")]
    outage: Option<String>,
    #[command(flatten)]
    run: RunArguments,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write the rows as CSV to this file too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    arguments.csv.as_deref().map_or(Ok(()), write::check_file)?;
    let path = &arguments.counters;
    let shown = path.display().to_string();
    let mut extra = vec![shown.clone()];
    if let Some(outage) = &arguments.outage {
        extra.extend(["--outage".to_owned(), outage.clone()]);
    }
    let job = study::prepare("measured", &arguments.scenario, &arguments.run, &extra)?;
    let names: Vec<String> = arguments.outage.iter().cloned().collect();
    study::known(&names, job.site())?;
    let readings = counters(&shown, &load::text(path)?)
        .map_err(|problems| Failure::Scenario(render_problems(&problems)))?;
    known(job.site(), &readings).map_err(|unknown| {
        Failure::arguments(
            format!(
                "{shown}:{}: the site has no link, port or switch `{}`",
                unknown.line, unknown.part
            ),
            "links are named as edge-A~san-A or db-1:A1~edge-A, members as edge-A~san-A/2, ports as db-1:A1; * stands for any run \
             of characters",
        )
    })?;
    let outage = arguments.outage.as_deref();
    let found = job.run(|site, origin, progress| {
        measured(site, &readings, &shown, outage, origin, progress)
    })?;
    if let Some(path) = &arguments.csv {
        write::file(path, csv::measured_csv(&found).as_bytes())?;
    }
    console.result(&if arguments.json {
        json::measured_json(&found)
    } else {
        table::measured_text(&found)
    })?;
    Ok(Exit::Done)
}
