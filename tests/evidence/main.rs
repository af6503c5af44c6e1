//! The evidence that results are right: everything with a value from outside, checked in one list.
//!
//! - `validation`: runs the list, holds the family-wise level, and writes or compares `VALIDATION.md`
//! - `rows`: queues and networks with closed forms, run by the model
//! - `exact`: constant times, where figures must come out exactly
//! - `coverage`: how often intervals hold the true value, over thousands of repetitions
//! - `stalls` (shared with the tests of the model): how long a loss stops an I/O, by protocol
//! - `software`: the same networks and a whole site in independent libraries
//! - `ledger`: what is expected, what came out, and whether the two agree
//! - `rig`: from a few words to figures

mod coverage;
mod exact;
mod ledger;
mod rig;
mod rows;
mod software;
#[path = "../shared/stalls.rs"]
mod stalls;
mod validation;
