//! Names of promises, targets and cases.

use crate::outcome::{Case, Cell, MeasureKind, Row};
use crate::render::number::{Scale, as_written};

/// `p99`, `p99.9`, `mean`, `throughput`, `longest I/O`, `I/Os failed`.
#[must_use]
pub fn measure_name(measure: MeasureKind) -> String {
    match measure {
        MeasureKind::Mean => "mean".to_owned(),
        MeasureKind::Quantile(q) => {
            let percent = format!("{:.4}", q * 100.0);
            format!("p{}", percent.trim_end_matches('0').trim_end_matches('.'))
        }
        MeasureKind::Throughput => "throughput".to_owned(),
        MeasureKind::LongestIo => "longest I/O".to_owned(),
        MeasureKind::Failed => "I/Os failed".to_owned(),
    }
}

/// How rare a request beyond the percentile is: `one request in a hundred takes`.
pub(super) fn who_waits(q: f64) -> String {
    let one_in = 1.0 / (1.0 - q);
    let words = [
        (2.0, "every second request takes"),
        (10.0, "one request in ten takes"),
        (20.0, "one request in twenty takes"),
        (100.0, "one request in a hundred takes"),
        (1000.0, "one request in a thousand takes"),
        (10_000.0, "one request in ten thousand takes"),
    ];
    words
        .iter()
        .find(|(count, _)| (one_in / count - 1.0).abs() < 1e-6)
        .map_or_else(
            || {
                let share = format!("{:.4}", (1.0 - q) * 100.0);
                let share = share.trim_end_matches('0').trim_end_matches('.');
                format!("{share}\u{202F}% of the requests take")
            },
            |(_, words)| (*words).to_owned(),
        )
}

/// `at most 2 ms`, `at least 1.5 GB/s`, `none`.
#[must_use]
pub fn target_words(row: &Row) -> String {
    let Some(cell) = row.cells.iter().flatten().next() else {
        return String::new();
    };
    target_of(row.measure, cell)
}

/// The same for one cell, as promises may differ between cases.
#[must_use]
pub fn target_of(measure: MeasureKind, cell: &Cell) -> String {
    let written = as_written(&cell.target_text);
    match measure {
        MeasureKind::Failed if cell.target == 0.0 => "none".to_owned(),
        MeasureKind::Throughput => format!("at least {written}"),
        _ => format!("at most {written}"),
    }
}

/// One unit for a whole row: figures, intervals and targets of all its cases.
#[must_use]
pub fn row_scale(row: &Row) -> Scale {
    let unit = row.cells.iter().flatten().map(|cell| cell.unit).next();
    let values = row.cells.iter().flatten().flat_map(|cell| {
        [
            cell.value.map(|figure| figure.value),
            cell.beyond,
            Some(cell.target),
        ]
        .into_iter()
        .flatten()
    });
    Scale::of(unit.unwrap_or(""), values)
}

/// Case names in a word for plain text: who carries (`B carries`), or nothing.
#[must_use]
pub fn case_mark(case: &Case) -> String {
    case.carries
        .map_or_else(String::new, |side| format!("{side} carries"))
}
