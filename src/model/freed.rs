//! What set stalled I/Os free: of each I/O, the line of the log after which it could go on.
//!
//! A line frees the I/Os of a set of paths when it takes them off a path or gives them one: a path given up or back,
//! attempts timed out, a takeover, a team that moves. An I/O remembers the last of these that came
//! in its own time before it was issued; one that TCP sends again, that; one that fails, its failure. The longest I/O
//! of a workload then tells what ended the stall.

use super::attempt::NONE;
use super::standing::{LogEntry, LogKind, Standing};
use super::tally::{Fate, Stopped};
use super::world::{Executor, World};
use crate::unit::{Duration, Instant};

impl<E: Executor> World<'_, E> {
    pub(crate) fn log(&mut self, entry: LogEntry) {
        let line = self.next_line();
        self.tally.log.push(entry);
        let compiled = self.compiled;
        if let LogKind::Path { path, to } = entry.kind
            && !matches!(to, Standing::Removed | Standing::Standby)
        {
            let set = &compiled.sets[compiled.paths[path as usize].set as usize];
            for source in &set.sources {
                let workload = compiled.sources[*source as usize].workload;
                self.tally.workloads[workload].last_standing = entry.at;
            }
        }
        match entry.kind {
            LogKind::Path {
                path,
                to: Standing::Failed | Standing::Up,
            }
            | LogKind::AttemptTimedOut { path } => {
                let set = compiled.paths[path as usize].set as usize;
                // A path that is given up with what has just timed out on it lets nothing more go.
                let empty =
                    matches!(entry.kind, LogKind::Path { to, .. } if to == Standing::Failed);
                let before = self.logged(self.freeing[set]).map(|known| known.at);
                if !(empty && entry.ios == 0 && before == Some(entry.at)) {
                    self.freeing[set] = line;
                }
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
            | LogKind::Rerouted(_)
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

    /// TCP has just sent a message of an I/O again: that frees it, whatever made a way for it before.
    pub(super) fn freed_by_resending(&mut self, io: u32) {
        self.ios[io].freed = self.next_line() - 1;
    }

    /// An I/O of a workload over a path of `set` is about to be counted as completed, `freed` by a line of the log: if
    /// nothing was completed for long while something hung or failed, that was a stop, and it is over.
    pub(super) fn note_stop_before_completion(&mut self, workload: usize, set: u32, freed: u32) {
        let Some(since) = self.fault.since.filter(|since| self.now >= *since) else {
            return;
        };
        let tally = &self.tally.workloads[workload];
        let from = tally.last_completion.max(since);
        let silence = self.now.since(from);
        if silence < Stopped::LEAST || !Stopped::is_stop(silence, self.oldest_age(workload)) {
            return;
        }
        // Who comes in the instant in which paths are there again may be done before those that were let go.
        let line = if freed == NONE && (tally.hanging > 0 || tally.failing) {
            self.freeing[set as usize]
        } else {
            freed
        };
        if self.logged(line).is_some_and(|entry| entry.at >= from) {
            self.tally.workloads[workload].stops.push(Stopped {
                from,
                to: Some(self.now),
                by: Some(line as usize),
            });
        }
    }

    /// Whether a workload has stopped when the run ends: it hangs, or fails and completes nothing.
    pub(super) fn note_stop_at_the_end(&mut self, workload: usize, since: Instant) {
        let tally = &self.tally.workloads[workload];
        let from = tally.last_completion.max(since);
        let oldest = match self.oldest_age(workload) {
            Duration::ZERO => tally.longest,
            age => age,
        };
        let hangs = tally.hanging > 0 || tally.failing || tally.pathless;
        if hangs && Stopped::is_stop(self.now.since(from), oldest) {
            let tally = &mut self.tally.workloads[workload];
            tally.silence = tally.silence.max(self.now.since(from));
            tally.stops.push(Stopped {
                from,
                to: None,
                by: None,
            });
        }
    }

    /// Age of the oldest unfinished I/O of a workload, zero where it has none.
    fn oldest_age(&self, workload: usize) -> Duration {
        match self.oldest[workload] {
            NONE => Duration::ZERO,
            io => self.now.since(self.ios[io].arrival),
        }
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
                unserved: self.volumes_wait(set),
            });
        }
    }

    /// Whether volumes that a set may ask for are between a lost controller and its partner.
    fn volumes_wait(&self, set: u32) -> bool {
        let first = self.compiled.sets[set as usize].paths.start as usize;
        let controllers = &self.compiled.fabric.controllers;
        let array = controllers[self.compiled.paths[first].path.controller].array;
        (0..controllers.len())
            .any(|index| controllers[index].array == array && self.waits_for_takeover(index))
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
