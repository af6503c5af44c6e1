//! Links: who is joined to whom, how fast, and what may cross.

use super::cursor::{Cursor, Fallback, Fault, choice, practice, standard};
use super::names::Names;
use super::parts::{RawSwitch, labels};
use super::problem::near_or_list;
use super::tree::Node;
use super::value::{bytes, count, length_mm, link_rate, one_of, time};
use crate::site::{
    Cage, Carries, Chassis, Choose, End, Fabric, HostFamily, Lag, LinkFamily, Wiring,
};
use crate::unit::{Duration, Rate};
use crate::wire::{self, Medium, Technology};

/// What the links refer to, already read.
pub(super) struct Parts<'p> {
    pub chassis: &'p [Chassis],
    pub hosts: &'p [HostFamily],
    pub switches: &'p [RawSwitch],
}

/// A link family, and whether its MTU was stated.
pub(super) struct RawLink {
    pub family: LinkFamily,
    pub mtu_stated: bool,
}

/// What a switch forwards in when nothing is known of it: common practice for Ethernet and for FC.
pub(super) const DELAY_ETHERNET: Fallback = practice("400ns");
/// The same for a switch with only Fibre Channel links.
pub(super) const DELAY_FC: Fallback = practice("700ns");

/// MTU of an Ethernet link where none is stated.
pub(super) const MTU_DEFAULT: u32 = 1500;
/// MTU of an Ethernet link that also carries Fibre Channel, where none is stated: FCoE frames need 2158
/// bytes, and settings of 2240 to 2500 are common.
const MTU_FCOE: u32 = 2500;
/// Largest MTU: larger frames than 9,216 bytes are rarely accepted (common practice).
const MTU_MAX: u32 = 9_216;
/// Propagation per millimetre: 5 ns/m, common planning value, fibre at 4.9.
const PS_PER_MM: u64 = 5;
/// Most members or legs of a group.
const MEMBERS_MAX: u32 = 64;

/// Reads every `[[link]]`. `None` in a place where the ends or the speed could not be understood.
pub(super) fn links(
    top: &Cursor<'_, '_>,
    names: &Names<'_>,
    parts: &Parts<'_>,
) -> Vec<Option<RawLink>> {
    (0..names.links.rows.len())
        .map(|index| {
            let cursor = names.links.cursor(top.ctx, index);
            let link = link(&cursor, names, parts, names.links.names[index].clone());
            cursor.finish();
            link
        })
        .collect()
}

fn link(
    cursor: &Cursor<'_, '_>,
    names: &Names<'_>,
    parts: &Parts<'_>,
    name: String,
) -> Option<RawLink> {
    cursor.entry("name");
    let from = cursor.need("from", &|node: &Node| end(names, node), "\"db\"");
    let to = cursor.need("to", &|node: &Node| end(names, node), "\"edge\"");
    let ends = from
        .zip(to)
        .filter(|(from, to)| ends_fit(cursor, parts, *from, *to));
    let speed = cursor.needed("speed", "speed", &speed, "\"100GbE\"");
    let medium = speed
        .as_ref()
        .and_then(|speed| speed.technology.map(|technology| technology.medium));
    let shape = shape(cursor, ends, medium);
    let length = cursor.input("length", "length", &length_mm, practice("10m"));
    let propagation = cursor.optional("propagation", "propagation delay", &time);
    if propagation.is_some() && cursor.has("length") {
        let message = format!("{} has both `length` and `propagation`", cursor.who);
        cursor.ctx.error(
            cursor.origin,
            &message,
            "one of the two",
            "`propagation` is the delay of the whole link",
        );
    }
    let fec_latency = fec(cursor, speed.as_ref().and_then(|speed| speed.technology));
    let carries = carries(cursor, medium);
    let choose = choose(cursor, ends, medium, carries);
    let wiring = wiring(cursor, ends, parts);
    let lag = lag(cursor, ends, parts, (wiring, medium));
    let (mtu, mtu_stated) = mtu(cursor, medium, carries);
    let (from, to) = ends?;
    let speed = speed?;
    let family = LinkFamily {
        name,
        from,
        to,
        label: speed.label,
        medium,
        rate: speed.rate,
        members: shape.members,
        ports: shape.ports,
        propagation: propagation.unwrap_or(Duration(length * PS_PER_MM)),
        fec_latency,
        carries,
        choose,
        wiring,
        lag,
        cage: shape.cage,
        mtu,
    };
    Some(RawLink { family, mtu_stated })
}

/// The part family that a link ends at.
fn end(names: &Names<'_>, node: &Node) -> Result<End, Fault> {
    let Some(name) = node.as_str() else {
        return Err(Fault::new(
            format!("is {}", node.kind()),
            "the name of a host, switch or array",
        ));
    };
    let find = |list: &[String]| list.iter().position(|known| known == name);
    if let Some(index) = find(&names.hosts.names) {
        return Ok(End::Host(index));
    }
    if let Some(index) = find(&names.switches.names) {
        return Ok(End::Switch(index));
    }
    if let Some(index) = find(&names.arrays.names) {
        return Ok(End::Array(index));
    }
    if find(&names.chassis.names).is_some() {
        return Err(Fault::new(
            format!("names the chassis `{name}`"),
            "a host, switch or array",
        )
        .help("link the hosts in the chassis, or the module that serves them"));
    }
    let known: Vec<&str> = [&names.hosts, &names.switches, &names.arrays]
        .iter()
        .flat_map(|family| family.known())
        .collect();
    Err(Fault::new(
        format!("names an unknown part `{name}`"),
        near_or_list(name, "hosts, switches and arrays", &known),
    )
    .help(format!(
        "add a [[host]], [[switch]] or [[array]] named `{name}`, or use a name that is there"
    )))
}

/// Whether two kinds of part can be joined in that direction.
fn ends_fit(cursor: &Cursor<'_, '_>, parts: &Parts<'_>, from: End, to: End) -> bool {
    let ctx = cursor.ctx;
    let at = cursor
        .entry("to")
        .map_or(cursor.origin, |entry| &entry.node.origin);
    let (says, expected, help) = match (from, to) {
        (End::Host(_), End::Host(_)) => (
            "joins a host to a host",
            "a switch",
            "hosts reach arrays through switches; add a [[switch]] between",
        ),
        (End::Array(_), _) => (
            "starts at an array",
            "from a switch, to an array",
            "swap `from` and `to`",
        ),
        (End::Switch(_), End::Host(_)) => (
            "runs from a switch to a host",
            "from a host, to a switch",
            "swap `from` and `to`",
        ),
        (End::Switch(a), End::Switch(b)) if a == b && parts.switches[a].family.count < 2 => {
            ("joins a switch to itself", "two different switches", "")
        }
        (End::Host(host), End::Switch(switch)) => return module_fits(cursor, parts, host, switch),
        (End::Host(_) | End::Switch(_), End::Array(_)) | (End::Switch(_), End::Switch(_)) => {
            return true;
        }
    };
    ctx.error(at, &format!("{} {says}", cursor.who), expected, help);
    false
}

/// Hosts in a chassis reach the modules of that chassis; no other host reaches a module.
fn module_fits(cursor: &Cursor<'_, '_>, parts: &Parts<'_>, host: usize, switch: usize) -> bool {
    let Some(per) = parts.switches[switch].family.per else {
        return true;
    };
    if parts.hosts[host].chassis == Some(per) {
        return true;
    }
    let at = cursor
        .entry("to")
        .map_or(cursor.origin, |entry| &entry.node.origin);
    let (name, chassis) = (&parts.hosts[host].name, &parts.chassis[per].name);
    let message = format!(
        "{} joins host `{name}` to a module of chassis `{chassis}`, which does not hold it",
        cursor.who
    );
    let help = format!("add `{name}` to `holds` of [[chassis]] `{chassis}`");
    cursor.ctx.error(
        at,
        &message,
        "a switch, or the module of its own chassis",
        &help,
    );
    false
}

/// What a link runs at.
struct Speed {
    label: String,
    technology: Option<&'static Technology>,
    rate: Rate,
}

fn speed(node: &Node) -> Result<Speed, Fault> {
    let Some(text) = node.as_str() else {
        return Err(Fault::new(
            format!("is {}", node.kind()),
            "a technology like \"100GbE\", or a rate like \"27.2Gb/s\"",
        ));
    };
    if let Some(technology) = wire::technology(text) {
        let label = technology.label.to_owned();
        return Ok(Speed {
            label,
            technology: Some(technology),
            rate: technology.usable,
        });
    }
    if text.ends_with("/s") {
        let rate = link_rate(node)?;
        return Ok(Speed {
            label: text.clone(),
            technology: None,
            rate,
        });
    }
    Err(Fault::new(
        format!("names no technology `{text}`"),
        near_or_list(text, "technologies", &labels()),
    )
    .help("or state a rate, like \"27.2Gb/s\""))
}

/// Members, array ports and the cage, which bind each other.
struct LinkShape {
    members: u32,
    ports: u32,
    cage: Option<Cage>,
}

fn shape(cursor: &Cursor<'_, '_>, ends: Option<(End, End)>, medium: Option<Medium>) -> LinkShape {
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

fn cage(cursor: &Cursor<'_, '_>) -> Option<Cage> {
    let table = cursor.table("cage")?;
    let legs = table.needed("legs", "legs of the cage", &count(1, MEMBERS_MAX), "4");
    let lit = table.optional("lit", "lit legs", &count(1, MEMBERS_MAX));
    if let (Some(legs), Some(lit)) = (legs, lit)
        && lit > legs
    {
        let at = table
            .entry("lit")
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

/// `fec = "off"`, or its latency; by default the technology's.
fn fec(cursor: &Cursor<'_, '_>, technology: Option<&'static Technology>) -> Duration {
    let off_or_time = |node: &Node| match node.as_str().map(String::as_str) {
        Some("off") => Ok(Duration::ZERO),
        _ => time(node).map_err(|mut fault| {
            fault.expected.push_str(", or \"off\"");
            fault
        }),
    };
    if let Some(latency) = cursor.optional("fec", "FEC latency", &off_or_time) {
        return latency;
    }
    let Some(technology) = technology else {
        return Duration::ZERO;
    };
    let latency = technology.fec_latency();
    if latency > Duration::ZERO && !cursor.has("fec") {
        let mark = standard(
            "",
            "time to collect one code word (IEEE 802.3, FC-FS) and 40 ns to decode it (common practice)",
        );
        cursor.assume_default("fec", "FEC latency", &latency.to_string(), mark);
    }
    latency
}

fn carries(cursor: &Cursor<'_, '_>, medium: Option<Medium>) -> Carries {
    let words = one_of(&[
        ("ip", Carries::Ip),
        ("fc", Carries::Fc),
        ("all", Carries::All),
    ]);
    let stated = cursor.optional("carries", "carries", &words);
    match (medium, stated) {
        (Some(Medium::FibreChannel), Some(Carries::Ip | Carries::All)) => {
            let at = cursor
                .entry("carries")
                .map_or(cursor.origin, |entry| &entry.node.origin);
            let message = format!("{} is Fibre Channel and cannot carry IP", cursor.who);
            cursor
                .ctx
                .error(at, &message, "\"fc\"", "leave `carries` out");
            Carries::Fc
        }
        (_, Some(carries)) => carries,
        (Some(Medium::FibreChannel), None) => Carries::Fc,
        (Some(Medium::Ethernet), None) => {
            cursor.assume_default("carries", "carries", "ip", choice("ip"));
            Carries::Ip
        }
        (None, None) => Carries::All,
    }
}

fn choose(
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

fn wiring(cursor: &Cursor<'_, '_>, ends: Option<(End, End)>, parts: &Parts<'_>) -> Wiring {
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

fn lag(
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

fn mtu(cursor: &Cursor<'_, '_>, medium: Option<Medium>, carries: Carries) -> (u32, bool) {
    let stated = cursor.optional("mtu", "MTU", &bytes(576, MTU_MAX));
    match (medium, stated) {
        (Some(Medium::FibreChannel), Some(_)) => {
            let at = cursor
                .entry("mtu")
                .map_or(cursor.origin, |entry| &entry.origin);
            cursor.ctx.error(
                at,
                &format!("{} is Fibre Channel and has no MTU", cursor.who),
                "no `mtu`",
                "a workload has `data_field`",
            );
            (MTU_DEFAULT, false)
        }
        (_, Some(mtu)) => (mtu, true),
        (Some(Medium::Ethernet), None) if carries != Carries::Ip => {
            if !cursor.has("mtu") {
                let source = "common practice for links that carry FCoE, which needs 2158 (FC-BB-5); IP on it stays at 1500";
                cursor.assume_default(
                    "mtu",
                    "MTU",
                    "2500",
                    Fallback {
                        source,
                        ..practice("2500")
                    },
                );
            }
            (MTU_FCOE, false)
        }
        (Some(Medium::Ethernet), None) => {
            if !cursor.has("mtu") {
                cursor.assume_default("mtu", "MTU", "1500", standard("1500", "IEEE 802.3"));
            }
            (MTU_DEFAULT, false)
        }
        (_, None) => (MTU_DEFAULT, false),
    }
}
