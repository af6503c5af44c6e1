//! Replications until a stated precision: `--within`.

use super::rig::{ask, reads, same, site};
use halfloom::outcome::{Precision, Report};
use halfloom::render::json::report_json;
use halfloom::site::Site;

fn bench(run: &str) -> Site {
    lasting("380ms", run)
}

/// 30 k/s: 100 I/Os lie above the p99 of a replication from 340 ms on.
fn lasting(duration: &str, run: &str) -> Site {
    let run = format!("duration = \"{duration}\"\nwarm_up = \"10ms\"\n{run}");
    site(&reads(r#"{ poisson = "30k/s" }"#, &run, ""), &[])
}

fn precision(report: &Report) -> &Precision {
    report.precision.as_ref().expect("one was asked for")
}

/// The figures are those that as many replications give without the rule; so the rule shifts nothing.
#[test]
fn the_figures_are_those_of_so_many_replications() {
    let by_rule = ask(&bench("within = \"10%\""), &["A"], false);
    let found = precision(&by_rule);
    assert!(found.reached, "{found:?}");
    let used = *found.looks.last().expect("a look");
    assert!(found.looks.len() >= 2 && used >= 15, "{found:?}");
    assert_eq!(by_rule.origin.replications, used);
    assert!(by_rule.steady.iter().all(|s| s.replications == used));
    // Two cases, a mean and a p99 each.
    assert_eq!((found.figures, found.left_out.len()), (4, 0), "{found:?}");
    assert!((found.level_percent - 98.75).abs() < 1e-9);
    let outright = ask(&bench(&format!("replications = {used}")), &["A"], false);
    let of = |report: &Report| {
        let mut report = report.clone();
        report.precision = None;
        report.assumptions.clear();
        report_json(&report)
    };
    same("by rule and outright", &of(&by_rule), &of(&outright));
}

#[test]
fn a_tighter_precision_takes_more_and_keeps_its_word() {
    let mut before = 0;
    for (text, within) in [("8%", 0.08), ("1.5%", 0.015)] {
        let report = ask(&bench(&format!("within = \"{text}\"")), &["A"], false);
        let found = precision(&report);
        let used = *found.looks.last().expect("a look");
        assert!(found.reached && used > before, "{found:?}");
        before = used;
        // The printed 95 % interval is narrower still than the one the rule went by.
        for steady in &report.steady {
            let all = &steady.workloads[0].all;
            let p99 = all.quantiles.iter().find(|figure| figure.q == 0.99);
            let p99 = p99.and_then(|figure| figure.latency_us).expect("a p99");
            for figure in [all.mean_us.expect("a mean"), p99] {
                let half = figure.high.expect("an end") - figure.value;
                assert!(half <= within / (1.0 + within) * figure.value, "{figure:?}");
            }
        }
    }
}

#[test]
fn one_thread_and_two_stop_at_the_same_look() {
    let site = lasting("60ms", "within = \"1%\"");
    let bytes = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        let pool = pool.build().expect("threads can be started");
        pool.install(|| report_json(&ask(&site, &["A"], false)))
    };
    same("one thread and two", &bytes(1), &bytes(2));
}

#[test]
fn what_cannot_get_there_says_why() {
    let stopped = bench("within = \"0.1%\"\nreplications_max = 12");
    let report = ask(&stopped, &["A"], false);
    let found = precision(&report);
    assert!(!found.reached);
    assert_eq!(found.looks, [10, 12]);
    let widest = found.widest.as_ref().expect("a widest");
    assert!(widest.half_width_percent.is_some_and(|half| half > 0.1));

    // 3 I/Os a replication lie above the p99: it never gets an interval, the mean does.
    let short = site(
        &reads(
            r#"{ poisson = "30k/s" }"#,
            "duration = \"20ms\"\nwarm_up = \"10ms\"\nwithin = \"10%\"",
            "",
        ),
        &[],
    );
    let report = ask(&short, &["A"], false);
    let found = precision(&report);
    assert!(found.reached, "{found:?}");
    assert_eq!((found.figures, found.left_out.len()), (2, 2));
    assert!(
        found.left_out[0].why.contains("fewer than 100"),
        "{found:?}"
    );

    // Twice what one fabric carries: no latency stands for it, and nothing is run in vain.
    let full = site(
        &reads(
            r#"{ poisson = "90k/s" }"#,
            "duration = \"60ms\"\nwarm_up = \"10ms\"\nwithin = \"10%\"\ndrain_limit = \"10ms\"",
            "",
        ),
        &[],
    );
    let report = ask(&full, &["A"], false);
    let lost: Vec<_> = precision(&report)
        .left_out
        .iter()
        .filter(|left| left.case == "A lost" && left.why.contains("does not fit"))
        .collect();
    assert_eq!(lost.len(), 2);
}
