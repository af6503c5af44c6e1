//! How high counts of independent events rise by chance alone.

/// The count that the highest of `bins` counts exceeds with a probability of at most `level`, where each is of events that come
/// independently of each other, `mean` of them in a bin: the smallest k with bins × P(X > k) ≤ level for a Poisson count X (Boole's
/// inequality, so that the bins need not be independent). Zero where nothing comes.
///
/// `mean`: events in a bin, at least 0; `bins`: at least 1; `level`: above 0 and below 1.
#[must_use]
pub fn highest_by_chance(mean: f64, bins: f64, level: f64) -> u64 {
    if mean <= 0.0 || !mean.is_finite() {
        return 0;
    }
    let each = level / bins.max(1.0);
    let exceeded = |count: u64| tail(mean, count + 1) > each;
    // From the mean on, so that only the upper tail is looked at.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let from = mean.ceil() as u64;
    let mut step = 1;
    while exceeded(from + step) {
        step *= 2;
    }
    let (mut low, mut high) = (from, from + step);
    while low < high {
        let middle = low + (high - low) / 2;
        if exceeded(middle) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    low
}

/// P(X ≥ count) of a Poisson count, `count` above the mean: the terms shrink from the first on.
#[allow(clippy::cast_precision_loss)]
fn tail(mean: f64, count: u64) -> f64 {
    let mut at = count as f64;
    let mut term = libm::exp(at * libm::log(mean) - mean - libm::lgamma(at + 1.0));
    let mut sum = 0.0;
    while term > sum * 1e-16 {
        sum += term;
        at += 1.0;
        term *= mean / at;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: of a mean of one, P(X > 3) = 1 - e⁻¹ (1 + 1 + 1/2 + 1/6) = 0.01899, P(X > 4) = 0.00366, P(X > 5) = 0.000594.
    #[test]
    fn one_bin_of_a_mean_of_one() {
        assert_eq!(highest_by_chance(1.0, 1.0, 0.02), 3);
        assert_eq!(highest_by_chance(1.0, 1.0, 0.0189), 4);
        assert_eq!(highest_by_chance(1.0, 1.0, 0.0036), 5);
        assert_eq!(highest_by_chance(1.0, 10.0, 0.0365), 5);
        assert_eq!(highest_by_chance(1.0, 10.0, 0.037), 4);
        assert_eq!(highest_by_chance(0.0, 1_000.0, 0.01), 0);
    }

    /// Of large means it is the normal one: one per cent of a thousand bins are 4.26 standard deviations, of a mean of 10,000 a hundred
    /// each; the skew of the count adds (z² - 1) / 6 = 2.9 (Cornish and Fisher's expansion).
    #[test]
    fn large_means_are_normal() {
        let most = highest_by_chance(10_000.0, 1_000.0, 0.01);
        assert!(most.abs_diff(10_000 + 426 + 3) <= 2, "{most}");
    }
}
