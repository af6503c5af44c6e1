//! What set stalled I/Os free: of each I/O, the line of the log after which it could go on.
//!
//! A line frees the I/Os of a set of paths when it takes them off a path or gives them one: a path given up or back,
//! attempts timed out, a takeover, a team that moves. An I/O remembers the last of these that came
//! in its own time before it was issued; one that TCP sends again, that; one that fails, its failure. The longest I/O
//! of a workload then tells what ended the stall.

use super::attempt::NONE;
use super::standing::{LogEntry, LogKind, Standing};
use super::tally::Fate;
use super::world::{Executor, World};

impl<E: Executor> World<'_, E> {
    pub(crate) fn log(&mut self, entry: LogEntry) {
        let line = self.next_line();
        self.tally.log.push(entry);
        let compiled = self.compiled;
        match entry.kind {
            LogKind::Path {
                path,
                to: Standing::Failed | Standing::Up,
            }
            | LogKind::AttemptTimedOut { path } => {
                self.freeing[compiled.paths[path as usize].set as usize] = line;
            }
            LogKind::TeamMoved { set } => self.freeing[set as usize] = line,
            LogKind::TakenOver(controller) => {
                let array = compiled.fabric.controllers[controller as usize].array;
                for (set, freeing) in compiled.sets.iter().zip(&mut self.freeing) {
                    let first = &compiled.paths[set.paths.start as usize].path;
                    if compiled.fabric.controllers[first.controller].array == array {
                        *freeing = line;
                    }
                }
            }
            // Restarted guests set nothing free: what was under way in their host is lost with it, and what they were not asked
            // for meanwhile never came.
            LogKind::GuestsRestarted(_)
            | LogKind::Path { .. }
            | LogKind::Script(_)
            | LogKind::Resent { .. }
            | LogKind::Rerouted
            | LogKind::PortsDropped(_)
            | LogKind::PortsBack(_)
            | LogKind::TeamNoticed { .. }
            | LogKind::GuestsLost(_)
            | LogKind::IoFailed { .. } => {}
        }
    }

    fn next_line(&self) -> u32 {
        u32::try_from(self.tally.log.len()).unwrap_or(NONE)
    }

    fn logged(&self, line: u32) -> Option<&LogEntry> {
        self.tally.log.get(line as usize)
    }

    /// The line that set an I/O free which is issued now on a path of `set`.
    pub(super) fn freed(&self, set: u32, io: u32) -> u32 {
        let line = self.freeing[set as usize];
        let own = |entry: &LogEntry| entry.at >= self.ios[io].arrival;
        if self.logged(line).is_some_and(own) {
            line
        } else {
            NONE
        }
    }

    /// TCP has just sent a message of an I/O again: that frees it, unless its team has moved and it is the move.
    pub(super) fn freed_by_resending(&mut self, set: u32, io: u32) {
        let moved = self.freed(set, io);
        let by_team = self
            .logged(moved)
            .is_some_and(|entry| matches!(entry.kind, LogKind::TeamMoved { .. }));
        let line = if by_team { moved } else { self.next_line() - 1 };
        self.ios[io].freed = line;
    }

    /// I/Os failed so far.
    pub(super) fn failed_so_far(&self) -> u64 {
        self.tally
            .workloads
            .iter()
            .map(|own| own.failed_total)
            .sum()
    }

    /// Notes what became of I/Os that the log said to be let go in `entry`, now that paths have been given to those of
    /// `set` that could have one.
    pub(super) fn note_fate(&mut self, entry: usize, set: u32, mine: &[u32], failed_before: u64) {
        let failed = (self.failed_so_far() - failed_before).min(mine.len() as u64);
        let taken = self.set_takes_ios(set);
        let mut waiting = 0;
        for source in &self.compiled.sets[set as usize].sources {
            let queue = &self.sources[*source as usize].waiting;
            waiting += queue.iter().filter(|io| mine.contains(io)).count() as u64;
        }
        if failed + waiting > 0 {
            self.tally.fates.push(Fate {
                entry,
                failed,
                waiting,
                pathless: !taken,
            });
        }
    }

    /// Whether any path of a set takes I/Os.
    fn set_takes_ios(&self, set: u32) -> bool {
        let mut paths = self.compiled.sets[set as usize].paths.clone();
        paths.any(|path| self.paths[path as usize].takes_ios())
    }

    /// Marks the workloads whose I/Os wait at a host that has no path for them.
    pub(super) fn note_pathless(&mut self) {
        for (index, set) in (0_u32..).zip(&self.compiled.sets) {
            if self.set_takes_ios(index) {
                continue;
            }
            for source in &set.sources {
                let own = &self.compiled.sources[*source as usize];
                let waits = !self.sources[*source as usize].waiting.is_empty();
                self.tally.workloads[own.workload].pathless |= waits;
            }
        }
    }
}
