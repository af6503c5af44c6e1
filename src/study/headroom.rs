//! How far the work can grow: the largest load factor at which every promise holds, by case.
//!
//! Three steps. **Arithmetic**: the factor at which the fullest part is full on the mean bounds the search, and so do
//! promises that no load keeps (`outlook`). **Pilot runs**: a few loads below that, then bisection on the interpolated
//! distance from the promises, until the edge is known to two per cent or as closely as so many replications can tell
//! (`spread`). Pilot runs prove nothing. **Proof**: fresh replications, at loads in rising distance from the edge, below
//! it until one is *met* and above it until one is *missed*; distances at which the pilot runs leave a test no chance
//! are passed over. Where no pilot run breaks a promise up to the largest load that there is to try, that load itself
//! is the first to be tested.
//!
//! The 5 % of error of a case is split in halves for the two ends; each half is shared evenly by the loads
//! that its end may be tested at (`TESTS`, fixed beforehand). A load is wrongly *met* only if the promise
//! that it breaks is wrongly met, so promises do not share that half; any promise may be wrongly *missed*, so
//! they share the other (Bonferroni). As the loads are chosen by the pilot runs and judged on other
//! replications, the choice biases no verdict.
//!
//! Today's load is put to the proof as well, where the ends leave it open. What grows is the load, or the number of hosts of
//! one family; then factors are whole hosts ÷ today's hosts. Where closed loops ask for everything, they are whole depths ÷
//! today's. Of whole numbers those next to the proven ends are tested too, as long as an end has tests left.
//!
//! Promises about switching limit no load here; with the load found, each switch-over is run once and judged, and again at a
//! few lower loads where it is not met (`switch_over`).
//!
//! Runs that would prove a load met are made as long as the queues remember, up to a limit; beyond it nothing is met
//! (`length`).
//!
//! A load below one that is met is taken to be met, except where that is in doubt: then some are run (`below`). None is called met
//! where arithmetic says that a part is over its capacity: a run of finite length can look steady there. Where theory leaves no
//! doubt that a load beyond it breaks a promise, that is said as well (`certain`).
//!
//! Left out: several factors at once.

mod ahead;
mod answer;
mod below;
mod certain;
mod curve;
mod edge;
mod hungry;
mod length;
mod outlook;
mod ranks;
mod run;
mod scale;
mod spread;
mod switch_over;

use super::case::{self, CasePlan};
use super::estimate::{Estimate, damage_note, estimate_by_member, fullest};
use super::parts;
use super::progress::Progress;
use super::review::{OverBudget, over_port_budgets};
use crate::outcome::{
    CaseHeadroom, DepthLimit, Headroom, LoadPoint, Origin, PartLoad, Purpose, Steady,
};
use crate::site::Site;
use crate::topology::Fabric;
use rayon::prelude::*;

use ahead::At;
pub(super) use ahead::whole as runs_of_a_search;
pub(super) use answer::closed_notes;
use answer::{answer, notes, notes_of_cases};
use edge::{first_pilots, neighbours, next_pilot, proofs, today_proof};
use outlook::{Outlook, outlook};
use run::{Held, one, together};
use scale::Scale;
pub(super) use scale::work_at;
pub use scale::{Hosts, bring_no_more, rounded_depths, scaled};

/// Distances from the crossing at which an end may be tested, nearest first.
const STEPS: [f64; 5] = [0.01, 0.025, 0.06, 0.15, 0.35];
/// Tests that each end may take: one at each distance, and one at today's load. Where whole numbers grow, those that are not
/// taken may go to the numbers next to what is proven.
const TESTS: usize = STEPS.len() + 1;
/// From this test on there are twice as many replications: what two tests near the edge have left open, more of the same
/// hardly decides farther off. A choice of this program, fixed beforehand, so that each test keeps its share of the error.
const TWICE_FROM: usize = 2;
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
    /// The queue depth, where that fills before any part.
    depth: Option<DepthLimit>,
    /// The same while every bursty workload is in a burst.
    in_bursts: Option<f64>,
    /// A load below one that is met need not be met as well: hosts look at queues over unlike ways.
    unlike: bool,
    /// Names of workloads of which some go over ways with room while others of theirs are full.
    partly_free: Vec<String>,
    /// By arithmetic no load above this keeps every promise.
    certain: Option<f64>,
    /// The load towards which means rise without bound; `None` where it is not known well.
    pole: Option<f64>,
    /// No load above this is called met.
    cliff: f64,
    outlook: Outlook,
    promises: usize,
    replications: u32,
    points: Vec<Judged>,
    today: Option<Steady>,
}

impl Search {
    /// No load below this is of use: less is asked for than is promised.
    fn floor(&self) -> f64 {
        let floor = self.outlook.floor.as_ref();
        floor.map_or(0.0, |floor| floor.factor)
    }
}

/// A point, how far its worst promise is from its limit, as a logarithm (above 0 is broken), and how much is known
/// of that: one over its variance.
struct Judged {
    point: LoadPoint,
    excess: f64,
    weight: f64,
    /// The worst promise is one of a mean.
    mean: bool,
    /// Of the logarithm of the worst promise's figure, over the replications.
    variance: Option<f64>,
    /// Nothing is broken but a throughput: too little may be asked for, not too much.
    short: bool,
    /// Nothing is broken but throughputs of closed loops, which fewer I/Os outstanding bring less of.
    starved: bool,
    /// The workload of the promise that is broken, or nearest its limit.
    nearest: Option<String>,
    /// The part that this work waits for most, where the promise is one of latency; else, where it is broken, the fullest on its way.
    in_the_way: Option<PartLoad>,
    /// Another part on the way of the work of a promise that is broken which is about as full as that.
    beside: Option<PartLoad>,
    /// How much of the mean latency of that promise's work is no waiting, per cent.
    unwaited_percent: Option<f64>,
    /// Its intervals that reached below what an I/O takes at least.
    held: Held,
}

/// One load to run.
#[derive(Clone, Copy)]
struct Job {
    case: usize,
    factor: f64,
    purpose: Purpose,
    replications: u32,
}

/// Searches every case, healthy and the outages asked for, for the load.
#[must_use]
pub fn headroom(site: &Site, origin: Origin, ask: &Ask, progress: &dyn Progress) -> Headroom {
    search(site, &Scale::of_load(site, ask.most), origin, ask, progress)
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
    let found = |hosts: &Hosts<'_>| {
        let scale = Scale::of(hosts, ask.most);
        search(site, &scale, origin, ask, progress)
    };
    let mut found = within_budgets(site, hosts, found);
    for over in over_port_budgets(site) {
        let note = format!(
            "port budget, {}: too few today, so that they bound no number of hosts here; with one that has enough today, hosts end \
             where it has no more",
            over.what
        );
        found
            .notes
            .extend((!found.notes.contains(&note)).then_some(note));
    }
    found
}

/// What `found` makes of hosts that are not built beyond those ports of their switches that are enough today.
fn within_budgets<R>(site: &Site, hosts: &Hosts<'_>, found: impl FnOnce(&Hosts<'_>) -> R) -> R {
    let today = over_port_budgets(site);
    let beyond = |over: &&OverBudget| !today.iter().any(|own| own.budget == over.budget);
    let with = |count: u32| {
        let built = (hosts.with)(count)?;
        match over_port_budgets(&built).iter().find(beyond) {
            Some(over) => Err(format!("port budget, {}", over.what)),
            None => Ok(built),
        }
    };
    found(&Hosts {
        with: &with,
        ..*hosts
    })
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

/// The factor of work that grows unevenly, as in [`headroom_over_time`], at which the fullest part is full on the mean in each
/// case, or queue depths let no more through; none where that is beyond twice `most`.
#[must_use]
pub(crate) fn full_over_time(
    site: &Site,
    exponents: &[f64],
    most: f64,
    outages: Option<&[String]>,
) -> Vec<ByArithmetic> {
    let scale = Scale::Uneven {
        exponents: exponents.to_vec(),
        most,
    };
    let full = |_: &Fabric, _: &Estimate, case: &str| scale.saturation(site, case);
    full_by(site, &scale, outages, &full)
}

/// What arithmetic says of a case.
#[derive(Clone, Debug, PartialEq)]
pub struct ByArithmetic {
    /// Which case.
    pub case: String,
    /// Times today's load at which the fullest part is full on the mean, or queue depths let no more through, whichever is
    /// less; `None` where all work is a closed loop, or none has a path.
    pub full: Option<f64>,
    /// Whether no work has a path.
    pub cut_off: bool,
    /// The workload whose hosts have all under way that they may, where that is the less.
    pub waits: Option<String>,
}

/// The factor at which the fullest part is full on the mean in each case, by arithmetic: an answer without a run.
#[must_use]
pub fn by_arithmetic(site: &Site, outages: Option<&[String]>) -> Vec<ByArithmetic> {
    let full = |fabric: &Fabric, loads: &Estimate, case: &str| {
        fullest(site, fabric, loads, case).map(|share| 1.0 / share)
    };
    full_by(site, &Scale::Load, outages, &full)
}

/// What is full in each case: what `full` says of the parts, or a queue depth.
fn full_by(
    site: &Site,
    scale: &Scale<'_>,
    outages: Option<&[String]>,
    full: &dyn Fn(&Fabric, &Estimate, &str) -> Option<f64>,
) -> Vec<ByArithmetic> {
    let fabric = Fabric::new(site);
    let loads = estimate_by_member(site, &fabric);
    case::cases(site, &fabric, outages)
        .into_iter()
        .map(|plan| {
            let full = full(&fabric, &loads, &plan.case.name);
            let depth = scale.depth_limit(site, &fabric, &loads, &plan.case.name);
            let (full, depth) = lesser(full, depth);
            ByArithmetic {
                cut_off: outlook::all_cut_off(site, &fabric, &plan),
                case: plan.case.name,
                full,
                waits: depth.map(|depth| depth.workload),
            }
        })
        .collect()
}

/// The number of hosts at which the fullest part is full on the mean in each case, by arithmetic; `None` where none that can be
/// built, up to `most` times today's, fills one.
#[must_use]
pub fn by_arithmetic_in_hosts(
    site: &Site,
    hosts: &Hosts<'_>,
    most: f64,
    outages: Option<&[String]>,
) -> Vec<(String, Option<f64>)> {
    let fabric = Fabric::new(site);
    let found = |hosts: &Hosts<'_>| {
        let scale = Scale::of(hosts, most);
        let plans = case::cases(site, &fabric, outages).into_iter();
        plans
            .map(|plan| {
                let full = scale.saturation(site, &plan.case.name);
                let count = full.map(|factor| (factor * f64::from(hosts.today)).round());
                (plan.case.name, count)
            })
            .collect()
    };
    within_budgets(site, hosts, found)
}

/// The lesser of what fills a part and what queue depths let through; the latter where it is that.
fn lesser(full: Option<f64>, depth: Option<DepthLimit>) -> (Option<f64>, Option<DepthLimit>) {
    let depth = depth.filter(|depth| full.is_none_or(|full| depth.factor < full));
    (depth.as_ref().map(|depth| depth.factor).or(full), depth)
}

fn search(
    site: &Site,
    scale: &Scale<'_>,
    origin: Origin,
    ask: &Ask,
    progress: &dyn Progress,
) -> Headroom {
    let fabric = Fabric::new(site);
    let loads = estimate_by_member(site, &fabric);
    let most = scale.most(ask.most);
    let mut searches: Vec<Search> = case::cases(site, &fabric, ask.outages.as_deref())
        .into_iter()
        .map(|plan| {
            let depth = scale.depth_limit(site, &fabric, &loads, &plan.case.name);
            let (saturation, depth) = lesser(scale.saturation(site, &plan.case.name), depth);
            let own = loads.cases.iter().find(|own| own.name == plan.case.name);
            let certain = certain::breaks_when_full(site, &fabric, scale, &plan);
            Search {
                unlike: own.is_some_and(|own| below::unlike(site, &fabric, own, &plan.case)),
                partly_free: own
                    .map_or_else(Vec::new, |own| below::partly_free(site, &fabric, own)),
                certain: saturation.filter(|_| certain),
                pole: scale.pole(saturation).filter(|_| depth.is_none()),
                saturation,
                depth,
                in_bursts: scale.full_in_bursts(site, &plan.case.name),
                cliff: scale.cliff(site, &plan.case.name),
                outlook: outlook(site, scale, &plan, saturation, most),
                promises: promises_in(site, plan.case.outage.is_some()),
                replications: site.run.replications,
                plan,
                points: Vec::new(),
                today: None,
            }
        })
        .collect();
    let looking = Looking {
        site,
        scale,
        most,
        switching: ask.switch_overs,
        progress,
    };
    looking.look(&mut searches);
    let today: Vec<Steady> = searches.iter().filter_map(|s| s.today.clone()).collect();
    let mut parts = parts::parts_with_depths(site, &fabric, &loads, &today);
    // A case that was not run uses no part.
    for (index, _) in searches
        .iter()
        .enumerate()
        .filter(|(_, s)| s.today.is_none())
    {
        for part in &mut parts {
            part.cases.insert(index.min(part.cases.len()), None);
        }
    }
    let points = searches.iter().flat_map(|search| &search.points);
    let held = points.fold(Held::default(), |all, judged| all.or(judged.held));
    let mut cases: Vec<CaseHeadroom> = searches
        .into_iter()
        .map(|search| answer(site, search, scale, most))
        .collect();
    let ask_switch = ask.switch_overs && !progress.stopped();
    if ask_switch {
        progress.stage("switch-overs at the loads that are proven");
    }
    progress.ahead(0);
    let switch_overs = switch_over::judge_all(site, scale, ask_switch, &mut cases, progress);
    let mut notes = notes(site, scale);
    notes.extend(notes_of_cases(&cases, held));
    notes.extend(damage_note(site));
    Headroom {
        origin,
        confidence_percent: 100.0 * (1.0 - ERROR),
        most,
        grows: scale.grows(),
        parts,
        notes,
        cases,
        switch_overs,
        partial: progress.stopped(),
    }
}

/// A search for the edges of all cases side by side.
struct Looking<'a> {
    site: &'a Site,
    scale: &'a Scale<'a>,
    most: f64,
    /// Whether switch-overs are judged afterwards.
    switching: bool,
    progress: &'a dyn Progress,
}

impl Looking<'_> {
    /// Pilot runs, then proofs; ends early where nobody waits any more.
    fn look(&self, searches: &mut [Search]) {
        let stated = self.site.run.replications;
        let pilot = |case: usize, factor: f64| Job {
            case,
            factor,
            purpose: Purpose::Pilot,
            replications: stated.div_ceil(2).max(2).min(stated),
        };
        let first: Vec<Job> = (0..searches.len())
            .flat_map(|case| {
                let factors = first_pilots(&searches[case], self.scale, self.most);
                factors.into_iter().map(move |factor| pilot(case, factor))
            })
            .collect();
        let said = "looking for the edge, first loads";
        self.run(searches, &first, At::Pilots(0), said);
        for round in 0..ROUNDS {
            let next = |(case, search): (usize, &Search)| {
                if all_cut(search) {
                    return None;
                }
                let factor = next_pilot(search, self.scale, round, self.most)?;
                Some(pilot(case, factor))
            };
            let jobs: Vec<Job> = searches.iter().enumerate().filter_map(next).collect();
            if jobs.is_empty() || self.progress.stopped() {
                break;
            }
            let said = format!("looking for the edge, round {}", round + 1);
            self.run(searches, &jobs, At::Pilots(round + 1), &said);
        }
        for (number, step) in STEPS.into_iter().enumerate() {
            let said = format!("proof, {}\u{202F}% off the edge", step * 100.0);
            let tests = |search: &Search| proofs(search, self.scale, number, self.most);
            self.prove(searches, &tests, number, &said);
        }
        let last = TESTS - 1;
        let tests = |search: &Search| today_proof(search, self.scale);
        self.prove(searches, &tests, last, "proof, today's load");
        // Of whole numbers, those next to what is proven, with twice the replications: they are near.
        let tests = |search: &Search| neighbours(search, self.scale, self.most);
        while self.prove(searches, &tests, last, "proof, whole numbers between") {}
        let tests = |search: &Search| {
            let factors = below::loads(search, self.scale).into_iter();
            factors.map(|factor| (factor, Purpose::Below)).collect()
        };
        self.prove(searches, &tests, 0, "loads below what is proven");
    }

    /// Makes the tests of that number that each search wants; whether there were any.
    fn prove(
        &self,
        searches: &mut [Search],
        tests: &dyn Fn(&Search) -> Vec<(f64, Purpose)>,
        number: usize,
        said: &str,
    ) -> bool {
        let replications = proving(self.site.run.replications, number);
        let of = |(case, search): (usize, &Search)| {
            let job = move |(factor, purpose)| Job {
                case,
                factor,
                purpose,
                replications,
            };
            tests(search).into_iter().map(job).collect::<Vec<Job>>()
        };
        let open = searches.iter().enumerate();
        let open = open.filter(|(_, search)| !all_cut(search));
        let jobs: Vec<Job> = open.flat_map(of).collect();
        if jobs.is_empty() || self.progress.stopped() {
            return false;
        }
        self.run(searches, &jobs, At::Proofs(number), said);
        true
    }

    /// Runs the jobs, all of them and all their replications in parallel; results go to their searches in order. What was
    /// under way when nobody waited any more is dropped.
    fn run(&self, searches: &mut [Search], jobs: &[Job], at: At, said: &str) {
        let (site, scale, progress) = (self.site, self.scale, self.progress);
        progress.ahead(ahead::runs(site, searches, self.switching, at));
        progress.stage(said);
        let done: Vec<Option<(Judged, Option<Steady>)>> = jobs
            .par_iter()
            .map(|job| {
                if progress.stopped() {
                    return None;
                }
                let done = one(site, scale, &searches[job.case], job, progress);
                (!progress.stopped()).then_some(done)
            })
            .collect();
        for (job, done) in jobs.iter().zip(done) {
            let Some((judged, steady)) = done else {
                continue;
            };
            let search = &mut searches[job.case];
            search.points.push(judged);
            search.today = search.today.take().or(steady);
        }
    }
}

/// Whether a limit on events or memory cut every run of a case: longer ones of the same site would be cut as well, and prove nothing.
fn all_cut(search: &Search) -> bool {
    let mut runs = search
        .points
        .iter()
        .filter(|own| own.point.replications > 0);
    runs.next().is_some_and(|first| first.point.partial) && runs.all(|own| own.point.partial)
}

/// Replications of the test of that number. One replication is what somebody wants who asks for one.
fn proving(stated: u32, number: usize) -> u32 {
    if number < TWICE_FROM || stated < 2 {
        stated
    } else {
        2 * stated
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

#[cfg(test)]
mod tests;
