//! What comes back: parts lost under two names, the state that a run settles to, and that it is the healthy one.

use super::rig::{Twin, origin, site};
use halfloom::measure::mean_interval;
use halfloom::model::{Compiled, Limits, Script, Stop, Watch, World};
use halfloom::outcome::{Reference, Report};
use halfloom::scenario::{Source, read};
use halfloom::site::Site;
use halfloom::study::{NoProgress, simulate};
use halfloom::unit::Instant;

/// SCSI over FC on two fabrics: a loss is noticed after 0.1 s and held for 1 s, paths are checked every 2 s and fail back 1 s after they
/// were found. One fabric has a utilization of some 60 %, two of 30 %.
fn text(events: &[(&str, &str)]) -> String {
    let more: String = events
        .iter()
        .map(|(at, what)| format!("[[event]]\nat = \"{at}\"\n{what}\n"))
        .collect();
    Twin {
        run: "duration = \"1s\"\nwarm_up = \"100ms\"\nreplications = 10\nswitch_replications = 2\nsettle_limit = \"3s\"",
        timers: "link_loss_detect = \"100ms\"\nfast_io_fail = \"1s\"\npath_check = \"2s\"\nfailback = \"1s\"",
        host: "queue_depth = 64",
        array: "controllers = 1\nparallel = 64\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"8GFC\"",
        far: "speed = \"8GFC\"",
        name: "w",
        work: "protocol = \"fc-scsi\"\nread = \"100%\"\nsizes = \"64KiB\"\narrivals = { poisson = \"7500/s\" }\n\
               promise = { mean = \"5ms\", switching = { longest_io = \"5s\", failed = 0 } }",
        more: &more,
        ..Twin::default()
    }
    .text()
}

fn run(events: &[(&str, &str)]) -> Report {
    let site = site(&text(events), &[]);
    simulate(&site, origin(&site), &NoProgress)
}

fn scripted(report: &Report) -> Vec<&str> {
    let events = report.switches[0].events.iter();
    let scripted = events.filter(|event| event.timer.is_none() && event.workload.is_none());
    let words = scripted.map(|event| event.what.as_str());
    words
        .filter(|what| what.contains("lost") || what.contains("restored"))
        .collect()
}

/// What is lost as part of a fabric and by its own name is back only when both are restored; every event says so.
#[test]
fn a_part_lost_under_two_names_needs_two_returns() {
    let events = [
        ("1s", "lose = \"A\""),
        ("1200ms", "lose = \"core-A~box*\""),
        ("4s", "restore = \"core-A~box*\""),
        ("6s", "restore = \"A\""),
    ];
    let report = run(&events);
    let found = scripted(&report);
    assert!(
        found.contains(&"core-A~box* lost, already lost with `A` (event 1)"),
        "{found:?}"
    );
    assert!(
        found.contains(&"core-A~box* restored, without effect: still lost with `A` (event 1)"),
        "{found:?}"
    );
    assert!(found.contains(&"A restored"), "{found:?}");
    // Nothing comes back before 6 s: 5 s after the loss.
    let back = report.switches[0]
        .events
        .iter()
        .find(|event| event.what.contains(" back"));
    assert!(back.expect("it comes back").t_s > 5.0);
    // The other way round: the fabric comes back but for what is lost by its own name.
    let report = run(&[events[0], events[1], ("4s", "restore = \"A\"")]);
    let found = scripted(&report);
    assert!(
        found.contains(&"A restored, 1 of 2 links still lost with `core-A~box*` (event 2)"),
        "{found:?}"
    );
    assert!(
        !report.switches[0]
            .events
            .iter()
            .any(|event| event.what.contains(" back"))
    );
    // Read without a run it is a warning with its place.
    let whole = text(&events);
    let source = Source {
        name: "t.toml",
        text: &whole,
    };
    let Ok(loaded) = read(source, &[], &|_| Err(String::new())) else {
        panic!("it is sound");
    };
    let warnings: Vec<_> = loaded
        .warnings
        .iter()
        .map(|warning| warning.message.clone())
        .collect();
    assert_eq!(
        warnings,
        [
            "event 2 loses `core-A~box*`, already lost with `A` (event 1)",
            "event 3 restores `core-A~box*`, without effect: still lost with `A` (event 1)",
        ]
    );
}

/// A host that is back while all its links are lost by other events asks for its work, and what it asks for then may fail: that is no return without effect.
#[test]
fn a_host_that_is_back_without_a_link_is_back() {
    let whole = text(&[
        ("1s", "lose = \"app\""),
        ("1200ms", "lose = [\"A\", \"B\"]"),
        ("2s", "restore = \"app\""),
    ]);
    let source = Source {
        name: "t.toml",
        text: &whole,
    };
    let Ok(loaded) = read(source, &[], &|_| Err(String::new())) else {
        panic!("it is sound");
    };
    let warnings = loaded.warnings.iter();
    let warnings: Vec<_> = warnings.map(|warning| warning.message.clone()).collect();
    assert_eq!(
        warnings,
        [
            "event 3 restores `app`, all its ways still lost with `A` (event 2) and `B` (event 2), and its work is asked for again"
        ]
    );
}

/// With one fabric gone for good things settle as the survivors do by themselves, with everything back as the whole site does, and
/// never before the last event.
#[test]
fn a_run_settles_to_what_is_there_at_its_end() {
    let lost = run(&[("1s", "lose = \"A\"")]);
    let switch = &lost.switches[0];
    assert_eq!(switch.settles_to, Reference::Survivors);
    let settled = switch.settled_s.expect("as one fabric does");
    assert!((1.1..2.5).contains(&settled), "{settled}");
    let whole = run(&[("1s", "lose = \"A\""), ("6s", "restore = \"A\"")]);
    let switch = &whole.switches[0];
    assert_eq!(switch.settles_to, Reference::Healthy);
    let settled = switch.settled_s.expect("as both do");
    // Found by a check at most 2 s and the fabric's 0.2 s after the return, failed back 1 s later.
    assert!((5.0..9.5).contains(&settled), "{settled}");
    let events = switch.events.iter();
    let back = events.filter(|event| event.what.contains("failed back"));
    let back = back.map(|event| event.t_s).fold(0.0, f64::max);
    assert!(back > 5.0 && settled >= back, "{settled} and {back}");
    let words = "settled: mean latency and completions as in the steady run of the whole site";
    assert!(switch.events.iter().any(|event| event.what == words));
}

/// Mean latency (us) and completed I/Os of what arrives in seconds 12 to 14, one pair a replication.
#[allow(clippy::cast_precision_loss)]
fn late(site: &Site, with_events: bool) -> Vec<(f64, f64)> {
    let compiled = Compiled::new(site, &[]);
    let watch = Watch {
        from: Instant(12_000_000_000_000),
        to: Instant(14_000_000_000_000),
        transient: false,
    };
    (0..10)
        .map(|replication| {
            let mut world = World::new(&compiled, replication, watch, Limits { events: 1 << 40 });
            for event in site.events.iter().filter(|_| with_events) {
                world.add_script(Script {
                    at: Instant(event.at.0),
                    action: event.action,
                    members: compiled.fabric.members_of(&event.parts, event.side),
                    nodes: compiled.fabric.nodes_of(&event.parts, event.side),
                    hosts: compiled.fabric.hosts_of(&event.parts),
                    target: String::new(),
                    label: String::new(),
                });
            }
            world.run_until(Instant(16_000_000_000_000), Stop::WhenMeasured);
            let tally = world.finish();
            let reads = &tally.workloads[0].reads;
            assert_eq!(tally.workloads[0].failed_total, 0);
            (reads.latency.mean().unwrap() / 1e6, reads.completed as f64)
        })
        .collect()
}

/// Lost in one way and then in the other, a link is there again with one return, which takes one loss of each way back.
#[test]
fn one_return_heals_both_ways() {
    let report = run(&[
        ("1s", "lose = \"core-A~box*\"\nway = \"to-arrays\""),
        ("1500ms", "lose = \"core-A~box*\"\nway = \"to-hosts\""),
        ("5s", "restore = \"core-A~box*\""),
    ]);
    let switch = &report.switches[0];
    assert_eq!(switch.settles_to, Reference::Healthy);
    assert!(switch.settled_s.expect("it settles") > 4.0);
}

/// What stays slow settles to steady runs in which it is slow, and promises of lost parts are judged on them.
#[test]
fn what_stays_slow_settles_to_its_own_steady_run() {
    let slow = ("1s", "slow = \"core-A~box*\"\nrate = \"60%\"");
    let report = run(&[slow]);
    let switch = &report.switches[0];
    assert_eq!(switch.settles_to, Reference::StaysSlow);
    let settled = switch.settled_s.expect("as the slow site does");
    assert!((0.0..2.0).contains(&settled), "{settled}");
    let report = run(&[slow, ("4s", "restore = \"core-A~box*\"")]);
    assert_eq!(report.switches[0].settles_to, Reference::Healthy);
}

/// Of two families the slower fails back by itself: the fabric takes 0.2 s, its path check 2 s at the latest, the failback 1 s; the other waits for somebody,
/// so that all of it is back only by hand.
#[test]
fn a_family_that_fails_back_by_hand_is_not_forgotten() {
    let events = [("1s", "lose = \"A\""), ("5s", "restore = \"A\"")];
    let back = |text: &str| {
        let site = site(text, &[]);
        let report = simulate(&site, origin(&site), &NoProgress);
        let switch = report.switches.into_iter().next().expect("it has events");
        let back = switch.workloads[0].back.clone();
        (back.expect("it has paths"), switch.events)
    };
    let one = text(&events);
    let (alone, log) = back(&one);
    assert!(!alone.manual);
    assert!((alone.s - 3.2).abs() < 1e-9, "{alone:?}");
    let fails_back = log.iter().rfind(|event| event.what.contains("fail"));
    let last = fails_back.expect("it fails back").t_s;
    // Counted from the return, 4 s after the loss; the path check falls somewhere before its end.
    assert!(
        last > 5.0 && last <= 4.0 + alone.s + 1e-9,
        "{last} {alone:?}"
    );
    let two = one
        .replacen(
            "[[switch]]",
            "[[host]]\nname = \"man\"\nqueue_depth = 64\ntimers = { failback = \"manual\", path_check = \"1s\" }\n\
             [[link]]\nfrom = \"man\"\nto = \"core\"\nspeed = \"8GFC\"\n[[switch]]",
            1,
        )
        .replace("hosts = \"app\"", "hosts = [\"app\", \"man\"]");
    assert!(two.contains("\"man\"]"), "{two}");
    let (both, _) = back(&two);
    assert!(both.manual, "{both:?}");
    assert!((both.s - alone.s).abs() < 1e-9);
}

/// After the return and the failback the same arrivals take the same time as if nothing had happened: the paired differences of
/// mean and completions hold zero, while without the return they do not.
#[test]
fn after_the_return_the_figures_are_the_healthy_ones() {
    let back = site(
        &text(&[("1s", "lose = \"A\""), ("4s", "restore = \"A\"")]),
        &[],
    );
    let gone = site(&text(&[("1s", "lose = \"A\"")]), &[]);
    let healthy = late(&back, false);
    let differences = |other: &[(f64, f64)], of: fn(&(f64, f64)) -> f64| -> (f64, f64) {
        let pairs = other.iter().zip(&healthy);
        let values: Vec<f64> = pairs.map(|(one, two)| of(one) - of(two)).collect();
        let estimate = mean_interval(&values, 0.95);
        (
            estimate.value,
            estimate.half_width.expect("ten replications"),
        )
    };
    let returned = late(&back, true);
    for of in [|pair: &(f64, f64)| pair.0, |pair: &(f64, f64)| pair.1] {
        let (mean, half) = differences(&returned, of);
        assert!(mean.abs() <= half, "{mean} ± {half}");
    }
    // The same arrivals: what differs is hardly anything.
    let (mean, half) = differences(&returned, |pair| pair.0);
    let usual = healthy[0].0;
    assert!(
        mean.abs() + half < usual / 100.0,
        "{mean} ± {half} of {usual} us"
    );
    let (mean, half) = differences(&late(&gone, true), |pair| pair.0);
    assert!(
        mean - half > usual / 20.0,
        "one fabric is slower: {mean} ± {half}"
    );
}

/// Where a path is there again and its host does not use it, things settle as the site does without that path, and the promises of
/// lost parts are judged on that.
#[test]
fn a_path_that_stays_out_of_use_is_not_waited_for() {
    let events = [("1s", "lose = \"A\""), ("5s", "restore = \"A\"")];
    let by_hand = text(&events).replace("failback = \"1s\"", "failback = \"manual\"");
    let given_up = text(&[("1s", "lose = \"A\""), ("8s", "restore = \"A\"")])
        .replace(
            "path_check = \"2s\"",
            "keep_alive = \"500ms\"\nreconnect = \"500ms\"\ncontroller_loss = \"2s\"",
        )
        .replace("fc-scsi", "nvme-tcp")
        .replace("8GFC", "10GbE");
    let survivors = run(&[("1s", "lose = \"A\"")]);
    for (text, returned) in [(by_hand, 4.0), (given_up, 7.0)] {
        let site = site(&text, &[]);
        let report = simulate(&site, origin(&site), &NoProgress);
        let switch = &report.switches[0];
        assert_eq!(switch.settles_to, Reference::WithoutPaths);
        let settled = switch.settled_s.expect("as the site does without A");
        assert!(
            settled >= returned && settled < returned + 2.5,
            "{settled} after {returned}"
        );
        let words = "settled: mean latency and completions as in the steady run without the paths that stay out of use";
        assert!(switch.events.iter().any(|event| event.what == words));
        let row = report.matrix.rows.iter().find(|row| !row.switching);
        let cells = &row.expect("a mean is promised").cells;
        let mean = |cell: usize| {
            let cell = cells[cell].as_ref().expect("it is judged");
            cell.value.expect("it fits").value
        };
        // One fabric does what two did.
        assert!(mean(1) > 1.05 * mean(0), "{} {}", mean(1), mean(0));
        if returned < 5.0 {
            let rows = survivors.matrix.rows.iter();
            let row = rows.filter(|row| !row.switching).collect::<Vec<_>>()[0];
            let alone = row.cells[1].as_ref().and_then(|cell| cell.value);
            let alone = alone.expect("it is judged").value;
            assert!((mean(1) / alone - 1.0).abs() < 1e-9, "{} {alone}", mean(1));
        }
    }
}

/// A flap that leaves a path out of use leaves another state than the whole site.
#[test]
fn a_flap_may_leave_a_path_out_of_use() {
    let outage = "[[outage]]\nname = \"loose\"\ntakes = \"*-A\"\nperiod = \"4s\"\ndown = \"2s\"\ncount = 1\n";
    let text = text(&[]).replace("failback = \"1s\"", "failback = \"manual\"") + outage;
    let report = super::rig::ask(&site(&text, &[]), &["loose"], true);
    assert_eq!(report.switches[0].settles_to, Reference::WithoutPaths);
    let after = super::rig::case(&report, "loose flapped");
    let on_a = after
        .directions
        .iter()
        .filter(|own| own.name.contains("-A"));
    let most = on_a.map(|own| own.utilization_percent).fold(0.0, f64::max);
    assert!(most == 0.0, "{most}");
}

/// One host over two fabrics to two controllers, 1,000 reads a second, with these events.
fn events(events: &[(&str, &str)]) -> Report {
    let events: String = events
        .iter()
        .map(|(at, what)| format!("[[event]]\nat = \"{at}\"\n{what}\n"))
        .collect();
    let text = format!(
        "format = 1\n[run]\nduration = \"1s\"\nwarm_up = \"100ms\"\nreplications = 2\nswitch_replications = 1\n\
         [[host]]\nname = \"app\"\n[[switch]]\nname = \"core\"\n\
         [[array]]\nname = \"store\"\ncontrollers = 2\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"orders\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"fc-nvme\"\n\
         arrivals = {{ paced = \"1k/s\" }}\nread = \"100%\"\nsizes = \"8KiB\"\n\
         promise = {{ p99 = \"2ms\", switching = {{ longest_io = \"6s\" }} }}\n{events}"
    );
    let site = site(&text, &[]);
    simulate(&site, origin(&site), &NoProgress)
}

/// A switch and a controller are drained, and the switch returns: the path to the controller over it stays drained, so that
/// nothing hangs when the controller is pulled.
#[test]
fn a_drain_stays_until_it_is_taken_back_by_its_own_name() {
    let of = |last: &str| {
        let report = events(&[
            ("500ms", "drain = \"core-A\""),
            ("1s", "drain = \"store-c1\""),
            ("2s", "restore = \"core-A\""),
            ("3s", last),
        ]);
        report.switches[0].workloads[0].longest_io_s[0]
    };
    assert!(of("lose = \"store-c1\"") < 0.001);
    // A controller that is not drained does have I/Os when it is pulled.
    assert!(of("lose = \"store-c2\"") > 0.1);
    // The fabric is drained, one of its switches is lost and returns: the fabric stays drained until its own return.
    let report = events(&[
        ("500ms", "drain = \"A\""),
        ("1s", "lose = \"core-A\""),
        ("2s", "restore = \"core-A\""),
        ("30s", "restore = \"A\""),
    ]);
    let mut events = report.switches[0].events.iter();
    let first = events.find(|event| event.what.contains(" back"));
    let at = first.map(|event| event.t_s);
    assert!(
        at.is_some_and(|at| at >= 29.5),
        "{:?}",
        report.switches[0].events
    );
}

/// One way of a switch is lost, then the other way of one of its links: the return of the switch leaves the second.
#[test]
fn a_way_lost_under_another_name_stays_lost() {
    let report = events(&[
        ("500ms", "lose = \"core-A\"\nway = \"to-hosts\""),
        ("1s", "lose = \"core-A~store-c1:A1\"\nway = \"to-arrays\""),
        ("30s", "restore = \"core-A\""),
        ("60s", "restore = \"core-A~store-c1:A1\""),
    ]);
    let events = report.switches[0].events.iter();
    let backs: Vec<(f64, &str)> = events
        .filter(|event| event.what.contains(" back"))
        .map(|event| (event.t_s, event.what.as_str()))
        .collect();
    assert!(
        backs.len() >= 2 && backs.iter().all(|(_, what)| what.starts_with("1 path")),
        "{backs:?}"
    );
}
