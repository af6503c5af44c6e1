//! What is told of the work that hung and of what came after it: bursts of after the loss only, I/Os counted once, and the end
//! of the silence of who was silent.

use super::rig::{Twin, ask, eight_us, site, workload, writes};
use halfloom::outcome::Switch;

/// A closed loop that two fabrics let have 250,000 I/Os a second and one 125,000.
fn closed(before: &str) -> Switch {
    let run = format!(
        "duration = \"100ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 2\nsettle_limit = \"1s\"\n\
         before = \"{before}\""
    );
    let text = Twin {
        run: &run,
        timers: "link_loss_detect = \"10ms\"\nstate_notice = \"10ms\"",
        host: "queue_depth = 64",
        name: "w",
        work: &writes("{ closed = { depth = 32 } }", "{ mean = \"1s\" }"),
        ..eight_us()
    }
    .text();
    ask(&site(&text, &[]), &["A"], true).switches.remove(0)
}

/// The burst after a loss is told as many times the survivors' own: what both fabrics carried before it is no burst.
#[test]
fn the_fullest_20_ms_are_those_after_the_loss() {
    // Bins of a run of more than 10.24 s are wider than 20 ms; the fullest piece is remembered apart.
    for before in ["300ms", "10500ms"] {
        let switch = closed(before);
        let work = &switch.workloads[0];
        let healthy = work.bins.iter().filter(|bin| bin.t_s < -switch.bin_s);
        let healthy = healthy.map(|bin| bin.completed_iops).fold(0.0, f64::max);
        assert!(healthy > 200_000.0, "two fabrics carry {healthy}");
        let (most, usual) = (work.completed_most_iops, work.survivors_peak_iops);
        assert!(
            most > 100_000.0 && most < 1.05 * usual,
            "{most} after the loss, {usual} usual, with {before} before it"
        );
    }
}
