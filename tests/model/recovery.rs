//! What hosts and fabrics do about a loss: TCP sends again, groups of links close ranks, drained paths empty,
//! and each stall ends by the timer that applies to it.

use super::fault::{CAUGHT, LOUD, SILENT, dual, latency};
use super::rig::{MS, S, US, at_times, direction, extremes, run, script, site};
use halfloom::model::{Compiled, LogKind, Script, Standing, TimerName};
use halfloom::site::Action;
use halfloom::unit::Side;
use halfloom::wire::Op;

const A: Option<Side> = Some(Side::A);

/// Side A lost and restored.
fn flap(compiled: &Compiled, from: u64, to: u64) -> [Script; 2] {
    [
        script(compiled, from, LOUD, "", A),
        script(compiled, to, Action::Restore, "", A),
    ]
}

/// A message whose segments are lost leaves again 200 ms after it first left (the smallest retransmission
/// timeout of open-source TCP), then 400 ms after that (doubled, RFC 6298 section 5.5). The adapter takes
/// 15 us, so the command leaves at 15 us and the answer after 115 us.
#[test]
fn tcp_sends_lost_segments_again() {
    let compiled = dual("nvme-tcp", "25GbE", "", &CAUGHT);
    let normal = latency(&compiled, &[]);
    for (from, to, delay) in [
        // The command is lost.
        (10 * US, MS, 200 * MS),
        // The answer, all its segments.
        (50 * US, MS, 200 * MS),
        // The command, and once more: the link is back at 300 ms and used again 200 ms later.
        (10 * US, 300 * MS, 600 * MS),
    ] {
        let tally = run(&compiled, &flap(&compiled, from, to), 10 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.retried), (1, 0));
        assert_eq!(extremes(&tally).0, normal + delay, "lost at {from} ps");
        assert_eq!(work.resent, if delay > 200 * MS { 2 } else { 1 });
        // An attempt that lost frames counts as retry as a whole.
        assert_eq!(work.budget.retry, u128::from(normal + delay));
        assert_eq!(work.budget.total(), work.budget.retry);
    }
}

/// A path that is drained finishes what is under way and takes nothing new; restored it is used again.
#[test]
fn a_drained_path_empties() {
    let ios = [0, MS, 3 * MS].map(|at| (at, Op::Read, 4096));
    for protocol in ["fc-scsi", "fc-nvme"] {
        let compiled = dual(protocol, "32GFC", "", &ios);
        let normal = latency(&dual(protocol, "32GFC", "", &CAUGHT), &[]);
        let scripts = [
            script(&compiled, 50 * US, Action::Drain, "", A),
            script(&compiled, 2 * MS, Action::Restore, "", A),
        ];
        let tally = run(&compiled, &scripts, S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.retried, work.late), (3, 0, 0));
        assert_eq!(extremes(&tally), (normal, normal));
        let sent = |name| direction(&compiled, &tally, name).delivered;
        assert_eq!((sent("app:A1 > core-A"), sent("app:B1 > core-B")), (2, 1));
    }
}

/// A group of two loses a member at 100.5 ms. Until the fabric avoids it, 200 ms later, what is sent there is
/// lost and comes again after the command timeout of 30 s; afterwards nothing is. Reads of 4 KiB a millisecond
/// apart, 1000 of them: a command of one frame, an answer of three.
#[test]
fn a_group_closes_ranks() {
    let text = "format = 1\n[[host]]\nname = \"app\"\n\
         [[switch]]\nname = \"edge\"\nfabric = \"A\"\n[[switch]]\nname = \"core\"\nfabric = \"A\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nread = { hit = \"100%\", hit_time = \"100us\" }\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"edge\"\nto = \"core\"\nspeed = \"32GFC\"\nmembers = 2\nchoose = \"exchange\"\n\
         [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
         sizes = \"4KiB\"\narrivals = { poisson = \"1/s\" }\n";
    let mut site = site(text);
    // What is lost keeps its slot for 30 s: room for all.
    site.hosts[0].queue_depth = None;
    let ios: Vec<(u64, Op, u32)> = (0..1000).map(|ms| (ms * MS, Op::Read, 4096)).collect();
    at_times(&mut site, 1, &ios);
    let compiled = Compiled::new(&site, &[]);
    let (normal, most) = extremes(&run(&compiled, &[], 2 * S));
    assert_eq!(normal, most);
    let at = 100 * MS + 500 * US;
    let lost = script(&compiled, at, LOUD, "edge-A~core-A/1", None);
    let tally = run(&compiled, &[lost], 100 * S);
    let work = &tally.workloads[0];
    assert_eq!(
        (work.completed_total, work.failed_total, work.late),
        (1000, 0, 0)
    );
    let [to, from] = ["edge-A > core-A/1", "core-A > edge-A/1"];
    let [to, from] = [to, from].map(|name| direction(&compiled, &tally, name));
    // About half of 200 commands, and half of the answers to the other half.
    assert!((60..140).contains(&to.dropped), "{}", to.dropped);
    assert!((75..240).contains(&from.dropped), "{}", from.dropped);
    assert_eq!((to.cut, from.cut, from.dropped % 3), (0, 0, 0));
    assert_eq!(work.retried, to.dropped + from.dropped / 3);
    assert_eq!(extremes(&tally), (normal, 30 * S + normal));
    let rerouted = tally
        .log
        .iter()
        .find(|entry| matches!(entry.kind, LogKind::Rerouted(_)))
        .expect("the fabric takes note");
    assert_eq!(rerouted.at.0, at + 200 * MS);
}

/// One side is lost loudly, the other silently. Only the loud loss is noticed, by link-loss detection, and the
/// log says so, in whichever order they come.
#[test]
fn each_loss_is_noticed_in_its_own_way() {
    let compiled = dual("fc-scsi", "32GFC", "", &[(10 * S, Op::Read, 4096)]);
    for (loud, other) in [(Side::A, Side::B), (Side::B, Side::A)] {
        for (loud_at, silent_at) in [(1, 1), (1, 50), (50, 1)] {
            let mut scripts = vec![
                script(&compiled, loud_at * MS, LOUD, "", Some(loud)),
                script(&compiled, silent_at * MS, SILENT, "", Some(other)),
            ];
            for _ in 0..2 {
                scripts.reverse();
                let tally = run(&compiled, &scripts, 9 * S);
                let changes: Vec<(u64, u32, Standing, Option<TimerName>)> = tally
                    .log
                    .iter()
                    .filter_map(|entry| match entry.kind {
                        LogKind::Path { path, to } if to != Standing::Unnoticed => {
                            let timer = entry.timer.map(|(name, _)| name);
                            Some((entry.at.0, path, to, timer))
                        }
                        _ => None,
                    })
                    .collect();
                // Paths in order: over A, over B.
                let path = u32::from(loud == Side::B);
                let noticed = (loud_at + 100) * MS;
                let detection = Some(TimerName::LinkLossDetect);
                let hold = Some(TimerName::FastIoFail);
                assert_eq!(
                    changes,
                    [
                        (noticed, path, Standing::Blocked, detection),
                        (noticed + 5 * S, path, Standing::Failed, hold)
                    ],
                    "{loud} loudly at {loud_at} ms, {other} silently at {silent_at} ms"
                );
            }
        }
    }
}

/// Attempts after the first are counted when they are made: with both sides lost the read goes from A to B,
/// whose loss is noticed a moment later, and then there is nowhere to go. Noticed in the same instant, nothing of it has left for B.
#[test]
fn an_attempt_counts_when_it_is_made() {
    let compiled = dual(
        "fc-nvme",
        "32GFC",
        "timers = { no_path = \"fail\" }",
        &CAUGHT,
    );
    for (later, retried) in [(50 * US, 1), (0, 0)] {
        let lost = [(Side::A, 50 * US), (Side::B, 50 * US + later)];
        let lost = lost.map(|(side, at)| script(&compiled, at, LOUD, "", Some(side)));
        let tally = run(&compiled, &lost, S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (0, 1));
        assert_eq!(work.retried, retried);
        assert_eq!(work.longest.0, 50 * US + later + 100 * MS);
    }
}
