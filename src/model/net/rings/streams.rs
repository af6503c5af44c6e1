//! Directions served in the order of the flow, each for a stretch of time.
//!
//! A frame that is to become ready on a direction waits in its inbox, in order of (ready, tie word). A
//! stretch takes all that is ready before its end, computes their times as rings do, and hands each on to the
//! next inbox at once, ahead of the time: nothing that happens meanwhile at a host or an array can change it.
//! Only what is taken in at the end of its way becomes an event.

use super::lane::count;
use super::{Bound, Rings};
use crate::engine::{EventSet, Key, Ring};
use crate::model::compile::{Compiled, Watch};
use crate::model::net::{
    DirectionTally, Flight, Frame, InOrder, Links, LostFrame, NoGate, Offered, Onward, Open,
    ReceiverGone,
};
use crate::model::order::FlowOrder;
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// A frame that is to become ready.
#[derive(Clone, Copy, Debug)]
struct Coming {
    frame: Frame,
    ready: Instant,
}

/// What comes to a direction.
#[derive(Clone, Debug, Default)]
struct Inbox {
    coming: Vec<Coming>,
    /// Entries at the front that have been served.
    served: usize,
    /// Frames that will be taken in at the end of this direction.
    ended: Ring<Flight>,
}

/// All link directions of a run, in the order of the flow.
#[derive(Debug)]
pub struct Streams {
    rings: Rings<Open, InOrder, NoGate>,
    inboxes: Vec<Inbox>,
    /// One bit for each place of the order: whether anything waits in its inbox.
    filled: Vec<u64>,
    flow: FlowOrder,
    /// Frames in inboxes.
    coming: u64,
    /// All that hosts and arrays do before this has been done.
    known: Instant,
}

/// Up to where inboxes are emptied.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Until {
    /// Before this instant …
    pub(crate) at: Instant,
    /// … and in it, up to this tie word.
    pub(crate) tie: Option<u128>,
}

impl Until {
    fn takes(self, coming: &Coming) -> bool {
        coming.ready < self.at
            || coming.ready == self.at && self.tie.is_some_and(|tie| coming.frame.tie <= tie)
    }
}

impl Streams {
    /// Shortest time from a port that sends to one that takes in.
    pub(crate) const fn window(&self) -> Duration {
        Duration(self.flow.window)
    }

    /// Whether nothing waits in any inbox.
    pub(crate) const fn is_empty(&self) -> bool {
        self.coming == 0
    }

    /// From here on: all that hosts and arrays do before `known` has been done.
    pub(crate) const fn knows(&mut self, known: Instant) {
        self.known = known;
    }

    /// The first direction from a place of the order on that has anything in its inbox.
    #[inline]
    pub(crate) fn filled_from(&self, place: usize) -> Option<(usize, DirectionId)> {
        let mut word = place / 64;
        let mut bits = self.filled.get(word)? & (u64::MAX << (place % 64));
        while bits == 0 {
            word += 1;
            bits = *self.filled.get(word)?;
        }
        let place = word * 64 + bits.trailing_zeros() as usize;
        Some((place, self.flow.order[place]))
    }

    /// Up to where a direction is served for all that is taken in before `end` to be known.
    #[inline]
    pub(crate) fn until(&self, direction: DirectionId, end: Instant) -> Until {
        let remaining = self.flow.remaining[direction.index()];
        Until {
            at: Instant(end.0.saturating_sub(remaining)),
            tie: None,
        }
    }

    /// Whether frames come to a direction from its own port only.
    pub(crate) fn is_first(&self, direction: DirectionId) -> bool {
        self.flow.first[direction.index()]
    }

    /// Serves the next frame of a direction, if it is ready early enough.
    #[inline]
    pub(crate) fn serve(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        until: Until,
    ) -> Option<Flight> {
        let inbox = &mut self.inboxes[direction.index()];
        let next = inbox.coming.get(inbox.served).copied();
        let Some(Coming { frame, ready }) = next.filter(|next| until.takes(next)) else {
            if inbox.served == inbox.coming.len() {
                inbox.coming.clear();
                let place = self.flow.place[direction.index()] as usize;
                self.filled[place / 64] &= !(1 << (place % 64));
            } else {
                inbox.coming.drain(..inbox.served);
            }
            inbox.served = 0;
            return None;
        };
        inbox.served += 1;
        self.coming -= 1;
        let lane = &mut self.rings.lanes[direction.index()];
        let time = compiled.time_on(frame.run, lane.class);
        lane.offered += 1;
        lane.offered_bytes += u64::from(time.bytes);
        let start = ready.max(lane.free);
        let end = start + Duration(time.ser);
        let flight = Flight {
            frame,
            ready,
            start,
            end,
            handover: lane.handed_on(frame.onward, time, start, end),
        };
        lane.free = end;
        lane.ring.push(flight);
        if start > ready {
            lane.note_started(ready);
            if ready >= self.rings.window.0 && ready < self.rings.window.1 {
                let waiting = count(lane.ring.len()) - lane.started;
                lane.queue_max = lane.queue_max.max(waiting);
                lane.ahead_max = lane.ahead_max.max(start.since(ready).0);
            }
        } else {
            lane.started = count(lane.ring.len());
        }
        self.retire(compiled, direction, ready);
        Some(flight)
    }

    /// Counts the frames of a direction that have arrived before all that is known, but for those that frames
    /// still to be served may find waiting.
    #[inline]
    fn retire(&mut self, compiled: &Compiled, direction: DirectionId, ready: Instant) {
        loop {
            let lane = &mut self.rings.lanes[direction.index()];
            let Some(flight) = lane.ring.get(0).copied() else {
                return;
            };
            if flight.start > ready || !Bound::Before.passed(flight.end + lane.latency, self.known)
            {
                return;
            }
            let asked = lane.leave();
            self.rings.count(compiled, direction, &flight, asked);
        }
    }

    /// A frame will be taken in at the end of `direction`.
    #[inline]
    pub(crate) fn ends(
        &mut self,
        direction: DirectionId,
        flight: &Flight,
        events: &mut impl EventSet<Event>,
    ) {
        let ended = &mut self.inboxes[direction.index()].ended;
        ended.push(*flight);
        if ended.len() == 1 {
            plan(direction, flight, events);
        }
    }

    /// Takes back what was served ahead of `until`, where a run ends. Returns how many frames.
    pub(crate) fn rewind(&mut self, compiled: &Compiled, until: Until) -> u64 {
        let mut ahead = 0;
        for (lane, first) in self.rings.lanes.iter_mut().zip(&self.flow.first) {
            while let Some(flight) = lane.ring.last().copied()
                && !*first
                && !until.takes(&Coming {
                    frame: flight.frame,
                    ready: flight.ready,
                })
            {
                let time = compiled.time_on(flight.frame.run, lane.class);
                lane.ring.pop_last();
                lane.offered -= 1;
                lane.offered_bytes -= u64::from(time.bytes);
                ahead += 1;
            }
        }
        ahead
    }
}

fn plan(direction: DirectionId, flight: &Flight, events: &mut impl EventSet<Event>) {
    let key = Key {
        at: flight.handover,
        tie: flight.frame.tie,
    };
    events.push(key, Event::Link { direction, word: 0 });
}

const NO_FAULTS: &str =
    "a run in the order of the flow has no faults: runs with a script have events";

impl Links for Streams {
    const IN_FLOW: bool = true;

    fn new(compiled: &Compiled, watch: Watch) -> Self {
        let flow = compiled
            .flow_order()
            .expect("asked for only where there is an order");
        Self {
            rings: Rings::new(compiled, watch),
            inboxes: vec![Inbox::default(); compiled.hops.len()],
            filled: vec![0; flow.order.len().div_ceil(64)],
            flow: flow.clone(),
            coming: 0,
            known: Instant::ZERO,
        }
    }

    #[inline]
    fn offer(
        &mut self,
        _: &Compiled,
        (direction, onward): (DirectionId, Onward),
        mut frame: Frame,
        ready: Instant,
        _: &mut impl EventSet<Event>,
    ) -> Offered {
        frame.onward = onward;
        let inbox = &mut self.inboxes[direction.index()];
        let mut place = inbox.coming.len();
        inbox.coming.push(Coming { frame, ready });
        if !self.flow.first[direction.index()] {
            // Each stream comes in order: mostly this is the last.
            while place > inbox.served
                && let before = inbox.coming[place - 1]
                && (before.ready, before.frame.tie) > (ready, frame.tie)
            {
                inbox.coming.swap(place - 1, place);
                place -= 1;
            }
        }
        self.coming += 1;
        let place = self.flow.place[direction.index()] as usize;
        self.filled[place / 64] |= 1 << (place % 64);
        Offered::Taken
    }

    #[inline]
    fn step(
        &mut self,
        _: &Compiled,
        _: Instant,
        (direction, _): (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> Option<Flight> {
        let ended = &mut self.inboxes[direction.index()].ended;
        let flight = ended.pop();
        if let Some(next) = ended.get(0) {
            plan(direction, next, events);
        }
        flight
    }

    fn lose(
        &mut self,
        _: &Compiled,
        _: (DirectionId, ReceiverGone),
        _: Instant,
        _: &mut Vec<LostFrame>,
        _: &mut impl EventSet<Event>,
    ) {
        unreachable!("{NO_FAULTS}");
    }

    fn restore(&mut self, _: DirectionId, _: Instant) {
        unreachable!("{NO_FAULTS}");
    }

    fn pace(
        &mut self,
        _: &Compiled,
        _: (DirectionId, u32),
        _: Instant,
        _: &mut impl EventSet<Event>,
    ) {
        unreachable!("{NO_FAULTS}");
    }

    fn spoil(&mut self, _: &Frame) {
        unreachable!("{NO_FAULTS}");
    }

    fn in_flight(&self) -> u64 {
        self.coming
    }

    fn ahead(&self) -> u64 {
        self.coming
    }

    fn close(&mut self, compiled: &Compiled, now: Instant) -> Vec<DirectionTally> {
        self.rings.close(compiled, now)
    }
}
