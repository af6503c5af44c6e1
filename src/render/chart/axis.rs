//! Scales: from values to places, and the ticks along them.

/// A scale from values to places along one direction.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    from: f64,
    to: f64,
    start: f64,
    end: f64,
    log: bool,
}

impl Scale {
    /// Evenly spaced: `from` at place `start`, `to` at place `end`.
    pub(super) fn linear((from, to): (f64, f64), (start, end): (f64, f64)) -> Self {
        let to = if to > from { to } else { from + 1.0 };
        Self {
            from,
            to,
            start,
            end,
            log: false,
        }
    }

    /// Whole decades that hold `low` to `high`, both above zero, at most eight of them.
    pub(super) fn decades((low, high): (f64, f64), (start, end): (f64, f64)) -> Self {
        let high = if high.is_finite() && high > 0.0 {
            high
        } else {
            1.0
        };
        let to = high.log10().ceil().clamp(-9.0, 12.0);
        let low = if low.is_finite() && low > 0.0 {
            low.min(high)
        } else {
            high
        };
        let from = low.log10().floor().clamp(to - 8.0, to - 1.0);
        Self {
            from,
            to,
            start,
            end,
            log: true,
        }
    }

    /// The decades' parts that hold `low` to `high`, with a little room, evenly in the logarithm.
    pub(super) fn log((low, high): (f64, f64), (start, end): (f64, f64)) -> Self {
        let high = if high.is_finite() && high > 0.0 {
            high
        } else {
            1.0
        };
        let low = if low.is_finite() && low > 0.0 {
            low.min(high)
        } else {
            high
        };
        let (from, to) = (low.log10() - 0.12, high.log10() + 0.12);
        // A curve that hardly rises must not fill the height: half a decade at least.
        let lack = (0.5 - (to - from)).max(0.0) / 2.0;
        Self {
            from: from - lack,
            to: to + lack,
            start,
            end,
            log: true,
        }
    }

    /// The place of `value`; values beyond the ends are drawn at the ends.
    pub(super) fn place(&self, value: f64) -> f64 {
        let value = if self.log {
            value.max(1e-12).log10()
        } else {
            value
        };
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        self.start + (self.end - self.start) * share
    }

    /// Values worth a tick, about `wanted` of them.
    pub(super) fn ticks(&self, wanted: usize) -> Vec<f64> {
        if self.log {
            self.log_ticks(wanted)
        } else {
            linear_ticks(self.from, self.to, wanted)
        }
    }

    fn log_ticks(&self, wanted: usize) -> Vec<f64> {
        let span = self.to - self.from;
        let steps: &[f64] = if span < 0.9 {
            // Less than a decade: three ticks at least, so that the scale can be read.
            &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0]
        } else if span * 3.0 <= wanted as f64 * 1.4 {
            &[1.0, 2.0, 5.0]
        } else {
            &[1.0]
        };
        let every = if steps.len() == 1 {
            (span / wanted.max(1) as f64).ceil().max(1.0) as i32
        } else {
            1
        };
        let mut out = Vec::new();
        for decade in (self.from.floor() as i32)..=(self.to.ceil() as i32) {
            for step in steps {
                let value = step * 10_f64.powi(decade);
                let place = value.log10();
                let inside = place >= self.from - 1e-9 && place <= self.to + 1e-9;
                if inside && (decade.rem_euclid(every) == 0) {
                    out.push(value);
                }
            }
        }
        out
    }
}

fn linear_ticks(from: f64, to: f64, wanted: usize) -> Vec<f64> {
    let raw = (to - from) / wanted.max(1) as f64;
    let unit = 10_f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .map(|step| step * unit)
        .find(|step| *step >= raw * 0.999);
    let step = step.unwrap_or(10.0 * unit);
    let first = (from / step - 1e-9).ceil() as i64;
    let last = (to / step + 1e-9).floor() as i64;
    (first..=last.min(first + 64))
        .map(|index| index as f64 * step)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_and_ticks() {
        let scale = Scale::linear((0.0, 125.0), (100.0, 600.0));
        assert_eq!(scale.place(0.0), 100.0);
        assert_eq!(scale.place(62.5), 350.0);
        assert_eq!(scale.place(999.0), 600.0);
        assert_eq!(scale.ticks(5), vec![0.0, 25.0, 50.0, 75.0, 100.0, 125.0]);
        let scale = Scale::decades((0.3, 5000.0), (400.0, 0.0));
        assert_eq!(scale.place(0.1), 400.0);
        assert_eq!(scale.place(10_000.0), 0.0);
        assert!((scale.place(10.0) - 240.0).abs() < 1e-9);
        assert_eq!(
            scale.ticks(6),
            vec![0.1, 1.0, 10.0, 100.0, 1000.0, 10_000.0]
        );
        let narrow = Scale::log((0.35, 0.42), (0.0, 100.0));
        assert!(narrow.ticks(8).len() >= 3, "{:?}", narrow.ticks(8));
        assert!(
            Scale::log((f64::NAN, 0.0), (0.0, 1.0))
                .place(3.0)
                .is_finite()
        );
    }
}
