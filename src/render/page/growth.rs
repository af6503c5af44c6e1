//! Section 5: headroom.

use super::Context;
use super::html::section as framed;
use super::html::{Column, Table, beside, case_name, esc, figure, sentence};
use crate::outcome::{Growth, Unseen};
use crate::render::chart::{Format, headroom};
use crate::render::number::{NONE, is_over, three_down};
use crate::render::words::{GROWTH_TITLE, burst_words, growth_words, short_span_words, unseen_in};

pub(super) fn section(context: &Context<'_>) -> String {
    let drawing = |format| headroom(context.report, format);
    let chart = figure(context, "", drawing(Format::Page), drawing(Format::Phone));
    let table = table(context);
    let body = if chart.is_empty() && table.is_empty() {
        "<p class=\"plain\">No headroom was worked out.</p>\n".to_owned()
    } else {
        let bursts = context.section(8);
        let unseen = unseen_in(context.report);
        let from = if unseen.iter().any(|own| own.why == Unseen::Rare) {
            "from today’s simulation, or by arithmetic in a burst where that is more, as the runs see too few bursts"
        } else {
            "from today’s simulation"
        };
        let note = format!(
            "<p><b>“Full at”</b> is 100 ÷ busy in the busiest 20\u{202F}ms: {from}, one part at a time; nothing was simulated at that load. A latency promise may break earlier, as waiting grows before a part is full.</p><p>Bursts count, not means: see <a href=\"#bursts\">section {bursts}</a>.</p>"
        );
        format!(
            "{}{table}",
            beside(&chart, if chart.is_empty() { "" } else { &note })
        )
    };
    framed(
        "headroom",
        context.section(5),
        "How far can it grow, and which part ends it?",
        &body,
    )
}

fn cells(name: String, growth: &Growth) -> Vec<String> {
    let factor = if is_over(100.0 / growth.factor) {
        format!("<b class=\"miss\">{}</b>", three_down(growth.factor))
    } else {
        three_down(growth.factor)
    };
    let (next, at) = growth.next.as_ref().map_or_else(
        || (NONE.to_owned(), NONE.to_owned()),
        |(part, factor)| (esc(part), three_down(*factor)),
    );
    vec![name, factor, esc(&growth.part), at, next]
}

fn table(context: &Context<'_>) -> String {
    let columns = vec![
        Column::words("case"),
        Column::number("full at"),
        Column::words("the part that is full"),
        Column::number("next at"),
        Column::words("the next part"),
    ];
    let mut table = Table::new("", GROWTH_TITLE.to_owned(), columns);
    for growth in &context.report.growth {
        let k = context.case_index(&growth.case);
        let name = k.map_or_else(|| esc(&growth.case), |k| case_name(&context.cases()[k]));
        let attributes = k.map_or_else(String::new, |k| format!("data-k=\"{k}\""));
        table.row(&attributes, &cells(name, growth));
    }
    for mend in context.report.shown_mends() {
        for growth in &mend.growth {
            let name = format!("{}, {}", esc(&growth.case), esc(&mend.name));
            table.row("", &cells(name, growth));
        }
    }
    let mut out = table.html();
    let notes = [
        growth_words(context.report),
        short_span_words(context.report),
        burst_words(context.report),
    ];
    for said in notes.into_iter().flatten() {
        out.push_str(&format!("<p>{}</p>", sentence(&said)));
    }
    out
}
