//! The two fabrics, A and B, and things that exist once for each.

use std::fmt;
use std::ops::{Index, IndexMut, Not};

/// One of the two independent fabrics.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Side {
    /// Fabric A.
    A,
    /// Fabric B.
    B,
}

impl Side {
    /// Both, A first.
    pub const BOTH: [Self; 2] = [Self::A, Self::B];

    /// The other fabric.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::A => Self::B,
            Self::B => Self::A,
        }
    }

    /// `"A"` or `"B"`.
    #[must_use]
    pub const fn letter(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
        }
    }
}

impl Not for Side {
    type Output = Self;
    fn not(self) -> Self {
        self.other()
    }
}

impl fmt::Display for Side {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.letter())
    }
}

/// One value for each side, indexed by [`Side`], so that code for B cannot drift from code for A.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct PerSide<T>(pub [T; 2]);

impl<T> Index<Side> for PerSide<T> {
    type Output = T;
    fn index(&self, side: Side) -> &T {
        &self.0[side as usize]
    }
}

impl<T> IndexMut<Side> for PerSide<T> {
    fn index_mut(&mut self, side: Side) -> &mut T {
        &mut self.0[side as usize]
    }
}
