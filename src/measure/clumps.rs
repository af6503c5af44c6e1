//! How far I/Os above a target come in clumps: those of one busy period or one burst are late together.
//!
//! A thousand late I/Os in three clumps say as much as three that are independent. Counts in equal blocks of the measured window tell the
//! size of a clump, at the width of blocks at which it shows most. Where few are above the target, those above levels below it tell.
//!
//! Left out: clumps longer than the window, which only the replications tell.

use crate::unit::{Duration, Instant};

/// Blocks of the measured window.
const BLOCKS: usize = 64;

/// Levels at which counts are kept, in eighths of the target.
const LEVELS: [u64; 4] = [8, 7, 6, 4];

/// I/Os above a target, and above levels below it, by the block of the window in which they arrived.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clumps {
    target: u64,
    from: u64,
    length: u64,
    counts: Vec<[u32; LEVELS.len()]>,
}

impl Clumps {
    /// None yet, of a target in ps, in the window [from, to).
    #[must_use]
    pub fn new(target: u64, from: Instant, to: Instant) -> Self {
        Self {
            target,
            from: from.0,
            length: to.since(from).0.max(1),
            counts: vec![[0; LEVELS.len()]; BLOCKS],
        }
    }

    /// An I/O that arrived in the window at `arrival` took `latency`; infinite: it failed.
    #[inline]
    pub fn record(&mut self, arrival: Instant, latency: Duration) {
        if latency.0 > self.target / 2 {
            self.count(arrival, latency);
        }
    }

    #[allow(clippy::cast_possible_truncation)] // Below the number of blocks.
    fn count(&mut self, arrival: Instant, latency: Duration) {
        let gone = u128::from(arrival.0.saturating_sub(self.from));
        let block = (gone * BLOCKS as u128 / u128::from(self.length)) as usize;
        let own = &mut self.counts[block.min(BLOCKS - 1)];
        for (count, level) in own.iter_mut().zip(LEVELS) {
            let above = u128::from(latency.0) * 8 > u128::from(self.target) * u128::from(level);
            *count = count.saturating_add(u32::from(above));
        }
    }
}

/// Clumps above a target from which on their own size is known well enough. A choice of this program.
const ENOUGH: f64 = 10.0;

/// Of more I/Os than this share a level tells nothing of rare ones. A choice of this program.
const RARE: f64 = 0.1;

/// I/Os in a clump above the target, from the replications of one workload and the number of I/Os in all: the variance of the counts of
/// blocks over their mean, at least 1 (the index of dispersion: D. R. Cox and P. A. W. Lewis, *The Statistical Analysis of Series of
/// Events*, 1966, chapter 4, from memory). 1 where nothing is known of clumps.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn clump_size(replications: &[&Clumps], total: u64) -> f64 {
    let size = |level: usize| dispersion(replications, level);
    let seen = |level: usize| -> f64 {
        let blocks = replications.iter().flat_map(|own| &own.counts);
        blocks.map(|counts| f64::from(counts[level])).sum()
    };
    // The highest level that has enough of them, or else the lowest that has any.
    let mut most = 1.0_f64;
    for level in 0..LEVELS.len() {
        if level > 0 && seen(level) > RARE * total as f64 {
            break;
        }
        let own = size(level);
        most = most.max(own);
        if seen(level) >= ENOUGH * own {
            break;
        }
    }
    most
}

/// The largest over block widths of Σ (count − mean of its place)² ÷ (R − 1) ÷ Σ means; of a single replication, whose places have no
/// other mean than that of all, the same about that. What all replications have alike, as bursts that come at the same time, is no clump.
#[allow(clippy::cast_precision_loss)]
fn dispersion(replications: &[&Clumps], level: usize) -> f64 {
    /// Squares of which a variance is the mean, at least.
    const FREEDOM: usize = 16;
    let count = replications.len();
    let mut width = 1;
    let mut most = 1.0_f64;
    while width <= BLOCKS {
        let blocks = BLOCKS / width;
        let freedom = if count > 1 {
            blocks * (count - 1)
        } else {
            blocks - 1
        };
        if freedom < FREEDOM {
            break;
        }
        let counted: Vec<Vec<f64>> = replications
            .iter()
            .map(|own| {
                let places = own.counts.chunks(width);
                places
                    .map(|place| place.iter().map(|counts| f64::from(counts[level])).sum())
                    .collect()
            })
            .collect();
        let sum: f64 = counted.iter().flatten().sum();
        let squares: f64 = if count > 1 {
            let of_place = |place: usize| {
                let own = counted.iter().map(|blocks| blocks[place]);
                let mean = own.clone().sum::<f64>() / count as f64;
                own.map(|own| (own - mean) * (own - mean)).sum::<f64>()
            };
            (0..blocks).map(of_place).sum()
        } else {
            let mean = sum / blocks as f64;
            let own = counted.iter().flatten();
            own.map(|own| (own - mean) * (own - mean)).sum()
        };
        if sum > 0.0 {
            let mean = sum / (blocks * count) as f64;
            most = most.max(squares / freedom as f64 / mean);
        }
        width *= 2;
    }
    most
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    const WINDOW: u64 = 64_000_000;

    /// One replication of late I/Os, by where they arrive in the window, of 3/4 of the target and more.
    fn of(late: &[(u64, u64)]) -> Clumps {
        let mut clumps = Clumps::new(800, Instant(1_000), Instant(1_000 + WINDOW));
        for (at, latency) in late {
            clumps.record(Instant(1_000 + at), Duration(*latency));
        }
        clumps
    }

    fn size(replications: &[Clumps], total: u64) -> f64 {
        clump_size(&replications.iter().collect::<Vec<_>>(), total)
    }

    /// Ten replications of `each` clumps of `ios` at random places.
    fn clumped(each: u64, ios: u64, latency: u64) -> Vec<Clumps> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(each + ios);
        (0..10)
            .map(|_| {
                let mut late = Vec::new();
                for _ in 0..each {
                    let at = random.next_u64() % (WINDOW - 1_000);
                    late.extend((0..ios).map(|own| (at + own, latency)));
                }
                of(&late)
            })
            .collect()
    }

    #[test]
    fn clumps_of_a_stated_size_are_found() {
        // The variance of a count of clumps at random is their size times its mean; of 630 squares and 200 clumps its error is some 10 %,
        // and the widest of several widths is taken.
        for ios in [1, 5, 40] {
            let got = size(&clumped(20, ios, 900), 1_000_000);
            let ios = ios as f64;
            assert!(got > ios * 0.75 && got < ios * 1.8, "{got} of {ios}");
        }
    }

    #[test]
    fn levels_below_the_target_tell_where_nothing_is_above() {
        let none = clumped(20, 30, 700);
        let got = size(&none, 1_000_000);
        assert!(got > 22.0 && got < 54.0, "{got}");
        // Above them lies most of the work: that is its latency, not its tail.
        assert_eq!(size(&none, 12_000), 1.0);
        assert_eq!(size(&clumped(20, 30, 300), 1_000_000), 1.0);
    }

    #[test]
    fn what_all_replications_have_alike_is_no_clump() {
        let burst: Vec<(u64, u64)> = (0..500).map(|own| (WINDOW / 3 + own, 900)).collect();
        assert_eq!(size(&vec![of(&burst); 10], 1_000_000), 1.0);
        // A single replication cannot know.
        assert!(size(&[of(&burst)], 1_000_000) > 100.0);
    }
}
