//! Promises: what was promised of a workload, healthy, with an outage, and while it happens.

use super::cursor::{Cursor, Fault};
use super::problem::{Severity, near_or_list};
use super::quantity;
use super::tree::{Entry, Node};
use super::value::{throughput, time, time_above_zero, whole};
use crate::site::{Measure, Promise, Promises};

/// Keys of steady states, with examples of percentiles.
pub(super) const STEADY: [&str; 7] = ["mean", "p50", "p90", "p95", "p99", "p99_9", "throughput"];
/// Tables inside a promise.
pub(super) const STATES: [&str; 2] = ["lost", "switching"];
/// Keys of the table about switching.
pub(super) const SWITCHING: [&str; 2] = ["longest_io", "failed"];

/// Reads `promise` of a workload; none at all is legal.
pub(super) fn promises(workload: &Cursor<'_, '_>) -> Promises {
    let Some(cursor) = workload.table("promise") else {
        return Promises::default();
    };
    let healthy = steady(&cursor, &STATES);
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
            warn_of_minutes(cursor, entry, &found);
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

/// A latency of a minute or more is hardly one: `m` is minutes, and thousandths may have been meant.
fn warn_of_minutes(cursor: &Cursor<'_, '_>, entry: &Entry, promise: &Promise) {
    const MINUTE_PS: f64 = 60e12;
    if promise.measure == Measure::Throughput || promise.target < MINUTE_PS {
        return;
    }
    let number = promise.text.trim_end_matches(|c: char| c.is_alphabetic());
    let unit = promise.text[number.len()..].trim();
    let meant = if unit == "m" {
        format!("did you mean \"{}ms\"? `m` is minutes", number.trim())
    } else {
        "a latency, which is hardly ever a minute or more".to_owned()
    };
    let message = format!(
        "`{}` of {} allows a latency of {} s",
        entry.key,
        cursor.who,
        promise.target / 1e12
    );
    let at = &super::tree::unwrapped(&entry.node).origin;
    let remark = Severity::Warning;
    cursor.ctx.problem(remark, at, &message, &meant, "");
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
