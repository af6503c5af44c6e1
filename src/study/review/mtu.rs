//! Hops that cannot pass the largest packet of a protocol that uses them.

use super::{Facts, finding, tiers};
use crate::outcome::{ReviewFinding, Severity};
use crate::study::estimate::Flows;
use crate::topology::DirectionId;
use crate::wire::Medium;
use std::collections::BTreeMap;

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let (site, fabric) = (facts.site, facts.fabric);
    // By workload and link family: the first hop that is too small.
    let mut breaks: BTreeMap<(usize, usize), DirectionId> = BTreeMap::new();
    for case in &facts.estimate.cases {
        let mut flows = Flows::new(fabric, &case.alive);
        for set in &case.sets {
            for path in &set.paths {
                let (there, back) = flows.both_ways(path, set.family);
                for (direction, _) in there.into_iter().chain(back) {
                    let link = &fabric.directions[direction.index()];
                    if link.medium != Some(Medium::Ethernet) {
                        continue;
                    }
                    let mtu = site.links[link.family].mtu;
                    for index in &set.workloads {
                        let need = site.workloads[*index].protocol.minimum_mtu();
                        if need.is_some_and(|need| need > mtu) {
                            breaks.entry((*index, link.family)).or_insert(direction);
                        }
                    }
                }
            }
        }
    }
    breaks
        .into_iter()
        .map(|((workload, family), direction)| {
            let workload = &site.workloads[workload];
            let ends = &fabric.directions[direction.index()];
            let name = |node: crate::topology::NodeId| &fabric.nodes[node.0 as usize].name;
            finding(
                Severity::Warning,
                "mtu",
                format!(
                    "{}: MTU {} is below the {} bytes that {} ({}) sends, first at {} > {}",
                    tiers::tier_name(site, family),
                    site.links[family].mtu,
                    workload.protocol.minimum_mtu().unwrap_or(0),
                    workload.name,
                    workload.protocol.key(),
                    name(ends.from),
                    name(ends.to)
                ),
                "Raise the MTU of every hop or lower the protocol's: small I/Os would pass, large ones hang.",
            )
        })
        .collect()
}
