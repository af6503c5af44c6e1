//! Latency (or throughput) against load, one line a case, with the promise and the ends that are proven.

use crate::outcome::{CaseHeadroom, Cell, Headroom, LoadRow, MeasureKind, SwitchOvers, Verdict};
use crate::render::number::{Scale, with_unit};
use crate::render::words::{
    begun_with, counted_met, counted_missed, growth_axis, hole_words, listed, load_in,
    measure_name, sentence, switch_breaks, verdict_word,
};

use super::frame::{foot, look, with_bursts};
use super::lines::{self, Dot, Line, Lines, Promised, Target, targets};
use super::text::{bare, target};
use super::{Drawing, Format};

pub(super) fn draw(headroom: &Headroom, promise: usize, format: Format) -> Option<Drawing> {
    let promises = headroom.promises();
    let wanted = *promises.get(promise)?;
    let latency = wanted.measure != MeasureKind::Throughput;
    // Only cases in which it is promised.
    let cases: Vec<(&CaseHeadroom, Vec<&Cell>)> = headroom
        .cases
        .iter()
        .map(|case| (case, cells(case, wanted)))
        .filter(|(_, cells)| !cells.is_empty())
        .collect();
    // Below today's load a promised throughput of open work shrinks with it: the promise as it stands is that of today and above.
    let shrinks = shrinks(headroom, wanted);
    let stands = |cells: &[&Cell]| cells.iter().map(|cell| cell.target).fold(0.0, f64::max);
    let all = || cases.iter().flat_map(|(_, cells)| cells);
    let values = all().filter_map(|cell| cell.value.map(|figure| figure.value));
    let largest = cases.iter().map(|(_, cells)| stands(cells));
    let shown = Scale::of(wanted.cell.unit, values.chain(largest));
    let scale = 1.0 / shown.divisor;
    let promised: Vec<Promised> = cases
        .iter()
        .map(|(case, cells)| {
            let target = stands(cells) * scale;
            (case.case.name.clone(), look(&case.case).0, target)
        })
        .collect();
    let in_words = |value: f64| {
        if latency {
            return with_unit(&bare(value), shown.unit);
        }
        let same = |cell: &&&Cell| (cell.target * scale / value - 1.0).abs() < 1e-9;
        let text = all().find(same).map(|cell| target(&cell.target_text));
        text.unwrap_or_else(|| with_unit(&bare(value), shown.unit))
    };
    let lines: Vec<Line> = cases
        .iter()
        .map(|(case, _)| line(headroom, case, wanted, scale))
        .collect();
    let fits = lines.iter().all(|line| line.full.is_empty());
    let name = format!("{} {}", wanted.workload, measure_name(wanted.measure));
    let unit = if latency {
        format!("{} (log scale)", shown.unit)
    } else {
        shown.unit.to_owned()
    };
    let chart = Lines {
        id: format!("load-{promise}"),
        across: format!(
            "{} (hollow: to find the edge, or undecided; filled: proof{})",
            growth_axis(headroom),
            if fits { "" } else { "; arrow: does not fit" }
        ),
        up: format!("{name}, {unit}"),
        words: Vec::new(),
        log: latency,
        whole: headroom.grows.today().is_some(),
        lines,
        promises: targets(&promised, &in_words)
            .into_iter()
            .map(|target| Target {
                level_from: shrinks.then_some(1.0),
                text: format!(
                    "{}{}",
                    target.text,
                    if shrinks { ", below 1 times that" } else { "" }
                ),
                ..target
            })
            .collect(),
    };
    let drawn: Vec<&CaseHeadroom> = cases.iter().map(|(case, _)| *case).collect();
    let in_table = |value: f64| shown.three(value);
    let description = description(
        headroom,
        (&name, &unit),
        &chart,
        &drawn,
        (wanted, &in_table),
    );
    // A page says what is proven once, above all of its charts; a slide stands alone.
    let in_unit = |value: f64| with_unit(&shown.three(value), shown.unit);
    let title = match (format, cases.first()) {
        (Format::Page | Format::Phone, Some((case, _))) => {
            of_the_figure(headroom, case, (wanted, &name, &in_unit))
        }
        _ => finding(headroom),
    };
    let foot = with_bursts(foot(&headroom.origin), &headroom.unseen_bursts());
    lines::draw(foot, format, title, description, &chart)
}

/// Whether less load is promised less with: a throughput of open work, where the load grows and not hosts.
fn shrinks(headroom: &Headroom, promise: &LoadRow) -> bool {
    let points = headroom.cases.iter().flat_map(|case| &case.points);
    let mut loops = points.flat_map(|point| &point.depths);
    promise.measure == MeasureKind::Throughput
        && headroom.grows.today().is_none()
        && !loops.any(|own| own.workload == promise.workload)
}

/// What is judged of a promise at the loads of a case.
fn cells<'a>(case: &'a CaseHeadroom, promise: &LoadRow) -> Vec<&'a Cell> {
    let rows = case.points.iter().flat_map(|point| &point.rows);
    let own = rows.filter(|row| row.is_of(promise));
    own.map(|row| &row.cell).collect()
}

/// What a factor is multiplied by to be counted.
fn times(headroom: &Headroom) -> f64 {
    headroom.grows.today().map_or(1.0, f64::from)
}

fn line(headroom: &Headroom, case: &CaseHeadroom, promise: &LoadRow, scale: f64) -> Line {
    let (role, mark) = look(&case.case);
    let own = |row: &&LoadRow| row.is_of(promise);
    // The least load at which the work does not fit: beyond it there is nothing to see.
    let full = case.points.iter().filter(|point| {
        let rows = point.rows.iter().find(own);
        rows.is_some_and(|row| row.cell.value.is_none() && (row.cell.saturated || point.saturated))
    });
    let full = full.map(|point| point.factor).reduce(f64::min);
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
                hollow: point.purpose == crate::outcome::Purpose::Pilot
                    || point.verdict == Verdict::Undecided,
            })
        })
        .collect();
    Line {
        name: case.case.name.clone(),
        note: ends(headroom, case, promise),
        role,
        mark,
        dots,
        apart: true,
        foot: case.knee.map(|knee| (knee * times(headroom), "knee")),
        full: full
            .map(|factor| factor * times(headroom))
            .into_iter()
            .collect(),
    }
}

/// `1.82 met, 1.91 missed`, and the knee. The ends are those of all promises: where the one that is drawn is not the one that breaks,
/// `1.91 missed by p99`.
fn ends(headroom: &Headroom, case: &CaseHeadroom, drawn: &LoadRow) -> String {
    let shown = |factor: f64| counted_met(headroom, factor);
    let broken = |factor: f64| counted_missed(headroom, factor);
    let knee = case.knee.map_or_else(String::new, |knee| {
        format!(", knee {}", load_in(headroom, case, knee))
    });
    // Where less is broken the note is full without the knee, which the axis shows.
    let (not, knee) = match case.holes.first() {
        None => ("", knee),
        Some(_) => (", not all below", String::new()),
    };
    let other = case.breaks.as_ref().filter(|own| {
        case.missed.is_some() && (own.workload != drawn.workload || own.measure != drawn.measure)
    });
    let by = other.map_or_else(String::new, |own| {
        let measure = measure_name(own.measure);
        match own.workload == drawn.workload {
            true => format!(" by {measure}"),
            false => format!(" by {} {measure}", own.workload),
        }
    });
    let knee = if by.is_empty() { knee } else { String::new() };
    match (case.met, case.missed) {
        (Some(met), Some(missed)) => {
            format!(
                "{} met{not}, {} missed{by}{knee}",
                shown(met),
                broken(missed)
            )
        }
        (Some(met), None) if case.bound.is_some() => {
            format!("{} met{not}, no more tried{knee}", shown(met))
        }
        (Some(met), None) => format!("{} met{not}{knee}", shown(met)),
        (None, Some(_)) if case.hopeless.is_some() => "missed at every load".to_owned(),
        (None, Some(missed)) => format!("{} missed{by}{knee}", broken(missed)),
        (None, None) if headroom.partial => "nothing proven yet".to_owned(),
        (None, None) => "nothing proven".to_owned(),
    }
}

/// `orders mean, healthy: 200 µs today, 301 µs at the largest load that is proven to be met.`
fn of_the_figure(
    headroom: &Headroom,
    case: &CaseHeadroom,
    (promise, name, shown): (&LoadRow, &str, &dyn Fn(f64) -> String),
) -> String {
    let at = |factor: f64| {
        let own = case.points.iter().rfind(|point| point.factor == factor)?;
        let row = own.rows.iter().find(|row| row.is_of(promise))?;
        Some(shown(row.cell.value?.value))
    };
    let today = at(1.0).map(|figure| format!("{figure} today"));
    let met = case.met.filter(|met| *met != 1.0).and_then(at);
    let met = met.map(|figure| format!("{figure} at the largest load that is proven to be met"));
    let said: Vec<String> = today.into_iter().chain(met).collect();
    if said.is_empty() {
        return format!("{name} against {}.", growth_axis(headroom));
    }
    format!("{name}, {}: {}.", case.case.name, said.join(", "))
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
            let none = match case.today {
                None => "nothing promised",
                Some(_) if headroom.partial && case.missed.is_none() && case.hopeless.is_none() => {
                    "nothing yet"
                }
                Some(_) => "none",
            };
            let met = case
                .met
                .map_or_else(|| none.to_owned(), |met| counted_met(headroom, met));
            // What is proven of the state after a loss is not said without the loss itself.
            let missed = if switch_breaks(case) {
                format!(" (switch-over there {})", switch_word(case))
            } else {
                String::new()
            };
            let hole = hole_words(case).map_or_else(String::new, |said| format!(" ({said})"));
            format!("{} {met}{hole}{missed}", case.case.name)
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

fn description(
    headroom: &Headroom,
    (name, in_unit): (&str, &str),
    chart: &Lines,
    cases: &[&CaseHeadroom],
    (promise, shown): (&LoadRow, &dyn Fn(f64) -> String),
) -> String {
    let mut out = format!("{name}, {in_unit}, against {}.", growth_axis(headroom));
    for target in &chart.promises {
        out.push_str(&format!(" {}.", target.text));
    }
    for (line, case) in chart.lines.iter().zip(cases) {
        let name = match case.case.outage {
            Some(_) => begun_with(&line.name),
            None => sentence(&line.name),
        };
        out.push_str(&format!(" {name}: {};", ends(headroom, case, promise)));
        if !case.holes.is_empty() {
            let below = case
                .holes
                .iter()
                .map(|hole| load_in(headroom, case, hole.factor));
            let below: Vec<String> = below.collect();
            out.push_str(&format!(" broken below at {};", listed(&below)));
        }
        // As the table beside it has them, rounded to the side that is proven.
        for point in &case.points {
            let row = point.rows.iter().find(|row| row.is_of(promise));
            if let Some(value) = row.and_then(|row| row.cell.value) {
                let at = load_in(headroom, case, point.factor);
                out.push_str(&format!(" {} at {at},", shown(value.value)));
            }
        }
        for factor in &line.full {
            let at = load_in(headroom, case, *factor / times(headroom));
            out.push_str(&format!(" does not fit at {at},"));
        }
        out.pop();
        out.push('.');
    }
    out
}
