//! Expansion of families into nodes and members.

use super::part::{
    Controller, Direction, DirectionId, HostInstance, Member, MemberId, Node, NodeId, NodeKind,
    SwitchInstance,
};
use super::route::Known;
use crate::site::{
    AdapterPer, Cage, End, Fabric as Where, Forwarding, Lag, LinkFamily, Numbered, Site, Wiring,
};
use crate::unit::{Duration, Side, name_hash};
use std::collections::{BTreeMap, BTreeSet};

/// Numbers in the names of switches count as such below this.
const NUMBER_MAX: u32 = 4_096;

/// A site expanded: every part by name, every link direction, in a fixed order.
#[derive(Clone, Debug, Default)]
pub struct Fabric {
    /// Hosts.
    pub hosts: Vec<HostInstance>,
    /// Switches.
    pub switches: Vec<SwitchInstance>,
    /// Controllers.
    pub controllers: Vec<Controller>,
    /// Ports and switches.
    pub nodes: Vec<Node>,
    /// Cables and legs.
    pub members: Vec<Member>,
    /// Two for each member: towards the arrays, then towards the hosts.
    pub directions: Vec<Direction>,
    /// Names of the chassis, family by family.
    pub chassis: Vec<(usize, u32, String)>,
    /// Nodes and directions that routes towards hosts, and those towards arrays, may use.
    pub(super) known: [Known; 2],
}

impl Fabric {
    /// Expands a site. The site has been checked, so this cannot fail.
    #[must_use]
    pub fn new(site: &Site) -> Self {
        let mut fabric = Self::default();
        fabric.add_chassis(site);
        fabric.add_hosts(site);
        fabric.add_switches(site);
        fabric.add_controllers(site);
        for (index, link) in site.links.iter().enumerate() {
            match (link.from, link.to) {
                (End::Host(host), End::Switch(switch)) => {
                    fabric.join_hosts(site, index, link, host, switch)
                }
                (End::Switch(near), End::Switch(far)) => {
                    fabric.join_switches(site, index, link, near, far)
                }
                (End::Switch(switch), End::Array(array)) => {
                    fabric.join_array(site, index, link, switch, array)
                }
                (End::Host(host), End::Array(array)) => {
                    fabric.join_direct(site, index, link, host, array)
                }
                // Refused where scenarios are read.
                (End::Array(_), _)
                | (End::Switch(_), End::Host(_))
                | (End::Host(_), End::Host(_)) => {}
            }
        }
        fabric.tell_apart(site);
        fabric.name_adapters(site);
        fabric.known = Known::both(&fabric);
        fabric
    }

    /// Names the adapters that ports of a host share.
    fn name_adapters(&mut self, site: &Site) {
        for host in &self.hosts {
            let name = &host.name;
            for port in &host.ports {
                let node = &mut self.nodes[port.0 as usize];
                let letter = node.side.map_or("", Side::letter);
                node.adapter = match (site.hosts[host.family].adapter_per, letter) {
                    (AdapterPer::Port, _) => None,
                    (AdapterPer::Pair, _) => Some(format!("{name}:adapter-{}", node.port + 1)),
                    (AdapterPer::Host, _) | (AdapterPer::Fabric, "") => {
                        Some(format!("{name}:adapter"))
                    }
                    (AdapterPer::Fabric, letter) => Some(format!("{name}:adapter-{letter}")),
                };
            }
        }
    }

    /// Bundles and cages that two link families would share, because both join the same two parts, get the
    /// family's name too: `edge-A~san-A~backup`.
    fn tell_apart(&mut self, site: &Site) {
        let mut families: BTreeMap<String, BTreeSet<usize>> = BTreeMap::new();
        for member in &self.members {
            let names = std::iter::once(&member.bundle).chain(&member.cage);
            for name in names {
                families
                    .entry(name.clone())
                    .or_default()
                    .insert(member.family);
            }
        }
        let shared = |name: &str| families.get(name).is_some_and(|own| own.len() > 1);
        for member in &mut self.members {
            let family = &site.links[member.family].name;
            let cage_shared = member.cage.as_deref().is_some_and(shared);
            let bundle_shared = shared(&member.bundle);
            if cage_shared && let Some(cage) = &mut member.cage {
                *cage = match cage.rsplit_once("/cage-") {
                    Some((joined, number)) => format!("{joined}~{family}/cage-{number}"),
                    None => format!("{cage}~{family}"),
                };
            }
            if bundle_shared {
                member.bundle = format!("{}~{family}", member.bundle);
                member.shares_ends = true;
            }
        }
    }

    /// Name of a direction: `edge-A > san-A`, with `/2` when its bundle has several members, and with the
    /// link's name where two links join the same two parts: `edge-A > san-A (backup)/2`. Unique.
    #[must_use]
    pub fn direction_name(&self, site: &Site, direction: DirectionId) -> String {
        let ends = &self.directions[direction.index()];
        let member = &self.members[direction.member().0 as usize];
        let name = |node: NodeId| &self.nodes[node.0 as usize].name;
        let link = if member.shares_ends {
            format!(" ({})", site.links[member.family].name)
        } else {
            String::new()
        };
        let number = if member.of > 1 {
            format!("/{}", member.index + 1)
        } else {
            String::new()
        };
        format!("{} > {}{link}{number}", name(ends.from), name(ends.to))
    }

    fn add_chassis(&mut self, site: &Site) {
        for (family, chassis) in site.chassis.iter().enumerate() {
            for index in 0..chassis.count {
                self.chassis
                    .push((family, index, chassis.numbered.name(&chassis.name, index)));
            }
        }
    }

    fn add_hosts(&mut self, site: &Site) {
        for (family, hosts) in site.hosts.iter().enumerate() {
            let each = hosts.chassis.and_then(|chassis| {
                let held = site.chassis[chassis]
                    .holds
                    .iter()
                    .find(|(held, _)| *held == family)?;
                Some((chassis, held.1.max(1)))
            });
            for index in 0..hosts.count {
                self.hosts.push(HostInstance {
                    family,
                    index,
                    name: hosts.numbered.name(&hosts.name, index),
                    chassis: each.map(|(chassis, each)| (chassis, index / each)),
                    ports: Vec::new(),
                });
            }
        }
    }

    fn add_switches(&mut self, site: &Site) {
        for (family, switches) in site.switches.iter().enumerate() {
            for side in switches.fabric.sides() {
                for index in 0..switches.count {
                    let bare = switches.numbered.name(&switches.name, index);
                    let name = side.map_or_else(|| bare.clone(), |side| format!("{bare}-{side}"));
                    let number = u32::try_from(self.switches.len()).unwrap_or(u32::MAX);
                    let node = self.add_node(Node {
                        name,
                        kind: NodeKind::Switch(number),
                        side: *side,
                        digest: switches.salt.unwrap_or_else(|| name_hash(&bare)),
                        delay: switches.delay,
                        forwarding: switches.forwarding,
                        out: Vec::new(),
                        port: 0,
                        adapter: None,
                    });
                    let chassis = switches.per.map(|chassis| (chassis, index));
                    self.switches.push(SwitchInstance {
                        family,
                        index,
                        node,
                        chassis,
                    });
                }
            }
        }
    }

    fn add_controllers(&mut self, site: &Site) {
        for (array, family) in site.arrays.iter().enumerate() {
            for index in 0..family.controllers {
                let name = format!("{}-c{}", family.name, index + 1);
                self.controllers.push(Controller {
                    array,
                    index,
                    name,
                    ports: Vec::new(),
                });
            }
        }
    }

    fn add_node(&mut self, node: Node) -> NodeId {
        let id = NodeId(u32::try_from(self.nodes.len()).unwrap_or(u32::MAX));
        self.nodes.push(node);
        id
    }

    /// The first number, from 0, above those of all `ports` on `side`.
    fn next_port(&self, ports: &[NodeId], side: Option<Side>) -> u32 {
        let on_side = ports.iter().map(|port| &self.nodes[port.0 as usize]);
        on_side
            .filter(|node| node.side == side)
            .map(|node| node.port + 1)
            .max()
            .unwrap_or(0)
    }

    /// A new port of `owner` on `side` with the number `port`, from 0.
    fn add_port(&mut self, owner: &str, kind: NodeKind, side: Option<Side>, port: u32) -> NodeId {
        let letter = side.map_or("", Side::letter);
        self.add_node(Node {
            name: format!("{owner}:{letter}{}", port + 1),
            kind,
            side,
            digest: name_hash(&format!("{owner}:{}", port + 1)),
            delay: Duration::ZERO,
            forwarding: Forwarding::StoreAndForward,
            out: Vec::new(),
            port,
            adapter: None,
        })
    }

    fn host_port(&mut self, host: usize, side: Option<Side>, number: u32) -> NodeId {
        let name = self.hosts[host].name.clone();
        let kind = NodeKind::HostPort(u32::try_from(host).unwrap_or(u32::MAX));
        let port = self.add_port(&name, kind, side, number);
        self.hosts[host].ports.push(port);
        port
    }

    fn array_port(&mut self, controller: usize, side: Option<Side>, number: u32) -> NodeId {
        let name = self.controllers[controller].name.clone();
        let kind = NodeKind::ArrayPort(u32::try_from(controller).unwrap_or(u32::MAX));
        let port = self.add_port(&name, kind, side, number);
        self.controllers[controller].ports.push(port);
        port
    }

    fn add_members(
        &mut self,
        family: usize,
        link: &LinkFamily,
        near: NodeId,
        far: NodeId,
        cage: Option<String>,
    ) {
        let side = self.nodes[near.0 as usize]
            .side
            .or(self.nodes[far.0 as usize].side);
        let bundle = format!(
            "{}~{}",
            self.nodes[near.0 as usize].name, self.nodes[far.0 as usize].name
        );
        for index in 0..link.members {
            let member = MemberId(u32::try_from(self.members.len()).unwrap_or(u32::MAX));
            let own_cage = link
                .cage
                .filter(|_| cage.is_none())
                .map(|Cage { lit, .. }| format!("{bundle}/cage-{}", index / lit.max(1) + 1));
            self.members.push(Member {
                family,
                bundle: bundle.clone(),
                index,
                of: link.members,
                near,
                far,
                cage: cage.clone().or(own_cage),
                shares_ends: false,
                side,
            });
            for (offset, (from, to)) in [(near, far), (far, near)].into_iter().enumerate() {
                let id = DirectionId(member.0 * 2 + u32::try_from(offset).unwrap_or(0));
                self.directions.push(Direction {
                    from,
                    to,
                    rate: link.rate,
                    propagation: link.propagation,
                    latency: link.propagation + link.fec_latency,
                    medium: link.medium,
                    carries: link.carries,
                    choose: link.choose,
                    family,
                });
                self.nodes[from.0 as usize].out.push(id);
            }
        }
    }

    /// Switch instances of a family on a side, in order of position.
    fn on_side(&self, family: usize, side: Option<Side>) -> Vec<usize> {
        (0..self.switches.len())
            .filter(|index| {
                let switch = &self.switches[*index];
                switch.family == family && self.nodes[switch.node.0 as usize].side == side
            })
            .collect()
    }

    /// The number of a switch in its family, from 0: of `lan-2` it is 1, whether or not there is a `lan-1`.
    fn number_of(&self, site: &Site, switch: usize) -> u32 {
        let SwitchInstance { family, index, .. } = self.switches[switch];
        let family = &site.switches[family];
        let stated = || {
            let number: u32 = family.name.rsplit_once('-')?.1.parse().ok()?;
            number.checked_sub(1).filter(|number| *number < NUMBER_MAX)
        };
        match family.numbered {
            Numbered::Yes => index,
            Numbered::No => stated().unwrap_or(0),
        }
    }

    /// Which of `n` switches host `index` (or its chassis) is joined to.
    fn choose_switches(wiring: Wiring, index: usize, switches: &[usize]) -> Vec<usize> {
        match wiring {
            Wiring::Mesh => switches.to_vec(),
            Wiring::Dealt | Wiring::OneToOne if switches.is_empty() => Vec::new(),
            Wiring::Dealt | Wiring::OneToOne => vec![switches[index % switches.len()]],
        }
    }

    fn join_hosts(
        &mut self,
        site: &Site,
        family: usize,
        link: &LinkFamily,
        hosts: usize,
        switches: usize,
    ) {
        let module_of = site.switches[switches].per;
        let mut legs_used = BTreeMap::<usize, u32>::new();
        for host in 0..self.hosts.len() {
            if self.hosts[host].family != hosts {
                continue;
            }
            for side in site.switches[switches].fabric.sides() {
                let all = self.on_side(switches, *side);
                let chosen: Vec<usize> = match (module_of, self.hosts[host].chassis) {
                    (Some(_), Some(chassis)) => all
                        .into_iter()
                        .filter(|s| self.switches[*s].chassis == Some(chassis))
                        .collect(),
                    _ => Self::choose_switches(link.wiring, self.hosts[host].index as usize, &all),
                };
                let first = self.next_port(&self.hosts[host].ports, *side);
                let mut shared_port = None;
                for switch in chosen {
                    let port = match (link.lag, link.wiring, shared_port) {
                        (Lag::Across, _, Some(port)) => port,
                        (Lag::Single, Wiring::Mesh, _) if module_of.is_none() => {
                            // Numbered by the switch, so that a port's name and address do not depend on
                            // which other switches are there.
                            let number = first + self.number_of(site, switch);
                            self.host_port(host, *side, number)
                        }
                        _ => self.host_port(host, *side, first),
                    };
                    shared_port = Some(port);
                    let cage = link.cage.map(|cage| {
                        let used = legs_used.entry(switch).or_insert(0);
                        let number = *used / cage.legs.max(1) + 1;
                        *used += link.members;
                        let name = &self.nodes[self.switches[switch].node.0 as usize].name;
                        format!("{name}~{}/cage-{number}", site.hosts[hosts].name)
                    });
                    self.add_members(family, link, port, self.switches[switch].node, cage);
                }
            }
        }
    }

    fn join_switches(
        &mut self,
        site: &Site,
        family: usize,
        link: &LinkFamily,
        near: usize,
        far: usize,
    ) {
        for near_side in site.switches[near].fabric.sides() {
            for far_side in site.switches[far].fabric.sides() {
                let crosses = matches!((near_side, far_side), (Some(a), Some(b)) if a != b);
                if crosses {
                    continue;
                }
                let (nears, fars) = (self.on_side(near, *near_side), self.on_side(far, *far_side));
                for (a, b) in Self::pairs(link.wiring, nears.len(), fars.len()) {
                    let (a, b) = (self.switches[nears[a]].node, self.switches[fars[b]].node);
                    if a != b {
                        self.add_members(family, link, a, b, None);
                    }
                }
            }
        }
    }

    /// Which of `n` near instances are joined to which of `m` far ones.
    fn pairs(wiring: Wiring, n: usize, m: usize) -> Vec<(usize, usize)> {
        if n == 0 || m == 0 {
            return Vec::new();
        }
        match wiring {
            Wiring::Mesh => (0..n).flat_map(|a| (0..m).map(move |b| (a, b))).collect(),
            Wiring::OneToOne => (0..n.min(m)).map(|i| (i, i)).collect(),
            Wiring::Dealt => (0..n.max(m)).map(|i| (i % n, i % m)).collect(),
        }
    }

    fn join_array(
        &mut self,
        site: &Site,
        family: usize,
        link: &LinkFamily,
        switches: usize,
        array: usize,
    ) {
        let controllers: Vec<usize> = (0..self.controllers.len())
            .filter(|index| self.controllers[*index].array == array)
            .collect();
        for side in site.switches[switches].fabric.sides() {
            let all = self.on_side(switches, *side);
            for (position, controller) in controllers.iter().enumerate() {
                let first = self.next_port(&self.controllers[*controller].ports, *side);
                for port_index in 0..link.ports {
                    let dealt = position * link.ports as usize + port_index as usize;
                    let chosen = Self::choose_switches(link.wiring, dealt, &all);
                    let mut shared_port = None;
                    for switch in chosen {
                        let port = match (link.lag, link.wiring, shared_port) {
                            (Lag::Across, _, Some(port)) => port,
                            (Lag::Single, Wiring::Mesh, _) => {
                                // As with hosts: all ports to one switch, then all to the next.
                                let before = self.number_of(site, switch) * link.ports;
                                self.array_port(*controller, *side, first + before + port_index)
                            }
                            _ => self.array_port(*controller, *side, first + port_index),
                        };
                        shared_port = Some(port);
                        self.add_members(family, link, self.switches[switch].node, port, None);
                    }
                }
            }
        }
    }

    /// A host joined to an array without a switch (lessons): one port a side that the scenario names is
    /// not possible here, so the link stands on side A.
    fn join_direct(
        &mut self,
        _site: &Site,
        family: usize,
        link: &LinkFamily,
        hosts: usize,
        array: usize,
    ) {
        let controllers: Vec<usize> = (0..self.controllers.len())
            .filter(|index| self.controllers[*index].array == array)
            .collect();
        for host in 0..self.hosts.len() {
            if self.hosts[host].family != hosts {
                continue;
            }
            for controller in &controllers {
                for _ in 0..link.ports {
                    let side = Some(Side::A);
                    let number = self.next_port(&self.hosts[host].ports, side);
                    let near = self.host_port(host, side, number);
                    let number = self.next_port(&self.controllers[*controller].ports, side);
                    let far = self.array_port(*controller, side, number);
                    self.add_members(family, link, near, far, None);
                }
            }
        }
    }

    /// Which side a family stands on, for messages: `each`, `A`, `B` or `shared`.
    #[must_use]
    pub fn where_is(fabric: Where) -> &'static str {
        match fabric {
            Where::Each => "each",
            Where::Only(side) => side.letter(),
            Where::Shared => "shared",
        }
    }
}
