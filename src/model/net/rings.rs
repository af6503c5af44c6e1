//! Frames in rings, every departure computed when a frame becomes ready.
//!
//! Start = max(ready, free), end = start + serialization. Frames wait in a ring, in order; the direction's
//! one event is the hand-over of the first frame that has not been handed on. With cut-through a frame is
//! handed on before its end has arrived, so it stays in the ring until then: a fault in between still
//! finds it. A fault makes the planned hand-over void by a ticket.

use super::{
    DirectionTally, Flight, Frame, Links, LostFrame, Offered, Onward, ReceiverGone, Spoilt, busy,
    handed_on, overlap,
};
use crate::engine::{EventSet, Key, Ring};
use crate::model::compile::Compiled;
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// The frames of one direction.
#[derive(Clone, Debug, Default)]
struct Lane {
    ring: Ring<Flight>,
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
    /// Plans the hand-over of the first frame that has not been handed on.
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
}

/// All link directions of a run, as rings.
#[derive(Debug)]
pub struct Rings {
    lanes: Vec<Lane>,
    tallies: Vec<DirectionTally>,
    window: (Instant, Instant),
    in_flight: u64,
}

impl Links for Rings {
    fn new(compiled: &Compiled, from: Instant, to: Instant) -> Self {
        let count = compiled.hops.len();
        let mut lanes = vec![Lane::default(); count];
        for (index, lane) in lanes.iter_mut().enumerate() {
            lane.gone = u32::from(!compiled.alive[index / 2]);
        }
        Self {
            lanes,
            tallies: vec![DirectionTally::default(); count],
            window: (from, to),
            in_flight: 0,
        }
    }

    #[inline]
    fn offer(
        &mut self,
        compiled: &Compiled,
        over: (DirectionId, Onward),
        frame: Frame,
        ready: Instant,
        events: &mut impl EventSet<Event>,
    ) -> Offered {
        let direction = over.0;
        let time = compiled.time(frame.run, direction);
        let tally = &mut self.tallies[direction.index()];
        let lane = &mut self.lanes[direction.index()];
        tally.offered += 1;
        tally.offered_bytes += u64::from(time.bytes);
        tally.asked_series.at(ready).0 += time.ser;
        if lane.gone > 0 {
            tally.dropped += 1;
            tally.dropped_bytes += u64::from(time.bytes);
            return Offered::Dropped;
        }
        let start = ready.max(lane.free);
        let end = start + Duration(time.ser);
        let handover = handed_on(compiled, over, time, (start, end));
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
                tally.queue_max = tally.queue_max.max((lane.ring.len() - lane.started) as u64);
                tally.ahead_max = tally.ahead_max.max(start.since(ready).0);
            }
        } else {
            // On an idle wire everything has started.
            lane.started = lane.ring.len();
        }
        if lane.ring.len() == lane.handed + 1 {
            lane.plan(direction, events);
        }
        Offered::Taken
    }

    #[inline]
    fn step(
        &mut self,
        compiled: &Compiled,
        _now: Instant,
        (direction, ticket): (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> Option<Flight> {
        let lane = &mut self.lanes[direction.index()];
        if lane.ticket != ticket {
            return None;
        }
        let flight = *lane.ring.get(lane.handed)?;
        lane.handed += 1;
        lane.plan(direction, events);
        self.in_flight -= 1;
        self.retire(compiled, direction, flight.handover, Bound::Reached);
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
        self.retire(compiled, direction, now, Bound::Before);
        let latency = compiled.hops[direction.index()].latency;
        let window = self.window;
        let lane = &mut self.lanes[direction.index()];
        let tally = &mut self.tallies[direction.index()];
        if lane.gone == 0 {
            lane.gone_since = now;
        }
        lane.gone += 1;
        let ring = std::mem::take(&mut lane.ring);
        let handed = std::mem::take(&mut lane.handed);
        for (position, flight) in ring.iter().enumerate() {
            let bytes = u64::from(compiled.time(flight.frame.run, direction).bytes);
            let was_handed = position < handed;
            if flight.end + latency < now {
                // Fully arrived; only its forwarding is still to come.
                if receiver_gone == ReceiverGone::No {
                    lane.handed += usize::from(was_handed);
                    lane.ring.push(flight);
                    continue;
                }
                record(compiled, tally, lane, direction, &flight, window);
            } else if flight.start < now {
                tally.cut += 1;
                tally.cut_bytes += bytes;
                busy(tally, flight.start, flight.end.min(now), window);
            } else {
                tally.dropped += 1;
                tally.dropped_bytes += bytes;
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
        for index in 0..self.lanes.len() {
            let direction = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            self.assert_nothing_lost(compiled, direction, now);
            let latency = compiled.hops[index].latency;
            let window = self.window;
            let lane = &mut self.lanes[index];
            let tally = &mut self.tallies[index];
            // What frames still in the ring have done by now.
            for flight in std::mem::take(&mut lane.ring).iter() {
                if flight.end + latency <= now {
                    record(compiled, tally, lane, direction, &flight, window);
                } else if flight.start < now {
                    busy(tally, flight.start, flight.end.min(now), window);
                }
            }
            let (from, to) = std::mem::take(&mut lane.stretch);
            busy(tally, from, to, window);
            assert!(
                tally.busy_total <= tally.busy_until.0,
                "a direction is never busier than time has passed"
            );
            let gone_now = if lane.gone > 0 {
                overlap(lane.gone_since, now, window)
            } else {
                0
            };
            let whole = window.1.min(now).since(window.0).0;
            tally.up = whole.saturating_sub(lane.gone_total + gone_now);
        }
        std::mem::take(&mut self.tallies)
    }
}

impl Rings {
    /// Records and forgets the frames at the front that have been handed on and have fully arrived.
    #[inline]
    fn retire(&mut self, compiled: &Compiled, direction: DirectionId, now: Instant, bound: Bound) {
        let latency = compiled.hops[direction.index()].latency;
        let lane = &mut self.lanes[direction.index()];
        while lane.handed > 0
            && let Some(flight) = lane.ring.get(0).copied()
            && bound.passed(flight.end + latency, now)
        {
            lane.ring.pop();
            lane.handed -= 1;
            lane.started = lane.started.saturating_sub(1);
            let tally = &mut self.tallies[direction.index()];
            record(compiled, tally, lane, direction, &flight, self.window);
        }
    }

    fn assert_nothing_lost(&self, compiled: &Compiled, direction: DirectionId, now: Instant) {
        let index = direction.index();
        let latency = compiled.hops[index].latency;
        let (mut waiting, mut wire, mut arrived) = ((0_u64, 0_u64), (0_u64, 0_u64), (0_u64, 0_u64));
        for flight in self.lanes[index].ring.iter() {
            let bytes = u64::from(compiled.time(flight.frame.run, direction).bytes);
            let place = if flight.start > now {
                &mut waiting
            } else if flight.end + latency > now {
                &mut wire
            } else {
                &mut arrived
            };
            place.0 += 1;
            place.1 += bytes;
        }
        let tally = &self.tallies[index];
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

/// Records a frame that has arrived.
#[inline]
fn record(
    compiled: &Compiled,
    tally: &mut DirectionTally,
    lane: &mut Lane,
    direction: DirectionId,
    flight: &Flight,
    window: (Instant, Instant),
) {
    let bytes = u64::from(compiled.time(flight.frame.run, direction).bytes);
    tally.delivered += 1;
    tally.delivered_bytes += bytes;
    if flight.start == lane.stretch.1 {
        lane.stretch.1 = flight.end;
    } else {
        let (from, to) = std::mem::replace(&mut lane.stretch, (flight.start, flight.end));
        busy(tally, from, to, window);
    }
    let arrival = flight.end + compiled.hops[direction.index()].latency;
    if arrival >= window.0 && arrival < window.1 {
        tally.frames += 1;
        tally.bytes += bytes;
        tally.payload += u64::from(compiled.runs[flight.frame.run as usize].payload);
        tally.wait.record(flight.start.since(flight.ready));
    }
}
