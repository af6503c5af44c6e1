//! Words for what closed forms say.

use crate::outcome::{Estimated, TheoryRow, Trust};
use crate::render::number::{Scale, three};

/// How a figure from theory is to be read: before the figure; empty for the figure itself.
#[must_use]
pub const fn trust_words(trust: Trust) -> &'static str {
    match trust {
        Trust::Exact => "",
        Trust::Approximation => "about",
        Trust::AtMost => "at most",
        Trust::AtLeast => "at least",
    }
}

/// The figure's name with its unit: `mean wait, µs`.
#[must_use]
pub fn theory_figure(row: &TheoryRow) -> String {
    let unit = match row.unit {
        "us" => "µs",
        "IOPS" => "I/Os per s",
        other => other,
    };
    format!("{}, {unit}", row.figure)
}

/// The figure from theory; one so small that it is nothing is not written out with all its zeros.
#[must_use]
pub fn theory_value(row: &TheoryRow) -> String {
    if row.value > 0.0 && row.value < 1e-6 {
        "under 0.000001".to_owned()
    } else {
        three(row.value)
    }
}

/// The simulated figure and its interval, empty where it has none; `None` where nothing was simulated.
#[must_use]
pub fn theory_simulated(row: &TheoryRow) -> Option<(String, String)> {
    let value = row.simulated?;
    let figure = Estimated {
        value,
        low: row.simulated_low,
        high: row.simulated_high,
    };
    Some(match Scale::PLAIN.figure(&figure) {
        (value, Some(ends)) => (value, ends),
        (_, None) => (three(value), String::new()),
    })
}

/// A figure and its interval on one line.
#[must_use]
pub fn theory_simulated_line(row: &TheoryRow) -> Option<String> {
    let (value, ends) = theory_simulated(row)?;
    Some(if ends.is_empty() {
        value
    } else {
        format!("{value} ({ends})")
    })
}
