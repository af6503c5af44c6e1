//! What a site is made of, counted.
//!
//! Left out: what a device is inside, licences, power and room; whether a cable is copper with its ends attached, which the
//! scenario does not say: an optic is counted for each end of every cable.

use crate::outcome::{Device, Inventory};
use crate::site::Site;
use crate::topology::Fabric;
use std::collections::{BTreeMap, BTreeSet};

/// Counts the parts of a site.
#[must_use]
pub fn inventory(site: &Site) -> Inventory {
    let fabric = Fabric::new(site);
    let number = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let modules = fabric
        .switches
        .iter()
        .filter(|switch| switch.chassis.is_some())
        .count();
    let mut counted = Counted::default();
    let mut cages: BTreeSet<&str> = BTreeSet::new();
    for member in &fabric.members {
        let link = &site.links[member.family];
        let label = &link.label;
        let Some((name, cage)) = member.cage.as_deref().zip(link.cage) else {
            counted.cables.add(label, 1);
            counted.ports.add(label, 2);
            continue;
        };
        // Each leg ends in a port, and the cage takes one at its own end.
        counted.ports.add(label, 1);
        counted.lit_legs.add(label, 1);
        if cages.insert(name) {
            let whole = format!("{} × {label} in a cage", cage.legs);
            counted.cables.add(&whole, 1);
            counted.ports.add(&whole, 1);
            counted
                .dark_legs
                .add(label, cage.legs.saturating_sub(cage.lit));
        }
    }
    Inventory {
        hosts: number(fabric.hosts.len()),
        switches: number(fabric.switches.len() - modules),
        modules: number(modules),
        controllers: number(fabric.controllers.len()),
        devices: devices(site, &fabric),
        cables: counted.cables.list(),
        // An optic stands in every port that is in use.
        optics: counted.ports.clone().list(),
        ports: counted.ports.list(),
        lit_legs: counted.lit_legs.list(),
        dark_legs: counted.dark_legs.list(),
    }
}

/// Numbers by label, in order of the labels.
#[derive(Clone, Debug, Default)]
struct ByLabel(BTreeMap<String, u32>);

impl ByLabel {
    fn add(&mut self, label: &str, count: u32) {
        if count > 0 {
            *self.0.entry(label.to_owned()).or_insert(0) += count;
        }
    }

    fn list(self) -> Vec<(String, u32)> {
        self.0.into_iter().collect()
    }
}

#[derive(Debug, Default)]
struct Counted {
    cables: ByLabel,
    ports: ByLabel,
    lit_legs: ByLabel,
    dark_legs: ByLabel,
}

/// Devices by family, in scenario order: hosts, switches and modules, controllers.
fn devices(site: &Site, fabric: &Fabric) -> Vec<Device> {
    let mut all: Vec<Device> = Vec::new();
    let mut add = |kind: &str, of: &str| match all
        .iter_mut()
        .find(|known| known.kind == kind && known.of == of)
    {
        Some(known) => known.count += 1,
        None => all.push(Device {
            kind: kind.to_owned(),
            of: of.to_owned(),
            count: 1,
        }),
    };
    for host in &fabric.hosts {
        add("host", &site.hosts[host.family].name);
    }
    for switch in &fabric.switches {
        let kind = if switch.chassis.is_some() {
            "module"
        } else {
            "switch"
        };
        add(kind, &site.switches[switch.family].name);
    }
    for controller in &fabric.controllers {
        add("controller", &site.arrays[controller.array].name);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::sample::{TRAMWAYS, site_with};

    fn count(list: &[(String, u32)], label: &str) -> u32 {
        list.iter()
            .find(|row| row.0 == label)
            .map_or(0, |row| row.1)
    }

    /// The tramways by hand: three bays with 2 db and 2 vm each, four racks; a module a bay and fabric, edge and san a fabric,
    /// two lan switches; two arrays of two controllers. The cage from edge to san has two lit legs of four on each fabric; the
    /// cage of rack hosts has four legs of 25GbE, one for each of the four.
    #[test]
    fn legs_optics_and_devices_are_counted() {
        let one = inventory(&site_with(TRAMWAYS, &[]));
        let devices: Vec<(&str, &str, u32)> = one
            .devices
            .iter()
            .map(|device| (device.kind.as_str(), device.of.as_str(), device.count))
            .collect();
        assert_eq!(
            devices,
            [
                ("host", "db", 6),
                ("host", "vm", 6),
                ("host", "rack", 4),
                ("module", "module", 6),
                ("switch", "edge", 2),
                ("switch", "san", 2),
                ("switch", "lan", 2),
                ("controller", "vault", 2),
                ("controller", "depot", 2),
            ]
        );
        assert_eq!(count(&one.lit_legs, "32GFC"), 4);
        assert_eq!(count(&one.dark_legs, "32GFC"), 4);
        assert_eq!(one.optics, one.ports);
        // Two more lit on each fabric: four legs, four ports and optics, and not one cable.
        let more = inventory(&site_with(TRAMWAYS, &[("link.edge-san.cage.lit", "4")]));
        assert_eq!(count(&more.lit_legs, "32GFC"), 8);
        assert_eq!(count(&more.dark_legs, "32GFC"), 0);
        let ports = |of: &Inventory| count(&of.ports, "32GFC");
        assert_eq!(ports(&more), ports(&one) + 4);
        assert_eq!(more.cables, one.cables);
    }
}
