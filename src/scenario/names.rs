//! Who is called what: the names of all families, gathered before anything refers to them.

use super::context::Context;
use super::cursor::{Cursor, Fault};
use super::problem::{near_or_list, plural};
use super::tree::{Entry, Node, Origin, Value, entry_name, unwrapped};

/// One `[[family]]` table.
#[derive(Clone, Copy)]
pub(super) struct Row<'c> {
    pub entries: &'c [Entry],
    pub origin: &'c Origin,
}

/// Most families of one kind.
const ROWS_MAX: usize = 256;

/// The tables under `[[key]]`.
pub(super) fn rows<'c>(top: &Cursor<'c, '_>, key: &'static str) -> Vec<Row<'c>> {
    let Some(entry) = top.entry(key) else {
        return Vec::new();
    };
    let items = match &entry.node.value {
        Value::Array(items) => items.as_slice(),
        _ => {
            let message = format!("`{key}` is {}, not a list of tables", entry.node.kind());
            let help = "double brackets start one entry of several";
            top.ctx
                .error(&entry.origin, &message, &format!("[[{key}]]"), help);
            // A single table is read as the only entry, so that what refers to it is no second problem.
            match entry.node.value {
                Value::Table(_) => std::slice::from_ref(&entry.node),
                _ => &[],
            }
        }
    };
    if items.len() > ROWS_MAX {
        let message = format!("there are {} [[{key}]] tables", items.len());
        top.ctx.error(
            &entry.origin,
            &message,
            &format!("at most {ROWS_MAX}"),
            "fold like parts with `count`",
        );
        return Vec::new();
    }
    items
        .iter()
        .filter_map(|item| {
            let Some(entries) = item.as_table() else {
                let message = format!("an entry of `{key}` is {}", item.kind());
                top.ctx.error(&item.origin, &message, "a table", "");
                return None;
            };
            Some(Row {
                entries,
                origin: &item.origin,
            })
        })
        .collect()
}

/// The rows of every family, and their names in the same order.
pub(super) struct Names<'c> {
    pub chassis: Family<'c>,
    pub hosts: Family<'c>,
    pub switches: Family<'c>,
    pub arrays: Family<'c>,
    pub links: Family<'c>,
    pub workloads: Family<'c>,
    pub shapes: Family<'c>,
}

/// The rows of one family.
pub(super) struct Family<'c> {
    /// The key: `host`.
    pub word: &'static str,
    /// How to ask for one: `[[host]]`.
    pub rows: Vec<Row<'c>>,
    /// Names by row; rows without one have a stand-in that nothing can refer to.
    pub names: Vec<String>,
}

impl<'c> Family<'c> {
    fn read(top: &Cursor<'c, '_>, word: &'static str) -> Self {
        let rows = rows(top, word);
        let names = rows
            .iter()
            .enumerate()
            .map(|(index, row)| {
                entry_name(row.entries).unwrap_or_else(|| format!("#{}", index + 1))
            })
            .collect();
        Self { word, rows, names }
    }

    /// The index of the family a value names.
    pub(super) fn find(&self, node: &Node) -> Result<usize, Fault> {
        let Some(name) = node.as_str() else {
            return Err(Fault::new(
                format!("is {}", node.kind()),
                format!("the name of a {}", self.word),
            ));
        };
        self.names
            .iter()
            .position(|known| known == name)
            .ok_or_else(|| {
                let known: Vec<&str> = self.known().collect();
                Fault::new(
                    format!("names an unknown {} `{name}`", self.word),
                    near_or_list(name, &plural(self.word), &known),
                )
                .help(format!(
                    "add a [[{}]] named `{name}`, or use a name that is there",
                    self.word
                ))
            })
    }

    /// The names that can be referred to.
    pub(super) fn known(&self) -> impl Iterator<Item = &str> {
        self.names
            .iter()
            .map(String::as_str)
            .filter(|name| !name.starts_with('#'))
    }

    /// A cursor on row `index`.
    pub(super) fn cursor<'a>(&self, ctx: &'c Context<'a>, index: usize) -> Cursor<'c, 'a> {
        let (row, name) = (self.rows[index], &self.names[index]);
        let path = format!("{}.{name}", self.word);
        Cursor::new(
            ctx,
            row.entries,
            row.origin,
            path,
            format!("{} `{name}`", self.word),
        )
    }
}

impl<'c> Names<'c> {
    /// Gathers the names and checks them.
    pub(super) fn read(top: &Cursor<'c, '_>) -> Self {
        let names = Self {
            chassis: Family::read(top, "chassis"),
            hosts: Family::read(top, "host"),
            switches: Family::read(top, "switch"),
            arrays: Family::read(top, "array"),
            links: Family::read(top, "link"),
            workloads: Family::read(top, "workload"),
            shapes: Family::read(top, "shape"),
        };
        // Link ends and outages go by name alone, so parts of all kinds share one set of names.
        let parts = [&names.chassis, &names.hosts, &names.switches, &names.arrays];
        check(top.ctx, &parts);
        check(top.ctx, &[&names.links]);
        check(top.ctx, &[&names.workloads]);
        check(top.ctx, &[&names.shapes]);
        names
    }
}

/// Longest name.
const NAME_MAX: usize = 40;

fn check(ctx: &Context<'_>, families: &[&Family<'_>]) {
    let mut seen: Vec<(&str, &Family<'_>, usize)> = Vec::new();
    for family in families {
        for (index, row) in family.rows.iter().enumerate() {
            let Some(entry) = row.entries.iter().find(|entry| entry.key == "name") else {
                let link = family.word == "link";
                if !link {
                    let help = format!("for example name = \"{}\"", family.word);
                    ctx.error(
                        row.origin,
                        &format!("a {} has no `name`", family.word),
                        "it needs one",
                        &help,
                    );
                    continue;
                }
                note_duplicate(ctx, &mut seen, family, index, row.origin);
                continue;
            };
            let node = unwrapped(&entry.node);
            match node.as_str() {
                None => {
                    let message = format!("the name of a {} is {}", family.word, node.kind());
                    ctx.error(&node.origin, &message, "a string in quotes", "");
                }
                Some(name) => match fit(name) {
                    Ok(()) => note_duplicate(ctx, &mut seen, family, index, &node.origin),
                    Err((says, expected)) => {
                        ctx.error(
                            &node.origin,
                            &format!("the name `{name}` {says}"),
                            expected,
                            "",
                        );
                    }
                },
            }
        }
    }
}

fn note_duplicate<'f>(
    ctx: &Context<'_>,
    seen: &mut Vec<(&'f str, &'f Family<'f>, usize)>,
    family: &'f Family<'f>,
    index: usize,
    at: &Origin,
) {
    let name = family.names[index].as_str();
    let Some((_, other, first)) = seen.iter().find(|(known, _, _)| *known == name) else {
        seen.push((name, family, index));
        return;
    };
    let place = ctx
        .line(other.rows[*first].origin)
        .map_or_else(String::new, |line| format!(" in line {line}"));
    let message = format!("the name `{name}` is used twice");
    let help = if family.word == "link" {
        "give one of them a `name` of its own"
    } else {
        ""
    };
    ctx.error(
        at,
        &message,
        &format!("it is already a {}{place}", other.word),
        help,
    );
}

/// Whether a name can be told apart in patterns, keys and reports.
fn fit(name: &str) -> Result<(), (&'static str, &'static str)> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.starts_with(|c: char| c.is_ascii_alphabetic()) || !name.chars().all(plain) {
        return Err((
            "has letters that names cannot have",
            "a letter, then letters, digits, - and _",
        ));
    }
    if name.len() > NAME_MAX {
        return Err(("is too long", "at most 40 letters"));
    }
    // `edge-A` is what a switch `edge` is called on fabric A, and `*-A` takes all of that side.
    if name.ends_with("-A") || name.ends_with("-B") || name == "A" || name == "B" {
        return Err((
            "ends like the parts of one fabric",
            "a name without -A or -B: use `fabric` instead",
        ));
    }
    Ok(())
}
