//! What follows a loss in the long run: ports removed, paths that come back, volumes that change hands, TCP that
//! gives up.

use super::fault::{CAUGHT, LOUD, SILENT, dual, latency};
use super::rig::{MS, S, US, at_times, direction, extremes, run, script, site};
use halfloom::model::{Compiled, LogKind, Script, Standing, TimerName};
use halfloom::site::Action;
use halfloom::unit::Side;
use halfloom::wire::Op;

const A: Option<Side> = Some(Side::A);

/// Changes of the first path's standing: when (ms), what, by which timer.
fn changes(
    compiled: &Compiled,
    scripts: &[Script],
    until: u64,
) -> Vec<(u64, Standing, Option<TimerName>)> {
    let tally = run(compiled, scripts, until);
    let entries = tally.log.iter();
    entries
        .filter_map(|entry| match entry.kind {
            LogKind::Path { path: 0, to } => {
                Some((entry.at.0 / MS, to, entry.timer.map(|(name, _)| name)))
            }
            _ => None,
        })
        .collect()
}

/// Side A away from 1 s to 20 s, SCSI over FC: held at 1.1 s, failed at 6.1 s, checked every 5 s, so found at
/// 21.1 s. Then the failback decides: at once, 7 s later, or never.
#[test]
fn failback_decides_when_a_path_is_used_again() {
    let reads: Vec<(u64, Op, u32)> = (0..40).map(|n| (n * S, Op::Read, 4096)).collect();
    for (failback, more, over_a) in [
        (
            "immediate",
            vec![(21_100, Standing::Up, Some(TimerName::PathCheck))],
            1 + 18,
        ),
        (
            "7s",
            vec![
                (21_100, Standing::Returned, Some(TimerName::PathCheck)),
                (28_100, Standing::Up, Some(TimerName::Failback)),
            ],
            1 + 11,
        ),
        (
            "manual",
            vec![(21_100, Standing::Returned, Some(TimerName::PathCheck))],
            1,
        ),
    ] {
        let timers = format!("timers = {{ failback = \"{failback}\" }}");
        let compiled = dual("fc-scsi", "32GFC", &timers, &reads);
        let scripts = [
            script(&compiled, S + 500 * US, LOUD, "", A),
            script(&compiled, 20 * S, Action::Restore, "", A),
        ];
        let first = [
            (1_000, Standing::Unnoticed, None),
            (1_100, Standing::Blocked, Some(TimerName::LinkLossDetect)),
            (6_100, Standing::Failed, Some(TimerName::FastIoFail)),
        ];
        let expected: Vec<_> = first.into_iter().chain(more).collect();
        assert_eq!(changes(&compiled, &scripts, 40 * S), expected, "{failback}");
        let tally = run(&compiled, &scripts, 40 * S);
        assert_eq!(tally.workloads[0].completed_total, 40);
        // Reads at 0 and 1 s before the loss; one at 1 s is done by 1.0005 s.
        let responses = tally.paths[0].completed_total;
        assert_eq!(responses, 1 + over_a, "{failback}");
    }
}

/// With manual failback a path that is back is used all the same once there is no other.
#[test]
fn a_path_kept_for_failback_is_better_than_none() {
    let reads: Vec<(u64, Op, u32)> = (0..60).map(|n| (n * S, Op::Read, 4096)).collect();
    let timers = "timers = { failback = \"manual\" }";
    let compiled = dual("fc-nvme", "32GFC", timers, &reads);
    let scripts = [
        script(&compiled, S + 500 * US, LOUD, "", A),
        script(&compiled, 10 * S, Action::Restore, "", A),
        script(&compiled, 30 * S + 500 * US, LOUD, "", Some(Side::B)),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (60, 0));
    // B serves 2 s to 30 s, A the rest.
    assert_eq!(
        tally
            .paths
            .iter()
            .map(|path| path.completed_total)
            .collect::<Vec<_>>(),
        [2 + 29, 29]
    );
    // A path that breaks while it is kept is no longer kept, once its host has seen it.
    let again = [
        scripts[0].clone(),
        scripts[1].clone(),
        script(&compiled, 20 * S, LOUD, "", A),
    ];
    let last = changes(&compiled, &again, 60 * S).pop();
    let seen = Some(TimerName::LinkLossDetect);
    assert_eq!(last, Some((20_100, Standing::Failed, seen)));
}

/// A silent loss of a path that waits for failback is noticed by the timers of its protocol and by nothing else: one that is over before
/// them changes nothing, and what has lost its last other path goes over it.
#[test]
fn a_silence_on_a_kept_path_uses_up_its_timers() {
    let reads: Vec<(u64, Op, u32)> = (0..90).map(|n| (n * S, Op::Read, 4096)).collect();
    let timers = "timers = { failback = \"manual\", iscsi_ping = \"1s\", iscsi_ping_timeout = \"1s\", iscsi_replacement = \"2s\" }";
    let failed = |at, timer| (at, Standing::Failed, Some(timer));
    for (protocol, speed, noticed, other_given_up) in [
        (
            "nvme-tcp",
            "25GbE",
            vec![failed(35_000, TimerName::KeepAlive)],
            37_000,
        ),
        (
            "iscsi",
            "25GbE",
            vec![
                (32_000, Standing::Blocked, Some(TimerName::IscsiPing)),
                failed(34_000, TimerName::SessionReplacement),
            ],
            36_000,
        ),
        // Found at 21.1 s, and checked after 5 s and 10 s more; then the command timeout.
        (
            "fc-scsi",
            "32GFC",
            vec![failed(66_100, TimerName::CheckerTimeout)],
            37_100,
        ),
    ] {
        let compiled = dual(protocol, speed, timers, &reads);
        let at = |at: u64, action, side| script(&compiled, at, action, "", Some(side));
        let first = [
            at(S + 500 * US, LOUD, Side::A),
            at(20 * S, Action::Restore, Side::A),
        ];
        let found = changes(&compiled, &first, 29 * S).pop();
        let found = found.filter(|own| own.1 == Standing::Returned);
        let found = found.expect("it waits for failback");
        let gone = at(30 * S, SILENT, Side::A);
        let after = |more: &[Script]| -> Vec<(u64, Standing, Option<TimerName>)> {
            let scripts: Vec<Script> = first.iter().chain(more).cloned().collect();
            let all = changes(&compiled, &scripts, 90 * S).into_iter();
            all.filter(|own| own.0 > found.0).collect()
        };
        assert_eq!(after(std::slice::from_ref(&gone)), noticed, "{protocol}");
        let back = at(31 * S, Action::Restore, Side::A);
        assert_eq!(after(&[gone.clone(), back.clone()]), [], "{protocol}");
        let other = at(32 * S, LOUD, Side::B);
        let used = [(other_given_up, Standing::Up, None)];
        assert_eq!(
            after(&[gone.clone(), back.clone(), other.clone()]),
            used,
            "{protocol}"
        );
        let scripts: Vec<Script> = first.iter().cloned().chain([gone, back, other]).collect();
        let tally = run(&compiled, &scripts, 90 * S);
        assert_eq!(tally.workloads[0].failed_total, 0, "{protocol}");
    }
}

/// A kept path that is lost and seen to be is held like any other, without taking anything while another stands; where that one is given
/// up meanwhile, it takes what that held, and carries it when it is back in time.
#[test]
fn a_kept_path_is_held_like_any_other() {
    let reads: Vec<(u64, Op, u32)> = (0..60).map(|n| (n * S, Op::Read, 4096)).collect();
    let compiled = dual(
        "fc-scsi",
        "32GFC",
        "timers = { failback = \"manual\" }",
        &reads,
    );
    let at = |at: u64, action, side| script(&compiled, at, action, "", Some(side));
    let lost = [
        at(S + 500 * US, LOUD, Side::A),
        at(10 * S, Action::Restore, Side::A),
        at(30 * S + 500 * MS, LOUD, Side::B),
        at(31 * S, LOUD, Side::A),
    ];
    // B is given up at 35.6 s, and A only at 36.1 s; switches forward 0.2 s after the return.
    let back: Vec<Script> = lost
        .iter()
        .cloned()
        .chain([at(35_700 * MS, Action::Restore, Side::A)])
        .collect();
    let tally = run(&compiled, &back, 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (60, 0));
    let late: Vec<Script> = lost
        .iter()
        .cloned()
        .chain([at(37 * S, Action::Restore, Side::A)])
        .collect();
    let tally = run(&compiled, &late, 60 * S);
    assert!(tally.workloads[0].failed_total > 0);
    // Back while B still stands, it goes on waiting for its failback.
    let alone: Vec<Script> = lost[..2]
        .iter()
        .cloned()
        .chain([lost[3].clone(), at(33 * S, Action::Restore, Side::A)])
        .collect();
    let found = changes(&compiled, &alone, 60 * S);
    let held = (31_100, Standing::Blocked, Some(TimerName::LinkLossDetect));
    assert_eq!(
        found[found.len() - 2..],
        [held, (33_200, Standing::Returned, None)]
    );
    assert_eq!(run(&compiled, &alone, 60 * S).paths[0].completed_total, 2);
}

/// A delayed failback comes by the host's clock: in time where a silence is over by then, else onto a path that is lost without its knowledge.
#[test]
fn a_failback_comes_in_time_through_a_silence() {
    let reads: Vec<(u64, Op, u32)> = (0..40).map(|n| (n * S, Op::Read, 4096)).collect();
    let compiled = dual("fc-scsi", "32GFC", "timers = { failback = \"7s\" }", &reads);
    let at = |at: u64, action| script(&compiled, at, action, "", A);
    let silence = [
        at(S + 500 * US, LOUD),
        at(20 * S, Action::Restore),
        at(22 * S, SILENT),
        at(24 * S, Action::Restore),
    ];
    let by = Some(TimerName::Failback);
    for (scripts, to) in [
        (&silence[..], Standing::Up),
        (&silence[..3], Standing::Unnoticed),
    ] {
        let found = changes(&compiled, scripts, 29 * S);
        assert_eq!(found.last(), Some(&(28_100, to, by)));
    }
}

/// After the return and the failback the paths are used as before the loss: same latencies, same shares.
#[test]
fn after_the_failback_everything_is_as_before() {
    let reads: Vec<(u64, Op, u32)> = (0..30_000).map(|n| (n * MS, Op::Read, 4096)).collect();
    for failback in ["immediate", "2s"] {
        let timers = format!("timers = {{ failback = \"{failback}\" }}");
        let mut base = dual("nvme-tcp", "25GbE", &timers, &reads).site;
        base.hosts[0].paths = halfloom::site::PathPolicy::RoundRobin;
        let compiled = Compiled::new(&base, &[]);
        let scripts = [
            script(&compiled, S, LOUD, "", A),
            script(&compiled, 3 * S, Action::Restore, "", A),
        ];
        let late = |scripts: &[Script]| {
            // Noticed at 6 s, tried again at 16 s, failed back by 18 s: what comes from 20 s on.
            let mut world = halfloom::model::World::new(
                &compiled,
                0,
                super::rig::watch(20 * S, 30 * S),
                super::rig::LIMITS,
            );
            scripts
                .iter()
                .for_each(|script| world.add_script(script.clone()));
            world.run_until(
                halfloom::unit::Instant(31 * S),
                halfloom::model::Stop::AtTheTime,
            );
            world.finish()
        };
        let (healthy, after) = (late(&[]), late(&scripts));
        assert_eq!(
            healthy.workloads[0].reads, after.workloads[0].reads,
            "{failback}"
        );
        let shares = |tally: &halfloom::model::Tally| -> Vec<u64> {
            tally.paths.iter().map(|path| path.completed).collect()
        };
        assert_eq!(shares(&healthy), [5_000, 5_000]);
        assert_eq!(shares(&after), [5_000, 5_000], "{failback}");
    }
}

/// SCSI over FC: 60 s after the loss was noticed the port is removed (device loss of the FC transport of the usual
/// open-source kernel). It is then not checked; when it is back its devices are looked for, one path check later.
/// With fast-io-fail later than that, the hold is all there is.
#[test]
fn a_port_lost_for_long_is_removed_and_found_anew() {
    let compiled = dual("fc-scsi", "32GFC", "", &CAUGHT);
    let flap = |back: u64| {
        [
            script(&compiled, S, LOUD, "", A),
            script(&compiled, back, Action::Restore, "", A),
        ]
    };
    let held = [
        (1_000, Standing::Unnoticed, None),
        (1_100, Standing::Blocked, Some(TimerName::LinkLossDetect)),
        (6_100, Standing::Failed, Some(TimerName::FastIoFail)),
    ];
    let removed = (61_100, Standing::Removed, Some(TimerName::DeviceLoss));
    let found = |at| (at, Standing::Up, Some(TimerName::PathCheck));
    let found_changes = changes(&compiled, &flap(100 * S), 120 * S);
    // The switches use the link again 200 ms after its return.
    assert_eq!(
        found_changes,
        [&held[..], &[removed, found(105_200)]].concat()
    );
    // Back before that: found by the check at 6.1 s + 11 × 5 s, in the instant of the removal, or before.
    let found_changes = changes(&compiled, &flap(50 * S), 120 * S);
    assert_eq!(found_changes, [&held[..], &[found(51_100)]].concat());
    // Without fast-io-fail the I/Os are held until the removal, and the port is removed all the same.
    let off = dual(
        "fc-scsi",
        "32GFC",
        "timers = { fast_io_fail = \"off\" }",
        &CAUGHT,
    );
    let given_up = (61_100, Standing::Failed, Some(TimerName::DeviceLoss));
    assert_eq!(
        changes(&off, &flap(100 * S), 120 * S),
        [held[0], held[1], given_up, removed, found(105_200)]
    );
    // A path given up by the command timeout alone is not removed: nobody knows that its port is gone.
    let silent = [script(&compiled, 50 * US, SILENT, "", A)];
    let found_changes = changes(&compiled, &silent, 200 * S);
    assert_eq!(
        found_changes.last().map(|last| last.1),
        Some(Standing::Failed)
    );
}

/// I/Os that are quiesced on a failed path go elsewhere when that is over, even if the path is found before.
#[test]
fn a_path_is_not_taken_back_before_its_ios_have_gone() {
    let timers = "timers = { path_check = \"1s\", quiesce = \"10s\" }";
    let compiled = dual("fc-nvme", "32GFC", timers, &CAUGHT);
    let normal = latency(&compiled, &[]);
    let scripts = [
        script(&compiled, 50 * US, LOUD, "", A),
        script(&compiled, 2 * S, Action::Restore, "", A),
    ];
    assert_eq!(
        latency(&compiled, &scripts) - normal,
        50 * US + 100 * MS + 10 * S
    );
}

/// TCP doubles its timeout from 200 ms to 120 s and gives up when the last of 15 retransmissions has not been
/// answered: 0.2 + 0.4 + … + 102.4 s and six times 120 s, 924.6 s (documentation of the usual open-source kernel,
/// tcp_retries2). Hosts that look for nothing else learn of a loss by that.
#[test]
fn tcp_gives_up_after_its_retransmissions() {
    for (timers, stall, resent) in [
        ("", 924_600 * MS, 15),
        ("tcp_retries = 3,", (200 + 400 + 800 + 1_600) * MS, 3),
        (
            "tcp_retries = 3, tcp_rto_min = \"1s\", tcp_rto_max = \"3s\",",
            (1 + 2 + 3 + 3) * S,
            3,
        ),
    ] {
        let timers =
            format!("timers = {{ {timers} keep_alive = \"2000s\", command_timeout = \"3000s\" }}");
        let compiled = dual("nvme-tcp", "25GbE", &timers, &CAUGHT);
        let normal = latency(&compiled, &[]);
        // The command, which leaves after the adapter's 15 us, is lost.
        let lost = script(&compiled, 10 * US, LOUD, "", A);
        let tally = run(&compiled, std::slice::from_ref(&lost), 1_000 * S);
        let work = &tally.workloads[0];
        assert_eq!(
            (work.completed_total, work.resent, work.retried),
            (1, resent, 1)
        );
        assert_eq!(extremes(&tally).0 - normal, 15 * US + stall);
        let gave_up = tally
            .log
            .iter()
            .find(|entry| matches!(entry.kind, LogKind::AttemptTimedOut { .. }));
        let timer = gave_up.and_then(|entry| entry.timer).expect("TCP gives up");
        assert_eq!((timer.0, timer.1.0), (TimerName::TcpGivesUp, stall));
    }
}

/// Two controllers on one fabric each, volumes in turn; controller 1 is lost at 50 us with a read of its volume in
/// service. The host sends it again when fast-io-fail is over, and the partner answers when it has the volume.
#[test]
fn a_partner_takes_the_volumes_over() {
    for (takeover, fast_io_fail, wait) in [
        ("10s", "5s", 10 * S),
        ("2s", "5s", 5_600 * MS),
        ("0s", "1s", 1_600 * MS),
    ] {
        let text = format!(
            "format = 1\n[[host]]\nname = \"app\"\ntimers = {{ fast_io_fail = \"{fast_io_fail}\" }}\n\
             [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 2\ntakeover = \"{takeover}\"\n\
             read = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
             volumes = 1\nowner = \"alternate\"\nsizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
        );
        let mut base = site(&text);
        // The second waits in its host while the first is held.
        at_times(
            &mut base,
            1,
            &[(0, Op::Read, 4096), (8 * S, Op::Read, 4096)],
        );
        let compiled = Compiled::new(&base, &[]);
        let normal = extremes(&run(&compiled, &[], 20 * S)).0;
        let lost = script(&compiled, 50 * US, LOUD, "box-c1", None);
        let tally = run(&compiled, std::slice::from_ref(&lost), 200 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (2, 0));
        // From the loss until the longer of the two is over, and then an attempt.
        let (least, most) = extremes(&tally);
        assert_eq!(most, 50 * US + wait + normal, "{takeover}");
        let second = (50 * US + wait).saturating_sub(8 * S);
        assert_eq!(least, second + normal);
        assert_eq!(tally.controllers[1].served, 2);
        let taken = tally
            .log
            .iter()
            .find(|entry| entry.kind == LogKind::TakenOver(0));
        assert_eq!(
            taken.map(|entry| entry.at.0),
            Some(50 * US + super::rig::site_time(takeover))
        );
        // Back before the takeover: nobody takes anything over.
        let back = script(&compiled, 100 * US, Action::Restore, "box-c1", None);
        let tally = run(&compiled, &[lost, back], 200 * S);
        if takeover != "0s" {
            assert!(
                !tally
                    .log
                    .iter()
                    .any(|entry| entry.kind == LogKind::TakenOver(0))
            );
        }
        assert_eq!(tally.workloads[0].completed_total, 2);
    }
}

/// A controller whose ports are dark while it lives keeps its volumes: the partner serves them at once.
#[test]
fn dark_links_are_no_lost_controller() {
    let text = "format = 1\n[[host]]\nname = \"app\"\ntimers = { fast_io_fail = \"1s\" }\n\
         [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 2\n\
         read = { hit = \"100%\", hit_time = \"100us\" }\n\
         [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
         volumes = 1\nowner = \"alternate\"\nsizes = \"4KiB\"\narrivals = { poisson = \"1/s\" }\n";
    let mut base = site(text);
    at_times(&mut base, 1, &CAUGHT);
    let compiled = Compiled::new(&base, &[]);
    let normal = latency(&compiled, &[]);
    let lost = ["core-A~box-c1:A1", "core-B~box-c1:B1"]
        .map(|link| script(&compiled, 50 * US, LOUD, link, None));
    assert_eq!(latency(&compiled, &lost) - normal, 50 * US + 1_600 * MS);
    let tally = run(&compiled, &lost, 10 * S);
    assert!(direction(&compiled, &tally, "core-A > box-c1:A1").up < 10 * S);
}

/// A host without power tries nothing: when it is back at 33 s it looks for its paths as from then, however long ago they were given
/// up, and remembers no controller that it had stopped to try.
#[test]
fn a_lost_host_finds_its_paths_counted_from_its_return() {
    let gone = "timers = { controller_loss = \"20s\" }";
    for (protocol, speed, timers, wait) in [
        ("fc-scsi", "32GFC", "", 5 * S),
        ("nvme-tcp", "25GbE", "", 10 * S),
        ("nvme-tcp", "25GbE", gone, 10 * S),
    ] {
        let compiled = dual(protocol, speed, timers, &CAUGHT);
        let scripts = [
            script(&compiled, S, LOUD, "app", None),
            script(&compiled, 33 * S, Action::Restore, "app", None),
        ];
        let tally = run(&compiled, &scripts, 100 * S);
        let up = |entry: &&halfloom::model::LogEntry| {
            matches!(
                entry.kind,
                LogKind::Path {
                    to: Standing::Up,
                    ..
                }
            )
        };
        let times: Vec<u64> = tally
            .log
            .iter()
            .filter(up)
            .map(|entry| entry.at.0)
            .collect();
        assert_eq!(times, [33 * S + wait; 2], "{protocol} {timers}");
    }
}

/// TCP that gives an iSCSI connection up tells no more than a ping without an answer: the session is held for its replacement, and
/// what is under way goes elsewhere after that. 0.2 + 0.4 + 0.8 + 1.6 s from the departure at 15 us, then 15 s.
#[test]
fn a_connection_given_up_holds_its_iscsi_session() {
    let timers = "timers = { tcp_retries = 3, iscsi_ping = \"2000s\", iscsi_replacement = \"15s\", command_timeout = \"10s\" }";
    let compiled = dual("iscsi", "25GbE", timers, &CAUGHT);
    let normal = latency(&compiled, &[]);
    let lost = script(&compiled, 10 * US, LOUD, "", A);
    let tally = run(&compiled, std::slice::from_ref(&lost), 100 * S);
    assert_eq!(extremes(&tally).0 - normal, 15 * US + 3 * S + 15 * S);
    let standings = tally.log.iter().filter_map(|entry| match entry.kind {
        LogKind::Path { path: 0, to } => Some((to, entry.timer.map(|timer| timer.0))),
        _ => None,
    });
    let standings: Vec<_> = standings.collect();
    assert_eq!(
        standings[1..],
        [
            (Standing::Blocked, Some(TimerName::TcpGivesUp)),
            (Standing::Failed, Some(TimerName::SessionReplacement)),
        ]
    );
}

/// Two reads on a path that is lost silently, 10 s apart, and a third when the path has been given up. A SCSI command without an answer
/// says nothing of the other, which waits for its own 30 s; an NVMe association that ends takes all that is under way with it.
#[test]
fn a_command_without_an_answer_frees_the_others_of_nvme_alone() {
    let reads = [
        (0, Op::Read, 4096),
        (10 * S, Op::Read, 4096),
        (35 * S, Op::Read, 4096),
    ];
    for (protocol, slowest, retried) in [("fc-scsi", 30 * S, 2), ("fc-nvme", 30 * S, 2)] {
        let compiled = dual(protocol, "32GFC", "", &reads);
        let normal = latency(&dual(protocol, "32GFC", "", &CAUGHT), &[]);
        let lost = script(&compiled, 50 * US, SILENT, "", A);
        let tally = run(&compiled, std::slice::from_ref(&lost), 100 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.retried), (3, retried));
        assert_eq!(extremes(&tally), (normal, slowest + normal));
        // The second: 30 s where it waits for its own, 20 s where it goes with the first, one command behind it.
        let second = work.reads.latency.mean().map(|mean| mean * 3.0);
        let second = second.map(|sum| sum.round() as u64 - slowest - 3 * normal);
        let own = if protocol == "fc-scsi" {
            30 * S
        } else {
            20 * S
        };
        assert!(
            second.is_some_and(|found| found.abs_diff(own) < 5 * US),
            "{protocol}: {second:?}"
        );
    }
}

/// Four paths over A are held from 1.1 s on and are back at 4 s, all in one instant. What was under way on each of them
/// is sent again once, also where one of the others gets it first, which counts as no retry.
#[test]
fn paths_that_return_together_send_each_io_again_once() {
    let text = r#"
format = 1
[run]
duration = "20s"
replications = 1
[timers]
retries = 1
[[host]]
name = "app"
count = 1
queue_depth = 64
paths = "round-robin"
[[switch]]
name = "core"
[[array]]
name = "store"
controllers = 2
read = { hit = "100%", hit_time = "100us" }
write = { time = "100us" }
[[link]]
from = "app"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "store"
speed = "32GFC"
ports = 4
[[workload]]
name = "orders"
hosts = "app"
array = "store"
protocol = "fc-scsi"
arrivals = { paced = "20/s" }
read = "100%"
sizes = "8KiB"
"#;
    let compiled = Compiled::new(&site(text), &[]);
    let scripts = [
        script(&compiled, S, LOUD, "core", A),
        script(&compiled, 4 * S, Action::Restore, "core", A),
    ];
    let tally = run(&compiled, &scripts, 12 * S);
    let back = tally.log.iter().filter(|entry| {
        let to = Standing::Up;
        matches!(entry.kind, LogKind::Path { to: own, .. } if own == to)
    });
    let sent_again: u64 = back.map(|entry| entry.ios).sum();
    let work = &tally.workloads[0];
    assert_eq!(work.failed_total, 0);
    // Half of those that come in three seconds, give or take one at each of eight paths.
    assert!((26..=34).contains(&sent_again), "{sent_again}");
    assert_eq!(sent_again, work.held);
    assert_eq!(work.retried, work.held);
}

/// A silent loss under iSCSI: TCP sends messages again until the ping goes without an answer. From then on the session
/// waits for a new connection, and the old one sends nothing more.
#[test]
fn a_connection_given_up_retransmits_nothing() {
    let reads: Vec<(u64, Op, u32)> = (0..40).map(|n| (n * S, Op::Read, 4096)).collect();
    let compiled = dual("iscsi", "25GbE", "", &reads);
    let lost = script(&compiled, 3 * S + 10 * US, SILENT, "", A);
    let tally = run(&compiled, std::slice::from_ref(&lost), 200 * S);
    let held = tally.log.iter().find_map(|entry| {
        let to = Standing::Blocked;
        matches!(entry.kind, LogKind::Path { to: own, .. } if own == to).then_some(entry.at)
    });
    let held = held.expect("the session is held");
    let resent = tally.log.iter();
    let resent = resent.filter(|entry| matches!(entry.kind, LogKind::Resent { .. }));
    let resent: Vec<_> = resent.map(|entry| entry.at).collect();
    assert!(
        resent.len() > 5 && resent.iter().all(|at| *at <= held),
        "{held:?} {resent:?}"
    );
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (40, 0));
}

/// A silent loss that nothing notices, the first command without an answer after 30 s, one second of quiesce. Of NVMe the association
/// ends with that command, and all that is under way goes together a second later; a SCSI command ends nothing but itself.
#[test]
fn quiesce_holds_what_ends_with_an_association_and_no_scsi_command() {
    let reads: Vec<(u64, Op, u32)> = (0..20).map(|n| (n * S, Op::Read, 4096)).collect();
    for (protocol, longest, at_once) in [("fc-nvme", 31 * S, 20), ("fc-scsi", 30 * S, 1)] {
        let normal = latency(&dual(protocol, "32GFC", "", &CAUGHT), &[]);
        let compiled = dual(protocol, "32GFC", "timers = { quiesce = \"1s\" }", &reads);
        let lost = script(&compiled, 1, SILENT, "", A);
        let tally = run(&compiled, std::slice::from_ref(&lost), 100 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.retried), (20, 20), "{protocol}");
        assert_eq!(extremes(&tally).1, longest + normal, "{protocol}");
        let let_go = tally.log.iter().filter_map(|entry| match entry.kind {
            LogKind::Path {
                path: 0,
                to: Standing::Failed,
            } if entry.ios > 0 => Some(entry.ios),
            LogKind::AttemptTimedOut { path: 0 } if protocol == "fc-scsi" => Some(entry.ios),
            _ => None,
        });
        assert_eq!(let_go.max(), Some(at_once), "{protocol}");
    }
}
