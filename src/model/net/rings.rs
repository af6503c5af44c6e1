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

use account::{Account, Arrived, Asked, by_direction};
use lane::{Lane, count};

use super::port::{Admission, Discipline, Gate, Port};
use super::{
    DirectionTally, FEW, Flight, Frame, Links, LostFrame, Offered, Onward, ReceiverGone, Spoilt,
    busy, overlap,
};
use crate::engine::{EventSet, Key};
use crate::model::compile::{Compiled, Watch};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// All link directions of a run, as rings.
///
/// On a site of many directions frames that have arrived are counted in batches, put in order of direction
/// first: the figures of each, which have left the caches, are fetched once for several frames.
#[derive(Debug)]
pub struct Rings<A, D, G> {
    lanes: Vec<Lane>,
    ports: Vec<Port<A, D, G>>,
    accounts: Vec<Account>,
    arrived: Vec<Arrived>,
    /// Frames in a batch; 0 where each is counted at once.
    batch: usize,
    /// Places of a batch in order of direction, and where each direction's begin.
    order: Vec<u32>,
    begins: Vec<u32>,
    window: (Instant, Instant),
    in_flight: u64,
}

/// Frames in a batch for each direction, and most in all.
const BATCH_EACH: usize = 8;
const BATCH_MAX: usize = 1 << 18;

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
        if self.batch > 0 {
            self.count_later(compiled, direction, flight, asked);
            return;
        }
        let lane = &self.lanes[direction.index()];
        let time = compiled.time_on(flight.frame.run, lane.class);
        let frame = Arrived::new(direction, flight);
        let account = &mut self.accounts[direction.index()];
        account.record(time, &frame, lane.latency, asked, self.window);
    }

    fn count_later(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        flight: &Flight,
        asked: Asked,
    ) {
        if asked == Asked::Already {
            self.count_alone(compiled, direction, flight);
            return;
        }
        self.arrived.push(Arrived::new(direction, flight));
        if self.arrived.len() >= self.batch {
            self.settle(compiled);
        }
    }

    /// Counts a frame whose time has been asked for already: a fault found it on its way.
    #[cold]
    fn count_alone(&mut self, compiled: &Compiled, direction: DirectionId, flight: &Flight) {
        self.settle(compiled);
        let lane = &self.lanes[direction.index()];
        let time = compiled.time_on(flight.frame.run, lane.class);
        let frame = Arrived::new(direction, flight);
        let account = &mut self.accounts[direction.index()];
        account.record(time, &frame, lane.latency, Asked::Already, self.window);
    }

    /// Counts all frames that have arrived and are not counted yet.
    #[inline(never)]
    fn settle(&mut self, compiled: &Compiled) {
        let mut record = |frame: &Arrived| {
            let lane = &self.lanes[frame.direction as usize];
            let time = compiled.time_on(frame.run, lane.class);
            let account = &mut self.accounts[frame.direction as usize];
            account.record(time, frame, lane.latency, Asked::Now, self.window);
        };
        if self.arrived.len() < self.begins.len() {
            self.arrived.iter().for_each(&mut record);
        } else {
            by_direction(&self.arrived, &mut self.begins, &mut self.order);
            for place in &self.order[..self.arrived.len()] {
                record(&self.arrived[*place as usize]);
            }
        }
        self.arrived.clear();
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

    /// Counts the time that everything on a direction asks for: what follows may change it.
    fn ask_ahead(&mut self, compiled: &Compiled, direction: DirectionId) {
        self.settle(compiled);
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
        let batch = if few {
            0
        } else {
            (BATCH_EACH * directions).min(BATCH_MAX)
        };
        Self {
            ports: Port::all(compiled),
            lanes: hops
                .map(|(index, hop)| Lane::new(hop, gone(index)))
                .collect(),
            accounts: vec![Account::new(watch, few); directions],
            arrived: Vec::with_capacity(batch),
            batch,
            order: vec![0; batch],
            begins: if few { Vec::new() } else { vec![0; directions] },
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
        lane.offered += 1;
        lane.offered_bytes += u64::from(time.bytes);
        let port = &self.ports[direction.index()];
        if lane.gone > 0 || !port.admits(|| lane.waiting(ready)) {
            let tally = &mut self.accounts[direction.index()].tally;
            tally.asked_series.at(ready).0 += time.ser;
            tally.dropped += 1;
            tally.dropped_bytes += u64::from(time.bytes);
            return Offered::Dropped;
        }
        let start = port.begins(ready.max(lane.free), time.ser);
        let end = start + Duration(time.ser);
        let mut flight = Flight {
            frame,
            ready,
            start,
            end,
            handover: lane.handed_on(onward, time, start, end),
        };
        flight.frame.onward = onward;
        self.in_flight += 1;
        if !Port::<A, D, G>::USUAL {
            self.take_in(compiled, direction, flight, events);
            return Offered::Taken;
        }
        lane.free = end;
        if let Some(last) = lane.ring.last() {
            assert!(
                last.handover <= flight.handover,
                "frames of a direction are handed over in order"
            );
        }
        lane.ring.push(flight);
        if start > ready {
            lane.note_started(ready);
            if ready >= self.window.0 && ready < self.window.1 {
                let (waiting, ahead) =
                    (count(lane.ring.len()) - lane.started, start.since(ready).0);
                lane.queue_max = lane.queue_max.max(waiting);
                lane.ahead_max = lane.ahead_max.max(ahead);
            }
        } else {
            // On an idle wire everything has started.
            lane.started = count(lane.ring.len());
        }
        if count(lane.ring.len()) == lane.handed + 1 {
            let key = Key {
                at: flight.handover,
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
        let flight = *lane.ring.get(lane.handed as usize)?;
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
        self.settle(compiled);
        let window = self.window;
        let lanes = std::mem::take(&mut self.lanes).into_iter();
        let accounts = std::mem::take(&mut self.accounts).into_iter();
        let close = |(index, (mut lane, mut account)): (usize, (Lane, Account))| {
            lane.assert_nothing_lost(compiled, &account.tally, index, now);
            let direction = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            // What frames still in the ring have done by now.
            for (position, flight) in std::mem::take(&mut lane.ring).iter().enumerate() {
                let time = compiled.time_on(flight.frame.run, lane.class);
                if position >= lane.asked as usize {
                    account.tally.asked_series.at(flight.ready).0 += time.ser;
                }
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
