//! The order of the flow: which link directions frames cross one after another, and how long they are on
//! their way at least.
//!
//! Where no frame ever comes back to a direction, and nothing about a direction depends on the order in which
//! frames come from different ones, directions can be served one after another, each for a stretch of time,
//! without an event for each frame. Where no direction is crossed both toward arrays and toward hosts, the two
//! ways make one round: hosts and arrays take turns, and each may be as far ahead as the other's way is long.

use super::compile::{Compiled, Hop, PathPlan};
use crate::site::Choose;
use crate::topology::{DirectionId, NodeId};
use crate::wire::Toward;
use std::collections::{BTreeMap, BTreeSet};

/// Shortest stretch that is worth it: 100 ns. A choice of this program; much below the way over two links
/// and a switch.
const SHORTEST: u64 = 100_000;

/// Longest stretch of either way: 16 us. In a longer one, which links over many kilometres would allow, the work of sorting what comes
/// to a link outgrows what is saved. A choice of this program, by measurement.
const LONGEST: u64 = 16_000_000;

/// Directions in the order of the flow.
#[derive(Clone, Debug)]
pub(crate) struct FlowOrder {
    /// Directions, those that frames cross first in front; where the two ways are apart, those toward arrays
    /// before all others.
    pub(crate) order: Vec<DirectionId>,
    /// Place of each direction in it.
    pub(crate) place: Vec<u32>,
    /// Shortest time from ready on a direction to taken in at the end, ps.
    pub(crate) remaining: Vec<u64>,
    /// Whether frames come to a direction from its own port only.
    pub(crate) first: Vec<bool>,
    /// Shortest way of all, but no longer than is of use, ps.
    pub(crate) window: u64,
    /// The two ways, where no direction is crossed both toward arrays and toward hosts.
    pub(crate) round: Option<Round>,
}

/// The way there and the way back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Round {
    /// Shortest way from a host to an array, but no longer than is of use, ps.
    pub(crate) there: u64,
    /// Shortest way from an array to a host, but no longer than is of use, ps.
    pub(crate) back: u64,
    /// So many directions in front lead toward arrays.
    pub(crate) outward: usize,
}

/// What flows that cross a direction have in common.
#[derive(Clone, Copy, Debug)]
struct Crossed {
    there: bool,
    back: bool,
    /// Shortest time from the begin of a frame there to what the next hop waits for, propagation left out, ps.
    least: u64,
}

impl FlowOrder {
    /// `None` where directions cannot be ordered: frames go in circles, some port deals frames out in turn,
    /// or the shortest way is too short.
    pub(crate) fn new(compiled: &Compiled) -> Option<Self> {
        let count = compiled.hops.len();
        let unused = Crossed {
            there: false,
            back: false,
            least: u64::MAX,
        };
        let (mut crossed, mut edges, mut first) =
            (vec![unused; count], BTreeSet::new(), vec![false; count]);
        let ends = compiled.paths.iter().skip(1).map(|plan| plan.flows);
        let ends = ends.chain([u32::try_from(compiled.flows.len()).unwrap_or(u32::MAX)]);
        for (plan, end) in compiled.paths.iter().zip(ends) {
            let ways =
                [Toward::Array, Toward::Host].map(|way| (way, Least::new(compiled, plan, way)));
            for flow in plan.flows..end {
                let (way, least) = &ways[(flow - plan.flows) as usize % 2];
                let flow = &compiled.flows[flow as usize];
                let mut here: BTreeMap<NodeId, Vec<DirectionId>> =
                    BTreeMap::from([(flow.from, Vec::new())]);
                let mut steps = 0;
                while !here.is_empty() {
                    steps += 1;
                    if steps > super::compile::HOPS_MAX + 1 {
                        return None;
                    }
                    let mut beyond: BTreeMap<NodeId, Vec<DirectionId>> = BTreeMap::new();
                    for (node, before) in &here {
                        let next = compiled.routes.next(&compiled.fabric, flow.table, *node);
                        for direction in next {
                            let hop = &compiled.hops[direction.index()];
                            if next.len() > 1 && hop.choose == Choose::Frame {
                                return None;
                            }
                            let crossed = &mut crossed[direction.index()];
                            crossed.there |= *way == Toward::Array;
                            crossed.back |= *way == Toward::Host;
                            crossed.least = crossed.least.min(least.on(hop));
                            first[direction.index()] |= before.is_empty();
                            edges.extend(before.iter().map(|before| (*before, *direction)));
                            if !hop.ends {
                                beyond.entry(hop.to).or_default().push(*direction);
                            }
                        }
                    }
                    here = beyond;
                }
            }
        }
        let mut after: Vec<Vec<DirectionId>> = vec![Vec::new(); count];
        let mut before = vec![0_u32; count];
        for (from, to) in edges {
            after[from.index()].push(to);
            before[to.index()] += 1;
            if first[to.index()] {
                // A port that both sends and passes on.
                return None;
            }
        }
        let mut order = in_order(&crossed, &after, before)?;
        let apart = crossed.iter().all(|each| !(each.there && each.back));
        if apart {
            // Nothing leads from one way to the other, so that each stays in order.
            order.sort_by_key(|direction| crossed[direction.index()].back);
        }
        let mut place = vec![0; count];
        for (position, direction) in (0_u32..).zip(&order) {
            place[direction.index()] = position;
        }
        let mut remaining = vec![u64::MAX; count];
        for direction in order.iter().rev() {
            let hop = &compiled.hops[direction.index()];
            let onward = after[direction.index()]
                .iter()
                .map(|next| remaining[next.index()]);
            let least = crossed[direction.index()]
                .least
                .saturating_add(hop.latency.0);
            remaining[direction.index()] = if hop.ends {
                least
            } else {
                let passing = least.saturating_add(hop.delay.0);
                passing.saturating_add(onward.min().unwrap_or(u64::MAX / 2))
            };
        }
        let shortest = |back: bool| {
            let firsts = order.iter().map(|direction| direction.index());
            let firsts = firsts.filter(|index| first[*index] && crossed[*index].back == back);
            firsts.map(|index| remaining[index]).min()
        };
        let (there, back) = (shortest(false), shortest(true));
        let window = there.into_iter().chain(back).min()?;
        let round = match (there, back) {
            (Some(there), Some(back)) if apart => Some(Round {
                there: there.min(LONGEST),
                back: back.min(LONGEST),
                outward: order
                    .iter()
                    .filter(|direction| crossed[direction.index()].there)
                    .count(),
            }),
            _ => None,
        };
        (SHORTEST..u64::MAX / 4).contains(&window).then_some(Self {
            order,
            place,
            remaining,
            first,
            window: window.min(LONGEST),
            round,
        })
    }
}

/// The shortest frames that a path sends one way: by class of direction, their time and that of their header.
struct Least(Vec<(u64, u64)>);

impl Least {
    fn new(compiled: &Compiled, plan: &PathPlan, way: Toward) -> Self {
        let mut least = vec![(u64::MAX, u64::MAX); compiled.classes];
        let sources = compiled.sets[plan.set as usize].sources.iter();
        let workloads = sources.map(|source| compiled.sources[*source as usize].workload);
        let kinds = workloads.flat_map(|workload| compiled.plans[workload].iter());
        for volley in kinds.flat_map(|kind| kind.clone()) {
            let volley = &compiled.volleys[volley as usize];
            let runs = if volley.toward == way {
                volley.runs.clone()
            } else {
                volley.ack.map_or(0..0, |ack| ack..ack + 1)
            };
            for run in runs {
                for (class, least) in (0_u32..).zip(&mut least) {
                    let time = compiled.time_on(run, class);
                    *least = (least.0.min(time.ser), least.1.min(time.header));
                }
            }
        }
        Self(least)
    }

    /// Time from the begin of a frame on a direction to what the next hop waits for.
    fn on(&self, hop: &Hop) -> u64 {
        let (whole, header) = self.0[hop.class as usize];
        if hop.cut_through {
            whole.min(header)
        } else {
            whole
        }
    }
}

/// Directions used, each after all from which frames come to it; `None` when they go in circles.
fn in_order(
    crossed: &[Crossed],
    after: &[Vec<DirectionId>],
    mut before: Vec<u32>,
) -> Option<Vec<DirectionId>> {
    let used = |crossed: &Crossed| crossed.there || crossed.back;
    let all = (0_u32..).zip(crossed).filter(|(_, each)| used(each));
    let all: Vec<DirectionId> = all.map(|(index, _)| DirectionId(index)).collect();
    let mut order: Vec<DirectionId> = all
        .iter()
        .copied()
        .filter(|direction| before[direction.index()] == 0)
        .collect();
    let mut next = 0;
    while let Some(direction) = order.get(next).copied() {
        next += 1;
        for to in &after[direction.index()] {
            before[to.index()] -= 1;
            if before[to.index()] == 0 {
                order.push(*to);
            }
        }
    }
    (order.len() == all.len()).then_some(order)
}
