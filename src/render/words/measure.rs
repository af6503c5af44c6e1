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

/// `at most 2 ms`, `at least 1.5 GB/s`, `none`; where another target holds in some of the `cases` of the matrix, that
/// too: `at most 2 ms; lost 3 ms`.
#[must_use]
pub fn target_words(row: &Row, cases: &[Case]) -> String {
    let stated = || {
        let cells = row.cells.iter().zip(cases);
        cells.filter_map(|(cell, case)| Some((cell.as_ref()?, case)))
    };
    let mut targets: Vec<&Cell> = Vec::new();
    for (cell, _) in stated() {
        if !targets
            .iter()
            .any(|known| known.target_text == cell.target_text)
        {
            targets.push(cell);
        }
    }
    let Some((first, others)) = targets.split_first() else {
        return String::new();
    };
    let mut out = target_of(row.measure, first);
    for other in others {
        let has = |cell: &Cell| cell.target_text == other.target_text;
        let every_loss = stated().all(|(cell, case)| has(cell) == case.outage.is_some());
        let where_so = if every_loss {
            "lost".to_owned()
        } else {
            let names = stated().filter(|(cell, _)| has(cell));
            names
                .map(|(_, case)| case.name.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        };
        out.push_str(&format!("; {where_so} {}", as_written(&other.target_text)));
    }
    out
}

/// The same for one cell, as promises may differ between cases.
#[must_use]
pub fn target_of(measure: MeasureKind, cell: &Cell) -> String {
    let written = as_written(&cell.target_text);
    match measure {
        MeasureKind::Failed if cell.target == 0.0 => "0".to_owned(),
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
    let unit = unit.unwrap_or("");
    let all = Scale::of(unit, values);
    // That of the promise, unless every figure would drown in zeros: one small figure does not turn 12 s into 12 100 ms.
    let targets = row.cells.iter().flatten().map(|cell| cell.target);
    let written = Scale::of(unit, targets);
    let own = row.cells.iter().flatten();
    let own = own.flat_map(|cell| [cell.value.map(|figure| figure.value), cell.beyond]);
    let most = own.flatten().fold(0.0, f64::max);
    if most >= 0.01 * written.divisor && written.divisor > all.divisor {
        written
    } else {
        all
    }
}

/// The unit of one judgement that is told by itself: that in which its promise is written, unless its figure would drown in zeros.
#[must_use]
pub fn cell_scale(cell: &Cell) -> Scale {
    let own = [cell.value.map(|figure| figure.value), cell.beyond];
    let of = |value: f64| Scale::of(cell.unit, [value]);
    let written = of(cell.target);
    let most = own.into_iter().flatten().fold(0.0, f64::max);
    if most >= 0.01 * written.divisor {
        written
    } else {
        Scale::of(cell.unit, [most, cell.target])
    }
}

/// Case names in a word for plain text: who carries (`B carries`), or nothing.
#[must_use]
pub fn case_mark(case: &Case) -> String {
    case.carries
        .map_or_else(String::new, |side| format!("{side} carries"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    #[test]
    fn another_target_of_the_lost_cases_is_said() {
        let report = sample_report();
        let (mut row, cases) = (report.matrix.rows[0].clone(), &report.matrix.cases);
        assert_eq!(cases.len(), 3);
        let mut set = |targets: [&str; 3]| {
            for (cell, target) in row.cells.iter_mut().zip(targets) {
                cell.as_mut().expect("promised in each").target_text = target.to_owned();
            }
            target_words(&row, cases)
        };
        assert_eq!(set(["2ms"; 3]), "at most 2\u{202F}ms");
        assert_eq!(
            set(["2ms", "3ms", "3ms"]),
            "at most 2\u{202F}ms; lost 3\u{202F}ms"
        );
        assert_eq!(
            set(["2ms", "2ms", "3ms"]),
            format!("at most 2\u{202F}ms; {} 3\u{202F}ms", cases[2].name)
        );
    }

    /// One small figure of a row of seconds does not make 12.1 s into 12 100 ms, and small ones alone keep their own unit.
    #[test]
    fn a_row_is_told_in_the_unit_of_its_promise() {
        let report = sample_report();
        let mut row = report.matrix.rows[0].clone();
        let mut of = |values: [f64; 3]| {
            for (cell, value) in row.cells.iter_mut().zip(values) {
                let cell = cell.as_mut().expect("promised in each");
                (cell.unit, cell.target, cell.beyond) = ("s", 10.0, None);
                cell.value = Some(crate::outcome::Estimated {
                    value,
                    low: None,
                    high: None,
                });
            }
            row_scale(&row).unit
        };
        assert_eq!(of([12.1, 12.1, 0.000_44]), "s");
        assert_eq!(of([0.000_331; 3]), "ms");
    }

    /// A judgement told by itself is in the unit of its promise, and a figure just beyond its limit does not look like it.
    #[test]
    fn a_judgement_is_told_in_the_unit_of_its_promise() {
        let report = sample_report();
        let mut cell = report.matrix.rows[0].cells[0]
            .clone()
            .expect("it is judged");
        (cell.unit, cell.target, cell.beyond) = ("s", 15.0, None);
        let mut of = |value: f64| {
            cell.value = Some(crate::outcome::Estimated {
                value,
                low: None,
                high: None,
            });
            let scale = cell_scale(&cell);
            (scale.unit, scale.apart(value, cell.target))
        };
        assert_eq!(of(30.0), ("s", "30.0".to_owned()));
        assert_eq!(of(15.0138), ("s", "15.01".to_owned()));
        assert_eq!(of(15.0), ("s", "15.0".to_owned()));
        assert_eq!(of(0.000_8), ("ms", "0.800".to_owned()));
    }
}
