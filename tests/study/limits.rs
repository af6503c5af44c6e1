//! A run that would never end, or never fit, is stopped, and everybody is told.

use super::rig::{Twin, ask, ask_healthy, case, reads, site, work};
use halfloom::outcome::{LeftOpen, Report, Verdict};
use halfloom::render::table::report_text;

/// Four times what the link carries, for ten seconds: some 1.5 million I/Os would wait in the end.
fn flood(limit: &str) -> Report {
    let run = format!("duration = \"10s\"\nwarm_up = \"10ms\"\nreplications = 2\n{limit}");
    ask(
        &site(&reads(r#"{ poisson = "200k/s" }"#, &run, ""), &[]),
        &["A"],
        false,
    )
}

fn is_marked(report: &Report, limit: &str) {
    let steady = case(report, "A lost");
    assert!(steady.partial);
    assert_eq!(steady.stopped_by, Some(limit));
    let text = report_text(report);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = format!("Partial: {limit} stopped a run");
    assert!(text.contains(&said), "{text}");
    let mut cells = report
        .matrix
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten());
    assert!(cells.all(|cell| cell.verdict != Verdict::Met));
    // What had been simulated by then is there.
    assert!(steady.ios > 1_000, "{}", steady.ios);
}

#[test]
fn memory_ends_a_runaway() {
    is_marked(&flood("memory_max = \"4MiB\""), "run.memory_max");
}

#[test]
fn events_end_a_runaway() {
    is_marked(&flood("events_max = 300000"), "run.events_max");
}

/// Work that fits, and of which a limit leaves a tenth: none of its promises is met, however good that tenth was, nor is a
/// throughput missed that the rest would have brought; what is stopped is what is said.
#[test]
fn what_a_limit_leaves_of_a_good_run_is_not_decided() {
    let text = |limit: &str| {
        let run = format!("duration = \"200ms\"\nwarm_up = \"10ms\"\nreplications = 4\n{limit}");
        site(&reads(r#"{ poisson = "30k/s" }"#, &run, ""), &[])
    };
    let verdicts = |limit: &str| {
        let report = ask(&text(limit), &["A"], false);
        let cells = report.matrix.rows.iter().flat_map(|row| row.cells.clone());
        let all: Vec<_> = cells
            .flatten()
            .map(|cell| (cell.verdict, cell.left_open))
            .collect();
        (all, report_text(&report))
    };
    let (whole, _) = verdicts("");
    assert!(!whole.is_empty());
    assert!(
        whole.iter().all(|(verdict, _)| *verdict == Verdict::Met),
        "{whole:?}"
    );
    let (cut, said) = verdicts("events_max = 20000");
    let stopped = (Verdict::Undecided, Some(LeftOpen::Stopped));
    assert!(cut.iter().all(|cell| *cell == stopped), "{cut:?}");
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("a limit stopped a run before its end"),
        "{said}"
    );
}

/// However wide its intervals are, a run that a limit cuts is not run four hundred times: each of them would be cut.
#[test]
fn a_precision_asked_of_runs_that_are_cut_ends_at_the_first_look() {
    let run = "duration = \"200ms\"\nwarm_up = \"10ms\"\nwithin = \"0.1%\"\nevents_max = 20000";
    let report = ask(
        &site(&reads(r#"{ poisson = "30k/s" }"#, run, ""), &[]),
        &["A"],
        false,
    );
    let found = report.precision.as_ref().expect("one was asked for");
    assert_eq!((found.reached, found.looks.len()), (false, 1), "{found:?}");
    assert_eq!(found.stopped_by, Some("run.events_max"));
    let text = report_text(&report);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("run.events_max stopped a run, so that"),
        "{text}"
    );
}

/// A limit that ends a run before its first I/O leaves nothing that could be told of it, and that is what is told.
#[test]
fn a_run_without_any_io_says_that_there_was_none() {
    let run = "duration = \"200ms\"\nwarm_up = \"10ms\"\nreplications = 2\nevents_max = 100";
    let report = ask(
        &site(&reads(r#"{ poisson = "30k/s" }"#, run, ""), &[]),
        &["A"],
        false,
    );
    let text = report_text(&report);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("no I/O was completed in the measured time"),
        "{text}"
    );
    assert!(!text.contains("to the end"), "{text}");
}

/// The bound is on what the run really holds: a run that fits in 4 MiB is left alone.
#[test]
fn a_run_that_fits_is_whole() {
    let run = "duration = \"40ms\"\nwarm_up = \"10ms\"\nreplications = 2\nmemory_max = \"4MiB\"";
    let report = ask(
        &site(&reads(r#"{ poisson = "30k/s" }"#, run, ""), &[]),
        &["A"],
        false,
    );
    assert!(
        report
            .steady
            .iter()
            .all(|s| !s.partial && s.stopped_by.is_none())
    );
    assert!(!report_text(&report).contains("Partial"));
}

/// One link carries a million frames of 1000 bytes a second and is asked for 1.25 million: it is full at 0.8 of that,
/// whatever it shows itself, which is never more than 100 %.
#[test]
fn growth_of_what_does_not_fit_counts_what_is_asked() {
    let text = r#"
format = 1
[run]
duration = "60ms"
warm_up = "10ms"
replications = 2
[[host]]
name = "app"
queue_depth = 64
[[array]]
name = "box"
controllers = 1
parallel = 64
write = { time = "1us" }
[[link]]
from = "app"
to = "box"
speed = "8Gb/s"
propagation = "0s"
[[workload]]
name = "load"
hosts = "app"
array = "box"
protocol = "plain"
request = 1000
response = 1
frame = 1000
read = "0%"
arrivals = { poisson = "1250k/s" }
"#;
    let report = ask(&site(text, &[]), &[], false);
    let growth = &report.growth[0];
    assert_eq!(growth.case, "healthy");
    // The spread of 50 ms of arrivals at random is some 0.4 %.
    assert!((growth.factor - 0.8).abs() < 0.02, "{growth:?}");
}

/// One I/O under way on each of two paths a fabric, each about 111 us: with A lost 2 ÷ 111 us = 18,000 a second, 2.25 times 8,000. The parts
/// are hardly used, and the depth is not much either: what is full first is the depth all the same.
#[test]
fn a_queue_depth_is_what_is_full_first_however_little_of_it_is_used() {
    for (rate, times) in [("8k/s", 2.25), ("15k/s", 1.2)] {
        let text = Twin {
            run: "duration = \"300ms\"\nwarm_up = \"20ms\"\nreplications = 2",
            host: "queue_depth = 1",
            array: "controllers = 2\nparallel = 64\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: "speed = \"32GFC\"",
            far: "speed = \"32GFC\"",
            name: "w",
            work: &format!(
                "protocol = \"fc-scsi\"\nread = \"100%\"\nsizes = \"8KiB\"\narrivals = {{ poisson = \"{rate}\" }}"
            ),
            ..Twin::default()
        }
        .text();
        let report = ask(&site(&text, &[]), &["A"], false);
        let found = report.growth.iter().find(|own| own.case == "A lost");
        let found = found.expect("A is lost");
        assert_eq!(found.part, "queue depth of the hosts of w", "{rate}");
        assert!(
            (found.factor - times).abs() < 0.01,
            "{rate}: {}",
            found.factor
        );
    }
}

/// Two I/Os under way on each of two paths, each as long as the fastest on an idle site: 1 % more than that lets through piles up for
/// ever, though a run of a few tens of milliseconds hardly shows it; 1 % less does not.
#[test]
fn a_queue_depth_that_is_asked_for_a_little_more_than_it_lets_through_is_full() {
    let found = |rate: f64, duration: &str| {
        let text = Twin {
            run: &format!("duration = \"{duration}\"\nwarm_up = \"5ms\"\nreplications = 2"),
            host: "queue_depth = 2\npaths = \"round-robin\"",
            array: "controllers = 1\nparallel = 64\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: "speed = \"32GFC\"",
            far: "speed = \"32GFC\"",
            name: "w",
            work: &format!(
                "protocol = \"fc-scsi\"\nread = \"100%\"\nsizes = \"8KiB\"\narrivals = {{ poisson = \"{rate:.0}/s\" }}\n\
                 promise = {{ mean = \"1s\" }}"
            ),
            ..Twin::default()
        }
        .text();
        ask_healthy(&site(&text, &[]))
    };
    let idle = found(10.0, "2s");
    let alone = work(case(&idle, "healthy"), "w").all.min_us;
    let most = 4.0 / (alone.expect("some come") * 1e-6);
    let over = found(most * 1.01, "45ms");
    let own = work(case(&over, "healthy"), "w");
    assert!(own.saturated);
    let cell = over.matrix.rows[0].cells[0].as_ref().expect("judged");
    assert_eq!((cell.verdict, cell.saturated), (Verdict::Missed, true));
    let under = found(most * 0.99, "45ms");
    assert!(!work(case(&under, "healthy"), "w").saturated);
}

/// One place of 100 us, asked for three times what it does (or for half of it), and a limit that ends every run long before its
/// measured window: nothing was measured, and no figure says 0. What arithmetic knows of the parts is said as that.
#[test]
fn a_run_that_ends_within_its_warm_up_shows_no_figures() {
    let text = |rate: &str| {
        format!(
            "format = 1\n[run]\nduration = \"2s\"\nwarm_up = \"1500ms\"\nreplications = 3\nmemory_max = \"4MiB\"\nevents_max = 20000\n\
             [[host]]\nname = \"a\"\n[[array]]\nname = \"h\"\ncontrollers = 1\nparallel = 1\nwrite = {{ time = \"100us\" }}\n\
             [[link]]\nfrom = \"a\"\nto = \"h\"\nspeed = \"1000Gb/s\"\n[[workload]]\nname = \"w\"\nhosts = \"a\"\narray = \"h\"\n\
             protocol = \"plain\"\nrequest = 100\nresponse = 100\nframe = 1000\nread = 0\nsizes = \"1KiB\"\n\
             arrivals = {{ poisson = \"{rate}\" }}\npromise = {{ p99 = \"5ms\", throughput = \"1MB/s\" }}\n"
        )
    };
    for (rate, said) in [
        (
            "30k/s",
            "by arithmetic the cause is h controllers: it is asked for 300 % on the mean.",
        ),
        (
            "5k/s",
            "by arithmetic the fullest part is h controllers: it is asked for 50 % on the mean.",
        ),
    ] {
        let report = ask_healthy(&site(&text(rate), &[]));
        let steady = case(&report, "healthy");
        assert!(steady.partial && steady.unmeasured);
        assert_eq!(steady.saturated, rate == "30k/s");
        let plain = report_text(&report).replace('\u{202F}', " ");
        let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(plain.contains(said), "{plain}");
        assert!(
            plain.contains("Stopped within the warm-up: run.events_max"),
            "{plain}"
        );
        assert!(plain.contains("w healthy not measured – – – –"), "{plain}");
        assert!(plain.contains("a > h A not measured"), "{plain}");
        assert!(!plain.contains(" 0 % "), "{plain}");
        // Neither is a throughput of nothing a figure, nor a promise decided by it.
        for cell in report
            .matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten())
        {
            assert_eq!((cell.value, cell.beyond), (None, None));
            assert!(cell.saturated || cell.left_open == Some(LeftOpen::Stopped));
        }
        // There is nothing to colour the site by.
        let page = halfloom::render::chart::Format::Page;
        assert!(halfloom::render::chart::diagram(&report, 0, page).is_none());
        let json = halfloom::render::json::report_json(&report);
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        let own = &json["steady"][0];
        for key in ["directions", "arrays", "hosts", "paths"] {
            assert!(own[key].is_null(), "{key}");
        }
        for key in ["all", "reads", "writes", "bins", "peak_iops"] {
            assert!(own["workloads"][0][key].is_null(), "{key}");
        }
        let csv = halfloom::render::csv::report_csv(&report);
        let row = csv.lines().nth(1).unwrap().split(',');
        assert!(row.clone().count() > 100 && row.skip(7).all(str::is_empty));
    }
}
