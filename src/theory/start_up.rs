//! How far a queue that begins empty is from its steady state, and for how long.
//!
//! A nearly full queue is a Brownian motion with drift that is held above zero (heavy traffic; J. M. Harrison, *Brownian Motion and
//! Stochastic Flow Systems*, 1985). Begun empty at time 0, its work at `t` has the law of the highest point that the free motion has
//! reached by then, so that with Spitzer's identity its mean is the integral of the mean positive part: in units in which drift and
//! variance are one, the share of the steady mean that is there at `t` is 1 − 2(1 + t)Q(√t) + 2√t φ(√t), with Q the upper tail and φ the
//! density of the normal law (J. Abate and W. Whitt, "Transient behavior of regulated Brownian motion, I: starting at the
//! origin", *Advances in Applied Probability* 19, 1987, from memory; derived again as above). Those units of time are half of the
//! relaxation time.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// The relaxation time of a queue, in the unit of `mean` after which what is left of its start shrinks e-fold: 2σ²/(ρ(1 − ρ)²) times
/// ((1 + √ρ)/2)², which makes it exact for exponential times (P. M. Morse, "Stochastic properties of waiting lines", *Operations
/// Research* 3, 1955, from memory) and 2σ²/(1 − ρ)² where ρ is near 1. `utilization` is ρ, above 0 and below 1; `variance` is σ², by how much the
/// work that comes varies a unit of time: for Poisson arrivals their rate times the second moment of the time they take. `None` where
/// the queue has no steady state.
#[must_use]
pub fn relaxation(utilization: f64, variance: f64) -> Option<f64> {
    let sound = utilization > 0.0 && utilization < 1.0 && variance >= 0.0 && variance.is_finite();
    sound.then(|| {
        let near = f64::midpoint(1.0, utilization.sqrt());
        2.0 * variance / utilization * (near / (1.0 - utilization)).powi(2)
    })
}

/// The share of its steady mean by which the mean of a queue that begins empty falls short at `time`, of that relaxation time.
#[must_use]
pub fn missing_at(time: f64, relaxation: f64) -> f64 {
    let t = units(time, relaxation);
    if !t.is_finite() {
        return 0.0;
    }
    let normal = Normal::standard();
    let root = t.sqrt();
    (2.0 * (1.0 + t) * normal.sf(root) - 2.0 * root * normal.pdf(root)).clamp(0.0, 1.0)
}

/// The mean of that over the time from `from` to `to`.
#[must_use]
pub fn missing_between(from: f64, to: f64, relaxation: f64) -> f64 {
    let (from, to) = (units(from, relaxation), units(to, relaxation));
    if !to.is_finite() || to <= from {
        return 0.0;
    }
    ((missed_until(to) - missed_until(from)) / (to - from)).clamp(0.0, 1.0)
}

/// The integral of the missing share from 0 to `t` in those units; 1/2 in all. By parts of the formula above:
/// with `E[M]` = ∫Q = 1/2, it is t(1 − H) + ∫ u dH, and ∫ u dH = 2∫(√u φ(√u) − u Q(√u)) du.
fn missed_until(t: f64) -> f64 {
    let normal = Normal::standard();
    let root = t.sqrt();
    let (tail, density) = (normal.sf(root), normal.pdf(root));
    let missing = 2.0 * (1.0 + t) * tail - 2.0 * root * density;
    // With u = x²: ∫√u φ du = 2∫x²φ dx = 1 − 2Q − 2xφ, and ∫u Q du = (t²Q + ∫x⁴φ dx)/2 with ∫x⁴φ dx = 3(1/2 − Q) − (x³ + 3x)φ.
    let first = 1.0 - 2.0 * tail - 2.0 * root * density;
    let fourth = 3.0 * (0.5 - tail) - (root.powi(3) + 3.0 * root) * density;
    let second = f64::midpoint(t * t * tail, fourth);
    t * missing + 2.0 * (first - second)
}

fn units(time: f64, relaxation: f64) -> f64 {
    if relaxation > 0.0 {
        2.0 * time.max(0.0) / relaxation
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// M/M/1: 1/(μ(1 − √ρ)²).
    #[test]
    fn the_relaxation_time_of_exponential_times_is_exact() {
        for rho in [0.1_f64, 0.5, 0.9, 0.99] {
            // Rate ρ, second moment 2.
            let found = relaxation(rho, 2.0 * rho).unwrap();
            let exact = (1.0 - rho.sqrt()).powi(-2);
            assert!((found / exact - 1.0).abs() < 1e-12, "{found} {exact}");
        }
        assert_eq!(relaxation(1.0, 1.0), None);
        assert_eq!(relaxation(0.5, 0.0), Some(0.0));
    }

    /// The mean of the highest point reached, by Spitzer's identity: E M(t) = ∫ E[X(s)⁺]/s ds with X(s) normal of mean −s and variance s.
    #[test]
    fn what_is_missing_is_what_spitzers_identity_says() {
        let normal = Normal::standard();
        let integrand = |x: f64| {
            // s = x², ds = 2x dx; E[X⁺]/s = φ(x)/x − Q(x).
            2.0 * normal.pdf(x) - 2.0 * x * normal.sf(x)
        };
        for t in [0.01_f64, 0.3, 1.0, 4.0] {
            let (end, steps) = (t.sqrt(), 20_000);
            let step = end / f64::from(steps);
            let sum: f64 = (0..steps)
                .map(|i| integrand((f64::from(i) + 0.5) * step) * step)
                .sum();
            // The steady mean is 1/2; a relaxation time is two units.
            let missing = 1.0 - 2.0 * sum;
            assert!((missing_at(t, 2.0) - missing).abs() < 1e-6, "{t}");
        }
    }

    #[test]
    fn the_mean_over_a_time_is_the_integral() {
        for (from, to) in [(0.0, 0.5), (0.2, 3.0), (1.0, 30.0)] {
            let steps = 20_000;
            let step = (to - from) / f64::from(steps);
            let sum: f64 = (0..steps)
                .map(|i| missing_at(from + (f64::from(i) + 0.5) * step, 2.0) * step)
                .sum();
            let found = missing_between(from, to, 2.0);
            assert!((found - sum / (to - from)).abs() < 1e-5, "{found}");
        }
        // All that is ever missed is half a unit: a quarter of the relaxation time.
        assert!((missing_between(0.0, 1e4, 2.0) * 1e4 - 0.5).abs() < 1e-9);
        assert!(missing_between(0.0, 1.0, 0.0) == 0.0);
    }
}
