//! Changes that were simulated: what each takes, and what is worst with it. A part of section 2.

use super::Context;
use super::html::{Column, Table, esc, flag_mark, prose, sentence};
use crate::outcome::{Mend, MendOrigin};
use crate::render::number::{NONE, price};
use crate::render::words::{Flag, mend_cell, mend_search_words, mend_takes, mend_worst, set_words};

/// The table and what was tried; nothing when no change was simulated.
pub(super) fn table(context: &Context<'_>) -> String {
    let report = context.report;
    let priced = report.mend_search.as_ref().is_some_and(|s| s.priced);
    let mut columns = vec![Column::words("change"), Column::words("takes")];
    if priced {
        columns.push(Column::number("price"));
    }
    columns.push(Column::words("with it"));
    let order = if priced {
        "price"
    } else {
        "cables, then ports"
    };
    let caption = if report.mend_search.is_some() {
        format!(
            "Changes that were simulated: those with which everything judged is met first, then by {order}"
        )
    } else {
        "Changes that were simulated".to_owned()
    };
    let mut table = Table::new("", caption, columns);
    for mend in &report.mends {
        table.row("", &cells(context, mend, priced));
    }
    let said: String = mend_search_words(report)
        .iter()
        .map(|line| format!("<p class=\"plain\">{}</p>\n", sentence(line)))
        .collect();
    format!("<div class=\"changes\">{}</div>{said}", table.html())
}

fn cells(context: &Context<'_>, mend: &Mend, priced: bool) -> Vec<String> {
    let flag = mend_cell(context.report, mend)
        .and_then(|(row, case)| mend.matrix.rows[row].cells[case].as_ref())
        .map_or(Flag::Unasked, Flag::of);
    let by = match mend.origin {
        MendOrigin::Stated => "in the scenario",
        MendOrigin::Proposed => "proposed",
    };
    let mut cells = vec![
        format!(
            "{} <small>{by} <code>{}</code></small>",
            esc(&mend.name),
            esc(&set_words(&mend.set))
        ),
        esc(&mend_takes(&mend.changes)),
    ];
    if priced {
        cells.push(mend.changes.price.map_or_else(|| NONE.to_owned(), price));
    }
    cells.push(format!(
        "{} {}",
        flag_mark(flag),
        prose(&mend_worst(context.report, mend))
    ));
    cells
}
