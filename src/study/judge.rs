//! Promises against figures: the matrix of verdicts.

use super::closed_forms::service;
use super::estimate::mix;
use super::steady::{self, Carried, SteadyRuns, merged_latency, quantile_of};
use crate::measure::{
    self, Clumps, Judgement, Trust, clump_size, judge_at_most_with, judge_counted_at_least,
    judge_every, judge_fraction_at,
};
use crate::model::Tally;
use crate::outcome::{Case, Cell, Estimated, LeftOpen, Matrix, MeasureKind, Row, Switch, Verdict};
use crate::site::{ArrayFamily, Measure, Promise, Site, Workload};

/// Every promise in every case: those of the steady runs, then switch-overs of cases that none of them has
/// (a scripted run), in which only the promises about switching are judged.
#[must_use]
pub(crate) fn matrix(site: &Site, steady: &[SteadyRuns], switches: &[Switch]) -> Matrix {
    matrix_at(site, steady, switches, Trust::ALONE)
}

/// [`matrix`] of a scripted run that leaves parts out or guests elsewhere: in its column the steady promises of lost parts are judged on
/// `left`, the steady runs of what the events leave.
#[must_use]
pub(crate) fn matrix_after(
    site: &Site,
    steady: &[SteadyRuns],
    switches: &[Switch],
    left: &SteadyRuns,
) -> Matrix {
    let mut matrix = lasting(site, matrix(site, steady, switches), left);
    let Some(column) = matrix.cases.iter().position(Case::is_scripted) else {
        return matrix;
    };
    let index_of = |name: &str| site.workloads.iter().position(|work| work.name == *name);
    for row in matrix.rows.iter_mut().filter(|row| !row.switching) {
        let Some(index) = index_of(&row.workload) else {
            continue;
        };
        let lost = &site.workloads[index].promises.lost;
        let promise = lost
            .iter()
            .find(|promise| kind(promise.measure) == row.measure);
        row.cells[column] = promise.map(|promise| steady_cell(left, index, promise, Trust::ALONE));
    }
    matrix
}

/// The longest I/O of a scripted run, which is met only where the state `after` it carries the work.
pub(crate) fn lasting(site: &Site, mut matrix: Matrix, after: &SteadyRuns) -> Matrix {
    let Some(column) = matrix.cases.iter().position(Case::is_scripted) else {
        return matrix;
    };
    for row in matrix.rows.iter_mut().filter(|row| row.switching) {
        let index = site
            .workloads
            .iter()
            .position(|work| work.name == row.workload);
        let cell = row.cells[column].take();
        row.cells[column] = cell.map(|cell| match index {
            Some(index) => while_it_lasts(cell, after, index),
            None => cell,
        });
    }
    matrix
}

/// [`matrix`] with bounds of another confidence on the steady promises.
#[must_use]
pub(crate) fn matrix_at(
    site: &Site,
    steady: &[SteadyRuns],
    switches: &[Switch],
    trust: Trust,
) -> Matrix {
    let is_steady = |switch: &&Switch| steady.iter().any(|runs| runs.plan.case == switch.case);
    let others: Vec<&Switch> = switches.iter().filter(|s| !is_steady(s)).collect();
    let mut rows = Vec::new();
    for (index, workload) in site.workloads.iter().enumerate() {
        let promises = &workload.promises;
        for measure in measures(promises.healthy.iter().chain(&promises.lost)) {
            let cells = steady
                .iter()
                .map(|runs| {
                    let stated = if runs.plan.case.outage.is_some() {
                        &promises.lost
                    } else {
                        &promises.healthy
                    };
                    let promise = stated.iter().find(|promise| promise.measure == measure)?;
                    let fabric = &runs.compiled.fabric;
                    if runs.plan.leaves_out(site, fabric, workload, measure) {
                        return None;
                    }
                    Some(steady_cell(runs, index, promise, trust))
                })
                .chain(others.iter().map(|_| None))
                .collect();
            rows.push(Row {
                workload: workload.name.clone(),
                measure: kind(measure),
                switching: false,
                cells,
            });
        }
        if switches.is_empty() {
            continue;
        }
        for promise in &promises.switching {
            let cells =
                steady
                    .iter()
                    .map(|runs| {
                        let switch = switches
                            .iter()
                            .find(|switch| switch.case == runs.plan.case)?;
                        let cell = whole(switch_cell(switch, index, promise), switch.partial);
                        Some(while_it_lasts(cell, runs, index))
                    })
                    .chain(others.iter().map(|switch| {
                        Some(whole(switch_cell(switch, index, promise), switch.partial))
                    }))
                    .collect();
            rows.push(Row {
                workload: workload.name.clone(),
                measure: kind(promise.measure),
                switching: true,
                cells,
            });
        }
    }
    Matrix {
        cases: steady
            .iter()
            .map(|runs| runs.plan.case.clone())
            .chain(others.iter().map(|switch| switch.case.clone()))
            .collect(),
        rows,
    }
}

fn measures<'a>(promises: impl Iterator<Item = &'a Promise>) -> Vec<Measure> {
    let mut seen: Vec<Measure> = Vec::new();
    for promise in promises {
        if !seen.contains(&promise.measure) {
            seen.push(promise.measure);
        }
    }
    seen
}

fn kind(measure: Measure) -> MeasureKind {
    match measure {
        Measure::Mean => MeasureKind::Mean,
        Measure::Quantile(q) => MeasureKind::Quantile(q),
        Measure::Throughput => MeasureKind::Throughput,
        Measure::LongestIo => MeasureKind::LongestIo,
        Measure::Failed => MeasureKind::Failed,
    }
}

fn verdict(verdict: measure::Verdict) -> Verdict {
    match verdict {
        measure::Verdict::Met => Verdict::Met,
        measure::Verdict::Missed => Verdict::Missed,
        measure::Verdict::Undecided => Verdict::Undecided,
    }
}

/// Share of I/Os above a latency target, from exact counts per replication: failed and unfinished ones
/// are above.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
pub(super) fn above(tally: &Tally, index: usize, target: f64) -> (u64, u64) {
    let workload = &tally.workloads[index];
    let arrived = workload.reads.arrived + workload.writes.arrived;
    let done = workload.reads.latency.count() + workload.writes.latency.count();
    let failed = workload.reads.failed + workload.writes.failed;
    let late = workload
        .above
        .iter()
        .find(|(known, _)| *known == target as u64)
        .map_or(0, |(_, count)| *count);
    (late + (arrived - done - failed), arrived)
}

/// I/Os in a clump of those above a latency target.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn clump_of(tallies: &[Tally], index: usize, target: f64) -> f64 {
    let own = tallies.iter().map(|tally| &tally.workloads[index]);
    let arrived = own
        .clone()
        .map(|own| own.reads.arrived + own.writes.arrived)
        .sum();
    let clumps: Vec<&Clumps> = own
        .filter_map(|own| {
            let at = own
                .above
                .iter()
                .position(|(known, _)| *known == target as u64)?;
            own.clumps.get(at)
        })
        .collect();
    clump_size(&clumps, arrived)
}

fn steady_cell(runs: &SteadyRuns, index: usize, promise: &Promise, trust: Trust) -> Cell {
    let cell = cell_of_whole_runs(runs, index, promise, trust);
    // Of what a limit cut, only that more is asked for than fits is known: the rest may be better than the beginning.
    let misses = cell.verdict == Verdict::Missed && cell.saturated;
    if runs.figures.unmeasured && !misses {
        // Nothing counted is not a figure of nothing.
        return Cell {
            value: None,
            beyond: None,
            above_share: None,
            margin_percent: None,
            ..stopped(cell)
        };
    }
    if runs.figures.partial && !misses {
        return stopped(cell);
    }
    burst(filled(cell, runs, index, promise), runs, index)
}

/// What is met while the runs hold too few bursts of work that it depends on is not met for sure.
fn burst(cell: Cell, runs: &SteadyRuns, index: usize) -> Cell {
    let name = &runs.compiled.site.workloads[index].name;
    let mut bursts = runs.figures.unseen_bursts.iter();
    if cell.verdict != Verdict::Met || !bursts.any(|own| own.hides.contains(name)) {
        return cell;
    }
    Cell {
        verdict: Verdict::Undecided,
        margin_percent: None,
        replications_needed: None,
        left_open: Some(LeftOpen::Bursts),
        ..cell
    }
}

/// A latency that is met while the queue of a nearly full part still fills is so only if it is in the long run, too: by what runs
/// found, as if all of the latency were wait that is missing in part; and by arithmetic, with waits that are exponential, as they are of a
/// nearly full queue.
fn filled(cell: Cell, runs: &SteadyRuns, index: usize, promise: &Promise) -> Cell {
    let filling = runs.figures.workloads[index].filling.as_ref();
    let Some(filling) = filling.filter(|_| cell.verdict == Verdict::Met) else {
        return cell;
    };
    // How many means a percentile of an exponential time is.
    let times = match promise.measure {
        Measure::Mean => 1.0,
        Measure::Quantile(q) => -(1.0 - q).ln(),
        Measure::Throughput | Measure::LongestIo | Measure::Failed => return cell,
    };
    let most = cell.value.map(|value| value.high.unwrap_or(value.value));
    let site = &runs.compiled.site;
    let work = &site.workloads[index];
    let (service, variation) = service_of(work, &site.arrays[work.array]);
    // A service that never changes has no percentiles.
    let service = service * (1.0 + variation * (times - 1.0).max(0.0));
    let long_run_us = filling.wait_s.map(|wait| 1e6 * (wait * times + service));
    let target = promise.target / 1e6;
    let kept = most.is_some_and(|most| most <= target * (1.0 - filling.missing_share))
        && long_run_us.is_some_and(|long_run| long_run <= target);
    if kept {
        return cell;
    }
    Cell {
        verdict: Verdict::Undecided,
        margin_percent: None,
        replications_needed: None,
        left_open: Some(LeftOpen::Filling),
        ..cell
    }
}

/// Mean service of a workload in its array, seconds, and its squared coefficient of variation.
fn service_of(work: &Workload, array: &ArrayFamily) -> (f64, f64) {
    let (mut first, mut second) = (0.0, 0.0);
    for (op, size, share) in mix(work) {
        let (mean, square, _) = service(array, op, size);
        first += share * mean;
        second += share * square;
    }
    let variation = second / (first * first) - 1.0;
    (
        first,
        if variation.is_finite() {
            variation.max(0.0)
        } else {
            0.0
        },
    )
}

fn cell_of_whole_runs(runs: &SteadyRuns, index: usize, promise: &Promise, trust: Trust) -> Cell {
    let figures = &runs.figures.workloads[index];
    let tallies = &runs.tallies;
    let blank = Cell {
        failed: match promise.measure {
            Measure::Mean | Measure::Quantile(_) => figures.all.failed,
            Measure::Throughput | Measure::LongestIo | Measure::Failed => 0,
        },
        ..blank(promise, u32::try_from(tallies.len()).unwrap_or(u32::MAX))
    };
    match promise.measure {
        Measure::Quantile(q) => {
            #[allow(clippy::cast_precision_loss)]
            let waited = runs.compiled.site.run.drain_limit.0 as f64;
            let open = figures.service_beyond_run_s.is_some() && figures.all.unfinished > 0;
            let counts: Vec<(u64, u64)> = tallies
                .iter()
                .map(|tally| above(tally, index, promise.target))
                .collect();
            let clump = clump_of(tallies, index, promise.target);
            let judged = judge_fraction_at(&counts, q, clump, trust);
            let figure = quantile_of(tallies, index, q);
            let cell = with_value(
                blank,
                figure.latency_us,
                promise.target / 1e6,
                Direction::AtMost,
            );
            let (over, total) = counts
                .iter()
                .fold((0, 0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
            #[allow(clippy::cast_precision_loss)]
            let above_share = (total > 0).then(|| over as f64 / total as f64);
            let needed = match over {
                // Nothing was above: the bound falls as the number of I/Os grows.
                0 if judged.verdict == measure::Verdict::Undecided && total > 0 => {
                    for_none_above((total, clump), 1.0 - q, tallies.len(), trust.met)
                }
                _ => above_share.and_then(|share| needed(&judged, share, 1.0 - q, tallies.len())),
            };
            let cell = Cell {
                above_share,
                above_allowed: Some(1.0 - q),
                beyond: figure.beyond_us,
                replications_needed: needed,
                ..cell
            };
            let found = verdict(judged.verdict);
            // An unfinished I/O has waited for as long as unmeasured traffic goes on, and nobody knows for how much longer.
            let cell = match cell.beyond {
                Some(beyond) if open && !figures.saturated => Cell {
                    beyond: Some(beyond.max(waited / 1e6)),
                    ..cell
                },
                _ => cell,
            };
            let held = super::steady::damage_outlasts_run(&runs.compiled.site, &runs.plan, index);
            let unknown = (open && promise.target > waited || held) && !figures.saturated;
            match found {
                Verdict::Missed | Verdict::Undecided if unknown => too_short(cell),
                found => settle(cell, found, figures.saturated),
            }
        }
        Measure::Mean => {
            let means = steady::means_of(tallies, index);
            let judged = judge_at_most_with(&means, promise.target / 1e6, trust);
            let cell = with_value(
                blank,
                figures.all.mean_us,
                promise.target / 1e6,
                Direction::AtMost,
            );
            if figures.all.failed > 0 && !figures.saturated {
                return failed_mean(cell);
            }
            let middle = figures.all.mean_us.map(|mean| mean.value);
            let needed =
                middle.and_then(|mean| needed(&judged, mean, promise.target / 1e6, tallies.len()));
            let cell = Cell {
                replications_needed: needed,
                ..cell
            };
            let found = verdict(judged.verdict);
            // An I/O that is held up for longer than the run, by a damaged frame or a long service, is in no mean of it.
            let held = figures.all.unfinished > 0;
            if held && !figures.saturated && found == Verdict::Met {
                return too_short(cell);
            }
            if figures.service_beyond_run_s.is_some()
                && figures.all.unfinished > 0
                && !figures.saturated
            {
                return unfinished_mean(cell, runs, index, promise);
            }
            settle(cell, found, figures.saturated)
        }
        Measure::Throughput => {
            let carried = Carried::of(runs, index);
            let target = promise.target / 1e6;
            let judged = judge_counted_at_least(&carried.rates, target, carried.grain, trust);
            let figure = super::steady::estimated(&carried.interval(0.95));
            let cell = with_value(blank, Some(figure), target, Direction::AtLeast);
            let open = figures.service_beyond_run_s.is_some() && figures.all.unfinished > 0;
            if open && !figures.saturated && judged.verdict == measure::Verdict::Missed {
                // Most of what is asked for comes out after the run.
                return Cell {
                    verdict: Verdict::Undecided,
                    left_open: Some(LeftOpen::RunTooShort),
                    ..cell
                };
            }
            let needed = needed(&judged, figure.value, target, tallies.len());
            Cell {
                verdict: verdict(judged.verdict),
                replications_needed: needed,
                ..cell
            }
        }
        Measure::LongestIo | Measure::Failed => blank,
    }
}

/// Replications in all after which the bound on a share of which none was seen is no more than allowed.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]
fn for_none_above(
    (total, clump): (u64, f64),
    allowed: f64,
    replications: usize,
    confidence: f64,
) -> Option<u32> {
    // None of n: the share is below -ln(1 - confidence) clumps / n, the rule of three.
    let ios = (-(1.0 - confidence).ln()).max(3.0) * clump / allowed;
    let needed = (replications as f64 * ios / total as f64).ceil();
    (needed.is_finite() && needed <= f64::from(u32::MAX)).then_some(needed as u32)
}

/// What more replications would not decide: a figure of what is finished, and the rest is not known.
fn too_short(cell: Cell) -> Cell {
    Cell {
        verdict: Verdict::Undecided,
        beyond: cell.value.map(|value| value.value).or(cell.beyond),
        value: None,
        margin_percent: None,
        replications_needed: None,
        left_open: Some(LeftOpen::RunTooShort),
        ..cell
    }
}

/// The mean of work of which many I/Os are not over when the run ends: at least what it is if each of them took no longer than it
/// has been waited for.
#[allow(clippy::cast_precision_loss)]
fn unfinished_mean(cell: Cell, runs: &SteadyRuns, index: usize, promise: &Promise) -> Cell {
    let waited = runs.compiled.site.run.drain_limit.0 as f64;
    let (mut sum, mut count) = (0.0, 0.0);
    for tally in &runs.tallies {
        let work = &tally.workloads[index];
        let all = merged_latency(work);
        let done = all.count() as f64;
        let open =
            work.reads.arrived + work.writes.arrived - work.reads.failed - work.writes.failed;
        sum += all.mean().unwrap_or(0.0) * done + waited * (open as f64 - done);
        count += open as f64;
    }
    let least = if count > 0.0 { sum / count } else { 0.0 };
    let cell = Cell {
        beyond: Some(least / 1e6),
        ..too_short(cell)
    };
    if least > promise.target {
        return Cell {
            verdict: Verdict::Missed,
            left_open: None,
            ..cell
        };
    }
    cell
}

/// An I/O that fails is above every latency target, so a mean with one in it is beyond any figure.
fn failed_mean(cell: Cell) -> Cell {
    Cell {
        verdict: Verdict::Missed,
        // Without any that was completed all that is known is that it is greater than nothing.
        beyond: Some(cell.value.map_or(0.0, |value| value.value)),
        value: None,
        margin_percent: None,
        ..cell
    }
}

/// What a run found that a limit stopped before its time meets no promise: the rest is not known.
fn whole(cell: Cell, partial: bool) -> Cell {
    match cell.verdict {
        Verdict::Met if partial => stopped(cell),
        // What waits when a limit stops a run would not wait for ever.
        _ if partial && matches!(cell.left_open, Some(LeftOpen::Waiting(_))) => stopped(cell),
        _ => cell,
    }
}

fn stopped(cell: Cell) -> Cell {
    Cell {
        verdict: Verdict::Undecided,
        margin_percent: None,
        replications_needed: None,
        left_open: Some(LeftOpen::Stopped),
        ..cell
    }
}

/// The longest I/O of a switch-over into a state that is asked for more than it carries: as long as the run went on it was short
/// enough, and the state goes on.
fn while_it_lasts(cell: Cell, after: &SteadyRuns, index: usize) -> Cell {
    let piles_up = after.figures.workloads[index].saturated;
    // Of the promises about switching only that one is a time.
    if cell.unit == "s" && cell.verdict == Verdict::Met && piles_up {
        return Cell {
            verdict: Verdict::Undecided,
            margin_percent: None,
            left_open: Some(LeftOpen::PilesUp),
            ..cell
        };
    }
    cell
}

/// A latency promise of work that does not fit is missed, and no figure stands for it.
fn settle(cell: Cell, verdict: Verdict, saturated: bool) -> Cell {
    if saturated {
        Cell {
            verdict: Verdict::Missed,
            saturated: true,
            value: None,
            margin_percent: None,
            replications_needed: None,
            ..cell
        }
    } else {
        Cell { verdict, ..cell }
    }
}

fn switch_cell(switch: &Switch, index: usize, promise: &Promise) -> Cell {
    let figures = &switch.workloads[index];
    let blank = blank(promise, switch.replications);
    if figures.hosts_gone > 0 {
        // Nobody is left who would wait or fail, and nothing is done either.
        return Cell {
            verdict: Verdict::Missed,
            beyond: Some(0.0),
            ..blank
        };
    }
    #[allow(clippy::cast_precision_loss)]
    let (values, target): (Vec<f64>, f64) = match promise.measure {
        Measure::LongestIo => (figures.longest_io_s.clone(), promise.target / 1e12),
        Measure::Failed => (
            figures.failed.iter().map(|failed| *failed as f64).collect(),
            promise.target,
        ),
        Measure::Mean | Measure::Quantile(_) | Measure::Throughput => return blank,
    };
    let worst = values.iter().copied().fold(0.0, f64::max);
    let value = Estimated {
        value: worst,
        low: None,
        high: None,
    };
    let cell = with_value(blank, Some(value), target, Direction::AtMost);
    let found = verdict(judge_every(&values, target));
    // What still hangs at the end may yet break the promise: only a miss is certain then. So may the longest where it is not over, and
    // the work is not as it settles.
    let grows = promise.measure == Measure::LongestIo && figures.settled_s.is_none();
    let open = figures.longest_open.iter().chain(std::iter::repeat(&false));
    let hangs = figures.hanging.iter().zip(open);
    let hangs = hangs.filter(|(hanging, open)| **hanging > 0 || grows && **open);
    let hangs = u32::try_from(hangs.count()).unwrap_or(u32::MAX);
    match found {
        Verdict::Met if hangs > 0 => Cell {
            verdict: Verdict::Undecided,
            left_open: Some(LeftOpen::Waiting(hangs)),
            ..cell
        },
        found => Cell {
            verdict: found,
            // One of few that is met where most wait to the end.
            left_open: (found == Verdict::Undecided && hangs > 0)
                .then_some(LeftOpen::Waiting(hangs)),
            ..cell
        },
    }
}

enum Direction {
    AtMost,
    AtLeast,
}

fn with_value(cell: Cell, value: Option<Estimated>, target: f64, direction: Direction) -> Cell {
    let room = value.map(|value| match direction {
        Direction::AtMost => target - value.value,
        Direction::AtLeast => value.value - target,
    });
    let margin_percent = room
        .filter(|_| target > 0.0)
        .map(|room| 100.0 * room / target);
    Cell {
        value,
        margin_percent,
        ..cell
    }
}

fn blank(promise: &Promise, replications: u32) -> Cell {
    let (unit, scale) = match promise.measure {
        Measure::Mean | Measure::Quantile(_) => ("us", 1e6),
        Measure::Throughput => ("MB/s", 1e6),
        Measure::LongestIo => ("s", 1e12),
        Measure::Failed => ("", 1.0),
    };
    Cell {
        verdict: Verdict::Undecided,
        saturated: false,
        value: None,
        beyond: None,
        unit,
        target: promise.target / scale,
        target_text: promise.text.clone(),
        margin_percent: None,
        above_share: None,
        above_allowed: None,
        failed: 0,
        replications,
        replications_needed: None,
        left_open: None,
    }
}

/// About how many replications would decide: the half width shrinks with the square root of their number.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]
fn needed(judged: &Judgement, value: f64, target: f64, replications: usize) -> Option<u32> {
    if judged.verdict != measure::Verdict::Undecided {
        return None;
    }
    let half = (judged.upper - value).max(value - judged.lower);
    let gap = (target - value).abs();
    if !half.is_finite() || gap <= 0.0 {
        return None;
    }
    let ratio = half / gap;
    Some(
        (replications as f64 * ratio * ratio)
            .ceil()
            .clamp(2.0, 10_000.0) as u32,
    )
}

#[cfg(test)]
mod tests {
    use super::for_none_above;
    use crate::measure::{Verdict, judge_fraction};

    /// The rule of three: none of n above bounds the share by about 3 / n. Of nine in each of so many runs, one in a hundred is allowed:
    /// 3 / 9R is no more from R = 34 on, whether two runs were made or twenty; and 34 decide.
    #[test]
    fn none_above_asks_for_as_many_as_the_rule_of_three() {
        for runs in [2, 10, 20, 33] {
            let needed = for_none_above((9 * runs as u64, 1.0), 0.01, runs, 0.95);
            assert_eq!(needed, Some(34), "{runs}");
        }
        let verdict = |runs| judge_fraction(&vec![(0, 9); runs], 0.99).verdict;
        assert_eq!(
            (verdict(33), verdict(34)),
            (Verdict::Undecided, Verdict::Met)
        );
    }
}
