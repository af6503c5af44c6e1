use super::*;
use crate::outcome::Case;
use crate::study::NoProgress;
use crate::study::sample::site;
use crate::theory::single_queue::exponential_sojourn_quantile;

fn origin(site: &Site) -> Origin {
    Origin {
        version: String::new(),
        title: String::new(),
        scenario: String::new(),
        digest: String::new(),
        seed: site.run.seed,
        replications: site.run.replications,
        switch_replications: 1,
        command: String::new(),
        set: Vec::new(),
    }
}

/// One exponential server of 1 us behind a link that takes 16 ps for an I/O there and back.
fn station(seed: u32, run: &str, rate: &str, promise: &str) -> Site {
    site(&format!(
        "format = 1\n[run]\nseed = {seed}\n{run}\n[[host]]\nname = \"app\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\n\
         write = {{ time = {{ exponential = \"1us\" }} }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = 1\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {rate}\n\
         promise = {promise}\n"
    ))
}

fn only_healthy() -> Ask {
    Ask {
        outages: Some(Vec::new()),
        most: 16.0,
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
        let found = headroom(&site, origin(&site), &only_healthy(), &NoProgress);
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

#[test]
fn a_promise_that_no_load_breaks_ends_at_the_cliff() {
    // A target of a second is never reached in 4 ms: only saturation breaks it.
    let run = "duration = \"40ms\"\nwarm_up = \"4ms\"\nreplications = 3";
    let site = station(3, run, "{ poisson = \"500k/s\" }", "{ mean = \"1s\" }");
    let found = headroom(&site, origin(&site), &only_healthy(), &NoProgress);
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
    let found = headroom(&site, origin(&site), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!((case.met, case.crossing), (None, None));
    assert!(case.missed.is_some_and(|missed| missed < 0.1));
}

#[test]
fn one_replication_proves_no_mean() {
    let run = "duration = \"4ms\"\nwarm_up = \"400us\"\nreplications = 1";
    let site = station(3, run, "{ poisson = \"500k/s\" }", "{ mean = \"5us\" }");
    let found = headroom(&site, origin(&site), &only_healthy(), &NoProgress);
    assert_eq!(found.cases[0].met, None);
}

#[test]
fn a_closed_loop_grows_in_depth() {
    // Depth 4 on one server of 1 us: 4 us; a promise of 9.5 us ends between depths 9 and 10, at 2.375.
    let run = "duration = \"8ms\"\nwarm_up = \"800us\"\nreplications = 6";
    let site = station(3, run, "{ closed = { depth = 4 } }", "{ mean = \"9.5us\" }");
    let found = headroom(&site, origin(&site), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert_eq!(case.saturation, None);
    let (met, missed) = (case.met.unwrap(), case.missed.unwrap());
    assert!((met * 4.0).round() <= 9.0 && (missed * 4.0).round() >= 10.0);
    assert!(found.notes.iter().any(|note| note.contains("depth")));
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
        pool.install(|| headroom(&site, origin(&site), &only_healthy(), &NoProgress))
    };
    assert_eq!(with(1), with(3));
}

fn judged(factor: f64, excess: f64) -> Judged {
    Judged {
        point: LoadPoint {
            factor,
            purpose: Purpose::Pilot,
            replications: 2,
            verdict: Verdict::Undecided,
            saturated: false,
            partial: false,
            rows: Vec::new(),
            fullest: Vec::new(),
        },
        excess,
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
        promises: 1,
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
    let next = next_pilot(&found, 0, 16.0).unwrap();
    assert!((next - 1.2).abs() < 1e-9);
    assert_eq!(
        next_pilot(&search(&[(1.0, -1.0), (1.01, 1.0)]), 0, 16.0),
        None
    );
    // An infinite neighbour is halved.
    assert_eq!(crossing((1.0, -1.0), (2.0, f64::INFINITY)), 1.5);
    assert_eq!(crossing((1.0, f64::NEG_INFINITY), (2.0, 1.0)), 1.5);
    assert_eq!(next_pilot(&search(&[(LEAST, 1.0)]), 0, 16.0), None);
}
