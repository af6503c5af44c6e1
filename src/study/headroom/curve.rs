//! Curves through the runs of a search: where they cross the promise, and where they bend.

/// One load that was run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    /// Times today.
    pub(super) factor: f64,
    /// ln(share above the target ÷ share allowed), or of the mean ÷ its target.
    pub(super) excess: f64,
    /// I/Os above the target; 1 for a mean.
    pub(super) weight: f64,
}

/// Runs this far from the promise, as a logarithm, take part in the fit: a factor of 20 in the share.
const NEAR: f64 = 3.0;
/// Fewest runs to fit to.
const FEWEST: usize = 3;

/// Where the curve ln P(latency > target) = a + b × load crosses what is allowed, and the runs that it is fitted to.
///
/// Weighted least squares: the variance of the logarithm of a count is about one over the count. A straight line is
/// exact for one exponential server (P = exp(−(1 − ρ) t ÷ s) is linear in ρ after the logarithm) and a fair one for
/// others near the edge. `None` with fewer than three runs around the promise, all at one load, or where the
/// curve does not rise: a flat curve crosses nowhere that could be told.
pub(super) fn fitted(runs: impl Iterator<Item = Run>) -> Option<(f64, u32)> {
    let near: Vec<Run> = runs
        .filter(|run| run.excess.abs() <= NEAR && run.weight > 0.0)
        .collect();
    if near.len() < FEWEST {
        return None;
    }
    let sum = |of: &dyn Fn(&Run) -> f64| near.iter().map(|run| run.weight * of(run)).sum::<f64>();
    let all = sum(&|_| 1.0);
    let (x, y) = (sum(&|run| run.factor) / all, sum(&|run| run.excess) / all);
    let spread = sum(&|run| (run.factor - x) * (run.factor - x));
    let slope = sum(&|run| (run.factor - x) * (run.excess - y)) / spread;
    let crossing = x - y / slope;
    let sound = slope.is_finite() && slope > 0.0 && crossing.is_finite() && crossing > 0.0;
    sound.then(|| (crossing, u32::try_from(near.len()).unwrap_or(u32::MAX)))
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
        let (crossing, count) = fitted(exact.into_iter()).unwrap();
        assert!((crossing - 1.25).abs() < 1e-12 && count == 4);
        // A run of which hardly anything is known moves it hardly at all.
        let off = exact.into_iter().chain([run(1.1, 2.0, 0.5)]);
        let (moved, _) = fitted(off).unwrap();
        assert!((moved - 1.25).abs() < 0.01, "{moved}");
    }

    #[test]
    fn a_flat_falling_or_unknown_curve_crosses_nowhere() {
        let none = |all: &[Run]| assert_eq!(fitted(all.iter().copied()), None, "{all:?}");
        none(&[
            run(1.0, -0.1, 9.0),
            run(2.0, -0.1, 9.0),
            run(3.0, -0.1, 9.0),
        ]);
        none(&[run(1.0, 0.2, 9.0), run(2.0, 0.1, 9.0), run(3.0, -0.1, 9.0)]);
        none(&[run(1.0, 0.2, 9.0), run(1.0, 0.1, 9.0), run(1.0, -0.1, 9.0)]);
        none(&[
            run(1.0, -1.0, 9.0),
            run(2.0, 1.0, 9.0),
            run(3.0, f64::INFINITY, 0.0),
        ]);
        none(&[run(1.0, -9.0, 9.0), run(2.0, 9.0, 9.0), run(3.0, 8.0, 9.0)]);
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
