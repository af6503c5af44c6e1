//! `headroom`: the largest load factor at which every promise holds, healthy and in each outage.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{RunArguments, ScenarioArguments};
use super::{picture, study, write};
use crate::outcome::Headroom;
use crate::render::chart::{Format, load_curve};
use crate::render::{csv, json, table};
use crate::study::headroom::{Ask, has_promises, headroom};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `headroom`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Only this outage, by name, beside the healthy site; may be repeated [default: every outage]
    #[arg(long, value_name = "NAME")]
    outage: Vec<String>,
    /// Largest load factor to try, more than 1 and at most 1000
    #[arg(long, value_name = "FACTOR", default_value_t = 64.0, value_parser = factor)]
    most: f64,
    #[command(flatten)]
    run: RunArguments,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write every load that was run as CSV to this file too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw latency against load into this file, .svg or .png, for a slide [default: no file]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Draw the promises of this workload, its first one [default: the promise that breaks first]
    #[arg(long, value_name = "WORKLOAD", requires = "chart")]
    chart_of: Option<String>,
}

fn factor(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(factor) if factor > 1.0 && factor <= 1000.0 => Ok(factor),
        _ => Err("a factor above 1 and at most 1000, for example 8".to_owned()),
    }
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    arguments.csv.as_deref().map_or(Ok(()), write::check_file)?;
    arguments.chart.as_deref().map_or(Ok(()), picture::check)?;
    let mut extra = Vec::new();
    for name in &arguments.outage {
        extra.extend(["--outage".to_owned(), name.clone()]);
    }
    extra.extend(["--most".to_owned(), arguments.most.to_string()]);
    let job = study::prepare("headroom", &arguments.scenario, &arguments.run, &extra)?;
    study::known(&arguments.outage, job.site())?;
    if !has_promises(job.site()) {
        return Err(Failure::arguments(
            "the scenario promises nothing, so no load can break a promise",
            "give a [[workload]] one, for example promise = { p99 = \"2ms\" }",
        ));
    }
    if let Some(name) = &arguments.chart_of {
        let known = || job.site().workloads.iter().map(|work| work.name.as_str());
        if !known().any(|known| known == name) {
            return Err(Failure::arguments(
                format!("there is no workload `{name}`"),
                format!("workloads: {}", known().collect::<Vec<_>>().join(", ")),
            ));
        }
    }
    let ask = Ask {
        outages: (!arguments.outage.is_empty()).then(|| arguments.outage.clone()),
        most: arguments.most,
    };
    let found = job.run(|site, origin, progress| headroom(site, origin, &ask, progress))?;
    if let Some(path) = &arguments.csv {
        write::file(path, csv::headroom_csv(&found).as_bytes())?;
    }
    if let Some(path) = &arguments.chart {
        let promise = promise(&found, arguments.chart_of.as_deref());
        picture::write(path, load_curve(&found, promise, Format::Slide))?;
    }
    console.result(&if arguments.json {
        json::headroom_json(&found)
    } else {
        table::headroom_text(&found)
    })?;
    // Today's load keeps every promise in every case, proven.
    let today = |case: &crate::outcome::CaseHeadroom| case.met.is_some_and(|met| met >= 1.0);
    Ok(if found.cases.iter().all(today) {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

/// The promise to draw: the workload's first, or the one that breaks at the lowest load.
fn promise(found: &Headroom, workload: Option<&str>) -> usize {
    let first = found.cases.first().and_then(|case| case.points.first());
    let rows = first.map_or(&[][..], |point| &point.rows);
    let breaking = found
        .cases
        .iter()
        .filter_map(|case| Some((case.missed?, case.breaks.as_ref()?)))
        .min_by(|left, right| left.0.total_cmp(&right.0));
    let wanted = |row: &crate::outcome::LoadRow| match (workload, &breaking) {
        (Some(name), _) => row.workload == name,
        (None, Some((_, breaks))) => {
            row.workload == breaks.workload && row.measure == breaks.measure
        }
        (None, None) => true,
    };
    rows.iter().position(wanted).unwrap_or(0)
}
