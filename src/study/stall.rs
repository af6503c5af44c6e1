//! How long a loss stops an I/O by its timers alone, and when paths that come back are in use again. The
//! stall is detection, then hold, then the quiet time before it is sent elsewhere.
//!
//! The I/O that waits longest is under way on a lost path when that goes, and finds a free path as soon as its host lets it go.
//! Its latency is that stall and an undisturbed latency besides. A silent loss on Fibre Channel is noticed by nobody until a
//! command times out, and that time counts from its issue; so does one that is shorter than it takes to notice a loss: it ends that command,
//! which goes elsewhere at once. Once a loss is noticed the hold decides.
//!
//! Left out: hosts that keep no path (their policy for that decides), teams of ports (TCP sends again on its own
//! clock after the move), links of a group that others of it stand in for (TCP or the command timeout), and what waits in queues
//! once everything comes at once.

use super::estimate::{Flows, path_weights};
use super::switch::timer_name;
use crate::model::{Place, TimerName, hold, noticed_by, tcp_gives_up, tried_again_by};
use crate::outcome::{PathReturn, TimerStall};
use crate::site::{Failback, LossMode, Owner, Site, Team, Timers, UplinkLoss};
use crate::topology::{Controller, Fabric, NodeId, Path, PathSet, Routes};
use crate::unit::Duration;
use crate::wire::Protocol;
use std::sync::Arc;

/// What is lost, and how.
#[derive(Clone, Copy)]
pub(crate) struct Lost<'a> {
    /// Members that are there before.
    pub(crate) before: &'a [bool],
    /// Members that are left.
    pub(crate) after: &'a [bool],
    /// Nodes that are lost themselves.
    pub(crate) nodes: &'a [NodeId],
    pub(crate) mode: LossMode,
}

/// A stall by timers alone.
#[derive(Clone, Debug)]
pub(crate) struct Stalled {
    /// How long.
    pub(crate) time: Duration,
    /// Volumes are without a controller: what a host asks for on others comes to wait behind what it asks for on these.
    pub(crate) unserved: bool,
    parts: Parts,
    /// The sum if no command timed out first.
    uncut: Option<Parts>,
}

/// By workload, the longest stall that a loss means by timers alone. `None` where no host of the workload loses some of the
/// paths that it uses and keeps others.
#[must_use]
pub(crate) fn stalls(site: &Site, fabric: &Fabric, lost: Lost<'_>) -> Vec<Option<TimerStall>> {
    let found = stalled(site, fabric, lost, Default::default()).into_iter();
    let uncut = |parts: Parts| Box::new(told(sum(&parts), &parts));
    found
        .map(|known| {
            known.map(|stall| TimerStall {
                cut_short: stall.uncut.map(uncut),
                ..told(stall.time, &stall.parts)
            })
        })
        .collect()
}

/// The same, not yet in words, with routes that were found over the members before and after.
#[must_use]
pub(crate) fn stalled(
    site: &Site,
    fabric: &Fabric,
    lost: Lost<'_>,
    (mut routes, mut routes_left): (Arc<Routes>, Arc<Routes>),
) -> Vec<Option<Stalled>> {
    let Lost { before, after, .. } = lost;
    let mut found: Vec<Option<Stalled>> = vec![None; site.workloads.len()];
    let left = fabric.path_sets_by(site, after, &mut routes_left);
    let sets = fabric.path_sets_by(site, before, &mut routes);
    let mut flows = Flows::with(fabric, before, routes);
    for (set, left) in sets.iter().zip(&left) {
        let family = &site.hosts[fabric.hosts[set.host].family];
        let protocol = &site.workloads[set.workloads[0]].protocol;
        let team = matches!(protocol, Protocol::Nfs(_)) && family.team != Team::Off;
        if left.paths.is_empty() || team {
            continue;
        }
        let takeover = taken_over(site, fabric, set, lost.nodes);
        for workload in &set.workloads {
            // What is never taken while another path stands has no I/O on it.
            let work = &site.workloads[*workload];
            let used = path_weights(site, fabric, &mut flows, set, work);
            let used = |path: usize| used[path] > 0.0;
            let sets = (set, left);
            let found_by = longest(site, fabric, sets, &used, lost, protocol, &family.timers);
            let Some(Sums { mut parts, uncut }) = found_by else {
                continue;
            };
            // What waits for its volumes waits for the longer of the two.
            let owned = work.owner == Owner::Alternate;
            let takeover = takeover.filter(|_| owned);
            if let Some(takeover) = takeover.filter(|takeover| *takeover > sum(&parts)) {
                parts = vec![(timer_name(TimerName::Takeover), takeover)];
            }
            let time = sum(&parts);
            let known = &mut found[*workload];
            if known.as_ref().is_none_or(|most| time > most.time) {
                *known = Some(Stalled {
                    time,
                    unserved: takeover.is_some(),
                    parts,
                    uncut,
                });
            }
        }
    }
    found
}

type Parts = Vec<(&'static str, Duration)>;

/// The timers of a stall, and those that would run if no command timed out first, where one does.
struct Sums {
    parts: Parts,
    uncut: Option<Parts>,
}

fn sum(parts: &[(&str, Duration)]) -> Duration {
    Duration(parts.iter().map(|(_, time)| time.0).sum())
}

/// How long volumes of a set are without a controller: where one is lost itself and its array has another.
fn taken_over(site: &Site, fabric: &Fabric, set: &PathSet, nodes: &[NodeId]) -> Option<Duration> {
    let lost = |controller: &Controller| controller.ports.iter().all(|port| nodes.contains(port));
    let own = fabric.controllers.iter();
    let (gone, there): (Vec<&Controller>, Vec<&Controller>) = own
        .filter(|own| own.array == set.array && !own.ports.is_empty())
        .partition(|own| lost(own));
    (!gone.is_empty() && !there.is_empty()).then(|| site.arrays[set.array].takeover)
}

/// After so long the switch of a host port takes that port down, because all its links towards the arrays have gone dark with what is
/// lost; `None`: it does not.
fn port_dropped(site: &Site, fabric: &Fabric, port: NodeId, lost: Lost<'_>) -> Option<Duration> {
    let mut switches = fabric.switches.iter();
    let links = &fabric.nodes[port.0 as usize].out;
    let at = links.first()?.member();
    let at = &fabric.members[at.0 as usize];
    let own = switches.find(|switch| [at.near, at.far].contains(&switch.node))?;
    let UplinkLoss::DropHostPorts(wait) = site.switches[own.family].on_uplink_loss else {
        return None;
    };
    let out = &fabric.nodes[own.node.0 as usize].out;
    let mut uplinks = out.iter().filter(|direction| direction.toward_array());
    let dark = |member: u32| !lost.after[member as usize];
    let gone = lost.mode == LossMode::Loud
        && !lost.nodes.contains(&own.node)
        && uplinks.all(|direction| dark(direction.member().0));
    gone.then_some(wait)
}

/// The longest of the lost paths of a set that are used.
fn longest(
    site: &Site,
    fabric: &Fabric,
    (set, left): (&PathSet, &PathSet),
    used: &dyn Fn(usize) -> bool,
    loss: Lost<'_>,
    protocol: &Protocol,
    timers: &Timers,
) -> Option<Sums> {
    let (after, mode) = (loss.after, loss.mode);
    let stays = |path: &Path| {
        let same =
            |own: &Path| (own.host_port, own.array_port) == (path.host_port, path.array_port);
        left.paths.iter().any(same)
    };
    let own = set.paths.iter().enumerate();
    let lost = own.filter(|(index, path)| used(*index) && !stays(path));
    let all = lost.map(|(_, path)| {
        let links = &fabric.nodes[path.host_port.0 as usize].out;
        let gone = |member: u32| !after[member as usize];
        let own = links.iter().all(|direction| gone(direction.member().0));
        let place = if own { Place::OwnLink } else { Place::Beyond };
        let noticed = sums(protocol, timers, mode, place);
        // A port that its switch takes down is noticed as a link of the host's own.
        match port_dropped(site, fabric, path.host_port, loss) {
            Some(wait) if place == Place::Beyond => {
                let mut dropped = vec![(timer_name(TimerName::UplinkLoss), wait)];
                dropped.extend(sums(protocol, timers, mode, Place::OwnLink).parts);
                if sum(&dropped) < sum(&noticed.parts) {
                    Sums {
                        parts: dropped,
                        uncut: None,
                    }
                } else {
                    noticed
                }
            }
            _ => noticed,
        }
    });
    all.max_by_key(|sums| sum(&sums.parts))
}

/// The timers that run one after the other.
fn sums(protocol: &Protocol, timers: &Timers, mode: LossMode, place: Place) -> Sums {
    let mut noticed = noticed_by(protocol, timers, mode, place);
    // A connection that TCP gives up before its host notices is noticed by that, and held like any other.
    let gives_up = tcp_gives_up(timers);
    if protocol.tcp().is_some() && noticed.is_some_and(|(_, time)| gives_up < time) {
        noticed = Some((TimerName::TcpGivesUp, gives_up));
    }
    // A command that times out before anything is noticed ends its own wait: nothing is held.
    let first = noticed.filter(|(_, time)| *time <= timers.command_timeout);
    Sums {
        parts: parts(protocol, timers, first),
        uncut: (first != noticed).then(|| parts(protocol, timers, noticed)),
    }
}

/// Those that run from when the loss is noticed, or a command times out where it never is.
fn parts(protocol: &Protocol, timers: &Timers, noticed: Option<(TimerName, Duration)>) -> Parts {
    let named = |(name, time): (TimerName, Duration)| (timer_name(name), time);
    let mut parts: Parts = match noticed {
        Some(noticed) => std::iter::once(noticed)
            .chain(hold(protocol, timers))
            .map(named)
            .collect(),
        None => vec![named((TimerName::CommandTimeout, timers.command_timeout))],
    };
    // A SCSI command that ends by its own timeout ends nothing else, and is not held.
    let alone = noticed.is_none() && matches!(protocol, Protocol::FcScsi(_) | Protocol::Iscsi(_));
    if timers.quiesce > Duration::ZERO && !alone {
        parts.push(("quiesce", timers.quiesce));
    }
    parts
}

/// By workload, when paths that come back are in use again: the fabric takes the links into use within `fabric`, the host's next
/// try finds the path, and the failback comes after that. Of several families of hosts the slowest; by hand, where one of them
/// fails back by hand.
#[must_use]
pub(crate) fn returns(site: &Site, fabric: Duration) -> Vec<Option<PathReturn>> {
    let works = site.workloads.iter();
    works
        .map(|work| {
            let hosts = work.hosts.iter().map(|host| &site.hosts[*host].timers);
            let all: Vec<PathReturn> = hosts
                .map(|timers| path_return(&work.protocol, timers, fabric))
                .collect();
            let manual = all.iter().any(|one| one.manual);
            let slowest = all
                .into_iter()
                .max_by(|one, other| one.s.total_cmp(&other.s))?;
            Some(PathReturn { manual, ..slowest })
        })
        .collect()
}

fn path_return(protocol: &Protocol, timers: &Timers, fabric: Duration) -> PathReturn {
    let (name, tried) = tried_again_by(protocol, timers);
    let mut parts = vec![("the fabric", fabric), (timer_name(name), tried)];
    if let Failback::After(after) = timers.failback {
        parts.push((timer_name(TimerName::Failback), after));
    }
    parts.retain(|(_, time)| *time > Duration::ZERO);
    let nvme = matches!(
        protocol,
        Protocol::NvmeTcp(_) | Protocol::NvmeRdma(_) | Protocol::FcNvme(_)
    );
    let time = sum(&parts);
    let told = told(time, &parts);
    PathReturn {
        s: told.s,
        by: told.by,
        manual: timers.failback == Failback::Manual,
        given_up_s: nvme.then(|| {
            // A host gives up with a try that fails, and it tries at intervals.
            let every = tried.0.max(1);
            let tries = timers.controller_loss.0.div_ceil(every).max(1);
            let tried = Duration(every.saturating_mul(tries));
            // It counts from when the loss is noticed, and the last try must find what the fabric has taken back by then.
            let noticed = noticed_by(protocol, timers, LossMode::Loud, Place::OwnLink);
            let noticed = noticed.map_or(Duration::ZERO, |(_, time)| time);
            Duration((noticed + tried).0.saturating_sub(fabric.0)).as_secs_f64()
        }),
    }
}

fn told(time: Duration, parts: &[(&str, Duration)]) -> TimerStall {
    let words = parts.iter();
    let words: Vec<String> = words
        .map(|(name, time)| format!("{name}, {time}"))
        .collect();
    TimerStall {
        s: time.as_secs_f64(),
        by: words.join(" + "),
        cut_short: None,
    }
}
