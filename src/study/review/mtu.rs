//! Hops that cannot pass the largest packet of a protocol that uses them.

use super::{Facts, finding, tiers};
use crate::outcome::{ReviewFinding, Severity};
use crate::study::estimate::Flows;
use crate::topology::DirectionId;
use crate::wire::{Family, Medium};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let (site, fabric) = (facts.site, facts.fabric);
    // By workload: the link families it crosses on IP, by their MTU.
    let mut crossed: BTreeMap<usize, BTreeMap<u32, BTreeSet<usize>>> = BTreeMap::new();
    // By workload and link family: the first hop that is too small.
    let mut breaks: BTreeMap<(usize, usize), DirectionId> = BTreeMap::new();
    // By workload and link family: what has been looked at.
    let mut seen = vec![vec![false; site.links.len()]; site.workloads.len()];
    for case in &facts.estimate.cases {
        let mut flows = Flows::with(fabric, &case.alive, case.routes.clone());
        for set in &case.sets {
            for path in &set.paths {
                let (there, back) = flows.both_ways(path, set.family);
                for (direction, _) in there.iter().chain(back) {
                    let link = &fabric.directions[direction.index()];
                    if link.medium != Some(Medium::Ethernet) {
                        continue;
                    }
                    let mtu = site.links[link.family].mtu;
                    for index in &set.workloads {
                        if std::mem::replace(&mut seen[*index][link.family], true) {
                            continue;
                        }
                        let protocol = &site.workloads[*index].protocol;
                        if protocol.family() == Family::Ip {
                            let by_mtu = crossed.entry(*index).or_default();
                            by_mtu.entry(mtu).or_default().insert(link.family);
                        }
                        let need = protocol.minimum_mtu();
                        if need.is_some_and(|need| need > mtu) {
                            breaks.entry((*index, link.family)).or_insert(*direction);
                        }
                    }
                }
            }
        }
    }
    let unlike = crossed
        .into_iter()
        .filter(|(workload, by_mtu)| {
            by_mtu.len() > 1 && !breaks.keys().any(|(broken, _)| broken == workload)
        })
        .map(|(workload, by_mtu)| unlike(facts, workload, &by_mtu));
    let mut findings: Vec<ReviewFinding> = unlike.collect();
    findings.extend(breaks
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
        }));
    findings
}

/// The links on the ways of a workload have different MTUs.
fn unlike(
    facts: &Facts<'_>,
    workload: usize,
    by_mtu: &BTreeMap<u32, BTreeSet<usize>>,
) -> ReviewFinding {
    let (site, work) = (facts.site, &facts.site.workloads[workload]);
    let of = |(mtu, families): (&u32, &BTreeSet<usize>)| {
        let tiers: Vec<String> = families
            .iter()
            .map(|family| tiers::tier_name(site, *family))
            .collect();
        format!("{mtu} on {}", tiers.join(", "))
    };
    let all: Vec<String> = by_mtu.iter().map(of).collect();
    finding(
        Severity::Note,
        "mtu",
        format!(
            "{} crosses links of unlike MTU ({}), and its packets keep to the smallest or to what it states",
            work.name,
            all.join("; ")
        ),
        "Give all ports of one network the same MTU: there a packet that is too large vanishes without a message.",
    )
}
