//! After a loss: how long an I/O that it catches is stopped by timers alone.

use super::super::estimate::CaseLoads;
use super::super::stall::{Lost, Stalled, stalled};
use crate::outcome::{TheoryRow, Trust};
use crate::site::Site;
use crate::topology::Fabric;

/// By workload, the stall in an outage, from the healthy case; `None` where nothing is lost.
pub(super) fn found(
    site: &Site,
    fabric: &Fabric,
    (healthy, case): (&CaseLoads, &CaseLoads),
) -> Option<Vec<Option<Stalled>>> {
    let outage = case.outage.and_then(|index| site.outages.get(index))?;
    let lost = Lost {
        before: &healthy.alive,
        after: &case.alive,
        nodes: &fabric.nodes_out(outage),
        mode: outage.gone()?,
    };
    let routes = (healthy.routes.clone(), case.routes.clone());
    Some(stalled(site, fabric, lost, routes))
}

/// A row for each workload of which some paths are lost and some are left.
pub(super) fn rows(site: &Site, case: &CaseLoads, found: &[Option<Stalled>]) -> Vec<TheoryRow> {
    let rows = site.workloads.iter().zip(found);
    rows.filter_map(|(work, stall)| {
        let time = stall.as_ref()?.time.as_secs_f64();
        Some(TheoryRow::new(
            &case.name,
            work.name.clone(),
            ("stall", "s", time),
            Trust::Approximation,
            (
                "timers, detection + hold + quiesce",
                "an I/O is under way on a lost path when that goes (a silent loss on Fibre Channel: just issued), and finds a free \
                 path when it is let go; its own latency and queues come on top",
            ),
        ))
    })
    .collect()
}
