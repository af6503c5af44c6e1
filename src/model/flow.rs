//! Runs in the order of the flow: hosts and arrays have events, links are served a stretch at a time.
//!
//! A frame needs at least the shortest way (propagation, FEC and forwarding from a port that sends to one that
//! takes in) to its end. So what hosts and arrays have sent before an instant is all that can be taken in
//! within the shortest way after it. The links are served for that stretch, in the order of the flow; what is
//! taken in becomes events, which hosts and arrays then handle in order of time together with their own.
//!
//! Left out: faults and everything else that changes links on the way. Runs with a script have an event for
//! every hop.

use super::attempt::NONE;
use super::book::Book;
use super::compile::HOPS_MAX;
use super::net::{Coming, Frame, FrameKind, Streams, Times, Until};
use super::way::Way;
use super::world::{Event, Executor, Flow, Stop, World};
use crate::engine::Calendar;
use crate::topology::{DirectionId, NodeId};
use crate::unit::{Duration, Instant};

impl Executor for Flow {
    type Events = Calendar<Event>;
    type Links = Streams;

    fn run(world: &mut World<'_, Self>, until: Instant, stop: Stop) -> bool {
        world.net.behind = false;
        world.run_in_flow(until, stop)
    }

    fn settle(world: &mut World<'_, Self>) {
        if world.net.behind {
            world.catch_up(Until {
                at: world.now,
                tie: Some(u128::MAX),
                begins: Instant::NEVER,
            });
        }
    }
}

impl World<'_, Flow> {
    fn run_in_flow(&mut self, until: Instant, stop: Stop) -> bool {
        let mut handled = None;
        loop {
            let at = self.queue.next_at();
            if at >= self.net.horizon {
                // All before the horizon has been done; what is on its way is taken in later.
                let from = if self.net.is_empty() {
                    at
                } else {
                    self.net.horizon
                };
                if self.has_measured(stop, from.min(until)) {
                    self.end(handled, self.watch.to);
                    return false;
                }
                if from > until {
                    self.now = until;
                    self.net.behind = true;
                    return true;
                }
                self.net.certain = self.watch.to.min(until + Duration(1));
                self.net.horizon = (from + self.net.window()).min(until + Duration(1));
                self.serve_links();
                continue;
            }
            if self.has_measured(stop, at) {
                self.end(handled, self.watch.to);
                return false;
            }
            if self.is_at_a_limit() {
                self.end(handled, Instant::ZERO);
                return false;
            }
            let Some((key, event)) = self.queue.pop() else {
                continue;
            };
            assert!(at >= self.now, "time never goes back");
            self.now = at;
            self.tally.events += 1;
            handled = Some(key.tie);
            self.handle(key.tie, event);
        }
    }

    /// Ends a run after the event with the tie word `handled`, or at `least` if that is later.
    fn end(&mut self, handled: Option<u128>, least: Instant) {
        let until = if self.now >= least {
            Until {
                at: self.now,
                tie: handled,
                begins: Instant::NEVER,
            }
        } else {
            Until {
                at: least,
                tie: None,
                begins: Instant::NEVER,
            }
        };
        self.now = self.now.max(least);
        self.catch_up(until);
        // Directions near the ends of ways have been served ahead of the time.
        self.tally.frame_hops -= self.net.rewind(self.compiled, until);
    }

    /// Serves every direction up to an instant at which the run is looked at, and no further. A backlog is sent on
    /// then, to be sorted in with all that comes later: only where a run ends.
    fn catch_up(&mut self, until: Until) {
        let now = self.now;
        let mut times = std::mem::take(&mut self.net.times);
        let mut place = 0;
        while let Some((found, direction)) = self.net.filled_from(place) {
            // What its own port has sent is there, whatever its place among other things of the instant.
            let until = if self.net.is_first(direction) {
                Until {
                    tie: Some(u128::MAX),
                    ..until
                }
            } else {
                until
            };
            self.serve(direction, until, &mut times);
            place = found + 1;
        }
        self.net.times = times;
        self.now = now;
    }

    /// Serves all directions, so that everything is known that is taken in before the horizon.
    fn serve_links(&mut self) {
        let now = self.now;
        let mut times = std::mem::take(&mut self.net.times);
        let mut place = 0;
        while let Some((found, direction)) = self.net.filled_from(place) {
            let until = self.net.until(direction, self.net.horizon);
            self.serve(direction, until, &mut times);
            place = found + 1;
        }
        self.net.times = times;
        self.now = now;
    }

    /// Serves what is ready on a direction early enough, and sends it on ahead of the time.
    #[inline]
    fn serve(&mut self, direction: DirectionId, until: Until, times: &mut Vec<Times>) {
        let (coming, from) = self.net.take(direction);
        let left = &coming[from..];
        let compiled = self.compiled;
        let hop = &compiled.hops[direction.index()];
        self.net.serve(compiled, direction, left, until, times);
        self.tally.events += times.len() as u64;
        for (Coming { frame, .. }, times) in left.iter().zip(&*times) {
            if frame.kind != FrameKind::Ack {
                let mut book = Book {
                    compiled,
                    attempts: &mut self.attempts,
                    waits: &mut self.waits,
                };
                book.account_hop(frame, times, hop);
            }
            if hop.ends {
                self.reaches_its_end(direction, frame, times.handover);
            } else {
                self.pass_on(frame, times.handover, hop.to);
            }
        }
        let served = from..from + times.len();
        self.net.put_back(direction, coming, served);
    }

    /// Sends a frame on to its next direction.
    #[inline(always)]
    #[allow(clippy::inline_always)] // One hot loop.
    fn pass_on(&mut self, frame: &Frame, at: Instant, node: NodeId) {
        let hop = frame.hop + 1;
        let place = usize::from(hop);
        assert!(place < HOPS_MAX, "routes have at most {HOPS_MAX} hops");
        let place = frame.flow as usize * HOPS_MAX + place;
        let over = match self.ways[place] {
            Way::Fixed(direction, onward) => Some((direction, onward)),
            _ => self.known_way(frame.tie, frame.flow, place),
        };
        if let Some(over) = over {
            self.tally.frame_hops += 1;
            self.net.pass(over, (frame, hop), at);
            return;
        }
        let frame = Frame { hop, ..*frame };
        self.now = at;
        self.send(frame, node);
    }

    /// A frame will be taken in at the end of its way.
    #[inline]
    fn reaches_its_end(&mut self, over: DirectionId, frame: &Frame, at: Instant) {
        // What nobody waits for needs no event of its own.
        match frame.kind {
            FrameKind::Ack => return,
            FrameKind::Body => {
                let attempt = &mut self.attempts[frame.attempt];
                let volley = &self.compiled.volleys[attempt.volley as usize];
                if volley.ack.is_none() && attempt.io != NONE {
                    attempt.holds -= 1;
                    attempt.received += 1;
                    return;
                }
            }
            FrameKind::Last => {}
        }
        let coming = Coming {
            frame: *frame,
            ready: at,
        };
        self.net.ends(over, &coming, &mut self.queue);
    }
}
