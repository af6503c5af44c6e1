//! Promises: what was promised of a workload, healthy, with an outage, and while it happens.

use super::cursor::{Cursor, Fault};
use super::problem::near_or_list;
use super::quantity;
use super::tree::{Entry, Node};
use super::value::{throughput, time, time_above_zero, whole};
use crate::site::{Measure, Promise, Promises};

const STEADY: [&str; 5] = ["mean", "p50", "p99", "p99_9", "throughput"];
const SWITCHING: [&str; 2] = ["longest_io", "failed"];

/// Reads `promise` of a workload; none at all is legal.
pub(super) fn promises(workload: &Cursor<'_, '_>) -> Promises {
    let Some(cursor) = workload.table("promise") else {
        return Promises::default();
    };
    let healthy = steady(&cursor, &["lost", "switching"]);
    let stated = cursor
        .table("lost")
        .map(|lost| steady(&lost, &[]))
        .unwrap_or_default();
    let inherited = healthy
        .iter()
        .filter(|promise| !stated.iter().any(|own| own.measure == promise.measure))
        .cloned();
    let lost = stated.iter().cloned().chain(inherited).collect();
    let switching = cursor
        .table("switching")
        .map(|table| switching(&table))
        .unwrap_or_default();
    Promises {
        healthy,
        lost,
        switching,
    }
}

#[allow(clippy::cast_precision_loss)]
fn steady(cursor: &Cursor<'_, '_>, tables: &[&'static str]) -> Vec<Promise> {
    let mut promises: Vec<Promise> = Vec::new();
    for entry in cursor
        .all()
        .filter(|entry| !tables.contains(&entry.key.as_str()))
    {
        let latency = |node: &Node| time_above_zero(node).map(|time| time.0 as f64);
        let found = match entry.key.as_str() {
            "mean" => promise(cursor, entry, Measure::Mean, &latency),
            "throughput" => promise(cursor, entry, Measure::Throughput, &|node: &Node| {
                throughput(node).map(|rate| rate as f64)
            }),
            key => match quantity::percentile(key) {
                Some(q) => promise(cursor, entry, Measure::Quantile(q), &latency),
                None => {
                    unknown(cursor, entry, &STEADY, tables);
                    None
                }
            },
        };
        if let Some(found) = found {
            if promises.iter().any(|known| known.measure == found.measure) {
                cursor.ctx.error(
                    &entry.origin,
                    &format!("`{}` is promised twice", entry.key),
                    "once",
                    "",
                );
            }
            promises.push(found);
        }
    }
    promises
}

#[allow(clippy::cast_precision_loss)]
fn switching(cursor: &Cursor<'_, '_>) -> Vec<Promise> {
    cursor
        .all()
        .filter_map(|entry| match entry.key.as_str() {
            "longest_io" => promise(cursor, entry, Measure::LongestIo, &|node: &Node| {
                time(node).map(|time| time.0 as f64)
            }),
            "failed" => promise(cursor, entry, Measure::Failed, &|node: &Node| {
                whole(0, 1_000_000_000_000)(node).map(|number| number as f64)
            }),
            _ => {
                unknown(cursor, entry, &SWITCHING, &[]);
                None
            }
        })
        .collect()
}

fn unknown(cursor: &Cursor<'_, '_>, entry: &Entry, keys: &[&'static str], tables: &[&'static str]) {
    let known: Vec<&str> = keys.iter().chain(tables).copied().collect();
    let message = format!("unknown key `{}` in {}", entry.key, cursor.who);
    cursor.ctx.error(
        &entry.origin,
        &message,
        &near_or_list(&entry.key, "keys here", &known),
        "any percentile goes: p95, p99_9 or \"p99.9\"",
    );
}

fn promise(
    cursor: &Cursor<'_, '_>,
    entry: &Entry,
    measure: Measure,
    read: &impl Fn(&Node) -> Result<f64, Fault>,
) -> Option<Promise> {
    let node = super::tree::unwrapped(&entry.node);
    match read(node) {
        Ok(target) => {
            let text = cursor
                .ctx
                .written(&node.origin)
                .trim_matches('"')
                .to_owned();
            cursor.mark_stated(&entry.key, "promise", node);
            Some(Promise {
                measure,
                target,
                text,
            })
        }
        Err(fault) => {
            cursor.fault(&entry.key, node, &fault);
            None
        }
    }
}
