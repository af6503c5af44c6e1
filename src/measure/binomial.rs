//! One-sided bounds on a probability from a count of independent trials, after Clopper and Pearson.
//!
//! Left out: trials that depend on each other in other ways than clumps; the caller widens for that from the spread between
//! replications.

/// Lower and upper one-sided bounds at `confidence` each on the probability of what happened `hits` times
/// in `trials` independent trials.
///
/// Exact in the sense that each covers at least as often as stated. Where nothing happened the upper bound
/// is the rule of three, 3 ÷ trials, which lies just above the exact bound at 95 % (and likewise from 1
/// when it happened every time), and −ln(1 − `confidence`) ÷ trials at a higher confidence; (0, 1) for no
/// trials. Sources: Clopper and Pearson, "The use of confidence
/// or fiducial limits illustrated in the case of the binomial", *Biometrika* 26, 1934; Hanley and
/// Lippman-Hand, "If nothing goes wrong, is everything all right?", *JAMA* 249, 1983 (both from memory).
///
/// Where trials come in clumps of this size, 1 or more, of which all or none hit, the bounds are those of so many clumps, whole or not
/// (E. L. Korn and B. I. Graubard, "Confidence intervals for proportions with small expected number of positive counts
/// estimated from survey data", *Survey Methodology* 24, 1998, from memory).
#[allow(clippy::cast_precision_loss)]
pub(super) fn bounds(hits: u64, trials: u64, clump: f64, confidence: f64) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let three = (-libm::log1p(-confidence)).max(3.0);
    let rule_of_three = (three * clump / trials as f64).min(1.0);
    let hits = hits.min(trials);
    let (hits, misses) = (hits as f64 / clump, (trials - hits) as f64 / clump);
    // P(at least `hits` | p) = I_p(hits, misses + 1), and it grows with p.
    let lower = match (hits > 0.0, misses > 0.0) {
        (false, _) => 0.0,
        (true, false) => 1.0 - rule_of_three,
        (true, true) => inverse(hits, misses + 1.0, 1.0 - confidence),
    };
    let upper = match (hits > 0.0, misses > 0.0) {
        (_, false) => 1.0,
        (false, true) => rule_of_three,
        (true, true) => inverse(hits + 1.0, misses, confidence),
    };
    (lower, upper)
}

/// The x at which I_x(a, b) = `p`, by bisection to the last bit.
fn inverse(a: f64, b: f64, p: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if incomplete_beta(a, b, middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// The regularized incomplete beta function I_x(a, b) for 0 < x < 1, by its continued fraction.
///
/// Abramowitz and Stegun, *Handbook of Mathematical Functions*, 26.5.8, evaluated by the modified method
/// of Lentz (from memory). The library's own stops after 140 steps, too early for the counts of long runs:
/// the steps needed grow like the root of the larger parameter.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    // The fraction converges fast on the near side of the mean; the mirror image covers the far side.
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(b, a, 1.0 - x);
    }
    const TINY: f64 = 1e-300;
    const STEPS: u32 = 1_000_000;
    let guard = |value: f64| if value.abs() < TINY { TINY } else { value };
    let front = libm::exp(
        libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b)
            + a * libm::log(x)
            + b * libm::log1p(-x),
    ) / a;
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for step in 1..=STEPS {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        fraction *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        fraction *= d * c;
        if (d * c - 1.0).abs() < f64::EPSILON * 2.0 {
            break;
        }
    }
    front * fraction
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_equal_those_of_wide_arithmetic() {
        // Computed with mpmath 1.3.0 in 30 digits from sums of binomial terms.
        for (hits, trials, lower, upper) in [
            (1, 100, 0.000_512_801_416_262, 0.046_559_811_453_5),
            (5, 1_000, 0.001_972_153_141_81, 0.010_484_076_911_4),
            (10, 1_000_000, 5.425_415_393_94e-6, 1.696_216_018_84e-5),
            (99, 100, 0.953_440_188_546, 0.999_487_198_584),
            (3, 3_000, 0.000_272_617_545_874, 0.002_582_505_138_29),
            (7, 12, 0.315_237_790_724, 0.818_975_242_758),
            (
                12_345,
                100_000_000,
                0.000_121_628_248_089,
                0.000_125_293_190_88,
            ),
            (500_000, 1_000_000, 0.499_177_073_949, 0.500_822_926_051),
        ] {
            let got = bounds(hits, trials, 1.0, 0.95);
            assert!(
                (got.0 / lower - 1.0).abs() < 1e-8,
                "{hits} of {trials}: {} {lower}",
                got.0
            );
            assert!(
                (got.1 / upper - 1.0).abs() < 1e-8,
                "{hits} of {trials}: {} {upper}",
                got.1
            );
        }
    }

    #[test]
    fn nothing_seen_is_bounded_by_the_rule_of_three() {
        assert_eq!(bounds(0, 1_000, 1.0, 0.95), (0.0, 0.003));
        assert_eq!(bounds(1_000, 1_000, 1.0, 0.95), (0.997, 1.0));
        assert_eq!(bounds(0, 2, 1.0, 0.95), (0.0, 1.0));
        assert_eq!(bounds(0, 0, 1.0, 0.95), (0.0, 1.0));
        // Above the exact bound 1 - 0.05^(1/n), so never overconfident.
        for trials in [1, 2, 3, 10, 1_000, 1_000_000] {
            assert!(bounds(0, trials, 1.0, 0.95).1 >= 1.0 - 0.05_f64.powf(1.0 / trials as f64));
        }
    }
}
