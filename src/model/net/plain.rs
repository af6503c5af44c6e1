//! Frames stepped through one thing at a time: the slow, obviously right way, kept as the oracle.
//!
//! A direction has a queue and at most one frame on its way out. The end of a transmission, the arrival at
//! the far end and the hand-over to the next hop are events of their own, nothing is computed ahead, and
//! every figure is recorded when it comes true. Searches are linear.

use super::port::{Admission, Discipline, Gate, Port};
use super::{
    DirectionTally, FEW, Flight, Frame, Links, LostFrame, NOTHING, Offered, Onward, ReceiverGone,
    Spoilt, busy, overlap,
};
use crate::engine::{EventSet, Key};
use crate::model::attempt::tie;
use crate::model::compile::{Compiled, FrameTime, Watch};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};
use std::collections::VecDeque;

/// What an event of a direction means: the low bits of its word.
const END: u32 = 0;
const ARRIVED: u32 = 1;
const HANDOVER: u32 = 2;
const OPENS: u32 = 3;

#[derive(Clone, Copy, Debug)]
struct Waiting {
    frame: Frame,
    ready: Instant,
}

/// A frame whose transmission has begun.
#[derive(Clone, Copy, Debug)]
struct Sent {
    serial: u32,
    flight: Flight,
    arrived: bool,
    handed: bool,
}

#[derive(Clone, Debug, Default)]
struct Direction {
    waiting: VecDeque<Waiting>,
    /// Serial number of the frame that is being transmitted.
    sending: Option<u32>,
    /// Serial number of the event at which the gate opens for the first frame that waits.
    opening: Option<u32>,
    /// Frames begun that have not both arrived and been handed over, in order.
    sent: VecDeque<Sent>,
    serial: u32,
    class: u32,
    gone: u32,
    gone_since: Instant,
    gone_total: u64,
}

/// All link directions of a run, stepped through.
#[derive(Debug)]
pub struct PlainLinks<A, D, G> {
    directions: Vec<Direction>,
    ports: Vec<Port<A, D, G>>,
    tallies: Vec<DirectionTally>,
    window: (Instant, Instant),
}

impl<A: Admission, D: Discipline, G: Gate> PlainLinks<A, D, G> {
    /// Handles an event. Returns the frame that is handed over now, if one is.
    fn happens(
        &mut self,
        compiled: &Compiled,
        now: Instant,
        (direction, word): (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> Option<Flight> {
        let (serial, what) = (word & !3, word & 3);
        let own = &mut self.directions[direction.index()];
        if what == OPENS {
            if own.opening == Some(serial) {
                self.begin(compiled, now, direction, events);
            }
            return None;
        }
        // Lost in the meantime: nothing happens.
        let position = own.sent.iter().position(|sent| sent.serial == serial)?;
        let flight = own.sent[position].flight;
        match what {
            END => {
                assert_eq!(own.sending, Some(serial), "one transmission at a time");
                own.sending = None;
                self.begin(compiled, now, direction, events);
            }
            ARRIVED => {
                own.sent[position].arrived = true;
                self.record_arrival(compiled, direction, &flight);
            }
            _ => own.sent[position].handed = true,
        }
        let own = &mut self.directions[direction.index()];
        let position = own.sent.iter().position(|sent| sent.serial == serial)?;
        let sent = &own.sent[position];
        if sent.arrived && sent.handed && own.sending != Some(serial) {
            own.sent.remove(position);
        }
        (what == HANDOVER).then_some(flight)
    }

    fn bytes(compiled: &Compiled, frame: &Frame, direction: DirectionId) -> u64 {
        u64::from(compiled.time(frame.run, direction).bytes)
    }

    /// Times of a frame at the present rate of a direction.
    fn time(&self, compiled: &Compiled, frame: &Frame, direction: DirectionId) -> FrameTime {
        *compiled.time_on(frame.run, self.directions[direction.index()].class)
    }

    fn in_window(&self, at: Instant) -> bool {
        at >= self.window.0 && at < self.window.1
    }

    /// Begins the transmission of the first frame that waits, if the wire is free.
    fn begin(
        &mut self,
        compiled: &Compiled,
        now: Instant,
        direction: DirectionId,
        events: &mut impl EventSet<Event>,
    ) {
        let own = &mut self.directions[direction.index()];
        own.opening = None;
        if own.sending.is_some() {
            return;
        }
        let Some(Waiting { frame, ready }) = own.waiting.front().copied() else {
            return;
        };
        let io = frame.tie & tie::BELOW_RANK;
        let time = self.time(compiled, &frame, direction);
        let opens = self.ports[direction.index()].begins(now, time.ser);
        if opens > now {
            self.await_gate(direction, (opens, io), events);
            return;
        }
        let own = &mut self.directions[direction.index()];
        own.serial += 4;
        own.waiting.pop_front();
        let (start, end) = (now, now + Duration(time.ser));
        let handover = handed_on(compiled, (direction, frame.onward), time, (start, end));
        let serial = own.serial;
        own.sending = Some(serial);
        own.sent.push_back(Sent {
            serial,
            flight: Flight {
                frame,
                ready,
                start,
                end,
                handover,
            },
            arrived: false,
            handed: false,
        });
        // The wire falls free, and a frame counts as arrived, before anything is handed over or offered.
        let arrival = end + compiled.hops[direction.index()].latency;
        for (at, tie, what) in [
            (end, tie::ranked(tie::SERVICE_END, io), END),
            (arrival, tie::ranked(tie::SERVICE_END, io), ARRIVED),
            (handover, frame.tie, HANDOVER),
        ] {
            let word = serial | what;
            events.push(Key { at, tie }, Event::Link { direction, word });
        }
    }

    /// The gate is asked again at `opens`, for the first frame that waits then.
    fn await_gate(
        &mut self,
        direction: DirectionId,
        (at, io): (Instant, u128),
        events: &mut impl EventSet<Event>,
    ) {
        let own = &mut self.directions[direction.index()];
        own.serial += 4;
        own.opening = Some(own.serial);
        let word = own.serial | OPENS;
        let tie = tie::ranked(tie::SERVICE_END, io);
        events.push(Key { at, tie }, Event::Link { direction, word });
    }

    fn record_arrival(&mut self, compiled: &Compiled, direction: DirectionId, flight: &Flight) {
        let counts = self.in_window(flight.end + compiled.hops[direction.index()].latency);
        let bytes = Self::bytes(compiled, &flight.frame, direction);
        let tally = &mut self.tallies[direction.index()];
        tally.delivered += 1;
        tally.delivered_bytes += bytes;
        busy(tally, flight.start, flight.end, self.window);
        if counts {
            tally.frames += 1;
            tally.bytes += bytes;
            tally.payload += u64::from(compiled.runs[flight.frame.run as usize].payload);
            tally.wait.record(flight.start.since(flight.ready));
        }
    }
}

impl<A: Admission, D: Discipline, G: Gate> Links for PlainLinks<A, D, G> {
    fn new(compiled: &Compiled, watch: Watch) -> Self {
        let count = compiled.hops.len();
        let mut directions = vec![Direction::default(); count];
        for (index, own) in directions.iter_mut().enumerate() {
            own.gone = u32::from(!compiled.alive[index / 2]);
            own.class = compiled.hops[index].class;
        }
        Self {
            directions,
            ports: Port::all(compiled),
            tallies: vec![DirectionTally::watched(watch, count <= FEW); count],
            window: (watch.from, watch.to),
        }
    }

    fn offer(
        &mut self,
        compiled: &Compiled,
        (direction, onward): (DirectionId, Onward),
        frame: Frame,
        ready: Instant,
        events: &mut impl EventSet<Event>,
    ) -> Offered {
        let counts = self.in_window(ready);
        let time = self.time(compiled, &frame, direction);
        let tally = &mut self.tallies[direction.index()];
        let own = &mut self.directions[direction.index()];
        tally.offered += 1;
        tally.offered_bytes += u64::from(time.bytes);
        tally.asked_series.at(ready).0 += time.ser;
        let port = &self.ports[direction.index()];
        if own.gone > 0 || !port.admits(|| own.waiting.len()) {
            tally.dropped += 1;
            tally.dropped_bytes += u64::from(time.bytes);
            return Offered::Dropped;
        }
        let passed = own.waiting.iter().rev();
        let passed = passed.take_while(|other| port.precedes(&frame, &other.frame));
        let position = own.waiting.len() - passed.count();
        // Work ahead: the rest of what is on the wire, and all that waits before it.
        let on_the_wire = own.sending.and(own.sent.back());
        let ahead = on_the_wire.map_or(0, |sent| sent.flight.end.since(ready).0)
            + own
                .waiting
                .iter()
                .take(position)
                .map(|waiting| compiled.time_on(waiting.frame.run, own.class).ser)
                .sum::<u64>();
        let frame = Frame { onward, ..frame };
        own.waiting.insert(position, Waiting { frame, ready });
        self.begin(compiled, ready, direction, events);
        if counts {
            let waiting = self.directions[direction.index()].waiting.len() as u64;
            let tally = &mut self.tallies[direction.index()];
            tally.queue_max = tally.queue_max.max(waiting);
            tally.ahead_max = tally.ahead_max.max(ahead);
        }
        Offered::Taken
    }

    fn step(
        &mut self,
        compiled: &Compiled,
        now: Instant,
        event: (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> (bool, Flight) {
        let flight = self.happens(compiled, now, event, events);
        flight.map_or((false, NOTHING), |flight| (true, flight))
    }

    fn lose(
        &mut self,
        compiled: &Compiled,
        (direction, receiver_gone): (DirectionId, ReceiverGone),
        now: Instant,
        lost: &mut Vec<LostFrame>,
        _events: &mut impl EventSet<Event>,
    ) {
        let window = self.window;
        let own = &mut self.directions[direction.index()];
        let tally = &mut self.tallies[direction.index()];
        if own.gone == 0 {
            own.gone_since = now;
        }
        own.gone += 1;
        own.sending = None;
        own.opening = None;
        for sent in std::mem::take(&mut own.sent) {
            let bytes = Self::bytes(compiled, &sent.flight.frame, direction);
            if sent.arrived {
                // Only its forwarding is still to come.
                if receiver_gone == ReceiverGone::No {
                    own.sent.push_back(sent);
                    continue;
                }
            } else if sent.flight.start < now {
                tally.cut += 1;
                tally.cut_bytes += bytes;
                busy(tally, sent.flight.start, sent.flight.end.min(now), window);
            } else {
                // Begun in this very instant: nothing of it is on the wire.
                tally.dropped += 1;
                tally.dropped_bytes += bytes;
            }
            lost.push(LostFrame {
                frame: sent.flight.frame,
                goes_on: sent.handed,
            });
        }
        for waiting in own.waiting.drain(..) {
            tally.dropped += 1;
            tally.dropped_bytes += Self::bytes(compiled, &waiting.frame, direction);
            lost.push(LostFrame {
                frame: waiting.frame,
                goes_on: false,
            });
        }
    }

    fn restore(&mut self, direction: DirectionId, now: Instant) {
        let own = &mut self.directions[direction.index()];
        own.gone = own.gone.saturating_sub(1);
        if own.gone == 0 {
            own.gone_total += overlap(own.gone_since, now, self.window);
        }
    }

    fn pace(
        &mut self,
        compiled: &Compiled,
        (direction, class): (DirectionId, u32),
        now: Instant,
        events: &mut impl EventSet<Event>,
    ) {
        let own = &mut self.directions[direction.index()];
        own.class = class;
        for waiting in &mut own.waiting {
            waiting.frame.onward = Onward::Store;
        }
        if let (Some(_), Some(first)) = (own.opening, own.waiting.front().copied()) {
            // The gate may open at another time for a frame that takes another time; never before all that
            // happens to links in this instant.
            let time = self.time(compiled, &first.frame, direction);
            let opens = self.ports[direction.index()].begins(now, time.ser);
            let io = first.frame.tie & tie::BELOW_RANK;
            self.await_gate(direction, (opens, io), events);
        }
    }

    fn spoil(&mut self, frame: &Frame) {
        let further = |other: &Frame| other.tie == frame.tie && other.hop > frame.hop;
        for own in &mut self.directions {
            for sent in own
                .sent
                .iter_mut()
                .filter(|sent| further(&sent.flight.frame))
            {
                sent.flight.frame.spoilt = Spoilt::Yes;
            }
            for waiting in own.waiting.iter_mut().filter(|wait| further(&wait.frame)) {
                waiting.frame.spoilt = Spoilt::Yes;
            }
        }
    }

    fn in_flight(&self) -> u64 {
        let count = |own: &Direction| {
            own.waiting.len() + own.sent.iter().filter(|sent| !sent.handed).count()
        };
        self.directions.iter().map(|own| count(own) as u64).sum()
    }

    fn close(&mut self, compiled: &Compiled, now: Instant) -> Vec<DirectionTally> {
        let window = self.window;
        // The run may have stopped before the events of this very instant.
        for index in 0..self.directions.len() {
            let direction = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            let latency = compiled.hops[index].latency;
            let mut sent = std::mem::take(&mut self.directions[index].sent);
            for sent in sent.iter_mut().filter(|sent| !sent.arrived) {
                if sent.flight.end + latency <= now {
                    sent.arrived = true;
                    self.record_arrival(compiled, direction, &sent.flight);
                }
            }
            self.directions[index].sent = sent;
        }
        for (index, own) in self.directions.iter().enumerate() {
            let tally = &mut self.tallies[index];
            let on_the_wire = own.sent.iter().filter(|sent| !sent.arrived);
            let waiting = own.waiting.len() as u64;
            let sent = tally.delivered + tally.cut + on_the_wire.clone().count() as u64;
            assert_eq!(
                tally.offered,
                waiting + tally.dropped + sent,
                "frames offered to direction {index}"
            );
            // A frame that begins in this very instant has not been on the wire yet.
            for sent in on_the_wire.filter(|sent| sent.flight.start < now) {
                busy(tally, sent.flight.start, sent.flight.end.min(now), window);
            }
            let gone_now = if own.gone > 0 {
                overlap(own.gone_since, now, window)
            } else {
                0
            };
            let whole = window.1.min(now).since(window.0).0;
            tally.up = whole.saturating_sub(own.gone_total + gone_now);
        }
        std::mem::take(&mut self.tallies)
    }
}

/// When a frame is ready at the next hop, or has arrived at the last.
fn handed_on(
    compiled: &Compiled,
    (direction, onward): (DirectionId, Onward),
    time: FrameTime,
    (start, end): (Instant, Instant),
) -> Instant {
    let hop = &compiled.hops[direction.index()];
    if hop.ends {
        return end + hop.latency;
    }
    // A frame shorter than the header counts as stored: its end comes first.
    let header_in = if onward == Onward::Cut && time.header < time.ser {
        start + Duration(time.header)
    } else {
        end
    };
    header_in + hop.latency + hop.delay
}
