//! Which paths an I/O takes on an idle site, and which directions a frame takes on a path.

use super::idle::{Hop, KindTime};
use super::native;
use crate::model::{by_flow, by_position, flow_hash};
use crate::site::{Choose, Owner, PathPolicy, Site, Workload};
use crate::topology::{DirectionId, Fabric, NodeId, Path, PathSet, RouteContext, Routes};
use crate::wire::{Encapsulation, Family, Protocol};
use foldhash::fast::FixedState;
use std::collections::HashMap;
use std::sync::Arc;

/// Share of the frames of one flow on each direction that it may cross, hop by hop.
pub(crate) type Shares = Vec<(DirectionId, f64)>;

/// The same, looked at.
pub(crate) type Way<'a> = &'a [(DirectionId, f64)];

/// Nodes at a hop, each with the share that comes to it.
type Reached = Vec<(NodeId, f64)>;

/// Routes over the members that are there, computed when first asked for.
#[derive(Debug)]
pub(crate) struct Flows<'a> {
    fabric: &'a Fabric,
    alive: &'a [bool],
    routes: Arc<Routes>,
    times: Vec<TimesOver>,
    grain: Grain,
    /// Connections of the workload that is looked at, and the position of its host, where members are told apart.
    sender: (u32, usize),
    /// What lies between a node and the switch that ports hang on, by its number in the routes and the node: the same for all of these ports.
    between: HashMap<(usize, NodeId), Between, FixedState>,
    /// Room of walks: the nodes of a hop, and those of the next.
    room: (Reached, Reached),
    /// Room of both ways of a path, and of the hops of one.
    ways: (Shares, Shares),
    hops: Vec<(usize, DirectionId)>,
}

/// How the frames of a flow share the members that lead on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Grain {
    /// Evenly, as a hash does on the average.
    #[default]
    Bundles,
    /// Each flow on the member that its addresses give it, where those choose: as the runs have it.
    Members,
}

/// The times of a workload's I/Os over hops of a kind, there and back.
#[derive(Debug)]
struct TimesOver {
    workload: String,
    there: Vec<Hop>,
    back: Vec<Hop>,
    kinds: Vec<KindTime>,
}

/// The ways of all that comes to a node on to the switch that its destination hangs on.
#[derive(Debug, Default)]
struct Between {
    /// Hop, direction and share.
    shares: Vec<(usize, (DirectionId, f64))>,
    hops: usize,
    /// What of it arrives: all but for the rounding of sums.
    arrives: f64,
    /// Nowhere on the way is there a choice.
    alone: bool,
}

/// Connections that go the same way up to a node, each with that share of its frames.
struct Together {
    node: NodeId,
    share: f64,
    /// Rising.
    connections: Vec<u32>,
}

impl Together {
    /// Takes over others at the same node; gives them back where they cannot go on together.
    fn join(&mut self, other: Self) -> Option<Self> {
        if self.node != other.node {
            return Some(other);
        }
        if self.connections == other.connections {
            self.share += other.share;
            return None;
        }
        let own = |connection: &u32| self.connections.binary_search(connection).is_ok();
        if self.share != other.share || other.connections.iter().any(own) {
            return Some(other);
        }
        self.connections.extend(other.connections);
        self.connections.sort_unstable();
        None
    }
}

impl<'a> Flows<'a> {
    pub(crate) fn new(fabric: &'a Fabric, alive: &'a [bool]) -> Self {
        Self::with(fabric, alive, Arc::default())
    }

    /// Goes on with routes that were found before over the same members.
    pub(crate) fn with(fabric: &'a Fabric, alive: &'a [bool], routes: Arc<Routes>) -> Self {
        Self {
            fabric,
            alive,
            routes,
            times: Vec::new(),
            grain: Grain::Bundles,
            sender: (1, 0),
            between: HashMap::default(),
            room: Default::default(),
            ways: Default::default(),
            hops: Vec::new(),
        }
    }

    /// The same of another grain.
    pub(crate) const fn of(mut self, grain: Grain) -> Self {
        self.grain = grain;
        self
    }

    /// Of this workload, at this host, are the flows that are asked for next.
    pub(crate) fn of_work(&mut self, workload: &Workload, host: usize) -> &mut Self {
        self.sender = (workload.connections.max(1), host);
        self
    }

    /// The routes found so far.
    pub(crate) fn found(self) -> Arc<Routes> {
        self.routes
    }

    /// What `find` makes of a workload over these hops, found once: most hosts of a site reach their array alike.
    pub(super) fn times(
        &mut self,
        workload: &str,
        (there, back): (Vec<Hop>, Vec<Hop>),
        find: impl FnOnce(&[Hop], &[Hop]) -> Vec<KindTime>,
    ) -> &[KindTime] {
        let same =
            |own: &TimesOver| own.workload == workload && own.there == there && own.back == back;
        let known = self.times.iter().position(same);
        let place = known.unwrap_or_else(|| {
            let kinds = find(&there, &back);
            self.times.push(TimesOver {
                workload: workload.to_owned(),
                there,
                back,
                kinds,
            });
            self.times.len() - 1
        });
        &self.times[place].kinds
    }

    /// Directions from `from` to `to`, hop by hop; all that may be chosen at a hop stand together. Empty
    /// when there is no route.
    pub(crate) fn levels(
        &mut self,
        from: NodeId,
        to: NodeId,
        side: Option<crate::unit::Side>,
        family: Family,
    ) -> Vec<Shares> {
        let mut levels: Vec<Shares> = Vec::new();
        self.walk(from, (to, side, family), |level, one| {
            if levels.len() == level {
                levels.push(Vec::new());
            }
            levels[level].push(one);
        });
        levels
    }

    /// The same in one list: number of the hop and direction, hop by hop.
    pub(super) fn hop_by_hop(
        &mut self,
        from: NodeId,
        to: NodeId,
        side: Option<crate::unit::Side>,
        family: Family,
    ) -> &[(usize, DirectionId)] {
        let mut hops = std::mem::take(&mut self.hops);
        hops.clear();
        let each = |hop, (direction, _)| hops.push((hop, direction));
        self.walk(from, (to, side, family), each);
        self.hops = hops;
        &self.hops
    }

    /// Goes from `from` to a port and gives `each` the number of a hop and a direction that may be chosen there with its share, hop
    /// by hop, within a hop in the order of nodes.
    fn walk(
        &mut self,
        from: NodeId,
        (to, side, family): (NodeId, Option<crate::unit::Side>, Family),
        mut each: impl FnMut(usize, (DirectionId, f64)),
    ) {
        let context = RouteContext { family, side, to };
        let table = self.table(context);
        let (mut here, mut beyond) = std::mem::take(&mut self.room);
        here.push((from, 1.0));
        let mut level = 0;
        // Routes are shortest ones, so every step comes one hop closer and the walk ends.
        loop {
            let mut on = |hop: usize, one| each(level + hop, one);
            if let Some(hops) = self.take_over(table, &mut here, true, &mut on) {
                level += hops;
            }
            for (node, amount) in here.drain(..) {
                let next = self.routes.next(self.fabric, table, node);
                for direction in next {
                    let share = amount / super::count(next.len());
                    each(level, (*direction, share));
                    beyond.push((self.fabric.directions[direction.index()].to, share));
                }
            }
            if beyond.is_empty() {
                break;
            }
            gather(&mut here, &mut beyond);
            level += 1;
        }
        self.room = (here, beyond);
    }

    fn table(&mut self, context: RouteContext) -> u32 {
        Routes::shared_table(&mut self.routes, self.fabric, self.alive, context)
    }

    /// Takes all of a flow from a node on to the switch that its destination hangs on, and says over how many hops; `None` where it does not hang on one, where that is
    /// the node itself, or, unless a `choice` is no matter, where there is one on the way.
    fn take_over(
        &mut self,
        table: u32,
        here: &mut [(NodeId, f64)],
        choice: bool,
        each: &mut impl FnMut(usize, (DirectionId, f64)),
    ) -> Option<usize> {
        let [(node, amount)] = here else { return None };
        let (switch, base) = self.routes.over(table)?;
        if *amount != 1.0 || *node == switch {
            return None;
        }
        let (routes, fabric) = (&self.routes, self.fabric);
        let between = self.between.entry((base, *node)).or_insert_with(|| {
            let mut found = Between {
                alone: true,
                ..Between::default()
            };
            let (mut here, mut beyond) = (vec![(*node, 1.0)], Vec::new());
            // All ways are the shortest ones, and come to the switch together.
            while here.iter().any(|(node, _)| *node != switch) {
                for (node, amount) in here.drain(..) {
                    let next = routes.next(fabric, table, node);
                    found.alone &= next.len() == 1;
                    for direction in next {
                        let share = amount / super::count(next.len());
                        found.shares.push((found.hops, (*direction, share)));
                        beyond.push((fabric.directions[direction.index()].to, share));
                    }
                }
                gather(&mut here, &mut beyond);
                found.hops += 1;
            }
            found.arrives = here.iter().map(|(_, share)| share).sum();
            found
        });
        if between.hops == 0 || between.arrives <= 0.0 || !choice && !between.alone {
            return None;
        }
        for (level, one) in &between.shares {
            each(*level, *one);
        }
        here[0] = (switch, between.arrives);
        Some(between.hops)
    }

    /// The same for the one flow of a sender with one connection, on the members that its addresses give it.
    fn walk_alone(
        &mut self,
        from: NodeId,
        (to, side, family): (NodeId, Option<crate::unit::Side>, Family),
        mut each: impl FnMut((DirectionId, f64)),
    ) {
        let context = RouteContext { family, side, to };
        let table = self.table(context);
        let hash = flow_hash(self.fabric, from, to, 0);
        let (mut here, mut beyond) = std::mem::take(&mut self.room);
        here.push((from, 1.0));
        while !here.is_empty() {
            self.take_over(table, &mut here, false, &mut |_, one| each(one));
            for (node, amount) in here.drain(..) {
                let next = self.routes.next(self.fabric, table, node);
                let Some(first) = next.first() else { continue };
                let salt = self.fabric.nodes[node.0 as usize].digest;
                let chosen = match self.fabric.directions[first.index()].choose {
                    Choose::Flow if next.len() > 1 => {
                        std::slice::from_ref(&next[by_flow(hash, salt, next.len())])
                    }
                    Choose::Pinned => {
                        std::slice::from_ref(&next[by_position(self.sender.1 as u64, next.len())])
                    }
                    Choose::Flow | Choose::Exchange | Choose::Frame => next,
                };
                let share = amount / super::count(chosen.len());
                for direction in chosen {
                    each((*direction, share));
                    beyond.push((self.fabric.directions[direction.index()].to, share));
                }
            }
            gather(&mut here, &mut beyond);
        }
        self.room = (here, beyond);
    }

    /// The same for the flows of all connections of the sender, each on the member that its addresses give it. Those that go the same
    /// way go it together, so that many connections over one member cost no more than one.
    fn walk_by_flow(
        &mut self,
        from: NodeId,
        (to, side, family): (NodeId, Option<crate::unit::Side>, Family),
        mut each: impl FnMut((DirectionId, f64)),
    ) {
        let connections = self.sender.0;
        if connections == 1 {
            return self.walk_alone(from, (to, side, family), each);
        }
        let context = RouteContext { family, side, to };
        let table = self.table(context);
        let hash = |connection: u32| flow_hash(self.fabric, from, to, connection);
        let hashes: Vec<u64> = (0..connections).map(hash).collect();
        let all = super::count(hashes.len());
        let mut here = vec![Together {
            node: from,
            share: 1.0 / all,
            connections: (0..connections).collect(),
        }];
        let mut beyond: Vec<Together> = Vec::new();
        while !here.is_empty() {
            for own in here.drain(..) {
                let next = self.routes.next(self.fabric, table, own.node);
                // Where there is no choice they stay together.
                if let [only] = next {
                    each((*only, own.share * super::count(own.connections.len())));
                    let node = self.fabric.directions[only.index()].to;
                    beyond.push(Together { node, ..own });
                    continue;
                }
                for (direction, share, connections) in self.members_of(&own, next, &hashes) {
                    each((direction, share * super::count(connections.len())));
                    beyond.push(Together {
                        node: self.fabric.directions[direction.index()].to,
                        share,
                        connections,
                    });
                }
            }
            beyond.sort_by_key(|own| own.node);
            for own in beyond.drain(..) {
                let rest = match here.last_mut() {
                    Some(last) => last.join(own),
                    None => Some(own),
                };
                here.extend(rest);
            }
        }
    }

    /// Which of the next hops these connections are sent over, with the share of each one that goes there: where addresses choose, the
    /// member that they give it; where exchanges or frames do, all.
    fn members_of(
        &self,
        own: &Together,
        next: &[DirectionId],
        hashes: &[u64],
    ) -> Vec<(DirectionId, f64, Vec<u32>)> {
        let Some(first) = next.first() else {
            return Vec::new();
        };
        let salt = self.fabric.nodes[own.node.0 as usize].digest;
        match self.fabric.directions[first.index()].choose {
            Choose::Flow if next.len() > 1 => {
                let mut by_member = vec![Vec::new(); next.len()];
                for connection in &own.connections {
                    let hash = hashes[*connection as usize];
                    by_member[by_flow(hash, salt, next.len())].push(*connection);
                }
                let used = next.iter().zip(by_member);
                let used = used.filter(|(_, connections)| !connections.is_empty());
                used.map(|(direction, connections)| (*direction, own.share, connections))
                    .collect()
            }
            Choose::Pinned => {
                let index = by_position(self.sender.1 as u64, next.len());
                vec![(next[index], own.share, own.connections.clone())]
            }
            Choose::Flow | Choose::Exchange | Choose::Frame => {
                let share = own.share / super::count(next.len());
                let one = |direction: &DirectionId| (*direction, share, own.connections.clone());
                next.iter().map(one).collect()
            }
        }
    }

    /// The first hop of [`levels`](Self::levels).
    pub(crate) fn first_level(
        &mut self,
        from: NodeId,
        to: NodeId,
        side: Option<crate::unit::Side>,
        family: Family,
    ) -> Shares {
        let context = RouteContext { family, side, to };
        let table = self.table(context);
        let next = self.routes.next(self.fabric, table, from);
        let share = 1.0 / super::count(next.len());
        next.iter().map(|direction| (*direction, share)).collect()
    }

    /// Shares on the way to the array, and on the way back.
    pub(crate) fn both_ways(&mut self, path: &Path, family: Family) -> (Way<'_>, Way<'_>) {
        let (host, array) = (path.host_port, path.array_port);
        let (mut there, mut back) = std::mem::take(&mut self.ways);
        for (from, to, shares) in [(host, array, &mut there), (array, host, &mut back)] {
            shares.clear();
            let context = (to, path.side, family);
            match self.grain {
                Grain::Bundles => self.walk(from, context, |_, one| shares.push(one)),
                Grain::Members => self.walk_by_flow(from, context, |one| shares.push(one)),
            }
        }
        self.ways = (there, back);
        (&self.ways.0, &self.ways.1)
    }

    /// Hops, and propagation, FEC and forwarding in ps along the first of the equal next hops.
    fn distance(&mut self, path: &Path, family: Family) -> (usize, u64) {
        let levels = self.levels(path.host_port, path.array_port, path.side, family);
        let mut node = path.host_port;
        let mut latency = 0;
        for level in &levels {
            let first = level
                .iter()
                .map(|(direction, _)| &self.fabric.directions[direction.index()])
                .find(|direction| direction.from == node);
            if let Some(direction) = first {
                node = direction.to;
                latency += direction.latency.0 + self.fabric.nodes[node.0 as usize].delay.0;
            }
        }
        (levels.len(), latency)
    }
}

/// The nodes that were reached, each with all of its shares. The same node reached twice has both; a stable sort adds them in the order in
/// which they were found.
fn gather(here: &mut Reached, beyond: &mut Reached) {
    beyond.sort_by_key(|(node, _)| *node);
    for (node, share) in beyond.drain(..) {
        match here.last_mut() {
            Some((same, sum)) if *same == node => *sum += share,
            _ => here.push((node, share)),
        }
    }
}

/// Share of a workload's I/Os at one host that each path of the set takes, while no queue is full: even
/// over those the policy would use. The shares add up to 1 unless there is no path.
pub(crate) fn path_weights(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
    workload: &Workload,
) -> Vec<f64> {
    let mut weights = vec![0.0; set.paths.len()];
    for (share, chosen) in preferred(site, fabric, flows, set, workload) {
        for path in &chosen {
            weights[*path] += share / super::count(chosen.len());
        }
    }
    weights
}

/// Shares of a workload's I/Os at one host, and the paths that each takes as long as one of them stands, full or not: of those
/// it is free to take ([`groups`]) the ones that the host's policy prefers.
pub(super) fn preferred(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
    workload: &Workload,
) -> Vec<(f64, Vec<usize>)> {
    let policy = site.hosts[fabric.hosts[set.host].family].paths;
    let groups = groups(site, fabric, set, workload).into_iter();
    let chosen = groups.map(|(share, free)| (share, choose(policy, flows, set, &free)));
    chosen.collect()
}

/// Shares of a workload's I/Os at one host, and the paths that each is free to take: those over the port in use where a team has
/// the set, and those to the owner of the volumes where they have owners.
pub(super) fn groups(
    site: &Site,
    fabric: &Fabric,
    set: &PathSet,
    workload: &Workload,
) -> Vec<(f64, Vec<usize>)> {
    let host = &fabric.hosts[set.host];
    let files = matches!(workload.protocol, Protocol::Nfs(_));
    let ports = set.team_ports(site.hosts[host.family].team, files, host.index);
    let in_use = ports.and_then(|ports| ports.first().copied());
    let over = |index: &usize| in_use.is_none_or(|port| set.paths[*index].host_port == port);
    let own: Vec<usize> = (0..set.paths.len()).filter(over).collect();
    match workload.owner {
        Owner::Any => vec![(1.0, own)],
        Owner::Alternate => owner_groups(site, fabric, set, workload, &own),
    }
}

/// For each controller the share of the volumes it owns, and the paths they are reached over: its own
/// while there is one, else all of `paths`.
fn owner_groups(
    site: &Site,
    fabric: &Fabric,
    set: &PathSet,
    workload: &Workload,
    paths: &[usize],
) -> Vec<(f64, Vec<usize>)> {
    let controllers = site.arrays[set.array].controllers.max(1);
    let volumes = workload.volumes.max(1);
    (0..controllers)
        .map(|owner| {
            let owned = volumes / controllers + u32::from(owner < volumes % controllers);
            let own =
                |index: &usize| fabric.controllers[set.paths[*index].controller].index == owner;
            let own: Vec<usize> = paths.iter().copied().filter(own).collect();
            let reached_over = if own.is_empty() { paths.to_vec() } else { own };
            (f64::from(owned) / f64::from(volumes), reached_over)
        })
        .collect()
}

fn choose(
    policy: PathPolicy,
    flows: &mut Flows<'_>,
    set: &PathSet,
    candidates: &[usize],
) -> Vec<usize> {
    match policy {
        PathPolicy::OnePath => candidates.iter().take(1).copied().collect(),
        PathPolicy::Nearest => {
            let far: Vec<(usize, u64)> = candidates
                .iter()
                .map(|index| flows.distance(&set.paths[*index], set.family))
                .collect();
            let least = far.iter().min().copied();
            candidates
                .iter()
                .zip(far)
                .filter(|(_, own)| Some(*own) == least)
                .map(|(index, _)| *index)
                .collect()
        }
        PathPolicy::RoundRobin
        | PathPolicy::LeastQueue
        | PathPolicy::LeastBytes
        | PathPolicy::Random => candidates.to_vec(),
    }
}

/// How frames of a protocol are wrapped on a direction; `None` where they cannot cross it.
pub(crate) fn encapsulation_on(
    fabric: &Fabric,
    protocol: &Protocol,
    direction: DirectionId,
) -> Option<Encapsulation> {
    fabric.directions[direction.index()]
        .medium
        .map_or(Some(native(protocol)), |medium| {
            protocol.encapsulation(medium)
        })
}
