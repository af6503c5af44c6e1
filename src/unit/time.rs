//! Simulated time in whole picoseconds: a point ([`Instant`]) and a length ([`Duration`]).

use std::fmt;
use std::ops::{Add, AddAssign, Div, Mul, Sub};

/// A point of simulated time, in picoseconds since the run began. Reaches 213 days.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Instant(pub u64);

/// A length of simulated time, in picoseconds. Reaches 213 days.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Duration(pub u64);

impl Instant {
    /// The instant at which every run begins.
    pub const ZERO: Self = Self(0);
    /// Later than anything that happens.
    pub const NEVER: Self = Self(u64::MAX);

    /// The length from `earlier` to `self`; zero when `earlier` is later.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration(self.0.saturating_sub(earlier.0))
    }

    /// Seconds since the run began, for people; loses digits beyond 2^53 ps.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / 1e12
    }
}

impl Duration {
    /// No time at all.
    pub const ZERO: Self = Self(0);
    /// The longest length that can be written.
    pub const MAX: Self = Self(u64::MAX);

    /// So many whole picoseconds.
    #[must_use]
    pub const fn from_ps(ps: u64) -> Self {
        Self(ps)
    }

    /// So many whole nanoseconds. Panics (a bug of ours, not of input) past 213 days.
    #[must_use]
    pub const fn from_ns(ns: u64) -> Self {
        Self(ns * 1_000)
    }

    /// So many whole microseconds. Panics past 213 days.
    #[must_use]
    pub const fn from_us(us: u64) -> Self {
        Self(us * 1_000_000)
    }

    /// So many whole milliseconds. Panics past 213 days.
    #[must_use]
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms * 1_000_000_000)
    }

    /// So many whole seconds. Panics past 213 days.
    #[must_use]
    pub const fn from_secs(s: u64) -> Self {
        Self(s * 1_000_000_000_000)
    }

    /// Rounds to the nearest picosecond; negative and not-a-number become zero, too long becomes
    /// [`Duration::MAX`].
    #[must_use]
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub fn from_ps_f64(ps: f64) -> Self {
        // A float-to-integer `as` saturates and maps NaN to 0.
        Self((ps + 0.5) as u64)
    }

    /// Seconds, for people and statistics; loses digits beyond 2^53 ps.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / 1e12
    }

    /// Microseconds, for people and statistics; loses digits beyond 2^53 ps.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn as_us_f64(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// `self - other`, or zero when `other` is longer.
    #[must_use]
    pub const fn saturating_sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Add<Duration> for Instant {
    type Output = Self;
    fn add(self, length: Duration) -> Self {
        Self(self.0.saturating_add(length.0))
    }
}

impl AddAssign<Duration> for Instant {
    fn add_assign(&mut self, length: Duration) {
        *self = *self + length;
    }
}

impl Sub for Instant {
    type Output = Duration;
    /// Panics in debug builds when `earlier` is later: time never goes back.
    fn sub(self, earlier: Self) -> Duration {
        Duration(self.0 - earlier.0)
    }
}

impl Add for Duration {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Duration {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sub for Duration {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Mul<u64> for Duration {
    type Output = Self;
    fn mul(self, times: u64) -> Self {
        Self(self.0.saturating_mul(times))
    }
}

impl Div<u64> for Duration {
    type Output = Self;
    /// Rounds down.
    fn div(self, parts: u64) -> Self {
        Self(self.0 / parts)
    }
}

impl fmt::Display for Duration {
    /// The shortest exact form with one unit: `600ns`, `1.5ms`, `0s`.
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        const UNITS: [(u64, &str); 5] = [
            (1_000_000_000_000, "s"),
            (1_000_000_000, "ms"),
            (1_000_000, "us"),
            (1_000, "ns"),
            (1, "ps"),
        ];
        if self.0 == 0 {
            return out.write_str("0s");
        }
        let (scale, unit) = UNITS
            .into_iter()
            .find(|(scale, _)| self.0 >= *scale)
            .unwrap_or((1, "ps"));
        let (whole, mut rest) = (self.0 / scale, self.0 % scale);
        if rest == 0 {
            return write!(out, "{whole}{unit}");
        }
        let mut digits = String::new();
        let mut place = scale / 10;
        while rest > 0 {
            digits.push(char::from(b'0' + u8::try_from(rest / place).unwrap_or(0)));
            rest %= place;
            place = (place / 10).max(1);
        }
        write!(out, "{whole}.{digits}{unit}")
    }
}

impl fmt::Debug for Duration {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, out)
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&Duration(self.0), out)
    }
}

impl fmt::Debug for Instant {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "@{self}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prints_the_shortest_exact_form() {
        assert_eq!(Duration(0).to_string(), "0s");
        assert_eq!(Duration::from_ns(600).to_string(), "600ns");
        assert_eq!(Duration::from_us(1_500).to_string(), "1.5ms");
        assert_eq!(Duration(1_000_000_000_001).to_string(), "1.000000000001s");
        assert_eq!(Duration(1_050).to_string(), "1.05ns");
    }

    #[test]
    fn floats_saturate_instead_of_wrapping() {
        assert_eq!(Duration::from_ps_f64(-3.0), Duration::ZERO);
        assert_eq!(Duration::from_ps_f64(f64::NAN), Duration::ZERO);
        assert_eq!(Duration::from_ps_f64(1e300), Duration::MAX);
        assert_eq!(Duration::from_ps_f64(2.5), Duration(3));
    }
}
