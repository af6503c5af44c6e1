//! The rows of a sweep as text, for tables and charts: what a file holds, no more.

use super::csv::BEFORE;

/// Rows with their header.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SweepTable {
    /// The varied keys.
    pub keys: Vec<String>,
    /// Names of all columns.
    pub header: Vec<String>,
    /// Fields as they stand in the file.
    pub rows: Vec<Vec<String>>,
}

impl SweepTable {
    /// A field by the name of its column; empty where there is none.
    #[must_use]
    pub fn text<'a>(&self, row: &'a [String], name: &str) -> &'a str {
        let own = self.header.iter().position(|known| known == name);
        own.and_then(|index| row.get(index)).map_or("", |f| f)
    }

    /// A figure; `None` where there is none.
    #[must_use]
    pub fn number(&self, row: &[String], name: &str) -> Option<f64> {
        self.text(row, name).parse().ok()
    }

    /// The varied values of a row.
    #[must_use]
    pub fn values(&self, row: &[String]) -> Vec<String> {
        let from = BEFORE.len();
        let own = row.iter().skip(from).take(self.keys.len());
        own.cloned().collect()
    }

    /// Points that are there, and points of the whole sweep.
    #[must_use]
    pub fn points(&self) -> (usize, usize) {
        let mut seen: Vec<&str> = self
            .rows
            .iter()
            .map(|row| self.text(row, "point"))
            .collect();
        seen.dedup();
        let all = self.rows.first().and_then(|row| self.number(row, "points"));
        (seen.len(), all.map_or(0, |all| all as usize))
    }
}
