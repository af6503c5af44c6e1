//! The cases of a study: healthy, and the survivors of each outage.

use super::switch::faults;
use crate::model::{Elsewhere, LeftOut, OutPath, left_out};
use crate::outcome::Case;
use crate::site::{
    Failback, Fault, Guests, HostFamily, LossMode, Measure, Outage, Site, Slow, Workload,
};
use crate::topology::{
    AtTheEnd, Fabric, Loss, MemberId, NodeId, PathSet, Routes, at_the_end, may_stick,
};
use crate::unit::{Duration, Instant, Side};
use crate::wire::Protocol;
use std::sync::Arc;

/// What a fault acts on.
#[derive(Clone, Debug, Default)]
pub struct Hit {
    /// Members.
    pub members: Vec<MemberId>,
    /// Nodes.
    pub nodes: Vec<NodeId>,
    /// Hosts themselves, by index into the fabric's.
    pub hosts: Vec<usize>,
}

/// A case with the parts it lacks.
#[derive(Clone, Debug)]
pub struct CasePlan {
    /// For people and JSON.
    pub case: Case,
    /// Members that are gone.
    pub members: Vec<MemberId>,
    /// Nodes that are gone.
    pub nodes: Vec<NodeId>,
    /// Hosts that are lost themselves, by name or with their chassis, by index into the fabric's. A host without its ports is
    /// not: it goes on asking.
    pub lost_hosts: Vec<usize>,
    /// Hosts that are gone, by index into the fabric's: their work is not asked for, or goes on elsewhere.
    pub hosts: Vec<usize>,
    /// Members that are there, and slow or damaging frames.
    pub slow: Vec<(MemberId, Slow)>,
    /// Paths that are there and that no host takes into use.
    pub out: Vec<OutPath>,
    /// Guests whose host is there, and that stay on others.
    pub guests: Vec<Elsewhere>,
    /// What the switch-over to it acts on: of parts lost for good, those that were there before.
    pub hit: Hit,
    /// What becomes of that.
    pub fault: Fault,
    /// How a loss shows itself.
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
            lost_hosts: Vec::new(),
            hosts: Vec::new(),
            slow: Vec::new(),
            out: Vec::new(),
            guests: Vec::new(),
            hit: Hit::default(),
            fault: Fault::Lost,
            mode: LossMode::Loud,
            takes: String::new(),
        }
    }

    /// What is left once all events of the scenario are over.
    #[must_use]
    pub(crate) fn after_the_events(site: &Site, fabric: &Fabric) -> Self {
        let AtTheEnd {
            members,
            nodes,
            hosts,
            slow,
        } = at_the_end(site, fabric);
        Self {
            hosts: gone(site, fabric, &hosts),
            members,
            nodes,
            lost_hosts: hosts,
            slow,
            ..Self::healthy()
        }
    }

    /// An outage.
    #[must_use]
    pub fn outage(site: &Site, fabric: &Fabric, outage: &Outage) -> Self {
        let lost_hosts = fabric.hosts_out(outage);
        let side = outage.side.filter(|_| outage.gone().is_some());
        let letter = |side: Side| side.letter().chars().next().unwrap_or('?');
        let two_sided = fabric.nodes.iter().any(|n| n.side == Some(Side::A))
            && fabric.nodes.iter().any(|n| n.side == Some(Side::B));
        let mut plan = Self {
            case: Case {
                name: outage.state(),
                outage: Some(outage.name.clone()),
                lost: side.map(letter),
                carries: side.filter(|_| two_sided).map(|side| letter(side.other())),
            },
            members: fabric.members_out(outage),
            hosts: gone(site, fabric, &lost_hosts),
            nodes: fabric.nodes_out(outage),
            lost_hosts,
            slow: fabric.slow_after(outage),
            out: Vec::new(),
            guests: Vec::new(),
            hit: Hit {
                members: fabric.members_of(&outage.takes, outage.side),
                nodes: fabric.nodes_of(&outage.takes, outage.side),
                hosts: fabric.hosts_of(&outage.takes),
            },
            fault: outage.fault,
            mode: outage.mode,
            takes: in_words(outage),
        };
        let LeftOut { out, guests } = match (outage.gone(), outage.fault) {
            (Some(mode), _) => {
                let loss = Loss {
                    members: &plan.members,
                    nodes: &plan.nodes,
                    mode,
                    before: &[],
                };
                LeftOut {
                    out: unused_by_teams(site, fabric, &without(fabric, loss.members), loss),
                    guests: Vec::new(),
                }
            }
            (None, Fault::Flaps(_)) if may_stay_out(site) || moves_guests(site, fabric, &plan) => {
                left_out(site, &faults(&plan, Instant::ZERO + Duration::from_secs(1)))
            }
            _ => LeftOut::default(),
        };
        (plan.out, plan.guests) = (out, guests);
        plan
    }

    /// The same where the parts are emptied before they are lost: teams have left them on purpose.
    #[must_use]
    pub fn emptied_before(mut self) -> Self {
        self.out.retain(|path| !path.stands_by());
        self
    }

    /// The path sets that are left, without the paths that no host takes into use.
    #[must_use]
    pub(super) fn path_sets(&self, site: &Site, fabric: &Fabric) -> Vec<PathSet> {
        self.path_sets_by(site, fabric, &mut Arc::default())
    }

    /// The same with routes that were found before over the same members; those that are missing are added.
    pub(super) fn path_sets_by(
        &self,
        site: &Site,
        fabric: &Fabric,
        routes: &mut Arc<Routes>,
    ) -> Vec<PathSet> {
        let mut sets = fabric.path_sets_by(site, &without(fabric, &self.members), routes);
        for (index, set) in sets.iter_mut().enumerate() {
            set.paths
                .retain(|path| !self.out.iter().any(|out| out.is_of(index, path)));
        }
        sets
    }

    /// Whether nothing is judged of a measure: all hosts of the work are gone and it stays with them, or some are and
    /// it is a throughput that all together have.
    pub(super) fn leaves_out(
        &self,
        site: &Site,
        fabric: &Fabric,
        work: &Workload,
        measure: Measure,
    ) -> bool {
        let family = |host: usize| fabric.hosts[host].family;
        let issuing = |host: &usize| work.hosts.contains(&family(*host));
        let stays = |host: &usize| site.hosts[family(*host)].guests == Guests::Stay;
        let all = (0..fabric.hosts.len()).filter(issuing).count();
        let gone = self
            .hosts
            .iter()
            .filter(|host| issuing(host) && stays(host));
        let gone = gone.count();
        gone > 0 && (gone == all || measure == Measure::Throughput)
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

/// The same; parts that are emptied before they are lost leave no team behind.
pub(super) fn cases_as(
    site: &Site,
    fabric: &Fabric,
    only: Option<&[String]>,
    planned: bool,
) -> Vec<CasePlan> {
    let all = cases(site, fabric, only).into_iter();
    all.map(|plan| if planned { plan.emptied_before() } else { plan })
        .collect()
}

/// Whether a host may leave a path out of use that is there again: one that waits for somebody to fail it back, or an NVMe controller
/// that was given up.
fn may_stay_out(site: &Site) -> bool {
    let manual = |host: &HostFamily| host.timers.failback == Failback::Manual;
    let nvme = |work: &Workload| {
        matches!(
            work.protocol,
            Protocol::NvmeTcp(_) | Protocol::NvmeRdma(_) | Protocol::FcNvme(_)
        )
    };
    site.hosts.iter().any(manual) || site.workloads.iter().any(nvme)
}

/// Whether a plan takes hosts whose guests are restarted elsewhere, and stay there.
fn moves_guests(site: &Site, fabric: &Fabric, plan: &CasePlan) -> bool {
    let mut hosts = plan.hit.hosts.iter();
    hosts.any(|host| site.hosts[fabric.hosts[*host].family].guests == Guests::Restart)
}

/// Lost hosts whose guests would be restarted, and nobody is left on whom.
fn guests_without_a_host(site: &Site, fabric: &Fabric, lost: &[usize]) -> Vec<usize> {
    let restarted = restarted(site, fabric, lost);
    let restarting =
        |host: &usize| site.hosts[fabric.hosts[*host].family].guests == Guests::Restart;
    let lost = lost.iter().copied();
    lost.filter(|host| restarting(host) && !restarted.contains(host))
        .collect()
}

/// Lost hosts that ask for nothing, or whose work goes on elsewhere. Guests that would be restarted and that nobody is left to run
/// are cut off like hosts without a path: they go on asking.
pub(super) fn gone(site: &Site, fabric: &Fabric, lost: &[usize]) -> Vec<usize> {
    let nowhere = guests_without_a_host(site, fabric, lost);
    let lost = lost.iter().copied();
    lost.filter(|host| !nowhere.contains(host)).collect()
}

/// Lost hosts whose guests are restarted on others that are left.
fn restarted(site: &Site, fabric: &Fabric, lost: &[usize]) -> Vec<usize> {
    let family = |host: usize| fabric.hosts[host].family;
    let left = |wanted: usize| {
        let mut hosts = 0..fabric.hosts.len();
        hosts.any(|host| family(host) == wanted && !lost.contains(&host))
    };
    let restarting = |host: &usize| site.hosts[family(*host)].guests == Guests::Restart;
    lost.iter()
        .copied()
        .filter(|host| restarting(host) && left(family(*host)))
        .collect()
}

/// For each link whether it is there without these.
pub(super) fn without(fabric: &Fabric, members: &[MemberId]) -> Vec<bool> {
    let mut alive = fabric.all_alive();
    for member in members {
        alive[member.0 as usize] = false;
    }
    alive
}

/// Paths that are left after a loss and that their team does not use, because it does not notice that its own port leads nowhere.
pub(super) fn unused_by_teams(
    site: &Site,
    fabric: &Fabric,
    alive: &[bool],
    loss: Loss<'_>,
) -> Vec<OutPath> {
    if !may_stick(site) {
        return Vec::new();
    }
    let left = fabric.path_sets(site, alive);
    let stuck = fabric.stuck_teams(site, &left, loss).into_iter();
    stuck
        .flat_map(|set| {
            let paths = left[set].paths.iter();
            paths.map(move |path| OutPath::standing_by(set, path))
        })
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
