//! Who hangs on one path, one fabric or one part.

use super::{Facts, finding, some, tiers, who};
use crate::outcome::{ReviewFinding, Severity};
use crate::study::estimate::{Flows, Shares};
use crate::topology::{DirectionId, NodeKind, PathSet};
use crate::unit::Side;
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let mut findings = Vec::new();
    let mut flagged = BTreeSet::new();
    if !facts.dual() {
        findings.push(finding(
            Severity::Note,
            "one fabric",
            "there is only one fabric: its loss cuts everybody off".to_owned(),
            "Fine for a lesson; a site that must outlive a fabric needs a second one.",
        ));
    }
    findings.extend(few_paths(facts, &mut flagged));
    findings.extend(cut_off(facts, &flagged));
    findings.extend(single_points(facts));
    findings
}

/// Hosts without a path, with one, or with paths on one fabric only.
fn few_paths(facts: &Facts<'_>, flagged: &mut BTreeSet<(usize, usize)>) -> Vec<ReviewFinding> {
    // By kind, array and fabric.
    let mut groups: BTreeMap<(u8, usize, Option<Side>), BTreeSet<usize>> = BTreeMap::new();
    for set in &facts.estimate.cases[0].sets {
        let sides: BTreeSet<Option<Side>> = set.paths.iter().map(|path| path.side).collect();
        let only = sides.first().copied().flatten();
        let kind = match set.paths.len() {
            0 => 0,
            1 => 1,
            _ if facts.dual() && sides.len() == 1 && only.is_some() => 2,
            _ => continue,
        };
        flagged.insert((set.host, set.array));
        groups
            .entry((kind, set.array, only))
            .or_default()
            .insert(set.host);
    }
    groups
        .into_iter()
        .map(|((kind, array, side), hosts)| {
            let hosts: Vec<usize> = hosts.into_iter().collect();
            let (who, array) = (who(facts, &hosts), &facts.site.arrays[array].name);
            let letter = side.map_or("", Side::letter);
            match kind {
                0 => finding(
                    Severity::Warning,
                    "no path",
                    format!("no path to {array}: {who}"),
                    "Add a chain of links that carries the protocol.",
                ),
                1 => finding(
                    Severity::Warning,
                    "one path",
                    format!("one path to {array}, so that any fault on it cuts off: {who}"),
                    "Give each host a port on each fabric.",
                ),
                _ => finding(
                    Severity::Warning,
                    "one fabric",
                    format!("paths to {array} over fabric {letter} alone: {who}"),
                    if hosts.iter().all(|host| on_both(facts, *host)) {
                        "They have ports on both fabrics: give the other fabric links to the array too."
                    } else {
                        "Give each host a port on each fabric."
                    },
                ),
            }
        })
        .collect()
}

/// Whether a host has linked ports on both fabrics.
fn on_both(facts: &Facts<'_>, host: usize) -> bool {
    let nodes = facts.fabric.nodes.iter();
    let own = nodes.filter(|node| {
        matches!(node.kind, NodeKind::HostPort(own) if own as usize == host) && !node.out.is_empty()
    });
    let sides: BTreeSet<Side> = own.filter_map(|node| node.side).collect();
    sides.len() == 2
}

/// Hosts that an outage leaves without a path though they are there themselves.
fn cut_off(facts: &Facts<'_>, flagged: &BTreeSet<(usize, usize)>) -> Vec<ReviewFinding> {
    let mut findings = Vec::new();
    let (site, fabric) = (facts.site, facts.fabric);
    for case in &facts.estimate.cases[1..] {
        let Some(outage) = case.outage.map(|index| &site.outages[index]) else {
            continue;
        };
        if !facts.dual() && outage.side.is_some() {
            continue;
        }
        let gone = fabric.hosts_out(outage);
        // By whether there is a path that a team of ports does not use, and array.
        let mut groups: BTreeMap<(bool, usize), BTreeSet<usize>> = BTreeMap::new();
        let there = fabric.path_sets(site, &case.alive);
        let none = case.sets.iter().zip(&there);
        for (set, there) in none.filter(|(set, _)| set.paths.is_empty()) {
            let lost_itself = gone.contains(&set.host);
            if !lost_itself && !flagged.contains(&(set.host, set.array)) {
                let unused = !there.paths.is_empty();
                groups
                    .entry((unused, set.array))
                    .or_default()
                    .insert(set.host);
            }
        }
        for ((unused, array), hosts) in groups {
            let hosts: Vec<usize> = hosts.into_iter().collect();
            let (case, array) = (&case.name, &site.arrays[array].name);
            let who = who(facts, &hosts);
            let (what, remedy) = if unused {
                (
                    format!(
                        "with {case} a team of ports does not see that its port leads to {array} no more, and stays on it: {who}"
                    ),
                    "Give the team a probe (`timers.team_probe`); where links are lost with their signal, `on_uplink_loss` may take the \
                     host ports down.",
                )
            } else {
                (
                    format!("with {case} there is no path to {array}: {who}"),
                    "Join the hosts and the array so that each outage leaves a path.",
                )
            };
            findings.push(finding(Severity::Warning, "cut off", what, remedy));
        }
    }
    findings
}

/// A part that can be lost by itself.
struct Part {
    /// What kind of part, and which family: parts alike are named together.
    family: String,
    name: String,
    members: Vec<usize>,
    /// Hosts that go with it and so are not cut off.
    own_hosts: Vec<usize>,
}

/// Every chassis, switch, controller, adapter, cage, bundle and group of one fate; of parts with the same members only the first.
fn parts(facts: &Facts<'_>) -> Vec<Part> {
    let (site, fabric) = (facts.site, facts.fabric);
    let touching = |wanted: &dyn Fn(&NodeKind, usize) -> bool| -> Vec<usize> {
        (0..fabric.members.len())
            .filter(|index| {
                let member = &fabric.members[*index];
                [member.near, member.far]
                    .iter()
                    .any(|node| wanted(&fabric.nodes[node.0 as usize].kind, node.0 as usize))
            })
            .collect()
    };
    let mut parts = Vec::new();
    let mut add = |family: String, name: &str, members: Vec<usize>, own_hosts: Vec<usize>| {
        parts.push(Part {
            family,
            name: name.to_owned(),
            members,
            own_hosts,
        });
    };
    for (family, index, name) in &fabric.chassis {
        let whole = fabric.members_of(std::slice::from_ref(name), None);
        let own_hosts = (0..fabric.hosts.len())
            .filter(|host| fabric.hosts[*host].chassis == Some((*family, *index)))
            .collect();
        let members = whole.iter().map(|member| member.0 as usize).collect();
        add(
            format!("chassis {}", site.chassis[*family].name),
            name,
            members,
            own_hosts,
        );
    }
    for switch in &fabric.switches {
        let at = switch.node.0 as usize;
        let members = touching(&|_, node| node == at);
        let family = format!("switch {}", site.switches[switch.family].name);
        add(family, &fabric.nodes[at].name, members, Vec::new());
    }
    for (index, controller) in fabric.controllers.iter().enumerate() {
        let members =
            touching(&|kind, _| matches!(kind, NodeKind::ArrayPort(own) if *own as usize == index));
        let family = format!("controller {}", site.arrays[controller.array].name);
        add(family, &controller.name, members, Vec::new());
    }
    let mut adapters: BTreeMap<&str, usize> = BTreeMap::new();
    for node in &fabric.nodes {
        if let (NodeKind::HostPort(host), Some(adapter)) = (node.kind, node.adapter.as_deref()) {
            adapters.insert(adapter, fabric.hosts[host as usize].family);
        }
    }
    for (name, family) in adapters {
        let on_it = |node: usize| fabric.nodes[node].adapter.as_deref() == Some(name);
        let members = touching(&|_, node| on_it(node));
        let family = format!("adapter {}", site.hosts[family].name);
        add(family, name, members, Vec::new());
    }
    let mut cages: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut bundles: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (index, member) in fabric.members.iter().enumerate() {
        bundles.entry(&member.bundle).or_default().push(index);
        if let Some(cage) = &member.cage {
            cages.entry(cage).or_default().push(index);
        }
    }
    for (kind, groups) in [("cage", cages), ("link", bundles)] {
        for (name, members) in groups {
            let tier = tiers::tier_name(site, fabric.members[members[0]].family);
            add(format!("{kind} {tier}"), name, members, Vec::new());
        }
    }
    for group in &site.groups {
        let members = fabric.members_of(&group.parts, None);
        let members = members.iter().map(|member| member.0 as usize).collect();
        let own_hosts = fabric.hosts_of(&group.parts);
        add(
            format!("group {}", group.name),
            &group.name,
            members,
            own_hosts,
        );
    }
    let mut seen = BTreeSet::new();
    parts.retain(|part| !part.members.is_empty() && seen.insert(part.members.clone()));
    parts
}

/// Parts whose loss alone leaves somebody without a path.
///
/// A part can only do so if every path runs over it. So the flow of a set, spread evenly over its paths,
/// sorts out most parts, and routes are looked for without each of the others.
fn single_points(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let parts = parts(facts);
    let healthy = &facts.estimate.cases[0];
    let mut flows = Flows::with(facts.fabric, &healthy.alive, healthy.routes.clone());
    // By family of parts and array: the parts, and whom each of them cuts off.
    let mut groups: BTreeMap<(String, usize), BTreeMap<usize, BTreeSet<usize>>> = BTreeMap::new();
    for set in healthy.sets.iter().filter(|set| !set.paths.is_empty()) {
        let mut way = |path| flows.both_ways(path, set.family).0.to_vec();
        let ways: Vec<Shares> = set.paths.iter().map(&mut way).collect();
        let shares = shares_of(facts, &ways);
        for (index, part) in parts.iter().enumerate() {
            let share: f64 = part.members.iter().map(|member| shares[*member]).sum();
            if share < 1.0 - 1e-9
                || part.own_hosts.contains(&set.host)
                || some_way_avoids(&ways, part)
                || survives(facts, set, part)
            {
                continue;
            }
            let group = groups.entry((part.family.clone(), set.array)).or_default();
            group.entry(index).or_default().insert(set.host);
        }
    }
    let severity = if facts.dual() {
        Severity::Warning
    } else {
        Severity::Note
    };
    groups
        .into_iter()
        .map(|((family, array), which)| {
            let names: Vec<String> = which
                .keys()
                .map(|index| parts[*index].name.clone())
                .collect();
            let all: BTreeSet<usize> = which.values().flatten().copied().collect();
            let alike = which.values().all(|hosts| *hosts == all);
            let hosts: Vec<usize> = all.into_iter().collect();
            let kind = family.split(' ').next().unwrap_or_default();
            let (each, whom) = match (names.len(), alike) {
                (1, _) => ("", "cuts off"),
                (_, true) => (" (each)", "cuts off"),
                // Each link of a family to its own host, for one.
                (_, false) => (" (each)", "cuts off those that hang on it"),
            };
            let together = if alike { "" } else { "all of them together " };
            finding(
                severity,
                "single point",
                format!(
                    "the loss of {kind} {}{each} alone {whom} from {}: {together}{}",
                    some(&names),
                    facts.site.arrays[array].name,
                    who(facts, &hosts)
                ),
                "Give every host a second way that shares no part with the first.",
            )
        })
        .collect()
}

/// Share of a set's flow towards the array on each member, which takes its ways evenly.
fn shares_of(facts: &Facts<'_>, ways: &[Shares]) -> Vec<f64> {
    let mut shares = vec![0.0; facts.fabric.members.len()];
    for (direction, share) in ways.iter().flatten() {
        shares[direction.member().0 as usize] += share / crate::study::estimate::count(ways.len());
    }
    shares
}

/// Whether one of the ways has flow that crosses no member of a part. What a switch takes in it gives on, so the sum over its
/// members counts a flow twice, and halves of two fabrics look like the whole.
fn some_way_avoids(ways: &[Shares], part: &Part) -> bool {
    let on_it = |direction: &DirectionId| part.members.contains(&(direction.member().0 as usize));
    ways.iter().any(|way| {
        let crossing = way.iter().filter(|(direction, _)| on_it(direction));
        crossing.map(|(_, share)| share).sum::<f64>() < 1.0 - 1e-9
    })
}

/// Whether some path of the set is left, by whatever route, without a part.
fn survives(facts: &Facts<'_>, set: &PathSet, part: &Part) -> bool {
    let mut alive = facts.fabric.all_alive();
    for member in &part.members {
        alive[*member] = false;
    }
    let mut flows = Flows::new(facts.fabric, &alive);
    set.paths.iter().any(|path| {
        let (there, back) = flows.both_ways(path, set.family);
        !there.is_empty() && !back.is_empty()
    })
}
