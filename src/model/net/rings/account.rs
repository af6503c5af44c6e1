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
    recent: Recent,
    pub(super) gone_since: Instant,
    pub(super) gone_total: u64,
}

/// What recent stretches of frames add up to, all of them in one bin of each series and in the window.
#[derive(Clone, Copy, Debug, Default)]
#[repr(align(64))]
struct Recent {
    /// What is ready from here on …
    from: Instant,
    /// … and has arrived before here lies in those bins.
    to: Instant,
    end: Instant,
    frames: u64,
    zeros: u64,
    ser: u64,
    bytes: u64,
    payload: u64,
}

// It is touched once a stretch, and mostly all that is.
const _: () = assert!(std::mem::size_of::<Recent>() == 64);

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
    /// Whether any of them waits.
    pub(super) waited: bool,
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
            recent: Recent::default(),
            gone_since: Instant::ZERO,
            gone_total: 0,
        }
    }

    /// Counts frames of one stretch that will have arrived, all as one. Returns whether it has: not where
    /// they fall into different bins, or some of them outside the window.
    #[inline]
    pub(super) fn record_all(
        &mut self,
        times: &[Times],
        sums: &Sums,
        latency: Duration,
        window: (Instant, Instant),
    ) -> bool {
        let (Some(first), Some(last)) = (times.first(), times.last()) else {
            return true;
        };
        let within = |recent: &Recent| {
            first.ready >= recent.from && last.end + latency < recent.to
        };
        if !within(&self.recent) {
            self.move_on(first, window);
            if !within(&self.recent) {
                return false;
            }
        }
        let frames = times.len() as u64;
        let recent = &mut self.recent;
        recent.frames += frames;
        recent.ser += sums.ser;
        recent.bytes += sums.bytes;
        recent.payload += sums.payload;
        recent.end = last.end;
        if sums.waited {
            for times in times {
                self.tally.wait.record(times.start.since(times.ready));
            }
        } else {
            recent.zeros += frames;
        }
        true
    }

    /// Looks for the bins in which a stretch lies that is not in those of the last ones.
    #[cold]
    fn move_on(&mut self, first: &Times, window: (Instant, Instant)) {
        self.settle();
        let (from, to) = std::mem::replace(&mut self.stretch, (first.start, first.start));
        busy(&mut self.tally, from, to, window);
        let (asked, busy) = (&mut self.tally.asked_series, &mut self.tally.busy_series);
        asked.at(first.ready);
        busy.at(first.start);
        let ((from, to), bin) = (asked.bin(), busy.bin());
        self.recent.from = from.max(bin.0).max(window.0);
        self.recent.to = to.min(bin.1).min(window.1);
    }

    /// Puts what recent stretches add up to with all else that has been counted. Before anything is counted
    /// otherwise.
    pub(super) fn settle(&mut self) {
        let recent = std::mem::take(&mut self.recent);
        if recent.frames == 0 {
            return;
        }
        let tally = &mut self.tally;
        tally.asked_series.at(recent.from).0 += recent.ser;
        tally.busy_series.at(recent.from).0 += recent.ser;
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

/// Puts the places of a batch in order of direction, those of one direction as they came.
pub(super) fn by_direction(arrived: &[Arrived], begins: &mut [u32], order: &mut [u32]) {
    begins.fill(0);
    for frame in arrived {
        begins[frame.direction as usize] += 1;
    }
    let mut before = 0;
    for begin in begins.iter_mut() {
        before += std::mem::replace(begin, before);
    }
    for (place, frame) in (0_u32..).zip(arrived) {
        let next = &mut begins[frame.direction as usize];
        order[*next as usize] = place;
        *next += 1;
    }
}
