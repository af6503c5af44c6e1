//! The cause, the remedy, and what it all rests on.

use super::answer::{Flag, figure_of, with_case, without_path, worst_cell};
use super::measure::row_scale;
use super::pathless::{no_path_is_left, no_path_was_left};
use super::{Prose, named, plural, sentence, timer_words};
use crate::outcome::{
    AssumptionRow, Begin, Growth, LeftOpen, MeasureKind, Mend, PartUse, Report, Row, Steady,
    SwitchWorkload, UseInCase, WorkStop,
};
use crate::render::number::{at_place, count, is_over, three_down, two, two_down, whole_percent};

/// Guesses named in the verdict; the page lists all.
const GUESSES_SHOWN: usize = 3;

/// Index of the part that is fullest in the busiest 20 ms of case `case`.
pub(super) fn fullest(report: &Report, case: usize) -> Option<usize> {
    let peak = |index: usize| used(report, index, case).map(|used| used.peak_percent);
    let mut best: Option<(usize, f64)> = None;
    for index in 0..report.parts.len() {
        if let Some(peak) = peak(index)
            && best.is_none_or(|(_, most)| peak > most)
        {
            best = Some((index, peak));
        }
    }
    best.map(|(index, _)| index)
}

/// The fullest part of case `case` with its use there.
#[must_use]
pub fn fullest_part(report: &Report, case: usize) -> Option<(&PartUse, &UseInCase)> {
    let index = fullest(report, case)?;
    Some((&report.parts[index], used(report, index, case)?))
}

fn used(report: &Report, part: usize, case: usize) -> Option<&UseInCase> {
    report.parts.get(part)?.cases.get(case)?.as_ref()
}

/// The cause in one number.
pub(super) fn cause(
    report: &Report,
    flag: Flag,
    worst: Option<(usize, usize)>,
    part: Option<usize>,
) -> Prose {
    let case = worst.map_or(0, |(_, case)| case);
    let row = worst.map(|(row, _)| &report.matrix.rows[row]);
    if let Some(row) = row.filter(|row| row.switching && flag != Flag::Met) {
        return stall(report, case, row);
    }
    let cases = &report.matrix.cases;
    if flag == Flag::Saturated
        && let Some(case) = cases.get(case)
        && let Some((work, from)) = without_path(report, case).first()
    {
        return Prose::new().text(sentence(&stall_ends(work, *from)));
    }
    let Some((part, used)) = part.and_then(|i| Some((&report.parts[i], used(report, i, case)?)))
    else {
        return Prose::new();
    };
    let (peak, mean) = (
        whole_percent(used.peak_percent),
        whole_percent(used.asked_percent()),
    );
    let known = cases
        .get(case)
        .and_then(|own| report.steady.iter().find(|s| s.case.name == own.name));
    if known.is_some_and(|steady| steady.unmeasured) {
        let begins = match is_over(used.asked_percent()) {
            true => "Nothing was measured; by arithmetic the cause is ",
            false => "Nothing was measured; by arithmetic the fullest part is ",
        };
        return Prose::new()
            .text(begins)
            .name(&part.part)
            .text(format!(": it is asked for {mean}\u{202F}% on the mean."));
    }
    let over = |used: &UseInCase| is_over(used.member_peak_percent);
    let cell = row.and_then(|row| row.cells.get(case)?.as_ref());
    if flag == Flag::Undecided
        && let Some(open) = cell.and_then(|cell| cell.left_open)
    {
        return Prose::new()
            .text(match open {
                LeftOpen::Stopped => "No part is the cause, but the limit that stopped a run. ",
                _ => "No part is the cause, but the length of the run. ",
            })
            .text("The fullest part in that case is ")
            .name(&part.part)
            .text(format!(
                ", {peak}\u{202F}% in the busiest 20\u{202F}ms, {mean}\u{202F}% on the mean."
            ));
    }
    if matches!(flag, Flag::Missed | Flag::Undecided) && !is_over(used.most_asked_percent()) {
        let member = |part: &PartUse| part.cases.get(case).cloned().flatten().filter(over);
        let full = report
            .parts
            .iter()
            .filter_map(|part| Some((part, member(part)?)));
        let most = full.max_by(|a, b| a.1.member_peak_percent.total_cmp(&b.1.member_peak_percent));
        if let Some((part, used)) = most {
            return Prose::new().text("One member of ").name(&part.part).text(format!(
                " is full: it is asked for {}\u{202F}% in the busiest 20\u{202F}ms, all of them together for {}\u{202F}%.",
                whole_percent(used.member_peak_percent),
                whole_percent(used.peak_percent)
            ));
        }
    }
    let numbers = asked_words(used.peak_percent, used.asked_percent());
    // Of bursts that the runs do not show, they do not show either that they are worked off.
    let hidden = |steady: &Steady| {
        let mut bursts = steady.unseen_bursts.iter();
        bursts.any(|own| !own.hides.is_empty())
    };
    let hidden = known.is_some_and(hidden);
    match (is_over(used.most_asked_percent()), flag) {
        (true, Flag::Met | Flag::Unasked) if !hidden => Prose::new()
            .text("The fullest part is ")
            .name(&part.part)
            .text(format!(
                ": it is asked for {numbers}, and works the rest off in time."
            )),
        (true, Flag::Met | Flag::Unasked) => Prose::new()
            .text("The fullest part is ")
            .name(&part.part)
            .text(format!(": it is asked for {numbers}.")),
        (true, _) => Prose::new()
            .text("The cause is ")
            .name(&part.part)
            .text(format!(": it is asked for {numbers}.")),
        // What a closed loop or a queue depth holds back is never asked for.
        (false, Flag::Missed | Flag::Undecided) if mean == "100" => Prose::new()
            .text("It is held back by ")
            .name(&part.part)
            .text(format!(", which carries all that it can: {numbers}.")),
        (false, Flag::Missed | Flag::Undecided) => Prose::new()
            .text("No part is full in that case; the fullest is ")
            .name(&part.part)
            .text(format!(", {numbers}.")),
        (false, _) => Prose::new()
            .text("The fullest part in that case is ")
            .name(&part.part)
            .text(format!(", {numbers}.")),
    }
}

/// What is asked of a part: `119 % in the busiest 20 ms, 66 % on the mean`. What hosts hold back does not come to the part: its busiest
/// moment is then asked for less than the mean is by arithmetic, and that alone is told.
pub(super) fn asked_words(peak_percent: f64, asked_percent: f64) -> String {
    let (peak, mean) = (whole_percent(peak_percent), whole_percent(asked_percent));
    if asked_percent > peak_percent {
        format!("{mean}\u{202F}% on the mean")
    } else {
        format!("{peak}\u{202F}% in the busiest 20\u{202F}ms, {mean}\u{202F}% on the mean")
    }
}

/// What ended the stall of a workload in the switch-over of matrix case `case`, or that nothing has.
fn stall(report: &Report, case: usize, row: &Row) -> Prose {
    let name = &report.matrix.cases[case].name;
    let switch = report.switches.iter().find(|s| s.case.name == *name);
    let own = switch.and_then(|switch| {
        let mut works = switch.workloads.iter();
        let work = works.find(|own| own.name == row.workload)?;
        Some((work, switch.counted_from))
    });
    let Some((work, from)) = own else {
        return Prose::new();
    };
    Prose::new().text(sentence(&switch_cause(work, from, row.measure)))
}

/// Why a promise about switching is missed: what made I/Os fail, or what ended the stall.
#[must_use]
pub(crate) fn switch_cause(work: &SwitchWorkload, from: Begin, measure: MeasureKind) -> String {
    if work.hosts_gone > 0 {
        return "hosts are out of service themselves, and nobody is left to do their work."
            .to_owned();
    }
    let failed = work.failed_by.as_ref();
    let Some(event) = failed.filter(|_| measure == MeasureKind::Failed) else {
        return stall_ends(work, from);
    };
    let (seconds, after) = (instant(event.t_s), from.after());
    match event.timer.as_deref().map(timer_words) {
        Some(timer) if timer.starts_with("no path") => format!(
            "{}: the first fails {seconds}\u{202F}s {after} ({timer}); {}.",
            no_path_was_left(work),
            what_ends_failing(work)
        ),
        Some(timer) => format!(
            "the cause is a timer: {timer}, and no retry is left; the first fails {seconds}\u{202F}s {after}."
        ),
        None => format!("the first fails {seconds}\u{202F}s {after}."),
    }
}

/// Seconds as a sentence tells them: two digits, from 100 s on to the second.
fn instant(seconds: f64) -> String {
    if seconds >= 100.0 {
        return at_place(seconds, 0);
    }
    two(seconds)
}

/// What ends it that I/Os fail for want of a path: what let the work go on, where something did.
fn what_ends_failing(work: &SwitchWorkload) -> String {
    let last = work.stops.last();
    let ended = last.and_then(|stop| stop.to_s.zip(stop.ended_by.as_deref()));
    ended.map_or_else(
        || "only a path that is back ends that".to_owned(),
        |(to, by)| {
            format!(
                "the work goes on at {}\u{202F}s ({})",
                instant(to),
                timer_words(by)
            )
        },
    )
}

/// What ended the stall of a workload, or that nothing has, with its full stop; empty where it had none.
#[must_use]
pub(crate) fn stall_ends(work: &SwitchWorkload, from: Begin) -> String {
    if work.longest_open.contains(&true) {
        return if work.no_path {
            format!("{}; nothing ended the stall.", no_path_is_left(work))
        } else {
            "nothing had ended the stall when the run stopped.".to_owned()
        };
    }
    let Some(event) = &work.freed_by else {
        return String::new();
    };
    let seconds = instant(event.t_s);
    let after = from.after();
    event.timer.as_ref().map_or_else(
        || format!("the stall ends {seconds}\u{202F}s {after}: {}.", event.what),
        |timer| {
            let timer = timer_words(timer);
            if timer.starts_with("no path") {
                // What fails has not been done, and nothing is until a path is back.
                return format!(
                    "{}: what was held fails {seconds}\u{202F}s {after} ({timer}); {}.",
                    no_path_was_left(work),
                    what_ends_failing(work)
                );
            }
            // The work may go on before the I/O that waits longest does.
            let by_then = |stop: &&WorkStop| stop.from_s <= event.t_s;
            let earlier = work.stops.iter().rfind(by_then).and_then(|stop| {
                let by = stop.ended_by.as_ref()?;
                let same = event.timer.as_ref() == Some(by) || event.what == *by;
                (!same).then(|| (stop.to_s, timer_words(by)))
            });
            match earlier {
                Some((Some(to), by)) => format!(
                    "the cause is a timer: {timer}; it lets the longest I/O end {seconds}\u{202F}s {after}. The stall of the work as a \
                     whole ends at {}\u{202F}s ({by}).",
                    instant(to)
                ),
                // Some of the work waited, and the rest went on.
                _ if !work.stopped() => {
                    format!("the cause is a timer: {timer}; it lets the longest I/O end {seconds}\u{202F}s {after}.")
                }
                _ => format!("the cause is a timer: {timer}; it ends the stall {seconds}\u{202F}s {after}."),
            }
        },
    )
}

/// The case in which growth ends first.
pub(super) fn least_growth(growth: &[Growth]) -> Option<&Growth> {
    growth.iter().min_by(|a, b| a.factor.total_cmp(&b.factor))
}

/// The cheapest simulated change with its result and the next limit, or that there is none.
pub(super) fn mend(report: &Report, flag: Flag, worst: Option<(usize, usize)>) -> Prose {
    let mends = &report.mends;
    let whole = mends.iter().find(|mend| mend.mends_all);
    let repairs = mends.iter().find(|mend| mend.repairs);
    let whole = whole.or(repairs);
    match (flag, whole) {
        (Flag::Met | Flag::Unasked, _) => nothing_needed(report, flag),
        (_, Some(mend)) => Prose::new()
            .strong(sentence(&mend.name))
            .text(format!("{} Simulated with it, ", unbuildable(mend)))
            .then_tight(result(report, mend, worst))
            .then_tight(left_undecided(mend))
            .then(next_limit(mend)),
        (_, None) if mends.is_empty() => Prose::new().text(no_remedy(report, flag, worst)),
        (_, None) => not_enough(report, worst),
    }
}

/// Why nothing was simulated against what is not met, and what would be.
fn no_remedy(report: &Report, flag: Flag, worst: Option<(usize, usize)>) -> &'static str {
    let cell = worst.and_then(|(row, case)| report.matrix.rows.get(row)?.cells.get(case)?.as_ref());
    let longer = cell.is_some_and(|cell| cell.left_open.is_some());
    let stopped = cell.is_some_and(|cell| cell.left_open == Some(LeftOpen::Stopped));
    if report.mend_search.is_some() {
        return match flag {
            Flag::Undecided if stopped => {
                "No change was proposed: what is undecided needs a higher limit first, or a shorter run."
            }
            Flag::Undecided if longer => {
                "No change was proposed: what is undecided needs a longer run first."
            }
            Flag::Undecided => {
                "No change was proposed: what is undecided needs more replications first."
            }
            _ => {
                "No change to propose was found: no part, no path policy and no timer that another preset shortens limits this."
            }
        };
    }
    if flag == Flag::Undecided && stopped {
        return "No remedy was simulated: first a higher limit, or a shorter run, is to decide.";
    }
    if flag == Flag::Undecided && longer {
        return "No remedy was simulated: first a longer run is to decide.";
    }
    if flag == Flag::Undecided {
        return "No remedy was simulated: first more replications (--replications) are to decide.";
    }
    let scripted = worst.and_then(|(_, case)| report.matrix.cases.get(case));
    if scripted.is_some_and(crate::outcome::Case::is_scripted) {
        return "No remedy was simulated: failover --mends proposes some for an [[outage]], and does not look at an [[event]].";
    }
    "No remedy was simulated: failover --mends proposes some, and simulates them and each [[variant]]."
}

/// "the same p99 is 0.72 ms with A lost, and "
fn result(report: &Report, mend: &Mend, worst: Option<(usize, usize)>) -> Prose {
    let cell = worst.and_then(|(row, case)| {
        let asked = &report.matrix.rows[row];
        let same = mend.matrix.rows.iter().find(|r| {
            r.workload == asked.workload
                && r.measure == asked.measure
                && r.switching == asked.switching
        })?;
        let cell = same.cells.get(case)?.as_ref()?;
        Some((asked, &report.matrix.cases[case], cell.value?, cell.target))
    });
    let Some((row, case, value, target)) = cell else {
        return Prose::new();
    };
    // The digits of the table: fewer might round a figure onto its target, or across it.
    let scale = row_scale(row);
    let figure = crate::render::number::with_unit(&scale.apart(value.value, target), scale.unit);
    Prose::new()
        .text("the ")
        .then_tight(figure_of(row))
        .text(format!(" is {figure} {}, and ", with_case(case)))
}

/// That nothing is missed with a change, and what stays undecided.
fn left_undecided(mend: &Mend) -> Prose {
    let rows = mend.matrix.rows.iter();
    let open = rows.flat_map(|row| {
        let cells = row.cells.iter().zip(&mend.matrix.cases);
        let cells = cells.filter_map(|(cell, case)| Some((cell.as_ref()?, case)));
        cells
            .filter(|(cell, _)| Flag::of(cell) == Flag::Undecided)
            .map(move |(_, case)| (row, case))
    });
    let open: Vec<_> = open.collect();
    let Some((row, case)) = open.first() else {
        return Prose::new().text("every promise judged is met.");
    };
    let rest = match open.len() - 1 {
        0 => " stays undecided, as without it.".to_owned(),
        more => format!(" and {more} more stay undecided, as without it."),
    };
    Prose::new()
        .text("nothing is missed: it repairs the miss; ")
        .then_tight(figure_of(row))
        .text(format!(" {}{rest}", with_case(case)))
}

fn next_limit(mend: &Mend) -> Prose {
    least_growth(&mend.growth).map_or_else(Prose::new, |growth| {
        Prose::new()
            .text(format!(
                "By arithmetic on the busiest 20 ms, growth then ends at {} times today’s load, at ",
                two_down(growth.factor)
            ))
            .name(&growth.part)
            .text("; a promise may break earlier.")
    })
}

/// From here on a part is more than just full.
const JUST_FULL: f64 = 1.005;

/// A growth in two digits, rounded down; a part that is just full, by no more than rounding hides, is full at 1.
fn times(factor: f64) -> String {
    if factor < 1.0 && !is_over(100.0 / factor) {
        return "1".to_owned();
    }
    // Two digits of 1.07 are those of a part that is just full.
    match two_down(factor) {
        text if text == "1" && factor >= JUST_FULL => three_down(factor),
        text => text,
    }
}

/// Where something was simulated although nothing is missed, that it was: never "no change was simulated" then.
fn nothing_needed(report: &Report, flag: Flag) -> Prose {
    let Some(growth) = least_growth(&report.growth) else {
        return Prose::new()
            .text("Nothing to mend was found.")
            .then(simulated(report));
    };
    let opening = match flag {
        Flag::Unasked => "Where nothing is promised no change is asked for. ",
        _ if growth.factor < 1.0 && is_over(100.0 / growth.factor) => {
            "Every promise judged is met at today’s load, though not every part keeps up with the busiest moments of it. "
        }
        _ => "Nothing to change at today’s load. ",
    };
    let case = report.matrix.cases.iter().find(|c| c.name == growth.case);
    let state = case.map_or_else(|| growth.case.clone(), with_case);
    let load = if flag == Flag::Unasked {
        "today’s load"
    } else {
        "that"
    };
    let mut out = Prose::new()
        .text(opening)
        .text(match times(growth.factor).as_str() {
            "1" => format!("One part is just full, {state}: "),
            factor => {
                format!("By arithmetic on the busiest 20 ms, the first part is full at {factor} times {load}, {state}: ")
            }
        })
        .name(&growth.part);
    if let Some((part, factor)) = &growth.next {
        out = out
            .text(match times(*factor).as_str() {
                "1" => "; and so is ".to_owned(),
                factor => format!("; the next at {factor} times: "),
            })
            .name(part);
    }
    let closed = report.review.tiers.iter().flat_map(|tier| &tier.closed);
    let out = out.text(match closed.into_iter().any(|own| *own) {
        true => ". Of a closed loop that is times what it completes today, not its depth: `headroom` asks for more outstanding.",
        false => ".",
    });
    if report.mends.is_empty() {
        return out;
    }
    out.then(simulated(report))
}

/// The changes that were simulated although nothing is missed, or that none was.
fn simulated(report: &Report) -> Prose {
    if report.mends.is_empty() {
        return Prose::new().text("No change was simulated.");
    }
    let names: Vec<String> = report.mends.iter().map(|mend| mend.name.clone()).collect();
    Prose::new()
        .text("Simulated beside it: ")
        .name(super::listed(&names))
        .text(".")
}

/// What ends the sentence that names a change: that it takes ports that the switches do not have.
fn unbuildable(mend: &Mend) -> &'static str {
    if mend.ports_lacking.is_empty() {
        "."
    } else {
        ", which cannot be built with the ports of these switches."
    }
}

/// Changes were simulated, and none is enough.
fn not_enough(report: &Report, worst: Option<(usize, usize)>) -> Prose {
    let open = |mend: &&Mend| {
        let cells = mend
            .matrix
            .rows
            .iter()
            .flat_map(|r| r.cells.iter().flatten());
        cells.filter(|cell| Flag::of(cell) != Flag::Met).count()
    };
    // Of equals the one that can be built.
    let rank = |mend: &&Mend| (open(mend), !mend.ports_lacking.is_empty());
    let Some(best) = report.mends.iter().min_by_key(rank) else {
        return Prose::new();
    };
    let left = open(&best);
    let tried = match report.mends.len() {
        1 => "One change was simulated, and it is not enough: ".to_owned(),
        several => format!("{several} changes were simulated, and none is enough. The best: "),
    };
    let mut out = Prose::new()
        .text(tried)
        .strong(&best.name)
        .text(format!("{} With it, ", unbuildable(best)))
        .then_tight(result(report, best, worst))
        .text(match left {
            // Only promises of the steady state are judged again with a change.
            0 => "every steady promise is met; the switch-over was not run again".to_owned(),
            one_or_more => format!(
                "{} not met",
                if one_or_more == 1 {
                    "1 judgement is".to_owned()
                } else {
                    format!("{one_or_more} judgements are")
                }
            ),
        });
    if let Some((row, case)) = worst_cell(&best.matrix).filter(|_| left > 0) {
        out = out
            .text(", first of all ")
            .then_tight(figure_of(&best.matrix.rows[row]))
            .text(format!(" {}", with_case(&best.matrix.cases[case])));
        let (of, case) = (&best.matrix.rows[row], &best.matrix.cases[case].name);
        let mut known = best.left.iter();
        let left =
            known.find(|left| of.switching && left.case == *case && left.workload == of.workload);
        if let Some(left) = left {
            out = out.text(format!(
                "; what bounds it then is {}",
                timer_words(&left.timer)
            ));
        }
    }
    out.text(".")
}

/// Replications and guesses.
pub(super) fn sure(report: &Report, worst: Option<(usize, usize)>) -> Prose {
    let mut out = Prose::new();
    if let Some((row, case)) = worst
        && let Some(cell) = &report.matrix.rows[row].cells[case]
    {
        let runs = plural(cell.replications as usize, "replication");
        out = out.text(if report.matrix.rows[row].switching {
            let each = if cell.replications == 1 {
                ""
            } else {
                ", each by itself"
            };
            format!("Judged on {runs} of the switch-over{each}.")
        } else {
            format!("Judged over {runs}, by one-sided 95\u{202F}% bounds.")
        });
    }
    out.then(guesses(report, worst))
}

/// The guesses, those that concern the workload spoken of first.
fn guesses(report: &Report, worst: Option<(usize, usize)>) -> Prose {
    let workload = worst.map(|(row, _)| report.matrix.rows[row].workload.as_str());
    let concerns =
        |row: &&AssumptionRow| workload.is_some_and(|w| row.key.split('.').any(|key| key == w));
    let mut guessed: Vec<&AssumptionRow> = report
        .assumptions
        .iter()
        .filter(|row| row.mark == "guessed")
        .collect();
    // A stable sort: the scenario's order within each half.
    guessed.sort_by_key(|row| !concerns(row));
    if guessed.is_empty() {
        let open = report
            .assumptions
            .iter()
            .filter(|row| row.mark == "common practice")
            .count();
        return Prose::new().text(match open {
            0 => "No input is marked as a guess.".to_owned(),
            some => format!(
                "No input is marked as a guess; {} on common practice without a source.",
                if some == 1 {
                    "1 rests".to_owned()
                } else {
                    format!("{} rest", count(some as u64))
                }
            ),
        });
    }
    let rest = guessed.len().saturating_sub(GUESSES_SHOWN);
    let what = if report.matrix.rows.is_empty() {
        "The figures rest"
    } else {
        "The verdict rests"
    };
    let mut out = Prose::new().text(format!(
        "{what} on {}: ",
        plural_of(guessed.len(), "guess", "guesses")
    ));
    for (index, row) in guessed.iter().take(GUESSES_SHOWN).enumerate() {
        // The names in it hold commas, so semicolons keep one from the next.
        out = out
            .text(if index > 0 { "; " } else { "" })
            .then_tight(named(&row.what))
            .text(format!(" ({})", row.value));
    }
    out.text(if rest > 0 {
        format!("; and {rest} more. Measure them before spending money.")
    } else if guessed.len() == 1 {
        ". Measure it before spending money.".to_owned()
    } else {
        ". Measure them before spending money.".to_owned()
    })
}

fn plural_of(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::{Flag, cause, fullest, mend, times};
    use crate::render::sample::sample_mends;

    /// Where switches lack the ports for the change that is recommended, the sentence that names it says so.
    #[test]
    fn a_change_that_cannot_be_built_is_called_that_where_it_is_recommended() {
        let mut report = sample_mends();
        let said = |report: &_| mend(report, Flag::Missed, None).plain();
        assert!(
            !said(&report).contains("cannot be built"),
            "{}",
            said(&report)
        );
        let lacking = vec!["port budget, edge-A".to_owned()];
        let whole = report.mends.iter().position(|mend| mend.mends_all);
        let whole = whole.expect("one of the sample is enough");
        report.mends[whole].ports_lacking.clone_from(&lacking);
        let words = ", which cannot be built with the ports of these switches. ";
        assert!(said(&report).contains(words), "{}", said(&report));
        // Where none is enough, of equals the one that can be built is the best.
        for mend in &mut report.mends {
            mend.mends_all = false;
        }
        let mut other = report.mends[whole].clone();
        other.name = "as good".to_owned();
        other.ports_lacking = Vec::new();
        report.mends.retain(|mend| !mend.ports_lacking.is_empty());
        assert!(said(&report).contains(words), "{}", said(&report));
        report.mends.push(other);
        assert!(
            said(&report).contains("as good. With it"),
            "{}",
            said(&report)
        );
    }

    /// A change that leaves nothing missed is not called too little because of what was undecided before it.
    #[test]
    fn a_change_that_repairs_the_miss_is_enough_though_something_stays_undecided() {
        let mut report = sample_mends();
        let whole = report.mends.iter().position(|mend| mend.mends_all);
        let whole = whole.expect("one of the sample is enough");
        let own = &mut report.mends[whole];
        (own.mends_all, own.repairs) = (false, true);
        let cells = own.matrix.rows.iter_mut().flat_map(|row| &mut row.cells);
        let cell = cells.flatten().last().expect("something is judged");
        (cell.verdict, cell.saturated) = (crate::outcome::Verdict::Undecided, false);
        let said = mend(&report, Flag::Missed, None).plain();
        assert!(
            said.contains("nothing is missed: it repairs the miss; ")
                && said.contains(" stays undecided, as without it."),
            "{said}"
        );
        assert!(!said.contains("enough"), "{said}");
        // What mends everything comes before it.
        let mut all = report.mends[whole].clone();
        (all.mends_all, all.repairs) = (true, false);
        "the dearer one".clone_into(&mut all.name);
        report.mends.push(all);
        let said = mend(&report, Flag::Missed, None).plain();
        assert!(said.starts_with("The dearer one"), "{said}");
    }

    /// A link whose members are asked for unevenly is not called half empty while one of them is full.
    #[test]
    fn a_member_that_is_full_is_the_cause() {
        let mut report = sample_mends();
        let row = report.matrix.rows.iter().position(|row| !row.switching);
        let row = row.expect("a steady promise");
        for part in &mut report.parts {
            let used = part.cases[0].as_mut().expect("it is used");
            (used.peak_percent, used.member_peak_percent) = (20.0, 20.0);
        }
        let used = report.parts[1].cases[0].as_mut().expect("it is used");
        (used.peak_percent, used.mean_percent) = (47.0, 42.0);
        let of = |report: &crate::outcome::Report| {
            let part = fullest(report, 0);
            cause(report, Flag::Missed, Some((row, 0)), part).plain()
        };
        assert!(
            of(&report).starts_with("No part is full in that case"),
            "{}",
            of(&report)
        );
        let used = report.parts[1].cases[0].as_mut().expect("it is used");
        used.member_peak_percent = 112.0;
        let said = of(&report);
        assert!(
            said.starts_with("One member of ") && said.contains("112"),
            "{said}"
        );
    }

    #[test]
    fn a_part_with_room_is_not_just_full() {
        for (factor, said) in [
            (0.9999, "1"),
            (1.0, "1"),
            (1.004, "1"),
            (1.05, "1.05"),
            (1.079, "1.07"),
            (1.84, "1.8"),
            (0.71, "0.71"),
        ] {
            assert_eq!(times(factor), said, "{factor}");
        }
    }
}
