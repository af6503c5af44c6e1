//! What things cost, from a price list.

use crate::scenario::Price;

/// Prices by kind and what it is of, in a currency that nobody asks about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PriceList {
    rows: Vec<Price>,
}

impl PriceList {
    /// A list of these; of two for the same, the first counts.
    #[must_use]
    pub const fn new(rows: Vec<Price>) -> Self {
        Self { rows }
    }

    /// Whether anything of a kind has a price.
    #[must_use]
    pub fn has(&self, kind: &str) -> bool {
        self.rows.iter().any(|row| row.item == kind)
    }

    /// The price of one.
    #[must_use]
    pub fn of(&self, kind: &str, of: &str) -> Option<f64> {
        let row = self
            .rows
            .iter()
            .find(|row| row.item == kind && row.of == of);
        row.map(|row| row.price)
    }
}
