//! Run control, outages and scripted events.

use super::context::Context;
use super::cursor::{Cursor, Fault, choice};
use super::names::{Row, rows};
use super::problem::near_or_list;
use super::tree::{Node, Origin};
use super::value::{count, one_of, share, text, texts, time, time_above_zero, whole};
use crate::site::{Action, Event, Fabric, LossMode, Outage, Run, SwitchFamily, WarmUp};
use crate::topology;
use crate::unit::{Duration, Side};

/// Longest steady run.
const DURATION_MAX: Duration = Duration::from_secs(3600);

/// Reads `[run]`.
pub(super) fn run(top: &Cursor<'_, '_>) -> Run {
    let cursor = match top.table("run") {
        Some(mut cursor) => {
            "run".clone_into(&mut cursor.path);
            "[run]".clone_into(&mut cursor.who);
            cursor
        }
        None => Cursor::new(top.ctx, &[], &Origin::Default, "run", "[run]"),
    };
    let side = one_of(&[("A", Side::A), ("B", Side::B)]);
    let run = Run {
        duration: cursor.input(
            "duration",
            "length of a steady run",
            &duration,
            choice("2s"),
        ),
        warm_up: cursor.input("warm_up", "warm-up", &warm_up, choice("auto")),
        seed: cursor.input("seed", "seed", &whole(0, u64::MAX), choice("1")),
        replications: cursor.input(
            "replications",
            "replications",
            &count(1, 10_000),
            choice("10"),
        ),
        within: cursor.optional("within", "precision asked for", &within),
        replications_max: cursor.input(
            "replications_max",
            "most replications that a precision may take",
            &count(10, 10_000),
            choice("400"),
        ),
        switch_replications: cursor.input(
            "switch_replications",
            "replications of a switch-over",
            &count(1, 1_000),
            choice("3"),
        ),
        before: cursor.input(
            "before",
            "undisturbed time before a loss",
            &time,
            choice("200ms"),
        ),
        settle_limit: cursor.input(
            "settle_limit",
            "longest settling after the timers of a switch-over",
            &time_above_zero,
            choice("30s"),
        ),
        drain_limit: cursor.input(
            "drain_limit",
            "longest wait for measured I/Os",
            &time_above_zero,
            choice("1s"),
        ),
        first: cursor.get("first", &side).unwrap_or(Side::A),
        events_max: cursor.input(
            "events_max",
            "most events of a run",
            &whole(1, u64::MAX),
            choice("20000000000"),
        ),
    };
    if let WarmUp::At(warm_up) = run.warm_up
        && warm_up >= run.duration
    {
        let at = cursor
            .entry("warm_up")
            .map_or(cursor.origin, |entry| &entry.node.origin);
        let message = format!(
            "the warm-up of {warm_up} leaves nothing of a run of {}",
            run.duration
        );
        top.ctx.error(at, &message, "less than `duration`", "");
    }
    cursor.finish();
    run
}

/// A relative precision, 0.1 % to 50 %.
fn within(node: &Node) -> Result<f64, Fault> {
    let within = share(node)?;
    if (0.001..=0.5).contains(&within) {
        Ok(within)
    } else {
        Err(Fault::new("is out of range", "from 0.1% to 50%"))
    }
}

fn duration(node: &Node) -> Result<Duration, Fault> {
    let length = time_above_zero(node)?;
    if length > DURATION_MAX {
        return Err(Fault::new("is too long", "at most 1h"));
    }
    Ok(length)
}

fn warm_up(node: &Node) -> Result<WarmUp, Fault> {
    if node.as_str().is_some_and(|text| text == "auto") {
        return Ok(WarmUp::Auto);
    }
    time(node).map(WarmUp::At).map_err(|mut fault| {
        fault.expected = "\"auto\" or a time".to_owned();
        fault
    })
}

/// The sides on which any switch stands, A first.
fn sides(switches: &[SwitchFamily]) -> Vec<Side> {
    let on = |side| {
        switches
            .iter()
            .any(|family| family.fabric == Fabric::Each || family.fabric == Fabric::Only(side))
    };
    Side::BOTH.into_iter().filter(|side| on(*side)).collect()
}

/// Reads every `[[outage]]`; A and B are there by themselves.
pub(super) fn outages(top: &Cursor<'_, '_>, switches: &[SwitchFamily]) -> Vec<Outage> {
    let mut outages: Vec<Outage> = sides(switches)
        .into_iter()
        .map(|side| Outage {
            name: side.letter().to_owned(),
            takes: vec![format!("*-{side}")],
            side: Some(side),
            mode: LossMode::Loud,
        })
        .collect();
    let own = outages.len();
    let mut redefined: Vec<String> = Vec::new();
    for row in rows(top, "outage") {
        let Some(outage) = outage(top.ctx, row) else {
            continue;
        };
        let known = outages.iter().position(|known| known.name == outage.name);
        match known {
            Some(index) if index < own && !redefined.contains(&outage.name) => {
                redefined.push(outage.name.clone());
                outages[index] = outage;
            }
            Some(_) => {
                let message = format!("the outage `{}` is there twice", outage.name);
                top.ctx.error(row.origin, &message, "each name once", "");
            }
            None => outages.push(outage),
        }
    }
    outages
}

fn outage(ctx: &Context<'_>, row: Row<'_>) -> Option<Outage> {
    let name = super::tree::entry_name(row.entries).unwrap_or_default();
    let cursor = Cursor::new(
        ctx,
        row.entries,
        row.origin,
        format!("outage.{name}"),
        format!("outage `{name}`"),
    );
    let named = cursor.need("name", &text, "\"A\"");
    let side = match name.as_str() {
        "A" => Some(Side::A),
        "B" => Some(Side::B),
        _ => None,
    };
    let takes = match (cursor.has("takes"), side) {
        (false, Some(side)) => {
            cursor.entry("takes");
            Some(vec![format!("*-{side}")])
        }
        _ => cursor
            .needed("takes", "parts taken", &patterns, "[\"*-A\", \"lan-1\"]")
            .map(|nodes| nodes.iter().filter_map(Node::as_str).cloned().collect()),
    };
    let mode = cursor.input("mode", "how the loss shows", &mode(), choice("loud"));
    let takes: Option<Vec<String>> = takes;
    let whole = takes.as_ref().and_then(|takes| whole_side(&cursor, takes));
    cursor.finish();
    Some(Outage {
        name: named?,
        takes: takes?,
        side: whole,
        mode,
    })
}

fn mode() -> impl Fn(&Node) -> Result<LossMode, Fault> {
    one_of(&[("loud", LossMode::Loud), ("silent", LossMode::Silent)])
}

/// The side that patterns take whole.
fn whole_side(cursor: &Cursor<'_, '_>, takes: &[String]) -> Option<Side> {
    let taken = |side: Side| {
        takes
            .iter()
            .any(|pattern| *pattern == format!("*-{side}") || pattern == "*")
    };
    match (taken(Side::A), taken(Side::B)) {
        (true, true) => {
            let message = format!("{} takes both fabrics", cursor.who);
            cursor.ctx.error(
                cursor.origin,
                &message,
                "one side at most",
                "nothing would be left to carry the work",
            );
            None
        }
        (true, false) => Some(Side::A),
        (false, true) => Some(Side::B),
        (false, false) => None,
    }
}

/// Names or patterns of parts.
fn patterns(node: &Node) -> Result<Vec<Node>, Fault> {
    let listed = texts(node)?;
    // `edge-A`, and what names of ports, links, members and cages are made with: `db-1:A1~edge-A/2`.
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_*:~/".contains(c);
    match listed.iter().find(|item| {
        item.as_str()
            .is_none_or(|text| text.is_empty() || !text.chars().all(plain))
    }) {
        Some(item) => Err(Fault::new(
            "holds something that is no pattern",
            "part names, `*` for any letters",
        )
        .at(&item.origin)),
        None => Ok(listed),
    }
}

/// Reads every `[[event]]`, in order of time.
pub(super) fn events(top: &Cursor<'_, '_>, outages: &[Outage]) -> Vec<Event> {
    let mut events: Vec<Event> = rows(top, "event")
        .into_iter()
        .enumerate()
        .flat_map(|(index, row)| event(top.ctx, row, index, outages))
        .collect();
    events.sort_by_key(|event| event.at);
    events
}

fn event(ctx: &Context<'_>, row: Row<'_>, index: usize, outages: &[Outage]) -> Vec<Event> {
    const ACTIONS: [&str; 3] = ["lose", "restore", "drain"];
    let number = index + 1;
    let cursor = Cursor::new(
        ctx,
        row.entries,
        row.origin,
        format!("event.{number}"),
        format!("event {number}"),
    );
    let at = cursor.needed("at", "time of an event", &time, "\"800ms\"");
    let mode = cursor.optional("mode", "how the loss shows", &mode());
    let stated: Vec<&'static str> = ACTIONS.into_iter().filter(|key| cursor.has(key)).collect();
    let targets = match stated.as_slice() {
        [key] => cursor.optional(key, "event", &patterns).unwrap_or_default(),
        _ => {
            for key in ACTIONS {
                cursor.entry(key);
            }
            let message = format!("{} does {} things", cursor.who, stated.len());
            ctx.error(
                row.origin,
                &message,
                "exactly one of: lose, restore, drain",
                "",
            );
            Vec::new()
        }
    };
    if mode.is_some() && stated.first() != Some(&"lose") {
        ctx.error(
            row.origin,
            &format!("{} has a `mode` but loses nothing", cursor.who),
            "only with `lose`",
            "",
        );
    }
    for key in ACTIONS {
        cursor.entry(key);
    }
    cursor.finish();
    let Some(at) = at else {
        return Vec::new();
    };
    targets
        .iter()
        .filter_map(Node::as_str)
        .map(|target| {
            let outage = outages.iter().find(|outage| outage.name == *target);
            let mode = mode
                .or(outage.map(|outage| outage.mode))
                .unwrap_or(LossMode::Loud);
            let action = match stated.first() {
                Some(&"restore") => Action::Restore,
                Some(&"drain") => Action::Drain,
                _ => Action::Lose(mode),
            };
            Event {
                at,
                action,
                parts: outage.map_or_else(|| vec![target.clone()], |outage| outage.takes.clone()),
                side: outage.and_then(|outage| outage.side),
                target: target.clone(),
            }
        })
        .collect()
}

/// Reports every pattern of an outage or event that no part of the site has.
pub(super) fn unmatched(top: &Cursor<'_, '_>, outages: &[Outage], parts: &[String]) {
    let known: Vec<&str> = parts.iter().map(String::as_str).collect();
    let keys = [
        ("outage", "takes"),
        ("event", "lose"),
        ("event", "restore"),
        ("event", "drain"),
    ];
    for (family, key) in keys {
        for row in rows(top, family) {
            let listed = row
                .entries
                .iter()
                .find(|entry| entry.key == key)
                .map(|entry| texts(&entry.node));
            for node in listed.and_then(Result::ok).unwrap_or_default() {
                let pattern = node.as_str().map_or("", String::as_str);
                let outage =
                    family == "event" && outages.iter().any(|outage| outage.name == pattern);
                if outage || parts.iter().any(|part| topology::matches(pattern, part)) {
                    continue;
                }
                let mut known = known.clone();
                if family == "event" {
                    known.extend(outages.iter().map(|outage| outage.name.as_str()));
                }
                let message = format!("no part is called `{pattern}`");
                top.ctx.error(
                    &node.origin,
                    &message,
                    &near_or_list(pattern, "parts", &known),
                    "`*` stands for any letters",
                );
            }
        }
    }
}
