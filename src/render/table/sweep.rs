//! The rows of a sweep as a table.

use super::align::Aligned;
use crate::outcome::Origin;
use crate::render::number::{NONE, Scale, three};
use crate::render::sweep::SweepTable;
use crate::render::words::origin_line;
use std::collections::BTreeSet;

/// Most of what was rounded that is named each.
const ROUNDED_NAMED: usize = 6;

/// What "partial" means.
const PARTIAL: &str = "Partial: a limit on events or memory (run.events_max, run.memory_max) stopped a run; its figures are of the time \
                       simulated by then, and no promise of them counts as met. A shorter run, less work, or a higher limit would let it end.\n";

/// Columns of switch-overs.
const SWITCHED: [&str; 4] = [
    ">longest silence, s",
    ">longest I/O, s",
    ">failed I/Os",
    "switch-over",
];

fn dash(text: String) -> String {
    if text.is_empty() {
        NONE.to_owned()
    } else {
        text
    }
}

/// With `>` where some hung and were not over when the run ended.
fn longest_io(table: &SweepTable, row: &[String]) -> String {
    let open = table.number(row, "switch_unfinished").unwrap_or(0.0) > 0.0;
    table.number(row, "longest_io_s").map_or_else(
        || NONE.to_owned(),
        |longest| format!("{}{}", if open { "> " } else { "" }, three(longest)),
    )
}

/// Varied values, the promise that decides with its figure and its own verdict, throughput, fullest part, cables and ports; of switch-overs the longest
/// silence and I/O, and their verdict. `idle`: what is varied and changes no row, in sentences. `rounded`: closed loops that a
/// load does not multiply exactly, and how.
#[must_use]
pub fn sweep_text(
    table: &SweepTable,
    idle: &[String],
    rounded: &[String],
    origin: &Origin,
) -> String {
    let switched = table
        .rows
        .iter()
        .any(|row| !table.text(row, "switch_replications").is_empty());
    let mut head: Vec<String> = table.keys.clone();
    let rest = [
        "case",
        "workload",
        "promise",
        ">its figure",
        "its verdict",
        ">MB/s",
        ">mean, µs",
        ">p99, µs",
        "fullest part",
        ">mean %",
        ">by arithmetic %",
        ">cables",
        ">ports",
    ];
    head.extend(rest.map(str::to_owned));
    if switched {
        head.extend(SWITCHED.map(str::to_owned));
    }
    let heads: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut out = Aligned::new(&heads);
    // Of the promises of a workload in a case the one that decides.
    let decides = |row: &&Vec<String>| table.text(row, "promise") == table.text(row, "decided_by");
    let rows: Vec<&Vec<String>> = table.rows.iter().filter(decides).collect();
    let closed = |row: &[String]| table.text(row, "arithmetic_leaves_out_closed") == "true";
    for row in rows.iter().copied() {
        let text = |name: &str| table.text(row, name).to_owned();
        let number = |name: &str| table.number(row, name);
        let shown = |name: &str| number(name).map_or_else(|| NONE.to_owned(), three);
        let with_unit = |value: f64| {
            let scale = Scale::of(table.text(row, "promise_unit"), [value]);
            format!("{} {}", scale.three(value), scale.unit)
        };
        let beyond = || number("promise_beyond").filter(|beyond| *beyond > 0.0);
        let figure = if let Some(value) = number("promise_value") {
            with_unit(value)
        } else if table.text(row, "saturated") == "true" {
            "saturated".to_owned()
        } else if let Some(beyond) = beyond() {
            format!("> {}", with_unit(beyond))
        } else {
            NONE.to_owned()
        };
        let arithmetic = match (number("arithmetic_percent"), closed(row)) {
            (Some(share), true) => format!("{} + closed", three(share)),
            (None, true) => "closed".to_owned(),
            (share, false) => share.map_or_else(|| NONE.to_owned(), three),
        };
        let mut cells = table.values(row);
        cells.extend([
            text("case"),
            text("workload"),
            dash(text("promise")),
            figure,
            match text("partial") == "true" {
                true if text("promise_verdict").is_empty() => "partial".to_owned(),
                true => format!("{}, partial", text("promise_verdict")),
                false => dash(text("promise_verdict")),
            },
            shown("throughput_mb_s"),
            shown("mean_us"),
            shown("p99_us"),
            text("fullest_part"),
            shown("fullest_mean_percent"),
            arithmetic,
            text("cables"),
            text("ports"),
        ]);
        if switched {
            cells.extend([
                shown("longest_silence_s"),
                longest_io(table, row),
                shown("switch_failed"),
                dash(text("switch_verdict")),
            ]);
        }
        out.row(cells);
    }
    let points = table.points();
    let missing = if points.0 < points.1 {
        format!(
            "{} of {} points; the others belong to other pieces, or are still to run.\n",
            points.0, points.1
        )
    } else {
        String::new()
    };
    let cut = table
        .rows
        .iter()
        .any(|row| table.text(row, "partial") == "true");
    let cut = if cut { PARTIAL } else { "" };
    let seeds: BTreeSet<&str> = table
        .rows
        .iter()
        .map(|row| table.text(row, "seed"))
        .collect();
    let shared = if seeds.len() > 1 {
        "the points have seeds of their own, so that they differ by chance too"
    } else {
        "all points share their random numbers"
    };
    let rounded = if rounded.is_empty() {
        String::new()
    } else {
        let more = match rounded.len().saturating_sub(ROUNDED_NAMED) {
            0 => String::new(),
            more => format!(", and {more} more"),
        };
        let named = rounded[..rounded.len().min(ROUNDED_NAMED)].join(", ");
        format!(
            "Note: a closed loop has whole I/Os outstanding, at least 1, at each host, so that its load is rounded: {named}{more}.\n"
        )
    };
    let idle: String = idle.iter().map(|said| format!("Note: {said}.\n")).collect();
    let judged = if switched {
        "Switch-overs: the worst of their replications"
    } else {
        "Steady states are judged, not the switch-over: --switch-overs adds it"
    };
    let several = rows.len() < table.rows.len();
    let several = if several {
        "Note: of the promises of a workload in a case the row shows the one that decides: a missed one, else an undecided one, and of \
         these the one with the least room; --csv, --jsonl and --json have a row for each.\n"
    } else {
        ""
    };
    let closed = rows.iter().any(|row| closed(row));
    let closed = if closed {
        "Note: a closed loop goes as fast as it is answered, so that arithmetic knows no share for it: \"by arithmetic\" leaves it out.\n"
    } else {
        ""
    };
    format!(
        "{}{missing}{cut}{several}{closed}{idle}{rounded}Note: {shared}; each verdict has its own 95 %. {judged}.\n{}\n",
        out.text("Points of the sweep, by case and workload"),
        origin_line(origin)
    )
}
