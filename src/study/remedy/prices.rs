//! A price list, from CSV text.

/// Prices by kind and what it is of, in a currency that nobody asks about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PriceList {
    rows: Vec<(String, String, f64)>,
}

const KINDS: [&str; 9] = [
    "cable",
    "port",
    "optic",
    "switch",
    "module",
    "controller",
    "host",
    "parallel",
    "setting",
];
const EXAMPLE: &str = "the first line is `item,of,price`; then for example `port,32GFC,900`, `cable,100GbE,120`, `optic,32GFC,150`, `switch,san,20000`, `parallel,vault,40` (one request in one controller) or `setting,,250`";

impl PriceList {
    /// Reads a list: a header line `item,of,price`, then one line an item.
    ///
    /// # Errors
    /// `LINE: what is wrong; what is expected`, for the first line that cannot be read.
    pub fn read(text: &str) -> Result<Self, String> {
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
        let header = reader.headers().map_err(|error| error.to_string())?;
        if header.iter().ne(["item", "of", "price"]) {
            let found = header.iter().collect::<Vec<_>>().join(",");
            return Err(format!("1: the header is `{found}`; {EXAMPLE}"));
        }
        let mut rows: Vec<(String, String, f64)> = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|error| error.to_string())?;
            let line = record.position().map_or(0, csv::Position::line);
            let whole = record.iter().collect::<Vec<_>>().join(",");
            let wrong = |what: &str| format!("{line}: `{whole}`: {what}; {EXAMPLE}");
            let [item, of, price] = record.iter().collect::<Vec<_>>()[..] else {
                return Err(wrong("there are not three fields"));
            };
            if !KINDS.contains(&item) {
                return Err(wrong(&format!("`{item}` is none of {}", KINDS.join(", "))));
            }
            let price = price
                .parse::<f64>()
                .ok()
                .filter(|price| price.is_finite() && *price >= 0.0)
                .ok_or_else(|| {
                    wrong(&format!("`{price}` is not a price: a number, zero or more"))
                })?;
            if rows
                .iter()
                .any(|(kind, known, _)| kind == item && known == of)
            {
                return Err(wrong("this item is there twice"));
            }
            rows.push((item.to_owned(), of.to_owned(), price));
        }
        if rows.is_empty() {
            return Err(format!("1: there is no price in it; {EXAMPLE}"));
        }
        Ok(Self { rows })
    }

    /// Whether anything of a kind has a price.
    #[must_use]
    pub fn has(&self, kind: &str) -> bool {
        self.rows.iter().any(|row| row.0 == kind)
    }

    /// The price of one.
    #[must_use]
    pub fn of(&self, kind: &str, of: &str) -> Option<f64> {
        let row = self.rows.iter().find(|row| row.0 == kind && row.1 == of);
        row.map(|(_, _, price)| *price)
    }
}
