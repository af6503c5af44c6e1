//! `[growth]` and `[[step]]`: how the work grows, and what is going to be changed when.

use super::arrivals::Files;
use super::context::Context;
use super::cursor::{Cursor, Fault};
use super::names::{Names, rows};
use super::tree::{self, Entry, Node, Origin, Override, Value};
use super::value;
use crate::site::{Growth, Step, Workload};
use crate::unit::Date;

/// Most growth in a year: to ten times as much.
const MOST: f64 = 9.0;

fn date(node: &Node) -> Result<Date, Fault> {
    const EXPECTED: &str = "a day like \"2027-03-31\", in quotes";
    let text = node
        .as_str()
        .ok_or_else(|| Fault::new(format!("is {}", node.kind()), EXPECTED))?;
    Date::parse(text).ok_or_else(|| Fault::new(format!("is `{text}`, which is no day"), EXPECTED))
}

/// Growth in a year: `"25%"` or `0.25`.
fn per_year(node: &Node) -> Result<f64, Fault> {
    const EXPECTED: &str = "growth in a year like \"25%\" or 0.25, from 0 to 900%";
    let growth = match &node.value {
        Value::String(text) => text
            .trim()
            .strip_suffix('%')
            .filter(|digits| {
                digits
                    .trim()
                    .bytes()
                    .all(|b| b.is_ascii_digit() || b == b'.')
            })
            .and_then(|digits| digits.trim().parse::<f64>().ok())
            .map(|percent| percent / 100.0),
        #[allow(clippy::cast_precision_loss)]
        Value::Integer(number) => Some(*number as f64),
        Value::Float(number) => Some(*number),
        _ => None,
    };
    growth
        .filter(|growth| (0.0..=MOST).contains(growth))
        .ok_or_else(|| Fault::new("is no growth", EXPECTED))
}

/// Reads `[growth]`. A workload grows as its first host family that states a growth of its own does, else as all.
pub(super) fn growth(
    top: &Cursor<'_, '_>,
    names: &Names<'_>,
    workloads: &[Workload],
) -> Option<Growth> {
    let before = top.ctx.errors();
    let cursor = top.table("growth")?;
    let from = cursor.needed("from", "day of the stated load", &date, "\"2027-01-01\"");
    let all = cursor.optional("per_year", "growth in a year", &per_year);
    let mut families: Vec<(usize, f64)> = Vec::new();
    if let Some(table) = cursor.table("hosts") {
        for entry in table.all() {
            let name = Node {
                value: Value::String(entry.key.clone()),
                origin: entry.origin.clone(),
            };
            match (names.hosts.find(&name), per_year(&entry.node)) {
                (Ok(index), Ok(growth)) => families.push((index, growth)),
                (Err(fault), _) => table.fault(&entry.key, &name, &fault),
                (_, Err(fault)) => table.fault(&entry.key, &entry.node, &fault),
            }
        }
        table.finish();
    }
    if workloads.iter().all(|work| {
        let own = families
            .iter()
            .any(|(index, growth)| work.hosts.contains(index) && *growth > 0.0);
        !own && all.unwrap_or(0.0) == 0.0
    }) && cursor.ctx.errors() == before
        && workloads.len() == names.workloads.rows.len()
    {
        let help = "for example per_year = \"25%\", or hosts = { db = \"40%\" }";
        let message = format!("{} lets nothing grow", cursor.who);
        cursor
            .ctx
            .error(cursor.origin, &message, "a growth above 0", help);
    }
    let of = |work: &Workload| {
        let own = work.hosts.iter().find_map(|host| {
            let own = families.iter().find(|family| family.0 == *host)?;
            Some(own.1)
        });
        own.or(all).unwrap_or(0.0)
    };
    let per_year = workloads.iter().map(of).collect();
    cursor.finish();
    Some(Growth {
        from: from?,
        per_year,
    })
}

/// The day of a step, which is not before that of the stated load.
fn day_of(node: &Node, from: Option<Date>) -> Result<Date, Fault> {
    let day = date(node)?;
    match from {
        Some(from) if day < from => Err(Fault::new(
            format!("is `{day}`, before the day of the stated load, {from}"),
            "a day from growth.from on; what is there before it belongs into the scenario itself",
        )),
        _ => Ok(day),
    }
}

/// The day of the stated load, whatever else of the scenario is wrong.
fn from_day(root: &[Entry]) -> Option<Date> {
    let find = |entries: &'_ [Entry], key: &str| {
        let found = entries.iter().find(|entry| entry.key == key);
        found.map(|entry| entry.node.clone())
    };
    let growth = find(root, "growth")?;
    let from = find(growth.as_table()?, "from")?;
    date(tree::unwrapped(&from)).ok()
}

/// A step as it is stated.
struct Stated {
    date: Date,
    name: String,
    set: Vec<(String, String)>,
    overrides: Vec<Override>,
}

/// Reads every `[[step]]`, in order of their days; each holds on top of those before it.
pub(super) fn steps(ctx: &Context<'_>, root: &[Entry], files: Files<'_>) -> Vec<Step> {
    let from = from_day(root);
    let start = Origin::Text(0..0);
    let top = Cursor::new(ctx, root, &start, "", "the scenario");
    let mut read: Vec<Stated> = Vec::new();
    for (index, row) in rows(&top, "step").into_iter().enumerate() {
        let name = tree::entry_name(row.entries).unwrap_or_else(|| format!("{}", index + 1));
        let path = format!("step.{name}");
        let cursor = Cursor::new(ctx, row.entries, row.origin, path, format!("step `{name}`"));
        cursor.need("name", &value::text, "\"light the dark legs\"");
        let date = cursor.need("date", &|node| day_of(node, from), "\"2028-07-01\"");
        if read.iter().any(|known| known.name == name) {
            let message = format!("the step `{name}` is there twice");
            ctx.error(row.origin, &message, "each name once", "");
        }
        let set = cursor.table("set");
        if set.is_none() && !cursor.has("set") {
            let help = "for example set = { \"link.edge-san.members\" = 4 }";
            let message = format!("{} sets nothing", cursor.who);
            ctx.error(row.origin, &message, "it needs `set`", help);
        }
        let (pairs, overrides) =
            set.map_or_else(Default::default, |table| super::settings(ctx, &table));
        cursor.finish();
        let Some(date) = date else {
            // Nobody knows on top of which others it holds; what it sets is looked at by itself.
            let _ = super::variant_site(ctx, root, ("step", &name), &overrides, files);
            continue;
        };
        read.push(Stated {
            date,
            name,
            set: pairs,
            overrides,
        });
    }
    read.sort_by_key(|step| step.date);
    let mut laid: Vec<Override> = Vec::new();
    let mut steps = Vec::new();
    for step in read {
        laid.extend(step.overrides);
        let site = super::variant_site(ctx, root, ("step", &step.name), &laid, files);
        if let Some(site) = site {
            steps.push(Step {
                name: step.name,
                date: step.date,
                set: step.set,
                site: Box::new(site),
            });
        }
    }
    steps
}
