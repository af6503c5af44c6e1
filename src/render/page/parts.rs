//! Section 7: how busy each part is in each case.

use super::html::section as framed;
use super::html::{beside, case_name, esc, figure};
use super::{Context, DRAWN_CASES};
use crate::outcome::{PartUse, UseInCase};
use crate::render::chart::{Format, members};
use crate::render::number::{is_over, three};
use crate::render::words::burst_words;
use std::fmt::Write as _;

pub(super) fn section(context: &Context<'_>) -> String {
    let heat = heat(context);
    let note = "<p><b>Large:</b> asked in the busiest 20\u{202F}ms, %. <b>Small:</b> mean of the run, %. The shade follows the large one, a step each 10\u{202F}%. Above 100 the cell is framed and says “over”.</p><p>Of each family the fullest counts, in its busier direction; its name stands below. All links, each direction and member, are in <code>directions.csv</code>.</p>";
    let mut body = if heat.is_empty() {
        "<p class=\"plain\">No part was measured.</p>\n".to_owned()
    } else {
        beside(&heat, note)
    };
    if let Some(said) = burst_words(context.report) {
        let _ = writeln!(body, "<p class=\"plain\"><b>{}</b></p>", esc(&said));
    }
    for case in 0..context.report.steady.len().min(DRAWN_CASES) {
        let drawing = |format| members(context.report, case, format);
        body.push_str(&figure(
            context,
            &format!("only in{case}"),
            drawing(Format::Page),
            drawing(Format::Phone),
        ));
    }
    framed(
        "parts",
        context.section(7),
        "How busy is each part in each case?",
        &body,
    )
}

/// The finding over the table: how many parts are asked for more than they have.
fn caption(parts: &[PartUse]) -> String {
    let over: Vec<&PartUse> = parts
        .iter()
        .filter(|part| {
            part.cases
                .iter()
                .flatten()
                .any(|used| is_over(used.peak_percent))
        })
        .collect();
    match over.as_slice() {
        [] => "No part is asked for more than it has, in any case.".to_owned(),
        [only] => {
            let healthy = only.cases.first().and_then(Option::as_ref);
            let when = if healthy.is_some_and(|used| is_over(used.peak_percent)) {
                "even when healthy"
            } else {
                "and only with something lost"
            };
            format!(
                "One part is asked for more than it has, {when}: <i>{}</i>.",
                esc(&only.part)
            )
        }
        several => format!("{} parts are asked for more than they have.", several.len()),
    }
}

fn heat(context: &Context<'_>) -> String {
    let parts = &context.report.parts;
    if parts.is_empty() {
        return String::new();
    }
    let mut out = format!(
        "<div class=\"pan\" tabindex=\"0\" role=\"region\" aria-label=\"Parts\"><table role=\"table\" class=\"heat sortable\"><caption>{}</caption><thead role=\"rowgroup\"><tr role=\"row\"><th role=\"columnheader\" scope=\"col\">part</th>",
        caption(parts)
    );
    for (k, case) in context.cases().iter().enumerate() {
        let _ = write!(
            out,
            "<th role=\"columnheader\" scope=\"col\" data-k=\"{k}\">{}</th>",
            case_name(case)
        );
    }
    out.push_str("</tr></thead>\n<tbody role=\"rowgroup\">");
    for part in parts {
        let _ = write!(
            out,
            "<tr role=\"row\"><th role=\"rowheader\" scope=\"row\" data-v=\"{0}\">{0}<small>{1}</small></th>",
            esc(&part.part),
            esc(&part.detail)
        );
        for (k, used) in part.cases.iter().enumerate() {
            let name = context.cases().get(k).map_or("", |case| &case.name);
            out.push_str(&cell(k, name, used.as_ref()));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    out
}

fn cell(k: usize, case: &str, used: Option<&UseInCase>) -> String {
    let name = format!("<span class=\"kn\">{}</span>", esc(case));
    let Some(used) = used else {
        return format!(
            "<td role=\"cell\" class=\"na\" data-k=\"{k}\" data-v=\"-1\">{name}lost</td>"
        );
    };
    let over = is_over(used.peak_percent);
    let class = if over {
        "hx".to_owned()
    } else {
        format!("h{}", step(used.peak_percent))
    };
    let word = if over {
        " <span class=\"ov\">over</span>"
    } else {
        ""
    };
    format!(
        "<td role=\"cell\" class=\"h {class}\" data-k=\"{k}\" data-v=\"{}\">{name}<b>{}</b>{word} <small>{}</small> <small>{}</small></td>",
        used.peak_percent,
        three(used.peak_percent),
        three(used.mean_percent),
        esc(&used.instance)
    )
}

/// Step of the shade, one each 10 %.
fn step(percent: f64) -> usize {
    (1..=10)
        .filter(|step| percent >= f64::from(*step) * 10.0)
        .count()
}
