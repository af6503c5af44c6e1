//! The mean over all that was measured, where replications measured unlike numbers.
//!
//! Replications with more I/Os are those in which more waited: their means count by their I/Os, or the mean of all is told too low.
//! What is left of that by the ratio of two sums is in the order of 1 ÷ replications.

/// One value a replication whose plain mean is Σ sum ÷ Σ count, and whose spread is that of this ratio: `m + (mean_r − m) × count_r ÷
/// mean count`. From the mean and the count of each replication; those without a count are left out.
///
/// The ratio estimator with its variance from residuals (W. G. Cochran, *Sampling Techniques*, 3rd ed. 1977, chapter 6, from memory);
/// differences of such values of paired replications are those of the two ratios. Equal means give that mean, exactly.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn pooled(means_and_counts: impl Iterator<Item = (f64, u64)>) -> Vec<f64> {
    let own: Vec<(f64, f64)> = means_and_counts
        .filter(|(_, count)| *count > 0)
        .map(|(mean, count)| (mean, count as f64))
        .collect();
    let Some((first, _)) = own.first().copied() else {
        return Vec::new();
    };
    let total: f64 = own.iter().map(|(_, count)| count).sum();
    let above: f64 = own.iter().map(|(mean, count)| (mean - first) * count).sum();
    let all = first + above / total;
    let usual = total / own.len() as f64;
    own.iter()
        .map(|(mean, count)| all + (mean - all) * (count / usual))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::{mean_interval, t_quantile};
    use super::pooled;

    #[test]
    fn means_count_by_their_ios() {
        // (10 × 1 + 20 × 4) ÷ 30 = 3: a plain mean would be 2.5. Residuals 10 × (1 − 3) and 20 × (4 − 3) over a mean count of 15.
        let values = pooled([(1.0, 10), (4.0, 20)].into_iter());
        let expected = [3.0 - 20.0 / 15.0, 3.0 + 20.0 / 15.0];
        for (value, expected) in values.iter().zip(expected) {
            assert!((value - expected).abs() < 1e-12, "{values:?}");
        }
        let told = mean_interval(&values, 0.95);
        assert!((told.value - 3.0).abs() < 1e-12);
        // s² of the residuals ÷ R: (2 × (20/15)²) ÷ 1 ÷ 2.
        let error = 20.0 / 15.0;
        let half = told.half_width.expect("two values");
        assert!((half / (t_quantile(0.975, 1) * error) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn equal_means_are_exact_and_empty_replications_left_out() {
        assert_eq!(pooled([(0.1, 3), (0.1, 7), (0.1, 1)].into_iter()), [0.1; 3]);
        assert_eq!(pooled([(0.0, 0), (2.0, 5)].into_iter()), [2.0]);
        assert!(pooled([(0.0, 0)].into_iter()).is_empty());
    }
}
