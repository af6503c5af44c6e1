//! The first link of a message: batches of frames.

use super::super::estimate::{CaseLoads, Flows, encapsulation_on, mix};
use super::random::{is_dealt, of_one};
use super::{Stream, all_at_random};
use crate::outcome::{TheoryRow, Trust};
use crate::site::{Site, Workload};
use crate::topology::{DirectionId, Fabric};
use crate::wire::Toward;
use std::collections::BTreeMap;

/// What one direction is offered.
#[derive(Debug, Default)]
struct Offered {
    /// Sum of rate × time on the wire.
    first: f64,
    /// Sum of rate × square of that time.
    second: f64,
    /// Frames a second.
    frames: f64,
    /// Sum of rate × what its frames wait behind those of their own message.
    own: f64,
    /// Something on it does not come at random, or shares it with pure ACKs.
    other: bool,
    /// Hosts deal out over paths what comes to it.
    dealt: bool,
    /// Something comes to it after a service or an answer, or may be held back by a depth.
    shaped: bool,
    /// A flow keeps to one of several equal links, which this is one of.
    grouped: bool,
}

pub(super) fn rows(
    site: &Site,
    fabric: &Fabric,
    case: &CaseLoads,
    streams: &[Stream<'_>],
    flows: &mut Flows<'_>,
) -> Vec<TheoryRow> {
    let mut offered: BTreeMap<usize, Offered> = BTreeMap::new();
    let mut known = Known::new();
    for together in of_one(streams) {
        let port = together[0].path.host_port;
        let dealt = is_dealt(site, fabric, together, |one| one.path.host_port == port);
        for stream in together {
            for toward in [Toward::Array, Toward::Host] {
                let found = (&mut known, &mut offered);
                add(site, fabric, stream, flows, (toward, dealt), found);
            }
        }
    }
    // The fullest of each tier (link family and direction).
    let mut fullest: BTreeMap<(usize, usize), (f64, usize)> = BTreeMap::new();
    for (index, all) in &offered {
        let tier = (fabric.members[index / 2].family, index % 2);
        let best = fullest.entry(tier).or_insert((0.0, *index));
        if all.first > best.0 {
            *best = (all.first, *index);
        }
    }
    fullest
        .into_values()
        .filter(|(used, _)| *used >= super::USED_LEAST)
        .filter_map(|(_, index)| {
            let all = &offered[&index];
            let room = 1.0 - all.first;
            if all.other || room <= 0.0 || all.frames <= 0.0 {
                return None;
            }
            let first_frame = all.second / (2.0 * room);
            let wait = (first_frame + all.own / all.frames) * 1e6;
            let direction = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            let trust = if all.dealt || all.shaped || all.grouped {
                Trust::Approximation
            } else {
                Trust::Exact
            };
            Some(TheoryRow::new(
                &case.name,
                fabric.direction_name(site, direction),
                ("mean wait", "us", wait),
                trust,
                ("batches of frames, M[X]/G/1", assumes(all)),
            ))
        })
        .collect()
}

fn assumes(all: &Offered) -> &'static str {
    if all.grouped {
        return "messages reach the link at random (Poisson), their frames together; flows keep to one of several links, which has more or less than its even share, and what spaces messages out makes waits shorter";
    }
    match (all.dealt, all.shaped) {
        (false, false) => "messages reach the link at random (Poisson), their frames together",
        (true, false) => {
            "messages reach the link at random (Poisson), their frames together; hosts that deal requests out over paths, in turn or by their queues, make waits shorter"
        }
        (false, true) => {
            "messages reach the link at random (Poisson), their frames together; services, transfer-readies and queue depths, which space messages out, make waits shorter"
        }
        (true, true) => {
            "messages reach the link at random (Poisson), their frames together; hosts that deal requests out over paths, services, transfer-readies and queue depths make waits shorter"
        }
    }
}

/// What the messages of one I/O ask of the first link that they meet: times in seconds.
#[derive(Clone, Copy, Debug, Default)]
struct PerIo {
    first: f64,
    second: f64,
    frames: f64,
    own: f64,
    acked: bool,
    /// Messages of an I/O that go this way, of the kind that has most.
    messages: usize,
    /// The protocol goes over this kind of link.
    carried: bool,
}

impl PerIo {
    fn new(fabric: &Fabric, workload: &Workload, toward: Toward, direction: DirectionId) -> Self {
        let mut all = Self::default();
        let protocol = &workload.protocol;
        let Some(encapsulation) = encapsulation_on(fabric, protocol, direction) else {
            return all;
        };
        all.carried = true;
        let rate = fabric.directions[direction.index()].rate;
        for (op, size, part) in mix(workload) {
            let volleys = protocol.plan(op, size).volleys;
            let own = volleys.iter().filter(|volley| volley.toward == toward);
            all.messages = all.messages.max(own.count());
            for volley in &volleys {
                all.acked |= volley.ack_bytes.is_some();
                if volley.toward != toward {
                    continue;
                }
                let (mut time, mut own, mut frames) = (0.0, 0.0, 0.0);
                for run in &volley.runs {
                    let one = rate
                        .serialize(u64::from(run.wire(encapsulation)))
                        .as_secs_f64();
                    let count = f64::from(run.count);
                    own += count * time + one * count * (count - 1.0) / 2.0;
                    time += count * one;
                    frames += count;
                }
                all.first += part * time;
                all.second += part * time * time;
                all.frames += part * frames;
                all.own += part * own;
            }
        }
        all
    }
}

/// By workload, way and link family and direction, which have one rate and one kind of frame.
type Known = BTreeMap<(usize, bool, usize, usize), PerIo>;

fn add(
    site: &Site,
    fabric: &Fabric,
    stream: &Stream<'_>,
    flows: &mut Flows<'_>,
    (toward, dealt): (Toward, bool),
    (known, offered): (&mut Known, &mut BTreeMap<usize, Offered>),
) {
    let workload = &site.workloads[stream.workload];
    let (from, to) = match toward {
        Toward::Array => (stream.path.host_port, stream.path.array_port),
        Toward::Host => (stream.path.array_port, stream.path.host_port),
    };
    let level = flows.first_level(from, to, stream.path.side, stream.set.family);
    let at_random = all_at_random(site, std::iter::once(stream));
    let depth = site.hosts[fabric.hosts[stream.set.host].family].queue_depth;
    for (direction, share) in &level {
        let all = offered.entry(direction.index()).or_default();
        all.other |= !at_random;
        let family = fabric.members[direction.index() / 2].family;
        let key = (
            stream.workload,
            toward == Toward::Host,
            family,
            direction.index() % 2,
        );
        let one = known
            .entry(key)
            .or_insert_with(|| PerIo::new(fabric, workload, toward, *direction));
        if !one.carried {
            continue;
        }
        all.other |= one.acked;
        all.dealt |= dealt;
        all.grouped |= *share < 1.0 - 1e-9;
        all.shaped |= toward == Toward::Host || one.messages > 1 || depth.is_some();
        let rate = stream.rate * share;
        all.first += rate * one.first;
        all.second += rate * one.second;
        all.frames += rate * one.frames;
        all.own += rate * one.own;
    }
}
