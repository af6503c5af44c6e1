//! A link that stops and starts again, and the load of a lost fabric on the one that is left.
//!
//! Messages of one frame, Poisson, going on at their rate whatever happens (no host slows down or gives up);
//! constant transmission time, which is the unit of time where none is stated; nothing is lost.

use super::single_queue::{Moments, constant, general_wait_deviation};
use super::steady;

/// What a stop of a link leaves behind. Units: transmission times, and numbers of messages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Messages waiting when the link starts again, as a fluid: ρ T.
    pub backlog: f64,
    /// Time to work them off, as a fluid: ρ T ÷ (1−ρ).
    pub drain_fluid: f64,
    /// Exact mean of the time to the first empty moment: (W + ρ T) ÷ (1−ρ), W the mean work present at the
    /// stop, which is the M/D/1 wait.
    pub drain_mean: f64,
    /// Its standard deviation.
    pub drain_deviation: f64,
    /// Messages delayed, as a fluid: ρ T ÷ (1−ρ).
    pub affected: f64,
    /// Mean delay of those, as a fluid: T/2; the largest is T.
    pub delay_mean: f64,
}

/// A link at utilization ρ (one message takes one time unit) that stops for `stop` T time units.
///
/// The time to empty is a busy period begun with work v: mean v/(1−ρ), variance v ρ/(1−ρ)³ (Kleinrock,
/// *Queueing Systems*, vol. 1, chapter 5; from memory); v = work at the stop + what arrives during it.
#[must_use]
pub fn stop(utilization: f64, stop: f64) -> Option<Stop> {
    if !(stop >= 0.0 && stop.is_finite()) {
        return None;
    }
    let wait = constant(utilization, 1.0)?.wait;
    let deviation = general_wait_deviation(utilization, Moments::constant(1.0))?;
    let idle = 1.0 - utilization;
    let backlog = utilization * stop;
    let variance = (deviation * deviation + backlog) / (idle * idle)
        + (wait + backlog) * utilization / (idle * idle * idle);
    Some(Stop {
        backlog,
        drain_fluid: backlog / idle,
        drain_mean: (wait + backlog) / idle,
        drain_deviation: variance.sqrt(),
        affected: backlog / idle,
        delay_mean: stop / 2.0,
    })
}

/// The survivor of two equal links or fabrics.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Survivor {
    /// Mean M/D/1 wait with both, in transmission times.
    pub wait_before: f64,
    /// Utilization of the survivor.
    pub utilization: f64,
    /// Mean M/D/1 wait on the survivor; `None` when it is overloaded.
    pub wait_after: Option<f64>,
    /// Time to drain for each unit of a pause in which the lost half was held back, then released at once,
    /// as a fluid: ρ ÷ (1−2ρ); `None` when the survivor is overloaded.
    pub drain_per_pause: Option<f64>,
    /// How fast the queue grows without end, in messages a transmission time: max(2ρ − 1, 0).
    pub growth: f64,
}

/// Two equal links at utilization ρ each, one of them lost and its load moved to the other. `None` when
/// they were overloaded before.
#[must_use]
pub fn survivor(utilization: f64) -> Option<Survivor> {
    let doubled = 2.0 * utilization;
    let carries = steady(doubled, doubled);
    Some(Survivor {
        wait_before: constant(utilization, 1.0)?.wait,
        utilization: doubled,
        wait_after: constant(doubled, 1.0).map(|means| means.wait),
        drain_per_pause: carries.then(|| utilization / (1.0 - doubled)),
        growth: (doubled - 1.0).max(0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    #[test]
    fn drain_times_equal_the_table() {
        // rho, T; fluid, mean, deviation. Computed; simulated 1001.1 ± 0.64, 1169.2 ± 0.95, 11356 ± 11.
        for (rho, length, fluid, mean, deviation) in [
            (0.5, 1000.0, 1000.0, 1001.0, 63.2798),
            (0.7, 500.0, 1166.667, 1170.556, 114.092),
            (0.85, 2000.0, 11333.33, 11352.22, 710.5336),
        ] {
            let got = stop(rho, length).unwrap();
            assert!(
                close(got.drain_fluid, fluid, 7) && close(got.drain_mean, mean, 7),
                "{got:?}"
            );
            assert!(
                close(got.drain_deviation, deviation, 6),
                "{} {deviation}",
                got.drain_deviation
            );
            // The largest delay is T, for the first after the stop, and falls by 1−ρ a time unit to nothing
            // for the last affected: so many messages come in T ÷ (1−ρ).
            assert!(close(got.affected, rho * length / (1.0 - rho), 10));
            assert!(
                close(got.delay_mean, length / 2.0, 10) && close(got.backlog, rho * length, 10)
            );
        }
        assert_eq!(
            (stop(1.0, 5.0), stop(0.5, -1.0), stop(0.5, f64::NAN)),
            (None, None, None)
        );
    }

    #[test]
    fn the_survivor_equals_the_table() {
        // rho before; wait before, after, ratio, drain a unit of pause. By the formulas.
        for (rho, before, after, ratio, drain) in [
            (0.2, 0.125, 0.333333, 2.6667, 0.333333),
            (0.3, 0.214286, 0.75, 3.5, 0.75),
            (0.35, 0.269231, 1.16667, 4.3333, 1.16667),
            (0.4, 0.333333, 2.0, 6.0, 2.0),
            (0.45, 0.409091, 4.5, 11.0, 4.5),
            (0.48, 0.461538, 12.0, 26.0, 12.0),
        ] {
            let got = survivor(rho).unwrap();
            let wait_after = got.wait_after.unwrap();
            assert!(
                close(got.wait_before, before, 6) && close(wait_after, after, 6),
                "{got:?}"
            );
            assert!(close(wait_after / got.wait_before, ratio, 5), "{got:?}");
            assert!(close(got.drain_per_pause.unwrap(), drain, 6), "{got:?}");
            assert_eq!((got.utilization, got.growth), (2.0 * rho, 0.0));
        }
    }

    #[test]
    fn at_half_load_each_the_survivor_is_overloaded() {
        let got = survivor(0.5).unwrap();
        assert_eq!(
            (got.wait_after, got.drain_per_pause, got.growth),
            (None, None, 0.0)
        );
        assert!(close(survivor(0.6).unwrap().growth, 0.2, 12));
        assert_eq!(survivor(1.0), None);
    }
}
