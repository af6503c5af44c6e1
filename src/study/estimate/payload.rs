//! Storage payload that passes each host port, whatever wraps it: what a bus behind the port must carry.

use super::{CaseLoads, Estimate, Flows, Load, mix, path_weights};
use crate::site::Site;
use crate::topology::{Fabric, NodeId};
use crate::wire::Op;
use std::collections::BTreeMap;

/// Bytes of data per second.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Data {
    /// Into the host: reads.
    pub read: Load,
    /// Out of the host: writes.
    pub written: Load,
}

impl Data {
    /// Both of another added.
    pub fn add(&mut self, other: Self) {
        self.read.add(other.read, 1.0);
        self.written.add(other.written, 1.0);
    }
}

/// Data at every host port that has paths in that case. Work in a closed loop, which takes what there is,
/// counts as none.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn data_at_ports(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    case: &CaseLoads,
) -> BTreeMap<NodeId, Data> {
    let mut ports: BTreeMap<NodeId, Data> = BTreeMap::new();
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
    for set in &case.sets {
        for index in &set.workloads {
            let workload = &site.workloads[*index];
            let asked = &estimate.asked[*index];
            let rate = case.moved.at_host(asked, *index, set.host);
            let rate = rate.unwrap_or_default();
            let mut bytes = [0.0; 2];
            for (op, size, share) in mix(workload) {
                bytes[usize::from(op == Op::Write)] += share * size as f64;
            }
            let weights = path_weights(site, fabric, &mut flows, set, workload);
            for (path, weight) in set.paths.iter().zip(weights) {
                let at = ports.entry(path.host_port).or_default();
                at.read.add(rate, weight * bytes[0]);
                at.written.add(rate, weight * bytes[1]);
            }
        }
    }
    ports
}
