//! How bursty a trace is, and arrivals that stand for it.

use super::{NS, SCALES_S};
use crate::outcome::DerivedArrivals;
use crate::scenario::Recorded;

/// Fewest windows that make an index.
const WINDOWS_MIN: usize = 10;
/// Below this at every scale, arrivals count as Poisson.
const CALM: f64 = 1.5;
/// With fewer I/Os nothing is said of how they come: an index of so few is mostly chance.
const IOS_MIN: usize = 100;
/// Gaps that vary less, standard deviation ÷ mean, are those of a clock: independent gaps have 1. Our choice.
const PACED: f64 = 0.1;

/// I/Os by window, windows from the first I/O on; the partial last one is left out.
fn windows(ios: &[Recorded], length_s: f64, span_s: f64) -> Vec<u64> {
    let count = (span_s / length_s + 1e-9).floor() as usize;
    let mut all = vec![0_u64; count.min(50_000_000)];
    let first = ios.first().map_or(0, |io| io.at_ns);
    for io in ios {
        let index = ((io.at_ns - first) as f64 / NS / length_s) as usize;
        if let Some(window) = all.get_mut(index) {
            *window += 1;
        }
    }
    all
}

pub(super) fn dispersion(ios: &[Recorded], length_s: f64, span_s: f64) -> Option<f64> {
    let all = windows(ios, length_s, span_s);
    if all.len() < WINDOWS_MIN {
        return None;
    }
    let count = all.len() as f64;
    let mean = all.iter().sum::<u64>() as f64 / count;
    let squares: f64 = all.iter().map(|n| (*n as f64 - mean).powi(2)).sum();
    (mean > 0.0).then(|| squares / (count - 1.0) / mean)
}

/// Busiest window ÷ mean.
pub(super) fn peak(ios: &[Recorded], length_s: f64, span_s: f64) -> Option<f64> {
    let most = windows(ios, length_s, span_s).into_iter().max()?;
    Some(most as f64 / length_s / (ios.len() as f64 / span_s))
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
/// modulated characterization of packetized voice and data traffic*, IEEE JSAC 4 (6), 1986; from memory).
#[must_use]
pub fn by_law(arrivals: DerivedArrivals, window_s: f64) -> f64 {
    let (peak, base, burst_s, every_s) = match arrivals {
        DerivedArrivals::Bursty {
            peak,
            base,
            burst_s,
            every_s,
        } => (peak, base, burst_s, every_s),
        // With even gaps a window that begins anywhere holds one of two neighbouring whole numbers.
        DerivedArrivals::Paced { iops } => {
            let mean = iops * window_s;
            let part = mean - mean.floor();
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

/// Windows and thresholds by which bursts are told apart; the pair whose law comes nearest to what was recorded
/// is taken.
pub(super) fn fitted(ios: &[Recorded], span_s: f64, recorded: &[Option<f64>]) -> DerivedArrivals {
    if few(ios) {
        return DerivedArrivals::Poisson;
    }
    if gap_variation(ios).is_some_and(|variation| variation < PACED) {
        return DerivedArrivals::Paced {
            iops: ios.len() as f64 / span_s,
        };
    }
    if recorded.iter().flatten().all(|index| *index < CALM) {
        return DerivedArrivals::Poisson;
    }
    let error = |arrivals: DerivedArrivals| -> f64 {
        SCALES_S
            .iter()
            .zip(recorded)
            .filter_map(|(scale, recorded)| {
                let ratio = by_law(arrivals, *scale) / (*recorded)?.max(1e-3);
                Some(libm::log(ratio).powi(2))
            })
            .sum()
    };
    let mut best = (error(DerivedArrivals::Poisson), DerivedArrivals::Poisson);
    for window in [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0] {
        let all = windows(ios, window, span_s);
        for threshold in [0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0] {
            let found = two_rates(&all, window, threshold, ios.len() as f64 / span_s);
            if let Some(found) = found
                && error(found) < best.0
            {
                best = (error(found), found);
            }
        }
    }
    best.1
}

/// The two rates of windows above and below a multiple of the mean, and how long each state lasts; scaled so that the
/// mean is exactly `iops`.
fn two_rates(all: &[u64], window: f64, threshold: f64, iops: f64) -> Option<DerivedArrivals> {
    let limit = threshold * iops * window;
    let high = |count: &u64| *count as f64 > limit;
    let bursts = all.iter().filter(|count| high(count)).count();
    let begun = (0..all.len())
        .filter(|index| high(&all[*index]) && (*index == 0 || !high(&all[index - 1])));
    let begun = begun.count();
    if begun < 3 || bursts == all.len() {
        return None;
    }
    let in_bursts: u64 = all.iter().filter(|count| high(count)).sum();
    let total: u64 = all.iter().sum();
    let share = bursts as f64 / all.len() as f64;
    let rate = |ios: u64, windows: usize| ios as f64 / (windows as f64 * window);
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
    })
}

/// Whether there are too few I/Os to say how they come.
fn few(ios: &[Recorded]) -> bool {
    ios.len() < IOS_MIN
}

pub(super) fn kept(ios: &[Recorded], arrivals: DerivedArrivals) -> Vec<String> {
    match arrivals {
        DerivedArrivals::Poisson if few(ios) => vec![format!(
            "how bursty the work is is unknown: {} I/Os are too few to tell, {IOS_MIN} or more would; arrivals are Poisson for \
             want of anything known, and keep the mean rate alone",
            ios.len()
        )],
        DerivedArrivals::Paced { .. } => vec![
            "the gaps are even, as of a clock: arrivals are paced, which keeps the mean rate and adds no chance"
                .to_owned(),
        ],
        DerivedArrivals::Poisson => vec![
            "the gaps are as good as independent: arrivals are Poisson, which keeps the mean rate and adds no bursts"
                .to_owned(),
        ],
        DerivedArrivals::Bursty { .. } => vec![
            "kept: the mean rate exactly, and how strongly the rate swings between bursts and the time between them, as \
             far as two rates can (see the index of dispersion by window)"
                .to_owned(),
            "not kept: the highest peaks, regular periods, swings longer than the bursts, which sizes and operations \
             come together, and places on the disk; --replay keeps all of it"
                .to_owned(),
        ],
        DerivedArrivals::Replay => vec![
            "the trace is replayed whole, with every burst as recorded; the figures are those of its busiest stretch"
                .to_owned(),
        ],
    }
}
