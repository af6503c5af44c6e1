//! Promises that no run can keep: below what an idle site takes, or above what is asked for.
//!
//! Bounds only: what stands here is certain before any run. Whether a promise holds is for the simulation.

use super::{Facts, finding};
use crate::outcome::{Because, ReviewFinding, Severity};
use crate::site::{Measure, Promise, Workload};
use crate::study::bounds::{Bounds, bounds};
use crate::study::estimate::Flows;

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let healthy = &facts.estimate.cases[0];
    let mut flows = Flows::with(facts.fabric, &healthy.alive, healthy.routes.clone());
    let mut findings = Vec::new();
    if !facts.site.workloads.iter().any(promises_something) {
        findings.push(finding(
            Severity::Note,
            "promise",
            "nothing is promised, so no command can give a verdict".to_owned(),
            "Give a [[workload]] a promise, for example promise = { p99 = \"2ms\" }.",
        ));
    }
    for (index, workload) in facts.site.workloads.iter().enumerate() {
        let bounds = bounds(facts.site, facts.fabric, &healthy.sets, &mut flows, index);
        // An unstated promise after a loss is the healthy one: said once.
        let mut stated: Vec<&Promise> = Vec::new();
        for promise in workload
            .promises
            .healthy
            .iter()
            .chain(&workload.promises.lost)
        {
            if !stated.contains(&promise) {
                stated.push(promise);
            }
        }
        for promise in stated {
            if let Some(why) = breaks(&bounds, promise) {
                findings.push(finding(
                    Severity::Warning,
                    "promise",
                    format!(
                        "{}: {} {} cannot be kept: {why}",
                        workload.name,
                        words(promise.measure),
                        promise.text
                    ),
                    "Promise less, or look for a slip in the unit.",
                ));
            }
        }
        if let Some(words) = nobody_judges(facts, workload) {
            findings.push(words);
        }
    }
    findings
}

/// Whether anything is promised of a workload, in any state.
fn promises_something(workload: &Workload) -> bool {
    let own = &workload.promises;
    !(own.healthy.is_empty() && own.lost.is_empty() && own.switching.is_empty())
}

/// Why nothing can keep a promise.
fn breaks(bounds: &Bounds, promise: &Promise) -> Option<String> {
    match bounds.breaks(promise) {
        Some(Because::IdleMean { latency_us }) => {
            Some(format!("an idle site takes {latency_us:.1} µs on the mean"))
        }
        Some(Because::IdleWire { latency_us }) => Some(format!(
            "the wire alone takes {latency_us:.1} µs for the fastest I/O on an idle site"
        )),
        _ if promise.measure == Measure::Throughput => {
            let asked = bounds
                .asked_bytes_s
                .filter(|asked| promise.target > *asked)?;
            Some(format!("no more than {:.1} MB/s is asked for", asked / 1e6))
        }
        _ => None,
    }
}

fn words(measure: Measure) -> String {
    match measure {
        Measure::Mean => "a mean of".to_owned(),
        Measure::Quantile(q) => format!("p{} of", (q * 1e6).round() / 1e4),
        Measure::Throughput => "a throughput of".to_owned(),
        Measure::LongestIo => "a longest I/O of".to_owned(),
        Measure::Failed => "failed I/Os:".to_owned(),
    }
}

/// A promise for the loss of a fabric on a site that has only one.
fn nobody_judges(facts: &Facts<'_>, workload: &Workload) -> Option<ReviewFinding> {
    let promises = &workload.promises;
    let stated = promises.lost != promises.healthy || !promises.switching.is_empty();
    (stated && !facts.dual() && facts.site.outages.is_empty()).then(|| {
        finding(
            Severity::Warning,
            "promise",
            format!(
                "{}: promises for a loss, but there is one fabric and no outage is stated",
                workload.name
            ),
            "Add the other fabric, or an [[outage]] of the part whose loss is meant.",
        )
    })
}
