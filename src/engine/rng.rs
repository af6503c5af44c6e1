//! Random numbers that depend on their name only.

use crate::unit::{mix_pair, mix64};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// A short stream of draws with a name of its own: words such as (seed, replication, workload, host,
/// number, attempt). Equal words give equal draws on every machine; no stream shifts another.
///
/// Generator: xoshiro256++ (Blackman and Vigna, "Scrambled linear pseudorandom number generators", ACM
/// TOMS 47, 2021), seeded by SplitMix64 from one 64-bit mix of the words. Elementary functions come from
/// the `libm` crate, not from the system, so that draws are portable.
#[derive(Clone, Debug)]
pub struct Draws {
    generator: Xoshiro256PlusPlus,
}

impl Draws {
    /// The stream named by these words.
    #[must_use]
    pub fn named(words: &[u64]) -> Self {
        Self::within(Self::beginning(words), &[])
    }

    /// The first words of the names of many streams, mixed once for all.
    #[must_use]
    pub fn beginning(words: &[u64]) -> u64 {
        let mix = |name, word: &u64| mix_pair(name, *word);
        words.iter().fold(0x6861_6c66_6c6f_6f6d, mix)
    }

    /// The stream whose name begins like that and goes on with these words.
    #[must_use]
    #[inline]
    pub fn within(beginning: u64, words: &[u64]) -> Self {
        let mix = |name, word: &u64| mix_pair(name, *word);
        let name = words.iter().fold(beginning, mix);
        Self {
            generator: Xoshiro256PlusPlus::seed_from_u64(mix64(name)),
        }
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.generator.next_u64()
    }

    /// Uniform in [0, 1), 53 bits.
    #[allow(clippy::cast_precision_loss)]
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Uniform in (0, 1]: safe for a logarithm.
    pub fn uniform_open(&mut self) -> f64 {
        1.0 - self.uniform()
    }

    /// Uniform in 0..n by the multiply-and-shift reduction; its bias is below n / 2^64.
    ///
    /// # Panics
    /// Never; `n` = 0 gives 0.
    pub fn below(&mut self, n: u64) -> u64 {
        let wide = u128::from(self.bits()) * u128::from(n);
        (wide >> 64) as u64
    }

    /// Exponential with mean 1, by inversion.
    pub fn exponential(&mut self) -> f64 {
        -libm::log(self.uniform_open())
    }

    /// Standard normal by the Box-Muller transform (Box and Muller, Ann. Math. Stat. 29, 1958); uses two
    /// uniforms and gives one value.
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(self.uniform_open()));
        radius * libm::cos(2.0 * std::f64::consts::PI * self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_decides_the_draws() {
        let draw = |words: &[u64]| Draws::named(words).bits();
        assert_eq!(draw(&[1, 2, 3]), draw(&[1, 2, 3]));
        assert_ne!(draw(&[1, 2, 3]), draw(&[1, 3, 2]));
        assert_ne!(draw(&[1, 2]), draw(&[1, 2, 0]));
        let mut parted = Draws::within(Draws::beginning(&[1, 2]), &[3]);
        assert_eq!(parted.bits(), draw(&[1, 2, 3]));
    }

    #[test]
    fn the_generator_is_the_one_named() {
        // First outputs of xoshiro256++ from the state 1, 2, 3, 4: the reference implementation's vector.
        let mut seed = [0_u8; 32];
        for (index, chunk) in seed.chunks_mut(8).enumerate() {
            chunk.copy_from_slice(&(index as u64 + 1).to_le_bytes());
        }
        let mut generator = Xoshiro256PlusPlus::from_seed(seed);
        let first: Vec<u64> = (0..3).map(|_| generator.next_u64()).collect();
        assert_eq!(first, [41_943_041, 58_720_359, 3_588_806_011_781_223]);
    }

    #[test]
    fn moments_lie_inside_four_standard_errors() {
        let mut draws = Draws::named(&[7]);
        let n = 200_000;
        let (mut uniform, mut exponential, mut normal) = (0.0, 0.0, 0.0);
        for _ in 0..n {
            uniform += draws.uniform();
            exponential += draws.exponential();
            normal += draws.normal();
        }
        let n = f64::from(n);
        let bound = |sd: f64| 4.0 * sd / n.sqrt();
        assert!((uniform / n - 0.5).abs() < bound(1.0 / 12_f64.sqrt()));
        assert!((exponential / n - 1.0).abs() < bound(1.0));
        assert!((normal / n).abs() < bound(1.0));
    }
}
