//! A ring: first in, first out, with every place in reach.

/// Entries in order of coming. Push, pop and look-up cost O(1); memory grows to the most ever held, in
/// powers of two, and stays.
#[derive(Clone, Debug)]
pub struct Ring<T> {
    /// A power of two of places, or none.
    slots: Vec<T>,
    /// Number of the first entry since the beginning; its place is that modulo the places.
    head: usize,
    len: usize,
}

impl<T: Copy> Ring<T> {
    /// An empty ring, without memory.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            slots: Vec::new(),
            head: 0,
            len: 0,
        }
    }

    /// An empty ring with memory for so many entries, rounded up to a power of two. `filler` is never seen.
    #[must_use]
    pub fn with_places(places: usize, filler: T) -> Self {
        Self {
            slots: vec![filler; places.next_power_of_two()],
            head: 0,
            len: 0,
        }
    }

    /// Entries held.
    #[must_use]
    #[inline]
    pub const fn len(&self) -> usize {
        self.len
    }

    /// Whether none is held.
    #[must_use]
    #[inline]
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Adds an entry at the end.
    #[inline(always)]
    #[allow(clippy::inline_always)] // An entry goes straight to its place; passed on whole, it would wait in memory.
    pub fn push(&mut self, entry: T) {
        if self.len == self.slots.len() {
            if self.slots.is_empty() {
                self.slots.push(entry);
                self.len = 1;
                return;
            }
            self.grow();
        }
        let place = self.place(self.len);
        self.slots[place] = entry;
        self.len += 1;
    }

    #[inline]
    const fn place(&self, position: usize) -> usize {
        self.head.wrapping_add(position) & self.slots.len().wrapping_sub(1)
    }

    /// Doubles the places; there is one at least.
    #[cold]
    fn grow(&mut self) {
        let places = 2 * self.slots.len();
        let mut slots = Vec::with_capacity(places);
        slots.extend(self.iter());
        slots.resize(places, self.slots[0]);
        self.slots = slots;
        self.head = 0;
    }

    /// The entry at `position`, 0 being the first; `None` past the last.
    #[must_use]
    #[inline]
    pub fn get(&self, position: usize) -> Option<&T> {
        if position < self.len {
            self.slots.get(self.place(position))
        } else {
            None
        }
    }

    /// The same, to be changed.
    #[inline]
    pub fn get_mut(&mut self, position: usize) -> Option<&mut T> {
        if position < self.len {
            let place = self.place(position);
            self.slots.get_mut(place)
        } else {
            None
        }
    }

    /// The last entry.
    #[must_use]
    #[inline]
    pub fn last(&self) -> Option<&T> {
        self.get(self.len.wrapping_sub(1))
    }

    /// Takes the first entry away.
    #[inline]
    pub fn pop(&mut self) -> Option<T> {
        let first = self.get(0).copied()?;
        self.drop_first();
        Some(first)
    }

    /// Takes the first entry, if there is one, away without looking at it.
    #[inline]
    pub fn drop_first(&mut self) {
        let Some(rest) = self.len.checked_sub(1) else {
            return;
        };
        self.len = rest;
        // An empty ring starts again in the place that is in the cache.
        self.head = if self.len == 0 {
            0
        } else {
            self.head.wrapping_add(1)
        };
    }

    /// Takes the last entry away.
    pub fn pop_last(&mut self) -> Option<T> {
        let last = self.last().copied()?;
        self.len -= 1;
        Some(last)
    }

    /// Takes all entries away.
    pub const fn clear(&mut self) {
        self.len = 0;
        self.head = 0;
    }

    /// All entries, the first in front.
    pub fn iter(&self) -> impl Iterator<Item = T> + '_ {
        (0..self.len).map(|position| self.slots[self.place(position)])
    }
}

impl<T: Copy> Default for Ring<T> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::mix64;
    use std::collections::VecDeque;

    #[test]
    fn holds_what_a_deque_holds() {
        let (mut ring, mut deque) = (Ring::new(), VecDeque::new());
        for step in 0..20_000_u64 {
            let word = mix64(step);
            // Long stretches of growing and of shrinking.
            if (word % 8 < 5) == ((step / 3_000).is_multiple_of(2)) {
                ring.push(step);
                deque.push_back(step);
            } else {
                assert_eq!(ring.pop(), deque.pop_front());
            }
            assert_eq!(ring.len(), deque.len());
            assert_eq!(ring.is_empty(), deque.is_empty());
            assert_eq!(ring.last(), deque.back());
            let position = usize::try_from(word % 97).unwrap();
            assert_eq!(ring.get(position), deque.get(position));
            assert_eq!(ring.get_mut(position), deque.get_mut(position));
        }
        assert!(ring.iter().eq(deque));
        ring.clear();
        assert_eq!((ring.len(), ring.get(0)), (0, None));
    }
}
