//! Whether what comes to a part comes at random, as every formula for an open queue assumes, and what takes that away: hosts that deal
//! requests out over paths, queue depths that hold them back, links that space them out. All three make the waits behind them shorter.

use super::super::estimate::{
    CaseLoads, Flows, bytes_of, idle::io_latency_s, kinds, mean_service_s, per_io,
};
use super::Stream;
use crate::outcome::Trust;
use crate::site::{Owner, PathPolicy, Site, Workload};
use crate::topology::{Fabric, NodeId};
use std::collections::BTreeMap;

/// A message that takes less than this part of the mean service, divided by the servers, on every link before a controller leaves
/// what comes there as random as it was. Our choice.
const MESSAGE_LEAST: f64 = 0.01;

/// Where fewer I/Os than this share find the queue depth full, it holds nothing back. Our choice.
const HELD_LEAST: f64 = 1e-3;

/// What takes the randomness from what comes to a part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spoiled {
    /// Hosts deal requests out over paths, in turn or by their queues, and not all of these lead to the part.
    pub(super) dealt: bool,
    /// Queue depths hold requests back in the hosts.
    pub(super) held: bool,
    /// Links before the part space requests out.
    pub(super) spaced: bool,
}

/// The assumption, with what is known to break it. A macro, because the words are constants.
macro_rules! assumption {
    ($plain:literal, $spoiled:expr) => {{
        let one = $spoiled;
        match (one.dealt, one.held, one.spaced) {
            (false, false, false) => $plain,
            (true, false, false) => concat!(
                $plain,
                "; hosts that deal requests out over paths, in turn or by their queues, make waits shorter"
            ),
            (false, true, false) => concat!(
                $plain,
                "; queue depths hold requests back in the hosts, which makes waits here shorter"
            ),
            (false, false, true) => concat!(
                $plain,
                "; links before it space requests out or bring them in clumps, which makes waits here shorter or longer"
            ),
            _ => concat!(
                $plain,
                "; hosts that deal requests out over paths, queue depths and links before it make waits shorter, or longer where other \
                messages hold requests up together"
            ),
        }
    }};
}
pub(super) use assumption;

impl Spoiled {
    fn is_any(self) -> bool {
        self.dealt || self.held || self.spaced
    }

    /// How far a formula that is exact for what comes at random can be trusted here.
    pub(super) fn trust(self, at_random: Trust) -> Trust {
        if self.is_any() && at_random == Trust::Exact {
            Trust::Approximation
        } else {
            at_random
        }
    }
}

/// The streams of one workload at one host: they stand together.
pub(super) fn of_one<'r, 's>(streams: &'r [Stream<'s>]) -> impl Iterator<Item = &'r [Stream<'s>]> {
    streams.chunk_by(|one, next| one.workload == next.workload && std::ptr::eq(one.set, next.set))
}

/// Whether a host deals the requests of these streams, all of one workload, out over paths of which only some lead to the part: what
/// comes there is then evener than at random.
pub(super) fn is_dealt<'s>(
    site: &Site,
    fabric: &Fabric,
    streams: &[Stream<'s>],
    leads: impl Fn(&Stream<'s>) -> bool,
) -> bool {
    let there = streams.iter().filter(|stream| leads(stream)).count();
    streams.first().is_some_and(|first| {
        let policy = site.hosts[fabric.hosts[first.set.host].family].paths;
        policy != PathPolicy::Random && there > 0 && there < streams.len()
    })
}

/// What is known of the streams into a controller; `wait` is the mean one there, seconds, and `variation` the squared coefficient of
/// variation of its service.
pub(super) fn at_controller<'s>(
    site: &Site,
    fabric: &Fabric,
    crossed: &mut Crossed<'_>,
    streams: &[Stream<'s>],
    (index, wait, variation): (usize, f64, f64),
) -> Spoiled {
    let leads = |stream: &Stream<'_>| stream.path.controller == index;
    let mut all = Spoiled::default();
    // I/Os under way on the mean by host and path, which workloads share.
    let mut under_way: BTreeMap<(usize, NodeId, NodeId, &str), f64> = BTreeMap::new();
    // Idle latency by workload, host family and fabric: hosts of a family have the same ways.
    let mut idle = BTreeMap::new();
    // Unlike services make long queues likelier than their mean says.
    let stretch = f64::midpoint(1.0, variation).max(1.0);
    for together in of_one(streams) {
        // Volumes with owners are picked at random, and with them the controller.
        let alternates = site.workloads[together[0].workload].owner == Owner::Alternate;
        all.dealt |= !alternates && is_dealt(site, fabric, together, leads);
        for stream in together.iter().filter(|stream| leads(stream)) {
            all.spaced = all.spaced || crossed.spaces(fabric, stream);
            let (path, set) = (stream.path, stream.set);
            let family = fabric.hosts[set.host].family;
            let Some(depth) = site.hosts[family].queue_depth else {
                continue;
            };
            let workload = &site.workloads[stream.workload];
            let alone = *idle
                .entry((stream.workload, family, path.side))
                .or_insert_with(|| io_latency_s(site, fabric, &mut crossed.flows, workload, path));
            // Without one nobody knows how long a place is taken.
            let Some(alone) = alone else {
                all.held = true;
                continue;
            };
            let key = (set.host, path.host_port, path.array_port, set.protocol);
            let own = under_way.entry(key).or_default();
            *own += stream.rate * (alone + wait) * stretch;
            all.held |= full(*own, depth) > HELD_LEAST;
        }
    }
    all
}

/// What the streams of a case meet on their ways, found once for all its controllers.
pub(super) struct Crossed<'a> {
    case: &'a CaseLoads,
    flows: Flows<'a>,
    /// By direction, the longest message of any work that crosses it, seconds.
    longest: Vec<f64>,
    /// By workload, bytes of an I/O on its way to the array.
    bytes: Vec<f64>,
    /// By workload, the shortest message that shows beside how fast the servers take requests, seconds.
    shows: Vec<f64>,
}

impl<'a> Crossed<'a> {
    pub(super) fn new(
        site: &Site,
        fabric: &'a Fabric,
        case: &'a CaseLoads,
        streams: &[Stream<'_>],
    ) -> Self {
        let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
        let shows = |work: &Workload| {
            let array = &site.arrays[work.array];
            MESSAGE_LEAST * mean_service_s(work, array) / f64::from(array.parallel)
        };
        Self {
            longest: longest_messages(site, fabric, streams, &mut flows),
            bytes: site
                .workloads
                .iter()
                .map(|work| per_io(work).to_array.native)
                .collect(),
            shows: site.workloads.iter().map(shows).collect(),
            case,
            flows,
        }
    }

    /// Whether links on the way to the array space requests out, or bring them in clumps behind longer messages, by as much as shows beside how fast
    /// the servers take them: the message itself on its slowest link, and the longest that crosses one, by how much of the link is used.
    fn spaces(&mut self, fabric: &Fabric, stream: &Stream<'_>) -> bool {
        let bytes = self.bytes[stream.workload];
        let (there, _) = self.flows.both_ways(stream.path, stream.set.family);
        let times = there.iter().map(|(direction, _)| {
            let index = direction.index();
            let own = bytes * 8.0 / fabric.directions[index].rate.bits_per_second();
            let used = self.case.directions[index].map_or(0.0, |load| load.mean);
            own.max(used * self.longest[index])
        });
        times.fold(0.0, f64::max) > self.shows[stream.workload]
    }
}

/// By direction, the longest message of any work that crosses it, seconds.
fn longest_messages(
    site: &Site,
    fabric: &Fabric,
    streams: &[Stream<'_>],
    flows: &mut Flows<'_>,
) -> Vec<f64> {
    let mut longest = vec![0.0; fabric.directions.len()];
    let kinds: Vec<_> = site.workloads.iter().map(kinds).collect();
    for stream in streams {
        let work = &site.workloads[stream.workload];
        let (there, back) = flows.both_ways(stream.path, stream.set.family);
        for (hops, toward_array) in [(there, true), (back, false)] {
            for (direction, _) in hops {
                let bytes = kinds[stream.workload]
                    .iter()
                    .map(|kind| bytes_of(fabric, work, kind, *direction, toward_array));
                let rate = fabric.directions[direction.index()].rate.bits_per_second();
                let known = &mut longest[direction.index()];
                *known = f64::max(*known, bytes.fold(0.0, f64::max) * 8.0 / rate);
            }
        }
    }
    longest
}

/// Chance to find `depth` under way where the mean is `mean`: as of M/M/1, whose number has the longest tail of the queues
/// with one figure to go by (geometric; Kleinrock, *Queueing Systems* 1, ch. 3, from memory).
fn full(mean: f64, depth: u32) -> f64 {
    (mean / (1.0 + mean)).powf(f64::from(depth))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// M/M/1 at 0.8 has four under way on the mean, and eight or more with chance 0.8⁸.
    #[test]
    fn the_chance_of_a_full_depth_is_that_of_one_exponential_server() {
        assert!((full(4.0, 8) - 0.8_f64.powi(8)).abs() < 1e-12);
        assert!(full(0.0, 1) == 0.0 && full(4.0, 64) < HELD_LEAST);
    }
}
