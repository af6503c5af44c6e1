//! The report as one self-contained HTML page, and the files that go beside it.
//!
//! The page answers first (verdict, three numbers, what to do), then shows the evidence in numbered
//! sections, each headed by the question it answers, then says where everything came from. It needs no
//! network and no script: the one script only sorts tables. Everything from the scenario is escaped, and a
//! content security policy names the hashes of the one style sheet and the one script, so that nothing else
//! could run. Charts come from [`chart`](super::chart), in a wide and a phone drawing; style shows one.
//!
//! Left out: the text of the scenario, which belongs to the file named in the page.

mod bursts;
mod files;
mod frame;
mod grown;
mod growth;
mod html;
mod latency;
mod mends;
mod parts;
mod planned;
mod promises;
mod repeat;
mod rests;
mod site;
mod switching;
mod theory;
mod verdict;
mod windows;

use super::words::{Answer, answer};
use crate::outcome::{Case, Report};
use std::cell::Cell as Counter;

pub use files::{Attachment, attachments};
pub(in crate::render) use frame::hash as policy_hash;
pub use grown::headroom_page;
pub(in crate::render) use html::esc as escaped;
pub use planned::growth_page;

/// Above so many cases, tables become blocks at every width: columns would be too narrow.
const WIDE_CASES: usize = 4;
/// Drawings by case are shown for so many cases; the files hold all of them.
const DRAWN_CASES: usize = 8;

/// What every section needs.
struct Context<'a> {
    report: &'a Report,
    answer: Answer,
    drawn: Counter<usize>,
}

impl<'a> Context<'a> {
    fn new(report: &'a Report) -> Self {
        Self {
            report,
            answer: answer(report),
            drawn: Counter::new(0),
        }
    }

    /// A number for the ids of the next drawing.
    fn next_number(&self) -> usize {
        self.drawn.set(self.drawn.get() + 1);
        self.drawn.get()
    }

    fn cases(&self) -> &'a [Case] {
        &self.report.matrix.cases
    }

    /// The case shown first: the one that the verdict is about.
    fn first_case(&self) -> usize {
        self.answer.worst.map_or(0, |(_, case)| case)
    }

    /// The workload that the verdict is about, or the first.
    fn first_workload(&self) -> &'a str {
        let rows = &self.report.matrix.rows;
        self.answer
            .worst
            .and_then(|(row, _)| rows.get(row))
            .map(|row| row.workload.as_str())
            .or_else(|| {
                let workloads = self.report.steady.first()?.workloads.first()?;
                Some(workloads.name.as_str())
            })
            .unwrap_or("")
    }

    /// The number of a section: `number` unless maintenance windows, which are section 4, come before it.
    fn section(&self, number: usize) -> usize {
        number + usize::from(self.report.windows.is_some())
    }

    /// Index of the case called `name` among the columns.
    fn case_index(&self, name: &str) -> Option<usize> {
        self.cases().iter().position(|case| case.name == name)
    }
}

/// The whole report as one HTML document.
#[must_use]
pub fn page(report: &Report) -> String {
    let context = Context::new(report);
    let body = [
        verdict::section(&context),
        frame::chooser(&context),
        promises::section(&context),
        switching::section(&context),
        windows::section(&context),
        site::section(&context),
        growth::section(&context),
        latency::section(&context),
        parts::section(&context),
        bursts::section(&context),
        rests::section(&context),
        repeat::section(&context),
    ]
    .concat();
    frame::document(&context, &body)
}

#[cfg(test)]
mod tests;
