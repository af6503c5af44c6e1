//! The clock that a trace was written by, as far as its times show it.

use super::NS;
use super::burst::{index_of, mean_gap_s};
use crate::scenario::Recorded;

/// Steps of the clock that a trace was written by, as far as its times show them: what all of them are multiples of.
/// `None` where it is no longer than the gaps.
pub(super) fn coarse_clock_s(ios: &[Recorded]) -> Option<f64> {
    let divisor = |one: u64, other: u64| {
        let (mut one, mut other) = (one, other);
        while other > 0 {
            (one, other) = (other, one % other);
        }
        one
    };
    let first = ios.first()?.at_ns;
    let steps = ios.iter().map(|io| io.at_ns - first);
    let step_s = steps.fold(0, divisor) as f64 / NS;
    (step_s > mean_gap_s(ios) * (1.0 + 1e-9)).then_some(step_s)
}

/// So many steps in a window, and its border may lie within one. Our choice.
const STEPS: f64 = 50.0;

/// Whether windows of a length can be counted by a clock: whole steps, or so many that the border does not matter.
pub(super) fn resolves(clock_s: Option<f64>, window_s: f64) -> bool {
    clock_s.is_none_or(|step| {
        let steps = window_s / step;
        let whole = steps > 0.5 && (steps - steps.round()).abs() < 1e-6 * steps;
        whole || steps >= STEPS
    })
}

/// An end that is so many deviations below the other steps is part of a step. Our choice.
const PARTLY: f64 = 3.0;
/// Fewest steps between the ends that tell what a whole one holds.
const BETWEEN: usize = 10;

/// How long a recording is: to its last I/O. By a coarse clock that is anywhere within its last step, and the first one anywhere
/// within the first: a whole step each, unless it holds fewer than chance lets those between; then as much of one as it holds.
pub(super) fn length_s(ios: &[Recorded], clock_s: Option<f64>) -> f64 {
    let ends = ios.first().zip(ios.last());
    let (first, last) = ends.map_or((0, 0), |(first, last)| (first.at_ns, last.at_ns));
    let Some(step) = clock_s else {
        return (last - first) as f64 / NS;
    };
    let all = (last - first) as f64 / NS + step;
    let count = (all / step).round() as usize;
    if count < BETWEEN + 2 || count > ios.len() {
        return all;
    }
    let mut held = vec![0.0; count];
    for io in ios {
        let index = ((io.at_ns - first) as f64 / NS / step).round() as usize;
        held[index.min(count - 1)] += 1.0;
    }
    let between = &held[1..count - 1];
    let mean = between.iter().sum::<f64>() / between.len() as f64;
    let Some(index) = index_of(between) else {
        return all;
    };
    let least = mean - PARTLY * (index * mean).sqrt();
    let missing = |count: f64| {
        if count < least {
            1.0 - count / mean
        } else {
            0.0
        }
    };
    all - step * (missing(held[0]) + missing(held[count - 1]))
}

/// The I/Os of whole steps and how long these last: without the first and the last one, which may be parts of a step. Without a
/// coarse clock all I/Os, over `span_s`.
pub(super) fn whole_steps(
    ios: &[Recorded],
    clock_s: Option<f64>,
    span_s: f64,
) -> (&[Recorded], f64) {
    let Some(step) = clock_s else {
        return (ios, span_s);
    };
    let ends = ios.first().zip(ios.last());
    let (first, last) = ends.map_or((0, 0), |(first, last)| (first.at_ns, last.at_ns));
    let from = ios.partition_point(|io| io.at_ns <= first);
    let to = ios.partition_point(|io| io.at_ns < last);
    let within = &ios[from.min(to)..to];
    let ends = within.first().zip(within.last());
    let long = ends.map_or(0.0, |(first, last)| {
        (last.at_ns - first.at_ns) as f64 / NS + step
    });
    (within, long)
}

/// `1 s`, `10 ms`, `50 us`.
pub(super) fn time_in_words(seconds: f64) -> String {
    let (value, unit) = match seconds {
        whole if whole >= 1.0 => (whole, "s"),
        thousandth if thousandth >= 1e-3 => (thousandth * 1e3, "ms"),
        other => (other * 1e6, "us"),
    };
    format!("{}\u{202F}{unit}", (value * 1e6).round() / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::Op;

    /// Even arrivals, `rate` a second, from `from` to `to` seconds, stamped in whole steps.
    fn stamped(rate: u64, (from, to): (f64, f64), step_ns: u64) -> Vec<Recorded> {
        let gap = 1e9 / rate as f64;
        let count = ((to - from) * rate as f64).round() as u64;
        let at = |index: u64| (from * NS + (index as f64 + 0.5) * gap) as u64 / step_ns * step_ns;
        let io = |index| Recorded {
            at_ns: at(index),
            op: Op::Read,
            size: 4096,
            latency_ns: None,
        };
        (0..count).map(io).collect()
    }

    #[test]
    fn an_end_counts_as_much_of_a_step_as_it_holds() {
        let length = |ends: (f64, f64)| {
            let ios = stamped(1_000, ends, 1_000_000_000);
            length_s(&ios, coarse_clock_s(&ios))
        };
        assert!((length((0.5, 60.5)) - 60.0).abs() < 1e-9);
        assert!((length((0.0, 60.0)) - 60.0).abs() < 1e-9);
        assert!((length((0.0, 20.25)) - 20.25).abs() < 1e-9);
        // Of few steps nothing is known: both ends count whole.
        assert!((length((0.5, 5.5)) - 6.0).abs() < 1e-9);
    }

    #[test]
    fn windows_are_whole_steps_or_many() {
        let clock = Some(0.016);
        assert!(!resolves(clock, 0.01) && !resolves(clock, 0.1));
        assert!(resolves(clock, 0.032) && resolves(clock, 1.0));
        assert!(resolves(None, 0.001) && resolves(Some(1.0), 1.0) && !resolves(Some(1.0), 0.1));
    }
}
