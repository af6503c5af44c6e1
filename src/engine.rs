//! The discrete-event core: what happens next, and random numbers that depend on nothing but their name.
//!
//! It knows no storage word. Two event sets with one key ([`Key`]): a heap for events that come and go
//! ([`EventQueue`]), and a tournament tree for a fixed number of sources that each know their own next
//! event ([`Tournament`]), such as a FIFO that is served in order. Whoever runs the simulation takes the
//! smaller of the two heads.
//!
//! Left out: parallel execution of one run. Runs are independent of each other, so they are what is run in
//! parallel, higher up.

mod queue;
mod rng;
mod tournament;

pub use queue::{EventQueue, Key};
pub use rng::Draws;
pub use tournament::Tournament;
