//! Loads that were run, as rows.

use super::{maybe, names, number, to_text};
use crate::outcome::{Headroom, LoadPoint, Purpose, Unseen, Verdict};
use crate::render::words::measure_name;

/// One row for each case, load and promise. `point_verdict` is on all promises together, at the load's share
/// of the error; `proven` marks the two ends of a case, `met` and `missed`, and loads
/// below that are missed all the same, `missed below`; `search` says whether it was `stopped` early;
/// `outstanding` is how many I/Os each closed loop kept outstanding at each host; `bursts_unseen` names workloads whose bursts the busiest
/// 20 ms do not have from its runs as they are.
#[must_use]
pub fn headroom_csv(headroom: &Headroom) -> String {
    let header = names(&[
        "case",
        "factor",
        "purpose",
        "replications",
        "workload",
        "measure",
        "unit",
        "target",
        "value",
        "value_low",
        "value_high",
        "beyond",
        "above_share",
        "verdict",
        "saturated",
        "point_verdict",
        "proven",
        "outstanding",
        "left_open",
        "bursts_unseen",
        "search",
    ]);
    let search = if headroom.partial { "stopped" } else { "whole" };
    let mut rows = Vec::new();
    for case in &headroom.cases {
        let hole = |point: &LoadPoint| {
            let mut holes = case.holes.iter();
            let pilot = point.purpose == Purpose::Pilot;
            !pilot && holes.any(|hole| hole.factor == point.factor)
        };
        for point in &case.points {
            let purpose = match point.purpose {
                Purpose::Pilot => "pilot",
                Purpose::ProveMet => "prove-met",
                Purpose::ProveMissed => "prove-missed",
                Purpose::Below => "below",
            };
            // A load may be tested again with more replications.
            let decided = match point.purpose {
                Purpose::ProveMet => point.verdict == Verdict::Met,
                Purpose::Pilot | Purpose::ProveMissed | Purpose::Below => {
                    point.verdict == Verdict::Missed
                }
            };
            let proven = match point.purpose {
                _ if !decided => "",
                _ if hole(point) => "missed below",
                Purpose::ProveMet if case.met == Some(point.factor) => "met",
                Purpose::ProveMissed if case.missed == Some(point.factor) => "missed",
                Purpose::Pilot | Purpose::ProveMet | Purpose::ProveMissed | Purpose::Below => "",
            };
            let loops = point.depths.iter();
            let outstanding: Vec<String> = loops
                .map(|own| format!("{} {}", own.workload, own.depth))
                .collect();
            let unseen: Vec<String> = point
                .unseen_bursts
                .iter()
                .map(|own| match own.why {
                    Unseen::Rare => format!("{}: too few", own.workload),
                    Unseen::Short => format!("{}: shorter than 20 ms", own.workload),
                })
                .collect();
            for row in &point.rows {
                let cell = &row.cell;
                rows.push(vec![
                    case.case.name.clone(),
                    number(point.factor),
                    purpose.to_owned(),
                    point.replications.to_string(),
                    row.workload.clone(),
                    measure_name(row.measure),
                    cell.unit.to_owned(),
                    number(cell.target),
                    maybe(cell.value.map(|figure| figure.value)),
                    maybe(cell.value.and_then(|figure| figure.low)),
                    maybe(cell.value.and_then(|figure| figure.high)),
                    maybe(cell.beyond),
                    maybe(cell.above_share),
                    verdict(cell.verdict).to_owned(),
                    cell.saturated.to_string(),
                    verdict(point.verdict).to_owned(),
                    proven.to_owned(),
                    outstanding.join("; "),
                    super::left_open(cell).to_owned(),
                    unseen.join("; "),
                    search.to_owned(),
                ]);
            }
        }
    }
    to_text(&header, rows)
}

pub(super) const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Met => "met",
        Verdict::Missed => "missed",
        Verdict::Undecided => "undecided",
    }
}
