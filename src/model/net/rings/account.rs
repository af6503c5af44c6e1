//! What each direction has counted, and frames that are still to be counted.

use super::super::{DirectionTally, Flight, Times, busy};
use crate::model::compile::{FrameTime, Watch};
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};

/// What one direction has counted.
#[derive(Clone, Debug)]
pub(super) struct Account {
    pub(super) tally: DirectionTally,
    /// A stretch of frames that arrived and left no gap on the wire, not yet counted as busy.
    pub(super) stretch: (Instant, Instant),
    pub(super) gone_since: Instant,
    pub(super) gone_total: u64,
}

/// What recent stretches of frames add up to, all of them in one bin of each series and in the window.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Recent {
    /// Their frames became ready in here, …
    ready: (Instant, Instant),
    /// … and were sent and arrived in here.
    sent: (Instant, Instant),
    // No two of these are neighbours in `Sums` too: they would be fetched together from where each has just been put, and wait.
    ser: u64,
    end: Instant,
    bytes: u64,
    frames: u64,
    payload: u64,
    zeros: u64,
}

impl Recent {
    /// Whether a stretch lies in the same bins: its first and last frame, and when that has arrived.
    #[inline]
    pub(super) fn takes(&self, first: &Times, last: &Times, arrived: Instant) -> bool {
        first.ready >= self.ready.0
            && last.ready < self.ready.1
            && first.start >= self.sent.0
            && arrived < self.sent.1
    }

    /// Adds the frames of a stretch, of which the last leaves the wire at `end`.
    #[inline]
    pub(super) const fn add(&mut self, frames: u64, sums: &Sums, end: Instant) {
        self.frames += frames;
        self.zeros += frames - sums.waits;
        self.ser += sums.ser;
        self.bytes += sums.bytes;
        self.payload += sums.payload;
        self.end = end;
    }
}

/// A frame that has arrived and is still to be counted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Arrived {
    pub(super) direction: u32,
    pub(super) run: u32,
    pub(super) ready: Instant,
    pub(super) start: Instant,
    pub(super) end: Instant,
}

const _: () = assert!(std::mem::size_of::<Arrived>() == 32);

impl Arrived {
    #[inline]
    pub(super) const fn new(direction: DirectionId, flight: &Flight) -> Self {
        Self {
            direction: direction.0,
            run: flight.frame.run,
            ready: flight.ready,
            start: flight.start,
            end: flight.end,
        }
    }
}

/// What the frames of one stretch add up to.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    pub(super) ser: u64,
    pub(super) bytes: u64,
    pub(super) payload: u64,
    /// How many of them wait.
    pub(super) waits: u64,
}

/// Whether the time that a frame asks for has been counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    Already,
    Now,
}

impl Account {
    pub(super) fn new(watch: Watch, few: bool) -> Self {
        Self {
            tally: DirectionTally::watched(watch, few),
            stretch: (Instant::ZERO, Instant::ZERO),
            gone_since: Instant::ZERO,
            gone_total: 0,
        }
    }

    /// Counts the waits of frames of one stretch that will have arrived, as far as they are not zero.
    #[inline(never)]
    pub(super) fn record_waits(&mut self, times: &[Times]) {
        for times in times.iter().filter(|times| times.start > times.ready) {
            self.tally.wait.record(times.start.since(times.ready));
        }
    }

    /// The bins in which a stretch begins, as far as they lie in the window; nothing recent is left to settle.
    pub(super) fn bins_of(&mut self, first: &Times, window: (Instant, Instant)) -> Recent {
        let (from, to) = self.stretch;
        busy(&mut self.tally, from, to, window);
        self.stretch = (to, to);
        let (asked, busy) = (&mut self.tally.asked_series, &mut self.tally.busy_series);
        asked.at(first.ready);
        busy.at(first.start);
        let (from, to) = busy.bin();
        Recent {
            ready: asked.bin(),
            sent: (from.max(window.0), to.min(window.1)),
            ..Recent::default()
        }
    }

    /// Puts what recent stretches add up to with all else that has been counted. Before anything is counted
    /// otherwise.
    pub(super) fn settle(&mut self, recent: &mut Recent) {
        let recent = std::mem::take(recent);
        if recent.frames == 0 {
            return;
        }
        let tally = &mut self.tally;
        tally.asked_series.at(recent.ready.0).0 += recent.ser;
        tally.busy_series.at(recent.sent.0).0 += recent.ser;
        tally.busy += recent.ser;
        tally.busy_total += recent.ser;
        tally.busy_until = recent.end;
        tally.delivered += recent.frames;
        tally.delivered_bytes += recent.bytes;
        tally.frames += recent.frames;
        tally.bytes += recent.bytes;
        tally.payload += recent.payload;
        tally.wait.record_zeros(recent.zeros);
        self.stretch = (recent.end, recent.end);
    }

    /// Counts a frame that has arrived.
    #[inline]
    pub(super) fn record(
        &mut self,
        time: &FrameTime,
        frame: &Arrived,
        latency: Duration,
        asked: Asked,
        window: (Instant, Instant),
    ) {
        let tally = &mut self.tally;
        if asked == Asked::Now {
            tally.asked_series.at(frame.ready).0 += time.ser;
        }
        tally.delivered += 1;
        tally.delivered_bytes += u64::from(time.bytes);
        let arrival = frame.end + latency;
        if arrival >= window.0 && arrival < window.1 {
            tally.frames += 1;
            tally.bytes += u64::from(time.bytes);
            tally.payload += u64::from(time.payload);
            tally.wait.record(frame.start.since(frame.ready));
        }
        if frame.start == self.stretch.1 {
            self.stretch.1 = frame.end;
        } else {
            let (from, to) = std::mem::replace(&mut self.stretch, (frame.start, frame.end));
            busy(tally, from, to, window);
        }
    }
}

/// Directions whose frames are counted together: their accounts fit a second cache.
pub(super) const GROUP: usize = 128;

/// Puts the places of a batch, of one group of directions, in order of direction, those of one direction as they came.
#[allow(clippy::cast_possible_truncation)]
pub(super) fn by_direction(arrived: &[Arrived], order: &mut [u16]) {
    let mut begins = [0_u16; GROUP];
    for frame in arrived {
        begins[frame.direction as usize % GROUP] += 1;
    }
    let mut before = 0;
    for begin in &mut begins {
        before += std::mem::replace(begin, before);
    }
    for (place, frame) in arrived.iter().enumerate() {
        let next = &mut begins[frame.direction as usize % GROUP];
        order[usize::from(*next)] = place as u16;
        *next += 1;
    }
}
