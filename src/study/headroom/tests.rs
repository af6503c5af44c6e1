use super::edge::{crossing, edge};
use super::spread::distance;
use super::*;
use crate::outcome::{Because, Bound, Case, Verdict};
use crate::study::NoProgress;
use crate::study::sample::{origin, site, site_with};
use crate::theory::single_queue::exponential_sojourn_quantile;

/// One exponential server of 1 us behind a link that takes 16 ps for an I/O there and back.
pub(super) fn station(seed: u32, run: &str, rate: &str, promise: &str) -> Site {
    site(&text(seed, run, rate, promise))
}

fn text(seed: u32, run: &str, rate: &str, promise: &str) -> String {
    format!(
        "format = 1\n[run]\nseed = {seed}\n{run}\n[[host]]\nname = \"app\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\n\
         write = {{ time = {{ exponential = \"1us\" }} }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = 1\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {rate}\n\
         promise = {promise}\n"
    )
}

pub(super) fn only_healthy() -> Ask {
    Ask {
        outages: Some(Vec::new()),
        most: 16.0,
        switch_overs: false,
    }
}

/// M/M/1, half full today: the p90 of the sojourn is −ln(0.1) ÷ (1 − ρ) us (Kleinrock, *Queueing Systems*,
/// vol. 1, chapter 3, from memory), so a promise of 8 us ends at ρ = 1 + ln(0.1) ÷ 8 = 0.712177, a load factor
/// of 1.424354; the 16 ps of the link move it by less than 2 in a million. The statement is one of 95 %: of
/// 100 seeds at least 89 must be right (a binomial with 0.95 falls below that with a chance of 0.4 %).
#[test]
fn the_bracket_holds_the_exact_answer_of_a_single_server() {
    let truth = 2.0 * (1.0 + libm::log(0.1) / 8.0);
    let quantile = exponential_sojourn_quantile(0.5 * truth, 1.0, 0.9).unwrap();
    assert!((quantile - 8.0).abs() < 1e-9, "{quantile}");
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 10";
    let (mut right, mut both, mut narrow) = (0, 0, 0.0);
    for seed in 1..=100 {
        let site = station(seed, run, "{ poisson = \"500k/s\" }", "{ p90 = \"8us\" }");
        let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
        let case = &found.cases[0];
        let below = case.met.is_none_or(|met| met <= truth);
        let above = case.missed.is_none_or(|missed| missed > truth);
        right += u32::from(below && above);
        if let (Some(met), Some(missed)) = (case.met, case.missed) {
            both += 1;
            narrow += missed / met - 1.0;
        }
    }
    assert!(right >= 89, "{right} of 100");
    // Saying nothing is right too: it must say something nearly always, and something of use.
    assert!(both >= 95, "{both} of 100 brackets have two ends");
    let narrow = narrow / f64::from(both);
    assert!(narrow < 0.25, "brackets are {narrow} wide");
}

/// The factor of an exact answer: where the share above the target reaches `allowed`, by halving.
pub(super) fn edge_of(share: impl Fn(f64) -> f64, allowed: f64, full: f64) -> f64 {
    let (mut low, mut high) = (full * 1e-6, full * (1.0 - 1e-9));
    for _ in 0..100 {
        let middle = f64::midpoint(low, high);
        if share(middle) <= allowed {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// Of 100 seeds, how many statements about a case are right, how many have both ends, and how wide those are.
///
/// # Panics
/// Where fewer than 89 are right, fewer than 95 have both ends, or those are wider than `widest` on the mean.
fn statements(sites: impl Fn(u32) -> Site, outages: &[String], truths: &[f64], widest: &[f64]) {
    let ask = Ask {
        outages: Some(outages.to_vec()),
        most: 16.0,
        switch_overs: false,
    };
    let mut right = vec![0; truths.len()];
    let mut both = vec![0; truths.len()];
    let mut wide = vec![0.0; truths.len()];
    for seed in 1..=100 {
        let site = sites(seed);
        let found = headroom(&site, origin(), &ask, &NoProgress);
        assert_eq!(found.cases.len(), truths.len());
        for (index, (case, truth)) in found.cases.iter().zip(truths).enumerate() {
            let below = case.met.is_none_or(|met| met <= *truth);
            let above = case.missed.is_none_or(|missed| missed > *truth);
            right[index] += i32::from(below && above);
            if let Some((met, missed)) = case.met.zip(case.missed) {
                both[index] += 1;
                wide[index] += missed / met - 1.0;
            }
        }
    }
    for (index, (truth, widest)) in truths.iter().zip(widest).enumerate() {
        assert!(right[index] >= 89, "{} of 100 about {truth}", right[index]);
        assert!(both[index] >= 95, "{} of 100 have ends", both[index]);
        let wide = wide[index] / f64::from(both[index]);
        assert!(wide < *widest, "brackets about {truth} are {wide} wide");
    }
}

/// M/D/1, half full today, 1 us of service: the share above 5 us of latency is that of a wait above 4 us, which
/// reaches 1 % where `theory` (Crommelin's series) says so. As for M/M/1, 89 of 100 statements must be right.
#[test]
fn the_bracket_holds_the_exact_answer_of_constant_service() {
    let beyond = |factor: f64| {
        let wait = crate::theory::single_queue::constant_wait(0.5 * factor, 1.0);
        wait.expect("below saturation").wait_beyond(4.0)
    };
    let truth = edge_of(beyond, 0.01, 2.0);
    assert!((beyond(truth) - 0.01).abs() < 1e-6);
    let run = "duration = \"10ms\"\nwarm_up = \"300us\"\nreplications = 8";
    let constant = |seed| {
        let mut site = station(seed, run, "{ poisson = \"500k/s\" }", "{ p99 = \"5us\" }");
        site.arrays[0].write.time = crate::site::Law::Constant(crate::unit::Duration(1_000_000));
        site
    };
    statements(constant, &[], &[truth], &[0.25]);
}

/// Four exponential servers of 1 us behind one queue, two on each fabric, a quarter full today; with A lost there are
/// two, half full. P(T > t) of M/M/c = e^(−t) [1 + C (1 − e^(−(c − 1 − a) t)) ÷ (c − 1 − a)] with Erlang's C and a
/// servers' worth of work (Gross and Harris, *Fundamentals of Queueing Theory*, chapter 2, from memory; for one
/// server it is e^(−(1 − a) t)). The promise of 4 us for 90 % ends where that is 0.1.
#[test]
fn the_bracket_holds_the_exact_answer_of_several_servers_and_of_half_of_them() {
    let beyond = |servers: usize, load: f64, time: f64| {
        let waits = crate::theory::many_servers::erlang_c(servers, load).expect("it fits");
        let rest = servers as f64 - 1.0 - load;
        let queued = if rest.abs() < 1e-9 {
            time
        } else {
            (1.0 - libm::exp(-rest * time)) / rest
        };
        libm::exp(-time) * (1.0 + waits * queued)
    };
    assert!((beyond(1, 0.5, 3.0) - libm::exp(-1.5)).abs() < 1e-12);
    let truths =
        [4_usize, 2].map(|servers| edge_of(|load| beyond(servers, load, 4.0), 0.1, servers as f64));
    // Half the servers carry less than half the work: the larger group is used better.
    assert!(truths[0] > 2.0 * truths[1], "{truths:?}");
    // Short runs, so that a hundred seeds take a minute; the brackets are wide accordingly, with A lost above all.
    let run = "duration = \"600us\"\nwarm_up = \"60us\"\nreplications = 8";
    let group = |seed| {
        let fabrics = "[[switch]]\nname = \"core\"\nfabric = \"each\"\ndelay = \"0s\"\n[[link]]\n\
                       from = \"core\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n[[link]]";
        let text = text(seed, run, "{ poisson = \"1000k/s\" }", "{ p90 = \"4us\" }");
        let text = text.replace("to = \"box\"", "to = \"core\"");
        let mut site = site(&text.replacen("[[link]]", fabrics, 1));
        site.hosts[0].queue_depth = Some(2);
        site.arrays[0].parallel = 64;
        site
    };
    statements(group, &["A".to_owned()], &truths, &[0.35, 0.6]);
}

/// Each host brings 200k/s to one exponential server of 1 us: the p90 of 8 us holds up to 712k/s, so for three hosts
/// and not for four.
#[test]
fn whole_hosts_are_counted() {
    let run = "duration = \"20ms\"\nwarm_up = \"1ms\"\nreplications = 8";
    let with = |count: u32| {
        if count > 6 {
            return Err("there are six slots".to_owned());
        }
        let rate = "{ poisson = \"200k/s\", per = \"host\" }";
        let mut site = station(3, run, rate, "{ p90 = \"8us\" }");
        site.hosts[0].count = count;
        site.hosts[0].numbered = crate::site::Numbered::Yes;
        Ok(site)
    };
    let site = with(2).unwrap();
    let hosts = Hosts {
        family: "app",
        what: "app",
        today: 2,
        with: &with,
    };
    let ask = only_healthy();
    let found = headroom_in_hosts(&site, &hosts, origin(), &ask, &NoProgress);
    let case = &found.cases[0];
    let count = |factor: Option<f64>| factor.map(|factor| (factor * 2.0 * 1e6).round() / 1e6);
    assert_eq!(
        (count(case.met), count(case.missed)),
        (Some(3.0), Some(4.0))
    );
    assert_eq!(count(case.saturation), Some(5.0));
    assert_eq!(found.most, 3.0);
    let six = |note: &&String| note.contains("more than 6 cannot be built: there are six slots");
    assert_eq!(found.notes.iter().filter(six).count(), 1);
    for point in &case.points {
        assert!((point.factor * 2.0).fract() == 0.0, "{}", point.factor);
    }
}

/// Four ports of a switch, one to the array: three hosts have a port, and the fourth has none.
#[test]
fn hosts_end_where_switches_have_no_more_ports() {
    let with = |count: u32| {
        Ok(site(&format!(
            "format = 1\n[run]\nduration = \"20ms\"\nwarm_up = \"4ms\"\nreplications = 3\n\
             [[host]]\nname = \"app\"\ncount = {count}\n[[switch]]\nname = \"core\"\nfabric = \"each\"\n\
             ports = {{ \"32GFC\" = 4 }}\n[[array]]\nname = \"store\"\ncontrollers = 1\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
             [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"32GFC\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"fc-scsi\"\n\
             arrivals = {{ poisson = \"10k/s\", per = \"host\" }}\nsizes = \"8KiB\"\n\
             promise = {{ mean = \"1s\" }}\n"
        )))
    };
    let hosts = Hosts {
        family: "app",
        what: "app",
        today: 2,
        with: &with,
    };
    let today = with(2).unwrap();
    let found = headroom_in_hosts(&today, &hosts, origin(), &only_healthy(), &NoProgress);
    assert_eq!(found.most, 1.5);
    // No promise breaks: the most that can be built is itself proven, and that is what ends it.
    let case = &found.cases[0];
    assert_eq!((case.met, case.missed), (Some(1.5), None));
    assert_eq!(case.bound, Some(Bound::Buildable));
    let limit = found.grows.limit.as_deref().expect("it is the ports");
    assert!(limit.starts_with("port budget, core-"), "{limit}");
    assert!(
        found.cases[0]
            .points
            .iter()
            .all(|point| point.factor <= 1.5)
    );
    let named = |note: &String| note.contains("more than 3 cannot be built: port budget, core-");
    assert!(found.notes.iter().any(named), "{:?}", found.notes);
    // Where they are too few today they bound nothing, and that is said.
    let few = |note: &String| note.contains("too few today");
    assert!(!found.notes.iter().any(few), "{:?}", found.notes);
    let ask = Ask {
        most: 1.2,
        ..only_healthy()
    };
    let hosts = Hosts { today: 5, ..hosts };
    let today = with(5).unwrap();
    let found = headroom_in_hosts(&today, &hosts, origin(), &ask, &NoProgress);
    assert_eq!(found.cases[0].met, Some(1.2));
    assert!(found.notes.iter().any(few), "{:?}", found.notes);
}

#[test]
fn a_promise_that_no_load_breaks_ends_at_the_cliff() {
    // A target of a second is never reached in 4 ms: only saturation breaks it.
    let run = "duration = \"40ms\"\nwarm_up = \"4ms\"\nreplications = 3";
    let site = station(3, run, "{ poisson = \"500k/s\" }", "{ mean = \"1s\" }");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!(case.saturation.map(|s| (s * 1e3).round()), Some(2000.0));
    let met = case.met.expect("far below the cliff");
    assert!(met < 2.0 * CLIFF, "{met} is on the cliff");
    let missed = case.missed.expect("the backlog grows");
    assert!(missed > 2.0, "{missed}");
    assert!(case.breaks.as_ref().is_some_and(|breaks| breaks.saturated));
    assert_eq!(case.ends.as_ref().unwrap().part, "box controllers");
}

#[test]
fn a_promise_that_every_load_breaks_has_no_load_met() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 8";
    let site = station(3, run, "{ poisson = \"500k/s\" }", "{ mean = \"500ns\" }");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!((case.met, case.crossing), (None, None));
    assert!(case.missed.is_some_and(|missed| missed < 0.1));
}

#[test]
fn the_most_that_is_asked_for_is_itself_proven() {
    let run = "duration = \"20ms\"\nwarm_up = \"1ms\"\nreplications = 8";
    let site = station(3, run, "{ poisson = \"200k/s\" }", "{ p90 = \"8us\" }");
    let ask = Ask {
        most: 2.5,
        ..only_healthy()
    };
    let found = headroom(&site, origin(), &ask, &NoProgress);
    let case = &found.cases[0];
    // The promise ends at 3.56 times: up to 2.5 nothing breaks, and no load above that is run.
    assert_eq!((case.met, case.missed), (Some(2.5), None));
    assert_eq!(
        (case.bound, &found.grows.limit),
        (Some(Bound::Asked), &None)
    );
    assert!(case.points.iter().all(|point| point.factor <= 2.5));
    assert_eq!(case.crossing, None);
}

/// Idle, one exponential service takes 1 us on the mean and 0.693 us in the middle; 500 ns are out of reach for the first,
/// by arithmetic, and 300 ns for the second, which only the runs know.
#[test]
fn a_promise_that_no_load_keeps_is_called_that() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 8";
    let found = |promise: &str| {
        let site = station(3, run, "{ poisson = \"500k/s\" }", promise);
        let mut found = headroom(&site, origin(), &only_healthy(), &NoProgress);
        found.cases.remove(0)
    };
    let mean = found("{ mean = \"500ns\" }");
    let known = mean.hopeless.as_ref().expect("it is known before any run");
    assert!(
        matches!(known.because, Because::IdleMean { latency_us } if (latency_us - 1.0).abs() < 1e-4),
        "{known:?}"
    );
    assert!(mean.met.is_none() && mean.crossing.is_none());
    // Today's load, the least one, and the proof: nothing else is run.
    assert_eq!(mean.points.len(), 3);
    let middle = found("{ p50 = \"300ns\" }");
    let seen = middle.hopeless.as_ref().expect("the least load breaks it");
    assert!(
        matches!(seen.because, Because::LeastLoad { factor, latency_us: Some(us) }
            if factor < 0.02 && (0.6..0.8).contains(&us)),
        "{seen:?}"
    );
    assert_eq!((middle.met, middle.crossing), (None, None));
    // One that is kept at small loads is not hopeless.
    assert_eq!(found("{ mean = \"1.2us\" }").hopeless, None);
}

/// 500,000 I/Os of 1 KiB are 512 MB/s, and one server of 1 us is full at twice that. 800 MB/s are asked for from 1.5625
/// times today's load on; 1.5 GB/s never before it is full.
#[test]
fn a_throughput_above_what_is_asked_for_holds_from_some_load_on_or_never() {
    let run = "duration = \"20ms\"\nwarm_up = \"1ms\"\nreplications = 8";
    let found = |promise: &str| {
        let text = text(3, run, "{ poisson = \"500k/s\" }", promise);
        let mut site = site(&text.replace("read = ", "sizes = \"1KiB\"\nread = "));
        site.arrays[0].write.time = crate::site::Law::Constant(crate::unit::Duration(1_000_000));
        let mut found = headroom(&site, origin(), &only_healthy(), &NoProgress);
        found.cases.remove(0)
    };
    let some = found("{ throughput = \"800MB/s\", p90 = \"12us\" }");
    let floor = some.floor.as_ref().expect("today less is asked for");
    assert!((floor.factor - 1.5625).abs() < 1e-5, "{floor:?}");
    assert!((floor.asked_mb_s.unwrap() - 512.0).abs() < 1e-6);
    let met = some.met.expect("between the floor and the cliff");
    assert!(met > floor.factor && met < 2.0 * CLIFF, "{met}");
    assert!(some.missed.is_some_and(|missed| missed > met), "{some:?}");
    let never = found("{ throughput = \"1.5GB/s\" }");
    let known = never.hopeless.as_ref().expect("it is full before");
    assert!(
        matches!(known.because, Because::FullBefore { factor, throughput_mb_s }
            if (factor - 2.0).abs() < 1e-3 && (throughput_mb_s - 1024.0).abs() < 1.0),
        "{known:?}"
    );
    assert_eq!(never.met, None);
    // Where the search ends before anything is full, that is the reason and no other.
    let mut site = site(
        &text(
            3,
            run,
            "{ poisson = \"500k/s\" }",
            "{ throughput = \"900MB/s\" }",
        )
        .replace("read = ", "sizes = \"1KiB\"\nread = "),
    );
    site.run.replications = 2;
    let ask = Ask {
        most: 1.25,
        ..only_healthy()
    };
    let short = headroom(&site, origin(), &ask, &NoProgress);
    let known = short.cases[0]
        .hopeless
        .as_ref()
        .expect("too little is asked for");
    assert!(
        matches!(known.because, Because::MostBefore { factor, throughput_mb_s }
            if factor == 1.25 && (throughput_mb_s - 640.0).abs() < 1.0),
        "{known:?}"
    );
    // At today's rate it is kept as always, and there is no floor.
    assert_eq!(found("{ throughput = \"400MB/s\" }").floor, None);
}

/// Sixty-four exponential servers of 1 us, far from busy: half of all I/Os take longer than ln 2 us at any load, so the
/// promise is neither kept nor broken by any, and no load can be named.
#[test]
fn a_flat_curve_at_the_promise_crosses_nowhere() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 6";
    let mut named = 0;
    for seed in 1..=20 {
        let mut site = station(
            seed,
            run,
            "{ poisson = \"500k/s\" }",
            "{ p50 = \"693.147ns\" }",
        );
        site.arrays[0].parallel = 64;
        let ask = Ask {
            most: 20.0,
            ..only_healthy()
        };
        let found = headroom(&site, origin(), &ask, &NoProgress);
        let case = &found.cases[0];
        assert_eq!(case.crossing, None, "seed {seed}: {case:?}");
        named += u32::from(case.met.is_some() || case.missed.is_some());
    }
    // Each seed may be wrong with 5 %: four or more of twenty with a chance of 1.6 %.
    assert!(named <= 3, "{named} of 20 name a load");
}

#[test]
fn one_replication_proves_no_mean() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 1";
    let site = station(3, run, "{ poisson = \"500k/s\" }", "{ mean = \"5us\" }");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    assert_eq!(found.cases[0].met, None);
}

/// One I/O at a time, 1 us of constant service at one of a hundred servers: the host lets a million a second through, twice
/// today's load, where the controller is hundredths full. The host is an M/D/1 queue.
#[test]
fn a_queue_depth_that_fills_before_any_part_ends_it() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 6";
    let text = text(3, run, "{ poisson = \"500k/s\" }", "{ p90 = \"6us\" }")
        .replace("name = \"app\"", "name = \"app\"\nqueue_depth = 1")
        .replace("parallel = 1\n", "parallel = 100\n")
        .replace("{ time = { exponential = \"1us\" } }", "{ time = \"1us\" }");
    let found = headroom(
        &site_with(&text, &[]),
        origin(),
        &only_healthy(),
        &NoProgress,
    );
    let case = &found.cases[0];
    // The frames of 10 ps each way beside 1 us.
    let depth = case.depth.as_ref().expect("it is the least");
    assert!((depth.factor - 2.0).abs() < 1e-3, "{depth:?}");
    assert_eq!(case.saturation, Some(depth.factor));
    assert!(case.met.expect("there is one") < 2.0);
    let ends = case.ends.as_ref().expect("something ends it");
    assert_eq!(ends.part, "queue depth of the hosts of w");
    let next = case.next.as_ref().expect("the controller");
    assert!(next.mean_percent < 3.0, "{next:?}");
}

#[test]
fn a_closed_loop_grows_in_depth() {
    // Depth 4 on one server of 1 us: 4 us; a promise of 9.5 us ends between depths 9 and 10, at 2.375.
    let run = "duration = \"8ms\"\nwarm_up = \"800us\"\nreplications = 6";
    let site = station(3, run, "{ closed = { depth = 4 } }", "{ mean = \"9.5us\" }");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!(case.saturation, None);
    let (met, missed) = (case.met.unwrap(), case.missed.unwrap());
    assert!((met * 4.0).round() <= 9.0 && (missed * 4.0).round() >= 10.0);
    assert!(
        found
            .notes
            .iter()
            .any(|note| note.contains("number outstanding at each host"))
    );
}

#[test]
fn threads_change_nothing() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 4";
    let site = station(5, run, "{ poisson = \"500k/s\" }", "{ p90 = \"8us\" }");
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| headroom(&site, origin(), &only_healthy(), &NoProgress))
    };
    assert_eq!(with(1), with(3));
}

fn judged(factor: f64, excess: f64) -> Judged {
    Judged {
        point: LoadPoint {
            factor,
            purpose: Purpose::Pilot,
            depths: Vec::new(),
            replications: 2,
            verdict: Verdict::Undecided,
            saturated: false,
            lengthened_s: None,
            needs_s: None,
            partial: false,
            frame_hops: 0,
            rows: Vec::new(),
            fullest: Vec::new(),
            ranked_by: crate::outcome::RankedBy::Mean,
            unseen_bursts: Vec::new(),
        },
        excess,
        weight: 1.0,
        mean: false,
        variance: None,
        short: false,
        starved: false,
        nearest: None,
        in_the_way: None,
        beside: None,
        unwaited_percent: None,
        held: Held::default(),
    }
}

fn search(points: &[(f64, f64)]) -> Search {
    Search {
        plan: CasePlan {
            case: Case {
                name: "healthy".into(),
                outage: None,
                lost: None,
                carries: None,
            },
            ..CasePlan::healthy()
        },
        saturation: Some(2.0),
        unlike: false,
        partly_free: Vec::new(),
        certain: None,
        pole: Some(2.0),
        depth: None,
        in_bursts: None,
        cliff: 1.98,
        outlook: Outlook::default(),
        promises: 1,
        replications: 4,
        points: points.iter().map(|(f, e)| judged(*f, *e)).collect(),
        today: None,
    }
}

#[test]
fn the_edge_lies_below_the_first_load_that_fails() {
    // A load above the edge that happens to pass says nothing.
    let points = [
        (0.5, -2.0),
        (1.0, -1.0),
        (1.4, 1.0),
        (1.5, -0.1),
        (1.8, f64::INFINITY),
    ];
    let found = search(&points);
    assert_eq!(edge(&found), (Some((1.0, -1.0)), Some((1.4, 1.0))));
    let next = next_pilot(&found, &Scale::Load, 0, 16.0).unwrap();
    assert!((next - 1.2).abs() < 1e-9);
    assert_eq!(
        next_pilot(&search(&[(1.0, -1.0), (1.01, 1.0)]), &Scale::Load, 0, 16.0),
        None
    );
    // An infinite neighbour is halved.
    assert_eq!(crossing((1.0, -1.0), (2.0, f64::INFINITY)), 1.5);
    assert_eq!(crossing((1.0, f64::NEG_INFINITY), (2.0, 1.0)), 1.5);
    assert_eq!(
        next_pilot(&search(&[(LEAST, 1.0)]), &Scale::Load, 0, 16.0),
        None
    );
}

/// Two equal ways, one of 10 km and one of 10 m: the shorter bounds an idle site, so a promise that lies between them is no
/// hopeless one, and it is met.
#[test]
fn the_shortest_of_equal_ways_bounds_an_idle_site() {
    let link = |name: &str, from: &str, to: &str, length: &str| {
        format!(
            "[[link]]\nname = \"{name}\"\nfrom = \"{from}\"\nto = \"{to}\"\nspeed = \"25GbE\"\nlength = \"{length}\"\n"
        )
    };
    let text = format!(
        "format = 1\n[run]\nduration = \"10ms\"\nwarm_up = \"1ms\"\nreplications = 6\n[[host]]\nname = \"app\"\n\
         [[switch]]\nname = \"core\"\nfabric = \"A\"\n[[switch]]\nname = \"far\"\nfabric = \"A\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 64\nread = {{ hit = \"100%\", hit_time = \"20us\" }}\n\
         {}{}{}{}[[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"nvme-tcp\"\n\
         connections = 16\nread = \"100%\"\nsizes = \"4KiB\"\narrivals = {{ poisson = \"40k/s\" }}\n\
         promise = {{ mean = \"130us\" }}\n",
        link("own", "app", "core", "10m"),
        link("long", "core", "far", "10km"),
        link("near", "core", "far", "10m"),
        link("last", "far", "box", "10m"),
    );
    let ask = Ask {
        most: 1.5,
        ..only_healthy()
    };
    let found = headroom(&site(&text), origin(), &ask, &NoProgress);
    let case = &found.cases[0];
    assert_eq!(case.hopeless, None);
    assert!(case.met.is_some(), "{case:?}");
}

/// Three pilots on a line of slope 4 through the promise at 1.5, replications that differ by a tenth of the excess: the distance with
/// an even chance by hand, and the tests that it leaves out.
#[test]
fn tests_without_a_chance_are_left_out_and_no_others() {
    let with = |variance: f64| {
        let mut found = search(&[(1.4, -0.4), (1.45, -0.2), (1.6, 0.4)]);
        for judged in &mut found.points {
            judged.variance = Some(variance);
            judged.weight = 1e4;
        }
        found
    };
    let reach = crate::measure::t_quantile(1.0 - ERROR / 2.0 / TESTS as f64, 3);
    let by_hand = |variance: f64| reach * libm::sqrt(variance / 4.0) / (4.0 * 1.5);
    let found = with(0.01);
    let even = distance(&found, 4, TESTS);
    assert!((even / by_hand(0.01) - 1.0).abs() < 1e-9, "{even}");
    let tests = |found: &Search, number: usize| proofs(found, &Scale::Load, number, 16.0);
    // Little spread: every test has a chance, both ends at the first distance.
    let sharp = with(1e-8);
    let jobs = tests(&sharp, 0);
    assert_eq!(jobs.len(), 2, "{jobs:?}");
    for (factor, purpose) in jobs {
        let wanted = match purpose {
            Purpose::ProveMet => 1.5 * (1.0 - STEPS[0]),
            Purpose::ProveMissed => 1.5 * (1.0 + STEPS[0]),
            Purpose::Pilot | Purpose::Below => unreachable!("a test"),
        };
        assert!(
            (factor / wanted - 1.0).abs() < 0.01,
            "{purpose:?} {factor} {wanted}"
        );
    }
    // Much spread: none but the last, which is always made.
    let blunt = with(100.0);
    assert!(tests(&blunt, 0).is_empty());
    assert_eq!(tests(&blunt, STEPS.len() - 1).len(), 2);
    // In between the missed end is left out and the met one made: it varies less.
    let between = STEPS[0] / 0.45;
    let variance = 4.0 * (between * 6.0 / reach) * (between * 6.0 / reach);
    let jobs = tests(&with(variance), 0);
    assert_eq!(jobs.len(), 1, "{jobs:?}");
    assert_eq!(jobs[0].1, Purpose::ProveMet);
    // Pilots end sooner where replications tell less.
    let near = |variance: f64| next_pilot(&with(variance), &Scale::Load, 0, 16.0).is_some();
    assert!(near(1e-8) && !near(0.2));
}

mod crossing;
mod ends;
mod known;
mod loops;
mod members;
mod ranks;
mod unlike;
