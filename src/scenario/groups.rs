//! Link groups: members, cages, who chooses a member, how instances are joined.

use super::cursor::{Cursor, choice, practice};
use super::links::Parts;
use super::value::{count, one_of};
use crate::site::{Cage, Carries, Choose, End, Fabric, Lag, Wiring};
use crate::wire::Medium;

/// Most members or legs of a group.
const MEMBERS_MAX: u32 = 64;

/// Members, array ports and the cage, which bind each other.
pub(super) struct LinkShape {
    pub members: u32,
    pub ports: u32,
    pub cage: Option<Cage>,
}

pub(super) fn shape(
    cursor: &Cursor<'_, '_>,
    ends: Option<(End, End)>,
    medium: Option<Medium>,
) -> LinkShape {
    let stated = cursor.optional("members", "members", &count(1, MEMBERS_MAX));
    let ports = cursor.optional(
        "ports",
        "array ports per controller and switch",
        &count(1, MEMBERS_MAX),
    );
    let cage = cage(cursor);
    let switches = matches!(ends, Some((End::Switch(_), End::Switch(_))));
    let to_array = matches!(ends, Some((_, End::Array(_))));
    let complain = |key: &'static str, says: String, expected: String, help: &str| {
        let at = cursor
            .entry(key)
            .map_or(cursor.origin, |entry| &entry.origin);
        cursor
            .ctx
            .error(at, &format!("{} {says}", cursor.who), &expected, help);
    };
    if ends.is_some() && ports.is_some() && !to_array {
        complain(
            "ports",
            "has `ports` but does not end at an array".into(),
            "members".into(),
            "links between switches have `members`",
        );
    }
    if ends.is_some()
        && !switches
        && medium == Some(Medium::FibreChannel)
        && stated.is_some_and(|members| members > 1)
    {
        let help = "Fibre Channel groups links between switches only; several links to a port are several ports";
        complain(
            "members",
            "groups links that do not join two switches".into(),
            if to_array { "ports" } else { "one member" }.into(),
            help,
        );
    }
    let members = match (cage, switches) {
        (Some(cage), true) => {
            if let Some(members) = stated
                && members != cage.lit
            {
                let says = format!("has {members} members but {} lit legs", cage.lit);
                complain(
                    "members",
                    says,
                    format!("members = {}, or leave it out", cage.lit),
                    "each lit leg is a member",
                );
            }
            cage.lit
        }
        _ => stated.unwrap_or(1),
    };
    if stated.is_none() {
        let text = members.to_string();
        cursor.assume_default(
            "members",
            "members",
            &text,
            choice(if cage.is_some() { "the lit legs" } else { "1" }),
        );
    }
    LinkShape {
        members,
        ports: if to_array { ports.unwrap_or(1) } else { 1 },
        cage,
    }
}

/// Keys of the table `cage` of a link.
pub(super) const CAGE: [&str; 2] = ["legs", "lit"];

fn cage(cursor: &Cursor<'_, '_>) -> Option<Cage> {
    let table = cursor.table("cage")?;
    let [legs_key, lit_key] = CAGE;
    let legs = table.needed(legs_key, "legs of the cage", &count(1, MEMBERS_MAX), "4");
    let lit = table.optional(lit_key, "lit legs", &count(1, MEMBERS_MAX));
    if let (Some(legs), Some(lit)) = (legs, lit)
        && lit > legs
    {
        let at = table
            .entry(lit_key)
            .map_or(table.origin, |entry| &entry.node.origin);
        let message = format!("{} lights {lit} legs of a cage that has {legs}", cursor.who);
        cursor
            .ctx
            .error(at, &message, &format!("at most {legs}"), "");
    }
    table.finish();
    let legs = legs?;
    Some(Cage {
        legs,
        lit: lit.unwrap_or(legs),
    })
}

pub(super) fn choose(
    cursor: &Cursor<'_, '_>,
    ends: Option<(End, End)>,
    medium: Option<Medium>,
    carries: Carries,
) -> Choose {
    let words = one_of(&[
        ("flow", Choose::Flow),
        ("exchange", Choose::Exchange),
        ("frame", Choose::Frame),
        ("pinned", Choose::Pinned),
    ]);
    let default = if medium == Some(Medium::FibreChannel) {
        practice("exchange")
    } else {
        practice("flow")
    };
    let choose = cursor.input("choose", "member choice", &words, default);
    let at = cursor
        .entry("choose")
        .map_or(cursor.origin, |entry| &entry.node.origin);
    let switches = matches!(ends, Some((End::Switch(_), End::Switch(_))) | None);
    if choose == Choose::Frame && (medium == Some(Medium::Ethernet) || !switches) {
        let message = format!("{} cannot choose a member frame by frame", cursor.who);
        cursor.ctx.error(
            at,
            &message,
            "\"flow\", \"exchange\" or \"pinned\"",
            "frame striping exists between FC switches only",
        );
    }
    if choose == Choose::Exchange && carries == Carries::Ip {
        let message = format!(
            "{} carries only IP, which has no exchanges to choose by",
            cursor.who
        );
        cursor.ctx.error(at, &message, "\"flow\" or \"pinned\"", "");
    }
    choose
}

/// How many instances an end has on one fabric.
fn instances(end: End, parts: &Parts<'_>) -> u32 {
    match end {
        End::Host(index) => parts.hosts[index].count,
        End::Switch(index) => parts.switches[index].family.count,
        End::Array(_) => 1,
    }
}

pub(super) fn wiring(
    cursor: &Cursor<'_, '_>,
    ends: Option<(End, End)>,
    parts: &Parts<'_>,
) -> Wiring {
    let words = one_of(&[
        ("dealt", Wiring::Dealt),
        ("one-to-one", Wiring::OneToOne),
        ("mesh", Wiring::Mesh),
    ]);
    let wiring = cursor.input("wiring", "wiring", &words, choice("dealt"));
    if let Some((from, to)) = ends
        && wiring == Wiring::OneToOne
    {
        let (left, right) = (instances(from, parts), instances(to, parts));
        if left != right {
            let at = cursor
                .entry("wiring")
                .map_or(cursor.origin, |entry| &entry.node.origin);
            let message = format!("{} joins {left} to {right} one to one", cursor.who);
            cursor
                .ctx
                .error(at, &message, "equal numbers", "use \"dealt\" or \"mesh\"");
        }
    }
    wiring
}

pub(super) fn lag(
    cursor: &Cursor<'_, '_>,
    ends: Option<(End, End)>,
    parts: &Parts<'_>,
    how: (Wiring, Option<Medium>),
) -> Lag {
    let (wiring, medium) = how;
    let lag = cursor.optional(
        "lag",
        "reach of the group",
        &one_of(&[("single", Lag::Single), ("across", Lag::Across)]),
    );
    let lag = lag.unwrap_or(Lag::Single);
    let Some((from, to)) = ends else {
        return lag;
    };
    if lag == Lag::Single {
        return lag;
    }
    let at = cursor
        .entry("lag")
        .map_or(cursor.origin, |entry| &entry.node.origin);
    let pair = |end| {
        matches!(end, End::Switch(index) if {
            let family = &parts.switches[index].family;
            family.count == 2 && family.per.is_none()
        })
    };
    if !pair(from) && !pair(to) {
        let message = format!(
            "{} is one group across a pair, but neither end is a pair of switches",
            cursor.who
        );
        let help = "give the switch family `count = 2`, or leave `lag` out";
        cursor
            .ctx
            .error(at, &message, "a switch family with count = 2", help);
    } else if medium == Some(Medium::FibreChannel) {
        let message = format!(
            "{} is Fibre Channel, which has no groups across a pair",
            cursor.who
        );
        cursor
            .ctx
            .error(at, &message, "Ethernet", "leave `lag` out");
    } else if wiring != Wiring::Mesh && pair(to) != pair(from) && !both_shared(from, to, parts) {
        let message = format!(
            "{} is one group across a pair, but its ends are not meshed",
            cursor.who
        );
        cursor.ctx.error(
            at,
            &message,
            "wiring = \"mesh\"",
            "each end must reach both switches of the pair",
        );
    }
    lag
}

fn both_shared(from: End, to: End, parts: &Parts<'_>) -> bool {
    let shared = |end| matches!(end, End::Switch(index) if parts.switches[index].family.fabric == Fabric::Shared);
    shared(from) && shared(to)
}
