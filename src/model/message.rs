//! Messages on their way: their frames leave together, cross links one after another and are taken in.
//!
//! A chain of volleys makes an exchange. The end of one starts the next: service in the array, transfer-ready,
//! response, completion.

use super::attempt::{NONE, tie};
use super::book::Book;
use super::compile::HOPS_MAX;
use super::net::{Flight, Frame, FrameKind, Links, Onward, Spoilt, Times};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::topology::{DirectionId, NodeId};
use crate::unit::Duration;
use crate::wire::{Then, Toward};

impl<E: Executor> World<'_, E> {
    /// Puts the frames of an attempt's present volley on the way, all ready now.
    pub(crate) fn emit_volley(&mut self, slot: u32) {
        let attempt = &mut self.attempts[slot];
        let volley = &self.compiled.volleys[attempt.volley as usize];
        attempt.volley_ready = self.now;
        attempt.volley_sum = 0;
        attempt.received = 0;
        attempt.resent = 0;
        attempt.own_free = [0; HOPS_MAX];
        attempt.holds += volley.frames;
        let (tie, message) = (attempt.tie, attempt.volley - attempt.first_volley);
        let flow = attempt.flow + u32::from(volley.toward == Toward::Host);
        let (runs, frames) = (volley.runs.clone(), volley.frames);
        let mut frame = Frame {
            tie: tie::frame(tie, message, 0),
            attempt: slot,
            flow,
            run: runs.start,
            hop: 0,
            kind: FrameKind::Body,
            spoilt: Spoilt::No,
            onward: Onward::Store,
        };
        // Where it is known at once, all frames of a message go the same way.
        let known = self.known_way_of(&frame);
        if E::Links::IN_FLOW
            && let Some(over) = known
        {
            self.tally.frame_hops += u64::from(frames);
            let runs = &self.compiled.runs[runs.start as usize..runs.end as usize];
            self.net.offer_volley(over, frame, runs, self.now);
            return;
        }
        let mut left = frames;
        for run in runs {
            frame.run = run;
            for _ in 0..self.compiled.runs[run as usize].count {
                left -= 1;
                if left == 0 {
                    frame.kind = FrameKind::Last;
                }
                match known {
                    Some(over) => self.send_over(over, frame),
                    None => self.send(frame, self.compiled.flows[flow as usize].from),
                }
                // The number of a frame is the last part of its tie word.
                frame.tie += 1;
            }
        }
    }

    /// A frame is ready at the end of `over`, to go on or to be taken in.
    #[inline]
    pub(super) fn handed_over(&mut self, over: DirectionId, flight: &Flight) {
        let mut frame = flight.frame;
        if frame.kind != FrameKind::Ack {
            let times = Times {
                ready: flight.ready,
                start: flight.start,
                end: flight.end,
                handover: flight.handover,
            };
            let mut book = Book {
                compiled: self.compiled,
                attempts: self.attempts.all_mut(),
                waits: &mut self.waits,
            };
            book.account_hop(&frame, &times, &self.compiled.hops[over.index()]);
        }
        let hop = &self.compiled.hops[over.index()];
        if !hop.ends {
            frame.hop += 1;
            assert!(
                (frame.hop as usize) < HOPS_MAX,
                "routes have at most {HOPS_MAX} hops"
            );
            self.send(frame, hop.to);
            return;
        }
        self.taken_in(frame, hop.to);
    }

    /// A frame has arrived at the port that it was sent to.
    #[inline(always)]
    #[allow(clippy::inline_always)] // One place of each executor needs it; passed on whole, a frame would wait in memory.
    pub(super) fn taken_in(&mut self, frame: Frame, port: NodeId) {
        if frame.spoilt == Spoilt::Yes {
            self.tally.discarded += 1;
            self.frame_lost(frame);
            return;
        }
        if frame.kind == FrameKind::Ack {
            return;
        }
        let slot = frame.attempt;
        let volley_index = self.attempts[slot].volley;
        let volley = &self.compiled.volleys[volley_index as usize];
        if let Some(run) = volley.ack
            && frame.number() % 2 == 1
        {
            let message = 0x800 | (volley_index - self.attempts[slot].first_volley);
            let ack = Frame {
                tie: tie::frame(self.attempts[slot].tie, message, frame.number()),
                attempt: slot,
                flow: frame.flow ^ 1,
                run,
                hop: 0,
                kind: FrameKind::Ack,
                spoilt: Spoilt::No,
                onward: Onward::Store,
            };
            self.send(ack, port);
        }
        let attempt = &mut self.attempts[slot];
        attempt.holds -= 1;
        attempt.received += 1;
        if attempt.received == volley.frames {
            self.volley_arrives(slot);
        } else if attempt.io == NONE {
            self.release(slot);
        }
    }

    /// The last missing frame of a volley has arrived.
    fn volley_arrives(&mut self, slot: u32) {
        let attempt = &mut self.attempts[slot];
        let volley = &self.compiled.volleys[attempt.volley as usize];
        let whole = self.now.since(attempt.volley_ready).0;
        if volley.ready_to_transfer {
            attempt.parts.extra_trip += whole;
        } else {
            // Zero unless members of a group let an earlier frame arrive last.
            attempt.parts.serialization += whole.saturating_sub(attempt.volley_sum);
        }
        match volley.toward {
            Toward::Array => match volley.then {
                Then::Serve => self.enter_array(slot),
                Then::Next | Then::Complete => {
                    self.attempts[slot].volley += 1;
                    self.emit_volley(slot);
                }
            },
            Toward::Host => {
                let adapter = self.adapter(self.attempts[slot].workload);
                let attempt = &mut self.attempts[slot];
                if volley.ready_to_transfer {
                    attempt.parts.extra_trip += adapter.0;
                } else {
                    attempt.parts.adapter += adapter.0;
                }
                if adapter == Duration::ZERO {
                    self.volley_taken_in(slot);
                } else {
                    attempt.holds += 1;
                    let key = Key {
                        at: self.now + adapter,
                        tie: tie::ranked(tie::FRAME, attempt.tie),
                    };
                    self.queue.push(key, Event::HostReceived { attempt: slot });
                }
            }
        }
    }

    /// A host has taken in a message and paid its adapter.
    pub(super) fn volley_taken_in(&mut self, slot: u32) {
        let volley = &self.compiled.volleys[self.attempts[slot].volley as usize];
        if volley.then == Then::Complete {
            self.response_arrives(slot);
            return;
        }
        if self.attempts[slot].io == NONE {
            self.release(slot);
            return;
        }
        self.attempts[slot].volley += 1;
        self.schedule_host_emission(slot);
    }

    /// The next volley leaves a host: its frames are ready after the adapter.
    pub(crate) fn schedule_host_emission(&mut self, slot: u32) {
        let adapter = self.adapter(self.attempts[slot].workload);
        let attempt = &mut self.attempts[slot];
        attempt.parts.adapter += adapter.0;
        self.schedule_emission(adapter, Event::Emit { attempt: slot }, slot);
    }

    /// The next volley leaves an array: its frames are ready now. The last thing that happens to whatever calls it.
    pub(crate) fn answer(&mut self, slot: u32) {
        let event = Event::Answer { attempt: slot };
        let key = self.emission(Duration::ZERO, slot);
        if self.queue.would_be_next(key, &event) {
            // The event that comes next anyway.
            self.tally.events += 1;
            self.emit_volley(slot);
        } else {
            self.attempts[slot].holds += 1;
            self.queue.push(key, event);
        }
    }

    fn schedule_emission(&mut self, after: Duration, event: Event, slot: u32) {
        self.attempts[slot].holds += 1;
        let key = self.emission(after, slot);
        self.queue.push(key, event);
    }

    /// When the present volley of an attempt is ready, and its place in that instant.
    fn emission(&self, after: Duration, slot: u32) -> Key {
        let attempt = &self.attempts[slot];
        Key {
            at: self.now + after,
            tie: tie::frame(attempt.tie, attempt.volley - attempt.first_volley, 0),
        }
    }

    pub(super) fn adapter(&self, workload: u32) -> Duration {
        self.compiled.site.workloads[workload as usize].adapter
    }
}
