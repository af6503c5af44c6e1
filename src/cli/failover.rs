//! `failover`: healthy, then each outage: the switch-over, the state after it, a verdict per promise.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{OutputArguments, PrecisionArguments, RunArguments, ScenarioArguments};
use super::study;
use crate::render::table;
use crate::site::Site;
use crate::study::{Ask, study as study_of};
use clap::Args;

/// Arguments of `failover`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Only this outage, by name; may be repeated [default: every outage]
    #[arg(long, value_name = "NAME")]
    outage: Vec<String>,
    /// Drain the parts for a second before they are lost, as for maintenance
    #[arg(long)]
    planned: bool,
    #[command(flatten)]
    run: RunArguments,
    #[command(flatten)]
    precision: PrecisionArguments,
    #[command(flatten)]
    output: OutputArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    arguments.output.check()?;
    let mut extra = Vec::new();
    for name in &arguments.outage {
        extra.extend(["--outage".to_owned(), name.clone()]);
    }
    if arguments.planned {
        extra.push("--planned".to_owned());
    }
    extra.extend(arguments.precision.words());
    let job = study::prepare("failover", &arguments.scenario, &arguments.run, &extra)?
        .precisely(&arguments.precision);
    known(&arguments.outage, job.site())?;
    let ask = Ask {
        outages: (!arguments.outage.is_empty()).then(|| arguments.outage.clone()),
        switch: true,
        mends: false,
        planned: arguments.planned,
    };
    let report = job.run(|site, origin, progress| study_of(site, origin, &ask, progress))?;
    arguments
        .output
        .write(console, &report, table::report_text)?;
    Ok(study::exit_of(&report))
}

/// Refuses a name that no outage has.
fn known(names: &[String], site: &Site) -> Result<(), Failure> {
    let known: Vec<&str> = site.outages.iter().map(|o| o.name.as_str()).collect();
    match names.iter().find(|name| !known.contains(&name.as_str())) {
        None => Ok(()),
        Some(name) => Err(Failure::arguments(
            format!("there is no outage `{name}`"),
            format!("outages: {}", known.join(", ")),
        )),
    }
}
