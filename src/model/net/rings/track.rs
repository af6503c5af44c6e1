//! One direction where links are served in the order of the flow: what comes to it, and all that a stretch touches.

use super::account::{Recent, Sums};
use super::lane::count;
use crate::engine::Ring;
use crate::model::compile::{Compiled, FrameTime, Hop, Run};
use crate::model::net::{Flight, Frame, FrameKind, Onward, Times};
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

/// A direction: what comes to it, what has been counted of it since its account was last looked at.
#[derive(Debug)]
pub(super) struct Track {
    /// Entries in order of (ready, tie word); those of a port's own in the order in which it sends them.
    coming: Vec<Coming>,
    /// Entries at the front that have been served.
    served: usize,
    pub(super) free: Instant,
    latency: Duration,
    /// From the end of a frame, or from where it is cut through, to ready at the next hop.
    passing: Duration,
    /// Shortest time from ready here to taken in at the end of the way.
    pub(super) remaining: Duration,
    class: u32,
    /// Place of the direction in the order.
    pub(super) place: u32,
    /// It leads toward arrays, and no direction leads both ways.
    pub(super) out: bool,
    pub(super) offered: u64,
    pub(super) offered_bytes: u64,
    pub(super) ahead_max: u64,
    pub(super) queue_max: u32,
    /// When those that wait begin, as far as they had not when the last frame became ready.
    starts: Ring<Instant>,
    pub(super) recent: Recent,
    /// Frames that will be taken in at the end of this direction, and when.
    pub(super) ended: Ring<Coming>,
}

/// Entries for which a track has memory from the start: coming, waiting and ended.
const PLACES: (usize, usize, usize) = (256, 1_024, 64);

impl Track {
    pub(super) fn new(
        hop: &Hop,
        (place, out): (u32, bool),
        remaining: u64,
        filler: Flight,
    ) -> Self {
        let nothing = Coming {
            frame: filler.frame,
            ready: Instant::ZERO,
        };
        let passing = if hop.ends {
            hop.latency
        } else {
            hop.latency + hop.delay
        };
        Self {
            coming: Vec::with_capacity(PLACES.0),
            served: 0,
            free: Instant::ZERO,
            latency: hop.latency,
            passing,
            remaining: Duration(remaining),
            class: hop.class,
            place,
            out,
            offered: 0,
            offered_bytes: 0,
            ahead_max: 0,
            queue_max: 0,
            starts: Ring::with_places(PLACES.1, Instant::ZERO),
            recent: Recent::default(),
            ended: Ring::with_places(PLACES.2, nothing),
        }
    }

    /// When the last frame sent has arrived.
    pub(super) fn arrived(&self) -> Instant {
        self.free + self.latency
    }

    /// Takes out what comes, and where the first entry is that has not been served.
    #[inline]
    pub(super) fn take(&mut self) -> (Vec<Coming>, usize) {
        (std::mem::take(&mut self.coming), self.served)
    }

    /// Gives it back, of which `served` have been served now. Returns whether nothing is left.
    #[inline]
    pub(super) fn put_back(&mut self, mut coming: Vec<Coming>, served: Range<usize>) -> bool {
        let nothing_left = served.end == coming.len();
        self.served = served.end;
        if nothing_left {
            coming.clear();
            self.served = 0;
        } else if served.end >= coming.len() / 2 {
            // The rest moves up into what is in the caches: each entry moves about once.
            coming.copy_within(served.end.., 0);
            coming.truncate(coming.len() - served.end);
            self.served = 0;
        }
        self.coming = coming;
        nothing_left
    }

    /// A frame of the port itself becomes ready: those go in the order in which it sends them. Returns whether it is
    /// the only one.
    #[inline]
    pub(super) fn push_own(&mut self, frame: Frame, ready: Instant) -> bool {
        self.coming.push(Coming { frame, ready });
        self.coming.len() == self.served + 1
    }

    /// A frame that comes from elsewhere will become ready, at which it has made `hop` hops. Returns whether it is the
    /// only one.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Copies of frames are what a hop costs.
    pub(super) fn push(
        &mut self,
        frame: &Frame,
        (hop, onward): (u8, Onward),
        ready: Instant,
    ) -> bool {
        let own = self.coming.len();
        self.coming.push(Coming {
            frame: *frame,
            ready,
        });
        if let Some(last) = self.coming.last_mut() {
            last.frame.hop = hop;
            last.frame.onward = onward;
        }
        if own == self.served {
            return true;
        }
        // They go in order of time: each stream is, so that mostly this is the last.
        if self.coming[own - 1].comes_after(ready, frame.tie) {
            sort_in(&mut self.coming[self.served..]);
        }
        false
    }

    /// All frames of a message, of which `frame` is the first, come from the port itself. Returns how many.
    #[inline]
    pub(super) fn push_volley(&mut self, mut frame: Frame, runs: &[Run], ready: Instant) -> u64 {
        let before = self.coming.len();
        for run in runs {
            for _ in 0..run.count {
                self.coming.push(Coming { frame, ready });
                // The number of a frame is the last part of its tie word.
                frame.tie += 1;
            }
            frame.run += 1;
        }
        if let Some(last) = self.coming.last_mut() {
            last.frame.kind = FrameKind::Last;
        }
        (self.coming.len() - before) as u64
    }

    /// When the first frames that come are sent, and what they add up to; `times` becomes their times, as many as
    /// it has places for. Returns how many. It ends before the first of which `stops` says so, told when that
    /// begins.
    #[inline]
    pub(super) fn send(
        &mut self,
        compiled: &Compiled,
        coming: &[Coming],
        stops: impl Fn(&Coming, Instant) -> bool,
        times: &mut [Times],
        window: (Instant, Instant),
    ) -> (usize, Sums) {
        let (served, sums) =
            self.find_times(compiled.times_on(self.class), coming, stops, times, window);
        self.offered += served as u64;
        self.offered_bytes += sums.bytes;
        (served, sums)
    }

    #[inline(never)] // It needs all the registers that there are.
    fn find_times(
        &mut self,
        on_class: &[FrameTime],
        coming: &[Coming],
        stops: impl Fn(&Coming, Instant) -> bool,
        times: &mut [Times],
        window: (Instant, Instant),
    ) -> (usize, Sums) {
        let mut free = self.free;
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
                sums.waits += 1;
                while self.starts.get(0).is_some_and(|start| *start <= ready) {
                    self.starts.pop();
                }
                self.starts.push(start);
                if ready >= window.0 && ready < window.1 {
                    self.queue_max = self.queue_max.max(count(self.starts.len()));
                    self.ahead_max = self.ahead_max.max(start.0 - ready.0);
                }
            } else if !self.starts.is_empty() {
                self.starts.clear();
            }
            let awaited = match frame.onward {
                Onward::Cut => time.header.min(time.ser),
                Onward::Store => time.ser,
            };
            *place = Times {
                ready,
                start,
                end,
                handover: Instant(start.0 + awaited + self.passing.0),
            };
            served += 1;
        }
        self.free = free;
        (served, sums)
    }
}

/// Moves the last entry to its place among those before it, which are in order.
#[inline(never)]
fn sort_in(coming: &mut [Coming]) {
    let Some(own) = coming.last().copied() else {
        return;
    };
    let mut place = coming.len() - 1;
    while place > 0 && coming[place - 1].comes_after(own.ready, own.frame.tie) {
        coming[place] = coming[place - 1];
        place -= 1;
    }
    coming[place] = own;
}
