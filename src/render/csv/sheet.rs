//! The work sheet of an acceptance test, one row an expectation.

use super::{maybe, names, to_text};
use crate::render::sheet::{Sheet, SheetLine};

/// One row for each expectation; `measured` and `good` are empty, for whoever tests.
#[must_use]
pub fn sheet_csv(sheet: &Sheet) -> String {
    let header = names(&[
        "step",
        "case",
        "when",
        "what",
        "expected_low",
        "expected_high",
        "unit",
        "expected_words",
        "promised",
        "measured",
        "good",
    ]);
    let row = |step: usize, case: &str, line: &SheetLine| {
        vec![
            step.to_string(),
            case.to_owned(),
            line.when.to_owned(),
            line.what.clone(),
            maybe(line.low),
            maybe(line.high),
            line.unit.clone(),
            line.words.clone(),
            line.promised.clone(),
            String::new(),
            String::new(),
        ]
    };
    let mut rows: Vec<Vec<String>> = sheet
        .before
        .iter()
        .map(|line| row(0, "healthy", line))
        .collect();
    for (index, step) in sheet.cases.iter().enumerate() {
        rows.extend(
            step.lines
                .iter()
                .map(|line| row(index + 1, &step.case.name, line)),
        );
    }
    to_text(&header, rows)
}
