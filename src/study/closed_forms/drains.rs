//! After a loss: how long the fullest part needs to work off what piled up, as a fluid. Counted from the loss, as the
//! simulated drain is.
//!
//! What piles up is held for as long as the timers stop an I/O that the loss catches (the row `stall` of the case): what moves to
//! the part from lost paths; and all that is asked of it where volumes are left without a controller, behind which whatever a host
//! asks for comes to wait. Where hosts may have only so much under way, that works the backlog off no faster than their depth over
//! the latency of an idle site lets through, beside what goes on coming: the slower of the two is shown. No bound: arrivals and messages are not a fluid, and the last of the backlog has its own latency.

use super::super::estimate::idle::host_ceiling;
use super::super::estimate::{CaseLoads, Estimate, Flows, asked, path_weights};
use super::super::parts::depth_name;
use super::super::stall::Stalled;
use super::stalls::found;
use crate::outcome::{TheoryRow, Trust};
use crate::site::{Arrivals, Site, Workload};
use crate::topology::{DirectionId, Fabric, Path};

/// The row of an outage; none where nothing moves, or where the survivors are full and never drain.
pub(super) fn rows(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    case: &CaseLoads,
) -> Option<TheoryRow> {
    let healthy = estimate.cases.first()?;
    let stalled = found(site, fabric, case)?;
    let works = site.workloads.iter().zip(stalled);
    let held = works.filter(|(work, _)| piles_up(work));
    let longest: Stalled = held
        .filter_map(|(_, stall)| stall)
        .max_by(|one, other| one.time.cmp(&other.time))?;
    let all_waits = longest.unserved;
    let loads = |case: &CaseLoads| -> Vec<f64> {
        let all = case.directions.iter().chain(&case.controllers);
        all.map(|load| load.map_or(0.0, |load| load.mean)).collect()
    };
    let (before, after) = (loads(healthy), loads(case));
    let drains = before.iter().zip(&after).map(|(before, after)| {
        let held = if all_waits {
            *after
        } else {
            (after - before).max(0.0)
        };
        if *after < 1.0 {
            held / (1.0 - after)
        } else {
            f64::INFINITY
        }
    });
    let (index, factor) = drains.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let by_depth = by_depth(site, fabric, (healthy, case), all_waits, &longest);
    if !factor.is_finite() || by_depth.as_ref().is_some_and(|own| !own.0.is_finite()) {
        return None;
    }
    if let Some((held_s, part)) = by_depth.filter(|own| own.0 > factor * longest.time.as_secs_f64())
    {
        return Some(TheoryRow {
            case: case.name.clone(),
            part,
            figure: "drain",
            unit: "s",
            value: longest.time.as_secs_f64() + held_s,
            trust: Trust::Approximation,
            by: "fluid, stall + what is held / (what the depth lets through - load)",
            assumes: "work that is held until the stall is over waits for places under way at its host, each free again after the                       latency of an idle site; counted from the loss; queues, random arrivals and the latency of the last come on top",
            simulated: None,
            simulated_low: None,
            simulated_high: None,
        });
    }
    if factor <= 0.0 {
        return None;
    }
    let part = match index.checked_sub(fabric.directions.len()) {
        Some(controller) => fabric.controllers[controller].name.clone(),
        None => fabric.direction_name(site, DirectionId(u32::try_from(index).unwrap_or(u32::MAX))),
    };
    let (by, assumes) = if all_waits {
        (
            "fluid, stall x (1 + load / spare)",
            "all work waits behind that of volumes without a controller until the stall is over, then comes at once; counted from \
             the loss; random arrivals and the latency of the last come on top",
        )
    } else {
        (
            "fluid, stall x (1 + moved load / spare)",
            "all work of the lost paths, and no other, is held until the stall is over, then comes at once; counted from the loss; \
             hosts that level queues hold less, random arrivals and the latency of the last come on top",
        )
    };
    Some(TheoryRow {
        case: case.name.clone(),
        part,
        figure: "drain",
        unit: "s",
        value: (1.0 + factor) * longest.time.as_secs_f64(),
        trust: Trust::Approximation,
        by,
        assumes,
        simulated: None,
        simulated_low: None,
        simulated_high: None,
    })
}

/// How long the hosts of a workload take to work off what the stall has held, by what they may have under way: seconds after the
/// stall, of the slowest host, and its workload's depth as a part. Where a path that holds is full and others are taken no more is
/// held than has a place on it. `None` where nothing bounds what is under way, or nothing is held.
fn by_depth(
    site: &Site,
    fabric: &Fabric,
    (healthy, case): (&CaseLoads, &CaseLoads),
    all_waits: bool,
    longest: &Stalled,
) -> Option<(f64, String)> {
    let mut before = Flows::with(fabric, &healthy.alive, healthy.routes.clone());
    let mut after = Flows::with(fabric, &case.alive, case.routes.clone());
    let mut slowest: Option<(f64, String)> = None;
    for (set, left) in healthy.sets.iter().zip(&case.sets) {
        let family = &site.hosts[fabric.hosts[set.host].family];
        for index in &set.workloads {
            let work = &site.workloads[*index];
            let rate = asked(fabric, work).at_host(set.host);
            let Some(rate) = rate.filter(|_| piles_up(work)) else {
                continue;
            };
            let lets = host_ceiling(site, fabric, &mut after, left, *index, usize::MAX);
            let Some(lets) = lets else { continue };
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
            let stall = longest.time.as_secs_f64();
            let held = match family.queue_depth {
                _ if all_waits => rate.mean * stall,
                // A host that would take no other path holds all that comes, as it does where none of those it prefers is left.
                Some(depth) if moved < 1.0 - 1e-9 => {
                    (rate.mean * moved * stall).min(f64::from(depth) * paths)
                }
                _ => rate.mean * moved * stall,
            };
            if held <= 0.0 {
                continue;
            }
            let time = if lets > rate.mean {
                held / (lets - rate.mean)
            } else {
                f64::INFINITY
            };
            if slowest.as_ref().is_none_or(|known| time > known.0) {
                slowest = Some((time, depth_name(&work.name)));
            }
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
