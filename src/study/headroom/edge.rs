//! Where the edge is, as far as the runs know it, and which loads to run next.
//!
//! How far loads lie apart and when a search stops are choices of this program, the numbers in [`next_pilot`] as well: they
//! cost or save runs. What is proven does not hang on them: each test has its own share of the error, run or not.

use super::below::{LOOKED_AT, in_hole};
use super::curve::{Curve, Run, fitted};
use super::scale::Scale;
use super::spread::distance;
use super::{CLOSE, Judged, STEPS, Search, TESTS, proving};
use crate::outcome::{
    Because, Estimated, LoadPoint, LoadRow, MeasureKind, Purpose, Steady, Verdict,
};

/// First loads are this far from each other.
const APART: f64 = 0.1;
/// Beyond bursts that fill a part, each load is so many times the last.
const BEYOND: f64 = 1.15;
/// A test is left out where it lies at less than this share of the distance that has an even chance: of being met, where
/// replications differ less than at the edge, and of being missed, where they differ more.
const CHANCE_MET: f64 = 0.3;
const CHANCE_MISSED: f64 = 0.6;
/// A pilot run is clear at so many deviations.
const CLEAR: f64 = 3.0;
/// Pilot runs stop at this share of that distance.
const ENOUGH: f64 = 0.8;

/// How far the worst promise is from its limit, which it is, and one over the variance of that distance: ln(share above ÷
/// share allowed), ln(mean ÷ target), ln(target ÷ throughput). Infinite when the work does not fit. A throughput that is kept is
/// the worst only where no latency is known: with more load it is kept the better, and says nothing of the edge.
pub(super) fn excess<'a>(rows: &'a [LoadRow], steady: &Steady) -> (Option<&'a LoadRow>, f64, f64) {
    let of = |row: &LoadRow| far(row, ios_of(row, steady));
    let worst = |rows: &mut dyn Iterator<Item = &'a LoadRow>| {
        rows.map(|row| (row, of(row)))
            .fold((None, f64::NEG_INFINITY, 0.0), |worst, (row, next)| {
                if worst.0.is_none() || next.0 > worst.1 {
                    (Some(row), next.0, next.1)
                } else {
                    worst
                }
            })
    };
    let all = worst(&mut rows.iter());
    let kept = all
        .0
        .is_some_and(|row| row.measure == MeasureKind::Throughput)
        && all.1 <= 0.0;
    if kept {
        let latency = |row: &&LoadRow| row.measure != MeasureKind::Throughput;
        let own = worst(&mut rows.iter().filter(latency));
        if own.1.is_finite() {
            return own;
        }
    }
    all
}

fn ios_of(row: &LoadRow, steady: &Steady) -> u64 {
    let mut works = steady.workloads.iter();
    let own = works.find(|workload| workload.name == row.workload);
    own.map_or(0, |workload| workload.all.ios)
}

/// The same of one promise, of a workload that did so many I/Os.
#[allow(clippy::cast_precision_loss)]
fn far(row: &LoadRow, ios: u64) -> (f64, f64) {
    let cell = &row.cell;
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
}

/// Whether a run's figure of a promise is beyond its limit, whatever that proves. Of a percentile no fewer than one I/O is counted.
pub(super) fn breaks(row: &LoadRow) -> bool {
    match row.measure {
        MeasureKind::Quantile(_) if !row.cell.saturated => {
            let shares = row.cell.above_share.zip(row.cell.above_allowed);
            shares.is_some_and(|(above, allowed)| above > allowed)
        }
        _ => far(row, 0).0 > 0.0,
    }
}

/// One over the variance of the logarithm of a figure, about, from its interval of 95 %: two deviations on each side.
fn known(figure: &Estimated) -> f64 {
    let half = figure.ends().map(|(low, high)| (high - low) / 2.0);
    half.filter(|half| *half > 0.0)
        .map_or(1.0, |half| (2.0 * figure.value / half).powi(2))
        .clamp(1.0, 1e6)
}

/// The runs of some points, for a curve through them.
fn runs<'a>(
    search: &'a Search,
    wanted: impl Fn(&LoadPoint) -> bool + 'a,
) -> impl Iterator<Item = Run> + 'a {
    search
        .points
        .iter()
        .filter(move |judged| wanted(&judged.point) && !in_hole(search, judged))
        .filter(|judged| !before_floor(search, judged))
        .map(|judged| Run {
            factor: judged.point.factor,
            excess: judged.excess,
            weight: judged.weight,
            mean: judged.mean,
        })
}

/// The curve through those runs.
pub(super) fn curve_of(search: &Search, wanted: impl Fn(&LoadPoint) -> bool) -> Curve {
    fitted(runs(search, wanted), search.pole)
}

/// A load factor, and how far the worst promise is from its limit there.
pub(super) type Place = (f64, f64);

/// The loads next to the edge, as far as pilot runs know it: the highest that keeps the promises below the
/// lowest that does not. Loads that only bring too little, with one above that brings enough, lie before the range, and those
/// that break a promise below one that keeps it beyond doubt lie in a hole, or broke it by chance.
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
        .filter(|judged| !in_hole(search, judged) && !before_floor(search, judged))
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
    // Where nothing is promised only the parts at today's load are wanted.
    if search.promises == 0 {
        return scale.snapped(vec![1.0]);
    }
    // Nothing is asked of any part, and nothing comes: there is nothing to run.
    if search.outlook.cut_off {
        return Vec::new();
    }
    let floor = search.floor();
    let full = search.saturation.filter(|full| *full <= most);
    let wanted: Vec<f64> = match (full, bursts(search, most)) {
        _ if no_path(search) => Vec::new(),
        _ if search.outlook.hopeless.is_some() => vec![scale.least()],
        (_, Some(bursts)) => [0.5, 0.8, 1.0].map(|share| share * bursts).to_vec(),
        (Some(full), None) => {
            let lower = if search.unlike { &LOOKED_AT[..] } else { &[] };
            let all = [0.4, 0.75, 0.92].iter().chain(lower);
            all.map(|share| share * full).collect()
        }
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

/// Whether a workload has no path: of its promises no run tells more, and today's load is run for the parts that others use.
fn no_path(search: &Search) -> bool {
    let found = search.outlook.hopeless.as_ref();
    found.is_some_and(|found| found.because == Because::NoPath)
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
                beyond_flat(search, most)
            } else {
                Some(between(under, over, round))
            }
        }
        (None, Some((factor, _))) if starved_at(search, factor) => {
            // More outstanding may bring what is promised, fewer cannot.
            let highest = pilots(search).map(|judged| judged.point.factor);
            upwards(search, highest.fold(factor, f64::max), most)
        }
        (None, Some((factor, _))) if hungry_below(search, factor).is_some() => {
            // Too little is brought below, and too late above: between them both may be kept.
            let low = hungry_below(search, factor)?;
            let near = factor / low - 1.0 <= CLOSE || factor - low <= scale.step() * 1.01;
            (!near).then(|| f64::midpoint(low, factor))
        }
        (None, Some((factor, _))) => {
            let least = scale.least().max(search.floor() * 1.01);
            (factor > least).then(|| (factor / 4.0).max(least))
        }
        (Some((factor, _)), None) => upwards(search, factor, most),
        (None, None) => None,
    };
    // Whole hosts: one that was run already says nothing new.
    let next = scale.snap(next?);
    let pilot = |judged: &Judged| judged.point.purpose == Purpose::Pilot;
    let known = |judged: &Judged| pilot(judged) && judged.point.factor == next;
    (!search.points.iter().any(known)).then_some(next)
}

/// Whether a pilot run at that load breaks nothing but throughputs of closed loops.
fn starved_at(search: &Search, factor: f64) -> bool {
    let mut there = pilots(search).filter(|judged| judged.point.factor == factor);
    there.any(|judged| judged.starved)
}

/// The highest load below that one at which closed loops bring too little.
fn hungry_below(search: &Search, factor: f64) -> Option<f64> {
    let below = pilots(search).filter(|judged| judged.point.factor < factor);
    let hungry = below.filter(|judged| before_floor(search, judged));
    hungry.map(|judged| judged.point.factor).reduce(f64::max)
}

/// Where to look next above a load that keeps the promises.
fn upwards(search: &Search, factor: f64, most: f64) -> Option<f64> {
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

/// Where to look next where the curve is flat at the edge: the promise is nearly broken at every load there, by chance at one
/// and not at another, and what breaks it beyond doubt lies above.
fn beyond_flat(search: &Search, most: f64) -> Option<f64> {
    let curve = curve_of(search, |point| point.purpose == Purpose::Pilot);
    if curve != Curve::Flat {
        return None;
    }
    let factors = |wanted: &dyn Fn(&Judged) -> bool| -> Vec<f64> {
        let pilots = pilots(search).filter(|judged| wanted(judged));
        pilots.map(|judged| judged.point.factor).collect()
    };
    let over = clearly_over(search);
    let open = factors(&|judged| over.is_none_or(|over| judged.point.factor < over));
    let highest = open.into_iter().reduce(f64::max)?;
    match over {
        None => upwards(search, highest, most),
        // No nearer than a test would lie off.
        Some(over) => (over / highest > 1.25).then(|| (over * highest).sqrt()),
    }
}

fn pilots(search: &Search) -> impl Iterator<Item = &Judged> {
    let own = |judged: &&Judged| judged.point.purpose == Purpose::Pilot;
    search.points.iter().filter(own)
}

/// Whether a pilot run is farther from the promise than chance takes it, by so many deviations: a choice of this program.
pub(super) fn clear(judged: &Judged) -> bool {
    let runs = f64::from(judged.point.replications.max(1));
    let spread = judged.variance.map_or(0.0, |variance| variance / runs);
    let variance = spread.max(1.0 / judged.weight);
    let known = judged.weight > 0.0 && judged.excess.abs() > CLEAR * variance.sqrt();
    known || judged.excess == f64::INFINITY && !judged.point.partial
}

/// The lowest load at which pilot runs break a promise beyond doubt, and above which none keeps them all.
fn clearly_over(search: &Search) -> Option<f64> {
    let kept = pilots(search).filter(|judged| judged.excess <= 0.0);
    let kept = kept.map(|judged| judged.point.factor).fold(0.0, f64::max);
    let over = pilots(search).filter(|judged| judged.excess > 0.0 && !judged.short);
    let over = over.filter(|judged| judged.point.factor > kept && clear(judged));
    over.map(|judged| judged.point.factor).reduce(f64::min)
}

/// The highest load of all runs that keeps every promise beyond doubt, and the lowest above it that breaks one.
pub(super) fn clear_ends(search: &Search) -> (Option<f64>, Option<f64>) {
    let all = || search.points.iter().filter(|judged| clear(judged));
    let factor = |judged: &Judged| judged.point.factor;
    let kept = all().filter(|judged| judged.excess <= 0.0);
    let kept = kept.map(factor).reduce(f64::max);
    let broken = all().filter(|judged| judged.excess > 0.0 && !judged.short);
    let broken = broken
        .map(factor)
        .filter(|own| kept.is_none_or(|kept| *own > kept));
    (kept, broken.reduce(f64::min))
}

/// The highest load at which pilot runs keep every promise beyond doubt, and below which none breaks one.
fn clearly_under(search: &Search) -> Option<f64> {
    let floor = search.floor();
    let own = || pilots(search).filter(move |judged| judged.point.factor >= floor);
    let broken = own().filter(|judged| judged.excess > 0.0 && !judged.short);
    let broken = broken.filter(|judged| !in_hole(search, judged));
    let broken = broken.map(|judged| judged.point.factor);
    let broken = broken.fold(f64::INFINITY, f64::min);
    let under = own().filter(|judged| judged.excess <= 0.0 && clear(judged));
    let under = under.map(|judged| judged.point.factor);
    under.filter(|factor| *factor < broken).reduce(f64::max)
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
    if search.promises == 0 || no_path(search) {
        return Vec::new();
    }
    let step = STEPS[number];
    // With hardly a chance here and another test to come, that one is made.
    let last = number + 1 == STEPS.len();
    let coarse = scale.step() > STEPS[0];
    let even = if last || coarse {
        0.0
    } else {
        distance(search, proving(search.replications, number), TESTS)
    };
    let tests = |purpose: Purpose| tests_of(search, purpose);
    let proven = |purpose: Purpose, verdict: Verdict| {
        tests(purpose).any(|judged| judged.point.verdict == verdict)
    };
    let (under, over) = edge(search);
    let middle = under.zip(over).map(|(under, over)| {
        match curve_of(search, |point| point.purpose == Purpose::Pilot) {
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
        let wanted = from * (1.0 - off);
        // The last goes as far as the pilot runs see no doubt.
        let clear = clearly_under(search).filter(|_| last && !bound);
        let wanted = wanted.min(clear.unwrap_or(wanted));
        let wanted = wanted.min(scale.below(search.cliff, step));
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
        let wanted = from * (1.0 + step);
        let clear = clearly_over(search).filter(|_| last);
        let mut factor = scale.up(wanted.max(clear.unwrap_or(wanted)));
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

fn tests_of(search: &Search, purpose: Purpose) -> impl Iterator<Item = &Judged> {
    let own = move |judged: &&Judged| judged.point.purpose == purpose;
    search.points.iter().filter(own)
}

/// The largest load that is proven to be met, and the smallest that is proven to be missed.
pub(super) fn proven_ends(search: &Search) -> (Option<f64>, Option<f64>) {
    let of = |purpose: Purpose, verdict: Verdict| {
        let tests = tests_of(search, purpose).filter(move |own| own.point.verdict == verdict);
        let tests = tests.filter(|own| !before_floor(search, own));
        tests.map(|judged| judged.point.factor)
    };
    let met = of(Purpose::ProveMet, Verdict::Met).reduce(f64::max);
    // What is missed below that lies in a hole, and ends nothing.
    let missed = of(Purpose::ProveMissed, Verdict::Missed);
    let missed = missed.filter(|factor| met.is_none_or(|met| *factor > met));
    (met, missed.reduce(f64::min))
}

/// Whether a load brings too little of a throughput that more would bring: it breaks the promise, and ends nothing. Of a closed loop
/// that is so where a larger load was seen to bring it, whatever else that breaks; and below today's load wherever no smaller one
/// does, for what fewer I/Os outstanding bring says nothing of today's.
pub(super) fn before_floor(search: &Search, judged: &Judged) -> bool {
    let factor = judged.point.factor;
    let above = |other: &&Judged| other.point.factor > factor;
    let mut more = search.points.iter().filter(above);
    if judged.short && more.any(|other| other.excess <= 0.0) {
        return true;
    }
    let brings = |other: &Judged| {
        let lost = judged.point.rows.iter();
        let mut lost = lost.filter(|row| row.measure == MeasureKind::Throughput && breaks(row));
        lost.all(|row| {
            let mut own = other.point.rows.iter();
            own.any(|own| own.is_of(row) && !breaks(own))
        })
    };
    let mut more = search.points.iter().filter(above);
    let below = |other: &&Judged| other.point.factor < factor;
    let mut less = search.points.iter().filter(below);
    judged.starved && (more.any(brings) || factor < 1.0 && !less.any(brings))
}

/// Today's load, for the end on whose side the pilot runs have it, where that end does not tell of it.
pub(super) fn today_proof(search: &Search, scale: &Scale<'_>) -> Vec<(f64, Purpose)> {
    let today = pilots(search).find(|judged| judged.point.factor == 1.0);
    let (met, missed) = proven_ends(search);
    let Some(today) = today.filter(|_| search.promises > 0 && !no_path(search)) else {
        return Vec::new();
    };
    // Of a load that brings too little, one above that brings enough tells nothing.
    let holds = met.is_some_and(|met| met >= 1.0) && !before_floor(search, today);
    // Over unlike ways a load may keep what a lower one breaks: only today's own tells of it.
    let breaks = |missed: f64| missed == 1.0 || missed < 1.0 && !search.unlike;
    if holds || missed.is_some_and(breaks) {
        return Vec::new();
    }
    // That less is asked for than is promised is known by arithmetic.
    if search.floor() > 1.0 {
        return Vec::new();
    }
    let purpose = if today.excess > 0.0 {
        Purpose::ProveMissed
    } else {
        Purpose::ProveMet
    };
    let known = tests_of(search, purpose).any(|judged| judged.point.factor == 1.0);
    let cliff = purpose == Purpose::ProveMet && scale.below(search.cliff, 0.0) < 1.0;
    if known || cliff {
        Vec::new()
    } else {
        vec![(1.0, purpose)]
    }
}

/// Of whole numbers, the one above what is met and the one below what is missed, where they are not tested with as many
/// replications as these tests have, and an end has tests left.
pub(super) fn neighbours(search: &Search, scale: &Scale<'_>, most: f64) -> Vec<(f64, Purpose)> {
    let step = scale.step();
    if step <= 0.0 || no_path(search) {
        return Vec::new();
    }
    let (met, missed) = proven_ends(search);
    let with = proving(search.replications, TESTS - 1);
    let free = |purpose: Purpose, factor: f64| {
        let tested = || tests_of(search, purpose);
        let as_well =
            |judged: &Judged| judged.point.factor == factor && judged.point.replications >= with;
        tested().count() < TESTS && !tested().any(as_well)
    };
    let below = |factor: &f64| missed.is_none_or(|missed| *factor < missed - step * 0.5);
    let above =
        |factor: &f64| *factor > step * 0.5 && met.is_none_or(|met| *factor > met + step * 0.5);
    let top = most.min(scale.below(search.cliff, 0.0)) + step * 0.5;
    let up = met.map(|met| scale.snap(met + step));
    let up = up.filter(|factor| *factor < top && below(factor));
    let up = up.filter(|factor| free(Purpose::ProveMet, *factor));
    let down = missed.map(|missed| scale.down(missed - step));
    let down = down.filter(|factor| above(factor) && *factor >= search.floor());
    let hungry = hungry_below(search, f64::INFINITY);
    let down = down.filter(|factor| hungry.is_none_or(|hungry| *factor > hungry + step * 0.5));
    let down = down.filter(|factor| free(Purpose::ProveMissed, *factor));
    let mut jobs = Vec::new();
    jobs.extend(up.map(|factor| (factor, Purpose::ProveMet)));
    // One number is tested for one end at a time: the other tells whether it has to be.
    let same = up.is_some() && up == down;
    jobs.extend(
        down.filter(|_| !same)
            .map(|factor| (factor, Purpose::ProveMissed)),
    );
    jobs
}
