//! A heap of events in the order of their keys.

use crate::unit::Instant;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// When an event happens, and its place among those of the same instant.
///
/// The tie word is made from names (rank, workload, host, number, attempt, message, frame), never from the
/// order in which events were scheduled, so that the order cannot depend on how the program came to
/// process things.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Key {
    /// When.
    pub at: Instant,
    /// Place among equals; smaller first.
    pub tie: u128,
}

impl Key {
    /// After everything.
    pub const NEVER: Self = Self {
        at: Instant::NEVER,
        tie: u128::MAX,
    };
}

#[derive(Clone, Copy, Debug)]
struct Entry<E> {
    key: Key,
    event: E,
}

impl<E> PartialEq for Entry<E> {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl<E> Eq for Entry<E> {}

impl<E> PartialOrd for Entry<E> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<E> Ord for Entry<E> {
    // Reversed: the standard heap keeps its greatest entry on top.
    fn cmp(&self, other: &Self) -> Ordering {
        other.key.cmp(&self.key)
    }
}

/// Events that come and go. Push and pop cost O(log n); memory grows to the most ever held and stays.
///
/// Two events with equal keys leave in an unspecified (but repeatable) order: keys are made to differ.
#[derive(Debug)]
pub struct EventQueue<E> {
    heap: BinaryHeap<Entry<E>>,
}

impl<E> EventQueue<E> {
    /// An empty queue with room for `capacity` events before it allocates again.
    #[must_use]
    pub fn with_capacity(capacity: usize) -> Self {
        Self {
            heap: BinaryHeap::with_capacity(capacity),
        }
    }

    /// Adds an event.
    pub fn push(&mut self, key: Key, event: E) {
        self.heap.push(Entry { key, event });
    }

    /// Key of the next event; [`Key::NEVER`] when there is none.
    #[must_use]
    pub fn next_key(&self) -> Key {
        self.heap.peek().map_or(Key::NEVER, |entry| entry.key)
    }

    /// Takes the next event.
    pub fn pop(&mut self) -> Option<(Key, E)> {
        self.heap.pop().map(|entry| (entry.key, entry.event))
    }

    /// Number of events held.
    #[must_use]
    pub fn len(&self) -> usize {
        self.heap.len()
    }

    /// Whether none is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.heap.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leaves_in_order_of_time_then_tie() {
        let mut queue = EventQueue::with_capacity(4);
        for (at, tie, name) in [(5, 1, 'c'), (3, 9, 'b'), (3, 2, 'a'), (5, 2, 'd')] {
            queue.push(
                Key {
                    at: Instant(at),
                    tie,
                },
                name,
            );
        }
        let order: String = std::iter::from_fn(|| queue.pop())
            .map(|(_, name)| name)
            .collect();
        assert_eq!(order, "abcd");
        assert_eq!(queue.next_key(), Key::NEVER);
    }
}
