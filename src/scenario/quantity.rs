//! Quantities with units, as people write them: `"100us"`, `"8KiB"`, `"27.2Gb/s"`, `"120k/s"`, `"70%"`.
//!
//! Times, lengths and sizes are read digit by digit into whole picoseconds, millimetres and bytes: no float
//! is in the way, and what does not come out whole is refused. Left out: exponents and thousands marks.

use crate::unit::{Duration, Rate};

/// Why a text is no quantity, as the end of a sentence: `"8KB" is not a size`, `"3d" is longer than …`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Wrong {
    /// Not of that kind at all.
    Shape,
    /// Of that kind, but not whole in the smallest unit.
    TooFine,
    /// Below the limit.
    TooSmall,
    /// Above the limit.
    TooLarge,
}

/// A number of digits over a power of ten.
struct Decimal {
    digits: u128,
    scale: u32,
}

/// Splits `12.5us` into the number and the unit; one space between is fine.
fn split(text: &str) -> Option<(Decimal, &str)> {
    let end = text
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    Some((decimal(number)?, unit.strip_prefix(' ').unwrap_or(unit)))
}

fn decimal(number: &str) -> Option<Decimal> {
    let (whole, fraction) = number.split_once('.').unwrap_or((number, ""));
    if whole.is_empty() || number.ends_with('.') || number.len() > 24 || fraction.contains('.') {
        return None;
    }
    let digits = format!("{whole}{fraction}").parse().ok()?;
    let scale = u32::try_from(fraction.len()).ok()?;
    Some(Decimal { digits, scale })
}

/// `number × factor`, which must come out whole and within `max`.
fn whole(number: &Decimal, factor: u128, max: u128) -> Result<u64, Wrong> {
    let scaled = number.digits.checked_mul(factor).ok_or(Wrong::TooLarge)?;
    let divisor = 10_u128.checked_pow(number.scale).ok_or(Wrong::Shape)?;
    if scaled / divisor > max {
        return Err(Wrong::TooLarge);
    }
    if scaled % divisor != 0 {
        return Err(Wrong::TooFine);
    }
    u64::try_from(scaled / divisor).map_err(|_| Wrong::TooLarge)
}

fn unit_factor(units: &[(&str, u128)], unit: &str) -> Result<u128, Wrong> {
    units
        .iter()
        .find(|(name, _)| *name == unit)
        .map(|(_, factor)| *factor)
        .ok_or(Wrong::Shape)
}

/// Longest time anywhere in a scenario: one day.
pub(super) const TIME_MAX: Duration = Duration::from_secs(86_400);

/// A time: `ps`, `ns`, `us`, `ms`, `s`, `m` or `min` (minutes), `h`; at most a day.
pub(super) fn time(text: &str) -> Result<Duration, Wrong> {
    const UNITS: [(&str, u128); 9] = [
        ("ps", 1),
        ("ns", 1_000),
        ("us", 1_000_000),
        ("\u{b5}s", 1_000_000),
        ("ms", 1_000_000_000),
        ("s", 1_000_000_000_000),
        ("m", 60_000_000_000_000),
        ("min", 60_000_000_000_000),
        ("h", 3_600_000_000_000_000),
    ];
    let (number, unit) = split(text).ok_or(Wrong::Shape)?;
    whole(&number, unit_factor(&UNITS, unit)?, u128::from(TIME_MAX.0)).map(Duration)
}

/// Longest link: 1,000 km.
const LENGTH_MM_MAX: u128 = 1_000_000_000;

/// A length in whole millimetres: `mm`, `cm`, `m`, `km`; at most 1,000 km.
pub(super) fn length_mm(text: &str) -> Result<u64, Wrong> {
    const UNITS: [(&str, u128); 4] = [("mm", 1), ("cm", 10), ("m", 1_000), ("km", 1_000_000)];
    let (number, unit) = split(text).ok_or(Wrong::Shape)?;
    whole(&number, unit_factor(&UNITS, unit)?, LENGTH_MM_MAX)
}

/// A size in whole bytes from 1 to `max`: `B`, `KiB`, `MiB`, `GiB` (1024) and `kB`, `MB`, `GB` (1000).
pub(super) fn size(text: &str, max: u64) -> Result<u64, Wrong> {
    const UNITS: [(&str, u128); 7] = [
        ("B", 1),
        ("kB", 1_000),
        ("MB", 1_000_000),
        ("GB", 1_000_000_000),
        ("KiB", 1 << 10),
        ("MiB", 1 << 20),
        ("GiB", 1 << 30),
    ];
    let (number, unit) = split(text).ok_or(Wrong::Shape)?;
    match whole(&number, unit_factor(&UNITS, unit)?, u128::from(max))? {
        0 => Err(Wrong::TooSmall),
        bytes => Ok(bytes),
    }
}

/// A number of bytes in the largest unit of 1024 that keeps it whole.
pub(super) fn written_size(bytes: u64) -> String {
    for (unit, shift) in [("GiB", 30), ("MiB", 20), ("KiB", 10)] {
        if bytes >= 1 << shift && bytes.trailing_zeros() >= shift {
            return format!("{}{unit}", bytes >> shift);
        }
    }
    format!("{bytes}B")
}

/// What a size with a unit of another habit may mean: `64K` is 64KiB or 64kB.
pub(super) fn meant_size(text: &str) -> Option<String> {
    let (number, unit) = split(text)?;
    let letter = match unit.to_ascii_lowercase().as_str() {
        "" if number.scale == 0 => {
            let bytes = format!("{text}B");
            let is_one = size(&bytes, u64::MAX).is_ok();
            return is_one.then(|| format!("did you mean \"{bytes}\"?"));
        }
        "k" | "kb" | "kib" | "ki" => 'K',
        "m" | "mb" | "mib" | "mi" => 'M',
        "g" | "gb" | "gib" | "gi" => 'G',
        _ => return None,
    };
    let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    let digits = digits.trim_end();
    let (binary, decimal) = (
        format!("{digits}{letter}iB"),
        match letter {
            'K' => format!("{digits}kB"),
            other => format!("{digits}{other}B"),
        },
    );
    let bytes = |text: &str| size(text, u64::MAX).ok();
    Some(format!(
        "did you mean \"{binary}\" ({} bytes) or \"{decimal}\" ({})?",
        bytes(&binary)?,
        bytes(&decimal)?
    ))
}

/// What a rate without its `/s` may mean.
pub(super) fn meant_io_rate(text: &str) -> Option<String> {
    let (_, unit) = split(text)?;
    let digits = text.trim_end_matches(|c: char| !c.is_ascii_digit());
    let letter = match unit
        .to_ascii_lowercase()
        .trim_end_matches("iops")
        .trim_end()
    {
        "" => "",
        "k" => "k",
        "m" => "M",
        _ => return None,
    };
    let meant = format!("{digits}{letter}/s");
    io_rate(&meant).ok()?;
    Some(format!("did you mean \"{meant}\"?"))
}

/// Slowest link: 1 Mb/s.
const LINK_RATE_MIN: u64 = 1_000_000;
/// Fastest link: 10 Tb/s.
const LINK_RATE_MAX: u128 = 10_000_000_000_000;

/// A link rate in whole bits per second, 1 Mb/s to 10 Tb/s: `kb/s`, `Mb/s`, `Gb/s`, `Tb/s`, and in bytes
/// `MB/s`, `GB/s`.
pub(super) fn link_rate(text: &str) -> Result<Rate, Wrong> {
    const UNITS: [(&str, u128); 7] = [
        ("b/s", 1),
        ("kb/s", 1_000),
        ("Mb/s", 1_000_000),
        ("Gb/s", 1_000_000_000),
        ("Tb/s", 1_000_000_000_000),
        ("MB/s", 8_000_000),
        ("GB/s", 8_000_000_000),
    ];
    let (number, unit) = split(text).ok_or(Wrong::Shape)?;
    match whole(&number, unit_factor(&UNITS, unit)?, LINK_RATE_MAX)? {
        bits if bits < LINK_RATE_MIN => Err(Wrong::TooSmall),
        bits => Ok(Rate::from_bits_per_second(bits)),
    }
}

/// Most bytes per second that may be promised: 10 TB/s.
const THROUGHPUT_MAX: u128 = 10_000_000_000_000;

/// A throughput in bytes per second, > 0: `kB/s`, `MB/s`, `GB/s`, `MiB/s`, `GiB/s`, and `Mb/s`, `Gb/s`.
pub(super) fn throughput(text: &str) -> Result<u64, Wrong> {
    const UNITS: [(&str, u128); 8] = [
        ("B/s", 1),
        ("kB/s", 1_000),
        ("MB/s", 1_000_000),
        ("GB/s", 1_000_000_000),
        ("MiB/s", 1 << 20),
        ("GiB/s", 1 << 30),
        ("Mb/s", 125_000),
        ("Gb/s", 125_000_000),
    ];
    let (number, unit) = split(text).ok_or(Wrong::Shape)?;
    match whole(&number, unit_factor(&UNITS, unit)?, THROUGHPUT_MAX)? {
        0 => Err(Wrong::TooSmall),
        bytes => Ok(bytes),
    }
}

/// Most I/Os per second of one workload: 10^9.
const IO_RATE_MAX: f64 = 1e9;

/// I/Os per second, > 0 and at most 10^9: `/s`, `k/s`, `M/s`. The nearest float.
pub(super) fn io_rate(text: &str) -> Result<f64, Wrong> {
    const UNITS: [(&str, &str); 3] = [("/s", ""), ("k/s", "e3"), ("M/s", "e6")];
    let text = text.trim_end_matches(char::is_whitespace);
    let end = text
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    decimal(number).ok_or(Wrong::Shape)?;
    let unit = unit.strip_prefix(' ').unwrap_or(unit);
    let exponent = UNITS
        .iter()
        .find(|(name, _)| *name == unit)
        .ok_or(Wrong::Shape)?
        .1;
    let rate: f64 = format!("{number}{exponent}")
        .parse()
        .map_err(|_| Wrong::Shape)?;
    match rate {
        rate if rate <= 0.0 => Err(Wrong::TooSmall),
        rate if rate > IO_RATE_MAX => Err(Wrong::TooLarge),
        rate => Ok(rate),
    }
}

/// A share of 1 written as `"70%"`. The nearest float to the exact fraction.
pub(super) fn percent(text: &str) -> Result<f64, Wrong> {
    let number = text
        .strip_suffix('%')
        .ok_or(Wrong::Shape)?
        .trim_end_matches(' ');
    decimal(number).ok_or(Wrong::Shape)?;
    let share: f64 = format!("{number}e-2").parse().map_err(|_| Wrong::Shape)?;
    if share > 1.0 {
        Err(Wrong::TooLarge)
    } else {
        Ok(share)
    }
}

/// A percentile's name: `p50`, `p99`, `p99.9` or `p99_9` (which needs no quotes as a key). Gives 0 < q < 1.
pub(super) fn percentile(key: &str) -> Option<f64> {
    let digits = key.strip_prefix('p')?.replacen('_', ".", 1);
    if digits.is_empty() || digits.len() > 8 {
        return None;
    }
    decimal(&digits)?;
    let q: f64 = format!("{digits}e-2").parse().ok()?;
    (q > 0.0 && q < 1.0).then_some(q)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_exact_to_the_picosecond() {
        assert_eq!(time("600ns"), Ok(Duration(600_000)));
        assert_eq!(time("0s"), Ok(Duration::ZERO));
        assert_eq!(time("15m"), Ok(Duration::from_secs(900)));
        assert_eq!(time("0.1us"), Ok(Duration(100_000)));
        assert_eq!(time("1.000000000001s"), Ok(Duration(1_000_000_000_001)));
        assert_eq!(time("2 s"), Ok(Duration::from_secs(2)));
        assert_eq!(time("24h"), Ok(TIME_MAX));
        assert_eq!(time("0.5ps"), Err(Wrong::TooFine));
        assert_eq!(time("25h"), Err(Wrong::TooLarge));
        assert_eq!(time("-1s"), Err(Wrong::Shape));
        assert_eq!(time("1e3s"), Err(Wrong::Shape));
        assert_eq!(time("5"), Err(Wrong::Shape));
        assert_eq!(time("9999999999999999999999999999999h"), Err(Wrong::Shape));
        assert_eq!(time("999999999999999999999999h"), Err(Wrong::TooLarge));
    }

    #[test]
    fn sizes_lengths_and_rates_are_exact() {
        assert_eq!(size("8KiB", 1 << 30), Ok(8192));
        assert_eq!(size("4kB", 1 << 30), Ok(4000));
        assert_eq!(size("0.5KiB", 1 << 30), Ok(512));
        assert_eq!(size("0B", 1 << 30), Err(Wrong::TooSmall));
        assert_eq!(size("1.5B", 1 << 30), Err(Wrong::TooFine));
        assert_eq!(size("2GiB", 1 << 30), Err(Wrong::TooLarge));
        assert_eq!(size("8KB", 1 << 30), Err(Wrong::Shape));
        assert_eq!(length_mm("2km"), Ok(2_000_000));
        assert_eq!(length_mm("0m"), Ok(0));
        assert_eq!(
            link_rate("27.2Gb/s"),
            Ok(Rate::from_bits_per_second(27_200_000_000))
        );
        assert_eq!(
            link_rate("1.5GB/s"),
            Ok(Rate::from_bits_per_second(12_000_000_000))
        );
        assert_eq!(link_rate("0Gb/s"), Err(Wrong::TooSmall));
        assert_eq!(throughput("1.5GB/s"), Ok(1_500_000_000));
    }

    #[test]
    fn shares_and_io_rates_are_the_nearest_float() {
        assert_eq!(percent("70%"), Ok(0.7));
        assert_eq!(percent("99.9%"), Ok(0.999));
        assert_eq!(percent("101%"), Err(Wrong::TooLarge));
        assert_eq!(io_rate("120k/s"), Ok(120_000.0));
        assert_eq!(io_rate("1.2M/s"), Ok(1_200_000.0));
        assert_eq!(io_rate("0/s"), Err(Wrong::TooSmall));
        assert_eq!(io_rate("2G/s"), Err(Wrong::Shape));
        assert_eq!(percentile("p99"), Some(0.99));
        assert_eq!(percentile("p99_9"), Some(0.999));
        assert_eq!(percentile("p99.9"), Some(0.999));
        assert_eq!(percentile("p100"), None);
        assert_eq!(percentile("p0"), None);
        assert_eq!(percentile("mean"), None);
    }
}
