//! After a loss: how long the fullest part needs to work off what piled up, as a fluid. Counted from the loss, as the
//! simulated drain is.
//!
//! What piles up is held for as long as the timers stop an I/O that the loss catches (the row `stall` of the case): what moves to
//! the part from lost paths; and all that is asked of it where volumes are left without a controller, behind which whatever a host
//! asks for comes to wait. No bound: arrivals and messages are not a fluid, and the last of the backlog has its own latency.

use super::super::estimate::{CaseLoads, Estimate};
use super::super::stall::Stalled;
use super::stalls::found;
use crate::outcome::{TheoryRow, Trust};
use crate::site::{Arrivals, Site, Workload};
use crate::topology::{DirectionId, Fabric};

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
    if factor <= 0.0 || !factor.is_finite() {
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

/// A closed loop and a trace pile nothing up, or not at a rate; a bound on what is under way holds up other work too.
const fn piles_up(workload: &Workload) -> bool {
    let steady = !matches!(
        workload.arrivals,
        Arrivals::Closed { .. } | Arrivals::Replay(_)
    );
    steady && workload.outstanding.is_none()
}
