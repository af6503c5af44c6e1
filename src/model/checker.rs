//! Checks of paths in good standing, by which an idle path that is lost silently is found (SCSI over Fibre Channel).
//!
//! A checker sends a command of its own over each path. A path that has just come into use is checked after the path
//! check's interval, then after twice that, and so on up to a largest interval (manual page of the usual open-source
//! multipath tools). A check that is not answered within the command timeout fails the path; I/Os under way on it wait
//! for timeouts of their own. Paths that were in use before the run began are at the largest interval, in a phase
//! drawn for each pair of ports, the same on both fabrics.
//!
//! Nothing is simulated of checks that are answered: when the next one would come is worked out when a path breaks.
//! iSCSI finds a dead path by its pings before that, NVMe by keep-alive or timeouts.
//!
//! Paths kept for failback are checked like those in use.
//!
//! Left out: the frames of the checks.

use super::standing::{Standing, TimerName};
use super::world::{Executor, World};
use crate::unit::{Duration, Instant, mix_pair, mix64};
use crate::wire::Protocol;

/// From `now` until the next check of a path that has been in use since `back_at`: strictly later.
fn until_next(now: Instant, back_at: Instant, least: Duration, most: Duration) -> Duration {
    let (mut at, mut interval) = (back_at, least);
    loop {
        at += interval;
        if at > now {
            return at.since(now);
        }
        if interval == most {
            let rest = now.since(at).0 % most.0;
            return Duration(most.0 - rest);
        }
        interval = Duration(interval.0.saturating_mul(2)).min(most);
    }
}

impl<E: Executor> World<'_, E> {
    /// By which check the loss of a path shows that nothing else tells of, and when.
    pub(super) fn checked_by(&self, path: u32) -> Option<(TimerName, Duration)> {
        if !matches!(self.path_protocol(path), Protocol::FcScsi(_)) {
            return None;
        }
        let timers = self.path_timers(path);
        let least = timers.path_check.max(Duration::from_us(1));
        let most = timers.path_check_max.max(least);
        let state = &self.paths[path as usize];
        // One that waits for its failback is checked as from its return.
        let back_at = match state.standing {
            Standing::Returned => Some(state.changed_at),
            _ => state.back_at,
        };
        let next = match back_at {
            Some(back_at) => until_next(self.now, back_at, least, most),
            None => {
                let phase = self.check_phase(path, most);
                Duration(most.0 - (self.now.0 + phase.0) % most.0)
            }
        };
        Some((TimerName::CheckerTimeout, next + timers.command_timeout))
    }

    /// How long before the run began a path was checked last.
    fn check_phase(&self, path: u32, most: Duration) -> Duration {
        let ends = &self.compiled.paths[path as usize].path;
        let digest =
            |node: crate::topology::NodeId| self.compiled.fabric.nodes[node.0 as usize].digest;
        let run = mix_pair(self.compiled.site.run.seed, self.replication());
        let ports = mix_pair(digest(ends.host_port), digest(ends.array_port));
        let draw = u128::from(mix64(mix_pair(run, ports))) * u128::from(most.0);
        Duration(u64::try_from(draw >> 64).unwrap_or(0))
    }
}
