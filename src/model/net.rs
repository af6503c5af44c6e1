//! Frames on link directions.
//!
//! A direction is a FIFO that is served at a fixed rate, so the departure of a frame is known when it
//! becomes ready: start = max(ready, free), end = start + serialization. Frames wait in a ring, in order;
//! the direction's one event is the hand-over of the first frame that has not been handed on. With
//! cut-through a frame is handed on before its end has arrived, so it stays in the ring until then: a
//! fault in between still finds it.
//!
//! Figures are recorded when a frame has arrived, so that a fault has nothing to undo.

use super::compile::{Compiled, FrameTime};
use super::tally::DirectionTally;
use crate::engine::Key;
use crate::measure::add_interval;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};
use std::collections::VecDeque;

/// What a frame carries with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Frame {
    pub(crate) tie: u128,
    pub(crate) attempt: u32,
    pub(crate) flow: u32,
    pub(crate) run: u32,
    /// Position in its leg, from 0.
    pub(crate) number: u32,
    /// Hops already made.
    pub(crate) hop: u8,
    pub(crate) kind: FrameKind,
    /// Cut by a fault after its beginning had been handed on: it goes on as rubbish.
    pub(crate) spoilt: Spoilt,
}

/// What a frame is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FrameKind {
    /// Part of a leg.
    Body,
    /// The last of its leg: its way is the latency budget.
    Last,
    /// A pure ACK.
    Ack,
}

/// Whether a frame is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Spoilt {
    No,
    Yes,
}

#[derive(Clone, Copy, Debug)]
struct Flight {
    frame: Frame,
    ready: Instant,
    start: Instant,
    end: Instant,
    /// Ready at the next hop, or arrived at the last.
    handover: Instant,
}

// A ring entry is one and a half cache lines at most.
const _: () = assert!(std::mem::size_of::<Flight>() <= 96);

#[derive(Clone, Debug, Default)]
struct Lane {
    ring: VecDeque<Flight>,
    /// Entries at the front that have been handed on and have not fully arrived.
    handed: usize,
    /// Entries at the front whose start has passed.
    started: usize,
    free: Instant,
    /// Number of the planned hand-over: one planned before a fault is void.
    ticket: u32,
    /// How many lost parts this direction depends on.
    gone: u32,
    gone_since: Instant,
    gone_total: u64,
}

impl Lane {
    /// The hand-over of the first frame that has not been handed on.
    fn planned(&self, direction: u32) -> Option<Planned> {
        let flight = self.ring.get(self.handed)?;
        let key = Key {
            at: flight.handover,
            tie: flight.frame.tie,
        };
        Some(Planned {
            key,
            direction,
            ticket: self.ticket,
        })
    }
}

/// What became of a frame that was offered to a direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Offered {
    /// It waits or goes: its times there.
    Taken {
        start: Instant,
        end: Instant,
        handover: Instant,
        /// Whether it is handed on after its header.
        cut_through: bool,
        /// The hand-over to plan, when this frame is the direction's first.
        plan: Option<Planned>,
    },
    /// The direction is gone.
    Dropped,
}

/// A hand-over to be put into the event set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Planned {
    pub(crate) key: Key,
    pub(crate) direction: u32,
    pub(crate) ticket: u32,
}

/// Where a frame is handed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Handover {
    pub(crate) frame: Frame,
    pub(crate) over: DirectionId,
}

/// A frame lost to a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct LostFrame {
    pub(crate) frame: Frame,
    /// Its beginning had been handed on, so a spoilt copy travels further and is counted at its end.
    pub(crate) goes_on: bool,
}

/// All link directions of a run.
#[derive(Debug)]
pub(crate) struct Net {
    lanes: Vec<Lane>,
    pub(crate) tallies: Vec<DirectionTally>,
    from: Instant,
    to: Instant,
    in_flight: u64,
}

impl Net {
    pub(crate) fn new(compiled: &Compiled, from: Instant, to: Instant) -> Self {
        let count = compiled.hops.len();
        let mut lanes = vec![Lane::default(); count];
        for (index, lane) in lanes.iter_mut().enumerate() {
            lane.gone = u32::from(!compiled.alive[index / 2]);
        }
        Self {
            lanes,
            tallies: vec![DirectionTally::default(); count],
            from,
            to,
            in_flight: 0,
        }
    }

    /// Frames waiting or on their way.
    pub(crate) const fn in_flight(&self) -> u64 {
        self.in_flight
    }

    /// Puts a frame that is ready at `ready` into a direction. `onward` tells the speed and medium of
    /// the direction it will take next; `None` at the last hop or where there is no route.
    pub(crate) fn offer(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        frame: Frame,
        ready: Instant,
        onward: Option<DirectionId>,
    ) -> Offered {
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
        let (handover, cut_through) = handover(compiled, direction, time, start, end, onward);
        lane.free = end;
        if let Some(last) = lane.ring.back() {
            assert!(
                last.handover <= handover,
                "frames of a direction are handed over in order"
            );
        }
        lane.ring.push_back(Flight {
            frame,
            ready,
            start,
            end,
            handover,
        });
        while lane.started < lane.ring.len() && lane.ring[lane.started].start <= ready {
            lane.started += 1;
        }
        if ready >= self.from && ready < self.to {
            tally.queue_max = tally.queue_max.max((lane.ring.len() - lane.started) as u64);
            tally.ahead_max = tally.ahead_max.max(start.since(ready).0);
        }
        self.in_flight += 1;
        let first = lane.ring.len() == lane.handed + 1;
        let plan = first.then_some(Planned {
            key: Key {
                at: handover,
                tie: frame.tie,
            },
            direction: direction.0,
            ticket: lane.ticket,
        });
        Offered::Taken {
            start,
            end,
            handover,
            cut_through,
            plan,
        }
    }

    /// Hands over the first frame of a direction that has not been, and says what is to be planned next.
    /// `None` when the plan is void.
    pub(crate) fn advance(
        &mut self,
        compiled: &Compiled,
        direction: u32,
        ticket: u32,
    ) -> Option<(Handover, Option<Planned>)> {
        let lane = &mut self.lanes[direction as usize];
        if lane.ticket != ticket {
            return None;
        }
        let flight = lane.ring[lane.handed];
        lane.handed += 1;
        let plan = lane.planned(direction);
        self.in_flight -= 1;
        let over = DirectionId(direction);
        self.retire(compiled, over, flight.handover, Bound::Reached);
        Some((
            Handover {
                frame: flight.frame,
                over,
            },
            plan,
        ))
    }

    /// Records and forgets the frames at the front that have been handed on and have fully arrived.
    fn retire(&mut self, compiled: &Compiled, direction: DirectionId, now: Instant, bound: Bound) {
        let latency = compiled.hops[direction.index()].latency;
        let lane = &mut self.lanes[direction.index()];
        while lane.handed > 0 {
            let flight = lane.ring[0];
            let arrival = flight.end + latency;
            if !bound.passed(arrival, now) {
                break;
            }
            lane.ring.pop_front();
            lane.handed -= 1;
            lane.started = lane.started.saturating_sub(1);
            record(
                compiled,
                &mut self.tallies[direction.index()],
                direction,
                &flight,
                (self.from, self.to),
            );
        }
    }

    /// One more part that `direction` depends on is lost at `now`. `receiver_gone`: the receiving node is
    /// lost too, so frames that wait there to be sent on are lost with it. Frames lost are pushed to
    /// `lost`.
    pub(crate) fn lose(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        now: Instant,
        receiver_gone: ReceiverGone,
        lost: &mut Vec<LostFrame>,
    ) -> Option<Planned> {
        self.retire(compiled, direction, now, Bound::Before);
        let latency = compiled.hops[direction.index()].latency;
        let window = (self.from, self.to);
        let lane = &mut self.lanes[direction.index()];
        let tally = &mut self.tallies[direction.index()];
        if lane.gone == 0 {
            lane.gone_since = now;
        }
        lane.gone += 1;
        let mut keep = VecDeque::new();
        let handed = lane.handed;
        let mut kept_handed = 0;
        for (position, flight) in lane.ring.drain(..).enumerate() {
            let bytes = u64::from(compiled.time(flight.frame.run, direction).bytes);
            let was_handed = position < handed;
            if flight.end + latency < now {
                // Fully arrived; only its forwarding is still to come.
                if receiver_gone == ReceiverGone::No {
                    kept_handed += usize::from(was_handed);
                    keep.push_back(flight);
                    continue;
                }
                record(compiled, tally, direction, &flight, window);
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
        lane.ring = keep;
        lane.handed = kept_handed;
        lane.started = lane.ring.len();
        lane.free = lane.free.min(now);
        lane.ticket = lane.ticket.wrapping_add(1);
        lane.planned(direction.0)
    }

    /// One lost part that `direction` depends on is back.
    pub(crate) fn restore(&mut self, direction: DirectionId, now: Instant) {
        let (from, to) = (self.from, self.to);
        let lane = &mut self.lanes[direction.index()];
        lane.gone = lane.gone.saturating_sub(1);
        if lane.gone == 0 {
            lane.gone_total += overlap(lane.gone_since, now, from, to);
            lane.free = now.max(lane.free);
        }
    }

    /// Marks the copy of a frame that has gone on as spoilt, wherever it is. Rare: a walk over all rings.
    pub(crate) fn spoil(&mut self, frame: &Frame) {
        for lane in &mut self.lanes {
            for flight in &mut lane.ring {
                if flight.frame.tie == frame.tie && flight.frame.hop > frame.hop {
                    flight.frame.spoilt = Spoilt::Yes;
                }
            }
        }
    }

    /// Ends the run at `now`: records what has arrived, and asserts that no frame has been lost silently.
    ///
    /// # Panics
    /// When frames offered are not waiting + dropped + sent, or sent not delivered + cut + on the wire.
    pub(crate) fn close(&mut self, compiled: &Compiled, now: Instant) {
        for index in 0..self.lanes.len() {
            let direction = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            let latency = compiled.hops[index].latency;
            let lane = &self.lanes[index];
            let tally = &self.tallies[index];
            let (mut waiting, mut wire, mut arrived) =
                ((0_u64, 0_u64), (0_u64, 0_u64), (0_u64, 0_u64));
            for flight in &lane.ring {
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
            assert!(
                Duration(tally.busy_total).0 <= tally.busy_until.0,
                "a direction is never busier than time has passed"
            );
            let gone_now = if lane.gone > 0 {
                overlap(lane.gone_since, now, self.from, self.to)
            } else {
                0
            };
            let window = self.to.min(now).since(self.from).0;
            self.tallies[index].up = window.saturating_sub(lane.gone_total + gone_now);
            self.account_for_started(compiled, direction, now);
        }
    }

    /// Adds what frames still in the ring have done by `now` to the figures of the window: arrivals that
    /// were only waiting to be handed on, and the part of a transmission that lies before `now`.
    fn account_for_started(&mut self, compiled: &Compiled, direction: DirectionId, now: Instant) {
        let latency = compiled.hops[direction.index()].latency;
        let window = (self.from, self.to);
        let ring = std::mem::take(&mut self.lanes[direction.index()].ring);
        let tally = &mut self.tallies[direction.index()];
        for flight in &ring {
            if flight.end + latency <= now {
                record(compiled, tally, direction, flight, window);
            } else if flight.start < now {
                busy(tally, flight.start, flight.end.min(now), window);
            }
        }
        self.lanes[direction.index()].ring = ring;
    }
}

/// Whether the receiving node of a lost direction is lost too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ReceiverGone {
    Yes,
    No,
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

/// When a frame is ready at the next hop, and whether after its header already.
fn handover(
    compiled: &Compiled,
    direction: DirectionId,
    time: FrameTime,
    start: Instant,
    end: Instant,
    onward: Option<DirectionId>,
) -> (Instant, bool) {
    let hop = &compiled.hops[direction.index()];
    if hop.ends {
        return (end + hop.latency, false);
    }
    let cuts = hop.cut_through
        && time.header != u64::MAX
        && onward.is_some_and(|next| {
            let next = &compiled.hops[next.index()];
            next.speed <= hop.speed && next.medium == hop.medium
        });
    // A frame shorter than the header counts as stored: its end comes first.
    let header_in = if cuts {
        start + Duration(time.header.min(time.ser))
    } else {
        end
    };
    (
        header_in + hop.latency + hop.delay,
        cuts && time.header < time.ser,
    )
}

/// Overlap of [start, end) with [from, to), ps.
fn overlap(start: Instant, end: Instant, from: Instant, to: Instant) -> u64 {
    end.min(to).since(start.max(from)).0
}

fn busy(tally: &mut DirectionTally, start: Instant, end: Instant, (from, to): (Instant, Instant)) {
    tally.busy += overlap(start, end, from, to);
    tally.busy_total += end.since(start).0;
    tally.busy_until = tally.busy_until.max(end);
    add_interval(&mut tally.busy_series, start, end);
}

/// Records a frame that has arrived.
fn record(
    compiled: &Compiled,
    tally: &mut DirectionTally,
    direction: DirectionId,
    flight: &Flight,
    window: (Instant, Instant),
) {
    let bytes = u64::from(compiled.time(flight.frame.run, direction).bytes);
    tally.delivered += 1;
    tally.delivered_bytes += bytes;
    busy(tally, flight.start, flight.end, window);
    let arrival = flight.end + compiled.hops[direction.index()].latency;
    if arrival >= window.0 && arrival < window.1 {
        tally.frames += 1;
        tally.bytes += bytes;
        tally.payload += u64::from(compiled.runs[flight.frame.run as usize].payload);
        tally.wait.record(flight.start.since(flight.ready));
    }
}
