//! Next hops by destination: shortest paths within one fabric, equal costs shared.

use super::build::Fabric;
use super::part::{DirectionId, NodeId, NodeKind};
use crate::site::Carries;
use crate::unit::Side;
use crate::wire::Family;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

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
///
/// No frame goes from a host to a host or from an array to an array, so a table towards a host knows
/// nothing of other hosts, and one towards an array nothing of other arrays. Ports behind one switch share
/// what is known of the way to it. On large sites that is most of the work and of the memory.
#[derive(Clone, Debug, Default)]
pub struct Routes {
    /// The tables towards each node, by its number, with their contexts: few each.
    index: Vec<Vec<(RouteContext, u32)>>,
    tables: Vec<Table>,
    /// Where the spans of the ways to a switch that ports of one kind hang on begin.
    trees: BTreeMap<(usize, RouteContext), usize>,
    /// Start and length in `next`, by table and the places of its nodes.
    spans: Vec<(u32, u32)>,
    next: Vec<DirectionId>,
}

/// Where a table's spans begin, and which nodes they are of.
#[derive(Clone, Copy, Debug)]
struct Table {
    base: usize,
    known: usize,
    /// The one switch that the destination hangs on, and its own span: the others are those of the switch.
    last: Option<(NodeId, (u32, u32))>,
}

/// The nodes that tables of one kind know of.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    nodes: Vec<NodeId>,
    /// Position in `nodes`, by node; `NONE` for those left out.
    place: Vec<u32>,
    /// Directions that leave a node for one that is known, in order of creation.
    out: Vec<Vec<DirectionId>>,
}

const NONE: u32 = u32::MAX;
const TOWARDS_HOSTS: usize = 0;
const TOWARDS_ARRAYS: usize = 1;

impl Known {
    /// What tables towards hosts, and those towards arrays, know of.
    pub(super) fn both(fabric: &Fabric) -> [Self; 2] {
        [
            Self::new(fabric, |kind| matches!(kind, NodeKind::HostPort(_))),
            Self::new(fabric, |kind| matches!(kind, NodeKind::ArrayPort(_))),
        ]
    }

    fn new(fabric: &Fabric, left_out: impl Fn(&NodeKind) -> bool) -> Self {
        let mut nodes = Vec::new();
        let mut place = vec![NONE; fabric.nodes.len()];
        for (id, node) in (0_u32..).zip(&fabric.nodes) {
            if !left_out(&node.kind) {
                place[id as usize] = u32::try_from(nodes.len()).unwrap_or(NONE);
                nodes.push(NodeId(id));
            }
        }
        let inner = |direction: &DirectionId| {
            place[fabric.directions[direction.index()].to.0 as usize] != NONE
        };
        let out = fabric
            .nodes
            .iter()
            .map(|node| node.out.iter().copied().filter(inner).collect())
            .collect();
        Self { nodes, place, out }
    }
}

impl Routes {
    /// Number of the table of a context in routes that others may go on with: they are copied only where it is missing.
    pub fn shared_table(
        this: &mut Arc<Self>,
        fabric: &Fabric,
        alive: &[bool],
        context: RouteContext,
    ) -> u32 {
        match this.known(context) {
            Some(table) => table,
            None => Arc::make_mut(this).table(fabric, alive, context),
        }
    }

    fn known(&self, context: RouteContext) -> Option<u32> {
        let mut known = self.index.get(context.to.0 as usize).into_iter().flatten();
        let found = known.find(|(own, _)| *own == context)?;
        Some(found.1)
    }

    /// The one switch that the destination of a table hangs on, and a number that all tables have in common that lead over it alike.
    #[must_use]
    pub fn over(&self, table: u32) -> Option<(NodeId, usize)> {
        let table = self.tables[table as usize];
        table.last.map(|(switch, _)| (switch, table.base))
    }

    /// Number of the table of a context, computed when first asked for.
    pub fn table(&mut self, fabric: &Fabric, alive: &[bool], context: RouteContext) -> u32 {
        let to = context.to.0 as usize;
        if let Some(table) = self.known(context) {
            return table;
        }
        let which = match fabric.nodes[context.to.0 as usize].kind {
            NodeKind::HostPort(_) => TOWARDS_HOSTS,
            NodeKind::Switch(_) | NodeKind::ArrayPort(_) => TOWARDS_ARRAYS,
        };
        let table = u32::try_from(self.tables.len()).unwrap_or(u32::MAX);
        let entry = if let Some((switch, links)) = only_switch(fabric, alive, context) {
            let start = self.next.len();
            self.next.extend(links);
            let to_switch = RouteContext {
                to: switch,
                ..context
            };
            let span = self.span_since(start);
            let base = match self.trees.get(&(which, to_switch)) {
                Some(base) => *base,
                None => self.tree(fabric, alive, &fabric.known[which], to_switch),
            };
            self.trees.insert((which, to_switch), base);
            Table {
                base,
                known: which,
                last: Some((switch, span)),
            }
        } else {
            Table {
                base: self.tree(fabric, alive, &fabric.known[which], context),
                known: which,
                last: None,
            }
        };
        self.tables.push(entry);
        if self.index.len() <= to {
            self.index.resize(fabric.nodes.len(), Vec::new());
        }
        self.index[to].push((context, table));
        table
    }

    /// Adds the spans of all known nodes; returns where they begin.
    fn tree(
        &mut self,
        fabric: &Fabric,
        alive: &[bool],
        known: &Known,
        context: RouteContext,
    ) -> usize {
        #[cfg(test)]
        TREES.set(TREES.get() + 1);
        let base = self.spans.len();
        let distance = distances(fabric, alive, known, context);
        let last = &fabric.nodes[context.to.0 as usize].out;
        for node in &known.nodes {
            let start = self.next.len();
            let here = distance[node.0 as usize];
            let mut add = |direction: DirectionId| {
                let ends = &fabric.directions[direction.index()];
                if ends.from == *node
                    && distance[ends.to.0 as usize] == here - 1
                    && usable(fabric, alive, context, direction)
                {
                    self.next.push(direction);
                }
            };
            match here {
                0 | NONE => {}
                // Its neighbours one nearer are the destination itself.
                1 => last.iter().for_each(|out| add(DirectionId(out.0 ^ 1))),
                _ => known.out[node.0 as usize].iter().copied().for_each(add),
            }
            let span = self.span_since(start);
            self.spans.push(span);
        }
        base
    }

    /// Start and length of what has been added to `next` since it had `start` entries.
    fn span_since(&self, start: usize) -> (u32, u32) {
        let short = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
        (short(start), short(self.next.len() - start))
    }

    /// The directions that lead from `node` to the table's destination; empty when there is no route.
    #[must_use]
    pub fn next(&self, fabric: &Fabric, table: u32, node: NodeId) -> &[DirectionId] {
        self.listed(self.span(fabric, table, node))
    }

    /// The same as a place in the list of all next hops, and how many they are: for [`listed`](Self::listed).
    #[must_use]
    pub fn span(&self, fabric: &Fabric, table: u32, node: NodeId) -> (u32, u32) {
        let table = self.tables[table as usize];
        match table.last {
            Some((last, span)) if last == node => span,
            _ => match fabric.known[table.known].place[node.0 as usize] {
                NONE => (0, 0),
                place => self.spans[table.base + place as usize],
            },
        }
    }

    /// The directions of a [`span`](Self::span) of these routes.
    ///
    /// # Panics
    /// When the span is of other routes and lies beyond the end of these.
    #[must_use]
    #[inline]
    pub fn listed(&self, (start, count): (u32, u32)) -> &[DirectionId] {
        &self.next[start as usize..(start + count) as usize]
    }

    /// The same tables, numbers unchanged, for another set of members alive.
    #[must_use]
    pub fn again(&self, fabric: &Fabric, alive: &[bool]) -> Self {
        let mut contexts: Vec<(RouteContext, u32)> = self.index.iter().flatten().copied().collect();
        contexts.sort_by_key(|(_, table)| *table);
        let mut fresh = Self::default();
        for (context, _) in contexts {
            fresh.table(fabric, alive, context);
        }
        fresh
    }
}

#[cfg(test)]
thread_local! {
    /// Searches for the ways to a part on this thread: tests hold that they are not made again.
    pub(crate) static TREES: std::cell::Cell<u64> = const { std::cell::Cell::new(0) };
}

/// The switch that a port hangs on, if it is one, and the usable directions from there to the port.
fn only_switch(
    fabric: &Fabric,
    alive: &[bool],
    context: RouteContext,
) -> Option<(NodeId, Vec<DirectionId>)> {
    let out = &fabric.nodes[context.to.0 as usize].out;
    let switch = fabric.directions[out.first()?.index()].to;
    if !matches!(fabric.nodes[switch.0 as usize].kind, NodeKind::Switch(_)) {
        return None;
    }
    let alone = |direction: &DirectionId| fabric.directions[direction.index()].to == switch;
    let links: Vec<DirectionId> = out
        .iter()
        .map(|out| DirectionId(out.0 ^ 1))
        .filter(|inward| usable(fabric, alive, context, *inward))
        .collect();
    // Without a link there is no way at all, from anywhere.
    (out.iter().all(alone) && !links.is_empty()).then_some((switch, links))
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

/// Hops from every known node to the destination; only switches pass frames on.
fn distances(fabric: &Fabric, alive: &[bool], known: &Known, context: RouteContext) -> Vec<u32> {
    let mut distance = vec![NONE; fabric.nodes.len()];
    distance[context.to.0 as usize] = 0;
    let mut open = VecDeque::from([context.to]);
    while let Some(node) = open.pop_front() {
        let here = distance[node.0 as usize];
        for out in &known.out[node.0 as usize] {
            // The direction that leads here is the other one of the same member.
            let inward = DirectionId(out.0 ^ 1);
            let neighbour = fabric.directions[out.index()].to;
            if distance[neighbour.0 as usize] != NONE || !usable(fabric, alive, context, inward) {
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
