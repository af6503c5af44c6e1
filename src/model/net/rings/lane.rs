//! The frames of one direction.

use super::super::port::{Admission, Discipline, Gate, Port};
use super::super::{DirectionTally, Flight, NOTHING, Onward};
use super::account::Asked;
use crate::engine::{EventSet, Key, Ring};
use crate::model::compile::{Compiled, FrameTime, Hop};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// The frames of one direction: what every frame touches, in two cache lines. What it counts is in its
/// account, which on a large site has left the caches by the time the next frame comes.
#[derive(Clone, Debug)]
#[repr(align(128))] // Neighbouring lines are fetched together.
pub(super) struct Lane {
    pub(super) ring: Ring<Flight>,
    pub(super) free: Instant,
    pub(super) latency: Duration,
    /// Latency and the delay of the receiving switch.
    pub(super) passing: Duration,
    pub(super) offered: u64,
    pub(super) offered_bytes: u64,
    /// Longest time of work ahead of a frame in the window, ps.
    pub(super) ahead_max: u64,
    /// Most frames waiting at once in the window.
    pub(super) queue_max: u32,
    /// Entries at the front that have been handed on and have not fully arrived.
    pub(super) handed: u32,
    /// Entries at the front whose start has passed.
    pub(super) started: u32,
    /// Entries at the front that have been counted as asked for, ahead of their arrival.
    pub(super) asked: u32,
    pub(super) class: u32,
    /// Number of the planned hand-over: one planned before a fault is void.
    pub(super) ticket: u32,
    /// How many lost parts this direction depends on.
    pub(super) gone: u32,
    pub(super) ends: bool,
    /// It has been made slower, or whole again, under way.
    pub(super) paced: bool,
}

const _: () = assert!(std::mem::size_of::<Lane>() <= 128);

/// Places for frames of a direction, from the start.
const PLACES: usize = 8;

impl Lane {
    /// A direction without frames. On a site of `few` directions each has places for some from the start; on a large one what lies
    /// close together is found in the caches, and most never have more than one.
    pub(super) fn new(hop: &Hop, gone: u32, few: bool) -> Self {
        let ring = if few {
            Ring::with_places(PLACES, NOTHING)
        } else {
            Ring::new()
        };
        Self {
            ring,
            free: Instant::ZERO,
            latency: hop.latency,
            passing: hop.latency + hop.delay,
            offered: 0,
            offered_bytes: 0,
            ahead_max: 0,
            queue_max: 0,
            handed: 0,
            started: 0,
            asked: 0,
            class: hop.class,
            ticket: 0,
            gone,
            ends: hop.ends,
            paced: false,
        }
    }

    /// When a frame is ready at the next hop, or has arrived at the last.
    #[inline]
    pub(super) fn handed_on(
        &self,
        onward: Onward,
        time: &FrameTime,
        start: Instant,
        end: Instant,
    ) -> Instant {
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
    pub(super) fn plan(&self, direction: DirectionId, events: &mut impl EventSet<Event>) {
        if let Some(flight) = self.ring.get(self.handed as usize) {
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

    /// Takes note of the entries whose start has passed.
    #[inline]
    pub(super) fn note_started(&mut self, now: Instant) {
        while let Some(flight) = self.ring.get(self.started as usize)
            && flight.start <= now
        {
            self.started += 1;
        }
    }

    /// Takes note of a frame that is last and waits from its first instant to its second.
    #[inline]
    pub(super) fn note_waiting(
        &mut self,
        (ready, start): (Instant, Instant),
        window: (Instant, Instant),
    ) {
        self.note_started(ready);
        if ready >= window.0 && ready < window.1 {
            let (waiting, ahead) = (count(self.ring.len()) - self.started, start.since(ready).0);
            self.queue_max = self.queue_max.max(waiting);
            self.ahead_max = self.ahead_max.max(ahead);
        }
    }

    /// Frames that have not begun.
    pub(super) fn waiting(&mut self, now: Instant) -> usize {
        self.note_started(now);
        self.ring.len() - self.started as usize
    }

    /// Plans the entries from `position` on anew, the first of which could begin at `at`.
    pub(super) fn plan_anew<A: Admission, D: Discipline, G: Gate>(
        &mut self,
        compiled: &Compiled,
        port: &Port<A, D, G>,
        position: usize,
        mut at: Instant,
    ) {
        for position in position..self.ring.len() {
            let Some(mut flight) = self.ring.get(position).copied() else {
                break;
            };
            let time = compiled.time_on(flight.frame.run, self.class);
            flight.start = port.begins(at.max(flight.ready), time.ser);
            flight.end = flight.start + Duration(time.ser);
            flight.handover = self.handed_on(flight.frame.onward, time, flight.start, flight.end);
            at = flight.end;
            if let Some(place) = self.ring.get_mut(position) {
                *place = flight;
            }
        }
        self.free = at;
    }

    /// Takes the first entry out of the ring.
    #[inline]
    pub(super) fn leave(&mut self) -> Asked {
        self.ring.drop_first();
        self.started = self.started.saturating_sub(1);
        if self.asked == 0 {
            return Asked::Now;
        }
        self.asked -= 1;
        Asked::Already
    }
}

impl Lane {
    /// The utilization law: a direction has been busy for as long as all that came asks for, but for what is left to send (`rest`, ps). Both sides are
    /// counted apart, by frame as each becomes ready and by stretch of the wire. Where frames were cut or dropped, or times have changed, they differ by right.
    ///
    /// # Panics
    /// When they differ otherwise: a bug of ours.
    pub(super) fn assert_used_as_asked(&self, tally: &DirectionTally, rest: u64, index: usize) {
        if tally.cut > 0 || tally.dropped > 0 || self.paced {
            return;
        }
        let asked: u64 = tally.asked_series.bins().iter().map(|bin| bin.0).sum();
        assert_eq!(
            tally.busy_total + rest,
            asked,
            "time on the wire, direction {index}"
        );
    }

    pub(super) fn assert_nothing_lost(
        &self,
        compiled: &Compiled,
        tally: &DirectionTally,
        index: usize,
        now: Instant,
    ) {
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
        let sent = tally.delivered + arrived.0 + tally.cut + wire.0;
        assert_eq!(
            self.offered,
            waiting.0 + tally.dropped + sent,
            "frames offered to direction {index}"
        );
        let sent_bytes = tally.delivered_bytes + arrived.1 + tally.cut_bytes + wire.1;
        assert_eq!(
            self.offered_bytes,
            waiting.1 + tally.dropped_bytes + sent_bytes,
            "bytes, direction {index}"
        );
    }
}

/// A number of entries of a ring, of which there are far fewer than 2^32.
#[inline]
#[allow(clippy::cast_possible_truncation)]
pub(super) const fn count(entries: usize) -> u32 {
    entries as u32
}
