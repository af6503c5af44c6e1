//! Hosts that a loss leaves without any path.

use crate::outcome::CutOff;
use crate::site::Site;
use crate::study::case::CasePlan;
use crate::topology::Fabric;
use std::collections::BTreeMap;

/// Hosts that are still there and cannot reach an array that they work on, by array.
pub(in crate::study) fn cut_off(site: &Site, fabric: &Fabric, plan: &CasePlan) -> Vec<CutOff> {
    let mut by_array: BTreeMap<usize, CutOff> = BTreeMap::new();
    for set in plan.path_sets(site, fabric) {
        if !set.paths.is_empty() || plan.hosts.contains(&set.host) {
            continue;
        }
        let cut = by_array.entry(set.array).or_insert_with(|| CutOff {
            array: site.arrays[set.array].name.clone(),
            hosts: Vec::new(),
            workloads: Vec::new(),
        });
        let host = &fabric.hosts[set.host].name;
        if !cut.hosts.contains(host) {
            cut.hosts.push(host.clone());
        }
        for workload in &set.workloads {
            let name = &site.workloads[*workload].name;
            if !cut.workloads.contains(name) {
                cut.workloads.push(name.clone());
            }
        }
    }
    by_array.into_values().collect()
}
