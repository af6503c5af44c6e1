//! `growth`: the day on which a promise breaks, for the site as it is and after each planned step.

use super::console::{self, Console};
use super::exit::{Exit, Failure};
use super::options::{RunArguments, ScenarioArguments};
use super::output::{Forms, Outages, Output};
use super::{picture, stop, study, write};
use crate::outcome::{GrowthPlan, Stage, Standing};
use crate::render::chart::{Format, growth_curve};
use crate::render::{csv, json, page, table};
use crate::study::growth::{FullBy, by_arithmetic, growth};
use crate::study::headroom::has_promises;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `growth`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    #[command(flatten)]
    outages: Outages,
    /// Look so many years ahead, from 1 to 50; the exit code is 0 only where every steady promise is proven to hold on all
    /// days of them, else 1: of the site as it is until the first step, of each step until the next; `failover` judges
    /// what is promised of the switch-over
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u8).range(1..=50))]
    years: u8,
    #[command(flatten)]
    run: RunArguments,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write one row a stage and case as CSV to this file too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw the load over the years against what is proven into this file, .svg or .png, for a slide
    /// [default: no file]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Write the chart, the tables and what they rest on as one page [default: no file]
    #[arg(long, value_name = "FILE.html")]
    page: Option<PathBuf>,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let output = Output {
        csv: arguments.csv.as_deref(),
        json: arguments.json,
    };
    output.check()?;
    arguments.chart.as_deref().map_or(Ok(()), picture::check)?;
    arguments
        .page
        .as_deref()
        .map_or(Ok(()), picture::check_page)?;
    let mut extra = arguments.outages.words();
    extra.extend(["--years".to_owned(), arguments.years.to_string()]);
    let job = study::prepare("growth", &arguments.scenario, &arguments.run, &extra)?;
    study::known(arguments.outages.names(), job.site())?;
    if !has_promises(job.site()) {
        return Err(Failure::arguments(
            "the scenario promises nothing, so no growth can break a promise",
            "give a [[workload]] one, for example promise = { p99 = \"2ms\" }",
        ));
    }
    let outages = arguments.outages.only();
    let years = f64::from(arguments.years);
    // Ctrl-C ends the search; what is proven by then is written as usual, and marked.
    stop::end_early();
    if !arguments.run.quiet
        && let Some(full) = by_arithmetic(job.site(), outages.as_deref(), years)
    {
        console::complain(&first_answer(&full, arguments.years));
    }
    let found = job
        .run(|site, origin, progress| growth(site, origin, outages.as_deref(), years, progress))?;
    let Some(found) = found else {
        return Err(Failure::arguments(
            "the scenario does not say how the work grows",
            "add a table:\n[growth]\nfrom = \"2027-01-01\"\nper_year = \"25%\"",
        ));
    };
    if let Some(path) = &arguments.chart {
        picture::write(path, growth_curve(&found, Format::Slide))?;
    }
    if let Some(path) = &arguments.page {
        write::file(path, page::growth_page(&found).as_bytes())?;
    }
    let forms = Forms {
        csv: &csv::growth_csv,
        json: &json::growth_json,
        text: &table::growth_text,
    };
    output.write(console, &found, &forms)?;
    if found.partial {
        return Ok(Exit::Stopped);
    }
    Ok(
        if found.stages.iter().all(|stage| keeps(stage, &found)) && !found.cut {
            Exit::Done
        } else {
            Exit::NotMet
        },
    )
}

/// What arithmetic says at once, before any run.
fn first_answer(full: &[FullBy], years: u8) -> String {
    let stages = full.iter().map(|stage| {
        let cases = stage.cases.iter().map(|(case, day, waits)| {
            let waits = waits.as_ref().map_or_else(String::new, |work| {
                format!(" (by then the hosts of {work} have all under way that they may)")
            });
            match day {
                Some(day) if *day == stage.date => format!("{case} already on {day}{waits}"),
                Some(day) => format!("{case} by {day}{waits}"),
                None => format!("{case} not within {years} years"),
            }
        });
        let cases: Vec<String> = cases.collect();
        format!(
            "{} (from {}): {}",
            stage.stage,
            stage.date,
            cases.join(", ")
        )
    });
    format!(
        "by arithmetic the fullest part is full on the mean, {}; the runs say when promises break",
        stages.collect::<Vec<_>>().join("; ")
    )
}

/// Whether every promise is proven to hold on all days of a stage that are looked at: until the next step is there, and in the last stage, which
/// has no end, until the last day of the years looked ahead.
fn keeps(stage: &Stage, plan: &GrowthPlan) -> bool {
    stage.cases.iter().all(|case| {
        matches!(case.standing, Standing::Holds | Standing::Unpromised)
            || plan.holds_to_the_last_day(stage, case)
    })
}
