//! Where the edge is, as far as the runs know it, and which loads to run next.
//!
//! How far loads lie apart and when a search stops are choices of this program, the numbers in [`next_pilot`] as well: they
//! cost or save runs. What is proven does not hang on them: each test has its own share of the error, run or not.

use super::curve::{Curve, Run, fitted};
use super::scale::Scale;
use super::spread::distance;
use super::{CLOSE, Judged, STEPS, Search, TESTS, proving};
use crate::outcome::{Estimated, LoadPoint, LoadRow, MeasureKind, Purpose, Steady, Verdict};

/// First loads are this far from each other.
const APART: f64 = 0.1;
/// Beyond bursts that fill a part, each load is so many times the last.
const BEYOND: f64 = 1.15;
/// A test is left out where it lies at less than this share of the distance that has an even chance: of being met, where
/// replications differ less than at the edge, and of being missed, where they differ more.
const CHANCE_MET: f64 = 0.3;
const CHANCE_MISSED: f64 = 0.6;
/// Pilot runs stop at this share of that distance.
const ENOUGH: f64 = 0.8;

/// How far the worst promise is from its limit, which it is, and one over the variance of that distance: ln(share above ÷
/// share allowed), ln(mean ÷ target), ln(target ÷ throughput). Infinite when the work does not fit.
#[allow(clippy::cast_precision_loss)]
pub(super) fn excess<'a>(rows: &'a [LoadRow], steady: &Steady) -> (Option<&'a LoadRow>, f64, f64) {
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
            (MeasureKind::Throughput, Some(value)) => {
                (libm::log(cell.target / value.value), known(&value))
            }
            (_, Some(value)) => (libm::log(value.value / cell.target), known(&value)),
            // Failed I/Os are above every mean.
            (_, None) if cell.beyond.is_some() => (f64::INFINITY, 0.0),
            (_, None) => (f64::NEG_INFINITY, 0.0),
        }
    };
    rows.iter().map(|row| (row, of(row))).fold(
        (None, f64::NEG_INFINITY, 0.0),
        |worst, (row, next)| {
            if worst.0.is_none() || next.0 > worst.1 {
                (Some(row), next.0, next.1)
            } else {
                worst
            }
        },
    )
}

/// One over the variance of the logarithm of a figure, about, from its interval of 95 %: two deviations on each side.
fn known(figure: &Estimated) -> f64 {
    let half = figure.ends().map(|(low, high)| (high - low) / 2.0);
    half.filter(|half| *half > 0.0)
        .map_or(1.0, |half| (2.0 * figure.value / half).powi(2))
        .clamp(1.0, 1e6)
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
/// lowest that does not. Loads that only bring too little, with one above that brings enough, lie before the range.
pub(super) fn edge(search: &Search) -> (Option<Place>, Option<Place>) {
    let floor = search.floor();
    let pilots = || {
        search
            .points
            .iter()
            .filter(|judged| judged.point.purpose == Purpose::Pilot)
            .filter(move |judged| judged.point.factor >= floor)
    };
    let kept = |judged: &&Judged| judged.excess <= 0.0;
    let highest = pilots()
        .filter(kept)
        .map(|judged| judged.point.factor)
        .fold(0.0, f64::max);
    let place = |judged: &Judged| (judged.point.factor, judged.excess);
    let over = pilots()
        .filter(|judged| judged.excess > 0.0)
        .filter(|judged| !judged.short || judged.point.factor > highest)
        .map(place)
        .min_by(|left, right| left.0.total_cmp(&right.0));
    let limit = over.map_or(f64::INFINITY, |(factor, _)| factor);
    let under = pilots()
        .filter(kept)
        .map(place)
        .filter(|(factor, _)| *factor < limit)
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

/// The first loads: today's, and up to what arithmetic allows.
pub(super) fn first_pilots(search: &Search, scale: &Scale<'_>, most: f64) -> Vec<f64> {
    let floor = search.floor();
    let full = search.saturation.filter(|full| *full <= most);
    let wanted: Vec<f64> = match (full, bursts(search, most)) {
        _ if search.outlook.hopeless.is_some() => vec![scale.least()],
        (_, Some(bursts)) => [0.5, 0.8, 1.0].map(|share| share * bursts).to_vec(),
        (Some(full), None) => [0.4, 0.75, 0.92].map(|share| share * full).to_vec(),
        (None, None) => vec![0.5, 2.0, 4.0_f64.min(most)],
    };
    let beyond = wanted.into_iter().map(|factor| {
        // Into the range in which enough is asked for.
        if factor < floor && floor > 0.0 {
            floor * 1.05
        } else {
            factor
        }
    });
    let mut all = vec![1.0];
    for factor in beyond {
        let apart = all.iter().all(|known| (factor / known - 1.0).abs() > APART);
        if apart && (scale.least()..=most).contains(&factor) {
            all.push(factor);
        }
    }
    scale.snapped(all)
}

/// Where bursts fill a part, if that is well below where the mean does: most promises break there.
fn bursts(search: &Search, most: f64) -> Option<f64> {
    let full = search.saturation.filter(|full| *full <= most);
    search
        .in_bursts
        .filter(|bursts| full.is_some_and(|full| *bursts < 0.9 * full))
}

pub(super) fn next_pilot(
    search: &Search,
    scale: &Scale<'_>,
    round: usize,
    most: f64,
) -> Option<f64> {
    if search.promises == 0 || search.outlook.hopeless.is_some() {
        return None;
    }
    let next = match edge(search) {
        (Some(under), Some(over)) => {
            let close = CLOSE
                .max(ENOUGH * distance(search, search.replications, TESTS))
                .min(0.2);
            // Between the cliff and a load that does not fit there is nothing to prove.
            let cliff = over.1.is_infinite() && under.0 >= 0.97 * search.cliff;
            if cliff || over.0 / under.0 - 1.0 <= close || over.0 - under.0 <= scale.step() * 1.01 {
                return None;
            }
            Some(between(under, over, round))
        }
        (None, Some((factor, _))) => {
            let least = scale.least().max(search.floor() * 1.01);
            (factor > least).then(|| (factor / 4.0).max(least))
        }
        (Some((factor, _)), None) => {
            let beyond = search.saturation.filter(|limit| *limit > factor);
            let next = match beyond {
                // Beyond what bursts fill the edge is near: no leap to where the mean fills it.
                Some(limit) if factor * BEYOND < 0.93 * limit && bursts(search, most).is_some() => {
                    factor * BEYOND
                }
                Some(limit) if factor < 0.93 * limit => limit * 0.97,
                Some(limit) => limit * 1.02,
                None => factor * 2.0,
            };
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

/// Where to look next between two loads: on the line; as that can creep along a curve, every second round half way.
fn between(under: Place, over: Place, round: usize) -> f64 {
    if over.0 > under.0 * 4.0 {
        return (under.0 * over.0).sqrt();
    }
    let gap = (over.0 - under.0) * 0.1;
    if round.is_multiple_of(2) {
        crossing(under, over).clamp(under.0 + gap, over.0 - gap)
    } else {
        f64::midpoint(under.0, over.0)
    }
}

/// Whether no pilot run breaks a promise up to the largest load that there is to try.
pub(super) fn bounded(search: &Search, most: f64) -> bool {
    let (under, over) = edge(search);
    over.is_none() && under.is_some_and(|(factor, _)| factor >= most * (1.0 - 1e-9))
}

/// The next load of each end that is not proven yet, at the distance of that number.
pub(super) fn proofs(
    search: &Search,
    scale: &Scale<'_>,
    number: usize,
    most: f64,
) -> Vec<(f64, Purpose)> {
    if search.promises == 0 {
        return Vec::new();
    }
    let step = STEPS[number];
    // With hardly a chance here and another test to come, that one is made.
    let last = number + 1 == STEPS.len();
    let even = if last || scale.step() > 0.0 {
        0.0
    } else {
        distance(search, proving(search.replications, number), TESTS)
    };
    let tests = |purpose: Purpose| {
        search
            .points
            .iter()
            .filter(move |judged| judged.point.purpose == purpose)
    };
    let proven = |purpose: Purpose, verdict: Verdict| {
        tests(purpose).any(|judged| judged.point.verdict == verdict)
    };
    let (under, over) = edge(search);
    let middle = under.zip(over).map(|(under, over)| {
        match fitted(runs(search, |point| point.purpose == Purpose::Pilot)) {
            // The curve may not leave what the runs around the edge say.
            Curve::Crosses { factor, .. } => factor.clamp(under.0, over.0),
            Curve::Flat | Curve::Unknown => crossing(under, over),
        }
    });
    // With whole hosts, steps of a few per cent can fall on the same number: then it is the next one.
    let tested =
        |purpose: Purpose, factor: f64| tests(purpose).any(|judged| judged.point.factor == factor);
    let mut jobs = Vec::new();
    if step >= CHANCE_MET * even
        && !proven(Purpose::ProveMet, Verdict::Met)
        && let Some(from) = middle.or(under.map(|(factor, _)| factor))
    {
        // Nothing breaks up to the bound: it is tested itself, then loads below it.
        let bound = bounded(search, most) && tests(Purpose::ProveMet).next().is_none();
        let off = if bound { 0.0 } else { step };
        let wanted = (from * (1.0 - off)).min(scale.below(search.cliff, step));
        let mut factor = scale.down(wanted);
        while scale.step() > 0.0 && tested(Purpose::ProveMet, factor) {
            factor = scale.down(factor - scale.step() * 0.5);
        }
        if factor > 0.0 && factor >= search.floor() {
            jobs.push((factor, Purpose::ProveMet));
        }
    }
    if step >= CHANCE_MISSED * even
        && !proven(Purpose::ProveMissed, Verdict::Missed)
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
