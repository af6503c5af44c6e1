//! Next hops by destination: shortest paths within one fabric, equal costs shared.

use super::build::Fabric;
use super::part::{DirectionId, NodeId, NodeKind};
use crate::site::Carries;
use crate::unit::Side;
use crate::wire::Family;
use std::collections::{BTreeMap, VecDeque};

/// What a route depends on.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct RouteContext {
    /// What links must carry.
    pub family: Family,
    /// Fabric of the host port; parts of the other side are never crossed.
    pub side: Option<Side>,
    /// Port to be reached.
    pub to: NodeId,
}

/// For each context and node the directions that lead on, in order of creation; members of link groups and
/// equal-cost next hops alike.
#[derive(Clone, Debug, Default)]
pub struct Routes {
    index: BTreeMap<RouteContext, u32>,
    /// Start and length in `next`, by table × nodes + node.
    spans: Vec<(u32, u32)>,
    nodes: usize,
    tables: u32,
    next: Vec<DirectionId>,
}

impl Routes {
    /// Number of the table of a context, computed when first asked for.
    pub fn table(&mut self, fabric: &Fabric, alive: &[bool], context: RouteContext) -> u32 {
        if let Some(table) = self.index.get(&context) {
            return *table;
        }
        let table = self.tables;
        self.tables += 1;
        self.nodes = fabric.nodes.len();
        let distance = distances(fabric, alive, context);
        for node in &fabric.nodes {
            let start = self.next.len();
            for direction in &node.out {
                if usable(fabric, alive, context, *direction)
                    && leads_closer(fabric, &distance, *direction)
                {
                    self.next.push(*direction);
                }
            }
            let length = self.next.len() - start;
            self.spans.push((
                u32::try_from(start).unwrap_or(u32::MAX),
                u32::try_from(length).unwrap_or(u32::MAX),
            ));
        }
        self.index.insert(context, table);
        table
    }

    /// The directions that lead from `node` to the table's destination; empty when there is no route.
    #[must_use]
    pub fn next(&self, table: u32, node: NodeId) -> &[DirectionId] {
        let (start, length) = self.spans[table as usize * self.nodes + node.0 as usize];
        &self.next[start as usize..(start + length) as usize]
    }

    /// The same tables, numbers unchanged, for another set of members alive.
    #[must_use]
    pub fn again(&self, fabric: &Fabric, alive: &[bool]) -> Self {
        let mut contexts: Vec<(RouteContext, u32)> =
            self.index.iter().map(|(c, t)| (*c, *t)).collect();
        contexts.sort_by_key(|(_, table)| *table);
        let mut fresh = Self::default();
        for (context, _) in contexts {
            fresh.table(fabric, alive, context);
        }
        fresh
    }
}

/// Whether a direction may be used in a context.
fn usable(fabric: &Fabric, alive: &[bool], context: RouteContext, direction: DirectionId) -> bool {
    let member = &fabric.members[direction.member().0 as usize];
    let carried = match (context.family, fabric.directions[direction.index()].carries) {
        (_, Carries::All)
        | (Family::Any, _)
        | (Family::Fc, Carries::Fc)
        | (Family::Ip, Carries::Ip) => true,
        (Family::Fc, Carries::Ip) | (Family::Ip, Carries::Fc) => false,
    };
    let same_fabric =
        member.side.is_none() || context.side.is_none() || member.side == context.side;
    alive[direction.member().0 as usize] && carried && same_fabric
}

fn leads_closer(fabric: &Fabric, distance: &[u32], direction: DirectionId) -> bool {
    let Some(ends) = fabric.directions.get(direction.index()) else {
        return false;
    };
    let (from, to) = (distance[ends.from.0 as usize], distance[ends.to.0 as usize]);
    to != u32::MAX && from == to + 1
}

/// Hops from every node to the destination; only switches pass frames on.
fn distances(fabric: &Fabric, alive: &[bool], context: RouteContext) -> Vec<u32> {
    let mut distance = vec![u32::MAX; fabric.nodes.len()];
    distance[context.to.0 as usize] = 0;
    let mut open = VecDeque::from([context.to]);
    while let Some(node) = open.pop_front() {
        let here = distance[node.0 as usize];
        for out in &fabric.nodes[node.0 as usize].out {
            // The direction that leads here is the other one of the same member.
            let inward = DirectionId(out.0 ^ 1);
            let neighbour = fabric.directions[out.index()].to;
            if distance[neighbour.0 as usize] != u32::MAX || !usable(fabric, alive, context, inward)
            {
                continue;
            }
            distance[neighbour.0 as usize] = here + 1;
            if matches!(fabric.nodes[neighbour.0 as usize].kind, NodeKind::Switch(_)) {
                open.push_back(neighbour);
            }
        }
    }
    distance
}
