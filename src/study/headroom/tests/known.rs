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
    let first = by_arithmetic(&site, ask.outages.as_deref());
    assert!(!first[0].cut_off && first[1].cut_off && first[1].full.is_none());
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

/// A throughput that is kept ever better says nothing of where a latency breaks: the crossing is that without it.
#[test]
fn a_throughput_that_is_kept_leaves_the_crossing_where_it_is() {
    let rate = "{ poisson = \"500k/s\" }";
    let run = "duration = \"16ms\"\nwarm_up = \"400us\"\nreplications = 4";
    for seed in 1..=4 {
        let alone = healthy(&station(seed, run, rate, "{ p99 = \"12us\" }"));
        let both = "{ p99 = \"12us\", throughput = \"450kB/s\" }";
        let both = healthy(&station(seed, run, rate, both));
        let (alone, both) = alone.crossing.zip(both.crossing).unwrap_or_else(|| {
            panic!("{:?} {:?}", alone.no_crossing, both.no_crossing);
        });
        // The lower loads bring too little and are left out, so that the runs are not the same.
        assert!((both / alone - 1.0).abs() < 0.06, "{both} {alone}");
    }
}

/// Work that nothing is promised of fills its own array at 1.25 times today's load; what is promised of other work breaks above,
/// and there it is crossed.
#[test]
fn a_part_that_other_work_fills_hides_no_crossing() {
    let rate = "{ poisson = \"200k/s\" }";
    let run = "duration = \"16ms\"\nwarm_up = \"400us\"\nreplications = 4";
    let text = text(1, run, rate, "{ mean = \"5us\" }");
    let cut = |from: &str, to: &str| {
        let at = text.find(from).expect("it is there");
        let end = text[at + 2..]
            .find(to)
            .map_or(text.len(), |end| at + 2 + end);
        text[at..end].to_owned()
    };
    let array = cut("[[array]]", "[[").replace("\"box\"", "\"other\"");
    let link = cut("[[link]]", "[[").replace("\"box\"", "\"other\"");
    let work = cut("[[workload]]", "[[").replace("\"box\"", "\"other\"");
    let work = work.replace("\"w\"", "\"v\"").replace("200k/s", "800k/s");
    let work = work.replace("promise = { mean = \"5us\" }", "");
    let found = healthy(&site(&format!("{text}\n{array}\n{link}\n{work}")));
    let full = found.saturation.expect("an array is full");
    assert!((full - 1.25).abs() < 0.01, "{full}");
    let (met, missed) = (found.met.expect("met"), found.missed.expect("missed"));
    assert!(met < full && missed > 3.0, "{met} {missed}");
    // 1 us ÷ (1 − ρ) = 5 us at ρ = 0.8: four times 200 k/s.
    let crossing = found.crossing.expect("runs beyond keep it");
    assert!((crossing - 4.0).abs() < 0.2, "{crossing}");
}

/// A search that has run these loads: factor, how far from the promise, and what is known of that.
fn searched(points: &[(f64, f64, f64)]) -> Search {
    let site = station(1, RUN, "{ poisson = \"100k/s\" }", "{ p99 = \"8us\" }");
    let fabric = Fabric::new(&site);
    let plan = case::cases(&site, &fabric, Some(&[])).remove(0);
    let judged = |(factor, excess, weight): &(f64, f64, f64)| Judged {
        point: LoadPoint {
            factor: *factor,
            purpose: Purpose::Pilot,
            depths: Vec::new(),
            replications: 4,
            verdict: Verdict::Undecided,
            lengthened_s: None,
            needs_s: None,
            saturated: false,
            partial: false,
            frame_hops: 0,
            rows: Vec::new(),
            fullest: Vec::new(),
            ranked_by: crate::outcome::RankedBy::Mean,
            unseen_bursts: Vec::new(),
        },
        excess: *excess,
        weight: *weight,
        mean: false,
        variance: None,
        short: false,
        starved: false,
        nearest: None,
        in_the_way: None,
        beside: None,
        unwaited_percent: None,
        held: Held::default(),
    };
    Search {
        unlike: false,
        partly_free: Vec::new(),
        certain: None,
        pole: None,
        saturation: Some(10.0),
        depth: None,
        in_bursts: None,
        cliff: 9.9,
        outlook: Outlook::default(),
        promises: 1,
        replications: 4,
        plan,
        points: points.iter().map(judged).collect(),
        today: None,
    }
}

/// The share of late I/Os of a promise that breaks where two links of unlike speed fill: hardly any, then steeply many. A straight line
/// through all of it crosses at a load that runs keep beyond doubt, or is taken for no rise at all.
#[test]
fn a_crossing_lies_where_runs_have_it_beyond_doubt() {
    let site = station(1, RUN, "{ poisson = \"100k/s\" }", "{ p99 = \"8us\" }");
    let scale = Scale::of_load(&site, 16.0);
    let steep = [
        (1.0, -2.9, 100.0),
        (2.0, -2.9, 100.0),
        (4.0, -2.8, 100.0),
        (4.9, -1.0, 400.0),
        (4.95, -0.5, 500.0),
        (5.01, 0.5, 900.0),
        (5.11, 2.9, 9_000.0),
    ];
    // The hole of a slow link: all that is known of the line is what lies above.
    let hole = [(0.3, 2.0, 5_000.0), (0.8, 1.0, 4_000.0), (1.0, -2.9, 10.0)];
    let hole = hole
        .into_iter()
        .chain(steep[1..].iter().copied())
        .collect::<Vec<_>>();
    // As many far below as to make it look flat.
    let flat = [(4.6, 2.0, 1.0), (4.7, 2.9, 1.0), (4.8, 2.9, 1.0)];
    let flat = flat
        .into_iter()
        .chain(steep[3..].iter().copied())
        .collect::<Vec<_>>();
    for points in [&steep[..], &hole, &flat] {
        let case = answer(&site, searched(points), &scale, 16.0);
        let crossing = case.crossing;
        let between = crossing.is_some_and(|own| (4.95..=5.01).contains(&own));
        // Nothing is proven here, so that none may be given; never one that runs contradict.
        let outside = match case.no_crossing {
            Some(NoCrossing::Outside { factor }) => (4.95..=5.01).contains(&factor),
            _ => false,
        };
        assert!(between || outside, "{crossing:?} {:?}", case.no_crossing);
    }
}

#[test]
fn an_outage_that_is_proven_further_than_healthy_is_no_better() {
    let mut cases = crate::render::sample::sample_headroom().cases;
    let said = |cases: &[CaseHeadroom]| {
        let notes = super::super::answer::notes_of_cases(cases, Held::default());
        notes
            .into_iter()
            .find(|note| note.contains("proven further"))
    };
    assert_eq!(said(&cases), None);
    (cases[0].met, cases[0].missed) = (Some(2.59), Some(2.93));
    (cases[1].met, cases[1].missed) = (Some(2.60), Some(2.95));
    let text = said(&cases).expect("it is further");
    assert!(text.starts_with(&cases[1].case.name), "{text}");
    cases[0].missed = Some(2.60);
    assert_eq!(said(&cases), None);
}
