//! The site as a graph whose vertices are all its parts, coloured by what they are.

use crate::site::{Arrivals, Choose, Owner, PathPolicy, Site};
use crate::topology::{Fabric, MemberId, NodeKind};
use crate::unit::mix_pair;
use crate::wire::Protocol;
use std::collections::BTreeMap;

/// A part as a vertex of the graph.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Vertex {
    /// A port or a switch: index into [`Fabric::nodes`].
    Node(usize),
    /// A member: index into [`Fabric::members`].
    Member(usize),
    /// A host: index into [`Fabric::hosts`].
    Host(usize),
    /// An adapter with the ports of a host that are on it, by name.
    Adapter(String),
    /// A controller: index into [`Fabric::controllers`].
    Controller(usize),
    /// A chassis: index into [`Fabric::chassis`].
    Chassis(usize),
    /// All members between two nodes, by name.
    Bundle(String),
    /// A cage, by name.
    Cage(String),
    /// A group of one fate, which stands in nobody's place: it is no vertex of the graph.
    Group(usize),
}

/// The graph: first colours and neighbours of every vertex.
#[derive(Debug)]
pub(super) struct Graph {
    index: BTreeMap<Vertex, usize>,
    colours: Vec<u64>,
    /// Neighbours of a vertex, each with the kind of the joint.
    joints: Vec<Vec<(u64, usize)>>,
}

/// Kinds of joints: which end of a member a node is matters, everything else is told apart by its ends.
const NEAR: u64 = 1;
const FAR: u64 = 2;
const PART_OF: u64 = 3;
/// Mixed into the colour of the part that is singled out.
const SINGLED: u64 = 0x5349_4e47_4c45_4444;

impl Graph {
    /// The graph of a site in which the members `gone` are out of service.
    pub(super) fn new(site: &Site, fabric: &Fabric, gone: &[MemberId]) -> Self {
        let mut graph = Self {
            index: BTreeMap::new(),
            colours: Vec::new(),
            joints: Vec::new(),
        };
        let order = Order::of(site);
        graph.add_parts(site, fabric, order);
        graph.tell_teams_apart(site, fabric);
        for (index, member) in fabric.members.iter().enumerate() {
            let out = gone.iter().any(|gone| gone.0 as usize == index);
            let own = Vertex::Member(index);
            let place = order.place_if(order.members, index as u64);
            graph.add(
                own.clone(),
                &[20, member.family as u64, u64::from(out), place],
            );
            let bundle = Vertex::Bundle(member.bundle.clone());
            graph.add(bundle.clone(), &[21, member.family as u64]);
            graph.join(&own, &Vertex::Node(member.near.0 as usize), NEAR);
            graph.join(&own, &Vertex::Node(member.far.0 as usize), FAR);
            graph.join(&own, &bundle, PART_OF);
            if let Some(cage) = &member.cage {
                let cage = Vertex::Cage(cage.clone());
                graph.add(cage.clone(), &[22, member.family as u64]);
                graph.join(&own, &cage, PART_OF);
            }
        }
        graph
    }

    fn add_parts(&mut self, site: &Site, fabric: &Fabric, order: Order) {
        for (index, (family, _, _)) in fabric.chassis.iter().enumerate() {
            self.add(Vertex::Chassis(index), &[1, *family as u64]);
        }
        let chassis = |at: Option<(usize, u32)>| {
            let known = |(family, number, _): &(usize, u32, String)| at == Some((*family, *number));
            fabric.chassis.iter().position(known).map(Vertex::Chassis)
        };
        for (index, host) in fabric.hosts.iter().enumerate() {
            let place = order.place_if(order.members, index as u64);
            let colour = [2, host.family as u64, copies(site, fabric, index), place];
            self.add(Vertex::Host(index), &colour);
            if let Some(chassis) = chassis(host.chassis) {
                self.join(&Vertex::Host(index), &chassis, PART_OF);
            }
        }
        for (index, controller) in fabric.controllers.iter().enumerate() {
            let place = order.place_if(order.paths, index as u64);
            let owned = volumes(site, controller.array, controller.index);
            let colour = [3, controller.array as u64, owned, place];
            self.add(Vertex::Controller(index), &colour);
        }
        for (index, node) in fabric.nodes.iter().enumerate() {
            let side = node
                .side
                .map_or(0, |side| 1 + u64::from(side != site.run.first));
            let place = order.place_if(order.paths, side * 1_000_000 + u64::from(node.port));
            let own = Vertex::Node(index);
            match node.kind {
                NodeKind::HostPort(host) => {
                    self.add(own.clone(), &[4, place]);
                    self.join(&own, &Vertex::Host(host as usize), PART_OF);
                    if let Some(adapter) = &node.adapter {
                        let adapter = Vertex::Adapter(adapter.clone());
                        self.add(adapter.clone(), &[7]);
                        self.join(&own, &adapter, PART_OF);
                    }
                }
                NodeKind::ArrayPort(controller) => {
                    self.add(own.clone(), &[5, place]);
                    self.join(&own, &Vertex::Controller(controller as usize), PART_OF);
                }
                NodeKind::Switch(switch) => {
                    let switch = &fabric.switches[switch as usize];
                    self.add(own.clone(), &[6, switch.family as u64, place]);
                    if let Some(chassis) = chassis(switch.chassis) {
                        self.join(&own, &chassis, PART_OF);
                    }
                }
            }
        }
    }

    /// A port that a team uses first stands in another place than one that stands by.
    fn tell_teams_apart(&mut self, site: &Site, fabric: &Fabric) {
        for set in fabric.path_sets(site, &fabric.all_alive()) {
            let host = &fabric.hosts[set.host];
            let files = matches!(site.workloads[set.workloads[0]].protocol, Protocol::Nfs(_));
            let team = set.team_ports(site.hosts[host.family].team, files, host.index);
            for (rank, port) in (1..).zip(team.unwrap_or_default()) {
                if let Some(at) = self.index.get(&Vertex::Node(port.0 as usize)) {
                    self.colours[*at] = mix_pair(self.colours[*at], rank);
                }
            }
        }
    }

    /// Adds a vertex that is not there yet, coloured by these numbers.
    fn add(&mut self, vertex: Vertex, colour: &[u64]) {
        if !self.index.contains_key(&vertex) {
            self.index.insert(vertex, self.colours.len());
            self.colours
                .push(colour.iter().fold(0, |all, one| mix_pair(all, *one)));
            self.joints.push(Vec::new());
        }
    }

    fn join(&mut self, one: &Vertex, other: &Vertex, kind: u64) {
        if let (Some(one), Some(other)) = (self.index.get(one), self.index.get(other)) {
            self.joints[*one].push((kind, *other));
            self.joints[*other].push((kind, *one));
        }
    }

    /// A number that is the same for parts in the same place: that of the whole graph, coloured anew until no
    /// more vertices can be told apart, with this part singled out. `None` when the part is unknown.
    pub(super) fn print_of(&self, part: &Vertex) -> Option<u64> {
        let at = *self.index.get(part)?;
        let mut colours = self.colours.clone();
        colours[at] = mix_pair(colours[at], SINGLED);
        let mut told_apart = distinct(&colours);
        loop {
            let next: Vec<u64> = (0..colours.len())
                .map(|vertex| {
                    // A sum does not depend on the order of the neighbours.
                    let around = self.joints[vertex]
                        .iter()
                        .fold(0_u64, |sum, (kind, other)| {
                            sum.wrapping_add(mix_pair(*kind, colours[*other]))
                        });
                    mix_pair(colours[vertex], around)
                })
                .collect();
            let now = distinct(&next);
            colours = next;
            if now == told_apart {
                let sum = colours
                    .iter()
                    .fold(0, |sum: u64, colour| sum.wrapping_add(mix_pair(*colour, 0)));
                return Some(mix_pair(sum, colours[at]));
            }
            told_apart = now;
        }
    }
}

fn distinct(colours: &[u64]) -> usize {
    let mut sorted = colours.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    sorted.len()
}

/// Where the position of a part matters, and not only what it is joined to.
#[derive(Clone, Copy, Debug)]
struct Order {
    /// Some host always takes the first path.
    paths: bool,
    /// Some link has senders pinned to members.
    members: bool,
}

impl Order {
    fn of(site: &Site) -> Self {
        let first_path = |policy: PathPolicy| match policy {
            PathPolicy::OnePath => true,
            PathPolicy::RoundRobin
            | PathPolicy::LeastQueue
            | PathPolicy::LeastBytes
            | PathPolicy::Nearest
            | PathPolicy::Random => false,
        };
        let pinned = site.links.iter().any(|link| link.choose == Choose::Pinned);
        Self {
            paths: pinned || site.hosts.iter().any(|host| first_path(host.paths)),
            members: pinned,
        }
    }

    const fn place_if(self, matters: bool, place: u64) -> u64 {
        if matters { 1 + place } else { 0 }
    }
}

/// Volumes that a controller owns, over all workloads that say who owns them.
fn volumes(site: &Site, array: usize, controller: u32) -> u64 {
    let controllers = site.arrays[array].controllers.max(1);
    site.workloads
        .iter()
        .filter(|work| work.array == array && work.owner == Owner::Alternate)
        .map(|work| {
            let (each, rest) = (work.volumes / controllers, work.volumes % controllers);
            u64::from(each + u32::from(controller < rest))
        })
        .fold(0, mix_pair)
}

/// Copies of a trace that a host replays, over all workloads that replay one: they are dealt.
fn copies(site: &Site, fabric: &Fabric, host: usize) -> u64 {
    let family = fabric.hosts[host].family;
    site.workloads
        .iter()
        .filter(|work| work.hosts.contains(&family))
        .map(|work| {
            let Arrivals::Replay(replay) = &work.arrivals else {
                return 0;
            };
            let issuing: Vec<usize> = (0..fabric.hosts.len())
                .filter(|host| work.hosts.contains(&fabric.hosts[*host].family))
                .collect();
            let hosts = u32::try_from(issuing.len()).unwrap_or(u32::MAX).max(1);
            let position = issuing.iter().position(|other| *other == host).unwrap_or(0);
            let rest = (replay.copies % hosts) as usize;
            u64::from(replay.copies / hosts) + u64::from(position < rest)
        })
        .fold(0, mix_pair)
}
