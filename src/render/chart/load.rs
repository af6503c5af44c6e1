//! Latency (or throughput) against load, one line a case, with the promise and the ends that are proven.

use crate::outcome::{CaseHeadroom, Cell, Headroom, LoadRow, MeasureKind, SwitchOvers};
use crate::render::number::{Scale, with_unit};
use crate::render::words::{
    counted_met, counted_missed, growth_axis, measure_name, switch_breaks, verdict_word,
};

use super::frame::look;
use super::lines::{self, Dot, Line, Lines};
use super::text::{bare, sig, target};
use super::{Drawing, Format};

pub(super) fn draw(headroom: &Headroom, promise: usize, format: Format) -> Option<Drawing> {
    let first = headroom.cases.first()?;
    let wanted = first.points.first()?.rows.get(promise)?;
    let (workload, measure) = (&wanted.workload, wanted.measure);
    let latency = measure != MeasureKind::Throughput;
    let own = |row: &&LoadRow| row.workload == *workload && row.measure == measure;
    let all = headroom.cases.iter().flat_map(|case| &case.points);
    let cells: Vec<&Cell> = all
        .filter_map(|point| Some(&point.rows.iter().find(own)?.cell))
        .collect();
    // Below today's load a promised throughput shrinks with it: the line is the promise as it stands.
    let promised = cells.iter().map(|cell| cell.target).fold(0.0, f64::max);
    let values = cells
        .iter()
        .filter_map(|cell| cell.value.map(|figure| figure.value));
    let shown = Scale::of(wanted.cell.unit, values.chain([promised]));
    let scale = 1.0 / shown.divisor;
    let lines: Vec<Line> = headroom
        .cases
        .iter()
        .map(|case| line(headroom, case, workload, measure, scale))
        .collect();
    let name = format!("{workload} {}", measure_name(measure));
    let unit = if latency {
        format!("{} (log scale)", shown.unit)
    } else {
        shown.unit.to_owned()
    };
    let chart = Lines {
        id: format!("load-{promise}"),
        across: format!(
            "{} (hollow: to find the edge; filled: proof)",
            growth_axis(headroom)
        ),
        up: format!("{name}, {unit}"),
        words: Vec::new(),
        log: latency,
        lines,
        promise: Some((
            promised * scale,
            if latency {
                format!(
                    "promise: {}",
                    with_unit(&bare(promised * scale), shown.unit)
                )
            } else {
                format!("promise: {}", target(&wanted.cell.target_text))
            },
        )),
    };
    let description = description(headroom, &name, &chart, &unit);
    lines::draw(
        &headroom.origin,
        format,
        finding(headroom),
        description,
        &chart,
    )
}

/// What a factor is multiplied by to be counted.
fn times(headroom: &Headroom) -> f64 {
    headroom.grows.today().map_or(1.0, f64::from)
}

fn line(
    headroom: &Headroom,
    case: &CaseHeadroom,
    workload: &str,
    measure: MeasureKind,
    scale: f64,
) -> Line {
    let (role, mark) = look(&case.case);
    let own = |row: &&LoadRow| row.workload == workload && row.measure == measure;
    let dots = case
        .points
        .iter()
        .filter_map(|point| {
            let value = point.rows.iter().find(own)?.cell.value?;
            Some(Dot {
                x: point.factor * times(headroom),
                y: value.value * scale,
                // One that reaches down to nothing comes of too few runs, and is left out as in the table.
                ends: value.ends().map(|(low, high)| (low * scale, high * scale)),
                hollow: point.purpose == crate::outcome::Purpose::Pilot,
            })
        })
        .collect();
    Line {
        name: case.case.name.clone(),
        note: ends(headroom, case),
        role,
        mark,
        dots,
        foot: case.knee.map(|knee| (knee * times(headroom), "knee")),
    }
}

/// `1.82 met, 1.91 missed`, and the knee.
fn ends(headroom: &Headroom, case: &CaseHeadroom) -> String {
    let shown = |factor: f64| counted_met(headroom, factor);
    let broken = |factor: f64| counted_missed(headroom, factor);
    let knee = case.knee.map_or_else(String::new, |knee| {
        format!(", knee {}", sig(knee * times(headroom), 2))
    });
    match (case.met, case.missed) {
        (Some(met), Some(missed)) => {
            format!("{} met, {} missed{knee}", shown(met), broken(missed))
        }
        (Some(met), None) if case.bound.is_some() => {
            format!("{} met, no more tried{knee}", shown(met))
        }
        (Some(met), None) => format!("{} met{knee}", shown(met)),
        (None, Some(_)) if case.hopeless.is_some() => "missed at every load".to_owned(),
        (None, Some(missed)) => format!("{} missed{knee}", broken(missed)),
        (None, None) => "nothing proven".to_owned(),
    }
}

fn switch_word(case: &CaseHeadroom) -> &'static str {
    let found = case.switch_over.as_ref();
    found.map_or("not judged", |found| verdict_word(found.verdict))
}

fn finding(headroom: &Headroom) -> String {
    let cases: Vec<String> = headroom
        .cases
        .iter()
        .map(|case| {
            let met = case
                .met
                .map_or_else(|| "none".to_owned(), |met| counted_met(headroom, met));
            // What is proven of the state after a loss is not said without the loss itself.
            let missed = if switch_breaks(case) {
                format!(" (switch-over there {})", switch_word(case))
            } else {
                String::new()
            };
            format!("{} {met}{missed}", case.case.name)
        })
        .collect();
    let steady = if headroom.switch_overs == SwitchOvers::NothingPromised {
        "promise"
    } else {
        "steady promise"
    };
    let what = match (headroom.grows.hosts, &headroom.grows.depth) {
        (None, None) => format!("Largest load proven to keep every {steady}, times today's"),
        (None, Some(deepest)) => format!(
            "Most outstanding at each host of {} proven to keep every {steady} ({} today)",
            deepest.workload, deepest.depth
        ),
        (Some(today), _) => format!(
            "Most hosts of {} proven to keep every {steady} ({today} today)",
            headroom.grows.what
        ),
    };
    let stopped = if headroom.partial {
        "Stopped before its end. "
    } else {
        ""
    };
    format!("{stopped}{what}: {}.", cases.join(", "))
}

fn description(headroom: &Headroom, name: &str, chart: &Lines, in_unit: &str) -> String {
    let mut out = format!("{name}, {in_unit}, against {}.", growth_axis(headroom));
    for (line, case) in chart.lines.iter().zip(&headroom.cases) {
        out.push_str(&format!(" {}: {};", line.name, ends(headroom, case)));
        for dot in &line.dots {
            out.push_str(&format!(" {} at {},", sig(dot.y, 3), sig(dot.x, 3)));
        }
        out.pop();
        out.push('.');
    }
    out
}
