//! Frames in rings, every departure computed when a frame becomes ready.
//!
//! Start = max(ready, free), end = start + serialization. Frames wait in a ring, in order; the direction's
//! one event is the hand-over of the first frame that has not been handed on. With cut-through a frame is
//! handed on before its end has arrived, so it stays in the ring until then: a fault in between still
//! finds it. A fault makes the planned hand-over void by a ticket.

mod account;
mod lane;
mod streams;
mod track;

pub(in crate::model) use streams::{AT_A_STROKE, Coming, Streams, Until};

use account::{Account, Arrived, Asked, GROUP, by_direction};
use lane::{Lane, count};

use super::port::{Admission, Discipline, Gate, Port};
use super::{
    DirectionTally, FEW, Flight, Frame, Links, LostFrame, NOTHING, Offered, Onward, ReceiverGone,
    Spoilt, busy, overlap,
};
use crate::engine::{EventSet, Key};
use crate::model::compile::{Compiled, FrameTime, Watch};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// All link directions of a run, as rings.
///
/// On a site of many directions frames that have arrived are counted in batches, those of some neighbouring directions
/// together and in order of direction: the figures of each, which have left the caches, are fetched once for several frames.
#[derive(Debug)]
pub struct Rings<A, D, G> {
    lanes: Vec<Lane>,
    ports: Vec<Port<A, D, G>>,
    accounts: Vec<Account>,
    /// By group of directions: frames that have arrived and are still to be counted. Empty where each is counted at once.
    arrived: Vec<Vec<Arrived>>,
    window: (Instant, Instant),
    in_flight: u64,
}

/// Frames in a batch: so many for each direction of a group. A choice of this program, as the group is.
const BATCH: usize = 8 * GROUP;

impl<A: Admission, D: Discipline, G: Gate> Rings<A, D, G> {
    /// Counts a frame that has arrived: at once, or in the next batch.
    #[inline(always)]
    #[allow(clippy::inline_always)] // A call with so many arguments costs as much as what it does.
    fn count(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        flight: &Flight,
        asked: Asked,
    ) {
        if !self.arrived.is_empty() {
            self.count_later(compiled, direction, flight, asked);
            return;
        }
        let lane = &self.lanes[direction.index()];
        let time = compiled.time_on(flight.frame.run, lane.class);
        let frame = Arrived::new(direction, flight);
        let account = &mut self.accounts[direction.index()];
        account.record(time, &frame, lane.latency, asked, self.window);
    }

    #[inline(always)]
    #[allow(clippy::inline_always)] // Only what is kept of a flight is touched.
    fn count_later(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        flight: &Flight,
        asked: Asked,
    ) {
        if asked == Asked::Already {
            self.count_alone(compiled, direction, Arrived::new(direction, flight));
            return;
        }
        let group = direction.index() / GROUP;
        let arrived = &mut self.arrived[group];
        arrived.push(Arrived::new(direction, flight));
        if arrived.len() >= BATCH {
            self.settle(compiled, group);
        }
    }

    /// Counts a frame whose time has been asked for already: a fault found it on its way.
    #[cold]
    fn count_alone(&mut self, compiled: &Compiled, direction: DirectionId, frame: Arrived) {
        self.settle_for(compiled, direction);
        let lane = &self.lanes[direction.index()];
        let time = compiled.time_on(frame.run, lane.class);
        let account = &mut self.accounts[direction.index()];
        account.record(time, &frame, lane.latency, Asked::Already, self.window);
    }

    /// Counts all frames of a direction that have arrived and are not counted yet.
    fn settle_for(&mut self, compiled: &Compiled, direction: DirectionId) {
        if !self.arrived.is_empty() {
            self.settle(compiled, direction.index() / GROUP);
        }
    }

    /// Counts all frames of a group that have arrived and are not counted yet.
    #[inline(never)]
    fn settle(&mut self, compiled: &Compiled, group: usize) {
        let mut arrived = std::mem::take(&mut self.arrived[group]);
        let mut record = |frame: &Arrived| {
            let lane = &self.lanes[frame.direction as usize];
            let time = compiled.time_on(frame.run, lane.class);
            let account = &mut self.accounts[frame.direction as usize];
            account.record(time, frame, lane.latency, Asked::Now, self.window);
        };
        if arrived.len() < GROUP {
            arrived.iter().for_each(&mut record);
        } else {
            let mut order = [0; BATCH];
            by_direction(&arrived, &mut order);
            for place in &order[..arrived.len()] {
                record(&arrived[usize::from(*place)]);
            }
        }
        arrived.clear();
        self.arrived[group] = arrived;
    }

    /// Counts the frames at the front of a direction that have been handed on and have fully arrived.
    fn retire(&mut self, compiled: &Compiled, direction: DirectionId, now: Instant, bound: Bound) {
        loop {
            let lane = &mut self.lanes[direction.index()];
            let Some(flight) = lane.ring.get(0).copied() else {
                return;
            };
            if lane.handed == 0 || !bound.passed(flight.end + lane.latency, now) {
                return;
            }
            lane.handed -= 1;
            let asked = lane.leave();
            self.count(compiled, direction, &flight, asked);
        }
    }

    /// Takes in a frame at a port that is not the usual one.
    fn take_in(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        flight: Flight,
        events: &mut impl EventSet<Event>,
    ) {
        let now = flight.ready;
        let lane = &mut self.lanes[direction.index()];
        let port = &self.ports[direction.index()];
        lane.note_started(now);
        let begun = lane.started as usize;
        let mut position = lane.ring.len();
        lane.ring.push(flight);
        while position > begun
            && let Some(before) = lane.ring.get(position - 1).copied()
            && port.precedes(&flight.frame, &before.frame)
        {
            if let Some(place) = lane.ring.get_mut(position) {
                *place = before;
            }
            position -= 1;
        }
        if let Some(place) = lane.ring.get_mut(position) {
            *place = flight;
        }
        // What is on the wire, if anything is, and what waits before it.
        let before = position.checked_sub(1).and_then(|last| lane.ring.get(last));
        let free = before.map_or(now, |flight| flight.end.max(now));
        let on_the_wire = begun.checked_sub(1).and_then(|last| lane.ring.get(last));
        let rest = on_the_wire.map_or(0, |flight| flight.end.since(now).0);
        let waits = (begun..position).filter_map(|place| lane.ring.get(place));
        let ser = |flight: &Flight| compiled.time_on(flight.frame.run, lane.class).ser;
        let ahead = rest + waits.map(ser).sum::<u64>();
        if position < lane.asked as usize {
            // It has not been counted as asked for, unlike those that it passes.
            let time = ser(&flight);
            lane.asked += 1;
            let tally = &mut self.accounts[direction.index()].tally;
            tally.asked_series.at(now).0 += time;
        }
        lane.plan_anew(compiled, port, position, free);
        lane.note_started(now);
        if now >= self.window.0 && now < self.window.1 {
            let waiting = count(lane.ring.len()) - lane.started;
            lane.queue_max = lane.queue_max.max(waiting);
            lane.ahead_max = lane.ahead_max.max(ahead);
        }
        if position <= lane.handed as usize {
            lane.ticket = lane.ticket.wrapping_add(1);
            lane.plan(direction, events);
        }
    }

    /// Counts a frame that a direction does not take.
    #[cold]
    fn drop(&mut self, direction: DirectionId, time: &FrameTime, ready: Instant) {
        let tally = &mut self.accounts[direction.index()].tally;
        tally.asked_series.at(ready).0 += time.ser;
        tally.dropped += 1;
        tally.dropped_bytes += u64::from(time.bytes);
    }

    /// Counts the time that everything on a direction asks for: what follows may change it.
    fn ask_ahead(&mut self, compiled: &Compiled, direction: DirectionId) {
        self.settle_for(compiled, direction);
        let lane = &mut self.lanes[direction.index()];
        let tally = &mut self.accounts[direction.index()].tally;
        for flight in lane.ring.iter().skip(lane.asked as usize) {
            let time = compiled.time_on(flight.frame.run, lane.class);
            tally.asked_series.at(flight.ready).0 += time.ser;
        }
        lane.asked = count(lane.ring.len());
    }
}

impl<A: Admission, D: Discipline, G: Gate> Links for Rings<A, D, G> {
    fn new(compiled: &Compiled, watch: Watch) -> Self {
        let gone = |index: usize| u32::from(!compiled.alive[index / 2]);
        let hops = compiled.hops.iter().enumerate();
        let directions = hops.len();
        let few = directions <= FEW;
        let groups = if few { 0 } else { directions.div_ceil(GROUP) };
        Self {
            ports: Port::all(compiled),
            lanes: hops
                .map(|(index, hop)| Lane::new(hop, gone(index), few))
                .collect(),
            accounts: vec![Account::new(watch, few); directions],
            arrived: (0..groups).map(|_| Vec::with_capacity(BATCH)).collect(),
            window: (watch.from, watch.to),
            in_flight: 0,
        }
    }

    #[inline(always)]
    #[allow(clippy::inline_always)] // Where a frame is changed and passed on it is in registers; passed whole, it would wait in memory.
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
        lane.offered += 1;
        lane.offered_bytes += u64::from(time.bytes);
        let port = &self.ports[direction.index()];
        if lane.gone > 0 || !port.admits(|| lane.waiting(ready)) {
            self.drop(direction, time, ready);
            return Offered::Dropped;
        }
        let start = port.begins(ready.max(lane.free), time.ser);
        let end = start + Duration(time.ser);
        let handover = lane.handed_on(onward, time, start, end);
        let flight = Flight {
            frame: Frame { onward, ..frame },
            ready,
            start,
            end,
            handover,
        };
        self.in_flight += 1;
        if !Port::<A, D, G>::USUAL {
            self.take_in(compiled, direction, flight, events);
            return Offered::Taken;
        }
        lane.free = end;
        if let Some(last) = lane.ring.last() {
            assert!(
                last.handover <= handover,
                "frames of a direction are handed over in order"
            );
        }
        lane.ring.push(flight);
        if start > ready {
            lane.note_waiting((ready, start), self.window);
        } else {
            // On an idle wire everything has started.
            lane.started = count(lane.ring.len());
        }
        if count(lane.ring.len()) == lane.handed + 1 {
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
    ) -> (bool, Flight) {
        let lane = &mut self.lanes[direction.index()];
        if lane.ticket != ticket {
            return (false, NOTHING);
        }
        let Some(flight) = lane.ring.get(lane.handed as usize).copied() else {
            return (false, NOTHING);
        };
        self.in_flight -= 1;
        if lane.handed == 0 && flight.end + lane.latency <= now {
            // The usual case: it has arrived whole, and nothing before it is still to arrive.
            let asked = lane.leave();
            lane.plan(direction, events);
            self.count(compiled, direction, &flight, asked);
        } else {
            lane.handed += 1;
            lane.plan(direction, events);
            self.retire(compiled, direction, now, Bound::Reached);
        }
        (true, flight)
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
        self.retire(compiled, direction, now, Bound::Before);
        self.ask_ahead(compiled, direction);
        let lane = &mut self.lanes[direction.index()];
        let account = &mut self.accounts[direction.index()];
        if lane.gone == 0 {
            account.gone_since = now;
        }
        lane.gone += 1;
        let ring = std::mem::take(&mut lane.ring);
        let handed = std::mem::take(&mut lane.handed) as usize;
        for (position, flight) in ring.iter().enumerate() {
            let time = compiled.time_on(flight.frame.run, lane.class);
            let bytes = u64::from(time.bytes);
            let was_handed = position < handed;
            if flight.end + lane.latency < now {
                // Fully arrived; only its forwarding is still to come.
                if receiver_gone == ReceiverGone::No {
                    lane.handed += u32::from(was_handed);
                    lane.ring.push(flight);
                    continue;
                }
                let frame = Arrived::new(direction, &flight);
                account.record(time, &frame, lane.latency, Asked::Already, window);
            } else if flight.start < now {
                let tally = &mut account.tally;
                tally.cut += 1;
                tally.cut_bytes += bytes;
                busy(tally, flight.start, flight.end.min(now), window);
            } else {
                account.tally.dropped += 1;
                account.tally.dropped_bytes += bytes;
            }
            self.in_flight -= u64::from(!was_handed);
            lost.push(LostFrame {
                frame: flight.frame,
                goes_on: was_handed,
            });
        }
        lane.started = count(lane.ring.len());
        lane.asked = lane.started;
        lane.free = lane.free.min(now);
        lane.ticket = lane.ticket.wrapping_add(1);
        lane.plan(direction, events);
    }

    fn restore(&mut self, direction: DirectionId, now: Instant) {
        let lane = &mut self.lanes[direction.index()];
        lane.gone = lane.gone.saturating_sub(1);
        if lane.gone == 0 {
            let account = &mut self.accounts[direction.index()];
            account.gone_total += overlap(account.gone_since, now, self.window);
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
        self.ask_ahead(compiled, direction);
        let lane = &mut self.lanes[direction.index()];
        lane.class = class;
        lane.paced = true;
        let begun = lane.ring.iter().take_while(|flight| flight.start < now);
        let begun = begun.count();
        for position in begun..lane.ring.len() {
            if let Some(flight) = lane.ring.get_mut(position) {
                flight.frame.onward = Onward::Store;
            }
        }
        if begun == lane.ring.len() {
            return;
        }
        let before = begun.checked_sub(1).and_then(|last| lane.ring.get(last));
        let free = before.map_or(now, |flight| flight.end.max(now));
        let port = &self.ports[direction.index()];
        lane.plan_anew(compiled, port, begun, free);
        if begun == lane.handed as usize {
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
        for group in 0..self.arrived.len() {
            self.settle(compiled, group);
        }
        let window = self.window;
        let lanes = std::mem::take(&mut self.lanes).into_iter();
        let accounts = std::mem::take(&mut self.accounts).into_iter();
        let close = |(index, (mut lane, mut account)): (usize, (Lane, Account))| {
            lane.assert_nothing_lost(compiled, &account.tally, index, now);
            let direction = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            // What frames still in the ring have done by now, and what is left of their time.
            let mut rest = 0;
            for (position, flight) in std::mem::take(&mut lane.ring).iter().enumerate() {
                let time = compiled.time_on(flight.frame.run, lane.class);
                if position >= lane.asked as usize {
                    account.tally.asked_series.at(flight.ready).0 += time.ser;
                }
                rest += flight.end.since(flight.start.max(now)).0;
                if flight.end + lane.latency <= now {
                    let frame = Arrived::new(direction, &flight);
                    account.record(time, &frame, lane.latency, Asked::Already, window);
                } else if flight.start < now {
                    let end = flight.end.min(now);
                    busy(&mut account.tally, flight.start, end, window);
                }
            }
            let (from, to) = account.stretch;
            let mut tally = account.tally;
            busy(&mut tally, from, to, window);
            lane.assert_used_as_asked(&tally, rest, index);
            assert!(
                tally.busy_total <= tally.busy_until.0,
                "a direction is never busier than time has passed"
            );
            let gone_now = if lane.gone > 0 {
                overlap(account.gone_since, now, window)
            } else {
                0
            };
            let whole = window.1.min(now).since(window.0).0;
            tally.up = whole.saturating_sub(account.gone_total + gone_now);
            (tally.offered, tally.offered_bytes) = (lane.offered, lane.offered_bytes);
            (tally.queue_max, tally.ahead_max) = (u64::from(lane.queue_max), lane.ahead_max);
            tally
        };
        lanes.zip(accounts).enumerate().map(close).collect()
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
