//! Runs that end before the queue of a nearly full part has filled.

use super::rig::{ask_healthy, case, site, work};
use halfloom::outcome::{Cell, LeftOpen, Report, Verdict};
use halfloom::render::table::report_text;

/// One controller of so many at a time, exponential services of 5 ms, so many requests a second at random.
fn station(run: &str, parallel: u32, rate: u32, promise: &str) -> Report {
    let text = format!(
        "format = 1\n[run]\n{run}\n[[host]]\nname = \"app\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = {parallel}\n\
         write = {{ time = {{ exponential = \"5ms\" }} }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1\nframe = 1250\n\
         read = \"0%\"\narrivals = {{ poisson = \"{rate}/s\" }}\npromise = {{ mean = \"{promise}\" }}\n"
    );
    ask_healthy(&site(&text, &[]))
}

fn judged(report: &Report) -> Cell {
    report.matrix.rows[0].cells[0]
        .clone()
        .expect("it is judged")
}

/// Four servers that are 97 % busy: 43.9 ms in the long run (Erlang C), some 30 in runs of 2 s, whose queue takes 5.5 s to forget that it
/// began empty. A promise of 36 ms is not met by them, one of a second is.
#[test]
fn a_promise_that_only_a_short_run_keeps_is_undecided() {
    let report = station("duration = \"2s\"", 4, 776, "36ms");
    let cell = judged(&report);
    assert_eq!(cell.verdict, Verdict::Undecided);
    assert_eq!(cell.left_open, Some(LeftOpen::Filling));
    let filling = work(case(&report, "healthy"), "w").filling.clone();
    let filling = filling.expect("it is told");
    assert_eq!(filling.part, "box-c1");
    assert!((filling.busy_percent - 97.0).abs() < 1e-9);
    // ((1 + √ρ)/(1 − ρ))² services of the four together.
    let exact = ((1.0 + 0.97_f64.sqrt()) / 0.03).powi(2) * 1.25e-3;
    assert!((filling.memory_s.unwrap() / exact - 1.0).abs() < 1e-9);
    let text = report_text(&report).replace('\n', " ");
    assert!(
        text.contains("Runs begin empty, and these are too short"),
        "{text}"
    );
    assert!(
        text.contains("the run begins empty and is too short"),
        "{text}"
    );
    let far = judged(&station("duration = \"2s\"", 4, 776, "1s"));
    assert_eq!((far.verdict, far.left_open), (Verdict::Met, None));
    // So long that it shows.
    let long = station("duration = \"600s\"", 4, 776, "36ms");
    assert!(work(case(&long, "healthy"), "w").filling.is_none());
    assert_eq!(judged(&long).verdict, Verdict::Missed);
}

/// What arithmetic says is missing is what many short runs miss: M/M/1 that is 95 % busy, over a tenth of its relaxation time to twice that.
/// The formula is that of a queue that is nearly full: a twelfth of the wait is allowed for that, and the interval of the runs.
#[test]
fn what_is_missing_is_what_short_runs_do_not_find() {
    let steady_ms = 0.95 / 0.05 * 5.0;
    for duration in ["1500ms", "6s", "30s"] {
        let run = format!("duration = \"{duration}\"\nwarm_up = \"0s\"\nreplications = 300");
        let report = station(&run, 1, 190, "1s");
        let own = work(case(&report, "healthy"), "w");
        let missing = own.filling.as_ref().expect("it is short").missing_share;
        let mean = own.all.mean_us.expect("it fits");
        let (low, high) = mean.ends().expect("300 runs have an interval");
        let expected = 1e3 * (5.0 + steady_ms * (1.0 - missing));
        let allowed = (high - low) / 2.0 * 1.7 + 1e3 * steady_ms / 12.0;
        assert!(
            (mean.value - expected).abs() < allowed,
            "{duration}: {mean:?}, {expected} with {missing}"
        );
    }
}

/// A light load fills its queue at once.
#[test]
fn what_forgets_at_once_is_not_told() {
    let light = station("duration = \"2s\"", 4, 400, "36ms");
    assert!(work(case(&light, "healthy"), "w").filling.is_none());
}

/// One host, one array of so many at a time, a link that takes a tenth of a microsecond for a request; `host`, `read`, `work` are tables' lines.
fn small(run: &str, host: &str, array: &str, work: &[(&str, &str)]) -> Report {
    let works: String = work
        .iter()
        .map(|(name, lines)| {
            format!(
                "[[workload]]\nname = \"{name}\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 100\nresponse = 1\n\
                 frame = 1250\nread = \"100%\"\nsizes = \"1kB\"\n{lines}\n"
            )
        })
        .collect();
    let text = format!(
        "format = 1\n[run]\n{run}\n[[host]]\nname = \"app\"\n{host}\n[[array]]\nname = \"box\"\n{array}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"10Gb/s\"\nlength = \"0m\"\n{works}"
    );
    ask_healthy(&site(&text, &[]))
}

fn verdict(report: &Report) -> (Verdict, Option<LeftOpen>) {
    let cell = judged(report);
    (cell.verdict, cell.left_open)
}

/// M/M/1 of a millisecond that is 90 % busy: an I/O takes 10 ms on the mean and one in a hundred more than 46.05 ms. Runs of 0.3 s, shorter than
/// the 0.38 s that the queue remembers, see a third of that, whatever the seed.
#[test]
fn a_percentile_that_short_runs_keep_by_luck_is_undecided() {
    for target in ["35ms", "45ms"] {
        for seed in 1..6 {
            let run =
                format!("duration = \"300ms\"\nwarm_up = \"0s\"\nreplications = 3\nseed = {seed}");
            let work =
                format!("arrivals = {{ poisson = \"900/s\" }}\npromise = {{ p99 = \"{target}\" }}");
            let array = "controllers = 1\nparallel = 1\nread = { hit = \"100%\", hit_time = { exponential = \"1ms\" } }";
            let (found, _) = verdict(&small(&run, "", array, &[("w", &work)]));
            assert_ne!(found, Verdict::Met, "{target}, seed {seed}");
        }
    }
}

/// Bursts of fixed length come in turn: each cycle of 600 ms brings what the next brings, but for chance, and the queue is empty long before its end.
#[test]
fn bursts_that_come_in_turn_leave_no_queue_to_fill() {
    let work = "arrivals = { bursty = { peak = \"19500/s\", base = \"0/s\", burst = \"200ms\", every = \"600ms\" } }\n\
                promise = { mean = \"300ms\" }";
    let array = "controllers = 1\nparallel = 1\nread = { hit = \"100%\", hit_time = \"100us\" }";
    let run = "duration = \"2s\"\nwarm_up = \"0s\"\nreplications = 5";
    let report = small(run, "", array, &[("w", work)]);
    assert!(
        super::rig::work(case(&report, "healthy"), "w")
            .filling
            .is_none()
    );
    assert_eq!(verdict(&report).0, Verdict::Met);
}

/// Bursts of 200 ms of every 600 keep a part 65 % busy, and its queue remembers for seconds.
#[test]
fn a_part_that_bursts_fill_need_not_be_nearly_full() {
    let work = "arrivals = { bursty = { peak = \"19500/s\", base = \"0/s\", burst = \"200ms\", every = \"600ms\", law = \"exponential\" } }\n\
                promise = { mean = \"300ms\" }";
    let array = "controllers = 1\nparallel = 1\nread = { hit = \"100%\", hit_time = \"100us\" }";
    let report = small(
        "duration = \"2s\"\nreplications = 5",
        "",
        array,
        &[("w", work)],
    );
    let filling = work_of(&report);
    // Poisson at two rates: 6500 a second on the mean; the excess of the variance of their number over the mean is twice 19500² × 5 × 2.5 ÷
    // (7.5³ × 6500), 3466 times the mean; of 100 us each, over twice the spare share: 0.32 s.
    let wait_s = filling.wait_s.expect("it settles");
    let by_hand = 6_500.0 * 1e-8 * 3_467.7 / (2.0 * 0.35);
    assert!((wait_s / by_hand - 1.0).abs() < 1e-3, "{wait_s} {by_hand}");
    assert_ne!(verdict(&report).0, Verdict::Met);
}

fn work_of(report: &Report) -> halfloom::outcome::Filling {
    let own = work(case(report, "healthy"), "w").filling.clone();
    own.expect("it is told")
}

/// Four places of some 100 us each, 99.4 % of them asked for: the queue waits in the host, and no part of the site is full.
#[test]
fn a_queue_depth_fills_as_a_part_does() {
    let array = "controllers = 1\nparallel = 64\nread = { hit = \"100%\", hit_time = { exponential = \"100us\" } }";
    let work = "arrivals = { poisson = \"39700/s\" }\npromise = { mean = \"3ms\" }";
    let report = small(
        "duration = \"1s\"\nreplications = 4",
        "queue_depth = 4",
        array,
        &[("w", work)],
    );
    assert_eq!(work_of(&report).part, "queue depth of the hosts of w");
    assert_ne!(verdict(&report).0, Verdict::Met);
}

/// Two workloads that share the four places, each asking for half of a little more than these let through.
#[test]
fn workloads_share_a_queue_depth() {
    let array = "controllers = 1\nparallel = 64\nread = { hit = \"100%\", hit_time = \"100us\" }";
    let of = |rate: u32| {
        let one = format!("arrivals = {{ paced = \"{rate}/s\" }}\npromise = {{ mean = \"5ms\" }}");
        small(
            "duration = \"100ms\"\nreplications = 2",
            "queue_depth = 4",
            array,
            &[("w", &one), ("v", &one)],
        )
    };
    let least = work(case(&of(100), "healthy"), "w").all.min_us;
    let most = 4e6 / least.expect("some come");
    let half = |part: f64| {
        format!("{:.0}", most / 2.0 * part)
            .parse::<u32>()
            .expect("a number")
    };
    let over = of(half(1.01));
    for name in ["w", "v"] {
        assert!(work(case(&over, "healthy"), name).saturated, "{name}");
    }
    assert!(!case(&of(half(0.99)), "healthy").saturated);
}

/// Evenly paced, 10,000 a second for each of two controllers of 100 us: which of them an I/O goes to is chance where volumes have owners.
#[test]
fn volumes_at_random_are_not_even() {
    let array = "controllers = 2\nparallel = 1\nread = { hit = \"100%\", hit_time = \"100us\" }";
    let of = |owner: &str| {
        let work =
            format!("{owner}arrivals = {{ paced = \"20k/s\" }}\npromise = {{ mean = \"1s\" }}");
        small(
            "duration = \"100ms\"\nreplications = 2",
            "paths = \"round-robin\"",
            array,
            &[("w", &work)],
        )
    };
    assert!(case(&of("owner = \"alternate\"\n"), "healthy").saturated);
    assert!(!case(&of(""), "healthy").saturated);
}

/// One I/O in a hundred takes 0.9 s of an array that is hardly used: it does not pile up, and what is unfinished is in no mean.
#[test]
fn rare_long_services_are_no_overload_and_no_met_mean() {
    let array = "controllers = 1\nparallel = 100000\nread = { hit = \"99%\", hit_time = \"100us\", miss_time = { exponential = \"900ms\" } }";
    let work_lines = "arrivals = { poisson = \"5k/s\" }\npromise = { mean = \"9.5ms\" }";
    let report = small(
        "duration = \"2s\"\nreplications = 3",
        "",
        array,
        &[("w", work_lines)],
    );
    let own = work(case(&report, "healthy"), "w");
    assert!(!own.saturated && own.all.unfinished > 0);
    assert_eq!(
        verdict(&report),
        (Verdict::Undecided, Some(LeftOpen::RunTooShort))
    );
}

/// A hundred I/Os that pause for 390 ms and begin together come in one lump, which a second has two or three times: 0.2 or 0.3 MB/s, and 0.256 in
/// the long run. Where they begin at random a second has 256 of them, give or take 5.
#[test]
fn the_lumps_of_a_loop_prove_no_throughput() {
    let array = "controllers = 1\nparallel = 64\nread = { hit = \"100%\", hit_time = \"1ms\" }";
    let of = |together: bool, promised: &str| {
        let lines = format!(
            "arrivals = {{ closed = {{ depth = 100, think = \"390ms\", together = {together} }} }}\n\
             promise = {{ throughput = \"{promised}MB/s\" }}"
        );
        let run = "duration = \"2s\"\nwarm_up = \"1s\"\nreplications = 5";
        verdict(&small(run, "", array, &[("w", lines.as_str())])).0
    };
    assert_eq!(of(true, "0.29"), Verdict::Undecided);
    assert_eq!(of(false, "0.29"), Verdict::Missed);
    assert_eq!(of(false, "0.22"), Verdict::Met);
}

/// A loop begins with a lump, which a cut run sees alone: it misses nothing by that.
#[test]
fn what_a_cut_run_began_with_is_no_miss() {
    let array = "controllers = 1\nparallel = 1\nread = { hit = \"100%\", hit_time = \"20us\" }";
    let lines = "arrivals = { closed = { depth = 1000, think = \"100ms\", together = true } }\npromise = { mean = \"2ms\", p90 = \"2ms\" }";
    let of = |limit: &str| {
        let run = format!("duration = \"4s\"\nwarm_up = \"0s\"\nreplications = 2\n{limit}");
        verdict(&small(&run, "", array, &[("w", lines)]))
    };
    assert_eq!(of("").0, Verdict::Met);
    assert_eq!(
        of("events_max = 5000"),
        (Verdict::Undecided, Some(LeftOpen::Stopped))
    );
}
