//! The language of scenarios as a JSON Schema (draft 2020-12): what an editor checks and completes by.
//!
//! [`tables`] says which keys each table has and what kind of value each takes; what a key means and what it is when it is not
//! stated comes from the tables of `scenarios/README.md`, so that the two never differ. Left out is what needs more than
//! one place of the file: names that refer to others, sums of shares, limits of a whole site. `check` finds those.

mod kind;
mod meaning;
mod tables;
mod work;

use kind::Kind;
use meaning::Meanings;
use serde_json::{Map, Value, json};

/// A key of a table.
#[derive(Clone, Copy, Debug)]
struct Key {
    name: &'static str,
    kind: Kind,
    /// Whether it must be stated.
    needed: bool,
    /// The key that the documentation has a row for, where that is another: `read.hit`.
    row: &'static str,
}

/// A table.
#[derive(Debug)]
struct Table {
    /// Its name among the definitions.
    name: &'static str,
    /// The heading of the documentation that explains its keys.
    heading: &'static str,
    keys: &'static [Key],
    /// Sets of keys of which exactly one is stated.
    one_of: &'static [&'static [&'static str]],
}

/// A key that may be left out.
const fn may(name: &'static str, kind: Kind) -> Key {
    Key {
        name,
        kind,
        needed: false,
        row: name,
    }
}

/// A key that must be stated.
const fn must(name: &'static str, kind: Kind) -> Key {
    Key {
        needed: true,
        ..may(name, kind)
    }
}

impl Key {
    /// The same, explained under another name.
    const fn told_as(self, row: &'static str) -> Self {
        Self { row, ..self }
    }

    /// Its schema, with what the documentation says of it.
    fn schema(&self, (heading, protocol): (&str, &str), meanings: &Meanings) -> Value {
        let mut schema = self.kind.marked();
        let told = meanings.of(heading, self.row, protocol);
        if let (Some(told), Some(object)) = (told, schema.as_object_mut()) {
            object.insert("description".to_owned(), json!(told.text()));
            if let Some(default) = told.default_value() {
                object.insert("default".to_owned(), default);
            }
        }
        schema
    }
}

impl Table {
    fn schema(&self, meanings: &Meanings) -> Value {
        let mut properties: Map<String, Value> = self
            .keys
            .iter()
            .map(|key| {
                (
                    key.name.to_owned(),
                    key.schema((self.heading, ""), meanings),
                )
            })
            .collect();
        let required: Vec<&str> = self
            .keys
            .iter()
            .filter(|key| key.needed)
            .map(|key| key.name)
            .collect();
        properties.insert("basis".to_owned(), kind::basis());
        properties.insert("source".to_owned(), kind::source());
        let mut schema = json!({
            "type": "object",
            "properties": properties,
            "additionalProperties": false,
        });
        let choices: Vec<Value> = self
            .one_of
            .iter()
            .map(|keys| {
                let each = keys.iter().map(|key| json!({ "required": [key] }));
                json!({ "oneOf": each.collect::<Vec<_>>() })
            })
            .collect();
        if !required.is_empty() {
            schema["required"] = json!(required);
        }
        if !choices.is_empty() {
            schema["allOf"] = json!(choices);
        }
        schema
    }
}

/// The JSON Schema of the scenario language, format 1.
#[must_use]
pub fn schema() -> Value {
    let meanings = Meanings::read();
    let mut definitions = kind::definitions();
    for table in tables::ALL.iter().chain(work::ALL) {
        let mut schema = table.schema(&meanings);
        work::finish(table.name, &mut schema, &meanings);
        definitions.insert(table.name.to_owned(), schema);
    }
    let mut top = tables::TOP.schema(&meanings);
    if let Some(object) = top.as_object_mut() {
        let head = [
            (
                "$schema",
                json!("https://json-schema.org/draft/2020-12/schema"),
            ),
            ("title", json!("halfloom scenario, format 1")),
            (
                "description",
                json!(
                    "A dual A/B fabric for storage, its work and the promises made about it. \
                     A schema sees each value alone; `halfloom check` finds what it cannot."
                ),
            ),
        ];
        for (key, value) in head {
            object.insert(key.to_owned(), value);
        }
        object.insert("$defs".to_owned(), Value::Object(definitions));
    }
    top
}

#[cfg(test)]
mod tests;
