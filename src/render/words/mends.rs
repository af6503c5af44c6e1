//! Changes that were simulated, in words.

use super::answer::{Flag, figure_of, with_case, worst_cell};
use super::measure::row_scale;
use super::{Prose, listed, plural, timer_words};
use crate::outcome::{Changes, Matrix, Mend, MendSearch, Report, Row};
use crate::render::number::with_unit;

/// What a change takes: `4 ports 32GFC`, `12 cables 100GbE, 24 ports 100GbE`, `1 setting`.
#[must_use]
pub fn mend_takes(changes: &Changes) -> String {
    let parts: Vec<String> = changes
        .parts
        .iter()
        .map(|part| match part.kind.as_str() {
            "parallel" => format!("{} more in parallel at {}", part.count, part.of),
            kind => {
                let what = plural(part.count as usize, kind);
                format!("{what} {}", part.of).trim_end().to_owned()
            }
        })
        .collect();
    if parts.is_empty() {
        "nothing".to_owned()
    } else {
        parts.join(", ")
    }
}

/// The judgement, row and column, that says most about a change: what is still not met, the worst of it; else what was
/// worst without the change; else the tightest.
#[must_use]
pub fn mend_cell(report: &Report, mend: &Mend) -> Option<(usize, usize)> {
    let (row, case) = worst_cell(&mend.matrix)?;
    let open = mend.matrix.rows[row].cells[case]
        .as_ref()
        .is_some_and(|cell| Flag::of(cell) != Flag::Met);
    let before = worst_cell(&report.matrix).and_then(|(row, case)| {
        let asked = &report.matrix.rows[row];
        let same = |other: &Row| {
            other.workload == asked.workload
                && other.measure == asked.measure
                && other.switching == asked.switching
        };
        let row = mend.matrix.rows.iter().position(same)?;
        mend.matrix.rows[row]
            .cells
            .get(case)?
            .as_ref()
            .map(|_| (row, case))
    });
    Some(before.filter(|_| !open).unwrap_or((row, case)))
}

/// That judgement in words: `p99 of bookings 0.72 ms with A lost: met`.
#[must_use]
pub fn mend_worst(report: &Report, mend: &Mend) -> Prose {
    let Some((row, case)) = mend_cell(report, mend) else {
        return Prose::new().text("nothing is judged");
    };
    let of = &mend.matrix.rows[row];
    let state = with_case(&mend.matrix.cases[case]);
    let Some(cell) = &of.cells[case] else {
        return Prose::new();
    };
    let scale = row_scale(of);
    let value = match (cell.saturated, cell.value, cell.beyond) {
        (true, ..) => String::new(),
        (_, Some(figure), _) => format!(" {}", with_unit(&scale.three(figure.value), scale.unit)),
        (_, None, Some(_)) if cell.is_cut_off() => " cut off".to_owned(),
        (_, None, Some(beyond)) => format!(" > {}", with_unit(&scale.three(beyond), scale.unit)),
        (_, None, None) => String::new(),
    };
    figure_of(of).text(format!("{value} {state}: {}", Flag::of(cell).word()))
}

/// `link.edge-san.cage.lit=4`, ready for `--set`.
#[must_use]
pub fn set_words(set: &[(String, String)]) -> String {
    let words: Vec<String> = set
        .iter()
        .map(|(key, value)| format!("--set {key}={value}"))
        .collect();
    words.join(" ")
}

/// How many changes were tried, what was left out, and what the scenario does not admit; of all changes, what they lack.
#[must_use]
pub fn mend_search_words(report: &Report) -> Vec<String> {
    let lacking = ports_words(report);
    let Some(search) = &report.mend_search else {
        return lacking.into_iter().collect();
    };
    let mut out = vec![tried(report, search)];
    out.extend(lacking);
    if !search.calm.is_empty() {
        let most = with_unit("40", "%");
        out.push(format!(
            "No part on the way is even {most} full in the busiest {}, so a wider one would not help: {}.",
            with_unit("20", "ms"),
            search.calm.join("; ")
        ));
    }
    // Who has no path fails by a choice, not by a time: sooner is no fewer.
    for (pathless, why) in [
        (
            false,
            "No other preset shortens what bounds these switch-overs, so no timer was tried for them",
        ),
        (
            true,
            "Where no path is left shorter timers make I/Os fail sooner, and not fewer of them, so no timer was tried there",
        ),
    ] {
        let own = search.fixed.iter();
        let own = own.filter(|own| own.timer.starts_with("no path") == pathless);
        let all: Vec<String> = own
            .map(|own| {
                let by = match own.timer.as_str() {
                    "" => String::new(),
                    timer => format!(" ({})", timer_words(timer)),
                };
                format!("{}, {}{by}", own.workload, own.case)
            })
            .collect();
        if !all.is_empty() {
            out.push(format!("{why}: {}.", all.join("; ")));
        }
    }
    let refused: Vec<String> = search
        .refused
        .iter()
        .map(|refused| format!("{} ({})", refused.name, refused.reason))
        .collect();
    if !refused.is_empty() {
        out.push(format!(
            "Not possible as the scenario stands: {}.",
            refused.join("; ")
        ));
    }
    let mut unpriced: Vec<&String> = report
        .mends
        .iter()
        .flat_map(|m| &m.changes.unpriced)
        .collect();
    unpriced.sort_unstable();
    unpriced.dedup();
    if search.priced && !unpriced.is_empty() {
        let items: Vec<String> = unpriced.iter().map(|item| (*item).clone()).collect();
        out.push(format!("The price list lacks {}.", listed(&items)));
    }
    if search.priced && search.tried > 1 {
        out.push(sets_words(report, search));
    }
    out
}

/// Which sets of changes were tried for their price, and which were not.
fn sets_words(report: &Report, search: &MendSearch) -> String {
    let sets = |count: u32| plural(usize::try_from(count).unwrap_or(usize::MAX), "set");
    let mends_all = report.mends.iter().any(|mend| mend.mends_all);
    let less = if mends_all {
        " for less than the cheapest change that mends everything"
    } else {
        ""
    };
    let tried = match search.sets_tried {
        0 => String::new(),
        count => format!(
            " {} of two or three changes {} tried, the least dear first.",
            sets(count),
            if count == 1 { "was" } else { "were" }
        ),
    };
    match search.sets_untried {
        // Of how many (`study/remedy/sets.rs`), and without which.
        0 => format!(
            "{tried} No set{less} is left to try of two or three of the twelve least dear changes proposed at first, those left out that did \
             nothing by themselves: more of them together, or others, might do."
        ),
        count => format!(
            "{tried} Not tried, for want of runs: {} of two or three changes{less}.",
            sets(count)
        ),
    }
    .trim_start()
    .to_owned()
}

/// Which changes need ports that a switch does not state to have.
fn ports_words(report: &Report) -> Option<String> {
    let lacking = report
        .mends
        .iter()
        .filter(|mend| !mend.ports_lacking.is_empty());
    // What several lack alike is said once.
    let mut each: Vec<(Vec<&str>, &[String])> = Vec::new();
    for mend in lacking {
        let known = each
            .iter_mut()
            .find(|(_, lacks)| *lacks == mend.ports_lacking);
        match known {
            Some((names, _)) => names.push(&mend.name),
            None => each.push((vec![&mend.name], &mend.ports_lacking)),
        }
    }
    let each: Vec<String> = each
        .iter()
        .map(|(names, lacks)| format!("{} ({})", names.join("; "), lacks.join("; ")))
        .collect();
    (!each.is_empty()).then(|| {
        format!(
            "Simulated all the same, although switches have too few ports for it as the scenario stands: {}.",
            each.join("; ")
        )
    })
}

fn tried(report: &Report, search: &MendSearch) -> String {
    let mended = report.mends.iter().filter(|mend| mend.mends_all).count();
    let has = |matrix: &Matrix, flag: Flag| {
        let mut cells = matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten());
        cells.any(|cell| Flag::of(cell) == flag)
    };
    if search.tried == 0 && !has(&report.matrix, Flag::Missed) {
        let singles = report.each_part.as_ref().map(|each| &each.matrix);
        let anywhere =
            |flag| has(&report.matrix, flag) || singles.is_some_and(|own| has(own, flag));
        return match (anywhere(Flag::Missed), anywhere(Flag::Undecided)) {
            (true, _) => "No change was proposed: the parts whose loss misses a promise take hosts with them, and those are not looked at.",
            (_, true) => {
                "No change was proposed: nothing is missed, and what is undecided needs more replications first."
            }
            (false, false) => "No change was proposed: nothing is missed.",
        }
        .to_owned();
    }
    if search.tried == 0 {
        return "No change was simulated, although something is missed: no wider part, no other path policy and no timer of another \
                preset that the scenario admits touches what limits it."
            .to_owned();
    }
    let more = match search.rounds {
        0 | 1 => "",
        _ => " No single one was enough, so others were tried on top of the best.",
    };
    let repairs = report.mends.iter().filter(|mend| mend.repairs).count();
    let repaired = match repairs {
        0 => String::new(),
        some => format!(", with {some} nothing is missed, and what was undecided stays so"),
    };
    let stated = report.mends.len().saturating_sub(search.tried as usize);
    let of_scenario = if stated > 0 {
        format!(" besides {} of the scenario", plural(stated, "variant"))
    } else {
        String::new()
    };
    format!(
        "{} of at most {} proposed and simulated{of_scenario}; with {} every promise judged is met{repaired}.{more} Only changes \
         that touch what limits a miss are proposed; what becomes free is not set off against what a change takes.",
        plural(search.tried as usize, "change"),
        search.most,
        match mended {
            0 => "none of them".to_owned(),
            some => format!("{some}"),
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_mends;

    #[test]
    fn a_change_that_lacks_ports_says_so_with_and_without_a_search() {
        let mut report = sample_mends();
        report.mends[0].ports_lacking =
            vec!["port budget, edge-A: 5 ports of 32GFC used, 4 there".to_owned()];
        let words = "too few ports for it as the scenario stands: light the two dark legs (port budget, edge-A: 5 ports";
        for searched in [true, false] {
            if !searched {
                report.mend_search = None;
            }
            let said = mend_search_words(&report);
            assert!(said.iter().any(|line| line.contains(words)), "{said:?}");
        }
    }

    #[test]
    fn who_fails_for_want_of_a_path_is_not_said_to_have_no_shorter_timer() {
        let mut report = sample_mends();
        let left = |timer: &str| crate::outcome::StallLeft {
            case: "A lost".to_owned(),
            workload: "w".to_owned(),
            timer: timer.to_owned(),
        };
        let search = report.mend_search.as_mut().expect("the sample has one");
        search.fixed = vec![left("takeover, 12s"), left("no path, fail at once")];
        let said = mend_search_words(&report);
        let line = |words: &str| {
            let mut own = said.iter().filter(|line| line.contains(words));
            own.next().unwrap_or_else(|| panic!("{said:?}")).clone()
        };
        let other = line("No other preset shortens");
        assert!(
            other.contains("takeover") && !other.contains("no path"),
            "{other}"
        );
        let sooner = line("fail sooner, and not fewer");
        assert!(
            sooner.contains("no path") && !sooner.contains("takeover"),
            "{sooner}"
        );
    }

    #[test]
    fn a_search_by_price_says_which_changes_were_not_tried_together() {
        let mut report = sample_mends();
        let said = |report: &Report| mend_search_words(report).join(" ");
        for (priced, tried, sets, words) in [
            (
                true,
                3,
                (0, 0),
                Some(
                    "is left to try of two or three of the twelve least dear changes proposed at first",
                ),
            ),
            (
                true,
                3,
                (2, 0),
                Some("2 sets of two or three changes were tried"),
            ),
            (true, 3, (2, 5), Some("Not tried, for want of runs: 5 sets")),
            (
                true,
                3,
                (0, 1),
                Some("Not tried, for want of runs: 1 set of"),
            ),
            (true, 1, (0, 0), None),
            (false, 3, (0, 0), None),
        ] {
            let search = report.mend_search.as_mut().expect("a search");
            (search.priced, search.tried) = (priced, tried);
            (search.sets_tried, search.sets_untried) = sets;
            let text = said(&report);
            assert_eq!(text.contains("of two or three"), words.is_some(), "{text}");
            assert!(words.is_none_or(|words| text.contains(words)), "{text}");
        }
    }

    #[test]
    fn what_several_changes_lack_alike_is_said_once() {
        let mut report = sample_mends();
        for mend in &mut report.mends {
            mend.ports_lacking = vec!["port budget, edge-A".to_owned()];
        }
        let said = ports_words(&report).expect("ports lack");
        assert_eq!(said.matches("port budget, edge-A").count(), 1, "{said}");
        assert!(report.mends.iter().all(|mend| said.contains(&mend.name)));
    }

    #[test]
    fn what_a_change_takes_is_counted_by_kind() {
        let report = sample_mends();
        assert_eq!(mend_takes(&report.mends[0].changes), "4 ports 32GFC");
        assert_eq!(mend_takes(&report.mends[1].changes), "1 setting");
        assert_eq!(mend_takes(&Changes::default()), "nothing");
    }

    #[test]
    fn the_search_says_how_many_were_tried_and_what_cannot_be() {
        let text = mend_search_words(&sample_mends()).join(" ");
        assert!(
            text.starts_with("1 change of at most 12 proposed"),
            "{text}"
        );
        assert!(
            text.contains("besides 1 variant of the scenario; with 1 every"),
            "{text}"
        );
        assert!(
            text.contains("64GFC from edge to san (the edge switches have no port for it)"),
            "{text}"
        );
    }

    /// Work of which nothing is completed has no latency, not even one above nothing.
    #[test]
    fn what_is_cut_off_has_no_figure() {
        let mut report = sample_mends();
        let mend = &mut report.mends[1];
        for cell in mend.matrix.rows.iter_mut().flat_map(|row| &mut row.cells) {
            cell.iter_mut().for_each(|cell| {
                (cell.value, cell.beyond) = (None, Some(0.0));
                cell.verdict = crate::outcome::Verdict::Missed;
            });
        }
        let said = mend_worst(&report, &report.mends[1]).plain();
        assert!(
            said.contains(" cut off with ") && !said.contains('>'),
            "{said}"
        );
    }

    #[test]
    fn the_worst_judgement_has_its_figure_and_its_case() {
        let report = sample_mends();
        let met = mend_worst(&report, &report.mends[0]).plain();
        let missed = mend_worst(&report, &report.mends[1]).plain();
        assert!(
            met.ends_with("met") && missed.ends_with("missed"),
            "{met} / {missed}"
        );
        assert!(missed.contains("ms with A lost"), "{missed}");
        // What was missed without the change, not whatever has the least room with it.
        assert!(
            met.starts_with("p99 of bookings") && met.contains("with A lost"),
            "{met}"
        );
    }
}
