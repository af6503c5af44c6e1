//! Frames in rings, every departure computed when a frame becomes ready.
//!
//! Start = max(ready, free), end = start + serialization. Frames wait in a ring, in order; the direction's
//! one event is the hand-over of the first frame that has not been handed on. With cut-through a frame is
//! handed on before its end has arrived, so it stays in the ring until then: a fault in between still
//! finds it. A fault makes the planned hand-over void by a ticket.

use super::{
    DirectionTally, FEW, Flight, Frame, Links, LostFrame, Offered, Onward, ReceiverGone, Spoilt,
    busy, overlap,
};
use crate::engine::{EventSet, Key, Ring};
use crate::model::compile::{Compiled, FrameTime, Hop, Watch};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// The frames of one direction, and what it has counted.
#[derive(Clone, Debug)]
struct Lane {
    ring: Ring<Flight>,
    tally: DirectionTally,
    class: u32,
    ends: bool,
    latency: Duration,
    /// Latency and the delay of the receiving switch.
    passing: Duration,
    /// Entries at the front that have been handed on and have not fully arrived.
    handed: usize,
    /// Entries at the front whose start has passed.
    started: usize,
    free: Instant,
    /// A stretch of frames that arrived and left no gap on the wire, not yet counted as busy.
    stretch: (Instant, Instant),
    /// Number of the planned hand-over: one planned before a fault is void.
    ticket: u32,
    /// How many lost parts this direction depends on.
    gone: u32,
    gone_since: Instant,
    gone_total: u64,
}

impl Lane {
    fn new(hop: &Hop, gone: u32, watch: Watch, few: bool) -> Self {
        Self {
            ring: Ring::new(),
            tally: DirectionTally::watched(watch, few),
            class: hop.class,
            ends: hop.ends,
            latency: hop.latency,
            passing: hop.latency + hop.delay,
            handed: 0,
            started: 0,
            free: Instant::ZERO,
            stretch: (Instant::ZERO, Instant::ZERO),
            ticket: 0,
            gone,
            gone_since: Instant::ZERO,
            gone_total: 0,
        }
    }

    /// When a frame is ready at the next hop, or has arrived at the last.
    #[inline]
    fn handed_on(&self, onward: Onward, time: &FrameTime, start: Instant, end: Instant) -> Instant {
        if self.ends {
            end + self.latency
        } else if onward == Onward::Cut && time.header < time.ser {
            start + Duration(time.header) + self.passing
        } else {
            end + self.passing
        }
    }

    /// Plans the hand-over of the first frame that has not been handed on.
    #[inline]
    fn plan(&self, direction: DirectionId, events: &mut impl EventSet<Event>) {
        if let Some(flight) = self.ring.get(self.handed) {
            let key = Key {
                at: flight.handover,
                tie: flight.frame.tie,
            };
            let event = Event::Link {
                direction,
                word: self.ticket,
            };
            events.push(key, event);
        }
    }

    /// Records a frame that has arrived.
    #[inline]
    fn record(&mut self, compiled: &Compiled, flight: &Flight, window: (Instant, Instant)) {
        let time = compiled.time_on(flight.frame.run, self.class);
        self.tally.delivered += 1;
        self.tally.delivered_bytes += u64::from(time.bytes);
        if flight.start == self.stretch.1 {
            self.stretch.1 = flight.end;
        } else {
            let (from, to) = std::mem::replace(&mut self.stretch, (flight.start, flight.end));
            busy(&mut self.tally, from, to, window);
        }
        let arrival = flight.end + self.latency;
        if arrival >= window.0 && arrival < window.1 {
            self.tally.frames += 1;
            self.tally.bytes += u64::from(time.bytes);
            self.tally.payload += u64::from(time.payload);
            self.tally.wait.record(flight.start.since(flight.ready));
        }
    }

    /// Records and forgets the frames at the front that have been handed on and have fully arrived.
    fn retire(
        &mut self,
        compiled: &Compiled,
        now: Instant,
        bound: Bound,
        window: (Instant, Instant),
    ) {
        while self.handed > 0
            && let Some(flight) = self.ring.get(0).copied()
            && bound.passed(flight.end + self.latency, now)
        {
            self.ring.pop();
            self.handed -= 1;
            self.started = self.started.saturating_sub(1);
            self.record(compiled, &flight, window);
        }
    }
}

/// All link directions of a run, as rings.
#[derive(Debug)]
pub struct Rings {
    lanes: Vec<Lane>,
    window: (Instant, Instant),
    in_flight: u64,
}

impl Links for Rings {
    fn new(compiled: &Compiled, watch: Watch) -> Self {
        let gone = |index: usize| u32::from(!compiled.alive[index / 2]);
        let hops = compiled.hops.iter().enumerate();
        let few = hops.len() <= FEW;
        Self {
            lanes: hops
                .map(|(index, hop)| Lane::new(hop, gone(index), watch, few))
                .collect(),
            window: (watch.from, watch.to),
            in_flight: 0,
        }
    }

    #[inline]
    fn offer(
        &mut self,
        compiled: &Compiled,
        (direction, onward): (DirectionId, Onward),
        frame: Frame,
        ready: Instant,
        events: &mut impl EventSet<Event>,
    ) -> Offered {
        let lane = &mut self.lanes[direction.index()];
        let time = compiled.time_on(frame.run, lane.class);
        lane.tally.offered += 1;
        lane.tally.offered_bytes += u64::from(time.bytes);
        lane.tally.asked_series.at(ready).0 += time.ser;
        if lane.gone > 0 {
            lane.tally.dropped += 1;
            lane.tally.dropped_bytes += u64::from(time.bytes);
            return Offered::Dropped;
        }
        let start = ready.max(lane.free);
        let end = start + Duration(time.ser);
        let handover = lane.handed_on(onward, time, start, end);
        lane.free = end;
        if let Some(last) = lane.ring.last() {
            assert!(
                last.handover <= handover,
                "frames of a direction are handed over in order"
            );
        }
        lane.ring.push(Flight {
            frame,
            ready,
            start,
            end,
            handover,
        });
        self.in_flight += 1;
        if start > ready {
            while let Some(flight) = lane.ring.get(lane.started)
                && flight.start <= ready
            {
                lane.started += 1;
            }
            if ready >= self.window.0 && ready < self.window.1 {
                let (waiting, ahead) = (lane.ring.len() - lane.started, start.since(ready).0);
                lane.tally.queue_max = lane.tally.queue_max.max(waiting as u64);
                lane.tally.ahead_max = lane.tally.ahead_max.max(ahead);
            }
        } else {
            // On an idle wire everything has started.
            lane.started = lane.ring.len();
        }
        if lane.ring.len() == lane.handed + 1 {
            let key = Key {
                at: handover,
                tie: frame.tie,
            };
            let word = lane.ticket;
            events.push(key, Event::Link { direction, word });
        }
        Offered::Taken
    }

    #[inline]
    fn step(
        &mut self,
        compiled: &Compiled,
        now: Instant,
        (direction, ticket): (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> Option<Flight> {
        let lane = &mut self.lanes[direction.index()];
        if lane.ticket != ticket {
            return None;
        }
        let flight = *lane.ring.get(lane.handed)?;
        self.in_flight -= 1;
        if lane.handed == 0 && flight.end + lane.latency <= now {
            // The usual case: it has arrived whole, and nothing before it is still to arrive.
            lane.ring.pop();
            lane.started = lane.started.saturating_sub(1);
            lane.plan(direction, events);
            lane.record(compiled, &flight, self.window);
        } else {
            lane.handed += 1;
            lane.plan(direction, events);
            lane.retire(compiled, now, Bound::Reached, self.window);
        }
        Some(flight)
    }

    fn lose(
        &mut self,
        compiled: &Compiled,
        (direction, receiver_gone): (DirectionId, ReceiverGone),
        now: Instant,
        lost: &mut Vec<LostFrame>,
        events: &mut impl EventSet<Event>,
    ) {
        let window = self.window;
        let lane = &mut self.lanes[direction.index()];
        lane.retire(compiled, now, Bound::Before, window);
        if lane.gone == 0 {
            lane.gone_since = now;
        }
        lane.gone += 1;
        let ring = std::mem::take(&mut lane.ring);
        let handed = std::mem::take(&mut lane.handed);
        for (position, flight) in ring.iter().enumerate() {
            let bytes = u64::from(compiled.time_on(flight.frame.run, lane.class).bytes);
            let was_handed = position < handed;
            if flight.end + lane.latency < now {
                // Fully arrived; only its forwarding is still to come.
                if receiver_gone == ReceiverGone::No {
                    lane.handed += usize::from(was_handed);
                    lane.ring.push(flight);
                    continue;
                }
                lane.record(compiled, &flight, window);
            } else if flight.start < now {
                lane.tally.cut += 1;
                lane.tally.cut_bytes += bytes;
                busy(&mut lane.tally, flight.start, flight.end.min(now), window);
            } else {
                lane.tally.dropped += 1;
                lane.tally.dropped_bytes += bytes;
            }
            self.in_flight -= u64::from(!was_handed);
            lost.push(LostFrame {
                frame: flight.frame,
                goes_on: was_handed,
            });
        }
        lane.started = lane.ring.len();
        lane.free = lane.free.min(now);
        lane.ticket = lane.ticket.wrapping_add(1);
        lane.plan(direction, events);
    }

    fn restore(&mut self, direction: DirectionId, now: Instant) {
        let lane = &mut self.lanes[direction.index()];
        lane.gone = lane.gone.saturating_sub(1);
        if lane.gone == 0 {
            lane.gone_total += overlap(lane.gone_since, now, self.window);
            lane.free = now.max(lane.free);
        }
    }

    fn pace(
        &mut self,
        compiled: &Compiled,
        (direction, class): (DirectionId, u32),
        now: Instant,
        events: &mut impl EventSet<Event>,
    ) {
        let lane = &mut self.lanes[direction.index()];
        lane.class = class;
        let begun = lane.ring.iter().take_while(|flight| flight.start < now);
        let begun = begun.count();
        let Some(mut start) = lane.ring.get(begun).map(|flight| flight.start) else {
            return;
        };
        for position in begun..lane.ring.len() {
            let Some(mut flight) = lane.ring.get(position).copied() else {
                break;
            };
            let time = compiled.time_on(flight.frame.run, class);
            flight.start = start.max(flight.ready);
            flight.end = flight.start + Duration(time.ser);
            flight.handover = lane.handed_on(Onward::Store, time, flight.start, flight.end);
            start = flight.end;
            if let Some(place) = lane.ring.get_mut(position) {
                *place = flight;
            }
        }
        lane.free = start;
        if begun == lane.handed {
            lane.ticket = lane.ticket.wrapping_add(1);
            lane.plan(direction, events);
        }
    }

    fn spoil(&mut self, frame: &Frame) {
        for lane in &mut self.lanes {
            for position in 0..lane.ring.len() {
                if let Some(flight) = lane.ring.get_mut(position)
                    && flight.frame.tie == frame.tie
                    && flight.frame.hop > frame.hop
                {
                    flight.frame.spoilt = Spoilt::Yes;
                }
            }
        }
    }

    fn in_flight(&self) -> u64 {
        self.in_flight
    }

    fn close(&mut self, compiled: &Compiled, now: Instant) -> Vec<DirectionTally> {
        let window = self.window;
        let close = |(index, mut lane): (usize, Lane)| {
            lane.assert_nothing_lost(compiled, index, now);
            // What frames still in the ring have done by now.
            for flight in std::mem::take(&mut lane.ring).iter() {
                if flight.end + lane.latency <= now {
                    lane.record(compiled, &flight, window);
                } else if flight.start < now {
                    busy(&mut lane.tally, flight.start, flight.end.min(now), window);
                }
            }
            let (from, to) = lane.stretch;
            busy(&mut lane.tally, from, to, window);
            assert!(
                lane.tally.busy_total <= lane.tally.busy_until.0,
                "a direction is never busier than time has passed"
            );
            let gone_now = if lane.gone > 0 {
                overlap(lane.gone_since, now, window)
            } else {
                0
            };
            let whole = window.1.min(now).since(window.0).0;
            lane.tally.up = whole.saturating_sub(lane.gone_total + gone_now);
            lane.tally
        };
        let lanes = std::mem::take(&mut self.lanes);
        lanes.into_iter().enumerate().map(close).collect()
    }
}

impl Lane {
    fn assert_nothing_lost(&self, compiled: &Compiled, index: usize, now: Instant) {
        let (mut waiting, mut wire, mut arrived) = ((0_u64, 0_u64), (0_u64, 0_u64), (0_u64, 0_u64));
        for flight in self.ring.iter() {
            let place = if flight.start > now {
                &mut waiting
            } else if flight.end + self.latency > now {
                &mut wire
            } else {
                &mut arrived
            };
            place.0 += 1;
            place.1 += u64::from(compiled.time_on(flight.frame.run, self.class).bytes);
        }
        let tally = &self.tally;
        let sent = tally.delivered + arrived.0 + tally.cut + wire.0;
        assert_eq!(
            tally.offered,
            waiting.0 + tally.dropped + sent,
            "frames offered to direction {index}"
        );
        let sent_bytes = tally.delivered_bytes + arrived.1 + tally.cut_bytes + wire.1;
        assert_eq!(
            tally.offered_bytes,
            waiting.1 + tally.dropped_bytes + sent_bytes,
            "bytes, direction {index}"
        );
    }
}

/// Which arrivals count as past.
#[derive(Clone, Copy, Debug)]
enum Bound {
    /// At `now` or before.
    Reached,
    /// Before `now`: an arrival in the instant of a fault is lost.
    Before,
}

impl Bound {
    fn passed(self, arrival: Instant, now: Instant) -> bool {
        match self {
            Self::Reached => arrival <= now,
            Self::Before => arrival < now,
        }
    }
}
