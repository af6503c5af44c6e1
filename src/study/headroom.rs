//! How far the work can grow: the largest load factor at which every promise holds, by case.
//!
//! Three steps. **Arithmetic**: the factor at which the fullest part is full on the mean bounds the search.
//! **Pilot runs**: a few loads below that, then bisection on the interpolated distance from the promises,
//! until the edge is known to two per cent. Pilot runs prove nothing. **Proof**: fresh replications, at loads
//! in rising distance from the edge, below it until one is *met* and above it until one is *missed*.
//!
//! The 5 % of error of a case is split in halves for the two ends; each half is shared evenly by the loads
//! that its end may be tested at (`STEPS`, fixed beforehand). A load is wrongly *met* only if the promise
//! that it breaks is wrongly met, so promises do not share that half; any promise may be wrongly *missed*, so
//! they share the other (Bonferroni). As the loads are chosen by the pilot runs and judged on other
//! replications, the choice biases no verdict.
//!
//! What grows is the load, or the number of hosts of one family; then factors are whole hosts ÷ today's hosts.
//!
//! Promises about switching limit no load here; with the load found, each switch-over is run once and judged.
//!
//! Left out: several factors at once. A load
//! below one that is met is taken to be met, and none is called met where arithmetic says that a part is over
//! its capacity: a run of finite length can look steady there.

mod answer;
mod curve;
mod edge;
mod scale;
mod switch_over;

use super::case::{self, CasePlan};
use super::estimate::estimate;
use super::progress::Progress;
use super::{judge, parts, steady};
use crate::measure::Trust;
use crate::outcome::{
    CaseHeadroom, Headroom, LoadPoint, LoadRow, Origin, PartLoad, PartUse, Purpose, Steady, Verdict,
};
use crate::site::Site;
use crate::topology::Fabric;
use rayon::prelude::*;

use answer::{answer, notes};
use edge::{excess, next_pilot, proofs};
use scale::Scale;
pub(super) use scale::work_at;
pub use scale::{Hosts, scaled};

/// Distances from the crossing at which an end may be tested, nearest first.
const STEPS: [f64; 5] = [0.01, 0.025, 0.06, 0.15, 0.35];
/// Error of a case's bracket.
const ERROR: f64 = 0.05;
/// Pilot runs stop when the edge is known so closely.
const CLOSE: f64 = 0.02;
/// Rounds of pilot runs after the first.
const ROUNDS: usize = 12;
/// The lowest factor tried.
const LEAST: f64 = 1.0 / 64.0;
/// Replications of proofs are numbered from here, above all of pilot runs.
const FRESH: u32 = 1_000_000;
/// No load is called met beyond this share of what arithmetic says a part can carry.
pub(super) const CLIFF: f64 = 0.99;

/// What to look for.
#[derive(Clone, Debug, PartialEq)]
pub struct Ask {
    /// Outages by name; `None` for all.
    pub outages: Option<Vec<String>>,
    /// Largest factor to try, > 1.
    pub most: f64,
    /// Whether the switch-over of each outage is judged at the load that is proven.
    pub switch_overs: bool,
}

/// Whether there is a promise that a steady state can keep or break.
#[must_use]
pub fn has_promises(site: &Site) -> bool {
    site.workloads
        .iter()
        .any(|workload| !workload.promises.healthy.is_empty() || !workload.promises.lost.is_empty())
}

/// The state of one case's search.
struct Search {
    plan: CasePlan,
    saturation: Option<f64>,
    /// No load above this is called met.
    cliff: f64,
    promises: usize,
    points: Vec<Judged>,
    today: Option<Steady>,
}

/// A point, how far its worst promise is from its limit, as a logarithm (above 0 is broken), and how much is known
/// of that: I/Os above the target, 1 for a mean.
struct Judged {
    point: LoadPoint,
    excess: f64,
    weight: f64,
}

/// One load to run.
#[derive(Clone, Copy)]
struct Job {
    case: usize,
    factor: f64,
    purpose: Purpose,
}

/// Searches every case, healthy and the outages asked for, for the load.
#[must_use]
pub fn headroom(site: &Site, origin: Origin, ask: &Ask, progress: &dyn Progress) -> Headroom {
    search(site, &Scale::Load, origin, ask, progress)
}

/// The same for the number of hosts of a family.
#[must_use]
pub fn headroom_in_hosts(
    site: &Site,
    hosts: &Hosts<'_>,
    origin: Origin,
    ask: &Ask,
    progress: &dyn Progress,
) -> Headroom {
    search(site, &Scale::of(hosts, ask.most), origin, ask, progress)
}

/// The same for work that grows unevenly: workload `i` by factor ^ `exponents[i]`.
#[must_use]
pub(crate) fn headroom_over_time(
    site: &Site,
    exponents: &[f64],
    origin: Origin,
    ask: &Ask,
    progress: &dyn Progress,
) -> Headroom {
    let scale = Scale::Uneven {
        exponents: exponents.to_vec(),
        most: ask.most,
    };
    search(site, &scale, origin, ask, progress)
}

/// The factor at which the fullest part is full on the mean in each case, by arithmetic: an answer without a run.
#[must_use]
pub fn by_arithmetic(site: &Site, outages: Option<&[String]>) -> Vec<(String, Option<f64>)> {
    let fabric = Fabric::new(site);
    let loads = estimate(site, &fabric);
    case::cases(site, &fabric, outages)
        .into_iter()
        .map(|plan| {
            let full = loads.fullest(&plan.case.name).map(|share| 1.0 / share);
            (plan.case.name, full)
        })
        .collect()
}

fn search(
    site: &Site,
    scale: &Scale<'_>,
    origin: Origin,
    ask: &Ask,
    progress: &dyn Progress,
) -> Headroom {
    let fabric = Fabric::new(site);
    let most = scale.most(ask.most);
    let mut searches: Vec<Search> = case::cases(site, &fabric, ask.outages.as_deref())
        .into_iter()
        .map(|plan| Search {
            saturation: scale.saturation(site, &plan.case.name),
            cliff: scale.cliff(site, &plan.case.name),
            promises: promises_in(site, plan.case.outage.is_some()),
            plan,
            points: Vec::new(),
            today: None,
        })
        .collect();
    let first: Vec<Job> = (0..searches.len())
        .flat_map(|case| {
            scale
                .snapped(grid(searches[case].saturation, most))
                .into_iter()
                .map(move |factor| (case, factor))
        })
        .map(|(case, factor)| Job {
            case,
            factor,
            purpose: Purpose::Pilot,
        })
        .collect();
    run(site, scale, &mut searches, &first, progress);
    for round in 0..ROUNDS {
        let jobs: Vec<Job> = searches
            .iter()
            .enumerate()
            .filter_map(|(case, search)| {
                Some(Job {
                    case,
                    factor: next_pilot(search, scale, round, most)?,
                    purpose: Purpose::Pilot,
                })
            })
            .collect();
        if jobs.is_empty() {
            break;
        }
        run(site, scale, &mut searches, &jobs, progress);
    }
    for step in STEPS {
        let jobs: Vec<Job> = searches
            .iter()
            .enumerate()
            .flat_map(|(case, search)| {
                proofs(search, scale, step, most)
                    .into_iter()
                    .map(move |(factor, purpose)| Job {
                        case,
                        factor,
                        purpose,
                    })
            })
            .collect();
        run(site, scale, &mut searches, &jobs, progress);
    }
    let today: Vec<Steady> = searches.iter().filter_map(|s| s.today.clone()).collect();
    let mut cases: Vec<CaseHeadroom> = searches.into_iter().map(answer).collect();
    let switch_overs = switch_over::judge_all(site, scale, ask.switch_overs, &mut cases, progress);
    Headroom {
        origin,
        confidence_percent: 100.0 * (1.0 - ERROR),
        most,
        grows: scale.grows(),
        parts: parts::parts(site, &today),
        notes: notes(site, scale),
        cases,
        switch_overs,
    }
}

fn promises_in(site: &Site, lost: bool) -> usize {
    let of = |workload: &crate::site::Workload| {
        if lost {
            workload.promises.lost.len()
        } else {
            workload.promises.healthy.len()
        }
    };
    site.workloads.iter().map(of).sum()
}

/// The first loads: today's, and up to what arithmetic allows.
fn grid(saturation: Option<f64>, most: f64) -> Vec<f64> {
    let shares: &[f64] = match saturation {
        Some(_) => &[0.3, 0.6, 0.8, 0.9, 0.97],
        None => &[0.5, 2.0, 4.0],
    };
    let unit = saturation.unwrap_or(1.0);
    let mut all = vec![1.0];
    for share in shares {
        let factor = share * unit;
        let apart = all.iter().all(|known| (factor / known - 1.0).abs() > CLOSE);
        if apart && (LEAST..=most).contains(&factor) {
            all.push(factor);
        }
    }
    all
}

/// Runs the jobs, all of them and all their replications in parallel; results go to their searches in order.
fn run(
    site: &Site,
    scale: &Scale<'_>,
    searches: &mut [Search],
    jobs: &[Job],
    progress: &dyn Progress,
) {
    let done: Vec<(Judged, Option<Steady>)> = jobs
        .par_iter()
        .map(|job| one(site, scale, &searches[job.case], job, progress))
        .collect();
    for (job, (judged, steady)) in jobs.iter().zip(done) {
        let search = &mut searches[job.case];
        search.points.push(judged);
        search.today = search.today.take().or(steady);
    }
}

#[allow(clippy::cast_precision_loss)]
fn one(
    site: &Site,
    scale: &Scale<'_>,
    search: &Search,
    job: &Job,
    progress: &dyn Progress,
) -> (Judged, Option<Steady>) {
    let Some(mut scaled) = scale.site(site, job.factor) else {
        return (cannot_be_built(job), None);
    };
    let share = ERROR / 2.0 / STEPS.len() as f64;
    let (first, trust) = match job.purpose {
        Purpose::Pilot => {
            let half = site.run.replications.div_ceil(2).max(2);
            scaled.run.replications = half.min(site.run.replications);
            (0, Trust::ALONE)
        }
        Purpose::ProveMet | Purpose::ProveMissed => (
            FRESH,
            Trust {
                met: 1.0 - share,
                missed: 1.0 - share / search.promises.max(1) as f64,
            },
        ),
    };
    // More hosts are other parts: what an outage takes of them is found anew.
    let plan = case::cases(&scaled, &Fabric::new(&scaled), None)
        .into_iter()
        .find(|plan| plan.case == search.plan.case);
    let Some(plan) = plan else {
        return (cannot_be_built(job), None);
    };
    let runs = steady::run_from(&scaled, &[plan], first, progress);
    let matrix = judge::matrix_at(&scaled, &runs, &[], trust);
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let steady = &figures[0];
    let rows: Vec<LoadRow> = matrix
        .rows
        .into_iter()
        .filter_map(|row| {
            Some(LoadRow {
                workload: row.workload,
                measure: row.measure,
                cell: row.cells.into_iter().next()??,
            })
        })
        .collect();
    let uses = parts::parts(&scaled, &figures);
    let point = LoadPoint {
        factor: job.factor,
        purpose: job.purpose,
        replications: steady.replications,
        verdict: together(&rows, steady.partial),
        saturated: steady.saturated,
        partial: steady.partial,
        fullest: fullest(&uses),
        rows,
    };
    let (excess, weight) = excess(&point, steady);
    let today = (job.factor == 1.0 && job.purpose == Purpose::Pilot)
        .then(|| figures.into_iter().next())
        .flatten();
    let judged = Judged {
        point,
        excess,
        weight,
    };
    (judged, today)
}

/// A site that cannot be built proves nothing, and is beyond the edge.
const fn cannot_be_built(job: &Job) -> Judged {
    Judged {
        point: LoadPoint {
            factor: job.factor,
            purpose: job.purpose,
            replications: 0,
            verdict: Verdict::Undecided,
            saturated: false,
            partial: true,
            rows: Vec::new(),
            fullest: Vec::new(),
        },
        excess: f64::INFINITY,
        weight: 0.0,
    }
}

/// Met when every promise is, missed when one is. Nothing is proven by a run that was cut short, or where
/// there is nothing to judge.
fn together(rows: &[LoadRow], partial: bool) -> Verdict {
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

fn fullest(uses: &[PartUse]) -> Vec<PartLoad> {
    let mut all: Vec<PartLoad> = uses
        .iter()
        .filter_map(|part| {
            let used = part.cases.first()?.as_ref()?;
            Some(PartLoad {
                part: part.part.clone(),
                instance: used.instance.clone(),
                mean_percent: used.mean_percent,
                peak_percent: used.peak_percent,
            })
        })
        .collect();
    all.sort_by(|left, right| right.peak_percent.total_cmp(&left.peak_percent));
    all.truncate(3);
    all
}

#[cfg(test)]
mod tests;
