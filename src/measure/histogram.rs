//! A histogram of times with a stated relative error, and exact extremes beside it.
//!
//! Left out: anything that would need the single observations. Two times in one bucket cannot be told
//! apart, so counts above a promised target are kept elsewhere, exactly.

use hdrhistogram::Histogram as Buckets;

use crate::unit::Duration;

/// A value read from a bucket is at most this fraction above the observation it stands for: 1/128.
///
/// Two significant figures need 200 steps of one unit, rounded up to 256 buckets; each doubling of the value
/// has half of them, 128, so a bucket is never wider than 1/128 of its lower edge. Source: the bucket layout
/// of the `hdrhistogram` library, as its documentation describes it.
pub const RELATIVE_ERROR: f64 = 1.0 / 128.0;

/// The longest time the buckets tell apart: 10^15 ps, 1000 s.
const LONGEST_PS: u64 = 1_000_000_000_000_000;

/// Significant decimal figures of the buckets.
const FIGURES: u8 = 2;

/// The rank (from 1) of the `q`-quantile of `count` values by the nearest-rank rule, ⌈q × count⌉.
///
/// `q` outside 0..=1 is clamped; so is the rank to 1..=count. A product within four roundings of a whole
/// number counts as that number, so that 0.07 × 100 is 7 although the nearest float lies above it. Zero
/// only for no values at all.
#[must_use]
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]
pub fn rank(q: f64, count: u64) -> u64 {
    let product = q.clamp(0.0, 1.0) * count as f64;
    let rank = (product * (1.0 - 4.0 * f64::EPSILON)).ceil() as u64;
    rank.clamp(1.min(count), count)
}

/// Times in buckets of at most [`RELATIVE_ERROR`], from 0 to 1000 s; about 45 kB, allocated with the first
/// time that is not zero: of a large site's links, most never keep a frame waiting.
///
/// Count, sum, minimum and maximum are exact. A longer time than the buckets reach is counted apart, ranks
/// above all others, and is reported as the exact maximum.
#[derive(Clone)]
pub struct Histogram {
    /// Every time but zero; there from the first of them on.
    buckets: Option<Box<Buckets<u64>>>,
    /// Times of zero: on an idle link, most.
    zeros: u64,
    count: u64,
    sum: u128,
    min: Duration,
    max: Duration,
}

impl Histogram {
    /// An empty histogram.
    #[must_use]
    pub fn new() -> Self {
        Self {
            buckets: None,
            zeros: 0,
            count: 0,
            sum: 0,
            min: Duration::MAX,
            max: Duration::ZERO,
        }
    }

    /// An empty histogram with all its memory: nothing is ever allocated later.
    #[must_use]
    pub fn with_memory() -> Self {
        Self {
            buckets: Some(empty()),
            ..Self::new()
        }
    }

    /// Counts one time. Constant cost, no allocation but with the first that is not zero.
    #[inline]
    pub fn record(&mut self, time: Duration) {
        self.count += 1;
        self.min = self.min.min(time);
        if time == Duration::ZERO {
            self.zeros += 1;
            return;
        }
        self.put_in(time);
    }

    /// Puts a time that is not zero into its bucket.
    #[inline(never)] // One place for what the library does with it, which is part of it there.
    fn put_in(&mut self, time: Duration) {
        self.sum += u128::from(time.0);
        self.max = self.max.max(time);
        if time.0 <= LONGEST_PS {
            // Cannot fail: the value is within the bounds given at construction.
            let _ = self.buckets.get_or_insert_with(empty).record(time.0);
        }
    }

    /// Counts so many times of zero.
    #[inline]
    pub fn record_zeros(&mut self, times: u64) {
        self.count += times;
        self.zeros += times;
        if times > 0 {
            self.min = Duration::ZERO;
        }
    }

    /// Adds all that `other` has counted.
    pub fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.zeros += other.zeros;
        self.sum += other.sum;
        self.min = self.min.min(other.min);
        self.max = self.max.max(other.max);
        if let Some(buckets) = &other.buckets {
            // Cannot fail: both have the same bounds.
            let _ = self.buckets.get_or_insert_with(empty).add(&**buckets);
        }
    }

    /// How many times were counted.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// How many of them were zero: on a queue's waits, those that found it free.
    #[must_use]
    pub const fn zeros(&self) -> u64 {
        self.zeros
    }

    /// The exact sum of all times, in picoseconds.
    #[must_use]
    pub const fn sum(&self) -> u128 {
        self.sum
    }

    /// The mean in picoseconds; `None` when nothing was counted.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum as f64 / self.count as f64)
    }

    /// The shortest time, exact.
    #[must_use]
    pub fn min(&self) -> Option<Duration> {
        (self.count > 0).then_some(self.min)
    }

    /// The longest time, exact.
    #[must_use]
    pub fn max(&self) -> Option<Duration> {
        (self.count > 0).then_some(self.max)
    }

    /// The `q`-quantile by nearest [`rank`], as the upper edge of its bucket but never above the maximum.
    /// `None` when nothing was counted. Costs a walk over the buckets.
    #[must_use]
    pub fn quantile(&self, q: f64) -> Option<Duration> {
        let max = self.max()?;
        let wanted = rank(q, self.count);
        let mut seen = self.zeros;
        if seen >= wanted {
            return Some(Duration::ZERO);
        }
        // Without buckets all others are longer than these reach.
        let Some(buckets) = &self.buckets else {
            return Some(max);
        };
        for bucket in buckets.iter_recorded() {
            seen += bucket.count_at_value();
            if seen >= wanted {
                let edge = buckets.highest_equivalent(bucket.value_iterated_to());
                return Some(Duration(edge).min(max));
            }
        }
        Some(max)
    }

    /// How many observations rank above the `q`-quantile: count − ⌈q × count⌉.
    #[must_use]
    pub fn above(&self, q: f64) -> u64 {
        self.count - rank(q, self.count)
    }

    /// The curve of percentiles on a logarithmic tail: pairs (q, quantile) for q = 1 − 10^(−k/10), ten to
    /// a decade, from q = 0 up to the last that still has an observation above it, then (1, maximum).
    pub fn points(&self) -> impl Iterator<Item = (f64, Duration)> + '_ {
        let tail = (0..)
            .map(|step| 1.0 - libm::pow(10.0, -f64::from(step) / 10.0))
            .take_while(|q| *q < 1.0 && self.above(*q) > 0)
            .filter_map(|q| Some((q, self.quantile(q)?)));
        tail.chain(self.max().map(|max| (1.0, max)))
    }
}

/// Buckets with all their memory.
#[cold]
fn empty() -> Box<Buckets<u64>> {
    let buckets = Buckets::new_with_bounds(1, LONGEST_PS, FIGURES);
    Box::new(buckets.expect("the bounds are constants that the library accepts"))
}

/// Equal when the counts are, whether memory for more is there or not.
impl PartialEq for Histogram {
    fn eq(&self, other: &Self) -> bool {
        let exact = |one: &Self| (one.zeros, one.count, one.sum, one.min, one.max);
        exact(self) == exact(other)
            && match (&self.buckets, &other.buckets) {
                (Some(own), Some(others)) => own == others,
                (None, Some(only)) | (Some(only), None) => only.is_empty(),
                (None, None) => true,
            }
    }
}

impl Default for Histogram {
    fn default() -> Self {
        Self::new()
    }
}

impl std::fmt::Debug for Histogram {
    /// The exact figures; the buckets would be thousands of lines.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Histogram")
            .field("count", &self.count)
            .field("sum", &self.sum)
            .field("min", &self.min())
            .field("max", &self.max())
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    /// Times over twelve decades, zero included.
    fn sample(seed: u64, count: usize) -> Vec<u64> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        (0..count)
            .map(|_| {
                let bits = random.next_u64() % 50;
                random.next_u64() & ((1 << bits) - 1)
            })
            .filter(|ps| *ps <= LONGEST_PS)
            .collect()
    }

    fn filled(times: &[u64]) -> Histogram {
        let mut histogram = Histogram::new();
        times.iter().for_each(|ps| histogram.record(Duration(*ps)));
        histogram
    }

    /// ⌈q n⌉ for q = numerator/denominator, in whole numbers.
    fn exact_rank(numerator: u64, denominator: u64, count: u64) -> u64 {
        (u128::from(numerator) * u128::from(count))
            .div_ceil(u128::from(denominator))
            .max(1) as u64
    }

    #[test]
    fn ranks_are_those_of_exact_arithmetic() {
        for count in (1..2_000).chain([999_999, 1_000_000, 123_456_789, 10_000_000_000]) {
            for (numerator, denominator) in [
                (1, 2),
                (7, 100),
                (9, 10),
                (19, 20),
                (99, 100),
                (999, 1000),
                (9999, 10_000),
                (1, 3),
            ] {
                let q = numerator as f64 / denominator as f64;
                assert_eq!(
                    rank(q, count),
                    exact_rank(numerator, denominator, count),
                    "{q} of {count}"
                );
            }
        }
        assert_eq!(
            (rank(0.5, 0), rank(0.0, 9), rank(1.0, 9), rank(f64::NAN, 9)),
            (0, 1, 9, 1)
        );
    }

    #[test]
    fn quantiles_lie_within_one_bucket_above_the_sorted_ones() {
        for seed in 0..8 {
            let mut times = sample(seed, 20_000);
            let histogram = filled(&times);
            times.sort_unstable();
            for step in 0..=1_000 {
                let q = f64::from(step) / 1_000.0;
                let exact = times[rank(q, times.len() as u64) as usize - 1];
                let got = histogram.quantile(q).unwrap().0;
                assert!(got >= exact, "{q}: {got} below {exact}");
                assert!(
                    got as f64 <= exact as f64 * (1.0 + RELATIVE_ERROR),
                    "{q}: {got} far above {exact}"
                );
                assert!(got <= *times.last().unwrap());
                assert_eq!(
                    histogram.above(q),
                    times.len() as u64 - rank(q, times.len() as u64)
                );
            }
        }
    }

    #[test]
    fn small_times_have_buckets_of_their_own() {
        let histogram = filled(&(0..256).collect::<Vec<_>>());
        for value in 0..256_u64 {
            let q = (value + 1) as f64 / 256.0;
            assert_eq!(histogram.quantile(q), Some(Duration(value)));
        }
    }

    #[test]
    fn sums_and_extremes_are_exact_and_merging_is_recording() {
        let (left, right) = (sample(1, 5_000), sample(2, 7_000));
        let all: Vec<u64> = left.iter().chain(&right).copied().collect();
        let mut merged = filled(&left);
        merged.merge(&filled(&right));
        merged.merge(&Histogram::new());
        let whole = filled(&all);
        assert_eq!(merged.count(), all.len() as u64);
        assert_eq!(merged.sum(), all.iter().map(|ps| u128::from(*ps)).sum());
        assert_eq!(merged.min().map(|min| min.0), all.iter().min().copied());
        assert_eq!(merged.max().map(|max| max.0), all.iter().max().copied());
        assert!(merged.points().eq(whole.points()));
    }

    #[test]
    fn times_past_the_buckets_rank_last_and_read_as_the_maximum() {
        let mut histogram = filled(&[10, 20, LONGEST_PS]);
        histogram.record(Duration(LONGEST_PS + 7));
        histogram.record(Duration::MAX);
        assert_eq!(histogram.quantile(0.2), Some(Duration(10)));
        assert_eq!(histogram.quantile(0.4), Some(Duration(20)));
        assert!(histogram.quantile(0.6).unwrap().0 >= LONGEST_PS);
        assert_eq!(histogram.quantile(0.8), Some(Duration::MAX));
        assert_eq!(histogram.quantile(1.0), Some(Duration::MAX));
        assert_eq!(
            histogram.sum(),
            30 + u128::from(LONGEST_PS) * 2 + 7 + u128::from(u64::MAX)
        );
    }

    #[test]
    fn nothing_counted_says_nothing() {
        let empty = Histogram::new();
        assert_eq!(
            (empty.count(), empty.mean(), empty.quantile(0.5)),
            (0, None, None)
        );
        assert_eq!(
            (empty.min(), empty.max(), empty.above(0.5)),
            (None, None, 0)
        );
        assert_eq!(empty.points().count(), 0);
    }

    #[test]
    fn the_curve_climbs_to_the_maximum_ten_points_a_decade() {
        let histogram = filled(&(1..=10_000).collect::<Vec<_>>());
        let points: Vec<_> = histogram.points().collect();
        assert_eq!(points.first(), Some(&(0.0, Duration(1))));
        assert_eq!(points.last(), Some(&(1.0, Duration(10_000))));
        // Four decades of ten, less the step at 1 - 1/n itself only if nothing lies above it, and the end.
        assert!(points.len() == 41 || points.len() == 42, "{}", points.len());
        assert!(
            points
                .windows(2)
                .all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1)
        );
        assert!((points[10].0 - 0.9).abs() < 1e-15 && (points[20].0 - 0.99).abs() < 1e-15);
        assert_eq!(Some(points[10].1), histogram.quantile(0.9));
    }
}
