//! How a host regards its paths, step by step: noticed, held, given up, removed, found again, failed back.
//!
//! What becomes of the I/Os of a path that is given up follows from what is known to be lost. Where that is the port, the session or
//! the association (its signal, a notice, a ping, a keep-alive, a TCP connection given up), the transport ends all that is under way
//! on it: held first where the protocol holds, then all of it goes elsewhere, oldest first. Where only a command had no answer, an I/O
//! or a check of the path, nothing is known of the others: SCSI gives the path up, and each I/O on it waits for its own command
//! timeout. For NVMe a command without an answer is a lost controller: its association ends, with all that is under way (NVM
//! Express base and transport specifications, as the usual open-source kernel does it; from memory), whether or not the path could
//! carry frames by then, which no host can know. `plain` and files do as NVMe where it cannot.

use super::attempt::{NONE, tie};
use super::notice::{Place, hold, noticed_by, tried_again_by};
use super::standing::{LogEntry, LogKind, Standing, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::{Failback, LossMode, Timers};
use crate::unit::{Duration, Instant};
use crate::wire::Protocol;

/// What ended a hold that there was none of.
const NO_HOLD: (TimerName, Duration) = (TimerName::FastIoFail, Duration::ZERO);

impl<E: Executor> World<'_, E> {
    pub(crate) fn change_standing(
        &mut self,
        path: u32,
        to: Standing,
        timer: Option<(TimerName, Duration)>,
        ios: u64,
    ) {
        let state = &mut self.paths[path as usize];
        let given_up = matches!(
            state.standing,
            Standing::Blocked | Standing::Failed | Standing::Removed | Standing::Returned
        );
        if to == Standing::Up && given_up {
            state.back_at = Some(self.now);
        }
        state.standing = to;
        state.changed_at = self.now;
        state.emptied &= to != Standing::Up;
        self.look_at_set(path);
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::Path { path, to },
            timer,
            ios,
        });
        let state = &mut self.paths[path as usize];
        match to {
            Standing::Returned => state.kept = true,
            Standing::Blocked => {}
            _ => state.kept = false,
        }
        self.look_at_start(path);
    }

    pub(crate) fn path_timers(&self, path: u32) -> &Timers {
        &self.compiled.sets[self.compiled.paths[path as usize].set as usize].timers
    }

    pub(crate) fn path_protocol(&self, path: u32) -> &Protocol {
        &self.compiled.sets[self.compiled.paths[path as usize].set as usize].protocol
    }

    /// How the host of `path` will notice that it is broken: see [`noticed_by`].
    fn noticed_by(&self, path: u32, mode: LossMode, local: bool) -> Option<(TimerName, Duration)> {
        let place = if local { Place::OwnLink } else { Place::Beyond };
        noticed_by(
            self.path_protocol(path),
            self.path_timers(path),
            mode,
            place,
        )
    }

    /// A path comes into use as it is: broken, its host has still to notice.
    pub(super) fn take_into_use(&mut self, path: u32) {
        let state = &mut self.paths[path as usize];
        state.epoch += 1;
        if state.connected {
            let to = if state.drained {
                Standing::Drained
            } else {
                Standing::Up
            };
            self.change_standing(path, to, None, 0);
        } else {
            self.change_standing(path, Standing::Unnoticed, None, 0);
            let notice = self.noticed_by(path, self.fault.mode, false);
            self.plan_notice(path, notice);
        }
    }

    /// Whether every link of the path's host port is gone.
    fn local_loss(&self, path: u32, there: &[bool]) -> bool {
        let port = self.compiled.paths[path as usize].path.host_port;
        let links = &self.compiled.fabric.nodes[port.0 as usize].out;
        links
            .iter()
            .all(|direction| !there[direction.member().0 as usize])
    }

    pub(super) fn path_breaks(&mut self, path: u32, there: &[bool]) {
        let local = self.local_loss(path, there);
        if self.paths[path as usize].standing == Standing::Up
            || self.paths[path as usize].standing == Standing::Drained
        {
            let state = &mut self.paths[path as usize];
            state.emptied = state.standing == Standing::Drained;
            let in_flight = u64::from(state.in_flight);
            self.change_standing(path, Standing::Unnoticed, None, in_flight);
        }
        let notice = self.noticed_by(path, self.fault.mode, local);
        let notice = notice.or_else(|| self.checked_by(path));
        self.plan_notice(path, notice);
        self.plan_failback(path);
        self.plan_quiesce(path);
    }

    /// A path that waits for its failback comes into use by its host's clock, whatever becomes of its links meanwhile.
    fn plan_failback(&mut self, path: u32) {
        let state = &self.paths[path as usize];
        if let (Standing::Returned, Failback::After(after)) =
            (state.standing, self.path_timers(path).failback)
        {
            let due = state.changed_at + after;
            self.plan_step(path, due.since(self.now));
        }
    }

    /// A path that waits for its failback is taken into use, and is lost without its host's knowledge: that will notice as it would have.
    pub(super) fn use_unnoticed(&mut self, path: u32, timer: Option<(TimerName, Duration)>) {
        self.paths[path as usize].emptied = false;
        self.change_standing(path, Standing::Unnoticed, timer, 0);
    }

    fn plan_notice(&mut self, path: u32, notice: Option<(TimerName, Duration)>) {
        let state = &mut self.paths[path as usize];
        state.notice = notice;
        state.notice_at = notice.map_or(Instant::NEVER, |(_, after)| self.now + after);
        if let Some((_, after)) = notice {
            self.plan_step(path, after);
        }
    }

    /// A path already broken, its host not yet aware of it, has lost more: the host may notice that sooner.
    pub(super) fn notice_sooner(&mut self, path: u32, there: &[bool]) {
        let port = self.compiled.paths[path as usize].path.host_port;
        let links = &self.compiled.fabric.nodes[port.0 as usize].out;
        let silent = links.iter().any(|direction| {
            let lost = self.fault.lost_since(direction.member());
            lost.is_some_and(|(_, mode)| mode == LossMode::Silent)
        });
        if silent || !self.local_loss(path, there) {
            return;
        }
        let notice = self.noticed_by(path, LossMode::Loud, true);
        let at = notice.map_or(Instant::NEVER, |(_, after)| self.now + after);
        if at < self.paths[path as usize].notice_at {
            self.paths[path as usize].epoch += 1;
            self.plan_notice(path, notice);
            self.plan_failback(path);
        }
    }

    pub(crate) fn timer_key(&self, path: u32, after: Duration, what: tie::Watching) -> Key {
        let host = self.compiled.sets[self.compiled.paths[path as usize].set as usize].host;
        Key {
            at: self.now + after,
            tie: tie::timer(u32::try_from(host).unwrap_or(0), path, what),
        }
    }

    fn plan_step(&mut self, path: u32, after: Duration) {
        let epoch = self.paths[path as usize].epoch;
        self.queue.push(
            self.timer_key(path, after, tie::Watching::PathStep),
            Event::PathStep { path, epoch },
        );
    }

    /// A planned change of standing, void if the connection has changed since it was planned.
    pub(crate) fn path_step(&mut self, path: u32, epoch: u32) {
        let state = self.paths[path as usize];
        if state.epoch != epoch {
            return;
        }
        let timers = self.path_timers(path).clone();
        let hold = hold(self.path_protocol(path), &timers);
        match state.standing {
            Standing::Unnoticed | Standing::Returned
                if !state.connected && self.now >= state.notice_at =>
            {
                // Nothing that was planned for it before counts any more.
                self.paths[path as usize].epoch += 1;
                let noticed = state
                    .notice
                    .unwrap_or((TimerName::KeepAlive, timers.keep_alive));
                if noticed.0 == TimerName::CheckerTimeout {
                    self.fail_alone(path, noticed);
                } else {
                    self.hold_or_fail(path, noticed);
                }
            }
            Standing::Blocked => {
                self.fail_path(path, hold.or(state.notice).unwrap_or(NO_HOLD));
                self.plan_removal(path);
            }
            Standing::Failed => {
                // Quiesced long enough: now its I/Os may go elsewhere.
                if !state.one_by_one && self.now >= state.failed_at + timers.quiesce {
                    self.end_quiesce(path, timers.quiesce);
                }
                self.remove_port(path);
            }
            Standing::Returned => {
                if let Failback::After(after) = timers.failback
                    && self.now >= state.changed_at + after
                {
                    let timer = Some((TimerName::Failback, after));
                    if state.connected {
                        self.change_standing(path, Standing::Up, timer, 0);
                    } else {
                        self.use_unnoticed(path, timer);
                    }
                    self.dispatch(self.compiled.paths[path as usize].set);
                }
            }
            Standing::Up
            | Standing::Unnoticed
            | Standing::Drained
            | Standing::Removed
            | Standing::Standby => {}
        }
    }

    /// Gives a path up for a command without an answer: it takes no more I/Os, and those on it wait for their own timeouts.
    pub(super) fn fail_alone(&mut self, path: u32, timer: (TimerName, Duration)) {
        self.paths[path as usize].failed_at = self.now;
        self.paths[path as usize].one_by_one = true;
        self.change_standing(path, Standing::Failed, Some(timer), 0);
        self.plan_check(path);
    }

    /// A path is known to be lost: held where its protocol holds, else given up.
    pub(super) fn hold_or_fail(&mut self, path: u32, noticed: (TimerName, Duration)) {
        match hold(self.path_protocol(path), self.path_timers(path)) {
            Some((_, held)) => {
                self.paths[path as usize].held_since = self.now;
                let in_flight = u64::from(self.paths[path as usize].in_flight);
                self.change_standing(path, Standing::Blocked, Some(noticed), in_flight);
                self.plan_step(path, held);
            }
            None => self.fail_path(path, noticed),
        }
    }

    /// Gives a path up; its I/Os go elsewhere, and it is tried again from time to time.
    pub(crate) fn fail_path(&mut self, path: u32, timer: (TimerName, Duration)) {
        self.paths[path as usize].one_by_one = false;
        let quiesce = self.path_timers(path).quiesce;
        // What is quiesced goes on later, and is told then.
        let let_go = match quiesce {
            Duration::ZERO => self.let_go(path),
            _ => 0,
        };
        self.change_standing(path, Standing::Failed, Some(timer), let_go);
        self.paths[path as usize].failed_at = self.now;
        self.plan_check(path);
        if quiesce == Duration::ZERO {
            self.send_elsewhere(path, timer);
        } else {
            self.plan_step(path, quiesce);
        }
    }

    fn end_quiesce(&mut self, path: u32, quiesce: Duration) {
        let ios = u64::from(self.paths[path as usize].in_flight);
        let timer = (TimerName::Quiesce, quiesce);
        if ios > 0 {
            let to = Standing::Failed;
            self.log(LogEntry {
                at: self.now,
                kind: LogKind::Path { path, to },
                timer: Some(timer),
                ios,
            });
        }
        self.send_elsewhere(path, timer);
    }

    /// I/Os on a path that is given up now, without those that another path, given up in the same instant, has just let go:
    /// they are told with that one.
    fn let_go(&self, path: u32) -> u64 {
        let state = &self.paths[path as usize];
        let mut passed_on = 0;
        let mut slot = state.newest;
        while slot != NONE && self.attempts[slot].issued == self.now {
            passed_on += u64::from(self.ios[self.attempts[slot].io].attempts > 0);
            slot = self.attempts[slot].before;
        }
        u64::from(state.in_flight) - passed_on
    }

    /// SCSI over FC: a port lost for long enough is removed, long after fast-io-fail has let its I/Os go; where that is off, in the
    /// instant in which the removal does.
    fn plan_removal(&mut self, path: u32) {
        let timers = self.path_timers(path);
        let at = self.paths[path as usize].held_since + timers.device_loss;
        match (self.path_protocol(path), timers.fast_io_fail) {
            (Protocol::FcScsi(_), Some(_)) if at > self.now => {
                self.plan_step(path, at.since(self.now));
            }
            (Protocol::FcScsi(_), None) => self.remove_port(path),
            _ => {}
        }
    }

    fn remove_port(&mut self, path: u32) {
        let loss = self.path_timers(path).device_loss;
        let state = self.paths[path as usize];
        let held = state.held_since != Instant::NEVER;
        let scsi = matches!(self.path_protocol(path), Protocol::FcScsi(_));
        if scsi && held && state.oldest == NONE && self.now >= state.held_since + loss {
            let timer = Some((TimerName::DeviceLoss, loss));
            self.change_standing(path, Standing::Removed, timer, 0);
        }
    }

    fn send_elsewhere(&mut self, path: u32, timer: (TimerName, Duration)) {
        let set = self.compiled.paths[path as usize].set;
        let mut ios = Vec::new();
        let is_back = self.paths[path as usize].standing == Standing::Up;
        while self.paths[path as usize].oldest != NONE {
            let slot = self.paths[path as usize].oldest;
            if is_back && self.attempts[slot].issued == self.now {
                // What another path has let go in this very instant finds the way open.
                break;
            }
            ios.push(self.abandon(slot));
        }
        let (entry, failed) = (self.tally.log.len().saturating_sub(1), self.failed_so_far());
        let mine = ios.clone();
        self.send_again(set, &mut ios, timer);
        self.dispatch(set);
        let of_path =
            |line: &LogEntry| matches!(line.kind, LogKind::Path { path: own, .. } if own == path);
        if self.tally.log.get(entry).is_some_and(of_path) {
            self.note_fate(entry, set, &mine, failed);
        }
    }

    pub(super) fn path_returns(&mut self, path: u32) {
        match self.paths[path as usize].standing {
            Standing::Unnoticed => self.change_standing(path, Standing::Up, None, 0),
            Standing::Returned => {
                // Its host has not noticed, and goes on waiting.
                self.paths[path as usize].notice = None;
                self.paths[path as usize].notice_at = Instant::NEVER;
                self.plan_failback(path);
                self.look_at_start(path);
            }
            Standing::Blocked if self.paths[path as usize].kept => {
                self.change_standing(path, Standing::Returned, None, 0);
                self.plan_failback(path);
            }
            Standing::Blocked => {
                // The port logs in anew, so what was under way on it is sent again.
                let let_go = self.let_go(path);
                self.change_standing(path, Standing::Up, None, let_go);
                let hold = hold(self.path_protocol(path), self.path_timers(path));
                self.send_elsewhere(path, hold.unwrap_or(NO_HOLD));
            }
            // A port that logs in again after its removal has its devices looked for.
            Standing::Removed if self.found_anew(path) => self.plan_check(path),
            Standing::Failed => {
                // The port is there again, so it is not removed.
                self.paths[path as usize].held_since = Instant::NEVER;
                self.plan_quiesce(path);
            }
            Standing::Up | Standing::Drained | Standing::Removed | Standing::Standby => {}
        }
    }

    /// A change of connection makes planned steps void; I/Os that are quiesced go elsewhere all the same.
    fn plan_quiesce(&mut self, path: u32) {
        let state = self.paths[path as usize];
        if state.standing == Standing::Failed && state.oldest != NONE && !state.one_by_one {
            let over = state.failed_at + self.path_timers(path).quiesce;
            self.plan_step(path, over.since(self.now));
        }
    }

    /// Whether a removed path is looked for when its port is back: SCSI does, NVMe has given it up for good.
    pub(super) fn found_anew(&self, path: u32) -> bool {
        self.path_protocol(path).is_found_anew()
    }

    /// Whether the host stops trying: NVMe gives a controller up once it has been lost for long enough.
    fn given_up_for_good(&self, path: u32) -> bool {
        let nvme = self.path_protocol(path).is_nvme();
        let loss = self.path_timers(path).controller_loss;
        nvme && self.now >= self.paths[path as usize].failed_at + loss
    }

    /// A host that was lost itself is back, however short it was away: it has no session, no association and no path that it holds,
    /// remembers nothing of those that it had stopped to try, and looks for them all as from now. Its links are still lost.
    pub(super) fn forget_paths(&mut self, host: usize) {
        for path in (0..).take(self.paths.len()) {
            let set = self.compiled.paths[path as usize].set as usize;
            let state = &mut self.paths[path as usize];
            // A port that a team does not use waits as before.
            if self.compiled.sets[set].host != host || state.standing == Standing::Standby {
                continue;
            }
            state.epoch += 1;
            state.failed_at = self.now;
            state.held_since = Instant::NEVER;
            state.one_by_one = false;
            state.checks += 1;
            state.check_pending = false;
            if !matches!(state.standing, Standing::Failed | Standing::Removed) {
                self.change_standing(path, Standing::Failed, None, 0);
            }
            self.paths[path as usize].standing = Standing::Failed;
            self.plan_check(path);
        }
        self.pathless_from_now(host);
    }

    pub(super) fn plan_check(&mut self, path: u32) {
        if self.paths[path as usize].check_pending {
            return;
        }
        self.paths[path as usize].check_pending = true;
        let (_, after) = tried_again_by(self.path_protocol(path), self.path_timers(path));
        let epoch = self.paths[path as usize].checks;
        // A check of no length would check for ever in one instant.
        let after = after.max(Duration::from_us(1));
        self.queue.push(
            self.timer_key(path, after, tie::Watching::PathCheck),
            Event::PathCheck { path, epoch },
        );
    }

    /// A path is tried again; `epoch` is that of its checks, void if they have begun anew since.
    pub(crate) fn path_check(&mut self, path: u32, epoch: u32) {
        if self.paths[path as usize].checks != epoch {
            return;
        }
        self.paths[path as usize].check_pending = false;
        let state = self.paths[path as usize];
        let removed = state.standing == Standing::Removed && self.found_anew(path);
        if state.standing != Standing::Failed && !(removed && state.connected) {
            return;
        }
        if state.oldest != NONE && !state.one_by_one {
            // Its I/Os are quiesced, and it is not taken back before they have gone.
            self.plan_check(path);
        } else if state.connected {
            let timer = tried_again_by(self.path_protocol(path), self.path_timers(path));
            let failback = self.path_timers(path).failback;
            let to = match failback {
                _ if state.drained => Standing::Drained,
                Failback::Immediate => Standing::Up,
                Failback::After(_) | Failback::Manual => Standing::Returned,
            };
            self.paths[path as usize].held_since = Instant::NEVER;
            self.change_standing(path, to, Some(timer), 0);
            if to == Standing::Returned {
                self.paths[path as usize].epoch += 1;
                self.plan_failback(path);
            }
            self.dispatch(self.compiled.paths[path as usize].set);
        } else if self.given_up_for_good(path) {
            // In whole tries: so long it has been tried.
            let tried = self.now.since(self.paths[path as usize].failed_at);
            let timer = Some((TimerName::ControllerLoss, tried));
            self.change_standing(path, Standing::Removed, timer, 0);
            self.start_without_a_path(path);
        } else {
            self.plan_check(path);
            self.start_without_a_path(path);
        }
    }
}
