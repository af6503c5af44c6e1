//! Tests of the lines of the sheet.

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
    let small = "feed drained: new I/O avoids a part";
    for event in &mut events {
        (event.timer, event.workload) = (None, None);
    }
    report.switches[0].events = events;
    report.switches[0].counted_from = Begin::Drain;
    let mut named = report.clone();
    small.clone_into(&mut named.switches[0].events[0].what);
    let steps = Steps::of(named);
    let page = crate::render::sheet::sheet_page(&steps, &sheet(&steps));
    assert!(page.contains(&format!("<li>With {small}. Wait ")));
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
    // What one run on site shows lies between those of the runs.
    work.silence_s = vec![2.0, 1.5];
    work.longest_silence_s = 2.0;
    let line = of_one(&report).cases.remove(0).lines.into_iter();
    let mut line = line.filter(|line| line.when == "during" && line.what.ends_with(silence));
    let line = line.next().expect("it has one");
    let factor = if line.unit == "ms" { 1e3 } else { 1.0 };
    assert_eq!(
        (line.low, line.high),
        (Some(1.5 * factor), Some(2.0 * factor))
    );
    assert_eq!(line.spread, "least to greatest of 2 runs");
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
    let row =
        report.matrix.rows.iter().find(|row| {
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

/// Guests that run elsewhere stay there when their host is back: the sheet says so where they were restarted or moved, and where only
/// the state after tells of them; and nowhere else.
#[test]
fn guests_elsewhere_are_to_be_moved_back_by_hand() {
    let report = sample_report();
    let of = |report: &Report| -> Vec<(String, String)> {
        let lines = of_one(report).cases.remove(0).lines.into_iter();
        let own = lines.filter(|line| line.when == "back" && line.what.contains("guests"));
        own.map(|line| (line.what, line.words)).collect()
    };
    assert!(of(&report).is_empty(), "{:?}", of(&report));
    let event = report.switches[0].events[0].clone();
    let with = |what: &str, timer: Option<&str>, settles_to: Reference| {
        let mut report = report.clone();
        report.switches[0].settles_to = settles_to;
        report.switches[0].events.push(crate::outcome::NamedEvent {
            what: what.to_owned(),
            timer: timer.map(str::to_owned),
            ..event.clone()
        });
        of(&report)
    };
    let left = Reference::Survivors;
    let wanted = (
        "guests of hosts that are back".to_owned(),
        "stay where they were restarted: move the guests back by hand before the next step"
            .to_owned(),
    );
    for found in [
        with(
            "guests of 1 host run elsewhere",
            Some("restart of guests, 75s"),
            left,
        ),
        with("1 host drained, its guests moved to the others", None, left),
        with("settled", None, Reference::GuestsElsewhere),
    ] {
        assert_eq!(found, std::slice::from_ref(&wanted));
    }
    let lost = with("1 host lost with its guests", Some("keep-alive, 5s"), left);
    assert!(lost.is_empty(), "{lost:?}");
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

/// Once parts are back only work that has lost paths is waited for.
#[test]
fn work_that_lost_no_path_has_none_to_wait_for() {
    let mut report = sample_report();
    let waits = |report: &Report, name: &str| {
        let lines = of_one(report).cases.remove(0).lines;
        let what = format!("{name}: all paths in use again");
        let mut back = lines.iter().filter(|line| line.when == "back");
        back.any(|line| line.what.starts_with(&what))
    };
    assert!(waits(&report, "bookings") && waits(&report, "fleet"));
    for lane in &mut report.switches[0].lanes {
        if lane.workloads.iter().any(|name| name == "fleet") {
            lane.spans.retain(|span| span.kind == "up");
        }
    }
    assert!(waits(&report, "bookings") && !waits(&report, "fleet"));
}

/// A mean of which I/Os are not over is not told as a range.
#[test]
fn a_mean_of_what_is_not_over_is_unknown() {
    let mut report = sample_report();
    report.steady[0].workloads[0].all.unfinished = 4;
    let what = format!("{}: mean latency", report.steady[0].workloads[0].name);
    let lines = of_one(&report).before;
    let line = lines.iter().find(|line| line.what == what);
    let line = line.expect("it is on the sheet");
    assert_eq!(line.low, None);
    assert!(
        line.words.starts_with("unknown: 4 I/Os unfinished"),
        "{line:?}"
    );
}
