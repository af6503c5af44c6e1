//! What closed forms say, beside what was simulated.

use super::align::{Aligned, wrapped};
use crate::outcome::{TheoryRow, Trust};
use crate::render::number::{NONE, three};

/// How a figure from theory is to be read.
const fn trust_word(trust: Trust) -> &'static str {
    match trust {
        Trust::Exact => "exact",
        Trust::Approximation => "near",
        Trust::AtMost => "at most",
        Trust::AtLeast => "at least",
    }
}

/// A time under a millisecond stays in the unit it has; the unit stands with the figure's name.
fn figure(row: &TheoryRow) -> String {
    format!("{}, {}", row.figure, row.unit)
}

/// A figure; one so small that it is nothing is not written out with all its zeros.
fn small(value: f64) -> String {
    if value > 0.0 && value < 1e-6 {
        "under 0.000001".to_owned()
    } else {
        three(value)
    }
}

/// The table and its assumptions; nothing where no form applies.
pub(super) fn theory_text(rows: &[TheoryRow], with_simulated: bool) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut heads = vec!["case", "part", "figure", "", ">theory"];
    if with_simulated {
        heads.push(">simulated");
    }
    heads.push("by");
    let mut table = Aligned::new(&heads);
    for row in rows {
        let mut cells = vec![
            row.case.clone(),
            row.part.clone(),
            figure(row),
            trust_word(row.trust).to_owned(),
            small(row.value),
        ];
        if with_simulated {
            cells.push(row.simulated.map_or_else(|| NONE.to_owned(), three));
        }
        cells.push(row.by.to_owned());
        table.row(cells);
    }
    let mut out = table.text("What closed forms say (the fullest part of each kind)");
    // The table ends with an empty line; its assumptions belong to it.
    out.truncate(out.trim_end().len());
    out.push('\n');
    let mut said: Vec<&str> = Vec::new();
    for row in rows {
        if !said.contains(&row.by) {
            said.push(row.by);
            let line = wrapped(&format!("{} assumes: {}.", row.by, row.assumes), 92);
            out.push_str("  ");
            out.push_str(&line.trim_end().replace('\n', "\n    "));
            out.push('\n');
        }
    }
    out.push('\n');
    out
}
