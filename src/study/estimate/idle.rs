//! Times on an idle site, in whole picoseconds, by the rules of the simulated links.

use super::demand::service_s;
use super::spread::{Flows, encapsulation_on, preferred};
use super::{Load, mix};
use crate::site::{Arrivals, Forwarding, Site, Workload};
use crate::topology::{DirectionId, Fabric, Path, PathSet};
use crate::unit::{Duration, Rate};
use crate::wire::{Encapsulation, FrameRun, Medium, Protocol, Then, Toward};
use std::collections::BTreeSet;

/// One hop as a frame meets it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Hop {
    pub(crate) rate: Rate,
    pub(crate) medium: Option<Medium>,
    pub(crate) encapsulation: Encapsulation,
    /// Propagation and FEC.
    pub(crate) latency: Duration,
    /// Forwarding delay of the receiving switch; zero at the last hop.
    pub(crate) delay: Duration,
    /// Whether the receiving switch starts to send after the header.
    pub(crate) cuts: bool,
}

/// The hops along `directions` (one a hop), with what each switch between them does.
pub(crate) fn hops(
    fabric: &Fabric,
    protocol: &Protocol,
    directions: &[DirectionId],
) -> Option<Vec<Hop>> {
    let each = directions.iter().enumerate();
    each.map(|(position, direction)| {
        let onward = directions.get(position + 1).copied();
        hop(fabric, protocol, *direction, onward)
    })
    .collect()
}

/// One of them, with the direction that follows it; `None` where the protocol cannot cross it.
fn hop(
    fabric: &Fabric,
    protocol: &Protocol,
    direction: DirectionId,
    onward: Option<DirectionId>,
) -> Option<Hop> {
    let own = &fabric.directions[direction.index()];
    let switch = &fabric.nodes[own.to.0 as usize];
    Some(Hop {
        rate: own.rate,
        medium: own.medium,
        encapsulation: encapsulation_on(fabric, protocol, direction)?,
        latency: own.latency,
        delay: switch.delay,
        cuts: onward.is_some_and(|next| cuts_through(fabric, direction, next)),
    })
}

/// Whether the switch between two directions starts to send on the second after the header has come over the first.
fn cuts_through(fabric: &Fabric, direction: DirectionId, onward: DirectionId) -> bool {
    let [own, next] = [direction, onward].map(|each| &fabric.directions[each.index()]);
    fabric.nodes[own.to.0 as usize].forwarding == Forwarding::CutThrough
        && next.rate <= own.rate
        && next.medium == own.medium
}

/// The first of the equal next hops at each node, from one end of a path to the other.
pub(crate) fn first_route(
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    path: &Path,
    family: crate::wire::Family,
    toward: Toward,
) -> Vec<DirectionId> {
    let (from, to) = match toward {
        Toward::Array => (path.host_port, path.array_port),
        Toward::Host => (path.array_port, path.host_port),
    };
    let mut node = from;
    let mut route = Vec::new();
    for level in flows.levels(from, to, path.side, family) {
        let first = level
            .iter()
            .map(|(direction, _)| *direction)
            .find(|direction| fabric.directions[direction.index()].from == node);
        let Some(direction) = first else { break };
        node = fabric.directions[direction.index()].to;
        route.push(direction);
    }
    route
}

/// Along the equal ways from one end of a path to the other, the best that any of them has at each hop: rate, latency,
/// delay, cut-through. No frame is faster, whichever way it is sent. `None` where the ways are not of one kind.
fn best_hops(
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    path: &Path,
    protocol: &Protocol,
    toward: Toward,
) -> Option<Vec<Hop>> {
    let (from, to) = match toward {
        Toward::Array => (path.host_port, path.array_port),
        Toward::Host => (path.array_port, path.host_port),
    };
    let ways = flows.hop_by_hop(from, to, path.side, protocol.family());
    let mut levels = ways.chunk_by(|one, next| one.0 == next.0).peekable();
    // As many as most ways have.
    let mut best = Vec::with_capacity(8);
    while let Some(level) = levels.next() {
        let onward = levels.peek().copied().unwrap_or_default();
        let mut found: Option<Hop> = None;
        for (_, direction) in level {
            let mut hop = hop(fabric, protocol, *direction, None)?;
            // What follows matters to cut-through only, and one that lets it is enough.
            let mut next = onward.iter();
            hop.cuts = next.any(|(_, next)| cuts_through(fabric, *direction, *next));
            found = Some(match found {
                None => hop,
                Some(own) if (own.medium, own.encapsulation) == (hop.medium, hop.encapsulation) => {
                    Hop {
                        rate: own.rate.max(hop.rate),
                        latency: own.latency.min(hop.latency),
                        delay: own.delay.min(hop.delay),
                        cuts: own.cuts || hop.cuts,
                        ..own
                    }
                }
                Some(_) => return None,
            });
        }
        best.push(found?);
    }
    (!best.is_empty()).then_some(best)
}

/// Time from the moment the frames are ready at the sender until the last has arrived whole.
pub(crate) fn burst_time(hops: &[Hop], protocol: &Protocol, runs: &[FrameRun]) -> Duration {
    let mut free = vec![0_u64; hops.len()];
    let mut arrived = 0;
    for run in runs {
        let times: Vec<(u64, u64)> = hops
            .iter()
            .map(|hop| {
                let ser = hop.rate.serialize(u64::from(run.wire(hop.encapsulation))).0;
                let header = hop
                    .encapsulation
                    .cut_through_header(hop.medium, protocol.vlan())
                    .filter(|_| hop.cuts)
                    .map_or(ser, |bytes| hop.rate.serialize(bytes).0.min(ser));
                (ser, header)
            })
            .collect();
        for _ in 0..run.count {
            let mut ready = 0;
            for ((hop, free), (ser, header)) in hops.iter().zip(&mut free).zip(&times) {
                let start = ready.max(*free);
                *free = start + ser;
                ready = start + header + hop.latency.0 + hop.delay.0;
            }
            arrived = ready;
        }
    }
    Duration(arrived)
}

/// One kind of I/O of a workload over a path with nothing else on the site.
#[derive(Clone, Copy, Debug)]
pub(crate) struct KindTime {
    /// Share of the workload's I/Os.
    pub(crate) share: f64,
    /// Adapters and every message both ways, s: no I/O of this kind takes less.
    pub(crate) wire_s: f64,
    /// Mean service, s.
    pub(crate) service_s: f64,
}

/// Mean latency of one I/O of a workload over the fastest of the equal ways of a path with nothing else on the site:
/// adapters, every message both ways, mean service. Seconds; `None` where the path does not carry the protocol.
#[must_use]
pub(crate) fn io_latency_s(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    workload: &Workload,
    path: &Path,
) -> Option<f64> {
    let kinds = kind_times(site, fabric, flows, workload, path)?;
    let mean = |kind: &KindTime| kind.share * (kind.wire_s + kind.service_s);
    Some(kinds.iter().map(mean).sum())
}

/// The times of each kind of I/O; `None` where the path does not carry the protocol.
#[must_use]
pub(crate) fn kind_times<'f>(
    site: &Site,
    fabric: &Fabric,
    flows: &'f mut Flows<'_>,
    workload: &Workload,
    path: &Path,
) -> Option<&'f [KindTime]> {
    let protocol = &workload.protocol;
    let mut way = |toward: Toward| best_hops(fabric, flows, path, protocol, toward);
    let ways = (way(Toward::Array)?, way(Toward::Host)?);
    let found = |there: &[Hop], back: &[Hop]| kinds_over(site, workload, there, back);
    Some(flows.times(&workload.name, ways, found))
}

fn kinds_over(site: &Site, workload: &Workload, there: &[Hop], back: &[Hop]) -> Vec<KindTime> {
    let protocol = &workload.protocol;
    let mut kinds = Vec::new();
    for (op, size, share) in mix(workload) {
        let (mut wire_s, mut service) = (0.0, 0.0);
        for volley in &protocol.plan(op, size).volleys {
            let over = match volley.toward {
                Toward::Array => there,
                Toward::Host => back,
            };
            let time = burst_time(over, protocol, &volley.runs) + workload.adapter;
            wire_s += time.as_secs_f64();
            if volley.then == Then::Serve {
                service += service_s(&site.arrays[workload.array], op, size);
            }
        }
        kinds.push(KindTime {
            share,
            wire_s,
            service_s: service,
        });
    }
    kinds
}

/// The most a closed loop can ask for: I/Os outstanding ÷ (idle latency + pause), all hosts together, per
/// second. `None` for any other kind of arrivals, and where a host has no path.
#[must_use]
pub fn closed_ceiling(
    site: &Site,
    fabric: &Fabric,
    case: &super::CaseLoads,
    workload: usize,
) -> Option<f64> {
    let asked = &site.workloads[workload];
    let Arrivals::Closed { depth, think, .. } = asked.arrivals else {
        return None;
    };
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
    let mut total = 0.0;
    for set in case
        .sets
        .iter()
        .filter(|set| set.workloads.contains(&workload))
    {
        let path = set.paths.first()?;
        let latency = io_latency_s(site, fabric, &mut flows, asked, path)?;
        total += f64::from(depth) / (latency + think.as_secs_f64());
    }
    Some(total)
}

/// I/Os that a host may have under way on a set of paths by its queue depth: on those that its policy prefers, as it takes no
/// others while one of these stands. `None` without a depth.
pub(crate) fn path_slots(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
) -> Option<f64> {
    let depth = site.hosts[fabric.hosts[set.host].family].queue_depth?;
    let mut used = BTreeSet::new();
    for index in &set.workloads {
        let groups = preferred(site, fabric, flows, set, &site.workloads[*index]);
        used.extend(groups.into_iter().flat_map(|(_, paths)| paths));
    }
    Some(f64::from(depth) * super::count(used.len()))
}

/// The most a host's queue depth lets through to an array on an idle site: paths × depth (or what the workload may have
/// under way at a host, where that is less) ÷ idle latency, all hosts of a workload together, per second. The paths are those
/// that the host's policy prefers, and where volumes have owners what goes to each of them is bounded by the paths to it.
/// `None` without a limit, in a closed loop, or without a path. Workloads that share a depth have of it what they ask for of all that they do.
#[must_use]
pub fn depth_ceiling(
    site: &Site,
    fabric: &Fabric,
    case: &super::CaseLoads,
    workload: usize,
) -> Option<(f64, Load)> {
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
    ceiling(site, fabric, (&mut flows, &case.sets), workload, 1)
}

/// The same by the fastest of the paths of each host: no more can get through, as no I/O is faster on the mean than on an idle
/// site over that one.
#[must_use]
pub(crate) fn depth_ceiling_at_best(
    site: &Site,
    fabric: &Fabric,
    case: &super::CaseLoads,
    workload: usize,
) -> Option<(f64, Load)> {
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
    ceiling(site, fabric, (&mut flows, &case.sets), workload, usize::MAX)
}

/// The same of these flows and the path sets over their members.
pub(crate) fn depth_ceiling_over(
    site: &Site,
    fabric: &Fabric,
    (mut flows, sets): (Flows<'_>, &[PathSet]),
    workload: usize,
) -> Option<(f64, Load)> {
    ceiling(site, fabric, (&mut flows, sets), workload, usize::MAX)
}

/// By the fastest of the first `looked_at` paths of each host.
fn ceiling(
    site: &Site,
    fabric: &Fabric,
    (flows, sets): (&mut Flows<'_>, &[PathSet]),
    workload: usize,
    looked_at: usize,
) -> Option<(f64, Load)> {
    let asked = super::asked(fabric, &site.workloads[workload]).total()?;
    let mut total = 0.0;
    for set in sets.iter().filter(|set| set.workloads.contains(&workload)) {
        total += host_ceiling(site, fabric, flows, set, workload, looked_at)?;
    }
    Some((total, asked))
}

/// Its part of what a depth lets through that it shares with other workloads at a host, where all of them grow alike: all places on the paths
/// that some of them use, over how long each I/O takes one. `None` where its own rate is not known; closed loops take what is left.
fn shared(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    (set, depth): (&PathSet, u32),
    (workload, looked_at): (usize, usize),
) -> Option<f64> {
    let mut paths: BTreeSet<usize> = BTreeSet::new();
    let (mut own, mut taken) = (None, 0.0);
    for index in &set.workloads {
        let work = &site.workloads[*index];
        let groups = preferred(site, fabric, flows, set, work);
        let used: BTreeSet<usize> = groups.into_iter().flat_map(|(_, paths)| paths).collect();
        paths.extend(&used);
        let Some(rate) = super::asked(fabric, work).at_host(set.host) else {
            continue;
        };
        let each = used.iter().take(looked_at);
        let each =
            each.filter_map(|path| io_latency_s(site, fabric, flows, work, &set.paths[*path]));
        taken += rate.mean * each.reduce(f64::min)?;
        if *index == workload {
            own = Some(rate.mean);
        }
    }
    let slots = f64::from(depth) * super::count(paths.len());
    own.filter(|_| taken > 0.0).map(|own| own * slots / taken)
}

/// The same of one host alone, with what others that share its depth ask for. An I/O that finds the paths to its owner full holds up those behind it, so that the least of the
/// owners' bounds is that of all.
pub(crate) fn host_ceiling(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
    workload: usize,
    looked_at: usize,
) -> Option<f64> {
    let work = &site.workloads[workload];
    let depth = site.hosts[fabric.hosts[set.host].family].queue_depth;
    let shared = depth.and_then(|depth| {
        let others = set.workloads.iter().any(|other| *other != workload);
        others.then(|| shared(site, fabric, flows, (set, depth), (workload, looked_at)))?
    });
    let groups = preferred(site, fabric, flows, set, work);
    let all: BTreeSet<usize> = groups.iter().flat_map(|(_, paths)| paths.clone()).collect();
    let all = (1.0, all.into_iter().collect::<Vec<usize>>());
    // Found once for each path.
    let mut latencies = vec![None; set.paths.len()];
    let mut latency_s = |path: &usize| {
        let find = || io_latency_s(site, fabric, flows, work, &set.paths[*path]);
        *latencies[*path].get_or_insert_with(find)
    };
    let mut least: Option<f64> = shared;
    for (part, (share, paths)) in std::iter::once(all).chain(groups).enumerate() {
        let slots = depth.map(|depth| f64::from(depth) * super::count(paths.len()));
        let bound = work.outstanding.map(f64::from).filter(|_| part == 0);
        let Some(slots) = slots.into_iter().chain(bound).reduce(f64::min) else {
            continue;
        };
        if share > 0.0 {
            let each = paths.iter().take(looked_at).filter_map(&mut latency_s);
            let most = slots / (share * each.reduce(f64::min)?);
            least = Some(least.map_or(most, |known| known.min(most)));
        }
    }
    least
}
