//! How the program ends: exit codes, and the failures that lead to them.

use std::io;
use std::path::PathBuf;
use std::process::ExitCode;

/// The code of a program that Ctrl-C ended: 128 and the number of the signal, as shells have it.
pub(super) const STOPPED: u8 = 130;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done; every promise met, or none made.
    Done,
    /// Done; a promise missed or undecided.
    NotMet,
    /// The arguments or the scenario are wrong.
    Wrong,
    /// Reading or writing failed.
    Io,
    /// A fault of our own.
    OurFault,
    /// Ctrl-C ended it early, with what was there.
    Stopped,
}

impl Exit {
    /// The code that the shell sees.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::NotMet => 1,
            Self::Wrong => 2,
            Self::Io => 3,
            Self::OurFault => 101,
            Self::Stopped => STOPPED,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        exit.code().into()
    }
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
pub(super) enum Failure {
    /// The scenario has errors; the text quotes them all.
    #[error("{0}")]
    Scenario(String),
    /// The arguments parse, but do not go together.
    #[error("error: {what}\nhelp: {help}")]
    Arguments { what: String, help: String },
    /// A file or folder could not be read or written.
    #[error("error: cannot {doing} {}: {cause}", .path.display())]
    File {
        doing: &'static str,
        path: PathBuf,
        cause: io::Error,
    },
    /// A folder is in the way.
    #[error("error: {what}\nhelp: {help}")]
    InTheWay { what: String, help: String },
    /// The standard output could not be written.
    #[error("error: cannot write to the standard output: {0}")]
    Output(io::Error),
    /// The reader of the standard output has gone, as `head` does: no fault.
    #[error("")]
    Closed,
}

impl Failure {
    /// What a failed write to the standard output means.
    pub(super) fn from_stdout(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Self::Closed,
            _ => Self::Output(error),
        }
    }

    pub(super) fn arguments(what: impl Into<String>, help: impl Into<String>) -> Self {
        Self::Arguments {
            what: what.into(),
            help: help.into(),
        }
    }

    pub(super) fn file(doing: &'static str, path: impl Into<PathBuf>, cause: io::Error) -> Self {
        Self::File {
            doing,
            path: path.into(),
            cause,
        }
    }
}

/// The exit that a failure leads to.
pub(super) const fn of(failure: &Failure) -> Exit {
    match failure {
        Failure::Scenario(_) | Failure::Arguments { .. } => Exit::Wrong,
        Failure::File { .. } | Failure::InTheWay { .. } | Failure::Output(_) => Exit::Io,
        Failure::Closed => Exit::Done,
    }
}
