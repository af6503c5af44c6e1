use super::super::reasons::{stall_ends, switch_cause};
use super::*;
use crate::outcome::Verdict;
use crate::render::sample::sample_report;

fn every_cell(report: &mut Report, change: impl Fn(&mut Cell)) {
    for row in &mut report.matrix.rows {
        row.cells.iter_mut().flatten().for_each(&change);
    }
}

#[test]
fn the_sample_misses_a_promise_and_says_which() {
    let answer = answer(&sample_report());
    assert_eq!(answer.flag, Flag::Missed);
    assert!(answer.headline.plain().contains("bookings"));
    assert!(!answer.cause.is_empty());
}

#[test]
fn all_met_says_so() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| {
        cell.verdict = Verdict::Met;
        cell.saturated = false;
        cell.margin_percent = Some(10.0);
    });
    let answer = answer(&report);
    assert_eq!(answer.flag, Flag::Met);
    assert!(answer.headline.plain().contains("every promise"));
}

#[test]
fn one_too_close_to_call_is_undecided() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| {
        cell.verdict = Verdict::Met;
        cell.saturated = false;
    });
    let cell = report.matrix.rows[0].cells.iter_mut().flatten().next_back();
    if let Some(cell) = cell {
        cell.verdict = Verdict::Undecided;
    }
    assert_eq!(answer(&report).flag, Flag::Undecided);
    let cell = report.matrix.rows[0].cells.iter_mut().flatten().next_back();
    if let Some(cell) = cell {
        cell.replications = 1;
    }
    let said = answer(&report).headline.plain();
    assert!(said.contains("One replication gives no bounds"), "{said}");
    assert!(!said.contains("Too close to call"), "{said}");
}

/// Nothing is close where nothing was above the target: there are too few I/Os.
#[test]
fn too_few_are_not_too_close() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| {
        (cell.verdict, cell.saturated) = (Verdict::Met, false);
    });
    let mut said = |above: f64| {
        let mut cells = report.matrix.rows[0].cells.iter_mut().flatten();
        let cell = cells.next_back().expect("it is judged");
        (cell.verdict, cell.left_open) = (Verdict::Undecided, None);
        (cell.above_share, cell.above_allowed) = (Some(above), Some(0.01));
        answer(&report).headline.plain()
    };
    let none = said(0.0);
    assert!(none.starts_with("Too few I/Os to tell: "), "{none}");
    assert!(
        none.contains("None was above it, of too few to show that no more than 1\u{202F}% are. "),
        "{none}"
    );
    assert!(said(0.009).starts_with("Too close to call: "));
}

/// Work whose I/Os take longer than the run: that it does not fit is what arithmetic says, and no part is to blame for what a run is
/// too short to tell.
#[test]
fn what_a_run_is_too_short_for_is_told_as_that() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| {
        cell.verdict = Verdict::Missed;
        cell.saturated = true;
    });
    assert!(!answer(&report).headline.plain().contains("by arithmetic"));
    for work in report
        .steady
        .iter_mut()
        .flat_map(|steady| &mut steady.workloads)
    {
        (work.saturated, work.service_beyond_run_s) = (true, Some(4.0));
    }
    let said = answer(&report).headline.plain();
    assert!(
        said.contains("the work does not fit, by arithmetic")
            && said.contains("The run is too short to show"),
        "{said}"
    );
    every_cell(&mut report, |cell| {
        cell.verdict = Verdict::Undecided;
        cell.saturated = false;
        cell.left_open = Some(crate::outcome::LeftOpen::RunTooShort);
    });
    for part in &mut report.parts {
        for used in part.cases.iter_mut().flatten() {
            used.peak_percent = 150.0;
        }
    }
    for row in &mut report.matrix.rows {
        row.switching = false;
    }
    let said = answer(&report).cause.plain();
    assert!(
        said.starts_with("No part is the cause, but the length of the run."),
        "{said}"
    );
}

#[test]
fn forbidden_words_are_never_said() {
    let answer = answer(&sample_report());
    let parts = [
        &answer.headline,
        &answer.holds,
        &answer.cause,
        &answer.mend,
        &answer.sure,
    ];
    for word in ["safe", "guaranteed", "optimal", "significant"] {
        assert!(
            parts.iter().all(|part| !part.plain().contains(word)),
            "{word}"
        );
    }
}

/// The name of a workload may be a plural; the sentence about it is right all the same.
#[test]
fn a_plural_name_takes_no_wrong_verb() {
    let mut report = sample_report();
    for row in &mut report.matrix.rows {
        if row.workload == "bookings" {
            "reads".clone_into(&mut row.workload);
        }
    }
    let said = answer(&report).headline.plain();
    assert!(said.contains("workload reads is too slow"), "{said}");
}

/// What can grow is rounded down; what is just full is not said to be over.
#[test]
fn growth_is_rounded_down_and_just_full_is_full() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| {
        cell.verdict = Verdict::Met;
        cell.saturated = false;
        cell.margin_percent = Some(10.0);
    });
    for (factor, words) in [
        (1.58, "full at 1.5 times that"),
        (0.9999, "One part is just full"),
        (1.0, "One part is just full"),
        (0.97, "full at 0.97 times that"),
    ] {
        report.growth.truncate(1);
        report.growth[0].factor = factor;
        let said = answer(&report).mend.plain();
        assert!(said.contains(words), "{factor}: {said}");
    }
}

/// Without promises there is no verdict, no word of promises that hold, and what was simulated is not denied.
#[test]
fn where_nothing_was_promised_there_is_no_verdict() {
    let mut report = sample_report();
    report.matrix.rows.clear();
    for steady in &mut report.steady {
        steady.saturated = false;
    }
    assert!(!report.mends.is_empty(), "the sample has a change");
    let said = answer(&report);
    assert_eq!(said.flag, Flag::Unasked);
    assert_eq!(
        said.headline.plain(),
        "Nothing was promised, so there is no verdict."
    );
    let mend = said.mend.plain();
    assert!(mend.contains("no change is asked for"), "{mend}");
    assert!(
        mend.contains("Simulated beside it: ") && mend.contains(&report.mends[0].name),
        "{mend}"
    );
    assert!(!mend.contains("No change was simulated"), "{mend}");
    report.mends.clear();
    report.growth.clear();
    let mend = answer(&report).mend.plain();
    assert_eq!(mend, "Nothing to mend was found. No change was simulated.");
    assert!(answer(&report).sure.plain().contains("The figures rest on"));
}

/// Without a simulated change, what would simulate one is said.
#[test]
fn where_no_remedy_was_simulated_the_option_that_does_is_named() {
    let mut report = sample_report();
    report.mends.clear();
    let said = answer(&report).mend.plain();
    assert!(
        said.starts_with("No remedy was simulated: failover --mends"),
        "{said}"
    );
}

/// Scripted events are no outage, which alone has remedies; and a search that found none is not told to be made.
#[test]
fn no_advice_is_given_that_cannot_apply() {
    let mut report = sample_report();
    report.mends.clear();
    let mut asked = report.clone();
    asked.mend_search = Some(crate::outcome::MendSearch {
        most: 4,
        tried: 0,
        rounds: 0,
        calm: Vec::new(),
        fixed: Vec::new(),
        refused: Vec::new(),
        priced: false,
        sets_tried: 0,
        sets_untried: 0,
    });
    let said = answer(&asked).mend.plain();
    assert!(said.starts_with("No change to propose was found"), "{said}");
    for case in &mut report.matrix.cases {
        *case = Case::scripted();
    }
    let said = answer(&report).mend.plain();
    assert!(said.contains("does not look at an [[event]]"), "{said}");
    every_cell(&mut report, |cell| cell.verdict = Verdict::Undecided);
    every_cell(&mut report, |cell| {
        (cell.saturated, cell.beyond) = (false, None)
    });
    let answer = answer(&report);
    assert_eq!(answer.flag, Flag::Undecided);
    let said = answer.mend.plain();
    assert!(
        said.contains("more replications") && !said.contains("--mends"),
        "{said}"
    );
}

/// Nothing is called unmet that is only undecided.
#[test]
fn what_is_undecided_with_everything_healthy_is_not_told_as_missed() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| cell.verdict = Verdict::Undecided);
    every_cell(&mut report, |cell| {
        (cell.saturated, cell.beyond) = (false, None)
    });
    let said = healthy_words(&report, Flag::Undecided).plain();
    assert_eq!(said, "With everything healthy not one promise is decided.");
    every_cell(&mut report, |cell| cell.verdict = Verdict::Missed);
    let said = healthy_words(&report, Flag::Missed).plain();
    assert_eq!(said, "Not one promise is met with everything healthy.");
}

/// The work goes on before the I/O that waits longest does: the end of the stall is that of the work, as the table marks it.
#[test]
fn the_longest_io_may_end_by_another_timer_than_the_stall() {
    let report = sample_report();
    let mut work = report.switches[0].workloads[0].clone();
    let from = report.switches[0].counted_from;
    let event = work.freed_by.as_mut().expect("the sample has a stall");
    (event.timer, event.t_s) = (Some("TCP retransmission, 200ms".to_owned()), 0.23);
    let stop = |by: &str| crate::outcome::WorkStop {
        from_s: 0.0,
        to_s: Some(0.15),
        s: 0.15,
        ended_by: Some(by.to_owned()),
        cause: crate::outcome::StopCause::LostPaths,
    };
    work.stops = vec![stop("team switch-over, 50ms")];
    let said = stall_ends(&work, from);
    assert!(
        said.contains("TCP retransmission") && said.contains("lets the longest I/O end 0.23"),
        "{said}"
    );
    assert!(
        said.contains("The stall of the work as a whole ends at 0.15")
            && said.contains("team switch-over"),
        "{said}"
    );
    assert!(!said.contains("it ends the stall"), "{said}");
    work.stops = vec![stop("TCP retransmission, 200ms")];
    assert!(stall_ends(&work, from).contains("it ends the stall 0.23"));
}

/// I/Os that fail for want of a path have not been done: the timer that lets them fail ends no stall.
#[test]
fn what_fails_for_want_of_a_path_ends_no_stall() {
    let report = sample_report();
    let mut work = report.switches[0].workloads[0].clone();
    let event = work.freed_by.as_mut().expect("the sample has a stall");
    event.timer = Some("fast-io-fail, 5s".to_owned());
    let from = report.switches[0].counted_from;
    let said = stall_ends(&work, from);
    assert!(said.contains("it lets the longest I/O end"), "{said}");
    let event = work.freed_by.as_mut().expect("the sample has a stall");
    event.timer = Some("no path, fail at once".to_owned());
    let said = stall_ends(&work, from);
    assert!(
        said.starts_with("no path was left: what was held fails"),
        "{said}"
    );
    assert!(!said.contains("ends the stall"), "{said}");
    assert!(
        said.contains("only a path that is back ends that"),
        "{said}"
    );
    // Something has ended it: that is named.
    work.stops = vec![crate::outcome::WorkStop {
        from_s: 0.0,
        to_s: Some(12.0),
        s: 12.0,
        ended_by: Some("path check, 5s".to_owned()),
        cause: crate::outcome::StopCause::NoPath,
    }];
    let said = stall_ends(&work, from);
    assert!(
        said.contains("the work goes on at 12\u{202F}s (path check, 5\u{202F}s)")
            && !said.contains("only a path"),
        "{said}"
    );
    // From 100 s on to the second, as the table of events has them.
    work.stops[0].to_s = Some(205.2);
    let event = work.freed_by.as_mut().expect("the sample has a stall");
    event.t_s = 155.0;
    let said = stall_ends(&work, from);
    assert!(
        said.contains("fails 155\u{202F}s") && said.contains("goes on at 205\u{202F}s"),
        "{said}"
    );
}

/// Where some I/Os fail and the longest comes through, each promise has its own cause.
#[test]
fn what_fails_has_a_cause_of_its_own() {
    let report = sample_report();
    let mut work = report.switches[0].workloads[0].clone();
    let from = report.switches[0].counted_from;
    let freed = work.freed_by.clone().expect("the sample has a stall");
    let failed = |timer: &str| crate::outcome::NamedEvent {
        timer: Some(timer.to_owned()),
        t_s: 2.5,
        ..freed.clone()
    };
    let of = |work: &crate::outcome::SwitchWorkload, measure| switch_cause(work, from, measure);
    assert_eq!(of(&work, MeasureKind::Failed), stall_ends(&work, from));
    work.failed_by = Some(failed("no path, fail at once"));
    assert_eq!(of(&work, MeasureKind::LongestIo), stall_ends(&work, from));
    let said = of(&work, MeasureKind::Failed);
    assert!(
        said.starts_with("no path was left: the first fails 2.5"),
        "{said}"
    );
    work.failed_by = Some(failed("command timeout, 30s"));
    let said = of(&work, MeasureKind::Failed);
    assert!(
        said.contains("command timeout, 30") && said.contains("no retry is left"),
        "{said}"
    );
}

/// One is no plural, and several stops are counted.
#[test]
fn one_that_fails_and_several_that_stop_are_counted_rightly() {
    let mut report = sample_report();
    report.switches.truncate(1);
    let work = &mut report.switches[0].workloads[0];
    (work.failed, work.longest_silence_s) = (vec![0; 10], 5.1);
    work.failed[0] = 1;
    let stop = |from_s: f64, s: f64| crate::outcome::WorkStop {
        from_s,
        to_s: Some(from_s + s),
        s,
        ended_by: None,
        cause: crate::outcome::StopCause::NoPath,
    };
    work.stops = vec![stop(0.0, 5.1)];
    let name = work.name.clone();
    let said = answer(&report).holds.plain();
    assert!(said.contains("1 I/O fails, all replications"), "{said}");
    assert!(
        said.contains(&format!("{name} stops as a whole meanwhile: up to 5.1")),
        "{said}"
    );
    // What is as short as an I/O takes is not counted.
    report.switches[0].workloads[0].stops = vec![stop(0.0, 5.1), stop(7.0, 0.05), stop(19.0, 0.7)];
    let said = answer(&report).holds.plain();
    assert!(
        said.contains("stops as a whole 2 times meanwhile"),
        "{said}"
    );
    report.switches[0].workloads[0].failed[1] = 2;
    report.switches[0].replications = 1;
    let said = answer(&report).holds.plain();
    assert!(said.contains("3 I/Os fail, and the longest"), "{said}");
    let mut cell = report.matrix.rows[0].cells[0]
        .clone()
        .expect("it is judged");
    let failed = |cell: &Cell| felt(MeasureKind::Failed, cell, Scale::of("", [1.0]));
    let figure = cell.value.as_mut().expect("it has a figure");
    figure.value = 1.0;
    assert_eq!(failed(&cell), "1 request fails");
    cell.value.as_mut().expect("it has a figure").value = 2.0;
    assert_eq!(failed(&cell), "2 requests fail");
}

/// Counts are exact up to a million, and a percentile that lies among I/Os that fail says so.
#[test]
fn failed_ios_are_counted_exactly_and_named_as_the_reason() {
    let mut report = sample_report();
    let (row, case) = worst_cell(&report.matrix).expect("something is missed");
    let cell = report.matrix.rows[row].cells[case]
        .as_mut()
        .expect("it is judged");
    let mut count = cell.clone();
    let failed = |cell: &Cell| felt(MeasureKind::Failed, cell, Scale::of("", [66_012.0]));
    let figure = |value: f64| crate::outcome::Estimated {
        value,
        low: None,
        high: None,
    };
    count.value = Some(figure(66_012.0));
    assert_eq!(failed(&count), "66\u{202F}012 requests fail");
    (cell.value, cell.beyond, cell.failed) = (None, Some(1_590.0), 66_012);
    let said = answer(&report).headline.plain();
    assert!(
        said.contains("loses work: 66\u{202F}012 I/Os fail, all replications together"),
        "{said}"
    );
    let text = crate::render::junit::junit_xml(&report);
    assert!(text.contains(", 66\u{202F}012 I/Os fail, target"), "{text}");
    let text = crate::render::table::report_text(&report);
    assert!(text.contains("(66\u{202F}012 I/Os fail)"), "{text}");
}

/// A silent loss is noticed by other timers than a loud one: whoever quotes the headline quotes that.
#[test]
fn a_silent_loss_says_so_in_the_headline() {
    let mut report = sample_report();
    let (_, case) = worst_cell(&report.matrix).expect("something is judged");
    let loud = answer(&report).headline.plain();
    assert!(!loud.contains("silent"), "{loud}");
    let own = report.matrix.cases[case].clone();
    let switch = report.switches.iter_mut().find(|switch| switch.case == own);
    switch.expect("its switch-over was simulated").silent = true;
    let said = answer(&report).headline.plain();
    assert!(said.contains(" is lost silently, workload "), "{said}");
}

/// 209.6 us for 210 us, and 213 for 210: the digits of the table, never those that make a miss of a keeping or the other way round.
#[test]
fn a_figure_of_a_change_is_never_rounded_onto_its_target() {
    let mut report = sample_report();
    report.mends = crate::render::sample::sample_mends().mends;
    let (row, case) = worst_cell(&report.matrix).expect("something is judged");
    let said = |report: &mut Report, value: f64| {
        let asked = report.matrix.rows[row].clone();
        for mend in &mut report.mends {
            let same = mend
                .matrix
                .rows
                .iter_mut()
                .find(|own| (&own.workload, own.measure) == (&asked.workload, asked.measure));
            let cell = same
                .and_then(|own| own.cells[case].as_mut())
                .expect("it is judged");
            cell.target = 210.0;
            cell.value.as_mut().expect("it has a figure").value = value;
        }
        answer(report).mend.plain().replace('\u{202F}', " ")
    };
    for (value, digits) in [(213.0, "213"), (209.6, "209.6")] {
        let text = said(&mut report, value);
        let scale = super::row_scale(&report.matrix.rows[row]);
        let shown = scale.apart(value, 210.0);
        assert!(shown == digits || scale.unit != "\u{b5}s", "{shown}");
        assert!(text.contains(&format!("is {shown} ")), "{text}");
    }
}

/// Links that are slow or damage frames switch nothing over.
#[test]
fn nothing_switches_over_where_links_only_damage_frames() {
    let mut report = sample_report();
    every_cell(&mut report, |cell| cell.verdict = Verdict::Met);
    let row = report.matrix.rows.iter_mut().find(|row| row.switching);
    let cells = row.expect("something is promised of it").cells.iter_mut();
    for cell in cells.flatten() {
        cell.verdict = Verdict::Missed;
    }
    let said = |report: &Report| {
        let answer = answer(report);
        answer.headline.plain() + &answer.holds.plain()
    };
    assert!(said(&report).contains("switch-over"), "{}", said(&report));
    for switch in &mut report.switches {
        switch.harm = Harm::Slow;
    }
    assert!(!said(&report).contains("switch-over"), "{}", said(&report));
    assert!(said(&report).contains("Meanwhile"), "{}", said(&report));
}

/// A run that is too short names no busy part, and what arithmetic alone says is said to be that.
#[test]
fn a_run_that_is_too_short_is_told_of_as_one() {
    let mut report = sample_report();
    let open = |left| {
        move |cell: &mut Cell| {
            (cell.verdict, cell.saturated, cell.left_open) = (Verdict::Undecided, false, left);
        }
    };
    report.matrix.rows.retain(|row| !row.switching);
    every_cell(&mut report, open(None));
    assert!(!answer(&report).cause.is_empty());
    every_cell(
        &mut report,
        open(Some(crate::outcome::LeftOpen::RunTooShort)),
    );
    let cause = answer(&report).cause.plain();
    let of_the_run = "No part is the cause, but the length of the run.";
    assert!(cause.starts_with(of_the_run), "{cause}");

    every_cell(&mut report, |cell| cell.saturated = true);
    let long = |report: &mut Report, service: Option<f64>| {
        for steady in &mut report.steady {
            steady.saturated = true;
            for work in &mut steady.workloads {
                (work.saturated, work.service_beyond_run_s) = (true, service);
            }
        }
    };
    long(&mut report, None);
    let said = answer(&report).headline.plain();
    assert!(said.contains("waiting grows without end"), "{said}");
    long(&mut report, Some(3.0));
    let said = answer(&report).headline.plain();
    assert!(said.contains("does not fit, by arithmetic"), "{said}");
    assert!(!said.contains("without end"), "{said}");
    let foot = crate::render::words::beyond_run_words(&report).expect("it is too short");
    assert!(foot.contains("by arithmetic that"), "{foot}");
    assert!(!foot.contains("whether"), "{foot}");
}
