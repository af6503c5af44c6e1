//! What becomes of I/Os whose path ends while they are on it: how often they are sent again, when, and what is told of it.

use super::fault::{CAUGHT, SILENT, dual, latency};
use super::rig::{S, US, extremes, run, script};
use halfloom::model::{LogKind, Standing, Tally, TimerName};
use halfloom::site::Action;
use halfloom::unit::Side;
use halfloom::wire::Op;

const A: Option<Side> = Some(Side::A);

/// Two reads on a path, 10 s apart.
const TWO: [(u64, Op, u32); 2] = [(0, Op::Read, 4096), (10 * S, Op::Read, 4096)];

/// Standings of paths with the timers that brought them, s.
fn changes(tally: &Tally) -> Vec<(u64, Standing, Option<TimerName>)> {
    let entries = tally.log.iter();
    let paths = entries.filter_map(|entry| match entry.kind {
        LogKind::Path { to, .. } => Some((entry.at.0 / S, to, entry.timer.map(|timer| timer.0))),
        _ => None,
    });
    paths.collect()
}

/// Both reads are lost without a sign, and the path is whole again at 15 s. No host can know that when the first has had no answer
/// at 30 s: an NVMe association ends then, with the second read, and is made anew by the next check. SCSI gives up the command.
#[test]
fn an_association_ends_with_a_command_whatever_its_path_could_carry() {
    for (protocol, second) in [("fc-nvme", 20 * S), ("fc-scsi", 30 * S)] {
        let compiled = dual(protocol, "32GFC", "", &TWO);
        let normal = latency(&dual(protocol, "32GFC", "", &CAUGHT), &[]);
        let scripts = [
            script(&compiled, 50 * US, SILENT, "", A),
            script(&compiled, 15 * S, Action::Restore, "", A),
        ];
        let tally = run(&compiled, &scripts, 100 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.retried), (2, 2), "{protocol}");
        let (least, most) = extremes(&tally);
        assert_eq!(most, 30 * S + normal, "{protocol}");
        assert!(
            least.abs_diff(second + normal) < 5 * US,
            "{protocol}: {least}"
        );
        let given_up = [
            (30, Standing::Failed, Some(TimerName::CommandTimeout)),
            (35, Standing::Up, Some(TimerName::PathCheck)),
        ];
        let found = changes(&tally);
        assert_eq!(
            found.ends_with(&given_up),
            protocol == "fc-nvme",
            "{found:?}"
        );
    }
}
