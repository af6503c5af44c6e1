//! Maintenance windows, in sentences.

use super::answer::Flag;
use super::measure::measure_name;
use super::pathless::cut_words;
use super::{Prose, listed, plural};
use crate::outcome::{
    HourRow, JudgedBy, MeasureKind, OutageWindows, Tightest, Verdict, Window, Windows,
};
use crate::render::number::{NONE, THIN, as_written, margin, three};

/// What is said where hours are given in which a fabric may be taken out.
pub const WINDOW_CAUTIONS: [&str; 6] = [
    "An estimate from stated inputs: it approves no change. The change window, and what may be done in it, is the site's decision.",
    "Factors are those of the busiest minutes of each hour of an ordinary day. Look at what really runs that night: backups, batch work, boot storms and the end of a month change it.",
    "Before: backups made and verified, every multipath device showing all its paths, and multipath proven to switch.",
    "One fabric in one window, never both. All paths back, and seen to be back, before the other is touched.",
    "Rather drain and disable ports than pull cables. Watch that I/O goes on; stop when it does not.",
    "The makers' support statements and release notes and the procedures of the site come first.",
];

/// The flag of a verdict.
#[must_use]
pub const fn verdict_flag(verdict: Verdict) -> Flag {
    match verdict {
        Verdict::Met => Flag::Met,
        Verdict::Missed => Flag::Missed,
        Verdict::Undecided => Flag::Undecided,
    }
}

/// `09:00`.
#[must_use]
pub fn clock(hour: u32) -> String {
    format!("{hour:02}:00")
}

/// `22:00–05:00 (7 h)`.
#[must_use]
pub fn window_words(window: &Window) -> String {
    let (from, to) = (clock(window.from_hour), clock(window.to_hour));
    format!("{from}–{to} ({}{THIN}h)", window.hours)
}

/// All windows of an outage, `none` where there is none.
#[must_use]
pub fn all_windows_words(outage: &OutageWindows) -> String {
    let all: Vec<String> = outage.windows.iter().map(window_words).collect();
    if all.is_empty() {
        "none".to_owned()
    } else {
        listed(&all)
    }
}

/// The answer: whether each outage has a window that is long enough, then a sentence for each.
#[must_use]
pub fn windows_answer(found: &Windows) -> (Flag, Vec<Prose>) {
    let flag = found
        .outages
        .iter()
        .map(|outage| verdict_flag(outage.verdict))
        .min()
        .unwrap_or(Flag::Unasked);
    let hours = if found.needed_hours == 1 {
        "an hour".to_owned()
    } else {
        format!("{} hours in a row", found.needed_hours)
    };
    let lacking: Vec<String> = found
        .outages
        .iter()
        .filter(|outage| outage.verdict != Verdict::Met)
        .map(|outage| outage.case.name.clone())
        .collect();
    let first = match flag {
        Flag::Unasked => Prose::new().text("There is no outage to find a window for."),
        Flag::Met => Prose::new().text(format!(
            "Each outage has at least {hours} in which every promise judged is met."
        )),
        Flag::Undecided => Prose::new()
            .text(format!(
                "Whether there {} {hours} in which every promise judged is met is undecided for ",
                if found.needed_hours == 1 { "is" } else { "are" }
            ))
            .strong(listed(&lacking))
            .text("; more replications would decide."),
        Flag::Missed | Flag::Saturated => Prose::new()
            .text(format!(
                "There {} not {hours} in which every promise judged is met with ",
                if found.needed_hours == 1 { "is" } else { "are" }
            ))
            .strong(listed(&lacking))
            .text("."),
    };
    let mut out = vec![first];
    out.extend(found.outages.iter().map(of_outage));
    (flag, out)
}

/// Hours one after the other with the same load, as first and end: they are judged alike.
#[must_use]
pub fn alike_hours(found: &Windows) -> Vec<(usize, usize)> {
    let load = |hour: usize| -> Vec<Option<f64>> {
        let factors = found
            .shapes
            .iter()
            .map(|shape| shape.factors.get(hour).copied());
        factors.collect()
    };
    let mut out: Vec<(usize, usize)> = Vec::new();
    for hour in 0..found.outages.first().map_or(0, |outage| outage.hours.len()) {
        match out.last_mut() {
            Some((from, to)) if load(*from) == load(hour) => *to = hour + 1,
            _ => out.push((hour, hour + 1)),
        }
    }
    out
}

fn of_outage(outage: &OutageWindows) -> Prose {
    let with = |wanted: Verdict| {
        let hours = outage.hours.iter().filter(|row| row.verdict == wanted);
        hours.count()
    };
    let open = match with(Verdict::Undecided) {
        0 => String::new(),
        some => format!("; {} undecided", plural(some, "hour")),
    };
    let full = |row: &&HourRow| row.verdict == Verdict::Met && is_nearly_full(row);
    let open = match outage.hours.iter().filter(full).count() {
        0 => open,
        some => format!(
            "{open}; in {} that {} met a part is nearly full",
            plural(some, "hour"),
            if some == 1 { "is" } else { "are" }
        ),
    };
    let name = &outage.case.name;
    let named = Prose::new().text(super::before_name(name)).strong(name);
    let said = match (&outage.longest, outage.windows.len()) {
        (None, _) => named.text(format!(": no hour is met{open}.")),
        (Some(_), 1) => named.text(format!(": {}{open}.", all_windows_words(outage))),
        (Some(longest), _) => named.text(format!(
            ": {}; the longest is {}{open}.",
            all_windows_words(outage),
            window_words(longest)
        )),
    };
    if outage.cut_off.is_empty() {
        return said;
    }
    let whom: Vec<String> = outage.cut_off.iter().map(cut_words).collect();
    said.then(Prose::new().text(format!("Without a path all the while: {}.", listed(&whom))))
}

/// `30 %`, or `0–100 %` where workloads differ.
#[must_use]
pub fn hour_load(row: &HourRow) -> String {
    let percent = |factor: f64| three(100.0 * factor);
    if row.least_factor == row.most_factor {
        percent(row.most_factor)
    } else {
        format!("{}–{}", percent(row.least_factor), percent(row.most_factor))
    }
}

/// `+12 %`, `at least +12 %` (that of a busier hour), `at most −3 %`; empty where there is none.
#[must_use]
pub fn hour_margin(row: &HourRow) -> String {
    if row.saturated {
        return "does not fit".to_owned();
    }
    let Some(tightest) = &row.tightest else {
        return String::new();
    };
    let bound = match tightest.judged_by {
        // What is done of what is promised, which shrinks with the work, does not go one way with the load.
        JudgedBy::BusierHour | JudgedBy::QuieterHour
            if tightest.measure == MeasureKind::Throughput =>
        {
            "about "
        }
        JudgedBy::BusierHour => "at least ",
        JudgedBy::QuieterHour => "at most ",
        JudgedBy::Simulated | JudgedBy::SameLoad | JudgedBy::NoWork => "",
    };
    tightest
        .margin_percent
        .map_or_else(String::new, |percent| format!("{bound}{}", margin(percent)))
}

/// `orders p99 2 ms`.
#[must_use]
pub fn tightest_words(tightest: &Tightest) -> String {
    let target = as_written(&tightest.target_text);
    format!(
        "{} {} {target}",
        tightest.workload,
        measure_name(tightest.measure)
    )
}

/// How an hour was judged: `simulated`, `as 03:00, busier`.
#[must_use]
pub fn hour_judged(row: &HourRow) -> String {
    let other = clock(row.figures_of_hour);
    match row.judged_by {
        JudgedBy::Simulated => "simulated".to_owned(),
        JudgedBy::SameLoad => format!("as {other}, same load"),
        JudgedBy::BusierHour => format!("by {other}, busier"),
        JudgedBy::QuieterHour => format!("by {other}, quieter"),
        JudgedBy::NoWork => "no work".to_owned(),
    }
}

/// Before a figure that is another hour's: no more than that of a busier one, no less than that of a quieter one.
const fn bound_words(judged_by: JudgedBy) -> &'static str {
    match judged_by {
        JudgedBy::BusierHour => "at most ",
        JudgedBy::QuieterHour => "at least ",
        JudgedBy::Simulated | JudgedBy::SameLoad | JudgedBy::NoWork => "",
    }
}

/// The fullest part of an hour and what it is asked for in the busiest 20 ms: `san-B > edge-B 67 %`, with `at most` where
/// that is of a busier hour; or nothing.
#[must_use]
pub fn hour_fullest(row: &HourRow) -> String {
    row.fullest.as_ref().map_or_else(String::new, |fullest| {
        let percent = three(fullest.most_asked_percent());
        let bound = bound_words(row.judged_by);
        let mark = if is_nearly_full(row) {
            ", nearly full"
        } else {
            ""
        };
        format!("{} {bound}{percent}{THIN}%{mark}", fullest.instance)
    })
}

/// [`hour_fullest`] where that part is nearly full: `san-B > edge-B 93 %, nearly full`.
#[must_use]
pub fn hour_nearly_full(row: &HourRow) -> Option<String> {
    is_nearly_full(row).then(|| hour_fullest(row))
}

/// A part that is asked for more than this in its busiest 20 ms is nearly full. A choice of this program.
const NEARLY_FULL_PERCENT: f64 = 90.0;

/// Whether some part is nearly full in an hour. Of an hour that a busier one answers for it is not known.
fn is_nearly_full(row: &HourRow) -> bool {
    let most = row.fullest.as_ref().map(|own| own.most_asked_percent());
    row.judged_by != JudgedBy::BusierHour && most.is_some_and(|most| most > NEARLY_FULL_PERCENT)
}

/// The longest I/O of the way there, seconds: `0.004`, with `at most` where that is of a busier hour; nothing simulated:
/// a dash.
#[must_use]
pub fn hour_longest(row: &HourRow) -> String {
    let bound = row.switch_judged_by.map_or("", bound_words);
    row.longest_io_s.map_or_else(
        || NONE.to_owned(),
        |seconds| format!("{bound}{}", three(seconds)),
    )
}

/// What was run, what was not judged, and what is taken for granted.
#[must_use]
pub fn windows_notes(found: &Windows) -> Vec<String> {
    let simulated: u32 = found.outages.iter().map(|outage| outage.simulated).sum();
    let ways: u32 = found
        .outages
        .iter()
        .map(|outage| outage.ways_simulated)
        .sum();
    let mut out = vec![format!(
        "{} over the day, {} simulated for {}: {} of {}{THIN}s each, with the outage in force all the while.",
        plural(found.loads as usize, "different load"),
        plural(simulated as usize, "load"),
        plural(found.outages.len(), "outage"),
        plural(found.replications as usize, "replication"),
        three(found.duration_s),
    )];
    out.push(if found.switch_judged {
        format!(
            "The way there was simulated too, for {}, {} each: the parts are drained, and lost a second later. The way back was not: \
             a return is a change of its own.",
            plural(ways as usize, "load"),
            plural(found.switch_replications as usize, "replication")
        )
    } else {
        "The way there was not judged, because nothing is promised about switching (for example switching = { longest_io = \"5s\", failed = 0 }), \
         and neither was the way back."
            .to_owned()
    });
    out.push(
        "Each verdict is of one hour and has its own 95\u{202F}%. Nothing else may fail meanwhile: failover --during OUTAGE loses each part while an outage is in force."
            .to_owned(),
    );
    let mut hours = found.outages.iter().flat_map(|outage| &outage.hours);
    if hours.any(is_nearly_full) {
        out.push(
            "Nearly full: a part is asked for more than 90\u{202F}% of its busiest 20 ms, which leaves little for anything that was not foreseen."
                .to_owned(),
        );
    }
    out.extend(found.notes.iter().map(|note| {
        let note = super::sentence(note);
        format!("{note}.")
    }));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_windows;

    /// A name is written as it is, and begins no sentence with a small letter.
    #[test]
    fn no_sentence_begins_with_a_small_letter() {
        let mut found = sample_windows();
        found.outages.truncate(1);
        for (name, begins) in [("feed lost", "With feed lost: "), ("A lost", "A lost: ")] {
            name.clone_into(&mut found.outages[0].case.name);
            let said = of_outage(&found.outages[0]).plain();
            assert!(said.starts_with(begins), "{said}");
        }
    }

    #[test]
    fn figures_of_another_hour_are_bounds() {
        let found = sample_windows();
        let hours = || found.outages[0].hours.iter();
        let by = |how: JudgedBy| hours().find(|row| row.judged_by == how);
        let busier = by(JudgedBy::BusierHour).expect("an hour that a busier one answers for");
        assert!(
            hour_fullest(busier).contains("edge-B at most "),
            "{}",
            hour_fullest(busier)
        );
        assert!(hour_longest(busier).starts_with("at most "));
        let quieter = by(JudgedBy::QuieterHour).expect("one that a quieter one answers for");
        assert!(hour_fullest(quieter).contains("edge-B at least "));
        let own = by(JudgedBy::Simulated).expect("one of its own");
        assert!(!hour_fullest(own).contains("at ") && !hour_longest(own).contains("at "));
    }

    #[test]
    fn an_hour_with_a_part_over_ninety_per_cent_is_marked_unless_a_busier_one_answers_for_it() {
        let mut found = crate::render::sample::sample_windows();
        let row = &mut found.outages[0].hours[0];
        row.judged_by = JudgedBy::Simulated;
        let marked = |row: &HourRow| hour_fullest(row).contains("nearly full");
        let with = |row: &mut HourRow, percent: f64| {
            let fullest = row.fullest.as_mut().expect("it has a fullest part");
            fullest.peak_percent = percent;
        };
        with(row, 90.0);
        assert!(!marked(row));
        with(row, 90.1);
        assert!(marked(row));
        let notes = |found: &Windows| windows_notes(found).concat();
        assert!(notes(&found).contains("Nearly full"));
        let row = &mut found.outages[0].hours[0];
        row.verdict = Verdict::Met;
        assert!(hour_nearly_full(row).is_some_and(|said| said.contains("nearly full")));
        let said = of_outage(&found.outages[0]).plain();
        assert!(said.contains(" met a part is nearly full"), "{said}");
        let row = &mut found.outages[0].hours[0];
        row.judged_by = JudgedBy::BusierHour;
        assert!(!marked(row) && hour_nearly_full(row).is_none());
    }
}
