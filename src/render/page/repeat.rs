//! Section 10: how anybody repeats it.

use super::Context;
use super::files::names;
use super::html::section as framed;
use super::html::{esc, sentence as named_words};
use crate::render::number::{THIN, about, three};
use crate::render::words::{
    beyond_run_words, burst_words, filling_words, partial_words, precision_words,
};

pub(super) fn section(context: &Context<'_>) -> String {
    let report = context.report;
    let origin = &report.origin;
    let ios: u64 = report.steady.iter().map(|steady| steady.ios).sum::<u64>()
        + report.switches.iter().map(|switch| switch.ios).sum::<u64>();
    let hops: u64 = report
        .steady
        .iter()
        .map(|steady| steady.frame_hops)
        .sum::<u64>()
        + report
            .switches
            .iter()
            .map(|switch| switch.frame_hops)
            .sum::<u64>();
    let mut facts = vec![
        ("version", format!("halfloom {}", esc(&origin.version))),
        ("scenario", esc(&origin.scenario)),
        ("digest of the scenario, SHA-256", esc(&origin.digest)),
        ("seed", origin.seed.to_string()),
        (
            "replications, steady and switch-over",
            format!("{} and {}", origin.replications, origin.switch_replications),
        ),
        ("I/Os simulated", about(ios)),
        ("frames × links crossed", about(hops)),
        (
            "percentiles lie too high by",
            format!("at most {}{THIN}%", three(report.percentile_error_percent)),
        ),
    ];
    if let Some(steady) = report.steady.first() {
        let found = steady
            .warm_up_found_s
            .map_or_else(|| "no say".to_owned(), |s| format!("{}{THIN}s", three(s)));
        facts.push((
            "measured window; warm-up found by MSER-5",
            format!(
                "{} to {}{THIN}s; {found}",
                three(steady.warm_up_s),
                three(steady.duration_s)
            ),
        ));
    }
    for (key, value) in &origin.set {
        facts.push((
            "set on the command line",
            format!("{} = {}", esc(key), esc(value)),
        ));
    }
    let facts: String = facts
        .iter()
        .map(|(name, value)| format!("<div><dt>{name}</dt><dd>{value}</dd></div>"))
        .collect();
    let partial = [
        partial_words(report),
        burst_words(report),
        beyond_run_words(report),
        filling_words(report),
    ];
    let partial: String = partial
        .iter()
        .flatten()
        .map(|words| format!("<p class=\"plain\"><b>{}</b></p>\n", esc(words)))
        .collect();
    let precision: String = report
        .precision
        .iter()
        .flat_map(precision_words)
        .map(|sentence| format!("<p class=\"plain\">{}</p>\n", named_words(&sentence)))
        .collect();
    let files: String = names(report)
        .iter()
        .map(|name| format!("<li><code>{}</code></li>", esc(name)))
        .collect();
    let body = format!(
        "<p class=\"plain\">The same version, scenario and seed give the same bytes, at any number of threads.</p>\n{partial}{precision}\
         <pre><code>{}</code></pre>\n<dl class=\"rep\">{facts}</dl>\n<h3>Files beside this page</h3>\n<ul class=\"files\">{files}</ul>\n",
        esc(&origin.command)
    );
    framed(
        "repeat",
        context.section(10),
        "How can anybody repeat it?",
        &body,
    )
}
