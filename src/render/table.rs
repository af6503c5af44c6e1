//! Results as aligned text for a terminal.
//!
//! Words stand left, numbers right, the unit once in the head; no colour, no lines but blanks, so that a
//! table can be pasted anywhere. Every text ends with a line that says it is an estimate and of what.
//! Left out: wrapping, which the terminal does, and double-width letters, which count as one.

mod align;
mod check;
mod compare;
mod derived;
mod growth;
mod headroom;
mod measured;
mod mends;
mod report;
mod several;
mod singles;
mod sweep;
mod theory;
mod windows;

pub use check::{assumptions_text, paths_text, review_text};
pub use compare::comparison_text;
pub use derived::derived_text;
pub use growth::growth_text;
pub use headroom::headroom_text;
pub use measured::measured_text;
pub use report::{report_text, steady_text, verdict_text};
pub use several::several_text;
pub use singles::each_part_text;
pub use sweep::sweep_text;
pub use windows::windows_text;

#[cfg(test)]
pub(super) mod tests;
