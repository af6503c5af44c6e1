//! Tallies of all replications of a case, put together into figures.

use super::super::case::CasePlan;
use super::super::estimate::idle::host_ceiling;
use super::super::estimate::{Flows, asked, overloaded, slowest_service_s};
use super::carried::{Carried, largest, no_finer};
use super::{PEAK_WINDOW, bursts, memory, parts};
use crate::measure::{
    Estimate, Histogram, backlog_grows, mean_interval, pooled, quantile_interval,
};
use crate::model::{BudgetSums, Compiled, FlowCell, KindTally, Tally, WorkloadTally};
use crate::outcome::{
    BudgetPart, CurvePoint, Estimated, Population, QuantileFigure, Steady, SteadyBin,
    WorkloadFigures,
};
use crate::site::{Arrivals, Measure, Site};
use crate::study::cut::{end_of, measured_s, unmeasured};
use crate::topology::PathSet;
use crate::unit::Duration;
use std::sync::Arc;

/// Percentiles that are printed.
const QUANTILES: [f64; 5] = [0.5, 0.9, 0.95, 0.99, 0.999];
/// Observations that must lie above a percentile in each replication for it to have an interval.
const ENOUGH_ABOVE: u64 = 100;
pub(super) const CONFIDENCE: f64 = 0.95;

pub(crate) fn figures(
    plan: &CasePlan,
    compiled: &Compiled,
    tallies: &[Tally],
    found: Option<Duration>,
) -> Steady {
    let first = &tallies[0];
    // However short the run: what cannot fit is said by arithmetic too.
    let mut routes = Arc::new(compiled.routes.clone());
    let sets = plan.path_sets_by(&compiled.site, &compiled.fabric, &mut routes);
    let flows = || Flows::with(&compiled.fabric, &compiled.alive, routes.clone());
    let stalled = !plan.members.is_empty() || !plan.slow.is_empty();
    let over = overloaded(
        &compiled.site,
        &compiled.fabric,
        flows(),
        &sets,
        (&plan.hosts, stalled),
    );
    let cut = tallies.iter().any(|tally| tally.partial);
    let filling = match cut {
        true => vec![None; over.len()],
        false => memory::filling(compiled, plan, (&sets, flows()), tallies),
    };
    let workloads: Vec<WorkloadFigures> = over
        .iter()
        .zip(filling)
        .enumerate()
        .map(|(index, (over, filling))| {
            let waits = damage_outlasts_run(&compiled.site, plan, index);
            let asked = Asks {
                over: *over || over_depth(compiled, plan, (&sets, flows()), index),
                waits,
            };
            let figures = workload(compiled, tallies, index, asked);
            WorkloadFigures {
                filling: filling.filter(|_| !figures.saturated),
                ..figures
            }
        })
        .collect();
    let mut directions = parts::directions(compiled, tallies);
    let mut arrays = parts::controllers(compiled, tallies);
    let unseen_bursts = match unmeasured(tallies) {
        true => Vec::new(),
        false => {
            let figures = (&mut directions[..], &mut arrays[..]);
            bursts::unseen(compiled, plan, &sets, tallies, figures)
        }
    };
    Steady {
        case: plan.case.clone(),
        replications: u32::try_from(tallies.len()).unwrap_or(u32::MAX),
        warm_up_s: first.from.as_secs_f64(),
        warm_up_found_s: found.map(Duration::as_secs_f64),
        duration_s: first.to.as_secs_f64(),
        bin_s: bin_width(tallies).as_secs_f64(),
        saturated: workloads.iter().any(|workload| workload.saturated),
        partial: tallies.iter().any(|tally| tally.partial),
        stopped_by: tallies.iter().find_map(|tally| tally.stopped_by),
        unmeasured: unmeasured(tallies),
        workloads,
        directions,
        arrays,
        hosts: parts::hosts(compiled, tallies),
        paths: parts::paths(compiled, tallies),
        unseen_bursts,
        events: tallies.iter().map(|tally| tally.events).sum(),
        frame_hops: tallies.iter().map(|tally| tally.frame_hops).sum(),
        ios: tallies
            .iter()
            .flat_map(|tally| &tally.workloads)
            .map(|w| w.completed_total)
            .sum(),
    }
}

/// The common bin width of all series.
pub(crate) fn bin_width(tallies: &[Tally]) -> Duration {
    let widths = tallies
        .iter()
        .flat_map(|tally| tally.workloads.iter().map(|w| w.series.width()));
    widths.max().unwrap_or(PEAK_WINDOW)
}

/// Latency of reads and writes together.
pub(crate) fn merged_latency(tally: &WorkloadTally) -> Histogram {
    let mut all = tally.reads.latency.clone();
    all.merge(&tally.writes.latency);
    all
}

fn workload(compiled: &Compiled, tallies: &[Tally], index: usize, asks: Asks) -> WorkloadFigures {
    let site = &compiled.site;
    let long = service_beyond_run(site, index);
    // Where I/Os take that long, what is under way grows for as long as the first of them do, and many are unfinished in the end, whether it
    // fits or not.
    let shown = long.is_none() && !asks.waits && !has_long_tail(site, index);
    let saturated = asks.over || shown && is_saturated(compiled, tallies, index);
    let window = measured_s(tallies);
    #[allow(clippy::cast_precision_loss)]
    let one_mb = largest(&site.workloads[index]) as f64 / 1e6;
    let kind = |pick: &dyn Fn(&WorkloadTally) -> KindTally| {
        let kinds: Vec<KindTally> = tallies
            .iter()
            .map(|tally| pick(&tally.workloads[index]))
            .collect();
        population(&kinds, (window, one_mb), saturated)
    };
    let all = kind(&|tally| both(tally));
    let missing = all.unfinished > 0;
    let mut budget = BudgetSums::default();
    let mut latency = Histogram::new();
    for tally in tallies {
        budget.merge(&tally.workloads[index].budget);
        latency.merge(&merged_latency(&tally.workloads[index]));
    }
    let (peak_iops, peak_offered_iops) = peaks(tallies, index);
    WorkloadFigures {
        name: site.workloads[index].name.clone(),
        saturated,
        service_beyond_run_s: long,
        filling: None,
        all: beyond_run(all, long),
        reads: beyond_run(kind(&|tally| tally.reads.clone()), long),
        writes: beyond_run(kind(&|tally| tally.writes.clone()), long),
        budget: if saturated || long.is_some() && missing {
            Vec::new()
        } else {
            budget_parts(&budget, &compiled.tiers)
        },
        curve: latency
            .points()
            .filter(|(q, _)| *q < 1.0)
            .map(|(q, value)| CurvePoint {
                q,
                latency_us: value.as_us_f64(),
            })
            .collect(),
        bins: bins(tallies, index),
        peak_iops,
        peak_offered_iops,
    }
}

fn both(tally: &WorkloadTally) -> KindTally {
    let (reads, writes) = (&tally.reads, &tally.writes);
    KindTally {
        arrived: reads.arrived + writes.arrived,
        latency: merged_latency(tally),
        failed: reads.failed + writes.failed,
        completed: reads.completed + writes.completed,
        bytes: reads.bytes + writes.bytes,
    }
}

/// The mean service of the slowest kind of I/O of a workload, seconds, where it is too long for a run to show what becomes of it.
/// Half of the run is a choice of this program: what is under way then grows for too long to be told from a backlog without end.
pub(super) fn service_beyond_run(site: &Site, index: usize) -> Option<f64> {
    let work = &site.workloads[index];
    let service_s = slowest_service_s(work, &site.arrays[work.array]);
    let run = &site.run;
    let shown = run
        .drain_limit
        .as_secs_f64()
        .min(run.duration.as_secs_f64() / 2.0);
    (service_s > shown).then_some(service_s)
}

/// Whether I/Os of the slowest kind take so long that a tenth of the run, or a fifth of the time in which unmeasured traffic goes on after it, is
/// short beside it: what is under way then grows at the beginning, and some are unfinished at the end, though all fit. Our choice: of exponential times
/// one in 150 is five times as long as their mean.
fn has_long_tail(site: &Site, index: usize) -> bool {
    let work = &site.workloads[index];
    let run = &site.run;
    let shown = run
        .drain_limit
        .as_secs_f64()
        .min(run.duration.as_secs_f64() / 2.0);
    5.0 * slowest_service_s(work, &site.arrays[work.array]) > shown
}

/// Whether a command that a damaged frame holds up waits for its timeout for longer than a run shows what becomes of it: what is under way
/// then grows for as long, whether it fits or not. TCP sends again by itself.
pub(crate) fn damage_outlasts_run(site: &Site, plan: &CasePlan, index: usize) -> bool {
    let work = &site.workloads[index];
    let damaged = plan.slow.iter().any(|(_, slow)| slow.loss_ppb > 0);
    let timeouts = work.hosts.iter();
    let timeouts = timeouts.map(|family| site.hosts[*family].timers.command_timeout);
    let half = Duration(site.run.duration.0 / 2);
    let shown = half.min(site.run.drain_limit);
    damaged
        && work.protocol.tcp().is_none()
        && timeouts.max().is_some_and(|longest| longest > shown)
}

/// What arithmetic knows of a workload.
#[derive(Clone, Copy)]
struct Asks {
    /// More is asked for than fits.
    over: bool,
    /// I/Os that damaged frames hold up wait for longer than the run shows.
    waits: bool,
}

/// Whether some host lets less of a workload through, by its queue depth, than is asked for there. A bound on the mean, whatever waits:
/// what is above it piles up for ever, however slowly. Left out: replays that are longer than the run, whose
/// rate in it is another.
fn over_depth(
    compiled: &Compiled,
    plan: &CasePlan,
    (sets, mut flows): (&[PathSet], Flows<'_>),
    index: usize,
) -> bool {
    let (site, fabric) = (&compiled.site, &compiled.fabric);
    let work = &site.workloads[index];
    let limited = work.outstanding.is_some()
        || work
            .hosts
            .iter()
            .any(|family| site.hosts[*family].queue_depth.is_some());
    let unknown = match &work.arrivals {
        Arrivals::Closed { .. } => true,
        Arrivals::Replay(replay) => {
            replay.span.as_secs_f64() / replay.speed > site.run.duration.as_secs_f64()
        }
        _ => false,
    };
    if !limited || unknown {
        return false;
    }
    let asked = asked(fabric, work);
    let mut own = sets.iter().filter(|set| {
        set.workloads.contains(&index) && !set.paths.is_empty() && !plan.hosts.contains(&set.host)
    });
    own.any(|set| {
        let most = host_ceiling(site, fabric, &mut flows, set, index, usize::MAX);
        let asked = asked.at_host(set.host);
        // Beyond the rounding of sums.
        most.zip(asked)
            .is_some_and(|(most, asked)| asked.mean > most * (1.0 + 1e-9))
    })
}

/// The mean of those that are finished says nothing of the others where these are the long ones.
fn beyond_run(population: Population, long: Option<f64>) -> Population {
    match long {
        Some(_) if population.unfinished > 0 => Population {
            mean_us: None,
            mean_each_us: None,
            ..population
        },
        _ => population,
    }
}

/// Backlog grows without end in more than half of the replications, or more I/Os are unfinished than the
/// strictest percentile promised would allow.
#[allow(clippy::cast_precision_loss)]
fn is_saturated(compiled: &Compiled, tallies: &[Tally], index: usize) -> bool {
    let workload = &compiled.site.workloads[index];
    if matches!(workload.arrivals, Arrivals::Closed { .. }) {
        // The number outstanding is fixed: nothing can grow.
        return false;
    }
    let growing = tallies
        .iter()
        .filter(|tally| backlog_grows(&backlogs(tally, index), 10.0))
        .count();
    let strictest = workload
        .promises
        .healthy
        .iter()
        .chain(&workload.promises.lost)
        .filter_map(|promise| match promise.measure {
            Measure::Quantile(q) => Some(1.0 - q),
            Measure::Mean | Measure::Throughput | Measure::LongestIo | Measure::Failed => None,
        })
        .fold(0.05, f64::min);
    let arrived: u64 = tallies
        .iter()
        .map(|tally| both(&tally.workloads[index]).arrived)
        .sum();
    let unfinished: u64 = tallies
        .iter()
        .map(|tally| unfinished(&both(&tally.workloads[index])))
        .sum();
    // What a limit cut short had no time to finish: that says nothing of whether the work fits.
    let cut = tallies.iter().any(|tally| tally.partial);
    growing * 2 > tallies.len() || !cut && unfinished as f64 > strictest * arrived as f64
}

/// Mean backlog by bin within the window: (seconds, I/Os).
#[allow(clippy::cast_precision_loss)]
pub(crate) fn backlogs(tally: &Tally, index: usize) -> Vec<(f64, f64)> {
    let series = tally.workloads[index].backlog.series();
    let width = series.width();
    series
        .bins()
        .iter()
        .enumerate()
        .map(|(bin, cell)| (Duration(width.0 * bin as u64), cell))
        .filter(|(start, _)| start.0 >= tally.from.0 && start.0 + width.0 <= tally.to.0)
        .map(|(start, cell)| (start.as_secs_f64(), cell.integral as f64 / width.0 as f64))
        .collect()
}

fn unfinished(kind: &KindTally) -> u64 {
    kind.arrived - kind.latency.count() - kind.failed
}

pub(crate) fn estimated(estimate: &Estimate) -> Estimated {
    let finite = |value: f64| value.is_finite().then_some(value);
    Estimated {
        value: estimate.value,
        low: estimate
            .half_width
            .and_then(|half| finite((estimate.value - half).max(0.0))),
        high: estimate
            .half_width
            .and_then(|half| finite(estimate.value + half)),
    }
}

/// Any percentile of a workload, reads and writes together.
pub(crate) fn quantile_of(tallies: &[Tally], index: usize, q: f64) -> QuantileFigure {
    let kinds: Vec<KindTally> = tallies
        .iter()
        .map(|tally| both(&tally.workloads[index]))
        .collect();
    let mut latency = Histogram::new();
    for kind in &kinds {
        latency.merge(&kind.latency);
    }
    let late = kinds
        .iter()
        .map(|kind| unfinished(kind) + kind.failed)
        .sum();
    quantile(&kinds, &latency, late, q)
}

/// Mean latencies of a workload, us, one a replication that completed any, each by its number of I/Os: their mean is that of all I/Os.
/// Said of replications that look as if waiting grew without end when they stand alone, too: whether it does is judged of all
/// of them together.
pub(crate) fn means_of(tallies: &[Tally], index: usize) -> Vec<f64> {
    let kinds = tallies.iter().map(|tally| both(&tally.workloads[index]));
    pooled_means(&kinds.collect::<Vec<_>>())
}

fn pooled_means(kinds: &[KindTally]) -> Vec<f64> {
    let means = kinds.iter().filter_map(|kind| {
        let own = &kind.latency;
        Some((own.mean()? / 1e6, own.count()))
    });
    pooled(means)
}

/// What a workload completes at most in 20 ms of its steady run, I/Os per second.
pub(crate) fn estimated_peak(steady: &Steady, index: usize) -> f64 {
    steady.workloads[index].peak_iops
}

#[allow(clippy::cast_precision_loss)]
fn population(kinds: &[KindTally], (window, one_mb): (f64, f64), saturated: bool) -> Population {
    // Whole I/Os are counted: replications that agree by chance know no more than that.
    let rate = |value: &dyn Fn(&KindTally) -> f64, one: f64| {
        let values: Vec<f64> = kinds.iter().map(|kind| value(kind) / window).collect();
        let none = values.iter().all(|value| *value == 0.0);
        let grain = if none { 0.0 } else { one / window };
        estimated(&no_finer(mean_interval(&values, CONFIDENCE), grain))
    };
    let mut latency = Histogram::new();
    for kind in kinds {
        latency.merge(&kind.latency);
    }
    let means: Vec<f64> = kinds
        .iter()
        .filter_map(|kind| kind.latency.mean())
        .map(|ps| ps / 1e6)
        .collect();
    let late: u64 = kinds
        .iter()
        .map(|kind| unfinished(kind) + kind.failed)
        .sum();
    Population {
        ios: kinds.iter().map(|kind| kind.arrived).sum(),
        unfinished: kinds.iter().map(unfinished).sum(),
        failed: kinds.iter().map(|kind| kind.failed).sum(),
        offered_iops: rate(&|kind| kind.arrived as f64, 1.0),
        completed_iops: rate(&|kind| kind.completed as f64, 1.0),
        throughput_mb_s: rate(&|kind| kind.bytes as f64 / 1e6, one_mb),
        mean_each_us: extremes(&means).filter(|_| !saturated),
        mean_us: (!saturated && !means.is_empty())
            .then(|| estimated(&mean_interval(&pooled_means(kinds), CONFIDENCE))),
        // Where waiting grows without end, a longer run would show longer ones: none of them is a figure of the site.
        quantiles: QUANTILES
            .iter()
            .map(|q| match saturated {
                true => QuantileFigure::unknown(*q),
                false => quantile(kinds, &latency, late, *q),
            })
            .collect(),
        min_us: latency.min().map(Duration::as_us_f64),
        max_us: latency.max().map(Duration::as_us_f64),
    }
}

/// A percentile over completed I/Os with `late` unfinished or failed ones ranked last.
#[allow(clippy::cast_precision_loss)]
fn quantile(kinds: &[KindTally], latency: &Histogram, late: u64, q: f64) -> QuantileFigure {
    let beyond = QuantileFigure::unknown(q);
    let total = latency.count() + late;
    if total == 0 {
        return beyond;
    }
    let wanted = crate::measure::rank(q, total);
    if wanted > latency.count() {
        return QuantileFigure {
            beyond_us: latency.max().map(Duration::as_us_f64).or(Some(0.0)),
            ..beyond
        };
    }
    // The same rank among the completed ones alone.
    let own = wanted as f64 / latency.count() as f64;
    let Some(estimate) = quantile_estimate(kinds, latency, own.min(1.0), CONFIDENCE) else {
        return beyond;
    };
    let mut figure = estimated(&estimate);
    // Few replications that differ much give an interval wider than all that was ever seen: it ends there, for
    // with so many observations on both sides the percentile does not lie beyond the least and the greatest.
    let seen = |time: Option<Duration>| time.map(Duration::as_us_f64);
    // One as wide as its figure says nothing, and stays as it is to be told from one that says something.
    if let (false, Some(least), Some(most)) =
        (figure.is_vague(), seen(latency.min()), seen(latency.max()))
    {
        figure.low = figure.low.map(|low| low.max(least).min(figure.value));
        figure.high = figure.high.map(|high| high.min(most).max(figure.value));
    }
    let each: Vec<f64> = kinds
        .iter()
        .filter_map(|kind| kind.latency.quantile(own.min(1.0)))
        .map(Duration::as_us_f64)
        .collect();
    QuantileFigure {
        each_us: extremes(&each),
        latency_us: Some(figure),
        ..beyond
    }
}

/// The least and the greatest of some values.
fn extremes(values: &[f64]) -> Option<(f64, f64)> {
    let least = values.iter().copied().reduce(f64::min)?;
    Some((least, values.iter().copied().reduce(f64::max)?))
}

/// A percentile of the completed I/Os, us, with its interval at a level.
fn quantile_estimate(
    kinds: &[KindTally],
    latency: &Histogram,
    own: f64,
    confidence: f64,
) -> Option<Estimate> {
    let value = latency.quantile(own)?;
    let each: Vec<f64> = kinds
        .iter()
        .filter_map(|k| k.latency.quantile(own))
        .map(Duration::as_us_f64)
        .collect();
    let enough = kinds.len() > 1
        && kinds
            .iter()
            .all(|kind| kind.latency.above(own) >= ENOUGH_ABOVE);
    Some(quantile_interval(
        value.as_us_f64(),
        &each,
        confidence,
        enough,
    ))
}

/// A promised figure of a workload with its interval at `confidence`, or why it has none: latencies in us,
/// throughput in MB/s.
#[allow(clippy::cast_precision_loss)]
pub(super) fn interval_of(
    compiled: &Compiled,
    tallies: &[Tally],
    index: usize,
    measure: Measure,
    confidence: f64,
) -> Result<Estimate, &'static str> {
    let kinds: Vec<KindTally> = tallies
        .iter()
        .map(|tally| both(&tally.workloads[index]))
        .collect();
    let latency = matches!(measure, Measure::Mean | Measure::Quantile(_));
    if latency && is_saturated(compiled, tallies, index) {
        return Err("the work does not fit, so there is no such figure");
    }
    match measure {
        Measure::Mean => {
            let means = pooled_means(&kinds);
            if means.len() < 2 {
                return Err("no I/O was measured");
            }
            Ok(mean_interval(&means, confidence))
        }
        Measure::Throughput => {
            let fits = !is_saturated(compiled, tallies, index);
            let carried = Carried::of_tallies(compiled, tallies, index, fits);
            Ok(carried.interval(confidence))
        }
        Measure::Quantile(q) => {
            let mut merged = Histogram::new();
            for kind in &kinds {
                merged.merge(&kind.latency);
            }
            let late: u64 = kinds.iter().map(|k| unfinished(k) + k.failed).sum();
            let total = merged.count() + late;
            let wanted = crate::measure::rank(q, total.max(1));
            if wanted > merged.count() {
                return Err("it lies among unfinished or failed I/Os");
            }
            let own = (wanted as f64 / merged.count() as f64).min(1.0);
            quantile_estimate(&kinds, &merged, own, confidence)
                .filter(|estimate| estimate.half_width.is_some())
                .ok_or("fewer than 100 I/Os above it in a replication; a longer run has more")
        }
        Measure::LongestIo | Measure::Failed => Err("it is judged in the switch-over"),
    }
}

#[allow(clippy::cast_precision_loss)]
fn budget_parts(sums: &BudgetSums, tiers: &[String]) -> Vec<BudgetPart> {
    if sums.count == 0 {
        return Vec::new();
    }
    let mean = |sum: u128| sum as f64 / sums.count as f64 / 1e6;
    let part = |name: &str, sum: u128| BudgetPart {
        part: name.into(),
        tier: None,
        mean_us: mean(sum),
    };
    let mut parts = vec![
        part("host queue", sums.host_queue),
        part("adapter", sums.adapter),
        part("serialization", sums.serialization),
        part("propagation", sums.propagation),
        part("switch", sums.switch),
    ];
    for (tier, sum) in tiers.iter().zip(&sums.queueing) {
        if *sum > 0 {
            parts.push(BudgetPart {
                part: "queueing".into(),
                tier: Some(tier.clone()),
                mean_us: mean(*sum),
            });
        }
    }
    parts.extend([
        part("array queue", sums.array_queue),
        part("service", sums.service),
        part("mirror trip", sums.mirror),
        part("extra round trip", sums.extra_trip),
        part("retry", sums.retry),
    ]);
    parts
}

/// Busiest 20 ms: completed and arrived per second, the mean over the replications of each one's peak.
#[allow(clippy::cast_precision_loss)]
fn peaks(tallies: &[Tally], index: usize) -> (f64, f64) {
    let mut sums = (0.0, 0.0);
    for tally in tallies {
        let most = |count: fn(&FlowCell) -> u64| {
            let series = &tally.workloads[index].series;
            let (most, width) = parts::highest_bin(series, tally, |cell| u128::from(count(cell)));
            most as f64 / width.as_secs_f64()
        };
        sums.0 += most(|cell| cell.completed);
        sums.1 += most(|cell| cell.arrived);
    }
    let count = tallies.len() as f64;
    (sums.0 / count, sums.1 / count)
}

#[allow(clippy::cast_precision_loss)]
fn bins(tallies: &[Tally], index: usize) -> Vec<SteadyBin> {
    let width = bin_width(tallies);
    // Where a limit ended one of the runs, what all have simulated.
    let end = tallies.iter().map(end_of).min();
    let end = end.map_or(0, |end| end.0 / width.0);
    let end = usize::try_from(end).unwrap_or(usize::MAX);
    let mut sums: Vec<FlowCell> = Vec::new();
    for tally in tallies {
        for (position, cell) in tally.workloads[index]
            .series
            .merge_to(width)
            .into_iter()
            .take(end)
            .enumerate()
        {
            if sums.len() <= position {
                sums.push(FlowCell::default());
            }
            crate::measure::Cell::absorb(&mut sums[position], &cell);
        }
    }
    let per_second = width.as_secs_f64() * tallies.len() as f64;
    sums.iter()
        .enumerate()
        .map(|(position, cell)| SteadyBin {
            t_s: width.as_secs_f64() * position as f64,
            offered_iops: cell.arrived as f64 / per_second,
            completed_iops: cell.completed as f64 / per_second,
            mean_us: (cell.completed > 0)
                .then(|| cell.latency as f64 / cell.completed as f64 / 1e6),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A replication of which the I/Os take these times in turn, us.
    fn replication(each: [u64; 2]) -> KindTally {
        let mut kind = KindTally::default();
        for number in 0..1_000 {
            kind.latency.record(Duration(each[number % 2] * 1_000_000));
        }
        kind
    }

    fn median(kinds: &[KindTally]) -> crate::outcome::Estimated {
        let mut all = Histogram::new();
        for kind in kinds {
            all.merge(&kind.latency);
        }
        let found = quantile(kinds, &all, 0, 0.5).latency_us;
        found.expect("so many are completed")
    }

    /// Two replications that differ threefold tell nothing of the percentile: that the interval would end at the least and the greatest
    /// latency seen makes it no narrower. Of two that nearly agree it ends there.
    #[test]
    fn an_interval_as_wide_as_its_percentile_is_not_cut_to_what_was_seen() {
        let far = median(&[replication([100, 110]), replication([300, 310])]);
        assert!(far.is_vague() && far.ends().is_none(), "{far:?}");
        assert!(far.high.expect("it has one") > 310.0 * 1.01, "{far:?}");
        let near = median(&[replication([100, 102]), replication([104, 106])]);
        let (low, high) = near.ends().expect("it says something");
        assert!(low > 99.0 && high < 107.0, "{near:?}");
    }

    /// The mean of one replication alone, which judgements of that replication do not take away.
    #[test]
    fn a_mean_is_that_of_reads_and_writes_together() {
        let site = crate::study::sample::site_with(
            crate::study::sample::TRAMWAYS,
            &[
                ("run.duration", "20ms"),
                ("run.warm_up", "4ms"),
                ("run.replications", "2"),
            ],
        );
        let plans = [crate::study::case::CasePlan::healthy()];
        let runs = super::super::run_from(&site, &plans, 0, &crate::study::NoProgress);
        let (tallies, work) = (&runs[0].tallies, &runs[0].figures.workloads[0]);
        let all: Vec<_> = tallies
            .iter()
            .map(|tally| both(&tally.workloads[0]))
            .collect();
        let sum =
            |kind: &KindTally| kind.latency.mean().expect("some") * kind.latency.count() as f64;
        let ios: u64 = all.iter().map(|kind| kind.latency.count()).sum();
        let mean = all.iter().map(sum).sum::<f64>() / ios as f64 / 1e6;
        let told = work.all.mean_us.expect("it is not saturated").value;
        assert!((mean - told).abs() < 1e-9 * told, "{mean} and {told}");
    }
}
