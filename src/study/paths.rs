//! Every path between a host and an array, hop by hop.
//!
//! Equal-cost next hops stand together in one hop. The idle latency follows the first of them, by the rules
//! of the simulated links: serialization, cut-through or store-and-forward, propagation, FEC, forwarding.
//!
//! Left out: other paths than the shortest, which the site does not use while these are there; adapters
//! and arrays, which are no part of the fabric.

use super::estimate::{Flows, encapsulation_on, idle, native};
use crate::outcome::{HostBusRow, PathHop, PathRow, PathSheet};
use crate::site::{BusPer, Site};
use crate::topology::{DirectionId, Fabric, Path, PathSet};
use crate::unit::{Rate, Side};
use crate::wire::{Encapsulation, FrameRun, Op, Protocol, Toward, technology};

/// Bytes of the write whose largest frame is sent for the idle latency: large enough to fill one.
const FILLING_WRITE: u64 = 1 << 20;

/// Sheets of every pair of `host` and `array` that a workload joins, one a protocol; all hosts or arrays
/// where none is named. A host is meant by its name or its family's.
///
/// # Errors
/// A name that the site does not have, with the nearest that it has; or a pair that no workload joins.
pub fn paths(
    site: &Site,
    host: Option<&str>,
    array: Option<&str>,
) -> Result<Vec<PathSheet>, String> {
    let fabric = Fabric::new(site);
    let families: Vec<&str> = site.hosts.iter().map(|host| host.name.as_str()).collect();
    let mut hosts: Vec<&str> = fabric.hosts.iter().map(|host| host.name.as_str()).collect();
    hosts.extend(&families);
    let arrays: Vec<&str> = site
        .arrays
        .iter()
        .map(|array| array.name.as_str())
        .collect();
    known("host", host, &hosts)?;
    known("array", array, &arrays)?;
    let alive = fabric.all_alive();
    let mut flows = Flows::new(&fabric, &alive);
    let sets = fabric.path_sets(site, &alive);
    let sheets: Vec<PathSheet> = sets
        .iter()
        .filter(|set| {
            let own = &fabric.hosts[set.host];
            let family = families[own.family];
            host.is_none_or(|host| host == own.name || host == family)
                && array.is_none_or(|array| array == arrays[set.array])
        })
        .map(|set| sheet(site, &fabric, &mut flows, set))
        .collect();
    if sheets.is_empty() {
        let joined: Vec<String> = site
            .workloads
            .iter()
            .map(|work| {
                let own: Vec<&str> = work.hosts.iter().map(|host| families[*host]).collect();
                format!(
                    "`{}` joins {} and {}",
                    work.name,
                    own.join(", "),
                    arrays[work.array]
                )
            })
            .collect();
        return Err(format!(
            "no workload joins {} and {}; {}",
            host.map_or_else(|| "any host".to_owned(), |name| format!("host `{name}`")),
            array.map_or_else(|| "any array".to_owned(), |name| format!("array `{name}`")),
            joined.join(", ")
        ));
    }
    Ok(sheets)
}

fn known(what: &str, name: Option<&str>, names: &[&str]) -> Result<(), String> {
    let Some(name) = name.filter(|name| !names.contains(name)) else {
        return Ok(());
    };
    let mut near: Vec<(f64, &str)> = names
        .iter()
        .map(|known| (strsim::jaro_winkler(name, known), *known))
        .filter(|(likeness, _)| *likeness > 0.7)
        .collect();
    near.sort_by(|left, right| right.0.total_cmp(&left.0));
    near.dedup_by_key(|(_, known)| *known);
    let mut each: Vec<&str> = Vec::new();
    for known in names {
        if !each.contains(known) {
            each.push(known);
        }
    }
    let shown: Vec<String> = match near.as_slice() {
        [] => each.iter().take(8).map(|n| format!("`{n}`")).collect(),
        near => near.iter().take(3).map(|(_, n)| format!("`{n}`")).collect(),
    };
    let hint = if near.is_empty() {
        "known are"
    } else {
        "near it"
    };
    Err(format!(
        "there is no {what} `{name}`; {hint}: {}",
        shown.join(", ")
    ))
}

fn sheet(site: &Site, fabric: &Fabric, flows: &mut Flows<'_>, set: &PathSet) -> PathSheet {
    // All workloads of a set speak one protocol; the first one's options stand for it.
    let protocol = &site.workloads[set.workloads[0]].protocol;
    PathSheet {
        host: fabric.hosts[set.host].name.clone(),
        array: site.arrays[set.array].name.clone(),
        workloads: set
            .workloads
            .iter()
            .map(|index| site.workloads[*index].name.clone())
            .collect(),
        protocol: set.protocol.to_owned(),
        paths: set
            .paths
            .iter()
            .map(|path| row(site, fabric, flows, path, protocol))
            .collect(),
    }
}

fn row(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    path: &Path,
    protocol: &Protocol,
) -> PathRow {
    let family = protocol.family();
    let levels = flows.levels(path.host_port, path.array_port, path.side, family);
    let groups: Vec<Vec<DirectionId>> = levels
        .iter()
        .map(|level| level.iter().map(|(direction, _)| *direction).collect())
        .collect();
    let route = idle::first_route(fabric, flows, path, family, Toward::Array);
    let frame = full_frame(protocol);
    let timed = idle::hops(fabric, protocol, &route).unwrap_or_default();
    let hops: Vec<PathHop> = groups
        .iter()
        .enumerate()
        .map(|(position, group)| {
            let cuts = timed.get(position).is_some_and(|hop| {
                hop.cuts
                    && hop
                        .encapsulation
                        .cut_through_header(hop.medium, protocol.vlan())
                        .is_some()
            });
            let onward = match (position + 1 == groups.len(), cuts) {
                (true, _) => "",
                (false, true) => "cut-through",
                (false, false) => "store-and-forward",
            };
            hop(site, fabric, protocol, group, onward)
        })
        .collect();
    let narrowest = (0..hops.len())
        .min_by(|a, b| hops[*a].usable_gb_s.total_cmp(&hops[*b].usable_gb_s))
        .unwrap_or(0);
    let name = |node: crate::topology::NodeId| fabric.nodes[node.0 as usize].name.clone();
    PathRow {
        side: path.side.map(side_letter),
        host_port: name(path.host_port),
        array_port: name(path.array_port),
        idle_us: idle::burst_time(&timed, protocol, &[frame]).as_us_f64(),
        idle_frame_bytes: timed
            .first()
            .map_or(0, |hop| u64::from(frame.wire(hop.encapsulation))),
        narrowest,
        host_bus: host_bus(site, fabric, path, protocol, &frame, &hops[narrowest..]),
        one_flow_gb_s: groups
            .iter()
            .flatten()
            .map(|direction| fabric.directions[direction.index()].rate)
            .min()
            .map_or(0.0, gb_s),
        hops,
    }
}

/// The bus behind the host's port beside the narrowest hop, the first of `from_narrowest`.
fn host_bus(
    site: &Site,
    fabric: &Fabric,
    path: &Path,
    protocol: &Protocol,
    frame: &FrameRun,
    from_narrowest: &[PathHop],
) -> Option<HostBusRow> {
    let host = fabric
        .hosts
        .iter()
        .find(|host| host.ports.contains(&path.host_port))?;
    let own = site.hosts[host.family].bus?;
    let hop = from_narrowest.first()?;
    let wire = [Encapsulation::Fcoe, native(protocol)]
        .into_iter()
        .find(|known| encapsulation_name(*known) == hop.encapsulation)
        .map_or(frame.native, |known| frame.wire(known));
    let (into, out) = (gb_s(own.bus.into_host()), gb_s(own.bus.out_of_host()));
    let payload = hop.usable_gb_s * f64::from(frame.payload) / f64::from(wire.max(1));
    Some(HostBusRow {
        bus: own.bus.label(),
        shared: match own.per {
            BusPer::Port => false,
            BusPer::Adapter => {
                let adapters = fabric.by_adapter(host);
                let own = adapters
                    .iter()
                    .find(|ports| ports.contains(&path.host_port));
                own.is_some_and(|ports| ports.len() > 1)
            }
            BusPer::Host => host.ports.len() > 1,
        },
        into_host_gb_s: into,
        out_of_host_gb_s: out,
        hop_payload_gb_s: payload,
        narrower: into.min(out) < payload,
    })
}

/// The largest data frame a host sends.
fn full_frame(protocol: &Protocol) -> FrameRun {
    let plan = protocol.plan(Op::Write, FILLING_WRITE);
    let largest = plan
        .volleys
        .iter()
        .filter(|volley| volley.toward == Toward::Array)
        .flat_map(|volley| &volley.runs)
        .max_by_key(|run| (run.payload, run.native));
    FrameRun {
        count: 1,
        ..largest.copied().unwrap_or(FrameRun {
            count: 1,
            payload: 0,
            native: 1,
            fcoe: 1,
        })
    }
}

fn hop(
    site: &Site,
    fabric: &Fabric,
    protocol: &Protocol,
    group: &[DirectionId],
    onward: &str,
) -> PathHop {
    let directions = || group.iter().map(|d| &fabric.directions[d.index()]);
    let joined = |names: Vec<&str>| {
        let mut seen: Vec<&str> = Vec::new();
        for name in names {
            if !seen.contains(&name) {
                seen.push(name);
            }
        }
        seen.join(" or ")
    };
    let node = |node: crate::topology::NodeId| fabric.nodes[node.0 as usize].name.as_str();
    let encapsulation = group
        .first()
        .and_then(|first| encapsulation_on(fabric, protocol, *first));
    PathHop {
        name: format!(
            "{} > {}",
            joined(directions().map(|d| node(d.from)).collect()),
            joined(directions().map(|d| node(d.to)).collect())
        ),
        speed: joined(
            directions()
                .map(|d| site.links[d.family].label.as_str())
                .collect(),
        ),
        members: u32::try_from(group.len()).unwrap_or(u32::MAX),
        encapsulation: encapsulation.map_or("", encapsulation_name).to_owned(),
        nominal_gb_s: directions().map(|d| nominal_gb_s(site, d.family)).sum(),
        usable_gb_s: directions().map(|d| gb_s(d.rate)).sum(),
        onward: onward.to_owned(),
    }
}

const fn encapsulation_name(encapsulation: Encapsulation) -> &'static str {
    match encapsulation {
        Encapsulation::Ethernet => "Ethernet",
        Encapsulation::FibreChannel => "FC",
        Encapsulation::Fcoe => "FCoE",
        Encapsulation::Plain => "plain",
    }
}

/// Gigabits per second of a rate.
pub(super) fn gb_s(rate: Rate) -> f64 {
    rate.bits_per_second() / 1e9
}

/// Line rate of one member of a link family: code and FEC included where the label names a technology,
/// else the stated rate itself.
pub(super) fn nominal_gb_s(site: &Site, family: usize) -> f64 {
    let link = &site.links[family];
    gb_s(technology(&link.label).map_or(link.rate, |known| known.line))
}

/// `A` or `B`.
pub(super) const fn side_letter(side: Side) -> char {
    match side {
        Side::A => 'A',
        Side::B => 'B',
    }
}

#[cfg(test)]
mod tests;
