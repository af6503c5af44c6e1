//! Steady runs of one case: replications in parallel, figures with their intervals.
//!
//! Every replication runs with the same window. With `warm_up = "auto"` the window first begins after an
//! eighth of the run; MSER-5 on the bins averaged over the replications then says where the start-up
//! really ends, and if that is later the runs are repeated once with that cut.

mod figures;
mod parts;

use super::case::CasePlan;
use super::progress::Progress;
use crate::measure::mser5;
use crate::model::{Compiled, FlowCell, Limits, Stop, Tally, Watch, World};
use crate::outcome::Steady;
use crate::site::{Site, WarmUp};
use crate::unit::{Duration, Instant};
use rayon::prelude::*;

pub(crate) use figures::{backlogs, estimated, estimated_peak, merged_latency, quantile_of};

pub use crate::measure::PEAK_WINDOW;

/// The runs of one case and what they counted.
#[derive(Debug)]
pub struct SteadyRuns {
    /// The case.
    pub plan: CasePlan,
    /// The site as it ran.
    pub compiled: Compiled,
    /// One a replication, in order.
    pub tallies: Vec<Tally>,
    /// Where MSER-5 cuts.
    pub found: Option<Duration>,
    /// The figures.
    pub figures: Steady,
}

/// Figures of some of the replications of a case.
#[must_use]
pub(crate) fn figures_of(runs: &SteadyRuns, which: std::ops::Range<usize>) -> Steady {
    figures::figures(&runs.plan, &runs.compiled, &runs.tallies[which], runs.found)
}

/// Runs `plans` of a site, all replications of all cases in parallel.
#[must_use]
pub(crate) fn run(site: &Site, plans: &[CasePlan], progress: &dyn Progress) -> Vec<SteadyRuns> {
    run_from(site, plans, 0, progress)
}

/// [`run`] with replications numbered from `first` on: other random numbers than those of 0, 1, ….
#[must_use]
pub(crate) fn run_from(
    site: &Site,
    plans: &[CasePlan],
    first: u32,
    progress: &dyn Progress,
) -> Vec<SteadyRuns> {
    let compiled: Vec<Compiled> = plans
        .iter()
        .map(|plan| Compiled::new(site, &plan.members))
        .collect();
    let cut = match site.run.warm_up {
        WarmUp::Auto => site.run.duration / 8,
        WarmUp::At(cut) => cut,
    };
    let all: Vec<usize> = (0..plans.len()).collect();
    let mut tallies = run_cases(
        site,
        &compiled,
        &all,
        &vec![cut; plans.len()],
        first,
        progress,
    );
    let found: Vec<Option<Duration>> = tallies.iter().map(|runs| warm_up_found(runs)).collect();
    if site.run.warm_up == WarmUp::Auto {
        let again: Vec<usize> = all
            .iter()
            .copied()
            .filter(|case| found[*case].is_some_and(|f| f > cut))
            .collect();
        let cuts: Vec<Duration> = found
            .iter()
            .map(|found| found.map_or(cut, |found| found.max(cut)))
            .collect();
        for (case, runs) in again
            .iter()
            .zip(run_cases(site, &compiled, &again, &cuts, first, progress))
        {
            tallies[*case] = runs;
        }
    }
    plans
        .iter()
        .zip(compiled)
        .zip(tallies.into_iter().zip(found))
        .map(|((plan, compiled), (tallies, found))| {
            let figures = figures::figures(plan, &compiled, &tallies, found);
            SteadyRuns {
                plan: plan.clone(),
                compiled,
                tallies,
                found,
                figures,
            }
        })
        .collect()
}

fn run_cases(
    site: &Site,
    compiled: &[Compiled],
    cases: &[usize],
    cuts: &[Duration],
    first: u32,
    progress: &dyn Progress,
) -> Vec<Vec<Tally>> {
    let replications = site.run.replications as usize;
    progress.planned((cases.len() * replications) as u64);
    let jobs: Vec<(usize, usize)> = cases
        .iter()
        .flat_map(|case| (0..replications).map(move |replication| (*case, replication)))
        .collect();
    let mut done: Vec<Tally> = jobs
        .par_iter()
        .map(|(case, replication)| {
            let number = first.saturating_add(u32::try_from(*replication).unwrap_or(u32::MAX));
            one(site, &compiled[*case], number, cuts[*case], progress)
        })
        .collect();
    let mut cases_done = Vec::new();
    for _ in cases {
        let rest = done.split_off(replications.min(done.len()));
        cases_done.push(std::mem::replace(&mut done, rest));
    }
    cases_done
}

fn one(
    site: &Site,
    compiled: &Compiled,
    replication: u32,
    cut: Duration,
    progress: &dyn Progress,
) -> Tally {
    let end = Instant::ZERO + site.run.duration;
    let watch = Watch {
        from: Instant::ZERO + cut,
        to: end,
        transient: false,
    };
    let mut world = World::new(
        compiled,
        replication,
        watch,
        Limits {
            events: site.run.events_max,
        },
    );
    let limit = end + site.run.drain_limit;
    let step = Duration::from_ms(20);
    let mut reported = 0;
    loop {
        let until = (world.now() + step).min(limit);
        let goes_on = world.run_until(until, Stop::WhenMeasured);
        progress.advanced(world.tally().events - reported);
        reported = world.tally().events;
        if !goes_on || until >= limit {
            break;
        }
    }
    progress.run_done();
    world.finish()
}

/// MSER-5 on the mean latency of all workloads by bin, averaged over the replications.
#[allow(clippy::cast_precision_loss)]
fn warm_up_found(tallies: &[Tally]) -> Option<Duration> {
    let first = tallies.first()?;
    let mut latest = Duration::ZERO;
    for index in 0..first.workloads.len() {
        let width = tallies
            .iter()
            .map(|tally| tally.workloads[index].series.width())
            .max()?;
        let mut sums: Vec<FlowCell> = Vec::new();
        for tally in tallies {
            for (position, cell) in tally.workloads[index]
                .series
                .merge_to(width)
                .into_iter()
                .enumerate()
            {
                if sums.len() <= position {
                    sums.push(FlowCell::default());
                }
                crate::measure::Cell::absorb(&mut sums[position], &cell);
            }
        }
        let bins = usize::try_from(first.to.0 / width.0)
            .unwrap_or(usize::MAX)
            .min(sums.len());
        let means: Vec<f64> = sums[..bins]
            .iter()
            .filter(|cell| cell.completed > 0)
            .map(|cell| cell.latency as f64 / cell.completed as f64)
            .collect();
        if means.len() < 20 {
            continue;
        }
        let cut = mser5(&means)?;
        latest = latest.max(width * cut as u64);
    }
    Some(latest)
}
