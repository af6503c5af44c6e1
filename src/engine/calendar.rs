//! A calendar of events: buckets of time for the near future, a heap for the rest.

use super::queue::{EventQueue, Key};
use crate::unit::Instant;

/// Buckets: a power of two, few enough that their heads and marks stay in the cache nearest the core.
const BUCKETS: u64 = 1 << 11;
/// Words of one bit a bucket.
const WORDS: usize = BUCKETS as usize / 64;
/// Width of a bucket at first: 2^15 ps, about 33 ns. It follows the time between events.
const FIRST_SHIFT: u32 = 15;
/// Widest bucket: all buckets together still fit the clock.
const WIDEST_SHIFT: u32 = 50;
/// Events taken between two looks at the width.
const LOOK: u32 = 1 << 14;
/// No entry.
const NONE: u32 = u32::MAX;

#[derive(Clone, Copy, Debug)]
struct Entry<E> {
    at: u64,
    /// The tie word in halves: an entry needs no more alignment than its parts.
    tie_high: u64,
    tie_low: u64,
    event: E,
    /// The next one in the bucket, or in the list of free entries.
    next: u32,
}

impl<E> Entry<E> {
    #[inline]
    fn key(&self) -> Key {
        Key {
            at: Instant(self.at),
            tie: u128::from(self.tie_high) << 64 | u128::from(self.tie_low),
        }
    }

    #[inline]
    fn precedes(&self, at: u64, tie_high: u64, tie_low: u64) -> bool {
        if self.at == at {
            (self.tie_high, self.tie_low) < (tie_high, tie_low)
        } else {
            self.at < at
        }
    }
}

/// Events that come and go, in the order of their keys.
///
/// Each bucket is a list in order and holds few events: its width, two to four times as long as that from
/// event to event, follows the time between events.
/// Push walks the list of one bucket, pop takes the first of the first bucket that holds any. Events beyond
/// the buckets wait in a heap and move in as time comes near. No allocation once there has been room for
/// the most events ever held (R. Brown, "Calendar queues", Communications of the ACM 31, 1988; here with a
/// heap for the far future instead of years).
#[derive(Debug)]
pub struct Calendar<E> {
    entries: Vec<Entry<E>>,
    free: u32,
    /// First entry of each bucket.
    heads: Box<[u32; BUCKETS as usize]>,
    /// One bit a bucket: whether it holds anything.
    occupied: [u64; WORDS],
    shift: u32,
    /// Absolute number of the first bucket that may hold anything. What is due in earlier ones, never
    /// earlier than what was taken last, goes into this one too: its list is in order.
    current: u64,
    near: usize,
    far: EventQueue<E>,
    /// Bucket number of the first event in `far`.
    far_from: u64,
    /// When the event taken last was due.
    last: u64,
    /// Events still to be taken before the next look at the width, and when the last one was.
    until_look: u32,
    looked: u64,
}

impl<E: Copy> Calendar<E> {
    /// An empty calendar.
    #[must_use]
    pub fn new() -> Self {
        Self {
            entries: Vec::with_capacity(256),
            free: NONE,
            heads: Box::new([NONE; BUCKETS as usize]),
            occupied: [0; WORDS],
            shift: FIRST_SHIFT,
            current: 0,
            near: 0,
            far: EventQueue::with_capacity(1024),
            far_from: u64::MAX,
            last: 0,
            until_look: LOOK,
            looked: 0,
        }
    }

    /// Adds an event, not earlier than the last one taken.
    #[inline]
    pub fn push(&mut self, key: Key, event: E) {
        let bucket = (key.at.0 >> self.shift).max(self.current);
        if bucket - self.current < BUCKETS {
            self.insert(bucket, key, event);
        } else {
            self.far_from = self.far_from.min(bucket);
            self.far.push(key, event);
        }
    }

    #[inline]
    #[allow(clippy::cast_possible_truncation)]
    fn insert(&mut self, bucket: u64, key: Key, event: E) {
        let (at, tie_high, tie_low) = (key.at.0, (key.tie >> 64) as u64, key.tie as u64);
        let place = (bucket & (BUCKETS - 1)) as usize;
        let mut before = NONE;
        let mut next = self.heads[place];
        while let Some(other) = self.entries.get(next as usize)
            && other.precedes(at, tie_high, tie_low)
        {
            before = next;
            next = other.next;
        }
        let index = self.keep(Entry {
            at,
            tie_high,
            tie_low,
            event,
            next,
        });
        match self.entries.get_mut(before as usize) {
            Some(other) => other.next = index,
            None => {
                self.heads[place] = index;
                self.occupied[place / 64] |= 1 << (place % 64);
            }
        }
        self.near += 1;
    }

    #[inline]
    fn keep(&mut self, entry: Entry<E>) -> u32 {
        let index = self.free;
        match self.entries.get_mut(index as usize) {
            Some(slot) => {
                self.free = slot.next;
                *slot = entry;
                index
            }
            None => {
                self.entries.push(entry);
                u32::try_from(self.entries.len() - 1).unwrap_or(NONE)
            }
        }
    }

    /// Key of the next event; [`Key::NEVER`] when there is none.
    #[inline]
    pub fn next_key(&mut self) -> Key {
        self.first()
            .map_or(Key::NEVER, |(_, index)| self.entries[index as usize].key())
    }

    /// When the next event is due; [`Instant::NEVER`] when there is none.
    #[inline]
    pub fn next_at(&mut self) -> Instant {
        self.first().map_or(Instant::NEVER, |(_, index)| {
            Instant(self.entries[index as usize].at)
        })
    }

    /// Takes the next event.
    #[inline]
    pub fn pop(&mut self) -> Option<(Key, E)> {
        let (place, index) = self.first()?;
        let entry = &mut self.entries[index as usize];
        let taken = (entry.key(), entry.event);
        let next = std::mem::replace(&mut entry.next, self.free);
        self.free = index;
        self.heads[place] = next;
        if next == NONE {
            self.occupied[place / 64] &= !(1 << (place % 64));
        }
        self.near -= 1;
        self.last = taken.0.at.0;
        self.until_look -= 1;
        if self.until_look == 0 {
            self.look();
        }
        Some(taken)
    }

    /// Place and entry of the least event.
    #[inline]
    fn first(&mut self) -> Option<(usize, u32)> {
        let place = (self.current & (BUCKETS - 1)) as usize;
        let index = self.heads[place];
        if index != NONE {
            return Some((place, index));
        }
        self.advance()
    }

    /// Moves on to the first bucket that holds anything.
    #[inline(never)]
    fn advance(&mut self) -> Option<(usize, u32)> {
        if self.near > 0 {
            self.current = self.first_occupied();
        } else if self.far.is_empty() {
            return None;
        } else {
            self.current = self.far_from;
        }
        if self.far_from < self.current.saturating_add(BUCKETS) {
            self.take_from_far();
        }
        let place = (self.current & (BUCKETS - 1)) as usize;
        Some((place, self.heads[place]))
    }

    /// The first bucket from `current` on that holds anything; there is one.
    #[inline]
    fn first_occupied(&self) -> u64 {
        let start = (self.current & (BUCKETS - 1)) as usize;
        let mut word = start / 64;
        let mut bits = self.occupied[word] & (u64::MAX << (start % 64));
        if bits != 0 {
            return self.current + u64::from(bits.trailing_zeros()) - (start % 64) as u64;
        }
        for _ in 0..=WORDS {
            if bits != 0 {
                let place = word as u64 * 64 + u64::from(bits.trailing_zeros());
                return self.current + (place.wrapping_sub(start as u64) & (BUCKETS - 1));
            }
            word = (word + 1) % WORDS;
            bits = self.occupied[word];
        }
        self.current
    }

    fn take_from_far(&mut self) {
        loop {
            let next = self.far.next_key();
            if next.at == Instant::NEVER && self.far.is_empty() {
                self.far_from = u64::MAX;
                return;
            }
            let bucket = (next.at.0 >> self.shift).max(self.current);
            if bucket - self.current >= BUCKETS {
                self.far_from = bucket;
                return;
            }
            if let Some((key, event)) = self.far.pop() {
                self.insert(bucket, key, event);
            }
        }
    }

    /// Fits the width of the buckets to the time between events, when it is off by four or more.
    #[cold]
    fn look(&mut self) {
        let gap = (self.last - self.looked) / u64::from(LOOK);
        let shift = (gap.max(1).ilog2() + 1).min(WIDEST_SHIFT);
        self.until_look = LOOK;
        self.looked = self.last;
        if shift.abs_diff(self.shift) < 2 {
            return;
        }
        self.shift = shift;
        let mut moved = Vec::with_capacity(self.near);
        for head in self.heads.iter_mut() {
            let mut index = std::mem::replace(head, NONE);
            while let Some(entry) = self.entries.get(index as usize) {
                moved.push((entry.key(), entry.event));
                index = entry.next;
            }
        }
        self.occupied.fill(0);
        self.entries.clear();
        self.free = NONE;
        self.near = 0;
        self.current = self.last >> shift;
        self.far_from = match self.far.next_key() {
            key if self.far.is_empty() && key == Key::NEVER => u64::MAX,
            key => key.at.0 >> shift,
        };
        for (key, event) in moved {
            self.push(key, event);
        }
        if self.far_from < self.current.saturating_add(BUCKETS) {
            self.take_from_far();
        }
    }

    /// Number of events held.
    #[must_use]
    pub fn len(&self) -> usize {
        self.near + self.far.len()
    }

    /// Whether none is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl<E: Copy> Default for Calendar<E> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::mix64;

    /// Pops and pushes at random, at all distances, and compares with the heap. The pace changes within a
    /// run, so that the width of the buckets does too.
    #[test]
    fn gives_the_order_of_the_heap() {
        for scale in [1_u64, 1 << 10, 1 << 16, 1 << 24, 1 << 31, 1 << 40] {
            let mut calendar = Calendar::new();
            let mut heap = EventQueue::with_capacity(16);
            let (mut now, mut number) = (0_u64, 0_u64);
            let mut widths = Vec::new();
            for step in 0..400_000_u64 {
                let scale = (scale >> (step / 100_000 * 7)).max(1);
                let word = mix64(step ^ scale << 1);
                if word % 5 < 2 || heap.is_empty() {
                    // Ties in time on purpose, and now and then something far away.
                    let spread = if word % 1_000 < 2 { scale << 12 } else { scale };
                    let at = now + (word >> 8) % spread / 4 * 4;
                    let key = Key {
                        at: Instant(at),
                        tie: u128::from(mix64(number)) << 32,
                    };
                    calendar.push(key, number);
                    heap.push(key, number);
                    number += 1;
                } else if word % 5 == 2 {
                    assert_eq!(calendar.next_key(), heap.next_key());
                } else {
                    let expected = heap.pop();
                    assert_eq!(calendar.pop(), expected);
                    now = expected.map_or(now, |(key, _)| key.at.0);
                }
                assert_eq!(calendar.len(), heap.len());
                if widths.last() != Some(&calendar.shift) {
                    widths.push(calendar.shift);
                }
            }
            assert!(widths.len() > 1, "the width never changed at scale {scale}");
            while let Some(expected) = heap.pop() {
                assert_eq!(calendar.pop(), Some(expected));
            }
            assert_eq!(calendar.pop(), None);
        }
    }

    #[test]
    fn holds_what_never_comes() {
        let mut calendar = Calendar::new();
        calendar.push(Key::NEVER, 'a');
        calendar.push(
            Key {
                at: Instant(5),
                tie: 0,
            },
            'b',
        );
        assert_eq!(calendar.pop().map(|(_, event)| event), Some('b'));
        assert_eq!(calendar.pop().map(|(_, event)| event), Some('a'));
        assert_eq!(calendar.pop(), None);
    }
}
