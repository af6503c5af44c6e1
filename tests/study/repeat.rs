//! The same seed, the same bytes.

use super::rig::{DEMO, ask, moved, same, site};
use halfloom::render::json::report_json;
use halfloom::site::Site;

fn bytes(site: &Site, threads: usize) -> String {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
    let pool = pool.build().expect("threads can be started");
    pool.install(|| report_json(&ask(site, &["A"], true)))
}

/// Steady cases, a switch-over in which I/Os are retried, verdicts: one thread and two give the same JSON.
/// Another seed gives another.
#[test]
fn one_thread_and_two_give_the_same_bytes() {
    // The demonstration at a third of its load, with quick timers, so that things happen within 200 ms.
    let short = |seed: &'static str| {
        let set = [
            ("run.duration", "40ms"),
            ("run.warm_up", "10ms"),
            ("run.replications", "2"),
            ("run.switch_replications", "2"),
            ("run.before", "10ms"),
            ("run.settle_limit", "200ms"),
            ("run.seed", seed),
            ("timers.link_loss_detect", "5ms"),
            ("timers.fast_io_fail", "20ms"),
            ("timers.keep_alive", "30ms"),
            ("timers.lag_rehash", "10ms"),
            ("workload.bookings.arrivals", "{ poisson = \"60k/s\" }"),
            ("workload.fleet.arrivals", "{ poisson = \"40k/s\" }"),
            ("workload.archive.arrivals", "{ paced = \"600/s\" }"),
        ];
        site(DEMO, &set)
    };
    let seven = short("7");
    let report = ask(&seven, &["A"], true);
    for work in ["bookings", "fleet"] {
        let work = moved(&report.switches[0], work);
        assert!(work.retried > 20, "{}: {}", work.name, work.retried);
        assert!(work.completed > 1_000);
    }
    let one = bytes(&seven, 1);
    assert!(one.len() > 50_000);
    same("one thread and two", &one, &bytes(&seven, 2));
    same("the threads there are", &one, &report_json(&report));
    assert!(one != bytes(&short("8"), 2), "another seed gives the same");
}
