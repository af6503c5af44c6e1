//! Section 8: what a mean hides.

use super::html::section as framed;
use super::html::{Column, Table, beside, esc, figure};
use super::{Context, DRAWN_CASES};
use crate::render::chart::{Format, peaks};
use crate::render::number::{NONE, THIN, UNMEASURED, three};
use crate::render::words::burst_words;

pub(super) fn section(context: &Context<'_>) -> String {
    let mut charts = String::new();
    for case in 0..context.report.steady.len().min(DRAWN_CASES) {
        let drawing = |format| peaks(context.report, case, format);
        charts.push_str(&figure(
            context,
            &format!("only in{case}"),
            drawing(Format::Page),
            drawing(Format::Phone),
        ));
    }
    let note = "<p>A monitor that polls every five minutes shows the mean. Requests wait in the busiest 20\u{202F}ms.</p><p>A rule of thumb says: at most 35\u{202F}% busy on the mean when healthy, 70\u{202F}% with one fabric lost (common practice, no source). It says nothing of bursts.</p>";
    let table = workloads(context);
    let table = match burst_words(context.report) {
        Some(said) => format!("<p class=\"plain\"><b>{}</b></p>\n{table}", esc(&said)),
        None => table,
    };
    let body = match (charts.is_empty(), table.is_empty()) {
        (true, true) => "<p class=\"plain\">No steady state was run.</p>\n".to_owned(),
        (true, false) => beside(&table, note),
        (false, _) => format!("{}{table}", beside(&charts, note)),
    };
    framed(
        "bursts",
        context.section(8),
        "What do the means hide?",
        &body,
    )
}

/// Peak over mean of what is asked, by workload, healthy.
fn workloads(context: &Context<'_>) -> String {
    let columns = vec![
        Column::words("workload"),
        Column::number("mean, I/Os per s"),
        Column::number("busiest 20 ms"),
        Column::number("peak ÷ mean"),
    ];
    let caption = "What the workloads ask for, on the mean and at most".to_owned();
    let mut table = Table::new("", caption, columns);
    let healthy = context.report.steady.first();
    for figures in healthy.map_or(&[][..], |s| &s.workloads) {
        if healthy.is_some_and(|healthy| healthy.unmeasured) {
            let none = || NONE.to_owned();
            let row = [esc(&figures.name), UNMEASURED.to_owned(), none(), none()];
            table.row("", &row);
            continue;
        }
        let mean = figures.all.offered_iops.value;
        let ratio = if mean > 0.0 {
            format!("{}{THIN}×", three(figures.peak_offered_iops / mean))
        } else {
            "–".to_owned()
        };
        table.row(
            "",
            &[
                esc(&figures.name),
                three(mean),
                three(figures.peak_offered_iops),
                ratio,
            ],
        );
    }
    table.html()
}
