//! Failures as they unfold: every stop of a workload told apart, marked where work went on and nowhere else, and nothing called
//! settled before the paths are what they will be.

use super::rig::{Twin, ask, moved, origin, site};
use halfloom::outcome::{Begin, Harm, Reference, Report, StopCause, Verdict, WorkStop};
use halfloom::render::sheet::{Steps, sheet};
use halfloom::render::table::report_text;
use halfloom::study::{NoProgress, simulate};

/// One host with one I/O under way at a time, in turn over two fabrics: whatever holds that one I/O stops everything.
fn unfolds(run: &str, timers: &str, events: &[(&str, &str)]) -> Report {
    let run = format!("duration = \"1500ms\"\nwarm_up = \"0s\"\n{run}");
    let events: String = events
        .iter()
        .map(|(at, what)| format!("[[event]]\nat = \"{at}\"\n{what}\n"))
        .collect();
    let text = Twin {
        run: &run,
        timers,
        host: "paths = \"round-robin\"",
        array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "orders",
        work: "protocol = \"fc-scsi\"\narrivals = { closed = { depth = 1, think = \"500us\" } }\nread = \"100%\"\n\
               sizes = \"8KiB\"\npromise = { switching = { longest_io = \"20s\", failed = 0 } }",
        more: &events,
        ..Twin::default()
    }
    .text();
    let site = site(&text, &[]);
    simulate(&site, origin(&site), &NoProgress)
}

const ONE: &str = "replications = 1";

fn stops(report: &Report) -> &[WorkStop] {
    &report.switches[0].workloads[0].stops
}

/// Rows that are said to have ended a stall, with their instants.
fn marked(report: &Report) -> Vec<(f64, String)> {
    let events = report.switches[0].events.iter();
    events
        .filter(|event| event.ended_stall)
        .map(|event| (event.t_s, event.what.clone()))
        .collect()
}

fn told(report: &Report) -> String {
    report_text(report).replace('\n', " ")
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 0.01, "{found}, not {expected}");
}

/// Both fabrics go, one second after the other, and one comes back 19 s after the first: what was held fails after 6.1 s, which
/// ends nothing; the path that is back does, and not before.
#[test]
fn what_fails_for_want_of_a_path_is_not_marked_and_the_path_that_is_back_is() {
    let report = unfolds(
        ONE,
        "",
        &[
            ("1s", "lose = \"core-A\""),
            ("2s", "lose = \"core-B\""),
            ("20s", "restore = \"core-B\""),
        ],
    );
    let marked = marked(&report);
    let [stop] = stops(&report) else {
        panic!("{:?}", stops(&report))
    };
    assert_eq!(marked.len(), 1, "{marked:?}");
    assert!(marked[0].1.contains("path back"), "{marked:?}");
    near(stop.from_s, 0.0);
    near(stop.to_s.expect("it is over"), marked[0].0);
    near(stop.s, report.switches[0].workloads[0].longest_silence_s);
    assert!(stop.s > 19.0, "{stop:?}");
    let failed = report.switches[0].workloads[0].failed_by.as_ref();
    let failed = failed.expect("some fail");
    assert_eq!(failed.timer.as_deref(), Some("no path, fail at once"));
    let text = told(&report);
    assert!(text.contains("until a path takes work again"), "{text}");
    assert!(text.contains("No path was left: the first fails"), "{text}");
}

/// A part that is back before its host lets go ends the stall, and no timer of the host: the part and its instant are named, and how long
/// the fabric took to use it.
#[test]
fn a_stall_that_a_return_ends_names_what_is_back() {
    let report = unfolds(
        ONE,
        "",
        &[("1s", "lose = \"core-A\""), ("3s", "restore = \"core-A\"")],
    );
    let work = &report.switches[0].workloads[0];
    let freed = work.freed_by.as_ref().expect("the path is back");
    assert_eq!(freed.timer, None);
    let ended = "; ended by the return of core-A at 2.000\u{202F}s, and forwarding update, ";
    assert!(freed.what.contains(ended), "{freed:?}");
    let lines = marked(&report);
    assert!(
        lines.iter().all(|(_, what)| what.contains(ended)),
        "{lines:?}"
    );
    let text = told(&report);
    assert!(
        text.contains("ended by the return of core-A at 2.000"),
        "{text}"
    );
    // A path that its host finds by a check is back by that.
    let report = unfolds(
        ONE,
        "",
        &[("1s", "lose = \"core-*\""), ("30s", "restore = \"core-A\"")],
    );
    let text = told(&report);
    assert!(!text.contains("ended by the return"), "{text}");
}

/// Nothing comes back: nothing is marked, the stop is not over, and no sentence says that work is let go.
#[test]
fn a_stop_that_nothing_ends_is_said_to_go_on() {
    let report = unfolds(ONE, "", &[("1s", "lose = \"box-c1\"")]);
    assert_eq!(marked(&report), []);
    let [stop] = stops(&report) else {
        panic!("{:?}", stops(&report))
    };
    assert!(stop.to_s.is_none() && stop.ended_by.is_none(), "{stop:?}");
    near(stop.s, report.switches[0].to_s);
    let text = told(&report);
    assert!(!text.contains("ended the stall"), "{text}");
    assert!(!text.contains("let go"), "{text}");
    assert!(
        text.contains("only a path that is back ends that"),
        "{text}"
    );
}

/// A port that comes and goes three times stops the work three times, each time until the path is back.
#[test]
fn each_stop_of_a_flapping_port_is_told() {
    let flap = "flap = \"app:A1\"\nperiod = \"2s\"\ndown = \"500ms\"\ncount = 3";
    let report = unfolds(ONE, "", &[("1s", flap)]);
    let found: Vec<(f64, f64)> = stops(&report)
        .iter()
        .map(|stop| (stop.from_s, stop.to_s.expect("it is over")))
        .collect();
    assert_eq!(found.len(), 3, "{found:?}");
    let marked = marked(&report);
    for (index, (from, to)) in found.iter().enumerate() {
        let down = 2.0 * index as f64;
        near(*from, down);
        // 500 ms down, and 200 ms until the switch forwards again.
        near(*to, down + 0.7);
        near(marked[index].0, down + 0.7);
    }
    let text = told(&report);
    assert!(
        text.contains("orders stops as a whole 3 times meanwhile: up to 700"),
        "{text}"
    );
    assert!(text.contains("stops 3 times: for 700"), "{text}");
}

/// Two silent losses far apart: attempts time out twice, and each has its own row at its own time.
#[test]
fn timeouts_of_a_second_fault_have_a_row_of_their_own() {
    let report = unfolds(
        ONE,
        "command_timeout = \"2s\"",
        &[
            ("1s", "lose = \"app:A1\"\nmode = \"silent\""),
            ("8s", "restore = \"app:A1\""),
            ("20s", "lose = \"app:A1\"\nmode = \"silent\""),
        ],
    );
    let marked = marked(&report);
    let ends: Vec<f64> = stops(&report)
        .iter()
        .map(|stop| stop.to_s.expect("it is over"))
        .collect();
    assert!(ends.len() >= 2, "{ends:?}");
    assert_eq!(marked.len(), ends.len(), "{marked:?}");
    for ((at, what), end) in marked.iter().zip(&ends) {
        assert!(what.contains("timed out"), "{what}");
        near(*at, *end);
    }
    assert!(ends[0] < 3.0 && ends[ends.len() - 1] > 19.0, "{ends:?}");
    let text = told(&report);
    assert!(!text.contains("the last after"), "{text}");
}

/// A part that is slow and damages frames is not a lost path.
#[test]
fn a_slow_part_is_not_called_a_lost_path() {
    let slow = "slow = \"core-A\"\nrate = \"10%\"\nloss = \"5%\"";
    let timers = "command_timeout = \"2s\"";
    let report = unfolds(ONE, timers, &[("1s", slow), ("5s", "restore = \"core-A\"")]);
    assert_eq!(report.switches[0].harm, Harm::Slow);
    let text = told(&report);
    assert!(
        text.contains("slow or loses frames") && !text.contains("lost path"),
        "{text}"
    );
    let lost = unfolds(ONE, timers, &[("1s", "lose = \"core-A\"")]);
    assert_eq!(lost.switches[0].harm, Harm::Loss);
    assert!(told(&lost).contains("a lost path"));
    let both = unfolds(
        ONE,
        timers,
        &[("1s", slow), ("1500ms", "lose = \"core-B\"")],
    );
    assert_eq!(both.switches[0].harm, Harm::Both);
}

/// One fabric carries the load as both do: latency does not tell whether the restored path is back, and still it is not settled
/// before it is.
#[test]
fn nothing_has_settled_before_the_restored_path_is_back() {
    let report = unfolds(
        ONE,
        "",
        &[("1s", "lose = \"core-A\""), ("10s", "restore = \"core-A\"")],
    );
    let switch = &report.switches[0];
    let mut back = switch.events.iter().rev();
    let back = back.find(|event| event.what.contains("path back"));
    let back = back.expect("the path comes back").t_s;
    // The switch forwards again after 200 ms, and the next check of the path finds it.
    assert!(back > 9.2, "{back}");
    let settled = switch.settled_s.expect("it settles");
    assert!(settled >= back, "{settled} before {back}");
    let own = switch.workloads[0].settled_s.expect("it settles");
    assert!(own >= back, "{own} before {back}");
}

/// Whoever asks for one replication gets one of the switch-over too, and one number; more are told apart.
#[test]
fn replications_are_one_count_or_both_are_told() {
    let loss = [("1s", "lose = \"core-A\"")];
    let one = unfolds(ONE, "", &loss);
    assert_eq!(one.switches[0].replications, 1);
    let text = told(&one);
    for wrong in [
        "of 1 runs",
        "each by itself",
        "of the worst",
        "all replications",
    ] {
        assert!(!text.contains(wrong), "{wrong}: {text}");
    }
    assert!(text.contains("1 replication of the switch-over."), "{text}");
    let many = unfolds("replications = 4", "", &loss);
    assert_eq!(many.switches[0].replications, 3);
    let text = told(&many);
    assert!(
        text.contains("4 replications, 3 of a switch-over"),
        "{text}"
    );
    let stated = unfolds("replications = 1\nswitch_replications = 2", "", &loss);
    assert_eq!(stated.switches[0].replications, 2);
}

/// Links that are lost and links that are back are told apart, and no group is named where there is none.
#[test]
fn what_switches_do_is_told_by_what_has_happened() {
    let events = [("1s", "lose = \"core-A\""), ("3s", "restore = \"core-A\"")];
    let report = unfolds(ONE, "", &events);
    let of = |wanted: &str| {
        let mut events = report.switches[0].events.iter();
        let event = events.find(|event| event.what.contains(wanted));
        event.unwrap_or_else(|| panic!("{wanted}: {:?}", report.switches[0].events))
    };
    let lost = of("no longer use the lost links");
    let back = of("use the returned links again");
    near(lost.t_s, 0.2);
    near(back.t_s, 2.2);
    for event in [lost, back] {
        let timer = event.timer.as_deref().unwrap_or_default();
        assert!(timer.starts_with("forwarding update"), "{timer}");
    }
    assert!(!told(&report).contains("LAG"));
    let drained = unfolds(ONE, "", &[("1s", "drain = \"core-A\"")]);
    let mut events = drained.switches[0].events.iter();
    assert!(events.any(|event| event.what.starts_with("1 path drained: no new I/O on it")));
}

/// A part that goes on damaging few frames looks settled at once; what it loses later counts all the same, for as long as a run may
/// take to settle.
#[test]
fn frames_that_are_lost_late_are_not_missed() {
    let timers = "command_timeout = \"2s\"";
    let rare = "slow = \"core-A\"\nrate = \"99%\"\nloss = \"0.01%\"";
    let report = unfolds(ONE, timers, &[("1s", rare)]);
    let switch = &report.switches[0];
    // 30 s is the limit for settling.
    assert!(switch.to_s >= 30.0, "{}", switch.to_s);
    let work = &switch.workloads[0];
    assert!(work.longest_io_s[0] > 2.0, "{:?}", work.longest_io_s);
    assert!(work.retried > 0);
    let text = told(&report);
    assert!(
        text.contains("what is lost later is in none of these"),
        "{text}"
    );
    // Restored, it need not go on.
    let back = unfolds(
        ONE,
        timers,
        &[("1s", rare), ("1200ms", "restore = \"core-A\"")],
    );
    assert!(back.switches[0].to_s < 10.0, "{}", back.switches[0].to_s);
    assert!(!told(&back).contains("what is lost later"));
}

/// The emptiest bin is told with its width: in a long run it is wider than 20 ms.
#[test]
fn the_width_of_the_emptiest_bin_is_told() {
    let short = unfolds(ONE, "", &[("1s", "lose = \"app:A1\"\nmode = \"loud\"")]);
    assert!(told(&short).contains("least and most completed in 20"));
    let back = ("61s", "restore = \"app:A1\"");
    let long = unfolds(
        ONE,
        "",
        &[("1s", "lose = \"app:A1\"\nmode = \"loud\""), back],
    );
    let width = long.switches[0].bin_s;
    assert!(width > 0.1, "{width}");
    let said = format!("least completed in {:.0}", width * 1e3);
    assert!(told(&long).contains(&said), "{said}: {}", told(&long));
}

/// File traffic over one port of a team: what happens to the others is told as it is, and the policy of paths decides nothing.
#[test]
fn a_team_is_told_as_one() {
    let text = Twin {
        run: "duration = \"1s\"\nwarm_up = \"0s\"\nreplications = 1",
        host: "count = 2\nteam = \"first\"",
        array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"25GbE\"",
        far: "speed = \"25GbE\"",
        name: "files",
        work: "protocol = \"nfs\"\narrivals = { paced = \"2k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"",
        more: "[[event]]\nat = \"1s\"\nlose = \"core-A\"\n",
        ..Twin::default()
    }
    .text();
    let site = site(&text, &[]);
    let report = simulate(&site, origin(&site), &NoProgress);
    let events = &report.switches[0].events;
    let all: Vec<&str> = events.iter().map(|event| event.what.as_str()).collect();
    assert!(
        all.contains(&"2 paths in use, no longer standing by"),
        "{all:?}"
    );
    assert!(!all.contains(&"2 paths back"), "{all:?}");
    let text = told(&report);
    assert!(text.contains("over one port of a team"), "{text}");
    assert!(!text.contains("fewest I/Os"), "{text}");
}

/// A port of a team that is lost does not stand by: the table, the lanes and the sheet say so, and count one port a host.
#[test]
fn a_lost_port_of_a_team_does_not_stand_by() {
    let of = |team: &str| {
        let text = Twin {
            run: "duration = \"200ms\"\nwarm_up = \"0s\"\nreplications = 1\nswitch_replications = 1",
            host: &format!("count = 2\nteam = \"{team}\""),
            array: "controllers = 2\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: "speed = \"25GbE\"",
            far: "speed = \"25GbE\"",
            name: "files",
            work: "protocol = \"nfs\"\narrivals = { paced = \"2k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"",
            ..Twin::default()
        }
        .text();
        ask(&site(&text, &[]), &["A"], true)
    };
    let report = of("first");
    let switch = &report.switches[0];
    let told: Vec<&str> = switch
        .events
        .iter()
        .map(|event| event.what.as_str())
        .collect();
    assert!(
        told.contains(&"4 paths lost, another port in use"),
        "{told:?}"
    );
    assert!(
        !told.iter().any(|what| what.ends_with("paths standing by")),
        "{told:?}"
    );
    let states = |side: char| -> Vec<&str> {
        let lane = switch.lanes.iter().find(|lane| lane.side == Some(side));
        let spans = lane.expect("it has paths").spans.iter();
        spans.map(|span| span.state.as_str()).collect()
    };
    assert_eq!(
        states('A'),
        ["up", "loss not noticed", "lost, another port in use"]
    );
    assert_eq!(states('B'), ["standing by", "up"]);

    let counts = |report: &Report, when: &str| -> Vec<(String, u64, u64)> {
        let steps = Steps::of(report.clone());
        let found = sheet(&steps);
        let lines = if when == "before" {
            &found.before
        } else {
            &found.cases[0].lines
        };
        let lines = lines
            .iter()
            .filter(|line| line.when == when && line.what.contains("paths"));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        lines
            .map(|line| {
                let what = line.what.split(&[':', ','][..]).nth(1).unwrap_or_default();
                (
                    what.trim().to_owned(),
                    line.low.unwrap() as u64,
                    line.high.unwrap() as u64,
                )
            })
            .collect()
    };
    let row = |what: &str, low: u64, high: u64| (what.to_owned(), low, high);
    let before = [
        row("paths in use on A", 2, 2),
        row("paths in use on B", 0, 0),
        row("paths standing by on B", 2, 2),
    ];
    assert_eq!(counts(&report, "before"), before);
    let after = [
        row("paths in use on A", 0, 0),
        row("paths in use on B", 2, 2),
    ];
    assert_eq!(counts(&report, "after"), after);
    // Turn by turn a host has two on one fabric and none on the other.
    let turns = of("alternate");
    let before = [
        row("paths in use on A", 0, 2),
        row("paths standing by on A", 0, 2),
        row("paths in use on B", 0, 2),
        row("paths standing by on B", 0, 2),
    ];
    assert_eq!(counts(&turns, "before"), before);
}

/// A controller takes half of the paths of each fabric: what becomes of that half is told beside the half that is up, and the sheet
/// has the takeover, which is to be seen on the array.
#[test]
fn the_sheet_of_a_lost_controller_has_its_chain_and_the_takeover() {
    let text = Twin {
        run: "duration = \"200ms\"\nwarm_up = \"0s\"\nreplications = 1\nswitch_replications = 1\nsettle_limit = \"10s\"",
        timers: "link_loss_detect = \"100ms\"\nstate_notice = \"500ms\"\nfast_io_fail = \"1s\"",
        host: "paths = \"round-robin\"",
        array: "controllers = 2\ntakeover = \"1s\"\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"16GFC\"",
        far: "speed = \"32GFC\"",
        name: "w",
        work: "protocol = \"fc-scsi\"\nowner = \"alternate\"\narrivals = { paced = \"1k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"",
        more: "[[outage]]\nname = \"ctrl\"\ntakes = \"box-c1\"\n",
        ..Twin::default()
    }
    .text();
    let report = ask(&site(&text, &[]), &["ctrl"], true);
    for lane in &report.switches[0].lanes {
        let states: Vec<(f64, &str)> = lane
            .spans
            .iter()
            .filter(|span| span.to_s > 0.0)
            .map(|span| ((span.from_s * 10.0).round() / 10.0, span.state.as_str()))
            .collect();
        let chain = [
            (0.0, "1 of 2 up, 1 loss not noticed"),
            (0.6, "1 of 2 up, 1 held"),
            (1.6, "1 of 2 up, 1 failed"),
        ];
        assert_eq!(states, chain, "{}", lane.name);
    }
    let steps = Steps::of(report);
    let found = sheet(&steps);
    let mut lines = found.cases[0].lines.iter();
    let line = lines.find(|line| line.what.starts_with("on the array: volumes of box-c1"));
    let line = line.expect("it is to be seen");
    assert_eq!(
        (line.low, line.high, line.unit.as_str()),
        (Some(1.0), Some(1.0), "s")
    );
    assert!(line.what.contains("takeover, 1"), "{}", line.what);
}

/// The paths of a host that went down are not expected to be held or to fail: nobody is there to see it. Its guests are
/// expected on the others, 1 s + 2 s later.
#[test]
fn the_sheet_of_a_lost_host_has_the_restart_of_its_guests() {
    let text = Twin {
        run: "duration = \"1s\"\nwarm_up = \"0s\"\nreplications = 1\nswitch_replications = 1",
        timers: "guest_detect = \"1s\"\nguest_restart = \"2s\"",
        host: "count = 3\nguests = \"restart\"",
        array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "vms",
        work: "protocol = \"fc-scsi\"\narrivals = { paced = \"3k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"",
        more: "[[outage]]\nname = \"one\"\ntakes = \"app-2\"\n",
        ..Twin::default()
    }
    .text();
    let report = ask(&site(&text, &[]), &["one"], true);
    for lane in &report.switches[0].lanes {
        let after = lane.spans.iter().filter(|span| span.to_s > 0.0);
        let states: Vec<&str> = after.map(|span| span.state.as_str()).collect();
        assert_eq!(
            states,
            ["2 of 3 up, 1 lost with their hosts"],
            "{}",
            lane.name
        );
    }
    let found = sheet(&Steps::of(report));
    let mut lines = found.cases[0].lines.iter();
    let line = lines.find(|line| line.what.starts_with("guests of 1 host restarted"));
    let line = line.expect("it is to be seen");
    assert_eq!((line.low, line.high), (Some(3.0), Some(3.0)), "{line:?}");
}

/// What a lost host does not ask for is in no latency and no failure; the answer says it.
#[test]
fn work_that_lost_hosts_do_not_ask_for_is_told() {
    let text = Twin {
        run: "duration = \"1s\"\nwarm_up = \"0s\"\nreplications = 1",
        timers: "guest_detect = \"1s\"\nguest_restart = \"2s\"",
        host: "count = 3\nguests = \"restart\"",
        array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "vms",
        work: "protocol = \"fc-scsi\"\narrivals = { paced = \"3k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"\n\
               promise = { switching = { failed = 0 } }",
        more: "[[event]]\nat = \"1s\"\nlose = \"app-2\"\n",
        ..Twin::default()
    }
    .text();
    let site = site(&text, &[]);
    let report = simulate(&site, origin(&site), &NoProgress);
    let mut events = report.switches[0].events.iter();
    assert!(events.any(|event| event.what == "1 host lost with its work"));
    // A thousand a second of it for three seconds.
    let unasked = report.switches[0].workloads[0].unasked[0];
    assert!(unasked.abs_diff(3_000) <= 2, "{unasked}");
    let text = told(&report);
    assert!(
        text.contains("Hosts of vms are out of service themselves"),
        "{text}"
    );
    let kept = unfolds(ONE, "", &[("1s", "lose = \"core-A\"")]);
    assert!(!told(&kept).contains("out of service"));
}

/// A member of a group of links is lost silently, and the load is so light that no frame may ever be sent over it: the run goes on
/// all the same until LACP has given it up, 3 s later.
#[test]
fn a_run_goes_on_until_a_group_has_given_up_its_silent_member() {
    for member in 1..=4 {
        let text = format!(
            "format = 1\n[run]\nduration = \"2s\"\nwarm_up = \"0s\"\nreplications = 1\n[timers]\nlacp = \"fast\"\n\
             [[host]]\nname = \"app\"\n[[switch]]\nname = \"edge\"\n[[switch]]\nname = \"core\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\n\
             [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"25GbE\"\n\
             [[link]]\nfrom = \"edge\"\nto = \"core\"\nspeed = \"25GbE\"\nmembers = 4\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"25GbE\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"nvme-tcp\"\nconnections = 1\n\
             arrivals = {{ paced = \"200/s\" }}\nsizes = \"8KiB\"\n\
             [[event]]\nat = \"1s\"\nlose = \"edge-A~core-A/{member}\"\nmode = \"silent\"\n"
        );
        let site = site(&text, &[]);
        let report = simulate(&site, origin(&site), &NoProgress);
        let switch = &report.switches[0];
        assert!(switch.to_s >= 3.0, "member {member}: {}", switch.to_s);
        let mut events = switch.events.iter();
        assert!(
            events.any(|event| event.timer.as_deref() == Some("LACP expiry, 3s")),
            "member {member}"
        );
    }
}

/// Commands of many paths time out one after the other within milliseconds: that is one row, with its last.
#[test]
fn paths_that_go_alike_are_told_together() {
    let text = Twin {
        run: "duration = \"1s\"\nwarm_up = \"0s\"\nreplications = 1",
        timers: "command_timeout = \"2s\"",
        host: "count = 4\npaths = \"round-robin\"",
        array: "controllers = 2\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "orders",
        work: "protocol = \"fc-scsi\"\narrivals = { poisson = \"4k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"",
        more: "[[event]]\nat = \"1s\"\nlose = \"core-A\"\nmode = \"silent\"\n[[event]]\nat = \"8s\"\nrestore = \"core-A\"\n",
        ..Twin::default()
    }
    .text();
    let site = site(&text, &[]);
    let report = simulate(&site, origin(&site), &NoProgress);
    let events = &report.switches[0].events;
    let given_up: Vec<&str> = events
        .iter()
        .filter(|event| event.what.contains("given up"))
        .map(|event| event.what.as_str())
        .collect();
    assert_eq!(given_up.len(), 1, "{given_up:?}");
    assert!(
        given_up[0].starts_with("8 paths given up, ") && given_up[0].contains("the last at 2.0"),
        "{given_up:?}"
    );
    let held: u64 = report.switches[0].workloads[0].held[0];
    let attempts: u64 = events
        .iter()
        .filter(|event| event.what.contains("timed out") || event.what.contains("given up"))
        .filter_map(|event| event.ios)
        .sum();
    assert_eq!(attempts, held);
}

/// The same host with a set rate: 20 reads a second, so few that each is alone, by the fewest under way. `promise` is judged.
fn paced(timers: &str, promise: &str, more: &str) -> Report {
    let work = format!(
        "protocol = \"fc-scsi\"\narrivals = {{ paced = \"20/s\" }}\nread = \"100%\"\nsizes = \"8KiB\"\n\
         promise = {promise}"
    );
    let text = Twin {
        run: "duration = \"3s\"\nwarm_up = \"0s\"\nreplications = 2\nswitch_replications = 1",
        timers,
        host: "paths = \"least-queue\"",
        array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "orders",
        work: &work,
        more,
        ..Twin::default()
    }
    .text();
    let site = site(&text, &[]);
    simulate(&site, origin(&site), &NoProgress)
}

/// One read goes to the path that is lost silently, and hangs for its command timeout of 2 s, while all others go over the other.
/// One that hangs is a backlog until then. Its bins are above no mean promise of 10 s, which is no time, and not "-0".
#[test]
fn one_io_that_hangs_is_a_backlog_until_it_is_over() {
    let lose = "[[event]]\nat = \"1s\"\nlose = \"core-A\"\nmode = \"silent\"\n";
    let timers = "command_timeout = \"2s\"";
    for seed in ["1", "2", "3"] {
        let timers = format!("{timers}\n");
        let more = lose.replace("1s", &format!("{seed}.01s"));
        let report = paced(&timers, "{ mean = \"10s\" }", &more);
        let work = &report.switches[0].workloads[0];
        assert_eq!(work.held, [1]);
        let (drain, width) = (work.drain_s.expect("it drains"), report.switches[0].bin_s);
        let longest = work.longest_io_s[0];
        assert!((1.9..2.1).contains(&longest), "{longest}");
        // The beginning of the bin in which it ends, or of the next, counted from the loss up to a read before it begins.
        assert!(
            (longest - width..longest + 0.06 + width).contains(&drain),
            "{drain} of {longest}, {width}"
        );
        assert_eq!(work.above_promise_s, Some(0.0));
        let written = super::rig::json(&report);
        assert!(
            !written.contains("-0.0,") && !written.contains("-0.0\n"),
            "minus nothing"
        );
    }
    // Nothing hangs when a part is drained: there is no backlog to work off.
    let drained = "[[event]]\nat = \"1s\"\ndrain = \"core-A\"\n";
    let report = paced("", "{ mean = \"10s\" }", drained);
    assert_eq!(report.switches[0].workloads[0].drain_s, Some(0.0));
}

/// Both fabrics are silent for 3 s, and used again 0.2 s later; whatever came meanwhile hangs for its command timeout of 4 s. Nothing is
/// completed for 3.2 s, and what is completed from the fifth to the eighth took 4 s: 6.4 s are above a mean of 5 ms. Where all fail at
/// once that time is, too.
#[test]
fn bins_in_which_nothing_is_completed_are_above_a_mean() {
    let both = |loss: &str| {
        ["A", "B"].map(|side| {
            format!("[[event]]\nat = \"1s\"\nlose = \"core-{side}\"\nmode = \"{loss}\"\n[[event]]\nat = \"4s\"\nrestore = \"core-{side}\"\n")
        })
    };
    let timers = "command_timeout = \"4s\"";
    let report = paced(timers, "{ mean = \"5ms\" }", &both("silent").concat());
    let above = |report: &Report| {
        let above = report.switches[0].workloads[0].above_promise_s;
        above.expect("a mean is promised")
    };
    assert!((6.1..6.9).contains(&above(&report)), "{}", above(&report));
    // Given up after 0.6 s: what comes in the 3 s fails at once, until the next check.
    let timers = "fast_io_fail = \"0s\"\npath_check = \"5s\"";
    let report = paced(timers, "{ mean = \"5ms\" }", &both("loud").concat());
    let work = &report.switches[0].workloads[0];
    assert!(work.failed[0] > 50 && work.failed_without_path && !work.no_path);
    // Bins with a read in them: 20 a second, in bins of 20 ms at least.
    assert!(above(&report) > 1.0, "{}", above(&report));
}

/// Without a retry what hangs fails, and the next goes over the other path, which was there all along: it is not said to be missing.
#[test]
fn a_path_that_answers_is_not_said_to_be_missing() {
    let report = unfolds(ONE, "retries = 0", &[("1s", "lose = \"core-A\"")]);
    let [stop] = stops(&report) else {
        panic!("{:?}", stops(&report))
    };
    assert_eq!(stop.cause, StopCause::LostPaths);
    assert_eq!(report.switches[0].workloads[0].failed, [1]);
    let text = told(&report);
    assert!(!text.contains("no path was left"), "{text}");
    assert!(text.contains(", until it fails."), "{text}");
    // Nobody answers: then it is.
    let report = unfolds(ONE, "", &[("1s", "lose = \"box-c1\"")]);
    assert_eq!(stops(&report)[0].cause, StopCause::NoPath);
}

/// Paths that come back stay unused where failback is by hand, unless there is no other: the check that finds one ends the stop.
#[test]
fn the_check_that_finds_the_only_path_ends_a_stop_though_failback_is_by_hand() {
    let report = unfolds(
        ONE,
        "failback = \"manual\"\nno_path = \"queue\"",
        &[
            ("1s", "lose = \"core-A\""),
            ("1s", "lose = \"core-B\""),
            ("10s", "restore = \"core-B\""),
        ],
    );
    let [stop] = stops(&report) else {
        panic!("{:?}", stops(&report))
    };
    assert_eq!(stop.ended_by.as_deref(), Some("path check, 5s"));
    let marked = marked(&report);
    assert_eq!(marked.len(), 1, "{marked:?}");
    near(marked[0].0, stop.to_s.expect("it is over"));
}

/// A link that damages every frame is lost, and told like that.
#[test]
fn a_link_that_damages_every_frame_is_lost() {
    let report = unfolds(
        ONE,
        "command_timeout = \"2s\"",
        &[("1s", "slow = \"app:A1\"\nloss = \"100%\"")],
    );
    let switch = &report.switches[0];
    assert_eq!(
        (switch.harm, switch.counted_from),
        (Harm::Loss, Begin::Loss)
    );
    assert_eq!(switch.settles_to, Reference::Survivors);
    assert!(switch.settled_s.is_some());
    let work = &switch.workloads[0];
    assert_eq!(work.retried, 1);
    assert!(
        work.by_timers
            .as_ref()
            .is_some_and(|stall| stall.by == "command timeout, 2s")
    );
}

/// A cluster that loses its last host has nobody left to run the guests: the work stops for good, and its promise is missed.
#[test]
fn guests_that_nobody_is_left_to_run_are_cut_off() {
    let run = "duration = \"1500ms\"\nwarm_up = \"0s\"\nreplications = 1";
    let of = |events: &str| {
        let text = Twin {
            run,
            host: "count = 2\nguests = \"restart\"\ntimers = { guest_detect = \"1s\", guest_restart = \"2s\", path_check = \"1s\" }",
            array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: "speed = \"32GFC\"",
            far: "speed = \"32GFC\"",
            name: "orders",
            work: "protocol = \"fc-scsi\"\narrivals = { poisson = \"1k/s\" }\nread = \"100%\"\nsizes = \"8KiB\"\n\
                   promise = { switching = { longest_io = \"20s\", failed = 0 } }",
            more: events,
            ..Twin::default()
        }
        .text();
        let site = site(&text, &[]);
        simulate(&site, origin(&site), &NoProgress)
    };
    let verdicts = |report: &Report| -> Vec<Verdict> {
        let cells = report
            .matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten());
        cells.map(|cell| cell.verdict).collect()
    };
    let lost = |host: u32, at: &str| format!("[[event]]\nat = \"{at}\"\nlose = \"app-{host}\"\n");
    let one = of(&lost(1, "1s"));
    assert_eq!(verdicts(&one), [Verdict::Met; 2]);
    assert_eq!(one.switches[0].workloads[0].hosts_gone, 0);
    let both = of(&[lost(1, "1s"), lost(2, "1s")].concat());
    assert_eq!(verdicts(&both), [Verdict::Missed; 2]);
    let work = &both.switches[0].workloads[0];
    assert_eq!(work.hosts_gone, 2);
    let [stop] = work.stops.as_slice() else {
        panic!("{:?}", work.stops)
    };
    assert!(stop.to_s.is_none() && stop.cause == StopCause::HostsLost);
    assert!(work.longest_silence_s > 2.9 && work.stopped());
    let text = told(&both);
    assert!(
        text.contains("is cut off: nobody is left to do the work"),
        "{text}"
    );
    // One comes back at 5 s, and has its paths 1 s later: 2 s after that the guests of both run on it, and that ends the stop.
    let back = "[[event]]\nat = \"5s\"\nrestore = \"app-2\"\n";
    let back = of(&[lost(1, "1s"), lost(2, "1s"), back.to_owned()].concat());
    let work = &back.switches[0].workloads[0];
    let [stop] = work.stops.as_slice() else {
        panic!("{:?}", work.stops)
    };
    near(stop.to_s.expect("it is over"), 7.0);
    assert_eq!((stop.cause, work.hosts_gone), (StopCause::HostsLost, 0));
    assert!(
        stop.ended_by
            .as_ref()
            .is_some_and(|by| by.starts_with("restart of guests"))
    );
    assert!(
        told(&back).contains("its hosts were out of service themselves"),
        "{}",
        told(&back)
    );
}

/// One read every two seconds, in turn over A and B, where A loses frames without a sign: those on A wait for 4 s, and those that come
/// meanwhile go over B as ever. Nothing stops while nothing comes.
#[test]
fn work_that_comes_now_and_then_does_not_stop_between() {
    let text = Twin {
        run: "duration = \"40s\"\nwarm_up = \"1s\"\nreplications = 2\nswitch_replications = 1\nsettle_limit = \"2s\"",
        timers: "command_timeout = \"4s\"",
        host: "paths = \"round-robin\"",
        array: "controllers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "w",
        work: "protocol = \"fc-scsi\"\nread = \"100%\"\nsizes = \"4KiB\"\narrivals = { paced = \"0.5/s\" }",
        more: "[[outage]]\nname = \"hole\"\ntakes = [\"core-A\"]\nmode = \"silent\"\n",
        ..Twin::default()
    }
    .text();
    let report = ask(&site(&text, &[]), &["hole"], true);
    let found = moved(&report.switches[0], "w");
    assert!(found.retried > 0, "something hung");
    assert!(found.stops.is_empty(), "{:?}", found.stops);
}

/// A power feed takes a switch of one fabric and a controller. Work stops until keep-alive lets it go to the other fabric, and again,
/// for less than half as long as the oldest I/O has waited, until the partner has the volumes: both stops are told, and the second ends
/// the stall.
#[test]
fn a_second_stop_is_told_however_long_the_first_was() {
    let text = Twin {
        run: "duration = \"300ms\"\nwarm_up = \"100ms\"\nreplications = 1\nswitch_replications = 1",
        timers: "preset = \"short\"",
        host: "count = 2",
        array: "controllers = 2\ntakeover = \"8s\"\nread = { hit = \"100%\", hit_time = \"100us\" }",
        near: "speed = \"25GbE\"",
        far: "speed = \"25GbE\"",
        name: "load",
        work: "protocol = \"nvme-tcp\"\narrivals = { poisson = \"500/s\" }\nread = \"100%\"\nsizes = \"4KiB\"\n\
               owner = \"alternate\"\npromise = { switching = { longest_io = \"4s\" } }",
        more: "[[group]]\nname = \"rack\"\nparts = [\"core-A\", \"box-c1\"]\n\
               [[outage]]\nname = \"feed\"\ntakes = \"rack\"\n",
        ..Twin::default()
    }
    .text();
    let report = ask(&site(&text, &[]), &["feed"], true);
    let [first, second] = stops(&report) else {
        panic!("{:?}", stops(&report))
    };
    near(first.to_s.expect("it is over"), 5.0);
    near(second.to_s.expect("it is over"), 8.0);
    assert!(second.s > 2.9 && second.s < 3.0, "{second:?}");
    let by = |stop: &WorkStop| stop.ended_by.clone().unwrap_or_default();
    assert!(by(first).contains("keep-alive"), "{first:?}");
    assert!(by(second).contains("takeover"), "{second:?}");
    let marked = marked(&report);
    let last = marked.last().expect("both are marked");
    near(last.0, 8.0);
    let text = told(&report);
    assert!(
        !text.contains("stall of the work as a whole ends at 5"),
        "{text}"
    );
}

/// Work that comes in bursts has not stopped where it is between two of them, whatever hangs.
#[test]
fn a_pause_of_the_work_is_no_stop() {
    use halfloom::model::{Before, Stopped};
    use halfloom::unit::Duration;
    let before = |silence| Before {
        lasted: Duration::from_ms(1_000),
        completed: 1_000,
        silence: Duration::from_ms(silence),
    };
    let out = |ms, before: &Before| Stopped::stands_out(Duration::from_ms(ms), before);
    assert!(out(20, &before(5)) && !out(19, &before(5)));
    assert!(out(600, &before(300)) && !out(599, &before(300)));
    let few = Before {
        completed: 10,
        ..before(200)
    };
    assert!(out(2_000, &few) && !out(1_999, &few));
    assert!(!out(100_000, &Before::default()));
}

/// Where a completion takes a millisecond on average, seven without one come by chance (e^-7, one gap in a thousand), and so does as
/// long as there was none before the loss.
#[test]
fn a_gap_that_arrivals_leave_by_chance_is_no_stop() {
    use halfloom::model::{Before, Stopped};
    use halfloom::unit::Duration;
    let before = |completed, silence| Before {
        lasted: Duration::from_ms(1_000),
        completed,
        silence: Duration::from_ms(silence),
    };
    assert_eq!(Stopped::by_chance(&before(1_000, 2)), Duration::from_ms(7));
    assert_eq!(
        Stopped::by_chance(&before(1_000, 30)),
        Duration::from_ms(30)
    );
    assert_eq!(Stopped::by_chance(&Before::default()), Duration::ZERO);
}

/// An I/O that fails with its last attempt is counted in the line of that attempt and in no other.
#[test]
fn each_failed_io_stands_in_one_line() {
    let text = Twin {
        run: "duration = \"300ms\"\nwarm_up = \"100ms\"\nreplications = 1\nswitch_replications = 1",
        timers: "command_timeout = \"2s\"\nretries = 0",
        host: "count = 2",
        array: "controllers = 2\nread = { hit = \"100%\", hit_time = \"1ms\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "load",
        work: "protocol = \"fc-scsi\"\narrivals = { poisson = \"1k/s\" }\nread = \"100%\"\nsizes = \"4KiB\"",
        more: "[[outage]]\nname = \"hole\"\ntakes = \"*-A\"\nmode = \"silent\"\n",
        ..Twin::default()
    }
    .text();
    let report = ask(&site(&text, &[]), &["hole"], true);
    let switch = &report.switches[0];
    let failed = switch.workloads[0].failed[0];
    assert!(failed > 3, "{failed}");
    let told: Vec<u64> = switch
        .events
        .iter()
        .filter_map(|event| {
            let before = event.what.split(" I/Os failed").next()?;
            let all = event.what.contains(" I/Os failed");
            let number = before.rsplit(' ').next()?;
            all.then(|| number.parse().expect("a number"))
        })
        .collect();
    assert_eq!(told.iter().sum::<u64>(), failed, "{:?}", switch.events);
    let first = switch.workloads[0].failed_by.as_ref().expect("some fail");
    assert_eq!(first.ios, Some(failed));
    assert_eq!(first.timer.as_deref(), Some("command timeout, 2s"));
}
