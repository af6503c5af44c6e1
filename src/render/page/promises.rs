//! Section 2: promises by cases.

use super::Context;
use super::html::section as framed;
use super::html::{case_name, esc, flag_mark};
use crate::outcome::{Cell, MeasureKind, Row};
use crate::render::number::{Scale, TOO_FEW, at_place, count, margin};
use crate::render::words::{
    Flag, cut_off_words, left_open_words, measure_name, plural, row_scale, target_words,
};
use std::fmt::Write as _;

pub(super) fn section(context: &Context<'_>) -> String {
    let body = if context.report.matrix.rows.is_empty() {
        "<p class=\"plain\">No workload states a promise, so nothing is judged. State one, such as <code>promise = { p99 = \"2ms\" }</code>, and it is.</p>\n".to_owned()
    } else {
        format!(
            "{}{}{}",
            matrix(context),
            key(),
            super::mends::table(context)
        )
    };
    framed("promises", 2, "Which promises hold, in which case?", &body)
}

fn matrix(context: &Context<'_>) -> String {
    let matrix = &context.report.matrix;
    let mut out = format!(
        "<table class=\"matrix\" role=\"table\"><caption>{}</caption>\n<thead role=\"rowgroup\"><tr role=\"row\"><th role=\"columnheader\" scope=\"col\">promise</th>",
        caption(context)
    );
    for (k, case) in matrix.cases.iter().enumerate() {
        let _ = write!(
            out,
            "<th role=\"columnheader\" scope=\"col\" data-k=\"{k}\">{}</th>",
            case_name(case)
        );
    }
    out.push_str("</tr></thead>\n<tbody role=\"rowgroup\">");
    for row in &matrix.rows {
        out.push_str(&one_row(context, row));
    }
    out.push_str("</tbody></table>\n");
    out
}

fn caption(context: &Context<'_>) -> String {
    let matrix = &context.report.matrix;
    let count = |flag| {
        let cells = matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten());
        cells.filter(|cell| Flag::of(cell) == flag).count()
    };
    let all: usize = matrix
        .rows
        .iter()
        .map(|r| r.cells.iter().flatten().count())
        .sum();
    let bad = count(Flag::Saturated) + count(Flag::Missed);
    let open = count(Flag::Undecided);
    let is = |n: usize| if n == 1 { "is" } else { "are" };
    match (bad, open) {
        (0, 0) => format!("All {} are met.", plural(all, "judgement")),
        (0, n) => format!(
            "Of {}, {n} {} undecided; the others are met.",
            plural(all, "judgement"),
            is(n)
        ),
        (n, 0) => format!(
            "Of {}, {n} {} missed; the others are met.",
            plural(all, "judgement"),
            is(n)
        ),
        (n, m) => format!(
            "Of {}, {n} {} missed and {m} {} undecided; the others are met.",
            plural(all, "judgement"),
            is(n),
            is(m)
        ),
    }
}

fn one_row(context: &Context<'_>, row: &Row) -> String {
    let scale = row_scale(row);
    let unit = if scale.unit.is_empty() {
        String::new()
    } else {
        format!(", {}", scale.unit)
    };
    let when = if row.switching {
        " in the switch-over"
    } else {
        ""
    };
    let mut out = format!(
        "<tr role=\"row\"><th role=\"rowheader\" scope=\"row\"><span class=\"who\">{}</span> <span class=\"what\">{}{when}{unit}</span> <span class=\"tg\">{}</span></th>",
        esc(&row.workload),
        measure_name(row.measure),
        esc(&target_words(row, context.cases())),
    );
    for (k, (cell, case)) in row.cells.iter().zip(context.cases()).enumerate() {
        let name = format!("<span class=\"kn\">{}</span>", case_name(case));
        let Some(cell) = cell else {
            let _ = write!(
                out,
                "<td role=\"cell\" class=\"v na\" data-k=\"{k}\">{name}<span class=\"wd\">not asked</span></td>"
            );
            continue;
        };
        let flag = Flag::of(cell);
        let class = match flag {
            Flag::Saturated | Flag::Missed => "missed",
            Flag::Undecided => "undecided",
            Flag::Met | Flag::Unasked => "met",
        };
        let _ = write!(
            out,
            "<td role=\"cell\" class=\"v {class}\" data-k=\"{k}\">{name}<span class=\"wd\">{} {}</span> {}{}</td>",
            flag_mark(flag),
            flag.word(),
            figure(row, cell, scale),
            strip(row, cell, flag),
        );
    }
    out.push_str("</tr>\n");
    out
}

fn figure(row: &Row, cell: &Cell, scale: Scale) -> String {
    let (value, interval) = match (cell.value, cell.beyond) {
        _ if cell.saturated => ("no end".to_owned(), "the work does not fit".to_owned()),
        (Some(figure), _) if row.measure == MeasureKind::Failed => (
            at_place(figure.value, 0),
            format!("most of {}", plural(cell.replications as usize, "run")),
        ),
        (Some(figure), _) => {
            let (value, ends) = scale.figure(&figure);
            let ends = ends.unwrap_or_else(|| match row.switching {
                true => format!("largest of {}", plural(cell.replications as usize, "run")),
                false if figure.is_vague() => TOO_FEW.to_owned(),
                false => String::new(),
            });
            (value, ends)
        }
        (None, Some(_)) if cell.is_cut_off() => {
            ("cut off".to_owned(), cut_off_words(row).to_owned())
        }
        (None, Some(beyond)) => (
            format!("> {}", scale.three(beyond)),
            cell.beyond_by_failing().map_or_else(
                || "not finished in the run".to_owned(),
                |failed| format!("{} I/Os fail", count(failed)),
            ),
        ),
        (None, None) => ("beyond".to_owned(), "not finished in the run".to_owned()),
    };
    let margin = cell.margin_percent.map_or_else(String::new, margin);
    let needed = match cell.replications_needed {
        _ if cell.left_open.is_some() => left_open_words(cell)
            .map_or_else(String::new, |(why, _)| {
                format!(" <span class=\"iv\">{}</span>", esc(&why))
            }),
        Some(all) if all > cell.replications => {
            format!(" <span class=\"iv\">about {all} replications in all would decide</span>")
        }
        _ => String::new(),
    };
    format!(
        "<span class=\"val\">{value}</span> <span class=\"iv\">{interval}</span> <span class=\"mg\">{margin}</span>{needed}"
    )
}

/// Share of the target used, on a log scale from a sixteenth to sixteen times; the target is always in the
/// middle, and the half that misses is shaded.
fn strip(row: &Row, cell: &Cell, flag: Flag) -> String {
    let place = |value: f64| {
        // For a throughput less is worse: the share of the target used is turned over.
        let share = match row.measure {
            MeasureKind::Throughput => cell.target / value,
            _ => value / cell.target,
        };
        let at = 60.0 + 58.0 * libm::log(share) / libm::log(16.0);
        at.clamp(2.0, 118.0)
    };
    let value = match (cell.value, cell.beyond) {
        _ if cell.saturated || cell.is_cut_off() => None,
        (Some(figure), _) => Some(figure.value),
        (None, beyond) => beyond,
    };
    if cell.target <= 0.0 {
        return String::new();
    }
    let colour = match flag {
        Flag::Saturated | Flag::Missed => "#8E0E34",
        Flag::Undecided => "#5A4A7A",
        Flag::Met | Flag::Unasked => "#24755A",
    };
    let mut marks = String::new();
    if let Some(at) = value.map(place).or(cell.saturated.then_some(118.0)) {
        if let Some((low, high)) = cell.value.and_then(|v| v.ends()) {
            let (low, high) = (place(low.max(f64::MIN_POSITIVE)), place(high));
            let _ = write!(
                marks,
                "<path d=\"M{low:.1} 8H{high:.1}\" stroke=\"{colour}\" stroke-width=\"5\"/>"
            );
        }
        let _ = write!(
            marks,
            "<path d=\"M{at:.1} 2V14\" stroke=\"{colour}\" stroke-width=\"3.5\"/>"
        );
    }
    format!(
        "<svg class=\"gl\" viewBox=\"0 0 120 16\" aria-hidden=\"true\"><rect x=\"60\" y=\"1\" width=\"60\" height=\"14\" fill=\"#E2DBE8\"/><path d=\"M2 8H118\" stroke=\"#CFC8B8\" stroke-width=\"1\"/><path d=\"M60 0V16\" stroke=\"#211D2B\" stroke-width=\"2\"/>{marks}</svg>"
    )
}

fn key() -> String {
    format!(
        "<p class=\"key\"><span class=\"met\">{} met</span> even the unfavourable one-sided 95\u{202F}% bound keeps the promise. \
         <span class=\"miss\">{} missed</span> even the favourable bound breaks it. \
         <span class=\"und\">{} undecided</span> neither: more replications would decide. \
         In each cell: value, 95\u{202F}% interval, margin in per cent of the target (minus = outside). “Too few runs”: the interval is wider than the figure. \
         The verdict comes from exact counts of I/Os above the target, so it may differ from the interval shown by a hair. \
         The strip shows the share of the target used, log scale; the upright line is the target, and the shaded half misses it.</p>\n",
        flag_mark(Flag::Met),
        flag_mark(Flag::Missed),
        flag_mark(Flag::Undecided)
    )
}
