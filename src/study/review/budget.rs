//! Budgets: commands a target port accepts, ports of a switch, uplinks of a module, and the most I/Os a
//! depth lets through.

use super::{Facts, finding, some};
use crate::outcome::{ReviewFinding, Severity};
use crate::site::{Arrivals, Basis, Cage, End, PathPolicy, Site, Workload};
use crate::study::estimate::idle;
use crate::study::grouped;
use crate::topology::{Fabric, NodeId};
use std::collections::{BTreeMap, BTreeSet};

/// A queue-depth ceiling below this many times the rate asked for is worth a word: common practice, no
/// source.
const CEILING_ROOM: f64 = 2.0;

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let mut findings = queues(facts);
    findings.extend(ports(facts.site, facts.fabric));
    findings.extend(uplinks(facts.site, facts.fabric));
    findings.extend(ceilings(facts));
    findings
}

/// A budget of one switch that is exceeded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::study) struct OverBudget {
    /// Which budget it is, however much of it is taken.
    pub(in crate::study) budget: Budget,
    /// What is taken and what there is, in a sentence.
    pub(in crate::study) what: String,
}

/// A budget by the name of its switch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::study) enum Budget {
    /// Ports of a speed.
    Ports { switch: String, label: String },
    /// Members upwards.
    Uplinks { switch: String },
}

/// Budgets that are exceeded, each switch by itself.
pub(super) fn over(site: &Site) -> Vec<OverBudget> {
    let fabric = Fabric::new(site);
    let mut all = Vec::new();
    for (label, over) in ports_over(site, &fabric) {
        all.extend(over.names.iter().map(|switch| OverBudget {
            budget: Budget::Ports {
                switch: switch.clone(),
                label: label.clone(),
            },
            what: over.ports_words(&label),
        }));
    }
    for over in uplinks_over(site, &fabric) {
        all.extend(over.names.iter().map(|switch| OverBudget {
            budget: Budget::Uplinks {
                switch: switch.clone(),
            },
            what: over.uplinks_words(),
        }));
    }
    all
}

/// Switches of a family of which more is taken than there is.
#[derive(Default)]
struct Over {
    used: usize,
    limit: u32,
    names: Vec<String>,
}

impl Over {
    fn ports_words(&self, label: &str) -> String {
        let (names, used, limit) = (some(&self.names), self.used, self.limit);
        let ports = if used == 1 { "port" } else { "ports" };
        format!("{names}: {used} {ports} of {label} used, {limit} there")
    }

    fn uplinks_words(&self) -> String {
        let (names, used, limit) = (some(&self.names), self.used, self.limit);
        format!("{names}: {used} uplinks, at most {limit} stated")
    }
}

/// Hosts × paths × depth at the fullest port of each array.
fn queues(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let (site, fabric) = (facts.site, facts.fabric);
    let mut asked: BTreeMap<NodeId, (usize, u64)> = BTreeMap::new();
    let mut endless: BTreeSet<usize> = BTreeSet::new();
    for set in &facts.estimate.cases[0].sets {
        let depth = site.hosts[fabric.hosts[set.host].family].queue_depth;
        for path in &set.paths {
            match depth {
                Some(depth) => {
                    let (_, sum) = asked.entry(path.array_port).or_insert((set.array, 0));
                    *sum += u64::from(depth);
                }
                None => {
                    endless.insert(set.array);
                }
            }
        }
    }
    let mut findings = Vec::new();
    for (index, array) in site.arrays.iter().enumerate() {
        if endless.contains(&index) {
            findings.push(finding(
                Severity::Note,
                "queue budget",
                format!(
                    "ports of {}: hosts without a queue depth may send more than the {} commands that a \
                     port takes",
                    array.name, array.port_commands
                ),
                "State `queue_depth`; a real port answers that its queue is full.",
            ));
            continue;
        }
        let own = asked.iter().filter(|(_, (of, _))| *of == index);
        let Some((port, (_, sum))) =
            own.max_by_key(|(port, (_, sum))| (*sum, std::cmp::Reverse(**port)))
        else {
            continue;
        };
        let limit = array.port_commands;
        let over = *sum > u64::from(limit);
        let key = format!("array.{}.port_commands", array.name);
        let input = site.assumptions.iter().find(|input| input.key == key);
        let usual = input.is_some_and(|input| input.basis == Basis::CommonPractice);
        findings.push(finding(
            if over { Severity::Warning } else { Severity::Note },
            "queue budget",
            format!(
                "port {} of {} can be sent {} commands at once (all hosts and paths × depth); it takes \
                 {}{}",
                fabric.nodes[port.0 as usize].name,
                array.name,
                grouped(*sum),
                grouped(u64::from(limit)),
                if usual {
                    ", as is usual (common practice, no source)"
                } else {
                    ""
                }
            ),
            if over {
                "Lower the queue depth, or spread the hosts over more ports."
            } else if usual {
                "Set `port_commands` of the array to the limit that its maker states."
            } else {
                "Nothing to do."
            },
        ));
    }
    findings
}

/// Ports taken of each switch, by the label in its budget.
fn ports(site: &Site, fabric: &Fabric) -> Vec<ReviewFinding> {
    let found = ports_over(site, fabric).into_iter();
    found
        .map(|(label, over)| {
            finding(
                Severity::Warning,
                "port budget",
                over.ports_words(&label),
                "Take a larger switch or a second one, or state the budget of that speed.",
            )
        })
        .collect()
}

/// Label of the ports, and which switches of a family have too few of them.
fn ports_over(site: &Site, fabric: &Fabric) -> Vec<(String, Over)> {
    let mut all: BTreeMap<(usize, String), Over> = BTreeMap::new();
    for switch in &fabric.switches {
        let budget = &site.switches[switch.family].ports;
        if budget.is_empty() {
            continue;
        }
        let name = &fabric.nodes[switch.node.0 as usize].name;
        for (label, used) in ports_used(site, fabric, switch.node, budget) {
            let own = budget.iter().find(|(known, _)| *known == label);
            let limit = own.map_or(0, |(_, limit)| *limit);
            if used > limit {
                let entry = all.entry((switch.family, label)).or_default();
                entry.used = entry.used.max(used as usize);
                entry.limit = limit;
                entry.names.push(name.clone());
            }
        }
    }
    let each = all.into_iter();
    each.map(|((_, label), over)| (label, over)).collect()
}

/// A cage takes one port at the end that it is plugged into (the nearer switch of two, or the switch of
/// hosts): of its legs' speed together where the budget knows such a port, else of one leg's.
fn ports_used(
    site: &Site,
    fabric: &Fabric,
    node: NodeId,
    budget: &[(String, u32)],
) -> BTreeMap<String, u32> {
    let mut used: BTreeMap<String, u32> = BTreeMap::new();
    let mut cages: BTreeSet<&str> = BTreeSet::new();
    for member in &fabric.members {
        if member.near != node && member.far != node {
            continue;
        }
        let link = &site.links[member.family];
        let plugged_in = member.near == node || matches!(link.from, End::Host(_));
        match (&member.cage, link.cage) {
            (Some(name), Some(cage)) if plugged_in => {
                if cages.insert(name) {
                    *used
                        .entry(cage_label(&link.label, cage, budget))
                        .or_insert(0) += 1;
                }
            }
            _ => *used.entry(link.label.clone()).or_insert(0) += 1,
        }
    }
    used
}

/// `100GbE` for four legs of `25GbE`, where the budget has such ports.
fn cage_label(leg: &str, cage: Cage, budget: &[(String, u32)]) -> String {
    let digits = leg.chars().take_while(char::is_ascii_digit).count();
    let (speed, unit) = leg.split_at(digits);
    let whole = speed
        .parse::<u32>()
        .ok()
        .and_then(|speed| speed.checked_mul(cage.legs))
        .map(|speed| format!("{speed}{unit}"));
    whole
        .filter(|label| budget.iter().any(|(known, _)| known == label))
        .unwrap_or_else(|| leg.to_owned())
}

/// Members from a module upwards against `uplinks_max`.
fn uplinks(site: &Site, fabric: &Fabric) -> Vec<ReviewFinding> {
    let found = uplinks_over(site, fabric).into_iter();
    found
        .map(|over| {
            finding(
                Severity::Warning,
                "port budget",
                over.uplinks_words(),
                "Take uplinks away, or another module.",
            )
        })
        .collect()
}

fn uplinks_over(site: &Site, fabric: &Fabric) -> Vec<Over> {
    let mut all: BTreeMap<usize, Over> = BTreeMap::new();
    for switch in &fabric.switches {
        let Some(limit) = site.switches[switch.family].uplinks_max else {
            continue;
        };
        let upwards = fabric.members.iter().filter(|m| m.near == switch.node);
        let used = upwards.count();
        if used > limit as usize {
            let entry = all.entry(switch.family).or_default();
            entry.used = entry.used.max(used);
            entry.limit = limit;
            let name = &fabric.nodes[switch.node.0 as usize].name;
            entry.names.push(name.clone());
        }
    }
    all.into_values().collect()
}

/// A rate as a whole number.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn whole(rate: f64) -> String {
    grouped(rate.round().max(0.0) as u64)
}

/// `paths`, of hosts that prefer some `preferred paths`.
fn paths_words(site: &Site, workload: &Workload) -> &'static str {
    let prefers = |host: &usize| {
        let policy = site.hosts[*host].paths;
        matches!(policy, PathPolicy::OnePath | PathPolicy::Nearest)
    };
    if workload.hosts.iter().all(prefers) {
        "preferred paths"
    } else {
        "paths"
    }
}

/// What outstanding I/Os ÷ idle latency allow: closed loops always, queue depths where they are near.
///
/// Left out: what other workloads take of the same depth. Each ceiling is that of a workload which has the
/// paths to itself, and the finding says so.
fn ceilings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let mut findings = Vec::new();
    let (site, fabric) = (facts.site, facts.fabric);
    for (index, workload) in site.workloads.iter().enumerate() {
        let healthy = &facts.estimate.cases[0];
        if let Arrivals::Closed { depth, .. } = workload.arrivals {
            if let Some(ceiling) = idle::closed_ceiling(site, fabric, healthy, index) {
                findings.push(finding(
                    Severity::Note,
                    "ceiling",
                    format!(
                        "{}: {depth} outstanding at each host ÷ idle latency allow at most {} \
                         I/Os per second in all; the utilization figures leave this closed loop out",
                        workload.name,
                        whole(ceiling)
                    ),
                    "It takes what there is: only a simulation says how much that is.",
                ));
            }
            continue;
        }
        for case in &facts.estimate.cases {
            let Some((ceiling, asked)) = idle::depth_ceiling(site, fabric, case, index) else {
                continue;
            };
            if ceiling <= 0.0 || ceiling > CEILING_ROOM * asked.burst {
                continue;
            }
            let short = ceiling < asked.burst;
            findings.push(finding(
                if short {
                    Severity::Warning
                } else {
                    Severity::Note
                },
                "ceiling",
                format!(
                    "{} ({}): {} × depth ÷ idle latency allow at most {} I/Os per second, \
                     the paths to itself; asked are {} on the mean and {} in a burst",
                    workload.name,
                    case.name,
                    paths_words(site, workload),
                    whole(ceiling),
                    whole(asked.mean),
                    whole(asked.burst)
                ),
                "Raise the queue depth, or expect I/Os to wait in the host.",
            ));
        }
    }
    findings
}
