//! Switch-over runs: the whole site, a loss, and what follows until things have settled.
//!
//! Settled: the first bin, after all that is scripted, from which mean latency and completion rate of every workload stay for ten bins
//! inside the 99 % band of the own steady bins of what is left then (of the whole site, once everything is back; without the paths that stay out of
//! use for good, and with guests where they stay; with what stays slow) of the same width (five per cent of the mean and
//! one I/O of the count are always allowed, and where the steady run has few bins the band is that of a further one); not before the last I/O that
//! the loss disturbed has finished and every path has found its standing; and not at all when the survivors
//! are saturated.

mod broken;
mod figures;
mod gone;
mod lanes;
mod patience;
mod story;
mod told;

pub(super) use story::timer_name;

use super::case::CasePlan;
use super::progress::Progress;
use super::steady::{self, PEAK_WINDOW, SteadyRuns};
use super::{action_words, round_words};
use crate::measure::{Joined, Series, band, band_of_few, settled};
use crate::model::{
    Compiled, FlowCell, LeftOut, Limits, LogKind, Note, Script, Stop, Tally, Watch, WorkloadTally,
    World, tried_again_by,
};
use crate::outcome::Switch;
use crate::site::{Action, Fault, Site};
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
    run_to(site, compiled, plan, survivors, planned, progress).switch
}

/// [`run`], with the steady runs that it settles to where those are others than `survivors`.
fn run_to(
    site: &Site,
    compiled: &Compiled,
    plan: &CasePlan,
    survivors: &SteadyRuns,
    planned: bool,
    progress: &dyn Progress,
) -> Scripted {
    let at = survivors.tallies[0].from + site.run.before;
    let scripts = if planned {
        let drained = Duration::from_secs(Switch::DRAIN_S.into());
        let lost = faults(plan, at + drained).into_iter();
        std::iter::once(drain(plan, at)).chain(lost).collect()
    } else {
        faults(plan, at)
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

/// The same; where an outage has left paths out of use that are there again, or guests elsewhere, the steady runs of its case are replaced
/// by those that are so.
#[must_use]
pub(crate) fn of_outages_and_ends(
    site: &Site,
    whole: &Compiled,
    runs: &mut [SteadyRuns],
    planned: bool,
    progress: &dyn Progress,
) -> Vec<Switch> {
    let mut switches = Vec::new();
    for survivors in runs {
        if survivors.plan.case.outage.is_some() {
            let found = run_to(site, whole, &survivors.plan, survivors, planned, progress);
            switches.push(found.switch);
            if let Some(left) = found.left {
                *survivors = left;
            }
        }
    }
    switches
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
        members: plan.hit.members.clone(),
        nodes: plan.hit.nodes.clone(),
        hosts: plan.hit.hosts.clone(),
        label: format!("{name} {done}: {}", plan.takes),
        target: name,
    }
}

/// What a plan does to its parts, from `at` on.
pub(super) fn faults(plan: &CasePlan, at: Instant) -> Vec<Script> {
    let done = |at: Instant, action: Action, round: &str| {
        script(
            plan,
            at,
            action,
            &format!("{}{round}", action_words(action)),
        )
    };
    match plan.fault {
        // A silent loss says so in the words of its case.
        Fault::Lost => vec![script(plan, at, Action::Lose(plan.mode), "lost")],
        Fault::OneWay(heading) => vec![done(at, Action::LoseWay(heading), "")],
        Fault::Slow(slow) => vec![done(at, Action::Slow(slow), "")],
        Fault::Flaps(flap) => (0..flap.count)
            .flat_map(|round| {
                let from = at + Duration(flap.period.0 * u64::from(round));
                let words = round_words(round + 1, flap.count);
                [
                    done(from, Action::Lose(plan.mode), &words),
                    done(from + flap.down, Action::Restore, &words),
                ]
            })
            .collect(),
    }
}

fn drain(plan: &CasePlan, at: Instant) -> Script {
    Script {
        label: format!(
            "{} drained: new I/O avoids {}",
            plan.case.outage.clone().unwrap_or_default(),
            plan.takes
        ),
        ..script(plan, at, Action::Drain, "drained")
    }
}

/// A switch-over, and what it settles to.
pub(crate) struct Scripted {
    pub(crate) switch: Switch,
    /// Steady runs without the paths that stay out of use though they are there, and with the guests that stay where they were
    /// restarted; `None`: there are none.
    pub(crate) left: Option<SteadyRuns>,
}

/// A run with any script, measured from `setting.at` on.
#[must_use]
pub(crate) fn scripted(
    setting: &Setting<'_>,
    compiled: &Compiled,
    progress: &dyn Progress,
) -> Scripted {
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
    // command times out; an NVMe association ends with that, and is made anew by the next try.
    let works = compiled.site.workloads.iter();
    let timeouts = works.flat_map(|work| {
        let hosts = work.hosts.iter();
        let timers = hosts.map(|family| &compiled.site.hosts[*family].timers);
        timers.map(|timers| timers.command_timeout + tried_again_by(&work.protocol, timers).1)
    });
    let patience = timeouts.chain(patience::without_paths(setting));
    let patient = limit + patience.max().unwrap_or_default();
    let mut worlds: Vec<Unfolding<'_>> = (0..replications)
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
            Unfolding {
                world,
                until: last_script + CHUNK,
                limit,
                left: LeftOut::default(),
                found: None,
            }
        })
        .collect();
    // Which paths stay out of use, and which guests elsewhere, shows in the run; what it settles to is then run that way.
    let mut without: Vec<SteadyRuns> = Vec::new();
    loop {
        let go_on = |one: &mut Unfolding<'_>| loop {
            let until = one.until;
            let goes_on = advance(&mut one.world, until, progress);
            progress.reached(
                whole_seconds(until.since(setting.at)),
                whole_seconds(timers_end.since(setting.at)),
            );
            one.left = if one.world.paths_decided() {
                one.world.left_out()
            } else {
                left_by(&setting.survivors.plan)
            };
            let Some(settles_to) = reference(setting, &without, &one.left) else {
                break;
            };
            let found = Settled::of(&settles_to, &one.world);
            if until >= one.limit {
                let to_be_found = one.world.finds_a_path();
                let hangs = |own: &WorkloadTally| match own.hanging {
                    0 if !to_be_found => own.last_disturbed.max(own.last_standing),
                    _ => until,
                };
                let last = one.world.tally().workloads.iter().map(hangs).max();
                // Disturbed late in the time for settling: it begins again.
                let last = last.unwrap_or_default();
                if last + Duration(settle_limit.0 / 2) > one.limit {
                    one.limit = one.limit.max((last + settle_limit).min(patient));
                }
            }
            if !goes_on || until >= one.limit || (found.all.is_some() && until >= known) {
                one.found = Some(found);
                break;
            }
            one.until = (until + CHUNK).min(one.limit);
        };
        let unfinished = worlds.par_iter_mut().filter(|one| one.found.is_none());
        unfinished.for_each(go_on);
        let mut waiting = worlds.iter().filter(|one| one.found.is_none());
        let Some(one) = waiting.next() else {
            break;
        };
        let plan = CasePlan {
            out: one.left.out.clone(),
            guests: one.left.guests.clone(),
            ..setting.survivors.plan.clone()
        };
        let mut site = setting.site.clone();
        site.run.within = None;
        without.extend(steady::run(&site, &[plan], progress));
    }
    // All replications end together, so that their bins can be averaged.
    let end = worlds.iter().map(|one| one.until).max().unwrap_or(limit);
    let longest = worlds.iter().map(|one| one.limit).max();
    worlds.par_iter_mut().for_each(|one| {
        advance(&mut one.world, end, progress);
    });
    let found = worlds.iter().filter_map(|one| one.found.clone());
    let found: Vec<Settled> = found.collect();
    let left = worlds.first().map(|one| one.left.clone());
    let left = left.unwrap_or_default();
    let tallies: Vec<Tally> = worlds
        .into_par_iter()
        .map(|one| {
            progress.run_done();
            one.world.finish()
        })
        .collect();
    let limit = longest.unwrap_or(limit);
    let settles_to = reference(setting, &without, &left).unwrap_or(*setting);
    let switch = figures::figures(&settles_to, compiled, &tallies, &found, limit);
    without.retain(|runs| left_by(&runs.plan) == left);
    Scripted {
        switch,
        left: without.into_iter().next(),
    }
}

/// One replication on its way.
struct Unfolding<'w> {
    world: World<'w>,
    /// Run so far.
    until: Instant,
    /// And so far at most.
    limit: Instant,
    /// What stays out of use, and guests elsewhere, once every path has found its standing.
    left: LeftOut,
    /// When it had settled, once it is over.
    found: Option<Settled>,
}

/// What a plan leaves out though it is there.
fn left_by(plan: &CasePlan) -> LeftOut {
    LeftOut {
        out: plan.out.clone(),
        guests: plan.guests.clone(),
    }
}

/// What a run settles to that leaves this out; `None` where that has not been run yet. The survivors' own steady runs
/// may know of it already.
fn reference<'s>(
    setting: &Setting<'s>,
    without: &'s [SteadyRuns],
    left: &LeftOut,
) -> Option<Setting<'s>> {
    if *left == left_by(&setting.survivors.plan) {
        return Some(*setting);
    }
    let known = without.iter().find(|runs| *left == left_by(&runs.plan))?;
    Some(Setting {
        survivors: known,
        ..*setting
    })
}

/// Whether frames are still being damaged now and then when all scripted events are over.
fn goes_on_damaging(setting: &Setting<'_>) -> bool {
    let mut left = setting.survivors.plan.slow.iter();
    left.any(|(_, slow)| slow.loss_ppb > 0)
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
    // As long as the fabric has not taken note of a return, what is there is not what there will be.
    let routes = tally
        .log
        .iter()
        .filter(|entry| matches!(entry.kind, LogKind::Rerouted(Note::Returned)));
    let start = start.max(routes.map(|entry| entry.at).max().unwrap_or_default());
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
