//! The answer to "how far can the work grow" as text.

use super::align::{Aligned, with_ends};
use crate::outcome::{CaseHeadroom, Headroom, LoadPoint, PartLoad, Purpose};
use crate::render::number::{NONE, Scale, as_written, count, three};
use crate::render::words::{measure_name, origin_line};

/// Ends by case, every load that was run, the parts at today's load, and what is taken for granted.
#[must_use]
pub fn headroom_text(headroom: &Headroom) -> String {
    let mut out = String::new();
    for case in &headroom.cases {
        out.push_str(&sentence(case, headroom));
        out.push('\n');
    }
    out.push('\n');
    out.push_str(&ends(headroom));
    for case in &headroom.cases {
        out.push_str(&points(case, headroom));
    }
    out.push_str(&parts(headroom));
    for note in &headroom.notes {
        out.push_str(&format!("Note: {note}.\n"));
    }
    out.push_str(&format!(
        "Both ends of a case hold together with {} % confidence, each case by itself.\n{}\n",
        three(headroom.confidence_percent),
        origin_line(&headroom.origin)
    ));
    out
}

/// A factor as people count it: times today's load, or hosts.
fn shown(headroom: &Headroom, factor: f64) -> String {
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
fn unit(headroom: &Headroom) -> String {
    match headroom.grows.hosts {
        None => "times today's load".to_owned(),
        Some(_) => format!("of `{}`", headroom.grows.what),
    }
}

/// What is proven of a case, in words.
fn sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let name = match &case.case.outage {
        None => "Healthy".to_owned(),
        Some(_) => case.case.name.clone(),
    };
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
    let ends = case.ends.as_ref().map_or_else(String::new, |part| {
        format!(" The fullest part there is {}.", part.part)
    });
    let unit = unit(headroom);
    let three = |factor: f64| shown(headroom, factor);
    match (case.met, case.missed) {
        (Some(met), Some(missed)) => format!(
            "{name}: every promise holds at {} {unit}; at {} one is broken{breaks}.{ends}",
            three(met),
            three(missed)
        ),
        (Some(met), None) => format!(
            "{name}: every promise holds at {} {unit}; none more was proven to break one.",
            three(met)
        ),
        (None, Some(missed)) => format!(
            "{name}: nothing was proven to keep every promise; at {} {unit} one is \
             broken{breaks}.{ends}",
            three(missed)
        ),
        (None, None) if case.points.iter().all(|point| point.rows.is_empty()) => {
            format!("{name}: nothing is promised.")
        }
        (None, None) => format!(
            "{name}: nothing is proven up to {} {unit}; more replications or a longer run would.",
            three(headroom.most)
        ),
    }
}

fn factor(value: Option<f64>) -> String {
    value.map_or_else(|| NONE.to_owned(), three)
}

fn part(part: Option<&PartLoad>) -> String {
    part.map_or_else(
        || NONE.to_owned(),
        |part| {
            format!(
                "{}, {} %  {} %",
                part.part,
                three(part.mean_percent),
                three(part.peak_percent)
            )
        },
    )
}

fn ends(headroom: &Headroom) -> String {
    let mut table = Aligned::new(&[
        "case",
        ">met to",
        ">missed from",
        ">crosses, no proof",
        ">knee",
        ">full by arithmetic",
        "part that ends it: mean, busiest 20 ms",
        "next part",
    ]);
    let show = |value: Option<f64>| {
        value.map_or_else(|| NONE.to_owned(), |factor| shown(headroom, factor))
    };
    let times = headroom.grows.hosts.map_or(1.0, f64::from);
    for case in &headroom.cases {
        table.row(vec![
            case.case.name.clone(),
            show(case.met),
            show(case.missed),
            factor(case.crossing.map(|crossing| crossing * times)),
            factor(case.knee.map(|knee| knee * times)),
            show(case.saturation),
            part(case.ends.as_ref()),
            part(case.next.as_ref()),
        ]);
    }
    table.text(&match headroom.grows.hosts {
        None => "Headroom, times today's load".to_owned(),
        Some(today) => format!(
            "Headroom, hosts of `{}` ({today} today)",
            headroom.grows.what
        ),
    })
}

const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Pilot => "pilot",
        Purpose::ProveMet => "is it met?",
        Purpose::ProveMissed => "is it missed?",
    }
}

fn points(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(first) = case.points.iter().find(|point| !point.rows.is_empty()) else {
        return String::new();
    };
    let scales: Vec<Scale> = (0..first.rows.len())
        .map(|index| {
            let cells = || case.points.iter().filter_map(|point| point.rows.get(index));
            let values = cells().flat_map(|row| {
                let value = row.cell.value.map(|figure| figure.value);
                value.into_iter().chain([row.cell.target])
            });
            Scale::of(first.rows[index].cell.unit, values)
        })
        .collect();
    let head = headroom.grows.hosts.map_or(">times", |_| ">hosts");
    let mut table = Aligned::new(&[head, "run for", ">replications"]);
    for (row, scale) in first.rows.iter().zip(&scales) {
        let target = as_written(&row.cell.target_text);
        let name = measure_name(row.measure);
        table = table.number(&format!(
            "{} {name}, {} (promise {target})",
            row.workload, scale.unit
        ));
    }
    let mut table = table.number("verdict");
    for point in &case.points {
        let mut cells = vec![
            shown(headroom, point.factor),
            purpose(point.purpose).to_owned(),
            count(u64::from(point.replications)),
        ];
        cells.extend(figures(point, &scales));
        let word = match point.verdict {
            crate::outcome::Verdict::Met => "met",
            crate::outcome::Verdict::Missed => "missed",
            crate::outcome::Verdict::Undecided => "undecided",
        };
        let cut = if point.partial { ", cut short" } else { "" };
        cells.push(format!("{word}{cut}"));
        table.row(cells);
    }
    table.text(&format!("Loads that were run, {}", case.case.name))
}

fn figures(point: &LoadPoint, scales: &[Scale]) -> Vec<String> {
    point
        .rows
        .iter()
        .zip(scales)
        .map(|(row, scale)| match (row.cell.value, row.cell.beyond) {
            _ if row.cell.saturated => "saturated".to_owned(),
            (Some(figure), _) => with_ends(*scale, &figure),
            (None, Some(beyond)) => format!("> {}", scale.three(beyond)),
            (None, None) => NONE.to_owned(),
        })
        .collect()
}

fn parts(headroom: &Headroom) -> String {
    let mut table = Aligned::new(&[
        "part",
        "detail",
        ">used healthy, %",
        ">used in the worst outage, %",
        ">spare then, %",
    ]);
    for part in &headroom.parts {
        let peak = |index: usize| Some(part.cases.get(index)?.as_ref()?.peak_percent);
        let healthy = peak(0);
        let worst = (1..part.cases.len())
            .filter_map(peak)
            .fold(None, |most, next| {
                Some(most.map_or(next, |most: f64| most.max(next)))
            });
        let most = worst.unwrap_or(0.0).max(healthy.unwrap_or(0.0));
        table.row(vec![
            part.part.clone(),
            part.detail.clone(),
            factor(healthy),
            factor(worst),
            three((100.0 - most).max(0.0)),
        ]);
    }
    table.text("Parts at today's load, the fullest of each family, asked in the busiest 20 ms")
}
