//! `failover`: healthy, then each outage: the switch-over, the state after it, a verdict per promise.

use super::console::{Console, complain};
use super::exit::{Exit, Failure};
use super::options::{OutputArguments, PrecisionArguments, RunArguments, ScenarioArguments};
use super::study;
use crate::render::table;
use crate::site::Site;
use crate::study::singles::{AskSingles, Symmetry, each_part};
use crate::study::{Ask, study as study_of};
use clap::{ArgGroup, Args};
use std::time::Instant;

/// Replications of a case of single parts, unless asked for otherwise: there are many cases.
const EACH_REPLICATIONS: u32 = 4;
/// The same of a switch-over.
const EACH_SWITCH_REPLICATIONS: u32 = 1;

/// Arguments of `failover`.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("singles").args(["each_part", "during"]).multiple(true))]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Only this outage, by name; may be repeated [default: every outage]
    #[arg(long, value_name = "NAME")]
    outage: Vec<String>,
    /// Drain the parts for a second before they are lost, as for maintenance
    #[arg(long)]
    planned: bool,
    /// Lose every single part in turn instead: port, adapter, module, chassis, switch, link, member, cage,
    /// controller; the state after each, at most 4 replications unless --replications says otherwise
    #[arg(long, conflicts_with_all = ["outage", "planned"])]
    each_part: bool,
    /// The same while this outage is in force, as when a fabric is out for maintenance [default: no outage]
    #[arg(long, value_name = "NAME", conflicts_with_all = ["outage", "planned"])]
    during: Option<String>,
    /// Simulate parts in the same place each by itself, not one for all of them
    #[arg(long, requires = "singles")]
    no_symmetry: bool,
    /// Simulate the switch-over of each single part too: seconds of traffic a case, so it takes long
    #[arg(long, requires = "singles")]
    switch_overs: bool,
    #[command(flatten)]
    run: RunArguments,
    #[command(flatten)]
    precision: PrecisionArguments,
    #[command(flatten)]
    output: OutputArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    arguments.output.check()?;
    let mut job = study::prepare(
        "failover",
        &arguments.scenario,
        &arguments.run,
        &own_words(arguments),
    )?
    .precisely(&arguments.precision);
    known(&arguments.outage, job.site())?;
    if arguments.each_part || arguments.during.is_some() {
        known(arguments.during.as_slice(), job.site())?;
        if arguments.run.replications.is_none() {
            job.at_most(EACH_REPLICATIONS, EACH_SWITCH_REPLICATIONS);
        }
        let ask = AskSingles {
            during: arguments.during.clone(),
            symmetry: if arguments.no_symmetry {
                Symmetry::Each
            } else {
                Symmetry::Grouped
            },
            switch: arguments.switch_overs,
        };
        let started = Instant::now();
        let report = job.run(|site, origin, progress| each_part(site, origin, &ask, progress))?;
        if !arguments.run.quiet {
            let cases = report.each_part.as_ref().map_or(0, |each| each.cases_run);
            let seconds = started.elapsed().as_secs_f64();
            complain(&format!("{cases} cases in {seconds:.1} s"));
        }
        arguments
            .output
            .write(console, &report, table::each_part_text)?;
        return Ok(study::exit_of(&report));
    }
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

/// The arguments that only this command has and that change what is found.
fn own_words(arguments: &Arguments) -> Vec<String> {
    let mut words = Vec::new();
    for name in &arguments.outage {
        words.extend(["--outage".to_owned(), name.clone()]);
    }
    if let Some(name) = &arguments.during {
        words.extend(["--during".to_owned(), name.clone()]);
    }
    let switches = [
        (arguments.planned, "--planned"),
        (arguments.each_part, "--each-part"),
        (arguments.no_symmetry, "--no-symmetry"),
        (arguments.switch_overs, "--switch-overs"),
    ];
    let given = switches.into_iter().filter(|(given, _)| *given);
    words.extend(given.map(|(_, word)| word.to_owned()));
    words.extend(arguments.precision.words());
    words
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
