//! Paths (host port × array port), and which parts a name or pattern means.

use super::build::Fabric;
use super::matches;
use super::part::{HostInstance, MemberId, NodeId, NodeKind};
use super::route::{RouteContext, Routes};
use crate::site::{Site, Team};
use crate::unit::Side;
use std::sync::Arc;

/// A host port and an array port with a route both ways.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Path {
    /// Host port.
    pub host_port: NodeId,
    /// Array port.
    pub array_port: NodeId,
    /// Controller index in [`Fabric::controllers`].
    pub controller: usize,
    /// Fabric of the host port.
    pub side: Option<Side>,
}

/// All paths of one host to one array for one protocol, shared by the workloads that use it.
#[derive(Clone, Debug)]
pub struct PathSet {
    /// Index into [`Fabric::hosts`].
    pub host: usize,
    /// Index into [`Site::arrays`].
    pub array: usize,
    /// Protocol key.
    pub protocol: &'static str,
    /// What its links must carry.
    pub family: crate::wire::Family,
    /// Workloads that use the set, in scenario order.
    pub workloads: Vec<usize>,
    /// The paths, in the order controller 1 on A, on B, controller 2 on A, on B (with several ports: port 1
    /// of controller 1 on A, on B, port 2 …).
    pub paths: Vec<Path>,
}

impl PathSet {
    /// The ports of the team over which a host sends this set, the one in use first; `None` without a team, and for what is no file
    /// traffic. `number` is that of the host in its family, by which teams alternate.
    #[must_use]
    pub fn team_ports(&self, team: Team, files: bool, number: u32) -> Option<Vec<NodeId>> {
        let mut ports: Vec<NodeId> = Vec::new();
        for path in &self.paths {
            if !ports.contains(&path.host_port) {
                ports.push(path.host_port);
            }
        }
        let turned = match team {
            Team::Off => return None,
            Team::First => 0,
            Team::Alternate => number as usize % ports.len().max(1),
        };
        ports.rotate_left(turned);
        files.then_some(ports)
    }
}

impl Fabric {
    /// Every member alive.
    #[must_use]
    pub fn all_alive(&self) -> Vec<bool> {
        vec![true; self.members.len()]
    }

    /// The path sets of every host that issues a workload, hosts in order; paths without a route over the
    /// members alive are left out.
    #[must_use]
    pub fn path_sets(&self, site: &Site, alive: &[bool]) -> Vec<PathSet> {
        self.path_sets_by(site, alive, &mut Arc::default())
    }

    /// The same with routes that were found before over the same members; those that are missing are added.
    #[must_use]
    pub fn path_sets_by(
        &self,
        site: &Site,
        alive: &[bool],
        routes: &mut Arc<Routes>,
    ) -> Vec<PathSet> {
        let mut sets: Vec<PathSet> = Vec::new();
        for (host, instance) in self.hosts.iter().enumerate() {
            let first_of_host = sets.len();
            for (index, workload) in site.workloads.iter().enumerate() {
                if !workload.hosts.contains(&instance.family) {
                    continue;
                }
                let (array, protocol) = (workload.array, workload.protocol.key());
                let known = sets[first_of_host..]
                    .iter_mut()
                    .find(|s| s.array == array && s.protocol == protocol);
                if let Some(set) = known {
                    set.workloads.push(index);
                    continue;
                }
                let family = workload.protocol.family();
                let paths = self.paths(host, array, family, site.run.first, alive, routes);
                sets.push(PathSet {
                    host,
                    array,
                    protocol,
                    family,
                    workloads: vec![index],
                    paths,
                });
            }
        }
        sets
    }

    fn paths(
        &self,
        host: usize,
        array: usize,
        family: crate::wire::Family,
        first: Side,
        alive: &[bool],
        routes: &mut Arc<Routes>,
    ) -> Vec<Path> {
        let mut paths = Vec::new();
        let context = |to: NodeId, side| RouteContext { family, side, to };
        let ports = self.hosts[host].ports.iter().map(|port| {
            let side = self.nodes[port.0 as usize].side;
            let table = Routes::shared_table(routes, self, alive, context(*port, side));
            (*port, side, table)
        });
        let ports: Vec<(NodeId, Option<Side>, u32)> = ports.collect();
        for (controller, instance) in self.controllers.iter().enumerate() {
            if instance.array != array {
                continue;
            }
            for array_port in &instance.ports {
                for (host_port, side, back) in &ports {
                    let there =
                        Routes::shared_table(routes, self, alive, context(*array_port, *side));
                    if !routes.next(self, there, *host_port).is_empty()
                        && !routes.next(self, *back, *array_port).is_empty()
                    {
                        paths.push(Path {
                            host_port: *host_port,
                            array_port: *array_port,
                            controller,
                            side: *side,
                        });
                    }
                }
            }
        }
        paths.sort_by_key(|path| {
            let port = |node: NodeId| self.nodes[node.0 as usize].port;
            let later = path.side.map_or(0, |side| u8::from(side != first));
            (
                path.controller,
                port(path.array_port),
                port(path.host_port),
                later,
            )
        });
        paths
    }

    /// Members that are gone when the parts meant by `patterns` and, with `side`, all parts of that side
    /// are lost.
    #[must_use]
    pub fn members_of(&self, patterns: &[String], side: Option<Side>) -> Vec<MemberId> {
        let wanted = |name: &str| patterns.iter().any(|pattern| matches(pattern, name));
        let node_gone: Vec<bool> = self
            .nodes
            .iter()
            .map(|node| self.node_meant(node, &wanted, side))
            .collect();
        (0..self.members.len())
            .filter(|index| {
                let member = &self.members[*index];
                node_gone[member.near.0 as usize]
                    || node_gone[member.far.0 as usize]
                    // A link straight from host to array has no switch of the side that would be gone.
                    || (side.is_some() && member.side == side)
                    || wanted(&member.bundle)
                    || wanted(&member.name())
                    || member.cage.as_deref().is_some_and(&wanted)
            })
            .map(|index| MemberId(u32::try_from(index).unwrap_or(u32::MAX)))
            .collect()
    }

    /// The ports of a host by the adapter that they are on, in order of their first port; ports without a shared one alone.
    #[must_use]
    pub fn by_adapter(&self, host: &HostInstance) -> Vec<Vec<NodeId>> {
        let mut all: Vec<Vec<NodeId>> = Vec::new();
        for port in &host.ports {
            let adapter = &self.nodes[port.0 as usize].adapter;
            let same = |first: &NodeId| {
                adapter.is_some() && self.nodes[first.0 as usize].adapter == *adapter
            };
            match all.iter_mut().find(|ports| ports.first().is_some_and(same)) {
                Some(ports) => ports.push(*port),
                None => all.push(vec![*port]),
            }
        }
        all
    }

    /// Hosts, by index, that are meant by name or go with their chassis.
    #[must_use]
    pub fn hosts_of(&self, patterns: &[String]) -> Vec<usize> {
        let wanted = |name: &str| patterns.iter().any(|pattern| matches(pattern, name));
        let chassis_meant = |at: Option<(usize, u32)>| {
            let mut all = self.chassis.iter();
            all.any(|(family, number, name)| at == Some((*family, *number)) && wanted(name))
        };
        (0..self.hosts.len())
            .filter(|index| {
                let host = &self.hosts[*index];
                wanted(&host.name) || chassis_meant(host.chassis)
            })
            .collect()
    }

    /// Nodes that are gone with them.
    #[must_use]
    pub fn nodes_of(&self, patterns: &[String], side: Option<Side>) -> Vec<NodeId> {
        let wanted = |name: &str| patterns.iter().any(|pattern| matches(pattern, name));
        (0..self.nodes.len())
            .filter(|index| self.node_meant(&self.nodes[*index], &wanted, side))
            .map(|index| NodeId(u32::try_from(index).unwrap_or(u32::MAX)))
            .collect()
    }

    fn node_meant(
        &self,
        node: &super::part::Node,
        wanted: &impl Fn(&str) -> bool,
        side: Option<Side>,
    ) -> bool {
        let chassis_meant = |chassis: Option<(usize, u32)>| {
            chassis.is_some_and(|(family, index)| {
                self.chassis
                    .iter()
                    .any(|(f, i, name)| *f == family && *i == index && wanted(name))
            })
        };
        let owner_meant = match node.kind {
            NodeKind::HostPort(host) => {
                let host = &self.hosts[host as usize];
                wanted(&host.name) || chassis_meant(host.chassis)
            }
            NodeKind::Switch(switch) => {
                (side.is_some() && node.side == side)
                    || chassis_meant(self.switches[switch as usize].chassis)
            }
            NodeKind::ArrayPort(controller) => {
                let name = &self.controllers[controller as usize].name;
                wanted(name)
                    || name
                        .rsplit_once("-c")
                        .is_some_and(|(array, _)| wanted(array))
            }
        };
        owner_meant || wanted(&node.name) || node.adapter.as_deref().is_some_and(wanted)
    }

    /// Names of all parts that can be lost.
    #[must_use]
    pub fn part_names(&self) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        names.extend(self.hosts.iter().map(|host| host.name.clone()));
        names.extend(self.chassis.iter().map(|(_, _, name)| name.clone()));
        names.extend(
            self.controllers
                .iter()
                .filter_map(|c| Some(c.name.rsplit_once("-c")?.0.to_owned())),
        );
        names.extend(
            self.controllers
                .iter()
                .map(|controller| controller.name.clone()),
        );
        names.extend(self.nodes.iter().filter_map(|node| node.adapter.clone()));
        names.extend(self.nodes.iter().map(|node| node.name.clone()));
        for member in &self.members {
            names.push(member.bundle.clone());
            if member.of > 1 {
                names.push(member.name());
            }
            names.extend(member.cage.clone());
        }
        let mut seen = std::collections::BTreeSet::new();
        names.retain(|name| seen.insert(name.clone()));
        names
    }
}
