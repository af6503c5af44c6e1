//! When a disturbed system is back in a steady state: the first bin from which its figures stay for a
//! while within a band taken from a steady run.
//!
//! Left out: how the steady run is made, and what a bin is.

use super::histogram::rank;
use super::interval::t_quantile;

/// The central band that holds `coverage` (0.99 for 99 %) of the values: the nearest rank of
/// (1 + coverage)/2 and its mirror image from below. `None` for no values or one that is not a number.
#[must_use]
#[allow(clippy::cast_possible_truncation)]
pub fn band(values: &[f64], coverage: f64) -> Option<(f64, f64)> {
    if values.is_empty() || values.iter().any(|value| value.is_nan()) {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let upper = rank(f64::midpoint(1.0, coverage), sorted.len() as u64) as usize;
    Some((sorted[sorted.len() - upper], sorted[upper - 1]))
}

/// What a bin of several others is of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Joined {
    /// Their sum: a count.
    Sum,
    /// Their mean.
    Mean,
}

/// The band in which one more bin lies with probability `coverage`, as long as `pieces` of the bins given: for a
/// steady run too short to have many bins of the length wanted. `None` for fewer than two values.
///
/// The two-sided prediction interval for the mean of m future observations, x ± t s √(1/m + 1/n) (Hahn and
/// Meeker, Statistical Intervals, 1991, section 4.7; from memory): it supposes that bins are independent and about normal.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn band_of_few(
    values: &[f64],
    coverage: f64,
    pieces: f64,
    joined: Joined,
) -> Option<(f64, f64)> {
    if values.len() < 2 || values.iter().any(|value| value.is_nan()) {
        return None;
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values
        .iter()
        .map(|value| (value - mean) * (value - mean))
        .sum();
    let deviation = (squares / (count - 1.0)).sqrt();
    let t = t_quantile(f64::midpoint(1.0, coverage), values.len() - 1);
    let half = t * deviation * (1.0 / pieces + 1.0 / count).sqrt();
    let scale = match joined {
        Joined::Sum => pieces,
        Joined::Mean => 1.0,
    };
    Some(((mean - half) * scale, (mean + half) * scale))
}

/// The index of the first bin from which mean and rate both stay within their bands (edges included) for
/// `stay` bins; `None` when that never happens in the bins given.
///
/// Each bin is (mean, rate). A bin without completions has no mean (not a number) and is judged on its
/// rate alone.
#[must_use]
pub fn settled(
    series: &[(f64, f64)],
    mean_band: (f64, f64),
    rate_band: (f64, f64),
    stay: usize,
) -> Option<usize> {
    let within = |value: f64, band: (f64, f64)| band.0 <= value && value <= band.1;
    let stay = stay.max(1);
    let mut run = 0;
    for (index, (mean, rate)) in series.iter().enumerate() {
        let no_mean = mean.is_nan() && *rate == 0.0;
        run = if within(*rate, rate_band) && (no_mean || within(*mean, mean_band)) {
            run + 1
        } else {
            0
        };
        if run == stay {
            return Some(index + 1 - stay);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    #[test]
    fn the_band_leaves_out_as_much_above_as_below() {
        let values: Vec<f64> = (1..=1_000).rev().map(f64::from).collect();
        // ⌈0.995 × 1000⌉ = 995 from below, and 995 from above: 6.
        assert_eq!(band(&values, 0.99), Some((6.0, 995.0)));
        assert_eq!(band(&values[..100], 0.99), Some((901.0, 1000.0)));
        assert_eq!(band(&values, 1.0), Some((1.0, 1000.0)));
        assert_eq!(band(&[4.0], 0.99), Some((4.0, 4.0)));
        assert_eq!(band(&[], 0.99), None);
        assert_eq!(band(&[1.0, f64::NAN], 0.99), None);
    }

    #[test]
    fn the_band_holds_at_least_its_share() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
        for count in 1..300 {
            let values: Vec<f64> = (0..count)
                .map(|_| (random.next_u64() % 1_000) as f64)
                .collect();
            for coverage in [0.5, 0.9, 0.99] {
                let (low, high) = band(&values, coverage).unwrap();
                let inside = values
                    .iter()
                    .filter(|value| low <= **value && **value <= high)
                    .count();
                assert!(
                    inside as f64 >= coverage * count as f64 - 1e-9,
                    "{inside} of {count}"
                );
            }
        }
    }

    #[test]
    fn few_bins_give_a_band_that_holds_the_next_as_often_as_asked() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
        // Sums of twelve uniform draws are about normal, with variance 1.
        let mut bin = || -> f64 {
            (0..12)
                .map(|_| (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64)
                .sum()
        };
        for (count, pieces) in [(5_usize, 1_u32), (8, 4), (40, 1)] {
            let mut inside = 0;
            for _ in 0..2_000 {
                let values: Vec<f64> = (0..count).map(|_| bin()).collect();
                let next: f64 = (0..pieces).map(|_| bin()).sum();
                let of = |joined| band_of_few(&values, 0.9, f64::from(pieces), joined).unwrap();
                let (low, high) = of(Joined::Sum);
                inside += u32::from(low <= next && next <= high);
                let (means, share) = (of(Joined::Mean), f64::from(pieces));
                assert!(
                    (means.0 * share - low).abs() < 1e-9 && (means.1 * share - high).abs() < 1e-9
                );
            }
            // 1800 wanted, with a deviation of 13: five of them.
            assert!(
                (1_735..=1_865).contains(&inside),
                "{inside} of 2000 for {count}"
            );
        }
        assert_eq!(band_of_few(&[1.0], 0.9, 1.0, Joined::Sum), None);
        assert_eq!(
            band_of_few(&[3.0, 3.0], 0.9, 2.0, Joined::Sum),
            Some((6.0, 6.0))
        );
    }

    /// Looks at every window of `stay` bins.
    fn slow_settled(
        series: &[(f64, f64)],
        mean: (f64, f64),
        rate: (f64, f64),
        stay: usize,
    ) -> Option<usize> {
        series.windows(stay).position(|bins| {
            bins.iter()
                .all(|bin| bin.0 >= mean.0 && bin.0 <= mean.1 && bin.1 >= rate.0 && bin.1 <= rate.1)
        })
    }

    #[test]
    fn the_first_window_inside_both_bands_wins() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(4);
        let mut found = 0;
        for _ in 0..400 {
            let series: Vec<(f64, f64)> = (0..120)
                .map(|_| {
                    (
                        (random.next_u64() % 20) as f64,
                        (random.next_u64() % 20) as f64,
                    )
                })
                .collect();
            let got = settled(&series, (1.0, 18.0), (0.0, 18.0), 10);
            assert_eq!(got, slow_settled(&series, (1.0, 18.0), (0.0, 18.0), 10));
            found += usize::from(got.is_some());
        }
        assert!(found > 0 && found < 400, "both answers must occur: {found}");
    }

    #[test]
    fn ten_bins_at_the_very_end_are_enough_and_nine_are_not() {
        let mut series = vec![(100.0, 5.0); 7];
        series.extend([(1.0, 5.0); 9]);
        assert_eq!(settled(&series, (0.0, 2.0), (4.0, 6.0), 10), None);
        series.push((2.0, 6.0));
        assert_eq!(settled(&series, (0.0, 2.0), (4.0, 6.0), 10), Some(7));
        assert_eq!(settled(&[], (0.0, 2.0), (4.0, 6.0), 0), None);
    }

    #[test]
    fn a_bin_without_completions_is_judged_on_its_rate() {
        let idle = [(f64::NAN, 0.0); 10];
        assert_eq!(settled(&idle, (0.0, 2.0), (0.0, 6.0), 10), Some(0));
        assert_eq!(settled(&idle, (0.0, 2.0), (1.0, 6.0), 10), None);
        assert_eq!(
            settled(&[(f64::NAN, 2.0); 10], (0.0, 2.0), (0.0, 6.0), 10),
            None
        );
    }
}
