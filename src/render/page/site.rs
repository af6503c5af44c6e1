//! Section 4: the site, coloured by load, and what could be said of it before any run.

use super::html::section as framed;
use super::html::{Column, Table, esc, figure, prose};
use super::{Context, DRAWN_CASES};
use crate::outcome::{Severity, TierRow};
use crate::render::chart::{Format, diagram};
use crate::render::number::{NONE, three};
use crate::render::words::{named, sentences};

pub(super) fn section(context: &Context<'_>) -> String {
    let mut body = String::new();
    for case in 0..context.report.steady.len().min(DRAWN_CASES) {
        let drawing = |format| diagram(context.report, case, format);
        body.push_str(&figure(
            context,
            &format!("only in{case} full"),
            drawing(Format::Page),
            drawing(Format::Phone),
        ));
    }
    if !body.is_empty() {
        body.push_str("<p class=\"key\">The pale pipe is the whole capacity of the bundle, the dark core the part used, in the busier direction, in the busiest 20\u{202F}ms. <b class=\"mA\">A</b> round ends, solid core. <b class=\"mB\">B</b> square ends, dashed core. Dark grey core: in neither fabric. Dotted with a cross: lost. Stacked outlines: a family drawn once, with its count. “Fullest” is the fullest single member, where it is more than 5 points above the bundle.</p>\n");
    }
    body.push_str(&findings(context));
    body.push_str(&tiers(context));
    framed(
        "site",
        context.section(4),
        "Where does the load run, and is the bandwidth there?",
        &body,
    )
}

fn findings(context: &Context<'_>) -> String {
    let findings = &context.report.review.findings;
    if findings.is_empty() {
        return "<h3>Before any run</h3>\n<p class=\"plain\">The static review found nothing to warn of.</p>\n".to_owned();
    }
    let items: String = findings
        .iter()
        .map(|finding| {
            let kind = match finding.severity {
                Severity::Warning => format!("<b>Warning, {}:</b>", esc(&finding.kind)),
                Severity::Note => format!("<b>Note, {}:</b>", esc(&finding.kind)),
            };
            format!(
                "<li>{kind} {} <span>{}</span></li>\n",
                prose(&named(&sentences(&finding.what, ""))),
                prose(&named(&finding.advice))
            )
        })
        .collect();
    format!(
        "<h3>What the static review found, before any run</h3>\n<ul class=\"found\">{items}</ul>\n"
    )
}

fn tiers(context: &Context<'_>) -> String {
    let review = &context.report.review;
    let mut columns = vec![
        Column::words("tier"),
        Column::words("fabric"),
        Column::words("links"),
        Column::number("line, Gb/s"),
        Column::number("usable, Gb/s"),
        Column::number("hosts ÷ uplinks"),
    ];
    for case in &review.cases {
        columns.push(Column::number(&format!("{case}, %")));
    }
    let mut table = Table::new(
        "",
        "Line rate and usable rate, one direction, and the load by arithmetic".to_owned(),
        columns,
    );
    for tier in &review.tiers {
        table.row("", &tier_cells(tier, review.cases.len()));
    }
    let key = if table.is_empty() {
        ""
    } else {
        "<p class=\"key\">Line rate counts code and error correction, usable rate does not. Load is per cent of the usable rate in the busier direction, on the mean; in small, in a burst of the bursty workloads, where that is more. Hosts ÷ uplinks is the oversubscription at the nearer switch, usable rates.</p>\n"
    };
    format!("{}{key}", table.html())
}

fn tier_cells(tier: &TierRow, cases: usize) -> Vec<String> {
    let side = match tier.side {
        Some(side @ ('A' | 'B')) => format!("<b class=\"m{side}\">{side}</b>"),
        _ => "<span class=\"nw\">neither</span>".to_owned(),
    };
    let mut cells = vec![
        esc(&tier.tier),
        side,
        format!("<span class=\"nw\">{}</span>", esc(&tier.links)),
        three(tier.nominal_gb_s),
        three(tier.usable_gb_s),
        tier.oversubscription.map_or_else(|| NONE.to_owned(), three),
    ];
    for k in 0..cases {
        let at = |list: &[Option<f64>]| list.get(k).copied().flatten();
        let toward = [
            at(&tier.toward_array_percent),
            at(&tier.toward_host_percent),
        ];
        let mean = toward.into_iter().flatten().max_by(f64::total_cmp);
        cells.push(match (mean, at(&tier.burst_percent)) {
            (None, _) => "lost".to_owned(),
            (Some(mean), Some(burst)) if three(mean) != three(burst) => {
                format!("{} <small>burst {}</small>", three(mean), three(burst))
            }
            (Some(mean), _) => three(mean),
        });
    }
    cells
}
