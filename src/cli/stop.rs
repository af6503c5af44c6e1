//! Ctrl-C: a write that is under way is finished, then the program says what is left and ends with code 130. A command that
//! can end early with what it has is asked to do so first; a second Ctrl-C ends it at once.
//!
//! Left out: signals other than Ctrl-C; files are whole after those too, because each appears by being renamed.

use super::console;
use super::exit::STOPPED;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Held while something is written that must not be left half done.
static WRITING: Mutex<()> = Mutex::new(());
/// Whether the first Ctrl-C is a wish to end early.
static EARLY: AtomicBool = AtomicBool::new(false);
/// Whether that was wished.
static ASKED: AtomicBool = AtomicBool::new(false);

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
        if EARLY.load(Ordering::SeqCst) && !ASKED.swap(true, Ordering::SeqCst) {
            console::complain("stopping with what is there; Ctrl-C again ends at once");
            return;
        }
        let _kept = writing();
        console::complain(said);
        std::process::exit(i32::from(STOPPED));
    })
}

/// From here on the first Ctrl-C asks the command to end early.
pub(super) fn end_early() {
    EARLY.store(true, Ordering::SeqCst);
}

/// Whether the command is to end with what it has.
pub(super) fn asked() -> bool {
    ASKED.load(Ordering::SeqCst)
}
