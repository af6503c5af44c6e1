//! The verdict in words: what a study found, as sentences for a page, a slide or a terminal.
//!
//! The order is fixed: the worst case, then what holds, then the cause in one number, then the cheapest
//! change that was simulated, then which guess it all rests on. A change is only named when it was
//! simulated. Left out: layout, and every word that promises more than an estimate can.

mod after;
mod answer;
mod bursts;
mod differences;
mod headroom;
mod limits;
mod measure;
mod mends;
mod pathless;
mod precision;
mod reasons;
mod singles;
mod spike;
mod theory;
mod undecided;
mod windows;

pub(crate) use answer::cut_off_words;
pub use answer::{Answer, Flag, answer, worst_cell};
pub(crate) use bursts::{burst_foot, days_foot};
pub use bursts::{burst_words, burst_words_of, unseen_in};
pub use differences::{lack_word, two_figures};
pub use headroom::{
    EVERY, beside_words, counted, counted_met, counted_missed, every_promise_of, growth_axis,
    growth_stopped_words, growth_unit, hole_words, load_in, missed_today, no_crossing,
    no_load_keeps, proven_sentences, proven_sentences_below, stopped_words, switch_breaks,
    switch_clause, switch_remark, switch_sentence, switch_value, today_word, verdict_word,
};
pub use limits::NOT_MODELLED;
pub use measure::{case_mark, cell_scale, measure_name, row_scale, target_of, target_words};
pub use mends::{mend_cell, mend_search_words, mend_takes, mend_worst, set_words};
pub use pathless::cut_words;
pub(crate) use pathless::{hosts_without_path, no_path_is_left};
pub use precision::{
    GROWTH_TITLE, beyond_run_words, filling_words, growth_words, partial_words, precision_words,
    short_span_words,
};
pub use reasons::fullest_part;
pub(crate) use reasons::switch_cause;
pub use singles::{
    column_flag, fullest_words, limit_of_row, limit_words, row_head, singles_answer, singles_runs,
    stall_words,
};
pub(crate) use spike::{
    least_and_most, least_bin, over_timers, sent_twice, stalls_by_timers, still_slow,
    stop_and_spike,
};
pub use theory::{
    theory_figure, theory_simulated, theory_simulated_line, theory_value, trust_words,
};
pub(crate) use undecided::left_open_words;
pub use windows::{
    WINDOW_CAUTIONS, alike_hours, all_windows_words, clock, hour_fullest, hour_judged, hour_load,
    hour_longest, hour_margin, hour_nearly_full, tightest_words, verdict_flag, window_words,
    windows_answer, windows_notes,
};

/// A stretch of a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Span {
    /// Ordinary words.
    Text(String),
    /// A name from the scenario, which a page sets apart.
    Name(String),
    /// What matters most in the sentence, which a page may set bold.
    Strong(String),
}

/// A sentence or two, with the names in it marked as such.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Prose(pub Vec<Span>);

impl Prose {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Ordinary words.
    #[must_use]
    pub fn text(mut self, text: impl Into<String>) -> Self {
        self.0.push(Span::Text(text.into()));
        self
    }

    /// A name from the scenario.
    #[must_use]
    pub fn name(mut self, name: impl Into<String>) -> Self {
        self.0.push(Span::Name(name.into()));
        self
    }

    /// Words that matter most.
    #[must_use]
    pub fn strong(mut self, text: impl Into<String>) -> Self {
        self.0.push(Span::Strong(text.into()));
        self
    }

    /// Appends another, with a space between two that are not empty.
    #[must_use]
    pub fn then(mut self, next: Self) -> Self {
        if !self.0.is_empty() && !next.0.is_empty() {
            self.0.push(Span::Text(" ".to_owned()));
        }
        self.0.extend(next.0);
        self
    }

    /// True when there is nothing to say.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The words alone.
    #[must_use]
    pub fn plain(&self) -> String {
        self.0
            .iter()
            .map(|span| match span {
                Span::Text(text) | Span::Name(text) | Span::Strong(text) => text.as_str(),
            })
            .collect()
    }
}

/// A text in which names stand between back quotes, as messages have them.
#[must_use]
pub fn named(text: &str) -> Prose {
    let pieces = text.split('`').enumerate();
    pieces
        .filter(|(_, piece)| !piece.is_empty())
        .fold(Prose::new(), |prose, (index, piece)| {
            if index % 2 == 1 {
                prose.name(piece)
            } else {
                prose.text(piece)
            }
        })
}

/// Who says so, with the line of the scenario unless that is named already.
#[must_use]
pub fn says_who(row: &crate::outcome::AssumptionRow) -> String {
    match row.line {
        Some(line) if !row.source.contains(&format!("line {line}")) => {
            format!("{}, line {line}", row.source)
        }
        _ => row.source.clone(),
    }
}

/// A timer and its value, `fast-io-fail, 5s`, with the unit set off.
#[must_use]
pub fn timer_words(timer: &str) -> String {
    timer
        .split(' ')
        .map(super::number::as_written)
        .collect::<Vec<_>>()
        .join(" ")
}

/// A time in seconds to three digits, "> " before it where it was not over.
#[must_use]
pub fn or_more(seconds: f64, open: bool) -> String {
    let seconds = super::number::three(seconds);
    if open {
        format!("> {seconds}")
    } else {
        seconds
    }
}

/// The longest I/O of a workload in a switch-over, seconds.
#[must_use]
pub fn longest_of(workload: &crate::outcome::SwitchWorkload) -> String {
    let longest = workload.longest_io_s.iter().copied().fold(0.0, f64::max);
    or_more(longest, workload.longest_open.contains(&true))
}

/// Two sentences after one another: the first gets its full stop if it has none.
#[must_use]
pub fn sentences(first: &str, second: &str) -> String {
    let first = first.trim_end();
    let stop = if first.is_empty() || first.ends_with(['.', '!', '?']) {
        ""
    } else {
        "."
    };
    format!("{first}{stop} {second}").trim().to_owned()
}

/// First letter upper case.
#[must_use]
pub fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}

/// A sentence that begins with a case: a name is written as it is, and begins no sentence with a small letter.
#[must_use]
pub fn begun_with(case: &str) -> String {
    format!("{}{case}", before_name(case))
}

/// What stands before a case at the beginning of a sentence.
#[must_use]
pub(crate) fn before_name(case: &str) -> &'static str {
    if case.starts_with(char::is_lowercase) {
        "With "
    } else {
        ""
    }
}

/// `a`, `a and b`, `a, b and c`.
#[must_use]
pub fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [head @ .., last] => format!("{} and {last}", head.join(", ")),
    }
}

/// `1 promise`, `3 promises`, `2 switches`.
#[must_use]
pub fn plural(count: usize, one: &str) -> String {
    let number = super::number::count(count as u64);
    match count {
        1 => format!("{number} {one}"),
        _ if one.ends_with("ch") => format!("{number} {one}es"),
        _ => format!("{number} {one}s"),
    }
}

/// Overrides that a foot names one by one. A choice of this program.
const SET_SHOWN: usize = 4;

/// The foot of everything shown: `estimate · scenario, with key=value · seed · replications · version · digest`.
#[must_use]
pub fn origin_line(origin: &crate::outcome::Origin) -> String {
    foot(origin, &plural(origin.replications as usize, "replication"))
}

/// The same where switch-overs were simulated too, with their number of replications if it is another one.
#[must_use]
pub fn origin_line_of_both(origin: &crate::outcome::Origin) -> String {
    let (steady, switch) = (origin.replications, origin.switch_replications);
    if steady == switch {
        return origin_line(origin);
    }
    let steady = plural(steady as usize, "replication");
    foot(origin, &format!("{steady}, {switch} of a switch-over"))
}

/// The foot of a report.
#[must_use]
pub fn report_line(report: &crate::outcome::Report) -> String {
    if report.switches.is_empty() {
        origin_line(&report.origin)
    } else {
        origin_line_of_both(&report.origin)
    }
}

fn foot(origin: &crate::outcome::Origin, replications: &str) -> String {
    let digest: String = origin.digest.chars().take(8).collect();
    format!(
        "estimate · {}{} · seed {} · {replications} · halfloom {} · digest {digest}",
        origin.scenario,
        overrides(origin),
        origin.seed,
        origin.version
    )
}

/// `, with link.uplink.members=4`: what was set on the command line, so that the figures are not those of the file.
fn overrides(origin: &crate::outcome::Origin) -> String {
    let shown = origin.set.iter().take(SET_SHOWN);
    let mut all: Vec<String> = shown.map(|(key, value)| format!("{key}={value}")).collect();
    match origin.set.len().saturating_sub(SET_SHOWN) {
        0 => {}
        more => all.push(format!("{more} more")),
    }
    if all.is_empty() {
        return String::new();
    }
    format!(", with {}", listed(&all))
}
