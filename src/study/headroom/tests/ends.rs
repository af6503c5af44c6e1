//! What is said of today's load, of whole numbers, of flat curves and of the part that ends a case.

use super::*;
use crate::outcome::LoopDepth;
use crate::study::headroom::edge::proven_ends;

/// Half of all I/Os take longer than ln 2 us on an exponential server that is free, at any load at which hardly any waits;
/// when eight servers are 95 % busy today, most wait: P(wait) of M/M/8 is about 0.8 there, for 1 ÷ (8 − 7.6) us on the mean.
#[test]
fn a_load_that_is_missed_today_is_proven_to_be() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 6";
    for seed in 1..=6 {
        let rate = "{ poisson = \"7600k/s\" }";
        let mut site = station(seed, run, rate, "{ p50 = \"693.147ns\" }");
        site.arrays[0].parallel = 8;
        let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
        let case = &found.cases[0];
        assert_eq!(case.today, Some(Verdict::Missed), "seed {seed}: {case:?}");
        assert!(case.missed.is_some_and(|missed| missed <= 1.0));
    }
}

#[test]
fn today_is_tested_on_the_side_where_the_pilot_runs_have_it_and_not_twice() {
    let jobs = |found: &Search| today_proof(found, &Scale::Load);
    let over = search(&[(0.1, -0.1), (0.2, 0.1), (1.0, 3.0)]);
    assert_eq!(jobs(&over), [(1.0, Purpose::ProveMissed)]);
    let under = search(&[(0.5, -0.1), (1.0, -0.1), (1.5, 1.0)]);
    assert_eq!(jobs(&under), [(1.0, Purpose::ProveMet)]);
    let tested = |factor: f64, purpose, verdict| {
        let mut found = search(&[(0.5, -1.0), (1.0, 2.0)]);
        let mut test = judged(factor, 0.0);
        test.point.purpose = purpose;
        test.point.verdict = verdict;
        found.points.push(test);
        jobs(&found)
    };
    // What is proven already tells of it.
    assert!(tested(0.9, Purpose::ProveMissed, Verdict::Missed).is_empty());
    assert!(tested(1.2, Purpose::ProveMet, Verdict::Met).is_empty());
    assert_eq!(tested(1.2, Purpose::ProveMissed, Verdict::Missed).len(), 1);
    assert!(tested(1.0, Purpose::ProveMissed, Verdict::Undecided).is_empty());
    // Over unlike ways more load may keep what less breaks: only a test of today's own tells of it.
    for (factor, wanted) in [(0.9, vec![(1.0, Purpose::ProveMissed)]), (1.0, vec![])] {
        let mut found = search(&[(0.5, -1.0), (1.0, 2.0)]);
        found.unlike = true;
        let mut test = judged(factor, 1.0);
        (test.point.purpose, test.point.verdict) = (Purpose::ProveMissed, Verdict::Missed);
        found.points.push(test);
        assert_eq!(jobs(&found), wanted, "{factor}");
    }
    // That less is asked for than is promised is known by arithmetic.
    let mut short = search(&[(1.0, 0.3), (1.5, -0.1)]);
    short.points[0].short = true;
    short.outlook.floor = Some(crate::outcome::Floor {
        workload: "w".into(),
        target_text: "2MB/s".into(),
        factor: 1.2,
        short: None,
        step: None,
        asked_mb_s: Some(1.7),
    });
    assert!(jobs(&short).is_empty());
    // Of a closed loop only runs know it; that too little is brought today is no load that is too much.
    short.outlook.floor = None;
    assert_eq!(jobs(&short), [(1.0, Purpose::ProveMissed)]);
    // A load above that brings enough does not tell of it.
    let mut more = judged(1.5, -0.1);
    (more.point.purpose, more.point.verdict) = (Purpose::ProveMet, Verdict::Met);
    short.points.push(more);
    assert_eq!(jobs(&short), [(1.0, Purpose::ProveMissed)]);
    let mut test = judged(1.0, 0.3);
    (test.short, test.point.purpose) = (true, Purpose::ProveMissed);
    test.point.verdict = Verdict::Missed;
    short.points.push(test);
    assert_eq!(proven_ends(&short), (Some(1.5), None));
}

/// Two outstanding on eight servers of 1 us bring 2 bytes a microsecond, one for each I/O, 2 MB/s; four bring 4 MB/s.
#[test]
fn a_closed_loop_that_brings_too_little_today_is_missed_today() {
    let run = "duration = \"2ms\"\nwarm_up = \"200us\"\nreplications = 6";
    let rate = "{ closed = { depth = 2 } }";
    let mut site = station(4, run, rate, "{ throughput = \"3MB/s\" }");
    site.arrays[0].parallel = 8;
    site.hosts[0].queue_depth = None;
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!(case.today, Some(Verdict::Missed), "{case:?}");
    assert!(case.met.is_some_and(|met| met > 1.0), "{case:?}");
    let above = |missed: f64| case.met.is_some_and(|met| missed > met);
    assert!(case.missed.is_none_or(above), "{case:?}");
    assert!(case.floor.is_some());
}

/// Orders end at their own server, 0.5 full today; what is fullest besides is the server of other work, 0.45 full today, far from the
/// way of the orders: that is the next.
#[test]
fn the_next_part_is_that_of_any_work_that_is_judged() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 6";
    let first = text(3, run, "{ poisson = \"500k/s\" }", "{ p90 = \"8us\" }");
    let other = first[first.find("[[host]]").expect("a host")..]
        .replace("\"app\"", "\"batch\"")
        .replace("\"box\"", "\"tub\"")
        .replace("\"w\"", "\"v\"")
        .replace("500k/s", "450k/s")
        .replace("8us", "1ms");
    let site = site(&format!("{first}{other}"));
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    let named = |part: &Option<crate::outcome::PartLoad>| part.as_ref().map(|own| own.part.clone());
    assert_eq!(
        case.breaks.as_ref().map(|own| own.workload.as_str()),
        Some("w")
    );
    assert_eq!(named(&case.ends).as_deref(), Some("box controllers"));
    assert_eq!(
        named(&case.next).as_deref(),
        Some("tub controllers"),
        "{case:?}"
    );
}

/// A promise in `lost` alone: nothing is looked for while all is well, and nothing is said to be missing there.
#[test]
fn a_case_without_a_promise_has_no_verdict() {
    let run = "duration = \"2ms\"\nwarm_up = \"200us\"\nreplications = 4";
    let rate = "{ poisson = \"500k/s\" }";
    let fabrics = "[[switch]]\nname = \"core\"\nfabric = \"each\"\ndelay = \"0s\"\n[[link]]\n\
                   from = \"core\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n[[link]]";
    let text = text(2, run, rate, "{ lost = { mean = \"8us\" } }");
    let text = text.replace("to = \"box\"", "to = \"core\"");
    let site = site(&text.replacen("[[link]]", fabrics, 1));
    let ask = Ask {
        outages: Some(vec!["A".to_owned()]),
        ..only_healthy()
    };
    let found = headroom(&site, origin(), &ask, &NoProgress);
    let (healthy, lost) = (&found.cases[0], &found.cases[1]);
    assert_eq!(
        (healthy.today, healthy.met, healthy.missed),
        (None, None, None)
    );
    // Only the parts at today's load are wanted.
    assert_eq!(healthy.points.len(), 1);
    assert_eq!(lost.today, Some(Verdict::Met), "{lost:?}");
    assert_eq!(found.promises().len(), 1);
    assert_eq!(found.breaks_first(), Some(0));
}

/// No load keeps what an idle site takes longer for: then no part ends it.
#[test]
fn no_part_ends_what_no_load_keeps() {
    let run = "duration = \"2ms\"\nwarm_up = \"200us\"\nreplications = 4";
    let site = station(5, run, "{ poisson = \"500k/s\" }", "{ mean = \"900ns\" }");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert!(case.hopeless.is_some());
    assert_eq!((&case.ends, &case.next), (&None, &None));
}

/// 1 ÷ 40 of what eight servers carry: half of the I/Os take longer than ln 2 us up to some twenty times that, and far more of
/// them where eight servers are 95 % busy, at the most that is looked at.
#[test]
fn above_a_flat_curve_it_is_looked_for_what_breaks_the_promise() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 6";
    for seed in 1..=6 {
        let rate = "{ poisson = \"200k/s\" }";
        let mut site = station(seed, run, rate, "{ p50 = \"693.147ns\" }");
        site.arrays[0].parallel = 8;
        let ask = Ask {
            most: 38.0,
            ..only_healthy()
        };
        let found = headroom(&site, origin(), &ask, &NoProgress);
        let case = &found.cases[0];
        let missed = case.missed.expect("eight servers are full at forty times");
        assert!(missed <= 38.0 * 1.35, "seed {seed}: {missed}");
    }
}

/// Depth 4 on one server of 1 us: 4 us; a promise of 9.5 us ends between depths 9 and 10.
#[test]
fn closed_loops_are_counted_in_whole_depths() {
    let run = "duration = \"8ms\"\nwarm_up = \"800us\"\nreplications = 6";
    let closed = station(3, run, "{ closed = { depth = 4 } }", "{ mean = \"9.5us\" }");
    let found = headroom(&closed, origin(), &only_healthy(), &NoProgress);
    let deepest = LoopDepth {
        workload: "w".to_owned(),
        depth: 4,
    };
    assert_eq!(found.grows.depth, Some(deepest));
    let case = &found.cases[0];
    assert_eq!((case.met, case.missed), (Some(9.0 / 4.0), Some(10.0 / 4.0)));
    let mut ran = Vec::new();
    for point in &case.points {
        let [own] = &point.depths[..] else {
            panic!("{point:?}")
        };
        assert_eq!(f64::from(own.depth), point.factor * 4.0);
        let key = (own.depth, format!("{:?}", point.purpose));
        assert!(!ran.contains(&key), "{key:?} ran twice");
        ran.push(key);
    }
    // Beside open work a factor is a load, and what the loop ran with is told.
    let open = "[[workload]]\nname = \"open\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
                request = 1\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = { poisson = \"1k/s\" }\n";
    let text = text(3, run, "{ closed = { depth = 3 } }", "{ mean = \"9.5us\" }") + open;
    let scale = Scale::of_load(&site(&text), 16.0);
    assert!(matches!(scale, Scale::Load));
    let mixed = scaled(&site(&text), 1.5);
    assert_eq!(scale::depths(&mixed)[0].depth, 5, "4.5, rounded");
}

/// Each host brings 50k/s to one exponential server of 1 us: the p90 of 8 us holds up to 712k/s, so for 14 hosts and not for 15.
#[test]
fn whole_numbers_next_to_what_is_proven_are_tested_while_tests_are_left() {
    for seed in [3, 4, 5] {
        let run = "duration = \"8ms\"\nwarm_up = \"800us\"\nreplications = 6";
        let with = |count: u32| {
            let rate = "{ poisson = \"50k/s\", per = \"host\" }";
            let mut site = station(seed, run, rate, "{ p90 = \"8us\" }");
            site.hosts[0].count = count;
            site.hosts[0].numbered = crate::site::Numbered::Yes;
            Ok(site)
        };
        let hosts = Hosts {
            family: "app",
            what: "app",
            today: 4,
            with: &with,
        };
        let site = with(4).unwrap();
        let found = headroom_in_hosts(&site, &hosts, origin(), &only_healthy(), &NoProgress);
        let case = &found.cases[0];
        let tests = |purpose: Purpose| {
            let own = case.points.iter().filter(move |own| own.purpose == purpose);
            own.map(|own| own.factor).collect::<Vec<f64>>()
        };
        let (met, missed) = (case.met.expect("some"), case.missed.expect("some"));
        assert!(met <= 14.0 / 4.0 && missed >= 15.0 / 4.0, "{met} {missed}");
        for (purpose, next) in [
            (Purpose::ProveMet, met + 0.25),
            (Purpose::ProveMissed, missed - 0.25),
        ] {
            let tests = tests(purpose);
            assert!(tests.len() <= TESTS, "{tests:?}");
            let known = tests.contains(&next) || met + 0.25 == missed;
            assert!(known || tests.len() == TESTS, "{purpose:?} {tests:?}");
        }
    }
}

#[test]
fn neighbours_are_those_that_nothing_was_said_of() {
    let with = |_: u32| Err("not asked for".to_owned());
    let scale = Scale::Hosts {
        hosts: Hosts {
            family: "app",
            what: "app",
            today: 10,
            with: &with,
        },
        limit: 30,
        reason: None,
    };
    let test = |count: f64, purpose, verdict| {
        let mut test = judged(count / 10.0, 0.0);
        (test.point.purpose, test.point.verdict) = (purpose, verdict);
        test.point.replications = 8;
        test
    };
    let mut found = search(&[]);
    found.points = vec![
        test(11.0, Purpose::ProveMet, Verdict::Met),
        test(15.0, Purpose::ProveMissed, Verdict::Missed),
    ];
    let jobs = neighbours(&found, &scale, 3.0);
    assert_eq!(
        jobs,
        [(1.2, Purpose::ProveMet), (1.4, Purpose::ProveMissed)]
    );
    // One number between is tested for one end, then for the other.
    found.points[1] = test(13.0, Purpose::ProveMissed, Verdict::Missed);
    assert_eq!(neighbours(&found, &scale, 3.0), [(1.2, Purpose::ProveMet)]);
    found
        .points
        .push(test(12.0, Purpose::ProveMet, Verdict::Undecided));
    let jobs = neighbours(&found, &scale, 3.0);
    assert_eq!(jobs, [(1.2, Purpose::ProveMissed)]);
    found
        .points
        .push(test(12.0, Purpose::ProveMissed, Verdict::Undecided));
    assert!(neighbours(&found, &scale, 3.0).is_empty());
    // What fewer replications left open is tested again.
    found.points[2].point.replications = 4;
    assert_eq!(neighbours(&found, &scale, 3.0), [(1.2, Purpose::ProveMet)]);
    assert!(neighbours(&found, &Scale::Load, 3.0).is_empty());
}

/// Two arrays of one server of 1 us each: `w` asks for a fifth of the first and promises something, `bulk` for nine tenths of the
/// second and promises nothing. The hosts' places: 64 ÷ (1 us and two frames of 10 ns) let 62.7 million a second through.
#[test]
fn the_part_that_ends_it_is_used_by_the_work_that_is_promised_and_depths_are_parts() {
    let run = "duration = \"20ms\"\nwarm_up = \"1ms\"\nreplications = 6";
    let more = "[[array]]\nname = \"other\"\ncontrollers = 1\nparallel = 1\n\
        write = { time = \"1us\" }\n[[link]]\nfrom = \"app\"\nto = \"other\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
        [[workload]]\nname = \"bulk\"\nhosts = \"app\"\narray = \"other\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1\n\
        frame = 1250\nread = \"0%\"\narrivals = { poisson = \"600k/s\" }\n";
    let text = text(3, run, "{ poisson = \"200k/s\" }", "{ p90 = \"8us\" }")
        .replace("name = \"app\"", "name = \"app\"\nqueue_depth = 64");
    let both = site(&(text + more));
    let ask = Ask {
        most: 1.5,
        ..only_healthy()
    };
    let found = headroom(&both, origin(), &ask, &NoProgress);
    let case = &found.cases[0];
    assert_eq!((case.met, case.missed), (Some(1.5), None));
    let ends = case.ends.as_ref().expect("there is a part");
    assert_eq!(ends.part, "box controllers", "{ends:?}");
    for (name, rate) in [("w", 0.2), ("bulk", 0.6)] {
        let wanted = format!("queue depth of the hosts of {name}");
        let part = found.parts.iter().find(|part| part.part == wanted);
        let used = part.expect("it has a depth").cases[0].as_ref().unwrap();
        // Frames of 1 byte at 1000 Gb/s are 8 ps each way.
        let by_hand = 100.0 * rate / (64.0 / 1.000_016);
        assert!((used.mean_percent / by_hand - 1.0).abs() < 1e-3, "{used:?}");
    }
}

/// Two arrays, each with work that is promised something, one nearer its limit and the other fuller: where nothing breaks the fullest
/// is named, whoever is nearest.
#[test]
fn where_nothing_breaks_the_fullest_part_of_all_promised_work_is_named() {
    let run = "duration = \"20ms\"\nwarm_up = \"1ms\"\nreplications = 6";
    let more = "[[array]]\nname = \"other\"\ncontrollers = 1\nparallel = 1\n\
        write = { time = \"1us\" }\n[[link]]\nfrom = \"app\"\nto = \"other\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
        [[workload]]\nname = \"bulk\"\nhosts = \"app\"\narray = \"other\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1\n\
        frame = 1250\nread = \"0%\"\narrivals = { poisson = \"600k/s\" }\npromise = { p90 = \"1ms\" }\n";
    let text = text(3, run, "{ poisson = \"200k/s\" }", "{ p90 = \"8us\" }");
    let ask = Ask {
        most: 1.5,
        ..only_healthy()
    };
    let found = headroom(&site(&(text + more)), origin(), &ask, &NoProgress);
    let case = &found.cases[0];
    assert_eq!((case.met, case.missed), (Some(1.5), None));
    let ends = case.ends.as_ref().expect("there is a part");
    assert_eq!(ends.part, "other controllers", "{ends:?}");
}

/// A link shared with evenly spaced frames is fuller than the one exponential server, and costs no time: M/M/1 of 10 us, p90 at
/// 82 us, is busy for 1 − ln(10) × 10 ÷ 82 = 0.719 of the time at the edge, 1.199 times today's 60,000 a second.
#[test]
fn the_part_that_ends_it_is_the_one_that_the_work_waits_for() {
    let text = r#"
format = 1
[run]
duration = "60ms"
warm_up = "3ms"
replications = 8
[[host]]
name = "app"
[[switch]]
name = "core"
fabric = "A"
delay = "0s"
[[array]]
name = "box"
controllers = 1
parallel = 1
read = { hit = "100%", hit_time = { exponential = "10us" } }
[[array]]
name = "other"
controllers = 1
parallel = 100
read = { hit = "100%", hit_time = "0s" }
[[link]]
from = "app"
to = "core"
speed = "10Gb/s"
propagation = "0s"
[[link]]
from = "core"
to = "box"
speed = "1000Gb/s"
propagation = "0s"
[[link]]
from = "core"
to = "other"
speed = "1000Gb/s"
propagation = "0s"
[[workload]]
name = "w"
hosts = "app"
array = "box"
protocol = "plain"
request = 1
response = 1
frame = 1250
read = "100%"
arrivals = { poisson = "60k/s" }
promise = { p90 = "82us" }
[[workload]]
name = "bg"
hosts = "app"
array = "other"
protocol = "plain"
request = 1
response = 1250
frame = 1250
read = "100%"
arrivals = { paced = "700k/s" }
"#;
    let found = headroom(&site(text), origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    let ends = case.ends.as_ref().expect("there is a part");
    assert_eq!(ends.part, "box controllers", "{case:?}");
    let next = case.next.as_ref().expect("there is another");
    assert_eq!(next.part, "core to app, 10Gb/s");
    assert!(next.peak_percent > ends.mean_percent, "{next:?} {ends:?}");
    // Where no promise broke nothing is in the way: what is named is the fullest, whatever the work waits for.
    let ask = Ask {
        most: 1.05,
        ..only_healthy()
    };
    let found = headroom(&site(text), origin(), &ask, &NoProgress);
    let case = &found.cases[0];
    assert_eq!((case.missed, case.unwaited_percent), (None, None));
    let parts = case.ends.as_ref().zip(case.next.as_ref());
    let (fullest, next) = parts.expect("there are two");
    assert_eq!(fullest.part, "core to app, 10Gb/s", "{case:?}");
    assert!(fullest.mean_percent > next.mean_percent, "{case:?}");
}

/// Ports that are too few today already end nothing; those that more hosts take do.
#[test]
fn a_port_budget_that_is_exceeded_today_is_known_by_its_switch() {
    let with = |count: u32| {
        Ok(site(&format!(
            "format = 1\n[[host]]\nname = \"app\"\ncount = {count}\n\
             [[switch]]\nname = \"core\"\nfabric = \"each\"\nports = {{ \"32GFC\" = 2 }}\n\
             [[switch]]\nname = \"san\"\nfabric = \"each\"\nports = {{ \"16GFC\" = 1, \"32GFC\" = 8 }}\n\
             [[array]]\nname = \"store\"\ncontrollers = 1\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
             [[link]]\nfrom = \"core\"\nto = \"san\"\nspeed = \"32GFC\"\nmembers = {count}\n\
             [[link]]\nfrom = \"san\"\nto = \"store\"\nspeed = \"32GFC\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"fc-scsi\"\n\
             arrivals = {{ poisson = \"10k/s\", per = \"host\" }}\nsizes = \"8KiB\"\n"
        )))
    };
    let hosts = Hosts {
        family: "app",
        what: "app",
        today: 3,
        with: &with,
    };
    let built = |count: u32| within_budgets(&with(3).unwrap(), &hosts, |own| (own.with)(count));
    assert!(built(3).is_ok() && built(7).is_ok());
    let why = built(8).expect_err("nine ports of eight");
    assert!(
        why.starts_with("port budget, san-A and san-B: 9 ports of 32GFC"),
        "{why}"
    );
}

/// What is still to come is told with every stage, and is nothing once the search is over.
#[test]
fn whoever_waits_is_told_how_much_is_to_come() {
    #[derive(Default)]
    struct Told(std::sync::Mutex<(u64, u64, Vec<u64>)>);
    impl Progress for Told {
        fn planned(&self, runs: u64) {
            self.0.lock().unwrap().0 += runs;
        }
        fn advanced(&self, _events: u64) {}
        fn run_done(&self) {
            self.0.lock().unwrap().1 += 1;
        }
        fn ahead(&self, runs: u64) {
            self.0.lock().unwrap().2.push(runs);
        }
    }
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 6";
    let site = station(3, run, "{ poisson = \"500k/s\" }", "{ p90 = \"8us\" }");
    let told = Told::default();
    let found = headroom(&site, origin(), &only_healthy(), &told);
    assert!(found.cases[0].met.is_some());
    let (planned, done, ahead) = told.0.into_inner().unwrap();
    assert_eq!(planned, done);
    assert_eq!(ahead.last(), Some(&0));
    // Five rounds of three, two tests of six for each end.
    assert_eq!(ahead[0], 5 * 3 + 2 * 2 * 6);
    assert!(ahead.is_sorted_by(|left, right| left >= right), "{ahead:?}");
}

/// A limit that cuts every run leaves nothing to prove: the first loads say so, and no others are run.
#[test]
fn a_search_ends_where_a_limit_cuts_every_run() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 4\nevents_max = 500";
    let site = station(5, run, "{ poisson = \"500k/s\" }", "{ p90 = \"8us\" }");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert!(found.is_cut() && (case.met, case.missed) == (None, None));
    let first =
        |point: &crate::outcome::LoadPoint| point.purpose == Purpose::Pilot && point.partial;
    assert!(case.points.iter().all(first), "{case:?}");
    assert!(case.points.len() <= 4, "{} loads", case.points.len());
    let said = |note: &String| note.ends_with("all of whose runs the limit cut: healthy");
    assert!(found.notes.iter().any(said), "{:?}", found.notes);
}
