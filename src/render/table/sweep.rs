//! The rows of a sweep as a table.

use super::align::Aligned;
use crate::outcome::Origin;
use crate::render::number::{NONE, Scale, three};
use crate::render::sweep::SweepTable;
use crate::render::words::origin_line;
use std::collections::BTreeSet;

/// Most of what was rounded that is named each.
const ROUNDED_NAMED: usize = 6;

/// Varied values, verdict, the first promise's figure, throughput, fullest part, cables and ports. `rounded`: closed
/// loops that a load does not multiply exactly, and how.
#[must_use]
pub fn sweep_text(table: &SweepTable, rounded: &[String], origin: &Origin) -> String {
    let mut head: Vec<String> = table.keys.clone();
    let rest = [
        "case",
        "workload",
        "verdict",
        "promise",
        ">its figure",
        ">MB/s",
        ">mean, us",
        ">p99, us",
        "fullest part",
        ">mean %",
        ">by arithmetic %",
        ">cables",
        ">ports",
    ];
    head.extend(rest.map(str::to_owned));
    let heads: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut out = Aligned::new(&heads);
    for row in &table.rows {
        let text = |name: &str| table.text(row, name).to_owned();
        let number = |name: &str| table.number(row, name);
        let shown = |name: &str| number(name).map_or_else(|| NONE.to_owned(), three);
        let figure = number("promise_value").map_or_else(
            || {
                let full = table.text(row, "saturated") == "true";
                if full { "saturated" } else { NONE }.to_owned()
            },
            |value| {
                let scale = Scale::of(table.text(row, "promise_unit"), [value]);
                format!("{} {}", scale.three(value), scale.unit)
            },
        );
        let mut cells = table.values(row);
        let verdict = text("verdict");
        cells.extend([
            text("case"),
            text("workload"),
            if verdict.is_empty() {
                NONE.to_owned()
            } else {
                verdict
            },
            text("promise"),
            figure,
            shown("throughput_mb_s"),
            shown("mean_us"),
            shown("p99_us"),
            text("fullest_part"),
            shown("fullest_mean_percent"),
            shown("arithmetic_percent"),
            text("cables"),
            text("ports"),
        ]);
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
    format!(
        "{}{missing}{rounded}Note: {shared}; each verdict has its own 95 %. Steady states are judged, not the switch-over: `failover` does.\n{}\n",
        out.text("Points of the sweep, by case and workload"),
        origin_line(origin)
    )
}
