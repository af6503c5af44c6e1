//! The discrete-event core: what happens next, and random numbers that depend on nothing but their name.
//!
//! It knows no storage word. Event sets with one key ([`Key`]): the calendar that runs use ([`Calendar`]),
//! and two that it was measured against and is tested against: a plain heap ([`EventQueue`], which also
//! holds the calendar's far future) and a tournament tree over a fixed number of sources ([`Tournament`]).
//! `benches/engine.rs` is the comparison. [`EventSet`] is what executors ask of any of them; a [`Ring`] holds
//! what waits in order.
//!
//! Left out: parallel execution of one run. Runs are independent of each other, so they are what is run in
//! parallel, higher up.

mod calendar;
mod queue;
mod ring;
mod rng;
mod set;
mod tournament;

pub use calendar::Calendar;
pub use queue::{EventQueue, Key};
pub use ring::Ring;
pub use rng::Draws;
pub use set::EventSet;
pub use tournament::Tournament;
