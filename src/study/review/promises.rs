//! Promises that no run can keep: below what an idle site takes, or above what is asked for.
//!
//! Bounds only: what stands here is certain before any run. Whether a promise holds is for the simulation.

use super::{Facts, finding};
use crate::outcome::{ReviewFinding, Severity};
use crate::site::{Measure, Promise, Workload};
use crate::study::estimate::{Flows, asked, idle, mix};

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let healthy = &facts.estimate.cases[0];
    let mut flows = Flows::new(facts.fabric, &healthy.alive);
    let mut findings = Vec::new();
    for (index, workload) in facts.site.workloads.iter().enumerate() {
        let bounds = bounds(facts, &mut flows, index);
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
            if let Some(why) = bounds.breaks(promise) {
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

/// What no I/O and no mean can go beyond.
struct Bounds {
    /// The fastest kind of I/O without any service, s.
    least_s: Option<f64>,
    /// Mean of all kinds with their mean service on an idle site, s.
    mean_s: Option<f64>,
    /// Payload asked for, bytes per second.
    asked_bytes_s: Option<f64>,
}

impl Bounds {
    fn breaks(&self, promise: &Promise) -> Option<String> {
        let us = |seconds: f64| seconds * 1e6;
        match promise.measure {
            Measure::Mean => {
                let mean = self.mean_s.filter(|mean| promise.target / 1e12 < *mean)?;
                Some(format!("an idle site takes {:.1} µs on the mean", us(mean)))
            }
            Measure::Quantile(_) => {
                let least = self
                    .least_s
                    .filter(|least| promise.target / 1e12 < *least)?;
                Some(format!(
                    "the wire alone takes {:.1} µs for the fastest I/O on an idle site",
                    us(least)
                ))
            }
            Measure::Throughput => {
                let asked = self.asked_bytes_s.filter(|asked| promise.target > *asked)?;
                Some(format!("no more than {:.1} MB/s is asked for", asked / 1e6))
            }
            Measure::LongestIo | Measure::Failed => None,
        }
    }
}

fn bounds(facts: &Facts<'_>, flows: &mut Flows<'_>, index: usize) -> Bounds {
    let (site, fabric) = (facts.site, facts.fabric);
    let workload = &site.workloads[index];
    let sets = &facts.estimate.cases[0].sets;
    // The hosts of a family are alike, so one of each family stands for all; of its paths the shortest counts.
    let mut families: Vec<usize> = Vec::new();
    let (mut least_s, mut mean_s) = (None::<f64>, None::<f64>);
    for set in sets.iter().filter(|set| set.workloads.contains(&index)) {
        let family = fabric.hosts[set.host].family;
        if families.contains(&family) {
            continue;
        }
        families.push(family);
        for path in &set.paths {
            let Some(kinds) = idle::kind_times(site, fabric, flows, workload, path) else {
                continue;
            };
            for kind in kinds.iter().filter(|kind| kind.share > 0.0) {
                least_s = Some(least_s.map_or(kind.wire_s, |least| least.min(kind.wire_s)));
            }
            let mean = kinds
                .iter()
                .map(|kind| kind.share * (kind.wire_s + kind.service_s));
            let mean: f64 = mean.sum();
            mean_s = Some(mean_s.map_or(mean, |least| least.min(mean)));
        }
    }
    #[allow(clippy::cast_precision_loss)]
    let bytes: f64 = mix(workload)
        .iter()
        .map(|(_, size, share)| *size as f64 * share)
        .sum();
    Bounds {
        least_s,
        mean_s,
        asked_bytes_s: asked(fabric, workload)
            .total()
            .map(|load| load.mean * bytes),
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
