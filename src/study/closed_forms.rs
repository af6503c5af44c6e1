//! Closed forms applied to a site: what queueing theory says of its controllers, the links at its ends and its
//! closed loops, in each case, without a run.
//!
//! - A controller fed at random (Poisson): Pollaczek and Khinchine for one request at a time; Erlang C, constant
//!   service, or the two-moment approximation of Lee and Longton for several.
//! - The first link of a message, at a host or an array port: messages as batches of frames. Of each array family and
//!   tier only the fullest controller or direction is shown, and none that is used less than 2 % on the mean.
//! - A closed loop: bounds that hold for any law, and the exact solution for exponential times, or for times that never change.
//! - An outage, where nothing is drained before it: how long its timers stop an I/O that it catches; how long the fullest part
//!   needs to work off what piled up until then, as a fluid.
//!
//! Each figure names its formula and what it assumes; whether a site comes near the assumption is for its reader to
//! judge, and for the simulated figure beside it. Left out: parts that are slow or flap; bursts, traces, links in the middle (their streams are
//! shaped by the links before), and TCP, whose pure ACKs share the links.

mod constant;
mod drains;
mod ends;
mod loops;
mod random;
mod stalls;
mod stations;

pub(super) use stations::service;

use super::estimate::{CaseLoads, Estimate, Flows, path_weights};
use crate::outcome::{Begin, Estimated, Steady, Switch, SwitchWorkload, TheoryRow};
use crate::site::{Arrivals, Site};
use crate::topology::{Fabric, Path, PathSet};
use rayon::prelude::*;

/// A part that is used less than this on the mean has no queue worth a formula. Our choice.
const USED_LEAST: f64 = 0.02;

/// One workload's I/Os over one path in a case.
struct Stream<'a> {
    workload: usize,
    path: &'a Path,
    set: &'a PathSet,
    /// I/Os a second; 0 in a closed loop.
    rate: f64,
    /// Share of the workload's I/Os at that host.
    weight: f64,
}

/// All rows: cases in order; controllers, ends, stalls, drains, loops in each.
#[must_use]
pub(crate) fn rows(site: &Site, fabric: &Fabric, estimate: &Estimate) -> Vec<TheoryRow> {
    let well = |case: &&CaseLoads| {
        let outage = case.outage.map(|index| &site.outages[index]);
        outage.is_none_or(|outage| outage.gone().is_some())
    };
    let cases: Vec<&CaseLoads> = estimate.cases.iter().filter(well).collect();
    let each = cases
        .into_par_iter()
        .map(|case| of_case(site, fabric, estimate, case));
    let each: Vec<Vec<TheoryRow>> = each.collect();
    each.into_iter().flatten().collect()
}

/// The same of one case.
fn of_case(site: &Site, fabric: &Fabric, estimate: &Estimate, case: &CaseLoads) -> Vec<TheoryRow> {
    let mut rows = Vec::new();
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
    let streams = streams(site, fabric, estimate, case, &mut flows);
    // Behind a part that is asked for more than it can do, what is asked is not what comes.
    let mut loads = case.directions.iter().chain(&case.controllers).flatten();
    if loads.all(|load| load.mean < 1.0) {
        rows.extend(stations::rows(site, fabric, case, &streams));
        rows.extend(ends::rows(site, fabric, case, &streams, &mut flows));
        if let Some(stalled) = stalls::found(site, fabric, (&estimate.cases[0], case)) {
            rows.extend(stalls::rows(site, case, &stalled));
            rows.extend(drains::rows(site, fabric, estimate, case, stalled));
        }
    }
    rows.extend(loops::rows(site, fabric, case, &streams, &mut flows));
    rows
}

fn streams<'a>(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    case: &'a CaseLoads,
    flows: &mut Flows<'_>,
) -> Vec<Stream<'a>> {
    let mut streams = Vec::new();
    for set in &case.sets {
        for index in &set.workloads {
            let asked = &estimate.asked[*index];
            let rate = case.moved.at_host(asked, *index, set.host);
            let weights = path_weights(site, fabric, flows, set, &site.workloads[*index]);
            for (path, weight) in set.paths.iter().zip(weights) {
                if weight > 0.0 {
                    streams.push(Stream {
                        workload: *index,
                        path,
                        set,
                        rate: rate.map_or(0.0, |rate| rate.mean * weight),
                        weight,
                    });
                }
            }
        }
    }
    streams
}

/// Whether every stream of a part comes at random: the assumption of all formulas for open queues.
fn all_at_random<'a>(site: &Site, streams: impl Iterator<Item = &'a Stream<'a>>) -> bool {
    let mut workloads = streams.map(|stream| &site.workloads[stream.workload]);
    workloads
        .all(|work| matches!(work.arrivals, Arrivals::Poisson(_)) && work.outstanding.is_none())
}

/// Puts the simulated figures beside those of theory; cases that were not run keep theirs alone. What is drained before it goes
/// catches no I/O: nothing is said then of a stall, nor of what piles up in it.
pub(crate) fn beside(rows: &mut Vec<TheoryRow>, steady: &[Steady], switches: &[Switch]) {
    let drained = |row: &TheoryRow| {
        let mut own = switches.iter().filter(|s| s.case.name == row.case);
        own.any(|switch| switch.counted_from == Begin::Drain)
    };
    rows.retain(|row| !matches!(row.figure, "stall" | "drain") || !drained(row));
    for row in rows {
        let switch = switches
            .iter()
            .find(|s| s.case.name == row.case && !s.partial);
        let exact = |value: f64| Estimated {
            value,
            low: None,
            high: None,
        };
        let found = if row.figure == "stall" {
            let mut own = switch.into_iter().flat_map(|s| &s.workloads);
            let own = own.find(|work| work.name == row.part);
            let over = own.filter(|work| !work.longest_open.contains(&true));
            over.map(|work| exact(work.longest_io_s.iter().copied().fold(0.0, f64::max)))
        } else if row.figure == "drain" {
            let about = |work: &&SwitchWorkload| row.of.is_empty() || row.of.contains(&work.name);
            let drains = switch.map(|s| s.workloads.iter().filter(about).map(|work| work.drain_s));
            let worst =
                drains.and_then(|mut all| all.try_fold(0.0, |most: f64, one| Some(most.max(one?))));
            worst.map(exact)
        } else {
            let case = |steady: &&Steady| steady.case.name == row.case && !steady.partial;
            let steady = steady.iter().find(case).filter(|steady| !steady.saturated);
            steady.and_then(|steady| simulated(row, steady))
        };
        row.simulated = found.map(|figure| figure.value);
        row.simulated_low = found.and_then(|figure| figure.low);
        row.simulated_high = found.and_then(|figure| figure.high);
    }
}

fn simulated(row: &TheoryRow, steady: &Steady) -> Option<Estimated> {
    let work = || steady.workloads.iter().find(|work| work.name == row.part);
    match row.figure {
        "mean wait" => {
            let array = steady.arrays.iter().find(|a| a.name == row.part);
            let link = || steady.directions.iter().find(|d| d.name == row.part);
            array
                .map(|a| (a.wait_mean_us, a.wait_mean_low_us, a.wait_mean_high_us))
                .or_else(|| {
                    link().map(|d| (d.wait_mean_us, d.wait_mean_low_us, d.wait_mean_high_us))
                })
                .map(|(value, low, high)| Estimated { value, low, high })
        }
        "throughput" => work().map(|work| work.all.completed_iops),
        "mean latency" => work().and_then(|work| work.all.mean_us),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
