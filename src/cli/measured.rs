//! `measured`: measured port counters beside the simulated ones.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{RunArguments, ScenarioArguments};
use super::output::{Forms, Output, outage_words};
use super::{load, study};
use crate::render::{csv, json, table};
use crate::scenario::{Problem, Reading, counted_parts, counters, render_problems, unknown_part};
use crate::study::measured::{measured, unknown};
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
    let output = Output {
        csv: arguments.csv.as_deref(),
        json: arguments.json,
    };
    output.check()?;
    let path = &arguments.counters;
    let shown = path.display().to_string();
    let mut extra = vec![shown.clone()];
    extra.extend(outage_words(arguments.outage.as_slice()));
    let job = study::prepare("measured", &arguments.scenario, &arguments.run, &extra)?;
    study::known(arguments.outage.as_slice(), job.site())?;
    let text = load::text(path)?;
    let wrong = |problems: &[Problem]| Failure::Scenario(render_problems(problems));
    let strange = |readings: &[Reading]| -> Vec<Problem> {
        let (strange, parts) = unknown(job.site(), readings);
        let of = |reading: &Reading| unknown_part(&shown, &text, reading, &parts);
        strange.into_iter().map(of).collect()
    };
    let readings = counters(&shown, &text).map_err(|mut problems| {
        problems.extend(strange(&counted_parts(&shown, &text)));
        problems.sort_by_key(|problem| (problem.line, problem.column));
        wrong(&problems)
    })?;
    let strange = strange(&readings);
    if !strange.is_empty() {
        return Err(wrong(&strange));
    }
    let outage = arguments.outage.as_deref();
    let found = job.run(|site, origin, progress| {
        measured(site, &readings, &shown, outage, origin, progress)
    })?;
    let forms = Forms {
        csv: &csv::measured_csv,
        json: &json::measured_json,
        text: &table::measured_text,
    };
    output.write(console, &found, &forms)?;
    if found.rows.is_empty() {
        return Err(nothing_compared(&readings, &shown));
    }
    Ok(if found.partial {
        Exit::NotMet
    } else {
        Exit::Done
    })
}

/// That no counter of a file could be set beside a link, with what each part lacks.
fn nothing_compared(readings: &[Reading], file: &str) -> Failure {
    let mut parts: Vec<(&str, bool, usize)> = Vec::new();
    for reading in readings {
        let known = parts
            .iter_mut()
            .find(|own| (own.0, own.1) == (&reading.part, reading.toward_array));
        match known {
            Some(own) => own.2 += 1,
            None => parts.push((&reading.part, reading.toward_array, 1)),
        }
    }
    let way = |toward_array: bool| {
        if toward_array {
            "toward-array"
        } else {
            "toward-host"
        }
    };
    let each: Vec<String> = parts
        .iter()
        .map(|(part, toward_array, number)| {
            let what = match number {
                1 => "one reading alone".to_owned(),
                more => format!("{more} readings, and no two with time and no reset between them that count the same"),
            };
            format!("`{part}` {}: {what}", way(*toward_array))
        })
        .collect();
    let what = match each.is_empty() {
        true => format!("{file} has no counters to compare"),
        false => format!("no counter of {file} can be compared: {}", each.join("; ")),
    };
    Failure::arguments(
        what,
        "give two readings at least of each part and direction, at different times, with bytes or frames in both",
    )
}
