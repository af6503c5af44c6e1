//! A run that would never end, or never fit, is stopped, and everybody is told.

use super::rig::{ask, case, reads, site};
use halfloom::outcome::{Report, Verdict};
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
