//! After a loss: how long the fullest part needs to work off what piled up, as a fluid. Counted from the loss, as the
//! simulated drain is.
//!
//! What piles up is held for as long as the timers stop an I/O of its workload that the loss catches (the row `stall` of the case and
//! workload): what crosses the part on the ways that take over from lost paths, also where those crossed it before, as a controller or a
//! common link; and all that is asked of it where volumes are left without a controller, behind which whatever a host asks for comes to wait.
//! Hosts that are lost, or have no path left, hold nothing that comes to a part.
//! A lost path holds no more than its depth while others take the rest, of all workloads of its host to the array together, each as much of it as comes for it. Where hosts may have only so much under way, that works the backlog off no faster than their depth over
//! the latency of an idle site lets through, beside what goes on coming: the slower of the two is shown. No bound: arrivals and messages are not a fluid, and the last of the backlog has its own latency.

use super::super::estimate::idle::host_ceiling;
use super::super::estimate::{
    CaseLoads, Estimate, Flows, asked, moved_shares_of, path_weights, shares_of,
};
use super::super::parts::depth_name;
use super::super::stall::Stalled;
use crate::outcome::{TheoryRow, Trust};
use crate::site::{Arrivals, Site, Workload};
use crate::topology::{DirectionId, Fabric, Path};

/// The row of an outage, with the stall of each workload in it; none where nothing moves, or where the survivors are full and never drain.
pub(super) fn rows(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    case: &CaseLoads,
    stalled: Vec<Option<Stalled>>,
) -> Option<TheoryRow> {
    let healthy = estimate.cases.first()?;
    let works = site.workloads.iter().zip(stalled);
    let stalled: Vec<Option<Stalled>> = works
        .map(|(work, stall)| stall.filter(|_| piles_up(work)))
        .collect();
    let hosts = at_hosts(site, fabric, (healthy, case), &stalled);
    let kept: Vec<f64> = (0..stalled.len()).map(|work| kept(work, &hosts)).collect();
    let mut held = held(site, fabric, (healthy, case), &stalled);
    for (held, kept) in held.iter_mut().zip(&kept) {
        held.iter_mut().for_each(|share| *share *= kept);
    }
    let after = loads(case);
    let drains = (0..after.len()).map(|part| drained(part, after[part], &stalled, &held));
    let (index, time) = drains
        .enumerate()
        .filter_map(|(index, time)| Some((index, time?)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let by_depth = by_depth(site, fabric, case, &hosts);
    if !time.is_finite() || by_depth.as_ref().is_some_and(|own| !own.0.is_finite()) {
        return None;
    }
    let name = |own: usize| site.workloads[own].name.clone();
    let some_members = loses_some_members(fabric, (healthy, case));
    // Said where it can make the figure too short.
    macro_rules! assumed {
        ($words:literal) => {
            if some_members {
                concat!(
                    $words,
                    "; of links that are lost out of groups only what others of the group carry more is counted, for as long as the timers above, \
                     not what waits for TCP, LACP or a command timeout"
                )
            } else {
                $words
            }
        };
    }
    let row = |part, value, by, assumes, of| TheoryRow {
        of,
        ..TheoryRow::new(
            &case.name,
            part,
            ("drain", "s", value),
            Trust::Approximation,
            (by, assumes),
        )
    };
    if let Some((slower, work)) = by_depth.filter(|own| own.0 > time) {
        return Some(row(
            depth_name(&name(work)),
            slower,
            "fluid, stall + what is held / (what the depth lets through - load)",
            assumed!(
                "work that is held until the stall is over waits for places under way at its host, each free again after the latency of an \
                 idle site; counted from the loss; queues, random arrivals and the latency of the last come on top"
            ),
            vec![name(work)],
        ));
    }
    let part = match index.checked_sub(fabric.directions.len()) {
        Some(controller) => fabric.controllers[controller].name.clone(),
        None => fabric.direction_name(site, DirectionId(u32::try_from(index).unwrap_or(u32::MAX))),
    };
    let own: Vec<usize> = (0..held.len())
        .filter(|work| held[*work][index] > 0.0)
        .collect();
    let longest = own.iter().filter_map(|work| stalled[*work].as_ref());
    let longest = longest.max_by_key(|stall| stall.time)?;
    let (by, assumes) = if longest.unserved {
        (
            "fluid, stall x (1 + load / spare)",
            "all work waits behind that of volumes without a controller until the stall is over, then comes at once; counted from \
             the loss; random arrivals and the latency of the last come on top",
        )
    } else if own.iter().any(|work| kept[*work] < 1.0) {
        (
            "fluid, stall + what is held / spare",
            assumed!(
                "lost paths hold as much as their depth until the stall is over, the rest goes on over others, then what was held comes at \
                 once; counted from the loss; hosts that level queues hold less, random arrivals and the latency of the last come on top"
            ),
        )
    } else {
        (
            "fluid, stall x (1 + moved load / spare)",
            assumed!(
                "all work of the lost paths, and no other, is held until the stall is over, then comes at once; counted from the loss; \
                 hosts that level queues hold less, random arrivals and the latency of the last come on top"
            ),
        )
    };
    Some(row(
        part,
        time,
        by,
        assumes,
        own.into_iter().map(name).collect(),
    ))
}

/// Whether a case loses links out of groups that go on without them.
fn loses_some_members(fabric: &Fabric, (healthy, case): (&CaseLoads, &CaseLoads)) -> bool {
    let members = fabric.members.iter().enumerate();
    let mut lost = members.filter(|(index, _)| healthy.alive[*index] && !case.alive[*index]);
    lost.any(|(index, member)| {
        let first = index - member.index as usize;
        let mut group = first..first + member.of as usize;
        group.any(|other| case.alive[other])
    })
}

/// Busy share of every direction, then of every controller.
fn loads(case: &CaseLoads) -> Vec<f64> {
    let all = case.directions.iter().chain(&case.controllers);
    all.map(|load| load.map_or(0.0, |load| load.mean)).collect()
}

/// For each workload, what each part has to do for it that is held until its stall is over, as a share of the part: what the work of lost
/// paths asks of it on the ways that take over, or all of it where volumes are left without a controller.
fn held(
    site: &Site,
    fabric: &Fabric,
    (healthy, case): (&CaseLoads, &CaseLoads),
    stalled: &[Option<Stalled>],
) -> Vec<Vec<f64>> {
    let each = stalled.iter().enumerate();
    each.map(|(work, stall)| {
        let Some(stall) = stall else {
            return vec![0.0; case.directions.len() + case.controllers.len()];
        };
        let after = shares_of(site, fabric, (case, case), work);
        if stall.unserved {
            return after;
        }
        // Paths that stand while members of theirs are lost are told by what their ways gain.
        let before = shares_of(site, fabric, (healthy, case), work);
        let moved = moved_shares_of(site, fabric, (healthy, case), work).into_iter();
        let parts = moved.zip(before.into_iter().zip(after));
        parts
            .map(|(moved, (before, after))| {
                let held = moved.max(after - before).min(after);
                // What rounding leaves is nothing that moves.
                if held > 1e-12 { held } else { 0.0 }
            })
            .collect()
    })
    .collect()
}

/// When a part is done with what was held for it, seconds from the loss: workloads let theirs go one after the other, each when its own
/// stall is over. `None` where nothing was.
fn drained(part: usize, after: f64, stalled: &[Option<Stalled>], held: &[Vec<f64>]) -> Option<f64> {
    let works = stalled.iter().zip(held);
    let mut own: Vec<(f64, f64)> = works
        .filter_map(|(stall, held)| Some((stall.as_ref()?.time.as_secs_f64(), held[part])))
        .filter(|(_, held)| *held > 0.0)
        .collect();
    own.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (last, _) = *own.last()?;
    if after >= 1.0 {
        return Some(f64::INFINITY);
    }
    let mut load = after - own.iter().map(|(_, held)| held).sum::<f64>();
    let (mut now, mut backlog) = (0.0, 0.0_f64);
    for (time, held) in own {
        backlog = (backlog - (time - now) * (1.0 - load)).max(0.0) + held * time;
        load += held;
        now = time;
    }
    Some(last + backlog / (1.0 - after))
}

/// What a stall holds of a workload at one host.
struct AtHost {
    /// Which of the sets of paths of a case.
    set: usize,
    workload: usize,
    stall_s: f64,
    /// Asked for, a second.
    rate: f64,
    /// I/Os for lost paths that come while it lasts.
    comes: f64,
    /// Those of them that are held: where a path that holds is full and others are taken, no more than has a place on it.
    held: f64,
    /// Others are taken where it is full.
    bounded: bool,
}

fn at_hosts(
    site: &Site,
    fabric: &Fabric,
    (healthy, case): (&CaseLoads, &CaseLoads),
    stalled: &[Option<Stalled>],
) -> Vec<AtHost> {
    let mut before = Flows::with(fabric, &healthy.alive, healthy.routes.clone());
    let mut all: Vec<AtHost> = Vec::new();
    let sets = healthy.sets.iter().zip(&case.sets).enumerate();
    // What hosts without any path ask for comes to no part.
    for (index, (set, left)) in sets.filter(|(_, (_, left))| !left.paths.is_empty()) {
        let first: usize = all.len();
        let mut places = 0.0_f64;
        let family = &site.hosts[fabric.hosts[set.host].family];
        for workload in &set.workloads {
            let work = &site.workloads[*workload];
            let rate = asked(fabric, work).at_host(set.host);
            let (Some(rate), Some(stalled)) = (rate, &stalled[*workload]) else {
                continue;
            };
            let gone = |path: &Path| {
                let same = |own: &Path| {
                    (own.host_port, own.array_port) == (path.host_port, path.array_port)
                };
                !left.paths.iter().any(same)
            };
            let weights = path_weights(site, fabric, &mut before, set, work);
            let lost = set.paths.iter().zip(weights).filter(|(path, _)| gone(path));
            let (paths, moved) = lost
                .filter(|(_, weight)| *weight > 0.0)
                .fold((0.0, 0.0), |(paths, sum), (_, weight)| {
                    (paths + 1.0, sum + weight)
                });
            let stall_s = stalled.time.as_secs_f64();
            let comes = if stalled.unserved {
                rate.mean * stall_s
            } else {
                rate.mean * moved * stall_s
            };
            // A host that would take no other path holds all that comes, as it does where none of those it prefers is left.
            let bounded = !stalled.unserved && moved < 1.0 - 1e-9;
            places = places.max(paths);
            all.push(AtHost {
                set: index,
                workload: *workload,
                stall_s,
                rate: rate.mean,
                comes,
                held: comes,
                bounded,
            });
        }
        let Some(depth) = family.queue_depth else {
            continue;
        };
        let own = &mut all[first..];
        let bounded = own.iter().filter(|host| host.bounded);
        let comes: f64 = bounded.map(|host| host.comes).sum();
        let room = f64::from(depth) * places;
        if comes > room {
            for host in own.iter_mut().filter(|host| host.bounded) {
                host.held *= room / comes;
            }
        }
    }
    all
}

/// Which share of what comes for lost paths of a workload is held, over all its hosts: all of it where no depth bounds it.
fn kept(workload: usize, hosts: &[AtHost]) -> f64 {
    let own = hosts.iter().filter(|host| host.workload == workload);
    let (comes, held) = own.fold((0.0, 0.0), |(comes, held), host| {
        (comes + host.comes, held + host.held)
    });
    if comes > 0.0 { held / comes } else { 1.0 }
}

/// How long the hosts of a workload take to work off what its stall has held, by what they may have under way: seconds from the
/// loss, of the slowest host, and its workload. `None` where nothing bounds what is under way, or nothing is held.
fn by_depth(
    site: &Site,
    fabric: &Fabric,
    case: &CaseLoads,
    hosts: &[AtHost],
) -> Option<(f64, usize)> {
    let mut after = Flows::with(fabric, &case.alive, case.routes.clone());
    let mut slowest: Option<(f64, usize)> = None;
    for host in hosts.iter().filter(|host| host.held > 0.0) {
        let left = &case.sets[host.set];
        let lets = host_ceiling(site, fabric, &mut after, left, host.workload, usize::MAX);
        let Some(lets) = lets else { continue };
        let time = if lets > host.rate {
            host.stall_s + host.held / (lets - host.rate)
        } else {
            f64::INFINITY
        };
        if slowest.as_ref().is_none_or(|known| time > known.0) {
            slowest = Some((time, host.workload));
        }
    }
    slowest
}

/// A closed loop and a trace pile nothing up, or not at a rate; a bound on what is under way holds up other work too.
const fn piles_up(workload: &Workload) -> bool {
    let steady = !matches!(
        workload.arrivals,
        Arrivals::Closed { .. } | Arrivals::Replay(_)
    );
    steady && workload.outstanding.is_none()
}
