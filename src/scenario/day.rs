//! `[[shape]]`, `[day]` and `shape` of arrivals: what part of its rate a workload brings in each hour of a day.
//!
//! The stated rate is that of the busiest hour, so the factors lie from 0 to 1 and one of them is 1. Left out:
//! shapes within a run (ramps, storms), and how days differ.

use super::cursor::{Cursor, Fault};
use super::names::{Family, Names};
use super::tree::{Node, Value};
use super::value;
use crate::site::DayShape;

/// A shape in which every hour is the busiest: what a workload without one has.
const CONSTANT: &str = "constant";
const EXAMPLE: &str = "[0.3, 0.3, 0.2, 0.2, 0.2, 0.3, 0.5, 0.8, 1, 1, 1, 0.9, 0.8, 0.9, 1, 1, 0.9, 0.7, 0.5, 0.4, 0.4, 0.3, 0.3, 0.3]";
const EXPECTED: &str = "24 factors from 0 to 1, one for each hour from midnight on";
const BUSIEST: &str =
    "the rate of the workload is that of its busiest hour, which has the factor 1";

/// The shapes of a scenario.
pub(super) struct Shapes<'n, 'c> {
    family: &'n Family<'c>,
    named: Vec<Option<DayShape>>,
    /// That of every workload which states none of its own.
    all: Option<DayShape>,
}

impl<'n, 'c> Shapes<'n, 'c> {
    /// Reads every `[[shape]]`, and `[day]`.
    pub(super) fn read(top: &Cursor<'c, '_>, names: &'n Names<'c>) -> Self {
        let family = &names.shapes;
        let named = (0..family.rows.len())
            .map(|index| {
                let cursor = family.cursor(top.ctx, index);
                cursor.entry("name");
                if family.names[index] == CONSTANT {
                    let message = format!("the name of {} has a meaning already", cursor.who);
                    let help = "`constant` is the load that does not change over the day";
                    cursor
                        .ctx
                        .error(cursor.origin, &message, "another name", help);
                }
                let read = |node: &Node| factors(&cursor, "daily", node);
                let found = cursor.needed("daily", "load over the day", &read, EXAMPLE);
                cursor.finish();
                found
            })
            .collect();
        let mut shapes = Self {
            family,
            named,
            all: None,
        };
        if let Some(day) = top.table("day") {
            let own = shapes.of(&day);
            if !day.has("shape") {
                day.need("shape", &value::text, "\"office\"");
            }
            day.finish();
            shapes.all = own;
        }
        shapes
    }

    /// The shape that a table states as its `shape`, else that of all.
    pub(super) fn of(&self, cursor: &Cursor<'_, '_>) -> Option<DayShape> {
        let stated = cursor.optional("shape", "load over the day", &|node: &Node| {
            self.find(cursor, node)
        });
        match stated {
            Some(own) => own,
            None if cursor.has("shape") => None,
            None => self.all,
        }
    }

    /// By name, or as its factors; `None` for a load that does not change.
    fn find(&self, cursor: &Cursor<'_, '_>, node: &Node) -> Result<Option<DayShape>, Fault> {
        match &node.value {
            Value::Array(_) => factors(cursor, "shape", node).map(Some),
            Value::String(name) if name == CONSTANT => Ok(None),
            Value::String(_) if self.family.rows.is_empty() => Err(Fault::new(
                "names a shape, and there is none",
                format!("{EXPECTED}, or \"constant\""),
            )
            .help("add a [[shape]] of that name with its `daily` factors")),
            Value::String(_) => self.family.find(node).map(|index| self.named[index]),
            _ => Err(Fault::new(
                format!("is {}", node.kind()),
                format!("{EXPECTED}, the name of a [[shape]], or \"constant\""),
            )),
        }
    }
}

/// The factors of a list. Each that is wrong is a problem of its own; the last one found is given back.
fn factors(cursor: &Cursor<'_, '_>, key: &str, node: &Node) -> Result<DayShape, Fault> {
    let Value::Array(items) = &node.value else {
        return Err(Fault::new(format!("is {}", node.kind()), EXPECTED));
    };
    let mut faults = Vec::new();
    if items.len() != DayShape::HOURS {
        let says = format!("has {} factors", items.len());
        let help =
            "a factor for each hour: the first from 00:00 to 01:00, the last from 23:00 to 24:00";
        faults.push(Fault::new(says, EXPECTED).help(help));
    }
    let mut all = [0.0; DayShape::HOURS];
    for (hour, item) in items.iter().enumerate() {
        match value::share(item) {
            Ok(factor) => {
                if let Some(place) = all.get_mut(hour) {
                    *place = factor;
                }
            }
            Err(_) => {
                let says = format!("has no factor for hour {hour}");
                let fault = Fault::new(says, "a factor like 0.7 or \"70%\", from 0 to 1");
                let help =
                    format!("{BUSIEST}: raise the rate to it, and divide the factors by as much");
                faults.push(fault.help(help).at(&item.origin));
            }
        }
    }
    let busiest = all.iter().copied().fold(0.0, f64::max);
    if faults.is_empty() && busiest < 1.0 {
        let says = if busiest > 0.0 {
            format!("reaches {busiest} at most")
        } else {
            "is 0 in every hour".to_owned()
        };
        let help = if busiest > 0.0 {
            format!("{BUSIEST}: multiply the rate by {busiest}, and divide the factors by it")
        } else {
            BUSIEST.to_owned()
        };
        faults.push(Fault::new(says, "at least one hour with the factor 1").help(help));
    }
    let last = faults.pop();
    for fault in &faults {
        cursor.fault(key, node, fault);
    }
    match (last, DayShape::new(all)) {
        (Some(fault), _) => Err(fault),
        (None, Some(shape)) => Ok(shape),
        (None, None) => Err(Fault::new("is no shape", EXPECTED)),
    }
}
