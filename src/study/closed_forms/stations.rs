//! Controllers as queues.

use super::super::estimate::{CaseLoads, mix};
use super::random::{Crossed, assumption, at_controller};
use super::{Stream, all_at_random};
use crate::outcome::{TheoryRow, Trust};
use crate::site::{ArrayFamily, Law, Site};
use crate::theory::many_servers::{self, ConstantService, SERVERS_MAX};
use crate::theory::single_queue::{Moments, general};
use crate::topology::Fabric;
use crate::wire::Op;
use std::collections::BTreeMap;

/// What requests come to a controller, and how long each holds one of its servers.
#[derive(Clone, Copy, Debug, Default)]
struct Demand {
    /// Requests a second.
    rate: f64,
    /// Sum of rate × mean service.
    first: f64,
    /// Sum of rate × second moment.
    second: f64,
    /// All exponential.
    exponential: bool,
}

impl Demand {
    /// Squared coefficient of variation of the service.
    fn variation(&self) -> f64 {
        let service = self.first / self.rate;
        (self.second / self.rate / (service * service) - 1.0).max(0.0)
    }
}

/// The share of a kind of I/O, and its [`service`].
type Served = (f64, (f64, f64, bool));

pub(super) fn rows(
    site: &Site,
    fabric: &Fabric,
    case: &CaseLoads,
    streams: &[Stream<'_>],
) -> Vec<TheoryRow> {
    let mut fullest: Vec<Option<(f64, usize)>> = vec![None; site.arrays.len()];
    for (index, controller) in fabric.controllers.iter().enumerate() {
        let Some(load) = case.controllers[index] else {
            continue;
        };
        let best = &mut fullest[controller.array];
        if load.mean >= super::USED_LEAST && best.is_none_or(|(most, _)| load.mean > most) {
            *best = Some((load.mean, index));
        }
    }
    let shown = fullest.into_iter().flatten();
    let mut crossed = None;
    shown
        .filter_map(|(_, index)| row(site, fabric, case, (streams, &mut crossed), index))
        .collect()
}

/// Finds what is `crossed` where the first controller asks for it.
fn row<'a>(
    site: &Site,
    fabric: &'a Fabric,
    case: &'a CaseLoads,
    (streams, crossed): (&[Stream<'_>], &mut Option<Crossed<'a>>),
    index: usize,
) -> Option<TheoryRow> {
    let here = || {
        streams
            .iter()
            .filter(|stream| stream.path.controller == index)
    };
    if !all_at_random(site, here()) {
        return None;
    }
    let controller = &fabric.controllers[index];
    let array = &site.arrays[controller.array];
    let mut demand = Demand {
        exponential: true,
        ..Demand::default()
    };
    // By workload, the share of each kind of I/O and its service.
    let mut known: BTreeMap<usize, Vec<Served>> = BTreeMap::new();
    for stream in here() {
        let kinds = known.entry(stream.workload).or_insert_with(|| {
            let kinds = mix(&site.workloads[stream.workload]).into_iter();
            let served = |(op, size, share)| (share, service(array, op, size));
            kinds.map(served).collect()
        });
        for (share, (first, second, exponential)) in kinds {
            demand.rate += stream.rate * *share;
            demand.first += stream.rate * *share * *first;
            demand.second += stream.rate * *share * *second;
            demand.exponential &= *exponential;
        }
    }
    let (wait, trust, by) = wait(&demand, array.parallel as usize)?;
    let known = (index, wait, demand.variation());
    let crossed = crossed.get_or_insert_with(|| Crossed::new(site, fabric, case, streams));
    let spoiled = at_controller(site, fabric, crossed, streams, known);
    let assumes = assumption!(
        "requests reach the controller at random (Poisson) and independently of how it is doing",
        spoiled
    );
    Some(TheoryRow::new(
        &case.name,
        controller.name.clone(),
        ("mean wait", "us", wait * 1e6),
        spoiled.trust(trust),
        (by, assumes),
    ))
}

/// Mean wait in seconds, and what it rests on.
fn wait(demand: &Demand, servers: usize) -> Option<(f64, Trust, &'static str)> {
    let service = demand.first / demand.rate;
    let second = demand.second / demand.rate;
    let variation = demand.variation();
    if servers == 1 {
        let moments = Moments {
            first: service,
            second,
            third: 0.0,
        };
        let means = general(demand.rate, moments)?;
        return Some((means.wait, Trust::Exact, "Pollaczek and Khinchine, M/G/1"));
    }
    if variation < 1e-12 && servers <= SERVERS_MAX {
        let law = ConstantService::new(servers, demand.rate, service)?;
        return Some((law.mean_wait(), Trust::Exact, "constant service, M/D/c"));
    }
    let erlang = many_servers::exponential_wait(servers, demand.first)? * service;
    if demand.exponential && (variation - 1.0).abs() < 1e-9 {
        return Some((erlang, Trust::Exact, "Erlang C, M/M/c"));
    }
    // Lee and Longton (1959), from memory: exact for c = 1 and for exponential times.
    let wait = erlang * (1.0 + variation) / 2.0;
    Some((wait, Trust::Approximation, "Erlang C x (1 + v²)/2, M/G/c"))
}

/// Mean, second moment (seconds) and whether the time is exponential, for one kind and size.
#[allow(clippy::cast_precision_loss)]
pub(in crate::study) fn service(array: &ArrayFamily, op: Op, size: u64) -> (f64, f64, bool) {
    let mib = size as f64 / f64::from(1 << 20);
    let mixture = |parts: &[(f64, &Law)]| {
        let parts: Vec<_> = parts.iter().filter(|(weight, _)| *weight > 0.0).collect();
        let first: f64 = parts
            .iter()
            .map(|(weight, law)| weight * law.mean_s())
            .sum();
        let second: f64 = parts
            .iter()
            .map(|(weight, law)| weight * law.second_moment_s2())
            .sum();
        (
            first,
            second,
            parts.iter().all(|(_, law)| law.is_exponential()),
        )
    };
    let ((first, second, exponential), more) = match op {
        Op::Read => {
            let read = &array.read;
            let laws = [
                (read.hit, &read.hit_time),
                (1.0 - read.hit, &read.miss_time),
            ];
            (mixture(&laws), mib * read.per_mib.as_secs_f64())
        }
        Op::Write => {
            let write = &array.write;
            let more = mib * write.per_mib.as_secs_f64() + write.mirror.as_secs_f64();
            (mixture(&[(1.0, &write.time)]), more)
        }
    };
    (
        first + more,
        second + 2.0 * more * first + more * more,
        exponential && more == 0.0,
    )
}
