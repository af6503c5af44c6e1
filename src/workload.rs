//! What is asked for, and when: the draws of each I/O, and the arrival process of each host.
//!
//! All draws of an I/O depend only on seed, replication, workload, host and its number (those of a retry
//! on its attempt too), so a fault, another path policy or one more host shifts no other draw.
//!
//! Left out: correlation between hosts other than bursts that start together.

mod arrival;
mod draw;

pub use arrival::ArrivalStream;
pub use draw::{IoDraw, StreamName, Template, sample};
