//! Byte counts as people write them.

use std::fmt;

/// A number of bytes. Displayed with the largest binary unit that is exact: `8KiB`, `1MiB`, `1500B`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Debug)]
pub struct Bytes(pub u64);

impl Bytes {
    /// So many KiB (1024 bytes).
    #[must_use]
    pub const fn from_kib(kib: u64) -> Self {
        Self(kib * 1024)
    }
}

impl fmt::Display for Bytes {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (scale, unit) in [(1 << 30, "GiB"), (1 << 20, "MiB"), (1 << 10, "KiB")] {
            if self.0 >= scale && self.0.is_multiple_of(scale) {
                return write!(out, "{}{unit}", self.0 / scale);
            }
        }
        write!(out, "{}B", self.0)
    }
}
