//! Bit rates as exact ratios.

use super::Duration;
use std::fmt;

/// A bit rate: `bits` in `seconds`, both whole, reduced to lowest terms. Never zero.
///
/// Ratios keep encodings exact: 25.78125 Gb/s × 64/66 is 25 Gb/s, and no digit of it is a float's.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Rate {
    bits: u64,
    seconds: u64,
}

const fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

impl Rate {
    /// A rate of `bits` per second.
    ///
    /// # Panics
    /// When `bits` is zero: readers of input refuse it before.
    #[must_use]
    pub const fn from_bits_per_second(bits: u64) -> Self {
        Self::from_ratio(bits, 1)
    }

    /// A rate of `bits` every `seconds`.
    ///
    /// # Panics
    /// When either is zero.
    #[must_use]
    pub const fn from_ratio(bits: u64, seconds: u64) -> Self {
        assert!(bits > 0 && seconds > 0, "a rate is never zero");
        let common = gcd(bits, seconds);
        Self {
            bits: bits / common,
            seconds: seconds / common,
        }
    }

    /// This rate times `numerator / denominator`, exact.
    ///
    /// # Panics
    /// When a factor is zero or the result does not fit 64 bits.
    #[must_use]
    pub const fn times(self, numerator: u64, denominator: u64) -> Self {
        // Cross-reduce first, so that the products stay small.
        let g1 = gcd(self.bits, denominator);
        let g2 = gcd(numerator, self.seconds);
        Self::from_ratio(
            (self.bits / g1) * (numerator / g2),
            (self.seconds / g2) * (denominator / g1),
        )
    }

    /// Numerator (bits) and denominator (seconds) in lowest terms.
    #[must_use]
    pub const fn ratio(self) -> (u64, u64) {
        (self.bits, self.seconds)
    }

    /// Serialization time of `bytes`: ceil(bytes × 8 × 10^12 ÷ rate) in picoseconds, so at most 1 ps too
    /// long and never too short. Computed through 128 bits.
    ///
    /// # Panics
    /// When the time passes 213 days: limits on sizes and rates, checked at the edge, keep it far below.
    #[must_use]
    pub fn serialize(self, bytes: u64) -> Duration {
        let bits = u128::from(bytes) * 8;
        let ps =
            (bits * 1_000_000_000_000 * u128::from(self.seconds)).div_ceil(u128::from(self.bits));
        Duration(u64::try_from(ps).expect("sizes and rates are limited where they are read"))
    }

    /// Bits per second as a float, for people and statistics.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn bits_per_second(self) -> f64 {
        self.bits as f64 / self.seconds as f64
    }

    /// Megabytes (10^6) per second as a float.
    #[must_use]
    pub fn mb_per_second(self) -> f64 {
        self.bits_per_second() / 8e6
    }
}

impl PartialOrd for Rate {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Rate {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let left = u128::from(self.bits) * u128::from(other.seconds);
        let right = u128::from(other.bits) * u128::from(self.seconds);
        left.cmp(&right)
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rate = self.bits_per_second();
        for (scale, unit) in [(1e9, "Gb/s"), (1e6, "Mb/s"), (1e3, "kb/s")] {
            if rate >= scale {
                let text = format!("{:.4}", rate / scale);
                return write!(
                    out,
                    "{} {unit}",
                    text.trim_end_matches('0').trim_end_matches('.')
                );
            }
        }
        write!(out, "{rate} b/s")
    }
}

impl fmt::Debug for Rate {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}/{} b/s", self.bits, self.seconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn serialization_rounds_up_to_the_picosecond() {
        let hundred = Rate::from_bits_per_second(100_000_000_000);
        assert_eq!(hundred.serialize(1), Duration(80));
        let fc32 = Rate::from_bits_per_second(27_200_000_000);
        // 2108 B × 8 / 27.2 Gb/s = 620 ns exactly.
        assert_eq!(fc32.serialize(2108), Duration(620_000));
        // 100 B: 29411.76… ps, rounded up.
        assert_eq!(fc32.serialize(100), Duration(29_412));
    }

    #[test]
    fn ratios_stay_exact() {
        let line = Rate::from_bits_per_second(25_781_250_000);
        assert_eq!(
            line.times(64, 66),
            Rate::from_bits_per_second(25_000_000_000)
        );
        assert!(Rate::from_ratio(3, 2) > Rate::from_bits_per_second(1));
    }
}
