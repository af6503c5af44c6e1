//! Frames on link directions.
//!
//! A direction is a FIFO that is served at a fixed rate. What a frame meets there is told by [`Links`]; the
//! rest of the model cannot tell who keeps the frames: [`Rings`] computes every departure when a frame
//! becomes ready and has one event a hop; [`PlainLinks`] steps through each transmission with an event for
//! every thing that happens. Both must count the same.
//!
//! Figures are recorded when a frame has arrived, so that a fault has nothing to undo.

mod plain;
mod port;
mod rings;

pub(super) use plain::PlainLinks;
pub use port::{Admission, Class, Discipline, Gate, InOrder, NoGate, Open};
pub(super) use rings::{AT_A_STROKE, Coming, Rings, Streams, Until};

use super::attempt::NONE;
use super::compile::{Compiled, Run, Watch};
use super::tally::DirectionTally;
use super::world::Event;
use crate::engine::EventSet;
use crate::measure::add_interval;
use crate::topology::DirectionId;
use crate::unit::Instant;

/// What a frame carries with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Rank, I/O, attempt, message and number: its place among the events of one instant.
    pub(crate) tie: u128,
    pub(crate) attempt: u32,
    pub(crate) flow: u32,
    pub(crate) run: u32,
    /// Hops already made.
    pub(crate) hop: u8,
    pub(crate) kind: FrameKind,
    /// Cut by a fault after its beginning had been handed on: it goes on as rubbish.
    pub(crate) spoilt: Spoilt,
    /// How it goes on from the direction it is on.
    pub(crate) onward: Onward,
}

impl Frame {
    /// Position in its volley, from 0: the last part of the tie word.
    #[allow(clippy::cast_possible_truncation)]
    pub(crate) const fn number(&self) -> u32 {
        self.tie as u32 & super::attempt::tie::NUMBER_MAX
    }
}

/// What a frame is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FrameKind {
    /// Part of a volley.
    Body,
    /// The last of its volley: its way is the latency budget.
    Last,
    /// A pure ACK.
    Ack,
}

/// Whether a frame is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Spoilt {
    /// It is.
    No,
    /// It will be thrown away at its end.
    Yes,
}

/// A frame on a direction, and its times there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(align(64))]
pub struct Flight {
    pub(crate) frame: Frame,
    pub(crate) ready: Instant,
    pub(crate) start: Instant,
    pub(crate) end: Instant,
    /// Ready at the next hop, or arrived at the last.
    pub(crate) handover: Instant,
}

/// No frame. A flight comes with a word beside it that says whether it is one: as an `Option` it would be told by a byte of the
/// frame, and be copied in pieces.
pub(super) const NOTHING: Flight = Flight {
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

/// The times of a frame on a direction.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Times {
    pub(crate) ready: Instant,
    pub(crate) start: Instant,
    pub(crate) end: Instant,
    /// Ready at the next hop, or arrived at the last.
    pub(crate) handover: Instant,
}

/// Up to so many directions have the memory of their statistics from the start (some 50 kB each), so that
/// nothing is allocated on the way; on larger sites it comes with the first frame that waits.
pub(super) const FEW: usize = 2_048;

// An entry of a ring is one cache line.
const _: () = assert!(std::mem::size_of::<Flight>() == 64);

/// Whether a frame goes on as soon as its header is in, where the switch allows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Onward {
    /// Output no faster than the input, same encapsulation: as soon as the header is in.
    Cut,
    /// Only once it is in whole; also at the end of its way.
    Store,
}

/// Whether a direction took a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Offered {
    /// It waits or goes.
    Taken,
    /// The direction is gone, or its port admits no more.
    Dropped,
}

/// A frame lost to a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LostFrame {
    pub(crate) frame: Frame,
    /// Its beginning had been handed on, so a spoilt copy travels further and is counted at its end.
    pub(crate) goes_on: bool,
}

/// Whether the receiving node of a lost direction is lost too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReceiverGone {
    /// Frames that wait there to be sent on are lost with it.
    Yes,
    /// They go on.
    No,
}

/// All link directions of a run, whoever keeps the frames.
pub trait Links: std::fmt::Debug {
    /// Whether frames are taken a stretch of time at a time: what [`step`](Self::step) hands over has come to
    /// the end of its way then, and its hops are accounted for.
    const IN_FLOW: bool = false;

    /// Idle directions; figures count what happens in the window that is watched.
    #[must_use]
    fn new(compiled: &Compiled, watch: Watch) -> Self;

    /// Puts a frame that is ready at `ready`, which is now, into a direction.
    fn offer(
        &mut self,
        compiled: &Compiled,
        over: (DirectionId, Onward),
        frame: Frame,
        ready: Instant,
        events: &mut impl EventSet<Event>,
    ) -> Offered;

    /// Puts all frames of a message that are ready at `ready` into a direction that takes them: the first is
    /// `frame`, of the first of `runs`. Only where [`IN_FLOW`](Self::IN_FLOW).
    fn offer_volley(
        &mut self,
        over: (DirectionId, Onward),
        frame: Frame,
        runs: &[Run],
        ready: Instant,
    ) {
        unreachable!("{frame:?} of {runs:?}, ready at {ready:?}, over {over:?} one by one");
    }

    /// Handles an event of a direction's own; `word` is what was planned with it. Returns whether a frame is
    /// handed over now, and which.
    fn step(
        &mut self,
        compiled: &Compiled,
        now: Instant,
        event: (DirectionId, u32),
        events: &mut impl EventSet<Event>,
    ) -> (bool, Flight);

    /// One more part that `direction` depends on is lost at `now`. Frames lost are pushed to `lost`, the
    /// first in front.
    fn lose(
        &mut self,
        compiled: &Compiled,
        place: (DirectionId, ReceiverGone),
        now: Instant,
        lost: &mut Vec<LostFrame>,
        events: &mut impl EventSet<Event>,
    );

    /// One lost part that `direction` depends on is back.
    fn restore(&mut self, direction: DirectionId, now: Instant);

    /// From `now` on what has not begun on `direction` has the times of `class`. It is stored at the far end,
    /// whatever was foreseen for it.
    fn pace(
        &mut self,
        compiled: &Compiled,
        place: (DirectionId, u32),
        now: Instant,
        events: &mut impl EventSet<Event>,
    );

    /// Marks the copy of a frame that has gone on as spoilt, wherever it is. Rare: a walk over everything.
    fn spoil(&mut self, frame: &Frame);

    /// Frames waiting or on their way.
    #[must_use]
    fn in_flight(&self) -> u64;

    /// Frames sent ahead of the time at which they come to their direction.
    #[must_use]
    fn ahead(&self) -> u64 {
        0
    }

    /// Ends the run at `now`: records what has arrived, and asserts that no frame has been lost silently.
    ///
    /// # Panics
    /// When frames offered are not waiting + dropped + sent, or sent not delivered + cut + on the wire.
    fn close(&mut self, compiled: &Compiled, now: Instant) -> Vec<DirectionTally>;
}

/// Overlap of [start, end) with [from, to), ps.
fn overlap(start: Instant, end: Instant, (from, to): (Instant, Instant)) -> u64 {
    end.min(to).since(start.max(from)).0
}

/// Counts [start, end) as busy.
fn busy(tally: &mut DirectionTally, start: Instant, end: Instant, window: (Instant, Instant)) {
    tally.busy += overlap(start, end, window);
    tally.busy_total += end.since(start).0;
    tally.busy_until = tally.busy_until.max(end);
    add_interval(&mut tally.busy_series, start, end);
}
