//! Figures of links, controllers, host queues and paths.

use super::PEAK_WINDOW;
use super::figures::{CONFIDENCE, estimated};
use crate::measure::{Cell, Histogram, Series, mean_interval, pooled};
use crate::model::{Compiled, Standing, Tally};
use crate::outcome::{ArrayFigures, DirectionFigures, Estimated, HostFigures, PathFigures};
use crate::study::cut::{measured_s, over_measured};
use crate::topology::{DirectionId, NodeId};
use crate::unit::{Duration, Side};

/// The bins of a series that lie wholly inside the window, 20 ms wide or as wide as the series has them,
/// and their width. None where the window is too short to hold one.
fn window_bins<C: Cell>(series: &Series<C>, tally: &Tally) -> (Vec<C>, Duration) {
    let width = PEAK_WINDOW.max(series.width());
    let cells = series.merge_to(width);
    let (from, to) = (tally.from.0.div_ceil(width.0), tally.to.0 / width.0);
    let inside: Vec<C> = (from..to)
        .map(|bin| {
            usize::try_from(bin)
                .ok()
                .and_then(|bin| cells.get(bin))
                .copied()
                .unwrap_or_default()
        })
        .collect();
    (inside, width)
}

/// The sum over the bins that lie wholly inside the window, and their length together: what a window too short for a
/// busiest 20 ms says, its mean. The highest of narrower bins would be another figure, and a far higher one.
fn whole_window<C: Cell>(
    series: &Series<C>,
    tally: &Tally,
    figure: impl Fn(&C) -> u128,
) -> (u128, Duration) {
    let width = series.width();
    let bins = series.bins();
    let (from, to) = (tally.from.0.div_ceil(width.0), tally.to.0 / width.0);
    if to <= from {
        // Shorter than two of the finest bins: all there is.
        let all = bins.iter().map(figure).sum();
        return (all, Duration(width.0 * (bins.len().max(1) as u64)));
    }
    let inside = (from..to).filter_map(|bin| bins.get(usize::try_from(bin).ok()?));
    (inside.map(figure).sum(), Duration(width.0 * (to - from)))
}

/// The highest figure of any 20 ms in the window, and the length it was taken over. Any: as long as bins are
/// narrower, 20 ms may begin with each of them, for a burst seldom begins where a bin of 20 ms does.
pub(crate) fn highest<C: Cell>(
    series: &Series<C>,
    tally: &Tally,
    figure: impl Fn(&C) -> u128,
) -> (u128, Duration) {
    let width = series.width();
    let (first, last) = (tally.from.0.div_ceil(width.0), tally.to.0 / width.0);
    let group = PEAK_WINDOW.0 / width.0;
    if group > 1 && last.saturating_sub(first) >= group && series.peak().is_none() {
        let bins = series.bins();
        let at = |bin: u64| usize::try_from(bin).ok().and_then(|bin| bins.get(bin));
        let of = |bin: u64| at(bin).map_or(0, &figure);
        let mut sum: u128 = (first..first + group).map(of).sum();
        let mut most = sum;
        for bin in first + group..last {
            sum = sum + of(bin) - of(bin - group);
            most = most.max(sum);
        }
        return (most, PEAK_WINDOW);
    }
    highest_bin(series, tally, figure)
}

/// The highest figure of the bins of 20 ms in the window, and their length: of what is completed, where the best of
/// many overlapping stretches would say more than can be kept up.
pub(crate) fn highest_bin<C: Cell>(
    series: &Series<C>,
    tally: &Tally,
    figure: impl Fn(&C) -> u128,
) -> (u128, Duration) {
    if let Some(peak) = series.peak() {
        return (figure(&peak), PEAK_WINDOW);
    }
    let (cells, width) = window_bins(series, tally);
    if cells.is_empty() {
        return whole_window(series, tally, figure);
    }
    (cells.iter().map(figure).max().unwrap_or(0), width)
}

#[allow(clippy::cast_precision_loss)]
fn mean_of(tallies: &[Tally], value: impl Fn(&Tally) -> f64) -> f64 {
    tallies.iter().map(value).sum::<f64>() / tallies.len() as f64
}

fn letter(side: Option<Side>) -> Option<char> {
    side.and_then(|side| side.letter().chars().next())
}

#[allow(clippy::cast_precision_loss)]
fn percent(part: f64, whole: f64) -> f64 {
    if whole > 0.0 {
        100.0 * part / whole
    } else {
        0.0
    }
}

/// The interval of a mean wait in µs: each replication's mean is one value, by the number that waited in it.
fn wait_ends<'t>(waits: impl Iterator<Item = &'t Histogram>) -> Estimated {
    let means = pooled(waits.filter_map(|wait| Some((wait.mean()? / 1e6, wait.count()))));
    estimated(&mean_interval(&means, CONFIDENCE))
}

pub(crate) fn directions(compiled: &Compiled, tallies: &[Tally]) -> Vec<DirectionFigures> {
    (0..compiled.fabric.directions.len())
        .filter(|index| compiled.alive[index / 2])
        .map(|index| direction(compiled, tallies, index))
        .collect()
}

#[allow(clippy::cast_precision_loss)]
fn direction(compiled: &Compiled, tallies: &[Tally], index: usize) -> DirectionFigures {
    let id = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
    let (direction, member) = (
        &compiled.fabric.directions[index],
        &compiled.fabric.members[index / 2],
    );
    let link = &compiled.site.links[member.family];
    let name = |node: NodeId| compiled.fabric.nodes[node.0 as usize].name.clone();
    let mut wait = Histogram::new();
    let (mut frames, mut payload, mut bytes, mut queue_max, mut ahead) = (0, 0, 0, 0, 0);
    for tally in tallies {
        let own = &tally.directions[index];
        wait.merge(&own.wait);
        frames += own.frames;
        payload += own.payload;
        bytes += own.bytes;
        queue_max = queue_max.max(own.queue_max);
        ahead = ahead.max(own.ahead_max);
    }
    let ends = wait_ends(tallies.iter().map(|tally| &tally.directions[index].wait));
    let window = measured_s(tallies);
    let quantile = |q: f64| wait.quantile(q).map_or(0.0, Duration::as_us_f64);
    let most = |tally: &Tally, asked: bool| {
        let own = &tally.directions[index];
        let series = if asked {
            &own.asked_series
        } else {
            &own.busy_series
        };
        let (most, width) = highest(series, tally, |cell| u128::from(cell.0));
        percent(most as f64, width.0 as f64)
    };
    DirectionFigures {
        name: compiled.direction_name(id),
        family: link.name.clone(),
        tier: compiled.tier_of(id).to_owned(),
        from: name(direction.from),
        to: name(direction.to),
        side: letter(member.side),
        toward_array: id.toward_array(),
        speed: link.label.clone(),
        usable_mb_s: direction.rate.mb_per_second(),
        utilization_percent: mean_of(tallies, |tally| {
            let own = &tally.directions[index];
            percent(own.busy as f64, own.up as f64)
        }),
        peak_percent: mean_of(tallies, |tally| most(tally, false)),
        asked_peak_percent: mean_of(tallies, |tally| most(tally, true)),
        asked_peak_by_arithmetic: false,
        frames,
        payload_bytes: payload,
        overhead_bytes: bytes - payload,
        payload_mb_s: payload as f64 / 1e6 / window / tallies.len() as f64,
        wait_mean_us: wait.mean().unwrap_or(0.0) / 1e6,
        wait_mean_low_us: ends.low,
        wait_mean_high_us: ends.high,
        wait_p50_us: quantile(0.5),
        wait_p99_us: quantile(0.99),
        wait_p999_us: quantile(0.999),
        // Little's law: the mean number waiting is the sum of the waits over the time.
        queue_mean: wait.sum() as f64 / 1e12 / window / tallies.len() as f64,
        queue_max,
        queue_max_bytes: (direction.rate.bits_per_second() / 8.0 * ahead as f64 / 1e12) as u64,
    }
}

#[allow(clippy::cast_precision_loss)]
pub(crate) fn controllers(compiled: &Compiled, tallies: &[Tally]) -> Vec<ArrayFigures> {
    compiled
        .fabric
        .controllers
        .iter()
        .enumerate()
        .filter(|(_, controller)| {
            let linked = |port: &NodeId| compiled.fabric.nodes[port.0 as usize].out.iter();
            controller
                .ports
                .iter()
                .flat_map(linked)
                .any(|direction| compiled.alive[direction.member().0 as usize])
        })
        .map(|(index, controller)| {
            let array = &compiled.site.arrays[controller.array];
            let parallel = f64::from(array.parallel);
            let mut wait = Histogram::new();
            for tally in tallies {
                wait.merge(&tally.controllers[index].wait);
            }
            let ends = wait_ends(tallies.iter().map(|tally| &tally.controllers[index].wait));
            let served: u64 = tallies
                .iter()
                .map(|tally| tally.controllers[index].served)
                .sum();
            let service: u128 = tallies
                .iter()
                .map(|tally| tally.controllers[index].service)
                .sum();
            let busy_peak = |tally: &Tally| {
                let series = tally.controllers[index].busy_series.series();
                let (most, width) = highest(series, tally, |cell| cell.integral);
                percent(most as f64, width.0 as f64 * parallel)
            };
            let asked_peak = |tally: &Tally| {
                let series = &tally.controllers[index].asked_series;
                let (most, width) = highest(series, tally, |cell| u128::from(cell.0));
                percent(most as f64, width.0 as f64 * parallel)
            };
            ArrayFigures {
                name: controller.name.clone(),
                family: array.name.clone(),
                parallel: array.parallel,
                utilization_percent: mean_of(tallies, |tally| {
                    let busy = tally.controllers[index].busy.mean().unwrap_or(0.0);
                    over_measured(tally, percent(busy, parallel))
                }),
                peak_percent: mean_of(tallies, busy_peak),
                asked_peak_percent: mean_of(tallies, asked_peak),
                asked_peak_by_arithmetic: false,
                served,
                wait_mean_us: wait.mean().unwrap_or(0.0) / 1e6,
                wait_mean_low_us: ends.low,
                wait_mean_high_us: ends.high,
                wait_p99_us: wait.quantile(0.99).map_or(0.0, Duration::as_us_f64),
                service_mean_us: if served > 0 {
                    service as f64 / served as f64 / 1e6
                } else {
                    0.0
                },
                queue_mean: mean_of(tallies, |tally| {
                    let waiting = tally.controllers[index].waiting.mean();
                    over_measured(tally, waiting.unwrap_or(0.0))
                }),
                queue_max: tallies
                    .iter()
                    .map(|tally| tally.controllers[index].waiting.max())
                    .max()
                    .unwrap_or(0),
            }
        })
        .collect()
}

#[allow(clippy::cast_precision_loss)]
pub(crate) fn hosts(compiled: &Compiled, tallies: &[Tally]) -> Vec<HostFigures> {
    compiled
        .source_names()
        .enumerate()
        .map(|(index, (host, workload))| {
            let issued: u64 = tallies
                .iter()
                .map(|tally| tally.sources[index].issued)
                .sum();
            let wait: u128 = tallies.iter().map(|tally| tally.sources[index].wait).sum();
            HostFigures {
                host: host.to_owned(),
                workload: workload.to_owned(),
                issued,
                wait_mean_us: if issued > 0 {
                    wait as f64 / issued as f64 / 1e6
                } else {
                    0.0
                },
                queue_max: tallies
                    .iter()
                    .map(|tally| tally.sources[index].queue_max)
                    .max()
                    .unwrap_or(0),
            }
        })
        .collect()
}

pub(crate) fn paths(compiled: &Compiled, tallies: &[Tally]) -> Vec<PathFigures> {
    compiled
        .path_names()
        .enumerate()
        .map(|(index, path)| PathFigures {
            host: path.host.to_owned(),
            workload: path.workloads.join(", "),
            host_port: path.host_port.to_owned(),
            array_port: path.array_port.to_owned(),
            side: letter(path.side),
            completed: tallies
                .iter()
                .map(|tally| tally.paths[index].completed)
                .sum(),
            standby: path.begins == Standing::Standby,
        })
        .collect()
}
