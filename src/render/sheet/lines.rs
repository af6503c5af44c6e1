//! The lines of a sheet, from a report.

use super::state::{dark, of_runs, paths, promised, steady_lines};
use super::{REPEATED, SILENT, SLOW};
use crate::outcome::{
    Begin, Case, Harm, MeasureKind, Origin, Report, Row, Switch, Verdict, Windows,
};
use crate::render::number::{as_written, three};
use crate::render::words::{clock, measure_name, target_of, timer_words, window_words};

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
        Some(format!("{}: {measure}, {target}", row.workload))
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
    let after = report
        .steady
        .iter()
        .enumerate()
        .find(|(_, steady)| steady.case == switch.case);
    if let Some((index, steady)) = after {
        lines.extend(paths("after", steady));
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
    for work in switch.workloads.iter().filter(|_| away) {
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
        let mut line =
            SheetLine::time(when, what, (low, high)).of(of_runs(work.longest_io_s.len()));
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
            _ => SheetLine::time(when, what, (0.0, work.longest_silence_s)).of(AT_MOST),
        });
        #[allow(clippy::cast_precision_loss)]
        let (low, high) = spread(work.failed.iter().map(|failed| *failed as f64));
        let what = format!("{}: failed I/Os", work.name);
        let mut line = SheetLine::range(when, what, "", low, high).of(of_runs(work.failed.len()));
        line.promised = of(MeasureKind::Failed);
        lines.push(line);
    }
    lines.extend(timers(when, switch));
    lines.extend(taken_over(when, switch));
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
    let what = "all as steady as it will be".to_owned();
    lines.push(match switch.settled_s {
        Some(settled) => SheetLine::time(when, what, (0.0, settled)).of(AT_MOST),
        None => SheetLine::words(
            when,
            what,
            format!("not within {:.0}\u{202F}s", switch.limit_s),
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
    let line = |(timer, works): (&str, Vec<&str>)| {
        let what = "the timer that ends the stall";
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
mod tests {
    use super::super::state::each_of;
    use super::*;
    use crate::render::sample::sample_report;

    /// The range of a time.
    fn seconds(line: &SheetLine) -> (f64, f64) {
        let scale = match line.unit.as_str() {
            "s" => 1.0,
            "ms" => 1e-3,
            "µs" => 1e-6,
            other => panic!("{other} is no time"),
        };
        (line.low.unwrap() * scale, line.high.unwrap() * scale)
    }

    #[test]
    fn times_have_the_unit_of_their_size_and_one_run_has_no_range() {
        let of = |high: f64| SheetLine::time("during", String::new(), (0.0, high));
        for (high, unit, shown) in [(5.2, "s", 5.2), (0.25, "ms", 250.0), (42e-6, "µs", 42.0)] {
            let line = of(high);
            assert_eq!(line.unit, unit);
            assert!((line.high.unwrap() - shown).abs() < 1e-9);
        }
        assert_eq!(of_runs(1), "one run");
        let mut report = sample_report();
        report.steady[0].replications = 1;
        for work in &mut report.steady[0].workloads {
            work.all.completed_iops.low = None;
        }
        let alone = of_one(&report).before;
        let spreads = || alone.iter().map(|line| line.spread.as_str());
        assert!(spreads().any(|spread| spread == "one run"));
        assert!(spreads().all(|spread| !spread.contains("greatest")));
    }

    /// Steps that miss a promise say so; nothing else keeps anybody from going on.
    #[test]
    fn what_is_expected_to_miss_is_a_caution_of_its_step() {
        let mut report = sample_report();
        let column = |report: &Report| {
            let case = report.switches[0].case.clone();
            let cases = report.matrix.cases.iter();
            cases
                .clone()
                .position(|own| *own == case)
                .expect("it is judged")
        };
        let at = column(&report);
        for row in &mut report.matrix.rows {
            row.cells[at]
                .iter_mut()
                .for_each(|cell| cell.verdict = Verdict::Met);
            row.cells[0]
                .iter_mut()
                .for_each(|cell| cell.verdict = Verdict::Met);
        }
        let sheet = of_one(&report);
        assert!(sheet.misses.is_empty() && sheet.cases[0].misses.is_empty());
        let row = report
            .matrix
            .rows
            .iter_mut()
            .find(|row| row.cells[at].is_some());
        let row = row.expect("something is promised");
        row.cells[at].as_mut().unwrap().verdict = Verdict::Missed;
        let name = row.workload.clone();
        let sheet = of_one(&report);
        assert_eq!(sheet.cases[0].misses.len(), 1);
        assert!(sheet.cases[0].misses[0].starts_with(&name));
        let page = crate::render::sheet::sheet_page(&Steps::of(report), &sheet);
        assert!(
            page.contains("Expected to miss:</b> ")
                && page.contains("Do not take this step at this load.")
        );
    }

    /// A drain and the loss after it are two things to do.
    #[test]
    fn a_planned_loss_is_two_things_to_do() {
        let mut report = sample_report();
        let event = |t_s: f64, what: &str| crate::outcome::NamedEvent {
            t_s,
            what: what.to_owned(),
            ..report.switches[0].events[0].clone()
        };
        let mut events = vec![event(0.0, "A drained"), event(1.0, "A lost")];
        for event in &mut events {
            (event.timer, event.workload) = (None, None);
        }
        report.switches[0].events = events;
        report.switches[0].counted_from = Begin::Drain;
        let steps = Steps::of(report);
        let sheet = sheet(&steps);
        assert_eq!(sheet.cases[0].takes, ["A drained", "A lost"]);
        let page = crate::render::sheet::sheet_page(&steps, &sheet);
        assert!(page.contains("<li>A drained. Wait until nothing is under way on its paths.</li><li><b>Take away:</b> A lost</li>"));
    }

    /// What only makes links slow brings no path back, and a series is listed whole, with its times.
    #[test]
    fn slow_parts_bring_no_path_back_and_a_series_has_its_times() {
        let mut report = sample_report();
        report.switches.truncate(1);
        report.switches[0].harm = Harm::Slow;
        let step = of_one(&report).cases.remove(0);
        assert_eq!(step.how, Some(SLOW));
        let again = |line: &SheetLine| line.what.contains("again, after the part is back");
        assert!(!step.lines.iter().any(again), "{:?}", step.lines);
        let plain = report.switches[0].events[0].clone();
        let event = |t_s: f64, what: &str| crate::outcome::NamedEvent {
            t_s,
            what: what.to_owned(),
            timer: None,
            workload: None,
            ios: None,
            ..plain.clone()
        };
        report.switches[0].harm = Harm::Loss;
        report.switches[0].losses = 2;
        report.switches[0].silent = false;
        report.switches[0].events = vec![
            event(0.0, "flap lost"),
            event(1.0, "flap restored"),
            event(2.0, "flap lost"),
            event(3.0, "flap restored"),
        ];
        let steps = Steps::of(report);
        let sheet = sheet(&steps);
        let step = &sheet.cases[0];
        assert_eq!(step.takes.len(), 4, "{:?}", step.takes);
        assert_eq!(step.takes[2], "at 2.00\u{202F}s: flap lost");
        assert_eq!(step.how, Some(REPEATED));
        assert!(!step.lines.iter().any(again));
        let page = crate::render::sheet::sheet_page(&steps, &sheet);
        assert!(!page.contains("Wait until nothing is under way"), "{page}");
    }

    #[test]
    fn every_switch_over_is_a_step_with_before_during_and_after() {
        let report = sample_report();
        let sheet = of_one(&report);
        assert_eq!(sheet.cases.len(), report.switches.len());
        assert!(sheet.before.iter().all(|line| line.when == "before"));
        for step in &sheet.cases {
            for when in ["during", "after", "back"] {
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
        let sheet = of_one(&report);
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
        let (low, high) = seconds(line);
        assert!(low <= mean.value * 1e-6 && mean.value * 1e-6 <= high);
        let runs = format!(
            "least to greatest of {} runs",
            report.steady[0].replications
        );
        assert_eq!(line.spread, runs);
    }

    /// A host that goes with its part is what comes of the loss, and nothing to be done; where nobody is left to do its work that
    /// is said, and no time without completions that is not over is told as if it had an end.
    #[test]
    fn hosts_that_go_are_no_act_and_work_that_is_gone_is_told() {
        let mut report = sample_report();
        report.switches.truncate(1);
        let event = |what: &str, ios: Option<u64>| crate::outcome::NamedEvent {
            t_s: 0.0,
            what: what.to_owned(),
            timer: None,
            workload: None,
            ios,
            ended_stall: false,
        };
        report.switches[0].events = vec![
            event("room lost: vm-1", None),
            event("1 host lost with its work", Some(0)),
        ];
        assert_eq!(of_one(&report).cases[0].takes, ["room lost: vm-1"]);
        let of = |report: &Report, what: &str| -> Vec<(Option<f64>, String)> {
            let lines = of_one(report).cases.remove(0).lines.into_iter();
            let own = lines.filter(|line| line.when == "during" && line.what.ends_with(what));
            own.map(|line| (line.high, line.words)).collect()
        };
        let silence = "longest time without any completion";
        assert!(of(&report, silence)[0].0.is_some());
        let work = &mut report.switches[0].workloads[0];
        work.stops = vec![crate::outcome::WorkStop {
            from_s: 0.0,
            to_s: None,
            s: 20.0,
            ended_by: None,
            cause: crate::outcome::StopCause::NoPath,
        }];
        let open = of(&report, silence)[0].clone();
        assert!(
            open.0.is_none() && open.1.starts_with("not over"),
            "{open:?}"
        );
        report.switches[0].workloads[0].hosts_gone = 1;
        let gone = of(&report, "work of the lost hosts");
        assert_eq!(gone[0].1, "cut off: nobody is left to do it");
        assert_eq!(
            of(&report, "longest I/O").len(),
            report.switches[0].workloads.len() - 1
        );
    }

    /// A port that is disabled takes its signal away, so that a silent loss cannot be made like that: the sheet says so, and names
    /// the links without telling to disable their ports.
    #[test]
    fn a_silent_loss_is_not_made_by_disabling_ports() {
        let mut report = sample_report();
        report.switches.truncate(1);
        let text = |report: &Report| {
            let steps = Steps::of(report.clone());
            let sheet = sheet(&steps);
            (
                crate::render::sheet::sheet_page(&steps, &sheet),
                crate::render::csv::sheet_csv(&sheet),
            )
        };
        let (page, rows) = text(&report);
        assert!(page.contains("so ports to disable at one of their ends"));
        assert!(rows.contains("ports to disable"));
        report.switches[0].silent = true;
        let (page, rows) = text(&report);
        assert!(!page.contains("so ports to disable") && !rows.contains("ports to disable"));
        for text in [page, rows] {
            assert!(
                text.contains("Disabling a port would be another loss"),
                "{text}"
            );
        }
    }

    #[test]
    fn every_step_names_the_links_whose_ports_are_to_be_disabled() {
        let report = sample_report();
        for (index, step) in of_one(&report).cases.iter().enumerate() {
            let side = step.case.lost.expect("a side is lost");
            assert!(!step.links.is_empty(), "step {index}");
            for link in &step.links {
                let shared = link.contains("lan-");
                let own = link.contains(&format!("-{side}"));
                assert!(own || shared, "{link} with {side} lost");
            }
        }
    }

    /// What is expected is what one measurement may show in that case, not a range that reaches from the healthy state to the worst.
    #[test]
    fn latencies_are_those_of_the_replications_of_their_own_case() {
        let report = sample_report();
        let sheet = of_one(&report);
        let row = report.matrix.rows.iter().find(|row| {
            !row.switching && matches!(row.measure, MeasureKind::Quantile(q) if q == 0.99)
        });
        let row = row.expect("a p99 is promised");
        let what = format!("{}: p99", row.workload);
        let column = report
            .steady
            .iter()
            .position(|steady| steady.case == sheet.cases[0].case);
        let steady = &report.steady[column.expect("it was run")];
        let (low, high) = each_of(steady, row).expect("it has replications");
        let line = sheet.cases[0].lines.iter().find(|line| line.what == what);
        let line = line.expect("it is on the sheet");
        let (least, greatest) = seconds(line);
        assert!((least - low * 1e-6).abs() < 1e-12 && (greatest - high * 1e-6).abs() < 1e-12);
    }

    #[test]
    fn a_return_tells_when_paths_are_in_use_again_or_that_somebody_must_see_to_it() {
        let mut report = sample_report();
        let of = |report: &Report| -> String {
            let step = of_one(report).cases.remove(0);
            let lines = step.lines.into_iter().filter(|line| line.when == "back");
            lines
                .map(|line| format!("{} {:?} {}\n", line.what, line.high, line.words))
                .collect()
        };
        let text = of(&report);
        assert!(
            text.contains("all paths in use again") && text.contains("Some(5.2)"),
            "{text}"
        );
        assert!(text.contains("mean latency, as before the step"), "{text}");
        assert!(
            !text.contains("somebody") && !text.contains("by hand"),
            "{text}"
        );
        for work in &mut report.switches[0].workloads {
            let back = work.back.as_mut().expect("it has paths");
            (back.manual, back.given_up_s) = (true, Some(600.0));
        }
        let text = of(&report);
        for part in [
            "all paths found again",
            "until somebody fails them back",
            "600",
            "by hand",
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
    }

    /// Two workloads that are let go by different timers have a line each.
    #[test]
    fn each_timer_that_ends_a_stall_is_on_the_sheet() {
        let report = sample_report();
        let mut switch = report.switches[0].clone();
        let of = |switch: &Switch| -> Vec<(String, String)> {
            let lines = timers("during", switch).into_iter();
            lines.map(|line| (line.what, line.words)).collect()
        };
        let ended = |work: &str, timer: &str| crate::outcome::NamedEvent {
            workload: Some(work.to_owned()),
            timer: Some(timer.to_owned()),
            ended_stall: true,
            ..switch.events[0].clone()
        };
        let two = [
            ended("orders", "keep-alive, 5s"),
            ended("fleet", "fast-io-fail, 5s"),
        ];
        switch.events = two.to_vec();
        let lines = of(&switch);
        assert_eq!(lines.len(), 2, "{lines:?}");
        assert!(lines[0].0.starts_with("orders: the timer"), "{lines:?}");
        assert!(lines[1].0.starts_with("fleet: the timer"), "{lines:?}");
        switch.events[1].timer.clone_from(&two[0].timer);
        let lines = of(&switch);
        assert_eq!(lines.len(), 1, "{lines:?}");
        assert!(lines[0].0.starts_with("the timer"), "{lines:?}");
    }

    #[test]
    fn promises_stand_beside_what_is_expected() {
        let sheet = of_one(&sample_report());
        let promised: Vec<&SheetLine> = sheet.cases[0]
            .lines
            .iter()
            .filter(|line| !line.promised.is_empty())
            .collect();
        assert!(promised.iter().any(|line| line.when == "during"));
        assert!(promised.iter().any(|line| line.when == "after"));
    }
}
