//! A winner tree over a fixed number of sources.

use super::Key;

/// For each of `n` sources the key of its next event; finds the least of all in O(1) and changes one in
/// O(log n) comparisons, without moving anything but indices. No allocation after `new`.
///
/// Compared with a heap, a source that is served and has a next event at once costs one walk instead of
/// a pop and a push, and a source never has more than one entry.
#[derive(Debug)]
pub struct Tournament {
    keys: Vec<Key>,
    /// Winner of each inner node; node 1 is the root, node `i` has the children `2i` and `2i + 1`.
    winners: Vec<u32>,
    leaves: usize,
}

impl Tournament {
    /// `sources` sources, none of which has an event.
    ///
    /// # Panics
    /// With more than 2^31 sources.
    #[must_use]
    pub fn new(sources: usize) -> Self {
        let leaves = sources.max(1).next_power_of_two();
        assert!(
            u32::try_from(leaves).is_ok_and(|n| n <= 1 << 31),
            "too many sources"
        );
        let mut tree = Self {
            keys: vec![Key::NEVER; leaves],
            winners: vec![0; leaves],
            leaves,
        };
        for node in (1..leaves).rev() {
            tree.winners[node] = tree.player(2 * node);
        }
        tree
    }

    /// The winner of the subtree at `node`; below the inner nodes stand the sources themselves.
    fn player(&self, node: usize) -> u32 {
        if node >= self.leaves {
            u32::try_from(node - self.leaves).unwrap_or(u32::MAX)
        } else {
            self.winners[node]
        }
    }

    /// Sets the key of a source; [`Key::NEVER`] when it has no event.
    ///
    /// # Panics
    /// When there is no such source.
    pub fn set(&mut self, source: usize, key: Key) {
        self.keys[source] = key;
        let mut node = (source + self.leaves) / 2;
        while node >= 1 {
            let (left, right) = (self.player(2 * node), self.player(2 * node + 1));
            let winner = if self.keys[right as usize] < self.keys[left as usize] {
                right
            } else {
                left
            };
            self.winners[node] = winner;
            node /= 2;
        }
    }

    /// The source with the least key, and that key.
    #[must_use]
    pub fn least(&self) -> (usize, Key) {
        let winner = if self.leaves == 1 {
            0
        } else {
            self.winners[1] as usize
        };
        (winner, self.keys[winner])
    }

    /// The key of a source.
    #[must_use]
    pub fn key(&self, source: usize) -> Key {
        self.keys[source]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::{Instant, mix64};

    #[test]
    fn least_equals_a_scan_after_every_change() {
        for sources in [1_usize, 2, 3, 7, 64, 65] {
            let mut tree = Tournament::new(sources);
            let mut plain = vec![Key::NEVER; sources];
            for step in 0..2_000_u64 {
                let word = mix64(step);
                let source = usize::try_from(word % sources as u64).unwrap();
                let key = if word & 0x700 == 0 {
                    Key::NEVER
                } else {
                    Key {
                        at: Instant((word >> 16) % 50),
                        tie: u128::from(step),
                    }
                };
                tree.set(source, key);
                plain[source] = key;
                let least = plain.iter().min().unwrap();
                assert_eq!(tree.least().1, *least);
            }
        }
    }
}
