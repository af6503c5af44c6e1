//! What needs no run to be known.

use super::*;
use crate::outcome::NoCrossing;

const RUN: &str = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 4";

fn healthy(site: &Site) -> CaseHeadroom {
    let found = headroom(site, origin(), &only_healthy(), &NoProgress);
    found.cases.into_iter().next().expect("the healthy case")
}

/// One server of 1 us that half its time is asked for: full at twice that. What is promised of latency breaks above, whatever short
/// runs show; what is promised of throughput alone does not, nor does a percentile where more I/Os may be late than come from one
/// host, nor one where any number may be under way.
#[test]
fn above_the_load_that_is_full_a_promise_of_latency_breaks_for_certain() {
    let rate = "{ poisson = \"500k/s\" }";
    let text = |promise: &str| {
        let text = text(3, RUN, rate, promise);
        text.replace("name = \"app\"", "name = \"app\"\nqueue_depth = 64")
    };
    let certain = |promise: &str| healthy(&site(&text(promise))).certain;
    let near = |found: Option<f64>| found.is_some_and(|full| (full - 2.0).abs() < 1e-3);
    assert!(near(certain("{ mean = \"10us\" }")));
    assert!(near(certain("{ p90 = \"10us\" }")));
    assert_eq!(certain("{ throughput = \"400kB/s\" }"), None);
    // Two hosts: one of them may be late, and half of all I/Os are no more than a median allows.
    let two = text("{ p50 = \"10us\" }").replace("queue_depth", "count = 2\nqueue_depth");
    assert_eq!(healthy(&site(&two)).certain, None);
    let free = station(3, RUN, rate, "{ p90 = \"10us\" }");
    assert_eq!(healthy(&free).certain, None);
    // Other work that nothing is promised of may be what waits.
    let other = text("{ mean = \"10us\" }");
    let work = other[other.find("[[workload]]").expect("there is one")..].to_owned();
    let work = work.replace("name = \"w\"", "name = \"v\"");
    let work = work.replace("promise = { mean = \"10us\" }", "");
    assert_eq!(healthy(&site(&format!("{other}{work}"))).certain, None);
    // Today's load is beyond it, which needs no proof.
    let over = station(3, RUN, "{ poisson = \"1100k/s\" }", "{ mean = \"10us\" }");
    assert_eq!(healthy(&over).today, Some(Verdict::Missed));
}

/// With A lost the only host has no path.
#[test]
fn a_case_without_a_path_takes_no_run() {
    let rate = "{ poisson = \"500k/s\" }";
    let text = text(
        2,
        RUN,
        rate,
        "{ mean = \"8us\", lost = { mean = \"8us\" } }",
    );
    let fabrics = "[[switch]]\nname = \"core\"\nfabric = \"A\"\ndelay = \"0s\"\n[[link]]\n\
                   from = \"core\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n[[link]]";
    let text = text.replace("to = \"box\"", "to = \"core\"");
    let site = site(&text.replacen("[[link]]", fabrics, 1));
    let ask = Ask {
        outages: Some(vec!["A".to_owned()]),
        ..only_healthy()
    };
    let found = headroom(&site, origin(), &ask, &NoProgress);
    let lost = &found.cases[1];
    let because = lost.hopeless.as_ref().map(|found| &found.because);
    assert_eq!(because, Some(&Because::NoPath), "{lost:?}");
    assert_eq!(lost.points, []);
    assert_eq!(lost.today, Some(Verdict::Missed));
    // The parts know of both cases.
    assert!(found.parts.iter().all(|part| part.cases.len() == 2));
    assert!(found.parts.iter().any(|part| part.cases[0].is_some()));
}

/// 1 us of constant service and 16 ps of wire: no interval reaches below that, however few and short the runs are.
#[test]
fn no_interval_reaches_below_what_an_idle_site_takes() {
    let run = "duration = \"60us\"\nwarm_up = \"2us\"\nreplications = 2";
    let mut seen = false;
    for seed in 1..=6 {
        let mut site = station(seed, run, "{ poisson = \"500k/s\" }", "{ mean = \"4us\" }");
        site.arrays[0].write.time = crate::site::Law::Constant(crate::unit::Duration(1_000_000));
        let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
        let rows = found.cases[0].points.iter().flat_map(|point| &point.rows);
        let lows = rows.filter_map(|row| row.cell.value?.low);
        assert!(
            lows.clone().all(|low| low >= 1.0),
            "{:?}",
            lows.collect::<Vec<_>>()
        );
        seen |= found.notes.iter().any(|note| note.contains("ends there"));
    }
    assert!(seen, "one reached below");
}

/// Where no crossing is given it is said why.
#[test]
fn a_crossing_that_is_not_given_has_a_reason() {
    let rate = "{ poisson = \"500k/s\" }";
    for seed in 1..=8 {
        let case = healthy(&station(seed, RUN, rate, "{ mean = \"60us\" }"));
        assert_eq!(
            case.crossing.is_none(),
            case.no_crossing.is_some(),
            "{case:?}"
        );
    }
    let never = healthy(&station(1, RUN, rate, "{ throughput = \"400kB/s\" }"));
    assert_eq!(never.no_crossing, Some(NoCrossing::OneSided));
}
