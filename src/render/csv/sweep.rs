//! A point of a sweep as rows, comma-separated or one JSON object a line.
//!
//! Both have the same columns and the same figures, and a row stands by itself: it says which point of how many
//! it belongs to, which row of how many of that point it is, and what repeats it. So rows can be written as
//! they come, cut short by a kill, gone on with, and put together from pieces.

use super::{maybe, names, number};
use crate::outcome::{Cell, MeasureKind, SweepPoint, Verdict, WorkloadFigures};
use crate::render::words::measure_name;
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};

/// Columns before those of the varied values.
pub const BEFORE: [&str; 4] = ["point", "points", "row", "rows"];

/// Columns after those of the varied values; those in [`TEXTS`] are text, the others are numbers.
const AFTER: [&str; 58] = [
    "case",
    "workload",
    "all_promises",
    "decided_by",
    "saturated",
    "partial",
    "promise",
    "promise_unit",
    "promise_target",
    "promise_value",
    "promise_beyond",
    "promise_value_low",
    "promise_value_high",
    "promise_margin_percent",
    "promise_verdict",
    "ios",
    "offered_iops",
    "completed_iops",
    "throughput_mb_s",
    "throughput_low_mb_s",
    "throughput_high_mb_s",
    "mean_us",
    "mean_low_us",
    "mean_high_us",
    "p50_us",
    "p90_us",
    "p95_us",
    "p99_us",
    "p99_low_us",
    "p99_high_us",
    "p99_9_us",
    "max_us",
    "arithmetic_percent",
    "arithmetic_leaves_out_closed",
    "fullest_part",
    "fullest_mean_percent",
    "fullest_peak_percent",
    "hosts",
    "switches",
    "modules",
    "controllers",
    "cables",
    "ports",
    "ports_lacking",
    "switch_verdict",
    "longest_silence_s",
    "longest_io_s",
    "longest_io_promise_s",
    "switch_failed",
    "switch_unfinished",
    "settled_s",
    "switch_replications",
    "seed",
    "replications",
    "digest",
    "sweep",
    "version",
    "row_check",
];

const TEXTS: [&str; 17] = [
    "case",
    "workload",
    "all_promises",
    "decided_by",
    "arithmetic_leaves_out_closed",
    "promise",
    "promise_unit",
    "promise_verdict",
    "fullest_part",
    "ports_lacking",
    "switch_verdict",
    "digest",
    "sweep",
    "version",
    "row_check",
    "saturated",
    "partial",
];

/// Those of them that are `true` or `false`.
const TRUTHS: [&str; 3] = ["saturated", "partial", "arithmetic_leaves_out_closed"];

/// Where a row comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SweepPlace {
    /// From 1.
    pub point: usize,
    /// How many there are in all, in all pieces together.
    pub points: usize,
    /// The varied values, in the order of the keys.
    pub values: Vec<String>,
    /// Seed of all points.
    pub seed: u64,
    /// Replications.
    pub replications: u32,
    /// Digest of the scenario with these values.
    pub digest: String,
    /// Digest of the whole sweep: every point's scenario, seed, replications and outages. Pieces of one sweep have
    /// the same.
    pub sweep: String,
    /// Version of the program.
    pub version: String,
}

/// The names of all columns.
#[must_use]
pub fn sweep_header(keys: &[String]) -> Vec<String> {
    let mut header = names(&BEFORE);
    header.extend(keys.iter().cloned());
    header.extend(names(&AFTER));
    header
}

/// The rows of a point: one for each case, workload and promise about its steady state, with the verdict of that promise; a workload
/// without one there has one row. `all_promises` is the verdict of all of them together, and `decided_by` names the one that decides it.
#[must_use]
pub fn sweep_rows(place: &SweepPlace, point: &SweepPoint) -> Vec<Vec<String>> {
    let works = point.steady.iter().enumerate();
    let works =
        works.flat_map(|(case, steady)| steady.workloads.iter().map(move |work| (case, work)));
    let all: Vec<(usize, &WorkloadFigures, Option<usize>)> = works
        .flat_map(|(case, work)| {
            let promises = cells(point, case, work, Judged::Steady).len();
            let each: Vec<Option<usize>> = match promises {
                0 => vec![None],
                some => (0..some).map(Some).collect(),
            };
            each.into_iter().map(move |promise| (case, work, promise))
        })
        .collect();
    all.iter()
        .enumerate()
        .map(|(row, (case, work, promise))| {
            let mut out: Vec<String> = [place.point, place.points, row + 1, all.len()]
                .iter()
                .map(ToString::to_string)
                .collect();
            out.extend(place.values.iter().cloned());
            out.extend(figures(point, *case, work, *promise));
            out.extend([
                place.seed.to_string(),
                place.replications.to_string(),
                place.digest.clone(),
                place.sweep.clone(),
                place.version.clone(),
            ]);
            out.push(sweep_check(&out));
            out
        })
        .collect()
}

const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Met => "met",
        Verdict::Missed => "missed",
        Verdict::Undecided => "undecided",
    }
}

/// What is judged of a promise.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Judged {
    Steady,
    SwitchOver,
}

/// The judgements of a workload in a case.
fn cells<'a>(
    point: &'a SweepPoint,
    case: usize,
    work: &WorkloadFigures,
    judged: Judged,
) -> Vec<(String, &'a Cell)> {
    let rows =
        point.matrix.rows.iter().filter(|row| {
            row.workload == work.name && row.switching == (judged == Judged::SwitchOver)
        });
    rows.filter_map(|row| Some((measure_name(row.measure), row.cells.get(case)?.as_ref()?)))
        .collect()
}

/// All of them as one word; empty where nothing is judged.
fn together(cells: &[(String, &Cell)]) -> &'static str {
    let any = |wanted: Verdict| cells.iter().any(|(_, cell)| cell.verdict == wanted);
    if cells.is_empty() {
        ""
    } else if any(Verdict::Missed) {
        "missed"
    } else if any(Verdict::Undecided) {
        "undecided"
    } else {
        "met"
    }
}

/// The promise that decides the verdict of all: one that is missed before one that is undecided before one that is met, and of
/// those the one with the least room left.
fn deciding<'a>(cells: &'a [(String, &Cell)]) -> Option<&'a str> {
    let rank = |cell: &Cell| match cell.verdict {
        Verdict::Missed => 0,
        Verdict::Undecided => 1,
        Verdict::Met => 2,
    };
    // What has no figure lies beyond every one.
    let room = |cell: &Cell| {
        cell.margin_percent.unwrap_or(match cell.verdict {
            Verdict::Met => f64::INFINITY,
            Verdict::Missed | Verdict::Undecided => f64::NEG_INFINITY,
        })
    };
    let least = cells.iter().min_by(|(_, left), (_, right)| {
        rank(left)
            .cmp(&rank(right))
            .then(room(left).total_cmp(&room(right)))
    });
    least.map(|(name, _)| name.as_str())
}

/// The worst of all replications of the switch-over of a case; empty fields where there was none.
fn switch_over(point: &SweepPoint, case: usize, work: &WorkloadFigures) -> Vec<String> {
    let named = &point.cases[case].case.name;
    let switch = point.switches.iter().find(|own| own.case.name == *named);
    let found = switch.and_then(|switch| {
        let own = switch.workloads.iter().find(|own| own.name == work.name)?;
        Some((switch, own))
    });
    let Some((switch, own)) = found else {
        return vec![String::new(); 8];
    };
    let worst = |all: &[u64]| all.iter().copied().max().unwrap_or(0).to_string();
    let longest = own.longest_io_s.iter().copied().reduce(f64::max);
    let judged = cells(point, case, work, Judged::SwitchOver);
    let name = measure_name(MeasureKind::LongestIo);
    let promised = judged.iter().find(|(known, _)| *known == name);
    let promised = promised.map(|(_, cell)| cell.target);
    vec![
        together(&cells(point, case, work, Judged::SwitchOver)).to_owned(),
        number(own.longest_silence_s),
        maybe(longest),
        maybe(promised),
        worst(&own.failed),
        worst(&own.hanging),
        maybe(own.settled_s),
        switch.replications.to_string(),
    ]
}

/// Whether a limit on events or memory stopped a run of a case, steady or the switch-over.
fn is_partial(point: &SweepPoint, case: usize) -> bool {
    let switch = point
        .switches
        .iter()
        .find(|own| own.case.name == point.cases[case].case.name);
    point.steady[case].partial || switch.is_some_and(|own| own.partial)
}

fn figures(
    point: &SweepPoint,
    case: usize,
    work: &WorkloadFigures,
    promise: Option<usize>,
) -> Vec<String> {
    let cells = cells(point, case, work, Judged::Steady);
    let together = together(&cells);
    let of = &point.cases[case];
    let mut out = vec![
        of.case.name.clone(),
        work.name.clone(),
        together.to_owned(),
        deciding(&cells).unwrap_or_default().to_owned(),
        work.saturated.to_string(),
        is_partial(point, case).to_string(),
    ];
    match promise.and_then(|index| cells.get(index)) {
        None => out.extend(std::iter::repeat_n(String::new(), 9)),
        Some((name, cell)) => out.extend([
            name.clone(),
            cell.unit.to_owned(),
            number(cell.target),
            maybe(cell.value.map(|figure| figure.value)),
            maybe(cell.beyond.filter(|_| cell.value.is_none())),
            maybe(cell.value.and_then(|figure| figure.low)),
            maybe(cell.value.and_then(|figure| figure.high)),
            maybe(cell.margin_percent),
            word(cell.verdict).to_owned(),
        ]),
    }
    let all = &work.all;
    let quantile = |q: f64| {
        let own = all.quantiles.iter().find(|at| (at.q - q).abs() < 1e-9);
        own.and_then(|at| at.latency_us)
    };
    let p99 = quantile(0.99);
    out.extend([
        all.ios.to_string(),
        number(all.offered_iops.value),
        number(all.completed_iops.value),
        number(all.throughput_mb_s.value),
        maybe(all.throughput_mb_s.low),
        maybe(all.throughput_mb_s.high),
        maybe(all.mean_us.map(|figure| figure.value)),
        maybe(all.mean_us.and_then(|figure| figure.low)),
        maybe(all.mean_us.and_then(|figure| figure.high)),
        maybe(quantile(0.5).map(|figure| figure.value)),
        maybe(quantile(0.9).map(|figure| figure.value)),
        maybe(quantile(0.95).map(|figure| figure.value)),
        maybe(p99.map(|figure| figure.value)),
        maybe(p99.and_then(|figure| figure.low)),
        maybe(p99.and_then(|figure| figure.high)),
        maybe(quantile(0.999).map(|figure| figure.value)),
        maybe(all.max_us.filter(|_| !work.saturated)),
        maybe(of.arithmetic_percent),
        of.leaves_out_closed.to_string(),
    ]);
    let fullest = of.fullest.as_ref();
    out.extend([
        fullest.map_or_else(String::new, |part| part.part.clone()),
        maybe(fullest.map(|part| part.mean_percent)),
        maybe(fullest.map(|part| part.peak_percent)),
    ]);
    let made = &point.inventory;
    let sum = |list: &[(String, u32)]| list.iter().map(|row| row.1).sum::<u32>();
    let counts = [
        made.hosts,
        made.switches,
        made.modules,
        made.controllers,
        sum(&made.cables),
        sum(&made.ports),
    ];
    out.extend(counts.iter().map(ToString::to_string));
    out.push(point.ports_lacking.join("; "));
    out.extend(switch_over(point, case, work));
    out
}

/// What the last field of a row has to be: the first eight digits of a SHA-256 of all others, so that a row that was changed is known.
/// Figures count to nine digits, as both kinds of rows have them.
#[must_use]
pub fn sweep_check(others: &[String]) -> String {
    let mut hash = Sha256::new();
    for field in others {
        match field.parse::<f64>() {
            Ok(value) if value.is_finite() => hash.update(format!("{value:.8e}").as_bytes()),
            _ => hash.update(field.as_bytes()),
        }
        hash.update([0x1f]);
    }
    let digest = hash.finalize();
    digest.iter().take(4).map(|b| format!("{b:02x}")).collect()
}

/// One row with commas, and its line end.
#[must_use]
pub fn sweep_csv_line(row: &[String]) -> String {
    super::to_text(row, Vec::new())
}

/// One row as a JSON object on a line of its own: an empty field is `null`, a varied value a text as typed.
#[must_use]
pub fn sweep_json_line(header: &[String], row: &[String]) -> String {
    let keys = BEFORE.len()..header.len() - AFTER.len();
    let mut parts = Vec::new();
    for (index, (name, field)) in header.iter().zip(row).enumerate() {
        let text = keys.contains(&index) || TEXTS.contains(&name.as_str());
        let value = match (text, field.as_str()) {
            (_, "") => "null".to_owned(),
            (true, "true" | "false") if TRUTHS.contains(&name.as_str()) => field.clone(),
            (true, _) => Value::from(field.as_str()).to_string(),
            // A number as Rust prints it is one of JSON too.
            (false, _) => field.clone(),
        };
        parts.push(format!("{}:{value}", Value::from(name.as_str())));
    }
    format!("{{{}}}\n", parts.join(","))
}

/// The fields of such a line in the order of its header; `None` if it is not one.
#[must_use]
pub fn sweep_json_fields(line: &str) -> Option<Vec<(String, String)>> {
    let object: Map<String, Value> = serde_json::from_str(line).ok()?;
    let fields = object.into_iter().map(|(name, value)| {
        let field = match value {
            Value::Null => String::new(),
            Value::String(text) => text,
            other => other.to_string(),
        };
        (name, field)
    });
    Some(fields.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> Vec<String> {
        sweep_header(&["link.a-b.members".to_owned(), "load".to_owned()])
    }

    #[test]
    fn a_row_as_json_has_the_columns_and_figures_of_the_row_with_commas() {
        let header = header();
        let row: Vec<String> = header
            .iter()
            .map(|name| match name.as_str() {
                "case" => "A \"lost\", x".to_owned(),
                name if TRUTHS.contains(&name) => "false".to_owned(),
                "mean_us" => "0.1".to_owned(),
                "p99_us" => String::new(),
                name if TEXTS.contains(&name) => name.to_uppercase(),
                _ => "3".to_owned(),
            })
            .collect();
        let line = sweep_json_line(&header, &row);
        let fields = sweep_json_fields(line.trim_end()).expect("it is JSON");
        for (name, field) in header.iter().zip(&row) {
            let found = fields.iter().find(|(known, _)| known == name);
            assert_eq!(&found.expect("every column").1, field, "{name}");
        }
        let value: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(value["mean_us"], 0.1);
        assert_eq!(value["p99_us"], Value::Null);
        assert_eq!(value["saturated"], false);
        // What was typed stays as it was typed.
        assert_eq!(value["load"], "3");
        assert!(sweep_csv_line(&row).contains("\"A \"\"lost\"\", x\""));
    }

    #[test]
    fn names_are_told_apart() {
        let header = header();
        let once: std::collections::BTreeSet<&String> = header.iter().collect();
        assert_eq!(once.len(), header.len());
    }
}
