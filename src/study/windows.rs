//! Maintenance windows: the hours of a day in which an outage may be brought about on purpose.
//!
//! The load of an hour is the stated rate of each workload times its factor of that hour. For each outage the
//! survivors' steady state is simulated at the loads of the day, for as long as any steady run. Where it keeps
//! every promise, and something is promised about switching, the way there is simulated too: the parts are
//! drained, and lost a second later. Both are judged as everywhere, each promise with its own 95 %; an hour is *met*
//! when all of it is.
//!
//! Not every load takes a run: an hour in which no workload has more to do than in one that keeps
//! every promise keeps them too, and one in which none has less to do than in one that misses a promise misses
//! it. That is taken for granted, as `headroom` does, of the state and of the way there. When all workloads have one
//! shape that leaves a bisection; hours in which one workload has more to do and another less are simulated both.
//!
//! Left out: what happens from one hour to the next, the return of the parts, which is a change of its own,
//! and anything else that fails meanwhile (`failover --during`).

mod bracket;
mod hours;
mod notes;

use super::case::{self, CasePlan};
use super::estimate::case_loads;
use super::headroom::work_at;
use super::progress::Progress;
use super::singles::cut_off;
use super::steady::SteadyRuns;
use super::{fullest, judge, steady, switch};
use crate::model::Compiled;
use crate::outcome::{
    Cell, Fullest, HourRow, JudgedBy, Matrix, MeasureKind, OutageWindows, Row, Tightest, Verdict,
    Window, Windows, WorkShape,
};
use crate::site::{Arrivals, DayShape, Measure, Site, Workload};
use crate::topology::Fabric;
use bracket::{Bracket, Judged, Order};
use notes::{notes, staying};
use rayon::prelude::*;

/// What is to be found out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AskWindows {
    /// Outages by name; `None` for all.
    pub outages: Option<Vec<String>>,
    /// Hours in a row that are needed, 1 to 24.
    pub needed: u32,
    /// Which hours are simulated.
    pub runs: HourRuns,
}

/// Which hours are simulated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum HourRuns {
    /// As many as it takes, the others being judged by busier and quieter ones.
    #[default]
    Needed,
    /// Every different load.
    Each,
}

/// Whether there is a promise that the state with an outage in force can keep or break, or the way there.
#[must_use]
pub fn has_promises(site: &Site) -> bool {
    let promised =
        |work: &Workload| !work.promises.lost.is_empty() || !work.promises.switching.is_empty();
    site.workloads.iter().any(promised)
}

/// Judges the 24 hours of a day for each outage asked for.
#[must_use]
pub fn windows(site: &Site, ask: &AskWindows, progress: &dyn Progress) -> Windows {
    let factors =
        |hour: usize| -> Vec<f64> { site.workloads.iter().map(|w| factor(w, hour)).collect() };
    let day: Vec<Vec<f64>> = (0..DayShape::HOURS).map(factors).collect();
    let mut loads: Vec<Vec<f64>> = Vec::new();
    for load in &day {
        if !loads.contains(load) {
            loads.push(load.clone());
        }
    }
    let switching = site
        .workloads
        .iter()
        .any(|work| !work.promises.switching.is_empty());
    let study = Study {
        site,
        day: &day,
        loads: &loads,
        ask,
        progress,
    };
    let plans = case::cases(site, &Fabric::new(site), ask.outages.as_deref());
    let stay = staying(site, ask);
    let asked = |name: &String| !stay.contains(&name.as_str());
    let outages: Vec<OutageWindows> = plans
        .par_iter()
        .filter(|plan| plan.case.outage.as_ref().is_some_and(asked))
        .map(|plan| study.outage(plan))
        .collect();
    Windows {
        needed_hours: ask.needed,
        shapes: site.workloads.iter().map(shape_of).collect(),
        loads: u32::try_from(loads.len()).unwrap_or(u32::MAX),
        bracketed: ask.runs == HourRuns::Needed,
        switch_judged: switching,
        replications: site.run.replications,
        switch_replications: if switching {
            site.run.switch_replications
        } else {
            0
        },
        duration_s: site.run.duration.as_secs_f64(),
        outages,
        notes: notes(site, ask),
    }
}

/// The site at the load of an hour, as windows are judged by; without changes and steps of growth.
///
/// # Panics
/// When the hour is above 23.
#[must_use]
pub fn at_hour(site: &Site, hour: u32) -> Site {
    assert!(hour < 24, "a day has 24 hours");
    let factors = site
        .workloads
        .iter()
        .map(|work| factor(work, hour as usize));
    at(site, &factors.collect::<Vec<f64>>())
}

/// The busiest hour of a window of an outage: that in which the fullest part of the survivors is fullest, by estimate; of several that with
/// the largest sum of factors, then the first.
#[must_use]
pub fn busiest_of(site: &Site, window: &Window, outage: Option<&str>) -> u32 {
    let fabric = Fabric::new(site);
    let outage = site
        .outages
        .iter()
        .position(|own| Some(own.name.as_str()) == outage);
    let mut known: Vec<(Vec<f64>, f64)> = Vec::new();
    let mut best: Option<(u32, (f64, f64))> = None;
    for hour in (0..window.hours).map(|number| (window.from_hour + number) % 24) {
        let factors = site.workloads.iter();
        let factors: Vec<f64> = factors.map(|work| factor(work, hour as usize)).collect();
        let found = known.iter().find(|(own, _)| *own == factors);
        let full = found.map(|(_, full)| *full).unwrap_or_else(|| {
            let case = case_loads(&at(site, &factors), &fabric, outage);
            let parts = case.directions.iter().chain(&case.controllers).flatten();
            parts.map(|load| load.mean).fold(0.0, f64::max)
        });
        let asked = (full, factors.iter().sum::<f64>());
        known.push((factors, full));
        if best.is_none_or(|(_, most)| asked > most) {
            best = Some((hour, asked));
        }
    }
    best.map_or(window.from_hour, |(hour, _)| hour)
}

fn factor(work: &Workload, hour: usize) -> f64 {
    work.shape.map_or(1.0, |shape| shape.at(hour))
}

fn shape_of(work: &Workload) -> WorkShape {
    WorkShape {
        workload: work.name.clone(),
        stated: work.shape.is_some(),
        factors: (0..DayShape::HOURS)
            .map(|hour| factor(work, hour))
            .collect(),
    }
}

/// What the state with the outage in force showed at one load.
struct State {
    verdict: Verdict,
    matrix: Matrix,
    saturated: bool,
    partial: bool,
    fullest: Option<Fullest>,
}

/// What the way there showed.
struct Way {
    verdict: Verdict,
    matrix: Matrix,
    partial: bool,
    longest_io_s: Option<f64>,
}

struct Study<'a> {
    site: &'a Site,
    /// Factors of the workloads by hour.
    day: &'a [Vec<f64>],
    /// The different ones among them.
    loads: &'a [Vec<f64>],
    ask: &'a AskWindows,
    progress: &'a dyn Progress,
}

/// What is known of one outage, by load.
struct Known<'a> {
    states: Vec<Option<State>>,
    of_states: Bracket<'a>,
    ways: Vec<Option<Way>>,
    of_ways: Bracket<'a>,
}

impl Study<'_> {
    fn outage(&self, plan: &CasePlan) -> OutageWindows {
        let (states, of_states) =
            self.judged(vec![true; self.loads.len()], Order::Halving, |load| {
                let state = self.state(plan, load).unwrap_or_else(State::idle);
                (state.verdict, state)
            });
        let kept: Vec<bool> = (0..self.loads.len())
            .map(|load| states[of_states.judge_of(load)].as_ref())
            .map(|state| state.is_some_and(|state| state.verdict == Verdict::Met))
            .collect();
        let (ways, of_ways) = self.judged(kept, Order::BusiestFirst, |load| {
            let way = self.way(plan, load).unwrap_or_else(Way::idle);
            (way.verdict, way)
        });
        let working = |load: usize| self.loads[load].iter().any(|factor| *factor > 0.0);
        let count = |known: &dyn Fn(usize) -> bool| {
            let all = (0..self.loads.len()).filter(|load| working(*load) && known(*load));
            u32::try_from(all.count()).unwrap_or(u32::MAX)
        };
        let switched = |load: usize| {
            ways[load]
                .as_ref()
                .is_some_and(|way| !way.matrix.rows.is_empty())
        };
        let (simulated, ways_simulated) = (count(&|load| states[load].is_some()), count(&switched));
        let known = Known {
            states,
            of_states,
            ways,
            of_ways,
        };
        let hours: Vec<HourRow> = (0..DayShape::HOURS)
            .map(|hour| self.row(hour, &known))
            .collect();
        let verdicts: Vec<Verdict> = hours.iter().map(|row| row.verdict).collect();
        let windows = hours::in_a_row(&verdicts, &[Verdict::Met]);
        OutageWindows {
            case: plan.case.clone(),
            takes: plan.takes.clone(),
            cut_off: cut_off(self.site, &Fabric::new(self.site), plan),
            simulated,
            ways_simulated,
            hours,
            longest: hours::longest(&windows),
            verdict: hours::long_enough(&verdicts, self.ask.needed),
            windows,
        }
    }

    /// Simulates loads of those wanted until all of them are judged.
    fn judged<T>(
        &self,
        wanted: Vec<bool>,
        order: Order,
        simulate: impl Fn(&[f64]) -> (Verdict, T),
    ) -> (Vec<Option<T>>, Bracket<'_>) {
        let mut found: Vec<Option<T>> = self.loads.iter().map(|_| None).collect();
        let mut bracket = Bracket::new(self.loads, wanted, order);
        while let Some(load) = bracket.next() {
            let (verdict, answer) = simulate(&self.loads[load]);
            match self.ask.runs {
                HourRuns::Needed => bracket.judge(load, verdict),
                HourRuns::Each => bracket.judge_alone(load),
            }
            found[load] = Some(answer);
        }
        (found, bracket)
    }

    /// The survivors' steady runs at a load; `None` where no workload has anything to do.
    fn steady(&self, plan: &CasePlan, load: &[f64]) -> Option<(Site, SteadyRuns)> {
        let site = at(self.site, load);
        if site.workloads.is_empty() {
            return None;
        }
        let plans = case::cases_as(&site, &Fabric::new(&site), None, true);
        let plan = plans.into_iter().find(|own| own.case == plan.case)?;
        let runs = steady::run(&site, &[plan], self.progress);
        runs.into_iter().next().map(|runs| (site, runs))
    }

    fn state(&self, plan: &CasePlan, load: &[f64]) -> Option<State> {
        let (site, runs) = self.steady(plan, load)?;
        let matrix = judge::matrix(&site, std::slice::from_ref(&runs), &[]);
        let figures = &runs.figures;
        Some(State {
            verdict: together(&matrix, figures.partial),
            saturated: figures.saturated,
            partial: figures.partial,
            fullest: fullest::fullest_of(&site, &Fabric::new(&site), &runs.plan, figures),
            matrix,
        })
    }

    /// The drain and the loss at a load; `None` where nothing is promised of it by work that there is.
    fn way(&self, plan: &CasePlan, load: &[f64]) -> Option<Way> {
        let promised = |work: &Workload| !work.promises.switching.is_empty();
        let there = at(self.site, load);
        if !there.workloads.iter().any(promised) {
            return None;
        }
        let (site, runs) = self.steady(plan, load)?;
        let whole = Compiled::new(&site, &[]);
        let switch = switch::run(&site, &whole, &runs.plan, &runs, true, self.progress);
        let works = switch.workloads.iter();
        let longest = works.flat_map(|work| work.longest_io_s.iter().copied());
        let longest_io_s = longest.reduce(f64::max);
        let partial = switch.partial;
        let mut matrix = judge::matrix(&site, std::slice::from_ref(&runs), &[switch]);
        matrix.rows.retain(|row| row.switching);
        Some(Way {
            verdict: together(&matrix, partial),
            matrix,
            partial,
            longest_io_s,
        })
    }

    /// How a load was judged, and the first hour of the one that judged it.
    fn how(&self, hour: usize, load: usize, bracket: &Bracket<'_>) -> (JudgedBy, u32) {
        let from = bracket.judge_of(load);
        let first = self.day.iter().position(|own| *own == self.loads[from]);
        let first = first.unwrap_or(hour);
        let by = match bracket.judged(load) {
            Judged::Below(_) => JudgedBy::BusierHour,
            Judged::Above(_) => JudgedBy::QuieterHour,
            Judged::Alone if first != hour => JudgedBy::SameLoad,
            Judged::Alone => JudgedBy::Simulated,
        };
        (by, u32::try_from(first).unwrap_or(u32::MAX))
    }

    /// What a workload promises of its throughput at a load: that of another hour is another target.
    fn throughput_of(&self, load: &[f64], workload: &str) -> Option<String> {
        let site = at(self.site, load);
        let work = site.workloads.iter().find(|work| work.name == workload)?;
        let mut promises = work.promises.lost.iter();
        let own = promises.find(|promise| promise.measure == Measure::Throughput)?;
        Some(own.text.clone())
    }

    fn row(&self, hour: usize, known: &Known<'_>) -> HourRow {
        let factors = &self.day[hour];
        let load = self
            .loads
            .iter()
            .position(|own| own == factors)
            .unwrap_or(0);
        let number = u32::try_from(hour).unwrap_or(u32::MAX);
        let blank = State::idle();
        let idle = factors.iter().all(|factor| *factor == 0.0);
        let (judged_by, figures_of_hour) = if idle {
            (JudgedBy::NoWork, number)
        } else {
            self.how(hour, load, &known.of_states)
        };
        let state = known.states[known.of_states.judge_of(load)].as_ref();
        let state = state.filter(|_| !idle).unwrap_or(&blank);
        // An hour without any promise about switching has a way without a row.
        let way = known.ways[known.of_ways.judge_of(load)].as_ref();
        let way = way.filter(|way| !idle && !way.matrix.rows.is_empty());
        let (way_by, way_of) = self.how(hour, load, &known.of_ways);
        // A busier hour may have work that this one has not.
        let works = self.site.workloads.iter().zip(factors);
        let busy = works.filter(|(_, factor)| **factor > 0.0);
        let busy: Vec<&str> = busy.map(|(work, _)| work.name.as_str()).collect();
        let mut best = tightest(&state.matrix, judged_by, &busy);
        if let Some(way) = way {
            best = nearer(best, tightest(&way.matrix, way_by, &busy));
        }
        if let Some(Near { tightest, .. }) = &mut best
            && tightest.measure == MeasureKind::Throughput
            && let Some(own) = self.throughput_of(factors, &tightest.workload)
        {
            tightest.target_text = own;
        }
        let switch_over = way.map(|way| way.verdict);
        HourRow {
            hour: number,
            least_factor: factors.iter().copied().fold(1.0, f64::min),
            most_factor: factors.iter().copied().fold(0.0, f64::max),
            verdict: switch_over.map_or(state.verdict, |way| worse(state.verdict, way)),
            state: state.verdict,
            judged_by,
            figures_of_hour,
            switch_over,
            switch_judged_by: way.map(|_| way_by),
            switch_of_hour: way.map(|_| way_of),
            margin_percent: best.as_ref().and_then(|best| best.tightest.margin_percent),
            tightest: best.map(|best| best.tightest),
            saturated: state.saturated,
            partial: state.partial || way.is_some_and(|way| way.partial),
            fullest: state.fullest.clone(),
            longest_io_s: way.and_then(|way| way.longest_io_s),
            rows: if judged_by == JudgedBy::Simulated {
                let ways = way.filter(|_| way_by == JudgedBy::Simulated);
                let ways = ways.map_or(&[][..], |way| &way.matrix.rows);
                state.matrix.rows.iter().chain(ways).cloned().collect()
            } else {
                Vec::new()
            },
        }
    }
}

/// Nobody asks for anything, so nothing can be missed.
impl State {
    const fn idle() -> Self {
        Self {
            verdict: Verdict::Met,
            matrix: NOTHING,
            saturated: false,
            partial: false,
            fullest: None,
        }
    }
}

impl Way {
    const fn idle() -> Self {
        Self {
            verdict: Verdict::Met,
            matrix: NOTHING,
            partial: false,
            longest_io_s: None,
        }
    }
}

const NOTHING: Matrix = Matrix {
    cases: Vec::new(),
    rows: Vec::new(),
};

/// Met when every promise is (or none is made), missed when one is. A run that was cut short proves nothing but a
/// miss.
fn together(matrix: &Matrix, partial: bool) -> Verdict {
    let cells = matrix
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten());
    let found = cells.map(|cell| cell.verdict).fold(Verdict::Met, worse);
    if partial {
        worse(found, Verdict::Undecided)
    } else {
        found
    }
}

fn worse(one: Verdict, other: Verdict) -> Verdict {
    match (one, other) {
        (Verdict::Missed, _) | (_, Verdict::Missed) => Verdict::Missed,
        (Verdict::Undecided, _) | (_, Verdict::Undecided) => Verdict::Undecided,
        (Verdict::Met, Verdict::Met) => Verdict::Met,
    }
}

/// A promise and how near to its limit it is: those missed first, then undecided, then met, by their margins; one without
/// a margin, because its work does not fit or its I/Os failed, comes first where it is not met and last where it is.
struct Near {
    rank: (u8, f64),
    tightest: Tightest,
}

fn tightest(matrix: &Matrix, judged_by: JudgedBy, busy: &[&str]) -> Option<Near> {
    let near = |row: &Row, cell: &Cell| {
        let (rank, none) = match cell.verdict {
            Verdict::Missed => (0, f64::NEG_INFINITY),
            Verdict::Undecided => (1, f64::NEG_INFINITY),
            Verdict::Met => (2, f64::INFINITY),
        };
        Near {
            rank: (rank, cell.margin_percent.unwrap_or(none)),
            tightest: Tightest {
                workload: row.workload.clone(),
                measure: row.measure,
                target_text: cell.target_text.clone(),
                margin_percent: cell.margin_percent,
                judged_by,
            },
        }
    };
    let cells = |row| -> Vec<Near> {
        let row: &Row = row;
        row.cells
            .iter()
            .flatten()
            .map(|cell| near(row, cell))
            .collect()
    };
    let own = matrix.rows.iter();
    let own = own.filter(|row| busy.contains(&row.workload.as_str()));
    let all = own.flat_map(cells);
    all.fold(None, |best, next| nearer(best, Some(next)))
}

/// The nearer of two, the first where they are alike.
fn nearer(one: Option<Near>, other: Option<Near>) -> Option<Near> {
    match (one, other) {
        (Some(one), Some(other)) if other.rank < one.rank => Some(other),
        (Some(one), _) => Some(one),
        (None, other) => other,
    }
}

/// The site at a load: workloads that have nothing to do are left out, which shifts no draw of the others. A
/// throughput promised shrinks with the work: less cannot come out than goes in.
fn at(site: &Site, load: &[f64]) -> Site {
    let mut site = site.clone();
    site.variants.clear();
    site.steps.clear();
    site.growth = None;
    site.assumptions.clear();
    site.run.within = None;
    let works = std::mem::take(&mut site.workloads);
    site.workloads = works
        .into_iter()
        .zip(load)
        .filter(|(_, factor)| **factor > 0.0)
        .map(|(mut work, factor)| {
            let depth = depth_of(&work);
            work_at(&mut work, *factor);
            let closed = depth.zip(depth_of(&work));
            let promises = &mut work.promises;
            let all = promises.healthy.iter_mut().chain(&mut promises.lost);
            for promise in all.filter(|promise| promise.measure == Measure::Throughput) {
                match closed {
                    // A depth is rounded, and the promise goes by what is left of it.
                    Some((before, after)) if after != before => {
                        promise.target *= f64::from(after) / f64::from(before);
                        promise.text = format!("{} × {after} ÷ {before}", promise.text);
                    }
                    None if *factor < 1.0 => promise.text = format!("{} × {factor}", promise.text),
                    _ => {}
                }
            }
            work
        })
        .collect();
    site
}

const fn depth_of(work: &Workload) -> Option<u32> {
    match work.arrivals {
        Arrivals::Closed { depth, .. } => Some(depth),
        _ => None,
    }
}
