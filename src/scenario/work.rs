//! Workloads.

use super::arrivals::{self, Files, When};
use super::context::Context;
use super::cursor::{Cursor, choice, practice};
use super::day::Shapes;
use super::links::RawLink;
use super::names::Names;
use super::promise;
use super::protocol::{self, Kind};
use super::tree::{Entry, Node};
use super::value::{self, adds_up, count, one_of, share, size, texts, time};
use crate::site::{Arrivals, Owner, Replay, SizeMix, Workload};
use crate::unit::Duration;
use crate::wire::{Op, PlainOptions, Protocol};
use std::collections::BTreeMap;

/// For each host family whether only `plain` workloads use it (and one does).
pub(super) fn plain_only(names: &Names<'_>) -> Vec<bool> {
    let mut used = vec![(false, true); names.hosts.names.len()];
    for row in &names.workloads.rows {
        let find = |key: &str| {
            row.entries
                .iter()
                .find(|entry| entry.key == key)
                .map(|entry| &entry.node)
        };
        let plain = find("protocol")
            .and_then(Node::as_str)
            .is_some_and(|word| word == "plain");
        let hosts = find("hosts")
            .and_then(|node| texts(node).ok())
            .unwrap_or_default();
        for host in hosts.iter().filter_map(|node| names.hosts.find(node).ok()) {
            used[host] = (true, used[host].1 && plain);
        }
    }
    used.into_iter().map(|(any, plain)| any && plain).collect()
}

/// Reads every `[[workload]]`; `traces` receives the text of each trace that was read.
pub(super) fn workloads<'c>(
    ctx: &'c Context<'_>,
    (names, shapes): (&Names<'c>, &Shapes<'_, '_>),
    links: &[Option<RawLink>],
    files: Files<'_>,
    traces: &mut Vec<String>,
) -> Vec<Workload> {
    (0..names.workloads.rows.len())
        .filter_map(|index| {
            let cursor = names.workloads.cursor(ctx, index);
            let name = names.workloads.names[index].clone();
            workload(cursor, (names, shapes), links, files, traces, name)
        })
        .collect()
}

fn workload<'c>(
    cursor: Cursor<'c, '_>,
    (names, shapes): (&Names<'c>, &Shapes<'_, '_>),
    links: &[Option<RawLink>],
    files: Files<'_>,
    traces: &mut Vec<String>,
    name: String,
) -> Option<Workload> {
    cursor.entry("name");
    let hosts = hosts(&cursor, names);
    let array = cursor.need("array", &|node: &Node| names.arrays.find(node), "\"vault\"");
    let kind = cursor.needed("protocol", "protocol", &protocol::kind, "\"fc-scsi\"");
    let protocol = kind.map(|kind| protocol::options(&cursor, kind, links));
    let arrivals = arrivals::arrivals(&cursor, shapes, files, traces);
    let replay = match &arrivals {
        Some(When {
            arrivals: Arrivals::Replay(replay),
            ..
        }) => Some(replay),
        _ => None,
    };
    let (read, sizes) = reads_and_sizes(&cursor, replay, protocol.as_ref());
    let volumes = cursor.input("volumes", "volumes", &count(1, 1_000_000), practice("16"));
    let owners = one_of(&[("any", Owner::Any), ("alternate", Owner::Alternate)]);
    let owner = cursor.input("owner", "owning controller", &owners, choice("any"));
    let kind_or_plain = kind.unwrap_or(Kind::Plain);
    let connections = cursor.input(
        "connections",
        "connections per host and path",
        &count(1, 1024),
        kind_or_plain.connections(),
    );
    let adapter: Duration = cursor.input(
        "adapter",
        "adapter time for each message a host sends or receives",
        &time,
        kind_or_plain.adapter(),
    );
    let promises = promise::promises(&cursor);
    if kind.is_none() {
        // An option of any protocol may be meant; what no protocol has is misspelt.
        protocol::know_options(&cursor);
    }
    cursor.finish();
    let When {
        arrivals,
        per,
        outstanding,
        shape,
    } = arrivals?;
    Some(Workload {
        name,
        hosts: hosts?,
        array: array?,
        protocol: protocol?,
        adapter,
        arrivals,
        per,
        outstanding,
        shape,
        read,
        sizes: sizes?,
        volumes,
        owner,
        connections,
        promises,
    })
}

/// The host families, once each; `None` where one of them is not there, for then nobody knows who does the work.
fn hosts(cursor: &Cursor<'_, '_>, names: &Names<'_>) -> Option<Vec<usize>> {
    let listed = cursor.need("hosts", &texts, "\"db\"")?;
    let mut hosts = Vec::new();
    let mut all = true;
    for node in &listed {
        match names.hosts.find(node) {
            Ok(host) if hosts.contains(&host) => {
                cursor.ctx.error(
                    &node.origin,
                    &format!("{} names the same hosts twice", cursor.who),
                    "once",
                    "",
                );
            }
            Ok(host) => hosts.push(host),
            Err(fault) => {
                all = false;
                cursor.fault("hosts", node, &fault);
            }
        }
    }
    all.then_some(hosts)
}

/// Shares of reads and sizes: stated, or the trace's, or (sizes of `plain`) those of its messages.
fn reads_and_sizes(
    cursor: &Cursor<'_, '_>,
    replay: Option<&Replay>,
    protocol: Option<&Protocol>,
) -> (f64, Option<SizeMix>) {
    if let Some(replay) = replay {
        for key in ["read", "sizes"] {
            if let Some(entry) = cursor.entry(key) {
                let message = format!("{} replays a trace and states `{key}`", cursor.who);
                cursor.ctx.error(
                    &entry.origin,
                    &message,
                    "nothing: the trace has it",
                    &format!("leave `{key}` out"),
                );
            }
        }
        let (read, sizes) = of_trace(replay);
        return (read, Some(sizes));
    }
    let is_replay = cursor
        .entry("arrivals")
        .and_then(|entry| entry.node.as_table())
        .is_some_and(|entries| entries.iter().any(|inner| inner.key == "replay"));
    if is_replay {
        // The trace could not be read, which has been said; what it would have given cannot be missed.
        cursor.entry("read");
        cursor.entry("sizes");
        return (0.0, None);
    }
    let read = cursor.input("read", "share of reads", &share, practice("70%"));
    let sizes = match (cursor.entry("sizes"), protocol) {
        (
            None,
            Some(Protocol::Plain(PlainOptions {
                request, response, ..
            })),
        ) => {
            let (read, write) = (
                vec![(u64::from(*response), 1.0)],
                vec![(u64::from(*request), 1.0)],
            );
            Some(SizeMix { read, write })
        }
        (None, _) => {
            cursor.need("sizes", &value::text, "\"8KiB\"");
            None
        }
        (Some(entry), _) => sizes(cursor, entry),
    };
    (read, sizes)
}

/// `"8KiB"`, `{ "8KiB" = 0.9, "64KiB" = 0.1 }`, or `{ read = …, write = … }`.
fn sizes(cursor: &Cursor<'_, '_>, entry: &Entry) -> Option<SizeMix> {
    let before = cursor.ctx.problems.borrow().len();
    let node = super::tree::unwrapped(&entry.node);
    let apart = node.as_table().is_some_and(|entries| {
        entries
            .iter()
            .any(|inner| inner.key == "read" || inner.key == "write")
    });
    let sizes = match node.as_table() {
        Some(entries) if apart => {
            for inner in entries {
                if !["read", "write", "basis", "source"].contains(&inner.key.as_str()) {
                    let message = format!("unknown key `{}` in sizes of {}", inner.key, cursor.who);
                    cursor.ctx.error(
                        &inner.origin,
                        &message,
                        "read and write",
                        "give each a size or a mix",
                    );
                }
            }
            let part = |key: &str| match entries.iter().find(|inner| inner.key == key) {
                Some(inner) => mix(cursor, &inner.node),
                None => {
                    let message = format!("sizes of {} has no `{key}`", cursor.who);
                    cursor
                        .ctx
                        .error(&node.origin, &message, "both read and write", "");
                    Vec::new()
                }
            };
            SizeMix {
                read: part("read"),
                write: part("write"),
            }
        }
        _ => {
            let both = mix(cursor, node);
            SizeMix {
                read: both.clone(),
                write: both,
            }
        }
    };
    if cursor.ctx.problems.borrow().len() > before {
        return None;
    }
    cursor.optional("sizes", "sizes", &|_: &Node| Ok(()));
    Some(sizes)
}

fn mix(cursor: &Cursor<'_, '_>, node: &Node) -> Vec<(u64, f64)> {
    let Some(entries) = node.as_table() else {
        return match size(node) {
            Ok(bytes) => vec![(bytes, 1.0)],
            Err(fault) => {
                cursor.fault("sizes", node, &fault);
                Vec::new()
            }
        };
    };
    let before = cursor.ctx.problems.borrow().len();
    let mut parts: Vec<(u64, f64)> = Vec::new();
    for entry in entries
        .iter()
        .filter(|entry| entry.key != "basis" && entry.key != "source")
    {
        let Ok(bytes) = value::io_size(&entry.key) else {
            let message = format!("`{}` in sizes of {} is no size", entry.key, cursor.who);
            let expected = value::size_expected(&entry.key);
            cursor
                .ctx
                .error(&entry.origin, &message, &expected, "at most 64MiB");
            continue;
        };
        if parts.iter().any(|(known, _)| *known == bytes) {
            let message = format!("`{}` in sizes of {} is there twice", entry.key, cursor.who);
            cursor
                .ctx
                .error(&entry.origin, &message, "each size once", "");
        }
        match share(&entry.node) {
            Ok(share) => parts.push((bytes, share)),
            Err(fault) => cursor.fault(&entry.key, &entry.node, &fault),
        }
    }
    if cursor.ctx.problems.borrow().len() == before
        && let Err(fault) = adds_up(parts.iter().map(|(_, share)| *share))
    {
        cursor.fault("sizes", node, &fault);
    }
    parts.retain(|(_, share)| *share > 0.0);
    // By size: draws follow the order, and the keys of a TOML table have none.
    parts.sort_by_key(|(bytes, _)| *bytes);
    parts
}

/// Share of reads and sizes of a trace. A kind of I/O it does not have takes the sizes of the other.
#[allow(clippy::cast_precision_loss)]
fn of_trace(replay: &Replay) -> (f64, SizeMix) {
    let mut counts: [BTreeMap<u64, u64>; 2] = [BTreeMap::new(), BTreeMap::new()];
    for entry in replay.entries.iter() {
        let kind = usize::from(entry.op == Op::Write);
        *counts[kind].entry(u64::from(entry.size)).or_insert(0) += 1;
    }
    let totals = [0, 1].map(|kind: usize| counts[kind].values().sum::<u64>());
    let mix = |kind: usize| -> Vec<(u64, f64)> {
        let kind = if totals[kind] == 0 { 1 - kind } else { kind };
        counts[kind]
            .iter()
            .map(|(size, count)| (*size, *count as f64 / totals[kind] as f64))
            .collect()
    };
    let read = totals[0] as f64 / (totals[0] + totals[1]).max(1) as f64;
    (
        read,
        SizeMix {
            read: mix(0),
            write: mix(1),
        },
    )
}
