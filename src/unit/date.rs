//! Days of the calendar.

use std::fmt::{self, Display, Formatter};

/// A day of the proleptic Gregorian calendar, years 0 to 9999, as days since 0000-03-01.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date(i64);

/// Mean length of a year of that calendar, days.
const YEAR: f64 = 365.2425;

impl Date {
    /// Reads `2027-03-31`; `None` for what is no day.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let mut next = |digits: usize| {
            let part = parts.next()?;
            let plain = part.len() == digits && part.bytes().all(|b| b.is_ascii_digit());
            part.parse::<i64>().ok().filter(|_| plain)
        };
        let (year, month, day) = (next(4)?, next(2)?, next(2)?);
        if parts.next().is_some() || !(1..=12).contains(&month) || day < 1 {
            return None;
        }
        let date = Self::of(year, month, day);
        // A day that the month does not have comes back as another one.
        (date.parts() == (year, month, day)).then_some(date)
    }

    /// Days since 0000-03-01, so that leap days come last in their year (a usual way of counting).
    const fn of(year: i64, month: i64, day: i64) -> Self {
        let year = if month > 2 { year } else { year - 1 };
        let leaps = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
        Self(365 * year + leaps + (153 * ((month + 9) % 12) + 2) / 5 + day - 1)
    }

    fn parts(self) -> (i64, i64, i64) {
        let era = self.0.div_euclid(146_097);
        let day = self.0.rem_euclid(146_097);
        let year = (day - day / 1460 + day / 36_524 - day / 146_096) / 365;
        let of_year = day - (365 * year + year / 4 - year / 100);
        let month = (5 * of_year + 2) / 153;
        let in_month = of_year - (153 * month + 2) / 5 + 1;
        let (month, more) = if month < 10 {
            (month + 3, 0)
        } else {
            (month - 9, 1)
        };
        (year + era * 400 + more, month, in_month)
    }

    /// Days since 0000-03-01.
    #[must_use]
    pub const fn days(self) -> i64 {
        self.0
    }

    /// The day so many years on, a fraction counting as days; from the year 0 to the year 9999.
    #[must_use]
    #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)]
    pub fn after_years(self, years: f64) -> Self {
        let days = self.0 as f64 + years * YEAR;
        Self((days.floor() as i64).clamp(0, Self::of(9999, 12, 31).0))
    }

    /// The same, rounded up to a whole day.
    #[must_use]
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
    pub fn by_years(self, years: f64) -> Self {
        let days = self.0 as f64 + years * YEAR;
        Self((days.ceil() as i64).clamp(0, Self::of(9999, 12, 31).0))
    }

    /// Years from this day to another, negative when that is earlier.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn years_to(self, other: Self) -> f64 {
        (other.0 - self.0) as f64 / YEAR
    }
}

impl Display for Date {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.parts();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_come_back_as_they_went_in_and_follow_each_other() {
        let mut day = Date::parse("1999-12-31").unwrap();
        for _ in 0..800 {
            let text = day.to_string();
            assert_eq!(Date::parse(&text), Some(day), "{text}");
            day = Date(day.0 + 1);
        }
        assert_eq!(day.to_string(), "2002-03-10");
        for wrong in [
            "2027-02-29",
            "2100-02-29",
            "2027-13-01",
            "2027-1-1",
            "27-01-01",
            "2027-04-31",
            "",
            "2027-01-01-01",
        ] {
            assert_eq!(Date::parse(wrong), None, "{wrong}");
        }
        assert!(Date::parse("2000-02-29").is_some() && Date::parse("2028-02-29").is_some());
    }

    #[test]
    fn years_are_mean_years() {
        let from = Date::parse("2027-01-01").unwrap();
        assert_eq!(from.after_years(1.0).to_string(), "2028-01-01");
        assert_eq!(from.after_years(400.0).to_string(), "2427-01-01");
        assert_eq!(from.after_years(0.5).to_string(), "2027-07-02");
        assert!((from.years_to(from.after_years(3.0)) - 3.0).abs() < 0.003);
        assert_eq!(from.by_years(0.5).to_string(), "2027-07-03");
        assert_eq!(from.by_years(0.0).to_string(), "2027-01-01");
        assert_eq!(from.after_years(1e12).to_string(), "9999-12-31");
    }
}
