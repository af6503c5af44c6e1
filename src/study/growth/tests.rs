//! Days until promises break.

use super::*;
use crate::outcome::{Because, Case, Hopeless};
use crate::study::NoProgress;
use crate::study::sample::site_with;

const SERVER: &str = r#"
format = 1
[run]
duration = "20ms"
warm_up = "1ms"
replications = 8
seed = 5
[growth]
from = "2027-01-01"
per_year = "20%"
hosts = { batch = "0%" }
[[host]]
name = "app"
[[host]]
name = "batch"
[[array]]
name = "box"
controllers = 1
parallel = 1
write = { time = { exponential = "1us" } }
[[link]]
from = "app"
to = "box"
speed = "1000Gb/s"
propagation = "0s"
[[link]]
from = "batch"
to = "box"
speed = "1000Gb/s"
propagation = "0s"
[[workload]]
name = "orders"
hosts = "app"
array = "box"
protocol = "plain"
request = 1
response = 1
frame = 1250
read = 0
arrivals = { poisson = "400k/s" }
promise = { p90 = "8us" }
[[workload]]
name = "nightly"
hosts = "batch"
array = "box"
protocol = "plain"
request = 1
response = 1
frame = 1250
read = 0
arrivals = { poisson = "100k/s" }
[[step]]
name = "a second controller's worth"
date = "2029-01-01"
set = { "array.box.write.time" = { exponential = "500ns" } }
"#;

/// One exponential server of 1 us keeps its p90 of 8 us up to ρ = 0.712177 (see `headroom`): 100k/s stay, so the
/// orders may grow from 400k/s to 612.2k/s, in ln(1.5304) ÷ ln(1.2) = 2.334 years, to 2029-05-02. With service of half
/// the time, μ − λ must be as large: 2000 − 287.8 − 100 = 1612.2k/s, 7.645 years, to 2034-08-24.
#[test]
fn days_are_those_of_the_exact_answer() {
    let site = site_with(SERVER, &[]);
    let plan = growth(
        &site,
        crate::study::sample::origin(),
        Some(&[]),
        20.0,
        &NoProgress,
    );
    let plan = plan.expect("growth is stated");
    assert_eq!(
        plan.per_year_percent,
        [("orders".to_owned(), 20.0), ("nightly".to_owned(), 0.0)]
    );
    assert_eq!(plan.stages.len(), 2);
    for (stage, truth, standing) in [
        (&plan.stages[0], "2029-05-02", Standing::Holds),
        (&plan.stages[1], "2034-08-24", Standing::Breaks),
    ] {
        let case = &stage.cases[0];
        let truth = Date::parse(truth).unwrap();
        let day = |text: &Option<String>| Date::parse(text.as_ref().expect("proven")).unwrap();
        let (holds, breaks) = (day(&case.holds_until), day(&case.breaks_by));
        assert!(holds <= truth && truth < breaks, "{case:?}");
        assert!(holds.years_to(breaks) < 1.5, "{case:?}");
        let wanted = if standing == Standing::Holds {
            holds >= Date::parse("2029-01-01").unwrap()
        } else {
            true
        };
        assert!(case.standing == standing || !wanted, "{case:?}");
    }
    assert_eq!(plan.stages[0].until.as_deref(), Some("2029-01-01"));
    // Full on the mean at 900k/s of orders: ln(2.25) ÷ ln(1.2) = 4.448 years.
    let full = Date::parse(plan.stages[0].cases[0].full_by.as_ref().unwrap()).unwrap();
    let years = Date::parse("2027-01-01").unwrap().years_to(full);
    assert!((years - 4.448).abs() < 0.01, "{years}");
}

/// Two such servers, each with half of all requests at random, and one of them lost: healthy λ may be 2 × 712.177k/s, of which the
/// orders are 1324.35k/s, 3.3109 times today's; with one lost 612.177k/s, 1.5304 times. With twice the speed 3324.35k/s and
/// 1612.177k/s.
#[test]
fn days_in_an_outage_are_those_of_the_exact_answer() {
    let text = SERVER
        .replace("controllers = 1", "controllers = 2")
        .replace(
            "name = \"app\"\n",
            "name = \"app\"\npaths = \"random\"\nqueue_depth = \"unlimited\"\n",
        )
        .replace(
            "name = \"batch\"\n[[",
            "name = \"batch\"\npaths = \"random\"\nqueue_depth = \"unlimited\"\n[[",
        );
    let text = format!("{text}[[outage]]\nname = \"half\"\ntakes = [\"box-c1\"]\n");
    let site = site_with(&text, &[]);
    let stated = site.growth.clone().expect("it is stated");
    let only = ["half".to_owned()];
    let origin = crate::study::sample::origin();
    let plan = growth(&site, origin, Some(&only), 20.0, &NoProgress).expect("it is stated");
    let truths = [[1324.354, 612.177], [3324.354, 1612.177]];
    let full = [[1900.0, 900.0], [3900.0, 1900.0]];
    for ((stage, truths), full) in plan.stages.iter().zip(truths).zip(full) {
        assert_eq!(stage.cases.len(), 2);
        for ((case, truth), full) in stage.cases.iter().zip(truths).zip(full) {
            let day = |rate: f64| {
                stated
                    .from
                    .after_years(libm::log(rate / 400.0) / libm::log(1.2))
            };
            let read = |text: &Option<String>| Date::parse(text.as_ref().expect("proven")).unwrap();
            let (holds, breaks) = (read(&case.holds_until), read(&case.breaks_by));
            assert!(holds <= day(truth) && day(truth) < breaks, "{case:?}");
            assert!(holds.years_to(breaks) < 1.5, "{case:?}");
            let off = read(&case.full_by).years_to(day(full)).abs();
            assert!(off < 0.01, "{case:?}");
        }
    }
}

/// 900k/s that a step states are those of the first day: two years later they are 1.44 times that, full on the day itself.
#[test]
fn a_rate_that_a_step_sets_is_that_of_the_first_day_and_that_is_said() {
    let sets = "set = { \"workload.orders.arrivals\" = { poisson = \"900k/s\" } }";
    let text = SERVER.replace(
        "set = { \"array.box.write.time\" = { exponential = \"500ns\" } }",
        sets,
    );
    assert!(text.contains(sets));
    let site = site_with(&text, &[]);
    let stated = site.growth.as_ref().expect("it is stated");
    let notes = rate_notes(&site, stated);
    assert_eq!(notes.len(), 1, "{notes:?}");
    assert!(
        notes[0].contains("are those of 2027-01-01")
            && notes[0].contains("grown to 1.440 times as much on 2029-01-01"),
        "{notes:?}"
    );
    let full = by_arithmetic(&site, Some(&[]), 20.0).expect("growth is stated");
    assert_eq!(full[1].cases[0].1.as_deref(), Some("2029-01-01"));
    // What does not grow is what is stated, on every day; and a step that sets no load says nothing.
    let rests = text.replace("workload.orders", "workload.nightly");
    let site = site_with(&rests, &[]);
    assert_eq!(
        rate_notes(&site, site.growth.as_ref().unwrap()),
        Vec::<String>::new()
    );
    let site = site_with(SERVER, &[]);
    assert_eq!(
        rate_notes(&site, site.growth.as_ref().unwrap()),
        Vec::<String>::new()
    );
}

fn case_of(met: Option<f64>, missed: Option<f64>, hopeless: Option<Hopeless>) -> CaseHeadroom {
    CaseHeadroom {
        case: Case::scripted(),
        saturation: None,
        depth: None,
        met,
        missed,
        crossing: None,
        no_crossing: None,
        unlike: false,
        holes: Vec::new(),
        certain: None,
        fitted: None,
        knee: None,
        breaks: None,
        ends: None,
        beside: None,
        next: None,
        ranked_by: crate::outcome::RankedBy::Mean,
        unwaited_percent: None,
        bound: None,
        floor: None,
        hopeless,
        today: Some(crate::outcome::Verdict::Undecided),
        switch_tried: Vec::new(),
        switch_met: None,
        switch_over: None,
        points: Vec::new(),
    }
}

/// Written by hand: a load that is proven to keep nothing is no day, and no day lies before the first.
#[test]
fn no_day_is_named_that_there_is_not() {
    let site = site_with(SERVER, &[]);
    let stated = site.growth.as_ref().expect("growth is stated");
    let found = |met, missed, hopeless| {
        let case = case_of(met, missed, hopeless);
        dated(&case, stated, (stated.from, None))
    };
    // 1.44 times are there two years after the first day: what a step proves of less is of no day of its own.
    let step = |met, missed| {
        let case = CaseHeadroom {
            met,
            missed,
            ..case_of(None, None, None)
        };
        dated(&case, stated, (Date::parse("2029-01-01").unwrap(), None))
    };
    // 1.2 times are there a year after the first day, 1.1 times half a year after it: what is proven beyond a hole is no day up to
    // which all holds, and a hole that lies before the first day is of no account.
    let hole = |factor| {
        let breaks = crate::outcome::Breaks {
            workload: "orders".to_owned(),
            measure: crate::outcome::MeasureKind::Mean,
            target_text: "8us".to_owned(),
            saturated: false,
            kept_by_others: false,
        };
        let case = CaseHeadroom {
            holes: vec![crate::outcome::Hole { factor, breaks }],
            ..case_of(Some(1.44), Some(1.6), None)
        };
        dated(&case, stated, (stated.from, None))
    };
    let through = hole(1.2);
    assert_eq!(through.standing, Standing::Breaks);
    assert_eq!(
        (through.holds_until, through.breaks_factor),
        (None, Some(1.2))
    );
    assert_eq!(through.breaks_by.as_deref(), Some("2028-01-02"));
    assert_eq!(
        through.breaks.map(|own| own.workload).as_deref(),
        Some("orders")
    );
    let before = hole(0.8);
    assert_eq!(
        (before.holds_factor, before.breaks_factor),
        (Some(1.44), Some(1.6))
    );
    let breaks = step(Some(1.2), Some(1.3));
    assert_eq!(breaks.standing, Standing::BrokenBefore);
    assert_eq!(
        (breaks.holds_until, breaks.breaks_by.as_deref()),
        (None, Some("2029-01-01")),
        "the step itself breaks it"
    );
    assert_eq!(breaks.holds_factor, Some(1.2));
    let open = step(Some(1.2), None);
    assert_eq!((open.standing, open.holds_until), (Standing::Open, None));
    let early = found(Some(0.5), Some(0.7), None);
    assert_eq!(early.standing, Standing::BrokenBefore);
    assert_eq!(
        (early.holds_until, early.breaks_by.as_deref()),
        (None, Some("2027-01-01"))
    );
    assert_eq!(
        (early.holds_factor, early.breaks_factor),
        (Some(0.5), Some(0.7))
    );
    let hopeless = Hopeless {
        workload: "orders".to_owned(),
        measure: crate::outcome::MeasureKind::Quantile(0.9),
        target_text: "8us".to_owned(),
        because: Because::LeastLoad {
            factor: 0.02,
            latency_us: Some(9.0),
        },
    };
    let never = found(None, Some(0.02), Some(hopeless));
    assert_eq!(never.standing, Standing::Never);
    assert_eq!((never.breaks_by, never.breaks_factor), (None, None));
}

/// 100k/s of 1 byte are 0.1 MB/s; 0.12 MB/s are asked for when the work has grown by a fifth, a year later.
#[test]
fn a_throughput_that_is_not_asked_for_yet_is_broken_until_it_is() {
    let text = SERVER
        .replace("400k/s", "100k/s")
        .replace("request = 1\n", "request = 1\nsizes = \"1B\"\n")
        .replace("p90 = \"8us\"", "throughput = \"0.12MB/s\"");
    let site = site_with(&text, &[]);
    let origin = crate::study::sample::origin();
    let plan = growth(&site, origin, Some(&[]), 20.0, &NoProgress).expect("it is stated");
    let stage = &plan.stages[0];
    let case = &stage.cases[0];
    // From that day on it is kept, and what breaks lies beyond the step.
    assert_eq!(case.standing, Standing::ShortAtFirst, "{case:?}");
    assert_eq!(stage.broken_by(case), None);
    let day = case.asked_from.as_deref().expect("some day");
    assert!(("2027-12-30"..="2028-01-03").contains(&day), "{day}");
}

/// What is asked for only once the next step is there is broken all the while; what breaks on the day on which enough is asked for at
/// the latest is no break later on.
#[test]
fn a_throughput_is_short_at_first_only_where_it_is_kept_while_the_stage_lasts() {
    let site = site_with(SERVER, &[]);
    let growth = site.growth.as_ref().expect("it is stated");
    let floor = crate::outcome::Floor {
        workload: "orders".to_owned(),
        target_text: "0.48MB/s".to_owned(),
        factor: 1.2,
        short: None,
        step: None,
        asked_mb_s: Some(0.4),
    };
    let day = |text: &str| Date::parse(text).unwrap();
    // Of work that grows by a fifth a year 1.2 times are there in 2028, and 1.44 times in 2029.
    let stage = |floor_at: f64, missed: f64, next: &str| {
        let floor = Some(crate::outcome::Floor {
            factor: floor_at,
            ..floor.clone()
        });
        let case = CaseHeadroom {
            floor,
            ..case_of(Some(missed - 0.01), Some(missed), None)
        };
        dated(&case, growth, (growth.from, Some(day(next)))).standing
    };
    assert_eq!(stage(1.2, 2.0, "2029-01-01"), Standing::ShortAtFirst);
    assert_eq!(stage(1.44, 2.0, "2028-06-01"), Standing::BrokenBefore);
    assert_eq!(stage(1.2, 1.2, "2029-01-01"), Standing::BrokenBefore);
}

/// The day from which on enough is asked for is past when a later stage begins.
#[test]
fn a_throughput_that_is_asked_for_by_then_is_no_word_of_a_later_stage() {
    let site = site_with(SERVER, &[]);
    let growth = site.growth.as_ref().expect("it is stated");
    let case = CaseHeadroom {
        floor: Some(crate::outcome::Floor {
            workload: "orders".into(),
            target_text: "1MB/s".into(),
            factor: 1.2,
            short: None,
            step: None,
            asked_mb_s: Some(0.9),
        }),
        ..case_of(Some(2.9), Some(3.0), None)
    };
    let at = |begins: &str| dated(&case, growth, (Date::parse(begins).unwrap(), None));
    let early = at("2027-06-01");
    assert_eq!(early.standing, Standing::ShortAtFirst);
    let day = early.asked_from.expect("20 % more in a year");
    assert!(("2027-12-30"..="2028-01-03").contains(&&*day), "{day}");
    let late = at("2029-06-01");
    assert_eq!((late.asked_from, late.floor), (None, None));
    assert_eq!(late.standing, Standing::Breaks);
}

/// Arithmetic names the days that the plan has as well, and before any run.
#[test]
fn the_days_of_full_parts_are_there_without_a_run() {
    let site = site_with(SERVER, &[]);
    let full = by_arithmetic(&site, Some(&[]), 20.0).expect("growth is stated");
    let names: Vec<(&str, &str)> = full
        .iter()
        .map(|own| (own.stage.as_str(), own.date.as_str()))
        .collect();
    assert_eq!(
        names,
        [
            ("as it is", "2027-01-01"),
            ("a second controller's worth", "2029-01-01")
        ]
    );
    // Full at 900k/s of orders: ln(2.25) ÷ ln(1.2) = 4.448 years; at 1900k/s with the step: ln(4.75) ÷ ln(1.2) = 8.546.
    for (stage, years) in full.iter().zip([4.448, 8.546]) {
        let day = stage.cases[0].1.as_ref().expect("within twenty years");
        let own = Date::parse("2027-01-01")
            .unwrap()
            .years_to(Date::parse(day).unwrap());
        assert!((own - years).abs() < 0.01, "{own}");
    }
    let near = by_arithmetic(&site, Some(&[]), 5.0).expect("growth is stated");
    assert_eq!(near[1].cases[0].1, None, "it is beyond five years");
}

/// A place of 10.2 us (10 us of service, 0.1 us on each of two links) lets 98,039 a second through, 2.451 times the 40,000 of the first
/// day, over an array that could do ten million: with 10 % more a year that is full after ln(2.451) ÷ ln(1.1) = 9.406 years, though
/// other work grows by 30 %.
const DEPTH: &str = "format = 1\n[run]\nduration = \"20ms\"\nwarm_up = \"5ms\"\nreplications = 4\n[[host]]\nname = \"app\"\n\
    paths = \"one-path\"\nqueue_depth = 1\n[[host]]\nname = \"batch\"\nqueue_depth = \"unlimited\"\n[[switch]]\nname = \"core\"\ndelay = \"0s\"\n\
    [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 100\nwrite = { time = \"10us\" }\n\
    [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"100Gb/s\"\npropagation = \"0s\"\n\
    [[link]]\nfrom = \"batch\"\nto = \"core\"\nspeed = \"100Gb/s\"\npropagation = \"0s\"\n\
    [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"100Gb/s\"\npropagation = \"0s\"\n\
    [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\n\
    frame = 1250\nread = \"0%\"\narrivals = { poisson = \"40k/s\" }\npromise = { p90 = \"100us\" }\n\
    [[workload]]\nname = \"other\"\nhosts = \"batch\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\n\
    frame = 1250\nread = \"0%\"\narrivals = { poisson = \"100/s\" }\n\
    [growth]\nfrom = \"2027-01-01\"\nper_year = \"10%\"\nhosts = { batch = \"30%\" }\n";

#[test]
fn a_queue_depth_that_is_full_before_any_part_has_its_day() {
    let site = site_with(DEPTH, &[]);
    let years = |day: &Option<String>| {
        let day = Date::parse(day.as_ref().expect("within twenty years")).unwrap();
        Date::parse("2027-01-01").unwrap().years_to(day)
    };
    let full = by_arithmetic(&site, Some(&[]), 20.0).expect("growth is stated");
    let (_, day, waits) = &full[0].cases[0];
    assert!((years(day) - 9.406).abs() < 0.02, "{full:?}");
    assert_eq!(waits.as_deref(), Some("w"));
    let origin = crate::study::sample::origin();
    let plan = growth(&site, origin, Some(&[]), 20.0, &NoProgress).expect("growth is stated");
    let case = &plan.stages[0].cases[0];
    assert_eq!(
        (&case.full_by, case.full_depth.as_deref()),
        (day, Some("w"))
    );
    let ends = case.ends.as_ref().expect("something ends it");
    assert_eq!(ends.part, "queue depth of the hosts of w");
    // What the depth lets through is shared by that work alone, whatever the other one grows to.
    let own = libm::pow(1.1, years(&case.breaks_by)) / 2.451;
    assert!((ends.mean_percent / 100.0 - own).abs() < 0.02, "{case:?}");
}

/// Stops at the first proof: the first stage is under way, the second is not begun.
#[test]
fn what_was_not_begun_is_told_apart_from_what_was() {
    struct Stopping(std::sync::atomic::AtomicBool);
    impl Progress for Stopping {
        fn planned(&self, _runs: u64) {}
        fn advanced(&self, _events: u64) {}
        fn run_done(&self) {}
        fn stage(&self, what: &str) {
            if what.starts_with("as it is, proof") {
                self.0.store(true, std::sync::atomic::Ordering::SeqCst);
            }
        }
        fn stopped(&self) -> bool {
            self.0.load(std::sync::atomic::Ordering::SeqCst)
        }
    }
    let site = site_with(SERVER, &[]);
    let origin = crate::study::sample::origin();
    let stopping = Stopping(std::sync::atomic::AtomicBool::new(false));
    let plan = growth(&site, origin, Some(&[]), 20.0, &stopping).expect("it is stated");
    let searches: Vec<StageSearch> = plan.stages.iter().map(|stage| stage.search).collect();
    assert_eq!(searches, [StageSearch::Stopped, StageSearch::NotBegun]);
    assert!(plan.partial);
}

/// A step after the last day that is looked at is named, and no stage: nothing was tried of it.
#[test]
fn a_step_beyond_the_years_is_no_stage() {
    let site = site_with(SERVER, &[]);
    let plan = growth(
        &site,
        crate::study::sample::origin(),
        Some(&[]),
        1.0,
        &NoProgress,
    )
    .expect("it grows");
    assert_eq!(plan.stages.len(), 1);
    assert_eq!(plan.stages[0].until, None);
    let beyond = "beyond the 1 years lies `a second controller's worth` (2029-01-01)";
    assert!(
        plan.notes.iter().any(|note| note.contains(beyond)),
        "{:?}",
        plan.notes
    );
}

/// Steps of one day are there together: none of them lasts without the others.
#[test]
fn steps_of_one_day_are_one_state() {
    let text = [
            SERVER,
            "[[step]]\nname = \"more of it\"\ndate = \"2029-01-01\"\nset = { \"array.box.parallel\" = 3 }\n",
        ]
        .concat();
    let site = site_with(&text, &[]);
    assert_eq!(site.steps.len(), 2);
    let states = states(&site, site.growth.as_ref().unwrap());
    let names: Vec<&str> = states.iter().map(|state| state.name.as_str()).collect();
    assert_eq!(
        names,
        ["as it is", "a second controller's worth and more of it"]
    );
    assert_eq!(states[1].set.len(), 2);
    assert_eq!(states[1].site.arrays[0].parallel, 3);
    let full = by_arithmetic(&site, Some(&[]), 10.0).unwrap();
    assert_eq!(full.len(), 2);
}

#[test]
fn what_is_wrong_with_growth_and_steps_is_told_at_its_place() {
    let read = |text: &str| {
        let source = crate::scenario::Source {
            name: "g.toml",
            text,
        };
        let none = |name: &str| Err(format!("no file {name}"));
        crate::scenario::read(source, &[], &none).map(|loaded| loaded.site)
    };
    assert!(read(SERVER).is_ok());
    for (from, to, word) in [
        ("from = \"2027-01-01\"", "from = \"2027-02-30\"", "no day"),
        ("from = \"2027-01-01\"", "from = 2027-01-01", "a day like"),
        ("per_year = \"20%\"", "per_year = \"-2%\"", "no growth"),
        ("per_year = \"20%\"", "per_year = \"0%\"", "nothing grow"),
        ("{ batch = \"0%\" }", "{ bacht = \"0%\" }", "bacht"),
        ("date = \"2029-01-01\"", "", "no `date`"),
        (
            "date = \"2029-01-01\"",
            "date = \"2026-12-31\"",
            "before the day of the stated load, 2027-01-01",
        ),
        (
            "array.box.write.time",
            "array.bax.write.time",
            "in step `a second",
        ),
        ("per_year =", "a_year =", "a_year"),
    ] {
        assert!(SERVER.contains(from), "{from}");
        let problems = read(&SERVER.replacen(from, to, 1)).expect_err(to);
        let text = crate::scenario::render_problems(&problems);
        assert!(
            text.contains(word) && text.contains("g.toml:"),
            "{to}: {text}"
        );
    }
    // Steps hold on top of those before, in order of their days, whatever their order in the text.
    let more =
        "[[step]]\nname = \"first\"\ndate = \"2028-01-01\"\nset = { \"array.box.parallel\" = 3 }\n";
    let site = read(&format!("{SERVER}{more}")).expect("it is sound");
    let names: Vec<&str> = site.steps.iter().map(|step| step.name.as_str()).collect();
    assert_eq!(names, ["first", "a second controller's worth"]);
    assert_eq!(
        (
            site.arrays[0].parallel,
            site.steps[1].site.arrays[0].parallel
        ),
        (1, 3)
    );
}

/// Over unlike ways a load below the one of a day tells nothing of that day, as in `headroom`: only a load does that was tested and
/// that the stage comes to, or that no part can carry.
#[test]
fn over_unlike_ways_a_day_is_broken_by_a_load_that_it_comes_to() {
    let site = site_with(SERVER, &[]);
    let ask = Ask {
        outages: Some(Vec::new()),
        most: 16.0,
        switch_overs: false,
    };
    let found =
        crate::study::headroom::headroom(&site, crate::study::sample::origin(), &ask, &NoProgress);
    let mut case = found.cases[0].clone();
    let missed = case.missed.expect("it ends");
    (case.certain, case.unlike) = (None, false);
    let told =
        |case: &CaseHeadroom, begins: f64| told_of(case, begins, (case.missed, &case.breaks)).0;
    assert_eq!(
        told(&case, missed + 0.1),
        Some(missed),
        "more load breaks it"
    );
    case.unlike = true;
    assert_eq!(
        told(&case, missed - 0.1),
        Some(missed),
        "the stage comes to it"
    );
    let test = |factor: f64| {
        let own = |point: &&LoadPoint| point.verdict == Verdict::Missed && !point.rows.is_empty();
        let mut point = case.points.iter().find(own).expect("one is missed").clone();
        (point.factor, point.purpose) = (factor, Purpose::ProveMissed);
        point
    };
    let later = test(missed + 0.2);
    case.points.retain(|point| point.factor <= missed);
    assert_eq!(told(&case, missed + 0.1), None, "it proves nothing");
    case.points.push(later);
    assert_eq!(
        told(&case, missed + 0.1),
        Some(missed + 0.2),
        "it was tested"
    );
    case.points.pop();
    case.certain = Some(missed + 0.05);
    assert_eq!(told(&case, missed + 0.1), Some(missed), "a part is full");
}

#[test]
fn nothing_is_planned_without_growth() {
    let text = SERVER.replace("[growth]", "[growth_]").replace(
        "[growth_]\nfrom = \"2027-01-01\"\nper_year = \"20%\"\nhosts = { batch = \"0%\" }",
        "",
    );
    let site = site_with(&text, &[]);
    assert_eq!(
        growth(
            &site,
            crate::study::sample::origin(),
            None,
            5.0,
            &NoProgress
        ),
        None
    );
}

/// Where a limit cuts every run of a stage, no other is looked at; that its runs were cut stands with each case, in rows too.
#[test]
fn growth_ends_where_a_limit_cuts_every_run() {
    let mut site = site_with(SERVER, &[]);
    site.run.events_max = 500;
    for step in &mut site.steps {
        step.site.run.events_max = 500;
    }
    let origin = crate::study::sample::origin();
    let plan = growth(&site, origin, Some(&[]), 10.0, &NoProgress).expect("growth is stated");
    assert!(plan.cut && !plan.partial);
    let searches: Vec<StageSearch> = plan.stages.iter().map(|stage| stage.search).collect();
    assert_eq!(searches, [StageSearch::Whole, StageSearch::NotBegun]);
    assert!(plan.stages[0].cases[0].cut && !plan.stages[1].cases[0].cut);
    let said = |note: &String| note.ends_with("as every run was cut, the search ended there");
    assert!(plan.notes.iter().any(said), "{:?}", plan.notes);
}
