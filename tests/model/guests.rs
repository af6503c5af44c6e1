//! Guests of a lost host: what fails with it, what is not asked for, and where the work goes on.

use super::fault::{LOUD, SILENT};
use super::rig::{LIMITS, MS, S, US, at_times, run, script, site, watch};
use halfloom::model::{Compiled, LogEntry, LogKind, Standing, Stop, Tally, TimerName, World};
use halfloom::site::{Action, Measure, Promise, Site};
use halfloom::unit::Instant;
use halfloom::wire::Op;

/// Hosts of two chassis, two in each, on two fabrics; detection 1 s, restart 2 s.
fn cluster(guests: &str, arrivals: &str) -> Site {
    site(&text(guests, arrivals, "fc-scsi", "32GFC"))
}

/// The same with a protocol over links of one kind.
fn text(guests: &str, arrivals: &str, protocol: &str, speed: &str) -> String {
    format!(
        "format = 1\n[[chassis]]\nname = \"bay\"\ncount = 2\nholds = {{ vm = 2 }}\n\
         [[host]]\nname = \"vm\"\nguests = \"{guests}\"\ntimers = {{ guest_detect = \"1s\", guest_restart = \"2s\", no_path = \"queue\" }}\n\
         [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
         read = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"vm\"\nto = \"core\"\nspeed = \"{speed}\"\n\
         [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"{speed}\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"vm\"\narray = \"box\"\nprotocol = \"{protocol}\"\n\
         sizes = \"4KiB\"\nread = \"100%\"\narrivals = {arrivals}\n"
    )
}

/// Each of the four hosts reads 100 times, 100 ms apart.
fn open(guests: &str) -> Compiled {
    open_with(guests, "no_path = \"queue\"")
}

/// The same with further timers.
fn open_with(guests: &str, timers: &str) -> Compiled {
    let text = text(guests, "{ poisson = \"1/s\" }", "fc-scsi", "32GFC");
    let mut base = site(&text.replace("no_path = \"queue\"", timers));
    let reads: Vec<(u64, Op, u32)> = (0..100).map(|n| (n * 100 * MS, Op::Read, 4096)).collect();
    at_times(&mut base, 4, &reads);
    Compiled::new(&base, &[])
}

/// Completed by each host.
fn by_host(compiled: &Compiled, tally: &Tally) -> [u64; 4] {
    let mut done = [0; 4];
    for (name, path) in compiled.path_names().zip(&tally.paths) {
        let number: usize = name.host.trim_start_matches("vm-").parse().unwrap();
        done[number - 1] += path.completed_total;
    }
    done
}

/// Losses and restarts: when (ps), what, I/Os.
fn story(tally: &Tally) -> Vec<(u64, LogKind, u64)> {
    let entries = tally.log.iter().filter(|entry| {
        let restarted = matches!(entry.kind, LogKind::GuestsRestarted(_));
        assert!(!restarted || entry.timer.unwrap().0 == TimerName::GuestRestart);
        restarted || matches!(entry.kind, LogKind::GuestsLost(_))
    });
    entries
        .map(|entry| (entry.at.0, entry.kind, entry.ios))
        .collect()
}

/// vm-1 is lost at 1.05 s: 11 reads done, the 30 that its guests would have asked for until 4.05 s never come, and the
/// other 59 are issued by the three that are left, in turn.
#[test]
fn the_work_of_a_lost_host_goes_on_on_the_others() {
    let compiled = open("restart");
    for action in [LOUD, SILENT] {
        let at = S + 50 * MS;
        let tally = run(
            &compiled,
            &[script(&compiled, at, action, "vm-1", None)],
            60 * S,
        );
        let work = &tally.workloads[0];
        assert_eq!(
            (work.issued_total, work.completed_total, work.failed_total),
            (400 - 30, 370, 0)
        );
        let done = by_host(&compiled, &tally);
        assert_eq!(done[0], 11);
        let mut extra = [done[1] - 100, done[2] - 100, done[3] - 100];
        extra.sort_unstable();
        assert_eq!(extra, [19, 20, 20]);
        assert_eq!(
            story(&tally),
            [
                (at, LogKind::GuestsLost(0), 0),
                (at + 3 * S, LogKind::GuestsRestarted(0), 30)
            ]
        );
        // Nothing of it is sent again: each is asked for by a host that is well.
        assert_eq!(work.retried, 0);
    }
}

/// What is under way in a lost host fails with it, at once; what waits in it too.
#[test]
fn what_is_under_way_fails_with_its_host() {
    let mut base = cluster("restart", "{ poisson = \"1/s\" }");
    base.hosts[0].queue_depth = Some(1);
    at_times(&mut base, 4, &[(0, Op::Read, 4096); 5]);
    // A mean of 1 ps is promised: what completes takes longer than that.
    let promise = Promise {
        measure: Measure::Mean,
        target: 1.0,
        text: "1ps".to_owned(),
    };
    base.workloads[0].promises.lost = vec![promise.clone()];
    base.workloads[0].promises.healthy = vec![promise];
    let compiled = Compiled::new(&base, &[]);
    // Two paths of one slot: two under way and three waiting.
    let at = 50 * US;
    let tally = run(
        &compiled,
        &[script(&compiled, at, LOUD, "vm-2", None)],
        60 * S,
    );
    let work = &tally.workloads[0];
    assert_eq!(
        (work.issued_total, work.completed_total, work.failed_total),
        (20, 15, 5)
    );
    assert_eq!(work.lost_with_host, 5);
    // Nobody waits for those five: they are not above any promise, and no I/O that failed.
    assert_eq!((work.above_after[0], work.above[0].1), (15, 15));
    assert_eq!((work.completed_after, work.failed_after), (15, 0));
    assert_eq!(story(&tally)[0], (at, LogKind::GuestsLost(1), 5));
    assert_eq!(work.late + work.retried, 0);
}

/// Guests that are restarted set nothing free: the reads that wait for slots in the other hosts while vm-1's guests start again
/// go on by themselves, and the longest of them is not put down to the restart.
#[test]
fn a_restart_ends_no_stall_of_others() {
    let mut base = cluster("restart", "{ poisson = \"1/s\" }");
    base.hosts[0].queue_depth = Some(1);
    let reads = vec![(4 * S, Op::Read, 4096); 2_000];
    at_times(&mut base, 4, &reads);
    let compiled = Compiled::new(&base, &[]);
    let loss = script(&compiled, S + 50 * MS, LOUD, "vm-1", None);
    let tally = run(&compiled, &[loss], 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.unasked), (6_000, 2_000));
    let restarted = tally.log.iter().position(|entry| {
        matches!(entry.kind, LogKind::GuestsRestarted(_)) && entry.at.0 == 4 * S + 50 * MS
    });
    assert!(restarted.is_some());
    // They wait until after the restart.
    assert!(work.longest.0 > 100 * MS, "{:?}", work.longest);
    assert_eq!(work.longest_by, None);
}

/// A chassis takes two hosts with it; the other two do everything. Without `restart` their work is not asked for.
#[test]
fn a_chassis_takes_its_hosts_with_it() {
    let at = S + 50 * MS;
    let compiled = open("restart");
    let tally = run(
        &compiled,
        &[script(&compiled, at, LOUD, "bay-1", None)],
        60 * S,
    );
    // Of the last 59 numbers of each 30 are odd.
    assert_eq!(by_host(&compiled, &tally), [11, 11, 158, 160]);
    assert_eq!(tally.workloads[0].issued_total, 400 - 60);
    let compiled = open("stay");
    let tally = run(
        &compiled,
        &[script(&compiled, at, LOUD, "bay-1", None)],
        60 * S,
    );
    assert_eq!(by_host(&compiled, &tally), [11, 11, 100, 100]);
    // What stays with a lost host is asked for no longer: 89 reads each.
    assert_eq!(tally.workloads[0].issued_total, 400 - 2 * 89);
    assert_eq!(tally.workloads[0].unasked, 2 * 89);
    let lost = [0, 1].map(|host| (at, LogKind::GuestsLost(host), 0));
    assert_eq!(story(&tally), lost);
    // Back at 3.05 s, each finds its paths 5 s later, and asks for the 19 that come from then on.
    let scripts = [
        script(&compiled, at, LOUD, "bay-1", None),
        script(&compiled, 3 * S + 50 * MS, Action::Restore, "bay-1", None),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    assert_eq!(by_host(&compiled, &tally), [30, 30, 100, 100]);
    assert_eq!(tally.workloads[0].unasked, 2 * 70);
    assert_eq!(tally.workloads[0].failed_total, 0);
}

/// The host that guests were restarted on is lost too: they are restarted once more, with its own.
#[test]
fn guests_are_restarted_more_than_once() {
    let compiled = open("restart");
    let lost =
        |seconds: u64, host: &str| script(&compiled, seconds * S + 50 * MS, LOUD, host, None);
    let scripts = [lost(1, "vm-1"), lost(5, "vm-2"), lost(6, "vm-3")];
    let tally = run(&compiled, &scripts, 60 * S);
    let done = by_host(&compiled, &tally);
    let unasked: u64 = story(&tally)
        .iter()
        .filter(|(_, kind, _)| matches!(kind, LogKind::GuestsRestarted(_)))
        .map(|(.., ios)| ios)
        .sum();
    let work = &tally.workloads[0];
    assert_eq!((work.issued_total + unasked, work.failed_total), (400, 0));
    assert_eq!(done.iter().sum::<u64>(), work.completed_total);
    // Own 51 and 61, and a third each of what vm-1's guests ask for from 4.1 s on.
    assert!((51 + 2..=51 + 4).contains(&done[1]), "{done:?}");
    assert!((61 + 5..=61 + 8).contains(&done[2]), "{done:?}");
    // From 9.05 s on vm-4 asks for everything.
    assert_eq!(done[0], 11);
    let last = run(&compiled, &scripts, 9 * S + 60 * MS);
    assert_eq!(
        by_host(&compiled, &tally)[3] - by_host(&compiled, &last)[3],
        4 * 9
    );
}

/// All hosts are lost. The first that returns starts the guests of all, its own too, and takes so long for it once its paths are found,
/// 1 s after its return.
#[test]
fn guests_without_any_host_wait_for_one() {
    let compiled = open_with("restart", "path_check = \"1s\", no_path = \"fail\"");
    let all = script(&compiled, S + 50 * MS, LOUD, "vm-*", None);
    let back = script(&compiled, 5 * S + 50 * MS, Action::Restore, "vm-3", None);
    let tally = run(&compiled, &[all.clone(), back], 60 * S);
    let restarts: Vec<u64> = story(&tally)[4..].iter().map(|entry| entry.0).collect();
    assert_eq!(restarts, [8 * S + 50 * MS; 4]);
    // 19 more each from 8.1 s to 9.9 s, all over vm-3.
    assert_eq!(by_host(&compiled, &tally), [11, 11, 11 + 4 * 19, 11]);
    assert_eq!(tally.workloads[0].failed_total, 0);
    let tally = run(&compiled, &[all], 60 * S);
    assert_eq!(by_host(&compiled, &tally), [11; 4]);
    assert_eq!(tally.workloads[0].issued_total, 44);
}

/// All hosts are lost at 1.05 s, found 1 s later, and one is back: the restart begins at the later of that and of its first path,
/// whether or not the time from loss to restart, 3 s, is over by then. One that is back in time keeps its own guests.
#[test]
fn a_restart_begins_with_the_first_host_that_can_take_the_guests() {
    // Back, path check, restarts (ms), and how many.
    for (back, check, restarted, count) in [
        (3_950, 1_000, 6_950, 4),
        (4_150, 1_000, 7_150, 4),
        (4_050, 1_000, 7_050, 4),
        (2_550, 200, 4_750, 4),
        (1_550, 1_000, 4_550, 3),
        (1_550, 100, 4_050, 3),
    ] {
        let timers = format!("path_check = \"{check}ms\", no_path = \"fail\"");
        let compiled = open_with("restart", &timers);
        let scripts = [
            script(&compiled, S + 50 * MS, LOUD, "vm-*", None),
            script(&compiled, back * MS, Action::Restore, "vm-3", None),
        ];
        let tally = run(&compiled, &scripts, 60 * S);
        let of = |entry: &&LogEntry| matches!(entry.kind, LogKind::GuestsRestarted(_));
        let log: Vec<&LogEntry> = tally.log.iter().filter(of).collect();
        let restarts: Vec<u64> = log.iter().map(|entry| entry.at.0 / MS).collect();
        assert_eq!(restarts, vec![restarted; count], "back at {back} ms");
        // The time that is named is what has run since the loss, or since there was a host.
        let since = if restarted == 4_050 { 3 * S } else { 2 * S };
        for entry in log {
            assert_eq!(entry.timer.unwrap().1.0, since, "back at {back} ms");
        }
        assert_eq!(tally.workloads[0].failed_total, 0);
    }
}

/// All hosts are drained at 1.05 s, and one is back at 5.05 s: it has kept its paths and its own guests, and those of the others run on it
/// once they have started there, 2 s later.
#[test]
fn guests_of_drained_hosts_start_on_the_first_that_is_back() {
    let compiled = open("restart");
    let scripts = [
        script(&compiled, S + 50 * MS, Action::Drain, "vm-*", None),
        script(&compiled, 5 * S + 50 * MS, Action::Restore, "vm-3", None),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let restarted = [0, 1, 3].map(LogKind::GuestsRestarted);
    let story: Vec<(u64, LogKind)> = story(&tally).iter().map(|own| (own.0, own.1)).collect();
    assert_eq!(story, restarted.map(|kind| (7 * S + 50 * MS, kind)));
    // Its own 11 and 49, and 29 of each of the others.
    assert_eq!(by_host(&compiled, &tally), [11, 11, 11 + 49 + 3 * 29, 11]);
}

/// Hosts that are there and have lost all their links take no guests: one that has a path does, alone.
#[test]
fn guests_are_restarted_where_there_is_a_path() {
    let compiled = open_with("restart", "no_path = \"queue\"");
    let links = ["vm-2", "vm-3"].map(|host| {
        [("A", "1"), ("B", "1")].map(|(side, port)| format!("{host}:{side}{port}~core-{side}"))
    });
    let mut scripts: Vec<_> = links
        .iter()
        .flatten()
        .map(|link| script(&compiled, S + 20 * MS, LOUD, link, None))
        .collect();
    scripts.push(script(&compiled, S + 50 * MS, LOUD, "vm-1", None));
    let tally = run(&compiled, &scripts, 9 * S + 950 * MS);
    let done = by_host(&compiled, &tally);
    assert_eq!((done[0], done[3]), (11, 100 + 59));
    assert_eq!(done[1..3], [11, 11]);
    // Without any it waits: the first link that is back has its path found within 5 s, and the restart begins then.
    let last = ["A", "B"].map(|side| format!("vm-4:{side}1~core-{side}"));
    let last = last.map(|link| script(&compiled, S + 20 * MS, LOUD, &link, None));
    scripts.extend(last);
    let tally = run(&compiled, &scripts, 60 * S);
    assert_eq!(story(&tally).len(), 1);
    let back = &links[0][0];
    scripts.push(script(&compiled, 20 * S, Action::Restore, back, None));
    let tally = run(&compiled, &scripts, 60 * S);
    let found = tally.log.iter().find_map(|entry| match entry.kind {
        LogKind::Path {
            to: Standing::Up, ..
        } => Some(entry.at.0),
        _ => None,
    });
    let found = found.unwrap();
    assert!((20 * S..=25 * S).contains(&found), "{found}");
    assert_eq!(story(&tally)[1].0, found + 2 * S);
}

/// A host that is back once its loss was found has lost its guests all the same; one that has only lost its links lives on.
#[test]
fn only_a_lost_host_loses_its_guests() {
    let compiled = open("restart");
    let scripts = [
        script(&compiled, S + 50 * MS, LOUD, "vm-1", None),
        script(&compiled, 2 * S + 50 * MS, Action::Restore, "vm-1", None),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    assert_eq!(by_host(&compiled, &tally)[0], 11);
    assert_eq!(tally.workloads[0].completed_total, 370);
    let links = ["vm-1:A1~core-A", "vm-1:B1~core-B"]
        .map(|link| script(&compiled, S + 50 * MS, LOUD, link, None));
    let tally = run(&compiled, &links, 60 * S);
    assert!(story(&tally).is_empty());
    assert_eq!(tally.workloads[0].issued_total, 400);
    // One port of two is not the host.
    let port = script(&compiled, S + 50 * MS, LOUD, "vm-1:A1", None);
    let tally = run(&compiled, &[port], 60 * S);
    assert!(story(&tally).is_empty());
}

/// A closed load: what each host keeps outstanding stops with it, and is outstanding on the others after the restart.
#[test]
fn a_closed_load_stops_and_goes_on() {
    for think in ["0us", "700us"] {
        let base = cluster(
            "restart",
            &format!("{{ closed = {{ depth = 4, think = \"{think}\" }} }}"),
        );
        let compiled = Compiled::new(&base, &[]);
        let mut world = World::new(&compiled, 0, watch(0, 10 * S), LIMITS);
        world.add_script(script(&compiled, 100 * MS, LOUD, "bay-1", None));
        let mut rate = |from: u64, to: u64| {
            world.run_until(Instant(from), Stop::AtTheTime);
            let before = world.tally().workloads[0].completed_total;
            world.run_until(Instant(to), Stop::AtTheTime);
            let work = &world.tally().workloads[0];
            let outstanding = work.issued_total - work.completed_total - work.failed_total;
            (work.completed_total - before, outstanding)
        };
        let healthy = rate(20 * MS, 90 * MS);
        let down = rate(120 * MS, 190 * MS);
        let after = rate(3_120 * MS, 3_190 * MS);
        if think == "0us" {
            assert_eq!([healthy.1, down.1, after.1], [16, 8, 16]);
        } else {
            // Nothing waits for anything here: half of the load is half of the rate.
            assert!(
                down.0.abs_diff(healthy.0 / 2) * 100 < healthy.0,
                "{down:?} of {healthy:?}"
            );
            assert!(
                after.0.abs_diff(healthy.0) * 50 < healthy.0,
                "{after:?} of {healthy:?}"
            );
        }
        let tally = world.finish();
        assert!(tally.workloads[0].failed_total <= 8);
    }
}

/// The steady state that follows: hosts that are lost from the start, their guests on the others. Everything is asked for.
#[test]
fn survivors_have_the_guests_of_lost_hosts() {
    let base = open("restart").site;
    let fabric = halfloom::topology::Fabric::new(&base);
    let members = fabric.members_of(&["bay-2".to_owned()], None);
    let mut compiled = Compiled::new(&base, &members);
    compiled.without_work_of(&[2, 3]);
    let tally = run(&compiled, &[], 60 * S);
    assert_eq!(tally.workloads[0].completed_total, 400);
    assert_eq!(by_host(&compiled, &tally), [200, 200, 0, 0]);
    // Without a restart it is not.
    let base = open("stay").site;
    let mut compiled = Compiled::new(&base, &members);
    compiled.without_work_of(&[2, 3]);
    let tally = run(&compiled, &[], 60 * S);
    assert_eq!(by_host(&compiled, &tally), [100, 100, 0, 0]);
    assert_eq!(tally.workloads[0].issued_total, 200);
}

/// Lost by name and with its chassis a host is lost once, and is there again after two returns.
#[test]
fn a_host_lost_twice_has_its_guests_restarted_once() {
    let compiled = open("restart");
    let scripts = [
        script(&compiled, S + 50 * MS, LOUD, "vm-1", None),
        script(&compiled, 2 * S + 50 * MS, LOUD, "bay-1", None),
        script(&compiled, 3 * S + 50 * MS, Action::Restore, "bay-1", None),
        script(&compiled, 20 * S, Action::Restore, "vm-1", None),
        script(&compiled, 21 * S, Action::Restore, "vm-1", None),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let kinds: Vec<(u64, LogKind)> = story(&tally)
        .iter()
        .map(|entry| (entry.0 / MS, entry.1))
        .collect();
    assert_eq!(
        kinds,
        [
            (1_050, LogKind::GuestsLost(0)),
            (2_050, LogKind::GuestsLost(1)),
            (4_050, LogKind::GuestsRestarted(0)),
            (5_050, LogKind::GuestsRestarted(1)),
        ]
    );
    let work = &tally.workloads[0];
    assert_eq!(
        (work.issued_total + work.unasked, work.failed_total),
        (400, 0)
    );
    assert_eq!(by_host(&compiled, &tally)[0], 11);
}

/// A host that loses all its ports, or the adapter that they are on, is there all the same: its guests stay, nothing of theirs is
/// dropped, and all of it is done once the ports are back, or fails where it does not wait.
#[test]
fn a_host_without_its_ports_is_not_a_lost_host() {
    for guests in ["stay", "restart"] {
        let mut base = cluster(guests, "{ poisson = \"1/s\" }");
        base.hosts[0].adapter_per = halfloom::site::AdapterPer::Host;
        let reads: Vec<(u64, Op, u32)> = (0..100).map(|n| (n * 100 * MS, Op::Read, 4096)).collect();
        at_times(&mut base, 4, &reads);
        let compiled = Compiled::new(&base, &[]);
        let at = |at, action, part| script(&compiled, at, action, part, None);
        let (lost, back) = (S + 50 * MS, 4 * S);
        for parts in [&["vm-1:adapter"][..], &["vm-1:A1", "vm-1:B1"]] {
            let losses = parts.iter().map(|part| at(lost, LOUD, part));
            let returns = parts.iter().map(|part| at(back, Action::Restore, part));
            let scripts: Vec<_> = losses.chain(returns).collect();
            let tally = run(&compiled, &scripts, 60 * S);
            assert!(story(&tally).is_empty(), "{guests}: {:?}", story(&tally));
            let work = &tally.workloads[0];
            assert_eq!(
                (work.issued_total, work.completed_total, work.failed_total),
                (400, 400, 0),
                "{guests} {parts:?}"
            );
            assert_eq!(by_host(&compiled, &tally), [100; 4]);
        }
    }
}

/// A host that is drained hands its guests to the others in that instant: everything is asked for, nothing fails, and nothing is
/// left to be restarted when the host is lost.
#[test]
fn a_drained_host_hands_its_guests_over() {
    let compiled = open("restart");
    let at = S + 50 * MS;
    for (part, hosts) in [("vm-1", 1), ("bay-1", 2)] {
        let scripts = [
            script(&compiled, at, Action::Drain, part, None),
            script(&compiled, at + S, LOUD, part, None),
        ];
        for scripts in [&scripts[..], &scripts[..1]] {
            let tally = run(&compiled, scripts, 60 * S);
            let work = &tally.workloads[0];
            assert_eq!(
                (work.completed_total, work.unasked, work.failed_total),
                (400, 0, 0)
            );
            let done = by_host(&compiled, &tally);
            assert_eq!(done[..hosts], [11; 2][..hosts]);
            assert!(story(&tally).is_empty(), "{:?}", story(&tally));
            let moved = |entry: &&LogEntry| matches!(entry.kind, LogKind::GuestsMoved(_));
            assert_eq!(tally.log.iter().filter(moved).count(), hosts);
        }
    }
}

/// Work that stays with its host, or that nobody else is left for, is asked for no longer from the drain on, and again at once when
/// the host is back; what is under way then is completed.
#[test]
fn a_drained_host_asks_for_nothing_new() {
    let at = S + 50 * MS;
    for (guests, part, done) in [
        ("stay", "vm-1", [60, 100, 100, 100]),
        ("restart", "vm-*", [60; 4]),
    ] {
        let compiled = open(guests);
        let scripts = [
            script(&compiled, at, Action::Drain, part, None),
            script(&compiled, at + 4 * S, Action::Restore, part, None),
        ];
        let tally = run(&compiled, &scripts, 60 * S);
        let work = &tally.workloads[0];
        assert_eq!(by_host(&compiled, &tally), done);
        assert_eq!((work.failed_total, work.retried), (0, 0));
        assert_eq!(work.unasked, 400 - done.iter().sum::<u64>());
        assert!(story(&tally).is_empty());
    }
    // Three of five wait for one of two slots, and are done all the same.
    let mut base = cluster("stay", "{ poisson = \"1/s\" }");
    base.hosts[0].queue_depth = Some(1);
    at_times(&mut base, 4, &[(0, Op::Read, 4096); 5]);
    let compiled = Compiled::new(&base, &[]);
    let drain = script(&compiled, 50 * US, Action::Drain, "vm-2", None);
    let tally = run(&compiled, &[drain], 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (20, 0));
}

/// A closed load goes on with as much as before when two of its hosts are drained and their guests move, and with half of it where
/// they stay.
#[test]
fn a_closed_load_goes_on_through_a_drain() {
    for (guests, left) in [("restart", 16), ("stay", 8)] {
        let base = cluster(guests, "{ closed = { depth = 4, think = \"0us\" } }");
        let compiled = Compiled::new(&base, &[]);
        let mut world = World::new(&compiled, 0, watch(0, 10 * S), LIMITS);
        world.add_script(script(&compiled, 100 * MS, Action::Drain, "bay-1", None));
        world.add_script(script(&compiled, 300 * MS, Action::Restore, "bay-1", None));
        let mut outstanding = |at: u64| {
            world.run_until(Instant(at), Stop::AtTheTime);
            let work = &world.tally().workloads[0];
            work.issued_total - work.completed_total - work.failed_total
        };
        assert_eq!(
            [90 * MS, 200 * MS, 400 * MS].map(&mut outstanding),
            [16, left, 16]
        );
        assert_eq!(world.finish().workloads[0].failed_total, 0);
    }
}

/// A host that is back before its cluster takes it for lost keeps its guests, each time: what they were to ask for until it has found
/// its paths, 5 s after its return, is all that is not asked for, and nothing is under way in it when it is lost again. Once it was
/// taken for lost its guests run elsewhere, whatever it does.
#[test]
fn a_host_that_is_back_in_time_keeps_its_guests() {
    let compiled = open("restart");
    let at = |ms: u64, action| script(&compiled, ms * MS, action, "vm-1", None);
    let scripts = [
        at(1_050, LOUD),
        at(1_550, Action::Restore),
        at(2_050, LOUD),
        at(2_550, Action::Restore),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    // From 1.1 s to 7.5 s it asks for nothing: 65 reads.
    assert_eq!(by_host(&compiled, &tally), [35, 100, 100, 100]);
    assert_eq!((work.unasked, work.failed_total), (65, 0));
    let lost: Vec<u64> = story(&tally).iter().map(|entry| entry.2).collect();
    assert_eq!(lost, [0, 0]);
    // Found at 2.05 s; lost and back once more meanwhile.
    let scripts = [
        at(1_050, LOUD),
        at(2_250, Action::Restore),
        at(2_450, LOUD),
        at(2_650, Action::Restore),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    assert_eq!(by_host(&compiled, &tally)[0], 11);
    let restarts: Vec<u64> = story(&tally)
        .iter()
        .filter(|(_, kind, _)| matches!(kind, LogKind::GuestsRestarted(_)))
        .map(|entry| entry.0)
        .collect();
    assert_eq!(restarts, [4_050 * MS]);
    assert_eq!(tally.workloads[0].completed_total, 370);
}

/// A host that was lost itself has no session and no association when it is back, and holds no path: it looks for them all as from
/// its return, whether or not its timers would have told by then. One whose links were gone has what it had.
#[test]
fn a_host_begins_anew_however_short_it_was_away() {
    let (at, check, reconnect) = (S + 50 * MS, 5 * S, 10 * S);
    for (protocol, speed, found) in [
        ("iscsi", "25GbE", check),
        ("fc-scsi", "32GFC", check),
        ("fc-nvme", "32GFC", check),
        ("nvme-tcp", "25GbE", reconnect),
    ] {
        let base = site(&text("stay", "{ poisson = \"1/s\" }", protocol, speed));
        let compiled = Compiled::new(&base, &[]);
        let back = |part: &[&str], away: u64| -> Vec<(u64, Option<TimerName>)> {
            let both = part.iter().flat_map(|part| {
                [(at, LOUD), (at + away, Action::Restore)]
                    .map(|(at, action)| script(&compiled, at, action, part, None))
            });
            let tally = run(&compiled, &both.collect::<Vec<_>>(), 300 * S);
            let is = |kind| {
                matches!(
                    kind,
                    LogKind::Path {
                        to: Standing::Up,
                        ..
                    }
                )
            };
            let log = tally.log.iter().filter(|entry| is(entry.kind));
            log.map(|entry| (entry.at.0 - at, entry.timer.map(|(name, _)| name)))
                .collect()
        };
        for away in [100 * MS, 6 * S, 200 * S] {
            let name = if found == check {
                TimerName::PathCheck
            } else {
                TimerName::Reconnect
            };
            let all = [(away + found, Some(name)); 2];
            assert_eq!(back(&["vm-1"], away), all, "{protocol}, {away}");
        }
        let links = ["vm-1:A1~core-A", "vm-1:B1~core-B"];
        let kept = back(&links, 50 * MS);
        assert_eq!(kept.len(), 2, "{protocol}");
        assert!(kept.iter().all(|(_, timer)| timer.is_none()), "{kept:?}");
    }
}

/// A host that is back finds its paths before anything on it asks for I/O: with `no_path = "fail"` nothing fails until then, and NVMe
/// holds nothing for its reconnect. What would have come before is not asked for, and a closed load begins then.
#[test]
fn a_host_that_is_back_asks_for_nothing_before_its_first_path() {
    let (lost, back) = (S + 50 * MS, 2 * S + 50 * MS);
    for (protocol, speed, found) in [
        ("fc-scsi", "32GFC", 5),
        ("iscsi", "25GbE", 5),
        ("fc-nvme", "32GFC", 5),
        ("nvme-tcp", "25GbE", 10),
    ] {
        let of = |arrivals: &str| {
            let text = text("stay", arrivals, protocol, speed);
            text.replace("no_path = \"queue\"", "no_path = \"fail\"")
        };
        let mut base = site(&of("{ poisson = \"1/s\" }"));
        let reads: Vec<(u64, Op, u32)> = (0..200).map(|n| (n * 100 * MS, Op::Read, 4096)).collect();
        at_times(&mut base, 4, &reads);
        for part in ["vm-1", "bay-1"] {
            let compiled = Compiled::new(&base, &[]);
            let scripts = [
                script(&compiled, lost, LOUD, part, None),
                script(&compiled, back, Action::Restore, part, None),
            ];
            let tally = run(&compiled, &scripts, 60 * S);
            let work = &tally.workloads[0];
            let hosts = if part == "vm-1" { 1 } else { 2 };
            // From 1.1 s to the instant in which the paths are found, 50 ms after a read would have come.
            let unasked = 10 + found * 10;
            assert_eq!(
                (work.unasked, work.failed_total, work.retried),
                (hosts * unasked, 0, 0),
                "{protocol}, {part}"
            );
            assert!(work.longest.0 < 10 * MS, "{protocol}: {:?}", work.longest);
            let done = by_host(&compiled, &tally);
            assert_eq!((done[0], done[3]), (200 - unasked, 200), "{protocol}");
        }
        let base = site(&of("{ closed = { depth = 4, think = \"20ms\" } }"));
        let compiled = Compiled::new(&base, &[]);
        let mut world = World::new(&compiled, 0, watch(0, 60 * S), LIMITS);
        world.add_script(script(&compiled, lost, LOUD, "vm-*", None));
        world.add_script(script(&compiled, back, Action::Restore, "vm-*", None));
        let mut issued = |at: u64| {
            world.run_until(Instant(at), Stop::AtTheTime);
            let work = &world.tally().workloads[0];
            (work.issued_total, work.failed_total - work.lost_with_host)
        };
        let gone = issued(lost);
        assert_eq!(issued(back + found * S - MS), gone, "{protocol}");
        // Each of the four has its four outstanding at once.
        assert_eq!(issued(back + found * S), (gone.0 + 16, 0), "{protocol}");
        assert_eq!(issued(20 * S).1, 0, "{protocol}");
    }
}

/// One whose fabrics are still lost when it is back has no path: it asks for nothing until its first look is over, and then meets what is
/// set for hosts without a path, as one does that has no path from the beginning on.
#[test]
fn a_host_that_is_back_without_fabrics_is_one_without_a_path() {
    let compiled = open_with("stay", "no_path = \"fail\"");
    let at = |at: u64, action, part| script(&compiled, at, action, part, None);
    let links = ["vm-1:A1~core-A", "vm-1:B1~core-B"];
    let mut scripts = vec![at(S + 50 * MS, LOUD, "vm-1")];
    scripts.extend(links.map(|link| at(S + 50 * MS, LOUD, link)));
    scripts.push(at(2 * S + 50 * MS, Action::Restore, "vm-1"));
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    // The check at 7.05 s finds nothing: what comes from 7.1 s to 9.9 s fails.
    assert_eq!((work.unasked, work.failed_total), (60, 29));
    assert_eq!(work.completed_total, 311);
    // What waits for three checks counts them from the return: those fail that have come by then, at 17.05 s, all at once.
    for (policy, failed) in [("{ retry = 3 }", 29), ("\"queue\"", 0)] {
        let compiled = open_with("stay", &format!("no_path = {policy}"));
        let before = run(&compiled, &scripts, 17 * S);
        assert_eq!(before.workloads[0].failed_total, 0, "{policy}");
        let tally = run(&compiled, &scripts, 17 * S + 100 * MS);
        assert_eq!(tally.workloads[0].failed_total, failed, "{policy}");
        // A link that is back later has those done that wait still.
        let mut back = scripts.clone();
        back.push(at(18 * S, Action::Restore, links[0]));
        let tally = run(&compiled, &back, 60 * S);
        let work = &tally.workloads[0];
        let counts = (work.unasked, work.failed_total, work.completed_total);
        let in_time = if failed == 0 { 29 } else { 0 };
        assert_eq!(counts, (60, 29 - in_time, 311 + in_time), "{policy}");
    }
    // The link is back at 4 s, so that the first check finds its path.
    scripts.push(at(4 * S, Action::Restore, links[0]));
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.unasked, work.failed_total), (60, 0));
    assert_eq!(by_host(&compiled, &tally)[0], 40);
}

/// The restart on a host that has just come back begins when it has found its paths; where another host has its own, guests are
/// restarted there.
#[test]
fn restarted_guests_wait_for_the_paths_of_their_host() {
    let compiled = open_with("restart", "path_check = \"3s\", no_path = \"fail\"");
    let at = |at: u64, action, part| script(&compiled, at, action, part, None);
    // All lost at 1.05 s, and restarted at 8.05 s on the one that is back at 3.05 s, whose paths are found at 6.05 s.
    let scripts = [
        at(S + 50 * MS, LOUD, "vm-*"),
        at(3 * S + 50 * MS, Action::Restore, "vm-3"),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    // 8.1 s to 9.9 s.
    assert_eq!(by_host(&compiled, &tally), [11, 11, 11 + 4 * 19, 11]);
    assert_eq!((work.unasked, work.failed_total), (4 * 70, 0));
    let scripts = [
        at(S + 50 * MS, LOUD, "vm-1"),
        at(S + 50 * MS, LOUD, "vm-2"),
        at(3 * S + 500 * MS, Action::Restore, "vm-2"),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.unasked, work.failed_total), (2 * 30, 0));
    let done = by_host(&compiled, &tally);
    assert_eq!((done[0], done[1]), (11, 11));
    assert_eq!(done[2] + done[3], 400 - 60 - 22);
}
