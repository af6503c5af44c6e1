//! The switch-over at a proven load, in sentences.

use super::{case_word, counted, counted_met, growth_unit, verdict_word};
use crate::outcome::{
    CaseHeadroom, Headroom, LoadRow, LoadSwitch, MeasureKind, Row, SwitchOvers, Verdict,
};
use crate::render::number::{as_written, three, with_unit};
use crate::render::words::{measure_name, row_scale, target_of};

/// `every promise`, or `every steady promise` where others are about what happens while a fabric is lost.
pub(super) fn every_promise(case: &CaseHeadroom, headroom: &Headroom) -> &'static str {
    let switching = headroom.switch_overs != SwitchOvers::NothingPromised;
    if switching && case.case.outage.is_some() {
        "every steady promise"
    } else {
        "every promise"
    }
}

/// Whether the switch-over at the proven load of a case is known not to keep what is promised of it.
#[must_use]
pub fn switch_breaks(case: &CaseHeadroom) -> bool {
    case.switch_over
        .as_ref()
        .is_some_and(|found| found.verdict != Verdict::Met)
}

/// What the switch-over says of a load beside the steady promises, to be put behind it: `, but the switch-over there is missed
/// (met at 1.20)`; nothing where none was judged.
#[must_use]
pub fn switch_clause(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(found) = &case.switch_over else {
        return String::new();
    };
    let here = if case.met == Some(found.factor) {
        "there".to_owned()
    } else {
        format!("at {}", counted_met(headroom, found.factor))
    };
    if found.verdict == Verdict::Met {
        return format!(", and the switch-over {here} is met");
    }
    let lower = match (case.switch_met, &case.switch_tried[..]) {
        (Some(met), _) => format!("; it is met at {}", counted_met(headroom, met)),
        (None, []) => String::new(),
        (None, tried) => {
            let least = tried.iter().map(|found| found.factor);
            let least = least.fold(f64::INFINITY, f64::min);
            format!(", and not met at {} either", counted(headroom, least))
        }
    };
    format!(", but the switch-over {here} is {}{lower}", together(found))
}

/// The switch-over at a proven load, with its verdict.
#[must_use]
pub fn switch_sentence(case: &CaseHeadroom, headroom: &Headroom) -> Option<String> {
    case.case.outage.as_ref()?;
    let name = case_word(case);
    let Some(found) = &case.switch_over else {
        let said = (headroom.switch_overs == SwitchOvers::Judged).then(|| {
            format!("{name}, the switch-over: not judged, as no load is proven in this case.")
        });
        return said;
    };
    let figures: Vec<String> = found.rows.iter().map(switch_figure).collect();
    let figures = if figures.is_empty() {
        String::new()
    } else {
        format!(" ({})", figures.join("; "))
    };
    let tried: Vec<String> = case
        .switch_tried
        .iter()
        .map(|own| format!("at {} {}", counted(headroom, own.factor), together(own)))
        .collect();
    let lower = if tried.is_empty() {
        String::new()
    } else {
        format!(" Lower loads that were tried: {}.", tried.join("; "))
    };
    Some(format!(
        "{name}, the switch-over at {} {}: {}{figures}.{lower}",
        counted_met(headroom, found.factor),
        growth_unit(headroom),
        together(found)
    ))
}

fn together(found: &LoadSwitch) -> String {
    let cut = if found.partial { ", cut short" } else { "" };
    format!("{}{cut}", verdict_word(found.verdict))
}

/// `bookings longest I/O 5.13 s, promise at most 20 s`.
fn switch_figure(row: &LoadRow) -> String {
    let value = switch_value(row);
    let promise = match row.measure {
        // "None" reads as if nothing were promised.
        MeasureKind::Failed => as_written(&row.cell.target_text),
        _ => target_of(row.measure, &row.cell),
    };
    format!(
        "{} {} {value}, promise {promise}",
        row.workload,
        measure_name(row.measure)
    )
}

/// The figure of a promise about switching, with its unit.
#[must_use]
pub fn switch_value(row: &LoadRow) -> String {
    let Some(value) = row.cell.value else {
        return "unknown".to_owned();
    };
    if row.measure == MeasureKind::Failed {
        return three(value.value);
    }
    let scale = row_scale(&Row {
        workload: row.workload.clone(),
        measure: row.measure,
        switching: true,
        cells: vec![Some(row.cell.clone())],
    });
    with_unit(&scale.three(value.value), scale.unit)
}

/// Why no switch-over was judged; nothing where they were.
#[must_use]
pub const fn switch_remark(headroom: &Headroom) -> Option<&'static str> {
    match headroom.switch_overs {
        SwitchOvers::Judged => None,
        SwitchOvers::NotAsked => Some(
            "The loads are those of the state after each loss; the switch-over itself was not judged here: `failover` does",
        ),
        SwitchOvers::NothingPromised => Some(
            "The loads are those of the state after each loss; nothing is promised about the switch-over itself, so it was \
             not judged: `failover` shows it",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_headroom;

    #[test]
    fn the_switch_over_at_todays_load_is_known_from_those_that_were_judged() {
        use Verdict::{Met, Missed, Undecided};
        let today = |runs: &[(f64, Verdict)]| {
            let mut case = sample_headroom().cases.remove(1);
            let like = case.switch_over.take().expect("it is judged");
            let mut runs = runs.iter().map(|(factor, verdict)| LoadSwitch {
                factor: *factor,
                verdict: *verdict,
                ..like.clone()
            });
            case.switch_over = runs.next();
            case.switch_tried = runs.collect();
            case.switch_today()
        };
        assert_eq!(today(&[]), None);
        assert_eq!(today(&[(2.0, Met)]), Some(Met));
        assert_eq!(today(&[(2.0, Missed), (1.0, Met)]), Some(Met));
        assert_eq!(today(&[(2.0, Missed), (1.0, Missed)]), Some(Missed));
        assert_eq!(today(&[(0.5, Missed), (0.25, Met)]), Some(Missed));
        assert_eq!(today(&[(0.5, Met)]), Some(Undecided));
    }

    #[test]
    fn that_no_io_may_fail_does_not_read_as_nothing_promised() {
        let found = sample_headroom();
        let said = switch_sentence(&found.cases[1], &found).expect("it is judged");
        assert!(said.contains("I/Os failed 0, promise 0"), "{said}");
    }
}
