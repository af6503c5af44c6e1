//! How much of the beginning of a run to leave out: the rule MSER-5.
//!
//! Left out: several figures at once (the caller chooses one series, e.g. latency averaged over the
//! replications bin by bin) and runs that are not steady at all, which see [`super::backlog_grows`].

/// Observations per batch.
pub const BATCH: usize = 5;

/// How many observations to drop from the front, a multiple of 5; `None` when the run is too short to say.
///
/// The series is cut into k batches of five (a rest at the end is not looked at) with means z_1..z_k. For
/// d = 0..⌊k/2⌋−1 dropped batches the statistic is Σ_{j>d} (z_j − mean_d)² ÷ (k−d)², with mean_d the mean of
/// those kept; the first minimum wins. A minimum at the end of the searched range means that the series was
/// still moving there: too short. So is a series of fewer than four batches, and one with a value that is
/// not finite.
///
/// Source: White, "An effective truncation heuristic for bias reduction in simulation output", *Simulation*
/// 69, 1997; White, Cobb, Spratt, "A comparison of five steady-state truncation heuristics for simulation",
/// Winter Simulation Conference 2000 (both from memory).
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn mser5(values: &[f64]) -> Option<usize> {
    if values.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let batches: Vec<f64> = values
        .chunks_exact(BATCH)
        .map(|batch| batch.iter().sum::<f64>() / BATCH as f64)
        .collect();
    let count = batches.len();
    let last = (count / 2).checked_sub(1)?;
    let (mut best, mut best_statistic) = (last, f64::INFINITY);
    // From the back: the mean and the sum of squares of a growing tail (Welford's update), so that the
    // whole search costs one pass and equal batches give a sum of exactly 0.
    let (mut mean, mut squares) = (0.0, 0.0);
    for dropped in (0..count).rev() {
        let kept = (count - dropped) as f64;
        let deviation = batches[dropped] - mean;
        mean += deviation / kept;
        squares += deviation * (batches[dropped] - mean);
        let statistic = squares / (kept * kept);
        // Not only smaller: of equal ones the first in time wins, and time runs backwards here.
        if dropped <= last && statistic <= best_statistic {
            (best, best_statistic) = (dropped, statistic);
        }
    }
    (best < last).then_some(best * BATCH)
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    /// The statistic for `dropped` batches, by its definition.
    fn statistic(batches: &[f64], dropped: usize) -> f64 {
        let kept = &batches[dropped..];
        let mean = kept.iter().sum::<f64>() / kept.len() as f64;
        kept.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / (kept.len() as f64).powi(2)
    }

    fn batch_means(values: &[f64]) -> Vec<f64> {
        values
            .chunks_exact(5)
            .map(|batch| batch.iter().sum::<f64>() / 5.0)
            .collect()
    }

    fn brute_force(values: &[f64]) -> Option<usize> {
        let batches = batch_means(values);
        let range = batches.len() / 2;
        let mut best = 0;
        for dropped in 0..range {
            if statistic(&batches, dropped) < statistic(&batches, best) {
                best = dropped;
            }
        }
        (best + 1 < range).then_some(best * 5)
    }

    #[test]
    fn the_worked_example_drops_fifteen() {
        let values: Vec<f64> = [12, 7, 5, 3, 2, 3, 2, 3, 2, 3, 2, 3]
            .into_iter()
            .flat_map(|b| [b - 1, b, b + 1, b, b])
            .map(f64::from)
            .collect();
        let batches = batch_means(&values);
        // Worked by hand from the definition.
        let expected = [0.6591435, 0.1953418, 0.076, 0.02743484, 0.03125, 0.03498542];
        for (dropped, expected) in expected.into_iter().enumerate() {
            assert!(
                (statistic(&batches, dropped) - expected).abs() < 6e-8,
                "{dropped}"
            );
        }
        // An independent program (kim-convergence 0.1.0) drops 15 observations too.
        assert_eq!(mser5(&values), Some(15));
        let kept = &values[15..];
        assert!((kept.iter().sum::<f64>() / kept.len() as f64 - 2.555_556).abs() < 5e-7);
    }

    #[test]
    fn a_decaying_start_with_noise_drops_a_hundred() {
        // y_i = 4 exp(-i/25) + x_(i+1)/2^31, x by the linear congruential rule below, x_0 = 7. The
        // independent program kim-convergence 0.1.0 drops 100.
        let mut x = 7_u64;
        let values: Vec<f64> = (0..500)
            .map(|i| {
                x = (1_103_515_245 * x + 12_345) % (1 << 31);
                4.0 * (-f64::from(i) / 25.0).exp() + x as f64 / f64::from(1_u32 << 31)
            })
            .collect();
        assert!(
            (values[0] - 4.597_056_055).abs() < 5e-10 && (values[1] - 4.142_422_589).abs() < 5e-10
        );
        assert_eq!(mser5(&values), Some(100));
        assert!((statistic(&batch_means(&values), 20) - 0.000_221_381_75).abs() < 5e-12);
        assert!((values[100..].iter().sum::<f64>() / 400.0 - 0.500_266_698_5).abs() < 5e-11);
    }

    #[test]
    fn one_pass_finds_what_the_definition_finds() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(11);
        let mut too_short = 0;
        for case in 0..500_u64 {
            let length = 20 + (random.next_u64() % 400) as usize;
            let decay = 1.0 + (random.next_u64() % 60) as f64;
            let values: Vec<f64> = (0..length)
                .map(|i| {
                    let noise = (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
                    (case % 5) as f64 * (-(i as f64) / decay).exp() + noise
                })
                .collect();
            assert_eq!(mser5(&values), brute_force(&values), "case {case}");
            too_short += usize::from(mser5(&values).is_none());
        }
        assert!(
            too_short > 0 && too_short < 500,
            "both answers must occur: {too_short}"
        );
    }

    #[test]
    fn a_series_that_never_settles_or_is_too_short_says_so() {
        let ramp: Vec<f64> = (0..200).map(f64::from).collect();
        assert_eq!(mser5(&ramp), None);
        assert_eq!(mser5(&[]), None);
        assert_eq!(mser5(&[1.0; 19]), None);
        assert_eq!(mser5(&[f64::NAN; 100]), None);
    }

    #[test]
    fn a_constant_series_drops_nothing() {
        assert_eq!(mser5(&[0.1; 20]), Some(0));
        assert_eq!(mser5(&[0.1; 503]), Some(0));
    }
}
