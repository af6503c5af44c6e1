//! What arithmetic proves to be missed, without a run.
//!
//! Where more is asked of a part than it can do, whatever shares of the work hosts give to each way, some queue grows without end.
//! With a finite number of I/Os under way it is that of a host: of at least one host and workload, in the order of arrival, so
//! that in the long run all I/Os of that host to one controller are late. A mean is broken by that, and so is a percentile that
//! allows fewer late I/Os than those. Where hosts may have any number under way, the queue is that of the part, and the
//! mean alone is known. As it is not said whose queue it is, each workload must be one that it breaks a promise of.
//!
//! That holds of the steady state that a promise is about, above the load that is full; how soon a run shows it is another matter. Left
//! out: closed loops alone, replays, whole hosts, frames that are damaged (arithmetic takes those for more work than they
//! are), and I/Os that a timer gives up, which fail.

use super::outlook::promised;
use super::scale::Scale;
use crate::outcome::Case;
use crate::site::{Arrivals, Measure, Site, Workload};
use crate::study::case::CasePlan;
use crate::study::estimate::count;
use crate::topology::Fabric;

/// Whether every load above the one that is full by arithmetic breaks a promise.
pub(super) fn breaks_when_full(
    site: &Site,
    fabric: &Fabric,
    scale: &Scale<'_>,
    plan: &CasePlan,
) -> bool {
    let grows = matches!(scale, Scale::Load | Scale::Uneven { .. });
    let damaged = plan.slow.iter().any(|(_, slow)| slow.loss_ppb > 0);
    let mut open = site
        .workloads
        .iter()
        .filter(|work| at_a_rate(work))
        .peekable();
    grows
        && !damaged
        && open.peek().is_some()
        && site.workloads.iter().all(known)
        && open.all(|work| late(site, fabric, work, &plan.case))
}

const fn at_a_rate(work: &Workload) -> bool {
    !matches!(work.arrivals, Arrivals::Closed { .. })
}

/// Whether it is known for good what a workload asks for.
const fn known(work: &Workload) -> bool {
    !matches!(work.arrivals, Arrivals::Replay(_))
}

/// Whether a promise of a workload is broken once the queue of one of its hosts grows without end.
fn late(site: &Site, fabric: &Fabric, work: &Workload, case: &Case) -> bool {
    let own = |host: &usize| work.hosts.contains(&fabric.hosts[*host].family);
    let hosts = (0..fabric.hosts.len()).filter(own).count();
    let controllers = fabric.controllers.iter();
    let controllers = controllers.filter(|own| own.array == work.array).count();
    let queues = count(hosts.max(1) * controllers.max(1));
    let bounded = work.outstanding.is_some()
        || work
            .hosts
            .iter()
            .all(|family| site.hosts[*family].queue_depth.is_some());
    promised(work, case)
        .iter()
        .any(|promise| match promise.measure {
            Measure::Mean => true,
            Measure::Quantile(q) => bounded && (1.0 - q) * queues < 1.0,
            Measure::Throughput | Measure::LongestIo | Measure::Failed => false,
        })
}
