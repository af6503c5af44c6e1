//! The scenario as a tree of tables and values in the order of the text, each with the place it came from.
//!
//! Overrides (`--set`, and the `set` of a variant) are laid over the tree before anything is understood, so
//! that a value set from outside is checked by the same rules and reported at its own place.

use super::problem::near_or_list;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Where a key or a value stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// Bytes of the scenario's text.
    Text(Range<usize>),
    /// Bytes of the `KEY=VALUE` of override number so much.
    Set(usize, Range<usize>),
    /// Nowhere: a default of ours.
    Default,
}

/// A value and its place.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub value: Value,
    pub origin: Origin,
}

/// A value.
#[derive(Clone, Debug)]
pub(super) enum Value {
    String(String),
    Integer(i128),
    Float(f64),
    Boolean(bool),
    Array(Vec<Node>),
    Table(Vec<Entry>),
    /// A date or time of day, or an integer beyond 128 bits: nothing here takes one.
    Other,
}

/// A key with its value.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub key: String,
    pub origin: Origin,
    pub node: Node,
}

impl Node {
    /// What kind of value it is, with article.
    pub(super) const fn kind(&self) -> &'static str {
        match self.value {
            Value::String(_) => "a string",
            Value::Integer(_) => "an integer",
            Value::Float(_) => "a float",
            Value::Boolean(_) => "true or false",
            Value::Array(_) => "a list",
            Value::Table(_) => "a table",
            Value::Other => "a date, a time of day or a huge number",
        }
    }

    /// The value on one line, as a scenario would write it.
    pub(super) fn in_line(&self) -> String {
        let bare = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
        match &self.value {
            Value::String(text) => format!("\"{text}\""),
            Value::Integer(number) => number.to_string(),
            Value::Float(number) => number.to_string(),
            Value::Boolean(yes) => yes.to_string(),
            Value::Array(items) => {
                let items: Vec<String> = items.iter().map(Self::in_line).collect();
                format!("[{}]", items.join(", "))
            }
            Value::Table(entries) => {
                let entry = |entry: &Entry| match entry.key.chars().all(bare) {
                    true => format!("{} = {}", entry.key, entry.node.in_line()),
                    false => format!("\"{}\" = {}", entry.key, entry.node.in_line()),
                };
                let entries: Vec<String> = entries.iter().map(entry).collect();
                format!("{{ {} }}", entries.join(", "))
            }
            Value::Other => "a date".to_owned(),
        }
    }

    pub(super) const fn as_table(&self) -> Option<&Vec<Entry>> {
        match &self.value {
            Value::Table(entries) => Some(entries),
            _ => None,
        }
    }

    pub(super) const fn as_str(&self) -> Option<&String> {
        match &self.value {
            Value::String(text) => Some(text),
            _ => None,
        }
    }
}

/// Builds the tree of a parsed text, entries sorted by where they stand.
pub(super) fn of_table(table: &DeTable<'_>, origin: &dyn Fn(Range<usize>) -> Origin) -> Vec<Entry> {
    let mut entries: Vec<(usize, Entry)> = table
        .iter()
        .map(|(key, value)| {
            let entry = Entry {
                key: key.get_ref().to_string(),
                origin: origin(key.span()),
                node: of_value(value, origin),
            };
            (key.span().start, entry)
        })
        .collect();
    entries.sort_by_key(|(start, _)| *start);
    entries.into_iter().map(|(_, entry)| entry).collect()
}

/// Builds the tree of one value.
pub(super) fn of_value(
    value: &Spanned<DeValue<'_>>,
    origin: &dyn Fn(Range<usize>) -> Origin,
) -> Node {
    let made = match value.get_ref() {
        DeValue::String(text) => Value::String(text.to_string()),
        DeValue::Integer(number) => i128::from_str_radix(number.as_str(), number.radix())
            .map_or(Value::Other, Value::Integer),
        DeValue::Float(number) => Value::Float(number.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(yes) => Value::Boolean(*yes),
        DeValue::Datetime(_) => Value::Other,
        DeValue::Array(items) => {
            Value::Array(items.iter().map(|item| of_value(item, origin)).collect())
        }
        DeValue::Table(table) => Value::Table(of_table(table, origin)),
    };
    Node {
        value: made,
        origin: origin(value.span()),
    }
}

/// A value to lay over the tree.
#[derive(Clone, Debug)]
pub(super) struct Override {
    /// Segments of the key, each with its place.
    pub path: Vec<(String, Origin)>,
    /// The value.
    pub node: Node,
}

/// Why an override does not fit.
#[derive(Clone, Debug)]
pub(super) struct Misfit {
    pub message: String,
    pub origin: Origin,
    pub expected: String,
    pub help: String,
}

/// The tables of which there may be many, each with a name.
pub(super) const FAMILIES: [&str; 9] = [
    "chassis", "host", "switch", "array", "link", "workload", "outage", "shape", "group",
];
/// The tables of which there is one, and the keys beside them.
pub(super) const SINGLES: [&str; 6] = ["format", "title", "run", "timers", "day", "growth"];

/// Splits a key into its segments. Quotes keep a dot together: `workload.x.sizes."1.5KiB"`.
pub(super) fn segments(key: &str, place: impl Fn(Range<usize>) -> Origin) -> Vec<(String, Origin)> {
    let mut found = Vec::new();
    let (mut word, mut start, mut quoted) = (String::new(), 0, false);
    for (at, letter) in key.char_indices() {
        match letter {
            '"' => quoted = !quoted,
            '.' if !quoted => {
                found.push((std::mem::take(&mut word), place(start..at)));
                start = at + 1;
            }
            letter => word.push(letter),
        }
    }
    found.push((word, place(start..key.len())));
    found
}

/// The name an entry goes by: `name`, or for a link without one `FROM-TO`.
pub(super) fn entry_name(entries: &[Entry]) -> Option<String> {
    let text = |key: &str| {
        let node = &entries.iter().find(|entry| entry.key == key)?.node;
        unwrapped(node).as_str().cloned()
    };
    text("name").or_else(|| Some(format!("{}-{}", text("from")?, text("to")?)))
}

/// The value inside `{ value = …, basis = … }`, or the node itself.
pub(super) fn unwrapped(node: &Node) -> &Node {
    node.as_table()
        .and_then(|entries| entries.iter().find(|entry| entry.key == "value"))
        .map_or(node, |entry| &entry.node)
}

/// Lays an override over the tree.
///
/// # Errors
/// When the key names a family that is not there, or goes through something that is no table.
pub(super) fn apply(root: &mut Vec<Entry>, set: &Override) -> Result<(), Misfit> {
    let Some(((first, first_origin), rest)) = set.path.split_first() else {
        return Ok(());
    };
    if FAMILIES.contains(&first.as_str()) || first == "event" {
        let Some(((name, name_origin), inner)) = rest.split_first() else {
            return Err(Misfit {
                message: format!("`{first}` needs the name of one {first} and a key of it"),
                origin: first_origin.clone(),
                expected: format!("{first}.NAME.KEY"),
                help: String::new(),
            });
        };
        if first == "outage" && matches!(name.as_str(), "A" | "B") {
            state_outage(root, name, name_origin);
        }
        let entries = family_member(root, first, name, name_origin)?;
        return put(entries, inner, name_origin, set);
    }
    if !SINGLES.contains(&first.as_str()) {
        let known: Vec<&str> = SINGLES
            .into_iter()
            .chain(FAMILIES)
            .chain(["event"])
            .collect();
        return Err(Misfit {
            message: format!("no part of a scenario is called `{first}`"),
            origin: first_origin.clone(),
            expected: near_or_list(first, "a key begins with one of", &known),
            help: String::new(),
        });
    }
    put(root, &set.path, first_origin, set)
}

/// The outages A and B exist by themselves: a key of one that is not written down writes it down.
fn state_outage(root: &mut Vec<Entry>, name: &str, origin: &Origin) {
    let entry = |key: &str, value: Value| Entry {
        key: key.to_owned(),
        origin: origin.clone(),
        node: Node {
            value,
            origin: origin.clone(),
        },
    };
    let stated = Value::Table(vec![entry("name", Value::String(name.to_owned()))]);
    let item = Node {
        value: stated,
        origin: origin.clone(),
    };
    match root.iter_mut().find(|entry| entry.key == "outage") {
        None => root.push(entry("outage", Value::Array(vec![item]))),
        Some(Entry {
            node:
                Node {
                    value: Value::Array(items),
                    ..
                },
            ..
        }) => {
            let named = |item: &Node| item.as_table().and_then(|entries| entry_name(entries));
            if items
                .iter()
                .all(|item| named(item).as_deref() != Some(name))
            {
                items.push(item);
            }
        }
        // Not a list: reported where outages are read.
        Some(_) => {}
    }
}

/// The table of a family's member; events go by their number from 1.
fn family_member<'t>(
    root: &'t mut [Entry],
    family: &str,
    name: &str,
    origin: &Origin,
) -> Result<&'t mut Vec<Entry>, Misfit> {
    let items = root
        .iter_mut()
        .find(|entry| entry.key == family)
        .map(|entry| &mut entry.node.value);
    let items = match items {
        Some(Value::Array(items)) => items.as_mut_slice(),
        _ => &mut [],
    };
    let names: Vec<Option<String>> = items
        .iter()
        .enumerate()
        .map(|(index, item)| match family {
            "event" => Some((index + 1).to_string()),
            _ => item.as_table().and_then(|entries| entry_name(entries)),
        })
        .collect();
    if let Some(index) = names
        .iter()
        .position(|known| known.as_deref() == Some(name))
        && let Some(Node {
            value: Value::Table(entries),
            ..
        }) = items.get_mut(index)
    {
        return Ok(entries);
    }
    let known: Vec<&str> = names.iter().flatten().map(String::as_str).collect();
    Err(Misfit {
        message: format!("there is no {family} called `{name}`"),
        origin: origin.clone(),
        expected: near_or_list(name, &super::problem::plural(family), &known),
        help: String::new(),
    })
}

/// Timers that are the name of a preset become the table that says the same, so that one of them can be set beside it.
fn named_preset(entry: &mut Entry) {
    let Value::String(_) = entry.node.value else {
        return;
    };
    if entry.key != "timers" {
        return;
    }
    let origin = entry.node.origin.clone();
    let inner = Entry {
        key: "preset".to_owned(),
        origin: origin.clone(),
        node: entry.node.clone(),
    };
    entry.node = Node {
        value: Value::Table(vec![inner]),
        origin,
    };
}

/// Puts the value at the end of a path, making tables on the way.
fn put(
    entries: &mut Vec<Entry>,
    path: &[(String, Origin)],
    parent: &Origin,
    set: &Override,
) -> Result<(), Misfit> {
    let Some(((key, origin), rest)) = path.split_first() else {
        return Err(Misfit {
            message: "a key of it is missing".to_owned(),
            origin: parent.clone(),
            expected: "NAME.KEY".to_owned(),
            help: String::new(),
        });
    };
    let index = entries.iter().position(|entry| entry.key == *key);
    if rest.is_empty() {
        let entry = Entry {
            key: key.clone(),
            origin: origin.clone(),
            node: set.node.clone(),
        };
        match index {
            // A wrapper keeps its basis only if the value stays; a value from outside is stated anew.
            Some(index) => entries[index] = entry,
            None => entries.push(entry),
        }
        return Ok(());
    }
    let index = index.unwrap_or_else(|| {
        let node = Node {
            value: Value::Table(Vec::new()),
            origin: origin.clone(),
        };
        entries.push(Entry {
            key: key.clone(),
            origin: origin.clone(),
            node,
        });
        entries.len() - 1
    });
    named_preset(&mut entries[index]);
    match &mut entries[index].node.value {
        Value::Table(inner) => put(inner, rest, origin, set),
        _ => Err(Misfit {
            message: format!("`{key}` has no keys of its own here"),
            origin: origin.clone(),
            expected: format!("it is {} in the scenario", entries[index].node.kind()),
            help: format!("set `{key}` as a whole"),
        }),
    }
}
