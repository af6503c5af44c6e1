//! What no run of a workload can go beyond: the times of an idle site, and what is asked for.
//!
//! Bounds only: what stands here is certain before any run. Left out: the law of the service, of which only the mean
//! counts, and hardware that the site does not describe.

use super::estimate::{Flows, asked, idle, mix};
use crate::outcome::Because;
use crate::site::{Measure, Promise, Site, Workload};
use crate::topology::{Fabric, PathSet};

/// What no I/O and no mean can go beyond.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bounds {
    /// The fastest kind of I/O without any service, s.
    pub(super) least_s: Option<f64>,
    /// Mean of all kinds with their mean service on an idle site, s.
    pub(super) mean_s: Option<f64>,
    /// Payload asked for, bytes per second; `None` in a closed loop.
    pub(super) asked_bytes_s: Option<f64>,
}

impl Bounds {
    /// Why a promise about latency cannot be kept at any load.
    pub(super) fn breaks(&self, promise: &Promise) -> Option<Because> {
        let us = |seconds: f64| seconds * 1e6;
        let beyond = |least: &f64| promise.target / 1e12 < *least;
        match promise.measure {
            Measure::Mean => Some(Because::IdleMean {
                latency_us: us(self.mean_s.filter(beyond)?),
            }),
            Measure::Quantile(_) => Some(Because::IdleWire {
                latency_us: us(self.least_s.filter(beyond)?),
            }),
            Measure::Throughput | Measure::LongestIo | Measure::Failed => None,
        }
    }
}

/// The bounds of a workload on the paths of these sets.
pub(super) fn bounds(
    site: &Site,
    fabric: &Fabric,
    sets: &[PathSet],
    flows: &mut Flows<'_>,
    index: usize,
) -> Bounds {
    let workload = &site.workloads[index];
    // The hosts of a family are alike, so one of each family stands for all; of its paths the shortest counts.
    let mut families: Vec<usize> = Vec::new();
    let (mut least_s, mut mean_s) = (None::<f64>, None::<f64>);
    for set in sets.iter().filter(|set| set.workloads.contains(&index)) {
        let family = fabric.hosts[set.host].family;
        if families.contains(&family) {
            continue;
        }
        families.push(family);
        for path in &set.paths {
            let Some(kinds) = idle::kind_times(site, fabric, flows, workload, path) else {
                continue;
            };
            for kind in kinds.iter().filter(|kind| kind.share > 0.0) {
                least_s = Some(least_s.map_or(kind.wire_s, |least| least.min(kind.wire_s)));
            }
            let mean = kinds
                .iter()
                .map(|kind| kind.share * (kind.wire_s + kind.service_s));
            let mean: f64 = mean.sum();
            mean_s = Some(mean_s.map_or(mean, |least| least.min(mean)));
        }
    }
    Bounds {
        least_s,
        mean_s,
        asked_bytes_s: asked_bytes_s(fabric, workload),
    }
}

/// Payload that a workload asks for, bytes per second; `None` in a closed loop. It takes the hosts alone of the fabric.
pub(super) fn asked_bytes_s(fabric: &Fabric, workload: &Workload) -> Option<f64> {
    #[allow(clippy::cast_precision_loss)]
    let bytes: f64 = mix(workload)
        .iter()
        .map(|(_, size, share)| *size as f64 * share)
        .sum();
    let load = asked(fabric, workload).total()?;
    Some(load.mean * bytes)
}
