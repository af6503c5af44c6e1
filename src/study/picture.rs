//! The site folded into a diagram: families as nodes, all links between two of them as one pipe.
//!
//! A family on one fabric is one node; where an outage takes some of its instances and not others, those
//! with the same fate stand together. Positions, colours and words beyond the labels are `render`'s.
//!
//! Left out: families split because their instances carry different loads. A pipe says instead how full its
//! fullest member is, so that a load shared unevenly is seen.

mod fold;
mod load;

use crate::outcome::{Lane, Picture, Pipe, Steady};
use crate::site::{Outage, Site};
use crate::topology::{Fabric, NodeId};
use crate::unit::Side;
use fold::Folded;
use std::collections::BTreeMap;

/// Folds a site. `cases` are the states shown (`None` is healthy), `steady` their figures in the same
/// order; a case without figures has no load.
#[must_use]
pub fn picture(
    site: &Site,
    fabric: &Fabric,
    cases: &[Option<&Outage>],
    steady: &[Steady],
) -> Picture {
    let lost: Vec<Vec<NodeId>> = cases
        .iter()
        .map(|outage| outage.map_or_else(Vec::new, |outage| fabric.nodes_out(outage)))
        .collect();
    let folded = fold::fold(site, fabric, &lost);
    let pipes = pipes(site, fabric, &folded, cases, steady);
    Picture {
        nodes: folded.nodes,
        pipes,
    }
}

/// Pipes in order of their first link.
fn pipes(
    site: &Site,
    fabric: &Fabric,
    folded: &Folded,
    cases: &[Option<&Outage>],
    steady: &[Steady],
) -> Vec<Pipe> {
    let mut order: Vec<(usize, usize, Option<Side>)> = Vec::new();
    let mut groups: BTreeMap<(usize, usize, Option<Side>), Vec<usize>> = BTreeMap::new();
    for (index, member) in fabric.members.iter().enumerate() {
        let (Some(from), Some(to)) = (folded.of(member.near), folded.of(member.far)) else {
            continue;
        };
        let key = (from, to, member.side);
        let group = groups.entry(key).or_default();
        if group.is_empty() {
            order.push(key);
        }
        group.push(index);
    }
    let alive: Vec<Vec<bool>> = cases
        .iter()
        .map(|outage| {
            let mut alive = fabric.all_alive();
            let gone = outage.map_or_else(Vec::new, |outage| fabric.members_out(outage));
            for member in gone {
                alive[member.0 as usize] = false;
            }
            alive
        })
        .collect();
    let loads = load::Loads::new(site, fabric, steady);
    order
        .into_iter()
        .map(|key| {
            let members = &groups[&key];
            let load = (0..cases.len())
                .map(|case| {
                    let left: Vec<usize> = members
                        .iter()
                        .copied()
                        .filter(|member| alive[case][*member])
                        .collect();
                    loads.pooled(fabric, case, &left)
                })
                .collect();
            Pipe {
                from: key.0,
                to: key.1,
                label: label(site, fabric, members),
                detail: detail(site, fabric, members),
                lane: lane(key.2),
                load,
            }
        })
        .collect()
}

/// `2 × 32GFC`; different speeds one after the other.
fn label(site: &Site, fabric: &Fabric, members: &[usize]) -> String {
    let mut counts: Vec<(&str, u32)> = Vec::new();
    for member in members {
        let speed = site.links[fabric.members[*member].family].label.as_str();
        match counts.iter_mut().find(|(known, _)| *known == speed) {
            Some((_, count)) => *count += 1,
            None => counts.push((speed, 1)),
        }
    }
    let words: Vec<String> = counts
        .into_iter()
        .map(|(speed, count)| format!("{count} × {speed}"))
        .collect();
    words.join(" + ")
}

/// What is to be known of the cages: `2 of 4 legs lit`, `one cage`.
fn detail(site: &Site, fabric: &Fabric, members: &[usize]) -> String {
    // Legs in use and legs there, by cage.
    let mut cages: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
    for member in members.iter().map(|index| &fabric.members[*index]) {
        if let (Some(name), Some(cage)) = (&member.cage, site.links[member.family].cage) {
            cages.entry(name).or_insert((0, cage.legs)).0 += 1;
        }
    }
    let lit: u32 = cages.values().map(|(lit, _)| lit).sum();
    let legs: u32 = cages.values().map(|(_, legs)| legs).sum();
    match (cages.len(), lit == legs) {
        (0, _) => String::new(),
        (1, true) => "one cage".to_owned(),
        (1, false) => format!("{lit} of {legs} legs lit"),
        (number, true) => format!("{number} cages"),
        (number, false) => format!("{number} cages, {lit} of {legs} legs lit"),
    }
}

const fn lane(side: Option<Side>) -> Lane {
    match side {
        Some(Side::A) => Lane::A,
        Some(Side::B) => Lane::B,
        None => Lane::Middle,
    }
}

#[cfg(test)]
mod tests;
