//! Links: who is joined to whom, how fast, and what may cross.

use super::cursor::{Cursor, Fallback, Fault, choice, practice, standard};
use super::groups::{choose, lag, shape, wiring};
use super::names::Names;
use super::parts::{RawSwitch, labels};
use super::problem::{digits, near_or_list};
use super::tree::Node;
use super::value::{bytes, length_mm, link_rate, one_of, time};
use crate::site::{Carries, Chassis, End, HostFamily, LinkFamily};
use crate::unit::{Duration, Rate};
use crate::wire::{self, Fec, Medium, Technology, technology_with};
use std::collections::{BTreeMap, BTreeSet};

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

/// Reads every `[[link]]`. `None` in a place where the ends or the speed could not be understood.
pub(super) fn links(
    top: &Cursor<'_, '_>,
    names: &Names<'_>,
    parts: &Parts<'_>,
) -> Vec<Option<RawLink>> {
    let all: Vec<Option<RawLink>> = (0..names.links.rows.len())
        .map(|index| {
            let cursor = names.links.cursor(top.ctx, index);
            let link = link(&cursor, names, parts, names.links.names[index].clone());
            cursor.finish();
            link
        })
        .collect();
    let known: Option<Vec<(End, End)>> = all
        .iter()
        .map(|link| link.as_ref().map(|link| (link.family.from, link.family.to)))
        .collect();
    for index in known.iter().flat_map(|ends| reversed(ends)) {
        let cursor = names.links.cursor(top.ctx, index);
        let at = cursor
            .entry("to")
            .map_or(cursor.origin, |entry| &entry.node.origin);
        let message = format!(
            "{} runs from a switch nearer to the arrays to one nearer to the hosts",
            cursor.who
        );
        let expected = "from the hosts' side, towards the arrays";
        top.ctx
            .error(at, &message, expected, "swap `from` and `to`");
    }
    all
}

/// Links between switches that are written the wrong way round: they end nearer to the hosts and farther from the arrays
/// than they start, counted in links. What is sent "towards the arrays" and which links are a switch's uplinks follows from the
/// way in which a link is written.
fn reversed(ends: &[(End, End)]) -> Vec<usize> {
    let distances = |is_start: fn(End) -> bool| -> BTreeMap<usize, usize> {
        let mut found: BTreeMap<usize, usize> = BTreeMap::new();
        let mut edge: BTreeSet<usize> = BTreeSet::new();
        for pair in ends {
            match *pair {
                (start, End::Switch(switch)) | (End::Switch(switch), start) if is_start(start) => {
                    edge.insert(switch);
                }
                _ => {}
            }
        }
        let mut steps = 0;
        while !edge.is_empty() {
            found.extend(edge.iter().map(|switch| (*switch, steps)));
            steps += 1;
            let next = ends.iter().filter_map(|pair| match *pair {
                (End::Switch(a), End::Switch(b)) => Some([(a, b), (b, a)]),
                _ => None,
            });
            edge = next
                .flatten()
                .filter(|(from, to)| edge.contains(from) && !found.contains_key(to))
                .map(|(_, to)| to)
                .collect();
        }
        found
    };
    let from_hosts = distances(|end| matches!(end, End::Host(_)));
    let from_arrays = distances(|end| matches!(end, End::Array(_)));
    let farther = |known: &BTreeMap<usize, usize>, a: usize, b: usize| {
        known.get(&a).zip(known.get(&b)).is_some_and(|(a, b)| a > b)
    };
    let against = |pair: &(End, End)| match *pair {
        (End::Switch(from), End::Switch(to)) => {
            farther(&from_hosts, from, to) && farther(&from_arrays, to, from)
        }
        _ => false,
    };
    (0..ends.len())
        .filter(|index| against(&ends[*index]))
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
    let mut expected = near_or_list(text, "technologies", &labels());
    let alike: Vec<String> = labels()
        .iter()
        .filter(|label| digits(label) == digits(text))
        .map(|label| format!("`{label}`"))
        .collect();
    if !expected.starts_with("did") && !alike.is_empty() {
        expected = format!("did you mean {}?", alike.join(" or "));
    }
    Err(
        Fault::new(format!("names no technology `{text}`"), expected)
            .help("or state a rate, like \"27.2Gb/s\"; `halfloom rates` lists the technologies"),
    )
}

/// Whether every physical layer of that name has FEC: FC-FS-4 (5.4) for 32GFC and above, IEEE 802.3 clause 134 for 50GbE.
fn always_on(technology: &Technology) -> bool {
    technology_with(technology.label, Fec::None).is_none()
}

/// `fec = "off"` where the technology can do without, or its latency; by default the technology's.
fn fec(cursor: &Cursor<'_, '_>, technology: Option<&'static Technology>) -> Duration {
    let off_or_time = |node: &Node| match node.as_str().map(String::as_str) {
        Some("off") => match technology.filter(|known| always_on(known)) {
            None => Ok(Duration::ZERO),
            Some(known) => Err(Fault::new(
                format!("turns off what {} cannot do without", known.label),
                format!(
                    "a time: {} always has {} ({})",
                    known.label,
                    known.fec.name(),
                    known.source
                ),
            )
            .help(
                "leave it out for the usual latency, or state what was measured, like \"150ns\"",
            )),
        },
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

#[cfg(test)]
mod tests {
    use super::*;
    use End::{Array, Host, Switch};

    /// Edge 0, SAN 1, array 0: only the link that runs back from the SAN to the edge is against the way. Switches side by side,
    /// and a site with hosts and arrays at both ends, have none.
    #[test]
    fn links_between_switches_are_written_from_the_hosts() {
        let ends = [
            (Host(0), Switch(0)),
            (Switch(1), Switch(0)),
            (Switch(1), Array(0)),
        ];
        assert_eq!(reversed(&ends), [1]);
        let right = [ends[0], (Switch(0), Switch(1)), ends[2]];
        assert_eq!(reversed(&right), [0_usize; 0]);
        let beside = [
            (Host(0), Switch(0)),
            (Host(0), Switch(1)),
            (Switch(1), Switch(0)),
            (Switch(0), Array(0)),
            (Switch(1), Array(0)),
        ];
        assert_eq!(reversed(&beside), [0_usize; 0]);
        // One more switch between, with both of its links the wrong way round.
        let longer = [
            (Host(0), Switch(0)),
            (Switch(2), Switch(0)),
            (Switch(1), Switch(2)),
            (Switch(1), Array(0)),
        ];
        assert_eq!(reversed(&longer), [1, 2]);
    }
}
