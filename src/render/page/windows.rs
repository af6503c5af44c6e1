//! Maintenance windows: the hours in which an outage may be brought about. Section 4, where they were asked for.

use super::html::section as framed;
use super::html::{Column, Table, case_name, esc, figure, flag_mark, prose};
use super::{Context, WIDE_CASES};
use crate::outcome::{HourRow, Windows};
use crate::render::chart::{Format, hours};
use crate::render::words::{
    WINDOW_CAUTIONS, alike_hours, clock, hour_judged, hour_load, hour_margin, hour_nearly_full,
    named, tightest_words, verdict_flag, verdict_word, windows_answer, windows_notes,
};
use std::fmt::Write as _;

pub(super) fn section(context: &Context<'_>) -> String {
    let Some(found) = &context.report.windows else {
        return String::new();
    };
    let drawing = |format| hours(&context.report.origin, found, format);
    let (_, sentences) = windows_answer(found);
    let mut body = figure(context, "", drawing(Format::Page), drawing(Format::Phone));
    body.push_str("<ul class=\"plain\">");
    for sentence in &sentences[1..] {
        let _ = write!(body, "<li>{}</li>", prose(sentence));
    }
    body.push_str("</ul>\n");
    body.push_str(&table(found));
    for note in windows_notes(found) {
        let _ = writeln!(body, "<p class=\"plain\">{}</p>", prose(&named(&note)));
    }
    body.push_str("<p><b>Before a fabric is taken out</b></p><ol class=\"plain\">");
    for caution in WINDOW_CAUTIONS {
        let _ = write!(body, "<li>{}</li>", esc(caution));
    }
    body.push_str("</ol>\n");
    framed(
        "windows",
        4,
        "In which hours can a fabric be taken out?",
        &body,
    )
}

fn table(found: &Windows) -> String {
    let shown = &found.outages[..found.outages.len().min(WIDE_CASES)];
    let Some(first) = shown.first() else {
        return String::new();
    };
    let mut columns = vec![Column::words("hour"), Column::number("load, %")];
    columns.extend(shown.iter().map(|outage| Column {
        head: case_name(&outage.case),
        label: outage.case.name.clone(),
        right: false,
    }));
    let more = match found.outages.len() - shown.len() {
        0 => String::new(),
        more => format!("; {more} more in windows.csv"),
    };
    let caption = format!(
        "Hour by hour: everything judged, the smallest margin in per cent of its target and whose it is, and how it was judged{more}"
    );
    let mut table = Table::new("hours", caption, columns);
    for (from, to) in alike_hours(found) {
        let mut cells = vec![
            format!(
                "{}–{}",
                clock(first.hours[from].hour),
                clock(first.hours[to - 1].hour + 1)
            ),
            hour_load(&first.hours[from]),
        ];
        cells.extend(shown.iter().map(|outage| cell(&outage.hours[from])));
        table.row("", &cells);
    }
    table.html()
}

fn cell(row: &HourRow) -> String {
    let tightest = row
        .tightest
        .as_ref()
        .map_or_else(String::new, tightest_words);
    let full = hour_nearly_full(row).unwrap_or_default();
    let said = [hour_margin(row), tightest, full, hour_judged(row)];
    let said: Vec<String> = said.into_iter().filter(|said| !said.is_empty()).collect();
    format!(
        "{} {} <small>{}</small>",
        flag_mark(verdict_flag(row.verdict)),
        verdict_word(row.verdict),
        esc(&said.join(", "))
    )
}
