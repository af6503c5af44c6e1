//! What set stalled I/Os free: of each I/O, the line of the log after which it could go on.
//!
//! A line frees the I/Os of a set of paths when it takes them off a path or gives them one: a path given up or back,
//! attempts timed out, a takeover, a team that moves. An I/O remembers the last of these that came
//! in its own time before it was issued; one that TCP sends again, that; one that fails, its failure. The longest I/O
//! of a workload then tells what ended the stall.

use super::attempt::{Io, NONE};
use super::compile::{Compiled, SetPlan};
use super::standing::{LogEntry, LogKind, Standing};
use super::tally::{Fate, StopCause, Stopped};
use super::world::{Executor, World};
use crate::unit::{Duration, Instant};

impl Compiled {
    /// The array that a set of paths leads to; `None` without any path.
    pub(super) fn array_of(&self, set: &SetPlan) -> Option<usize> {
        let first = self.paths.get(set.paths.clone().next()? as usize)?;
        Some(self.fabric.controllers[first.path.controller].array)
    }
}

impl<E: Executor> World<'_, E> {
    pub(crate) fn log(&mut self, entry: LogEntry) {
        let line = self.next_line();
        self.tally.log.push(entry);
        let compiled = self.compiled;
        if let LogKind::Path { path, to } = entry.kind
            && !matches!(to, Standing::Removed | Standing::Standby)
            && self.settling_waits_for(path)
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
                // A path that is only taken into use because of what has just happened ends nothing by itself.
                let follows = matches!(entry.kind, LogKind::Path { to, .. } if to == Standing::Up)
                    && entry.timer.is_none();
                let nothing = (empty && entry.ios == 0) || follows;
                // Nor does one that a host has forgotten, so that no timer of its has run out, or that took nothing.
                let idle = self.paths[path as usize].kept && entry.ios == 0;
                let forgotten = empty && (entry.timer.is_none() || idle);
                if !(forgotten || nothing && before == Some(entry.at)) {
                    self.freeing[set] = line;
                }
            }
            LogKind::TeamMoved { set } => self.freeing[set as usize] = line,
            LogKind::TakenOver(controller) => {
                let array = compiled.fabric.controllers[controller as usize].array;
                for (set, freeing) in compiled.sets.iter().zip(&mut self.freeing) {
                    if compiled.array_of(set) == Some(array) {
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
            | LogKind::GuestsMoved(_)
            | LogKind::HostDrained(_)
            | LogKind::IoFailed { .. } => {}
        }
    }

    /// Whether work settles no sooner than a path finds its standing: not where its host is lost itself, nor where it was emptied
    /// before it broke, so that nothing is on it.
    fn settling_waits_for(&self, path: u32) -> bool {
        let set = self.compiled.paths[path as usize].set as usize;
        let host = self.compiled.sets[set].host;
        !self.paths[path as usize].emptied && !self.fault.host_is_lost(host)
    }

    /// Workloads of which nobody asked for anything go on with the latest line of the log.
    pub(super) fn work_goes_on(&mut self, workloads: &[usize]) {
        let line = self.next_line().saturating_sub(1);
        for workload in workloads {
            self.again[*workload] = line;
        }
    }

    /// The same, by the latest event of the script: a host is there again.
    pub(super) fn work_is_back(&mut self, workloads: &[usize]) {
        for workload in workloads {
            self.again[*workload] = self.last_script().unwrap_or(NONE);
        }
    }

    /// A controller is back before its partner had its volumes: they are served from now on.
    pub(super) fn has_its_volumes(&mut self, array: usize) {
        let Some(line) = self.last_script() else {
            return;
        };
        let compiled = self.compiled;
        for (set, freeing) in compiled.sets.iter().zip(&mut self.freeing) {
            if compiled.array_of(set) == Some(array) {
                *freeing = line;
            }
        }
    }

    /// The line of the latest event of the script.
    fn last_script(&self) -> Option<u32> {
        let is = |entry: &LogEntry| matches!(entry.kind, LogKind::Script(_));
        let line = self.tally.log.iter().rposition(is)?;
        u32::try_from(line).ok()
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
        // Who comes in the very instant has not waited for it.
        let own = |entry: &LogEntry| entry.at > self.ios[io].arrival;
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
    pub(super) fn note_stop_before_completion(&mut self, workload: usize, set: u32, io: &Io) {
        let freed = io.freed;
        let Some(since) = self.fault.since.filter(|since| self.now >= *since) else {
            return;
        };
        let tally = &self.tally.workloads[workload];
        let from = tally.last_completion.max(since);
        let silence = self.now.since(from);
        if silence < Stopped::LEAST || !self.is_stop(workload, from, self.oldest_age(workload)) {
            return;
        }
        // Who comes in the instant in which paths are there again may be done before those that were let go.
        let again = self.again[workload];
        let line = if freed == NONE && (tally.hanging > 0 || tally.failing) {
            self.freeing[set as usize]
        } else if freed == NONE {
            again
        } else {
            freed
        };
        // Nothing stopped while nothing came: work of which an I/O comes now and then has gone on beside what hangs from before.
        let beside = freed == NONE && tally.hanging > 0 && !tally.failing;
        let ended = |entry: &LogEntry| {
            entry.at >= from && (!beside || self.came_between(io.before, from, entry.at))
        };
        if self.logged(line).is_some_and(ended) {
            let by = self.logged(line).map(|entry| entry.kind);
            let cause = match by {
                Some(LogKind::TakenOver(_)) => StopCause::Volumes,
                _ if line == again => StopCause::HostsLost,
                _ => self.why_paths_stop(workload, from, line),
            };
            self.tally.workloads[workload].stops.push(Stopped {
                from,
                to: Some(self.now),
                by: Some(line as usize),
                cause,
            });
        }
    }

    /// Whether a workload of which nothing was completed since `from` has stopped, beside an I/O of that age.
    fn is_stop(&self, workload: usize, from: Instant, oldest: Duration) -> bool {
        let silence = self.now.since(from);
        let before = &self.tally.workloads[workload].before;
        let stands_out = Stopped::stands_out(silence, before);
        let long = silence > Stopped::by_chance(before);
        long && Stopped::is_stop(silence, oldest)
            || stands_out && self.was_asked_for(workload, from)
    }

    /// Whether anything that is unfinished came in the first half of the time since `from`: else it is for want of work that nothing was
    /// completed.
    fn was_asked_for(&self, workload: usize, from: Instant) -> bool {
        let half = from + Duration(self.now.since(from).0 / 2);
        let mut io = self.newest[workload];
        while io != NONE && self.ios[io].arrival >= from {
            if self.ios[io].arrival <= half {
                return true;
            }
            io = self.ios[io].before;
        }
        false
    }

    /// Whether an unfinished I/O of a workload, `io` or one that came before it, came between two instants.
    fn came_between(&self, mut io: u32, from: Instant, to: Instant) -> bool {
        while io != NONE && self.ios[io].arrival > from {
            if self.ios[io].arrival < to {
                return true;
            }
            io = self.ios[io].before;
        }
        false
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
        let (gone, oldest) = if self.work_is_gone(workload) {
            (true, Duration::ZERO)
        } else {
            (false, oldest)
        };
        if (hangs || gone) && self.is_stop(workload, from, oldest) {
            let cause = match gone {
                true => StopCause::HostsLost,
                false => self.why_paths_stop(workload, from, NONE),
            };
            let tally = &mut self.tally.workloads[workload];
            tally.silence = tally.silence.max(self.now.since(from));
            tally.stops.push(Stopped {
                from,
                to: None,
                by: None,
                cause,
            });
        }
    }

    /// Why nothing of a workload was completed since `from`, up to now or until a line of the log, where its hosts were there.
    fn why_paths_stop(&self, workload: usize, from: Instant, line: u32) -> StopCause {
        let compiled = self.compiled;
        let scripted =
            matches!(self.logged(line), Some(entry) if matches!(entry.kind, LogKind::Script(_)));
        let sources = compiled.sources.iter();
        let mut sets = sources
            .filter(|source| source.workload == workload && !self.fault.host_is_lost(source.host))
            .map(|source| source.set);
        if scripted || sets.clone().any(|set| self.volumes_wait(set)) {
            return StopCause::Volumes;
        }
        let answers = |set: u32| {
            let mut paths = compiled.sets[set as usize].paths.clone();
            paths.any(|path| {
                let state = &self.paths[path as usize];
                let all_along = state.changed_at < from || state.changed_at == Instant::ZERO;
                state.standing == Standing::Up && state.connected && all_along
            })
        };
        if sets.all(answers) {
            StopCause::LostPaths
        } else {
            StopCause::NoPath
        }
    }

    /// Whether nobody is left who asks for anything of a workload.
    pub(super) fn work_is_gone(&self, workload: usize) -> bool {
        let sources = (0_u32..).zip(&self.compiled.sources);
        let mut own = sources
            .filter(|(_, plan)| plan.workload == workload)
            .peekable();
        own.peek().is_some() && own.all(|(source, _)| self.is_nowhere(source))
    }

    /// Counts the hosts whose work nobody does any more.
    pub(super) fn note_nowhere(&mut self) {
        for workload in 0..self.tally.workloads.len() {
            let gone = self.work_is_gone(workload);
            let sources = (0_u32..).zip(&self.compiled.sources);
            let own = sources.filter(|(source, plan)| {
                plan.workload == workload
                    && self.is_nowhere(*source)
                    && (gone || self.compiled.restarts(plan.host))
            });
            let count = u32::try_from(own.count()).unwrap_or(u32::MAX);
            self.tally.workloads[workload].nowhere = count;
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
        let controllers = &self.compiled.fabric.controllers;
        let array = self.compiled.array_of(&self.compiled.sets[set as usize]);
        (0..controllers.len())
            .any(|index| Some(controllers[index].array) == array && self.waits_for_takeover(index))
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
                if waits {
                    let tally = &mut self.tally.workloads[own.workload];
                    tally.pathless = true;
                    tally.pathless_hosts.insert(own.host);
                }
            }
        }
    }
}
