//! The aligner: columns as wide as their widest cell.

use crate::outcome::Estimated;
use crate::render::number::{Scale, TOO_FEW};
use std::fmt::Write as _;

/// A table being gathered.
pub(super) struct Aligned {
    /// Head and whether the column is of numbers.
    columns: Vec<(String, bool)>,
    rows: Vec<Vec<String>>,
}

/// Letters shown; combining ones do not occur in what we write.
fn width(text: &str) -> usize {
    text.chars().count()
}

/// A name from the scenario on one line: controls, escapes among them, become blanks.
fn tame(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

impl Aligned {
    /// Heads that begin with `>` are of number columns.
    pub(super) fn new(heads: &[&str]) -> Self {
        let columns = heads
            .iter()
            .map(|head| match head.strip_prefix('>') {
                Some(number) => (tame(number), true),
                None => (tame(head), false),
            })
            .collect();
        Self {
            columns,
            rows: Vec::new(),
        }
    }

    /// Adds a column of numbers.
    pub(super) fn number(mut self, head: &str) -> Self {
        self.columns.push((tame(head), true));
        self
    }

    /// Adds a row; cells beyond the columns are dropped.
    pub(super) fn row(&mut self, cells: Vec<String>) {
        self.rows
            .push(cells.iter().map(|cell| tame(cell)).collect());
    }

    /// The table under its title; nothing when it has no row.
    pub(super) fn text(&self, title: &str) -> String {
        if self.rows.is_empty() {
            return String::new();
        }
        let widths: Vec<usize> = self
            .columns
            .iter()
            .enumerate()
            .map(|(index, (head, _))| {
                let cells = self.rows.iter().filter_map(|row| row.get(index));
                cells
                    .map(|cell| width(cell))
                    .chain([width(head)])
                    .max()
                    .unwrap_or(0)
            })
            .collect();
        let mut out = format!("{}\n", tame(title));
        let heads: Vec<String> = self.columns.iter().map(|(head, _)| head.clone()).collect();
        for row in std::iter::once(&heads).chain(&self.rows) {
            let mut line = String::new();
            for (index, ((_, right), wide)) in self.columns.iter().zip(&widths).enumerate() {
                let cell = row.get(index).map_or("", String::as_str);
                let gap = " ".repeat(wide - width(cell));
                let _ = if *right {
                    write!(line, "  {gap}{cell}")
                } else {
                    write!(line, "  {cell}{gap}")
                };
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out.push('\n');
        out
    }
}

/// `value (low to high)`, `value (too few runs)`, or the value alone.
pub(super) fn with_ends(scale: Scale, figure: &Estimated) -> String {
    match scale.figure(figure) {
        (value, Some(ends)) => format!("{value} ({ends})"),
        (value, None) if figure.is_vague() => format!("{value} ({TOO_FEW})"),
        (value, None) => value,
    }
}

/// Breaks text at blanks so that lines stay short; narrow blanks inside numbers hold.
pub(super) fn wrapped(text: &str, most: usize) -> String {
    let mut out = String::new();
    let mut used = 0;
    for word in text.split(' ') {
        let wide = word.chars().count();
        if used > 0 && used + 1 + wide > most {
            out.push('\n');
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(&word.replace(|c: char| c.is_control(), " "));
        used += wide;
    }
    out.push('\n');
    out
}
