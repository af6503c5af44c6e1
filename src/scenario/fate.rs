//! Groups: parts that share a fate, such as everything on one power feed.

use super::control::patterns;
use super::cursor::Cursor;
use super::names::rows;
use super::tree::{Node, entry_name};
use super::value::text;
use crate::site::{Outage, PartGroup};

/// A named set of parts.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub name: String,
    pub parts: Vec<String>,
}

impl Group {
    /// The group as plain data.
    pub(super) fn fate(&self) -> PartGroup {
        PartGroup {
            name: self.name.clone(),
            parts: self.parts.clone(),
        }
    }
}

/// Reads every `[[group]]`.
pub(super) fn groups(top: &Cursor<'_, '_>) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for row in rows(top, "group") {
        let name = entry_name(row.entries).unwrap_or_default();
        let path = format!("group.{name}");
        let who = format!("group `{name}`");
        let cursor = Cursor::new(top.ctx, row.entries, row.origin, path, who);
        let named = cursor.need("name", &text, "\"feed-1\"");
        let what = "parts of one fate";
        let parts = cursor.needed("parts", what, &patterns, "[\"edge-A\", \"vault-c1\"]");
        cursor.finish();
        let (Some(name), Some(parts)) = (named, parts) else {
            continue;
        };
        if groups.iter().any(|known| known.name == name) {
            let message = format!("the group `{name}` is there twice");
            top.ctx.error(row.origin, &message, "each name once", "");
            continue;
        }
        let parts = parts.iter().filter_map(Node::as_str).cloned().collect();
        groups.push(Group { name, parts });
    }
    groups
}

/// The parts of the group of that name, or the name itself.
pub(super) fn expanded(name: &str, groups: &[Group]) -> Vec<String> {
    let group = groups.iter().find(|group| group.name == name);
    group.map_or_else(|| vec![name.to_owned()], |group| group.parts.clone())
}

/// Reports groups that go by the name of an outage or of a part.
pub(super) fn clashes(
    top: &Cursor<'_, '_>,
    groups: &[Group],
    outages: &[Outage],
    parts: &[String],
) {
    for row in rows(top, "group") {
        let name = entry_name(row.entries).unwrap_or_default();
        if !groups.iter().any(|group| group.name == name) {
            continue;
        }
        let what = if outages.iter().any(|outage| outage.name == name) {
            "an outage"
        } else if parts.contains(&name) {
            "a part"
        } else {
            continue;
        };
        let message = format!("the group `{name}` has the name of {what}");
        top.ctx.error(row.origin, &message, "a name of its own", "");
    }
}
