//! Curves through the runs of a search: where they cross the promise, and where they bend.

/// One load that was run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    /// Times today.
    pub(super) factor: f64,
    /// ln(share above the target ÷ share allowed), or of the mean ÷ its target.
    pub(super) excess: f64,
    /// One over the variance of that: I/Os above the target, or by the spread of means.
    pub(super) weight: f64,
}

/// Runs this far from the promise, as a logarithm, take part in the fit: a factor of 20 in the share. A choice of
/// this program.
const NEAR: f64 = 3.0;
/// Fewest runs to fit to.
const FEWEST: usize = 3;

/// Fewest deviations by which the rise of a curve must differ from none: about 95 %, a choice of this program.
const RISE: f64 = 2.0;

/// A curve through the runs near the promise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Curve {
    /// It rises and crosses the promise.
    Crosses {
        /// Where.
        factor: f64,
        /// By how much the excess grows for each 1 of the factor.
        slope: f64,
        /// Runs that it is fitted to.
        runs: u32,
    },
    /// It does not rise by more than chance: it crosses nowhere that could be told.
    Flat,
    /// There are too few runs near the promise.
    Unknown,
}

/// Where the curve ln P(latency > target) = a + b × load crosses what is allowed, and the runs that it is fitted to.
///
/// Weighted least squares: the variance of the logarithm of a count is about one over the count. A straight line is
/// exact for one exponential server (P = exp(−(1 − ρ) t ÷ s) is linear in ρ after the logarithm) and a fair one for
/// others near the edge. Unknown with fewer than three runs around the promise or all at one load; flat where the
/// rise is less than two deviations, with the runs scattered as they are, at least as counts are.
pub(super) fn fitted(runs: impl Iterator<Item = Run>) -> Curve {
    let near: Vec<Run> = runs
        .filter(|run| run.excess.abs() <= NEAR && run.weight > 0.0)
        .collect();
    if near.len() < FEWEST {
        return Curve::Unknown;
    }
    let sum = |of: &dyn Fn(&Run) -> f64| near.iter().map(|run| run.weight * of(run)).sum::<f64>();
    let all = sum(&|_| 1.0);
    let (x, y) = (sum(&|run| run.factor) / all, sum(&|run| run.excess) / all);
    let spread = sum(&|run| (run.factor - x) * (run.factor - x));
    let slope = sum(&|run| (run.factor - x) * (run.excess - y)) / spread;
    let crossing = x - y / slope;
    if !slope.is_finite() {
        return Curve::Unknown;
    }
    let rest = sum(&|run| {
        let rest = run.excess - y - slope * (run.factor - x);
        rest * rest
    });
    #[allow(clippy::cast_precision_loss)]
    let scatter = (rest / (near.len() - 2) as f64).max(1.0);
    if slope <= RISE * (scatter / spread).sqrt() || !crossing.is_finite() || crossing <= 0.0 {
        return Curve::Flat;
    }
    Curve::Crosses {
        factor: crossing,
        slope,
        runs: u32::try_from(near.len()).unwrap_or(u32::MAX),
    }
}

/// The load at which load ÷ latency is largest, by a parabola through the best run and its neighbours; `None` where
/// the best is the first or the last of them.
///
/// The measure is called power (L. Kleinrock, *Power and deterministic rules of thumb for probabilistic problems in
/// computer communications*, ICC 1979; from memory): beyond its maximum, latency grows faster than load.
pub(super) fn knee(figures: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let mut all: Vec<(f64, f64)> = figures
        .filter(|(load, latency)| *load > 0.0 && *latency > 0.0)
        .map(|(load, latency)| (load, libm::log(load / latency)))
        .collect();
    all.sort_by(|left, right| left.0.total_cmp(&right.0));
    // Two runs of one load say the same: the later one is the proof.
    all.dedup_by(|later, first| later.0 / first.0 - 1.0 < 1e-9);
    let best = (0..all.len()).max_by(|left, right| all[*left].1.total_cmp(&all[*right].1))?;
    if best == 0 || best + 1 == all.len() {
        return None;
    }
    let [(a, fa), (b, fb), (c, fc)] = [all[best - 1], all[best], all[best + 1]];
    let (left, right) = ((b - a) * (fb - fc), (b - c) * (fb - fa));
    let top = b - 0.5 * ((b - a) * left - (b - c) * right) / (left - right);
    Some(if top.is_finite() { top.clamp(a, c) } else { b })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(factor: f64, excess: f64, weight: f64) -> Run {
        Run {
            factor,
            excess,
            weight,
        }
    }

    #[test]
    fn a_line_is_found_exactly_and_weights_count() {
        let line = |x: f64| 4.0 * (x - 1.25);
        let exact = [0.6, 1.0, 1.2, 1.5].map(|x| run(x, line(x), x * 100.0));
        let of = |curve: Curve| match curve {
            Curve::Crosses {
                factor,
                slope,
                runs,
            } => (factor, slope, runs),
            other => panic!("{other:?}"),
        };
        let (crossing, slope, count) = of(fitted(exact.into_iter()));
        assert!((crossing - 1.25).abs() < 1e-12 && count == 4);
        assert!((slope - 4.0).abs() < 1e-12);
        // A run of which hardly anything is known moves it hardly at all.
        let off = exact.into_iter().chain([run(1.1, 2.0, 0.5)]);
        let (moved, ..) = of(fitted(off));
        assert!((moved - 1.25).abs() < 0.01, "{moved}");
    }

    #[test]
    fn a_flat_falling_or_unknown_curve_crosses_nowhere() {
        let is = |curve: Curve, all: &[Run]| {
            assert_eq!(fitted(all.iter().copied()), curve, "{all:?}");
        };
        is(
            Curve::Flat,
            &[
                run(1.0, -0.1, 9.0),
                run(2.0, -0.1, 9.0),
                run(3.0, -0.1, 9.0),
            ],
        );
        is(
            Curve::Flat,
            &[run(1.0, 0.2, 9.0), run(2.0, 0.1, 9.0), run(3.0, -0.1, 9.0)],
        );
        // A rise that counts of nine scatter by themselves: a deviation of 1/3 each.
        is(
            Curve::Flat,
            &[run(1.0, -0.1, 9.0), run(2.0, 0.1, 9.0), run(3.0, 0.1, 9.0)],
        );
        is(
            Curve::Unknown,
            &[run(1.0, 0.2, 9.0), run(1.0, 0.1, 9.0), run(1.0, -0.1, 9.0)],
        );
        is(
            Curve::Unknown,
            &[
                run(1.0, -1.0, 9.0),
                run(2.0, 1.0, 9.0),
                run(3.0, f64::INFINITY, 0.0),
            ],
        );
        is(
            Curve::Unknown,
            &[run(1.0, -9.0, 9.0), run(2.0, 9.0, 9.0), run(3.0, 8.0, 9.0)],
        );
    }

    #[test]
    fn the_knee_of_one_exponential_server_is_at_half_load() {
        // Latency 1 ÷ (1 − ρ): ρ (1 − ρ) is largest at 0.5.
        let loads = [0.1, 0.35, 0.45, 0.6, 0.8, 0.9];
        let found = knee(loads.iter().map(|load| (*load, 1.0 / (1.0 - load)))).unwrap();
        assert!((found - 0.5).abs() < 0.02, "{found}");
        assert_eq!(knee([(0.6, 2.5), (0.8, 5.0)].into_iter()), None);
        assert_eq!(knee([(1.0, 1.0), (2.0, 1.0), (3.0, 1.0)].into_iter()), None);
    }
}
