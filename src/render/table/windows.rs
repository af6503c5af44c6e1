//! Maintenance windows as text.

use super::align::{Aligned, wrapped};
use crate::outcome::{Origin, OutageWindows, Windows};
use crate::render::number::NONE;
use crate::render::words::{
    WINDOW_CAUTIONS, alike_hours, all_windows_words, clock, hour_fullest, hour_judged, hour_load,
    hour_longest, hour_margin, origin_line, tightest_words, verdict_word, windows_answer,
    windows_notes,
};

/// The answer, the 24 hours of each outage, what was run, and the cautions.
#[must_use]
pub fn windows_text(origin: &Origin, found: &Windows) -> String {
    let mut out = body(found);
    if found
        .outages
        .iter()
        .flat_map(|outage| &outage.hours)
        .any(|row| row.partial)
    {
        out.push_str("Partial: the limit of events stopped a run.\n");
    }
    out.push_str(&origin_line(origin));
    out.push('\n');
    out
}

/// The same without the foot.
pub(super) fn body(found: &Windows) -> String {
    let (flag, sentences) = windows_answer(found);
    let mut out = String::new();
    for (index, prose) in sentences.iter().enumerate() {
        let mark = if index == 0 {
            format!("{}: ", flag.word())
        } else {
            String::new()
        };
        out.push_str(&wrapped(&format!("{mark}{}", prose.plain()), 96));
    }
    out.push('\n');
    for outage in &found.outages {
        out.push_str(&hours(found, outage));
    }
    for line in windows_notes(found) {
        out.push_str(&wrapped(&line, 96));
    }
    out.push_str("\nBefore a fabric is taken out\n");
    for line in WINDOW_CAUTIONS {
        out.push_str(&wrapped(&format!("- {line}"), 96));
    }
    out
}

fn hours(found: &Windows, outage: &OutageWindows) -> String {
    let mut table = Aligned::new(&[
        "hour",
        ">load, %",
        "verdict",
        "state",
        "way there",
        ">margin",
        "tightest promise",
        ">longest I/O, s",
        "fullest part, busiest 20 ms",
        "judged",
    ]);
    // Hours with the same load, one after the other, have one row where they were judged by one run.
    let one_run = |from: usize, to: usize| {
        let mut others = outage.hours[from..to].iter();
        others.all(|row| row.figures_of_hour == outage.hours[from].figures_of_hour)
    };
    let alike = alike_hours(found).into_iter();
    let rows = alike.flat_map(|(from, to)| match one_run(from, to) {
        true => vec![(from, to)],
        false => (from..to).map(|hour| (hour, hour + 1)).collect(),
    });
    for (from, to) in rows {
        let row = &outage.hours[from];
        let end = outage.hours[to - 1].hour + 1;
        table.row(vec![
            format!("{}–{}", clock(row.hour), clock(end)),
            hour_load(row),
            verdict_word(row.verdict).to_owned(),
            verdict_word(row.state).to_owned(),
            row.switch_over.map_or_else(
                || NONE.to_owned(),
                |verdict| verdict_word(verdict).to_owned(),
            ),
            hour_margin(row),
            row.tightest
                .as_ref()
                .map_or_else(String::new, tightest_words),
            hour_longest(row),
            hour_fullest(row),
            hour_judged(row),
        ]);
    }
    table.text(&format!(
        "{}, {}: windows {}",
        outage.case.name,
        outage.takes,
        all_windows_words(outage)
    ))
}
