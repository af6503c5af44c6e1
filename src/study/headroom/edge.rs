//! Where the edge is, as far as the runs know it, and which loads to run next.

use super::curve::{Run, fitted};
use super::scale::Scale;
use super::{CLOSE, Judged, LEAST, Search};
use crate::outcome::{LoadPoint, LoadRow, MeasureKind, Purpose, Steady, Verdict};

/// How far the worst promise is from its limit: ln(share above ÷ share allowed), ln(mean ÷ target),
/// ln(target ÷ throughput). Infinite when the work does not fit.
#[allow(clippy::cast_precision_loss)]
pub(super) fn excess(point: &LoadPoint, steady: &Steady) -> (f64, f64) {
    let of = |row: &LoadRow| -> (f64, f64) {
        let cell = &row.cell;
        let ios = steady
            .workloads
            .iter()
            .find(|workload| workload.name == row.workload)
            .map_or(0, |workload| workload.all.ios);
        match (row.measure, cell.value) {
            _ if cell.saturated => (f64::INFINITY, 0.0),
            (MeasureKind::Quantile(_), _) => {
                let allowed = cell.above_allowed.unwrap_or(1.0);
                let share = cell.above_share.unwrap_or(0.0);
                let above = (share * ios as f64).max(0.5);
                (libm::log(above / ios.max(1) as f64 / allowed), above)
            }
            (MeasureKind::Throughput, Some(value)) => (libm::log(cell.target / value.value), 1.0),
            (_, Some(value)) => (libm::log(value.value / cell.target), 1.0),
            (_, None) => (f64::NEG_INFINITY, 0.0),
        }
    };
    point
        .rows
        .iter()
        .map(of)
        .fold((f64::NEG_INFINITY, 0.0), |worst, next| {
            if next.0 > worst.0 { next } else { worst }
        })
}

/// The runs of some points, for a curve through them.
pub(super) fn runs<'a>(
    search: &'a Search,
    wanted: impl Fn(&LoadPoint) -> bool + 'a,
) -> impl Iterator<Item = Run> + 'a {
    search
        .points
        .iter()
        .filter(move |judged| wanted(&judged.point))
        .map(|judged| Run {
            factor: judged.point.factor,
            excess: judged.excess,
            weight: judged.weight,
        })
}

/// A load factor, and how far the worst promise is from its limit there.
pub(super) type Place = (f64, f64);

/// The loads next to the edge, as far as pilot runs know it: the highest that keeps the promises below the
/// lowest that does not.
pub(super) fn edge(search: &Search) -> (Option<Place>, Option<Place>) {
    let pilots = || {
        search
            .points
            .iter()
            .filter(|judged| judged.point.purpose == Purpose::Pilot)
            .map(|judged| (judged.point.factor, judged.excess))
    };
    let over = pilots()
        .filter(|(_, excess)| *excess > 0.0)
        .min_by(|left, right| left.0.total_cmp(&right.0));
    let limit = over.map_or(f64::INFINITY, |(factor, _)| factor);
    let under = pilots()
        .filter(|(factor, excess)| *excess <= 0.0 && *factor < limit)
        .max_by(|left, right| left.0.total_cmp(&right.0));
    (under, over)
}

/// Where the line between the two points crosses 0; half way where one of them is infinite.
pub(super) fn crossing(under: Place, over: Place) -> f64 {
    let share = -under.1 / (over.1 - under.1);
    let share = if share.is_finite() && over.1.is_finite() {
        share
    } else {
        0.5
    };
    under.0 + (over.0 - under.0) * share
}

pub(super) fn next_pilot(
    search: &Search,
    scale: &Scale<'_>,
    round: usize,
    most: f64,
) -> Option<f64> {
    if search.promises == 0 {
        return None;
    }
    let next = match edge(search) {
        (Some(under), Some(over)) => {
            if over.0 / under.0 - 1.0 <= CLOSE || over.0 - under.0 <= scale.step() * 1.01 {
                return None;
            }
            // A line can creep along a curve; every second round halves.
            let middle = f64::midpoint(under.0, over.0);
            let gap = (over.0 - under.0) * 0.1;
            Some(if round.is_multiple_of(2) {
                crossing(under, over).clamp(under.0 + gap, over.0 - gap)
            } else {
                middle
            })
        }
        (None, Some((factor, _))) => {
            let least = LEAST.max(scale.step());
            (factor > least).then(|| (factor / 2.0).max(least))
        }
        (Some((factor, _)), None) => {
            let beyond = search.saturation.filter(|limit| *limit > factor);
            let next = beyond.map_or(factor * 1.5, |limit| limit * 1.02);
            (factor < most).then(|| next.min(most))
        }
        (None, None) => None,
    };
    // Whole hosts: one that was run already says nothing new.
    let next = scale.snap(next?);
    let pilot = |judged: &Judged| judged.point.purpose == Purpose::Pilot;
    let known = |judged: &Judged| pilot(judged) && judged.point.factor == next;
    (!search.points.iter().any(known)).then_some(next)
}

/// The next load of each end that is not proven yet.
pub(super) fn proofs(
    search: &Search,
    scale: &Scale<'_>,
    step: f64,
    most: f64,
) -> Vec<(f64, Purpose)> {
    if search.promises == 0 {
        return Vec::new();
    }
    let proven = |purpose: Purpose, verdict: Verdict| {
        search
            .points
            .iter()
            .any(|judged| judged.point.purpose == purpose && judged.point.verdict == verdict)
    };
    let (under, over) = edge(search);
    let middle = under.zip(over).map(|(under, over)| {
        let curve = fitted(runs(search, |point| point.purpose == Purpose::Pilot));
        // The curve may not leave what the runs around the edge say.
        curve.map_or_else(
            || crossing(under, over),
            |(factor, _)| factor.clamp(under.0, over.0),
        )
    });
    // With whole hosts, steps of a few per cent can fall on the same number: then it is the next one.
    let tested = |purpose: Purpose, factor: f64| {
        search
            .points
            .iter()
            .any(|judged| judged.point.purpose == purpose && judged.point.factor == factor)
    };
    let mut jobs = Vec::new();
    if !proven(Purpose::ProveMet, Verdict::Met)
        && let Some(from) = middle.or(under.map(|(factor, _)| factor))
    {
        let wanted = (from * (1.0 - step)).min(scale.below(search.cliff, step));
        let mut factor = scale.down(wanted);
        while scale.step() > 0.0 && tested(Purpose::ProveMet, factor) {
            factor = scale.down(factor - scale.step() * 0.5);
        }
        if factor > 0.0 {
            jobs.push((factor, Purpose::ProveMet));
        }
    }
    if !proven(Purpose::ProveMissed, Verdict::Missed)
        && let Some(from) = middle.or(over.map(|(factor, _)| factor))
    {
        let mut factor = scale.up(from * (1.0 + step));
        while scale.step() > 0.0 && tested(Purpose::ProveMissed, factor) {
            factor = scale.up(factor + scale.step() * 0.5);
        }
        let room = if scale.step() > 0.0 { 0.0 } else { step };
        if factor <= most * (1.0 + room) {
            jobs.push((factor, Purpose::ProveMissed));
        }
    }
    jobs
}
