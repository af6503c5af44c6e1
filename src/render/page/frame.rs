//! The document round the sections: policy, style, head, case chooser, foot.

use super::html::{BADGE_A, BADGE_B, SYMBOLS, case_name, css_string, esc};
use super::{Context, WIDE_CASES};
use crate::outcome::{Case, Lane, Origin};
use crate::render::chart::palette;
use crate::render::words::{Flag, before_name, origin_line, report_line};
use base64::Engine as _;
use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;

const STYLE: &str = include_str!("style.css");
const BLOCKS: &str = include_str!("blocks.css");
const SCRIPT: &str = include_str!("script.js");

/// The palette as variables, light and dark, and what turns a drawing's colours into them: one colour stands
/// for one role, so that a drawing turns dark with the page.
fn colours() -> String {
    let all = palette::colours();
    let mut light = String::new();
    let mut dark = String::new();
    let mut drawn = String::new();
    let mut heat = String::new();
    let mut seen: Vec<&str> = Vec::new();
    for (name, on_paper, in_dark) in &all {
        let _ = write!(light, "--{name}:{on_paper};");
        let _ = write!(dark, "--{name}:{in_dark};");
        if let Some(step) = name.strip_prefix("heat-").filter(|step| step.len() < 3) {
            let _ = writeln!(
                heat,
                ".heat .h{step}{{background:var(--heat-{step});color:var(--heat-text-{step})}}"
            );
        }
        if !seen.contains(&on_paper.as_str()) {
            seen.push(on_paper);
            let _ = writeln!(
                drawn,
                "svg [fill=\"{on_paper}\"]{{fill:var(--{name})}}svg [stroke=\"{on_paper}\"]{{stroke:var(--{name})}}"
            );
        }
    }
    format!(
        ":root{{{light}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n{drawn}{heat}"
    )
}

/// The style sheet of this report: the fixed part, the drawings' colours, the cases and the running foot.
fn style(context: &Context<'_>) -> String {
    let mut out = colours() + STYLE;
    let phone = BLOCKS.replace('@', "");
    let _ = write!(out, "@media screen and (max-width:699px){{\n{phone}}}\n");
    if context.cases().len() > WIDE_CASES {
        out.push_str(&BLOCKS.replace('@', ".many "));
    }
    out.push_str("@supports selector(:has(*)){@media screen{\n");
    for k in 0..context.cases().len() {
        let _ = writeln!(
            out,
            "body:has(#k{k}:checked) .only:not(.in{k}){{display:none}}body:has(#k{k}:checked) .matrix .v[data-k=\"{k}\"],body:has(#k{k}:checked) tr[data-k=\"{k}\"]{{background-color:var(--panel)}}body:has(#k{k}:checked) thead [data-k=\"{k}\"]{{box-shadow:inset 0 -4px 0 var(--ink)}}body:has(#k{k}:checked) tr[data-k=\"{k}\"]>*{{font-weight:700}}"
        );
    }
    out.push_str("}}\n");
    let _ = writeln!(
        out,
        "@page{{margin:15mm 14mm 18mm;@bottom-left{{content:\"{}\";font:8pt sans-serif}}@bottom-right{{content:counter(page) \" / \" counter(pages);font:8pt sans-serif}}}}",
        css_string(&report_line(context.report))
    );
    out
}

/// `sha256-…` as a policy names it.
pub(in crate::render) fn hash(text: &str) -> String {
    let digest = Sha256::digest(text.as_bytes());
    let encoded = base64::engine::general_purpose::STANDARD.encode(digest);
    format!("sha256-{encoded}")
}

/// Cells and labels on lines of their own, so that text taken out of the page keeps its figures apart.
fn apart(body: &str) -> String {
    body.replace("</td><", "</td>\n<")
        .replace("</th><", "</th>\n<")
        .replace("</text><", "</text>\n<")
}

/// The whole document round `body`.
pub(super) fn document(context: &Context<'_>, body: &str) -> String {
    let style = style(context);
    let body = apart(body);
    let origin = &context.report.origin;
    let title = format!("{}: {}", origin.title, context.answer.headline.plain());
    let many = if context.cases().len() > WIDE_CASES {
        " class=\"many\""
    } else {
        ""
    };
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src '{}'; script-src '{}'; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"color-scheme\" content=\"light dark\"><meta name=\"generator\" content=\"halfloom {}\">\n\
         <title>{}</title>\n<style>{style}</style></head>\n<body{many}>\n\
         <a class=\"skip\" href=\"#verdict\">Skip to the verdict</a>\n{}{}<main>\n{body}</main>\n\
         <footer><p>{}</p></footer>\n<script>{SCRIPT}</script>\n</body></html>\n",
        hash(&style),
        hash(SCRIPT),
        esc(&origin.version),
        esc(&title),
        symbols(context),
        masthead(context),
        esc(&report_line(context.report)),
    )
}

/// A page of one question: style, head and foot of the report, without cases to choose from and without a script.
pub(super) fn single(origin: &Origin, kind: &str, title: &str, body: &str) -> String {
    let phone = BLOCKS.replace('@', "");
    let body = apart(body);
    let style = format!(
        "{}{STYLE}@media screen and (max-width:699px){{\n{phone}}}\n@page{{margin:15mm 14mm 18mm}}\n",
        colours()
    );
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src '{}'; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"color-scheme\" content=\"light dark\"><meta name=\"generator\" content=\"halfloom {}\">\n\
         <title>{}</title>\n<style>{style}</style></head>\n<body>\n{SYMBOLS}\
         <header class=\"mast\">\n<div class=\"strands\" aria-hidden=\"true\"><span class=\"sa\"></span><span class=\"sb\"></span></div>\n\
         <p class=\"brand\"><b>halfloom</b> <span>{} · estimate</span></p>\n<p class=\"site\">{}</p>\n</header>\n<main>\n{body}</main>\n\
         <footer><p>{}</p></footer>\n</body></html>\n",
        hash(&style),
        esc(&origin.version),
        esc(title),
        esc(kind),
        esc(&origin.title),
        esc(&origin_line(origin)),
    )
}

/// Two strands; the one whose loss the verdict is about is cut.
fn masthead(context: &Context<'_>) -> String {
    let hurt = !matches!(context.answer.flag, Flag::Met | Flag::Unasked);
    let lost = context
        .cases()
        .get(context.first_case())
        .and_then(|case| case.lost);
    let cut = |side| {
        if hurt && lost == Some(side) {
            " cut"
        } else {
            ""
        }
    };
    let (strands, fabrics) = match fabrics(context) {
        Fabrics::Both => (
            format!(
                "<span class=\"sa{}\"></span><span class=\"sb{}\"></span>",
                cut('A'),
                cut('B')
            ),
            " · storage on fabrics <b class=\"mA\">A</b> and <b class=\"mB\">B</b>",
        ),
        Fabrics::OnlyA => ("<span class=\"sa\"></span>".to_owned(), ""),
        Fabrics::OnlyB => ("<span class=\"sb\"></span>".to_owned(), ""),
    };
    format!(
        "<header class=\"mast\">\n<div class=\"strands\" aria-hidden=\"true\">{strands}</div>\n\
         <p class=\"brand\"><b>halfloom</b> <span>report · estimate</span></p>\n<p class=\"site\">{}{fabrics}</p>\n</header>\n",
        esc(&context.report.origin.title),
    )
}

/// Which fabrics the site has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fabrics {
    Both,
    OnlyA,
    OnlyB,
}

fn fabrics(context: &Context<'_>) -> Fabrics {
    let has = |lane| {
        let nodes = &context.report.picture.nodes;
        nodes.iter().any(|node| node.lane == lane)
    };
    match (has(Lane::A), has(Lane::B)) {
        (true, false) => Fabrics::OnlyA,
        (false, true) => Fabrics::OnlyB,
        _ => Fabrics::Both,
    }
}

/// The marks, without the badge of a fabric that the site does not have.
fn symbols(context: &Context<'_>) -> String {
    let without = match fabrics(context) {
        Fabrics::Both => return SYMBOLS.to_owned(),
        Fabrics::OnlyA => BADGE_B,
        Fabrics::OnlyB => BADGE_A,
    };
    SYMBOLS.replace(without, "")
}

/// One radio a case; without support for `:has` it hides and everything shows.
pub(super) fn chooser(context: &Context<'_>) -> String {
    if context.cases().len() < 2 {
        return String::new();
    }
    let mut out = String::from("<fieldset class=\"pick\"><legend>Case shown</legend>\n");
    for (k, case) in context.cases().iter().enumerate() {
        let checked = if k == context.first_case() {
            " checked"
        } else {
            ""
        };
        let _ = writeln!(
            out,
            "<label><input type=\"radio\" name=\"case\" id=\"k{k}\"{checked}>{}</label>",
            case_name(case)
        );
    }
    out.push_str("</fieldset>\n");
    let _ = write!(out, "<p class=\"key cases\">{}</p>\n\n", case_key(context));
    out
}

/// What an outage takes, as its switch-over says; else as much of it as its case shows.
fn gone(context: &Context<'_>, case: &Case) -> String {
    let mut switches = context.report.switches.iter();
    let own = switches.find(|switch| switch.case.name == case.name);
    let said = own.and_then(|switch| {
        let first = &switch.events.first()?.what;
        let (done, what) = first.split_once(": ")?;
        done.starts_with(&case.name).then_some(what)
    });
    match (said, case.lost) {
        (Some(said), _) => said.to_owned(),
        (None, Some(side)) => format!("all parts of side {side}"),
        (None, None) => "what the outage takes".to_owned(),
    }
}

/// What becomes of the parts of an outage that are there in the state after it, as its switch-over says.
fn stays(context: &Context<'_>, case: &Case) -> String {
    let mut switches = context.report.switches.iter();
    let own = switches.find(|switch| switch.case.name == case.name);
    let said = own.and_then(|switch| switch.events.first());
    said.map_or_else(
        || "its parts are there".to_owned(),
        |event| event.what.clone(),
    )
}

/// What each case means, with its mark: said before the first table that uses them.
fn case_key(context: &Context<'_>) -> String {
    const SHOWN: usize = 4;
    let mut parts = Vec::new();
    for case in context.cases().iter().take(SHOWN) {
        let what = match (&case.outage, case.carries) {
            (None, _) if case.is_scripted() => "what the scenario’s events do".to_owned(),
            (None, _) => "nothing is lost".to_owned(),
            (Some(_), Some(side)) => {
                format!(
                    "gone for good: {}; {side} carries all the work",
                    gone(context, case)
                )
            }
            (Some(outage), None) if case.name == format!("{outage} lost") => {
                format!("gone for good: {}", gone(context, case))
            }
            (Some(_), None) => stays(context, case),
        };
        // A name begins no sentence with a small letter.
        let with = match case.outage {
            Some(_) => before_name(&case.name),
            None => "",
        };
        let name = case_name(case);
        parts.push(format!("<span>{with}{name}</span>: {}", esc(&what)));
    }
    if context.cases().len() > SHOWN {
        parts.push("And so on for each outage of the scenario".to_owned());
    }
    format!("{}. The switch-over is the way there.", parts.join(". "))
}
