//! Which runs answer which question, and what can be said before any run.

pub mod estimate;
mod layers;
pub mod paths;
pub mod picture;
pub mod review;

#[cfg(test)]
pub(crate) mod sample;
