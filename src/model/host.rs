//! Hosts: queues, the choice of a path, completion, and sending again.

use super::attempt::{Attempt, NONE, Parts};
use super::pick::Pick;
use super::standing::{LogEntry, LogKind, Standing, TimerName};
use super::tally::{BudgetSums, WorkloadTally};
use super::world::{Executor, World};
use crate::site::Arrivals;
use crate::unit::{Duration, Instant};
use crate::workload::{ArrivalStream, IoDraw, StreamName};
use std::collections::VecDeque;

/// A workload at a host.
#[derive(Debug)]
pub(crate) struct SourceState {
    pub(crate) name: StreamName,
    pub(crate) stream: ArrivalStream,
    /// What the next I/O is to be, where the stream says so.
    pub(crate) next_kind: Option<u32>,
    /// I/Os that wait for a path, first in front.
    pub(crate) waiting: VecDeque<u32>,
    /// I/Os under way on its paths.
    pub(crate) in_flight: u32,
    /// Most of them.
    pub(crate) outstanding: u32,
    /// Its host was lost, and its guests have been restarted elsewhere or will be.
    pub(crate) away: bool,
    /// Then the sources at whose hosts its I/Os are issued, by their numbers.
    pub(crate) places: Vec<u32>,
    /// I/Os of a closed loop that wait for their guests.
    pub(crate) parked: u32,
    /// Its host is back, and has found no path yet: nothing is asked for at it before.
    pub(crate) starting: bool,
}

impl SourceState {
    pub(crate) fn new(name: StreamName, stream: ArrivalStream, outstanding: Option<u32>) -> Self {
        Self {
            name,
            stream,
            next_kind: None,
            waiting: VecDeque::new(),
            in_flight: 0,
            outstanding: outstanding.unwrap_or(u32::MAX),
            away: false,
            places: Vec::new(),
            parked: 0,
            starting: false,
        }
    }
}

/// A path as its host sees it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PathState {
    pub(crate) standing: Standing,
    /// Counts changes of connection, so that steps planned before one are void.
    pub(crate) epoch: u32,
    pub(crate) in_flight: u32,
    pub(crate) bytes: u64,
    /// Attempts in order of issue.
    pub(crate) oldest: u32,
    pub(crate) newest: u32,
    pub(crate) timer_pending: bool,
    pub(crate) check_pending: bool,
    /// Counts beginnings of its checks, so that those planned before are void.
    pub(crate) checks: u32,
    /// Whether frames can get through both ways.
    pub(crate) connected: bool,
    pub(crate) drained: bool,
    /// It is lost, and what it goes over is emptied on purpose too.
    pub(crate) shut: bool,
    /// It was drained when it broke: it takes nothing until it is up again.
    pub(crate) emptied: bool,
    /// It is back and waits for its failback, or did when its loss was noticed: it takes nothing while another path stands.
    pub(crate) kept: bool,
    /// The timer by which its host will notice, or has noticed, that it is broken.
    pub(crate) notice: Option<(TimerName, Duration)>,
    /// When that is.
    pub(crate) notice_at: Instant,
    /// When it came back into use last; `None`: not in this run.
    pub(crate) back_at: Option<Instant>,
    /// When its standing changed last.
    pub(crate) changed_at: Instant,
    /// When it was given up last.
    pub(crate) failed_at: Instant,
    /// It was given up for a command without an answer alone: what else is under way on it waits for its own timeout.
    pub(crate) one_by_one: bool,
    /// Since when it has been held or was before it failed; never when its loss was not noticed as such.
    pub(crate) held_since: Instant,
}

impl PathState {
    pub(crate) const fn new() -> Self {
        Self {
            standing: Standing::Up,
            epoch: 0,
            in_flight: 0,
            bytes: 0,
            oldest: NONE,
            newest: NONE,
            timer_pending: false,
            check_pending: false,
            checks: 0,
            connected: true,
            drained: false,
            shut: false,
            emptied: false,
            kept: false,
            notice: None,
            notice_at: Instant::NEVER,
            back_at: None,
            changed_at: Instant::ZERO,
            failed_at: Instant::ZERO,
            one_by_one: false,
            held_since: Instant::NEVER,
        }
    }

    pub(super) const fn takes_ios(&self) -> bool {
        match self.standing {
            Standing::Up => true,
            Standing::Unnoticed | Standing::Blocked => !self.emptied && !self.kept,
            Standing::Failed
            | Standing::Drained
            | Standing::Removed
            | Standing::Standby
            | Standing::Returned => false,
        }
    }

    /// Whether it takes I/Os where no other path does: its host knows it, and does not know that it is gone.
    pub(super) fn is_in_reserve(&self) -> bool {
        self.standing == Standing::Returned || self.standing == Standing::Blocked && self.kept
    }
}

impl<E: Executor> World<'_, E> {
    /// Every pointer starts at the host's own index, so that idle sites do not favour one fabric.
    pub(crate) fn start_pointers(&mut self) {
        let owners = self.compiled.fabric.controllers.len() + 1;
        for set in &self.compiled.sets {
            let start = self.compiled.fabric.hosts[set.host].index;
            self.pointers.extend(std::iter::repeat_n(start, owners));
        }
    }

    /// Gives paths to waiting I/Os of a set, the oldest first, as long as there are any to give.
    pub(crate) fn dispatch(&mut self, set: u32) {
        let plan = &self.compiled.sets[set as usize];
        let mut stuck: u64 = 0;
        loop {
            let mut best: Option<(Instant, usize, u32)> = None;
            for (position, source) in plan.sources.iter().enumerate() {
                let own = &self.sources[*source as usize];
                if let Some(io) = own.waiting.front()
                    && own.in_flight < own.outstanding
                    && stuck & (1 << (position & 63)) == 0
                {
                    let candidate = (self.ios[*io].arrival, position, *io);
                    if best.is_none_or(|best| (candidate.0, candidate.1) < (best.0, best.1)) {
                        best = Some(candidate);
                    }
                }
            }
            let Some((_, position, io)) = best else {
                return;
            };
            let source = plan.sources[position];
            match self.pick(set, io) {
                Pick::Path(path) => {
                    self.sources[source as usize].waiting.pop_front();
                    self.issue(io, path);
                }
                Pick::Full => stuck |= 1 << (position & 63),
                Pick::Nothing => {
                    if self.fails_at_once(set) {
                        self.sources[source as usize].waiting.pop_front();
                        self.fail_io(io, None);
                    } else {
                        self.plan_pathless(set);
                        stuck |= 1 << (position & 63);
                    }
                }
            }
        }
    }

    fn issue(&mut self, io: u32, path: u32) {
        let slot = self.new_attempt(io, path);
        let freed = self.freed(self.compiled.paths[path as usize].set, io);
        let record = &mut self.ios[io];
        record.live = slot;
        record.last_issue = self.now;
        record.freed = freed;
        let source = record.source as usize;
        if record.attempts == 0 {
            record.first_issue = self.now;
            if self.now >= self.watch.from && self.now < self.watch.to {
                let tally = &mut self.tally.sources[source];
                tally.issued += 1;
                tally.wait += u128::from(self.now.since(record.arrival).0);
            }
        } else {
            self.tally.workloads[record.workload as usize].retried += 1;
        }
        self.join_path(slot, path);
        self.schedule_host_emission(slot);
    }

    /// Puts an attempt at the end of a path's list.
    pub(super) fn join_path(&mut self, slot: u32, path: u32) {
        let Attempt { bytes, io, .. } = self.attempts[slot];
        self.sources[self.ios[io].source as usize].in_flight += 1;
        let state = &mut self.paths[path as usize];
        state.in_flight += 1;
        state.bytes += bytes;
        let newest = std::mem::replace(&mut state.newest, slot);
        if newest == NONE {
            state.oldest = slot;
        } else {
            self.attempts[newest].after = slot;
        }
        self.attempts[slot].before = newest;
        self.attempts[slot].after = NONE;
        self.watch_oldest_attempt(path);
    }

    /// Takes an attempt off its path's list: its slot there is free again.
    pub(super) fn leave_path(&mut self, slot: u32) {
        let attempt = self.attempts[slot];
        self.sources[self.ios[attempt.io].source as usize].in_flight -= 1;
        let state = &mut self.paths[attempt.path as usize];
        state.in_flight -= 1;
        state.bytes -= attempt.bytes;
        if attempt.before == NONE {
            state.oldest = attempt.after;
        }
        if attempt.after == NONE {
            state.newest = attempt.before;
        }
        if attempt.before != NONE {
            self.attempts[attempt.before].after = attempt.after;
        }
        if attempt.after != NONE {
            self.attempts[attempt.after].before = attempt.before;
        }
    }

    /// The response of an attempt has been taken in by its host.
    pub(crate) fn response_arrives(&mut self, slot: u32) {
        let attempt = self.attempts[slot];
        if attempt.io == NONE {
            self.tally.workloads[attempt.workload as usize].late += 1;
            self.release(slot);
            return;
        }
        self.leave_path(slot);
        let set = self.compiled.paths[attempt.path as usize].set;
        let in_window = self.now >= self.watch.from && self.now < self.watch.to;
        let path = &mut self.tally.paths[attempt.path as usize];
        path.completed += u64::from(in_window);
        path.completed_total += 1;
        self.account_completion(slot);
        self.attempts[slot].io = NONE;
        self.finish_io(attempt.io, Duration::ZERO);
        self.release(slot);
        self.dispatch(set);
    }

    fn account_completion(&mut self, slot: u32) {
        let attempt = &self.attempts[slot];
        let record = self.ios[attempt.io];
        let workload = record.workload as usize;
        let latency = self.now.since(record.arrival);
        let (op, size) = self.compiled.templates[workload].kinds[record.draw.kind as usize];
        let tally = &mut self.tally.workloads[workload];
        let cell = tally.series.at(self.now);
        cell.completed += 1;
        cell.latency += u128::from(latency.0);
        cell.bytes += size;
        if let Some(coarse) = &mut tally.coarse {
            coarse.at(self.now).record(latency);
        }
        if self.now >= self.watch.from && self.now < self.watch.to {
            let kind = tally.kind(op);
            kind.completed += 1;
            kind.bytes += size;
        }
        tally.completed_total += 1;
        if record.measured {
            tally.kind(op).latency.record(latency);
            for (target, above) in &mut tally.above {
                *above += u64::from(latency.0 > *target);
            }
            for clumps in &mut tally.clumps {
                clumps.record(record.arrival, latency);
            }
            let tiers = self.compiled.tiers.len();
            let waits = &self.waits[slot as usize * tiers..(slot as usize + 1) * tiers];
            let parts = if attempt.disturbed {
                None
            } else {
                Some((&attempt.parts, waits))
            };
            add_budget(&mut tally.budget, &record, self.now, parts);
        }
        let set = self.compiled.paths[self.attempts[slot].path as usize].set;
        self.note_stop_before_completion(workload, set, &record);
        self.account_after_loss(workload, latency, record.freed, Finish::Completed);
        if record.attempts > 0 || self.attempts[slot].disturbed {
            self.tally.workloads[workload].last_disturbed = self.now;
        }
    }

    fn account_after_loss(
        &mut self,
        workload: usize,
        latency: Duration,
        freed: u32,
        finish: Finish,
    ) {
        let since = self.fault.since.unwrap_or(Instant::ZERO);
        let tally = &mut self.tally.workloads[workload];
        if self.now < since {
            return;
        }
        let failed = finish == Finish::Failed;
        if latency > tally.longest {
            tally.longest = latency;
            tally.longest_failed = failed;
            tally.longest_by = (freed != NONE).then_some(freed as usize);
        }
        // Whoever waits for a completion waits on when an I/O fails.
        tally.silence = tally
            .silence
            .max(self.now.since(tally.last_completion.max(since)));
        tally.failing = failed;
        if failed {
            tally.failed_after += 1;
        } else {
            tally.last_completion = self.now;
            tally.completed_after += 1;
        }
        for (above, (target, _)) in tally.above_after.iter_mut().zip(&tally.above) {
            *above += u64::from(failed || latency.0 > *target);
        }
    }

    /// An I/O is over, completed or failed. The next one of a closed loop comes after its pause, and not
    /// before `least`.
    fn finish_io(&mut self, io: u32, least: Duration) {
        let record = self.ios[io];
        self.note_oldest(record.workload);
        self.unlink_unfinished(record.workload, io);
        let workload = record.workload as usize;
        let tally = &mut self.tally.workloads[workload];
        tally.backlog.set(
            self.now,
            tally.issued_total - tally.completed_total - tally.failed_total,
        );
        tally.hanging -= u64::from(record.hurt);
        tally.in_system += u128::from(self.now.since(record.arrival).0);
        if record.measured {
            self.open -= 1;
        }
        self.ios.remove(io);
        if let Arrivals::Closed { think, .. } = self.compiled.site.workloads[workload].arrivals {
            let number = self.sources[record.origin as usize].stream.take_number();
            let pause = think.max(least);
            self.schedule_arrival(record.origin, self.now + pause, number);
        }
    }

    /// An I/O fails: `timer` is what ended its last attempt, `None` when there was no path for it.
    pub(crate) fn fail_io(&mut self, io: u32, timer: Option<(TimerName, Duration)>) {
        let record = self.ios[io];
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::IoFailed {
                workload: record.workload,
            },
            timer: Some(timer.unwrap_or((TimerName::NoPath, Duration::ZERO))),
            ios: 1,
        });
        self.ios[io].freed = u32::try_from(self.tally.log.len() - 1).unwrap_or(NONE);
        // Without a path an I/O fails in the instant in which it comes: a closed loop that went on at once
        // would never let time pass. It goes on when the host next looks for a path.
        let for_want_of_a_path = timer.is_none_or(|(name, _)| name == TimerName::NoPath);
        if for_want_of_a_path && self.fault.since.is_some() {
            let tally = &mut self.tally.workloads[record.workload as usize];
            tally.failed_pathless = true;
            let host = self.compiled.sources[record.source as usize].host;
            tally.pathless_hosts.insert(host);
        }
        let least = if for_want_of_a_path {
            let set = self.compiled.sources[record.source as usize].set;
            let timers = &self.compiled.sets[set as usize].timers;
            timers.path_check.max(Duration::from_us(1))
        } else {
            Duration::ZERO
        };
        self.io_failed(io, least);
    }

    /// Counts an I/O that is lost with its host: nobody is left who waits for it, so that it is neither late nor above a
    /// promise.
    pub(super) fn io_lost_with_host(&mut self, io: u32) {
        self.tally.workloads[self.ios[io].workload as usize].lost_with_host += 1;
        self.io_ends_badly(io, Finish::LostWithHost, Duration::ZERO);
    }

    /// Counts an I/O that has failed; the next one of a closed loop comes not before `least`.
    fn io_failed(&mut self, io: u32, least: Duration) {
        self.io_ends_badly(io, Finish::Failed, least);
    }

    fn io_ends_badly(&mut self, io: u32, finish: Finish, least: Duration) {
        let record = self.ios[io];
        let workload = record.workload as usize;
        let (op, _) = self.compiled.templates[workload].kinds[record.draw.kind as usize];
        let latency = self.now.since(record.arrival);
        let tally = &mut self.tally.workloads[workload];
        tally.failed_total += 1;
        // What fails in the instant in which it comes, for want of a path, goes on like that: it disturbs nothing.
        if latency > Duration::ZERO || record.attempts > 0 {
            tally.last_disturbed = self.now;
        }
        if record.measured {
            tally.kind(op).failed += 1;
            for (_, above) in &mut tally.above {
                *above += u64::from(finish == Finish::Failed);
            }
            if finish == Finish::Failed {
                for clumps in &mut tally.clumps {
                    clumps.record(record.arrival, Duration(u64::MAX));
                }
            }
        }
        if finish == Finish::Failed {
            tally.series.at(self.now).failed += 1;
            self.account_after_loss(workload, latency, record.freed, finish);
        }
        self.finish_io(io, least);
    }

    /// Something of an I/O has been lost: it hangs until it is over.
    pub(crate) fn hangs(&mut self, io: u32) {
        let record = &mut self.ios[io];
        if !record.hurt {
            record.hurt = true;
            self.tally.workloads[record.workload as usize].hanging += 1;
        }
    }

    /// Notes how much hangs of each workload, before any of it goes on.
    pub(crate) fn note_held(&mut self) {
        for tally in &mut self.tally.workloads {
            tally.held = tally.held.max(tally.hanging);
        }
    }

    /// Gives an attempt up: whatever still comes of it is late. Returns its I/O.
    pub(crate) fn abandon(&mut self, slot: u32) -> u32 {
        self.leave_path(slot);
        let Attempt {
            io,
            issued,
            workload,
            ..
        } = self.attempts[slot];
        self.attempts[slot].io = NONE;
        self.ios[io].live = NONE;
        // A path that is given up in the very instant in which it gets an I/O from another has not tried it, and nothing has left
        // an adapter that takes its time: it was not sent again.
        self.ios[io].untried += u32::from(issued == self.now);
        if issued == self.now
            && self.ios[io].attempts > 0
            && self.adapter(workload) > Duration::ZERO
        {
            self.tally.workloads[workload as usize].retried -= 1;
        }
        self.release(slot);
        io
    }

    /// Frees the slot of an attempt that nobody waits for and nothing refers to.
    pub(crate) fn release(&mut self, slot: u32) {
        let attempt = &self.attempts[slot];
        if attempt.io == NONE && attempt.holds == 0 {
            self.attempts.remove(slot);
        }
    }

    /// Sends I/Os again: to the front of their hosts' queues, oldest first; those out of retries fail.
    pub(crate) fn send_again(
        &mut self,
        set: u32,
        ios: &mut Vec<u32>,
        timer: (TimerName, Duration),
    ) {
        let retries = self.compiled.sets[set as usize].timers.retries;
        ios.sort_unstable_by_key(|io| {
            let record = &self.ios[*io];
            (record.arrival, record.workload, record.number)
        });
        for io in &*ios {
            self.hangs(*io);
        }
        self.note_held();
        while let Some(io) = ios.pop() {
            let record = &mut self.ios[io];
            record.attempts += 1;
            let (source, workload) = (record.source as usize, record.workload as usize);
            if record.attempts - record.untried > retries {
                self.fail_io(io, Some(timer));
                continue;
            }
            let array = &self.compiled.site.arrays[self.compiled.site.workloads[workload].array];
            let template = &self.compiled.templates[workload];
            let attempt = u64::from(record.attempts);
            record.draw = IoDraw::new(
                &self.sources[record.origin as usize].name,
                record.number,
                attempt,
                template,
                array,
                Some(record.draw.kind),
            );
            self.sources[source].waiting.push_front(io);
            self.tally.workloads[workload].last_disturbed = self.now;
        }
    }

    pub(crate) fn note_host_queue(&mut self, source: u32) {
        if self.now >= self.watch.from && self.now < self.watch.to {
            let waiting = self.sources[source as usize].waiting.len() as u64;
            let tally = &mut self.tally.sources[source as usize];
            // The one that has just come counts only if it finds nobody to take it: see `issue`.
            tally.queue_max = tally.queue_max.max(waiting.saturating_sub(1));
        }
    }
}

/// How an I/O ended.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Finish {
    Completed,
    Failed,
    LostWithHost,
}

/// Adds a completed I/O to the latency budget. Without `parts` (frames were lost on the way) everything
/// since its last issue counts as retry.
///
/// # Panics
/// When the parts do not add up to the latency: a bug of ours.
fn add_budget(
    sums: &mut BudgetSums,
    record: &super::attempt::Io,
    now: Instant,
    parts: Option<(&Parts, &[u64])>,
) {
    let host_queue = record.first_issue.since(record.arrival).0;
    let mut retry = record.last_issue.since(record.first_issue).0;
    let mut spent = 0;
    if let Some((parts, waits)) = parts {
        for (sum, wait) in sums.queueing.iter_mut().zip(waits) {
            *sum += u128::from(*wait);
            spent += wait;
        }
        for (sum, part) in [
            (&mut sums.adapter, parts.adapter),
            (&mut sums.serialization, parts.serialization),
            (&mut sums.propagation, parts.propagation),
            (&mut sums.switch, parts.switch),
            (&mut sums.array_queue, parts.array_queue),
            (&mut sums.service, parts.service),
            (&mut sums.mirror, parts.mirror),
            (&mut sums.extra_trip, parts.extra_trip),
        ] {
            *sum += u128::from(part);
            spent += part;
        }
    } else {
        retry += now.since(record.last_issue).0;
    }
    assert_eq!(
        host_queue + retry + spent,
        now.since(record.arrival).0,
        "the parts of a latency add up"
    );
    sums.count += 1;
    sums.host_queue += u128::from(host_queue);
    sums.retry += u128::from(retry);
}

impl WorkloadTally {
    /// Sum of the latencies that the budget covers, ps.
    #[must_use]
    pub fn latency_sum(&self) -> u128 {
        self.reads.latency.sum() + self.writes.latency.sum()
    }
}
