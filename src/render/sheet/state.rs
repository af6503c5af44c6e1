//! What a sheet expects of a steady state: paths in use, latency, throughput, how full the fullest parts are, and which links are
//! dark.

use super::lines::SheetLine;
use crate::outcome::{Estimated, MeasureKind, Report, Row, Steady};
use crate::render::number::{count, three, with_unit};
use crate::render::words::{measure_name, row_scale, target_of};

/// `least to greatest of 3 runs`; one run has no range.
pub(super) fn of_runs(runs: usize) -> String {
    match runs {
        0 | 1 => "one run".to_owned(),
        many => format!("least to greatest of {many} runs"),
    }
}

/// Bundles of which nothing is left in a case, in the order of the diagram: their ports are those to disable.
pub(super) fn dark(report: &Report, case: usize) -> Vec<String> {
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

/// Paths that carry work, fewest and most of any host, by workload and fabric; and those of teams that stand by. `pathless`: hosts of a
/// workload that have none at all, which the paths of a state do not name.
pub(super) fn paths<'p>(
    when: &'static str,
    steady: &Steady,
    pathless: &dyn Fn(&str) -> &'p [String],
) -> Vec<SheetLine> {
    let mut lines = Vec::new();
    for work in &steady.workloads {
        let paths = || {
            steady
                .paths
                .iter()
                .filter(|path| path.workload == work.name)
        };
        let team = paths().any(|path| path.standby);
        for side in [Some('A'), Some('B'), None] {
            let counted = |standby: bool| {
                let none = pathless(&work.name).iter();
                let mut hosts: Vec<(&str, u32)> = none.map(|host| (host.as_str(), 0)).collect();
                for path in paths() {
                    let index = hosts.iter().position(|(host, _)| *host == path.host);
                    let index = index.unwrap_or_else(|| {
                        hosts.push((&path.host, 0));
                        hosts.len() - 1
                    });
                    hosts[index].1 += u32::from(path.side == side && path.standby == standby);
                }
                let counts = || hosts.iter().map(|(_, count)| *count);
                counts().min().zip(counts().max())
            };
            let Some((low, high)) = counted(false) else {
                continue;
            };
            let by = counted(true).filter(|(_, most)| *most > 0);
            // A fabric that is gone has no paths, which is worth a line; a site without `neither` is not.
            if side.is_none() && high == 0 && by.is_none() {
                continue;
            }
            let on = side.map_or_else(|| "on no fabric".to_owned(), |side| format!("on {side}"));
            let one = if team { " (one port at a time)" } else { "" };
            let mut line = |what: &str, (low, high): (u32, u32)| {
                let what = format!("{}: paths {what} {on}, each host{one}", work.name);
                let (low, high) = (f64::from(low), f64::from(high));
                lines.push(SheetLine::range(when, what, "", low, high));
            };
            line("in use", (low, high));
            if let Some(by) = by {
                line("standing by", by);
            }
        }
    }
    lines
}

/// Latency, throughput and how full the fullest parts are.
pub(super) fn steady_lines(
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
        if all.unfinished > 0 {
            let what = format!("{}: mean latency", work.name);
            lines.push(SheetLine::words(when, what, open_words(all.unfinished)));
        } else if let Some(mean) = all.mean_us {
            let what = format!("{}: mean latency", work.name);
            lines.push(spread_of(
                when,
                what,
                steady,
                all.mean_each_us,
                (mean, OF_MEAN),
            ));
        }
        lines.push(ends(
            when,
            format!("{}: I/Os completed", work.name),
            ("per s", 1.0),
            all.completed_iops,
            OF_MEAN,
        ));
    }
    for row in report.matrix.rows.iter().filter(|row| !row.switching) {
        let Some(cell) = row.cells.get(index).and_then(Option::as_ref) else {
            continue;
        };
        let what = format!("{}: {}", row.workload, measure_name(row.measure));
        let mut line = match (cell.saturated, cell.value, cell.beyond) {
            (false, Some(figure), _) if matches!(row.measure, MeasureKind::Throughput) => {
                ends(when, what, ("MB/s", 1.0), figure, OF_MEAN)
            }
            (false, Some(figure), _) => {
                let interval = match row.measure {
                    MeasureKind::Mean => OF_MEAN,
                    _ => OF_ITSELF,
                };
                let each = each_of(steady, row);
                spread_of(when, what, steady, each, (figure, interval))
            }
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
        // A queue depth is counted by arithmetic; nobody can read it off.
        .filter(|part| part.tier != "host")
        .filter_map(|part| Some((part, part.cases.get(index)?.as_ref()?)))
        .collect();
    parts.sort_by(|left, right| right.1.peak_percent.total_cmp(&left.1.peak_percent));
    for (part, used) in parts.into_iter().take(PARTS) {
        let what = format!("{}: utilization of {}", part.part, used.instance);
        let line = SheetLine::range(when, what, "%", used.mean_percent, used.peak_percent);
        lines.push(line.of("mean to busiest 20 ms"));
    }
    lines
}

/// That a mean is unknown.
fn open_words(unfinished: u64) -> String {
    let ios = if unfinished == 1 { "I/O" } else { "I/Os" };
    format!(
        "unknown: {} {ios} unfinished when the run ended",
        count(unfinished)
    )
}

/// A latency, from the least to the greatest of the replications: a test is one measurement, and may come out like any of them.
/// The interval of a figure over many says something else.
fn spread_of(
    when: &'static str,
    what: String,
    steady: &Steady,
    each: Option<(f64, f64)>,
    (figure, interval): (Estimated, &str),
) -> SheetLine {
    match each {
        Some((low, high)) => SheetLine::time(when, what, (low * 1e-6, high * 1e-6))
            .of(of_runs(steady.replications as usize)),
        None => ends(when, what, ("ms", 1e-3), figure, interval),
    }
}

/// Least and greatest of the replications of what a row promises.
pub(super) fn each_of(steady: &Steady, row: &Row) -> Option<(f64, f64)> {
    let work = steady
        .workloads
        .iter()
        .find(|work| work.name == row.workload)?;
    match row.measure {
        MeasureKind::Mean => work.all.mean_each_us,
        MeasureKind::Quantile(q) => {
            let mut all = work.all.quantiles.iter();
            all.find(|figure| (figure.q - q).abs() < 1e-9)?.each_us
        }
        _ => None,
    }
}

/// What the interval of a figure is one of: a mean over the replications, of which a single run may differ by more.
const OF_MEAN: &str = "95\u{202F}% interval of the mean";
/// That of a percentile is its own.
const OF_ITSELF: &str = "95\u{202F}% interval";

/// Parts of which the utilization is on the sheet: the fullest.
const PARTS: usize = 5;

fn ends(
    when: &'static str,
    what: String,
    (unit, scale): (&str, f64),
    figure: Estimated,
    interval: &str,
) -> SheetLine {
    if figure.is_vague() {
        let value = with_unit(&three(figure.value * scale), unit);
        return SheetLine::words(
            when,
            what,
            format!("about {value} (too few runs for a range)"),
        );
    }
    let Some((low, high)) = figure.low.zip(figure.high) else {
        let value = figure.value * scale;
        return SheetLine::range(when, what, unit, value, value).of(of_runs(1));
    };
    SheetLine::range(when, what, unit, low * scale, high * scale).of(interval)
}

pub(super) fn promised(row: &Row, index: usize) -> String {
    let stated = row.cells.get(index).and_then(Option::as_ref);
    stated.map_or_else(String::new, |cell| target_of(row.measure, cell))
}
