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
