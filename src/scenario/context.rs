//! What one reading of a scenario shares: the text, the problems and the marks found so far.

use super::problem::{self, Problem, Severity};
use super::tree::Origin;
use crate::site::{Assumption, Basis};
use std::cell::{Cell, RefCell};

/// Everything one reading shares: the text, the problems and the marks found so far.
pub(super) struct Context<'a> {
    /// File name for messages.
    pub file: &'a str,
    /// The scenario's text.
    pub text: &'a str,
    /// The overrides from outside, as `KEY=VALUE`.
    pub sets: &'a [String],
    /// The option that they came with, for messages.
    pub outside: &'static str,
    /// Put before each message: a variant's name.
    pub prefix: String,
    pub problems: RefCell<Vec<Problem>>,
    /// How many errors are of values that change no part's name nor what it is joined to.
    pub harmless: Cell<usize>,
    pub assumptions: RefCell<Vec<Assumption>>,
}

impl<'a> Context<'a> {
    pub(super) fn new(file: &'a str, text: &'a str, sets: &'a [String]) -> Self {
        Self {
            file,
            text,
            sets,
            outside: "--set",
            prefix: String::new(),
            problems: RefCell::default(),
            harmless: Cell::default(),
            assumptions: RefCell::default(),
        }
    }

    pub(super) fn problem(
        &self,
        severity: Severity,
        at: &Origin,
        message: &str,
        expected: &str,
        help: &str,
    ) {
        let (text, file, range) = match at {
            Origin::Text(range) => (self.text, self.file, range.clone()),
            Origin::Set(index, range) => (
                self.sets.get(*index).map_or("", String::as_str),
                self.outside,
                range.clone(),
            ),
            Origin::Default => (self.text, self.file, 0..0),
        };
        let (line, column, line_text) = problem::position(text, range.start);
        let marked = text
            .get(range)
            .unwrap_or("")
            .lines()
            .next()
            .unwrap_or("")
            .trim_end();
        self.problems.borrow_mut().push(Problem {
            severity,
            message: format!("{}{message}", self.prefix),
            file: file.to_owned(),
            line: (file != self.outside).then_some(line),
            column,
            line_text,
            length: u32::try_from(marked.chars().count()).unwrap_or(1).max(1),
            expected: expected.to_owned(),
            help: help.to_owned(),
        });
    }

    pub(super) fn error(&self, at: &Origin, message: &str, expected: &str, help: &str) {
        self.problem(Severity::Error, at, message, expected, help);
    }

    pub(super) fn has_errors(&self) -> bool {
        self.errors() > 0
    }

    /// How many errors there are so far.
    pub(super) fn errors(&self) -> usize {
        let problems = self.problems.borrow();
        let errors = problems
            .iter()
            .filter(|problem| problem.severity == Severity::Error);
        errors.count()
    }

    /// How many of them may mean other parts or other ways between them than those that were understood.
    pub(super) fn errors_of_shape(&self) -> usize {
        self.errors() - self.harmless.get()
    }

    /// The text at a place, on one line.
    pub(super) fn written(&self, at: &Origin) -> String {
        let slice = match at {
            Origin::Text(range) => self.text.get(range.clone()),
            Origin::Set(index, range) => {
                self.sets.get(*index).and_then(|set| set.get(range.clone()))
            }
            Origin::Default => None,
        };
        slice
            .unwrap_or("")
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    }

    /// Line in the scenario, if the place is there.
    pub(super) fn line(&self, at: &Origin) -> Option<u32> {
        match at {
            Origin::Text(range) => Some(problem::position(self.text, range.start).0),
            Origin::Set(..) | Origin::Default => None,
        }
    }

    pub(super) fn assume(
        &self,
        key: String,
        what: String,
        value: String,
        mark: (Basis, String, Option<u32>),
    ) {
        let (basis, source, line) = mark;
        self.assumptions.borrow_mut().push(Assumption {
            key,
            what,
            value,
            basis,
            source,
            line,
        });
    }
}
