//! Whether a backlog grows without end, or only moves up and down.
//!
//! The obvious test, a straight line through the backlog over time, fails here: successive values of a
//! backlog depend on each other, the residuals look far too small, and a busy but stable queue is called
//! saturated. The differences between distant points of the backlog are close to independent both for a
//! stable queue (where they sum up to next to nothing) and for a queue at or past its capacity (where the
//! backlog walks like a random walk with drift), so the test is made on them.
//!
//! Left out: growth too slow to tell from chance within the run; a load a percent above capacity needs a
//! long run to show.

use super::interval::{mean_and_variance, t_quantile};

/// The confidence beyond which growth counts as certain.
const CERTAIN: f64 = 0.999;

/// The run is cut into this many slices, or half as many as there are points if those are fewer.
const SLICES: usize = 20;

/// Fewer slices than this say nothing.
const SLICES_LEAST: usize = 5;

/// The drift of a backlog.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Growth {
    /// Mean growth, in backlog units per time unit of the points.
    pub slope: f64,
    /// One-sided 99.9 % lower bound of the slope.
    pub slope_lower: f64,
    /// Growth of the slices' minima from the first slice to the last, in backlog units.
    pub growth: f64,
    /// The highest of the slices' minima.
    pub level: f64,
}

/// Measures the drift of a backlog given as (time, backlog), evenly spaced in time and without the warm-up.
///
/// The points are cut into up to 20 slices of equal count; each is represented by its *minimum*, so that
/// bursts that drain within a slice leave no trace. The slope is the mean of the differences between
/// neighbouring slices ÷ the mean time between them, its bound Student's t over those differences. `None`
/// for fewer than ten points, or values that are not finite or times that do not grow.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn backlog_growth(points: &[(f64, f64)]) -> Option<Growth> {
    let slices = SLICES.min(points.len() / 2);
    if slices < SLICES_LEAST
        || points
            .iter()
            .any(|(time, backlog)| !time.is_finite() || !backlog.is_finite())
    {
        return None;
    }
    let edge = |slice: usize| slice * points.len() / slices;
    let minima: Vec<f64> = (0..slices)
        .map(|slice| &points[edge(slice)..edge(slice + 1)])
        .map(|points| {
            points
                .iter()
                .map(|(_, backlog)| *backlog)
                .fold(f64::INFINITY, f64::min)
        })
        .collect();
    // From the start of the first slice to the start of the last.
    let step = (points[edge(slices - 1)].0 - points[0].0) / (slices - 1) as f64;
    if step <= 0.0 {
        return None;
    }
    let differences: Vec<f64> = minima.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let (mean, variance) = mean_and_variance(&differences);
    let reach = match variance? {
        0.0 => 0.0,
        variance => t_quantile(CERTAIN, differences.len() - 1) * variance.sqrt(),
    };
    Some(Growth {
        slope: mean / step,
        slope_lower: (mean - reach) / step,
        growth: minima[slices - 1] - minima[0],
        level: minima.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    })
}

/// Whether the backlog grows beyond doubt: the 99.9 % lower bound of its slope is above zero, *and* the
/// growth matters, being at least `least` backlog units (a choice of the caller, e.g. 10 I/Os) and at least
/// a quarter of the highest level reached. `false` whenever [`backlog_growth`] has nothing to say.
#[must_use]
pub fn backlog_grows(points: &[(f64, f64)], least: f64) -> bool {
    backlog_growth(points).is_some_and(|found| {
        found.slope_lower > 0.0 && found.growth >= least && found.growth >= found.level / 4.0
    })
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    /// The number present in a queue with Poisson arrivals and exponential service (rate 1), looked at
    /// 400 times in `span` time units after a warm-up of a fifth of that, from empty.
    fn queue(seed: u64, load: f64, span: f64) -> Vec<(f64, f64)> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut chance = || ((random.next_u64() >> 11) + 1) as f64 / (1_u64 << 53) as f64;
        let (mut now, mut present) = (0.0, 0_u32);
        let mut points = Vec::new();
        let (start, step) = (span / 5.0, span / 400.0);
        while points.len() < 400 {
            let rate = load + if present > 0 { 1.0 } else { 0.0 };
            now -= chance().ln() / rate;
            while points.len() < 400 && now > start + step * points.len() as f64 {
                points.push((start + step * points.len() as f64, f64::from(present)));
            }
            if chance() * rate < load {
                present += 1;
            } else {
                present -= 1;
            }
        }
        points
    }

    #[test]
    fn stable_queues_are_not_called_saturated() {
        // At 99.9 % each, 5 of 900 are already unlikely (P < 0.3 %).
        for first in [0, 10_000] {
            let mut called = 0;
            for seed in first..first + 300 {
                for (load, span) in [(0.8, 5_000.0), (0.95, 20_000.0), (0.99, 20_000.0)] {
                    called += u32::from(backlog_grows(&queue(seed, load, span), 10.0));
                }
            }
            assert!(called < 5, "{called}");
        }
    }

    #[test]
    fn overload_is_seen() {
        // Drift 0.1 × 20000 = 2000 against a spread of √(2.1 × 20000) = 205.
        for seed in 0..100 {
            assert!(backlog_grows(&queue(seed, 1.1, 20_000.0), 10.0), "{seed}");
        }
    }

    #[test]
    fn even_growth_is_seen_with_its_slope() {
        let points: Vec<(f64, f64)> = (0..200)
            .map(|i| (f64::from(i) * 0.5, f64::from(i) * 2.0))
            .collect();
        let found = backlog_growth(&points).unwrap();
        assert!((found.slope - 4.0).abs() < 1e-12, "{}", found.slope);
        assert!(backlog_grows(&points, 10.0));
        assert!(
            !backlog_grows(&points, 1_000.0),
            "growth that does not matter to the caller"
        );
    }

    #[test]
    fn bursts_that_drain_are_not_growth() {
        // Sawtooth: rises for 6 points, drains for 2; and bursts longer than a slice.
        for period in [8_u32, 40, 130] {
            let points: Vec<(f64, f64)> = (0..400_u32)
                .map(|i| {
                    let phase = i % period;
                    let up = period * 3 / 4;
                    let level = if phase < up {
                        phase
                    } else {
                        (period - phase) * 3
                    };
                    (f64::from(i), f64::from(level) * 100.0)
                })
                .collect();
            assert!(!backlog_grows(&points, 10.0), "{period}");
        }
    }

    #[test]
    fn a_backlog_that_drains_or_stands_is_not_growth() {
        let falling: Vec<(f64, f64)> = (0..100)
            .map(|i| (f64::from(i), 500.0 - f64::from(i)))
            .collect();
        let standing: Vec<(f64, f64)> = (0..100).map(|i| (f64::from(i), 500.0)).collect();
        let creeping: Vec<(f64, f64)> = (0..100)
            .map(|i| (f64::from(i), 5e3 + f64::from(i)))
            .collect();
        for points in [&falling[..], &standing, &creeping, &falling[..9], &[]] {
            assert!(!backlog_grows(points, 10.0));
        }
        assert_eq!(backlog_growth(&[(0.0, 1.0); 50]), None);
        assert_eq!(backlog_growth(&[(f64::NAN, 1.0); 50]), None);
    }
}
