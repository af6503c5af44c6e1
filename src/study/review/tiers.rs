//! Tiers: all links of one family on one fabric.

use crate::outcome::TierRow;
use crate::site::{Carries, End, LinkFamily, Site};
use crate::study::estimate::{CaseLoads, Estimate, count};
use crate::study::layers::{Layers, end_name};
use crate::study::paths::{gb_s, nominal_gb_s, side_letter};
use crate::topology::{Fabric, NodeId};
use crate::unit::Side;
use std::collections::BTreeMap;

/// A tier and its row.
pub(super) struct Tier {
    pub(super) family: usize,
    pub(super) side: Option<Side>,
    pub(super) row: TierRow,
}

/// All tiers, from the hosts to the arrays, A before B before neither.
pub(super) fn tiers(site: &Site, fabric: &Fabric, estimate: &Estimate) -> Vec<Tier> {
    let layers = Layers::new(site);
    let mut order: Vec<usize> = (0..site.links.len()).collect();
    order.sort_by_key(|family| (layers.of(site.links[*family].from), *family));
    let mut tiers = Vec::new();
    for family in order {
        for side in [Some(Side::A), Some(Side::B), None] {
            let members: Vec<usize> = (0..fabric.members.len())
                .filter(|index| {
                    let member = &fabric.members[*index];
                    member.family == family && member.side == side
                })
                .collect();
            if !members.is_empty() {
                let row = row(site, fabric, estimate, (family, side), &members);
                tiers.push(Tier { family, side, row });
            }
        }
    }
    tiers
}

/// `edge to san`; families between the same two have their own names behind.
pub(super) fn tier_name(site: &Site, family: usize) -> String {
    let link = &site.links[family];
    let name = format!(
        "{} to {}",
        end_name(site, link.from),
        end_name(site, link.to)
    );
    let twins = site
        .links
        .iter()
        .filter(|other| other.from == link.from && other.to == link.to);
    if twins.count() > 1 {
        format!("{name} ({})", link.name)
    } else {
        name
    }
}

fn row(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    (family, side): (usize, Option<Side>),
    members: &[usize],
) -> TierRow {
    let link = &site.links[family];
    let links = count(members.len());
    let loads: Vec<Option<[f64; 3]>> = estimate
        .cases
        .iter()
        .map(|case| fullest_bundle(fabric, case, members))
        .collect();
    let column = |which: usize| -> Vec<Option<f64>> {
        loads
            .iter()
            .map(|case| case.map(|load| 100.0 * load[which]))
            .collect()
    };
    TierRow {
        tier: tier_name(site, family),
        side: side.map(side_letter),
        links: format!("{} × {}", members.len(), link.label),
        nominal_gb_s: links * nominal_gb_s(site, family),
        usable_gb_s: links * gb_s(link.rate),
        oversubscription: oversubscription(site, fabric, link, members),
        toward_array_percent: column(0),
        toward_host_percent: column(1),
        burst_percent: column(2),
        closed: estimate
            .cases
            .iter()
            .map(|case| {
                let crossed = |index: &usize| case.closed[index * 2] || case.closed[index * 2 + 1];
                members.iter().any(crossed)
            })
            .collect(),
    }
}

/// The fullest bundle (all members between the same two nodes that are there): towards the arrays, towards
/// the hosts, and the busier of the two in a burst; shares of 1. `None` when no member is there.
fn fullest_bundle(fabric: &Fabric, case: &CaseLoads, members: &[usize]) -> Option<[f64; 3]> {
    // Capacity, then mean and burst each way, bytes per second.
    let mut bundles: BTreeMap<(NodeId, NodeId), [f64; 5]> = BTreeMap::new();
    for index in members.iter().copied().filter(|index| case.alive[*index]) {
        let member = &fabric.members[index];
        let sums = bundles.entry((member.near, member.far)).or_default();
        sums[0] += fabric.directions[index * 2].rate.bits_per_second() / 8.0 * case.left[index];
        for toward in 0..2 {
            let load = case.bytes[index * 2 + toward];
            sums[1 + toward] += load.mean;
            sums[3 + toward] += load.burst;
        }
    }
    bundles
        .into_values()
        .map(|[capacity, out, back, out_burst, back_burst]| {
            [
                out / capacity,
                back / capacity,
                out_burst.max(back_burst) / capacity,
            ]
        })
        .reduce(|a, b| [a[0].max(b[0]), a[1].max(b[1]), a[2].max(b[2])])
}

/// Host side ÷ this tier's links at the nearer switch, usable rates, one direction; the worst switch
/// counts. Host-side links that carry nothing this tier could carry are left out: an IP link brings no
/// load to a Fibre Channel uplink.
fn oversubscription(
    site: &Site,
    fabric: &Fabric,
    link: &LinkFamily,
    members: &[usize],
) -> Option<f64> {
    if !matches!(link.from, End::Switch(_)) {
        return None;
    }
    let mut uplinks: BTreeMap<NodeId, f64> = BTreeMap::new();
    for index in members {
        *uplinks.entry(fabric.members[*index].near).or_insert(0.0) += gb_s(link.rate);
    }
    uplinks
        .into_iter()
        .map(|(switch, uplink)| {
            let host_side: f64 = fabric
                .members
                .iter()
                .filter(|member| member.far == switch)
                .map(|member| &site.links[member.family])
                .filter(|other| share_something(other.carries, link.carries))
                .map(|other| gb_s(other.rate))
                .sum();
            host_side / uplink
        })
        .reduce(f64::max)
        .filter(|ratio| *ratio > 0.0)
}

fn share_something(a: Carries, b: Carries) -> bool {
    a == b || a == Carries::All || b == Carries::All
}
