//! Whether a switch-over settles, how long a backlog takes to drain, and what a flap costs.

use super::rig::{Twin, ask, eight_us, moved, origin, site, site_with, writes};
use halfloom::outcome::{MeasureKind, Report, Verdict};
use halfloom::render::table::report_text;
use halfloom::study::{Ask, NoProgress, simulate, study};

/// Evenly paced writes in turn over two links, A and B; a request takes 8 us of a link (10,000 B at 10 Gb/s),
/// so one link carries 125,000 a second, and the array takes no time. A loss of A is noticed after `detect`:
/// until then every other write goes into the dead link and comes again over B, all at once.
fn paced(rate: &str, detect: &str, limit: &str) -> Report {
    let run = format!(
        "duration = \"300ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 2\nbefore = \"20ms\"\n\
         settle_limit = \"{limit}\""
    );
    let text = Twin {
        run: &run,
        timers: &format!("link_loss_detect = \"{detect}\""),
        host: "paths = \"round-robin\"",
        name: "w",
        work: &writes(
            &format!("{{ paced = \"{rate}\" }}"),
            "{ mean = \"50us\", switching = { longest_io = \"1s\", failed = 0 } }",
        ),
        ..eight_us()
    }
    .text();
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

/// Of two losses each has its own backlog, and the last to be gone counts; where nothing is held there is none, whatever
/// random arrivals pile up at times.
#[test]
fn a_backlog_of_several_losses_is_gone_with_the_last() {
    let text = |arrivals: &str, more: &str| {
        Twin {
            run: "duration = \"300ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 2\nbefore = \"20ms\"",
            timers: "link_loss_detect = \"60ms\"\npath_check = \"50ms\"",
            host: "paths = \"round-robin\"",
            name: "w",
            work: &writes(arrivals, "{ mean = \"50us\" }"),
            more,
            ..eight_us()
        }
        .text()
    };
    let events =
        "[[event]]\nat = \"100ms\"\nflap = \"A\"\nperiod = \"1s\"\ndown = \"200ms\"\ncount = 2\n";
    let twice = site(&text("{ paced = \"80k/s\" }", events), &[]);
    let report = simulate(&twice, origin(&twice), &NoProgress);
    let switch = &report.switches[0];
    let drain = moved(switch, "w").drain_s.expect("it drains");
    // 113 ms after the second loss, by the sum above.
    assert!((drain - 1.113_333).abs() <= 2.0 * switch.bin_s, "{drain}");
    let emptied = site(&text("{ poisson = \"70k/s\" }", ""), &[]);
    let ask = Ask {
        outages: Some(vec!["A".to_owned()]),
        switch: true,
        mends: false,
        planned: true,
    };
    let report = study(&emptied, origin(&emptied), &ask, &NoProgress);
    let found = moved(&report.switches[0], "w");
    assert_eq!((found.retried, found.drain_s), (0, Some(0.0)));
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
    Twin {
        run,
        timers: "link_loss_detect = \"20ms\"",
        array: "controllers = 1\nparallel = 1000\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"25GbE\"",
        far: "speed = \"25GbE\"",
        name: "r",
        work: "protocol = \"plain\"\nrequest = 100\nresponse = 4096\nframe = 4096\nread = \"100%\"\nsizes = \"4KiB\"\n\
               arrivals = { poisson = \"40k/s\" }\npromise = { mean = \"1ms\" }",
        ..Twin::default()
    }
    .text()
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
/// and hold, of a silent one by the command timeout, SCSI on idle paths by a check 20 s apart that times out, while on Ethernet the fabric waits for LACP, three periods of 30 s, or
/// of 1 s when fast (IEEE 802.1AX); ports of Fibre Channel switches towards hosts and arrays have nothing of the kind.
#[test]
fn the_limit_begins_when_the_timers_are_over() {
    let outage = |mode: &str| format!("[[outage]]\nname = \"A\"\nmode = \"{mode}\"\n");
    for (protocol, speed, mode, timers, limit) in [
        ("iscsi", "25GbE", "loud", "", 140.0 + 0.4),
        ("iscsi", "25GbE", "silent", "preset = \"short\"", 25.0 + 0.4),
        ("fc-scsi", "32GFC", "loud", "", 5.6 + 0.4),
        ("fc-scsi", "32GFC", "silent", "", 20.0 + 30.0 + 0.4),
        ("fc-nvme", "32GFC", "silent", "", 30.0 + 0.4),
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
        let speed = format!("speed = \"{speed}\"");
        let text = Twin {
            run: "duration = \"40ms\"\nwarm_up = \"10ms\"\nreplications = 2\nswitch_replications = 1\n\
                  settle_limit = \"400ms\"\nbefore = \"10ms\"",
            timers,
            near: &speed,
            far: &speed,
            name: "w",
            work: &format!(
                "protocol = \"{protocol}\"\nsizes = \"4KiB\"\narrivals = {{ paced = \"500/s\" }}"
            ),
            more: &outage(mode),
            ..Twin::default()
        }
        .text();
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
    let link = "speed = \"10Gb/s\"\npropagation = \"100ns\"";
    let text = Twin {
        run: "duration = \"20ms\"\nwarm_up = \"0s\"\nreplications = 1\nswitch_replications = 2\nsettle_limit = \"300ms\"",
        host: "timers = { command_timeout = \"300us\", retries = 5, path_check = \"1ms\", no_path = \"queue\" }",
        switch: "fabric = \"A\"\ndelay = \"0s\"",
        array: "controllers = 1\nparallel = 64\nwrite = { time = \"500us\" }",
        near: link,
        far: link,
        name: "w",
        work: "protocol = \"plain\"\nrequest = 1250\nresponse = 1250\nframe = 1250\n\
               arrivals = { replay = \"three.csv\", aligned = true }",
        more: "[[event]]\nat = \"2250us\"\nlose = \"app:A1~core-A\"\n\
               [[event]]\nat = \"3250us\"\nrestore = \"app:A1~core-A\"",
        ..Twin::default()
    }
    .text();
    // The last line is there to keep the trace from starting again; it lies beyond the run.
    let trace = "timestamp_ns,op,offset_bytes,size_bytes\n0,W,0,1250\n2000000,W,0,1250\n\
                 4000000,W,0,1250\n90000000000,W,0,1250\n";
    let site = site_with(&text, &[], &|name| {
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
    // The association that ended with them is found again by the next try, 5 s later.
    assert!(settled > 7.9, "{settled}");
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

/// One host with light work on an array of two controllers, whose volumes have owners or not.
fn stalled(owner: &str, timers: &str, events: &[(&str, &str)]) -> Report {
    let events: String = events
        .iter()
        .map(|(at, what)| format!("[[event]]\nat = \"{at}\"\n{what}\n"))
        .collect();
    let work = format!(
        "protocol = \"fc-scsi\"\narrivals = {{ paced = \"500/s\" }}\nread = \"100%\"\nsizes = \"4KiB\"\nowner = \"{owner}\"\n\
         promise = {{ mean = \"1ms\", switching = {{ longest_io = \"2s\", failed = 0 }} }}"
    );
    let text = Twin {
        run: "duration = \"2s\"\nwarm_up = \"500ms\"\nreplications = 2\nswitch_replications = 1\nsettle_limit = \"3s\"",
        timers,
        host: "paths = \"round-robin\"\nqueue_depth = 64",
        array: "controllers = 2\nparallel = 64\nread = { hit = \"100%\", hit_time = \"200us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "load",
        work: &work,
        more: &events,
        ..Twin::default()
    }
    .text();
    let site = site(&text, &[]);
    simulate(&site, origin(&site), &NoProgress)
}

fn ended(report: &Report) -> Vec<(String, Option<String>)> {
    let events = report.switches[0].events.iter();
    let ended = events.filter(|event| event.ended_stall);
    ended
        .map(|event| (event.what.clone(), event.timer.clone()))
        .collect()
}

fn told(report: &Report, what: &str) -> bool {
    let mut events = report.switches[0].events.iter();
    events.any(|event| event.what.contains(what))
}

/// A controller with volumes of its own is lost: its paths are given up after 5.6 s (link-loss detection, state
/// notice and fast-io-fail), and its I/Os still wait until the partner has its volumes, 10 s after the loss.
#[test]
fn a_stall_ends_by_what_lets_the_longest_io_go() {
    let loss = [("1s", "lose = \"box-c1\"")];
    let longest = |report: &Report| report.switches[0].workloads[0].longest_io_s[0];
    let timers = "link_loss_detect = \"100ms\"\nfast_io_fail = \"5s\"";
    let report = stalled("alternate", timers, &loss);
    let by = ended(&report);
    assert_eq!(by.len(), 1, "{by:?}");
    let timer = by[0].1.as_deref().unwrap_or_default();
    assert!(timer.starts_with("takeover"), "{by:?}");
    assert!(
        (9.9..10.2).contains(&longest(&report)),
        "{}",
        longest(&report)
    );
    let freed = report.switches[0].workloads[0].freed_by.as_ref();
    let at = freed.expect("something ended it").t_s;
    assert!((at - 10.0).abs() < 1e-6, "{at}");
    // Given up by their paths after 5.6 s, they are not sent again, but wait for their volumes.
    assert!(told(&report, "left waiting for a controller"));
    // Nobody owns volumes: nobody takes them over, and the timer of the paths ends it.
    let report = stalled("any", timers, &loss);
    let by = ended(&report);
    let timer = by[0].1.as_deref().unwrap_or_default();
    assert!(timer.starts_with("fast-io-fail"), "{by:?}");
    assert!(
        (5.0..5.7).contains(&longest(&report)),
        "{}",
        longest(&report)
    );
    assert!(!told(&report, "served by its partner"));
}

/// Both controllers are lost: nothing is taken over, nothing ends the stall, and it is longer than is told. With the
/// policy to fail that ends the longest I/O, and still no stall.
#[test]
fn without_a_path_no_timer_ends_a_stall() {
    let loss = [("1s", "lose = \"box-*\"")];
    let waits = "fast_io_fail = \"1s\"\nno_path = \"queue\"";
    let report = stalled("alternate", waits, &loss);
    let work = &report.switches[0].workloads[0];
    assert_eq!(ended(&report), []);
    assert!(work.no_path && work.longest_open[0] && work.freed_by.is_none());
    assert!(!told(&report, "served by its partner"));
    assert!(told(&report, "left without a path") && !told(&report, "sent again"));
    let text = report_text(&report);
    assert!(
        text.replace('\n', " ")
            .contains("No path is left; nothing ended the stall."),
        "{text}"
    );
    assert!(text.contains("> "), "{text}");
    let timers = "fast_io_fail = \"1s\"\nno_path = \"fail\"";
    let report = stalled("alternate", timers, &loss);
    // What fails has not been done: no row ends the stall, and the longest I/O is over all the same.
    assert_eq!(ended(&report), []);
    let freed = report.switches[0].workloads[0].freed_by.as_ref();
    let freed = freed.expect("the longest I/O is over");
    assert!(!freed.ended_stall);
    assert_eq!(freed.timer.as_deref(), Some("no path, fail at once"));
    assert!(!told(&report, "sent again"));
    // A path that comes back, found by its next check, ends it too.
    let back = [("1s", "lose = \"box-*\""), ("5s", "restore = \"box-*\"")];
    let report = stalled("alternate", waits, &back);
    let by = ended(&report);
    let timer = by[0].1.as_deref().unwrap_or_default();
    assert!(timer.starts_with("path check"), "{by:?}");
    assert!(!report.switches[0].workloads[0].longest_open[0]);
}

/// Paths that were removed before their part came back are looked for anew: the run goes on until they are found.
#[test]
fn a_run_goes_on_until_restored_paths_are_back() {
    let timers = "fast_io_fail = \"1s\"\ndevice_loss = \"2s\"\npath_check = \"5s\"";
    let events = [("1s", "lose = \"A\""), ("9s", "restore = \"A\"")];
    let report = stalled("any", timers, &events);
    assert!(told(&report, "removed, to be found anew"));
    let events = report.switches[0].events.iter();
    let back = events
        .filter(|event| event.what.contains("back"))
        .map(|event| event.t_s);
    let last = back.fold(0.0, f64::max);
    assert!((8.0..=13.5).contains(&last), "{last}");
}

/// The lost controller is back before its partner has its volumes: from then on they are served, and that ends the stall.
#[test]
fn a_controller_that_is_back_ends_the_wait_for_its_partner() {
    let events = [("1s", "lose = \"box-c1\""), ("9s", "restore = \"box-c1\"")];
    let report = stalled("alternate", "fast_io_fail = \"5s\"", &events);
    let by = ended(&report);
    assert_eq!(by.len(), 1, "{by:?}");
    assert!(
        by[0].0.contains("box-c1 restored") && by[0].1.is_none(),
        "{by:?}"
    );
    let longest = report.switches[0].workloads[0].longest_io_s[0];
    assert!((7.9..8.2).contains(&longest), "{longest}");
}

/// A silent loss that nobody ever notices, of paths that hold nothing: those of a controller that was drained, and those that a host
/// passes over. Nothing moves, so that nothing is waited for.
#[test]
fn paths_that_hold_nothing_are_not_waited_for() {
    let text = |host: &str, owner: &str, outage: &str| {
        format!(
            "format = 1\n[run]\nduration = \"300ms\"\nwarm_up = \"50ms\"\nreplications = 2\nswitch_replications = 1\n\
             [[host]]\nname = \"app\"\n{host}\n[[switch]]\nname = \"core\"\n[[array]]\nname = \"store\"\ncontrollers = 2\n\
             read = {{ hit = \"100%\", hit_time = \"100us\" }}\n[[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
             [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"32GFC\"\n[[workload]]\nname = \"orders\"\nhosts = \"app\"\n\
             array = \"store\"\nprotocol = \"fc-nvme\"\n{owner}\narrivals = {{ paced = \"1k/s\" }}\nread = \"100%\"\nsizes = \"8KiB\"\n\
             promise = {{ switching = {{ longest_io = \"6s\" }} }}\n[[outage]]\nname = \"gone\"\ntakes = \"{outage}\"\nmode = \"silent\"\n"
        )
    };
    let drained = text("", "owner = \"alternate\"", "store-c1");
    let passed = text("paths = \"one-path\"", "", "core-B");
    let preferred = text("paths = \"one-path\"", "", "core-A");
    for (text, planned, within) in [(drained, true, 1.5), (passed, false, 0.5)] {
        let ask = Ask {
            outages: Some(vec!["gone".to_owned()]),
            switch: true,
            mends: false,
            planned,
        };
        let site = site(&text, &[]);
        let report = study(&site, origin(&site), &ask, &NoProgress);
        let settled = report.switches[0].settled_s;
        assert!(settled.is_some_and(|at| at <= within), "{settled:?}");
    }
    let report = ask(&site(&preferred, &[]), &["gone"], true);
    // Its commands time out first, one path after the other.
    let settled = report.switches[0].settled_s;
    assert!(settled.is_none_or(|at| at > 29.0), "{settled:?}");
}

/// Paths of two protocols lost together: each lane names the timer that held its own.
#[test]
fn a_lane_names_the_timer_that_held_its_own_paths() {
    let side = |host: &str, box_name: &str, speed: &str, protocol: &str| {
        format!(
            "[[host]]\nname = \"{host}\"\n[[array]]\nname = \"{box_name}\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
             [[link]]\nfrom = \"{host}\"\nto = \"core\"\nspeed = \"{speed}\"\n[[link]]\nfrom = \"core\"\nto = \"{box_name}\"\nspeed = \"{speed}\"\n\
             [[workload]]\nname = \"{host}-work\"\nhosts = \"{host}\"\narray = \"{box_name}\"\nprotocol = \"{protocol}\"\n\
             arrivals = {{ paced = \"500/s\" }}\nread = \"100%\"\nsizes = \"8KiB\"\npromise = {{ switching = {{ longest_io = \"60s\" }} }}\n"
        )
    };
    let text = format!(
        "format = 1\n[run]\nduration = \"200ms\"\nwarm_up = \"50ms\"\nreplications = 2\nswitch_replications = 1\n[timers]\n\
         fast_io_fail = \"2s\"\niscsi_replacement = \"3s\"\n[[switch]]\nname = \"core\"\n{}{}",
        side("old", "vault", "32GFC", "fc-scsi"),
        side("new", "depot", "25GbE", "iscsi")
    );
    let report = ask(&site(&text, &[]), &["A"], true);
    let held: Vec<(String, String)> = report.switches[0]
        .lanes
        .iter()
        .flat_map(|lane| {
            lane.spans
                .iter()
                .map(|span| (lane.name.clone(), span.state.clone()))
        })
        .filter(|(_, state)| state.starts_with("held"))
        .collect();
    let of = |protocol: &str| {
        let own = held.iter().find(|(name, _)| name.contains(protocol));
        own.map(|(_, state)| state.as_str())
    };
    assert_eq!(of("fc-scsi"), Some("held by fast-io-fail, 2s"), "{held:?}");
    assert_eq!(
        of("iscsi"),
        Some("held by iSCSI session replacement, 3s"),
        "{held:?}"
    );
}

/// Four hundred reads a second on two hosts and two controllers; what waits for nobody's timers has settled at once: work of hosts that
/// are there when another one goes, work whose parts were emptied before they went; and a path that one-path never takes is not waited
/// for, where only a command would tell of its loss.
#[test]
fn nobody_waits_for_timers_of_hosts_that_are_gone_or_of_paths_without_work() {
    for (protocol, speed, policy, takes, mode, planned, settled) in [
        ("iscsi", "25GbE", "least-queue", "app-1", "loud", false, 0.3),
        (
            "fc-scsi",
            "32GFC",
            "least-queue",
            "app-1",
            "loud",
            false,
            0.3,
        ),
        (
            "fc-scsi",
            "32GFC",
            "least-queue",
            "core-A",
            "loud",
            true,
            6.05,
        ),
        (
            "fc-nvme", "32GFC", "one-path", "core-A", "silent", false, 31.0,
        ),
    ] {
        let speed = format!("speed = \"{speed}\"");
        let text = Twin {
            run: "duration = \"400ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 1\nsettle_limit = \"2s\"",
            host: &format!("count = 2\npaths = \"{policy}\""),
            array: "controllers = 2\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: &speed,
            far: &speed,
            name: "w",
            work: &format!(
                "protocol = \"{protocol}\"\nread = \"100%\"\nsizes = \"8KiB\"\narrivals = {{ paced = \"200/s\", per = \"host\" }}"
            ),
            more: &format!("[[outage]]\nname = \"gone\"\ntakes = [\"{takes}\"]\nmode = \"{mode}\"\n"),
            ..Twin::default()
        }
        .text();
        let own = site(&text, &[]);
        let asked = Ask {
            outages: Some(vec!["gone".to_owned()]),
            switch: true,
            mends: false,
            planned,
        };
        let report = study(&own, origin(&own), &asked, &NoProgress);
        let found = report.switches[0].settled_s;
        assert!(
            found.is_some_and(|found| found <= settled),
            "{protocol} {policy} {takes}: {found:?}"
        );
    }
}

/// How long a backlog takes by theory is how long it takes, with the usual depth of a path and with none: 12,000 reads a second at random over two
/// links, of which half would be held for 5.1 s; the one link left carries about twice what is asked for.
#[test]
fn a_drain_by_theory_holds_what_the_depth_lets_it() {
    let mut found = Vec::new();
    for depth in ["64", "\"unlimited\""] {
        let text = format!(
            "format = 1\n[run]\nduration = \"300ms\"\nwarm_up = \"50ms\"\nreplications = 2\nswitch_replications = 1\n\
             [[host]]\nname = \"app\"\npaths = \"random\"\nqueue_depth = {depth}\n[[switch]]\nname = \"san\"\n\
             [[array]]\nname = \"fast\"\ncontrollers = 1\nparallel = 1000\nread = {{ hit = \"100%\", hit_time = \"10us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"san\"\nspeed = \"16GFC\"\n[[link]]\nfrom = \"san\"\nto = \"fast\"\nspeed = \"16GFC\"\n\
             [[workload]]\nname = \"fc\"\nhosts = \"app\"\narray = \"fast\"\nprotocol = \"fc-scsi\"\nread = \"100%\"\n\
             sizes = \"64KiB\"\narrivals = {{ poisson = \"12k/s\" }}\n"
        );
        let report = ask(&site(&text, &[]), &["A"], true);
        let mut rows = report.review.theory.iter();
        let row = rows
            .find(|row| row.figure == "drain")
            .expect("there is one");
        let value = row.value;
        let simulated = row.simulated.expect("it drains");
        assert!(
            (value / simulated - 1.0).abs() < 0.02,
            "{depth}: {value} {simulated}"
        );
        found.push(simulated);
    }
    assert!(found[1] > 1.4 * found[0], "{found:?}");
}
