//! The lines of a sheet, from a report.

use super::state::{dark, of_runs, paths, promised, steady_lines};
use super::{REPEATED, SILENT, SLOW};
use crate::outcome::{
    Begin, Case, Harm, MeasureKind, Origin, Reference, Report, Row, Switch, SwitchWorkload,
    Verdict, Windows,
};
use crate::render::number::{as_written, three, with_unit};
use crate::render::words::{
    clock, left_open_words, listed, measure_name, target_of, timer_words, window_words,
};

/// The whole sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// The load of what is true before any step: see [`SheetCase::load`].
    pub load: Option<String>,
    /// What is true before any step.
    pub before: Vec<SheetLine>,
    /// Promises that are not expected to be kept with everything there: see [`SheetCase::misses`].
    pub misses: Vec<String>,
    /// Promises that the runs do not decide, in the same words.
    pub open: Vec<String>,
    /// The steps, one a case.
    pub cases: Vec<SheetCase>,
}

/// One step.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetCase {
    /// The case.
    pub case: Case,
    /// The load of this step, where it is not the stated one: `13:00–14:00, the busiest hour of the window`.
    pub load: Option<String>,
    /// What to do, in order: take away, or drain and then take away.
    pub takes: Vec<String>,
    /// Promises that are not expected to be kept, on the way or after it: `bookings: p99, at most 2 ms`. The
    /// step is not to be taken at this load.
    pub misses: Vec<String>,
    /// Promises that the runs do not decide, in the same words.
    pub open: Vec<String>,
    /// Nodes that go as a whole.
    pub nodes: Vec<String>,
    /// The loss is a silent one: see [`SILENT`].
    pub silent: bool,
    /// How it is done, where disabling ports is not all of it.
    pub how: Option<&'static str>,
    /// The parts are drained before they are lost.
    pub drained: bool,
    /// Links that go dark, both ends: `rack (4) to edge-A, 4 × 25GbE`.
    pub links: Vec<String>,
    /// What to expect.
    pub lines: Vec<SheetLine>,
}

/// One expectation.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetLine {
    /// `before`, `during`, `after` or `back`.
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
    /// What the range is: `least to greatest of 3 runs`; empty where it needs no word.
    pub spread: String,
    /// What was promised: `≤ 20 s`; empty where nothing was.
    pub promised: String,
}

/// The range of a time that is at most so long.
pub(super) const AT_MOST: &str = "at most";

impl SheetLine {
    pub(super) fn range(when: &'static str, what: String, unit: &str, low: f64, high: f64) -> Self {
        Self {
            when,
            what,
            unit: unit.to_owned(),
            low: Some(low),
            high: Some(high),
            words: String::new(),
            spread: String::new(),
            promised: String::new(),
        }
    }

    /// A time between `low` and `high` seconds, in the unit that fits its size.
    pub(super) fn time(when: &'static str, what: String, (low, high): (f64, f64)) -> Self {
        let (unit, scale) = match high {
            long if long >= 1.0 => ("s", 1.0),
            short if short < 1e-3 => ("µs", 1e6),
            _ => ("ms", 1e3),
        };
        Self::range(when, what, unit, low * scale, high * scale)
    }

    pub(super) fn of(mut self, spread: impl Into<String>) -> Self {
        self.spread = spread.into();
        self
    }

    pub(super) fn words(when: &'static str, what: String, words: String) -> Self {
        Self {
            when,
            what,
            unit: String::new(),
            low: None,
            high: None,
            words,
            spread: String::new(),
            promised: String::new(),
        }
    }
}

/// What a sheet is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Steps {
    /// What was asked.
    pub origin: Origin,
    /// One study, or one for each load at which some step is to be taken.
    pub loads: Vec<AtLoad>,
    /// The hours in which steps may be taken, where they were looked for.
    pub windows: Option<Windows>,
}

/// A study at one load.
#[derive(Clone, Debug, PartialEq)]
pub struct AtLoad {
    /// The study.
    pub report: Report,
    /// The hour whose load it is; `None`: the stated load.
    pub hour: Option<u32>,
}

impl Steps {
    /// Those of one study at the stated load.
    #[must_use]
    pub fn of(report: Report) -> Self {
        Self {
            origin: report.origin.clone(),
            windows: report.windows.clone(),
            loads: vec![AtLoad { report, hour: None }],
        }
    }
}

/// The sheet of studies: a step for each outage of which the switch-over was simulated. Where there are several loads, each
/// step begins with what is true before it at its own.
#[must_use]
pub fn sheet(steps: &Steps) -> Sheet {
    let mut whole: Option<Sheet> = None;
    for at in &steps.loads {
        let mut sheet = of_one(&at.report);
        let load = at
            .hour
            .map(|hour| format!("{}–{}", clock(hour), clock(hour + 1)));
        for step in &mut sheet.cases {
            let outages = steps.windows.iter().flat_map(|found| &found.outages);
            let window = outages
                .filter(|found| found.case == step.case)
                .find_map(|found| found.longest);
            step.load = load.as_ref().zip(window).map(|(load, window)| {
                let window = window_words(&window);
                format!("{load}, the busiest hour of the window {window}")
            });
        }
        match &mut whole {
            None => {
                sheet.load = load;
                whole = Some(sheet);
            }
            Some(first) => {
                for mut step in sheet.cases {
                    step.misses.splice(0..0, sheet.misses.iter().cloned());
                    step.open.splice(0..0, sheet.open.iter().cloned());
                    step.lines.splice(0..0, sheet.before.iter().cloned());
                    first.cases.push(step);
                }
            }
        }
    }
    whole.unwrap_or_default()
}

fn of_one(report: &Report) -> Sheet {
    let before = report.steady.first().map_or_else(Vec::new, |healthy| {
        let mut lines = paths("before", healthy, &|_| &[]);
        lines.extend(steady_lines("before", report, 0, healthy));
        lines
    });
    let cases = report
        .switches
        .iter()
        .filter(|switch| switch.case.outage.is_some())
        .map(|switch| step(report, switch))
        .collect();
    Sheet {
        load: None,
        before,
        misses: judged(report, 0, Verdict::Missed, |row| !row.switching),
        open: judged(report, 0, Verdict::Undecided, |row| !row.switching),
        cases,
    }
}

/// Promises of a case that were judged so, of the rows wanted.
fn judged(
    report: &Report,
    column: usize,
    verdict: Verdict,
    wanted: impl Fn(&Row) -> bool,
) -> Vec<String> {
    let rows = report.matrix.rows.iter().filter(|row| wanted(row));
    rows.filter_map(|row| {
        let cell = row.cells.get(column).and_then(Option::as_ref)?;
        if cell.verdict != verdict {
            return None;
        }
        let measure = measure_name(row.measure);
        let target = target_of(row.measure, cell);
        let open = (verdict == Verdict::Undecided).then(|| left_open_words(cell));
        let why = match open.flatten() {
            Some((why, _)) => format!(" ({why})"),
            None if verdict == Verdict::Undecided => " (more replications decide)".to_owned(),
            None => String::new(),
        };
        Some(format!("{}: {measure}, {target}{why}", row.workload))
    })
    .collect()
}

fn step(report: &Report, switch: &Switch) -> SheetCase {
    let column = report
        .matrix
        .cases
        .iter()
        .position(|case| *case == switch.case);
    let mut lines = during(report, column, switch);
    let pathless = |workload: &str| {
        let mut works = switch.workloads.iter();
        let work = works.find(|work| work.name == workload);
        work.map_or(&[][..], |work| &work.without_path)
    };
    let after = report
        .steady
        .iter()
        .enumerate()
        .find(|(_, steady)| steady.case == switch.case);
    if let Some((index, steady)) = after {
        lines.extend(paths("after", steady, &pathless));
        lines.extend(steady_lines("after", report, index, steady));
    }
    lines.extend(returning(report, switch));
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
    // What is done, not what comes of it: an event of no host and of no I/O, by no timer, up to the loss.
    let of_the_script = |event: &&crate::outcome::NamedEvent| {
        let done = event.timer.is_none() && event.workload.is_none() && event.ios.is_none();
        done && !event.what.starts_with("volumes of ")
    };
    let repeats = switch.losses > 1;
    let acts = switch.events.iter().filter(of_the_script);
    let mut takes: Vec<String> = if repeats {
        acts.map(|event| format!("at {:.2}\u{202F}s: {}", event.t_s, event.what))
            .collect()
    } else {
        acts.filter(|event| event.t_s <= f64::from(Switch::DRAIN_S))
            .map(|event| event.what.clone())
            .collect()
    };
    if takes.is_empty() {
        takes.push(switch.case.name.clone());
    }
    let of_verdict =
        |verdict| column.map_or_else(Vec::new, |column| judged(report, column, verdict, |_| true));
    SheetCase {
        load: None,
        takes,
        misses: of_verdict(Verdict::Missed),
        open: of_verdict(Verdict::Undecided),
        nodes: after.map_or_else(Vec::new, |(index, _)| lost_in(index)),
        links: after.map_or_else(Vec::new, |(index, _)| dark(report, index)),
        silent: switch.silent,
        how: if switch.harm == Harm::Slow {
            Some(SLOW)
        } else if switch.silent {
            Some(SILENT)
        } else if repeats {
            Some(REPEATED)
        } else {
            None
        },
        drained: switch.counted_from == Begin::Drain,
        case: switch.case.clone(),
        lines,
    }
}

/// What is to be seen once the parts are back, by the timers of the hosts.
fn returning(report: &Report, switch: &Switch) -> Vec<SheetLine> {
    let when = "back";
    let mut lines = Vec::new();
    // Parts that were only slow have lost no path, and those that came back by themselves are there already.
    let away = switch.harm != Harm::Slow && switch.losses <= 1;
    let lost = |work: &&SwitchWorkload| away && lost_paths(switch, &work.name);
    for work in switch.workloads.iter().filter(lost) {
        let Some(back) = &work.back else { continue };
        let by: Vec<String> = back.by.split(" + ").map(timer_words).collect();
        let use_or_found = if back.manual { "found" } else { "in use" };
        let what = format!(
            "{}: all paths {use_or_found} again, after the part is back ({})",
            work.name,
            by.join(" + ")
        );
        lines.push(SheetLine::time(when, what, (0.0, back.s)).of(AT_MOST));
        if back.manual {
            let what = format!("{}: paths that are back", work.name);
            let words = "stay unused until somebody fails them back: do that before the next step";
            lines.push(SheetLine::words(when, what, words.to_owned()));
        }
        if let Some(away) = back.given_up_s {
            let what = format!(
                "{}: parts away for more than {}\u{202F}s",
                work.name,
                three(away)
            );
            let words = "their paths do not come back by themselves: connect anew by hand";
            lines.push(SheetLine::words(when, what, words.to_owned()));
        }
    }
    // A host that is back does not get its guests back.
    let moved = |event: &crate::outcome::NamedEvent| {
        let timer = event.timer.as_deref();
        timer.is_some_and(|timer| timer.starts_with("restart of guests"))
            || event.what.contains("guests moved to the others")
    };
    if switch.settles_to == Reference::GuestsElsewhere || switch.events.iter().any(moved) {
        let what = "guests of hosts that are back".to_owned();
        let words =
            "stay where they were restarted: move the guests back by hand before the next step";
        lines.push(SheetLine::words(when, what, words.to_owned()));
    }
    if let Some(healthy) = report.steady.first() {
        for work in healthy.workloads.iter().filter(|work| !work.saturated) {
            if let Some((low, high)) = work.all.mean_each_us {
                let what = format!("{}: mean latency, as before the step", work.name);
                let line = SheetLine::time(when, what, (low * 1e-6, high * 1e-6));
                lines.push(line.of(of_runs(healthy.replications as usize)));
            }
        }
    }
    lines
}

/// Whether some path of a workload is seen to be lost.
fn lost_paths(switch: &Switch, workload: &str) -> bool {
    let mut lanes = switch.lanes.iter();
    lanes.any(|lane| {
        let own = lane.workloads.iter().any(|name| name == workload);
        let mut spans = lane.spans.iter();
        own && spans.any(|span| span.to_s > 0.0 && span.kind != "up")
    })
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
            .map(|span| {
                let words: Vec<String> = span.state.split(' ').map(as_written).collect();
                let state = words.join(" ");
                match span.from_s {
                    from if from <= 0.0 => state,
                    from => format!("after {from:.2}\u{202F}s {state}"),
                }
            })
            .collect();
        let what = format!("{} ({})", lane.name, lane.workloads.join(", "));
        // Of hosts that are lost themselves there is nothing to see.
        if states.is_empty() {
            continue;
        }
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
        if work.hosts_gone > 0 {
            // Nobody waits for an I/O, and none fails: that is no promise kept.
            let what = format!("{}: work of the lost hosts", work.name);
            let mut line = SheetLine::words(when, what, "cut off: nobody is left to do it".into());
            line.promised = of(MeasureKind::LongestIo);
            lines.push(line);
            continue;
        }
        let (low, high) = spread(work.longest_io_s.iter().copied());
        let what = format!("{}: longest I/O", work.name);
        let mut line = if work.longest_open.contains(&true) {
            // What is not over has no upper end.
            let words = format!(
                "more than {}: I/Os still wait when the run ends",
                with_unit(&three(high), "s")
            );
            SheetLine::words(when, what, words)
        } else {
            SheetLine::time(when, what, (low, high)).of(of_runs(work.longest_io_s.len()))
        };
        line.promised = of(MeasureKind::LongestIo);
        lines.push(line);
        let what = format!("{}: longest time without any completion", work.name);
        lines.push(match work.stops.last() {
            Some(stop) if stop.to_s.is_none() => {
                let words = format!(
                    "not over in the time simulated, {}\u{202F}s",
                    three(switch.to_s)
                );
                SheetLine::words(when, what, words)
            }
            _ => SheetLine::time(when, what, spread(work.silence_s.iter().copied()))
                .of(of_runs(work.silence_s.len())),
        });
        if !work.without_path.is_empty() {
            let what = format!("{}: hosts without any path", work.name);
            let words = if work.partly_without_path() {
                format!(
                    "{} of {}: {}; see to them before the step",
                    work.without_path.len(),
                    work.hosts,
                    listed(&work.without_path)
                )
            } else {
                format!("all {}", work.hosts)
            };
            lines.push(SheetLine::words(when, what, words));
        }
        #[allow(clippy::cast_precision_loss)]
        let (low, high) = spread(work.failed.iter().map(|failed| *failed as f64));
        let what = format!("{}: failed I/Os", work.name);
        let mut line = SheetLine::range(when, what, "", low, high).of(of_runs(work.failed.len()));
        line.promised = of(MeasureKind::Failed);
        lines.push(line);
    }
    lines.extend(timers(when, switch));
    lines.extend(taken_over(when, switch));
    lines.extend(restarted(when, switch));
    if switch
        .workloads
        .iter()
        .any(|work| work.longest_open.contains(&true))
    {
        let what = "what ends the stall".to_owned();
        lines.push(SheetLine::words(
            when,
            what,
            "nothing in the time simulated".to_owned(),
        ));
    }
    if switch.partial {
        let limit = switch.stopped_by.unwrap_or("a limit");
        let cut = format!(
            "{limit} stopped a run {:.2}\u{202F}s after it began to be counted: no expectation",
            switch.to_s
        );
        lines.push(SheetLine::words(when, "cut short".to_owned(), cut));
    }
    let what = "all as steady as it will be".to_owned();
    lines.push(match switch.settled_s {
        Some(settled) => SheetLine::time(when, what, (0.0, settled)).of(AT_MOST),
        None => SheetLine::words(
            when,
            what,
            format!("not within {}\u{202F}s", three(switch.limit_s)),
        ),
    });
    lines
}

/// When the partner of a lost controller serves its volumes: what is to be seen on the array.
fn taken_over(when: &'static str, switch: &Switch) -> Vec<SheetLine> {
    let timers = switch.events.iter();
    let all = timers.filter_map(|event| {
        let timer = event.timer.as_deref()?;
        timer.starts_with("takeover").then_some((event, timer))
    });
    all.map(|(event, timer)| {
        let seen = event.what.trim_end_matches(" from now on");
        let what = format!("on the array: {seen} ({})", timer_words(timer));
        SheetLine::time(when, what, (event.t_s, event.t_s))
    })
    .collect()
}

/// When the guests of lost hosts run again, on other hosts.
fn restarted(when: &'static str, switch: &Switch) -> Vec<SheetLine> {
    let timers = switch.events.iter();
    let all = timers.filter_map(|event| {
        let timer = event.timer.as_deref()?;
        timer
            .starts_with("restart of guests")
            .then_some((event, timer))
    });
    all.map(|(event, timer)| {
        let seen = event.what.split(';').next().unwrap_or(&event.what);
        let what = format!("{seen} ({})", timer_words(timer));
        SheetLine::time(when, what, (event.t_s, event.t_s))
    })
    .collect()
}

/// The timers that end stalls, with the work that each of them lets go where there are several.
fn timers(when: &'static str, switch: &Switch) -> Vec<SheetLine> {
    let mut found: Vec<(&str, Vec<&str>)> = Vec::new();
    for event in switch.events.iter().filter(|event| event.ended_stall) {
        let (Some(timer), work) = (event.timer.as_deref(), event.workload.as_deref()) else {
            continue;
        };
        let at = found.iter().position(|(known, _)| *known == timer);
        let at = at.unwrap_or_else(|| {
            found.push((timer, Vec::new()));
            found.len() - 1
        });
        let works = &mut found[at].1;
        if let Some(work) = work.filter(|work| !works.contains(work)) {
            works.push(work);
        }
    }
    let one = found.len() == 1;
    let what = match switch.workloads.iter().any(SwitchWorkload::stopped) {
        true => "the timer that ends the stall",
        false => "the timer that lets the longest I/O go",
    };
    let line = |(timer, works): (&str, Vec<&str>)| {
        let what = if one || works.is_empty() {
            what.to_owned()
        } else {
            format!("{}: {what}", works.join(", "))
        };
        SheetLine::words(when, what, timer_words(timer))
    };
    found.into_iter().map(line).collect()
}

fn spread(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let low = values.clone().fold(f64::INFINITY, f64::min);
    let high = values.fold(0.0, f64::max);
    (low.min(high), high)
}

#[cfg(test)]
mod tests;
