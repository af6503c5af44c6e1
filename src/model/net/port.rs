//! What decides when a frame leaves an egress port: admission × discipline × gate.
//!
//! A direction is served by one port. *Admission* says whether a frame may join those that wait, the
//! *discipline* which of them goes first, the *gate* when the first may begin. The usual port, [`Open`] ×
//! [`InOrder`] × [`NoGate`], is known to the compiler: what it does not ask costs nothing. Another mechanism
//! is one type that implements one of the three traits, and its name in an executor: `Fast<Open, InOrder,
//! Mine>` for the figures, `Plain<Open, InOrder, Mine>` for the oracle.
//!
//! Left out: a gate that opens when something comes back (credits, pause). Its trait would need to be told
//! what comes back; what follows, planning anew what has not begun, is there already.

use super::Frame;
use crate::model::compile::Compiled;
use crate::topology::DirectionId;
use crate::unit::{Duration, Instant};
use std::fmt::Debug;

/// Whether a frame may join those that wait at a port.
pub trait Admission: Clone + Debug {
    /// Whether every frame may, always: nothing is asked then.
    const ALL: bool = false;

    /// The admission of a direction.
    #[must_use]
    fn at(compiled: &Compiled, direction: DirectionId) -> Self;

    /// Whether a frame may join `waiting` frames that have not begun. One that may not is dropped.
    #[must_use]
    fn admits(&self, waiting: usize) -> bool;
}

/// Which of the frames that wait goes first.
pub trait Discipline: Clone + Debug {
    /// Whether they go in order of coming: nothing is asked then.
    const IN_ORDER: bool = false;

    /// The discipline of a direction.
    #[must_use]
    fn at(compiled: &Compiled, direction: DirectionId) -> Self;

    /// Whether a frame that comes goes before one that waits already. The order must be one of classes: a
    /// frame never passes one of its own class, and one that has begun is never stopped.
    #[must_use]
    fn precedes(&self, comes: Class, waits: Class) -> bool;
}

/// When a frame may begin.
pub trait Gate: Clone + Debug {
    /// Whether every frame may at once: nothing is asked then.
    const OPEN: bool = false;

    /// The gate of a direction.
    #[must_use]
    fn at(compiled: &Compiled, direction: DirectionId) -> Self;

    /// The first instant from `at` on, `at` included, at which a frame of so much time on the wire may
    /// begin. The same for equal arguments, and not earlier for a later `at`.
    #[must_use]
    fn opens(&self, at: Instant, time: Duration) -> Instant;
}

/// What a discipline may know of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Class {
    /// Position of its workload in the scenario, from 0.
    pub workload: u32,
}

impl Class {
    #[allow(clippy::cast_possible_truncation)]
    pub(super) const fn of(frame: &Frame) -> Self {
        Self {
            workload: (frame.tie >> 112) as u32 & 0x3ff,
        }
    }
}

/// Every frame may wait.
#[derive(Clone, Copy, Debug)]
pub struct Open;

impl Admission for Open {
    const ALL: bool = true;

    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn admits(&self, _: usize) -> bool {
        true
    }
}

/// First come, first served.
#[derive(Clone, Copy, Debug)]
pub struct InOrder;

impl Discipline for InOrder {
    const IN_ORDER: bool = true;

    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn precedes(&self, _: Class, _: Class) -> bool {
        false
    }
}

/// Nothing holds a frame back but those before it.
#[derive(Clone, Copy, Debug)]
pub struct NoGate;

impl Gate for NoGate {
    const OPEN: bool = true;

    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn opens(&self, at: Instant, _: Duration) -> Instant {
        at
    }
}

/// The port of one direction.
#[derive(Clone, Debug)]
pub(super) struct Port<A, D, G> {
    pub(super) admission: A,
    pub(super) discipline: D,
    pub(super) gate: G,
}

impl<A: Admission, D: Discipline, G: Gate> Port<A, D, G> {
    /// Whether this is the usual port, which asks nothing.
    pub(super) const USUAL: bool = A::ALL && D::IN_ORDER && G::OPEN;

    /// The ports of all directions.
    pub(super) fn all(compiled: &Compiled) -> Vec<Self> {
        let count = u32::try_from(compiled.hops.len()).unwrap_or(u32::MAX);
        let port = |index| {
            let direction = DirectionId(index);
            Self {
                admission: A::at(compiled, direction),
                discipline: D::at(compiled, direction),
                gate: G::at(compiled, direction),
            }
        };
        (0..count).map(port).collect()
    }

    /// When a frame begins that could do so at `at`.
    #[inline]
    pub(super) fn begins(&self, at: Instant, time: u64) -> Instant {
        if G::OPEN {
            return at;
        }
        let opens = self.gate.opens(at, Duration(time));
        assert!(opens >= at, "a gate opens at {opens:?}, asked at {at:?}");
        opens
    }

    /// Whether a frame that comes goes before one that waits.
    #[inline]
    pub(super) fn precedes(&self, comes: &Frame, waits: &Frame) -> bool {
        !D::IN_ORDER && self.discipline.precedes(Class::of(comes), Class::of(waits))
    }

    /// Whether a frame may join so many that wait.
    #[inline]
    pub(super) fn admits(&self, waiting: impl FnOnce() -> usize) -> bool {
        A::ALL || self.admission.admits(waiting())
    }
}
