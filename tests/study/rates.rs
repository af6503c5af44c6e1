//! Promises on what is carried per second: whole I/Os are counted in a window.

use super::rig::{ask, case, site, work};
use halfloom::outcome::{MeasureKind, Report, Verdict};

/// 150 I/Os of 256 KiB a second and host, evenly spaced: 39.32 MB/s, whatever part of a period a window cuts off.
fn paced(duration: &str, seed: u64, promise: &str) -> Report {
    let text = format!(
        "format = 1\n[run]\nseed = {seed}\nreplications = 3\nduration = \"{duration}\"\nwarm_up = \"50ms\"\n\
         [[host]]\nname = \"app\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"100Gb/s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"nvme-tcp\"\nread = \"100%\"\n\
         sizes = \"256KiB\"\narrivals = {{ paced = \"150/s\" }}\npromise = {{ throughput = \"{promise}\" }}\n"
    );
    let site = site(&text, &[]);
    ask(&site, &[], false)
}

fn verdict(report: &Report) -> Verdict {
    let mut rows = report.matrix.rows.iter();
    let row = rows.find(|row| row.measure == MeasureKind::Throughput);
    let cell = row.and_then(|row| row.cells[0].clone());
    cell.expect("a throughput is promised").verdict
}

/// 50 ms are 7.5 periods, 250 ms 37.5, 360 ms 54.
#[test]
fn evenly_spaced_work_keeps_or_breaks_a_rate_at_every_length() {
    for seed in 1..=4 {
        for duration in ["100ms", "250ms", "300ms", "410ms"] {
            let more = paced(duration, seed, "39.5MB/s");
            assert_eq!(verdict(&more), Verdict::Missed, "{duration}");
            // 150 × 256 KiB to the byte is 39.3216 MB.
            let exact = paced(duration, seed, "39.3216MB/s");
            assert_eq!(verdict(&exact), Verdict::Met, "{duration}");
        }
    }
}

/// What is counted is shown with the doubt of one I/O to each side at least: 150 a second lie within.
#[test]
fn no_interval_of_a_count_leaves_out_the_rate_that_is_known() {
    for seed in 1..=8 {
        let report = paced("300ms", seed, "39MB/s");
        let all = &work(case(&report, "healthy"), "w").all;
        let (low, high) = all.completed_iops.ends().expect("three replications");
        assert!(low <= 150.0 && 150.0 <= high, "{low} to {high}");
        assert!(high - low >= 8.0 - 1e-9, "{low} to {high}");
        let (low, high) = all.throughput_mb_s.ends().expect("three replications");
        assert!(low <= 39.3216 && 39.3216 <= high, "{low} to {high}");
    }
}
