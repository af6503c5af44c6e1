//! `failover`: healthy, then each outage: the switch-over, the state after it, a verdict per promise.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::{OutputArguments, RunArguments, ScenarioArguments};
use super::study;
use crate::render::table;
use crate::study::Ask;
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
    output: OutputArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let ask = Ask {
        outages: (!arguments.outage.is_empty()).then(|| arguments.outage.clone()),
        switch: true,
        mends: false,
        planned: arguments.planned,
    };
    let mut unknown = None;
    let report = study::run(
        "failover",
        &arguments.scenario,
        &arguments.run,
        |site, origin, progress| {
            let known: Vec<&str> = site
                .outages
                .iter()
                .map(|outage| outage.name.as_str())
                .collect();
            unknown = arguments
                .outage
                .iter()
                .find(|name| !known.contains(&name.as_str()))
                .map(|name| {
                    Failure::arguments(
                        format!("there is no outage `{name}`"),
                        format!("outages: {}", known.join(", ")),
                    )
                });
            let ask = if unknown.is_some() {
                Ask {
                    outages: Some(Vec::new()),
                    ..Ask::default()
                }
            } else {
                ask
            };
            crate::study::study(site, origin, &ask, progress)
        },
    )?;
    if let Some(failure) = unknown {
        return Err(failure);
    }
    arguments
        .output
        .write(console, &report, table::report_text)?;
    Ok(study::exit_of(&report))
}
