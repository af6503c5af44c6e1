//! How full links and controllers are before any run, and how far a tier is oversubscribed.
//!
//! Bands for the state after a loss, per cent of capacity on the mean: up to 70 comfortable, up to 80 meets
//! most latency targets, up to 100 carries the bytes but likely misses latency, above that cannot carry
//! the load (common practice, no source; mean time in a single queue is service ÷ (1 − use), so × 3.3, × 5
//! and without bound). Where hosts level their queues, no piece counts as fuller than the
//! fullest must be. The worst piece decides, not the average.

use super::{Facts, finding, tiers};
use crate::outcome::{ReviewFinding, Severity};
use crate::study::estimate::{levelled, levelled_in_bursts};
use std::collections::BTreeMap;

/// Up to here comfortable after a loss, per cent: common practice, no source.
const COMFORTABLE: f64 = 70.0;
/// Up to here most latency targets are met, per cent: common practice, no source.
const MOST_TARGETS: f64 = 80.0;
/// Host side ÷ uplinks that is usual at most between switches and arrays built for flash: common practice,
/// no source.
const USUAL_RATIO: f64 = 3.0;

/// A link family or the controllers of an array: its fullest instance in each case, per cent.
struct Piece {
    name: String,
    mean: Vec<f64>,
    burst: Vec<f64>,
    /// The mean that even shares of each path would make, where hosts that level their queues make less of it.
    even: Option<f64>,
    /// Whether one member is fuller than its group.
    of_member: bool,
}

impl Piece {
    fn new(name: String, cases: usize) -> Self {
        Self {
            name,
            mean: vec![0.0; cases],
            burst: vec![0.0; cases],
            even: None,
            of_member: false,
        }
    }

    /// What to call it.
    fn called(&self) -> String {
        match self.of_member {
            true => format!("one member of {}", self.name),
            false => self.name.clone(),
        }
    }

    fn note(&mut self, case: usize, mean: f64, burst: f64) {
        self.mean[case] = self.mean[case].max(mean);
        self.burst[case] = self.burst[case].max(burst);
    }

    /// No part need be fuller in a case than these: what is beyond goes over other paths.
    fn level(&mut self, case: usize, (mean, burst): (f64, f64)) {
        if self.mean[case] > mean {
            self.even = Some(self.even.unwrap_or(0.0).max(self.mean[case]));
            self.mean[case] = mean;
        }
        self.burst[case] = self.burst[case].min(burst.max(self.mean[case]));
    }
}

fn worst(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let pieces = pieces(facts);
    let mut findings: Vec<ReviewFinding> = pieces
        .iter()
        .filter_map(|piece| judge(facts, piece))
        .collect();
    let rest = pieces.iter().filter(|piece| judge(facts, piece).is_none());
    if let Some(fullest) = rest.max_by(|a, b| worst(&a.mean).total_cmp(&worst(&b.mean))) {
        let every = if findings.is_empty() {
            "every"
        } else {
            "every other"
        };
        findings.push(finding(
            Severity::Note,
            "utilization",
            format!(
                "comfortable: {every} link and controller; the fullest of them is {}, {}",
                fullest.called(),
                figures(facts, fullest)
            ),
            "Nothing to do; the simulation has the last word.",
        ));
    }
    findings.extend(oversubscribed(facts));
    findings
}

fn pieces(facts: &Facts<'_>) -> Vec<Piece> {
    let cases = facts.estimate.cases.len();
    let mut pieces: Vec<Piece> = Vec::new();
    let mut families: BTreeMap<usize, usize> = BTreeMap::new();
    for tier in &facts.tiers {
        let at = *families.entry(tier.family).or_insert_with(|| {
            let label = &facts.site.links[tier.family].label;
            let name = tiers::tier_name(facts.site, tier.family);
            pieces.push(Piece::new(format!("{name}, {label}"), cases));
            pieces.len() - 1
        });
        let row = &tier.row;
        for case in 0..cases {
            if let (Some(out), Some(back), Some(burst)) = (
                row.toward_array_percent[case],
                row.toward_host_percent[case],
                row.burst_percent[case],
            ) {
                pieces[at].note(case, out.max(back), burst);
            }
        }
    }
    by_member(facts, &families, &mut pieces);
    for (array, family) in facts.site.arrays.iter().enumerate() {
        let mut piece = Piece::new(format!("controllers of {}", family.name), cases);
        for (case, loads) in facts.members.cases.iter().enumerate() {
            let own = facts.fabric.controllers.iter().zip(&loads.controllers);
            for load in own
                .filter(|(c, _)| c.array == array)
                .filter_map(|(_, l)| *l)
            {
                piece.note(case, 100.0 * load.mean, 100.0 * load.burst);
            }
        }
        pieces.push(piece);
    }
    for (case, loads) in facts.members.cases.iter().enumerate() {
        let mean = levelled(facts.site, facts.fabric, loads).map(|found| found.fullest);
        let mut all = loads.directions.iter().chain(&loads.controllers).flatten();
        let bursty = all.any(|load| load.burst > load.mean);
        let burst = match bursty {
            true => levelled_in_bursts(facts.site, facts.fabric, loads),
            false => mean,
        };
        let most = |share: Option<f64>| share.map_or(f64::INFINITY, |share| 100.0 * share);
        for piece in &mut pieces {
            piece.level(case, (most(mean), most(burst)));
        }
    }
    pieces
}

/// A link is as full as its fullest member: where addresses choose members, that one is fuller than its group, and the piece is called
/// after it. The shares are those by which headroom finds its end.
fn by_member(facts: &Facts<'_>, families: &BTreeMap<usize, usize>, pieces: &mut [Piece]) {
    for (case, loads) in facts.members.cases.iter().enumerate() {
        let mut most: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
        for (index, load) in loads.directions.iter().enumerate() {
            let (Some(load), Some(member)) = (load, facts.fabric.members.get(index / 2)) else {
                continue;
            };
            let own = most.entry(member.family).or_default();
            *own = (own.0.max(load.mean), own.1.max(load.burst));
        }
        for (family, (mean, burst)) in most {
            let Some(piece) = families.get(&family).and_then(|at| pieces.get_mut(*at)) else {
                continue;
            };
            let (mean, burst) = (100.0 * mean, 100.0 * burst);
            if mean > piece.mean[case] && !alike(mean, piece.mean[case]) {
                piece.of_member = true;
            }
            piece.note(case, mean, burst);
        }
    }
}

/// `66.3 % on the mean and 119.3 % in a burst (A lost or B lost)`.
fn figures(facts: &Facts<'_>, piece: &Piece) -> String {
    let (mean, burst) = (worst(&piece.mean), worst(&piece.burst));
    let (mean_in, burst_in) = (which(facts, &piece.mean), which(facts, &piece.burst));
    let alike = alike(mean, burst);
    let (mean, burst) = (tenths(mean), tenths(burst));
    if alike {
        format!("{mean:.1} % on the mean ({mean_in})")
    } else if mean_in == burst_in {
        format!("{mean:.1} % on the mean and {burst:.1} % in a burst ({mean_in})")
    } else {
        format!("{mean:.1} % on the mean ({mean_in}) and {burst:.1} % in a burst ({burst_in})")
    }
}

/// Rounded to tenths as the tables beside it round: a half goes up, also where the last bit of a sum is missing.
fn tenths(percent: f64) -> f64 {
    (percent * 10.0).round() / 10.0
}

/// The cases in which the largest value is reached.
fn which(facts: &Facts<'_>, values: &[f64]) -> String {
    let most = worst(values);
    let cases = facts.estimate.cases.iter().zip(values);
    let names: Vec<&str> = cases
        .filter(|(_, value)| alike(**value, most))
        .map(|(case, _)| case.name.as_str())
        .collect();
    if names.len() == values.len() && names.len() > 1 {
        "in every case".to_owned()
    } else {
        names.join(" or ")
    }
}

/// Equal but for the rounding of sums.
fn alike(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.max(b)
}

fn judge(facts: &Facts<'_>, piece: &Piece) -> Option<ReviewFinding> {
    let (mean, burst) = (worst(&piece.mean), worst(&piece.burst));
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
        match piece.even.filter(|even| *even > mean) {
            Some(even) => format!(
                "{}: {}, where hosts level what they send ({:.1} % in even shares, as below): {word}",
                piece.called(),
                figures(facts, piece),
                tenths(even)
            ),
            None => format!("{}: {}: {word}", piece.called(), figures(facts, piece)),
        },
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_half_goes_up_as_in_the_tables() {
        let sum = 26.549_999_999_999_997;
        assert_eq!(format!("{sum:.1}"), "26.5");
        assert_eq!(format!("{:.1}", tenths(sum)), "26.6");
    }
}
