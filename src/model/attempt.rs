//! I/Os, their attempts, and the slabs that hold them.

use super::compile::HOPS_MAX;
use crate::unit::Instant;
use crate::workload::IoDraw;

/// No slot.
pub(crate) const NONE: u32 = u32::MAX;

/// One I/O: one identity, many attempts.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Io {
    /// Where it is issued.
    pub(crate) source: u32,
    /// Where it comes from: another source once the guests of that host are elsewhere.
    pub(crate) origin: u32,
    pub(crate) workload: u32,
    pub(crate) number: u64,
    pub(crate) arrival: Instant,
    /// When it was first given a path.
    pub(crate) first_issue: Instant,
    /// When its live attempt was given a path.
    pub(crate) last_issue: Instant,
    pub(crate) draw: IoDraw,
    pub(crate) attempts: u32,
    /// Attempts given up in the instant in which they were made: they are no retries.
    pub(crate) untried: u32,
    /// The attempt whose response completes it.
    pub(crate) live: u32,
    /// Neighbours in order of arrival among the unfinished of its workload.
    pub(crate) before: u32,
    pub(crate) after: u32,
    pub(crate) measured: bool,
    /// The line of the log that set it free last, `NONE` while nothing had to.
    pub(crate) freed: u32,
    /// It has lost a frame or been sent again: counted in the workload's `hanging` until it is over.
    pub(crate) hurt: bool,
}

/// One attempt at an I/O.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Attempt {
    /// I/O, or `NONE` once it has been given up.
    pub(crate) io: u32,
    /// Tie word of the I/O and attempt, rank and message empty.
    pub(crate) tie: u128,
    pub(crate) workload: u32,
    pub(crate) path: u32,
    /// Flow towards the array; the one back is one more.
    pub(crate) flow: u32,
    /// First volley of its plan, and the one under way.
    pub(crate) first_volley: u32,
    pub(crate) volley: u32,
    /// Frames of the volley that have arrived.
    pub(crate) received: u32,
    /// Frames on links and events that will come for it.
    pub(crate) holds: u32,
    /// Retransmissions of this volley, and whether one is pending.
    pub(crate) resent: u32,
    pub(crate) resend_pending: bool,
    /// A frame of it was lost: its time since issue counts as retry.
    pub(crate) disturbed: bool,
    pub(crate) controller: u32,
    pub(crate) issued: Instant,
    /// When the volley's frames became ready at their sender.
    pub(crate) volley_ready: Instant,
    /// When its request entered the array's queue.
    pub(crate) queued: Instant,
    pub(crate) service: u64,
    pub(crate) mirror: u64,
    pub(crate) bytes: u64,
    /// Neighbours in order of issue on its path.
    pub(crate) before: u32,
    pub(crate) after: u32,
    /// When the volley's own frames leave each hop free, were they alone there.
    pub(crate) own_free: [u64; HOPS_MAX],
    /// Parts of its time so far, ps.
    pub(crate) parts: Parts,
    /// The same since the volley began: its last frame's way.
    pub(crate) volley_sum: u64,
}

/// Parts of an attempt's time in picoseconds, queueing on links kept apart by tier elsewhere.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Parts {
    pub(crate) adapter: u64,
    pub(crate) serialization: u64,
    pub(crate) propagation: u64,
    pub(crate) switch: u64,
    pub(crate) array_queue: u64,
    pub(crate) service: u64,
    pub(crate) mirror: u64,
    pub(crate) extra_trip: u64,
}

/// Slots that are used again; grows to the most ever in use and stays.
#[derive(Debug)]
pub(crate) struct Slab<T> {
    slots: Vec<T>,
    free: Vec<u32>,
}

impl<T: Copy> Slab<T> {
    pub(crate) fn new() -> Self {
        Self {
            slots: Vec::new(),
            free: Vec::new(),
        }
    }

    pub(crate) fn insert(&mut self, value: T) -> u32 {
        if let Some(slot) = self.free.pop() {
            self.slots[slot as usize] = value;
            slot
        } else {
            self.slots.push(value);
            u32::try_from(self.slots.len() - 1)
                .expect("in-flight I/Os are bounded by the event limit")
        }
    }

    pub(crate) fn remove(&mut self, slot: u32) {
        self.free.push(slot);
    }

    /// All slots ever used, whether or not something is in them.
    pub(crate) fn all_mut(&mut self) -> &mut [T] {
        &mut self.slots
    }

    pub(crate) fn in_use(&self) -> usize {
        self.slots.len() - self.free.len()
    }

    /// Slots ever used.
    pub(crate) fn size(&self) -> usize {
        self.slots.len()
    }
}

impl<T> std::ops::Index<u32> for Slab<T> {
    type Output = T;
    fn index(&self, slot: u32) -> &T {
        &self.slots[slot as usize]
    }
}

impl<T> std::ops::IndexMut<u32> for Slab<T> {
    fn index_mut(&mut self, slot: u32) -> &mut T {
        &mut self.slots[slot as usize]
    }
}

/// Tie words. From the most significant end: rank 4 bits, workload 10, host 20, number 44, attempt 8,
/// message 12, frame 28.
pub(crate) mod tie {
    /// Ranks of events of one instant.
    pub(crate) const FAULT: u128 = 0;
    pub(crate) const SERVICE_END: u128 = 2;
    pub(crate) const FRAME: u128 = 3;
    pub(crate) const TIMER: u128 = 4;
    pub(crate) const NEW_IO: u128 = 5;

    /// Largest number of a frame in its message.
    pub(crate) const NUMBER_MAX: u32 = 0xfff_ffff;
    /// All parts but the rank.
    pub(crate) const BELOW_RANK: u128 = u128::MAX >> 4;

    pub(crate) fn io(workload: u32, host: u32, number: u64, attempt: u32) -> u128 {
        (u128::from(workload) & 0x3ff) << 112
            | (u128::from(host) & 0xf_ffff) << 92
            | (u128::from(number) & 0xfff_ffff_ffff) << 48
            | (u128::from(attempt) & 0xff) << 40
    }

    /// The number of the I/O that a tie word names.
    pub(crate) const fn number(tie: u128) -> u64 {
        (tie >> 48) as u64 & 0xfff_ffff_ffff
    }

    /// Timers of paths and hosts, among those of one instant: a path's fate first.
    #[derive(Clone, Copy, Debug)]
    pub(crate) enum Watching {
        PathStep = 1,
        Commands = 2,
        PathCheck = 3,
        NoPath = 4,
        Uplinks = 5,
        Takeover = 6,
        Team = 7,
        Guests = 8,
    }

    /// The place of a timer of a path or a set, after those of any I/O. No two share one.
    pub(crate) fn timer(host: u32, number: u32, what: Watching) -> u128 {
        ranked(TIMER, io(0x3ff, host, u64::from(number), what as u32))
    }

    pub(crate) fn ranked(rank: u128, io: u128) -> u128 {
        rank << 124 | io
    }

    pub(crate) fn frame(io: u128, message: u32, frame: u32) -> u128 {
        ranked(FRAME, io) | (u128::from(message) & 0xfff) << 28 | u128::from(frame & NUMBER_MAX)
    }
}
