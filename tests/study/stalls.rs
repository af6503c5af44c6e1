//! The stall that timers account for, beside the longest I/O of the switch-over: every protocol, loud and silent losses, the
//! host's own link and a link behind its switch.

use super::rig::{Twin, ask, origin, site};
use halfloom::outcome::{Report, Trust};
use halfloom::render::table::report_text;
use halfloom::study::{Ask, study};
use halfloom::study::{NoProgress, simulate};

/// A protocol, the link that carries it, and its stalls in seconds: a loud loss of a whole side, a loud loss behind the
/// switch, a silent loss of a whole side.
type Row = (&'static str, &'static str, [f64; 3]);

/// The arithmetic, with the timers of `TIMERS`. Fibre Channel: link-loss detection 0.1 s, the notice of a loss behind the switch
/// 0.3 s more; SCSI is held for fast-io-fail, 2 s; what is silent shows when a command times out, 4 s. On Ethernet the
/// timers do not tell a loud loss from a silent one: iSCSI ping 1 s, its timeout 1 s and the session's replacement 3 s; the
/// keep-alive of the others 2 s, and nothing is held.
const ROWS: [Row; 7] = [
    ("fc-scsi", "32GFC", [2.1, 2.4, 4.0]),
    ("fc-nvme", "32GFC", [0.1, 0.4, 4.0]),
    ("iscsi", "25GbE", [5.0, 5.0, 5.0]),
    ("nvme-tcp", "25GbE", [2.0, 2.0, 2.0]),
    ("nvme-rdma", "25GbE", [2.0, 2.0, 2.0]),
    ("nfs", "25GbE", [2.0, 2.0, 2.0]),
    (
        "plain\"\nrequest = 100\nresponse = 4096\nframe = \"4096B",
        "25GbE",
        [0.1, 0.4, 4.0],
    ),
];

const TIMERS: &str = "link_loss_detect = \"100ms\"\nstate_notice = \"300ms\"\nfast_io_fail = \"2s\"\ncommand_timeout = \"4s\"\n\
                      iscsi_ping = \"1s\"\niscsi_ping_timeout = \"1s\"\niscsi_replacement = \"3s\"\nkeep_alive = \"2s\"";

fn text(protocol: &str, speed: &str, timers: &str, more: &str) -> String {
    let link = format!("speed = \"{speed}\"");
    Twin {
        run: "duration = \"400ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 2\nsettle_limit = \"2s\"",
        timers: &format!("{TIMERS}\n{timers}"),
        host: "paths = \"round-robin\"\nqueue_depth = 4096",
        array: "controllers = 1\nparallel = 256\nread = { hit = \"100%\", hit_time = \"200us\" }",
        near: &link,
        far: &link,
        name: "w",
        work: &format!(
            "protocol = \"{protocol}\"\nread = \"100%\"\nsizes = \"4KiB\"\narrivals = {{ paced = \"4k/s\" }}\n\
             promise = {{ mean = \"5ms\" }}"
        ),
        more,
        ..Twin::default()
    }
    .text()
}

/// What the timers alone make of a loss, and what the longest I/O took beyond it, s.
fn found(report: &Report) -> (f64, Vec<f64>) {
    let work = &report.switches[0].workloads[0];
    assert_eq!(work.longest_open, [false, false]);
    let by = work
        .by_timers
        .as_ref()
        .expect("paths are lost, and some are left");
    let over = work.longest_io_s.iter().map(|longest| longest - by.s);
    (by.s, over.collect())
}

#[test]
fn the_longest_io_is_the_sum_of_the_timers_for_every_protocol() {
    for (protocol, speed, stalls) in ROWS {
        let losses = [("*-A", "loud"), ("core-A~box*", "loud"), ("*-A", "silent")];
        for ((takes, mode), stall) in losses.into_iter().zip(stalls) {
            let outage =
                format!("[[outage]]\nname = \"cut\"\ntakes = [\"{takes}\"]\nmode = \"{mode}\"\n");
            let report = ask(
                &site(&text(protocol, speed, "", &outage), &[]),
                &["cut"],
                true,
            );
            let (by, over) = found(&report);
            assert!(
                (by - stall).abs() < 1e-9,
                "{protocol}, {mode} {takes}: {by}"
            );
            // Every other read goes to the lost path, 500 us apart: one is caught within that; its own 235 us or so, and the
            // burst of up to 8000 that were let go with it, come on top.
            for over in over {
                assert!(
                    (-0.6e-3..0.1).contains(&over),
                    "{protocol}, {mode} {takes}: {over} s beyond {by}"
                );
            }
            // The closed form of the review, beside the simulated figure.
            let mut rows = report.review.theory.iter();
            let row = rows.find(|row| row.figure == "stall" && row.case == "cut lost");
            let row = row.expect("the review has it");
            assert_eq!((row.trust, row.part.as_str()), (Trust::Approximation, "w"));
            assert!((row.value - stall).abs() < 1e-9);
            let longest = report.switches[0].workloads[0].longest_io_s.iter();
            assert_eq!(row.simulated, longest.copied().reduce(f64::max));
        }
    }
}

/// The quiet time before an I/O is sent elsewhere comes on top; and the words name every timer of the sum.
#[test]
fn the_timers_of_the_sum_are_named() {
    let outage = "[[outage]]\nname = \"cut\"\ntakes = [\"*-A\"]\n";
    let quiet = text("iscsi", "25GbE", "quiesce = \"500ms\"", outage);
    let report = ask(&site(&quiet, &[]), &["cut"], true);
    let (by, over) = found(&report);
    assert!((by - 5.5).abs() < 1e-9, "{by}");
    assert!(
        over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
        "{over:?}"
    );
    let text = report_text(&report).replace('\n', " ");
    let sum = "By timers, w: iSCSI ping and its timeout, 2\u{202F}s + iSCSI session replacement, 3\u{202F}s + quiesce, \
               500\u{202F}ms = 5.50\u{202F}s.";
    assert!(text.contains(sum), "{text}");
    // The row that ended the stall is the end of the quiet time, half a second after the paths were given up.
    let events = &report.switches[0].events;
    let ended: Vec<_> = events.iter().filter(|event| event.ended_stall).collect();
    let timer = ended[0].timer.as_deref().unwrap_or_default();
    assert!(
        ended.len() == 1 && timer.starts_with("quiesce"),
        "{ended:?}"
    );
    assert!((ended[0].t_s - 5.5).abs() < 0.11, "{ended:?}");
}

/// TCP gives a connection up after 0.2 + 0.4 + 0.8 s, before a keep-alive of 2 s: that is the stall.
#[test]
fn what_tcp_gives_up_bounds_the_stall() {
    let outage = "[[outage]]\nname = \"cut\"\ntakes = [\"*-A\"]\n";
    let timers = "tcp_retries = 2";
    let report = ask(
        &site(&text("nvme-tcp", "25GbE", timers, outage), &[]),
        &["cut"],
        true,
    );
    let (by, over) = found(&report);
    assert!((by - 1.4).abs() < 1e-9, "{by}");
    assert!(
        over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
        "{over:?}"
    );
}

/// No sum is given where it would not be the answer: no path is lost, none is left, parts come back before the timers are over, or
/// they were drained before.
#[test]
fn no_sum_where_it_is_not_the_answer() {
    for events in [
        "[[event]]\nat = \"1s\"\nlose = \"*-A\"\n[[event]]\nat = \"2s\"\nlose = \"*-B\"\n",
        "[[event]]\nat = \"1s\"\nlose = \"app:*\"\n",
        "[[event]]\nat = \"1s\"\nlose = \"*-A\"\n[[event]]\nat = \"2s\"\nrestore = \"*-A\"\n",
        "[[event]]\nat = \"1s\"\ndrain = \"*-A\"\n[[event]]\nat = \"2s\"\nlose = \"*-A\"\n",
    ] {
        let site = site(&text("fc-scsi", "32GFC", "", events), &[]);
        let report = simulate(&site, origin(&site), &NoProgress);
        let work = &report.switches[0].workloads[0];
        assert_eq!(work.by_timers, None, "{events}");
    }
    // With a return after the timers the sum stands.
    let events =
        "[[event]]\nat = \"1s\"\nlose = \"*-A\"\n[[event]]\nat = \"5s\"\nrestore = \"*-A\"\n";
    let site = site(&text("fc-scsi", "32GFC", "", events), &[]);
    let report = simulate(&site, origin(&site), &NoProgress);
    let work = &report.switches[0].workloads[0];
    assert_eq!(work.by_timers.as_ref().map(|by| by.s), Some(2.1));
}

/// A switch whose links towards the arrays have all gone dark takes its host ports down, and hosts see that sooner than a notice of
/// a loss behind it: 50 ms of the switch and 100 ms of detection, then fast-io-fail. Where the switch keeps its ports it is
/// detection and notice.
#[test]
fn a_switch_that_drops_its_host_ports_shortens_the_stall() {
    let outage = "[[outage]]\nname = \"cut\"\ntakes = [\"core-A~box*\"]\n";
    for (after, stall) in [(Some("50ms"), 2.15), (Some("900ms"), 2.4), (None, 2.4)] {
        let action = after.map_or_else(String::new, |after| {
            format!("on_uplink_loss = {{ action = \"drop-host-ports\", after = \"{after}\" }}")
        });
        let text = text("fc-scsi", "32GFC", "", outage)
            .replace("name = \"core\"\n", &format!("name = \"core\"\n{action}\n"));
        let report = ask(&site(&text, &[]), &["cut"], true);
        let (by, over) = found(&report);
        assert!((by - stall).abs() < 1e-9, "{after:?}: {by}");
        assert!(
            over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
            "{after:?}: {over:?} beyond {by}"
        );
        let named = report.switches[0].workloads[0].by_timers.as_ref();
        let named = &named.expect("it has a sum").by;
        assert_eq!(named.contains("uplink loss"), stall < 2.3, "{named}");
    }
}

/// Volumes of a lost controller wait for its partner where that takes longer than the host; with `any` nobody waits for that.
#[test]
fn a_takeover_that_is_longer_than_the_paths_is_the_stall() {
    let outage = "[[outage]]\nname = \"cut\"\ntakes = [\"box-c1\"]\n";
    for (owner, takeover, stall, named) in [
        ("alternate", "6s", 6.0, "takeover"),
        ("alternate", "1s", 2.4, "fast-io-fail"),
        ("any", "6s", 2.4, "fast-io-fail"),
    ] {
        let text = text("fc-scsi", "32GFC", "", outage)
            .replace(
                "controllers = 1",
                &format!("controllers = 2\ntakeover = \"{takeover}\""),
            )
            .replace("protocol = ", &format!("owner = \"{owner}\"\nprotocol = "));
        let report = ask(&site(&text, &[]), &["cut"], true);
        let (by, over) = found(&report);
        assert!((by - stall).abs() < 1e-9, "{owner}, {takeover}: {by}");
        // Half of 4000 a second, some 12 000, wait for volumes, and are done 256 at a time in 200 us.
        assert!(
            over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
            "{owner}, {takeover}: {over:?} beyond {by}"
        );
        let own = report.switches[0].workloads[0].by_timers.as_ref();
        assert!(own.expect("it has a sum").by.contains(named));
    }
}

/// A link that is lost one way is a silent loss: nothing comes back, and nobody is told.
#[test]
fn a_loss_of_one_way_is_a_silent_one() {
    for way in ["to-hosts", "to-arrays"] {
        let event = format!("[[event]]\nat = \"500ms\"\nlose = \"app:A1\"\nway = \"{way}\"\n");
        let site = site(&text("fc-scsi", "32GFC", "", &event), &[]);
        let report = simulate(&site, origin(&site), &NoProgress);
        let (by, over) = found(&report);
        assert!((by - 4.0).abs() < 1e-9, "{way}: {by}");
        assert!(
            over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
            "{way}: {over:?} beyond {by}"
        );
    }
}

/// What is drained before it goes catches no I/O: theory says nothing then of a stall, nor of what piles up in it; it says both where
/// nothing is drained.
#[test]
fn a_planned_loss_has_no_stall_by_theory() {
    let site = site(&text("fc-scsi", "32GFC", "", ""), &[]);
    for planned in [false, true] {
        let asked = Ask {
            outages: Some(vec!["A".to_owned()]),
            switch: true,
            mends: false,
            planned,
        };
        let report = study(&site, origin(&site), &asked, &NoProgress);
        let rows = report.review.theory.iter();
        let of_a = rows.filter(|row| row.case == "A lost");
        let found: Vec<_> = of_a
            .filter(|row| ["stall", "drain"].contains(&row.figure))
            .collect();
        assert_eq!(found.len(), if planned { 0 } else { 2 }, "{found:?}");
        // Beside the stall stands its drain, which is no shorter.
        if let [stall, drain] = found[..] {
            assert!((stall.value - 2.1).abs() < 1e-9 && drain.value > stall.value);
            assert_eq!(drain.trust, Trust::Approximation);
        }
    }
}

/// Where no sum of timers is worked out, what ended the longest I/O stands in its place.
#[test]
fn without_a_sum_the_timer_that_ended_the_longest_io_is_told() {
    let events = "[[event]]\nat = \"1s\"\nlose = \"*-A\"\n[[event]]\nat = \"1.5s\"\nslow = \"app:B1\"\nrate = \"50%\"\n";
    let site = site(&text("fc-scsi", "32GFC", "", events), &[]);
    let report = simulate(&site, origin(&site), &NoProgress);
    let work = &report.switches[0].workloads[0];
    assert_eq!(work.by_timers, None);
    let said = report_text(&report).replace('\n', " ");
    assert!(
        said.contains(
            "By timers, w: no sum is worked out; what ended the longest I/O is fast-io-fail, 2"
        ),
        "{said}"
    );
}

/// A command timeout shorter than what notices the loss lets the I/O go first, and nothing is held then; one between that and the end of
/// the hold changes nothing.
#[test]
fn a_command_that_times_out_first_bounds_the_stall() {
    let outage = "[[outage]]\nname = \"cut\"\ntakes = [\"*-A\"]\n";
    for (protocol, speed, timeout, stall, first) in [
        ("iscsi", "25GbE", "1.5s", 1.5, "command timeout, 1.5"),
        ("iscsi", "25GbE", "2.5s", 5.0, "iSCSI ping"),
        ("nvme-tcp", "25GbE", "1.5s", 1.5, "command timeout, 1.5"),
        ("nvme-rdma", "25GbE", "1.5s", 1.5, "command timeout, 1.5"),
        ("nfs", "25GbE", "1.5s", 1.5, "command timeout, 1.5"),
        ("fc-scsi", "32GFC", "1.5s", 2.1, "link-loss detect"),
    ] {
        let text = text(protocol, speed, "", outage);
        let timeout = format!("command_timeout = \"{timeout}\"");
        let text = text.replace("command_timeout = \"4s\"", &timeout);
        let report = ask(&site(&text, &[]), &["cut"], true);
        let (by, over) = found(&report);
        assert!((by - stall).abs() < 1e-9, "{protocol}: {by}");
        assert!(
            over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
            "{protocol}: {over:?}"
        );
        let own = report.switches[0].workloads[0].by_timers.as_ref();
        let named = &own.expect("it has a sum").by;
        assert!(named.starts_with(first), "{protocol}: {named}");
    }
}

/// A connection that TCP gives up after 0.2 + 0.4 + 0.8 s is an iSCSI session that is held for its replacement of 3 s; given up after 3 s
/// it would be later than the ping and its timeout, 2 s.
#[test]
fn a_session_whose_connection_tcp_gives_up_is_held_all_the_same() {
    let outage = "[[outage]]\nname = \"cut\"\ntakes = [\"*-A\"]\nmode = \"silent\"\n";
    for (retries, stall, first) in [(2, 4.4, "TCP gives up, 1.4"), (3, 5.0, "iSCSI ping")] {
        let timers = format!("tcp_retries = {retries}");
        let text = text("iscsi", "25GbE", &timers, outage);
        let report = ask(&site(&text, &[]), &["cut"], true);
        let (by, over) = found(&report);
        assert!((by - stall).abs() < 1e-9, "{by}");
        assert!(
            over.iter().all(|over| (-0.6e-3..0.1).contains(over)),
            "{over:?}"
        );
        let own = report.switches[0].workloads[0].by_timers.as_ref();
        let named = &own.expect("it has a sum").by;
        assert!(named.starts_with(first), "{named}");
    }
}
