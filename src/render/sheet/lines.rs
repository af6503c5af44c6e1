//! The lines of a sheet, from a report.

use crate::outcome::{Case, Estimated, MeasureKind, Report, Row, Steady, Switch};
use crate::render::number::{three, with_unit};
use crate::render::words::{measure_name, row_scale, target_of, timer_words};

/// The whole sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// What is true before any step.
    pub before: Vec<SheetLine>,
    /// The steps, one a case.
    pub cases: Vec<SheetCase>,
}

/// One step.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetCase {
    /// The case.
    pub case: Case,
    /// What to take away, in words.
    pub takes: String,
    /// Nodes that go as a whole.
    pub nodes: Vec<String>,
    /// Links that go dark, both ends: `rack (4) to edge-A, 4 × 25GbE`.
    pub links: Vec<String>,
    /// What to expect.
    pub lines: Vec<SheetLine>,
}

/// One expectation.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetLine {
    /// `before`, `during` or `after`.
    pub when: &'static str,
    /// What to look at: `bookings, paths in good standing at each host`.
    pub what: String,
    /// Unit; empty for counts and words.
    pub unit: String,
    /// Lower end of what is expected; equal to `high` when it is one number, `None` when it is words.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// Expected, where it is no number: the states of the paths one after the other.
    pub words: String,
    /// What was promised: `≤ 20 s`; empty where nothing was.
    pub promised: String,
}

impl SheetLine {
    fn range(when: &'static str, what: String, unit: &str, low: f64, high: f64) -> Self {
        Self {
            when,
            what,
            unit: unit.to_owned(),
            low: Some(low),
            high: Some(high),
            words: String::new(),
            promised: String::new(),
        }
    }

    fn words(when: &'static str, what: String, words: String) -> Self {
        Self {
            when,
            what,
            unit: String::new(),
            low: None,
            high: None,
            words,
            promised: String::new(),
        }
    }
}

/// The sheet of a study: a step for each outage of which the switch-over was simulated.
#[must_use]
pub fn sheet(report: &Report) -> Sheet {
    let before = report.steady.first().map_or_else(Vec::new, |healthy| {
        let mut lines = paths("before", healthy);
        lines.extend(steady_lines("before", report, 0, healthy));
        lines
    });
    let cases = report
        .switches
        .iter()
        .filter(|switch| switch.case.outage.is_some())
        .map(|switch| step(report, switch))
        .collect();
    Sheet { before, cases }
}

fn step(report: &Report, switch: &Switch) -> SheetCase {
    let column = report
        .matrix
        .cases
        .iter()
        .position(|case| *case == switch.case);
    let mut lines = during(report, column, switch);
    let after = report
        .steady
        .iter()
        .enumerate()
        .find(|(_, steady)| steady.case == switch.case);
    if let Some((index, steady)) = after {
        lines.extend(paths("after", steady));
        lines.extend(steady_lines("after", report, index, steady));
    }
    let lost_in = |index: usize| {
        let nodes = report.picture.nodes.iter();
        nodes
            .filter(|node| node.lost_in.contains(&index))
            .map(|node| {
                if node.count > 1 {
                    format!("{} ({})", node.name, node.count)
                } else {
                    node.name.clone()
                }
            })
            .collect()
    };
    let said = switch.events.iter().find(|event| event.timer.is_none());
    SheetCase {
        takes: said.map_or_else(|| switch.case.name.clone(), |event| event.what.clone()),
        nodes: after.map_or_else(Vec::new, |(index, _)| lost_in(index)),
        links: after.map_or_else(Vec::new, |(index, _)| dark(report, index)),
        case: switch.case.clone(),
        lines,
    }
}

/// Bundles of which nothing is left in a case, in the order of the diagram: their ports are those to disable.
fn dark(report: &Report, case: usize) -> Vec<String> {
    let name = |index: usize| -> Option<String> {
        let node = report.picture.nodes.get(index)?;
        Some(match node.count {
            0 | 1 => node.name.clone(),
            many => format!("{} ({many})", node.name),
        })
    };
    let pipes = report.picture.pipes.iter();
    pipes
        .filter(|pipe| pipe.load.get(case).is_some_and(Option::is_none))
        .filter_map(|pipe| {
            Some(format!(
                "{} to {}, {}",
                name(pipe.from)?,
                name(pipe.to)?,
                pipe.label
            ))
        })
        .collect()
}

/// Paths that carry work, fewest and most of any host, by workload and fabric.
fn paths(when: &'static str, steady: &Steady) -> Vec<SheetLine> {
    let mut lines = Vec::new();
    for work in &steady.workloads {
        for side in [Some('A'), Some('B'), None] {
            let mut hosts: Vec<(&str, u32)> = Vec::new();
            let own = |path: &&crate::outcome::PathFigures| path.workload == work.name;
            for path in steady.paths.iter().filter(own) {
                let index = hosts.iter().position(|(host, _)| *host == path.host);
                let index = index.unwrap_or_else(|| {
                    hosts.push((&path.host, 0));
                    hosts.len() - 1
                });
                hosts[index].1 += u32::from(path.side == side);
            }
            let counts = || hosts.iter().map(|(_, count)| *count);
            let (Some(low), Some(high)) = (counts().min(), counts().max()) else {
                continue;
            };
            // A fabric that is gone has no paths, which is worth a line; a site without `neither` is not.
            if side.is_none() && high == 0 {
                continue;
            }
            let on = side.map_or_else(|| "on no fabric".to_owned(), |side| format!("on {side}"));
            let what = format!("{}: paths in use {on}, each host", work.name);
            lines.push(SheetLine::range(
                when,
                what,
                "",
                f64::from(low),
                f64::from(high),
            ));
        }
    }
    lines
}

/// Latency, throughput and how full the fullest parts are.
fn steady_lines(
    when: &'static str,
    report: &Report,
    index: usize,
    steady: &Steady,
) -> Vec<SheetLine> {
    let mut lines = Vec::new();
    for work in &steady.workloads {
        if work.saturated {
            let what = format!("{}: latency", work.name);
            lines.push(SheetLine::words(
                when,
                what,
                "grows for as long as the work lasts: it does not fit".to_owned(),
            ));
            continue;
        }
        let all = &work.all;
        if let Some(mean) = all.mean_us {
            lines.push(ends(
                when,
                format!("{}: mean latency", work.name),
                "ms",
                mean,
                1e-3,
            ));
        }
        lines.push(ends(
            when,
            format!("{}: I/Os completed", work.name),
            "per s",
            all.completed_iops,
            1.0,
        ));
    }
    for row in report.matrix.rows.iter().filter(|row| !row.switching) {
        let Some(cell) = row.cells.get(index).and_then(Option::as_ref) else {
            continue;
        };
        let what = format!("{}: {}", row.workload, measure_name(row.measure));
        let mut line = match (cell.saturated, cell.value, cell.beyond) {
            (false, Some(figure), _) if matches!(row.measure, MeasureKind::Throughput) => {
                ends(when, what, "MB/s", figure, 1.0)
            }
            (false, Some(figure), _) => ends(when, what, "ms", figure, 1e-3),
            _ if cell.is_cut_off() => {
                SheetLine::words(when, what, "cut off: nothing is completed".to_owned())
            }
            (_, _, beyond) => SheetLine::words(
                when,
                what,
                beyond.map_or_else(
                    || "cannot be met: the work does not fit".to_owned(),
                    |beyond| {
                        format!(
                            "more than {} {}",
                            row_scale(row).three(beyond),
                            row_scale(row).unit
                        )
                    },
                ),
            ),
        };
        line.promised = promised(row, index);
        let same = |known: &SheetLine| known.what == line.what.replace(": mean", ": mean latency");
        match lines.iter_mut().find(|known| same(known)) {
            Some(known) => known.promised = line.promised,
            None => lines.push(line),
        }
    }
    let mut parts: Vec<_> = report
        .parts
        .iter()
        .filter_map(|part| Some((part, part.cases.get(index)?.as_ref()?)))
        .collect();
    parts.sort_by(|left, right| right.1.peak_percent.total_cmp(&left.1.peak_percent));
    for (part, used) in parts.into_iter().take(PARTS) {
        let what = format!(
            "{}: utilization of {}, mean to busiest 20 ms",
            part.part, used.instance
        );
        lines.push(SheetLine::range(
            when,
            what,
            "%",
            used.mean_percent,
            used.peak_percent,
        ));
    }
    lines
}

/// Parts of which the utilization is on the sheet: the fullest.
const PARTS: usize = 5;

fn ends(when: &'static str, what: String, unit: &str, figure: Estimated, scale: f64) -> SheetLine {
    if figure.is_vague() {
        let value = with_unit(&three(figure.value * scale), unit);
        return SheetLine::words(
            when,
            what,
            format!("about {value} (too few runs for a range)"),
        );
    }
    let low = figure.low.unwrap_or(figure.value) * scale;
    let high = figure.high.unwrap_or(figure.value) * scale;
    SheetLine::range(when, what, unit, low, high)
}

fn promised(row: &Row, index: usize) -> String {
    let stated = row.cells.get(index).and_then(Option::as_ref);
    stated.map_or_else(String::new, |cell| target_of(row.measure, cell))
}

/// Stalls, states of the paths, failures, settling.
fn during(report: &Report, column: Option<usize>, switch: &Switch) -> Vec<SheetLine> {
    let when = "during";
    let mut lines = Vec::new();
    for lane in &switch.lanes {
        let states: Vec<String> = lane
            .spans
            .iter()
            .filter(|span| span.to_s > 0.0)
            .map(|span| match span.from_s {
                from if from <= 0.0 => span.state.clone(),
                from => format!("after {from:.2} s {}", span.state),
            })
            .collect();
        let what = format!("{} ({})", lane.name, lane.workloads.join(", "));
        lines.push(SheetLine::words(when, what, states.join(", then ")));
    }
    for work in &switch.workloads {
        let of = |measure: MeasureKind| {
            let row =
                report.matrix.rows.iter().find(|row| {
                    row.switching && row.workload == work.name && row.measure == measure
                });
            row.zip(column)
                .map_or_else(String::new, |(row, column)| promised(row, column))
        };
        let (low, high) = spread(work.longest_io_s.iter().copied());
        let what = format!("{}: longest I/O", work.name);
        let mut line = SheetLine::range(when, what, "s", low, high);
        line.promised = of(MeasureKind::LongestIo);
        lines.push(line);
        let what = format!("{}: longest time without any completion", work.name);
        let (unit, silence) = match work.longest_silence_s {
            short if short < 1.0 => ("ms", short * 1e3),
            long => ("s", long),
        };
        lines.push(SheetLine::range(when, what, unit, 0.0, silence));
        #[allow(clippy::cast_precision_loss)]
        let (low, high) = spread(work.failed.iter().map(|failed| *failed as f64));
        let mut line = SheetLine::range(when, format!("{}: failed I/Os", work.name), "", low, high);
        line.promised = of(MeasureKind::Failed);
        lines.push(line);
    }
    let stall = switch.events.iter().find(|event| event.ended_stall);
    if let Some(timer) = stall.and_then(|event| event.timer.as_deref()) {
        let what = "the timer that ends the stall".to_owned();
        lines.push(SheetLine::words(when, what, timer_words(timer)));
    }
    let what = "all as steady as it will be".to_owned();
    lines.push(match switch.settled_s {
        Some(settled) => SheetLine::range(when, what, "s", 0.0, settled),
        None => SheetLine::words(when, what, format!("not within {:.0} s", switch.limit_s)),
    });
    lines
}

fn spread(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let low = values.clone().fold(f64::INFINITY, f64::min);
    let high = values.fold(0.0, f64::max);
    (low.min(high), high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    #[test]
    fn every_switch_over_is_a_step_with_before_during_and_after() {
        let report = sample_report();
        let sheet = sheet(&report);
        assert_eq!(sheet.cases.len(), report.switches.len());
        assert!(sheet.before.iter().all(|line| line.when == "before"));
        for step in &sheet.cases {
            for when in ["during", "after"] {
                assert!(step.lines.iter().any(|line| line.when == when), "{when}");
            }
            for work in &report.switches[0].workloads {
                let stall = format!("{}: longest I/O", work.name);
                assert!(step.lines.iter().any(|line| line.what == stall), "{stall}");
            }
        }
    }

    #[test]
    fn what_is_expected_is_a_range_that_holds_the_figure() {
        let report = sample_report();
        let sheet = sheet(&report);
        let mut seen = 0;
        for line in sheet
            .before
            .iter()
            .chain(sheet.cases.iter().flat_map(|step| &step.lines))
        {
            match (line.low, line.high) {
                (Some(low), Some(high)) => {
                    assert!(low <= high && low >= 0.0, "{line:?}");
                    seen += 1;
                }
                _ => assert!(!line.words.is_empty(), "{line:?}"),
            }
        }
        assert!(seen > 20, "{seen}");
        let mean = report.steady[0].workloads[0].all.mean_us.unwrap();
        let what = format!("{}: mean latency", report.steady[0].workloads[0].name);
        let line = sheet.before.iter().find(|line| line.what == what).unwrap();
        assert!(line.low.unwrap() <= mean.value / 1e3 && mean.value / 1e3 <= line.high.unwrap());
    }

    #[test]
    fn every_step_names_the_links_whose_ports_are_to_be_disabled() {
        let report = sample_report();
        for (index, step) in sheet(&report).cases.iter().enumerate() {
            let side = step.case.lost.expect("a side is lost");
            assert!(!step.links.is_empty(), "step {index}");
            for link in &step.links {
                let shared = link.contains("lan-");
                let own = link.contains(&format!("-{side}"));
                assert!(own || shared, "{link} with {side} lost");
            }
        }
    }

    #[test]
    fn promises_stand_beside_what_is_expected() {
        let sheet = sheet(&sample_report());
        let promised: Vec<&SheetLine> = sheet.cases[0]
            .lines
            .iter()
            .filter(|line| !line.promised.is_empty())
            .collect();
        assert!(promised.iter().any(|line| line.when == "during"));
        assert!(promised.iter().any(|line| line.when == "after"));
    }
}
