//! What the documentation says of each key: the rows of the tables of `scenarios/README.md`.

use serde_json::Value;

const DOCUMENT: &str = include_str!("../../../scenarios/README.md");

/// What one row says.
#[derive(Debug)]
pub(super) struct Told {
    pub(super) heading: String,
    /// Every key of the row.
    pub(super) keys: Vec<String>,
    /// The protocols that have the key, where not all do.
    of: Vec<String>,
    kind: String,
    /// `None` where the table has no such column.
    default: Option<String>,
    meaning: String,
}

/// Every row that explains a key.
#[derive(Debug)]
pub(super) struct Meanings(pub(super) Vec<Told>);

/// The words in backquotes of a text.
fn quoted(text: &str) -> Vec<String> {
    let words = text.split('`').skip(1).step_by(2);
    words
        .map(|word| word.trim_matches('"').to_owned())
        .collect()
}

/// The words of a list with commas.
fn words(text: &str) -> Vec<String> {
    text.split(',').map(|word| word.trim().to_owned()).collect()
}

impl Meanings {
    pub(super) fn read() -> Self {
        let mut rows = Vec::new();
        let mut heading = String::new();
        let mut columns: Vec<String> = Vec::new();
        for line in DOCUMENT.lines() {
            if let Some(text) = line.strip_prefix('#') {
                text.trim_start_matches('#').trim().clone_into(&mut heading);
            }
            let Some(row) = line.strip_prefix("| ") else {
                columns.clear();
                continue;
            };
            let cells: Vec<&str> = row
                .trim_end_matches('|')
                .split(" |")
                .map(str::trim)
                .collect();
            if columns.is_empty() {
                columns = cells.iter().map(|cell| (*cell).to_owned()).collect();
                continue;
            }
            if columns.first().map(String::as_str) != Some("key") || line.starts_with("| ---") {
                continue;
            }
            let cell = |name: &str| {
                let column = columns.iter().position(|column| column.starts_with(name))?;
                cells.get(column).map(|cell| (*cell).to_owned())
            };
            rows.push(Told {
                heading: heading.clone(),
                keys: quoted(cells[0]),
                of: cell("of").map_or_else(Vec::new, |of| words(&of)),
                kind: cell("kind").unwrap_or_default(),
                default: cell("default"),
                meaning: cell("meaning").unwrap_or_default(),
            });
        }
        Self(rows)
    }

    /// The row of a key under a heading, that of `protocol` where protocols differ.
    pub(super) fn of(&self, heading: &str, key: &str, protocol: &str) -> Option<&Told> {
        self.0.iter().find(|told| {
            told.heading == heading
                && told.keys.iter().any(|known| known == key)
                && (told.of.is_empty() || told.of.iter().any(|known| known == protocol))
        })
    }
}

impl Told {
    /// Meaning, kind and default in words.
    pub(super) fn text(&self) -> String {
        let mut text = String::new();
        if !self.meaning.is_empty() {
            let mut letters = self.meaning.chars();
            text.extend(letters.next().map(|first| first.to_ascii_uppercase()));
            text.push_str(letters.as_str());
            text.push_str(". ");
        }
        text.push_str(&format!("Written as: {}.", self.kind));
        match self.default.as_deref() {
            None | Some("") => {}
            Some("must be stated") => text.push_str(" Must be stated."),
            Some(default) => text.push_str(&format!(" Default: {default}.")),
        }
        text
    }

    /// The default, where it is one value whatever else is stated.
    pub(super) fn default_value(&self) -> Option<Value> {
        let default = self.default.as_deref()?;
        let inner = default.strip_prefix('`')?.strip_suffix('`')?;
        if inner.contains('`') {
            return None;
        }
        serde_json::from_str(inner).ok()
    }
}
