//! How bursty a trace is, and arrivals that stand for it.

mod kept;

use super::clock::{resolves, whole_steps};
use super::{NS, SCALES_S};
use crate::outcome::{DerivedArrivals, DerivedLaw};
use crate::scenario::Recorded;

pub(super) use kept::{kept, run_length};

/// Fewest windows that make an index.
const WINDOWS_MIN: usize = 10;
/// Below this at every scale, arrivals count as Poisson.
pub(super) const CALM: f64 = 1.5;
/// With fewer I/Os nothing is said of how they come: an index of so few is mostly chance.
const IOS_MIN: usize = 100;
/// Gaps that vary less, standard deviation ÷ mean, are those of a clock: independent gaps have 1. Our choice.
const PACED: f64 = 0.1;

/// I/Os by window, windows from the first I/O on; the partial last one is left out. Times are whole nanoseconds, and so are
/// the windows: an I/O at the border of two is in the later one, whatever a division would make of it.
fn windows(ios: &[Recorded], length_s: f64, span_s: f64) -> Vec<f64> {
    let first = ios.first().map_or(0, |io| io.at_ns);
    windows_from(ios, first, length_s, span_s)
}

/// The same from an instant on, at or before the first I/O.
fn windows_from(ios: &[Recorded], first: u64, length_s: f64, span_s: f64) -> Vec<f64> {
    let count = (span_s / length_s + 1e-9).floor() as usize;
    let mut all = vec![0.0; count.min(50_000_000)];
    let length_ns = ((length_s * NS).round() as u64).max(1);
    for io in ios {
        let index = (io.at_ns - first) / length_ns;
        let window = usize::try_from(index).ok().and_then(|at| all.get_mut(at));
        if let Some(window) = window {
            *window += 1.0;
        }
    }
    all
}

/// Variance ÷ mean; `None` of fewer than ten windows, or empty ones.
pub(super) fn index_of(counts: &[f64]) -> Option<f64> {
    if counts.len() < WINDOWS_MIN {
        return None;
    }
    let count = counts.len() as f64;
    let mean = counts.iter().sum::<f64>() / count;
    let squares: f64 = counts.iter().map(|n| (n - mean).powi(2)).sum();
    (mean > 0.0).then(|| squares / (count - 1.0) / mean)
}

/// Windows begin at so many places within their length, so that bursts as long as they are do not look larger by chance.
const PLACES: u32 = 4;

pub(super) fn dispersion(ios: &[Recorded], length_s: f64, span_s: f64) -> Option<f64> {
    index_of(&windows(ios, length_s, span_s))
}

/// The same, the mean over where the windows begin.
pub(super) fn dispersion_anywhere(ios: &[Recorded], length_s: f64, span_s: f64) -> Option<f64> {
    let first = ios.first()?.at_ns;
    let of = |place: u32| {
        let late = length_s * f64::from(place) / f64::from(PLACES);
        let from = first + (late * NS).round() as u64;
        let later = &ios[ios.partition_point(|io| io.at_ns < from)..];
        index_of(&windows_from(later, from, length_s, span_s - late))
    };
    let first = of(0)?;
    let rest: Vec<f64> = (1..PLACES).filter_map(of).collect();
    Some((first + rest.iter().sum::<f64>()) / (1 + rest.len()) as f64)
}

/// Busiest window ÷ mean.
pub(super) fn peak(ios: &[Recorded], length_s: f64, span_s: f64) -> Option<f64> {
    let most = windows(ios, length_s, span_s)
        .into_iter()
        .reduce(f64::max)?;
    Some(most / length_s / (ios.len() as f64 / span_s))
}

pub(super) fn gap_variation(ios: &[Recorded]) -> Option<f64> {
    let gaps: Vec<f64> = ios
        .windows(2)
        .map(|pair| (pair[1].at_ns - pair[0].at_ns) as f64)
        .collect();
    let count = gaps.len() as f64;
    let mean = gaps.iter().sum::<f64>() / count;
    let squares: f64 = gaps.iter().map(|gap| (gap - mean).powi(2)).sum();
    (count > 1.0 && mean > 0.0).then(|| (squares / (count - 1.0)).sqrt() / mean)
}

pub(super) fn most_at_once(latencies: &[(u64, u64)]) -> u64 {
    let mut changes: Vec<(u64, i64)> = latencies
        .iter()
        .flat_map(|(at, latency)| [(*at, 1), (at + latency, -1)])
        .collect();
    // What ends at an instant is over before what begins then.
    changes.sort_unstable();
    let (mut now, mut most) = (0_i64, 0);
    for (_, change) in changes {
        now += change;
        most = most.max(now);
    }
    u64::try_from(most).unwrap_or(0)
}

/// Index of dispersion of arrivals by their law. Of a Poisson stream whose rate alternates between two values for
/// exponential times: 1 + 2 p (1 − p) d² ÷ (λ σ) × (1 − (1 − e^(−σ t)) ÷ (σ t)), with p the share of time in a burst, d
/// the difference of the rates, λ the mean and σ the sum of the two rates of change (Heffes and Lucantoni, *A Markov
/// modulated characterization of packetized voice and data traffic*, IEEE JSAC 4 (6), 1986; from memory). Of one whose times
/// are fixed: 1 + d² Var ÷ (λ t), Var that of the time in bursts in a window that begins anywhere.
#[must_use]
pub fn by_law(arrivals: DerivedArrivals, window_s: f64) -> f64 {
    let (peak, base, burst_s, every_s) = match arrivals {
        DerivedArrivals::Bursty {
            peak,
            base,
            burst_s,
            every_s,
            law: DerivedLaw::Fixed,
        } => {
            let share = burst_s / every_s;
            let mean = share * peak + (1.0 - share) * base;
            let variance = time_in_bursts(burst_s, every_s, window_s);
            return 1.0 + (peak - base).powi(2) * variance / (mean * window_s);
        }
        DerivedArrivals::Bursty {
            peak,
            base,
            burst_s,
            every_s,
            law: DerivedLaw::Exponential,
        } => (peak, base, burst_s, every_s),
        // With even gaps a window that begins anywhere holds one of two neighbouring whole numbers.
        DerivedArrivals::Paced { iops } => {
            let mean = iops * window_s;
            let part = if (mean - mean.round()).abs() < 1e-9 * mean {
                0.0
            } else {
                mean - mean.floor()
            };
            return part * (1.0 - part) / mean;
        }
        DerivedArrivals::Poisson | DerivedArrivals::Replay => return 1.0,
    };
    let share = burst_s / every_s;
    let mean = share * peak + (1.0 - share) * base;
    let sigma = 1.0 / burst_s + 1.0 / (every_s - burst_s);
    let decay = 1.0 + libm::expm1(-sigma * window_s) / (sigma * window_s);
    1.0 + 2.0 * share * (1.0 - share) * (peak - base).powi(2) / (mean * sigma) * decay
}

/// The same of so many windows one after another from the beginning of the run on, where bursts are of a clock: the workload begins with a
/// burst, and windows may be in step with it. Elsewhere as [`by_law`].
pub(super) fn in_step(arrivals: DerivedArrivals, window_s: f64, windows: usize) -> f64 {
    let DerivedArrivals::Bursty {
        peak,
        base,
        burst_s,
        every_s,
        law: DerivedLaw::Fixed,
    } = arrivals
    else {
        return by_law(arrivals, window_s);
    };
    // Time in bursts up to an instant.
    let bursts = |until: f64| {
        let whole = (until / every_s + 1e-9).floor();
        whole * burst_s + (until - whole * every_s).clamp(0.0, burst_s)
    };
    let counts: Vec<f64> = (0..windows)
        .map(|window| {
            let from = window as f64 * window_s;
            base * window_s + (peak - base) * (bursts(from + window_s) - bursts(from))
        })
        .collect();
    // Within a window arrivals are at random, which adds their mean.
    index_of(&counts).map_or_else(|| by_law(arrivals, window_s), |index| 1.0 + index)
}

/// Variance of the time in bursts of a fixed length that come at a fixed distance, in a window that begins anywhere. Whole
/// cycles in it add nothing; of the rest, the overlap is a trapezoid over the phase: it is `most` for `|burst − rest|`, grows
/// and falls at the speed of time, and is `least` else.
fn time_in_bursts(burst: f64, every: f64, window: f64) -> f64 {
    let rest = window - every * (window / every).floor();
    let (most, least) = (burst.min(rest), (burst + rest - every).max(0.0));
    let full = (burst - rest).abs();
    let low = every - full - 2.0 * (most - least);
    let cubes = 2.0 / 3.0 * (most.powi(3) - least.powi(3));
    let squares = (most * most * full + least * least * low + cubes) / every;
    (squares - (burst / every * rest).powi(2)).max(0.0)
}

/// Windows and thresholds by which bursts are told apart; the pair whose law comes nearest to what was recorded
/// is taken.
pub(super) fn fitted(
    ios: &[Recorded],
    span_s: f64,
    clock_s: Option<f64>,
    recorded: &[Option<f64>],
) -> DerivedArrivals {
    if few(ios) {
        return DerivedArrivals::Poisson;
    }
    let known = clock_s.is_none();
    let iops = ios.len() as f64 / span_s;
    let paced = DerivedArrivals::Paced {
        // To the last I/O there is one gap less than I/Os.
        iops: if known { 1.0 / mean_gap_s(ios) } else { iops },
    };
    let clockwork = known && gap_variation(ios).is_some_and(|variation| variation < PACED);
    if clockwork || is_even(paced, iops, recorded) {
        return paced;
    }
    let (steps, steps_s) = whole_steps(ios, clock_s, span_s);
    let grid = [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0];
    let grid: Vec<(f64, Vec<f64>)> = grid
        .iter()
        .filter(|window| resolves(clock_s, **window))
        .map(|window| (*window, windows(steps, *window, steps_s)))
        .collect();
    let recorded: Vec<(f64, f64)> = SCALES_S
        .iter()
        .zip(recorded)
        .filter_map(|(scale, recorded)| Some((*scale, (*recorded)?)))
        .collect();
    let chance = two_states(&grid, iops, &recorded);
    // Of few windows the index of Poisson arrivals has a deviation of √(2 ÷ windows) itself.
    let calm = |(scale, index): &(f64, f64)| {
        let others = (steps_s / scale).floor().max(2.0) - 1.0;
        *index < CALM.max(1.0 + 3.0 * (2.0 / others).sqrt())
    };
    if recorded.iter().all(calm) {
        return DerivedArrivals::Poisson;
    }
    // Bursts of a clock are no chance: what comes nearer to the index is kept.
    let recorded: Vec<(f64, f64)> = recorded
        .iter()
        .filter_map(|row| Some((row.0, dispersion_anywhere(steps, row.0, steps_s)?)))
        .collect();
    let within = clock_s.map_or(Within::ANY, |_| Within::of(&grid));
    match regular(&grid, iops, &recorded, within) {
        Some((distance, law)) if distance < error(chance, &recorded) => law,
        _ => chance,
    }
}

/// Times from burst to burst that vary less, standard deviation ÷ mean, are those of a clock. Our choice.
const REGULAR: f64 = 0.25;

/// Bursts of one length, always as far from each other, whose index comes nearest to what was recorded, and how near.
fn regular(
    grid: &[(f64, Vec<f64>)],
    iops: f64,
    recorded: &[(f64, f64)],
    within: Within,
) -> Option<(f64, DerivedArrivals)> {
    let mut best: Option<(f64, DerivedArrivals)> = None;
    for (window, counts) in grid {
        for threshold in [0.5, 1.0, 1.5, 2.0, 3.0] {
            let Some(every_s) = period(counts, *window, threshold * iops * window) else {
                continue;
            };
            let found = two_rates(counts, *window, threshold, iops);
            let Some(DerivedArrivals::Bursty { base, burst_s, .. }) = found else {
                continue;
            };
            let found = nearest(every_s, (burst_s, base), iops, recorded, within);
            if !within.holds(found.1) {
                continue;
            }
            if best.is_none_or(|best| found.0 < best.0) {
                best = Some(found);
            }
        }
    }
    best
}

/// The time from burst to burst, where it is always about the same.
fn period(counts: &[f64], window: f64, limit: f64) -> Option<f64> {
    let begins: Vec<f64> = (1..counts.len())
        .filter(|index| counts[*index] > limit && counts[index - 1] <= limit)
        .map(|index| index as f64 * window)
        .collect();
    let (first, last) = begins.first().zip(begins.last())?;
    if begins.len() < WINDOWS_MIN {
        return None;
    }
    let mean = (last - first) / (begins.len() - 1) as f64;
    let gaps: Vec<f64> = begins.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let off = gaps.iter().map(|gap| (gap - mean).powi(2));
    let variance = off.sum::<f64>() / (begins.len() - 2) as f64;
    // A burst that stays below the limit makes one gap of two: such gaps are left out of the mean.
    let mut sorted = gaps.clone();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted[sorted.len() / 2];
    let usual = || gaps.iter().filter(|gap| (*gap / middle - 1.0).abs() <= 0.5);
    let usual = usual().sum::<f64>() / usual().count().max(1) as f64;
    (variance.sqrt() < REGULAR * mean && usual > 0.0).then_some(usual)
}

/// Searches length and base rate of fixed bursts in steps of equal ratio that are halved where none helps.
fn nearest(
    every_s: f64,
    start: (f64, f64),
    iops: f64,
    recorded: &[(f64, f64)],
    within: Within,
) -> (f64, DerivedArrivals) {
    let law = |(burst_s, base): (f64, f64)| DerivedArrivals::Bursty {
        peak: (iops * every_s - base * (every_s - burst_s)) / burst_s,
        base,
        burst_s,
        every_s,
        law: DerivedLaw::Fixed,
    };
    let holds = |(burst_s, base): (f64, f64)| burst_s < every_s && (0.0..iops).contains(&base);
    let cost = |near: (f64, f64)| {
        (holds(near) && within.holds(law(near))).then(|| error(law(near), recorded))
    };
    let (best, at) = descended(start, error(law(start), recorded), (1.5, Some(0.0)), cost);
    (best, law(at))
}

/// The pair with the least cost that steps of equal ratio find from a start of cost `best`, the ratio becoming its root where
/// none helps; of the second figure `least` is tried too. Pairs without a cost are left out.
fn descended(
    mut at: (f64, f64),
    mut best: f64,
    (mut step, least): (f64, Option<f64>),
    cost: impl Fn((f64, f64)) -> Option<f64>,
) -> (f64, (f64, f64)) {
    while step > 1.0005 {
        let around = [
            (at.0 * step, at.1),
            (at.0 / step, at.1),
            (at.0, at.1 * step),
            (at.0, at.1 / step),
        ];
        let around = around.into_iter().chain(least.map(|least| (at.0, least)));
        let next = around
            .filter_map(|near| Some((cost(near)?, near)))
            .reduce(|left, right| if right.0 < left.0 { right } else { left });
        match next.filter(|(cost, _)| *cost < best) {
            Some(found) => (best, at) = found,
            None => step = libm::sqrt(step),
        }
    }
    (best, at)
}

pub(super) fn mean_gap_s(ios: &[Recorded]) -> f64 {
    let ends = ios.first().zip(ios.last());
    let span = ends.map_or(0, |(first, last)| last.at_ns - first.at_ns);
    span as f64 / NS / (ios.len().max(2) - 1) as f64
}

/// How far above that of even gaps an index may be. Our choice.
const EVEN: f64 = 0.1;

/// Fewest lengths of windows that tell of even arrivals.
const LENGTHS: usize = 2;

/// Whether I/Os come as evenly in windows of every length as those of a clock do, where windows of two lengths or more hold one.
fn is_even(paced: DerivedArrivals, iops: f64, recorded: &[Option<f64>]) -> bool {
    let known = || SCALES_S.iter().zip(recorded);
    let known = || known().filter_map(|(scale, index)| Some((*scale, (*index)?)));
    known().filter(|(scale, _)| scale * iops >= 1.0).count() >= LENGTHS
        && known().all(|(scale, index)| index <= by_law(paced, scale) + EVEN)
}

/// Bursts of a clock as the samples of statistics show them: the rates of those above a limit and of the others, and the time from
/// one to the next, where that is always about the same.
pub(super) fn clockwork(
    (window, counts): (f64, &[f64]),
    iops: f64,
    recorded: &[(f64, f64)],
) -> Option<(f64, DerivedArrivals)> {
    let of = |threshold: f64| {
        let every_s = period(counts, window, threshold * iops * window)?;
        let found = two_rates(counts, window, threshold, iops)?;
        let DerivedArrivals::Bursty {
            peak,
            base,
            burst_s,
            every_s: between,
            ..
        } = found
        else {
            return None;
        };
        // As large a share of the time, so that the mean stays.
        let law = DerivedArrivals::Bursty {
            peak,
            base,
            burst_s: burst_s / between * every_s,
            every_s,
            law: DerivedLaw::Fixed,
        };
        Some((error(law, recorded), law))
    };
    let all = [0.5, 1.0, 1.5, 2.0, 3.0].into_iter().filter_map(of);
    all.reduce(|best, next| if next.0 < best.0 { next } else { best })
}

/// How far the index of dispersion of a law is from what was recorded: squares of logarithms of their ratio. No law here is
/// calmer than chance: where the recording is, 1 is as near as any comes.
pub(super) fn error(arrivals: DerivedArrivals, recorded: &[(f64, f64)]) -> f64 {
    recorded
        .iter()
        .map(|(scale, recorded)| {
            let ratio = by_law(arrivals, *scale) / recorded.max(1.0);
            libm::log(ratio).powi(2)
        })
        .sum()
}

/// The two rates that come nearest to an index of dispersion by window, of mean `iops`; Poisson where that is as near, or
/// where nothing is beyond it. `grid`: I/Os by window, for windows of several lengths, from which the search starts.
pub(super) fn two_states(
    grid: &[(f64, Vec<f64>)],
    iops: f64,
    recorded: &[(f64, f64)],
) -> DerivedArrivals {
    if recorded.iter().all(|(_, index)| *index < CALM) {
        return DerivedArrivals::Poisson;
    }
    let mut best = (
        error(DerivedArrivals::Poisson, recorded),
        DerivedArrivals::Poisson,
    );
    for (window, counts) in grid {
        for threshold in [0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0] {
            let found = two_rates(counts, *window, threshold, iops);
            if let Some(found) = found
                && error(found, recorded) < best.0
            {
                best = (error(found, recorded), found);
            }
        }
    }
    refined(best.1, iops, recorded, Within::of(grid))
}

/// What the windows of a recording could have shown: no state shorter than the shortest of them, and no rate above that of the
/// fullest. An index that is as large in short windows as in long ones would else make bursts of no length and any height.
#[derive(Clone, Copy)]
struct Within {
    state_s: f64,
    /// Nor bursts of which it holds fewer than three.
    every_s: f64,
    peak: f64,
}

impl Within {
    const ANY: Self = Self {
        state_s: 0.0,
        every_s: f64::INFINITY,
        peak: f64::INFINITY,
    };

    fn of(grid: &[(f64, Vec<f64>)]) -> Self {
        let shortest = grid.iter().min_by(|one, other| one.0.total_cmp(&other.0));
        shortest.map_or(Self::ANY, |(window, counts)| Self {
            state_s: *window,
            every_s: window * counts.len() as f64 / 3.0,
            peak: counts.iter().copied().fold(0.0, f64::max) / window,
        })
    }

    fn holds(self, law: DerivedArrivals) -> bool {
        let DerivedArrivals::Bursty {
            peak,
            burst_s,
            every_s,
            ..
        } = law
        else {
            return true;
        };
        let state_s = burst_s.min(every_s - burst_s);
        state_s >= self.state_s && every_s <= self.every_s && peak <= self.peak
    }
}

/// The law near `start` whose index comes nearest. The index knows two things of such a law: how large it gets in long windows,
/// and how fast. Both are searched in steps of equal ratio that are halved where none helps; the share of time in bursts stays
/// what it was, or is less where the time between bursts would otherwise have less than nothing.
fn refined(
    start: DerivedArrivals,
    iops: f64,
    recorded: &[(f64, f64)],
    within: Within,
) -> DerivedArrivals {
    let DerivedArrivals::Bursty {
        peak,
        base,
        burst_s,
        every_s,
        ..
    } = start
    else {
        return start;
    };
    let share = burst_s / every_s;
    let sigma = 1.0 / burst_s + 1.0 / (every_s - burst_s);
    let size = 2.0 * share * (1.0 - share) * (peak - base).powi(2) / (iops * sigma);
    let law = |(size, sigma): (f64, f64)| law_of(size, sigma, share, iops);
    let cost = |near| within.holds(law(near)).then(|| error(law(near), recorded));
    let given = error(start, recorded);
    let (best, at) = descended((size, sigma), given, (2.0, None), cost);
    if best < given { law(at) } else { start }
}

/// Two rates of mean `iops` whose index grows to 1 + `size` in long windows, within times of 1 ÷ `sigma`.
fn law_of(size: f64, sigma: f64, share: f64, iops: f64) -> DerivedArrivals {
    let share = share.min(1.0 / (1.0 + size * sigma / (2.0 * iops)));
    let apart = libm::sqrt(size * iops * sigma / (2.0 * share * (1.0 - share)));
    let base = (iops - share * apart).max(0.0);
    let burst_s = 1.0 / (sigma * (1.0 - share));
    DerivedArrivals::Bursty {
        peak: (iops - (1.0 - share) * base) / share,
        base,
        burst_s,
        every_s: burst_s / share,
        law: DerivedLaw::Exponential,
    }
}

/// The two rates of windows above and below a multiple of the mean, and how long each state lasts; scaled so that the
/// mean is exactly `iops`.
fn two_rates(all: &[f64], window: f64, threshold: f64, iops: f64) -> Option<DerivedArrivals> {
    let limit = threshold * iops * window;
    let high = |count: &f64| *count > limit;
    let bursts = all.iter().filter(|count| high(count)).count();
    let begun = (0..all.len())
        .filter(|index| high(&all[*index]) && (*index == 0 || !high(&all[index - 1])));
    let begun = begun.count();
    if begun < 3 || bursts == all.len() {
        return None;
    }
    let in_bursts: f64 = all.iter().filter(|count| high(count)).sum();
    let total: f64 = all.iter().sum();
    let share = bursts as f64 / all.len() as f64;
    let rate = |ios: f64, windows: usize| ios / (windows as f64 * window);
    let (peak, base) = (
        rate(in_bursts, bursts),
        rate(total - in_bursts, all.len() - bursts),
    );
    let exact = iops / (share * peak + (1.0 - share) * base);
    let burst_s = bursts as f64 * window / begun as f64;
    Some(DerivedArrivals::Bursty {
        peak: peak * exact,
        base: base * exact,
        burst_s,
        every_s: burst_s / share,
        law: DerivedLaw::Exponential,
    })
}

/// Whether there are too few I/Os to say how they come.
fn few(ios: &[Recorded]) -> bool {
    ios.len() < IOS_MIN
}

#[cfg(test)]
mod tests;
