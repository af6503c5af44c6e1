//! The cases of a study: healthy, and the survivors of each outage.

use crate::outcome::Case;
use crate::site::{Guests, LossMode, Outage, Site};
use crate::topology::{Fabric, HostInstance, MemberId, NodeId, out_at_the_end};
use crate::unit::Side;

/// A case with the parts it lacks.
#[derive(Clone, Debug)]
pub struct CasePlan {
    /// For people and JSON.
    pub case: Case,
    /// Members that are gone.
    pub members: Vec<MemberId>,
    /// Nodes that are gone.
    pub nodes: Vec<NodeId>,
    /// Hosts that are gone, by index into the fabric's: their work is not asked for, or goes on elsewhere.
    pub hosts: Vec<usize>,
    /// How the loss shows itself.
    pub mode: LossMode,
    /// What it takes, in words: "all parts of side A, and lan-1".
    pub takes: String,
}

impl CasePlan {
    /// Nothing lost.
    #[must_use]
    pub fn healthy() -> Self {
        Self {
            case: Case {
                name: "healthy".into(),
                outage: None,
                lost: None,
                carries: None,
            },
            members: Vec::new(),
            nodes: Vec::new(),
            hosts: Vec::new(),
            mode: LossMode::Loud,
            takes: String::new(),
        }
    }

    /// What is left once all events of the scenario are over.
    #[must_use]
    pub(crate) fn after_the_events(site: &Site, fabric: &Fabric) -> Self {
        let (members, nodes) = out_at_the_end(site, fabric);
        Self {
            hosts: restarted(site, fabric, &nodes),
            members,
            nodes,
            ..Self::healthy()
        }
    }

    /// An outage.
    #[must_use]
    pub fn outage(site: &Site, fabric: &Fabric, outage: &Outage) -> Self {
        let nodes = fabric.nodes_of(&outage.takes, outage.side);
        let letter = |side: Side| side.letter().chars().next().unwrap_or('?');
        let two_sided = fabric.nodes.iter().any(|n| n.side == Some(Side::A))
            && fabric.nodes.iter().any(|n| n.side == Some(Side::B));
        Self {
            case: Case {
                name: format!("{} lost", outage.name),
                outage: Some(outage.name.clone()),
                lost: outage.side.map(letter),
                carries: outage
                    .side
                    .filter(|_| two_sided)
                    .map(|side| letter(side.other())),
            },
            members: fabric.members_of(&outage.takes, outage.side),
            hosts: restarted(site, fabric, &nodes),
            nodes,
            mode: outage.mode,
            takes: in_words(outage),
        }
    }
}

/// Healthy and the outages asked for (all of them when `only` is `None`).
#[must_use]
pub fn cases(site: &Site, fabric: &Fabric, only: Option<&[String]>) -> Vec<CasePlan> {
    let wanted = |outage: &&Outage| only.is_none_or(|names| names.contains(&outage.name));
    std::iter::once(CasePlan::healthy())
        .chain(
            site.outages
                .iter()
                .filter(wanted)
                .map(|outage| CasePlan::outage(site, fabric, outage)),
        )
        .collect()
}

/// Hosts that are lost with these nodes and whose guests are restarted on others that are left.
fn restarted(site: &Site, fabric: &Fabric, nodes: &[NodeId]) -> Vec<usize> {
    let lost = |host: &HostInstance| {
        !host.ports.is_empty() && host.ports.iter().all(|port| nodes.contains(port))
    };
    let left = |family: usize| {
        let mut hosts = fabric.hosts.iter();
        hosts.any(|host| host.family == family && !lost(host))
    };
    let hosts = fabric.hosts.iter().enumerate();
    hosts
        .filter(|(_, host)| site.hosts[host.family].guests == Guests::Restart)
        .filter(|(_, host)| lost(host) && left(host.family))
        .map(|(index, _)| index)
        .collect()
}

fn in_words(outage: &Outage) -> String {
    let whole = outage.side.map(|side| format!("*-{side}"));
    let others: Vec<&str> = outage
        .takes
        .iter()
        .map(String::as_str)
        .filter(|part| Some(*part) != whole.as_deref())
        .collect();
    match (outage.side, others.is_empty()) {
        (Some(side), true) => format!("all parts of side {side}"),
        (Some(side), false) => format!("all parts of side {side}, and {}", others.join(", ")),
        (None, _) => others.join(", "),
    }
}
