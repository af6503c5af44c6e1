//! After a loss: how long the fullest part needs to work off what piled up, as a fluid. Counted from the loss, as the
//! simulated drain is.

use super::super::estimate::{CaseLoads, Estimate};
use crate::outcome::{TheoryRow, Trust};
use crate::site::{Arrivals, Site, Timers, Workload};
use crate::topology::{DirectionId, Fabric};
use crate::unit::Duration;
use crate::wire::Protocol;

/// The row of an outage; none where nothing moves, or where the survivors are full and never drain.
pub(super) fn rows(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    case: &CaseLoads,
) -> Option<TheoryRow> {
    case.outage?;
    let healthy = estimate.cases.first()?;
    let pause = site
        .workloads
        .iter()
        .flat_map(|work| pauses(site, work))
        .max()?;
    let loads = |case: &CaseLoads| -> Vec<f64> {
        let all = case.directions.iter().chain(&case.controllers);
        all.map(|load| load.map_or(0.0, |load| load.mean)).collect()
    };
    let (before, after) = (loads(healthy), loads(case));
    let drains = before.iter().zip(&after).map(|(before, after)| {
        let moved = (after - before).max(0.0);
        if *after < 1.0 {
            moved / (1.0 - after)
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
    Some(TheoryRow {
        case: case.name.clone(),
        part,
        figure: "drain",
        unit: "s",
        value: (1.0 + factor) * pause.as_secs_f64(),
        trust: Trust::AtMost,
        by: "fluid, pause x (1 + moved load / spare)",
        assumes: "all work of the lost paths is held until the last of its timers, then comes at once; counted from the loss; hosts \
                  that level queues hold less",
        simulated: None,
        simulated_low: None,
        simulated_high: None,
    })
}

/// How long each host of a workload holds what was out on a lost path, from the timers of its protocol.
fn pauses(site: &Site, workload: &Workload) -> Vec<Duration> {
    // A closed loop and a trace pile nothing up, or not at a rate; a bound on what is under way holds up other work too.
    let steady = !matches!(
        workload.arrivals,
        Arrivals::Closed { .. } | Arrivals::Replay(_)
    );
    if !steady || workload.outstanding.is_some() {
        return Vec::new();
    }
    let timers = workload.hosts.iter().map(|host| &site.hosts[*host].timers);
    timers
        .map(|timers| pause(&workload.protocol, timers))
        .collect()
}

fn pause(protocol: &Protocol, timers: &Timers) -> Duration {
    match protocol {
        Protocol::FcScsi(_) => {
            timers.link_loss_detect + timers.fast_io_fail.unwrap_or(timers.device_loss)
        }
        Protocol::FcNvme(_) | Protocol::Plain(_) => timers.link_loss_detect,
        Protocol::NvmeTcp(_) | Protocol::NvmeRdma(_) | Protocol::Nfs(_) => timers.keep_alive,
        Protocol::Iscsi(_) => {
            timers.iscsi_ping + timers.iscsi_ping_timeout + timers.iscsi_replacement
        }
    }
}
