//! A calendar of events: buckets of time for the near future, a heap for the rest.

use super::queue::{EventQueue, Key};
use crate::unit::Instant;

/// Width of a bucket: 2^17 ps, about 0.13 us, so that a busy fabric has an event or two in each.
const SHIFT: u32 = 17;
/// Buckets: together about 67 us, few enough to stay in the cache nearest the core. A power of two.
const BUCKETS: u64 = 1 << 9;

/// Events that come and go, in the order of their keys.
///
/// Push costs O(1); pop looks for the least key in one bucket, which holds few. Events beyond the buckets
/// wait in a heap and move in as time comes near. No allocation once every bucket has grown to its most
/// (R. Brown, "Calendar queues", Communications of the ACM 31, 1988; here with a fixed width and a heap
/// for the far future).
#[derive(Debug)]
pub struct Calendar<E> {
    buckets: Vec<Vec<(Key, E)>>,
    /// One bit a bucket: whether it holds anything.
    occupied: Vec<u64>,
    /// Absolute number of the first bucket that may hold anything.
    current: u64,
    near: usize,
    far: EventQueue<E>,
    /// Bucket number of the first event in `far`.
    far_from: u64,
    /// Place of the least event in its bucket, once it has been looked for.
    found: Option<(usize, usize)>,
}

impl<E: Copy> Calendar<E> {
    /// An empty calendar.
    #[must_use]
    pub fn new() -> Self {
        let buckets = usize::try_from(BUCKETS).unwrap_or(usize::MAX);
        Self {
            buckets: (0..buckets).map(|_| Vec::with_capacity(4)).collect(),
            occupied: vec![0; buckets / 64],
            current: 0,
            near: 0,
            far: EventQueue::with_capacity(1024),
            far_from: u64::MAX,
            found: None,
        }
    }

    /// Adds an event, not earlier than the last one taken.
    pub fn push(&mut self, key: Key, event: E) {
        let bucket = (key.at.0 >> SHIFT).max(self.current);
        if bucket - self.current < BUCKETS {
            self.insert(bucket, key, event);
        } else {
            self.far_from = self.far_from.min(bucket);
            self.far.push(key, event);
        }
    }

    fn insert(&mut self, bucket: u64, key: Key, event: E) {
        let place = (bucket & (BUCKETS - 1)) as usize;
        if let Some((found, position)) = self.found
            && key < self.buckets[found][position].0
        {
            self.found = None;
        }
        self.buckets[place].push((key, event));
        self.occupied[place / 64] |= 1 << (place % 64);
        self.near += 1;
    }

    /// Key of the next event; [`Key::NEVER`] when there is none.
    pub fn next_key(&mut self) -> Key {
        if self.found.is_none() && !self.find() {
            return Key::NEVER;
        }
        self.found.map_or(Key::NEVER, |(place, position)| {
            self.buckets[place][position].0
        })
    }

    /// Takes the next event.
    pub fn pop(&mut self) -> Option<(Key, E)> {
        if self.found.is_none() && !self.find() {
            return None;
        }
        let (place, position) = self.found.take()?;
        let taken = self.buckets[place].swap_remove(position);
        if self.buckets[place].is_empty() {
            self.occupied[place / 64] &= !(1 << (place % 64));
        }
        self.near -= 1;
        Some(taken)
    }

    /// Looks for the least event. Whether there is one.
    fn find(&mut self) -> bool {
        if self.near == 0 {
            if self.far.is_empty() {
                return false;
            }
            self.current = self.far_from;
        } else {
            self.current = self.first_occupied();
        }
        if self.far_from - self.current.min(self.far_from) < BUCKETS {
            self.take_from_far();
        }
        let place = (self.current & (BUCKETS - 1)) as usize;
        let bucket = &self.buckets[place];
        let mut least = 0;
        for position in 1..bucket.len() {
            if bucket[position].0 < bucket[least].0 {
                least = position;
            }
        }
        self.found = Some((place, least));
        true
    }

    /// The first bucket from `current` on that holds anything; there is one.
    fn first_occupied(&self) -> u64 {
        let start = (self.current & (BUCKETS - 1)) as usize;
        let words = self.occupied.len();
        let mut word = start / 64;
        let mut bits = self.occupied[word] & (u64::MAX << (start % 64));
        for _ in 0..=words {
            if bits != 0 {
                let place = word as u64 * 64 + u64::from(bits.trailing_zeros());
                return self.current + (place.wrapping_sub(start as u64) & (BUCKETS - 1));
            }
            word = (word + 1) % words;
            bits = self.occupied[word];
        }
        self.current
    }

    fn take_from_far(&mut self) {
        while let Some((key, event)) = self.far.pop() {
            let bucket = key.at.0 >> SHIFT;
            if bucket.saturating_sub(self.current) >= BUCKETS {
                self.far.push(key, event);
                break;
            }
            self.insert(bucket.max(self.current), key, event);
        }
        let next = self.far.next_key();
        self.far_from = if next.at == Instant::NEVER {
            u64::MAX
        } else {
            next.at.0 >> SHIFT
        };
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

    /// Pops and pushes at random, at all distances, and compares with the heap.
    #[test]
    fn gives_the_order_of_the_heap() {
        for scale in [1_u64, 1 << 10, 1 << 16, 1 << 24, 1 << 31, 1 << 40] {
            let mut calendar = Calendar::new();
            let mut heap = EventQueue::with_capacity(16);
            let (mut now, mut number) = (0_u64, 0_u64);
            for step in 0..20_000_u64 {
                let word = mix64(step ^ scale << 1);
                if word % 5 < 2 || heap.is_empty() {
                    // Ties in time on purpose.
                    let at = now + (word >> 8) % scale / 4 * 4;
                    let key = Key {
                        at: Instant(at),
                        tie: u128::from(mix64(number)),
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
            }
            while let Some(expected) = heap.pop() {
                assert_eq!(calendar.pop(), Some(expected));
            }
            assert_eq!(calendar.pop(), None);
        }
    }
}
