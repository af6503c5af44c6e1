//! How long a switch-over run waits for hosts that have no path and hold what waits for a time that is known.

use super::Setting;
use crate::model::tried_again_by;
use crate::site::{NoPath, Timers, Workload};
use crate::study::estimate::asked;
use crate::unit::Duration;

/// Longest wait for them. A choice of this program.
const LONGEST: Duration = Duration::from_secs(600);

/// NVMe gives its controllers up after ten minutes unless told otherwise, and everything else goes on meanwhile: that is waited for where no more
/// I/Os than so many come in that time, all work together. A choice of this program.
const MOST_IOS: f64 = 500_000.0;

/// How long hosts wait without any path before they fail what waits, where that is a stated time and no longer than is waited for.
pub(super) fn without_paths<'s>(setting: &'s Setting<'_>) -> impl Iterator<Item = Duration> + 's {
    let rate = rate(setting);
    let works = setting.site.workloads.iter();
    let all = works.flat_map(move |work| {
        let hosts = work.hosts.iter();
        hosts.filter_map(move |family| {
            let timers = &setting.site.hosts[*family].timers;
            let held = held(work, timers)?;
            let costs = timers.no_path == NoPath::ByProtocol;
            (!costs || rate * held.as_secs_f64() <= MOST_IOS).then_some(held)
        })
    });
    all.filter(|held| *held <= LONGEST)
}

/// How long a host without any path holds what waits of a workload; `None`: not at all, or for ever.
fn held(work: &Workload, timers: &Timers) -> Option<Duration> {
    match timers.no_path {
        NoPath::Retry(checks) => Some(Duration(timers.path_check.0.saturating_mul(checks.into()))),
        // In whole tries.
        NoPath::ByProtocol if work.protocol.is_nvme() => {
            let (_, every) = tried_again_by(&work.protocol, timers);
            let tries = timers.controller_loss.0.div_ceil(every.0.max(1)).max(1);
            Some(Duration(every.0.saturating_mul(tries)))
        }
        NoPath::Fail | NoPath::Queue | NoPath::ByProtocol => None,
    }
}

/// I/Os a second that are asked for, or that a closed loop completes in the state after.
fn rate(setting: &Setting<'_>) -> f64 {
    let fabric = &setting.survivors.compiled.fabric;
    let works = setting.site.workloads.iter();
    let after = &setting.survivors.figures.workloads;
    let rates = works.zip(after).map(|(work, figures)| {
        let asked = asked(fabric, work).total();
        asked.map_or(figures.all.completed_iops.value, |rate| rate.mean)
    });
    rates.sum()
}
