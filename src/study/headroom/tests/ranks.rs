//! Which part ends a case that bursts end, and which come after it.

use super::*;
use crate::outcome::{PartUse, RankedBy, UseInCase};
use crate::site::Law;
use crate::study::headroom::ranks::{beside_it, fullest};
use crate::unit::Duration;

/// Half a period 60k/s, half of it 20k/s, to a server of `service` ps over a link of 8 us: where that is 10 us: at 1.67 times as much the
/// bursts fill the server, whose mean is two thirds then. Beside it 30k/s that come evenly, to a server of their own of 14 us: 70 % busy
/// at that load, always.
fn in_bursts(service: u64) -> Site {
    let speed = "1Mb/s";
    let run = "duration = \"420ms\"\nwarm_up = \"20ms\"\nreplications = 4";
    let rate = "{ bursty = { peak = \"60k/s\", mean = \"40k/s\", burst = \"40ms\", every = \"80ms\", together = true, law = \"fixed\" } }";
    let first = text(3, run, rate, "{ p90 = \"1ms\" }").replace("1000Gb/s", speed);
    let other = first[first.find("[[host]]").expect("a host")..]
        .replace("\"app\"", "\"batch\"")
        .replace("\"box\"", "\"tub\"")
        .replace("\"w\"", "\"v\"")
        .replace(rate, "{ paced = \"30k/s\" }")
        .replace(speed, "1000Gb/s");
    let mut site = site(&format!("{first}{other}"));
    site.arrays[0].write.time = Law::Constant(Duration(service));
    site.arrays[1].write.time = Law::Constant(Duration(14_000_000));
    site
}

/// One byte at 1 Mb/s takes 8 us: the link is asked for 80 % of what the server is at any moment, 55 % on the mean where the evenly
/// paced server is 70 % busy: in the burst that ends it the link comes next, on the mean it would be the other server.
#[test]
fn what_bursts_end_is_ranked_by_the_busiest_moment() {
    let found = headroom(
        &in_bursts(10_000_000),
        origin(),
        &only_healthy(),
        &NoProgress,
    );
    let case = &found.cases[0];
    let next = case.next.as_ref().expect("there are three");
    let ends = case.ends.as_ref().expect("a promise broke");
    assert_eq!(
        (ends.part.as_str(), case.ranked_by),
        ("box controllers", RankedBy::Busiest),
        "{case:?}"
    );
    assert!(
        ends.peak_percent > 100.0 && ends.mean_percent < 80.0,
        "{ends:?}"
    );
    let end = case
        .points
        .iter()
        .rfind(|point| Some(point.factor) == case.missed);
    let other = end.map(|point| point.fullest.clone()).unwrap_or_default();
    let other = other.iter().find(|part| part.part == "tub controllers");
    let other = other.expect("it is one of three");
    assert!(
        next.part.starts_with("app to box") || next.part.starts_with("box to app"),
        "{case:?}"
    );
    assert!(
        next.peak_percent > other.peak_percent && next.mean_percent < other.mean_percent,
        "{next:?} {other:?}"
    );
    assert_eq!(case.beside, None, "a fifth less is no tenth: {case:?}");
}

/// Where the server takes 8.5 us, the 8 us of the link are within a tenth of it.
#[test]
fn parts_that_are_about_equally_full_are_both_named() {
    let found = headroom(
        &in_bursts(8_500_000),
        origin(),
        &only_healthy(),
        &NoProgress,
    );
    let case = &found.cases[0];
    let both: Vec<&str> = [&case.ends, &case.beside]
        .into_iter()
        .flatten()
        .map(|part| part.part.split(',').next().unwrap_or_default())
        .collect();
    assert_eq!(both.len(), 2, "{case:?}");
    assert!(both.contains(&"box controllers"), "{both:?}");
    let next = case.next.as_ref().map(|part| part.part.as_str());
    assert_eq!(next, Some("tub controllers"), "{case:?}");
}

#[test]
fn a_part_is_about_as_full_from_nine_tenths_on() {
    let part = |name: &str, mean: f64, peak: f64| PartUse {
        part: name.to_owned(),
        detail: String::new(),
        tier: name.to_owned(),
        cases: vec![Some(UseInCase {
            instance: name.to_owned(),
            mean_percent: mean,
            asked_mean_percent: None,
            peak_percent: peak,
            member_peak_percent: peak,
            fullest_member_share_percent: 100.0,
        })],
    };
    let uses = [
        part("one", 50.0, 110.0),
        part("two", 49.0, 98.0),
        part("three", 60.0, 70.0),
    ];
    let names = |by: RankedBy| {
        let all = fullest(&uses, by).into_iter();
        all.map(|part| part.part).collect::<Vec<_>>()
    };
    assert_eq!(names(RankedBy::Busiest), ["one", "two", "three"]);
    assert_eq!(names(RankedBy::Mean), ["three", "one", "two"]);
    let first = fullest(&uses, RankedBy::Busiest).remove(0);
    // 98 are less than nine tenths of 110, and 99 are not.
    assert_eq!(beside_it(&uses, &first, RankedBy::Busiest, &|_| None), None);
    let nearer = [uses[0].clone(), part("two", 49.0, 99.0)];
    let beside = beside_it(&nearer, &first, RankedBy::Busiest, &|_| None);
    assert_eq!(beside.map(|part| part.part).as_deref(), Some("two"));
    // Where the mean decides, a part that the work hardly waits for ends nothing.
    let waits = |two: f64| move |name: &str| Some(if name == "two" { two } else { 50.0 });
    let by_mean = |two: f64| {
        let first = fullest(&nearer, RankedBy::Mean).remove(0);
        beside_it(&nearer, &first, RankedBy::Mean, &waits(two)).map(|part| part.part)
    };
    assert_eq!(by_mean(5.0).as_deref(), Some("two"));
    assert_eq!(by_mean(4.9), None);
    // A part that is asked for more than it can do is full, whatever few bursts left of that in the runs; what is asked for less is as the runs had it.
    let mut asked = [part("one", 79.7, 90.0)];
    for (percent, told) in [(100.5, 100.0), (99.0, 79.7)] {
        if let Some(own) = &mut asked[0].cases[0] {
            own.asked_mean_percent = Some(percent);
        }
        let first = fullest(&asked, RankedBy::Mean).remove(0);
        assert!((first.mean_percent - told).abs() < 1e-9, "{first:?}");
    }
}
