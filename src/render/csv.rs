//! Results as comma-separated values: one header line, units in the header names, every digit.
//!
//! An empty field means that there is no such figure (saturated, no such I/O, no interval). Figures that are
//! not finite never appear. Left out: rounding, which the reader of a spreadsheet can do.

mod compare;
mod growth;
mod headroom;
mod measured;
mod mends;
mod review;
mod several;
mod sheet;
mod sweep;
mod switching;
mod windows;

pub use compare::comparison_csv;
pub use growth::growth_csv;
pub use headroom::headroom_csv;
pub use measured::measured_csv;
pub use mends::mends_csv;
pub use review::{paths_csv, review_csv};
pub use several::several_csv;
pub use sheet::sheet_csv;
pub use sweep::{
    BEFORE, SweepPlace, sweep_check, sweep_csv_line, sweep_header, sweep_json_fields,
    sweep_json_line, sweep_rows,
};
pub use switching::{singles_switch_overs_csv, switch_overs_csv};
pub use windows::windows_csv;

use super::words::measure_name;
use crate::outcome::{
    AssumptionRow, Cell, EachPart, Estimated, LeftOpen, Matrix, Population, Report, Row, Verdict,
};

/// Rows to text. Writing to memory fails only on rows of unequal length, which the callers cannot build.
fn to_text(header: &[String], rows: Vec<Vec<String>>) -> String {
    let mut writer = ::csv::WriterBuilder::new()
        .flexible(true)
        .from_writer(Vec::new());
    let mut all = vec![header.to_vec()];
    all.extend(rows);
    for row in all {
        if writer.write_record(&row).is_err() {
            return String::new();
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

fn names(list: &[&str]) -> Vec<String> {
    list.iter().map(|name| (*name).to_owned()).collect()
}

fn number(value: f64) -> String {
    if value.is_finite() {
        value.to_string()
    } else {
        String::new()
    }
}

fn maybe(value: Option<f64>) -> String {
    value.map_or_else(String::new, number)
}

fn side(value: Option<char>) -> String {
    value.map_or_else(String::new, String::from)
}

const QUANTILES: [(f64, &str); 5] = [
    (0.5, "p50"),
    (0.9, "p90"),
    (0.95, "p95"),
    (0.99, "p99"),
    (0.999, "p99_9"),
];

/// Header names of one population; `prefix` is empty, `reads_` or `writes_`.
fn population_header(prefix: &str) -> Vec<String> {
    let mut out: Vec<String> = ["ios", "unfinished", "failed"]
        .iter()
        .map(|name| format!("{prefix}{name}"))
        .collect();
    let mut with_interval = |name: &str, unit: &str| {
        for end in ["", "_low", "_high"] {
            out.push(format!("{prefix}{name}{end}_{unit}"));
        }
    };
    with_interval("offered", "iops");
    with_interval("completed", "iops");
    with_interval("throughput", "mb_s");
    with_interval("mean", "us");
    for (_, name) in QUANTILES {
        with_interval(name, "us");
    }
    for (_, name) in QUANTILES {
        out.push(format!("{prefix}{name}_beyond_us"));
    }
    out.push(format!("{prefix}min_us"));
    out.push(format!("{prefix}max_us"));
    out
}

fn estimated(figure: Option<Estimated>, out: &mut Vec<String>) {
    out.push(maybe(figure.map(|f| f.value)));
    out.push(maybe(figure.and_then(|f| f.low)));
    out.push(maybe(figure.and_then(|f| f.high)));
}

fn population(figures: &Population, out: &mut Vec<String>) {
    for count in [figures.ios, figures.unfinished, figures.failed] {
        out.push(count.to_string());
    }
    estimated(Some(figures.offered_iops), out);
    estimated(Some(figures.completed_iops), out);
    estimated(Some(figures.throughput_mb_s), out);
    estimated(figures.mean_us, out);
    let at = |q: f64| {
        figures
            .quantiles
            .iter()
            .find(|figure| (figure.q - q).abs() < 1e-9)
    };
    for (q, _) in QUANTILES {
        estimated(at(q).and_then(|figure| figure.latency_us), out);
    }
    for (q, _) in QUANTILES {
        out.push(maybe(at(q).and_then(|figure| figure.beyond_us)));
    }
    out.push(maybe(figures.min_us));
    out.push(maybe(figures.max_us));
}

/// One row for each case and workload: offered, completed, MB/s, latency with intervals; all I/Os, then
/// `reads_` and `writes_` apart; `partial` where a limit stopped a run. Changes that were simulated follow the cases, named in `mend`.
#[must_use]
pub fn report_csv(report: &Report) -> String {
    let mut header = names(&[
        "case",
        "lost",
        "mend",
        "workload",
        "replications",
        "saturated",
        "partial",
    ]);
    for prefix in ["", "reads_", "writes_"] {
        header.extend(population_header(prefix));
    }
    header.extend(names(&["peak_completed_iops", "peak_offered_iops"]));
    let mut rows = Vec::new();
    let plain = report.steady.iter().map(|steady| ("", steady));
    let mended = report.mends.iter().flat_map(|mend| {
        mend.steady
            .iter()
            .map(|steady| (mend.name.as_str(), steady))
    });
    for (mend, steady) in plain.chain(mended) {
        for workload in &steady.workloads {
            let mut row = vec![
                steady.case.name.clone(),
                side(steady.case.lost),
                mend.to_owned(),
                workload.name.clone(),
                steady.replications.to_string(),
                workload.saturated.to_string(),
                steady.partial.to_string(),
            ];
            for figures in [&workload.all, &workload.reads, &workload.writes] {
                population(figures, &mut row);
            }
            row.push(number(workload.peak_iops));
            row.push(number(workload.peak_offered_iops));
            if steady.unmeasured {
                row[7..].fill(String::new());
            }
            rows.push(row);
        }
    }
    to_text(&header, rows)
}

/// One row for each case and link direction (every member by itself).
#[must_use]
pub fn directions_csv(report: &Report) -> String {
    let header = names(&[
        "case",
        "direction",
        "family",
        "tier",
        "from",
        "to",
        "side",
        "toward_array",
        "speed",
        "usable_mb_s",
        "utilization_percent",
        "peak_percent",
        "asked_peak_percent",
        "asked_peak_by",
        "frames",
        "payload_bytes",
        "overhead_bytes",
        "payload_mb_s",
        "wait_mean_us",
        "wait_p50_us",
        "wait_p99_us",
        "wait_p99_9_us",
        "queue_mean_frames",
        "queue_max_frames",
        "queue_max_bytes",
        "partial",
    ]);
    let mut rows = Vec::new();
    for steady in &report.steady {
        for d in &steady.directions {
            let mut row = vec![
                steady.case.name.clone(),
                d.name.clone(),
                d.family.clone(),
                d.tier.clone(),
                d.from.clone(),
                d.to.clone(),
                side(d.side),
                d.toward_array.to_string(),
                d.speed.clone(),
                number(d.usable_mb_s),
                number(d.utilization_percent),
                number(d.peak_percent),
                number(d.asked_peak_percent),
                match d.asked_peak_by_arithmetic {
                    true => "arithmetic",
                    false => "runs",
                }
                .to_owned(),
                d.frames.to_string(),
                d.payload_bytes.to_string(),
                d.overhead_bytes.to_string(),
                number(d.payload_mb_s),
                number(d.wait_mean_us),
                number(d.wait_p50_us),
                number(d.wait_p99_us),
                number(d.wait_p999_us),
                number(d.queue_mean),
                d.queue_max.to_string(),
                d.queue_max_bytes.to_string(),
                steady.partial.to_string(),
            ];
            if steady.unmeasured {
                row[10..25].fill(String::new());
            }
            rows.push(row);
        }
    }
    to_text(&header, rows)
}

/// One row for each named event of each switch-over, times after the loss.
#[must_use]
pub fn events_csv(report: &Report) -> String {
    let header = names(&[
        "case",
        "t_s",
        "what",
        "timer",
        "workload",
        "ios",
        "ended_stall",
    ]);
    let mut rows = Vec::new();
    for switch in &report.switches {
        for event in &switch.events {
            rows.push(vec![
                switch.case.name.clone(),
                number(event.t_s),
                event.what.clone(),
                event.timer.clone().unwrap_or_default(),
                event.workload.clone().unwrap_or_default(),
                event.ios.map_or_else(String::new, |ios| ios.to_string()),
                event.ended_stall.to_string(),
            ]);
        }
    }
    to_text(&header, rows)
}

/// Header names of a judgement.
const JUDGEMENT: [&str; 15] = [
    "workload",
    "measure",
    "switching",
    "target",
    "unit",
    "value",
    "value_low",
    "value_high",
    "beyond",
    "margin_percent",
    "saturated",
    "replications",
    "replications_needed",
    "verdict",
    "left_open",
];

fn judgement(row: &Row, cell: &Cell) -> Vec<String> {
    let verdict = match cell.verdict {
        Verdict::Met => "met",
        Verdict::Missed => "missed",
        Verdict::Undecided => "undecided",
    };
    let mut out = vec![
        row.workload.clone(),
        measure_name(row.measure),
        row.switching.to_string(),
        number(cell.target),
        cell.unit.to_owned(),
    ];
    estimated(cell.value, &mut out);
    out.push(maybe(cell.beyond));
    out.push(maybe(cell.margin_percent));
    out.push(cell.saturated.to_string());
    out.push(cell.replications.to_string());
    let needed = cell.replications_needed;
    out.push(needed.map_or_else(String::new, |needed| needed.to_string()));
    out.push(verdict.to_owned());
    out.push(left_open(cell).to_owned());
    out
}

/// Why a judgement stays open whatever the number of replications, in a word; empty where they decide.
const fn left_open(cell: &Cell) -> &'static str {
    match cell.left_open {
        None => "",
        Some(LeftOpen::Waiting(_)) => "waiting",
        Some(LeftOpen::RunTooShort) => "run-too-short",
        Some(LeftOpen::Filling) => "filling",
        Some(LeftOpen::Bursts) => "bursts",
        Some(LeftOpen::Stopped) => "stopped",
        Some(LeftOpen::PilesUp) => "piles-up",
    }
}

/// The matrix: one row for each case and promise that was judged.
#[must_use]
pub fn promises_csv(matrix: &Matrix) -> String {
    let mut header = names(&["case", "lost"]);
    header.extend(names(&JUDGEMENT));
    let mut rows = Vec::new();
    for (column, case) in matrix.cases.iter().enumerate() {
        for row in &matrix.rows {
            if let Some(Some(cell)) = row.cells.get(column) {
                let mut out = vec![case.name.clone(), side(case.lost)];
                out.extend(judgement(row, cell));
                rows.push(out);
            }
        }
    }
    to_text(&header, rows)
}

/// Every single part lost in turn: one row for each case and promise that was judged, and one for a case in
/// which none was. Lists within a field are set apart by `; `.
#[must_use]
pub fn singles_csv(each: &EachPart) -> String {
    let mut header = names(&["case", "during", "kind", "part"]);
    header.extend(names(&[
        "same_loss_as",
        "stands_for",
        "gone_hosts",
        "cut_off_hosts",
    ]));
    header.extend(names(&[
        "fullest",
        "fullest_mean_percent",
        "fullest_peak_percent",
    ]));
    header.extend(names(&JUDGEMENT));
    let mut rows = Vec::new();
    for (column, case) in each.cases.iter().enumerate() {
        let mut cut: Vec<String> = Vec::new();
        for host in case.cut_off.iter().flat_map(|cut| &cut.hosts) {
            if !cut.contains(host) {
                cut.push(host.clone());
            }
        }
        let full = case.fullest.as_ref();
        let mut start = vec![
            each.matrix.cases[column].name.clone(),
            each.during.clone().unwrap_or_default(),
            case.kind.clone(),
            case.part.clone(),
        ];
        start.extend([&case.also, &case.alike, &case.gone_hosts, &cut].map(|list| list.join("; ")));
        start.push(full.map_or_else(String::new, |full| full.instance.clone()));
        start.push(maybe(full.map(|full| full.mean_percent)));
        start.push(maybe(full.map(|full| full.peak_percent)));
        let before = rows.len();
        for row in &each.matrix.rows {
            if let Some(Some(cell)) = row.cells.get(column) {
                let mut out = start.clone();
                out.extend(judgement(row, cell));
                rows.push(out);
            }
        }
        if rows.len() == before {
            start.extend(JUDGEMENT.iter().map(|_| String::new()));
            rows.push(start);
        }
    }
    to_text(&header, rows)
}

/// One row for each input with its mark.
#[must_use]
pub fn assumptions_csv(assumptions: &[AssumptionRow]) -> String {
    let header = names(&["key", "what", "value", "mark", "source", "line"]);
    let rows = assumptions
        .iter()
        .map(|row| {
            vec![
                row.key.clone(),
                row.what.clone(),
                row.value.clone(),
                row.mark.clone(),
                row.source.clone(),
                row.line.map_or_else(String::new, |line| line.to_string()),
            ]
        })
        .collect();
    to_text(&header, rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::{sample_report, sample_singles};

    fn read(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
        let mut reader = ::csv::Reader::from_reader(text.as_bytes());
        let header = reader
            .headers()
            .unwrap()
            .iter()
            .map(str::to_owned)
            .collect();
        let rows = reader
            .records()
            .map(|row| row.unwrap().iter().map(str::to_owned).collect())
            .collect();
        (header, rows)
    }

    /// The reader refuses rows of unequal length, so that every row of these has the header's length.
    #[test]
    fn every_table_reads_back() {
        let report = sample_report();
        let (header, rows) = read(&report_csv(&report));
        let cases = report.steady.len() * (1 + report.mends.len());
        assert_eq!(rows.len(), cases * report.steady[0].workloads.len());
        let at = |name: &str| header.iter().position(|h| h == name).unwrap();
        let first = &report.steady[0].workloads[0];
        assert_eq!(rows[0][at("workload")], first.name);
        let mean: f64 = rows[0][at("mean_us")].parse().unwrap();
        assert!((mean - first.all.mean_us.unwrap().value).abs() < 1e-12);
        let p999: f64 = rows[0][at("reads_p99_9_us")].parse().unwrap();
        assert!((p999 - first.reads.quantiles[4].latency_us.unwrap().value).abs() < 1e-12);

        let (_, rows) = read(&directions_csv(&report));
        let all: usize = report.steady.iter().map(|s| s.directions.len()).sum();
        assert_eq!(rows.len(), all);
        let (_, rows) = read(&events_csv(&report));
        let all: usize = report.switches.iter().map(|s| s.events.len()).sum();
        assert_eq!(rows.len(), all);
        let (_, rows) = read(&assumptions_csv(&report.assumptions));
        assert_eq!(rows.len(), report.assumptions.len());
    }

    #[test]
    fn every_judgement_is_a_row() {
        let report = sample_report();
        let judged = |matrix: &Matrix| -> usize {
            matrix
                .rows
                .iter()
                .map(|row| row.cells.iter().flatten().count())
                .sum()
        };
        let (header, rows) = read(&promises_csv(&report.matrix));
        assert_eq!(rows.len(), judged(&report.matrix));
        let at = |name: &str| header.iter().position(|h| h == name).unwrap();
        assert_eq!(rows[0][at("measure")], "p99");
        assert_eq!(rows[0][at("verdict")], "met");
        assert_eq!(rows[0][at("target")], "2000");

        let each = sample_singles().each_part.unwrap();
        let (header, rows) = read(&singles_csv(&each));
        assert_eq!(rows.len(), judged(&each.matrix));
        let at = |name: &str| header.iter().position(|h| h == name).unwrap();
        let last = rows.last().unwrap();
        assert_eq!(last[at("part")], "vault-c1");
        assert_eq!(last[at("cut_off_hosts")], "db-1; db-2");
        assert_eq!(last[at("verdict")], "missed");
        // A case without a judgement is still there.
        let mut bare = each;
        bare.matrix.rows.clear();
        let (_, rows) = read(&singles_csv(&bare));
        assert_eq!(rows.len(), bare.cases.len());
    }

    #[test]
    fn names_with_quotes_and_commas_survive() {
        let mut report = sample_report();
        report.steady[0].workloads[0].name = "a \"b\", <c>\nd".to_owned();
        report.steady[0].workloads[0].peak_iops = f64::NAN;
        let (header, rows) = read(&report_csv(&report));
        let at = |name: &str| header.iter().position(|h| h == name).unwrap();
        assert_eq!(rows[0][at("workload")], "a \"b\", <c>\nd");
        assert_eq!(rows[0][at("peak_completed_iops")], "");
    }

    #[test]
    fn header_names_are_unique_and_plain() {
        let (header, _) = read(&report_csv(&sample_report()));
        let mut sorted = header.clone();
        sorted.sort();
        sorted.dedup();
        assert_eq!(sorted.len(), header.len());
        assert!(header.iter().all(|name| {
            name.chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
        }));
    }
}
