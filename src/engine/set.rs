//! What every event set can do, so that an executor can be built on any of them.

use super::calendar::Calendar;
use super::queue::{EventQueue, Key};
use crate::unit::Instant;

/// Events that come and go, in the order of their keys. Keys are made to differ; the order of two events
/// with equal keys is unspecified.
pub trait EventSet<E> {
    /// An empty set.
    #[must_use]
    fn empty() -> Self;
    /// Adds an event, not earlier than the last one taken.
    fn push(&mut self, key: Key, event: E);
    /// Key of the next event; [`Key::NEVER`] when there is none.
    fn next_key(&mut self) -> Key;
    /// Whether an event would be the next to be taken, were it added now.
    fn would_be_next(&mut self, key: Key, _event: &E) -> bool {
        key < self.next_key()
    }
    /// When the next event is due; [`Instant::NEVER`] when there is none.
    fn next_at(&mut self) -> Instant {
        self.next_key().at
    }
    /// Takes the next event.
    fn pop(&mut self) -> Option<(Key, E)>;
    /// Number of events held.
    fn held(&self) -> usize;
}

impl<E: Copy> EventSet<E> for Calendar<E> {
    fn empty() -> Self {
        Self::new()
    }

    #[inline(always)]
    #[allow(clippy::inline_always)] // As there.
    fn push(&mut self, key: Key, event: E) {
        Self::push(self, key, event);
    }

    fn next_key(&mut self) -> Key {
        Self::next_key(self)
    }

    #[inline]
    fn next_at(&mut self) -> Instant {
        Self::next_at(self)
    }

    #[inline(always)]
    #[allow(clippy::inline_always)] // As there.
    fn pop(&mut self) -> Option<(Key, E)> {
        Self::pop(self)
    }

    fn held(&self) -> usize {
        self.len()
    }
}

impl<E> EventSet<E> for EventQueue<E> {
    fn empty() -> Self {
        Self::with_capacity(0)
    }

    #[inline]
    fn push(&mut self, key: Key, event: E) {
        Self::push(self, key, event);
    }

    fn next_key(&mut self) -> Key {
        Self::next_key(self)
    }

    #[inline]
    fn pop(&mut self) -> Option<(Key, E)> {
        Self::pop(self)
    }

    fn held(&self) -> usize {
        self.len()
    }
}
