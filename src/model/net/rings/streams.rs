//! Directions served in the order of the flow, each for a stretch of time.
//!
//! A frame that is to become ready on a direction waits in its inbox, in order of (ready, tie word). A
//! stretch takes all that is ready before its end, computes their times as rings do, and hands each on to the
//! next inbox at once, ahead of the time: nothing that happens meanwhile at a host or an array can change it.
//! Only what is taken in at the end of its way becomes an event.

use super::Rings;
use super::account::{Account, Arrived, Sums};
use super::lane::{Lane, count};
use crate::engine::{EventSet, Key, Ring};
use crate::model::attempt::NONE;
use crate::model::compile::{Compiled, Watch};
use crate::model::net::{
    DirectionTally, FEW, Flight, Frame, FrameKind, InOrder, Links, LostFrame, NoGate, Offered, Onward,
    Open, ReceiverGone, Spoilt, Times,
};
use crate::model::order::{FlowOrder, Round};
use crate::model::world::Event;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};
use std::ops::Range;

/// A frame that is to become ready.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Coming {
    pub(crate) frame: Frame,
    pub(crate) ready: Instant,
}

impl Coming {
    #[inline]
    fn comes_after(&self, ready: Instant, tie: u128) -> bool {
        self.ready > ready || self.ready == ready && self.frame.tie > tie
    }
}

/// What comes to a direction.
#[derive(Debug)]
struct Inbox {
    coming: Vec<Coming>,
    /// Place of the direction in the order.
    place: u32,
    /// Entries at the front that have been served.
    served: usize,
    /// When those that wait there begin, as far as they had not when the last frame became ready.
    starts: Ring<Instant>,
    /// Frames that will be taken in at the end of this direction, and when.
    ended: Ring<Coming>,
}

/// Places for frames that wait to be counted, from the start: only the end of a run fills them.
const RING_PLACES: usize = 64;

/// What is in a place that nothing has used yet.
const NOTHING: Flight = Flight {
    frame: Frame {
        tie: 0,
        attempt: NONE,
        flow: 0,
        run: 0,
        hop: 0,
        kind: FrameKind::Ack,
        spoilt: Spoilt::No,
        onward: Onward::Store,
    },
    ready: Instant::ZERO,
    start: Instant::ZERO,
    end: Instant::ZERO,
    handover: Instant::ZERO,
};

impl Inbox {
    fn new(place: u32) -> Self {
        Self {
            place,
            coming: Vec::with_capacity(COMING_PLACES),
            served: 0,
            starts: Ring::with_places(1_024, Instant::ZERO),
            ended: Ring::with_places(
                RING_PLACES,
                Coming {
                    frame: NOTHING.frame,
                    ready: Instant::ZERO,
                },
            ),
        }
    }
}

/// Entries of an inbox for which there is memory from the start.
const COMING_PLACES: usize = 256;

/// All link directions of a run, in the order of the flow.
#[derive(Debug)]
pub struct Streams {
    rings: Rings<Open, InOrder, NoGate>,
    inboxes: Vec<Inbox>,
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
        let remaining = self.flow.remaining[direction.index()];
        Instant(end.0.saturating_sub(remaining))
    }

    /// Whether frames come to a direction from its own port only.
    pub(crate) fn is_first(&self, direction: DirectionId) -> bool {
        self.flow.first[direction.index()]
    }

    /// Takes the inbox of a direction, and where its first frame is that has not been served. It is put back by
    /// [`put_back`](Self::put_back).
    #[inline]
    pub(crate) fn take(&mut self, direction: DirectionId) -> (Vec<Coming>, usize) {
        let inbox = &mut self.inboxes[direction.index()];
        (std::mem::take(&mut inbox.coming), inbox.served)
    }

    /// Gives an inbox back, of which `served` have been served now.
    #[inline]
    pub(crate) fn put_back(
        &mut self,
        direction: DirectionId,
        mut coming: Vec<Coming>,
        served: Range<usize>,
    ) {
        let inbox = &mut self.inboxes[direction.index()];
        inbox.served = served.end;
        if served.end == coming.len() {
            coming.clear();
            inbox.served = 0;
            let place = inbox.place as usize;
            self.filled[place / 64 % FILLED_WORDS] &= !(1 << (place % 64));
        } else if served.end >= coming.len() / 2 {
            // The rest moves up into what is in the caches: each entry moves about once.
            coming.copy_within(served.end.., 0);
            coming.truncate(coming.len() - served.end);
            inbox.served = 0;
        }
        inbox.coming = coming;
    }

    /// Serves the first frames of a direction's inbox, in order, and counts them; `times` becomes their times
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
        let certain = self.certain;
        let window = self.rings.window;
        let lane = &mut self.rings.lanes[direction.index()];
        let starts = &mut self.inboxes[direction.index()].starts;
        let (served, sums) = find_times(compiled, lane, starts, coming, stops, times, window);
        if served == 0 {
            return 0;
        }
        let times = &times[..served];
        lane.offered += served as u64;
        lane.offered_bytes += sums.bytes;
        let known = lane.ring.is_empty() && lane.free + lane.latency < certain;
        let account = &mut self.rings.accounts[direction.index()];
        if !known || !account.record_all(times, &sums, lane.latency, window) {
            account.settle();
            self.count_each(compiled, direction, (coming, times), certain);
        }
        served
    }

    /// Counts frames one by one, those before them that have waited for it first.
    #[cold]
    fn count_each(
        &mut self,
        compiled: &Compiled,
        direction: DirectionId,
        (coming, times): (&[Coming], &[Times]),
        certain: Instant,
    ) {
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
        self.retire(compiled, direction, certain);
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

    /// Whether a direction leads toward arrays, where none leads both ways.
    #[inline]
    fn leads_out(&self, direction: DirectionId) -> bool {
        let outward = self.flow.round.map_or(0, |round| round.outward);
        (self.flow.place[direction.index()] as usize) < outward
    }

    /// A frame will be taken in at the end of `direction`.
    #[inline]
    pub(crate) fn ends(
        &mut self,
        direction: DirectionId,
        coming: &Coming,
        events: &mut impl EventSet<Event>,
    ) {
        let ended = &mut self.inboxes[direction.index()].ended;
        ended.push(*coming);
        if ended.len() == 1 {
            plan(direction, coming, self.leads_out(direction), events);
        }
    }

    /// A frame will become ready on a direction, at which it has made `hop` hops.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Copies of frames are what a hop costs.
    pub(crate) fn pass(
        &mut self,
        (direction, onward): (DirectionId, Onward),
        (frame, hop): (&Frame, u8),
        ready: Instant,
    ) {
        let inbox = &mut self.inboxes[direction.index()];
        let Inbox {
            coming,
            served,
            place,
            ..
        } = inbox;
        let own = coming.len();
        coming.push(Coming {
            frame: *frame,
            ready,
        });
        if let Some(last) = coming.last_mut() {
            last.frame.hop = hop;
            last.frame.onward = onward;
        }
        // What a port itself sends goes in the order in which it does; what comes from elsewhere in order of
        // time: each stream is, so that mostly this is the last.
        if hop > 0 && own > *served && coming[own - 1].comes_after(ready, frame.tie) {
            sort_in(&mut coming[*served..]);
        }
        let place = *place as usize;
        self.filled[place / 64 % FILLED_WORDS] |= 1 << (place % 64);
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

/// When the first frames that come to a direction are sent, and what they add up to.
#[inline(never)] // It needs all the registers that there are.
fn find_times(
    compiled: &Compiled,
    lane: &mut Lane,
    starts: &mut Ring<Instant>,
    coming: &[Coming],
    stops: impl Fn(&Coming, Instant) -> bool,
    times: &mut [Times],
    window: (Instant, Instant),
) -> (usize, Sums) {
    let on_class = compiled.times_on(lane.class);
    let passing = if lane.ends { lane.latency } else { lane.passing };
    let mut free = lane.free;
    let mut sums = Sums::default();
    let mut served = 0;
    for (next, place) in coming.iter().zip(times) {
        let Coming { frame, ready } = *next;
        let start = ready.max(free);
        if stops(next, start) {
            break;
        }
        let time = &on_class[frame.run as usize];
        let end = Instant(start.0 + time.ser);
        free = end;
        sums.bytes += u64::from(time.bytes);
        sums.payload += u64::from(time.payload);
        sums.ser += time.ser;
        if start > ready {
            sums.waited = true;
            while starts.get(0).is_some_and(|start| *start <= ready) {
                starts.pop();
            }
            starts.push(start);
            if ready >= window.0 && ready < window.1 {
                lane.queue_max = lane.queue_max.max(count(starts.len()));
                lane.ahead_max = lane.ahead_max.max(start.0 - ready.0);
            }
        } else if !starts.is_empty() {
            starts.clear();
        }
        let awaited = match frame.onward {
            Onward::Cut => time.header.min(time.ser),
            Onward::Store => time.ser,
        };
        *place = Times {
            ready,
            start,
            end,
            handover: Instant(start.0 + awaited + passing.0),
        };
        served += 1;
    }
    lane.free = free;
    (served, sums)
}

/// Moves the last entry to its place among those before it, which are in order.
#[inline(never)]
fn sort_in(coming: &mut [Coming]) {
    let Some((own, before)) = coming.split_last() else {
        return;
    };
    let (ready, tie) = (own.ready, own.frame.tie);
    let after = before.iter().rev();
    let after = after.take_while(|other| other.comes_after(ready, tie)).count();
    let place = coming.len() - 1 - after;
    coming[place..].rotate_right(1);
}

fn plan(
    direction: DirectionId,
    coming: &Coming,
    out: bool,
    events: &mut impl EventSet<Event>,
) {
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
        Self {
            rings,
            inboxes: flow.place.iter().map(|place| Inbox::new(*place)).collect(),
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
        self.pass(over, (&frame, frame.hop), ready);
        Offered::Taken
    }

    fn offer_alike(
        &mut self,
        (direction, onward): (DirectionId, Onward),
        frame: Frame,
        count: u32,
        ready: Instant,
    ) {
        self.coming += u64::from(count);
        let inbox = &mut self.inboxes[direction.index()];
        let number = |number: u32| Frame {
            tie: frame.tie + u128::from(number),
            onward,
            ..frame
        };
        let alike = (0..count).map(|place| Coming {
            frame: number(place),
            ready,
        });
        inbox.coming.extend(alike);
        let place = inbox.place as usize;
        self.filled[place / 64 % FILLED_WORDS] |= 1 << (place % 64);
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
        let Coming { frame, ready } = ended.pop()?;
        if let Some(next) = ended.get(0).copied() {
            plan(direction, &next, self.leads_out(direction), events);
        }
        Some(Flight {
            frame,
            ready,
            start: ready,
            end: ready,
            handover: ready,
        })
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
        self.rings.accounts.iter_mut().for_each(Account::settle);
        self.rings.close(compiled, now)
    }
}
