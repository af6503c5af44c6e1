//! Ctrl-C: a write that is under way is finished, then the program says what is left and ends with code 130.
//!
//! Left out: signals other than Ctrl-C; files are whole after those too, because each appears by being renamed.

use super::console;
use super::exit::STOPPED;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Held while something is written that must not be left half done.
static WRITING: Mutex<()> = Mutex::new(());

/// What is said of commands whose files appear once, at the end.
pub(super) const BEGINS_AGAIN: &str =
    "stopped; every file is whole or not there, and the same command begins again";

/// Nobody stops the program while this is held.
pub(super) fn writing() -> MutexGuard<'static, ()> {
    WRITING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Whether Ctrl-C is watched for from here on: the first that asks says what is said.
pub(super) fn watch(said: &'static str) -> Result<(), ctrlc::Error> {
    ctrlc::set_handler(move || {
        let _kept = writing();
        console::complain(said);
        std::process::exit(STOPPED);
    })
}
