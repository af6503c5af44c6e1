//! Which runs answer which question, and what can be said before any run.

pub mod estimate;
pub mod paths;

#[cfg(test)]
pub(crate) mod sample;
