//! One server, first come first served, room without limit: M/M/1, M/G/1 and M/D/1.
//!
//! Arrivals are Poisson: independent, at a constant mean rate. Wait = from arrival to the start of service;
//! sojourn = wait + service.

use super::{many_servers, steady};

/// The mean figures of a queue. Units: the caller's time unit, and numbers of messages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Means {
    /// Fraction of time a server is busy.
    pub utilization: f64,
    /// Mean wait.
    pub wait: f64,
    /// Mean wait and service together.
    pub sojourn: f64,
    /// Mean number waiting (Little: rate × wait).
    pub waiting: f64,
    /// Mean number waiting or in service (Little: rate × sojourn).
    pub present: f64,
}

/// Moments of a service time about zero: E\[S\], E\[S²\], E\[S³\].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moments {
    /// E\[S\].
    pub first: f64,
    /// E\[S²\].
    pub second: f64,
    /// E\[S³\].
    pub third: f64,
}

impl Moments {
    /// Of a constant.
    #[must_use]
    pub fn constant(value: f64) -> Self {
        Self {
            first: value,
            second: value * value,
            third: value * value * value,
        }
    }

    /// Of an exponential law: n! × meanⁿ.
    #[must_use]
    pub fn exponential(mean: f64) -> Self {
        let constant = Self::constant(mean);
        Self {
            first: mean,
            second: 2.0 * constant.second,
            third: 6.0 * constant.third,
        }
    }

    /// Of a lognormal law with this mean and coefficient of variation (standard deviation ÷ mean):
    /// E\[S²\] = m²(1+v²), E\[S³\] = m³(1+v²)³.
    #[must_use]
    pub fn lognormal(mean: f64, variation: f64) -> Self {
        let factor = 1.0 + variation * variation;
        let constant = Self::constant(mean);
        Self {
            first: mean,
            second: constant.second * factor,
            third: constant.third * factor * factor * factor,
        }
    }

    /// Of a mixture: pairs of (weight, moments of the part). The weights should add up to 1.
    #[must_use]
    pub fn mixture(parts: &[(f64, Self)]) -> Self {
        let sum = |of: fn(&Self) -> f64| parts.iter().map(|(weight, part)| weight * of(part)).sum();
        Self {
            first: sum(|part| part.first),
            second: sum(|part| part.second),
            third: sum(|part| part.third),
        }
    }
}

/// M/G/1 means by the formula of Pollaczek and Khinchine: wait = λ E\[S²\] ÷ (2(1−ρ)). Source: Kleinrock,
/// *Queueing Systems*, vol. 1, chapter 5 (from memory).
#[must_use]
pub fn general(rate: f64, service: Moments) -> Option<Means> {
    let utilization = rate * service.first;
    if !steady(rate, utilization) {
        return None;
    }
    let wait = rate * service.second / (2.0 * (1.0 - utilization));
    let sojourn = wait + service.first;
    Some(Means {
        utilization,
        wait,
        sojourn,
        waiting: rate * wait,
        present: rate * sojourn,
    })
}

/// Standard deviation of the M/G/1 wait: E\[W²\] = 2 E\[W\]² + λ E\[S³\] ÷ (3(1−ρ)). Source as [`general`].
#[must_use]
pub fn general_wait_deviation(rate: f64, service: Moments) -> Option<f64> {
    let means = general(rate, service)?;
    let second =
        2.0 * means.wait * means.wait + rate * service.third / (3.0 * (1.0 - means.utilization));
    Some((second - means.wait * means.wait).sqrt())
}

/// The `p`-quantile of the M/M/1 sojourn, which is exponential with rate (1−ρ)/S. Source: Kleinrock,
/// *Queueing Systems*, vol. 1, chapter 3 (from memory).
#[must_use]
pub fn exponential_sojourn_quantile(rate: f64, service: f64, p: f64) -> Option<f64> {
    let utilization = rate * service;
    (steady(rate, utilization) && (0.0..1.0).contains(&p))
        .then(|| -libm::log1p(-p) * service / (1.0 - utilization))
}

/// The `p`-quantile of the M/M/1 wait: P(W > t) = ρ exp(−(1−ρ)t/S), and 0 where p ≤ 1−ρ. Source as
/// [`exponential_sojourn_quantile`].
#[must_use]
pub fn exponential_wait_quantile(rate: f64, service: f64, p: f64) -> Option<f64> {
    let utilization = rate * service;
    (steady(rate, utilization) && (0.0..1.0).contains(&p))
        .then(|| (libm::log(utilization / (1.0 - p)) * service / (1.0 - utilization)).max(0.0))
}

/// The mean wait of the first `customers` of an M/M/1 queue that starts empty.
///
/// Exact, by the number each customer finds: between two arrivals each service ends before the next arrival
/// with probability μ/(λ+μ). Cost: `customers`² steps. Not limited to utilizations below 1.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn exponential_wait_from_empty(rate: f64, service: f64, customers: usize) -> Option<f64> {
    if !(rate > 0.0 && rate.is_finite() && service > 0.0 && service.is_finite()) || customers == 0 {
        return None;
    }
    let end_first = 1.0 / (1.0 + rate * service);
    let mut found = vec![1.0];
    let mut total = 0.0;
    for _ in 0..customers {
        total += found
            .iter()
            .enumerate()
            .map(|(number, p)| number as f64 * p)
            .sum::<f64>();
        // From the number found plus the customer itself, downwards: what is left at the next arrival.
        let mut next = vec![0.0; found.len() + 1];
        let mut passing = 0.0;
        for number in (1..=found.len()).rev() {
            passing += found[number - 1];
            next[number] = passing * (1.0 - end_first);
            passing *= end_first;
        }
        next[0] = passing;
        found = next;
    }
    Some(total * service / customers as f64)
}

/// Mean sojourn of a job of `size` (its time alone on the server) under M/G/1 processor sharing, an ideal
/// fair share: size ÷ (1−ρ), whatever the law of the sizes (Kleinrock, *Queueing Systems*, vol. 2; from
/// memory).
#[must_use]
pub fn shared_sojourn(utilization: f64, size: f64) -> Option<f64> {
    steady(0.0, utilization).then(|| size / (1.0 - utilization))
}

/// M/D/1 means: constant service.
#[must_use]
pub fn constant(rate: f64, service: f64) -> Option<Means> {
    general(rate, Moments::constant(service))
}

/// The whole distribution of the M/D/1 wait; ask it for tails and quantiles. See
/// [`many_servers::ConstantService`] for the method.
#[must_use]
pub fn constant_wait(rate: f64, service: f64) -> Option<many_servers::ConstantService> {
    many_servers::ConstantService::new(1, rate, service)
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    #[test]
    fn published_means_come_out() {
        // CRAN package queueing 0.2.12, documented example (there after Rios Insua et al., 2004, example
        // 10.3): M/M/1 with rates 1/4 and 1/3. Verified.
        let means = general(0.25, Moments::exponential(3.0)).unwrap();
        assert!(close(means.utilization, 0.75, 12) && close(means.present, 3.0, 12));
        assert!(
            close(means.waiting, 2.25, 12)
                && close(means.sojourn, 12.0, 12)
                && close(means.wait, 9.0, 12)
        );
        // Worked M/D/1 example of a public encyclopedia draft: 20 arrivals and 30 services an hour. Verified.
        let means = constant(20.0, 1.0 / 30.0).unwrap();
        assert!(close(means.waiting, 0.6667, 4) && close(means.present, 1.3333, 5));
        assert!(close(means.wait, 0.0333, 3) && close(means.sojourn, 0.0667, 3));
        // Ciw documentation, processor-sharing guide: rates 4 and 9. Verified.
        assert!(close(
            shared_sojourn(4.0 / 9.0, 1.0 / 9.0).unwrap(),
            0.2,
            12
        ));
        // Law, Simulation Modeling and Analysis: first 25 customers, rate 1, service 0.9; printed 2.12. From
        // memory; the value recomputed exactly.
        assert!(close(
            exponential_wait_from_empty(1.0, 0.9, 25).unwrap(),
            2.12449,
            6
        ));
    }

    #[test]
    fn exponential_service_quantiles_equal_the_table() {
        // rho; mean wait, mean sojourn; sojourn p50, p90, p99, p99.9; wait p50, p90, p99. Computed from
        // Kleinrock, Queueing Systems, vol. 1, chapter 3.
        let rows = [
            (
                0.5,
                [
                    1.0, 2.0, 1.386294, 4.60517, 9.21034, 13.81551, 0.0, 3.218876, 7.824046,
                ],
            ),
            (
                0.6,
                [
                    1.5, 2.5, 1.732868, 5.756463, 11.51293, 17.26939, 0.4558039, 4.479399, 10.23586,
                ],
            ),
            (
                0.7,
                [
                    2.333333, 3.333333, 2.310491, 7.675284, 15.35057, 23.02585, 1.121574, 6.486367,
                    14.16165,
                ],
            ),
            (
                0.8,
                [
                    4.0, 5.0, 3.465736, 11.51293, 23.02585, 34.53878, 2.350018, 10.39721, 21.91013,
                ],
            ),
            (
                0.9,
                [
                    9.0, 10.0, 6.931472, 23.02585, 46.0517, 69.07755, 5.877867, 21.97225, 44.9981,
                ],
            ),
            (
                0.95,
                [
                    19.0, 20.0, 13.86294, 46.0517, 92.1034, 138.1551, 12.83708, 45.02584, 91.07754,
                ],
            ),
        ];
        for (rate, expected) in rows {
            let means = general(rate, Moments::exponential(1.0)).unwrap();
            let sojourn = |p| exponential_sojourn_quantile(rate, 1.0, p).unwrap();
            let wait = |p| exponential_wait_quantile(rate, 1.0, p).unwrap();
            let got = [
                means.wait,
                means.sojourn,
                sojourn(0.5),
                sojourn(0.9),
                sojourn(0.99),
                sojourn(0.999),
                wait(0.5),
                wait(0.9),
                wait(0.99),
            ];
            for (got, expected) in got.into_iter().zip(expected) {
                assert!(close(got, expected, 7), "{rate}: {got} {expected}");
            }
        }
    }

    #[test]
    fn constant_service_waits_equal_the_table() {
        // rho; mean, sd; P(wait > 0.5, 1, 2, 5, 10); p50, p90, p99, p99.9. Erlang 1909, Crommelin 1932:
        // computed with mpmath in 400 digits, and by an embedded chain.
        #[rustfmt::skip]
        let rows = [
            (0.1, [0.05555556, 0.2003084, 0.053856, 0.00534617, 0.0002029, 4.73276e-09, 6.62e-17, 0.0, 0.0, 0.953102, 1.64357]),
            (0.3, [0.2142857, 0.434483, 0.186716, 0.0550988, 0.00798719, 1.68735e-05, 5.54367e-10, 0.0, 0.837715, 1.89087, 3.02311]),
            (0.6, [0.75, 1.030776, 0.460056, 0.271152, 0.109262, 0.00640469, 5.61338e-05, 0.371906, 2.09838, 4.52961, 6.9601]),
            (0.75, [1.5, 1.802776, 0.636252, 0.47075, 0.276515, 0.0531845, 0.00339654, 0.924196, 3.85242, 8.03739, 12.2224]),
            (0.85, [2.833333, 3.149074, 0.770561, 0.649053, 0.477213, 0.184719, 0.037917, 1.8525, 6.93776, 14.2086, 21.4795]),
            (0.9, [4.5, 4.821825, 0.843169, 0.75404, 0.6164, 0.331291, 0.117597, 3.01305, 10.7825, 21.8982, 33.014]),
            (0.99, [49.5, 49.83222, 0.983595, 0.973088, 0.954216, 0.898504, 0.812727, 34.2081, 114.411, 229.155, 343.899]),
        ];
        for (rate, expected) in rows {
            let law = constant_wait(rate, 1.0).unwrap();
            assert!(
                close(law.mean_wait(), expected[0], 7),
                "{rate}: {}",
                law.mean_wait()
            );
            assert!(
                close(law.waits(), rate, 10),
                "P(wait) must be the utilization"
            );
            let mut got = vec![
                constant(rate, 1.0).unwrap().wait,
                general_wait_deviation(rate, Moments::constant(1.0)).unwrap(),
            ];
            got.extend([0.5, 1.0, 2.0, 5.0, 10.0].map(|t| law.wait_beyond(t)));
            got.extend([0.5, 0.9, 0.99, 0.999].map(|p| law.wait_quantile(p)));
            for (column, (got, expected)) in got.into_iter().zip(expected).enumerate() {
                // The tail of 6.62e-17 is printed to three digits, that of 0.0002029 to four at least.
                let digits = if expected < 1e-16 && expected > 0.0 {
                    3
                } else {
                    6
                };
                let digits = if column == 4 && rate == 0.1 {
                    4
                } else {
                    digits
                };
                assert!(
                    close(got, expected, digits),
                    "{rate} column {column}: {got} {expected}"
                );
            }
        }
    }

    #[test]
    fn general_service_means_and_deviations_equal_the_table() {
        // Lognormal and two-size service: computed; each mean also confirmed by simulation.
        let sizes = |parts: &[(f64, f64)]| {
            let parts: Vec<_> = parts
                .iter()
                .map(|(weight, size)| (*weight, Moments::constant(*size)))
                .collect();
            Moments::mixture(&parts)
        };
        for (rate, service, mean, deviation) in [
            (0.8, Moments::lognormal(1.0, 0.5), 2.5, 2.975595),
            (0.6, Moments::lognormal(1.0, 1.0), 1.5, 2.5),
            (0.5, Moments::lognormal(1.0, 2.0), 2.5, 6.922187),
            (0.8, Moments::lognormal(1.0, 2.0), 10.0, 16.32993),
            (0.125, sizes(&[(0.8, 1.0), (0.2, 16.0)]), 6.5, 10.51586),
            (0.2, sizes(&[(0.8, 1.0), (0.2, 16.0)]), 26.0, 30.81125),
            (
                0.7 / 4.4,
                sizes(&[(0.6, 2.0), (0.4, 8.0)]),
                7.424242,
                9.600515,
            ),
        ] {
            let got = general(rate, service).unwrap();
            assert!(close(got.wait, mean, 7), "{} {mean}", got.wait);
            let got = general_wait_deviation(rate, service).unwrap();
            assert!(close(got, deviation, 7), "{got} {deviation}");
        }
    }

    #[test]
    fn overload_has_no_steady_state() {
        assert_eq!(constant(1.0, 1.0), None);
        assert_eq!(general(f64::NAN, Moments::constant(1.0)), None);
        assert_eq!(exponential_wait_quantile(2.0, 1.0, 0.5), None);
        assert!(constant_wait(1.0, 1.0).is_none());
        assert_eq!(constant(0.0, 1.0).map(|means| means.wait), Some(0.0));
    }
}
