//! How long a loss stops an I/O by its timers alone, and when paths that come back are in use again. The
//! stall is detection, then hold, then the quiet time before it is sent elsewhere.
//!
//! The I/O that waits longest is under way on a lost path when that goes, and finds a free path as soon as its host lets it go.
//! Its latency is that stall and an undisturbed latency besides. A silent loss on Fibre Channel is noticed by nobody until a
//! command times out, and that time counts from its issue.
//!
//! Left out: hosts that keep no path (their policy for that decides), teams of ports (TCP sends again on its own
//! clock after the move), links of a group that others of it stand in for (TCP or the command timeout), and what waits in queues
//! once everything comes at once.

use super::switch::timer_name;
use crate::model::{Place, TimerName, hold, noticed_by, tried_again_by};
use crate::outcome::{PathReturn, TimerStall};
use crate::site::{Failback, LossMode, Site, Team, Timers};
use crate::topology::{Fabric, Path, PathSet};
use crate::unit::Duration;
use crate::wire::Protocol;

/// By workload, the longest stall that the loss of members means by timers alone: `before` are the members that are
/// there, `after` those that are left. `None` where no host of the workload loses some of its paths and keeps others.
#[must_use]
pub(crate) fn stalls(
    site: &Site,
    fabric: &Fabric,
    (before, after): (&[bool], &[bool]),
    mode: LossMode,
) -> Vec<Option<TimerStall>> {
    let mut found: Vec<Option<(Duration, TimerStall)>> = vec![None; site.workloads.len()];
    let left = fabric.path_sets(site, after);
    for (set, left) in fabric.path_sets(site, before).iter().zip(&left) {
        let family = &site.hosts[fabric.hosts[set.host].family];
        let protocol = &site.workloads[set.workloads[0]].protocol;
        let team = matches!(protocol, Protocol::Nfs(_)) && family.team != Team::Off;
        if left.paths.is_empty() || team {
            continue;
        }
        let Some(parts) = longest(fabric, (set, left), after, protocol, &family.timers, mode)
        else {
            continue;
        };
        let time = Duration(parts.iter().map(|(_, time)| time.0).sum());
        for workload in &set.workloads {
            let known = &mut found[*workload];
            if known.as_ref().is_none_or(|(most, _)| time > *most) {
                *known = Some((time, told(time, &parts)));
            }
        }
    }
    let found = found.into_iter();
    found.map(|known| known.map(|(_, stall)| stall)).collect()
}

type Parts = Vec<(&'static str, Duration)>;

/// The longest of the lost paths of a set.
fn longest(
    fabric: &Fabric,
    (set, left): (&PathSet, &PathSet),
    after: &[bool],
    protocol: &Protocol,
    timers: &Timers,
    mode: LossMode,
) -> Option<Parts> {
    let stays = |path: &Path| {
        let same =
            |own: &Path| (own.host_port, own.array_port) == (path.host_port, path.array_port);
        left.paths.iter().any(same)
    };
    let lost = set.paths.iter().filter(|path| !stays(path));
    let all = lost.map(|path| {
        let links = &fabric.nodes[path.host_port.0 as usize].out;
        let gone = |member: u32| !after[member as usize];
        let own = links.iter().all(|direction| gone(direction.member().0));
        let place = if own { Place::OwnLink } else { Place::Beyond };
        parts(protocol, timers, mode, place)
    });
    all.max_by_key(|parts| parts.iter().map(|(_, time)| time.0).sum::<u64>())
}

/// The timers that run one after the other.
fn parts(protocol: &Protocol, timers: &Timers, mode: LossMode, place: Place) -> Parts {
    let named = |(name, time): (TimerName, Duration)| (timer_name(name), time);
    let mut parts: Parts = match noticed_by(protocol, timers, mode, place) {
        Some(noticed) => std::iter::once(noticed)
            .chain(hold(protocol, timers))
            .map(named)
            .collect(),
        // Nothing is noticed, so that nothing is held.
        None => vec![named((TimerName::CommandTimeout, timers.command_timeout))],
    };
    if timers.quiesce > Duration::ZERO {
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
    let time = Duration(parts.iter().map(|(_, time)| time.0).sum());
    let told = told(time, &parts);
    PathReturn {
        s: told.s,
        by: told.by,
        manual: timers.failback == Failback::Manual,
        given_up_s: nvme.then_some(timers.controller_loss.as_secs_f64()),
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
    }
}
