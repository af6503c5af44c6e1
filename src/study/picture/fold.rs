//! Which parts stand together as one node.

use super::lane;
use crate::outcome::{Lane, PictureNode, Shape};
use crate::site::{End, Site};
use crate::study::layers::Layers;
use crate::topology::{Fabric, NodeId, NodeKind};
use crate::wire::Medium;
use std::collections::{BTreeMap, BTreeSet};

/// Folded nodes, and where each part went.
pub(super) struct Folded {
    pub(super) nodes: Vec<PictureNode>,
    place: Vec<Option<usize>>,
}

impl Folded {
    /// The folded node of a port or switch.
    pub(super) fn of(&self, node: NodeId) -> Option<usize> {
        self.place[node.0 as usize]
    }

    fn add(&mut self, node: PictureNode, parts: impl IntoIterator<Item = NodeId>) {
        for part in parts {
            self.place[part.0 as usize] = Some(self.nodes.len());
        }
        self.nodes.push(node);
    }
}

/// Folds hosts, switches and arrays, in scenario order. `lost` are the nodes gone in each case.
pub(super) fn fold(site: &Site, fabric: &Fabric, lost: &[Vec<NodeId>]) -> Folded {
    let layers = Layers::new(site);
    let mut folded = Folded {
        nodes: Vec::new(),
        place: vec![None; fabric.nodes.len()],
    };
    add_hosts(site, fabric, lost, &layers, &mut folded);
    add_switches(site, fabric, lost, &layers, &mut folded);
    add_arrays(site, fabric, lost, &layers, &mut folded);
    folded
}

/// Cases in which all of these parts are gone.
fn lost_in(lost: &[Vec<NodeId>], parts: &[NodeId]) -> Vec<usize> {
    (0..lost.len())
        .filter(|case| !parts.is_empty() && parts.iter().all(|part| lost[*case].contains(part)))
        .collect()
}

fn add_hosts(
    site: &Site,
    fabric: &Fabric,
    lost: &[Vec<NodeId>],
    layers: &Layers,
    folded: &mut Folded,
) {
    for (family, hosts) in site.hosts.iter().enumerate() {
        let ports: Vec<NodeId> = fabric
            .hosts
            .iter()
            .filter(|host| host.family == family)
            .flat_map(|host| host.ports.clone())
            .collect();
        let chassis = hosts.chassis.map(|index| &site.chassis[index]);
        let each = chassis.and_then(|chassis| {
            let (_, each) = chassis.holds.iter().find(|(held, _)| *held == family)?;
            (chassis.count > 1).then_some(*each)
        });
        let mut detail = counted(hosts.count, "host");
        if let Some(each) = each {
            detail = format!("{detail}, {each} each");
        }
        let node = PictureNode {
            name: hosts.name.clone(),
            detail,
            count: hosts.count,
            shape: Shape::Host,
            lane: Lane::Middle,
            chassis: chassis.map(|chassis| (chassis.name.clone(), chassis.count)),
            lost_in: lost_in(lost, &ports),
            layer: layers.hosts[family],
            protocols: Vec::new(),
        };
        folded.add(node, ports);
    }
}

fn add_switches(
    site: &Site,
    fabric: &Fabric,
    lost: &[Vec<NodeId>],
    layers: &Layers,
    folded: &mut Folded,
) {
    for (family, switches) in site.switches.iter().enumerate() {
        for side in switches.fabric.sides() {
            // Instances by their fate, in order of the first of each.
            let mut order: Vec<Vec<usize>> = Vec::new();
            let mut groups: BTreeMap<Vec<usize>, Vec<NodeId>> = BTreeMap::new();
            for switch in &fabric.switches {
                if switch.family == family && fabric.nodes[switch.node.0 as usize].side == *side {
                    let fate = lost_in(lost, &[switch.node]);
                    if !order.contains(&fate) {
                        order.push(fate.clone());
                    }
                    groups.entry(fate).or_default().push(switch.node);
                }
            }
            let whole = order.len() == 1;
            for fate in order {
                let parts = &groups[&fate];
                let named = |node: &NodeId| fabric.nodes[node.0 as usize].name.clone();
                let name = match parts.as_slice() {
                    [one] => named(one),
                    _ if whole => side.map_or_else(
                        || switches.name.clone(),
                        |side| format!("{}-{side}", switches.name),
                    ),
                    [first, .., last] => format!("{} … {}", named(first), named(last)),
                    [] => continue,
                };
                let count = u32::try_from(parts.len()).unwrap_or(u32::MAX);
                let chassis = switches.per.map(|index| &site.chassis[index]);
                let node = PictureNode {
                    name,
                    detail: switch_detail(site, family, count),
                    count,
                    shape: if chassis.is_some() {
                        Shape::Module
                    } else {
                        Shape::Switch
                    },
                    lane: lane(*side),
                    chassis: chassis.map(|chassis| (chassis.name.clone(), chassis.count)),
                    lost_in: fate.clone(),
                    layer: layers.switches[family],
                    protocols: Vec::new(),
                };
                folded.add(node, parts.iter().copied());
            }
        }
    }
}

/// `3 modules`, `FC switch`, `2 Ethernet switches`: by the links that end there.
fn switch_detail(site: &Site, family: usize, count: u32) -> String {
    if site.switches[family].per.is_some() {
        return counted(count, "module");
    }
    let own = End::Switch(family);
    let has = |medium: Medium| {
        site.links
            .iter()
            .any(|link| (link.from == own || link.to == own) && link.medium == Some(medium))
    };
    let kind = match (has(Medium::Ethernet), has(Medium::FibreChannel)) {
        (true, true) => "Ethernet and FC switch",
        (true, false) => "Ethernet switch",
        (false, true) => "FC switch",
        (false, false) => "switch",
    };
    match count {
        1 => kind.to_owned(),
        _ => format!("{count} {kind}es"),
    }
}

fn add_arrays(
    site: &Site,
    fabric: &Fabric,
    lost: &[Vec<NodeId>],
    layers: &Layers,
    folded: &mut Folded,
) {
    for (array, family) in site.arrays.iter().enumerate() {
        let ports: Vec<NodeId> = (0_u32..)
            .zip(&fabric.nodes)
            .filter(|(_, node)| match node.kind {
                NodeKind::ArrayPort(own) => fabric.controllers[own as usize].array == array,
                NodeKind::HostPort(_) | NodeKind::Switch(_) => false,
            })
            .map(|(index, _)| NodeId(index))
            .collect();
        let node = PictureNode {
            name: family.name.clone(),
            detail: counted(family.controllers, "controller"),
            count: 1,
            shape: Shape::Array,
            lane: Lane::Middle,
            chassis: None,
            lost_in: lost_in(lost, &ports),
            layer: layers.arrays,
            protocols: protocols(site, array),
        };
        folded.add(node, ports);
    }
}

/// What the work on an array speaks.
fn protocols(site: &Site, array: usize) -> Vec<String> {
    let own = site.workloads.iter().filter(|work| work.array == array);
    let names: BTreeSet<String> = own.map(|work| work.protocol.key().to_owned()).collect();
    names.into_iter().collect()
}

fn counted(count: u32, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}
