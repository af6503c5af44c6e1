//! How full links and controllers are before any run, and how far a tier is oversubscribed.
//!
//! Bands for the state after a loss, per cent of capacity on the mean: up to 70 comfortable, up to 80 meets
//! most latency targets, up to 100 carries the bytes but likely misses latency, above that cannot carry
//! the load (common practice, no source; mean time in a single queue is service ÷ (1 − use), so × 3.3, × 5
//! and without bound). The worst piece decides, not the average.

use super::{Facts, finding, tiers};
use crate::outcome::{ReviewFinding, Severity};
use std::collections::BTreeMap;

/// Up to here comfortable after a loss, per cent: common practice, no source.
const COMFORTABLE: f64 = 70.0;
/// Up to here most latency targets are met, per cent: common practice, no source.
const MOST_TARGETS: f64 = 80.0;
/// Host side ÷ uplinks that is usual at most between switches and arrays built for flash: common practice,
/// no source.
const USUAL_RATIO: f64 = 3.0;

/// A link family or the controllers of an array, in its fullest instance.
struct Piece {
    name: String,
    /// Largest mean per cent, and in which case.
    mean: (f64, String),
    /// Largest burst per cent, and in which case.
    burst: (f64, String),
}

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let pieces = pieces(facts);
    let mut findings: Vec<ReviewFinding> = pieces.iter().filter_map(judge).collect();
    let rest = pieces.iter().filter(|piece| judge(piece).is_none());
    if let Some(fullest) = rest.max_by(|a, b| a.mean.0.total_cmp(&b.mean.0)) {
        findings.push(finding(
            Severity::Note,
            "utilization",
            format!(
                "comfortable: every other link and controller; the fullest of them is {}, {}",
                fullest.name,
                figures(fullest)
            ),
            "Nothing to do; the simulation has the last word.",
        ));
    }
    findings.extend(oversubscribed(facts));
    findings
}

fn pieces(facts: &Facts<'_>) -> Vec<Piece> {
    let names: Vec<&str> = facts
        .estimate
        .cases
        .iter()
        .map(|c| c.name.as_str())
        .collect();
    let mut pieces: Vec<Piece> = Vec::new();
    let mut families: BTreeMap<usize, usize> = BTreeMap::new();
    let note = |pieces: &mut Vec<Piece>, at: usize, case: usize, mean: f64, burst: f64| {
        let piece = &mut pieces[at];
        for (most, value) in [(&mut piece.mean, mean), (&mut piece.burst, burst)] {
            if value > most.0 {
                *most = (value, names[case].to_owned());
            }
        }
    };
    let fresh = |name: String| Piece {
        name,
        mean: (0.0, "healthy".to_owned()),
        burst: (0.0, "healthy".to_owned()),
    };
    for tier in &facts.tiers {
        let at = *families.entry(tier.family).or_insert_with(|| {
            let label = &facts.site.links[tier.family].label;
            pieces.push(fresh(format!(
                "{}, {label}",
                tiers::tier_name(facts.site, tier.family)
            )));
            pieces.len() - 1
        });
        for case in 0..names.len() {
            let row = &tier.row;
            if let (Some(out), Some(back), Some(burst)) = (
                row.toward_array_percent[case],
                row.toward_host_percent[case],
                row.burst_percent[case],
            ) {
                note(&mut pieces, at, case, out.max(back), burst);
            }
        }
    }
    for (array, family) in facts.site.arrays.iter().enumerate() {
        pieces.push(fresh(format!("controllers of {}", family.name)));
        let at = pieces.len() - 1;
        for (case, loads) in facts.estimate.cases.iter().enumerate() {
            let own = facts.fabric.controllers.iter().zip(&loads.controllers);
            for load in own
                .filter(|(c, _)| c.array == array)
                .filter_map(|(_, l)| *l)
            {
                note(&mut pieces, at, case, 100.0 * load.mean, 100.0 * load.burst);
            }
        }
    }
    pieces
}

/// `66.3 % on the mean (A lost) and 119.3 % in a burst (A lost)`.
fn figures(piece: &Piece) -> String {
    let (mean, burst) = (&piece.mean, &piece.burst);
    if (burst.0 - mean.0).abs() < 1e-9 {
        return format!("{:.1} % on the mean ({})", mean.0, mean.1);
    }
    format!(
        "{:.1} % on the mean ({}) and {:.1} % in a burst ({})",
        mean.0, mean.1, burst.0, burst.1
    )
}

fn judge(piece: &Piece) -> Option<ReviewFinding> {
    let (mean, burst) = (piece.mean.0, piece.burst.0);
    let (severity, word, advice) = if mean > 100.0 {
        (
            Severity::Warning,
            "cannot carry the load",
            "Add capacity here or take load away: no queue setting helps.",
        )
    } else if burst > 100.0 {
        (
            Severity::Warning,
            "carries the mean, but not a burst: a backlog grows as long as the burst lasts",
            "Add capacity here, or spread the bursts; simulate it to see the latency.",
        )
    } else if mean > MOST_TARGETS {
        (
            Severity::Warning,
            "carries the bytes, likely misses latency",
            "Add capacity here before promising a latency.",
        )
    } else if mean > COMFORTABLE || burst > MOST_TARGETS {
        (
            Severity::Note,
            "meets most latency targets",
            "Check the promised percentiles by simulation.",
        )
    } else {
        return None;
    };
    Some(finding(
        severity,
        "utilization",
        format!("{}: {}: {word}", piece.name, figures(piece)),
        advice,
    ))
}

/// Switch uplinks above the usual ratio; array ports that are asked for more than they have.
fn oversubscribed(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let mut worst: BTreeMap<usize, f64> = BTreeMap::new();
    for tier in &facts.tiers {
        if let Some(ratio) = tier.row.oversubscription {
            let most = worst.entry(tier.family).or_insert(0.0);
            *most = most.max(ratio);
        }
    }
    worst
        .into_iter()
        .filter_map(|(family, ratio)| {
            let to_array = matches!(facts.site.links[family].to, crate::site::End::Array(_));
            let usual = if to_array { 1.0 } else { USUAL_RATIO };
            (ratio > usual + 1e-9).then(|| {
                finding(
                    Severity::Note,
                    "oversubscription",
                    format!(
                        "{}: {ratio:.1}:1, host side ÷ uplink side at the nearer switch; usual is \
                         {usual:.0}:1 at most (common practice, no source)",
                        tiers::tier_name(facts.site, family)
                    ),
                    "Look at the load asked of it: a ratio alone decides nothing.",
                )
            })
        })
        .collect()
}
