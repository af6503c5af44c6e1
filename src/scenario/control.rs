//! Run control and outages.

use super::context::Context;
use super::cursor::{Cursor, Fault, choice};
use super::events::fault;
use super::fate::{Group, expanded};
use super::names::{Row, rows};
use super::tree::{Node, Origin};
use super::value::{count, memory, one_of, share, text, texts, time, time_above_zero, whole};
use crate::site::{Fabric, Fault as Kind, LossMode, Outage, Run, SwitchFamily, WarmUp};
use crate::unit::{Duration, Side};

/// Longest steady run.
const DURATION_MAX: Duration = Duration::from_secs(3600);

/// Keys of the table `[run]`.
mod key {
    pub(super) const DURATION: &str = "duration";
    pub(super) const WARM_UP: &str = "warm_up";
    pub(super) const SEED: &str = "seed";
    pub(super) const REPLICATIONS: &str = "replications";
    pub(super) const WITHIN: &str = "within";
    pub(super) const REPLICATIONS_MAX: &str = "replications_max";
    pub(super) const SWITCH_REPLICATIONS: &str = "switch_replications";
    pub(super) const BEFORE: &str = "before";
    pub(super) const SETTLE_LIMIT: &str = "settle_limit";
    pub(super) const DRAIN_LIMIT: &str = "drain_limit";
    pub(super) const FIRST: &str = "first";
    pub(super) const EVENTS_MAX: &str = "events_max";
    pub(super) const MEMORY_MAX: &str = "memory_max";
}

/// All of them.
pub(super) const RUN: [&str; 13] = [
    key::DURATION,
    key::WARM_UP,
    key::SEED,
    key::REPLICATIONS,
    key::WITHIN,
    key::REPLICATIONS_MAX,
    key::SWITCH_REPLICATIONS,
    key::BEFORE,
    key::SETTLE_LIMIT,
    key::DRAIN_LIMIT,
    key::FIRST,
    key::EVENTS_MAX,
    key::MEMORY_MAX,
];

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
    let replications = cursor.input(
        key::REPLICATIONS,
        "replications",
        &count(1, 10_000),
        choice("10"),
    );
    // Who asks for one replication wants no three of what takes longest.
    let switch_replications = match replications {
        1 => "1",
        2 => "2",
        _ => "3",
    };
    let run = Run {
        duration: cursor.input(
            key::DURATION,
            "length of a steady run",
            &duration,
            choice("2s"),
        ),
        warm_up: cursor.input(key::WARM_UP, "warm-up", &warm_up, choice("auto")),
        seed: cursor.input(key::SEED, "seed", &whole(0, u64::MAX), choice("1")),
        replications,
        within: cursor.optional(key::WITHIN, "precision asked for", &within),
        replications_max: cursor.input(
            key::REPLICATIONS_MAX,
            "most replications that a precision may take",
            &count(10, 10_000),
            choice("400"),
        ),
        switch_replications: cursor.input(
            key::SWITCH_REPLICATIONS,
            "replications of a switch-over",
            &count(1, 1_000),
            choice(switch_replications),
        ),
        before: cursor.input(
            key::BEFORE,
            "undisturbed time before a loss",
            &time,
            choice("200ms"),
        ),
        settle_limit: cursor.input(
            key::SETTLE_LIMIT,
            "longest settling after the timers of a switch-over",
            &time_above_zero,
            choice("30s"),
        ),
        drain_limit: cursor.input(
            key::DRAIN_LIMIT,
            "longest wait for measured I/Os",
            &time_above_zero,
            choice("1s"),
        ),
        first: cursor.get(key::FIRST, &side).unwrap_or(Side::A),
        events_max: cursor.input(
            key::EVENTS_MAX,
            "most events of a run",
            &whole(1, u64::MAX),
            choice("20000000000"),
        ),
        memory_max: cursor.input(
            key::MEMORY_MAX,
            "most memory of a run",
            &memory,
            choice("2GiB"),
        ),
    };
    if let WarmUp::At(warm_up) = run.warm_up
        && warm_up >= run.duration
    {
        let at = cursor
            .entry(key::WARM_UP)
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
        fault.expected = "\"auto\" or a time like \"50ms\" in quotes".to_owned();
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
pub(super) fn outages(
    top: &Cursor<'_, '_>,
    switches: &[SwitchFamily],
    groups: &[Group],
) -> Vec<Outage> {
    let mut outages: Vec<Outage> = sides(switches)
        .into_iter()
        .map(|side| Outage {
            name: side.letter().to_owned(),
            takes: vec![format!("*-{side}")],
            side: Some(side),
            mode: LossMode::Loud,
            fault: Kind::Lost,
        })
        .collect();
    let mut named: Vec<(String, &Origin)> = Vec::new();
    for row in rows(top, "outage") {
        // One that is wrong in itself has its name all the same.
        let name = super::tree::entry_name(row.entries).unwrap_or_default();
        let found = outage(top.ctx, row, groups);
        if let Some((_, first)) = named.iter().find(|(known, _)| *known == name) {
            let message = format!("the outage `{name}` is there twice");
            let place = top.ctx.line(first);
            let place = place.map_or_else(String::new, |line| {
                format!("it is already in line {line}: ")
            });
            let help = format!("{place}give one of the two another name, or take it out");
            top.ctx.error(row.origin, &message, "each name once", &help);
            continue;
        }
        if !name.is_empty() {
            named.push((name, row.origin));
        }
        let Some(outage) = found else {
            continue;
        };
        // A and B are there by themselves, and may be written down as something else.
        match outages.iter_mut().find(|known| known.name == outage.name) {
            Some(known) => *known = outage,
            None => outages.push(outage),
        }
    }
    outages
}

fn outage(ctx: &Context<'_>, row: Row<'_>, groups: &[Group]) -> Option<Outage> {
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
            .map(|nodes| {
                let names = nodes.iter().filter_map(Node::as_str);
                names.flat_map(|name| expanded(name, groups)).collect()
            }),
    };
    let fault = fault(&cursor);
    // One way can be lost in silence only, and what is slow is not lost.
    let mode = match fault {
        Kind::Lost | Kind::Flaps(_) => {
            cursor.input("mode", "how the loss shows", &mode(), choice("loud"))
        }
        Kind::OneWay(_) | Kind::Slow(_) => LossMode::Silent,
    };
    let takes: Option<Vec<String>> = takes;
    let whole = takes.as_ref().and_then(|takes| whole_side(&cursor, takes));
    cursor.finish();
    Some(Outage {
        name: named?,
        takes: takes?,
        side: whole,
        mode,
        fault,
    })
}

pub(super) fn mode() -> impl Fn(&Node) -> Result<LossMode, Fault> {
    one_of(&[("loud", LossMode::Loud), ("silent", LossMode::Silent)])
}

/// Whether patterns take a side whole.
pub(super) fn takes_side(takes: &[String], side: Side) -> bool {
    takes
        .iter()
        .any(|pattern| *pattern == format!("*-{side}") || pattern == "*")
}

/// The side that patterns take whole.
fn whole_side(cursor: &Cursor<'_, '_>, takes: &[String]) -> Option<Side> {
    match (takes_side(takes, Side::A), takes_side(takes, Side::B)) {
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
pub(super) fn patterns(node: &Node) -> Result<Vec<Node>, Fault> {
    patterns_or(node, |_| false)
}

/// Names or patterns of parts, or what `known` knows.
pub(super) fn patterns_or(node: &Node, known: impl Fn(&str) -> bool) -> Result<Vec<Node>, Fault> {
    let listed = texts(node)?;
    // `edge-A`, and what names of ports, links, members and cages are made with: `db-1:A1~edge-A/2`.
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_*:~/".contains(c);
    match listed.iter().find(|item| {
        item.as_str()
            .is_none_or(|text| text.is_empty() || !(text.chars().all(plain) || known(text)))
    }) {
        Some(item) => Err(Fault::new(
            "holds something that is no pattern",
            "part names, `*` for any letters, like [\"*-A\", \"lan-1\"]",
        )
        .at(&item.origin)),
        None => Ok(listed),
    }
}
