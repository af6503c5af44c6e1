//! Throughputs of closed loops: fewer I/Os outstanding bring less, which is no load that is too much.

use super::*;
use crate::site::Law;
use crate::unit::Duration;

/// Four servers of 1 us: `d` outstanding bring the lesser of `d` and 4 bytes a microsecond and take the greater of 1 and d/4 us, so
/// that 3.5 MB/s and a mean of 1.4 us hold at 4 and at 5 outstanding, and at no others.
fn loops(depth: u32, open: &str) -> Site {
    let run = "duration = \"8ms\"\nwarm_up = \"800us\"\nreplications = 4";
    let rate = format!("{{ closed = {{ depth = {depth} }} }}");
    let promise = "{ throughput = \"3.5MB/s\", mean = \"1.4us\" }";
    let mut site = site(&(text(3, run, &rate, promise) + open));
    site.arrays[0].parallel = 4;
    site.arrays[0].write.time = Law::Constant(Duration(1_000_000));
    site.hosts[0].queue_depth = None;
    site
}

#[test]
fn too_little_of_a_shallow_loop_ends_no_search_and_says_nothing_of_today() {
    for (depth, verdict) in [
        (6, Verdict::Missed),
        (5, Verdict::Met),
        (4, Verdict::Met),
        (3, Verdict::Missed),
    ] {
        let found = headroom(&loops(depth, ""), origin(), &only_healthy(), &NoProgress);
        let case = &found.cases[0];
        let at = |factor: Option<f64>| factor.map(|factor| (factor * f64::from(depth)).round());
        assert_eq!(
            (at(case.met), at(case.missed), case.today),
            (Some(5.0), Some(6.0), Some(verdict)),
            "{depth}: {case:?}"
        );
        // Three outstanding bring too little and four enough, whichever of them today's load is: the edge is between neighbours, or
        // told with the loads that were run.
        let floor = case.floor.as_ref().expect("three bring too little");
        let (enough, short) = (at(Some(floor.factor)), at(floor.short));
        assert!(
            enough >= Some(4.0) && short <= Some(3.0),
            "{depth}: {floor:?}"
        );
        assert_eq!(floor.step, None, "whole numbers have no load between");
        let note = found
            .notes
            .iter()
            .any(|note| note.contains("down to that from which on a throughput is kept"));
        assert!(note, "{:?}", found.notes);
        let ends = case.breaks.as_ref().map(|breaks| breaks.measure);
        assert_eq!(ends, Some(crate::outcome::MeasureKind::Mean), "{depth}");
    }
}

/// Beside open work of a hundredth of a server the load is no whole number; from 5.5 ÷ 6 on six are outstanding, and too many.
#[test]
fn a_loop_beside_open_work_is_found_between_too_little_and_too_much() {
    let open = "[[workload]]\nname = \"open\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
                request = 1\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = { poisson = \"10k/s\" }\n";
    let found = headroom(&loops(6, open), origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!(case.today, Some(Verdict::Missed), "{case:?}");
    let met = case.met.expect("five outstanding keep both");
    assert!((3.5 / 6.0..5.5 / 6.0).contains(&met), "{case:?}");
    // Too little was seen at three at most, enough at four at least; where these two were run, one more is outstanding from 3.5 ÷ 6 on.
    if let Some(floor) = &case.floor {
        let short = floor.short.expect("a loop has runs");
        assert!(short < 3.5 / 6.0 && floor.factor >= 3.5 / 6.0, "{floor:?}");
        assert!(
            floor
                .step
                .is_none_or(|step| (step - 3.5 / 6.0).abs() < 1e-12),
            "{floor:?}"
        );
    }
    let missed = case.missed.expect("six are too many");
    assert!((5.5 / 6.0..=1.0).contains(&missed), "{case:?}");
}

/// What no number outstanding brings is broken today by today's own test, and by no smaller load.
#[test]
fn a_throughput_that_no_depth_brings_is_broken_today_and_not_below() {
    let mut site = loops(6, "");
    site.workloads[0]
        .promises
        .healthy
        .retain(|promise| promise.measure == crate::site::Measure::Throughput);
    site.workloads[0].promises.healthy[0].target = 5e6;
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!((case.met, case.today), (None, Some(Verdict::Missed)));
    assert!(case.missed.is_none_or(|missed| missed >= 1.0), "{case:?}");
    // Four servers of 1 us bring 4 bytes a microsecond, however much is outstanding: no load that was run brings 5 MB/s.
    let Some(crate::outcome::Hopeless {
        because:
            crate::outcome::Because::NeverBrought {
                factor,
                throughput_mb_s,
                ..
            },
        ..
    }) = case.hopeless
    else {
        panic!("{case:?}")
    };
    assert!(
        factor >= 16.0 * (1.0 - 1e-9),
        "up to the most that was to be tried: {factor}"
    );
    assert!((throughput_mb_s - 4.0).abs() < 0.01, "{throughput_mb_s}");
}
