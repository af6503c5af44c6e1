//! Latency (or throughput) against load, one line a case, with the promise and the ends that are proven.

use crate::outcome::{CaseHeadroom, Headroom, LoadRow, MeasureKind};
use crate::render::words::measure_name;

use super::frame::look;
use super::lines::{self, Dot, Line, Lines};
use super::text::{sig, target};
use super::{Drawing, Format};

pub(super) fn draw(headroom: &Headroom, promise: usize, format: Format) -> Option<Drawing> {
    let first = headroom.cases.first()?;
    let wanted = first.points.first()?.rows.get(promise)?;
    let (workload, measure) = (&wanted.workload, wanted.measure);
    let latency = measure != MeasureKind::Throughput;
    let scale = if latency { 1e-3 } else { 1.0 };
    let lines: Vec<Line> = headroom
        .cases
        .iter()
        .map(|case| line(case, workload, measure, scale))
        .collect();
    let name = format!("{workload} {}", measure_name(measure));
    let unit = if latency { "ms (log scale)" } else { "MB/s" };
    let chart = Lines {
        id: format!("load-{promise}"),
        across: "times today's load (hollow: to find the edge; filled: proof)".to_owned(),
        up: format!("{name}, {unit}"),
        words: Vec::new(),
        log: latency,
        lines,
        promise: Some((
            wanted.cell.target * scale,
            format!("promise: {}", target(&wanted.cell.target_text)),
        )),
    };
    let description = description(headroom, &name, &chart, unit);
    lines::draw(
        &headroom.origin,
        format,
        finding(headroom),
        description,
        &chart,
    )
}

fn line(case: &CaseHeadroom, workload: &str, measure: MeasureKind, scale: f64) -> Line {
    let (role, mark) = look(&case.case);
    let own = |row: &&LoadRow| row.workload == workload && row.measure == measure;
    let dots = case
        .points
        .iter()
        .filter_map(|point| {
            let value = point.rows.iter().find(own)?.cell.value?;
            Some(Dot {
                x: point.factor,
                y: value.value * scale,
                ends: value
                    .low
                    .zip(value.high)
                    .map(|(low, high)| (low * scale, high * scale)),
                hollow: point.purpose == crate::outcome::Purpose::Pilot,
            })
        })
        .collect();
    Line {
        name: case.case.name.clone(),
        note: ends(case),
        role,
        mark,
        dots,
    }
}

/// `met to 1.82, missed from 1.91`.
pub(super) fn ends(case: &CaseHeadroom) -> String {
    match (case.met, case.missed) {
        (Some(met), Some(missed)) => {
            format!("met to {}, missed from {}", sig(met, 3), sig(missed, 3))
        }
        (Some(met), None) => format!("met to {}", sig(met, 3)),
        (None, Some(missed)) => format!("missed from {}", sig(missed, 3)),
        (None, None) => "nothing proven".to_owned(),
    }
}

fn finding(headroom: &Headroom) -> String {
    let cases: Vec<String> = headroom
        .cases
        .iter()
        .map(|case| {
            let met = case
                .met
                .map_or_else(|| "none".to_owned(), |met| sig(met, 3));
            format!("{} {met}", case.case.name)
        })
        .collect();
    format!(
        "Largest load proven to keep every promise, times today's: {}.",
        cases.join(", ")
    )
}

fn description(headroom: &Headroom, name: &str, chart: &Lines, unit: &str) -> String {
    let mut out = format!("{name}, {unit}, against times today's load.");
    for (line, case) in chart.lines.iter().zip(&headroom.cases) {
        out.push_str(&format!(" {}: {};", line.name, ends(case)));
        for dot in &line.dots {
            out.push_str(&format!(" {} at {},", sig(dot.y, 3), sig(dot.x, 3)));
        }
        out.pop();
        out.push('.');
    }
    out
}
