//! How the work changes over a day.

/// What part of its stated rate a workload brings in each hour of a day: 0 to 1 each, and 1 in its busiest hour,
/// of which the stated rate is.
///
/// A factor stands for the busiest minutes of its hour, as the rate does for those of the day. Which day, and how
/// days differ, is not known here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayShape([f64; 24]);

impl DayShape {
    /// Hours of a day.
    pub const HOURS: usize = 24;

    /// A shape from its factors, hour 0 (from midnight to one o'clock) first. `None` unless each lies from 0 to 1
    /// and the largest is 1.
    #[must_use]
    pub fn new(factors: [f64; 24]) -> Option<Self> {
        let sound = factors.iter().all(|factor| (0.0..=1.0).contains(factor));
        let busiest = factors.iter().copied().fold(0.0, f64::max);
        (sound && busiest >= 1.0).then_some(Self(factors))
    }

    /// The factor of an hour, 0 to 23.
    ///
    /// # Panics
    /// When there is no such hour.
    #[must_use]
    pub const fn at(&self, hour: usize) -> f64 {
        self.0[hour]
    }
}
