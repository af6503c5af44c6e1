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
    /// Whether the promise is one of a mean, which has a pole where the work no longer fits.
    pub(super) mean: bool,
}

/// Runs this far from the promise, as a logarithm, take part in the fit: a factor of 20 in the share. A choice of
/// this program.
const NEAR: f64 = 3.0;
/// The same of a mean, which is farther from its curve where other parts take more of it: a factor of 3.
const NEAR_MEAN: f64 = 1.1;
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

/// Where the curve through the runs crosses what is allowed, and the runs that it is fitted to; `pole` is the load at which the
/// work no longer fits, where that is known.
///
/// Of a percentile it is ln P(latency > target) = a + b × load: exact for one exponential server (P = exp(−(1 − ρ) t ÷ s) is
/// linear in ρ after the logarithm) and a fair one for others near the edge. A mean rises like one over what is left to the
/// pole, and a line in its logarithm would cross too late: mean = a + b ÷ (pole − load), which is exact for one server of any
/// service behind parts that take a constant time (the Pollaczek-Khinchine formula; L. Kleinrock, *Queueing Systems*, vol. 1,
/// chapter 5, from memory). Where the pole is not known it is 1 ÷ mean = a + b × load, which has one of its own.
///
/// Weighted least squares: the variance of the logarithm of a count is about one over the count. The run nearest the
/// promise says whether that is one of a mean; runs whose worst promise is of the other kind are left out. Unknown with fewer
/// than three runs around the promise or all at one load; flat where the rise is less than two deviations, with the runs
/// scattered as they are, at least as counts are.
pub(super) fn fitted(runs: impl Iterator<Item = Run>, pole: Option<f64>) -> Curve {
    let near: Vec<Run> = runs
        .filter(|run| run.excess.abs() <= NEAR && run.weight > 0.0)
        .collect();
    let distance = |run: &&Run| run.excess.abs();
    let nearest = near
        .iter()
        .min_by(|left, right| distance(left).total_cmp(&distance(right)));
    let Some(mean) = nearest.map(|run| run.mean) else {
        return Curve::Unknown;
    };
    let own = near.into_iter().filter(|run| run.mean == mean);
    if !mean {
        let points = own.map(|run| (run.factor, run.excess, run.weight));
        return line(points.collect());
    }
    let own: Vec<Run> = own.collect();
    let close =
        |run: &&Run| run.excess.abs() <= NEAR_MEAN && pole.is_none_or(|pole| run.factor < pole);
    // Next to the pole the mean falls by that much within a step: then those farther off count, for the pole holds the curve.
    let few = pole.is_some() && own.iter().filter(close).count() < FEWEST;
    let own = own.iter().copied();
    let own = own.filter(|run| few || run.excess.abs() <= NEAR_MEAN);
    let Some(pole) = pole else {
        let points = own.map(|run| {
            let share = libm::exp(-run.excess);
            (run.factor, 1.0 - share, run.weight / (share * share))
        });
        return line(points.collect());
    };
    let own = own.filter(|run| run.factor < pole);
    let points = own.map(|run| {
        let share = libm::exp(run.excess);
        let left = pole - run.factor;
        (1.0 / left, share - 1.0, run.weight / (share * share))
    });
    match line(points.collect()) {
        Curve::Crosses {
            factor: inverse,
            slope,
            runs,
        } if pole - 1.0 / inverse > 0.0 => Curve::Crosses {
            factor: pole - 1.0 / inverse,
            slope: slope * inverse * inverse,
            runs,
        },
        Curve::Crosses { .. } => Curve::Flat,
        other => other,
    }
}

/// The line through points (x, y, weight), where it crosses 0.
fn line(points: Vec<(f64, f64, f64)>) -> Curve {
    if points.len() < FEWEST {
        return Curve::Unknown;
    }
    let sum = |of: &dyn Fn(f64, f64) -> f64| {
        let each = points.iter().map(|(x, y, weight)| weight * of(*x, *y));
        each.sum::<f64>()
    };
    let all = sum(&|_, _| 1.0);
    let (x, y) = (sum(&|x, _| x) / all, sum(&|_, y| y) / all);
    let spread = sum(&|own, _| (own - x) * (own - x));
    let slope = sum(&|own, height| (own - x) * (height - y)) / spread;
    let crossing = x - y / slope;
    if !slope.is_finite() {
        return Curve::Unknown;
    }
    let rest = sum(&|own, height| {
        let rest = height - y - slope * (own - x);
        rest * rest
    });
    #[allow(clippy::cast_precision_loss)]
    let scatter = (rest / (points.len() - 2) as f64).max(1.0);
    if slope <= RISE * (scatter / spread).sqrt() || !crossing.is_finite() || crossing <= 0.0 {
        return Curve::Flat;
    }
    Curve::Crosses {
        factor: crossing,
        slope,
        runs: u32::try_from(points.len()).unwrap_or(u32::MAX),
    }
}

/// A latency at a load.
#[derive(Clone, Copy, Debug)]
pub(super) struct Figure {
    /// Times today.
    pub(super) load: f64,
    /// The latency, and its interval; the latency itself where there is none.
    pub(super) latency: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// Of the loads that were run, the one at which load ÷ latency is largest, so that it can be read off the runs; `None` where
/// it is the first or the last of them, or larger than at one of these by no more than the intervals: a straight curve, as of a closed loop
/// whose part is full, has its largest anywhere by chance. Of two runs of one load the later one counts: it is the proof.
///
/// The measure is called power (L. Kleinrock, *Power and deterministic rules of thumb for probabilistic problems in
/// computer communications*, ICC 1979; from memory): beyond its maximum, latency grows faster than load.
pub(super) fn knee(figures: impl Iterator<Item = Figure>) -> Option<f64> {
    let known = |own: &Figure| {
        [own.load, own.latency, own.low]
            .iter()
            .all(|own| *own > 0.0)
    };
    let mut all: Vec<Figure> = figures.filter(known).collect();
    all.sort_by(|left, right| left.load.total_cmp(&right.load));
    all.dedup_by(|later, first| {
        let same = later.load / first.load - 1.0 < 1e-9;
        if same {
            *first = *later;
        }
        same
    });
    let power = |own: &Figure| own.load / own.latency;
    let best = all
        .iter()
        .max_by(|left, right| power(left).total_cmp(&power(right)))?;
    let least = best.load / best.high;
    let beyond = |end: Option<&Figure>| end.is_some_and(|end| least > end.load / end.low);
    (beyond(all.first()) && beyond(all.last())).then_some(best.load)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(factor: f64, excess: f64, weight: f64) -> Run {
        Run {
            factor,
            excess,
            weight,
            mean: false,
        }
    }

    fn crossing(curve: Curve) -> (f64, f64, u32) {
        match curve {
            Curve::Crosses {
                factor,
                slope,
                runs,
            } => (factor, slope, runs),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_line_is_found_exactly_and_weights_count() {
        let line = |x: f64| 4.0 * (x - 1.25);
        let exact = [0.6, 1.0, 1.2, 1.5].map(|x| run(x, line(x), x * 100.0));
        let (found, slope, count) = crossing(fitted(exact.into_iter(), Some(2.0)));
        assert!((found - 1.25).abs() < 1e-12 && count == 4);
        assert!((slope - 4.0).abs() < 1e-12);
        // A run of which hardly anything is known moves it hardly at all.
        let off = exact.into_iter().chain([run(1.1, 2.0, 0.5)]);
        let (moved, ..) = crossing(fitted(off, None));
        assert!((moved - 1.25).abs() < 0.01, "{moved}");
    }

    #[test]
    fn a_flat_falling_or_unknown_curve_crosses_nowhere() {
        let is = |curve: Curve, all: &[Run]| {
            assert_eq!(fitted(all.iter().copied(), None), curve, "{all:?}");
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

    /// Means of one server, full at twice today's load, promised to be 20 services: M/M/1 takes 1 ÷ (1 − ρ), 20 at ρ = 0.95; M/D/1
    /// takes 1/2 + 1/2 ÷ (1 − ρ), 20 at ρ = 38/39 (Kleinrock, *Queueing Systems*, vol. 1, chapter 5, from memory). A line in the
    /// logarithm would cross at 1.92 and beyond.
    #[test]
    fn the_curve_of_a_mean_has_its_pole_and_crosses_where_theory_says() {
        let exponential = |rho: f64| 1.0 / (1.0 - rho);
        let constant = |rho: f64| 0.5 + 0.5 / (1.0 - rho);
        let at = |of: &dyn Fn(f64) -> f64, factor: f64| Run {
            mean: true,
            ..run(factor, libm::log(of(factor / 2.0) / 20.0), 1e4)
        };
        let loads = [1.0, 1.84, 1.87, 1.93, 1.96];
        for (of, truth) in [
            (&exponential as &dyn Fn(f64) -> f64, 1.9),
            (&constant, 76.0 / 39.0),
        ] {
            let runs = || loads.into_iter().map(|factor| at(of, factor));
            let (found, slope, _) = crossing(fitted(runs(), Some(2.0)));
            assert!((found - truth).abs() < 1e-9, "{found} for {truth}");
            // Of the logarithm of the mean for each 1 of the factor, there.
            let near = |side: f64| at(of, truth + side * 1e-6).excess;
            let steep = (near(1.0) - near(-1.0)) / 2e-6;
            assert!((slope / steep - 1.0).abs() < 1e-6, "{slope} for {steep}");
            let (found, ..) = crossing(fitted(runs(), None));
            assert!((found - truth).abs() < 0.002, "{found} for {truth}");
        }
        // Runs whose worst promise is another are no part of it, nor are those beyond the pole.
        let others = [run(1.5, 0.3, 1e6), run(1.7, 0.9, 1e6)];
        let beyond = Run {
            mean: true,
            ..run(2.01, 0.5, 1e4)
        };
        let runs = loads.map(|factor| at(&exponential, factor));
        let all = runs.into_iter().chain(others).chain([beyond]);
        let (found, _, count) = crossing(fitted(all, Some(2.0)));
        assert!((found - 1.9).abs() < 1e-9 && count == 4, "{found} {count}");
    }

    /// M/D/1 promised 51 services crosses at ρ = 100/101, 2.475 of a site that is full at 2.5: the next runs are farther from the
    /// promise than means may lie elsewhere.
    #[test]
    fn a_mean_next_to_its_pole_crosses_too() {
        let loads = [1.0, 2.0, 2.2, 2.35, 2.41, 2.52];
        let runs = loads.map(|factor: f64| {
            let rho = (factor / 2.5).min(0.9995);
            let mean = 0.5 + 0.5 / (1.0 - rho);
            Run {
                mean: true,
                ..run(factor, libm::log(mean / 50.5), 100.0)
            }
        });
        let (found, _, count) = crossing(fitted(runs.into_iter(), Some(2.5)));
        assert!(
            (found - 2.475).abs() < 1e-6 && count >= 3,
            "{found} {count}"
        );
    }

    /// Latencies that are known without doubt.
    fn sure((load, latency): (f64, f64)) -> Figure {
        Figure {
            load,
            latency,
            low: latency,
            high: latency,
        }
    }

    /// Twelve microseconds for each one outstanding, as of a closed loop whose part is full, within 3 % of that by chance: the largest of
    /// load ÷ latency is somewhere between, and says nothing. The same figures within a thousandth do.
    #[test]
    fn a_straight_curve_has_no_knee() {
        let chance = [(1.0, 12.2), (2.0, 23.5), (3.0, 36.9), (4.0, 48.1)];
        let within = |doubt: f64| {
            let figures = chance.map(|(load, latency)| Figure {
                load,
                latency,
                low: latency * (1.0 - doubt),
                high: latency * (1.0 + doubt),
            });
            knee(figures.into_iter())
        };
        assert_eq!(within(0.03), None);
        assert_eq!(within(0.001), Some(2.0));
    }

    #[test]
    fn the_knee_of_one_exponential_server_is_at_half_load() {
        // Latency 1 ÷ (1 − ρ): ρ (1 − ρ) is largest at 0.5.
        let loads = [0.1, 0.35, 0.45, 0.6, 0.8, 0.9];
        let found = knee(loads.iter().map(|load| sure((*load, 1.0 / (1.0 - load))))).unwrap();
        assert_eq!(found, 0.45);
        // The figures of two designs as printed: 7.32 ÷ 0.238 is the largest, whatever lies between the runs.
        let printed = [(6.53, 0.233), (7.32, 0.238), (7.9, 0.32)];
        assert_eq!(knee(printed.into_iter().map(sure)), Some(7.32));
        // Of one load the proof counts, which comes later.
        let again = [(1.0, 1.0), (2.0, 0.5), (2.0, 4.0), (3.0, 1.2), (4.0, 4.0)];
        assert_eq!(knee(again.into_iter().map(sure)), Some(3.0));
        assert_eq!(knee([(0.6, 2.5), (0.8, 5.0)].into_iter().map(sure)), None);
        assert_eq!(
            knee([(1.0, 1.0), (2.0, 1.0), (3.0, 1.0)].into_iter().map(sure)),
            None
        );
    }
}
