//! Throughputs that closed loops bring too little of: from which load on they bring enough, as far as the runs say, and that none does.
//!
//! What a loop brings is known from its runs alone. A load that was not run is told as that: of neighbours in what is outstanding, which is
//! a whole number, there is none between.

use super::edge::breaks;
use super::scale::Scale;
use super::{Judged, Search};
use crate::outcome::{Because, Floor, Hopeless, LoadRow, MeasureKind, Purpose, Verdict};
use crate::site::{Arrivals, Site};

/// What a workload keeps outstanding at each host today; `None` of open work.
fn depth_today(site: &Site, name: &str) -> Option<u32> {
    let own = site.workloads.iter().find(|work| work.name == name)?;
    match own.arrivals {
        Arrivals::Closed { depth, .. } => Some(depth),
        _ => None,
    }
}

fn same<'a>(judged: &'a Judged, row: &LoadRow) -> Option<&'a LoadRow> {
    judged.point.rows.iter().find(|own| own.is_of(row))
}

/// A throughput that a closed loop first brings at some load: the runs below brought too little and broke nothing else.
/// Of open work a lower load promises less, so that none of this is said of it. Loads are in rising order.
pub(super) fn seen_floor(site: &Site, search: &Search, scale: &Scale<'_>) -> Option<Floor> {
    let short = search.points.iter().rfind(|judged| judged.short)?;
    let lost = |row: &&LoadRow| {
        row.measure == MeasureKind::Throughput
            && row.cell.verdict != Verdict::Met
            && depth_today(site, &row.workload).is_some()
    };
    let row = short.point.rows.iter().find(lost)?;
    let brings = |judged: &&Judged| {
        let above = judged.point.factor > short.point.factor;
        above && same(judged, row).is_some_and(|own| !breaks(own))
    };
    let enough = search.points.iter().find(brings)?;
    // With other work above it may have brought too little again, and nearer.
    let too_little = |judged: &&Judged| {
        let below = judged.point.factor < enough.point.factor;
        below && same(judged, row).is_some_and(breaks)
    };
    let nearest = search.points.iter().rfind(too_little).unwrap_or(short);
    let depth = |judged: &Judged| {
        let mut depths = judged.point.depths.iter();
        depths
            .find(|own| own.workload == row.workload)
            .map(|own| own.depth)
    };
    let ends = depth(nearest).zip(depth(enough));
    let neighbours = ends.filter(|(low, high)| low + 1 == *high && scale.step() <= 0.0);
    let step = neighbours.zip(depth_today(site, &row.workload));
    Some(Floor {
        workload: row.workload.clone(),
        target_text: row.cell.target_text.clone(),
        factor: enough.point.factor,
        short: Some(nearest.point.factor),
        step: step.map(|((_, high), today)| (f64::from(high) - 0.5) / f64::from(today)),
        asked_mb_s: None,
    })
}

/// A throughput of a closed loop that no run brought, and that a test has proven to be missed.
pub(super) fn never_brought(site: &Site, search: &Search) -> Option<Hopeless> {
    let runs = || {
        search
            .points
            .iter()
            .filter(|own| own.point.replications > 0)
    };
    if runs().any(|judged| judged.point.partial) {
        return None;
    }
    let proven = |judged: &&Judged| judged.point.purpose != Purpose::Pilot;
    let missed = runs().filter(proven).flat_map(|judged| &judged.point.rows);
    let mut missed = missed.filter(|row| {
        row.measure == MeasureKind::Throughput
            && row.cell.verdict == Verdict::Missed
            && !row.cell.is_cut_off()
            && depth_today(site, &row.workload).is_some()
    });
    let row = missed.find(|row| runs().all(|judged| same(judged, row).is_some_and(breaks)))?;
    let factors = || runs().map(|judged| judged.point.factor);
    let brought = runs().filter_map(|judged| same(judged, row)?.cell.value);
    Some(Hopeless {
        workload: row.workload.clone(),
        measure: row.measure,
        target_text: row.cell.target_text.clone(),
        because: Because::NeverBrought {
            least: factors().reduce(f64::min)?,
            factor: factors().reduce(f64::max)?,
            throughput_mb_s: brought.map(|value| value.value).reduce(f64::max)?,
        },
    })
}
