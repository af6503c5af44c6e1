//! One load: the runs, their verdict, and how far the worst promise is from its limit.

use super::below::TESTS_BELOW;
use super::edge::{breaks, excess};
use super::length::{self, Length};
use super::ranks::{beside_it, fullest, in_the_way, ranked_by, waited_for};
use super::scale::{Scale, depths};
use super::{ERROR, FRESH, Job, Judged, Search, TESTS, spread};
use crate::measure::Trust;
use crate::outcome::{
    BudgetPart, Case, LoadPoint, LoadRow, Matrix, MeasureKind, Purpose, RankedBy, Steady, Verdict,
    WorkloadFigures,
};
use crate::site::{Arrivals, Site};
use crate::study::bounds::bounds;
use crate::study::case;
use crate::study::estimate::{Flows, alive_in};
use crate::study::progress::Progress;
use crate::study::{judge, parts, steady};
use crate::topology::Fabric;

/// The verdicts of the one case that a matrix holds.
pub(super) fn rows_of(matrix: Matrix) -> Vec<LoadRow> {
    let rows = matrix.rows.into_iter().filter_map(|row| {
        Some(LoadRow {
            workload: row.workload,
            measure: row.measure,
            cell: row.cells.into_iter().next()??,
        })
    });
    rows.collect()
}

#[allow(clippy::cast_precision_loss)]
pub(super) fn one(
    site: &Site,
    scale: &Scale<'_>,
    search: &Search,
    job: &Job,
    progress: &dyn Progress,
) -> (Judged, Option<Steady>) {
    let Some(mut scaled) = scale.site(site, job.factor) else {
        return (cannot_be_built(job), None);
    };
    scaled.run.replications = job.replications;
    let tests = match job.purpose {
        Purpose::Below => TESTS_BELOW,
        Purpose::Pilot | Purpose::ProveMet | Purpose::ProveMissed => TESTS,
    };
    let share = ERROR / 2.0 / tests as f64;
    let (first, trust) = match job.purpose {
        Purpose::Pilot => (0, Trust::ALONE),
        Purpose::ProveMet | Purpose::ProveMissed | Purpose::Below => (
            FRESH,
            Trust {
                met: 1.0 - share,
                missed: 1.0 - share / search.promises.max(1) as f64,
            },
        ),
    };
    // More hosts are other parts: what an outage takes of them is found anew.
    let fabric = Fabric::new(&scaled);
    let plan = case::cases(&scaled, &fabric, None)
        .into_iter()
        .find(|plan| plan.case == search.plan.case);
    let Some(plan) = plan else {
        return (cannot_be_built(job), None);
    };
    let case = plan.case.clone();
    let length = length::lengthen(&mut scaled, &fabric, &case, job.purpose);
    let runs = steady::run_from(&scaled, &[plan], first, progress);
    let matrix = judge::matrix_at(&scaled, &runs, &[], trust);
    let mut rows = rows_of(matrix);
    let (worst, excess, weight) = excess(&rows, &runs[0].figures);
    let mean = worst.is_some_and(|row| row.measure == MeasureKind::Mean);
    let variance = worst.and_then(|row| spread::variance(&runs[0], &scaled, &case, row));
    let short = worst.is_some_and(|row| row.measure == MeasureKind::Throughput)
        && excess > 0.0
        && rows.iter().all(|row| {
            row.measure == MeasureKind::Throughput || row.cell.verdict != Verdict::Missed
        });
    let starved = starved(site, &rows, job.purpose, excess);
    let worst = worst.cloned();
    // What is known for certain bounds what is shown; verdicts and curves go by what was counted.
    let held = hold(&scaled, &fabric, &case, &mut rows);
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let steady = &figures[0];
    // The part that ends it is one that the broken promise's work uses; before one is, the fullest is of all work that is judged.
    let broken = rows.iter().find(|row| row.cell.verdict == Verdict::Missed);
    let nearest = broken.or(worst.as_ref());
    let judged: Vec<&str> = match broken {
        Some(row) => vec![&row.workload],
        None => rows.iter().map(|row| row.workload.as_str()).collect(),
    };
    let parts_of = |works: &[&str]| {
        let used = |name: &&str| length::used_by(&scaled, &fabric, &case, name);
        match works.iter().map(used).reduce(length::Used::and) {
            Some(used) => parts::parts(&scaled, &[only(steady, &used)]),
            None => parts::parts(&scaled, &figures),
        }
    };
    let uses = parts_of(&judged);
    let ranked_by = ranked_by(&uses, nearest);
    let waits = in_the_way(&uses, nearest, steady, &scaled);
    let in_the_way = waits.or_else(|| {
        let first = fullest(&uses, ranked_by).into_iter().next();
        first.filter(|_| broken.is_some())
    });
    let waits_for = |name: &str| {
        let part = uses.iter().find(|part| part.part == name)?;
        waited_for(part, nearest, steady, &scaled)
    };
    let beside = in_the_way.as_ref().filter(|_| broken.is_some());
    let beside = beside.and_then(|first| beside_it(&uses, first, ranked_by, &waits_for));
    // What comes after it may lie on the way of any work that is judged.
    let uses = match broken {
        Some(_) => parts_of(
            &rows
                .iter()
                .map(|row| row.workload.as_str())
                .collect::<Vec<_>>(),
        ),
        None => uses,
    };
    let unwaited_percent = nearest.and_then(|row| unwaited(row, steady));
    let nearest = nearest.map(|row| row.workload.clone());
    let point = LoadPoint {
        factor: job.factor,
        purpose: job.purpose,
        depths: depths(&scaled),
        replications: steady.replications,
        verdict: of_length(together(&rows, steady.partial), length),
        lengthened_s: match length {
            Length::Made(seconds) => Some(seconds),
            Length::Stated | Length::Short(_) => None,
        },
        needs_s: match length {
            Length::Short(seconds) if seconds.is_finite() => Some(seconds),
            _ => None,
        },
        saturated: steady.saturated,
        partial: steady.partial,
        frame_hops: steady.frame_hops,
        fullest: fullest(&uses, ranked_by),
        ranked_by,
        unseen_bursts: steady.unseen_bursts.clone(),
        rows,
    };
    let today = (job.factor == 1.0 && job.purpose == Purpose::Pilot)
        .then(|| figures.into_iter().next())
        .flatten();
    let judged = Judged {
        point,
        excess,
        weight,
        mean,
        variance,
        short,
        starved,
        nearest,
        in_the_way,
        beside,
        unwaited_percent,
        held,
    };
    (judged, today)
}

/// Whether nothing is broken but throughputs of closed loops: of a pilot run by its figures, of a test by what it proves.
fn starved(site: &Site, rows: &[LoadRow], purpose: Purpose, excess: f64) -> bool {
    let closed = |row: &LoadRow| {
        let own = site.workloads.iter().find(|work| work.name == row.workload);
        row.measure == MeasureKind::Throughput
            && own.is_some_and(|work| matches!(work.arrivals, Arrivals::Closed { .. }))
    };
    let broken = |row: &&LoadRow| match purpose {
        Purpose::Pilot => breaks(row),
        Purpose::ProveMet | Purpose::ProveMissed | Purpose::Below => {
            row.cell.verdict == Verdict::Missed
        }
    };
    let mut broken = rows.iter().filter(broken).peekable();
    excess > 0.0 && broken.peek().is_some() && broken.all(closed)
}

/// A site that cannot be built proves nothing, and is beyond the edge.
const fn cannot_be_built(job: &Job) -> Judged {
    Judged {
        point: LoadPoint {
            factor: job.factor,
            purpose: job.purpose,
            depths: Vec::new(),
            replications: 0,
            verdict: Verdict::Undecided,
            lengthened_s: None,
            needs_s: None,
            saturated: false,
            partial: true,
            frame_hops: 0,
            rows: Vec::new(),
            fullest: Vec::new(),
            ranked_by: RankedBy::Mean,
            unseen_bursts: Vec::new(),
        },
        excess: f64::INFINITY,
        weight: 0.0,
        mean: false,
        variance: None,
        short: false,
        starved: false,
        nearest: None,
        in_the_way: None,
        beside: None,
        unwaited_percent: None,
        held: Held {
            cut: false,
            blind: false,
        },
    }
}

/// What was done about intervals that reach below what is known for certain.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Held {
    /// One reached below, and ends there.
    pub(super) cut: bool,
    /// A mean lies below that of an empty site by more than chance: what is rare and slow did not come up in its runs.
    pub(super) blind: bool,
}

impl Held {
    /// What holds of either.
    pub(super) const fn or(self, other: Self) -> Self {
        Self {
            cut: self.cut || other.cut,
            blind: self.blind || other.blind,
        }
    }
}

/// So many half widths below what is known for certain chance takes no mean: a choice of this program, four deviations.
const BLIND: f64 = 2.0;

/// Ends the intervals of latencies at what no I/O of theirs takes less than on an idle site, a mean at the mean of those. A mean that
/// lies below by more than chance has none, and meets no promise: its runs missed what makes it larger.
fn hold(site: &Site, fabric: &Fabric, case: &Case, rows: &mut [LoadRow]) -> Held {
    let named = |name: &String| site.outages.iter().position(|outage| outage.name == *name);
    let alive = alive_in(site, fabric, case.outage.as_ref().and_then(named));
    let sets = fabric.path_sets(site, &alive);
    let mut flows = Flows::new(fabric, &alive);
    let mut held = Held::default();
    for row in rows {
        let own = site
            .workloads
            .iter()
            .position(|work| work.name == row.workload);
        let Some((index, value)) = own.zip(row.cell.value.as_mut()) else {
            continue;
        };
        let bounds = bounds(site, fabric, &sets, &mut flows, index);
        let least = match row.measure {
            MeasureKind::Mean => bounds.mean_s,
            MeasureKind::Quantile(_) => bounds.least_s,
            _ => None,
        };
        let Some(least) = least.map(|seconds| seconds * 1e6) else {
            continue;
        };
        let reach = value.high.map(|high| BLIND * (high - value.value));
        if reach.is_some_and(|reach| value.value + reach < least * (1.0 - 1e-9)) {
            (value.low, value.high) = (None, None);
            held.blind = true;
            if row.cell.verdict == Verdict::Met {
                row.cell.verdict = Verdict::Undecided;
            }
        } else if value.low.is_some_and(|low| low < least) && value.value >= least {
            value.low = Some(least);
            held.cut = true;
        }
    }
    held
}

/// Met when every promise is, missed when one is. Nothing is proven by a run that was cut short, or where
/// there is nothing to judge.
pub(super) fn together(rows: &[LoadRow], partial: bool) -> Verdict {
    let any = |wanted: Verdict| rows.iter().any(|row| row.cell.verdict == wanted);
    if partial || rows.is_empty() {
        Verdict::Undecided
    } else if any(Verdict::Missed) {
        Verdict::Missed
    } else if any(Verdict::Undecided) {
        Verdict::Undecided
    } else {
        Verdict::Met
    }
}

/// A run that is too short for what it is to judge proves nothing.
fn of_length(verdict: Verdict, length: Length) -> Verdict {
    match length {
        Length::Short(_) => Verdict::Undecided,
        Length::Stated | Length::Made(_) => verdict,
    }
}

/// The figures of the parts that are used.
fn only(steady: &Steady, used: &length::Used) -> Steady {
    let mut steady = steady.clone();
    steady.directions.retain(|direction| {
        let ends = (direction.from.clone(), direction.to.clone());
        used.links.contains(&ends)
    });
    steady
        .arrays
        .retain(|array| used.controllers.contains(&array.name));
    steady
}

/// Parts of the budget that are waiting.
const WAITING: [&str; 4] = ["host queue", "queueing", "array queue", "retry"];

/// How much of the mean latency of the work of a latency promise is no waiting, per cent.
fn unwaited(row: &LoadRow, steady: &Steady) -> Option<f64> {
    let named = |work: &&WorkloadFigures| work.name == row.workload;
    let work = steady.workloads.iter().find(named)?;
    let sum = |of: &dyn Fn(&BudgetPart) -> bool| -> f64 {
        let parts = work.budget.iter().filter(|part| of(part));
        parts.map(|part| part.mean_us).sum()
    };
    let all = sum(&|_| true);
    let still = sum(&|part| !WAITING.contains(&part.part.as_str()));
    let latency = row.measure != MeasureKind::Throughput && !row.cell.saturated;
    (latency && all > 0.0).then(|| 100.0 * still / all)
}
