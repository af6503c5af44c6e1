//! A winner tree over a fixed number of sources.

use super::Key;
use crate::unit::Instant;

/// For each of `n` sources the key of its next event; finds the least of all in O(1) and changes one in
/// O(log n) comparisons of times, without moving anything but indices. No allocation after `new`.
///
/// Compared with a heap, a source that is served and has a next event at once costs one walk instead of
/// a pop and a push, and a source never has more than one entry. The walk ends early where the change
/// does not reach: a source that has not won a match and does not win it now.
#[derive(Debug)]
pub struct Tournament {
    /// Tie word of each source, looked at only when times are equal.
    ties: Vec<u128>,
    /// Winner of each match: node 1 is the root, node `i` has the children `2i` and `2i + 1`, and the
    /// sources themselves are the last half.
    nodes: Vec<Entrant>,
    leaves: usize,
}

#[derive(Clone, Copy, Debug)]
struct Entrant {
    at: u64,
    source: u32,
}

impl Tournament {
    /// `sources` sources, none of which has an event.
    ///
    /// # Panics
    /// With more than 2^31 sources.
    #[must_use]
    pub fn new(sources: usize) -> Self {
        let leaves = sources.max(2).next_power_of_two();
        assert!(
            u32::try_from(leaves).is_ok_and(|n| n <= 1 << 31),
            "too many sources"
        );
        let idle = Entrant {
            at: u64::MAX,
            source: 0,
        };
        let mut tree = Self {
            ties: vec![u128::MAX; leaves],
            nodes: vec![idle; 2 * leaves],
            leaves,
        };
        for (source, node) in tree.nodes[leaves..].iter_mut().enumerate() {
            node.source = u32::try_from(source).unwrap_or(u32::MAX);
        }
        for node in (1..leaves).rev() {
            tree.nodes[node] = tree.nodes[2 * node];
        }
        tree
    }

    /// Sets the key of a source; [`Key::NEVER`] when it has no event.
    ///
    /// # Panics
    /// When there is no such source.
    pub fn set(&mut self, source: usize, key: Key) {
        self.ties[source] = key.tie;
        let mut node = source + self.leaves;
        let mut winner = Entrant {
            at: key.at.0,
            source: self.nodes[node].source,
        };
        self.nodes[node] = winner;
        while node > 1 {
            let rival = self.nodes[node ^ 1];
            if rival.at < winner.at
                || (rival.at == winner.at
                    && self.ties[rival.source as usize] < self.ties[winner.source as usize])
            {
                winner = rival;
            }
            node /= 2;
            let before = std::mem::replace(&mut self.nodes[node], winner);
            if before.source == winner.source
                && before.at == winner.at
                && winner.source as usize != source
            {
                return;
            }
        }
    }

    /// The source with the least key, and that key.
    #[must_use]
    pub fn least(&self) -> (usize, Key) {
        let winner = self.nodes[1];
        let source = winner.source as usize;
        (
            source,
            Key {
                at: Instant(winner.at),
                tie: self.ties[source],
            },
        )
    }

    /// The key of a source.
    #[must_use]
    pub fn key(&self, source: usize) -> Key {
        Key {
            at: Instant(self.nodes[source + self.leaves].at),
            tie: self.ties[source],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::mix64;

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
