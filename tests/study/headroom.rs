//! The switch-over at the load that headroom proves is the one of `failover` at that load.

use super::rig::{ask, json, origin, reads, site};
use halfloom::outcome::{Headroom, SwitchOvers, Verdict};
use halfloom::study::NoProgress;
use halfloom::study::headroom::{Ask, headroom, scaled};

const RUN: &str = "duration = \"30ms\"\nwarm_up = \"5ms\"\nreplications = 4\nswitch_replications = 2\nsettle_limit = \"500ms\"";
const TIMERS: &str = "fast_io_fail = \"300ms\"";

fn text(switching: &str) -> String {
    reads(r#"{ poisson = "8k/s" }"#, RUN, TIMERS).replace(
        "promise = { mean = \"1ms\", p99 = \"5ms\" }",
        &format!("promise = {{ mean = \"400us\"{switching} }}"),
    )
}

fn found(switching: &str, switch_overs: bool) -> Headroom {
    let site = site(&text(switching), &[]);
    let ask = Ask {
        outages: Some(vec!["A".to_owned()]),
        most: 8.0,
        switch_overs,
    };
    headroom(&site, origin(&site), &ask, &NoProgress)
}

/// The link's loss is noticed after 0.1 s and held for 0.3 s more: 0.4 s are the longest I/O at any load, 2 s are kept
/// and 0.2 s are not. The run is that of the site with that load, to the byte.
#[test]
fn a_switch_over_is_judged_at_the_load_that_is_proven() {
    for (target, verdict) in [("2s", Verdict::Met), ("200ms", Verdict::Missed)] {
        let switching = format!(", switching = {{ longest_io = \"{target}\", failed = 0 }}");
        let headroom = found(&switching, true);
        assert_eq!(headroom.switch_overs, SwitchOvers::Judged);
        assert_eq!(headroom.cases[0].switch_over, None, "nothing is lost");
        let case = &headroom.cases[1];
        let found = case.switch_over.as_ref().expect("a load is proven");
        let least = headroom.cases.iter().filter_map(|case| case.met);
        assert_eq!(found.factor, least.fold(f64::INFINITY, f64::min));
        assert!(found.factor > 1.5, "{}", found.factor);
        assert_eq!(found.verdict, verdict, "{found:?}");
        // A timer hangs on no load: where it is missed, it is at today's and far below as well.
        let kept = verdict == Verdict::Met;
        assert_eq!(case.switch_met, kept.then_some(found.factor));
        let tried: Vec<f64> = case.switch_tried.iter().map(|own| own.factor).collect();
        assert_eq!(tried, if kept { vec![] } else { vec![1.0, 0.125] });
        assert_eq!(found.rows.len(), 2);
        let longest = found.rows[0].cell.value.expect("a figure").value;
        assert!((longest - 0.4).abs() < 0.05, "{longest}");
        // What `failover` says of the site with that load.
        let site = scaled(&site(&text(&switching), &[]), found.factor);
        let report = ask(&site, &["A"], true);
        let rows = report.matrix.rows.iter().filter(|row| row.switching);
        for (row, own) in rows.zip(&found.rows) {
            assert_eq!(json(&row.cells[1]), json(&Some(own.cell.clone())));
        }
    }
}

#[test]
fn none_is_judged_unasked_or_where_nothing_is_promised() {
    let switching = ", switching = { longest_io = \"2s\" }";
    for (headroom, why) in [
        (found(switching, false), SwitchOvers::NotAsked),
        (found("", true), SwitchOvers::NothingPromised),
    ] {
        assert_eq!(headroom.switch_overs, why);
        assert!(headroom.cases.iter().all(|case| case.switch_over.is_none()));
    }
}
