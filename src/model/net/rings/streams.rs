//! Directions served in the order of the flow, each for a stretch of time.
//!
//! A frame that is to become ready on a direction waits in its inbox, in order of (ready, tie word). A
//! stretch takes all that is ready before its end, computes their times as rings do, and hands each on to the
//! next inbox at once, ahead of the time: nothing that happens meanwhile at a host or an array can change it.
//! Only what is taken in at the end of its way becomes an event.

use super::Rings;
use super::account::Arrived;
pub(crate) use super::track::Coming;
use super::track::Track;
use crate::engine::{EventSet, Key, Ring};
use crate::model::compile::{Compiled, Hop, Run, Watch};
use crate::model::net::{
    DirectionTally, FEW, Flight, Frame, InOrder, Links, LostFrame, NOTHING, NoGate, Offered,
    Onward, Open, ReceiverGone, Times,
};
use crate::model::order::{FlowOrder, Round};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};
use std::ops::Range;

/// Places for frames that wait to be counted, from the start: only the end of a run fills them.
const RING_PLACES: usize = 64;

/// All link directions of a run, in the order of the flow.
#[derive(Debug)]
pub struct Streams {
    /// What is counted, and at the end what is still on its way.
    rings: Rings<Open, InOrder, NoGate>,
    tracks: Vec<Track>,
    /// One bit for each place of the order: whether anything waits in its inbox.
    filled: [u64; FILLED_WORDS],
    flow: FlowOrder,
    /// Frames in inboxes. Whoever takes some out that go on to no other tells it.
    pub(crate) coming: u64,
    /// All that is taken in before this is known.
    pub(crate) horizon: Instant,
    /// The run reaches everything before this, whatever happens: the end of the window, or a time asked for.
    pub(crate) certain: Instant,
    /// The run has been left at an instant up to which directions have not all been served.
    pub(crate) behind: bool,
    /// Memory for the times of frames that are served at a stroke.
    pub(crate) times: Vec<Times>,
}

/// Words of one bit a direction, for as many as there are where links are served in the order of the flow.
const FILLED_WORDS: usize = FEW / 64;

/// Most frames of a direction that are served at a stroke.
pub(crate) const AT_A_STROKE: usize = 64;

/// What is in a place for times that nothing has used yet.
const NO_TIMES: Times = Times {
    ready: Instant::ZERO,
    start: Instant::ZERO,
    end: Instant::ZERO,
    handover: Instant::ZERO,
};

/// Up to where inboxes are emptied.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Until {
    /// Before this instant …
    pub(crate) at: Instant,
    /// … and in it, up to this tie word.
    pub(crate) tie: Option<u128>,
}

impl Until {
    pub(crate) fn takes(self, coming: &Coming) -> bool {
        coming.ready < self.at
            || coming.ready == self.at && self.tie.is_some_and(|tie| coming.frame.tie <= tie)
    }
}

impl Streams {
    /// Shortest time from a port that sends to one that takes in.
    pub(crate) const fn window(&self) -> Duration {
        Duration(self.flow.window)
    }

    /// The ways toward arrays and back, where no direction belongs to both.
    pub(crate) const fn round(&self) -> Option<Round> {
        self.flow.round
    }

    /// Whether nothing waits in any inbox.
    pub(crate) const fn is_empty(&self) -> bool {
        self.coming == 0
    }

    /// The first direction of some places of the order that has anything in its inbox.
    #[inline]
    pub(crate) fn filled_in(&self, places: Range<usize>) -> Option<(usize, DirectionId)> {
        let mut word = places.start / 64;
        let mut bits = self.filled.get(word)? & (u64::MAX << (places.start % 64));
        while bits == 0 {
            word += 1;
            bits = *self.filled.get(word)?;
        }
        let place = word * 64 + bits.trailing_zeros() as usize;
        (place < places.end).then(|| (place, self.flow.order[place]))
    }

    /// Places of the order.
    pub(crate) fn places(&self) -> Range<usize> {
        0..self.flow.order.len()
    }

    /// What begins on a direction before this is all of it that can be taken in before `end`.
    #[inline]
    pub(crate) fn latest(&self, direction: DirectionId, end: Instant) -> Instant {
        let remaining = self.tracks[direction.index()].remaining;
        Instant(end.0.saturating_sub(remaining.0))
    }

    /// Whether frames come to a direction from its own port only.
    pub(crate) fn is_first(&self, direction: DirectionId) -> bool {
        self.flow.first[direction.index()]
    }

    /// Takes what comes to a direction, and where the first of it is that has not been served. It is put back by
    /// [`put_back`](Self::put_back).
    #[inline]
    pub(crate) fn take(&mut self, direction: DirectionId) -> (Vec<Coming>, usize) {
        self.tracks[direction.index()].take()
    }

    /// Gives it back, of which `served` have been served now.
    #[inline]
    pub(crate) fn put_back(
        &mut self,
        direction: DirectionId,
        coming: Vec<Coming>,
        served: Range<usize>,
    ) {
        let track = &mut self.tracks[direction.index()];
        if track.put_back(coming, served) {
            let (word, bit) = mark(track);
            self.filled[word] &= !bit;
        }
    }

    /// Serves the first frames that come to a direction, in order, and counts them; `times` becomes their times
    /// there, as many as it has places for. Returns how many. It ends before the first of which `stops` says so,
    /// told when that begins. Frames whose arrival the run does not reach for certain are counted later.
    #[inline]
    pub(crate) fn serve(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        coming: &[Coming],
        stops: impl Fn(&Coming, Instant) -> bool,
        times: &mut [Times],
    ) -> usize {
        let track = &mut self.tracks[direction.index()];
        let (served, sums) = track.send(compiled, coming, stops, times, self.rings.window);
        let times = &times[..served];
        let (Some(first), Some(last)) = (times.first(), times.last()) else {
            return 0;
        };
        let arrived = track.arrived();
        if track.recent.takes(first, last, arrived) || self.move_on(direction, first, last) {
            let track = &mut self.tracks[direction.index()];
            track.recent.add(served as u64, &sums, track.free);
            if sums.waits > 0 {
                self.rings.accounts[direction.index()].record_waits(times);
            }
        } else {
            self.count_each(compiled, direction, (coming, times));
        }
        served
    }

    /// Looks for the bins in which a stretch lies that is not in those of the last ones. Returns whether they hold
    /// all of it, and it surely arrives.
    #[cold]
    fn move_on(&mut self, direction: DirectionId, first: &Times, last: &Times) -> bool {
        let window = (self.rings.window.0, self.rings.window.1.min(self.certain));
        let track = &mut self.tracks[direction.index()];
        let account = &mut self.rings.accounts[direction.index()];
        account.settle(&mut track.recent);
        let earlier = &self.rings.lanes[direction.index()].ring;
        if track.arrived() >= self.certain || !earlier.is_empty() {
            return false;
        }
        track.recent = account.bins_of(first, window);
        track.recent.takes(first, last, track.arrived())
    }

    /// Counts frames one by one, those before them that have waited for it first.
    #[cold]
    fn count_each(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        (coming, times): (&[Coming], &[Times]),
    ) {
        let track = &mut self.tracks[direction.index()];
        self.rings.accounts[direction.index()].settle(&mut track.recent);
        let lane = &mut self.rings.lanes[direction.index()];
        for (Coming { frame, .. }, times) in coming.iter().zip(times) {
            lane.ring.push(Flight {
                frame: *frame,
                ready: times.ready,
                start: times.start,
                end: times.end,
                handover: times.handover,
            });
        }
        self.retire(compiled, direction, self.certain);
    }

    /// Counts the frames of a direction that have waited for the run to reach their arrival for certain.
    fn retire(&mut self, compiled: &Compiled, direction: DirectionId, certain: Instant) {
        loop {
            let lane = &mut self.rings.lanes[direction.index()];
            let Some(flight) = lane.ring.get(0).copied() else {
                return;
            };
            if flight.end + lane.latency >= certain {
                return;
            }
            let asked = lane.leave();
            let time = compiled.time_on(flight.frame.run, lane.class);
            let frame = Arrived::new(direction, &flight);
            let account = &mut self.rings.accounts[direction.index()];
            account.record(time, &frame, lane.latency, asked, self.rings.window);
        }
    }

    /// A frame will be taken in at the end of `direction`.
    #[inline]
    pub(crate) fn ends(
        &mut self,
        direction: DirectionId,
        coming: &Coming,
        events: &mut impl EventSet<Event>,
    ) {
        let track = &mut self.tracks[direction.index()];
        track.ended.push(*coming);
        if track.ended.len() == 1 {
            plan(direction, coming, track.out, events);
        }
    }

    /// A frame that comes from elsewhere will become ready on a direction, at which it has made `hop` hops.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Part of each hop of each frame.
    pub(crate) fn pass(
        &mut self,
        (direction, onward): (DirectionId, Onward),
        (frame, hop): (&Frame, u8),
        ready: Instant,
    ) {
        let track = &mut self.tracks[direction.index()];
        if track.push(frame, (hop, onward), ready) {
            let (word, bit) = mark(track);
            self.filled[word] |= bit;
        }
    }

    /// Takes back what was served ahead of `until`, where a run ends. Returns how many frames.
    pub(crate) fn rewind(&mut self, compiled: &Compiled, until: Until) -> u64 {
        let mut ahead = 0;
        let lanes = self.rings.lanes.iter_mut().zip(&mut self.tracks);
        for ((lane, track), first) in lanes.zip(&self.flow.first) {
            while let Some(flight) = lane.ring.last().copied()
                && !*first
                && !until.takes(&Coming {
                    frame: flight.frame,
                    ready: flight.ready,
                })
            {
                let time = compiled.time_on(flight.frame.run, lane.class);
                lane.ring.pop_last();
                track.offered -= 1;
                track.offered_bytes -= u64::from(time.bytes);
                ahead += 1;
            }
        }
        ahead
    }
}

/// Word and bit by which a direction is marked as one to which something comes.
#[inline]
const fn mark(track: &Track) -> (usize, u64) {
    let place = track.place as usize;
    (place / 64 % FILLED_WORDS, 1 << (place % 64))
}

fn plan(direction: DirectionId, coming: &Coming, out: bool, events: &mut impl EventSet<Event>) {
    let key = Key {
        at: coming.ready,
        tie: coming.frame.tie,
    };
    let word = u32::from(out);
    events.push(key, Event::Link { direction, word });
}

const NO_FAULTS: &str =
    "a run in the order of the flow has no faults: runs with a script have events";

impl Links for Streams {
    const IN_FLOW: bool = true;

    fn new(compiled: &Compiled, watch: Watch) -> Self {
        let flow = compiled
            .flow_order()
            .expect("asked for only where there is an order");
        assert!(flow.order.len() <= FEW, "larger sites have events");
        let mut rings = Rings::new(compiled, watch);
        for lane in &mut rings.lanes {
            lane.ring = Ring::with_places(RING_PLACES, NOTHING);
        }
        let outward = flow.round.map_or(0, |round| round.outward);
        let track = |(index, hop): (usize, &Hop)| {
            let place = flow.place[index];
            let out = (place as usize) < outward;
            Track::new(hop, (place, out), flow.remaining[index], NOTHING)
        };
        let tracks = compiled.hops.iter().enumerate().map(track).collect();
        Self {
            rings,
            tracks,
            filled: [0; FILLED_WORDS],
            flow: flow.clone(),
            coming: 0,
            horizon: Instant::ZERO,
            certain: Instant::ZERO,
            behind: false,
            times: vec![NO_TIMES; AT_A_STROKE],
        }
    }

    #[inline]
    fn offer(
        &mut self,
        _: &Compiled,
        over: (DirectionId, Onward),
        frame: Frame,
        ready: Instant,
        _: &mut impl EventSet<Event>,
    ) -> Offered {
        self.coming += 1;
        if frame.hop > 0 {
            self.pass(over, (&frame, frame.hop), ready);
            return Offered::Taken;
        }
        let (direction, onward) = over;
        let track = &mut self.tracks[direction.index()];
        if track.push_own(Frame { onward, ..frame }, ready) {
            let (word, bit) = mark(track);
            self.filled[word] |= bit;
        }
        Offered::Taken
    }

    #[inline(always)]
    #[allow(clippy::inline_always)] // One place calls it, for each message.
    fn offer_volley(
        &mut self,
        (direction, onward): (DirectionId, Onward),
        frame: Frame,
        runs: &[Run],
        ready: Instant,
    ) {
        let track = &mut self.tracks[direction.index()];
        let count = track.push_volley(Frame { onward, ..frame }, runs, ready);
        let (word, bit) = mark(track);
        self.filled[word] |= bit;
        self.coming += count;
    }

    #[inline]
    fn step(
        &mut self,
        _: &Compiled,
        _: Instant,
        (direction, _): (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> (bool, Flight) {
        let track = &mut self.tracks[direction.index()];
        let Some(Coming { frame, ready }) = track.ended.get(0).copied() else {
            return (false, NOTHING);
        };
        track.ended.drop_first();
        if let Some(next) = track.ended.get(0) {
            plan(direction, next, track.out, events);
        }
        let flight = Flight {
            frame,
            ready,
            start: ready,
            end: ready,
            handover: ready,
        };
        (true, flight)
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
        let Rings {
            lanes, accounts, ..
        } = &mut self.rings;
        for ((track, lane), account) in self.tracks.iter_mut().zip(lanes).zip(accounts) {
            account.settle(&mut track.recent);
            (lane.offered, lane.offered_bytes) = (track.offered, track.offered_bytes);
            (lane.queue_max, lane.ahead_max) = (track.queue_max, track.ahead_max);
        }
        self.rings.close(compiled, now)
    }
}
