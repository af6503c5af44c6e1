//! Runs in the order of the flow: hosts and arrays have events, links are served a stretch at a time.
//!
//! A frame needs at least the shortest way (propagation, FEC and forwarding from a port that sends to one that
//! takes in) to its end. So what hosts and arrays have sent before an instant is all that can be taken in
//! within the shortest way after it. The links are served for that stretch, in the order of the flow; what is
//! taken in becomes events, which hosts and arrays then handle in order of time together with their own.
//!
//! Where the ways toward arrays and back have no link in common, hosts and arrays take turns: what hosts have sent
//! before an instant is all that arrays take in within the shortest way after it, and the other way round, so that a
//! stretch is as long as the two ways together and each link is served once in it.
//!
//! Left out: faults and everything else that changes links on the way. Runs with a script have an event for
//! every hop.

use super::attempt::NONE;
use super::book::Book;
use super::compile::{HOPS_MAX, Hop};
use super::net::{AT_A_STROKE, Coming, Frame, FrameKind, Streams, Times, Until};
use super::order::Round;
use super::sides::{At, Sides};
use super::way::Ways;
use super::world::{Executor, Flow, Stop, World};
use crate::engine::{EventSet, Key};
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};
use std::ops::Range;

/// Hosts and arrays take turns only where so many more events reach no limit, …
const LIKELY: u64 = 1 << 12;
/// … and so many times those of the last turn.
const ROOM: u64 = 8;

impl Executor for Flow {
    type Events = Sides;
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
            });
        }
    }
}

impl World<'_, Flow> {
    fn run_in_flow(&mut self, until: Instant, stop: Stop) -> bool {
        self.queue.apart = self.net.round().is_some();
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
                if let Some(round) = self.net.round()
                    && self.has_room_for(LIKELY)
                    && from + Duration(self.net.window().0) < self.net.certain
                {
                    let last = self.run_apart(round, from);
                    handled = last.map(|key| key.tie);
                    continue;
                }
                self.net.horizon = (from + self.net.window()).min(until + Duration(1));
                self.serve_links(self.net.places(), self.net.horizon);
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

    /// Lets hosts and arrays take turns from an instant before which all has been handled, up to the one that the
    /// run reaches for certain or to where a limit comes near. Returns the last event handled.
    fn run_apart(&mut self, round: Round, from: Instant) -> Option<Key> {
        let places = self.net.places();
        let mut cap = self.net.certain;
        // What each side takes in before this is known.
        let (mut hosts, mut arrays) = (from, from);
        let (mut at_hosts, mut at_arrays) = (None, None);
        loop {
            let events = self.tally.events;
            at_hosts = self.handle_side(At::Hosts, hosts).or(at_hosts);
            if hosts == cap && arrays == cap {
                break;
            }
            arrays = cap.min(hosts + Duration(round.there));
            self.serve_links(0..round.outward, arrays);
            at_arrays = self.handle_side(At::Arrays, arrays).or(at_arrays);
            hosts = cap.min(arrays + Duration(round.back));
            self.serve_links(round.outward..places.end, hosts);
            if self.net.is_empty() {
                // Nothing is on its way, so that nothing happens before what is planned.
                let next = cap.min(self.queue.next_at());
                (hosts, arrays) = (hosts.max(next), arrays.max(next));
            }
            if !self.has_room_for(LIKELY.max(ROOM * (self.tally.events - events))) {
                cap = hosts;
            }
        }
        self.net.horizon = cap;
        let last = at_hosts.max(at_arrays);
        self.now = last.map_or(self.now, |key| key.at);
        last
    }

    /// Handles the events of one side that are due before `end`. Returns the last.
    #[inline]
    fn handle_side(&mut self, at: At, end: Instant) -> Option<Key> {
        let mut last = None;
        while let Some((key, event)) = self.queue.pop_before(at, end) {
            self.now = key.at;
            self.tally.events += 1;
            self.handle(key.tie, event);
            last = Some(key);
        }
        last
    }

    /// Ends a run after the event with the tie word `handled`, or at `least` if that is later.
    fn end(&mut self, handled: Option<u128>, least: Instant) {
        let until = if self.now >= least {
            Until {
                at: self.now,
                tie: handled,
            }
        } else {
            Until {
                at: least,
                tie: None,
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
        let mut places = self.net.places();
        while let Some((found, direction)) = self.net.filled_in(places.clone()) {
            // What its own port has sent is there, whatever its place among other things of the instant.
            let until = if self.net.is_first(direction) {
                Until {
                    tie: Some(u128::MAX),
                    ..until
                }
            } else {
                until
            };
            let stops = |next: &Coming, _| !until.takes(next);
            self.serve(direction, stops, &mut times);
            places.start = found + 1;
        }
        self.net.times = times;
        self.now = now;
    }

    /// Serves directions, so that everything is known that is taken in over them before `horizon`. A backlog stays
    /// where it waits, and is not sorted in among what comes to the next direction meanwhile.
    fn serve_links(&mut self, mut places: Range<usize>, horizon: Instant) {
        let now = self.now;
        let mut times = std::mem::take(&mut self.net.times);
        while let Some((found, direction)) = self.net.filled_in(places.clone()) {
            let latest = self.net.latest(direction, horizon);
            self.serve(direction, |_, start| start >= latest, &mut times);
            places.start = found + 1;
        }
        self.net.times = times;
        self.now = now;
    }

    /// Serves what is ready on a direction early enough, and sends it on ahead of the time.
    #[inline]
    fn serve(
        &mut self,
        direction: DirectionId,
        stops: impl Fn(&Coming, Instant) -> bool,
        times: &mut [Times],
    ) {
        loop {
            let (coming, from) = self.net.take(direction);
            let left = &coming[from..];
            let compiled = self.compiled;
            let served = self.net.serve(compiled, direction, left, &stops, times);
            self.tally.events += served as u64;
            let (left, times) = (&left[..served], &times[..served]);
            let hop = &compiled.hops[direction.index()];
            if hop.ends {
                self.net.coming -= served as u64;
                self.reach_their_end(direction, left, times, hop);
            } else {
                self.tally.frame_hops += served as u64;
                self.pass_on(left, times, hop);
            }
            self.net.put_back(direction, coming, from..from + served);
            if served < AT_A_STROKE {
                return;
            }
        }
    }

    /// Sends frames on to their next directions.
    #[inline]
    fn pass_on(&mut self, mut left: &[Coming], mut times: &[Times], hop: &Hop) {
        loop {
            let passed = self.pass_known(left, times, hop);
            let (Some(own), Some(at)) = (left.get(passed), times.get(passed)) else {
                return;
            };
            // Its way is still to be found, or it has one of its own.
            self.tally.frame_hops -= 1;
            self.net.coming -= 1;
            let frame = Frame {
                hop: own.frame.hop + 1,
                ..own.frame
            };
            self.now = at.handover;
            self.send(frame, hop.to);
            (left, times) = (&left[passed + 1..], &times[passed + 1..]);
        }
    }

    /// Sends frames on, up to the first whose way is not known yet. Accounts for that one's hop too. Returns how
    /// many were sent.
    #[inline(never)] // It needs all the registers that there are.
    fn pass_known(&mut self, left: &[Coming], times: &[Times], hop: &Hop) -> usize {
        let compiled = self.compiled;
        let ways = Ways {
            compiled,
            routes: &self.routes,
            ways: &self.ways,
        };
        let mut book = Book {
            compiled,
            attempts: self.attempts.all_mut(),
            waits: &mut self.waits,
        };
        let mut passed = 0;
        for (Coming { frame, .. }, times) in left.iter().zip(times) {
            if frame.kind != FrameKind::Ack {
                book.account_hop(frame, times, hop);
            }
            let next = frame.hop + 1;
            let place = usize::from(next);
            assert!(place < HOPS_MAX, "routes have at most {HOPS_MAX} hops");
            let place = frame.flow as usize * HOPS_MAX + place;
            let Some(over) = ways.known(frame.tie, frame.flow, place) else {
                break;
            };
            self.net.pass(over, (frame, next), times.handover);
            passed += 1;
        }
        passed
    }

    /// Frames come to the end of their ways.
    #[inline(never)] // It needs all the registers that there are.
    fn reach_their_end(
        &mut self,
        direction: DirectionId,
        left: &[Coming],
        times: &[Times],
        hop: &Hop,
    ) {
        for (Coming { frame, .. }, times) in left.iter().zip(times) {
            if frame.kind != FrameKind::Ack {
                let mut book = Book {
                    compiled: self.compiled,
                    attempts: self.attempts.all_mut(),
                    waits: &mut self.waits,
                };
                book.account_hop(frame, times, hop);
            }
            self.reaches_its_end(direction, frame, times.handover);
        }
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
