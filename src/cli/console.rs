//! The terminal: results out on one stream, everything else on the other.

use super::exit::Failure;
use std::io::{self, Write};

/// Where results and remarks go.
#[derive(Debug)]
pub(super) struct Console {}

impl Console {
    pub(super) const fn new() -> Self {
        Self {}
    }

    /// Writes a result to the standard output and flushes it. A line break is added where it lacks one.
    pub(super) fn result(&self, text: &str) -> Result<(), Failure> {
        self.bytes(text.as_bytes())?;
        if text.ends_with('\n') {
            return Ok(());
        }
        self.bytes(b"\n")
    }

    /// Writes bytes as they are.
    pub(super) fn bytes(&self, bytes: &[u8]) -> Result<(), Failure> {
        let mut out = io::stdout().lock();
        out.write_all(bytes)
            .and_then(|()| out.flush())
            .map_err(Failure::from_stdout)
    }
}

/// Says something on the standard error. There is nobody to tell when that fails.
pub(super) fn complain(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}
