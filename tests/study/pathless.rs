//! Hosts without any path beside others that have one: counted and named wherever a lost path is told, and a state in which they fail
//! at once is a settled one.

use super::rig::{Twin, ask, moved, origin, site};
use halfloom::outcome::Report;
use halfloom::render::sheet::{SheetLine, Steps, sheet};
use halfloom::render::table::{report_text, windows_text};
use halfloom::study::NoProgress;
use halfloom::study::windows::{AskWindows, HourRuns, windows};

/// Three hosts on both fabrics and one on A alone; every host has a quarter of the work.
fn one_alone(no_path: &str) -> String {
    format!(
        "format = 1\n[run]\nduration = \"200ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 1\n\
         [[host]]\nname = \"app\"\ncount = 3\n[[host]]\nname = \"solo\"\ntimers = {{ no_path = \"{no_path}\" }}\n\
         [[switch]]\nname = \"core\"\n[[switch]]\nname = \"rack\"\nfabric = \"A\"\n[[array]]\nname = \"store\"\n\
         [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"solo\"\nto = \"rack\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"rack\"\nto = \"core\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"orders\"\nhosts = [\"app\", \"solo\"]\narray = \"store\"\nprotocol = \"fc-scsi\"\n\
         arrivals = {{ poisson = \"4k/s\" }}\nsizes = \"8KiB\"\n\
         promise = {{ p99 = \"2ms\", switching = {{ longest_io = \"20s\", failed = 0 }} }}\n"
    )
}

fn a_lost(no_path: &str) -> Report {
    ask(&site(&one_alone(no_path), &[]), &["A"], true)
}

fn said(report: &Report) -> String {
    report_text(report).replace('\n', " ")
}

fn lines(report: &Report) -> Vec<SheetLine> {
    sheet(&Steps::of(report.clone())).cases[0].lines.clone()
}

#[track_caller]
fn line<'l>(lines: &'l [SheetLine], when: &str, what: &str) -> &'l SheetLine {
    let mut own = lines.iter();
    own.find(|line| line.when == when && line.what.contains(what))
        .unwrap_or_else(|| panic!("no line `{what}` {when}"))
}

/// What it asks for fails from 5.1 s on, in the run with the loss as in the steady one of what is left: that is settled.
#[test]
fn one_host_that_fails_at_once_is_named_and_the_rest_has_settled() {
    let report = a_lost("fail");
    let work = moved(&report.switches[0], "orders");
    assert_eq!(
        (work.hosts, &work.without_path[..]),
        (4, &["solo".to_owned()][..])
    );
    let settled = work.settled_s.expect("failing at once is a steady state");
    assert!((5.1..5.5).contains(&settled), "{settled}");
    let text = said(&report);
    assert!(
        text.contains("1 of 4 hosts of orders (solo) had no path left, and what it asks for fails"),
        "{text}"
    );
    assert!(!text.contains("no path was left:"), "{text}");
    let lines = lines(&report);
    let on_b = line(&lines, "after", "paths in use on B");
    assert_eq!((on_b.low, on_b.high), (Some(0.0), Some(2.0)));
    let who = line(&lines, "during", "hosts without any path");
    assert!(who.words.starts_with("1 of 4: solo"), "{}", who.words);
}

/// The same host waits: nobody says that nothing of the work is done, what waits has no upper end, and the paths of the others come
/// back with their ports.
#[test]
fn one_host_that_waits_is_named_and_what_waits_is_not_over() {
    let report = a_lost("queue");
    let text = said(&report);
    assert!(
        text.contains(
            "1 of 4 hosts of orders (solo) has no path left, and what is asked for there"
        ),
        "{text}"
    );
    assert!(!text.contains("nothing of it is done"), "{text}");
    let lines = lines(&report);
    let longest = line(&lines, "during", "longest I/O");
    assert!(
        longest.high.is_none() && longest.words.starts_with("more than "),
        "{longest:?}"
    );
    let lanes = &report.switches[0].lanes;
    let states = || lanes.iter().flat_map(|lane| &lane.spans);
    assert!(
        states().any(|span| span.state == "removed until the port returns"),
        "{lanes:?}"
    );
    assert!(
        !states().any(|span| span.state.contains("for good")),
        "{lanes:?}"
    );
}

#[test]
fn windows_name_the_hosts_without_a_path() {
    let day = "[day]\nshape = \"flat\"\n[[shape]]\nname = \"flat\"\ndaily = [1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1]\n";
    let site = site(&format!("{}{day}", one_alone("fail")), &[]);
    let ask = AskWindows {
        outages: Some(vec!["A".to_owned()]),
        needed: 1,
        runs: HourRuns::Needed,
    };
    let found = windows(&site, &ask, &NoProgress);
    assert_eq!(found.outages[0].cut_off[0].hosts, ["solo"]);
    let text = windows_text(&origin(&site), &found).replace('\n', " ");
    assert!(
        text.contains("Without a path all the while: solo from store."),
        "{text}"
    );
}

/// Drained, then lost: the lane goes on until the paths are given up, and says that nothing is on them before.
#[test]
fn a_planned_loss_has_lanes_to_the_end() {
    let site = site(&one_alone("fail"), &[]);
    let ask = halfloom::study::Ask {
        outages: Some(vec!["B".to_owned()]),
        switch: true,
        mends: false,
        planned: true,
    };
    let report = halfloom::study::study(&site, origin(&site), &ask, &NoProgress);
    let lanes = &report.switches[0].lanes;
    let lane = lanes.iter().find(|lane| lane.side == Some('B'));
    let spans = &lane.expect("B has a lane").spans;
    let states: Vec<&str> = spans.iter().map(|span| span.state.as_str()).collect();
    assert!(
        states.contains(&"lost, nothing on it, not noticed yet"),
        "{states:?}"
    );
}

/// NVMe tries a lost controller for 12 s at intervals of 5 s, which is 15 s from when the keep-alive of 5 s has noticed it: the line of
/// what fails has the same time as that of the paths, and a part may be away for so long, less the 200 ms of the fabric.
#[test]
fn whole_tries_are_told_alike_and_counted_from_the_loss() {
    let text = "format = 1\n[run]\nduration = \"200ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 1\n\
                [timers]\ncontroller_loss = \"12s\"\nreconnect = \"5s\"\nkeep_alive = \"5s\"\n[[host]]\nname = \"app\"\n\
                [[switch]]\nname = \"core\"\n[[array]]\nname = \"store\"\ncontrollers = 1\n\
                [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"25GbE\"\n\
                [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"25GbE\"\n\
                [[workload]]\nname = \"orders\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"nvme-tcp\"\n\
                arrivals = { poisson = \"1k/s\" }\nsizes = \"8KiB\"\npromise = { switching = { failed = 0 } }\n\
                [[outage]]\nname = \"box\"\ntakes = \"store-c1\"\n";
    let report = ask(&site(text, &[]), &["box"], true);
    let switch = &report.switches[0];
    let work = moved(switch, "orders");
    let failed = work
        .failed_by
        .as_ref()
        .and_then(|event| event.timer.clone());
    assert_eq!(
        failed.as_deref(),
        Some("controller loss in whole tries, 15s")
    );
    let back = work.back.as_ref().expect("it has paths");
    assert_eq!(back.given_up_s, Some(19.8));
    let settled = work.settled_s.expect("failing at once is a steady state");
    assert!((20.0..20.5).contains(&settled), "{settled}");
    let mut events = switch.events.iter();
    assert!(events.any(|event| event.what.starts_with("settled: all that comes fails")));
}

/// Whether all that comes fails afterwards is a matter of the hosts' patience, however long that lasts: work that waits for its NVMe
/// controllers, or for some checks, fails in the state after, though nothing of it has failed in the run; what waits for ever does not.
#[test]
fn what_fails_late_fails_after_all_the_same() {
    let one = |protocol: &str, speed: &str, no_path: &str, patient: &str| {
        let text = Twin {
            run: "duration = \"100ms\"\nwarm_up = \"20ms\"\nreplications = 1\nswitch_replications = 1\nsettle_limit = \"2s\"",
            timers: &format!("no_path = {no_path}\nfast_io_fail = \"1s\"\nkeep_alive = \"1s\"\n{patient}"),
            array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: &format!("speed = \"{speed}\""),
            far: &format!("speed = \"{speed}\""),
            name: "w",
            work: &format!("protocol = \"{protocol}\"\nread = \"100%\"\nsizes = \"4KiB\"\narrivals = {{ paced = \"100/s\" }}"),
            more: "[[outage]]\nname = \"both\"\ntakes = [\"core-A\", \"core-B\"]\n",
            ..Twin::default()
        }
        .text();
        let report = ask(&site(&text, &[]), &["both"], true);
        let work = moved(&report.switches[0], "w");
        (work.fails_after, work.failed[0] > 0, work.drain_s.is_some())
    };
    let fail = one("fc-scsi", "32GFC", "\"fail\"", "");
    assert_eq!(fail, (true, true, false));
    let late = one(
        "fc-scsi",
        "32GFC",
        "{ retry = 2 }",
        "path_check = \"500ms\"",
    );
    assert_eq!(late, (true, true, false));
    // NVMe gives up after 600 s unless told otherwise, and for no longer is it waited.
    let waits = one("nvme-tcp", "25GbE", "\"by-protocol\"", "");
    assert_eq!(waits, (true, true, false));
    let longer = "controller_loss = \"900s\"";
    let longer = one("nvme-tcp", "25GbE", "\"by-protocol\"", longer);
    assert_eq!(longer, (true, false, false));
    let ever = one("fc-scsi", "32GFC", "\"queue\"", "");
    assert!(!ever.0 && !ever.1, "{ever:?}");
}

/// NVMe without any path holds what waits until it gives its controllers up, and the run goes on until then: nothing is told as unfinished that
/// has an end. Where too much would come meanwhile it is not waited for.
#[test]
fn nvme_without_a_path_is_waited_for_until_its_controllers_are_given_up() {
    let text = |rate: &str| {
        format!(
            "format = 1\n[run]\nduration = \"200ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 1\nsettle_limit = \"5s\"\n\
             [timers]\ncontroller_loss = \"195s\"\nreconnect = \"10s\"\nkeep_alive = \"5s\"\n\
             [[host]]\nname = \"app\"\n[[switch]]\nname = \"lan\"\n[[array]]\nname = \"store\"\n\
             [[link]]\nfrom = \"app\"\nto = \"lan\"\nspeed = \"25GbE\"\n\
             [[link]]\nfrom = \"lan\"\nto = \"store\"\nspeed = \"25GbE\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"nvme-tcp\"\n\
             arrivals = {{ paced = \"{rate}/s\" }}\nsizes = \"8KiB\"\npromise = {{ switching = {{ longest_io = \"300s\" }} }}\n\
             [[outage]]\nname = \"all\"\ntakes = [\"lan-*\"]\n"
        )
    };
    let report = ask(&site(&text("200"), &[]), &["all"], true);
    let work = moved(&report.switches[0], "w");
    assert_eq!(work.longest_open, [false]);
    // 20 tries, from the notice on; what came first has waited for all of it.
    let longest = work.longest_io_s[0];
    assert!((205.0 - 0.1..206.0).contains(&longest), "{longest}");
    let by = work
        .failed_by
        .as_ref()
        .and_then(|event| event.timer.clone());
    let by = by.expect("it is by a timer");
    assert!(
        by.starts_with("controller loss in whole tries, 200"),
        "{by}"
    );
    // All that came in 200 s.
    assert!(work.failed[0] >= 40_000, "{}", work.failed[0]);
    let report = ask(&site(&text("3k"), &[]), &["all"], true);
    let work = moved(&report.switches[0], "w");
    assert_eq!(work.longest_open, [true]);
    assert!(report.switches[0].to_s < 100.0);
}
