//! Sending again: attempts that time out, TCP segments that were lost.

use super::attempt::{NONE, tie};
use super::net::{Frame, FrameKind, Spoilt};
use super::standing::{LogEntry, LogKind, Standing, TimerName};
use super::world::{Event, Executor, LostSegment, World};
use crate::engine::{EventSet, Key};
use crate::site::Timers;
use crate::unit::{Duration, Instant};
use crate::wire::Protocol;

/// The timeout of a message sent again `resent` times already: doubled each time, up to a largest (RFC 6298,
/// section 5).
pub(super) fn retransmission(timers: &Timers, resent: u32) -> Duration {
    let doubled = timers.tcp_rto_min.0.saturating_mul(1 << resent.min(32));
    let most = timers.tcp_rto_max.0.max(timers.tcp_rto_min.0);
    Duration(doubled.min(most).max(1))
}

/// So long after a message was sent first TCP gives its connection up: after every doubled timeout.
#[must_use]
pub(crate) fn tcp_gives_up(timers: &Timers) -> Duration {
    let doublings = (0..=timers.tcp_retries).map(|resent| retransmission(timers, resent).0);
    Duration(doublings.fold(0, u64::saturating_add))
}

/// What ends with a command without an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ends {
    /// The command alone.
    Itself,
    /// Its path takes no more; what else is under way there waits for its own timeout.
    Path,
    /// All that is under way on its path.
    All,
}

impl<E: Executor> World<'_, E> {
    /// Sees to it that the oldest attempt on a path is looked at when its time is over.
    pub(crate) fn watch_oldest_attempt(&mut self, path: u32) {
        let state = &self.paths[path as usize];
        if state.timer_pending || state.oldest == NONE {
            return;
        }
        let timeout = self.path_timers(path).command_timeout;
        // One that was held by quiesce, and has come here with its team since, may be over already.
        let due = self.attempts[state.oldest].issued + timeout;
        self.watch_commands(path, due.max(self.now));
    }

    fn watch_commands(&mut self, path: u32, due: Instant) {
        let key = Key {
            at: due,
            ..self.timer_key(path, Duration::ZERO, tie::Watching::Commands)
        };
        self.paths[path as usize].timer_pending = true;
        self.queue.push(key, Event::CommandTimer { path });
    }

    /// Gives up the attempts of a path whose time is over. A path that cannot carry frames is given up
    /// with them.
    pub(crate) fn command_timer(&mut self, path: u32) {
        self.paths[path as usize].timer_pending = false;
        let timeout = self.path_timers(path).command_timeout;
        let timer = (TimerName::CommandTimeout, timeout);
        let set = self.compiled.paths[path as usize].set;
        if self.paths[path as usize].standing == Standing::Blocked {
            // A held SCSI path starts the command timer anew: the hold decides (FC and iSCSI transport of the
            // usual open-source kernel; from memory).
            self.watch_commands(path, self.now + timeout);
            return;
        }
        if self.is_quiesced(path) {
            // Nothing of it is sent again before that is over.
            self.watch_commands(path, self.quiesced_until(path));
            return;
        }
        if self.quiesces_for(path, timeout) {
            self.log_timed_out(path, timer, self.timed_out(path, timeout));
            self.fail_path(path, timer);
            self.watch_commands(path, self.quiesced_until(path));
            return;
        }
        let mut ios = Vec::new();
        loop {
            let oldest = self.paths[path as usize].oldest;
            if oldest == NONE || self.attempts[oldest].issued + timeout > self.now {
                break;
            }
            ios.push(self.abandon(oldest));
        }
        if !ios.is_empty() {
            self.log_timed_out(path, timer, ios.len() as u64);
            let (entry, failed) = (self.tally.log.len() - 1, self.failed_so_far());
            let mine = ios.clone();
            self.give_up_on(path, &mut ios, timer);
            self.dispatch(set);
            self.note_fate(entry, set, &mine, failed);
        }
        self.watch_oldest_attempt(path);
    }

    fn log_timed_out(&mut self, path: u32, timer: (TimerName, Duration), ios: u64) {
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::AttemptTimedOut { path },
            timer: Some(timer),
            ios,
        });
    }

    /// Attempts on a path whose time is over.
    fn timed_out(&self, path: u32, timeout: Duration) -> u64 {
        let (mut slot, mut count) = (self.paths[path as usize].oldest, 0);
        while slot != NONE && self.attempts[slot].issued + timeout <= self.now {
            count += 1;
            slot = self.attempts[slot].after;
        }
        count
    }

    /// Whether a command without an answer now ends all that is under way on a path, which is then quiesced.
    fn quiesces_for(&self, path: u32, timeout: Duration) -> bool {
        let state = &self.paths[path as usize];
        self.path_timers(path).quiesce > Duration::ZERO
            && state.standing != Standing::Failed
            && self.timed_out(path, timeout) > 0
            && self.ends_with_a_command(path) == Ends::All
    }

    /// What ends on a path with a command without an answer: an NVMe association does whatever its path could carry, for no host knows
    /// that; other paths are given up if they cannot carry frames, and SCSI leaves what else is under way to its own timeouts.
    fn ends_with_a_command(&self, path: u32) -> Ends {
        let connected = self.paths[path as usize].connected;
        match self.path_protocol(path) {
            Protocol::FcNvme(_) | Protocol::NvmeTcp(_) | Protocol::NvmeRdma(_) => Ends::All,
            _ if connected => Ends::Itself,
            Protocol::FcScsi(_) | Protocol::Iscsi(_) => Ends::Path,
            Protocol::Nfs(_) | Protocol::Plain(_) => Ends::All,
        }
    }

    /// Whether a path has been given up and its I/Os are held until they may go elsewhere.
    fn is_quiesced(&self, path: u32) -> bool {
        let state = &self.paths[path as usize];
        state.standing == Standing::Failed
            && !state.one_by_one
            && state.oldest != NONE
            && self.now < self.quiesced_until(path)
    }

    fn quiesced_until(&self, path: u32) -> Instant {
        self.paths[path as usize].failed_at + self.path_timers(path).quiesce
    }

    /// Sends I/Os again whose attempts on a path came to nothing, and gives the path up where it ends with them.
    fn give_up_on(&mut self, path: u32, ios: &mut Vec<u32>, timer: (TimerName, Duration)) {
        if self.paths[path as usize].standing != Standing::Failed {
            match self.ends_with_a_command(path) {
                Ends::All => self.fail_path(path, timer),
                Ends::Path => self.fail_alone(path, timer),
                Ends::Itself => {}
            }
        }
        self.send_again(self.compiled.paths[path as usize].set, ios, timer);
    }

    /// A frame will not arrive. TCP sends it again; anything else waits for its timers.
    pub(crate) fn frame_lost(&mut self, frame: Frame) {
        if frame.kind == FrameKind::Ack {
            return;
        }
        let slot = frame.attempt;
        let attempt = &mut self.attempts[slot];
        attempt.holds -= 1;
        attempt.disturbed = true;
        if attempt.io == NONE {
            self.release(slot);
            return;
        }
        let (io, path) = (attempt.io, attempt.path);
        self.hangs(io);
        if self.path_protocol(path).tcp().is_none() {
            return;
        }
        self.lost_segments.push(LostSegment {
            attempt: slot,
            frame,
        });
        let timers = self.path_timers(path);
        let attempt = &self.attempts[slot];
        if attempt.resend_pending {
            return;
        }
        let timeout = retransmission(timers, attempt.resent);
        let due = (attempt.volley_ready + timeout).max(self.now + Duration(1));
        let key = Key {
            at: due,
            tie: tie::ranked(tie::TIMER, attempt.tie),
        };
        self.attempts[slot].resend_pending = true;
        self.attempts[slot].holds += 1;
        self.queue.push(key, Event::Resend { attempt: slot });
    }

    /// The retransmission timer of a message has run out: its lost segments leave again.
    pub(crate) fn resend(&mut self, slot: u32) {
        self.attempts[slot].holds -= 1;
        self.attempts[slot].resend_pending = false;
        let mut mine = Vec::new();
        self.lost_segments.retain(|segment| {
            if segment.attempt == slot {
                mine.push(segment.frame);
            }
            segment.attempt != slot
        });
        let attempt = &mut self.attempts[slot];
        if attempt.io == NONE {
            self.release(slot);
            return;
        }
        let path = attempt.path;
        if let (Protocol::Iscsi(_), Standing::Blocked) =
            (self.path_protocol(path), self.paths[path as usize].standing)
        {
            // Its connection is gone: the session waits for another one, and sends the command itself anew.
            return;
        }
        let retries = self.path_timers(path).tcp_retries;
        if self.attempts[slot].resent >= retries {
            self.connection_given_up(path, slot);
            return;
        }
        let attempt = &mut self.attempts[slot];
        attempt.resent += 1;
        // The next timeout counts from this departure.
        attempt.volley_ready = self.now;
        attempt.holds += u32::try_from(mine.len()).unwrap_or(0);
        let workload = attempt.workload;
        self.tally.workloads[workload as usize].resent += 1;
        let minimum = self.path_timers(self.attempts[slot].path).tcp_rto_min;
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::Resent { workload },
            timer: Some((TimerName::Retransmission, minimum)),
            ios: 1,
        });
        let io = self.attempts[slot].io;
        self.freed_by_resending(io);
        for frame in mine {
            // The connection of a team may have moved to another port meanwhile.
            let flow = self.attempts[slot].flow + frame.flow % 2;
            let fresh = Frame {
                hop: 0,
                flow,
                spoilt: Spoilt::No,
                ..frame
            };
            let from = self.compiled.flows[flow as usize].from;
            self.send(fresh, from);
        }
    }

    /// TCP has sent a message again as often as it does: its attempt is over. An iSCSI session then waits for a new connection, as
    /// after a ping without an answer, and keeps what is under way.
    fn connection_given_up(&mut self, path: u32, slot: u32) {
        let timers = self.path_timers(path);
        let timer = (TimerName::TcpGivesUp, tcp_gives_up(timers));
        if let Protocol::Iscsi(_) = self.path_protocol(path) {
            match self.paths[path as usize].standing {
                Standing::Unnoticed => {
                    // What was to tell of the loss later is void.
                    self.paths[path as usize].epoch += 1;
                    self.hold_or_fail(path, timer);
                    return;
                }
                Standing::Blocked => return,
                _ => {}
            }
        }
        let mut ios = vec![self.abandon(slot)];
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::AttemptTimedOut { path },
            timer: Some(timer),
            ios: 1,
        });
        let set = self.compiled.paths[path as usize].set;
        let (entry, failed) = (self.tally.log.len() - 1, self.failed_so_far());
        let mine = ios.clone();
        self.give_up_on(path, &mut ios, timer);
        self.dispatch(set);
        self.note_fate(entry, set, &mine, failed);
    }
}
