//! What closed forms say of the fullest parts, beside what was simulated: in the section on latency.

use super::Context;
use super::html::{Column, Table, case_name, esc};
use crate::outcome::TheoryRow;
use crate::render::number::NONE;
use crate::render::words::{theory_figure, theory_simulated, theory_value, trust_words};

/// The table of all cases that were run; nothing where no form applies.
pub(super) fn table(context: &Context<'_>) -> String {
    let columns = vec![
        Column::words("case and part"),
        Column::words("figure"),
        Column::number("by theory"),
        Column::number("simulated"),
        Column {
            label: "form".to_owned(),
            ..Column::words("by which form, and what it assumes")
        },
    ];
    let caption = "What queueing theory says of the fullest controller of each array and the fullest first link of each kind, where they are used at all, and what was simulated";
    let mut table = Table::new("", caption.to_owned(), columns);
    let mut said: Vec<(&str, &str)> = Vec::new();
    for row in &context.report.review.theory {
        let Some(k) = context.case_index(&row.case) else {
            continue;
        };
        let first = !said.contains(&(row.by, row.assumes));
        said.push((row.by, row.assumes));
        table.row(&format!("data-k=\"{k}\""), &cells(context, k, row, first));
    }
    if table.is_empty() {
        return String::new();
    }
    format!(
        "<h3>Beside theory</h3>\n{}<p class=\"key\">A closed form holds where its assumption does. “At most” and “at least” are bounds, and what was simulated may lie anywhere on their side; any other figure should lie in the 95\u{202F}% interval, in small, or the assumption is not met, or the run too short. The verdict rests on what was simulated. A drain is that of the worst run and has no interval.</p>\n",
        table.html()
    )
}

fn cells(context: &Context<'_>, k: usize, row: &TheoryRow, first: bool) -> Vec<String> {
    let simulated = match theory_simulated(row) {
        Some((value, ends)) if ends.is_empty() => value,
        Some((value, ends)) => format!("{value} <small>{ends}</small>"),
        None => NONE.to_owned(),
    };
    let trust = match trust_words(row.trust) {
        "" => String::new(),
        words => format!("{words} "),
    };
    // An assumption is told once, with the first figure that rests on it.
    let assumes = if first {
        format!(" <small>{}</small>", esc(row.assumes))
    } else {
        String::new()
    };
    vec![
        format!(
            "{} <small>{}</small>",
            case_name(&context.cases()[k]),
            esc(&row.part)
        ),
        esc(&theory_figure(row)),
        format!("{trust}{}", theory_value(row)),
        simulated,
        format!("{}{assumes}", esc(row.by)),
    ]
}
