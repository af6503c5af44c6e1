//! How often a verdict is wrong where the truth is known, and what a mean is of.

use super::rig::{ask_healthy, case, site, work};
use halfloom::measure::t_quantile;
use halfloom::outcome::{Report, Verdict};

/// One host, one controller that takes one at a time; services and arrivals as they are written.
fn station(run: &str, time: &str, arrivals: &str, promise: &str) -> Report {
    let text = format!(
        "format = 1\n[run]\n{run}\n[[host]]\nname = \"app\"\nqueue_depth = \"unlimited\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\n\
         write = {{ time = {time} }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1\nframe = 1250\n\
         read = \"0%\"\narrivals = {arrivals}\npromise = {{ {promise} }}\n"
    );
    ask_healthy(&site(&text, &[]))
}

/// Of 60 runs with seeds of their own that are called met or missed.
fn decided(run: &str, arrivals: &str, time: &str, promise: &str) -> (u32, u32) {
    let (mut met, mut missed) = (0, 0);
    for seed in 0..60 {
        let run = format!("seed = {seed}\n{run}");
        let report = station(&run, time, arrivals, promise);
        let cell = report.matrix.rows[0].cells[0].as_ref();
        match cell.expect("it is judged").verdict {
            Verdict::Met => met += 1,
            Verdict::Missed => missed += 1,
            Verdict::Undecided => {}
        }
    }
    (met, missed)
}

/// 60 verdicts that are wrong one time in twenty: more than nine come once in a thousand (binomial).
const WRONG: u32 = 9;

/// M/M/1 that is 80 % busy: time in the station is exponential of mean 50 us, and what is above a target comes in clumps of one busy
/// period. Twice, or half as much again, or exactly as many are above the target as are allowed, in runs that see few clumps of them.
#[test]
fn late_ios_of_few_busy_periods_prove_nothing() {
    let mut reached = false;
    for (run, times, q, name) in [
        (
            "duration = \"17500us\"\nwarm_up = \"5ms\"\nreplications = 4",
            2.0,
            0.001,
            "p99_9",
        ),
        (
            "duration = \"17500us\"\nwarm_up = \"5ms\"\nreplications = 10",
            2.0,
            0.001,
            "p99_9",
        ),
        (
            "duration = \"17500us\"\nwarm_up = \"5ms\"\nreplications = 4",
            1.5,
            0.01,
            "p99",
        ),
        (
            "duration = \"65ms\"\nwarm_up = \"5ms\"\nreplications = 10",
            1.0,
            0.01,
            "p99",
        ),
    ] {
        let target_us = -50.0 * f64::ln(q * times);
        let promise = format!("{name} = \"{target_us:.4}us\"");
        let (met, missed) = decided(
            run,
            "{ poisson = \"80k/s\" }",
            "{ exponential = \"10us\" }",
            &promise,
        );
        assert!(met <= WRONG, "{run}, {times}: {met} met");
        assert!(times > 1.0 || missed <= WRONG, "{run}: {missed} missed");
        // Far enough off, the same runs decide.
        let far = format!("{name} = \"{:.4}us\"", target_us * 1.6);
        reached |= decided(
            run,
            "{ poisson = \"80k/s\" }",
            "{ exponential = \"10us\" }",
            &far,
        )
        .0 > 30;
    }
    assert!(reached, "nothing is ever decided");
}

/// Bursts whose lengths are exponential, constant services: mean wait 17.08901 services (the reference row for on/off arrivals, MMPP/D/1, its exact
/// solution computed). Windows of ten bursts have unlike numbers of I/Os, more where more wait: the mean of their means would be a tenth too low.
#[test]
fn a_mean_is_that_of_all_ios_however_many_a_replication_has() {
    let report = station(
        "duration = \"120ms\"\nwarm_up = \"50ms\"\nreplications = 1500",
        "\"100us\"",
        "{ bursty = { peak = \"16k/s\", base = \"0/s\", burst = \"2ms\", every = \"7ms\", law = \"exponential\" } }",
        "mean = \"1s\"",
    );
    let own = work(case(&report, "healthy"), "w");
    let mean = own.all.mean_us.expect("it fits");
    let (low, high) = mean.ends().expect("it has an interval");
    // 99.9 % in place of 95 %.
    let half = (high - low) / 2.0 * t_quantile(0.9995, 1499) / t_quantile(0.975, 1499);
    let exact = 1708.901 + 100.0;
    assert!(
        (mean.value - exact).abs() < half,
        "{} ± {half}, not {exact}",
        mean.value
    );
    assert!(half < 0.06 * exact, "{half} of {exact} shows nothing");
}
