//! Every part that can be lost by itself.

use super::vertex::Vertex;
use crate::site::Site;
use crate::topology::{Fabric, MemberId, NodeId, NodeKind};
use std::collections::{BTreeMap, BTreeSet};

/// A part that can be lost by itself.
#[derive(Clone, Debug)]
pub(super) struct Single {
    /// `chassis`, `module`, `switch`, `controller`, `adapter`, `host port`, `array port`, `cage`, `link`, `member`, `group`.
    pub(super) kind: &'static str,
    /// Name, as outages and events use it.
    pub(super) name: String,
    /// Other parts whose loss takes the same members: the link of a port, the cage of a link.
    pub(super) also: Vec<String>,
    /// Where it stands among the vertices.
    pub(super) vertex: Vertex,
    /// Members that go.
    pub(super) members: Vec<MemberId>,
    /// Nodes that go.
    pub(super) nodes: Vec<NodeId>,
    /// Hosts that go with it, by index: they are not cut off, they are not there.
    pub(super) hosts: Vec<usize>,
}

/// All of them: chassis, modules and switches, controllers, adapters, host ports, array ports, cages, links, members, and groups of one
/// fate, which are lost as one;
/// of parts that take the same members with them the first counts, and names the others.
///
/// `gone` are members that are out of service already: a part of which nothing else is left is not listed,
/// nor is what carries nothing in any case (a switch without links).
pub(super) fn singles(site: &Site, fabric: &Fabric, gone: &[MemberId]) -> Vec<Single> {
    let gone: BTreeSet<u32> = gone.iter().map(|member| member.0).collect();
    let mut known: BTreeMap<(Vec<u32>, Vec<usize>), usize> = BTreeMap::new();
    let mut list: Vec<Single> = Vec::new();
    for (kind, name, vertex, hosts) in named(site, fabric) {
        let group = site.groups.iter().find(|group| group.name == name);
        let patterns = match group {
            Some(group) if kind == GROUP => group.parts.as_slice(),
            _ => std::slice::from_ref(&name),
        };
        let members = fabric.members_of(patterns, None);
        let left: Vec<u32> = members
            .iter()
            .map(|member| member.0)
            .filter(|member| !gone.contains(member))
            .collect();
        if left.is_empty() {
            continue;
        }
        // Whoever looks for a group finds it by its own name.
        let known_as = known
            .get(&(left.clone(), hosts.clone()))
            .filter(|_| kind != GROUP);
        match known_as {
            Some(first) => list[*first].also.push(format!("{kind} {name}")),
            None => {
                known.insert((left, hosts.clone()), list.len());
                list.push(Single {
                    kind,
                    nodes: fabric.nodes_of(patterns, None),
                    also: Vec::new(),
                    name,
                    vertex,
                    members,
                    hosts,
                });
            }
        }
    }
    list
}

/// The kind of a group.
const GROUP: &str = "group";

type Named = (&'static str, String, Vertex, Vec<usize>);

fn named(site: &Site, fabric: &Fabric) -> Vec<Named> {
    let mut all: Vec<Named> = Vec::new();
    for (index, (family, number, name)) in fabric.chassis.iter().enumerate() {
        let hosts = (0..fabric.hosts.len())
            .filter(|host| fabric.hosts[*host].chassis == Some((*family, *number)))
            .collect();
        all.push(("chassis", name.clone(), Vertex::Chassis(index), hosts));
    }
    for switch in &fabric.switches {
        let module = site.switches[switch.family].per.is_some();
        let kind = if module { "module" } else { "switch" };
        let name = fabric.nodes[switch.node.0 as usize].name.clone();
        all.push((kind, name, Vertex::Node(switch.node.0 as usize), Vec::new()));
    }
    for (index, controller) in fabric.controllers.iter().enumerate() {
        let vertex = Vertex::Controller(index);
        all.push(("controller", controller.name.clone(), vertex, Vec::new()));
    }
    let mut adapters: BTreeSet<&str> = BTreeSet::new();
    for adapter in fabric
        .nodes
        .iter()
        .filter_map(|node| node.adapter.as_deref())
    {
        if adapters.insert(adapter) {
            let vertex = Vertex::Adapter(adapter.to_owned());
            all.push(("adapter", adapter.to_owned(), vertex, Vec::new()));
        }
    }
    for (wanted, kind) in [(true, "host port"), (false, "array port")] {
        for (index, node) in fabric.nodes.iter().enumerate() {
            let of_host = match node.kind {
                NodeKind::HostPort(_) => true,
                NodeKind::ArrayPort(_) => false,
                NodeKind::Switch(_) => continue,
            };
            if of_host == wanted {
                all.push((kind, node.name.clone(), Vertex::Node(index), Vec::new()));
            }
        }
    }
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for member in &fabric.members {
        if let Some(cage) = member.cage.as_deref()
            && seen.insert(cage)
        {
            all.push((
                "cage",
                cage.to_owned(),
                Vertex::Cage(cage.to_owned()),
                Vec::new(),
            ));
        }
    }
    for member in &fabric.members {
        if seen.insert(&member.bundle) {
            let vertex = Vertex::Bundle(member.bundle.clone());
            all.push(("link", member.bundle.clone(), vertex, Vec::new()));
        }
    }
    for (index, member) in fabric.members.iter().enumerate() {
        if member.of > 1 {
            all.push(("member", member.name(), Vertex::Member(index), Vec::new()));
        }
    }
    for (index, group) in site.groups.iter().enumerate() {
        let hosts = fabric.hosts_of(&group.parts);
        all.push((GROUP, group.name.clone(), Vertex::Group(index), hosts));
    }
    all
}
