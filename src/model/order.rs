//! The order of the flow: which link directions frames cross one after another, and how long they are on
//! their way at least.
//!
//! Where no frame ever comes back to a direction, and nothing about a direction depends on the order in which
//! frames come from different ones, directions can be served one after another, each for a stretch of time,
//! without an event for each frame.

use super::compile::Compiled;
use crate::site::Choose;
use crate::topology::{DirectionId, NodeId};
use std::collections::{BTreeMap, BTreeSet};

/// Shortest stretch that is worth it: 100 ns. A choice of this program; much below the way over two links
/// and a switch.
const SHORTEST: u64 = 100_000;

/// Directions in the order of the flow.
#[derive(Clone, Debug)]
pub(crate) struct FlowOrder {
    /// Directions, those that frames cross first in front.
    pub(crate) order: Vec<DirectionId>,
    /// Place of each direction in it.
    pub(crate) place: Vec<u32>,
    /// Shortest time from ready on a direction to taken in at the end, serialization left out, ps.
    pub(crate) remaining: Vec<u64>,
    /// Whether frames come to a direction from its own port only.
    pub(crate) first: Vec<bool>,
    /// Shortest way of all, ps.
    pub(crate) window: u64,
}

impl FlowOrder {
    /// `None` where directions cannot be ordered: frames go in circles, some port deals frames out in turn,
    /// or the shortest way is too short.
    pub(crate) fn new(compiled: &Compiled) -> Option<Self> {
        let count = compiled.hops.len();
        let (mut used, mut edges, mut first) =
            (vec![false; count], BTreeSet::new(), vec![false; count]);
        for flow in &compiled.flows {
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
                        used[direction.index()] = true;
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
        let order = in_order(&used, &after, before)?;
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
            remaining[direction.index()] = if hop.ends {
                hop.latency.0
            } else {
                let passing = hop.latency.0 + hop.delay.0;
                passing.saturating_add(onward.min().unwrap_or(u64::MAX / 2))
            };
        }
        let firsts = order.iter().filter(|direction| first[direction.index()]);
        let window = firsts.map(|direction| remaining[direction.index()]).min()?;
        (SHORTEST..u64::MAX / 4).contains(&window).then_some(Self {
            order,
            place,
            remaining,
            first,
            window,
        })
    }
}

/// Directions used, each after all from which frames come to it; `None` when they go in circles.
fn in_order(
    used: &[bool],
    after: &[Vec<DirectionId>],
    mut before: Vec<u32>,
) -> Option<Vec<DirectionId>> {
    let all = (0_u32..).zip(used).filter(|(_, used)| **used);
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
