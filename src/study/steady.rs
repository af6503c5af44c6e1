//! Steady runs of one case: replications in parallel, figures with their intervals.
//!
//! Every replication runs with the same window. With `warm_up = "auto"` the window first begins after an
//! eighth of the run; MSER-5 on the bins averaged over the replications then says where the start-up
//! really ends, and if that is later the runs are repeated once with that cut.
//!
//! With a precision asked for, replications are added by the rule of `measure` ([`Looks`]) in the order of
//! their numbers; the figures are those that the number it ends with gives without the rule. It ends at the first
//! look that finds a run cut by a limit.

mod bursts;
mod carried;
mod figures;
mod memory;
mod narrow;
mod parts;

use super::case::CasePlan;
use super::progress::Progress;
use crate::measure::{Decision, Looks, mser5};
use crate::model::{
    Compiled, Executor, Fast, Flow, FlowCell, Limits, Script, Stop, Tally, Watch, World,
};
use crate::outcome::{Precision, Steady};
use crate::site::{Action, Arrivals, BurstLaw, Site, WarmUp};
use crate::unit::{Duration, Instant};
use rayon::prelude::*;

pub(super) use carried::Carried;
pub(crate) use carried::one_io_mb_s;
pub(crate) use figures::{
    backlogs, damage_outlasts_run, estimated, estimated_peak, means_of, merged_latency, quantile_of,
};

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

/// Runs `plans` of a site, exactly `run.replications` of each case in parallel, numbered from `first` on: other
/// random numbers than those of 0, 1, ….
#[must_use]
pub(crate) fn run_from(
    site: &Site,
    plans: &[CasePlan],
    first: u32,
    progress: &dyn Progress,
) -> Vec<SteadyRuns> {
    let mut replications = Replications::new(site, plans, first);
    replications.extend_to(site.run.replications, progress);
    replications.finish(plans)
}

/// Runs `plans` of a site, all replications of all cases in parallel: as many as the site says, or as its
/// precision takes.
#[must_use]
pub(crate) fn run(site: &Site, plans: &[CasePlan], progress: &dyn Progress) -> Vec<SteadyRuns> {
    run_precisely(site, plans, progress).0
}

/// As [`run`], and what a precision asked for took. All cases have the same number of replications, so that
/// they stay comparable one by one, and so that the same number asked for outright gives the same figures.
#[must_use]
pub(crate) fn run_precisely(
    site: &Site,
    plans: &[CasePlan],
    progress: &dyn Progress,
) -> (Vec<SteadyRuns>, Option<Precision>) {
    let mut replications = Replications::new(site, plans, 0);
    let Some(within) = site.run.within else {
        replications.extend_to(site.run.replications, progress);
        return (replications.finish(plans), None);
    };
    let mut looks = Looks::new(within, site.run.replications, site.run.replications_max);
    loop {
        replications.extend_to(looks.replications(), progress);
        let widths = narrow::widths(site, plans, &replications);
        match looks.look(widths.widest_half()) {
            // The same limit would cut more of them, and no figure of a cut run is one of the whole.
            Decision::RunTo(_) if widths.stopped_by.is_none() => {}
            decision => {
                let reached = decision == Decision::Narrow && widths.stopped_by.is_none();
                let precision = widths.precision(site, within, &looks, reached);
                return (replications.finish(plans), Some(precision));
            }
        }
    }
}

/// The replications of all cases so far.
struct Replications<'a> {
    site: &'a Site,
    compiled: Vec<Compiled>,
    /// By case: what is slow from the start.
    slow: Vec<Vec<Script>>,
    /// Number of the first replication.
    start: u32,
    /// Warm-up of the first pass.
    cut: Duration,
    /// By case.
    first: Vec<Vec<Tally>>,
    /// Where MSER-5 cuts, by case, from the first pass.
    found: Vec<Option<Duration>>,
    /// By case: the runs again with a later cut, where one was found.
    again: Vec<Option<(Duration, Vec<Tally>)>>,
}

impl<'a> Replications<'a> {
    fn new(site: &'a Site, plans: &[CasePlan], start: u32) -> Self {
        Self {
            site,
            start,
            slow: plans.iter().map(slow_from_the_start).collect(),
            compiled: plans
                .iter()
                .map(|plan| {
                    let mut compiled = Compiled::new(site, &plan.members);
                    compiled.without_work_of(&plan.hosts);
                    compiled.begin_with_guests(&plan.guests);
                    compiled.begin_without(&plan.out);
                    compiled
                })
                .collect(),
            cut: match site.run.warm_up {
                WarmUp::Auto => site.run.duration / 8,
                WarmUp::At(cut) => cut,
            },
            first: plans.iter().map(|_| Vec::new()).collect(),
            found: vec![None; plans.len()],
            again: plans.iter().map(|_| None).collect(),
        }
    }

    /// Runs on until every case has so many replications: exactly what so many from the start would be.
    fn extend_to(&mut self, replications: u32, progress: &dyn Progress) {
        let jobs: Vec<(usize, u32, Duration)> = (0..self.first.len())
            .flat_map(|case| missing(&self.first[case], replications).map(move |r| (case, r)))
            .map(|(case, replication)| (case, replication, self.cut))
            .collect();
        let done = self.run_jobs(&jobs, progress);
        for ((case, ..), tally) in jobs.into_iter().zip(done) {
            self.first[case].push(tally);
        }
        self.found = self.first.iter().map(|runs| warm_up_found(runs)).collect();
        if self.site.run.warm_up == WarmUp::Auto {
            self.repeat_with_later_cuts(replications, progress);
        }
    }

    fn repeat_with_later_cuts(&mut self, replications: u32, progress: &dyn Progress) {
        let mut jobs = Vec::new();
        for case in 0..self.first.len() {
            let Some(later) = self.found[case].filter(|found| *found > self.cut) else {
                self.again[case] = None;
                continue;
            };
            let kept = self.again[case].take().filter(|(cut, _)| *cut == later);
            let (_, runs) = self.again[case].insert(kept.unwrap_or((later, Vec::new())));
            jobs.extend(missing(runs, replications).map(|r| (case, r, later)));
        }
        let done = self.run_jobs(&jobs, progress);
        for ((case, ..), tally) in jobs.into_iter().zip(done) {
            if let Some((_, runs)) = &mut self.again[case] {
                runs.push(tally);
            }
        }
    }

    fn run_jobs(&self, jobs: &[(usize, u32, Duration)], progress: &dyn Progress) -> Vec<Tally> {
        progress.planned(jobs.len() as u64);
        jobs.par_iter()
            .map(|(case, replication, cut)| {
                one(
                    self.site,
                    (&self.compiled[*case], &self.slow[*case]),
                    self.start.saturating_add(*replication),
                    *cut,
                    progress,
                )
            })
            .collect()
    }

    /// The replications of a case that its figures come from.
    fn tallies(&self, case: usize) -> &[Tally] {
        match &self.again[case] {
            Some((_, runs)) => runs,
            None => &self.first[case],
        }
    }

    fn finish(self, plans: &[CasePlan]) -> Vec<SteadyRuns> {
        let runs = self.first.into_iter().zip(self.again);
        plans
            .iter()
            .zip(self.compiled)
            .zip(runs.zip(self.found))
            .map(|((plan, compiled), ((first, again), found))| {
                let tallies = again.map_or(first, |(_, runs)| runs);
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
}

/// Numbers of the replications that are still to run.
fn missing(done: &[Tally], replications: u32) -> std::ops::Range<u32> {
    u32::try_from(done.len()).unwrap_or(u32::MAX)..replications
}

/// Where the window of a run begins for a warm-up of `cut`: so much later that it holds whole cycles of the bursts of fixed
/// lengths, if it is as long as one. Bursts that come together begin with the run, and a part of a cycle would have another
/// mean than they have. Of unlike cycles it is the shortest time that all divide, or else the longest of them.
fn whole_cycles(site: &Site, cut: Duration) -> Duration {
    let window = site.run.duration.0.saturating_sub(cut.0);
    let cycles = site
        .workloads
        .iter()
        .filter_map(|work| match &work.arrivals {
            Arrivals::Bursty(burst) if burst.law == BurstLaw::Fixed => Some(burst.every.0),
            _ => None,
        });
    let (mut longest, mut common) = (0_u64, 1_u64);
    for every in cycles {
        longest = longest.max(every);
        common = (common / gcd(common, every)).saturating_mul(every);
    }
    let cycle = if common <= window { common } else { longest };
    if longest == 0 || cycle > window {
        return cut;
    }
    cut + Duration(window % cycle)
}

const fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Scripts that make slow what a plan says, before anything else happens.
fn slow_from_the_start(plan: &CasePlan) -> Vec<Script> {
    let mut scripts: Vec<Script> = Vec::new();
    for (member, slow) in &plan.slow {
        let action = Action::Slow(*slow);
        match scripts.iter_mut().find(|known| known.action == action) {
            Some(script) => script.members.push(*member),
            None => scripts.push(Script {
                at: Instant::ZERO,
                action,
                members: vec![*member],
                nodes: Vec::new(),
                hosts: Vec::new(),
                target: String::new(),
                label: String::new(),
            }),
        }
    }
    scripts
}

fn one(
    site: &Site,
    (compiled, slow): (&Compiled, &[Script]),
    replication: u32,
    cut: Duration,
    progress: &dyn Progress,
) -> Tally {
    // What changes on the way, if only at the very start, is not for the executor of steady runs.
    if slow.is_empty() && compiled.in_flow_order() {
        one_by::<Flow>(site, (compiled, slow), replication, cut, progress)
    } else {
        one_by::<Fast>(site, (compiled, slow), replication, cut, progress)
    }
}

fn one_by<E: Executor>(
    site: &Site,
    (compiled, slow): (&Compiled, &[Script]),
    replication: u32,
    cut: Duration,
    progress: &dyn Progress,
) -> Tally {
    let end = Instant::ZERO + site.run.duration;
    let watch = Watch {
        from: Instant::ZERO + whole_cycles(site, cut),
        to: end,
        transient: false,
    };
    let mut world = World::<E>::start(
        compiled,
        replication,
        watch,
        Limits {
            events: site.run.events_max,
        },
    );
    for script in slow {
        world.add_script(script.clone());
    }
    let limit = end + site.run.drain_limit;
    let step = Duration::from_ms(20);
    let mut reported = 0;
    loop {
        let until = (world.now() + step).min(limit);
        let goes_on = world.run_until(until, Stop::WhenMeasured);
        progress.advanced(world.tally().events - reported);
        reported = world.tally().events;
        if !goes_on || until >= limit || progress.stopped() {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::sample::{BENCH, site_with};

    fn cut_of(arrivals: &str, duration: &str, cut_ms: u64) -> u64 {
        let set = [
            ("workload.reads.arrivals", arrivals),
            ("run.duration", duration),
        ];
        whole_cycles(&site_with(BENCH, &set), Duration::from_ms(cut_ms)).0 / 1_000_000_000
    }

    #[test]
    fn a_window_holds_whole_cycles_of_fixed_bursts() {
        let fixed = r#"{ bursty = { peak = "5k/s", base = "0/s", burst = "100ms", every = "500ms", together = true } }"#;
        // 1.8 s after the warm-up hold three cycles: 0.3 s more are left out.
        assert_eq!(cut_of(fixed, "2s", 200), 500);
        assert_eq!(cut_of(fixed, "2s", 500), 500);
        assert_eq!(cut_of(fixed, "2s", 501), 1_000);
        // Less than a cycle: nothing helps, and the reader warns.
        assert_eq!(cut_of(fixed, "600ms", 200), 200);
        let random = r#"{ bursty = { peak = "5k/s", base = "0/s", burst = "100ms", every = "500ms", law = "exponential" } }"#;
        assert_eq!(cut_of(random, "2s", 200), 200);
        assert_eq!(cut_of(r#"{ poisson = "1k/s" }"#, "2s", 200), 200);
    }
}
