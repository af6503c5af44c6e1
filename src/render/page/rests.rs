//! Section 9: what it rests on, what is not modelled, cautions.

use super::Context;
use super::html::section as framed;
use super::html::{Column, Table, esc, prose};
use crate::outcome::AssumptionRow;
use crate::render::words::{named, plural, says_who};

/// Marks of inputs with their signs, guesses first.
const MARKS: [(&str, &str, &str); 6] = [
    ("guessed", "△", "by whoever wrote the scenario"),
    ("common practice", "□", "without a source"),
    ("stated", "●", "in the scenario as specified"),
    ("measured", "◆", "at the site, as the scenario says"),
    ("published", "◩", "in a manual or source text"),
    ("standard", "■", "in a published standard"),
];

const NOT_MODELLED: [&str; 6] = [
    "faults of software, power and people; two faults at once, unless an outage of the scenario says so",
    "what happens inside an array: rebuilds, snapshots, full caches",
    "traffic that the scenario does not state",
    "optics that are dirty or worn; frames lost to bit errors",
    "hosts that run out of processor time",
    "changes of the work while a fabric is lost: people and programs that wait ask for less, or again",
];

const CAUTIONS: [&str; 7] = [
    "This is an estimate from stated inputs: no guarantee, no warranty and no approval of a size.",
    "Proof is a test: in an approved window, with backups made and checked, with every path seen up first, one element at a time, with all paths back before the next step, and never both fabrics in one window. Rather disable a port than pull a cable.",
    "The makers’ support statements, their release notes and your own procedures come before any default here.",
    "Changing timers can cost data access; test first.",
    "Queueing for ever when no path is left can hang hosts and their shutdown; failing at once can turn volumes read-only. Which one is a decision of the site.",
    "Never look into a fibre end, a transceiver or an adapter: infrared is invisible, and no light seen does not mean no power.",
    "This page names parts of a site. Look through it before passing it on.",
];

pub(super) fn section(context: &Context<'_>) -> String {
    let list = |items: &[&str]| -> String {
        items
            .iter()
            .map(|item| format!("<li>{item}</li>"))
            .collect()
    };
    let body = format!(
        "{}<div class=\"cols\"><div><h3>Not modelled</h3><ul>{}</ul></div>\n<div><h3>Cautions</h3><ul>{}</ul></div></div>\n",
        assumptions(context),
        list(&NOT_MODELLED),
        list(&CAUTIONS)
    );
    framed(
        "rests",
        context.section(9),
        "What does this rest on, and says who?",
        &body,
    )
}

/// The place of a mark in the order, its sign and its class.
fn mark(mark: &str) -> (usize, &'static str) {
    MARKS
        .iter()
        .position(|(name, ..)| *name == mark)
        .map_or((MARKS.len(), "?"), |place| (place, MARKS[place].1))
}

fn assumptions(context: &Context<'_>) -> String {
    let rows = &context.report.assumptions;
    if rows.is_empty() {
        return "<p class=\"plain\">No inputs were listed.</p>\n".to_owned();
    }
    let guesses = rows.iter().filter(|row| row.mark == "guessed").count();
    let caption = match guesses {
        0 => "No input is marked as a guess.".to_owned(),
        1 => format!("One of {} is a guess.", plural(rows.len(), "input")),
        some => format!("{some} of {} are guesses.", plural(rows.len(), "input")),
    };
    let columns = vec![
        Column::words("input"),
        Column::words("value used"),
        Column::words("mark"),
        Column::words("says who"),
    ];
    let open = |row: &&AssumptionRow| matches!(row.mark.as_str(), "guessed" | "measured");
    let hidden = rows.len() - rows.iter().filter(open).count();
    // A head without a row says nothing.
    let class = if hidden == rows.len() {
        "assum long sortable shut"
    } else {
        "assum long sortable"
    };
    let mut table = Table::new(class, caption, columns);
    for row in rows {
        let (place, sign) = mark(&row.mark);
        let guessed = if row.mark == "guessed" {
            " g-guessed"
        } else {
            ""
        };
        // What somebody has to look at stands open; the rest is one tick away, and always in print.
        table.row(
            if open(&row) { "" } else { "class=\"more\"" },
            &[
                format!(
                    "{} <small><code>{}</code></small>",
                    prose(&named(in_short(&row.what))),
                    esc(&row.key)
                ),
                esc(&row.value),
                format!(
                    "<span class=\"g{guessed}\" data-order=\"{place}\">{sign} {}</span>",
                    esc(&row.mark)
                ),
                esc(&says_who(row)),
            ],
        );
    }
    let keys: String = MARKS
        .iter()
        .map(|(name, sign, what)| format!("<b>{sign} {name}</b> {what}. "))
        .collect();
    let more = if hidden == 0 {
        String::new()
    } else {
        format!(
            "<p class=\"all\"><label><input type=\"checkbox\" id=\"all\"> Show all {}, not only what is guessed or measured</label></p>\n",
            plural(rows.len(), "input")
        )
    };
    format!("{more}{}<p class=\"key\">{keys}</p>\n", table.html())
}

/// The name of an input without the table it stands in, which the key below it has.
fn in_short(what: &str) -> &str {
    what.rsplit_once(", [").map_or(what, |(name, _)| name)
}
