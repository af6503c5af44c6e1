//! What every event set can do, so that an executor can be built on any of them.

use super::calendar::Calendar;
use super::queue::{EventQueue, Key};

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
    /// Takes the next event.
    fn pop(&mut self) -> Option<(Key, E)>;
    /// Number of events held.
    fn held(&self) -> usize;
}

impl<E: Copy> EventSet<E> for Calendar<E> {
    fn empty() -> Self {
        Self::new()
    }

    fn push(&mut self, key: Key, event: E) {
        Self::push(self, key, event);
    }

    fn next_key(&mut self) -> Key {
        Self::next_key(self)
    }

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

    fn push(&mut self, key: Key, event: E) {
        Self::push(self, key, event);
    }

    fn next_key(&mut self) -> Key {
        Self::next_key(self)
    }

    fn pop(&mut self) -> Option<(Key, E)> {
        Self::pop(self)
    }

    fn held(&self) -> usize {
        self.len()
    }
}
