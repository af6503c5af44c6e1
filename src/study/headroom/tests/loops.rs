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
}
