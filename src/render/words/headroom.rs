//! How far the work can grow, in sentences.

use super::{measure_name, row_scale, target_of};
use crate::outcome::{
    CaseHeadroom, Headroom, LoadRow, LoadSwitch, MeasureKind, PartLoad, Row, SwitchOvers, Verdict,
};
use crate::render::number::{as_written, count, three, with_unit};

/// A factor as people count it: times today's load, or hosts.
#[must_use]
pub fn counted(headroom: &Headroom, factor: f64) -> String {
    match headroom.grows.hosts {
        None => three(factor),
        Some(today) => count(in_hosts(factor, today)),
    }
}

/// A factor as a number of hosts.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn in_hosts(factor: f64, today: u32) -> u64 {
    (factor * f64::from(today)).round().max(0.0) as u64
}

/// `times today's load`, `of db`.
#[must_use]
pub fn growth_unit(headroom: &Headroom) -> String {
    match headroom.grows.hosts {
        None => "times today's load".to_owned(),
        Some(_) => format!("of `{}`", headroom.grows.what),
    }
}

/// `met`, `missed` or `undecided`.
#[must_use]
pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Met => "met",
        Verdict::Missed => "missed",
        Verdict::Undecided => "undecided",
    }
}

fn case_word(case: &CaseHeadroom) -> String {
    match &case.case.outage {
        None => "Healthy".to_owned(),
        Some(_) => case.case.name.clone(),
    }
}

/// What is proven of a case, and which part ends it.
#[must_use]
pub fn proven_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let mut out = proven(case, headroom);
    out.push_str(&length_sentence(case, headroom));
    out
}

/// Where runs were made longer, or would have to be longer, than the scenario states.
fn length_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let mut out = String::new();
    let seconds = |value: f64| with_unit(&three(value), "s");
    let lengthened = case
        .points
        .iter()
        .filter(|point| Some(point.factor) == case.met)
        .find_map(|point| point.lengthened_s);
    if let Some(long) = lengthened {
        out.push_str(&format!(
            " The runs that prove it were made {} long: those stated are short against what its queues remember.",
            seconds(long)
        ));
    }
    let short = case
        .points
        .iter()
        .find_map(|point| Some((point.factor, point.needs_s?)));
    if let Some((factor, needs)) = short {
        out.push_str(&format!(
            " Runs are too short to call {} met: run.duration = {} would do.",
            counted(headroom, factor),
            seconds(needs)
        ));
    }
    out
}

fn proven(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let name = case_word(case);
    let breaks = case.breaks.as_ref().map_or_else(String::new, |breaks| {
        let how = if breaks.saturated {
            "the work does not fit".to_owned()
        } else {
            format!("more than {}", as_written(&breaks.target_text))
        };
        format!(
            " ({} {}: {how})",
            breaks.workload,
            measure_name(breaks.measure)
        )
    });
    let ends = parts_sentence(case.ends.as_ref(), case.next.as_ref());
    let unit = growth_unit(headroom);
    let shown = |factor: f64| counted(headroom, factor);
    match (case.met, case.missed) {
        (Some(met), Some(missed)) => format!(
            "{name}: every promise holds at {} {unit}; at {} one is broken{breaks}.{ends}",
            shown(met),
            shown(missed)
        ),
        (Some(met), None) => format!(
            "{name}: every promise holds at {} {unit}; none more was proven to break one.",
            shown(met)
        ),
        (None, Some(missed)) => format!(
            "{name}: nothing was proven to keep every promise; at {} {unit} one is \
             broken{breaks}.{ends}",
            shown(missed)
        ),
        (None, None) if case.points.iter().all(|point| point.rows.is_empty()) => {
            format!("{name}: nothing is promised.")
        }
        (None, None) => format!(
            "{name}: nothing is proven up to {} {unit}; more replications or a longer run would.",
            shown(headroom.most)
        ),
    }
}

/// The fullest part where it ends, and the one after it.
fn parts_sentence(ends: Option<&PartLoad>, next: Option<&PartLoad>) -> String {
    let Some(ends) = ends else {
        return String::new();
    };
    let percent = |part: &PartLoad| with_unit(&three(part.mean_percent), "%");
    let next = next.map_or_else(String::new, |next| {
        format!("; the next is {}, {}", next.part, percent(next))
    });
    format!(
        " The part that ends it is {}, {} full on the mean there{next}.",
        ends.part,
        percent(ends)
    )
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
    Some(format!(
        "{name}, the switch-over at {} {}: {}{figures}.",
        counted(headroom, found.factor),
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
    format!(
        "{} {} {value}, promise {}",
        row.workload,
        measure_name(row.measure),
        target_of(row.measure, &row.cell)
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
