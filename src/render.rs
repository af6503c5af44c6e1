//! Results in, text and pictures out. Pure: no files, no clock, no terminal.

pub mod chart;
pub mod png;
#[doc(hidden)]
pub mod sample;
