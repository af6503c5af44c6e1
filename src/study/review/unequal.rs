//! What fabric A has and B has not.

use super::{Facts, finding, tiers};
use crate::outcome::{ReviewFinding, Severity};
use crate::site::End;
use crate::unit::{PerSide, Side};
use std::collections::BTreeMap;

/// Differences smaller than this (relative) are rounding of sums.
const ROUNDING: f64 = 1e-9;

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    if !facts.dual() {
        return Vec::new();
    }
    let mut by_family: BTreeMap<usize, PerSide<f64>> = BTreeMap::new();
    for tier in &facts.tiers {
        if let Some(side) = tier.side {
            by_family.entry(tier.family).or_default()[side] += tier.row.usable_gb_s;
        }
    }
    let mut findings = Vec::new();
    // Families that stand on one side only are compared by what they join, with what stands in their place.
    let mut one_sided: BTreeMap<&str, PerSide<f64>> = BTreeMap::new();
    for (family, sums) in by_family {
        if Side::BOTH.iter().all(|side| sums[*side] > 0.0) {
            findings.extend(compare(&tiers::tier_name(facts.site, family), sums));
            continue;
        }
        let link = &facts.site.links[family];
        let role = match (link.from, link.to) {
            (End::Host(_), _) => "host links",
            (_, End::Array(_)) => "array links",
            _ => "links between switches",
        };
        for side in Side::BOTH {
            one_sided.entry(role).or_default()[side] += sums[side];
        }
    }
    for (role, sums) in one_sided {
        findings.extend(compare(
            &format!("{role} that stand on one fabric only"),
            sums,
        ));
    }
    findings
}

fn compare(what: &str, sums: PerSide<f64>) -> Option<ReviewFinding> {
    let (a, b) = (sums[Side::A], sums[Side::B]);
    ((a - b).abs() > ROUNDING * a.max(b)).then(|| {
        finding(
            Severity::Warning,
            "unequal fabrics",
            format!("{what}: {a:.1} Gb/s on fabric A, {b:.1} Gb/s on fabric B, usable"),
            "Build both alike, or size the promises for the weaker one.",
        )
    })
}
