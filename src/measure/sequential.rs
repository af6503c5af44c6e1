//! How many replications a stated precision takes: looks at fixed numbers of replications, until two in
//! succession find every figure narrow enough.
//!
//! The numbers are fixed beforehand (from 10, half more each time), so that they depend on nothing but the
//! figures, and the figures of replications 0 to R − 1 are those that R replications give without the rule.
//! A figure is narrow enough when half its interval is at most γ ÷ (1+γ) of it, which keeps the error
//! relative to the *true* value within γ (Law, *Simulation Modeling and Analysis*, chapter on output data
//! analysis, relative precision; from memory). Two looks in succession, because a rule that stops at the
//! first narrow interval stops too often at one that is narrow by chance. With k figures each interval has
//! level 1 − 0.05/k (Bonferroni), so that all of them hold together with 95 %, apart from what stopping
//! by the data still costs; `tests/evidence/coverage.rs` measures that.

/// Replications at the first look, at least.
pub const FIRST_LOOK: u32 = 10;
/// How often all figures hold together.
const TOGETHER: f64 = 0.95;

/// Half more, at least one.
#[must_use]
pub const fn next_look(replications: u32) -> u32 {
    replications.saturating_add(replications.div_ceil(2))
}

/// Level of each of `figures` intervals, two-sided, so that all hold together with 95 %.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn level(figures: usize) -> f64 {
    1.0 - (1.0 - TOGETHER) / figures.max(1) as f64
}

/// Half a figure's interval relative to the figure; 0 when there is no width, infinite around zero.
#[must_use]
pub fn relative_half_width(value: f64, half_width: f64) -> f64 {
    if half_width == 0.0 {
        0.0
    } else {
        half_width / value.abs()
    }
}

/// What a look says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Run so many replications in all, then look again.
    RunTo(u32),
    /// Twice in succession every figure was narrow enough.
    Narrow,
    /// No more replications may be run.
    Exhausted,
    /// No figure has an interval that could get narrower.
    Pointless,
}

/// The looks of one study.
#[derive(Clone, Debug)]
pub struct Looks {
    limit: f64,
    most: u32,
    replications: u32,
    narrow_before: bool,
    made: Vec<u32>,
}

impl Looks {
    /// For a relative precision of `within` (0.02 for 2 %), with at least `first` and at most `most`
    /// replications.
    #[must_use]
    pub fn new(within: f64, first: u32, most: u32) -> Self {
        Self {
            limit: within / (1.0 + within),
            most,
            replications: first.max(FIRST_LOOK).min(most),
            narrow_before: false,
            made: Vec::new(),
        }
    }

    /// Replications to run before the next look.
    #[must_use]
    pub const fn replications(&self) -> u32 {
        self.replications
    }

    /// Largest relative half width that is narrow enough.
    #[must_use]
    pub const fn limit(&self) -> f64 {
        self.limit
    }

    /// Replications at each look so far.
    #[must_use]
    pub fn made(&self) -> &[u32] {
        &self.made
    }

    /// Looks: `widest` is the largest relative half width, `None` when no figure has an interval.
    pub fn look(&mut self, widest: Option<f64>) -> Decision {
        self.made.push(self.replications);
        let Some(widest) = widest else {
            return Decision::Pointless;
        };
        let narrow = widest <= self.limit;
        if narrow && self.narrow_before {
            return Decision::Narrow;
        }
        self.narrow_before = narrow;
        if self.replications >= self.most {
            return Decision::Exhausted;
        }
        self.replications = next_look(self.replications).min(self.most);
        Decision::RunTo(self.replications)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks_come_at_fixed_numbers() {
        let mut looks = Looks::new(0.02, 1, 100);
        let mut made = Vec::new();
        loop {
            made.push(looks.replications());
            if !matches!(looks.look(Some(1.0)), Decision::RunTo(_)) {
                break;
            }
        }
        assert_eq!(made, [10, 15, 23, 35, 53, 80, 100]);
        assert_eq!(looks.made(), made);
        assert_eq!(Looks::new(0.02, 40, 100).replications(), 40);
        assert_eq!(Looks::new(0.02, 40, 6).replications(), 6);
    }

    #[test]
    fn narrow_once_is_not_enough() {
        let mut looks = Looks::new(0.25, 1, 1_000);
        // 0.25 / 1.25 = 0.2.
        assert!((looks.limit() - 0.2).abs() < 1e-15);
        assert_eq!(looks.look(Some(0.2)), Decision::RunTo(15));
        assert_eq!(looks.look(Some(0.21)), Decision::RunTo(23));
        assert_eq!(looks.look(Some(0.19)), Decision::RunTo(35));
        assert_eq!(looks.look(Some(0.18)), Decision::Narrow);
        assert_eq!(looks.made(), [10, 15, 23, 35]);
    }

    #[test]
    fn it_gives_up_at_the_end_and_where_nothing_can_get_narrower() {
        let mut looks = Looks::new(0.25, 1, 12);
        assert_eq!(looks.look(Some(0.9)), Decision::RunTo(12));
        assert_eq!(looks.look(Some(0.1)), Decision::Exhausted);
        assert_eq!(Looks::new(0.25, 1, 12).look(None), Decision::Pointless);
        assert_eq!(
            Looks::new(0.25, 1, 12).look(Some(f64::INFINITY)),
            Decision::RunTo(12)
        );
    }

    #[test]
    fn levels_and_relative_widths() {
        assert!((level(1) - 0.95).abs() < 1e-15 && (level(5) - 0.99).abs() < 1e-15);
        assert!((level(0) - 0.95).abs() < 1e-15);
        assert_eq!(relative_half_width(0.0, 0.0), 0.0);
        assert_eq!(relative_half_width(0.0, 1.0), f64::INFINITY);
        assert_eq!(relative_half_width(-4.0, 1.0), 0.25);
    }
}
