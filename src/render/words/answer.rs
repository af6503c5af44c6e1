//! The headline and what goes with it.

use super::after::leaves_unjudged;
use super::measure::{cell_scale, measure_name, row_scale, who_waits};
use super::pathless::{left_without_path, no_path_is_left};
use super::reasons;
use super::undecided::undecided;
use super::{Prose, listed, plural, sentence};
use crate::outcome::{
    Begin, Case, Cell, Harm, Matrix, MeasureKind, Report, Row, Switch, SwitchWorkload, Verdict,
};
use crate::render::number::{Scale, as_written, two, whole_percent};
use std::cmp::Ordering;

/// The verdict of a whole study in one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flag {
    /// Some work does not fit at all.
    Saturated,
    /// A promise is missed.
    Missed,
    /// No promise is missed, and one is too close to call.
    Undecided,
    /// Every promise is met.
    Met,
    /// Nothing was promised, so nothing is judged.
    Unasked,
}

impl Flag {
    /// The word shown.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Saturated => "saturated",
            Self::Missed => "missed",
            Self::Undecided => "undecided",
            Self::Met => "met",
            Self::Unasked => "no promise stated",
        }
    }

    /// The flag of one judgement.
    #[must_use]
    pub const fn of(cell: &Cell) -> Self {
        match cell.verdict {
            _ if cell.saturated => Self::Saturated,
            Verdict::Missed => Self::Missed,
            Verdict::Undecided => Self::Undecided,
            Verdict::Met => Self::Met,
        }
    }
}

/// The whole answer, sentence by sentence.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// In one word.
    pub flag: Flag,
    /// The worst case, or that all holds.
    pub headline: Prose,
    /// What else holds and what else does not.
    pub holds: Prose,
    /// The cause in one number; empty when there is no part to name.
    pub cause: Prose,
    /// The cheapest change that was simulated and its result, or that none was.
    pub mend: Prose,
    /// On how many replications and which guess it rests.
    pub sure: Prose,
    /// Row and column of the judgement that the headline is about.
    pub worst: Option<(usize, usize)>,
    /// Index of the fullest part in that case.
    pub part: Option<usize>,
}

/// Says what the study found.
#[must_use]
pub fn answer(report: &Report) -> Answer {
    let worst = worst_cell(&report.matrix);
    let flag = worst.map_or_else(
        || saturated_case(report).map_or(Flag::Unasked, |_| Flag::Saturated),
        |(row, case)| {
            let cell = report.matrix.rows[row].cells[case].as_ref();
            cell.map_or(Flag::Unasked, Flag::of)
        },
    );
    let case = worst.map_or_else(|| saturated_case(report).unwrap_or(0), |(_, case)| case);
    let part = reasons::fullest(report, case);
    Answer {
        flag,
        headline: headline(report, flag, worst).then(planned(report)),
        holds: holds(report, flag, worst),
        cause: reasons::cause(report, flag, worst, part),
        mend: reasons::mend(report, flag, worst),
        sure: reasons::sure(report, worst),
        worst,
        part,
    }
}

/// That the losses are planned ones, where they are.
fn planned(report: &Report) -> Prose {
    let losses = || report.switches.iter().filter(|own| !own.case.is_scripted());
    let drained = losses().all(|own| own.counted_from == Begin::Drain);
    if !drained || losses().next().is_none() {
        return Prose::new();
    }
    Prose::new().text(format!(
        "{} planned: the parts are drained {}\u{202F}s before they are lost.",
        if losses().count() == 1 {
            "The loss is"
        } else {
            "The losses are"
        },
        Switch::DRAIN_S
    ))
}

/// The judgement to speak of first: saturated before missed before undecided before met, then by the margin;
/// the first in the matrix's order when equal. `None` when nothing was promised.
#[must_use]
pub fn worst_cell(matrix: &Matrix) -> Option<(usize, usize)> {
    let mut all: Vec<(usize, usize, Flag, f64)> = Vec::new();
    for (row_index, row) in matrix.rows.iter().enumerate() {
        for (case, cell) in row.cells.iter().enumerate() {
            if let Some(cell) = cell {
                all.push((row_index, case, Flag::of(cell), reach(cell)));
            }
        }
    }
    all.sort_by(|a, b| a.2.cmp(&b.2).then(a.3.total_cmp(&b.3)));
    all.first().map(|&(row, case, ..)| (row, case))
}

/// Margin for ordering. A missed figure without a margin (beyond what was measured, or where none at all was
/// allowed) is worse than any; a met one is not the tightest.
fn reach(cell: &Cell) -> f64 {
    cell.margin_percent.unwrap_or(match cell.verdict {
        Verdict::Met => f64::INFINITY,
        Verdict::Missed | Verdict::Undecided => f64::NEG_INFINITY,
    })
}

/// The first steady case that is saturated, by index into the matrix's cases.
fn saturated_case(report: &Report) -> Option<usize> {
    report.steady.iter().position(|steady| steady.saturated)
}

fn headline(report: &Report, flag: Flag, worst: Option<(usize, usize)>) -> Prose {
    let matrix = &report.matrix;
    let Some((row_index, case_index)) = worst else {
        return saturated_case(report).map_or_else(
            || Prose::new().text("Nothing was promised, so there is no verdict."),
            |case| does_not_fit(report, &report.steady[case].case),
        );
    };
    let (row, case) = (&matrix.rows[row_index], &matrix.cases[case_index]);
    let Some(cell) = &row.cells[case_index] else {
        return Prose::new();
    };
    match flag {
        Flag::Saturated => does_not_fit(report, case),
        Flag::Missed => missed(report, row, case_index, cell),
        Flag::Undecided => undecided(row, case, cell),
        Flag::Met | Flag::Unasked => all_met(matrix, row, case, cell),
    }
}

/// Workloads of a case that no path is left for when its switch-over ends, something of them hanging to the end; with
/// what the times of that switch-over are counted from.
pub(super) fn without_path<'a>(
    report: &'a Report,
    case: &Case,
) -> Vec<(&'a SwitchWorkload, Begin)> {
    let mut switches = report.switches.iter();
    let Some(switch) = switches.find(|switch| switch.case.name == case.name) else {
        return Vec::new();
    };
    let works = switch.workloads.iter();
    works
        .filter(|work| work.no_path && work.longest_open.contains(&true))
        .map(|work| (work, switch.counted_from))
        .collect()
}

fn does_not_fit(report: &Report, case: &Case) -> Prose {
    let cut_off = without_path(report, case);
    if !cut_off.is_empty() && cut_off.iter().all(|(work, _)| work.partly_without_path()) {
        let said: Vec<String> = cut_off
            .iter()
            .map(|(work, _)| no_path_is_left(work))
            .collect();
        return Prose::new().text(format!(
            "{} {}, and what is asked for there waits.",
            sentence(&with_case(case)),
            said.join("; ")
        ));
    }
    if !cut_off.is_empty() {
        let names: Vec<String> = cut_off.iter().map(|(work, _)| work.name.clone()).collect();
        let them = if names.len() == 1 { "it is" } else { "them is" };
        return Prose::new().text(format!(
            "{} no path is left for {}, and nothing of {them} done.",
            sentence(&with_case(case)),
            listed(&names)
        ));
    }
    if ran_too_short(report, case) {
        // What waits at the end of such a run shows nothing.
        return Prose::new().text(format!(
            "{} the work does not fit, by arithmetic: more is asked for than can be done. The run is too short to show how waiting grows.",
            sentence(&with_case(case))
        ));
    }
    let carrier = match (case.carries, &case.outage) {
        (Some(side), _) => format!("{side} can carry"),
        (None, Some(_)) => "what is left can carry".to_owned(),
        (None, None) if case.is_scripted() => "what they leave can carry".to_owned(),
        (None, None) => "the site can carry, with nothing lost".to_owned(),
    };
    let (by, short) = super::precision::only_by_arithmetic(report, case);
    Prose::new().text(format!(
        "{} the work does not fit{by}: it arrives faster than {carrier}, and waiting grows without end{short}.",
        sentence(&with_case(case))
    ))
}

/// Whether each workload that does not fit in a case has I/Os that the array works on for longer than the run can show.
fn ran_too_short(report: &Report, case: &Case) -> bool {
    let steady = report.steady.iter().find(|steady| steady.case == *case);
    let full = || {
        let works = steady.into_iter().flat_map(|steady| &steady.workloads);
        works.filter(|work| work.saturated)
    };
    full().next().is_some() && full().all(|work| work.service_beyond_run_s.is_some())
}

/// `with A lost`, `with everything healthy`, `with the scripted events`.
pub(super) fn with_case(case: &Case) -> String {
    match case.outage {
        None if case.is_scripted() => "with the scripted events".to_owned(),
        Some(_) => format!("with {}", case.name),
        None => "with everything healthy".to_owned(),
    }
}

/// True when fabric A and fabric B are each lost as a whole in some case.
pub(super) fn both_sides(matrix: &Matrix) -> bool {
    let lost = |side| matrix.cases.iter().any(|case| case.lost == Some(side));
    lost('A') && lost('B')
}

/// Whether the loss of A and of B say the same of a promise, to two digits of the figure.
fn either_side(matrix: &Matrix, row: &Row, case_index: usize) -> bool {
    let scale = row_scale(row);
    let said = |index: usize| {
        let cell = row.cells[index].as_ref()?;
        let figure = cell.value.map(|figure| two(figure.value / scale.divisor));
        (Flag::of(cell) == Flag::Missed).then_some((figure, cell.target_text.clone()))
    };
    let here = said(case_index);
    let same = |side| {
        let at = |case: &Case| case.lost == Some(side);
        let index = matrix.cases.iter().position(at);
        index.is_some_and(|index| said(index) == here)
    };
    matrix.cases[case_index].lost.is_some() && same('A') && same('B')
}

/// That the loss of a case is a silent one, where its switch-over says so.
fn silently(report: &Report, case_index: usize) -> &'static str {
    let case = &report.matrix.cases[case_index];
    let mut switches = report.switches.iter();
    let silent = switches.any(|switch| switch.case == *case && switch.silent);
    if silent && !case.is_scripted() {
        " silently"
    } else {
        ""
    }
}

/// The condition of a missed promise, widened to "either fabric" only where both say the same.
fn condition(matrix: &Matrix, row: &Row, case_index: usize) -> String {
    let case = &matrix.cases[case_index];
    if case.is_scripted() {
        return "With the scripted events".to_owned();
    }
    let Some(outage) = &case.outage else {
        return "Even with everything healthy".to_owned();
    };
    match case.lost {
        Some(_) if either_side(matrix, row, case_index) => "If either fabric is lost".to_owned(),
        Some(side) => format!("If fabric {side} is lost"),
        None if case.name.starts_with(&format!("{outage} lost")) => {
            format!("If {outage} is lost")
        }
        None => format!("With {}", case.name),
    }
}

/// The judgement whose figure is said of a missed promise: where the loss of either fabric is spoken of, the shorter
/// wait of the two, as "or longer" then holds for both.
fn spoken_of<'a>(matrix: &Matrix, row: &'a Row, case_index: usize, cell: &'a Cell) -> &'a Cell {
    if !matches!(row.measure, MeasureKind::Quantile(_)) || !either_side(matrix, row, case_index) {
        return cell;
    }
    let value = |cell: &Cell| cell.value.map_or(f64::INFINITY, |figure| figure.value);
    let sides = row.cells.iter().zip(&matrix.cases);
    sides
        .filter(|(_, case)| case.lost.is_some())
        .filter_map(|(cell, _)| cell.as_ref())
        .min_by(|a, b| value(a).total_cmp(&value(b)))
        .unwrap_or(cell)
}

/// What the figure means to somebody who waits, without the promise.
pub(super) fn felt(measure: MeasureKind, cell: &Cell, scale: Scale) -> String {
    // Two digits read well, unless they make a figure look like its target.
    let short = |value: f64| {
        if scale.two(value) == scale.two(cell.target) {
            crate::render::number::with_unit(&scale.apart(value, cell.target), scale.unit)
        } else {
            scale.two(value)
        }
    };
    let (value, more) = match (cell.value, cell.beyond) {
        (Some(figure), _) => (short(figure.value), ""),
        (None, Some(beyond)) => (short(beyond), "more than "),
        (None, None) => ("longer than was measured".to_owned(), ""),
    };
    match measure {
        MeasureKind::Quantile(q) => match cell.value {
            // Rounded as in every table: two figures for one would be one too many.
            Some(figure) => {
                let least =
                    crate::render::number::with_unit(&scale.three(figure.value), scale.unit);
                format!("{} {least} or longer", who_waits(q))
            }
            None => format!("{} {more}{value}", who_waits(q)),
        },
        MeasureKind::Mean => format!("a request takes {more}{value} on average"),
        MeasureKind::Throughput => format!("it gets through {more}{value}"),
        MeasureKind::LongestIo if more.is_empty() => format!("requests wait up to {value}"),
        MeasureKind::LongestIo => format!("requests wait {more}{value}"),
        MeasureKind::Failed if value == "1" && more.is_empty() => "1 request fails".to_owned(),
        MeasureKind::Failed => format!("{more}{value} requests fail"),
    }
}

/// Why nothing is completed of what a row is about.
pub(crate) fn cut_off_words(row: &Row) -> &'static str {
    if row.switching {
        "nobody is left to do the work of its lost hosts"
    } else {
        "not one request is completed"
    }
}

fn missed(report: &Report, row: &Row, case_index: usize, cell: &Cell) -> Prose {
    let matrix = &report.matrix;
    let condition = |matrix, row, case| condition(matrix, row, case) + silently(report, case);
    if cell.is_cut_off() {
        return Prose::new()
            .text(format!("{}, workload ", condition(matrix, row, case_index)))
            .name(&row.workload)
            .text(format!(" is cut off: {}.", cut_off_words(row)));
    }
    if let Some(failed) = cell.beyond_by_failing() {
        let ios = plural(usize::try_from(failed).unwrap_or(usize::MAX), "I/O");
        let (fails, runs) = match failed {
            1 => ("fails", ""),
            _ if cell.replications > 1 => ("fail", ", all replications together"),
            _ => ("fail", ""),
        };
        return Prose::new()
            .text(format!("{}, workload ", condition(matrix, row, case_index)))
            .name(&row.workload)
            .text(format!(
                " loses work: {ios} {fails}{runs}, so that {} is beyond what was measured, where {} is promised.",
                measure_name(row.measure),
                as_written(&cell.target_text)
            ));
    }
    let switches = row.switching && !only_slow(report, &matrix.cases[case_index]);
    let verdict = match row.measure {
        MeasureKind::Failed => " loses work: ",
        MeasureKind::LongestIo if switches => " stalls too long: ",
        MeasureKind::LongestIo => " waits too long: ",
        _ => " is too slow: ",
    };
    let promised = if cell.target == 0.0 {
        "none".to_owned()
    } else {
        as_written(&cell.target_text)
    };
    let during = if switches {
        " during the switch-over"
    } else {
        ""
    };
    Prose::new()
        .text(format!("{}, workload ", condition(matrix, row, case_index)))
        .name(&row.workload)
        .text(format!(
            "{verdict}{}{during}, where {promised} is promised.",
            felt(
                row.measure,
                spoken_of(matrix, row, case_index, cell),
                cell_scale(cell)
            )
        ))
}

/// Whether nothing is lost in a case, but slow or damaging frames: nothing switches over then.
fn only_slow(report: &Report, case: &Case) -> bool {
    let mut switches = report.switches.iter();
    switches.any(|switch| switch.case == *case && switch.harm == Harm::Slow)
}

/// `p99 of bookings`, as prose.
pub(super) fn figure_of(row: &Row) -> Prose {
    Prose::new()
        .text(format!("{} of ", measure_name(row.measure)))
        .name(&row.workload)
}

fn all_met(matrix: &Matrix, row: &Row, case: &Case, cell: &Cell) -> Prose {
    let outages = matrix.cases.iter().filter(|c| c.outage.is_some()).count();
    let opening = match (both_sides(matrix), outages) {
        (_, 0) if leaves_unjudged(matrix) => "Every promise that is judged holds",
        (_, 0) => "Every promise holds",
        (true, 2) => "With either fabric lost, every promise still holds",
        (_, 1) => "Every promise holds, healthy and in the outage studied",
        _ => "Every promise holds, healthy and in every outage studied",
    };
    let Some(margin) = cell.margin_percent else {
        return Prose::new().text(format!("{opening}."));
    };
    Prose::new()
        .text(format!("{opening}; the tightest is "))
        .then_tight(figure_of(row))
        .text(format!(
            " {}, {}\u{202F}% inside.",
            with_case(case),
            whole_percent(margin)
        ))
}

impl Prose {
    /// Appends without a space.
    pub(super) fn then_tight(mut self, next: Self) -> Self {
        self.0.extend(next.0);
        self
    }
}

/// How many judgements there are, and of which workloads those with `flag` are.
fn with_flag(matrix: &Matrix, flag: Flag) -> (usize, Vec<String>) {
    let (mut count, mut names) = (0, Vec::<String>::new());
    for row in &matrix.rows {
        let here = row
            .cells
            .iter()
            .flatten()
            .filter(|cell| Flag::of(cell) == flag)
            .count();
        count += here;
        if here > 0 && !names.contains(&row.workload) {
            names.push(row.workload.clone());
        }
    }
    (count, names)
}

fn holds(report: &Report, flag: Flag, worst: Option<(usize, usize)>) -> Prose {
    if worst.is_none() {
        return switch_words(report);
    }
    healthy_words(report, flag)
        .then(count_words(&report.matrix, flag))
        .then(switch_words(report))
}

fn healthy_words(report: &Report, flag: Flag) -> Prose {
    let matrix = &report.matrix;
    let scripted = matrix.cases.iter().any(Case::is_scripted);
    if flag == Flag::Met || matrix.cases.len() < 2 || matrix.cases[0].outage.is_some() {
        return Prose::new();
    }
    let cells: Vec<&Cell> = matrix
        .rows
        .iter()
        .filter_map(|row| row.cells[0].as_ref())
        .collect();
    let met = cells.iter().filter(|c| Flag::of(c) == Flag::Met).count();
    Prose::new().text(match met {
        _ if cells.is_empty() => return Prose::new(),
        all if all == cells.len() && scripted => {
            "Without the events every promise is met.".to_owned()
        }
        all if all == cells.len() => "With everything healthy every promise is met.".to_owned(),
        0 if cells.iter().all(|c| Flag::of(c) == Flag::Undecided) => {
            "With everything healthy not one promise is decided.".to_owned()
        }
        0 => "Not one promise is met with everything healthy.".to_owned(),
        some => format!(
            "With everything healthy {some} of {} are met.",
            plural(cells.len(), "promise")
        ),
    })
}

/// "Of 22 judgements 2 are missed, of bookings; 1 is undecided, of fleet."
fn count_words(matrix: &Matrix, flag: Flag) -> Prose {
    let asked: usize = matrix
        .rows
        .iter()
        .map(|r| r.cells.iter().flatten().count())
        .sum();
    if flag == Flag::Met {
        let cases = plural(matrix.cases.len(), "case");
        return Prose::new().text(format!(
            "{} in {cases}, all met.",
            plural(asked, "judgement")
        ));
    }
    let mut out = Prose::new().text(format!("Of {} ", plural(asked, "judgement")));
    let mut first = true;
    for kind in [Flag::Saturated, Flag::Missed, Flag::Undecided] {
        let (count, names) = with_flag(matrix, kind);
        if count == 0 {
            continue;
        }
        let verb = if count == 1 { "is" } else { "are" };
        let gap = if first { "" } else { "; " };
        first = false;
        out = out
            .text(format!("{gap}{count} {verb} {}, of ", kind.word()))
            .name(listed(&names));
    }
    out.text(".")
}

/// What a switch-over does, over all of them.
fn switch_words(report: &Report) -> Prose {
    let workloads = || report.switches.iter().flat_map(|switch| &switch.workloads);
    let longest = workloads()
        .flat_map(|w| w.longest_io_s.iter().copied())
        .max_by(f64::total_cmp)
        .filter(|longest| longest.partial_cmp(&0.0) == Some(Ordering::Greater));
    let Some(longest) = longest else {
        return Prose::new();
    };
    let failed: u64 = workloads().flat_map(|w| w.failed.iter().copied()).sum();
    let open = workloads().any(|w| w.longest_open.contains(&true));
    let more = if open { "more than " } else { "" };
    let longest = format!("{more}{}", Scale::of("s", [longest]).two(longest));
    // Where links are only slow or damage frames, nothing switches over.
    let slow = |switch: &Switch| switch.harm == Harm::Slow;
    let when = match report.switches.iter().all(slow) {
        true => "Meanwhile",
        false => "In the switch-over",
    };
    let said = Prose::new().text(if failed == 0 {
        format!("{when} no I/O fails, and the longest takes {longest}.")
    } else {
        let (ios, fail) = if failed == 1 {
            ("I/O", "fails")
        } else {
            ("I/Os", "fail")
        };
        let runs = report.switches.iter().map(|switch| switch.replications);
        let together = if runs.max() == Some(1) {
            ""
        } else {
            ", all replications together"
        };
        format!(
            "{when} {} {ios} {fail}{together}, and the longest takes {longest}.",
            crate::render::number::count(failed)
        )
    });
    said.then(stopped_words(report))
        .then(left_without_path(report))
        .then(unasked_words(report))
}

/// Work that its lost hosts do not ask for: no latency and no failure tells of it.
fn unasked_words(report: &Report) -> Prose {
    let (mut names, mut most, mut gone) = (Vec::<String>::new(), 0, false);
    for work in report.switches.iter().flat_map(|switch| &switch.workloads) {
        let unasked = work.unasked.iter().copied().max().unwrap_or(0);
        if unasked > 0 {
            gone |= work.hosts_gone > 0;
            most = most.max(unasked);
            if !names.contains(&work.name) {
                names.push(work.name.clone());
            }
        }
    }
    if names.is_empty() {
        return Prose::new();
    }
    let ios = plural(usize::try_from(most).unwrap_or(usize::MAX), "I/O");
    Prose::new()
        .text("Hosts of ")
        .name(listed(&names))
        .text(format!(
            " are out of service themselves: up to {ios} in a run {} not asked for{}.",
            if most == 1 { "is" } else { "are" },
            if gone {
                ", and nobody is left to do that work"
            } else {
                " meanwhile, which no promise counts"
            }
        ))
}

/// From this silence on a workload that stopped is spoken of, s: shorter ones are the time that its I/Os take. A choice of this
/// program.
const SILENT_S: f64 = 0.1;

/// The workloads that stop as a whole in some switch-over, how often, and for how long: no promise need speak of it.
fn stopped_words(report: &Report) -> Prose {
    let (mut names, mut longest) = (Vec::<String>::new(), 0.0_f64);
    let mut times: Vec<usize> = Vec::new();
    for work in report.switches.iter().flat_map(|switch| &switch.workloads) {
        if work.stopped() && work.longest_silence_s >= SILENT_S {
            longest = longest.max(work.longest_silence_s);
            let long = work.stops.iter().filter(|stop| stop.s >= SILENT_S);
            times.push(long.count().max(1));
            if !names.contains(&work.name) {
                names.push(work.name.clone());
            }
        }
    }
    let Some(most) = times.iter().max() else {
        return Prose::new();
    };
    let often = match most {
        1 => String::new(),
        many if times.iter().all(|own| own == many) => format!(" {many} times"),
        many => format!(" up to {many} times"),
    };
    let verb = if names.len() == 1 { "stops" } else { "stop" };
    Prose::new().name(listed(&names)).text(format!(
        " {verb} as a whole{often} meanwhile: up to {} without one I/O completed.",
        Scale::of("s", [longest]).two(longest)
    ))
}

#[cfg(test)]
#[path = "answer_tests.rs"]
mod tests;
