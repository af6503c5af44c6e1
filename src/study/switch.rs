//! Switch-over runs: the whole site, a loss, and what follows until things have settled.
//!
//! Settled: the first bin, after all that is scripted, from which mean latency and completion rate of every workload stay for ten bins
//! inside the 99 % band of the own steady bins of what is left then (of the whole site, once everything is back) of the same width (five per cent of the mean and
//! one I/O of the count are always allowed, and where the steady run has few bins the band is that of a further one); not before the last I/O that
//! the loss disturbed has finished and every path has found its standing; and not at all when the survivors
//! are saturated.

mod broken;
mod figures;
mod lanes;
mod story;

pub(super) use story::timer_name;

use super::case::CasePlan;
use super::progress::Progress;
use super::steady::{PEAK_WINDOW, SteadyRuns};
use crate::measure::{Joined, Series, band, band_of_few, settled};
use crate::model::{Compiled, FlowCell, Limits, Script, Stop, Tally, Watch, WorkloadTally, World};
use crate::outcome::{Case, Switch};
use crate::site::{Action, NoPath, Site};
use crate::topology::slow_at_the_end;
use crate::unit::{Duration, Instant};
use rayon::prelude::*;

/// Bins for which figures must stay in their band.
const STAY: usize = 10;
const COVERAGE: f64 = 0.99;
/// Room beyond the band of means, as a fraction.
const ALLOWED: f64 = 0.05;
/// How much is simulated between two looks at whether things have settled.
const CHUNK: Duration = Duration::from_ms(200);

/// What one switch-over study needs.
#[derive(Clone, Copy)]
pub(crate) struct Setting<'a> {
    pub(crate) site: &'a Site,
    pub(crate) plan: &'a CasePlan,
    pub(crate) survivors: &'a SteadyRuns,
    pub(crate) scripts: &'a [Script],
    /// When the loss happens.
    pub(crate) at: Instant,
    pub(crate) from: Instant,
}

/// The loss of what `plan` takes, on a site of which other parts may be out already; `survivors` are the
/// steady runs of what is left of it.
#[must_use]
pub(crate) fn run(
    site: &Site,
    compiled: &Compiled,
    plan: &CasePlan,
    survivors: &SteadyRuns,
    planned: bool,
    progress: &dyn Progress,
) -> Switch {
    let at = survivors.tallies[0].from + site.run.before;
    let scripts = if planned {
        let drained = Duration::from_secs(Switch::DRAIN_S.into());
        vec![drain(plan, at), loss(plan, at + drained)]
    } else {
        vec![loss(plan, at)]
    };
    let setting = Setting::of(site, plan, survivors, &scripts, at);
    scripted(&setting, compiled, progress)
}

/// The loss of each outage that steady runs were made of; `whole` is the site with nothing lost.
#[must_use]
pub(crate) fn of_outages(
    site: &Site,
    whole: &Compiled,
    runs: &[SteadyRuns],
    planned: bool,
    progress: &dyn Progress,
) -> Vec<Switch> {
    runs.iter()
        .filter(|survivors| survivors.plan.case.outage.is_some())
        .map(|survivors| run(site, whole, &survivors.plan, survivors, planned, progress))
        .collect()
}

impl<'a> Setting<'a> {
    fn of(
        site: &'a Site,
        plan: &'a CasePlan,
        survivors: &'a SteadyRuns,
        scripts: &'a [Script],
        at: Instant,
    ) -> Self {
        Self {
            site,
            plan,
            survivors,
            scripts,
            at,
            from: survivors.tallies[0].from,
        }
    }

    /// When the last scripted thing happens.
    fn last(&self) -> Instant {
        let all = self.scripts.iter().map(|script| script.at);
        all.max().unwrap_or(self.at)
    }
}

fn script(plan: &CasePlan, at: Instant, action: Action, done: &str) -> Script {
    let name = plan.case.outage.clone().unwrap_or_default();
    Script {
        at,
        action,
        members: plan.members.clone(),
        nodes: plan.nodes.clone(),
        hosts: plan.lost_hosts.clone(),
        label: format!("{name} {done} {}", plan.takes),
    }
}

fn loss(plan: &CasePlan, at: Instant) -> Script {
    script(plan, at, Action::Lose(plan.mode), "lost:")
}

fn drain(plan: &CasePlan, at: Instant) -> Script {
    script(plan, at, Action::Drain, "drained: new I/O avoids")
}

/// A run with any script, measured from `setting.at` on.
#[must_use]
pub(crate) fn scripted(
    setting: &Setting<'_>,
    compiled: &Compiled,
    progress: &dyn Progress,
) -> Switch {
    let replications = setting.site.run.switch_replications;
    progress.planned(u64::from(replications));
    let last_script = setting.last();
    // Every timer that an event starts may run out, and things may settle after it.
    let chains = setting
        .scripts
        .iter()
        .map(|script| script.at + compiled.longest_chain(script.action));
    let settle_limit = setting.site.run.settle_limit;
    let timers_end = chains.max().unwrap_or(setting.at);
    let limit = timers_end + settle_limit;
    // Before this, paths may not yet look broken or whole.
    let returns = setting.scripts.iter();
    let returns = returns.filter(|script| script.action == Action::Restore);
    let known = returns.map(|script| script.at + compiled.fabric_takes_back());
    let mut known = known.max().unwrap_or(setting.at);
    if goes_on_damaging(setting) {
        // What is lost now and then shows in a run that is long, and not in one that ends once things look settled.
        known = known.max(last_script + settle_limit);
    }
    // Where a group of links closes ranks no path is lost, and what was on the way is only missed when its
    // command times out.
    let timeouts = compiled
        .site
        .hosts
        .iter()
        .map(|host| host.timers.command_timeout);
    let patience = timeouts.chain(retries_without_paths(setting.site));
    let patient = limit + patience.max().unwrap_or_default();
    let mut worlds: Vec<(World<'_>, Instant, Instant, Settled)> = (0..replications)
        .into_par_iter()
        .map(|replication| {
            let watch = Watch {
                from: setting.from,
                to: Instant(u64::MAX / 2),
                transient: true,
            };
            let limits = Limits {
                events: setting.site.run.events_max,
            };
            let mut world = World::new(compiled, replication, watch, limits);
            world.busiest_from(setting.at);
            for script in setting.scripts {
                world.add_script(script.clone());
            }
            let (mut until, mut limit) = (last_script + CHUNK, limit);
            let found = loop {
                let goes_on = advance(&mut world, until, progress);
                progress.reached(
                    whole_seconds(until.since(setting.at)),
                    whole_seconds(timers_end.since(setting.at)),
                );
                let found = Settled::of(setting, &world);
                if until >= limit {
                    let hangs = |own: &WorkloadTally| match own.hanging {
                        0 => own.last_disturbed,
                        _ => until,
                    };
                    let last = world.tally().workloads.iter().map(hangs).max();
                    // Disturbed late in the time for settling: it begins again.
                    let last = last.unwrap_or_default();
                    if last + Duration(settle_limit.0 / 2) > limit {
                        limit = limit.max((last + settle_limit).min(patient));
                    }
                }
                if !goes_on || until >= limit || (found.all.is_some() && until >= known) {
                    break found;
                }
                until = (until + CHUNK).min(limit);
            };
            (world, until, limit, found)
        })
        .collect();
    // All replications end together, so that their bins can be averaged.
    let end = worlds
        .iter()
        .map(|(_, until, ..)| *until)
        .max()
        .unwrap_or(limit);
    let longest = worlds.iter().map(|(_, _, limit, _)| *limit).max();
    worlds.par_iter_mut().for_each(|(world, ..)| {
        advance(world, end, progress);
    });
    let found: Vec<Settled> = worlds.iter().map(|(.., found)| found.clone()).collect();
    let tallies: Vec<Tally> = worlds
        .into_par_iter()
        .map(|(world, ..)| {
            progress.run_done();
            world.finish()
        })
        .collect();
    let limit = longest.unwrap_or(limit);
    figures::figures(setting, compiled, &tallies, &found, limit)
}

/// Longest wait for hosts that give up for want of paths after so many checks. A choice of this program.
const LONGEST_RETRY: Duration = Duration::from_secs(600);

/// How long hosts wait without any path before they fail what waits, where that is a stated time and no longer than
/// is waited for.
fn retries_without_paths(site: &Site) -> impl Iterator<Item = Duration> {
    site.hosts
        .iter()
        .filter_map(|host| match host.timers.no_path {
            NoPath::Retry(checks) => Some(Duration(
                host.timers.path_check.0.saturating_mul(checks.into()),
            )),
            NoPath::Fail | NoPath::Queue => None,
        })
        .filter(|wait| *wait <= LONGEST_RETRY)
}

/// Whether frames are still being damaged now and then when all scripted events are over.
fn goes_on_damaging(setting: &Setting<'_>) -> bool {
    let damages = |script: &Script| matches!(script.action, Action::Slow(slow) if slow.loss_ppb > 0 && !slow.damages_all());
    setting.plan.case == Case::scripted()
        && slow_at_the_end(setting.site)
        && setting.scripts.iter().any(damages)
}

/// When things had settled, as it was found while the run went on. It is not looked for again at the end:
/// a run that goes on for the others' sake gets wider bins, in which the same state may look otherwise.
#[derive(Clone, Debug)]
pub(crate) struct Settled {
    /// All workloads, and every path with its standing.
    pub(crate) all: Option<Instant>,
    /// Each workload by itself.
    pub(crate) each: Vec<Option<Instant>>,
}

impl Settled {
    fn of(setting: &Setting<'_>, world: &World<'_>) -> Self {
        let tally = world.tally();
        let each: Vec<Option<Instant>> = (0..tally.workloads.len())
            .map(|index| {
                workload_settled(setting, tally, index).filter(|_| world.paths_decided_of(index))
            })
            .collect();
        let all = each.iter().copied().collect::<Option<Vec<Instant>>>();
        Self {
            all: all
                .filter(|_| world.paths_decided())
                .and_then(|all| all.into_iter().max()),
            each,
        }
    }
}

/// Seconds, rounded down.
const fn whole_seconds(time: Duration) -> u64 {
    time.0 / 1_000_000_000_000
}

fn advance(world: &mut World<'_>, until: Instant, progress: &dyn Progress) -> bool {
    while world.now() < until {
        let before = world.tally().events;
        let step = (world.now() + Duration::from_ms(20)).min(until);
        let goes_on = world.run_until(step, Stop::AtTheTime);
        progress.advanced(world.tally().events - before);
        if !goes_on {
            return false;
        }
    }
    true
}

/// When one workload had settled. Never when the survivors cannot carry it: a backlog that grows has no steady
/// state to settle in.
pub(crate) fn workload_settled(
    setting: &Setting<'_>,
    tally: &Tally,
    index: usize,
) -> Option<Instant> {
    let own = &tally.workloads[index];
    if setting.survivors.figures.workloads[index].saturated || own.hanging > 0 {
        return None;
    }
    let width = own.series.width().max(PEAK_WINDOW);
    let survivors = &setting.survivors.tallies;
    let finest = survivors
        .iter()
        .map(|tally| tally.workloads[index].series.width())
        .max()?;
    let steady = |width: Duration| -> Vec<(f64, f64)> {
        let own = |tally: &Tally| {
            points(
                &tally.workloads[index].series,
                (tally.from, tally.to),
                width,
            )
        };
        survivors.iter().flat_map(own).collect()
    };
    let (mean_band, rate_band) = bands(&steady, width, finest)?;
    let start = setting.last();
    let start = start.max(own.last_disturbed).max(own.last_standing);
    let now = own.series.bins().len() as u64 * own.series.width().0;
    let after = points(&own.series, (start, Instant(now)), width);
    let bin = settled(&after, mean_band, rate_band, STAY)?;
    Some(Instant((start.0.div_ceil(width.0) + bin as u64) * width.0))
}

/// Mean latency and completions of each whole bin of a stretch of time.
#[allow(clippy::cast_precision_loss)]
fn points(
    series: &Series<FlowCell>,
    (from, to): (Instant, Instant),
    width: Duration,
) -> Vec<(f64, f64)> {
    let cells = series.merge_to(width);
    let (first, last) = (from.0.div_ceil(width.0), to.0 / width.0);
    (first..last)
        .map(|bin| {
            let cell = usize::try_from(bin).ok().and_then(|bin| cells.get(bin));
            cell.copied().unwrap_or_default()
        })
        .map(|cell| {
            let completed = cell.completed as f64;
            (cell.latency as f64 / completed, completed)
        })
        .collect()
}

/// From so many bins of a steady run on, their own band is enough.
const MANY: usize = 100;
/// So many bins tell how they differ.
const FEW: usize = 8;

/// The bands of means and of completions that the steady run gives for bins of a width.
///
/// Where it has not many of them the band is what a further one may be expected in; where it has hardly any, because it
/// is shorter than a few such bins, that is concluded from shorter ones. A run of two bins would otherwise never
/// be stayed in, however undisturbed a workload is.
#[allow(clippy::cast_precision_loss)]
fn bands(
    steady: &dyn Fn(Duration) -> Vec<(f64, f64)>,
    width: Duration,
    finest: Duration,
) -> Option<((f64, f64), (f64, f64))> {
    let whole = steady(width);
    let mut piece = width;
    while piece > finest && steady(piece).len() < FEW {
        piece = Duration(piece.0 / 2);
    }
    let pieces = width.0 as f64 / piece.0 as f64;
    let parts = steady(piece);
    let of = |wanted: fn(&(f64, f64)) -> f64, joined: Joined| {
        let take = |points: &[(f64, f64)]| -> Vec<f64> {
            let values = points.iter().map(wanted);
            values.filter(|value| value.is_finite()).collect()
        };
        let own = band(&take(&whole), COVERAGE);
        if whole.len() >= MANY {
            return own;
        }
        let few = band_of_few(&take(&parts), COVERAGE, pieces, joined);
        match (own, few) {
            (Some(own), Some(few)) => Some((own.0.min(few.0), own.1.max(few.1))),
            (own, few) => own.or(few),
        }
    };
    let (low, high) = of(|point| point.0, Joined::Mean).unwrap_or((0.0, f64::INFINITY));
    // Evenly paced work has bins that hardly differ, and a band without width could never be stayed in:
    // five per cent of the mean and one I/O of the count are always allowed.
    let mean_band = (low * (1.0 - ALLOWED), high * (1.0 + ALLOWED));
    let (fewest, most) = of(|point| point.1, Joined::Sum)?;
    Some((mean_band, (fewest - 1.0, most + 1.0)))
}
