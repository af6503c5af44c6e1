//! What is taken for granted of the hours of a day, in words.

use super::{AskWindows, HourRuns};
use crate::site::{Arrivals, Measure, Site};

/// Outages of which no window is looked for, as their parts stay: they are slow, or come back by themselves. None where the
/// outages are asked for by name.
pub(super) fn staying<'s>(site: &'s Site, ask: &AskWindows) -> Vec<&'s str> {
    let outages = site.outages.iter().filter(|_| ask.outages.is_none());
    let stay = outages.filter(|outage| !outage.fault.takes_out());
    stay.map(|outage| outage.name.as_str()).collect()
}

/// What is taken for granted.
pub(super) fn notes(site: &Site, ask: &AskWindows) -> Vec<String> {
    let mut notes = vec![
        "the stated rate is that of the busiest hour; an hour has its factor of it all the time"
            .to_owned(),
    ];
    let shapes = || site.workloads.iter().map(|work| work.shape);
    if shapes().all(|shape| shape.is_none()) {
        notes.push("no workload states a shape, so every hour has the stated load".to_owned());
    } else {
        let without: Vec<&str> = site
            .workloads
            .iter()
            .filter(|work| work.shape.is_none())
            .map(|work| work.name.as_str())
            .collect();
        if !without.is_empty() {
            notes.push(format!(
                "the same in every hour, for want of a shape: {}",
                without.join(", ")
            ));
        }
    }
    if ask.runs == HourRuns::Needed && shapes().any(|shape| shape.is_some()) {
        notes.push(
            "where no workload has more to do than in an hour that keeps every promise, they are taken to be kept too; \
             where none has less to do than in one that misses a promise, that is taken to be missed"
                .to_owned(),
        );
    }
    let shaped = |wanted: fn(&Arrivals) -> bool| {
        site.workloads
            .iter()
            .any(|work| work.shape.is_some() && wanted(&work.arrivals))
    };
    if shaped(|arrivals| matches!(arrivals, Arrivals::Closed { .. })) {
        notes.push(
            "closed loops: the factor multiplies their depth, rounded to whole I/Os, at least 1"
                .to_owned(),
        );
    }
    if shaped(|arrivals| matches!(arrivals, Arrivals::Replay(_))) {
        notes.push("replays: the factor is the speed of their time".to_owned());
    }
    let throughput = site.workloads.iter().any(|work| {
        let mut promised = work.promises.lost.iter();
        work.shape.is_some() && promised.any(|promise| promise.measure == Measure::Throughput)
    });
    if throughput {
        notes.push("a throughput promised shrinks with the work of the hour".to_owned());
    }
    let stay = staying(site, ask);
    if !stay.is_empty() {
        notes.push(format!(
            "no window is looked for where parts stay, because they are slow or come back by themselves: {}",
            stay.join(", ")
        ));
    }
    notes
}
