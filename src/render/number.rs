//! Numbers as people read them: one rounding, one grouping and one unit a column, for every table, page and
//! sentence, so that the same figure never shows as 119.3 here and 120 there.
//!
//! Tables show three significant digits, sentences two, and neither more than the interval supports.
//! Thousands and units are set off by a narrow no-break space, minus is the true minus. Left out: the files
//! for machines (JSON and CSV), which carry every digit.

use crate::outcome::Estimated;

/// Narrow no-break space: between thousands, and between a number and its unit.
pub const THIN: char = '\u{202F}';
/// The true minus sign.
pub const MINUS: char = '\u{2212}';
/// Shown instead of an interval that says nothing.
pub const TOO_FEW: &str = "too few runs";
/// Shown where there is no number.
pub const NONE: &str = "–";

/// Shown where a limit ended every run within its warm-up.
pub const UNMEASURED: &str = "not measured";

/// Shown instead of a mean of which some I/Os were not over when the run ended: nobody knows it.
pub const UNFINISHED: &str = "unfinished";

/// Ten to the power `exponent`, exactly rounded on every machine (`powi` is not).
fn ten(exponent: i32) -> f64 {
    format!("1e{exponent}").parse().unwrap_or(1.0)
}

/// Decimal exponent of `value` once rounded to `digits` significant digits: 999.6 to three digits is 3.
fn exponent(value: f64, digits: i32) -> i32 {
    let digits = usize::try_from(digits - 1).unwrap_or(0);
    let text = format!("{value:.digits$e}");
    text.split_once('e')
        .and_then(|(_, exponent)| exponent.parse().ok())
        .unwrap_or(0)
}

/// `value` rounded so that its last digit stands for 10^`place`; [`NONE`] when it is not finite.
#[must_use]
pub fn at_place(value: f64, place: i32) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    let decimals = usize::try_from(-place).unwrap_or(0);
    if place > 0 {
        // Dividing by an exact power keeps halves halves; the product is a whole number again.
        let step = ten(place);
        return group(&format!("{:.0}", (value / step).round() * step));
    }
    group(&format!("{value:.decimals$}"))
}

/// Sets thousands apart and writes the true minus; minus zero becomes zero.
fn group(plain: &str) -> String {
    let (negative, digits) = match plain.strip_prefix('-') {
        Some(digits) => (digits.bytes().any(|b| (b'1'..=b'9').contains(&b)), digits),
        None => (false, plain),
    };
    let (whole, rest) = digits.split_at(digits.find('.').unwrap_or(digits.len()));
    let mut out = String::with_capacity(plain.len() + 8);
    if negative {
        out.push(MINUS);
    }
    for (index, digit) in whole.chars().enumerate() {
        if index > 0 && (whole.len() - index).is_multiple_of(3) {
            out.push(THIN);
        }
        out.push(digit);
    }
    out.push_str(rest);
    out
}

/// `value` to so many significant digits.
#[must_use]
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    at_place(value, exponent(value, digits) + 1 - digits)
}

/// Three significant digits: tables and charts.
#[must_use]
pub fn three(value: f64) -> String {
    significant(value, 3)
}

/// A price with all its digits, so that prices add up as they stand: as many decimals as it has, six at most.
#[must_use]
pub fn price(value: f64) -> String {
    let exact = |decimals: &i32| {
        let scaled = value * ten(*decimals);
        (scaled - scaled.round()).abs() <= 1e-9 * scaled.abs().max(1.0)
    };
    let decimals = (0..6).find(exact).unwrap_or(6);
    at_place(value, -decimals)
}

/// Three significant digits of something that is proven to hold up to there: never above it.
#[must_use]
pub fn three_down(value: f64) -> String {
    three(toward(value, 3, f64::floor))
}

/// Three significant digits of something that is proven to be broken from there on: never below it.
#[must_use]
pub fn three_up(value: f64) -> String {
    three(toward(value, 3, f64::ceil))
}

/// `value` rounded at so many significant digits, one that only lost a bit on the way left as it is.
fn toward(value: f64, digits: i32, round: fn(f64) -> f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let step = ten(exponent(value, 15) + 1 - digits);
    let steps = value / step;
    let near = steps.round();
    let whole = if (steps - near).abs() < 1e-9 * near.abs() {
        near
    } else {
        round(steps)
    };
    whole * step
}

/// Two significant digits, whole numbers below a hundred whole: sentences.
#[must_use]
pub fn two(value: f64) -> String {
    let text = significant(value, 2);
    // "2.0 ms" in a sentence claims no more than "2 ms", and reads worse.
    match text.strip_suffix(".0") {
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

/// [`two`], rounded down.
#[must_use]
pub fn two_down(value: f64) -> String {
    two(toward(value, 2, f64::floor))
}

/// A per cent figure of a sentence: whole, without the sign; one decimal below 1.
#[must_use]
pub fn whole_percent(value: f64) -> String {
    let place = if value.abs() < 1.0 && value != 0.0 {
        -1
    } else {
        0
    };
    at_place(value, place)
}

/// A margin: two significant digits, at most one decimal, with its sign and unit, `+7.3 %`.
#[must_use]
pub fn margin(percent: f64) -> String {
    if !percent.is_finite() {
        return NONE.to_owned();
    }
    let place = (exponent(percent, 2) - 1).max(-1);
    let text = at_place(percent, place);
    let sign = if percent > 0.0 { "+" } else { "" };
    format!("{sign}{text}{THIN}%")
}

/// Whether a part is asked for more than it has, by more than rounding to whole per cent hides: work that
/// takes just what there is comes out at 100 and a little.
#[must_use]
pub fn is_over(percent: f64) -> bool {
    percent >= 100.5
}

/// A whole count with its thousands set apart.
#[must_use]
pub fn count(value: u64) -> String {
    group(&value.to_string())
}

/// A large count for people: `65.2 million`, `1.48 billion`, exact below ten thousand.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn about(value: u64) -> String {
    match value {
        0..=9_999 => count(value),
        10_000..=999_999 => three(value as f64),
        1_000_000..=999_999_999 => format!("{}{THIN}million", three(value as f64 / 1e6)),
        _ => format!("{}{THIN}billion", three(value as f64 / 1e9)),
    }
}

/// A number and its unit; an empty unit leaves the number alone.
#[must_use]
pub fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() {
        number.to_owned()
    } else {
        format!("{number}{THIN}{unit}")
    }
}

/// A quantity as the user wrote it, with its unit set off: `2ms` as `2 ms`, `400us` as `400 µs`. Anything
/// else stays as it is.
#[must_use]
pub fn as_written(text: &str) -> String {
    let text = text.trim();
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '_'))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let plain = unit
        .chars()
        .all(|c| c.is_ascii_alphabetic() || c == '/' || c == '%');
    if number.is_empty() || unit.is_empty() || !plain {
        return text.to_owned();
    }
    with_unit(number, if unit == "us" { "µs" } else { unit })
}

/// The unit of a whole column, and what to divide its figures by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// `µs`, `ms`, `s`, `MB/s`, `GB/s`, or empty.
    pub unit: &'static str,
    /// Figures are divided by this.
    pub divisor: f64,
}

impl Scale {
    /// No unit.
    pub const PLAIN: Self = Self {
        unit: "",
        divisor: 1.0,
    };
    /// Microseconds as they are.
    pub const US: Self = Self {
        unit: "µs",
        divisor: 1.0,
    };

    /// The unit for a column of microseconds: the largest decides, unless the smallest would then drown in
    /// zeros.
    #[must_use]
    pub fn of_us(values: impl IntoIterator<Item = f64>) -> Self {
        let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
        for value in values.into_iter().filter(|v| v.is_finite() && *v > 0.0) {
            least = least.min(value);
            most = most.max(value);
        }
        let fits = |divisor: f64| most >= divisor && least >= 0.01 * divisor;
        match () {
            () if fits(1e6) => Self {
                unit: "s",
                divisor: 1e6,
            },
            () if fits(1e3) || most >= 1e6 => Self {
                unit: "ms",
                divisor: 1e3,
            },
            () => Self::US,
        }
    }

    /// The unit for figures that come in `unit` (`us`, `s`, `MB/s` or none), as a promise's do.
    #[must_use]
    pub fn of(unit: &str, values: impl IntoIterator<Item = f64>) -> Self {
        match unit {
            "us" => Self::of_us(values),
            "s" => {
                let in_us = Self::of_us(values.into_iter().map(|v| v * 1e6));
                Self {
                    divisor: in_us.divisor / 1e6,
                    ..in_us
                }
            }
            "MB/s" => {
                let most = values.into_iter().fold(0.0, f64::max);
                let giga = most >= 1000.0;
                Self {
                    unit: if giga { "GB/s" } else { "MB/s" },
                    divisor: if giga { 1000.0 } else { 1.0 },
                }
            }
            _ => Self::PLAIN,
        }
    }

    /// A whole number without a unit counts something: exact up to a million.
    fn counted(self, value: f64) -> Option<String> {
        let counts = self.unit.is_empty() && value.fract() == 0.0 && value.abs() < 1e6;
        counts.then(|| at_place(value, 0))
    }

    /// Three significant digits in this unit, without it; counts exactly.
    #[must_use]
    pub fn three(self, value: f64) -> String {
        self.counted(value)
            .unwrap_or_else(|| three(value / self.divisor))
    }

    /// Two significant digits and the unit, whole seconds from a hundred on, as timers of minutes add up to them; counts exactly.
    #[must_use]
    pub fn two(self, value: f64) -> String {
        let figure = value / self.divisor;
        let number = || match self.unit {
            "s" if figure >= 100.0 => at_place(figure, 0),
            _ => two(figure),
        };
        self.counted(value)
            .unwrap_or_else(|| with_unit(&number(), self.unit))
    }

    /// Three significant digits, and as many more as it takes to tell a figure from its limit, where they are not the same.
    #[must_use]
    pub fn apart(self, value: f64, limit: f64) -> String {
        if self.counted(value).is_some() || value == limit {
            return self.three(value);
        }
        let shown = |value: f64, digits: i32| significant(value / self.divisor, digits);
        let mut digits = 3..9;
        let enough = digits.find(|digits| shown(value, *digits) != shown(limit, *digits));
        shown(value, enough.unwrap_or(9))
    }

    /// The figure and, where there is one, its interval, all to the same place: at most three significant
    /// digits, and at most one digit more than the first that the interval leaves open. No interval where
    /// it is too wide to say anything.
    #[must_use]
    pub fn figure(self, figure: &Estimated) -> (String, Option<String>) {
        let value = figure.value / self.divisor;
        let Some((low, high)) = figure.ends() else {
            return (self.three(figure.value), None);
        };
        let (low, high) = (low / self.divisor, high / self.divisor);
        let place = supported_place(value, (high - low) / 2.0);
        let ends = format!("{} to {}", at_place(low, place), at_place(high, place));
        (at_place(value, place), Some(ends))
    }

    /// A difference with its interval, which may hold 0 and is printed however wide it is.
    #[must_use]
    pub fn difference(self, figure: &Estimated) -> String {
        let value = figure.value / self.divisor;
        let Some((low, high)) = figure.low.zip(figure.high) else {
            return three(value);
        };
        let (low, high) = (low / self.divisor, high / self.divisor);
        let half = (high - low) / 2.0;
        // Around 0 the interval, not the value, says which digits there are.
        let larger = if value.abs() > half { value } else { half };
        let place = supported_place(larger, half);
        let show = |figure: f64| at_place(figure, place);
        format!("{} ({} to {})", show(value), show(low), show(high))
    }
}

/// The place of the last digit worth showing: the third of `value`, unless `half`, half the width of its
/// interval, already leaves an earlier one open; one digit beyond the first open one is kept, and at least
/// one digit of the value.
fn supported_place(value: f64, half: f64) -> i32 {
    if value == 0.0 || !value.is_finite() {
        return 0;
    }
    let third = exponent(value, 3) - 2;
    if half <= 0.0 || !half.is_finite() {
        return third;
    }
    third.max(exponent(half, 1) - 1).min(exponent(value, 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(text: &str) -> String {
        text.replace(THIN, " ")
    }

    #[test]
    fn sentences_tell_long_times_to_the_second() {
        for (seconds, text) in [
            (105.3, "105 s"),
            (1234.0, "1 234 s"),
            (13.6, "14 s"),
            (0.0136, "14 ms"),
        ] {
            assert_eq!(plain(&Scale::of("s", [seconds]).two(seconds)), text);
        }
    }

    #[test]
    fn prices_keep_the_digits_by_which_they_add_up() {
        let all = [12_345.0, 100_000.0, 0.5, 1234.25, 0.1 + 0.2];
        let shown = all.map(|value| plain(&price(value)));
        assert_eq!(shown, ["12 345", "100 000", "0.5", "1 234.25", "0.3"]);
        assert_eq!(plain(&price(0.0)), "0");
    }

    #[test]
    fn what_is_proven_is_rounded_to_the_safe_side() {
        for (value, down, up) in [
            (18.749, "18.7", "18.8"),
            (0.8129, "0.812", "0.813"),
            (9.996, "9.99", "10.0"),
            (1.5, "1.50", "1.50"),
            (0.1 + 0.2, "0.300", "0.300"),
            (0.0, "0", "0"),
            (1234.5, "1\u{202F}230", "1\u{202F}240"),
        ] {
            assert_eq!(
                (three_down(value).as_str(), three_up(value).as_str()),
                (down, up)
            );
        }
    }

    #[test]
    fn significant_digits_carry_over() {
        for (value, text) in [
            (0.0, "0"),
            (0.7184, "0.718"),
            (14.02, "14.0"),
            (999.6, "1 000"),
            (9.996, "10.0"),
            (14_020.0, "14 000"),
            (1_573_000.0, "1 570 000"),
            (-600.4, "−600"),
            (0.000_118, "0.000118"),
        ] {
            assert_eq!(plain(&three(value)), text);
        }
        assert_eq!(three(f64::NAN), NONE);
        assert_eq!(three(f64::INFINITY), NONE);
    }

    #[test]
    fn sentences_take_two_digits_and_drop_an_empty_decimal() {
        assert_eq!(two(14.02), "14");
        assert_eq!(two(2.0), "2");
        assert_eq!(two(0.717), "0.72");
        assert_eq!(two(5.112), "5.1");
        assert_eq!(whole_percent(119.3), "119");
        assert_eq!(whole_percent(0.34), "0.3");
    }

    #[test]
    fn how_far_something_grows_is_never_rounded_up() {
        for (value, digits_three, digits_two) in [
            (1.58, "1.58", "1.5"),
            (1.579, "1.57", "1.5"),
            (0.8388, "0.838", "0.83"),
            (0.999_9, "0.999", "0.99"),
            (2.0, "2.00", "2"),
            (85.59, "85.5", "85"),
            (1234.0, "1 230", "1 200"),
            // 100 ÷ 80 and its like are what they are.
            (1.25, "1.25", "1.2"),
            (1.1, "1.10", "1.1"),
            (0.0, "0", "0"),
        ] {
            assert_eq!(plain(&three_down(value)), digits_three, "{value}");
            assert_eq!(plain(&two_down(value)), digits_two, "{value}");
        }
        assert_eq!(three_down(f64::INFINITY), NONE);
    }

    #[test]
    fn minus_zero_is_zero() {
        assert_eq!(at_place(-0.2, 0), "0");
        assert_eq!(at_place(-0.04, -1), "0.0");
    }

    #[test]
    fn margins_carry_their_sign() {
        assert_eq!(plain(&margin(64.1)), "+64 %");
        assert_eq!(plain(&margin(-601.0)), "−600 %");
        assert_eq!(plain(&margin(0.72)), "+0.7 %");
        assert_eq!(plain(&margin(7.31)), "+7.3 %");
        assert_eq!(plain(&margin(0.0)), "0.0 %");
    }

    #[test]
    fn a_column_has_one_unit() {
        assert_eq!(Scale::of_us([262.0, 400.0]).unit, "µs");
        assert_eq!(Scale::of_us([718.0, 14_020.0]).unit, "ms");
        assert_eq!(Scale::of_us([5.1e6, 20e6]).unit, "s");
        assert_eq!(Scale::of_us([180.0, 5.1e6]).unit, "ms");
        assert_eq!(Scale::of("s", [5.1, 20.0]).unit, "s");
        assert_eq!(Scale::of("s", [0.005, 0.1]).unit, "ms");
        assert_eq!(Scale::of("MB/s", [1573.0]).three(1573.0), "1.57");
    }

    #[test]
    fn the_interval_limits_the_digits() {
        let figure = |value, half| Estimated {
            value,
            low: Some(value - half),
            high: Some(value + half),
        };
        let show = |value, half| Scale::US.figure(&figure(value, half));
        assert_eq!(show(0.718, 0.0175).0, "0.718");
        assert_eq!(show(718.0, 150.0).0, "720");
        assert_eq!(
            show(14.02, 0.41),
            ("14.0".to_owned(), Some("13.6 to 14.4".to_owned()))
        );
        assert_eq!(show(5.0, 80.0), ("5.00".to_owned(), None));
        assert_eq!(show(260.0, 259.0).1.as_deref(), Some("0 to 520"));
        assert_eq!(show(260.0, 260.0).1, None);
        assert_eq!(show(123.456, 0.0).0, "123");
    }

    #[test]
    fn written_quantities_keep_their_digits() {
        assert_eq!(plain(&as_written("2ms")), "2 ms");
        assert_eq!(plain(&as_written("400us")), "400 µs");
        assert_eq!(plain(&as_written("1.50GB/s")), "1.50 GB/s");
        assert_eq!(as_written("0"), "0");
        assert_eq!(as_written("<b>"), "<b>");
    }

    #[test]
    fn large_counts_get_words() {
        assert_eq!(plain(&about(1536)), "1 536");
        assert_eq!(plain(&about(65_200_000)), "65.2 million");
        assert_eq!(plain(&about(1_480_000_000)), "1.48 billion");
    }
}
