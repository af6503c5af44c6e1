//! Tallies of a switch-over put together into figures.

use super::super::stall::{Lost, returns, stalls};
use super::super::steady::{PEAK_WINDOW, backlogs, estimated_peak};
use super::{ALLOWED, Setting, Settled, lanes, story};
use crate::measure::{Cell, LevelCell, Series};
use crate::model::{Coarse, Compiled, FlowCell, Stopped, Tally};
use crate::outcome::{
    Begin, Harm, NamedEvent, Reference, Switch, SwitchBin, SwitchWorkload, TimerStall,
};
use crate::site::{Action, Arrivals, Assumption, Basis, LossMode, Measure, Promise, Team};
use crate::theory::chance::highest_by_chance;
use crate::unit::{Duration, Instant};
use crate::wire::Protocol;

pub(crate) fn figures(
    setting: &Setting<'_>,
    compiled: &Compiled,
    tallies: &[Tally],
    found: &[Settled],
    limit: Instant,
) -> Switch {
    let relative = |at: Instant| seconds_after(at, setting.at);
    let settled = found
        .iter()
        .map(|found| found.all)
        .collect::<Option<Vec<Instant>>>()
        .and_then(|all| all.into_iter().max());
    let width = tallies
        .iter()
        .flat_map(|t| t.workloads.iter().map(|w| w.series.width()))
        .max()
        .unwrap_or_default();
    let end = tallies
        .iter()
        .map(|tally| tally.ended)
        .min()
        .unwrap_or(setting.at);
    let story = story::events(setting, compiled, &tallies[0]);
    let mut events = story.events;
    let by_timers = by_timers(setting, compiled);
    let reference = if !setting.survivors.plan.out.is_empty() {
        Reference::WithoutPaths
    } else if !setting.survivors.plan.guests.is_empty() {
        Reference::GuestsElsewhere
    } else if !setting.survivors.plan.slow.is_empty() {
        Reference::StaysSlow
    } else if setting.survivors.plan.members.is_empty() {
        Reference::Healthy
    } else {
        Reference::Survivors
    };
    let workloads: Vec<SwitchWorkload> = story
        .workloads
        .into_iter()
        .zip(by_timers)
        .zip(returns(&compiled.site, compiled.fabric_takes_back()))
        .enumerate()
        .map(|(index, ((told, by_timers), back))| SwitchWorkload {
            freed_by: told.freed_by,
            failed_by: told.failed_by,
            stops: told.stops,
            by_timers,
            back,
            ..workload(setting, compiled, tallies, found, index, (width, end))
        })
        .collect();
    events.extend(
        workloads
            .iter()
            .filter_map(|work| settling(work, reference)),
    );
    events.sort_by(|left, right| left.t_s.total_cmp(&right.t_s));
    let mut presets: Vec<&str> = compiled
        .site
        .hosts
        .iter()
        .map(|host| host.timers.preset)
        .collect();
    presets.dedup();
    Switch {
        case: setting.plan.case.clone(),
        replications: u32::try_from(tallies.len()).unwrap_or(u32::MAX),
        preset: presets.join(", "),
        timers_stated: timers_stated(compiled),
        counted_from: begin(setting),
        harm: harm(setting),
        losses: losses(setting),
        silent: is_silent(setting),
        from_s: relative(setting.from),
        to_s: relative(end),
        bin_s: width.as_secs_f64(),
        settled_s: settled.map(relative),
        settles_to: reference,
        // What a limit stopped was looked at for no longer than that.
        limit_s: match tallies.iter().any(|tally| tally.partial) {
            true => relative(limit).min(relative(end)),
            false => relative(limit),
        },
        partial: tallies.iter().any(|tally| tally.partial),
        stopped_by: tallies.iter().find_map(|tally| tally.stopped_by),
        workloads,
        events,
        lanes: lanes::lanes(setting, compiled, &tallies[0], end),
        events_handled: tallies.iter().map(|tally| tally.events).sum(),
        frame_hops: tallies.iter().map(|tally| tally.frame_hops).sum(),
        ios: tallies
            .iter()
            .flat_map(|tally| &tally.workloads)
            .map(|w| w.completed_total)
            .sum(),
    }
}

/// Timers that the scenario states, with their values, as they are written.
fn timers_stated(compiled: &Compiled) -> Vec<String> {
    let stated = compiled.site.assumptions.iter();
    let stated =
        stated.filter(|own| matches!(own.basis, Basis::Stated | Basis::Measured | Basis::Guessed));
    let named = |own: &Assumption| {
        let (family, key) = own.key.split_once("timers.")?;
        let family = family.trim_end_matches('.');
        let whole = family.is_empty() || family.starts_with("host.");
        (whole && key != "preset").then(|| {
            let family = if family.is_empty() {
                String::new()
            } else {
                format!("{family} ")
            };
            format!("{family}{key} {}", own.value)
        })
    };
    stated.filter_map(named).collect()
}

/// That a workload has settled, as an event.
fn settling(work: &SwitchWorkload, reference: Reference) -> Option<NamedEvent> {
    let what = if work.fails_after {
        format!("settled: all that comes fails, as in {}", reference.words())
    } else {
        format!(
            "settled: mean latency and completions as in {}",
            reference.words()
        )
    };
    Some(NamedEvent {
        t_s: work.settled_s?,
        what,
        timer: None,
        workload: Some(work.name.clone()),
        ios: None,
        ended_stall: false,
    })
}

/// What the script does to parts.
fn harm(setting: &Setting<'_>) -> Harm {
    let mut actions = setting.scripts.iter().map(|script| script.action);
    let lost = |own: Action| own.takes_away().is_some() || own == Action::Drain;
    let slow = actions
        .clone()
        .any(|own| matches!(own, Action::Slow(_)) && !lost(own));
    match (slow, actions.any(lost)) {
        (true, false) => Harm::Slow,
        (true, true) => Harm::Both,
        (false, _) => Harm::Loss,
    }
}

/// How many times something is lost, flaps counted each.
fn losses(setting: &Setting<'_>) -> u32 {
    let lost = |script: &&crate::model::Script| {
        matches!(script.action, Action::Lose(_) | Action::LoseWay(_))
    };
    u32::try_from(setting.scripts.iter().filter(lost).count()).unwrap_or(u32::MAX)
}

/// Whether parts are lost, and all of them silently.
fn is_silent(setting: &Setting<'_>) -> bool {
    let actions = setting.scripts.iter().map(|script| script.action);
    let mut modes = actions.filter_map(Action::takes_away).peekable();
    modes.peek().is_some() && modes.all(|mode| mode == LossMode::Silent)
}

/// What happens at `setting.at`.
fn begin(setting: &Setting<'_>) -> Begin {
    let first = setting
        .scripts
        .iter()
        .find(|script| script.at == setting.at);
    match first.map(|script| script.action) {
        None => Begin::Loss,
        Some(Action::Drain) => Begin::Drain,
        Some(action) if action.takes_away().is_some() => Begin::Loss,
        Some(_) if setting.plan.case.is_scripted() => Begin::Event,
        Some(_) => Begin::Outage,
    }
}

/// Seconds from `loss` to `at`, negative before it.
pub(crate) fn seconds_after(at: Instant, loss: Instant) -> f64 {
    if at >= loss {
        at.since(loss).as_secs_f64()
    } else {
        -loss.since(at).as_secs_f64()
    }
}

fn workload(
    setting: &Setting<'_>,
    compiled: &Compiled,
    tallies: &[Tally],
    found: &[Settled],
    index: usize,
    (width, end): (Duration, Instant),
) -> SwitchWorkload {
    let own: Vec<_> = tallies
        .iter()
        .map(|tally| &tally.workloads[index])
        .collect();
    let bins = bins(setting, tallies, index, width, end);
    let promise = latency_promise(&compiled.site.workloads[index].promises.lost);
    let settled: Option<Vec<Instant>> = found.iter().map(|found| found.each[index]).collect();
    let after: u64 = own.iter().map(|workload| workload.completed_after).sum();
    let judged: u64 = own
        .iter()
        .map(|workload| workload.completed_after + workload.failed_after + workload.unfinished)
        .sum();
    #[allow(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss
    )]
    let above_promise_share = promise.filter(|_| judged > 0).map(|promise| {
        let above: u64 = own
            .iter()
            .filter_map(|workload| {
                let at = workload
                    .above
                    .iter()
                    .position(|(target, _)| *target == promise.target as u64)?;
                Some(workload.above_after[at])
            })
            .sum();
        above as f64 / judged as f64
    });
    #[allow(clippy::cast_precision_loss)]
    let above_promise_s = promise.map(|promise| {
        let slow = |bin: &&SwitchBin| bin.t_s >= 0.0 && is_above(bin, promise.target / 1e6);
        bins.iter().filter(slow).count() as f64 * width.as_secs_f64()
    });
    let drains: Option<Vec<f64>> = tallies
        .iter()
        .zip(found)
        .map(|(tally, found)| drain(setting, tally, index, found.each[index]))
        .collect();
    let after_all = &setting.survivors.figures.workloads[index].all;
    let fails_after = after_all.failed > 0 && after_all.failed == after_all.ios;
    SwitchWorkload {
        name: compiled.site.workloads[index].name.clone(),
        policies: policies(compiled, index),
        outstanding: outstanding(compiled, index),
        rated: !matches!(
            compiled.site.workloads[index].arrivals,
            Arrivals::Closed { .. }
        ),
        longest_io_s: own
            .iter()
            .map(|workload| workload.longest.as_secs_f64())
            .collect(),
        longest_open: own.iter().map(|workload| workload.longest_open).collect(),
        no_path: own.iter().any(|workload| workload.pathless),
        failed_without_path: own.iter().any(|workload| workload.failed_pathless),
        hosts: u32::try_from(hosts_of(compiled, index).count()).unwrap_or(u32::MAX),
        without_path: {
            let without = |host: &usize| own.iter().any(|work| work.pathless_hosts.contains(host));
            let hosts = hosts_of(compiled, index).filter(without);
            hosts
                .map(|host| compiled.fabric.hosts[host].name.clone())
                .collect()
        },
        hosts_gone: own
            .iter()
            .map(|workload| workload.nowhere)
            .max()
            .unwrap_or(0),
        freed_by: None,
        failed_by: None,
        by_timers: None,
        back: None,
        longest_silence_s: own
            .iter()
            .map(|workload| workload.silence.as_secs_f64())
            .fold(0.0, f64::max),
        silence_s: own
            .iter()
            .map(|workload| workload.silence.as_secs_f64())
            .collect(),
        chance_silence_s: own
            .iter()
            .map(|workload| Stopped::by_chance(&workload.before).as_secs_f64())
            .fold(0.0, f64::max),
        stops: Vec::new(),
        above_promise_share,
        above_promise_s,
        completed: after,
        retried: own.iter().map(|workload| workload.retried).sum(),
        completed_least_iops: least(setting, tallies, index, (width, end)),
        completed_most_iops: most(setting, tallies, index, end),
        chance_most_iops: most_by_chance(setting, tallies, index),
        failed: own
            .iter()
            .map(|workload| workload.failed_total - workload.lost_with_host)
            .collect(),
        lost_with_host: own.iter().map(|workload| workload.lost_with_host).collect(),
        unasked: own.iter().map(|workload| workload.unasked).collect(),
        late: own.iter().map(|workload| workload.late).sum(),
        unfinished: own
            .iter()
            .map(|w| w.issued_total - w.completed_total - w.failed_total)
            .sum(),
        hanging: own.iter().map(|workload| workload.hanging).collect(),
        held: own.iter().map(|workload| workload.held).collect(),
        backlog_peak: own
            .iter()
            .flat_map(|workload| workload.backlog.series().bins())
            .map(|cell| cell.peak)
            .max()
            .unwrap_or(0),
        drain_s: drains
            .filter(|_| !fails_after)
            .map(|all| all.into_iter().fold(0.0, f64::max)),
        fails_after,
        settled_s: settled
            .and_then(|all| all.into_iter().max())
            .map(|at| seconds_after(at, setting.at)),
        survivors_peak_iops: estimated_peak(&setting.survivors.figures, index),
        bins,
    }
}

/// Whether the mean of a bin lies above a target, us. An I/O that fails is above any, and while nothing is completed the oldest
/// that waits tells.
fn is_above(bin: &SwitchBin, target_us: f64) -> bool {
    let mean = bin.mean_us.unwrap_or(bin.oldest_us);
    bin.failed_iops > 0.0 || mean > target_us
}

/// The stall of each workload by timers alone, where one loss is scripted and nothing was drained before it.
fn by_timers(setting: &Setting<'_>, compiled: &Compiled) -> Vec<Option<TimerStall>> {
    let mut changes = setting
        .scripts
        .iter()
        .filter(|script| script.action != Action::Restore);
    let none = vec![None; compiled.site.workloads.len()];
    let (Some(script), None) = (changes.next(), changes.next()) else {
        return none;
    };
    let Some(mode) = script.action.takes_away() else {
        return none;
    };
    let mut after = compiled.alive.clone();
    for member in &script.members {
        after[member.0 as usize] = false;
    }
    let lost = Lost {
        before: &compiled.alive,
        after: &after,
        nodes: &script.nodes,
        mode,
    };
    let mut stalls = stalls(&compiled.site, &compiled.fabric, lost);
    // What comes back before its timers are over is sent again then.
    let back = setting
        .scripts
        .iter()
        .filter(|script| script.action == Action::Restore);
    let first = back.map(|script| seconds_after(script.at, setting.at));
    let first = first.fold(f64::INFINITY, f64::min);
    for stall in &mut stalls {
        stall.take_if(|stall| stall.s > first);
    }
    stalls
}

/// The path policies of the hosts of a workload, each once; `team` where a team of ports decides.
fn policies(compiled: &Compiled, index: usize) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let work = &compiled.site.workloads[index];
    let files = matches!(work.protocol, Protocol::Nfs(_));
    for host in &work.hosts {
        let host = &compiled.site.hosts[*host];
        let name = if files && host.team != Team::Off {
            "team"
        } else {
            host.paths.name()
        };
        if !found.iter().any(|known| known == name) {
            found.push(name.to_owned());
        }
    }
    found
}

/// Most I/Os of a workload under way at all its hosts together, where something of its own bounds them.
fn outstanding(compiled: &Compiled, index: usize) -> Option<u64> {
    let work = &compiled.site.workloads[index];
    let each = match work.arrivals {
        Arrivals::Closed { depth, .. } => depth,
        _ => work.outstanding?,
    };
    Some(u64::from(each) * hosts_of(compiled, index).count() as u64)
}

/// The hosts of a workload, by index.
fn hosts_of(compiled: &Compiled, workload: usize) -> impl Iterator<Item = usize> {
    let work = &compiled.site.workloads[workload];
    let hosts = compiled.fabric.hosts.iter().enumerate();
    let own = hosts.filter(|(_, host)| work.hosts.contains(&host.family));
    own.map(|(index, _)| index)
}

/// Fewest completed per second in any whole bin after the loss, of 20 ms or longer.
#[allow(clippy::cast_precision_loss)]
fn least(
    setting: &Setting<'_>,
    tallies: &[Tally],
    index: usize,
    (width, end): (Duration, Instant),
) -> Option<f64> {
    let width = width.max(PEAK_WINDOW);
    let flows: Vec<Vec<FlowCell>> = tallies
        .iter()
        .map(|tally| tally.workloads[index].series.merge_to(width))
        .collect();
    let completed = |bin: u64| -> u64 {
        let at = usize::try_from(bin).unwrap_or(usize::MAX);
        let cells = flows.iter().filter_map(|cells| cells.get(at));
        cells.map(|cell| cell.completed).sum()
    };
    let (first, last) = (setting.at.0.div_ceil(width.0), end.0 / width.0);
    let fewest = (first..last).map(completed).min()?;
    Some(fewest as f64 / tallies.len() as f64 / width.as_secs_f64())
}

/// Most completed per second in any whole 20 ms after the loss, mean of the replications' own.
#[allow(clippy::cast_precision_loss)]
fn most(setting: &Setting<'_>, tallies: &[Tally], index: usize, end: Instant) -> f64 {
    let of = |tally: &Tally| {
        let series = &tally.workloads[index].series;
        let most = series.peak().map_or_else(
            || {
                let cells = series.merge_to(PEAK_WINDOW);
                let whole = (setting.at.0.div_ceil(PEAK_WINDOW.0)..end.0 / PEAK_WINDOW.0)
                    .filter_map(|bin| cells.get(usize::try_from(bin).ok()?));
                whole.map(|cell| cell.completed).max().unwrap_or(0)
            },
            |peak| peak.completed,
        );
        most as f64 / PEAK_WINDOW.as_secs_f64()
    };
    tallies.iter().map(of).sum::<f64>() / tallies.len() as f64
}

/// A count that chance alone exceeds no more often than in so many runs. A choice of this program.
const BY_CHANCE: f64 = 0.01;

/// What the busiest whole 20 ms after the loss may have by chance alone, I/Os a second: of as many as the longest run has, each a
/// count of independent completions at the mean rate of the steady run that it settles to.
#[allow(clippy::cast_precision_loss)]
fn most_by_chance(setting: &Setting<'_>, tallies: &[Tally], index: usize) -> f64 {
    let window = PEAK_WINDOW.as_secs_f64();
    let ended = tallies.iter().map(|tally| tally.ended).max();
    let long = ended.map_or(Duration::ZERO, |end| end.since(setting.at));
    let usual = &setting.survivors.figures.workloads[index]
        .all
        .completed_iops;
    let bins = long.0 as f64 / PEAK_WINDOW.0 as f64;
    highest_by_chance(usual.value * window, bins, BY_CHANCE) as f64 / window
}

/// The promise that time and shares above refer to: the first percentile, else the mean.
fn latency_promise(promises: &[Promise]) -> Option<&Promise> {
    let is = |wanted: fn(&Measure) -> bool| {
        promises
            .iter()
            .find(move |promise| wanted(&promise.measure))
    };
    is(|measure| matches!(measure, Measure::Quantile(_)))
        .or_else(|| is(|measure| matches!(measure, Measure::Mean)))
}

#[allow(clippy::cast_precision_loss)]
fn bins(
    setting: &Setting<'_>,
    tallies: &[Tally],
    index: usize,
    width: Duration,
    end: Instant,
) -> Vec<SwitchBin> {
    let (first, last) = (setting.from.0.div_ceil(width.0), end.0 / width.0);
    let count = tallies.len() as f64;
    let flows: Vec<Vec<FlowCell>> = tallies
        .iter()
        .map(|t| t.workloads[index].series.merge_to(width))
        .collect();
    let coarse: Vec<Vec<Coarse>> = tallies
        .iter()
        .filter_map(|tally| tally.workloads[index].coarse.as_ref())
        .map(|series| series.merge_to(width))
        .collect();
    let oldest: Vec<_> = tallies
        .iter()
        .map(|t| t.workloads[index].oldest.merge_to(width))
        .collect();
    let backlog: Vec<_> = tallies
        .iter()
        .map(|t| t.workloads[index].backlog.series().merge_to(width))
        .collect();
    (first..last)
        .map(|bin| {
            let at = usize::try_from(bin).unwrap_or(usize::MAX);
            let mut flow = FlowCell::default();
            let mut latencies = Coarse::default();
            flows
                .iter()
                .filter_map(|cells| cells.get(at))
                .for_each(|cell| flow.absorb(cell));
            coarse
                .iter()
                .filter_map(|cells| cells.get(at))
                .for_each(|cell| latencies.absorb(cell));
            let any = flow.completed > 0;
            SwitchBin {
                t_s: seconds_after(Instant(bin * width.0), setting.at),
                offered_iops: flow.arrived as f64 / count / width.as_secs_f64(),
                completed_iops: flow.completed as f64 / count / width.as_secs_f64(),
                failed_iops: flow.failed as f64 / count / width.as_secs_f64(),
                mean_us: any.then(|| flow.latency as f64 / flow.completed as f64 / 1e6),
                p99_us: latencies.quantile(0.99).map(Duration::as_us_f64),
                max_us: any.then(|| latencies.max().as_us_f64()),
                oldest_us: oldest
                    .iter()
                    .filter_map(|cells| cells.get(at))
                    .map(|cell| cell.0)
                    .max()
                    .unwrap_or(0) as f64
                    / 1e6,
                backlog: backlog
                    .iter()
                    .filter_map(|cells| cells.get(at))
                    .map(|cell| cell.integral as f64)
                    .fold(0.0, |sum, level| sum + level)
                    / count
                    / width.0 as f64,
            }
        })
        .collect()
}

/// From the loss until the backlog was down to the survivors' steady mean, after its highest point; no time where it
/// never was higher. Of several things that are done each has its own highest point, and the last that is over counts.
///
/// As for settling, five per cent are always allowed, and half an I/O: the backlog of evenly paced
/// work hardly moves, and would stay a hair above its mean for ever. Not a whole one, for a single I/O that hangs is just
/// that, and no rounding may decide whether it is a backlog. What has settled is as in the survivors' steady run, so that its backlog is
/// down by then, and a burst of later is none of the loss. Where nothing was disturbed, a backlog such as the survivors have by chance
/// is none of it either.
fn drain(
    setting: &Setting<'_>,
    tally: &Tally,
    index: usize,
    settled: Option<Instant>,
) -> Option<f64> {
    let own = &tally.workloads[index];
    let series = own.backlog.series();
    let width = series.width();
    let levels = levels(series);
    let mut done: Vec<Instant> = setting.scripts.iter().map(|script| script.at).collect();
    done.retain(|at| *at >= setting.at);
    done.sort_unstable();
    done.dedup();
    let steady = Usual::of(setting, index, width);
    let bin = |at: Instant| usize::try_from(at.0 / width.0).unwrap_or(usize::MAX);
    let end = settled.map_or(levels.len(), |settled| (bin(settled) + 1).min(levels.len()));
    let mut over = setting.at;
    for (position, from) in done.iter().enumerate() {
        let until = done
            .get(position + 1)
            .map_or(end, |next| bin(*next).min(end));
        let disturbed = own.last_disturbed > *from || own.hanging > 0;
        let top =
            (bin(*from)..until).max_by(|a, b| levels[*a].total_cmp(&levels[*b]).then(b.cmp(a)));
        let least = if disturbed {
            steady.level
        } else {
            steady.chance
        };
        let Some(top) = top.filter(|top| levels[*top] > least) else {
            continue;
        };
        let empty = (top..levels.len()).find(|bin| levels[*bin] <= steady.level);
        let empty = empty.map(|bin| Instant(bin as u64 * width.0));
        let at = match (empty, settled) {
            (Some(empty), Some(settled)) => empty.min(settled),
            (empty, settled) => empty.or(settled)?,
        };
        over = over.max(at);
    }
    Some(seconds_after(over, setting.at))
}

/// Mean backlog in each bin.
#[allow(clippy::cast_precision_loss)]
fn levels(series: &Series<LevelCell>) -> Vec<f64> {
    let width = series.width().0 as f64;
    let bins = series.bins().iter();
    bins.map(|cell| cell.integral as f64 / width).collect()
}

/// What backlog a workload has without a fault.
struct Usual {
    /// Up to this it is as in the steady runs.
    level: f64,
    /// Up to this it may have come by chance: half as high again as in any bin of the steady runs.
    chance: f64,
}

impl Usual {
    #[allow(clippy::cast_precision_loss)]
    fn of(setting: &Setting<'_>, index: usize, width: Duration) -> Self {
        let tallies = setting.survivors.tallies.iter();
        let steady: Vec<f64> = tallies
            .clone()
            .flat_map(|tally| backlogs(tally, index))
            .map(|(_, level)| level)
            .collect();
        let mean = steady.iter().sum::<f64>() / steady.len().max(1) as f64;
        let level = (mean * (1.0 + ALLOWED)).max(mean + 0.5);
        // Wide bins hide the peaks of narrow ones; then the highest moment of all bounds them.
        let moments = tallies.flat_map(|tally| {
            let series = tally.workloads[index].backlog.series();
            let narrow = series.width() <= width;
            let peaks = series.bins().iter().filter(move |_| !narrow);
            peaks.map(|cell| cell.peak as f64)
        });
        let highest = steady.iter().copied().chain(moments).fold(mean, f64::max);
        Self {
            level,
            chance: (highest * 1.5).max(level),
        }
    }
}
