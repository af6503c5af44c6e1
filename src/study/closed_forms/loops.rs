//! Closed loops: bounds, and the solution for exponential times.

use super::super::estimate::{
    CaseLoads, Flows, encapsulation_on, idle::io_latency_s, levels, mean_service_s, mix, per_io,
};
use super::{Stream, constant, service};
use crate::outcome::{TheoryRow, Trust};
use crate::site::{ArrayFamily, Arrivals, Site};
use crate::theory::closed_network::{Station, bounds, solve};
use crate::topology::Fabric;
use crate::wire::Encapsulation;
use std::collections::BTreeMap;

/// Rows of the loop, where it is all the work there is: two kinds of work would have to be solved together.
#[allow(clippy::cast_precision_loss)]
pub(super) fn rows(
    site: &Site,
    fabric: &Fabric,
    case: &CaseLoads,
    streams: &[Stream<'_>],
    flows: &mut Flows<'_>,
) -> Vec<TheoryRow> {
    let [workload] = site.workloads.as_slice() else {
        return Vec::new();
    };
    let Arrivals::Closed { depth, think, .. } = workload.arrivals else {
        return Vec::new();
    };
    // A host that is cut off does nothing.
    let sets = case.sets.iter().filter(|set| !set.paths.is_empty());
    let hosts = sets.count();
    let customers = depth as usize * hosts;
    let demands = Demands::new(site, fabric, streams, flows, hosts);
    let Some(idle) = idle_latency(site, fabric, streams, (flows, &demands)) else {
        return Vec::new();
    };
    let mut stations = demands.stations(&site.arrays[workload.array]);
    let queued: f64 = stations.iter().map(Station::demand).sum();
    // What is left of the idle latency queues nowhere: distance, switches, adapters.
    let rest = (idle - queued).max(0.0);
    let think = think.as_secs_f64();
    let row = |figure, unit, value, trust, by, assumes| {
        let (name, found) = (workload.name.clone(), (figure, unit, value));
        TheoryRow::new(&case.name, name, found, trust, (by, assumes))
    };
    if rest > 0.0 {
        stations.push(Station::Delay { demand: rest });
    }
    let always = "a fixed number outstanding; holds for any law of service";
    // Frames of one message are on several links at once: the sum of its times bounds nothing, the fullest part does.
    if queued > idle * (1.0 + 1e-9) {
        let most = stations.iter().map(|station| match station {
            Station::Queue { demand, servers } => *servers as f64 / demand,
            Station::Delay { .. } => f64::INFINITY,
        });
        let most = most.fold(f64::INFINITY, f64::min);
        let by = "asymptotic bound";
        return vec![row("throughput", "IOPS", most, Trust::AtMost, by, always)];
    }
    let limit = bounds(customers, &stations, think);
    let mut rows = vec![
        row(
            "throughput",
            "IOPS",
            limit.throughput_most,
            Trust::AtMost,
            "asymptotic bound",
            always,
        ),
        row(
            "mean latency",
            "us",
            limit.response_least * 1e6,
            Trust::AtLeast,
            "asymptotic bound",
            always,
        ),
    ];
    let depth = streams
        .first()
        .and_then(|one| site.hosts[fabric.hosts[one.set.host].family].queue_depth);
    let round = (customers, idle + think);
    if let Some(all) = constant::throughput(site, streams, &stations, round, depth) {
        let (by, assumes) = (
            "constant times, a closed cycle",
            "one way, one frame there and one back, nothing left to chance",
        );
        let response = customers as f64 / all - think;
        rows.extend([
            row("throughput", "IOPS", all, Trust::Exact, by, assumes),
            row(
                "mean latency",
                "us",
                response * 1e6,
                Trust::Exact,
                by,
                assumes,
            ),
        ]);
        return rows;
    }
    if think > 0.0 {
        stations.push(Station::Delay { demand: think });
    }
    if let Some(solved) = solve(customers, &stations) {
        let by = "closed network, product form";
        let (trust, assumes) = if is_repair(
            site,
            fabric,
            case,
            streams,
            (&stations, solved.throughput),
        ) {
            (
                Trust::Exact,
                "exponential service and no queue but that; the pause and the way may have any law",
            )
        } else {
            (
                Trust::Approximation,
                "all times exponential, each message served as one; constant times queue less",
            )
        };
        #[allow(clippy::cast_precision_loss)]
        let response = customers as f64 / solved.throughput - think;
        rows.push(row(
            "throughput",
            "IOPS",
            solved.throughput,
            trust,
            by,
            assumes,
        ));
        rows.push(row(
            "mean latency",
            "us",
            response * 1e6,
            trust,
            by,
            assumes,
        ));
    }
    rows
}

/// Latency of an I/O on an idle site, the mean over the paths by how often each is taken, seconds. `None` where nobody knows how often:
/// hosts or ways differ, and the quick ones come to do more than their even share.
fn idle_latency(
    site: &Site,
    fabric: &Fabric,
    streams: &[Stream<'_>],
    (flows, demands): (&mut Flows<'_>, &Demands),
) -> Option<f64> {
    let workload = &site.workloads[0];
    let first = streams.first()?;
    // One host that takes its paths in turn or at random, whatever is under way, does what it is said to do.
    let one_host = streams.iter().all(|one| one.set.host == first.set.host);
    let fixed = one_host && !levels(site, fabric.hosts[first.set.host].family);
    let (mut sum, mut weights) = (0.0, 0.0);
    let mut of_first: Option<Vec<f64>> = None;
    // Ways over the same families of links have one latency.
    let mut known: BTreeMap<(usize, Vec<usize>), f64> = BTreeMap::new();
    for stream in streams {
        let (links, mut own) = demands.of(fabric, flows, stream);
        let key = (fabric.hosts[stream.set.host].family, links);
        let idle = match known.get(&key) {
            Some(idle) => *idle,
            None => io_latency_s(site, fabric, flows, workload, stream.path)?,
        };
        known.insert(key, idle);
        sum += stream.weight * idle;
        weights += stream.weight;
        if fixed {
            continue;
        }
        own.push(idle);
        let first = of_first.get_or_insert_with(|| own.clone());
        let near =
            |(one, other): (&f64, &f64)| (one - other).abs() <= 1e-9 * one.abs().max(other.abs());
        if first.len() != own.len() || !first.iter().zip(&own).all(near) {
            return None;
        }
    }
    (weights > 0.0).then(|| sum / weights)
}

/// Links that are less busy than this, one by one, have no queue that shows. Our choice.
const LINKS_LEAST: f64 = 1e-2;

/// Whether the loop is one station of exponential servers and a pause, for whatever its law (machine repair, M/M/c//N): one controller, no
/// link that is busy enough to have a queue at that throughput, no depth that holds requests back.
#[allow(clippy::cast_precision_loss)]
fn is_repair(
    site: &Site,
    fabric: &Fabric,
    case: &CaseLoads,
    streams: &[Stream<'_>],
    (stations, throughput): (&[Station], f64),
) -> bool {
    let workload = &site.workloads[0];
    let array = &site.arrays[workload.array];
    // Exponential times of unlike means are not exponential together.
    let times: Vec<(f64, f64, bool)> = mix(workload)
        .into_iter()
        .map(|(op, size, _)| service(array, op, size))
        .collect();
    let exponential = times
        .iter()
        .all(|time| time.2 && (time.0 / times[0].0 - 1.0).abs() < 1e-12 && is_exponential(*time));
    let first = streams.first().map(|stream| stream.path.controller);
    let alone = streams
        .iter()
        .all(|stream| Some(stream.path.controller) == first);
    let unheld = case.sets.iter().all(|set| {
        let family = &site.hosts[fabric.hosts[set.host].family];
        family.queue_depth.is_none()
    });
    // The controller is the first of the stations; links follow.
    let queues = stations.iter().skip(1).filter_map(|station| match station {
        Station::Queue { demand, .. } => Some(*demand),
        Station::Delay { .. } => None,
    });
    exponential && alone && unheld && queues.fold(0.0, f64::max) * throughput < LINKS_LEAST
}

/// Whether a time made of exponential ones is exponential itself: hits and misses of unlike means are not.
fn is_exponential((first, second, of_exponential): (f64, f64, bool)) -> bool {
    of_exponential && (second / (2.0 * first * first) - 1.0).abs() < 1e-9
}

/// What one I/O brings to controllers and directions on the mean, hosts alike, seconds of each.
struct Demands {
    controllers: BTreeMap<usize, f64>,
    directions: BTreeMap<usize, f64>,
}

impl Demands {
    #[allow(clippy::cast_precision_loss)]
    fn new(
        site: &Site,
        fabric: &Fabric,
        streams: &[Stream<'_>],
        flows: &mut Flows<'_>,
        hosts: usize,
    ) -> Self {
        let workload = &site.workloads[0];
        let wire = per_io(workload);
        let service = mean_service_s(workload, &site.arrays[workload.array]);
        let mut controllers: BTreeMap<usize, f64> = BTreeMap::new();
        let mut directions: BTreeMap<usize, f64> = BTreeMap::new();
        for stream in streams {
            let weight = stream.weight / hosts.max(1) as f64;
            *controllers.entry(stream.path.controller).or_default() += weight * service;
            let (there, back) = flows.both_ways(stream.path, stream.set.family);
            for (shares, bytes) in [(there, wire.to_array), (back, wire.to_host)] {
                for (direction, share) in shares {
                    let bytes = match encapsulation_on(fabric, &workload.protocol, *direction) {
                        Some(Encapsulation::Fcoe) => bytes.fcoe,
                        Some(_) => bytes.native,
                        None => 0.0,
                    };
                    let rate = fabric.directions[direction.index()].rate.bits_per_second();
                    *directions.entry(direction.index()).or_default() +=
                        weight * share * bytes * 8.0 / rate;
                }
            }
        }
        Self {
            controllers,
            directions,
        }
    }

    /// The families of the links that a stream goes over, there and back; and how busy one I/O, whosever it is, keeps its controller and
    /// these links on the mean, seconds each.
    fn of(
        &self,
        fabric: &Fabric,
        flows: &mut Flows<'_>,
        stream: &Stream<'_>,
    ) -> (Vec<usize>, Vec<f64>) {
        let (there, back) = flows.both_ways(stream.path, stream.set.family);
        let mut links = Vec::new();
        let mut demands = vec![
            self.controllers
                .get(&stream.path.controller)
                .copied()
                .unwrap_or(0.0),
        ];
        for (direction, share) in there.iter().chain(back) {
            links.push(fabric.members[direction.index() / 2].family);
            let demand = self.directions.get(&direction.index()).copied();
            demands.extend([demand.unwrap_or(0.0), *share]);
        }
        (links, demands)
    }

    /// Controllers first.
    fn stations(&self, array: &ArrayFamily) -> Vec<Station> {
        let queue = |demand: f64, servers: usize| {
            (demand > 0.0).then_some(Station::Queue { demand, servers })
        };
        let arrays = self.controllers.values();
        let arrays = arrays.filter_map(|demand| queue(*demand, array.parallel as usize));
        let links = self.directions.values();
        arrays
            .chain(links.filter_map(|demand| queue(*demand, 1)))
            .collect()
    }
}
