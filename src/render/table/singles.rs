//! Every single part lost in turn, as text.

use super::align::{Aligned, wrapped};
use super::mends::mends;
use super::report::{foot, judged};
use crate::outcome::{EachPart, PartCase, Report};
use crate::render::number::{NONE, THIN, count, three};
use crate::render::words::{
    Flag, column_flag, limit_words, listed, or_more, plural, row_head, row_scale, singles_answer,
    singles_runs, stall_words, target_words,
};

/// What losing each single part in turn found: the answer, the matrix, what limits the cases missed, which
/// parts stand for which, and what was run.
#[must_use]
pub fn each_part_text(report: &Report) -> String {
    let Some(each) = &report.each_part else {
        return foot(report);
    };
    let (flag, sentences) = singles_answer(each);
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
    out.push_str(&matrix(each));
    out.push_str(&limits(each));
    out.push_str(&changes(report, each));
    out.push_str(&switch_overs(each));
    out.push_str(&places(each));
    for line in singles_runs(each) {
        out.push_str(&wrapped(&line, 96));
    }
    if each.cases.iter().any(|case| case.partial) {
        out.push_str("Partial: the limit of events stopped a run.\n");
    }
    out.push_str(&foot(report));
    out
}

fn matrix(each: &EachPart) -> String {
    let mut table = Aligned::new(&["part lost", "kind", ">alike"]);
    for row in &each.matrix.rows {
        table = table.number(&format!(
            "{}, {}",
            row_head(row),
            target_words(row, &each.matrix.cases)
        ));
    }
    table = table.number("all");
    for (column, case) in each.cases.iter().enumerate() {
        let name = if column == 0 {
            &each.matrix.cases[0].name
        } else {
            &case.part
        };
        let alike = if column == 0 {
            String::new()
        } else {
            count(case.alike.len() as u64)
        };
        let mut cells = vec![name.clone(), case.kind.clone(), alike];
        cells.extend(each.matrix.rows.iter().map(|row| {
            let cell = row.cells.get(column).and_then(Option::as_ref);
            judged(row, cell, row_scale(row), false)
        }));
        cells.push(column_flag(each, column).word().to_owned());
        table.row(cells);
    }
    table.text("Promises with one part lost: figure, margin in per cent of the target, verdict")
}

fn limits(each: &EachPart) -> String {
    let mut table = Aligned::new(&["part lost", "what limits"]);
    let mut cut = false;
    for (column, case) in each.losses() {
        // Who has no path then is said above, of all of them.
        if !case.cut_off.is_empty() {
            cut = true;
            continue;
        }
        let limit = limit_words(each, column);
        if !limit.is_empty() {
            table.row(vec![case.part.clone(), limit]);
        }
    }
    table.text(if cut {
        "What limits the cases that are not met, besides those without a path"
    } else {
        "What limits the cases that are not met"
    })
}

/// Changes for what is missed, and in which cases they were simulated.
fn changes(report: &Report, each: &EachPart) -> String {
    if report.mend_search.is_none() {
        return String::new();
    }
    let cases: Vec<String> = report
        .matrix
        .cases
        .iter()
        .map(|case| case.name.clone())
        .collect();
    let missed = each
        .losses()
        .filter(|(column, _)| matches!(column_flag(each, *column), Flag::Saturated | Flag::Missed));
    let missed: Vec<&PartCase> = missed.map(|(_, case)| case).collect();
    let with_hosts: Vec<String> = missed
        .iter()
        .filter(|case| !case.gone_hosts.is_empty())
        .map(|case| case.part.clone())
        .collect();
    let left_out = match with_hosts.len() {
        0 => String::new(),
        one => format!(
            " Left out {} {}: hosts go with {}.",
            if one == 1 { "is" } else { "are" },
            listed(&with_hosts),
            if one == 1 { "it" } else { "them" },
        ),
    };
    let said = format!(
        "Changes are judged in {} of {}: {}.{left_out} The loss of other parts is not simulated with them.",
        plural(cases.len(), "case"),
        1 + missed.len(),
        cases.join(", ")
    );
    format!("{}{}\n", mends(report), wrapped(&said, 96))
}

fn switch_overs(each: &EachPart) -> String {
    let mut table = Aligned::new(&[
        "part lost",
        ">longest I/O, s",
        ">longest silence, s",
        ">retried",
        ">failed",
        ">settled after, s",
        "timer that let the longest I/O go",
    ]);
    for (_, case) in each.losses() {
        let Some(switch) = &case.switch_over else {
            continue;
        };
        table.row(vec![
            case.part.clone(),
            or_more(switch.longest_io_s, switch.longest_open),
            three(switch.longest_silence_s),
            count(switch.retried),
            count(switch.failed),
            switch
                .settled_s
                .map_or_else(|| "not settled".to_owned(), three),
            stall_words(switch).unwrap_or_else(|| NONE.to_owned()),
        ]);
    }
    table.text("The switch-overs")
}

fn places(each: &EachPart) -> String {
    let mut out = String::new();
    for (_, case) in each.losses() {
        let mut said: Vec<String> = Vec::new();
        if !case.also.is_empty() {
            said.push(format!("the same loss as {}", case.also.join(", ")));
        }
        if !case.gone_hosts.is_empty() {
            said.push(format!("takes {} with it", case.gone_hosts.join(", ")));
        }
        if !case.alike.is_empty() {
            said.push(format!("stands for {}", case.alike.join(", ")));
        }
        if !said.is_empty() {
            out.push_str(&wrapped(
                &format!("{}{THIN}: {}.", case.part, said.join("; ")),
                96,
            ));
        }
    }
    if out.is_empty() {
        out
    } else {
        format!("Parts in the same place\n{out}\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::PartCase;
    use crate::render::sample::sample_singles;

    /// Who has no path is said once, above the tables.
    #[test]
    fn who_is_cut_off_is_not_said_again_as_what_limits() {
        let each = sample_singles().each_part.expect("the sample has it");
        let cut: Vec<&PartCase> = each.losses().map(|(_, case)| case).collect();
        assert!(cut.iter().any(|case| !case.cut_off.is_empty()));
        let text = limits(&each);
        assert!(!text.contains("no path:"), "{text}");
        assert!(text.contains("besides those without a path"), "{text}");
        assert!(text.contains("san-B > edge-B"), "{text}");
    }

    /// Where I/Os go on failing no timer ended anything, and that is said in its place.
    #[test]
    fn a_part_after_which_work_fails_has_no_timer_that_ended_it() {
        let mut each = sample_singles().each_part.expect("the sample has it");
        let mut cases = each.cases.iter_mut();
        let switch = cases.find_map(|case| case.switch_over.as_mut());
        let switch = switch.expect("some switch-over was simulated");
        (switch.longest_open, switch.no_path) = (false, false);
        (switch.timer, switch.failed, switch.settled_s) = (None, 13, None);
        let text = switch_overs(&each);
        assert!(text.contains("what is asked for fails"), "{text}");
    }
}
