//! What closed forms say, beside what was simulated.

use super::align::{Aligned, wrapped};
use crate::outcome::TheoryRow;
use crate::render::number::NONE;
use crate::render::words::{theory_figure, theory_simulated_line, theory_value, trust_words};

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
            theory_figure(row),
            trust_words(row.trust).to_owned(),
            theory_value(row),
        ];
        if with_simulated {
            cells.push(theory_simulated_line(row).unwrap_or_else(|| NONE.to_owned()));
        }
        cells.push(row.by.to_owned());
        table.row(cells);
    }
    let mut out = table.text(
        "What queueing theory says of the fullest part of each kind, where it is used at all",
    );
    // The table ends with an empty line; its assumptions belong to it.
    out.truncate(out.trim_end().len());
    out.push('\n');
    let mut said: Vec<(&str, &str)> = Vec::new();
    for row in rows {
        if !said.contains(&(row.by, row.assumes)) {
            said.push((row.by, row.assumes));
            let line = wrapped(&format!("{} assumes: {}.", row.by, row.assumes), 92);
            out.push_str("  ");
            out.push_str(&line.trim_end().replace('\n', "\n    "));
            out.push('\n');
        }
    }
    out.push('\n');
    out
}
