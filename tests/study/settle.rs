//! Whether a switch-over settles, how long a backlog takes to drain, and what a flap costs.

use super::rig::{ask, moved, origin, site, site_with};
use halfloom::outcome::{MeasureKind, Report, Verdict};
use halfloom::render::table::report_text;
use halfloom::study::{NoProgress, simulate};

/// Evenly paced writes in turn over two links, A and B; a request takes 8 us of a link (10,000 B at 10 Gb/s),
/// so one link carries 125,000 a second, and the array takes no time. A loss of A is noticed after `detect`:
/// until then every other write goes into the dead link and comes again over B, all at once.
fn paced(rate: &str, detect: &str, limit: &str) -> Report {
    let text = format!(
        r#"
format = 1
[run]
duration = "300ms"
warm_up = "20ms"
replications = 2
switch_replications = 2
before = "20ms"
settle_limit = "{limit}"
[timers]
link_loss_detect = "{detect}"
[[host]]
name = "app"
paths = "round-robin"
[[switch]]
name = "core"
delay = "0s"
[[array]]
name = "box"
controllers = 1
parallel = 1000
write = {{ time = "0s" }}
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
[[workload]]
name = "w"
hosts = "app"
array = "box"
protocol = "plain"
request = 10000
response = 1
frame = 10000
read = "0%"
arrivals = {{ paced = "{rate}" }}
promise = {{ mean = "50us", switching = {{ longest_io = "1s", failed = 0 }} }}
"#
    );
    ask(&site(&text, &[]), &["A"], true)
}

/// By hand, rate r, noticed after D: r D/2 writes are sent again, and the backlog falls by 125,000/s − r, so it
/// is gone at D + r D/2 ÷ (125,000/s − r). Nothing is random but the phase, less than two writes.
#[test]
fn a_backlog_drains_in_the_time_worked_out_by_hand() {
    let rows = [
        // 100,000/s × 100 ms ÷ 2 = 5000, at 25,000/s: 200 ms more.
        ("100k/s", "100ms", 5_000, 0.1, 0.3),
        // 2400 at 45,000/s: 53.3 ms more.
        ("80k/s", "60ms", 2_400, 0.06, 0.113_333),
        // 2200 at 15,000/s: 146.7 ms more.
        ("110k/s", "40ms", 2_200, 0.04, 0.186_667),
    ];
    for (rate, detect, backlog, noticed, drained) in rows {
        let report = paced(rate, detect, "5s");
        let switch = &report.switches[0];
        let found = moved(switch, "w");
        // In flight besides: one on each link.
        assert!(
            found.backlog_peak.abs_diff(backlog) <= 3,
            "{}",
            found.backlog_peak
        );
        // Both replications.
        assert!(
            found.retried.abs_diff(2 * backlog) <= 6,
            "{}",
            found.retried
        );
        let drain = found.drain_s.expect("it drains");
        assert!(
            (drain - drained).abs() <= 2.0 * switch.bin_s,
            "{rate}: {drain}"
        );
        assert!(switch.bin_s <= 0.005, "{}", switch.bin_s);
        // Half of the work is stopped until the loss is noticed; then the one link left is full until all is made good.
        let (least, most) = (
            found.completed_least_iops.expect("there are bins"),
            found.completed_most_iops,
        );
        let set: f64 = rate
            .trim_end_matches("k/s")
            .parse::<f64>()
            .expect("a number")
            * 1e3;
        assert!((least / (set / 2.0) - 1.0).abs() < 0.01, "{rate}: {least}");
        assert!((most / 125_000.0 - 1.0).abs() < 0.01, "{rate}: {most}");
        // The first write into the dead link waits until the loss is noticed, then goes first.
        for longest in &found.longest_io_s {
            assert!((longest - noticed).abs() < 50e-6, "{longest}");
        }
        // Settled in one of the next two bins of 20 ms.
        let settled = switch.settled_s.expect("it settles");
        assert!(
            settled >= drained - switch.bin_s && settled <= drained + 0.04,
            "{settled}"
        );
        assert_eq!(found.settled_s, Some(settled));
        assert_eq!((found.failed.as_slice(), found.late), (&[0, 0][..], 0));
        assert!(!report_text(&report).contains("not settled"));
    }
}

/// Steady runs of a few bins only, or of less than one, still tell when what a loss hardly disturbs is as before: the reads
/// come at random and one link has plenty of room for them.
#[test]
fn a_short_steady_run_lets_an_undisturbed_survivor_settle() {
    for duration in ["26ms", "45ms", "90ms", "300ms"] {
        let run = format!(
            "duration = \"{duration}\"\nwarm_up = \"5ms\"\nreplications = 2\nswitch_replications = 2\nsettle_limit = \"3s\""
        );
        let text = short(&run);
        let report = ask(&site(&text, &[]), &["A"], true);
        let switch = &report.switches[0];
        let settled = switch.settled_s.unwrap_or(f64::INFINITY);
        // Noticed after 20 ms, then ten bins of 20 ms, and time for chance.
        assert!(settled < 1.5, "{duration}: {settled}");
        assert!(!report_text(&report).contains("not settled"), "{duration}");
    }
}

/// Reads at random, two links.
fn short(run: &str) -> String {
    format!(
        r#"
format = 1
[run]
{run}
[timers]
link_loss_detect = "20ms"
[[host]]
name = "app"
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 1
parallel = 1000
read = {{ hit = "100%", hit_time = "100us" }}
[[link]]
from = "app"
to = "core"
speed = "25GbE"
[[link]]
from = "core"
to = "box"
speed = "25GbE"
[[workload]]
name = "r"
hosts = "app"
array = "box"
protocol = "plain"
request = 100
response = 4096
frame = 4096
read = "100%"
sizes = "4KiB"
arrivals = {{ poisson = "40k/s" }}
promise = {{ mean = "1ms" }}
"#
    )
}

/// 150,000 a second do not fit on one link: the backlog grows until the limit, and the result says so.
#[test]
fn an_overloaded_survivor_never_settles() {
    for (limit, seconds) in [("500ms", 0.5), ("1s", 1.0)] {
        let report = paced("150k/s", "20ms", limit);
        assert!(!report.steady[0].saturated && report.steady[1].saturated);
        let switch = &report.switches[0];
        let found = moved(switch, "w");
        assert_eq!((switch.settled_s, found.settled_s), (None, None));
        assert_eq!(found.drain_s, None);
        // Detection, the notice that a loss elsewhere would need, and then the stated limit.
        let seconds = seconds + 0.02 + 0.5;
        assert!((switch.limit_s - seconds).abs() < 1e-9 && switch.to_s >= seconds);
        // 25,000/s too many once the loss is noticed, and 1500 held until then.
        let rest: f64 = 1_500.0 + 25_000.0 * (switch.to_s - 0.02);
        #[allow(clippy::cast_precision_loss)]
        let peak = found.backlog_peak as f64;
        assert!((peak / rest - 1.0).abs() < 0.02, "{peak} for {rest}");
        assert!(report_text(&report).contains("not settled"));
    }
}

/// The limit counts from the end of the longest chain of timers that an event may start: iSCSI notices a loss by
/// ping and its timeout and holds for the replacement; Fibre Channel learns of a loud loss by detection, notice
/// and hold, of a silent one by the command timeout, while on Ethernet the fabric waits for LACP, three periods of 30 s, or
/// of 1 s when fast (IEEE 802.1AX); ports of Fibre Channel switches towards hosts and arrays have nothing of the kind.
#[test]
fn the_limit_begins_when_the_timers_are_over() {
    let outage = |mode: &str| format!("[[outage]]\nname = \"A\"\nmode = \"{mode}\"\n");
    for (protocol, speed, mode, timers, limit) in [
        ("iscsi", "25GbE", "loud", "", 140.0 + 0.4),
        ("iscsi", "25GbE", "silent", "preset = \"short\"", 25.0 + 0.4),
        ("fc-scsi", "32GFC", "loud", "", 5.6 + 0.4),
        ("fc-scsi", "32GFC", "silent", "", 30.0 + 0.4),
        ("nvme-tcp", "25GbE", "silent", "", 90.0 + 0.4),
        ("fc-nvme", "32GFC", "loud", "quiesce = \"1s\"", 1.6 + 0.4),
        ("nvme-tcp", "25GbE", "loud", "", 5.0 + 0.4),
        (
            "nfs",
            "25GbE",
            "silent",
            "keep_alive = \"7s\"\nlacp = \"fast\"",
            7.0 + 0.4,
        ),
    ] {
        let text = format!(
            "format = 1\n[run]\nduration = \"40ms\"\nwarm_up = \"10ms\"\nreplications = 2\n\
             switch_replications = 1\nsettle_limit = \"400ms\"\nbefore = \"10ms\"\n[timers]\n{timers}\n\
             [[host]]\nname = \"app\"\n[[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"{speed}\"\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"{speed}\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"{protocol}\"\n\
             sizes = \"4KiB\"\narrivals = {{ paced = \"500/s\" }}\n{}",
            outage(mode)
        );
        let report = ask(&site(&text, &[]), &["A"], true);
        let found = report.switches[0].limit_s;
        assert!((found - limit).abs() < 1e-9, "{protocol} {mode}: {found}");
    }
}

/// A link away for 1 ms, a timeout of 300 us, an array that takes 500 us; writes at 0, 2 and 4 ms. Worked out
/// in the tests of the model: 18 attempts, 15 of them after the first; every write fails; one response is
/// lost at the dead link, 17 come too late. Here as a scenario says it and a result prints it.
#[test]
fn a_flap_and_impatient_hosts_are_counted() {
    let text = r#"
format = 1
[run]
duration = "20ms"
warm_up = "0s"
replications = 1
switch_replications = 2
settle_limit = "300ms"
[[host]]
name = "app"
timers = { command_timeout = "300us", retries = 5, path_check = "1ms", no_path = "queue" }
[[switch]]
name = "sw"
fabric = "A"
delay = "0s"
[[array]]
name = "box"
controllers = 1
parallel = 64
write = { time = "500us" }
[[link]]
from = "app"
to = "sw"
speed = "10Gb/s"
propagation = "100ns"
[[link]]
from = "sw"
to = "box"
speed = "10Gb/s"
propagation = "100ns"
[[workload]]
name = "w"
hosts = "app"
array = "box"
protocol = "plain"
request = 1250
response = 1250
frame = 1250
arrivals = { replay = "three.csv", aligned = true }
[[event]]
at = "2250us"
lose = "app:A1~sw-A"
[[event]]
at = "3250us"
restore = "app:A1~sw-A"
"#;
    // The last line is there to keep the trace from starting again; it lies beyond the run.
    let trace = "timestamp_ns,op,offset_bytes,size_bytes\n0,W,0,1250\n2000000,W,0,1250\n\
                 4000000,W,0,1250\n90000000000,W,0,1250\n";
    let site = site_with(text, &[], &|name| {
        assert_eq!(name, "three.csv");
        Ok(trace.to_owned())
    });
    let report = simulate(&site, origin(&site), &NoProgress);
    let [switch] = &report.switches[..] else {
        panic!("the events make one switch-over");
    };
    let work = moved(switch, "w");
    assert_eq!(work.failed, [3, 3]);
    assert_eq!((work.completed, work.unfinished), (0, 0));
    assert_eq!((work.retried, work.late), (2 * 15, 2 * 17));
    // The second write: from 2 ms to its end at 4.8 ms.
    assert_eq!(work.longest_io_s, [0.0028, 0.0028]);
    // Without the flap, in the steady run, all fail as well and no figure of latency is made up.
    let steady = &report.steady[0].workloads[0].all;
    assert_eq!((steady.ios, steady.failed, steady.unfinished), (3, 3, 0));
    assert_eq!((steady.mean_us, steady.max_us), (None, None));
    assert!(
        steady
            .quantiles
            .iter()
            .all(|found| found.latency_us.is_none())
    );
}

/// A loud loss of one of two members, with the path left whole: what was on the way over it hangs in silence
/// until its command times out. The run must wait for that, and the promise be judged by it.
#[test]
fn what_a_cut_member_took_hangs_until_its_command_times_out() {
    let text = r#"
format = 1
[run]
duration = "200ms"
warm_up = "20ms"
replications = 2
switch_replications = 2
before = "20ms"
settle_limit = "2s"
[timers]
lag_rehash = "10ms"
command_timeout = "3s"
[[host]]
name = "app"
count = 4
[[switch]]
name = "leaf"
fabric = "each"
[[switch]]
name = "core"
fabric = "each"
[[array]]
name = "box"
parallel = 100
read = { hit = "100%", hit_time = "100us" }
[[link]]
from = "app"
to = "leaf"
speed = "16GFC"
[[link]]
from = "leaf"
to = "core"
speed = "16GFC"
members = 2
length = "300m"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
[[workload]]
name = "w"
hosts = "app"
array = "box"
protocol = "fc-nvme"
read = "100%"
sizes = "8KiB"
arrivals = { poisson = "40k/s" }
promise = { p99 = "10ms", switching = { longest_io = "1s", failed = 0 } }
[[outage]]
name = "cable"
takes = "leaf-A~core-A/1"
mode = "loud"
"#;
    let report = ask(&site(text, &[]), &["cable"], true);
    let switch = &report.switches[0];
    let found = moved(switch, "w");
    assert!(found.retried > 0, "something was on the way");
    assert_eq!(found.hanging, vec![0, 0]);
    for longest in &found.longest_io_s {
        // The timeout counts from the issue; then the I/O is sent again and takes well under 50 ms.
        assert!((3.0..3.05).contains(longest), "{longest}");
    }
    let settled = switch.settled_s.expect("settled after the last of them");
    assert!(settled > 2.9, "{settled}");
    let shown = report_text(&report);
    assert!(
        shown.contains("timer: command timeout, 3\u{202f}s"),
        "{shown}"
    );
    let row = report
        .matrix
        .rows
        .iter()
        .find(|row| row.measure == MeasureKind::LongestIo);
    let cells = &row.expect("a promise of the longest I/O").cells;
    assert!(
        cells
            .iter()
            .flatten()
            .any(|cell| cell.verdict == Verdict::Missed)
    );
}
