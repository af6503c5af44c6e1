//! Integers with a unit, and the two sides. Layer 0: imports nothing of ours.
//!
//! Left out: anything that rounds silently. Every conversion that can lose a fraction says in its name or
//! its doc which way it rounds and by how much at most.

mod bytes;
mod date;
mod rate;
mod side;
mod time;

pub use bytes::Bytes;
pub use date::Date;
pub use rate::Rate;
pub use side::{PerSide, Side};
pub use time::{Duration, Instant};

/// A stable 64-bit digest of a name (FNV-1a, then a finalizing mix).
///
/// Salts, addresses and random streams are derived from names and never from positions, so that leaving a
/// part of a site out shifts nothing else. FNV-1a: Fowler, Noll, Vo, "FNV hash", 64-bit offset basis and
/// prime (from memory); the finalizer is [`mix64`].
#[must_use]
pub fn name_hash(name: &str) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for byte in name.as_bytes() {
        hash ^= u64::from(*byte);
        hash = hash.wrapping_mul(0x0000_0100_0000_01b3);
    }
    mix64(hash)
}

/// The 64-bit finalizing mix used wherever halfloom hashes: a bijection in which every input bit moves
/// every output bit.
///
/// Source: the output function of SplitMix64 (Steele, Lea, Flood, "Fast Splittable Pseudorandom Number
/// Generators", OOPSLA 2014; variant 13 of Stafford's mixes; constants from memory).
#[must_use]
pub const fn mix64(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Mixes a second word into a first: not symmetric, so `(a, b)` and `(b, a)` differ.
#[must_use]
pub const fn mix_pair(first: u64, second: u64) -> u64 {
    mix64(mix64(first) ^ second.rotate_left(32))
}
