//! Results in, text and pictures out. Pure: no files, no clock, no terminal.

pub mod chart;
pub mod csv;
pub mod json;
pub mod junit;
pub mod number;
pub mod page;
pub mod png;
#[doc(hidden)]
pub mod sample;
pub mod several;
pub mod sheet;
pub mod sweep;
pub mod table;
pub mod words;
