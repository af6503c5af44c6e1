//! Checks of healthy paths: when an idle path that is lost silently is found.

use super::fault::{LOUD, SILENT, dual};
use super::rig::{LIMITS, MS, S, US, direction, run, script, watch};
use halfloom::model::{Compiled, LogKind, Script, Standing, Stop, TimerName, World};
use halfloom::site::Action;
use halfloom::unit::{Instant, Side};
use halfloom::wire::Op;

const B: Option<Side> = Some(Side::B);

/// When the second path, over B, got each standing, ps, and by which timer.
fn changes(
    compiled: &Compiled,
    replication: u32,
    scripts: &[Script],
    until: u64,
) -> Vec<(u64, Standing, Option<TimerName>)> {
    let mut world = World::new(compiled, replication, watch(0, until), LIMITS);
    for script in scripts {
        world.add_script(script.clone());
    }
    world.run_until(Instant(until), Stop::AtTheTime);
    let tally = world.finish();
    let entries = tally.log.iter();
    entries
        .filter_map(|entry| match entry.kind {
            LogKind::Path { path: 1, to } => {
                Some((entry.at.0, to, entry.timer.map(|timer| timer.0)))
            }
            _ => None,
        })
        .collect()
}

/// Paths in use for long are checked every 20 s, each in a phase of its own, and a check gives up after 30 s.
#[test]
fn an_idle_path_is_found_by_the_next_check() {
    let compiled = dual("fc-scsi", "32GFC", "", &[(0, Op::Read, 4096)]);
    let found = |replication, at| {
        let lost = script(&compiled, at, SILENT, "", B);
        let (when, to, timer) = changes(&compiled, replication, &[lost], 300 * S)
            .pop()
            .unwrap();
        assert_eq!(
            (to, timer),
            (Standing::Failed, Some(TimerName::CheckerTimeout))
        );
        when - at
    };
    let mut sum = 0;
    for replication in 0..40 {
        let wait = found(replication, 100 * S) - 30 * S;
        assert!(wait > 0 && wait <= 20 * S, "{wait}");
        // The same phase again 20 s later, and 3 s nearer to the check after 3 s.
        assert_eq!(found(replication, 120 * S), wait + 30 * S);
        let nearer = if wait > 3 * S {
            wait - 3 * S
        } else {
            wait + 17 * S
        };
        assert_eq!(found(replication, 103 * S), nearer + 30 * S);
        sum += wait;
    }
    // Uniform on 20 s: the mean of 40 has a standard deviation of 20 / sqrt(12 * 40) = 0.91 s; four of them.
    assert!((sum / 40).abs_diff(10 * S) < 3_650 * MS, "{}", sum / 40);
}

/// A path that is back is checked 5, 15, 35, 55 … s later, each time after twice as long, up to 20 s.
#[test]
fn checks_stretch_on_a_healthy_path() {
    let compiled = dual("fc-scsi", "32GFC", "", &[(0, Op::Read, 4096)]);
    let flap = [
        script(&compiled, S, LOUD, "", B),
        script(&compiled, 20 * S, Action::Restore, "", B),
    ];
    let back = changes(&compiled, 0, &flap, 30 * S).pop().unwrap();
    // Held at 1.1 s, failed at 6.1 s, found by a check 5 s apart.
    assert_eq!(
        back,
        (21_100 * MS, Standing::Up, Some(TimerName::PathCheck))
    );
    for (after, check) in [
        (1, 5 * S),
        (5 * S - 1, 5 * S),
        // A check in the instant of the loss was answered.
        (5 * S, 15 * S),
        (14 * S, 15 * S),
        (15 * S, 35 * S),
        (40 * S, 55 * S),
        (55 * S, 75 * S),
        (100 * S, 115 * S),
    ] {
        let lost = script(&compiled, back.0 + after, SILENT, "", B);
        let scripts = [flap[0].clone(), flap[1].clone(), lost];
        let found = changes(&compiled, 0, &scripts, 300 * S).pop().unwrap();
        assert_eq!(
            found,
            (
                back.0 + check + 30 * S,
                Standing::Failed,
                Some(TimerName::CheckerTimeout)
            ),
            "lost {after} ps after its return"
        );
    }
}

/// B idle and lost silently at 1 s, A lost loudly at 70 s: nothing is sent to B any more. Without checks worth the
/// name it would be, and hang there for the command timeout.
#[test]
fn nothing_is_sent_to_a_path_that_a_check_has_found_lost() {
    let reads: Vec<(u64, Op, u32)> = (0..80).map(|n| (n * S, Op::Read, 4096)).collect();
    for (timers, sent) in [("", false), ("path_check_max = \"1h\"", true)] {
        let timers = format!("timers = {{ no_path = \"queue\", {timers} }}").replace(",  }", " }");
        let compiled = dual("fc-scsi", "32GFC", &timers, &reads);
        let scripts = [
            script(&compiled, S + 500 * US, SILENT, "", B),
            script(&compiled, 70 * S + 500 * US, LOUD, "", Some(Side::A)),
            script(&compiled, 100 * S, Action::Restore, "", Some(Side::A)),
        ];
        let tally = run(&compiled, &scripts, 200 * S);
        assert_eq!(tally.workloads[0].completed_total, 80);
        let lost = direction(&compiled, &tally, "app:B1 > core-B").dropped;
        assert_eq!(lost > 0, sent, "{timers}");
    }
}

/// I/Os on a path that a check gives up wait for their own timeouts, which count from their issue.
#[test]
fn a_check_sends_nothing_elsewhere() {
    let read_at = 15 * S;
    let compiled = dual("fc-scsi", "32GFC", "", &[(read_at, Op::Read, 4096)]);
    let lost = script(&compiled, S, SILENT, "", Some(Side::A));
    let normal = super::fault::latency(&compiled, &[]);
    for replication in 0..10 {
        let mut world = World::new(&compiled, replication, watch(0, 100 * S), LIMITS);
        world.add_script(lost.clone());
        world.run_until(Instant(100 * S), Stop::AtTheTime);
        let tally = world.finish();
        assert_eq!(super::rig::extremes(&tally).0, 30 * S + normal);
        assert_eq!(tally.workloads[0].retried, 1);
    }
}
