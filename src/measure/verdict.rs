//! Verdicts on promises: met, missed, or undecided.
//!
//! A promise is met or missed only when a one-sided 95 % bound says so; in between, more replications would
//! decide. Left out: joint statements over several promises (each has its own 95 %).

use super::binomial;
use super::interval::{mean_and_variance, t_quantile};

/// The confidence of each of the two one-sided bounds of a [`Judgement`].
pub const VERDICT_CONFIDENCE: f64 = 0.95;

/// Confidence of the two one-sided bounds of a verdict, each apart: where many tests lead to one statement,
/// each has only its share of the error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trust {
    /// Of the bound that "met" rests on, 0.5 to 1.
    pub met: f64,
    /// Of the bound that "missed" rests on, 0.5 to 1.
    pub missed: f64,
}

impl Trust {
    /// One promise by itself: [`VERDICT_CONFIDENCE`] on each side.
    pub const ALONE: Self = Self {
        met: VERDICT_CONFIDENCE,
        missed: VERDICT_CONFIDENCE,
    };
}

/// What is said about a promise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Kept, beyond the stated doubt.
    Met,
    /// Broken, beyond the stated doubt.
    Missed,
    /// The data allow both; more replications would decide.
    Undecided,
}

/// A verdict and the bounds it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// One-sided 95 % lower bound of the judged quantity; −∞ when the data bound nothing.
    pub lower: f64,
    /// One-sided 95 % upper bound of the judged quantity; ∞ when the data bound nothing.
    pub upper: f64,
}

/// Judges "at most 1 − `q` of all I/Os take longer than the target" from exact counts: one pair (I/Os above
/// the target, all I/Os) a replication. The bounds are those of the probability to be above.
///
/// The estimate is Σ above ÷ Σ all. Its spread comes from the replications, which may depend on each other
/// within a replication in any way: Student's t on the ratio estimator, Σ (above_r − p × all_r)² ×
/// R/(R−1) ÷ (Σ all)² (Cochran, *Sampling Techniques*, chapter on ratio estimators; from memory). That
/// spread can be too small by luck, or nothing at all when the replications are alike, so each bound is the
/// wider of this one and the Clopper-Pearson bound for independent clumps of I/Os. A single replication does not tell how
/// much its I/Os depend on each other, and those of one queue do: where some are above and some are not, it
/// bounds nothing. No I/O above the target: the upper bound is the rule of three, 3 clumps ÷ Σ all. No I/O at all:
/// undecided. Here a clump is one I/O.
#[must_use]
pub fn judge_fraction(above_and_total: &[(u64, u64)], q: f64) -> Judgement {
    judge_fraction_at(above_and_total, q, 1.0, Trust::ALONE)
}

/// [`judge_fraction`] with bounds of another confidence, of I/Os that are above in clumps of this size (1 or more,
/// [`clump_size`](super::clump_size)); the rule of three becomes −ln(1 − confidence) clumps ÷ Σ all where that is more.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn judge_fraction_at(
    above_and_total: &[(u64, u64)],
    q: f64,
    clump: f64,
    trust: Trust,
) -> Judgement {
    let above: u64 = above_and_total
        .iter()
        .map(|(above, total)| above.min(total))
        .sum();
    let total: u64 = above_and_total.iter().map(|(_, total)| total).sum();
    let mut lower = binomial::bounds(above, total, clump, trust.missed).0;
    let mut upper = binomial::bounds(above, total, clump, trust.met).1;
    let replications = above_and_total.len();
    if replications == 1 && above > 0 && above < total {
        (lower, upper) = (f64::NEG_INFINITY, f64::INFINITY);
    }
    if replications > 1 && total > 0 {
        let fraction = above as f64 / total as f64;
        let squares: f64 = above_and_total
            .iter()
            .map(|(above, total)| *above.min(total) as f64 - fraction * *total as f64)
            .map(|rest| rest * rest)
            .sum();
        let variance =
            squares * replications as f64 / (replications - 1) as f64 / (total as f64).powi(2);
        let reach = |confidence| t_quantile(confidence, replications - 1) * variance.sqrt();
        lower = lower.min(fraction - reach(trust.missed)).max(0.0);
        upper = upper.max(fraction + reach(trust.met)).min(1.0);
    }
    // 1 - 0.99 is a little more than 0.01 in binary; allow the roundings of the stated q, no more.
    let allowed = (1.0 - q) * (1.0 + 8.0 * f64::EPSILON) + f64::EPSILON;
    let undecided = total == 0;
    Judgement {
        verdict: at_most(lower, upper, allowed, undecided),
        lower,
        upper,
    }
}

fn at_most(lower: f64, upper: f64, target: f64, undecided: bool) -> Verdict {
    if undecided {
        Verdict::Undecided
    } else if upper <= target {
        Verdict::Met
    } else if lower > target {
        Verdict::Missed
    } else {
        Verdict::Undecided
    }
}

/// One-sided t bounds on the mean, of these two confidences. Fewer than two values, or any that is not finite, bound nothing, but
/// for values all infinite alike, which are their own bounds.
fn mean_bounds(values: &[f64], below: f64, above: f64) -> (f64, f64) {
    if let Some(first) = values.first()
        && first.is_infinite()
        && values.iter().all(|value| value == first)
    {
        return (*first, *first);
    }
    match mean_and_variance(values) {
        (mean, Some(variance)) if mean.is_finite() && variance == 0.0 => (mean, mean),
        (mean, Some(variance)) if mean.is_finite() && variance.is_finite() => {
            let reach = |confidence| t_quantile(confidence, values.len() - 1) * variance.sqrt();
            (mean - reach(below), mean + reach(above))
        }
        _ => (f64::NEG_INFINITY, f64::INFINITY),
    }
}

/// Judges "the mean is at most `target`" from one value a replication. A saturated replication may stand
/// as infinity: all of them infinite is a miss, some of them undecided. Fewer than two finite replications
/// are undecided: nothing bounds them.
#[must_use]
pub fn judge_at_most(values: &[f64], target: f64) -> Judgement {
    judge_at_most_with(values, target, Trust::ALONE)
}

/// [`judge_at_most`] with bounds of another confidence.
#[must_use]
pub fn judge_at_most_with(values: &[f64], target: f64, trust: Trust) -> Judgement {
    let (lower, upper) = mean_bounds(values, trust.missed, trust.met);
    Judgement {
        verdict: at_most(lower, upper, target, values.is_empty()),
        lower,
        upper,
    }
}

/// Judges "the mean is at least `target`" (a throughput) from one value a replication: met by its lower
/// bound, missed by its upper.
#[must_use]
pub fn judge_at_least(values: &[f64], target: f64) -> Judgement {
    judge_at_least_with(values, target, Trust::ALONE)
}

/// [`judge_at_least`] with bounds of another confidence.
#[must_use]
pub fn judge_at_least_with(values: &[f64], target: f64, trust: Trust) -> Judgement {
    judge_counted_at_least(values, target, 0.0, trust)
}

/// [`judge_at_least_with`] for values that come in steps: `grain` is what one whole thing more or less makes of a value. Values that
/// agree by chance know no more than their steps tell, so each bound lies at least one step from the mean.
#[must_use]
pub fn judge_counted_at_least(values: &[f64], target: f64, grain: f64, trust: Trust) -> Judgement {
    let (lower, upper) = mean_bounds(values, trust.met, trust.missed);
    let (mean, _) = mean_and_variance(values);
    let (lower, upper) = (lower.min(mean - grain), upper.max(mean + grain));
    let verdict = if values.is_empty() {
        Verdict::Undecided
    } else if lower >= target {
        Verdict::Met
    } else if upper < target {
        Verdict::Missed
    } else {
        Verdict::Undecided
    };
    Judgement {
        verdict,
        lower,
        upper,
    }
}

/// Judges a figure of a switch-over that every replication must keep to: met when all values are at most
/// `target`, missed when more than half are above it, else undecided. What is not a number counts as above.
#[must_use]
pub fn judge_every(values: &[f64], target: f64) -> Verdict {
    let missed = values
        .iter()
        .filter(|value| !matches!(value.partial_cmp(&&target), Some(order) if order.is_le()));
    match missed.count() {
        _ if values.is_empty() => Verdict::Undecided,
        0 => Verdict::Met,
        missed if missed * 2 > values.len() => Verdict::Missed,
        _ => Verdict::Undecided,
    }
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::Verdict::{Met, Missed, Undecided};
    use super::*;

    #[test]
    fn no_exceedance_is_judged_by_the_rule_of_three() {
        // 3 ÷ 300 is exactly the allowed hundredth.
        let got = judge_fraction(&[(0, 100); 3], 0.99);
        assert_eq!((got.verdict, got.lower, got.upper), (Met, 0.0, 0.01));
        assert_eq!(
            judge_fraction(&[(0, 100), (0, 100), (0, 99)], 0.99).verdict,
            Undecided
        );
        assert_eq!(judge_fraction(&[(0, 299)], 0.99).verdict, Undecided);
        assert_eq!(judge_fraction(&[(0, 3_000)], 0.999).verdict, Met);
    }

    #[test]
    fn clumps_are_judged_as_so_many() {
        // 3 clumps of 5 ÷ 1500 is exactly the allowed hundredth.
        let judged = |all| judge_fraction_at(&[(0, all); 3], 0.99, 5.0, Trust::ALONE);
        assert_eq!((judged(500).verdict, judged(500).upper), (Met, 0.01));
        assert_eq!(judged(499).verdict, Undecided);
        // 10 of 500 in clumps of 5 are 2 of 100.
        let got = judge_fraction_at(&[(5, 250), (5, 250)], 0.99, 5.0, Trust::ALONE);
        assert_eq!((got.lower, got.upper), binomial::bounds(2, 100, 1.0, 0.95));
    }

    #[test]
    fn replications_alike_fall_back_to_independent_trials() {
        let got = judge_fraction(&[(1, 50), (1, 50)], 0.99);
        let (lower, upper) = binomial::bounds(2, 100, 1.0, 0.95);
        assert_eq!(
            (got.lower, got.upper, got.verdict),
            (lower, upper, Undecided)
        );
    }

    /// How much the I/Os of one queue depend on each other shows between replications only.
    #[test]
    fn a_single_replication_with_some_above_bounds_nothing() {
        for (above, q) in [(1, 0.99), (500, 0.99), (4_000, 0.5), (6_000, 0.5)] {
            let got = judge_fraction(&[(above, 10_000)], q);
            assert_eq!(got.verdict, Undecided, "{above}");
            assert_eq!((got.lower, got.upper), (f64::NEG_INFINITY, f64::INFINITY));
        }
    }

    #[test]
    fn spread_between_replications_widens_the_bounds() {
        // p = 0.01; rests -8, 0, 8 of 1000 each; variance 128 × 3/2 ÷ 3000²; t(0.95, 2) = 2.91998558.
        let got = judge_fraction(&[(2, 1_000), (10, 1_000), (18, 1_000)], 0.97);
        let reach = 2.919_985_58 * (192.0_f64 / 9e6).sqrt();
        assert!((got.upper - (0.01 + reach)).abs() < 1e-9, "{}", got.upper);
        assert_eq!((got.lower, got.verdict), (0.0, Met));
        assert_eq!(
            judge_fraction(&[(2, 1_000), (10, 1_000), (18, 1_000)], 0.98).verdict,
            Undecided
        );
        assert_eq!(
            judge_fraction(&[(200, 1_000), (210, 1_000), (190, 1_000)], 0.90).verdict,
            Missed
        );
    }

    #[test]
    fn nothing_observed_decides_nothing() {
        for none in [&[][..], &[(0, 0)], &[(0, 0), (0, 0)]] {
            let got = judge_fraction(none, 0.99);
            assert_eq!((got.verdict, got.lower, got.upper), (Undecided, 0.0, 1.0));
        }
    }

    #[test]
    fn a_smaller_share_of_the_error_widens_its_own_side_only() {
        let counts = [(2, 1_000), (10, 1_000), (18, 1_000)];
        let alone = judge_fraction(&counts, 0.97);
        let strict = Trust {
            met: 0.995,
            missed: 0.95,
        };
        let got = judge_fraction_at(&counts, 0.97, 1.0, strict);
        // t(0.995, 2) = 9.9248432 in place of 2.9199856.
        let reach = 9.924_843_2 * (192.0_f64 / 9e6).sqrt();
        assert!((got.upper - (0.01 + reach)).abs() < 1e-6, "{}", got.upper);
        assert_eq!((got.lower, got.verdict), (alone.lower, Undecided));
        // Nothing above the target in 600: 3 ÷ 600 is enough alone, −ln(0.005) ÷ 600 is not.
        assert_eq!(judge_fraction(&[(0, 600)], 0.994).verdict, Met);
        assert_eq!(
            judge_fraction_at(&[(0, 600)], 0.994, 1.0, strict).verdict,
            Undecided
        );
        let values = [4.2, 5.1, 3.9, 4.8, 5.5];
        let one = judge_at_least(&values, 4.0);
        let other = judge_at_least_with(&values, 4.0, strict);
        assert_eq!((one.verdict, other.verdict), (Met, Undecided));
        assert_eq!(one.upper, other.upper);
    }

    #[test]
    fn every_i_o_late_is_a_miss() {
        assert_eq!(
            judge_fraction(&[(500, 500), (500, 500)], 0.99).verdict,
            Missed
        );
        assert_eq!(judge_fraction(&[(500, 500)], 0.99).upper, 1.0);
    }

    #[test]
    fn bounds_on_a_fraction_are_not_overconfident() {
        // P(above) is exactly the limit: "met" and "missed" are both wrong and may come in at most 5 %
        // of the cases each. Between replications the level itself moves (a common factor of 0.5 or 1.5),
        // so the I/Os of one replication depend on each other.
        for (seed, spread) in [(1, 0.0), (2, 0.0), (3, 0.5), (4, 0.5)] {
            let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
            let mut chance = || (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
            let cases = 1_000;
            let (mut met, mut missed) = (0, 0);
            for _ in 0..cases {
                let counts: Vec<(u64, u64)> = (0..10)
                    .map(|_| {
                        let p = 0.05
                            * if chance() < 0.5 {
                                1.0 - spread
                            } else {
                                1.0 + spread
                            };
                        ((0..400).filter(|_| chance() < p).count() as u64, 400)
                    })
                    .collect();
                match judge_fraction(&counts, 0.95).verdict {
                    Met => met += 1,
                    Missed => missed += 1,
                    Undecided => {}
                }
            }
            // 5 % plus 3.3 standard errors of a count of 1000.
            let limit =
                f64::from(cases) * (0.05 + 3.3 * (0.05_f64 * 0.95 / f64::from(cases)).sqrt());
            assert!(
                f64::from(met) <= limit && f64::from(missed) <= limit,
                "{met} {missed} of {limit}"
            );
        }
    }

    #[test]
    fn means_are_judged_by_their_bounds() {
        // Mean 4.7, standard error 0.2915476, t(0.95, 4) = 2.1318468: bounds 4.0784654 and 5.3215346.
        let values = [4.2, 5.1, 3.9, 4.8, 5.5];
        let got = judge_at_most(&values, 5.4);
        assert!((got.lower - 4.078_465_4).abs() < 1e-6 && (got.upper - 5.321_534_6).abs() < 1e-6);
        assert_eq!(got.verdict, Met);
        assert_eq!(judge_at_most(&values, 5.3).verdict, Undecided);
        assert_eq!(judge_at_most(&values, 4.0).verdict, Missed);
        assert_eq!(judge_at_least(&values, 4.0).verdict, Met);
        assert_eq!(judge_at_least(&values, 4.1).verdict, Undecided);
        assert_eq!(judge_at_least(&values, 5.4).verdict, Missed);
    }

    #[test]
    fn means_without_spread_are_compared_and_single_ones_bound_nothing() {
        assert_eq!(judge_at_most(&[0.1; 3], 0.1).verdict, Met);
        assert_eq!(judge_at_least(&[0.1; 3], 0.1).verdict, Met);
        assert_eq!(judge_at_most(&[0.1; 3], 0.099).verdict, Missed);
        for values in [&[][..], &[1.0], &[1.0, f64::NAN], &[1.0, f64::INFINITY]] {
            assert_eq!(judge_at_most(values, 5.0).verdict, Undecided);
            assert_eq!(judge_at_least(values, 0.5).verdict, Undecided);
        }
        assert_eq!(judge_at_most(&[f64::INFINITY; 2], 5.0).verdict, Missed);
    }

    #[test]
    fn values_that_agree_by_chance_know_no_more_than_their_steps() {
        // 38 of 37.5 that come, three times: one more or less is 4.
        let judged = |target| judge_counted_at_least(&[152.0; 3], target, 4.0, Trust::ALONE);
        assert_eq!((judged(150.0).lower, judged(150.0).upper), (148.0, 156.0));
        assert_eq!(judged(148.0).verdict, Met);
        assert_eq!(judged(151.0).verdict, Undecided);
        assert_eq!(judged(156.1).verdict, Missed);
        // A spread that is wider stays as it is.
        let values = [4.2, 5.1, 3.9, 4.8, 5.5];
        assert_eq!(
            judge_counted_at_least(&values, 4.0, 0.1, Trust::ALONE),
            judge_at_least(&values, 4.0)
        );
    }

    #[test]
    fn a_switching_figure_must_be_kept_by_every_replication() {
        assert_eq!(judge_every(&[1.0, 2.0, 3.0], 3.0), Met);
        assert_eq!(judge_every(&[1.0, 2.0, 3.1], 3.0), Undecided);
        assert_eq!(judge_every(&[1.0, 4.0], 3.0), Undecided);
        assert_eq!(judge_every(&[1.0, 4.0, f64::NAN], 3.0), Missed);
        assert_eq!(judge_every(&[f64::INFINITY], 3.0), Missed);
        assert_eq!(judge_every(&[], 3.0), Undecided);
    }
}
