//! What can only be said of a whole site whose parts are all sound.

use super::cursor::Cursor;
use super::names::{Names, Row};
use super::problem::Severity;
use super::tree::Origin;
use crate::site::{
    Arrivals, Carries, End, LinkFamily, Site, SwitchFamily, Team, WarmUp, Wiring, Workload,
};
use crate::topology::{self, Fabric};
use crate::unit::Duration;
use crate::wire::Family;
use std::collections::BTreeSet;

/// Most hosts in all.
const HOSTS_MAX: u64 = 4_096;
/// Most link members in all.
const MEMBERS_MAX: u64 = 20_000;
/// Most pairs of a host and a port of an array that it works on.
const PAIRS_MAX: u64 = 200_000;

/// A run that measures less than a cycle of bursts shows whichever part of it falls into it, and nothing tells that it does.
pub(super) fn cycles(top: &Cursor<'_, '_>, names: &Names<'_>, site: &Site) {
    let warm_up = match site.run.warm_up {
        WarmUp::Auto => Duration::ZERO,
        WarmUp::At(at) => at,
    };
    let measured = Duration(site.run.duration.0.saturating_sub(warm_up.0));
    for workload in &site.workloads {
        let Arrivals::Bursty(burst) = &workload.arrivals else {
            continue;
        };
        if measured >= burst.every {
            continue;
        }
        let row = row_of(names, workload);
        let message = format!(
            "workload `{}` bursts every {}, and a run measures {measured} of it",
            workload.name, burst.every
        );
        top.ctx.problem(
            Severity::Warning,
            row.map_or(top.origin, |row| row.origin),
            &message,
            "",
            "figures are those of one part of the cycle; let `run.duration` hold whole cycles, three or more",
        );
    }
}

/// Switches of a family, over all sides.
fn instances_of(family: &SwitchFamily) -> u64 {
    u64::from(family.count) * family.fabric.sides().len() as u64
}

/// Upper bounds, so that a slip of the finger does not fill the memory.
pub(super) fn sizes(top: &Cursor<'_, '_>, names: &Names<'_>, site: &Site) {
    let hosts: u64 = site
        .hosts
        .iter()
        .map(|family| u64::from(family.count))
        .sum();
    let switches: u64 = site.switches.iter().map(instances_of).sum();
    let mut members = 0_u64;
    let mut ports = vec![0_u64; site.arrays.len()];
    for link in &site.links {
        let number = members_of(site, link);
        members = members.saturating_add(number);
        if let End::Array(array) = link.to {
            ports[array] = ports[array].saturating_add(number);
        }
    }
    let at = names
        .links
        .rows
        .first()
        .map_or(top.origin, |row| row.origin);
    let over = |number: u64, max: u64, what: &str, at: &Origin| {
        if number > max {
            let message = format!("the site has up to {number} {what}");
            top.ctx.error(
                at,
                &message,
                &format!("at most {max}"),
                "lower `count`, `members` or `ports`",
            );
        }
    };
    over(
        hosts,
        HOSTS_MAX,
        "hosts",
        names
            .hosts
            .rows
            .first()
            .map_or(top.origin, |row| row.origin),
    );
    over(
        switches,
        HOSTS_MAX,
        "switches",
        names
            .switches
            .rows
            .first()
            .map_or(top.origin, |row| row.origin),
    );
    over(members, MEMBERS_MAX, "links", at);
    let users: BTreeSet<(usize, usize)> = site
        .workloads
        .iter()
        .flat_map(|work| work.hosts.iter().map(|host| (*host, work.array)))
        .collect();
    let pairs = users
        .iter()
        .map(|(host, array)| u64::from(site.hosts[*host].count).saturating_mul(ports[*array]))
        .fold(0, u64::saturating_add);
    over(
        pairs,
        PAIRS_MAX,
        "pairs of a host and a port of its array",
        at,
    );
}

/// An upper bound of the members of a link family.
fn members_of(site: &Site, link: &LinkFamily) -> u64 {
    let instances = |end| match end {
        End::Host(index) => u64::from(site.hosts[index].count),
        End::Switch(index) => instances_of(&site.switches[index]),
        End::Array(index) => u64::from(site.arrays[index].controllers) * u64::from(link.ports),
    };
    let (from, to) = (instances(link.from), instances(link.to));
    let pairs = match link.wiring {
        Wiring::Mesh => from.saturating_mul(to),
        // Each instance of the larger side, on each fabric.
        Wiring::Dealt | Wiring::OneToOne => from.max(to).saturating_mul(2),
    };
    pairs.saturating_mul(u64::from(link.members))
}

/// No two parts may go by one name: `db` with a count of 2 beside a host called `db-1`.
pub(super) fn instance_names(top: &Cursor<'_, '_>, names: &Names<'_>, site: &Site) {
    let mut all: Vec<(String, &str, &Origin)> = Vec::new();
    for (family, row) in site.hosts.iter().zip(&names.hosts.rows) {
        all.extend((0..family.count).map(|index| {
            (
                family.numbered.name(&family.name, index),
                family.name.as_str(),
                row.origin,
            )
        }));
    }
    for (family, row) in site.chassis.iter().zip(&names.chassis.rows) {
        all.extend((0..family.count).map(|index| {
            (
                family.numbered.name(&family.name, index),
                family.name.as_str(),
                row.origin,
            )
        }));
    }
    for (family, row) in site.switches.iter().zip(&names.switches.rows) {
        all.extend((0..family.count).map(|index| {
            (
                family.numbered.name(&family.name, index),
                family.name.as_str(),
                row.origin,
            )
        }));
    }
    for (family, row) in site.arrays.iter().zip(&names.arrays.rows) {
        all.push((family.name.clone(), &family.name, row.origin));
        all.extend((1..=family.controllers).map(|number| {
            (
                format!("{}-c{number}", family.name),
                family.name.as_str(),
                row.origin,
            )
        }));
    }
    all.sort_by(|left, right| left.0.cmp(&right.0));
    let mut said: Vec<(&str, &str)> = Vec::new();
    for pair in all.windows(2) {
        if let [(left, one, _), (right, other, at)] = pair
            && left == right
            && one != other
            && !said.contains(&(*one, *other))
        {
            said.push((one, other));
            let message = format!("`{one}` and `{other}` both have a part called `{left}`");
            top.ctx
                .error(at, &message, "names that differ", "rename one of the two");
        }
    }
}

/// The row of a workload; those that could not be understood are no part of the site.
fn row_of<'n, 'c>(names: &'n Names<'c>, workload: &Workload) -> Option<&'n Row<'c>> {
    let mut named = names.workloads.names.iter();
    let index = named.position(|name| *name == workload.name)?;
    names.workloads.rows.get(index)
}

/// Every host must reach the array of its workload.
pub(super) fn routes(top: &Cursor<'_, '_>, names: &Names<'_>, site: &Site) {
    let missing = topology::unreachable(site);
    for (index, workload) in site.workloads.iter().enumerate() {
        let Some(row) = row_of(names, workload) else {
            continue;
        };
        let lost: Vec<_> = missing
            .iter()
            .filter(|missing| missing.workload == index)
            .collect();
        let Some(first) = lost.first() else {
            continue;
        };
        let at = row
            .entries
            .iter()
            .find(|entry| entry.key == "array")
            .map_or(row.origin, |entry| &entry.node.origin);
        let others = match lost.len() {
            1 => String::new(),
            number => format!(" (nor can {} more hosts)", number - 1),
        };
        let message = format!(
            "workload `{}`: host `{}` cannot reach array `{}` with {}{others}",
            site.workloads[index].name, first.host, first.array, first.protocol
        );
        let rule =
            "Fibre Channel crosses links that carry fc or all, IP those that carry ip or all";
        let help = match closed_hops(site, index) {
            hops if hops.is_empty() => format!("{rule}; look for the link that is missing"),
            hops => format!("{rule}; on the way {}", hops.join(", and ")),
        };
        top.ctx
            .error(at, &message, "a chain of links that carry it", &help);
    }
}

/// A team is of ports over which a host has file traffic, two at least.
pub(super) fn teams(top: &Cursor<'_, '_>, names: &Names<'_>, site: &Site) {
    let with_team = |family: usize| site.hosts[family].team != Team::Off;
    if !(0..site.hosts.len()).any(with_team) {
        return;
    }
    let fabric = Fabric::new(site);
    let sets = fabric.path_sets(site, &fabric.all_alive());
    for (family, row) in names.hosts.rows.iter().enumerate() {
        if !with_team(family) {
            continue;
        }
        let at = row.entries.iter().find(|entry| entry.key == "team");
        let at = at.map_or(row.origin, |entry| &entry.node.origin);
        let name = &site.hosts[family].name;
        // Of work that was not understood nobody can say that it is not there.
        let all_known = site.workloads.len() == names.workloads.rows.len();
        let mut files = sets
            .iter()
            .filter(|set| fabric.hosts[set.host].family == family && set.protocol == "nfs")
            .peekable();
        if files.peek().is_none() && all_known {
            let message = format!("host `{name}` has a team, and no file traffic");
            let expected = "a workload of these hosts with protocol nfs";
            let help = "every other protocol uses all its paths: leave `team` out";
            top.ctx.error(at, &message, expected, help);
        }
        let alone = files.find(|set| {
            let first = set.paths.first().map(|path| path.host_port);
            set.paths.iter().all(|path| Some(path.host_port) == first)
        });
        if let Some(set) = alone {
            let message = format!(
                "the team of host `{}` has one port towards array `{}`",
                fabric.hosts[set.host].name, site.arrays[set.array].name
            );
            let expected = "two ports at least that reach the array over links that carry ip";
            top.ctx.error(at, &message, expected, "");
        }
    }
}

/// The hops of the shortest chain of links between a workload's hosts and its array that do not carry its
/// protocol, in words; empty where there is no chain at all, or where the break is not in what links carry.
fn closed_hops(site: &Site, workload: usize) -> Vec<String> {
    let work = &site.workloads[workload];
    let protocol = &work.protocol;
    let closed = |link: &LinkFamily| -> Option<String> {
        let name = &link.name;
        if link
            .medium
            .is_some_and(|medium| protocol.encapsulation(medium).is_none())
        {
            return Some(format!(
                "link `{name}` is {}, which {} cannot cross",
                link.label,
                protocol.key()
            ));
        }
        match (link.carries, protocol.family()) {
            (Carries::Ip, Family::Fc) => Some(format!("link `{name}` carries ip only")),
            (Carries::Fc, Family::Ip) => Some(format!("link `{name}` carries fc only")),
            _ => None,
        }
    };
    // Breadth first over families; each place remembers the links that led to it.
    let mut reached: Vec<(End, Vec<usize>)> = work
        .hosts
        .iter()
        .map(|host| (End::Host(*host), Vec::new()))
        .collect();
    let mut next = 0;
    while let Some((end, way)) = reached.get(next).cloned() {
        next += 1;
        if end == End::Array(work.array) {
            return way
                .iter()
                .filter_map(|link| closed(&site.links[*link]))
                .collect();
        }
        for (index, link) in site.links.iter().enumerate() {
            let far = match (link.from == end, link.to == end) {
                (true, _) => link.to,
                (_, true) => link.from,
                _ => continue,
            };
            let through = !matches!(far, End::Host(_));
            if through && reached.iter().all(|(known, _)| *known != far) {
                let way = way.iter().copied().chain([index]).collect();
                reached.push((far, way));
            }
        }
    }
    Vec::new()
}
