//! How long a loss stops an I/O: detection and hold, to the picosecond, for every protocol; and what one dead path
//! of eight does to a load.

use super::fault::{CAUGHT, LOUD, dual, latency};
use super::rig::{LIMITS, MS, S, US, at_times, extremes, run, script, site, watch};
use super::stalls;
use halfloom::model::{Compiled, LogKind, Standing, Stop, World};
use halfloom::site::Action;
use halfloom::unit::{Instant, Side};
use halfloom::wire::Op;

const A: Option<Side> = Some(Side::A);

/// Sources and arithmetic stand beside the rows; `VALIDATION.md` has most of them.
#[test]
fn a_stall_is_detection_and_hold_to_the_picosecond() {
    let found = stalls::all();
    assert_eq!(found.len(), 7 * 2 * 5);
    for row in found {
        assert_eq!(
            row.simulated, row.expected,
            "{}, {} timers: {} ({})",
            row.protocol, row.timers, row.loss.what, row.source
        );
    }
}

/// The only path of a host goes, loudly, with a read in service: with `fail` the read fails when the path does, with
/// `queue` it comes through once the path is found again.
#[test]
fn the_only_path_is_lost() {
    for (no_path, completed) in [("fail", 0), ("queue", 1)] {
        let timers = format!("timers = {{ no_path = \"{no_path}\" }}");
        let mut base = dual("fc-scsi", "32GFC", &timers, &CAUGHT).site;
        base.switches[0].fabric = halfloom::site::Fabric::Only(Side::A);
        let compiled = Compiled::new(&base, &[]);
        let normal = latency(&compiled, &[]);
        let scripts = [
            script(&compiled, 50 * US, LOUD, "app:A1~core-A", None),
            script(&compiled, 20 * S, Action::Restore, "app:A1~core-A", None),
        ];
        let tally = run(&compiled, &scripts, 60 * S);
        let work = &tally.workloads[0];
        assert_eq!(
            (work.completed_total, work.failed_total),
            (completed, 1 - completed)
        );
        // Failed at 5.1 s; found by a check 5 s apart from then on, the first after 20.2 s: at 25.1 s.
        let expected = if completed == 1 {
            25_100 * MS + normal
        } else {
            5_100 * MS
        };
        assert_eq!(work.longest.0, 50 * US + expected);
    }
}

/// Both fabrics go within a second; the I/Os wait, held and then without a path, and come through when B is back.
#[test]
fn both_fabrics_are_lost() {
    let reads: Vec<(u64, Op, u32)> = (0..300).map(|n| (n * 100 * MS, Op::Read, 4096)).collect();
    for protocol in ["fc-scsi", "fc-nvme"] {
        let compiled = dual(
            protocol,
            "32GFC",
            "timers = { no_path = \"queue\" }",
            &reads,
        );
        let scripts = [
            script(&compiled, S, LOUD, "", A),
            script(&compiled, 1_500 * MS, LOUD, "", Some(Side::B)),
            script(&compiled, 12 * S, Action::Restore, "", Some(Side::B)),
        ];
        let tally = run(&compiled, &scripts, 60 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (300, 0));
        assert!(tally.paths[1].completed_total > 250, "{protocol}");
        // Nothing came through between the second loss and the return, plus detection by the next check.
        assert!(
            work.silence.0 > 10_500 * MS && work.silence.0 < 16_700 * MS,
            "{:?}",
            work.silence
        );
    }
}

/// A fails while it is being drained: what it had still to answer goes to B after detection and hold, and what came
/// after the drain never noticed.
#[test]
fn a_loss_during_a_drain() {
    let reads = [0, 70 * US, S].map(|at| (at, Op::Read, 4096));
    let compiled = dual("fc-scsi", "32GFC", "", &reads);
    let normal = latency(&dual("fc-scsi", "32GFC", "", &CAUGHT), &[]);
    let scripts = [
        script(&compiled, 40 * US, Action::Drain, "", A),
        script(&compiled, 60 * US, LOUD, "", A),
        script(&compiled, 20 * S, Action::Restore, "", A),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    assert_eq!(
        (work.completed_total, work.failed_total, work.retried),
        (3, 0, 1)
    );
    // What comes after the drain goes over B, though nobody has noticed the loss of A at 70 us.
    let (_, most) = extremes(&tally);
    assert_eq!(most, 60 * US + 5_100 * MS + normal);
    let last = tally.log.iter().rev().find_map(|entry| match entry.kind {
        LogKind::Path { path: 0, to } => Some(to),
        _ => None,
    });
    assert_eq!(last, Some(Standing::Up));
}

/// What became of the load of `scenarios/eight-paths.toml`, one path lost at 2 s.
struct Load {
    /// Completions in each 10 ms.
    bins: Vec<u64>,
    /// I/Os sent again.
    hung: u64,
    longest: u64,
}

impl Load {
    /// Completions from `from` to `to`, ms.
    fn between(&self, from: usize, to: usize) -> u64 {
        self.bins[from / 10..to / 10].iter().sum()
    }
}

fn eight_text(changes: &[(&str, &str)]) -> String {
    let mut text = include_str!("../../scenarios/eight-paths.toml").to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    text
}

fn eight_paths(changes: &[(&str, &str)]) -> Load {
    let compiled = Compiled::new(&site(&eight_text(changes)), &[]);
    assert_eq!(compiled.path_names().count(), 8);
    let event = &compiled.site.events[0];
    assert_eq!(event.at.0, 2 * S);
    let mut world = World::new(&compiled, 0, watch(0, 30 * S), LIMITS);
    world.add_script(script(
        &compiled,
        event.at.0,
        event.action,
        &event.parts[0],
        None,
    ));
    let mut bins = Vec::new();
    let mut before = 0;
    for bin in 1..=2_000 {
        world.run_until(Instant(bin * 10 * MS), Stop::AtTheTime);
        let done = world.tally().workloads[0].completed_total;
        bins.push(done - before);
        before = done;
    }
    let tally = world.finish();
    assert_eq!(tally.workloads[0].failed_total, 0);
    Load {
        bins,
        hung: tally.workloads[0].retried,
        longest: tally.workloads[0].longest.0,
    }
}

const LEAST: (&str, &str) = ("\"round-robin\"", "\"least-queue\"");
const ENDLESS: (&str, &str) = ("queue_depth = 64", "queue_depth = \"unlimited\"");
const CLOSED: (&str, &str) = ("{ paced = \"4k/s\" }", "{ closed = { depth = 32 } }");

/// An open load of 4000 a second in turn over eight paths of depth 64: the dead one takes every eighth I/O, 500 a
/// second, until it is full after 128 ms. Then nothing is missing, but 64 I/Os hang for ping, timeout and replacement,
/// 15 s, and come in one burst above the set rate of 40 in 10 ms.
#[test]
fn a_dead_path_in_turn_takes_its_depth() {
    let load = eight_paths(&[]);
    assert_eq!(load.between(1_000, 2_000), 4_000);
    assert_eq!(load.hung, 64);
    assert!(load.longest.abs_diff(15 * S) < MS, "{}", load.longest);
    // Seven eighths of 400, then 64 missing in all, then everything.
    assert!(load.between(2_000, 2_100).abs_diff(350) <= 2);
    assert!(load.between(2_000, 2_200).abs_diff(800 - 64) <= 2);
    assert!(load.between(2_200, 17_000).abs_diff(4 * 14_800) <= 2);
    assert!(
        load.bins[1_700].abs_diff(40 + 64) <= 2,
        "{}",
        load.bins[1_700]
    );
    assert!(load.between(17_010, 18_000).abs_diff(4 * 990) <= 2);
}

/// Without a depth the dead path takes an eighth for all of the 15 s: 7500 I/Os hang, and come at once, so fast that
/// half of them are done in 10 ms, many times the set rate.
#[test]
fn a_dead_path_without_a_depth_takes_its_share_to_the_end() {
    let load = eight_paths(&[ENDLESS]);
    assert!(load.hung.abs_diff(7_500) <= 2, "{}", load.hung);
    assert!(load.between(2_100, 17_000).abs_diff(14_900 * 7 / 2) <= 3);
    assert!(load.bins[1_700] > 3_750, "{}", load.bins[1_700]);
    assert!(load.between(17_000, 17_100).abs_diff(7_500 + 400) <= 2);
}

/// Least-queue takes the path with the fewest I/Os under way, and a dead one never gets rid of any: at this load two
/// or three hang, and nothing else is to be seen.
#[test]
fn least_queue_avoids_a_dead_path() {
    for depth in [&[LEAST][..], &[LEAST, ENDLESS]] {
        let load = eight_paths(depth);
        assert!((1..=3).contains(&load.hung), "{}", load.hung);
        assert!(load.between(2_000, 17_000).abs_diff(60_000) <= 4);
        assert!(load.bins[1_700] <= 40 + 4, "{}", load.bins[1_700]);
        assert!(load.longest.abs_diff(15 * S) < 20 * MS, "{}", load.longest);
    }
}

/// A load generator with 32 I/Os outstanding: in turn, each of the 32 meets the dead path within its next eight, and
/// the load stops wholly until 17 s; with least-queue a share of 4 or 5 of the 32 hangs, and the rest goes on. Nothing
/// is made good afterwards: such a load has no rate that it is behind of.
#[test]
fn a_bounded_load_stops_in_turn_and_goes_on_by_least_queue() {
    let load = eight_paths(&[CLOSED]);
    let healthy = load.between(1_000, 2_000);
    assert_eq!(load.hung, 32);
    assert_eq!(load.between(2_010, 17_000), 0);
    assert!(load.between(17_010, 18_010).abs_diff(healthy) * 50 < healthy);
    assert!(
        load.bins[1_700..].iter().all(|bin| *bin * 95 < healthy),
        "no spike"
    );
    let load = eight_paths(&[CLOSED, LEAST]);
    assert!((4..=5).contains(&load.hung), "{}", load.hung);
    let during = load.between(3_000, 4_000);
    let share = healthy * (32 - load.hung) / 32;
    assert!(
        during.abs_diff(share) * 10 < healthy,
        "{during} of {healthy}"
    );
}

const BOUNDED: (&str, &str) = (
    "{ paced = \"4k/s\" }",
    "{ paced = \"4k/s\", outstanding = 32 }",
);
const ONE: (&str, &str) = (
    "{ paced = \"4k/s\" }",
    "{ paced = \"4k/s\", outstanding = 1 }",
);

/// A set rate and at most 32 under way, in turn: every eighth I/O goes to the dead path, so that all 32 hang after 32 × 8
/// of them, 64 ms. The load stops until 17 s, 15 s after the loss; then 14.936 s × 4000 = 59 744 wait in the host, and come as
/// fast as 32 at a time can: 32 ÷ 234 us is some 137 000 a second, less the 4000 that come meanwhile. Nothing is lost.
#[test]
fn a_set_rate_with_a_bound_stops_and_then_spikes_in_turn() {
    let load = eight_paths(&[BOUNDED]);
    assert_eq!(load.hung, 32);
    assert!(load.between(2_000, 2_070).abs_diff(7 * 32) <= 8);
    assert_eq!(load.between(2_070, 17_000), 0);
    let spike = load.bins[1_700..1_740].iter().max().unwrap();
    assert!(
        (1_200..=1_400).contains(spike),
        "{spike} in 10 ms, set rate 40"
    );
    // Caught up after 59 776 ÷ 133 000 = 0.45 s, and at the set rate again.
    assert!(
        load.between(17_000, 17_500).abs_diff(59_776 + 2_000) <= 40,
        "{}",
        load.between(17_000, 17_500)
    );
    assert!(load.between(17_500, 18_500).abs_diff(4_000) <= 2);
    assert!(load.longest.abs_diff(15 * S) < MS, "{}", load.longest);
}

/// The same by the emptiest path: the dead one has its one to three, all others are emptier, and the other 29 to 31 are more
/// than enough. No stop, no spike; one I/O takes 15 s.
#[test]
fn a_set_rate_with_a_bound_goes_on_by_least_queue() {
    let load = eight_paths(&[BOUNDED, LEAST]);
    assert!((1..=3).contains(&load.hung), "{}", load.hung);
    let least = load.bins[200..1_700].iter().min().unwrap();
    assert!(*least >= 40 - 3, "{least} in 10 ms, set rate 40");
    assert!(load.bins[1_700] <= 40 + 4, "{}", load.bins[1_700]);
    assert!(load.longest.abs_diff(15 * S) < 20 * MS, "{}", load.longest);
}

/// One at a time, as a log is written: the emptiest path is any of eight while none has one, so that the turn comes to the
/// dead path within eight I/Os, whichever policy. Then all that may be under way hangs: both policies stop until 17 s,
/// and both make 15 000 I/Os good at what one at a time allows, 1 ÷ 232 us = 4300 a second, more than four times the set rate.
#[test]
fn one_at_a_time_stops_and_spikes_by_either_policy() {
    for policy in [&[ONE][..], &[ONE, LEAST]] {
        let mut changes = policy.to_vec();
        changes.push(("paced = \"4k/s\"", "paced = \"1k/s\""));
        let load = eight_paths(&changes);
        assert_eq!(load.hung, 1);
        assert!(load.between(2_000, 2_020) <= 9);
        assert_eq!(load.between(2_020, 17_000), 0);
        // 10 ms ÷ 232 us.
        assert!(
            load.bins[1_701..1_800]
                .iter()
                .all(|bin| (41..=44).contains(bin)),
            "set rate 10"
        );
        assert!(load.longest.abs_diff(15 * S) < 10 * MS, "{}", load.longest);
    }
}

/// However much is under way, least-queue gives a dead path no more than the share of one path in eight of what may be: it
/// gets its n-th I/O only while all seven others have n − 1. At 64 under way and more work than that can do, 8 hang; what
/// is lost of the rate is an eighth.
#[test]
fn least_queue_gives_a_dead_path_its_share_at_most() {
    let flood = (
        "{ paced = \"4k/s\" }",
        "{ paced = \"40k/s\", outstanding = 64 }",
    );
    let slow = ("hit_time = \"200us\"", "hit_time = \"2ms\"");
    let few = ("parallel = 64", "parallel = 32");
    let load = eight_paths(&[flood, LEAST, slow, few]);
    assert!((7..=9).contains(&load.hung), "{}", load.hung);
    let before = load.between(1_000, 2_000);
    let during = load.between(5_000, 15_000) / 10;
    assert!(
        during.abs_diff(before * 7 / 8) * 50 < before,
        "{during} of {before}"
    );
}

/// What is told of the time after the first event of a script is of that time: a pause long before a loss is no silence of it, nor are
/// I/Os that were over by then counted after it.
#[test]
fn figures_after_a_loss_leave_out_what_was_before_it() {
    let mut base = dual("fc-nvme", "32GFC", "", &CAUGHT).site;
    let late = (0..100).map(|n| (10 * S + n * 100 * MS, Op::Read, 4096));
    let reads: Vec<(u64, Op, u32)> = std::iter::once((0, Op::Read, 65_536)).chain(late).collect();
    at_times(&mut base, 1, &reads);
    let compiled = Compiled::new(&base, &[]);
    let scripts = [script(&compiled, 15 * S + 50 * MS, LOUD, "", Some(Side::B))];
    let work = run(&compiled, &scripts, 30 * S).workloads.remove(0);
    assert_eq!((work.completed_total, work.completed_after), (101, 49));
    assert_eq!(work.before.completed, 52);
    assert!(work.before.silence.0 > 9 * S, "{:?}", work.before);
    assert!(work.silence.0 < 10 * S, "{:?}", work.silence);
}
