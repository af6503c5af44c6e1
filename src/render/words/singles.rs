//! What losing every single part in turn found, in sentences.

use super::answer::Flag;
use super::measure::{measure_name, row_scale};
use super::pathless::cut_words;
use super::reasons::asked_words;
use super::{Prose, listed, plural, timer_words};
use crate::outcome::{EachPart, Fullest, PartCase, PartSwitch, Row, Verdict};
use crate::render::number::{is_over, with_unit};

/// The worst flag of a column of the matrix.
#[must_use]
pub fn column_flag(each: &EachPart, column: usize) -> Flag {
    let cells = each
        .matrix
        .rows
        .iter()
        .filter_map(|row| row.cells.get(column)?.as_ref());
    cells.map(Flag::of).min().unwrap_or(Flag::Unasked)
}

/// How many single parts a case stands for: itself and those in the same place.
fn stands_for(case: &PartCase) -> usize {
    1 + case.alike.len()
}

/// The answer: how many single losses keep every promise, which miss one, who is cut off.
#[must_use]
pub fn singles_answer(each: &EachPart) -> (Flag, Vec<Prose>) {
    let flag = each
        .losses()
        .map(|(column, _)| column_flag(each, column))
        .min()
        .unwrap_or(Flag::Unasked);
    let while_out = each
        .during
        .as_ref()
        .map_or_else(String::new, |outage| format!(" while {outage} is out"));
    let with = |wanted: &[Flag]| -> Vec<&PartCase> {
        let losses = each
            .losses()
            .filter(|(column, _)| wanted.contains(&column_flag(each, *column)));
        losses.map(|(_, case)| case).collect()
    };
    let count = |cases: &[&PartCase]| cases.iter().map(|case| stands_for(case)).sum::<usize>();
    let parts = plural(each.parts as usize, "single part");
    let missed = with(&[Flag::Saturated, Flag::Missed]);
    let open = with(&[Flag::Undecided]);
    let mut out = Vec::new();
    out.push(match (count(&missed), count(&open)) {
        (0, 0) if flag == Flag::Unasked => {
            Prose::new().text(format!("{parts} can be lost{while_out}; nothing was promised."))
        }
        (0, 0) => Prose::new().text(format!(
            "{parts} can be lost{while_out}, and every promise judged is met in the state after each."
        )),
        (0, some) => Prose::new().text(format!(
            "{parts} can be lost{while_out}. None misses a promise, and {some} cannot be decided: "
        )).then_tight(names(&open)).text("."),
        (some, rest) => {
            let breaks = if some == 1 {
                "breaks a promise when it is lost"
            } else {
                "break a promise when they are lost"
            };
            let missing = Prose::new()
                .text(format!("Of {parts}, {some} {breaks}{while_out}: "))
                .then_tight(names(&missed));
            match rest {
                0 => missing.text("."),
                more => missing
                    .text(format!(". {more} more cannot be decided: "))
                    .then_tight(names(&open))
                    .text("."),
            }
        }
    });
    out.push(before(each));
    out.push(cut(each));
    out.retain(|prose| !prose.is_empty());
    (flag, out)
}

/// `edge-A, san-A and 2 more`, each with how many stand in the same place.
fn names(cases: &[&PartCase]) -> Prose {
    const NAMED: usize = 4;
    let mut words: Vec<String> = cases
        .iter()
        .take(NAMED)
        .map(|case| match case.alike.len() {
            0 => case.part.clone(),
            more => format!("{} (and {more} alike)", case.part),
        })
        .collect();
    if cases.len() > NAMED {
        words.push(format!("{} more", plural(cases.len() - NAMED, "case")));
    }
    Prose::new().strong(listed(&words))
}

/// Who is cut off by what: single points of failure.
fn cut(each: &EachPart) -> Prose {
    let cutting: Vec<&PartCase> = each
        .losses()
        .map(|(_, case)| case)
        .filter(|case| !case.cut_off.is_empty())
        .collect();
    if cutting.is_empty() {
        return Prose::new().text("No single part leaves a host without a path.");
    }
    let mut out = Prose::new().text(if each.during.is_some() {
        "Without a path then: "
    } else {
        "Single points of failure: "
    });
    for (index, case) in cutting.iter().enumerate() {
        let whom: Vec<String> = case.cut_off.iter().map(cut_words).collect();
        let more = match case.alike.len() {
            0 => String::new(),
            more => format!(" (and {more} alike)"),
        };
        out = out
            .text(if index > 0 { "; " } else { "" })
            .text(format!("{} ", case.kind))
            .strong(&case.part)
            .text(format!("{more} cuts off {}", listed(&whom)));
    }
    out.text(".")
}

/// What limits a case that misses or cannot be decided: who is cut off, else what ended the stall, or the fullest part. What is
/// missed counts before what is only undecided. Empty when every promise is met.
#[must_use]
pub fn limit_words(each: &EachPart, column: usize) -> String {
    let Some(case) = each.cases.get(column) else {
        return String::new();
    };
    if !case.cut_off.is_empty() {
        let whom: Vec<String> = case.cut_off.iter().map(cut_words).collect();
        return format!("no path: {}", listed(&whom));
    }
    if !matches!(
        column_flag(each, column),
        Flag::Saturated | Flag::Missed | Flag::Undecided
    ) {
        return String::new();
    }
    // What is promised of the switch-over alone is missed by a timer, however little the parts have to do.
    let with = |wanted: Verdict| {
        let rows = each.matrix.rows.iter();
        rows.filter(move |row: &&Row| {
            let cell = row.cells.get(column).and_then(Option::as_ref);
            cell.is_some_and(|cell| cell.verdict == wanted)
        })
    };
    let worst = if with(Verdict::Missed).next().is_some() {
        Verdict::Missed
    } else {
        Verdict::Undecided
    };
    if with(worst).all(|row| row.switching)
        && let Some(ended) = case.switch_over.as_ref().and_then(stall_words)
    {
        return format!("the switch-over: {ended}");
    }
    if worst == Verdict::Undecided {
        // What is not decided is not shown to be limited by anything.
        return format!(
            "nothing is shown to: {} not decided",
            listed(&rows_of(each, column, worst))
        );
    }
    let Some(full) = &case.fullest else {
        return String::new();
    };
    if is_over(full.most_asked_percent()) {
        return fullest_words(full);
    }
    // Not a part, then: what is left of the paths, or a timer.
    let what = match case.switch_over.as_ref().and_then(stall_words) {
        Some(ended) => format!("the switch-over ({ended}) or the paths that are left"),
        None => "the paths that are left".to_owned(),
    };
    format!(
        "no part is full, it is {what}; the fullest is {}",
        fullest_words(full)
    )
}

/// The same of one promise: what ended the stall is no cause of a figure of the state after it, nor is a full part one of the stall.
#[must_use]
pub fn limit_of_row(each: &EachPart, column: usize, row: &Row) -> String {
    let words = limit_words(each, column);
    let ended = match each.cases.get(column) {
        Some(case) if case.cut_off.is_empty() && !words.is_empty() => {
            case.switch_over.as_ref().and_then(stall_words)
        }
        _ => return words,
    };
    let of_the_stall = words.starts_with("the switch-over: ");
    match (row.switching, ended) {
        (true, Some(ended)) => format!("the switch-over: {ended}"),
        (false, _) if of_the_stall => String::new(),
        _ => words,
    }
}

/// `bookings p99` of each judgement of a column that has this verdict.
fn rows_of(each: &EachPart, column: usize, verdict: Verdict) -> Vec<String> {
    let rows = each.matrix.rows.iter().filter(|row| {
        let cell = row.cells.get(column).and_then(Option::as_ref);
        cell.is_some_and(|cell| cell.verdict == verdict)
    });
    let name = |row: &Row| {
        let when = if row.switching {
            " of the switch-over"
        } else {
            ""
        };
        format!("{} {}{when}", row.workload, measure_name(row.measure))
    };
    rows.map(name).collect()
}

/// What the state before any of the parts is lost does not keep by itself; empty where it keeps all.
fn before(each: &EachPart) -> Prose {
    let (verdict, what) = match column_flag(each, 0) {
        Flag::Saturated | Flag::Missed => (Verdict::Missed, "missed"),
        Flag::Undecided => (Verdict::Undecided, "not decided"),
        Flag::Met | Flag::Unasked => return Prose::new(),
    };
    Prose::new().text(format!(
        "Before any of them is lost, {} {} {what} already, which is then no property of these parts.",
        listed(&rows_of(each, 0, verdict)),
        match rows_of(each, 0, verdict).len() {
            1 => "is",
            _ => "are",
        }
    ))
}

/// What ended the longest stall of a switch-over; `None` where nothing had to.
#[must_use]
pub fn stall_words(switch: &PartSwitch) -> Option<String> {
    match (&switch.timer, switch.longest_open, switch.no_path) {
        (_, true, true) => Some("a host has no path left; nothing ended it".to_owned()),
        (_, true, false) => Some("nothing ended it".to_owned()),
        (Some(timer), ..) => Some(timer_words(timer)),
        (None, ..) if switch.failed > 0 && switch.settled_s.is_none() => {
            Some("nothing ended it: what is asked for fails".to_owned())
        }
        (None, ..) => None,
    }
}

/// `san-B > edge-B (san to edge, 32GFC), asked for 119 % in the busiest 20 ms, 66 % on the mean`.
#[must_use]
pub fn fullest_words(full: &Fullest) -> String {
    format!(
        "{} ({}), asked for {}",
        full.instance,
        full.part,
        asked_words(full.peak_percent, full.asked_percent())
    )
}

/// The head of a row of the matrix: `bookings p99, ms`, `bookings longest I/O, switch-over, s`.
#[must_use]
pub fn row_head(row: &crate::outcome::Row) -> String {
    let when = if row.switching { ", switch-over" } else { "" };
    let unit = row_scale(row).unit;
    let unit = if unit.is_empty() {
        String::new()
    } else {
        format!(", {unit}")
    };
    format!("{} {}{when}{unit}", row.workload, measure_name(row.measure))
}

/// What was run, and what was not.
#[must_use]
pub fn singles_runs(each: &EachPart) -> Vec<String> {
    let saved = match (each.grouped, each.cases_saved) {
        (false, _) => "each by itself".to_owned(),
        (true, 0) => "no two of them in the same place".to_owned(),
        (true, saved) => format!(
            "{} saved, because these parts stand in the same place as one that was; between them only random \
             numbers and the hash values of flows differ",
            plural(saved as usize, "case")
        ),
    };
    let switch = match each.switch_replications {
        0 => "The switch-overs were not simulated.".to_owned(),
        some => format!(
            "The switch-overs: {} each.",
            plural(some as usize, "replication")
        ),
    };
    vec![
        format!(
            "{} simulated for {}: {saved}.",
            plural(each.cases_run as usize, "case"),
            plural(each.parts as usize, "single part"),
        ),
        format!(
            "The state after each loss: {} of {}, the same random numbers in every case. {switch}",
            plural(each.replications as usize, "replication"),
            with_unit(&crate::render::number::three(each.duration_s), "s"),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_singles;

    fn sample() -> EachPart {
        sample_singles().each_part.expect("the sample has it")
    }

    fn plain(prose: &[Prose]) -> String {
        prose.iter().map(Prose::plain).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn misses_are_counted_with_the_parts_they_stand_for() {
        let (flag, words) = singles_answer(&sample());
        assert_eq!(flag, Flag::Missed);
        let text = plain(&words);
        // san-A and the one alike, and the controller.
        assert!(
            text.starts_with("Of 9 single parts, 3 break a promise when they are lost"),
            "{text}"
        );
        assert!(text.contains(
            "Single points of failure: controller vault-c1 cuts off db-1 and db-2 from vault."
        ));
    }

    /// What breaks a promise and what cannot be decided are each listed behind their own number.
    #[test]
    fn what_cannot_be_decided_is_listed_by_itself() {
        let mut each = sample();
        let sound = each
            .losses()
            .map(|(column, _)| column)
            .find(|column| column_flag(&each, *column) == Flag::Met);
        let sound = sound.expect("some loss keeps every promise");
        let mut rows = each.matrix.rows.iter_mut();
        let cell = rows.find_map(|row| row.cells[sound].as_mut());
        cell.expect("it is judged").verdict = Verdict::Undecided;
        let part = |column: usize| names(&[&each.cases[column]]).plain();
        let of = |flag: Flag| {
            let all = each.losses().map(|(column, _)| column);
            all.filter(|column| column_flag(&each, *column) == flag)
                .map(part)
                .next()
                .expect("some are so")
        };
        let (broken, open) = (of(Flag::Missed), of(Flag::Undecided));
        let said = plain(&singles_answer(&each).1);
        let (first, rest) = said
            .split_once(" more cannot be decided: ")
            .unwrap_or_else(|| panic!("{said}"));
        assert!(
            first.starts_with("Of 9 single parts, 3 break a promise when they are lost: "),
            "{said}"
        );
        assert!(first.contains(&broken) && !first.contains(&open), "{said}");
        assert!(rest.starts_with(&format!("{open}.")), "{said}");
    }

    #[test]
    fn one_part_misses() {
        let mut each = sample();
        let missed = each
            .losses()
            .map(|(column, _)| column)
            .filter(|column| column_flag(&each, *column) == Flag::Missed);
        let missed: Vec<usize> = missed.collect();
        let last = *missed.last().expect("some miss");
        for (column, _) in each
            .cases
            .clone()
            .iter()
            .enumerate()
            .filter(|(column, _)| *column != last)
        {
            for row in &mut each.matrix.rows {
                if let Some(cell) = &mut row.cells[column] {
                    cell.verdict = crate::outcome::Verdict::Met;
                    cell.saturated = false;
                }
            }
        }
        each.cases[last].alike.clear();
        let text = plain(&singles_answer(&each).1);
        assert!(
            text.starts_with("Of 9 single parts, 1 breaks a promise when it is lost: "),
            "{text}"
        );
    }

    #[test]
    fn all_met_and_nobody_cut_off_says_so() {
        let mut each = sample();
        for row in &mut each.matrix.rows {
            for cell in row.cells.iter_mut().flatten() {
                cell.verdict = crate::outcome::Verdict::Met;
            }
        }
        each.cases.iter_mut().for_each(|case| case.cut_off.clear());
        let (flag, words) = singles_answer(&each);
        assert_eq!(flag, Flag::Met);
        let text = plain(&words);
        assert!(text.contains("every promise judged is met"), "{text}");
        assert!(
            text.contains("No single part leaves a host without a path."),
            "{text}"
        );
        assert!(limit_words(&each, 2).is_empty());
    }

    /// A missed switch-over comes before a steady promise that few replications leave open.
    #[test]
    fn what_is_missed_is_named_before_what_is_undecided() {
        let mut each = sample();
        let switch = each.cases.iter().find_map(|case| case.switch_over.clone());
        let mut switch = switch.expect("some switch-over was simulated");
        (switch.timer, switch.longest_open) = (Some("command timeout, 30 s".into()), false);
        each.cases[2].switch_over = Some(switch);
        let row = each.matrix.rows.iter().find(|row| row.cells[2].is_some());
        let row = row.cloned().expect("something is judged");
        each.matrix.rows.push(Row {
            measure: crate::outcome::MeasureKind::LongestIo,
            switching: true,
            ..row
        });
        for row in &mut each.matrix.rows {
            if let Some(cell) = &mut row.cells[2] {
                cell.saturated = false;
                cell.verdict = match row.switching {
                    true => Verdict::Missed,
                    false => Verdict::Undecided,
                };
            }
        }
        let rows = each.matrix.rows.iter();
        let judged = rows.filter(|row| row.cells[2].is_some() && !row.switching);
        assert!(judged.count() > 0);
        assert!(
            limit_words(&each, 2).starts_with("the switch-over: "),
            "{}",
            limit_words(&each, 2)
        );
        // Each promise by itself has the cause that is its own.
        for row in each.matrix.rows.iter().filter(|row| row.cells[2].is_some()) {
            let said = limit_of_row(&each, 2, row);
            assert_eq!(said.contains("command timeout"), row.switching, "{said}");
        }
    }

    /// A part that is a thousandth full limits nothing.
    #[test]
    fn a_part_that_is_not_full_does_not_limit() {
        let mut each = sample();
        let column = each
            .losses()
            .map(|(column, _)| column)
            .find(|column| {
                let case = &each.cases[*column];
                case.cut_off.is_empty() && column_flag(&each, *column) == Flag::Missed
            })
            .expect("some miss");
        for row in &mut each.matrix.rows {
            row.switching = false;
        }
        let full = each.cases[column]
            .fullest
            .as_mut()
            .expect("it was measured");
        (full.mean_percent, full.peak_percent) = (0.1, 0.2);
        let said = limit_words(&each, column);
        assert!(said.starts_with("no part is full, it is "), "{said}");
        let full = each.cases[column]
            .fullest
            .as_mut()
            .expect("it was measured");
        full.peak_percent = 119.0;
        let said = limit_words(&each, column);
        assert!(!said.contains("no part is full"), "{said}");
    }

    /// What few replications leave open is limited by no part; and what is open before any part is lost is said of that state.
    #[test]
    fn what_is_undecided_is_limited_by_nothing_that_is_shown() {
        let mut each = sample();
        for row in &mut each.matrix.rows {
            for cell in row.cells.iter_mut().flatten() {
                (cell.verdict, cell.saturated) = (Verdict::Undecided, false);
            }
        }
        let said = limit_words(&each, 2);
        assert!(
            said.starts_with("nothing is shown to: ") && said.ends_with(" not decided"),
            "{said}"
        );
        let text = plain(&singles_answer(&each).1);
        assert!(
            text.contains("Before any of them is lost, ") && text.contains("not decided already"),
            "{text}"
        );
        assert!(!plain(&singles_answer(&sample()).1).contains("Before any of them"));
    }

    #[test]
    fn a_missed_case_names_who_is_cut_off_or_the_fullest_part() {
        let each = sample();
        assert!(limit_words(&each, 2).starts_with("san-B > edge-B"));
        assert!(limit_words(&each, 3).starts_with("no path: db-1 and db-2 from vault"));
        assert!(limit_words(&each, 1).is_empty());
    }
}
