//! The day on which a promise breaks as the work grows: the site as it is, and after each planned step.
//!
//! Work grows by a share of itself each year, every workload by its own. What is searched is the factor of the work that
//! grows fastest, as [`headroom`](super::headroom) searches the load, with the others at the factor that they have on
//! the same day; a factor is a day. Both days of a case hold together with 95 %.
//!
//! Left out: promises on the switch-over, seasons, and growth that is not a share of what there is.

use super::estimate::damage_note;
use super::headroom::{Ask, closed_notes, full_over_time, headroom_over_time, runs_of_a_search};
use super::progress::Progress;
use crate::outcome::{
    Breaks, CaseHeadroom, GrowthPlan, LoadPoint, Origin, Purpose, Stage, StageCase, StageSearch,
    Standing, UnseenBursts, Verdict,
};
use crate::site::{Growth, Site};
use crate::unit::Date;

/// Plans the site's growth; `None` where the scenario states none.
#[must_use]
pub fn growth(
    site: &Site,
    origin: Origin,
    outages: Option<&[String]>,
    years: f64,
    progress: &dyn Progress,
) -> Option<GrowthPlan> {
    let growth = site.growth.as_ref()?;
    let fastest = fastest(growth);
    let ask = Ask {
        outages: outages.map(<[String]>::to_vec),
        most: libm::pow(1.0 + fastest, years),
        switch_overs: false,
    };
    let mut states = states(site, growth);
    // Of days beyond the years nothing is looked for.
    let far = |state: &State<'_>| growth.from.years_to(state.date) > years;
    let beyond: Vec<String> = states
        .iter()
        .filter(|state| far(state))
        .map(|state| format!("`{}` ({})", state.name, state.date))
        .collect();
    states.retain(|state| !far(state));
    let dates: Vec<Date> = states.iter().map(|state| state.date).collect();
    let stages: Vec<(Stage, &Site)> = states.iter().map(State::stage).collect();
    let to_come: Vec<u64> = stages
        .iter()
        .map(|(_, site)| runs_of_a_search(site, &ask))
        .collect();
    let mut confidence_percent = 95.0;
    let mut cut: Vec<String> = Vec::new();
    let mut unseen: Vec<UnseenBursts> = Vec::new();
    let mut hopeless = false;
    let stages = stages
        .into_iter()
        .enumerate()
        .map(|(index, (mut stage, site))| {
            let next = dates.get(index + 1).copied();
            stage.until = next.map(|date| date.to_string());
            let exponents = exponents(growth, site.workloads.len());
            let begun = !progress.stopped() && !hopeless;
            let later = Later {
                progress,
                runs: to_come[index + 1..].iter().sum(),
                stage: &stage.name,
                halted: hopeless,
            };
            let found = headroom_over_time(site, &exponents, origin.clone(), &ask, &later);
            let all = || found.cases.iter().flat_map(cut_runs);
            // What cuts every run here cuts those of larger loads as well.
            hopeless |= all().next().is_some() && all().all(|cut| cut);
            stage.search = match (begun, progress.stopped()) {
                (false, _) => StageSearch::NotBegun,
                (true, true) => StageSearch::Stopped,
                (true, false) => StageSearch::Whole,
            };
            confidence_percent = found.confidence_percent;
            cut.extend(found.is_cut().then(|| stage.name.clone()));
            for own in found.unseen_bursts() {
                let known = unseen.iter().any(|known| known.workload == own.workload);
                unseen.extend((!known).then_some(own));
            }
            stage.cases = found
                .cases
                .iter()
                .map(|case| dated(case, growth, (dates[index], next)))
                .collect();
            stage
        })
        .collect::<Vec<_>>();
    let mut cases = stages.iter().flat_map(|stage| &stage.cases);
    let short = cases.any(|case| case.asked_from.is_some());
    let names: Vec<&str> = unseen.iter().map(|own| own.workload.as_str()).collect();
    Some(GrowthPlan {
        origin,
        from: growth.from.to_string(),
        per_year_percent: site
            .workloads
            .iter()
            .zip(&growth.per_year)
            .map(|(work, growth)| (work.name.clone(), growth * 100.0))
            .collect(),
        confidence_percent,
        years,
        switching: site
            .workloads
            .iter()
            .any(|work| !work.promises.switching.is_empty()),
        stages,
        partial: progress.stopped(),
        unseen_bursts: unseen.clone(),
        cut: !cut.is_empty(),
        notes: [
            "growth is a share of the work each year; sizes, mix and hosts stay".to_owned(),
            format!("nothing was looked for beyond {years} years"),
            "a day by which a promise is broken is one that runs have proven; where a part or a queue depth is full by arithmetic \
             before it, latencies of the work that waits there already grow without end"
                .to_owned(),
            format!(
                "a day before one on which every promise holds is taken to keep them too{}",
                if short {
                    ", back to that from which on a throughput is kept"
                } else {
                    ""
                }
            ),
            "the days are those of the state after each loss; the switch-over itself, and what is promised of it, is not judged here \
             and no part of the exit code: `failover` judges it, with --set for the load of a day"
                .to_owned(),
        ]
        .into_iter()
        .chain((!beyond.is_empty()).then(|| {
            format!(
                "beyond the {years} years lies {}: nothing is said of it; --years looks farther",
                beyond.join(", ")
            )
        }))
        .chain((!cut.is_empty()).then(|| {
            format!(
                "partial: a limit (run.events_max, run.memory_max) stopped runs ({}), which prove nothing; a higher limit or shorter runs \
                 would let them end{}",
                cut.join(", "),
                if hopeless {
                    "; as every run was cut, the search ended there"
                } else {
                    ""
                }
            )
        }))
        .chain((!names.is_empty()).then(|| {
            format!(
                "bursts of {} are not in the busiest 20 ms of parts as the runs have them: of which they see too few, those are by arithmetic, and \
                 those shorter than 20 ms are spread over it; days are of what the runs saw, and `headroom` tells both",
                names.join(", ")
            )
        }))
        .chain(rate_notes(site, growth))
        .chain(closed_notes(site, ""))
        .chain(damage_note(site))
        .collect(),
    })
}

/// What a rate that a step sets is of: the day of the stated load, as every load of a scenario.
fn rate_notes(site: &Site, growth: &Growth) -> Vec<String> {
    let mut before = site;
    let mut notes = Vec::new();
    for step in &site.steps {
        let after = &*step.site;
        let pairs = before.workloads.iter().zip(&after.workloads);
        for ((old, new), per_year) in pairs.zip(&growth.per_year) {
            if old.arrivals == new.arrivals || *per_year <= 0.0 {
                continue;
            }
            let grown = libm::pow(1.0 + per_year, growth.from.years_to(step.date));
            notes.push(format!(
                "the arrivals of `{}` that step `{}` sets are those of {}, as all that the scenario states, and have grown to {grown:.3} \
                 times as much on {}: for a load of that day state it divided by {grown:.3}",
                new.name, step.name, growth.from, step.date
            ));
        }
        before = after;
    }
    notes
}

/// The site from some day on.
struct State<'a> {
    name: String,
    date: Date,
    set: Vec<(String, String)>,
    site: &'a Site,
}

/// The site as it is, then after the steps of each day: steps of one day are one state, for none of them lasts without the others.
fn states<'a>(site: &'a Site, growth: &Growth) -> Vec<State<'a>> {
    let mut states = vec![State {
        name: "as it is".to_owned(),
        date: growth.from,
        set: Vec::new(),
        site,
    }];
    for (index, step) in site.steps.iter().enumerate() {
        match states.last_mut() {
            Some(state) if index > 0 && state.date == step.date => {
                state.name = format!("{} and {}", state.name, step.name);
                state.set.extend(step.set.iter().cloned());
                state.site = &step.site;
            }
            _ => states.push(State {
                name: step.name.clone(),
                date: step.date,
                set: step.set.clone(),
                site: &step.site,
            }),
        }
    }
    states
}

impl<'a> State<'a> {
    fn stage(&self) -> (Stage, &'a Site) {
        let stage = Stage {
            name: self.name.clone(),
            date: self.date.to_string(),
            set: self.set.clone(),
            until: None,
            search: StageSearch::Whole,
            cases: Vec::new(),
        };
        (stage, self.site)
    }
}

/// The search of a stage, with those after it still to come.
struct Later<'a> {
    progress: &'a dyn Progress,
    /// Of the later stages.
    runs: u64,
    stage: &'a str,
    /// Nothing is run, as a limit cut every run before.
    halted: bool,
}

impl Progress for Later<'_> {
    fn planned(&self, runs: u64) {
        self.progress.planned(runs);
    }

    fn advanced(&self, events: u64) {
        self.progress.advanced(events);
    }

    fn run_done(&self) {
        self.progress.run_done();
    }

    fn stage(&self, what: &str) {
        self.progress.stage(&format!("{}, {what}", self.stage));
    }

    fn ahead(&self, runs: u64) {
        self.progress.ahead(runs + self.runs);
    }

    fn stopped(&self) -> bool {
        self.halted || self.progress.stopped()
    }
}

/// What arithmetic says of a stage: its name, the day from which it is there, and for each case the day on which the fullest
/// part is full on the mean or a queue depth lets no more through, at the earliest that of the stage; `None` where that is beyond the
/// years looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FullBy {
    /// `as it is`, or the name of the step.
    pub stage: String,
    /// The day from which it is there.
    pub date: String,
    /// Cases and days, and the workload whose hosts have all under way by then that they may, where that comes before any part is full.
    pub cases: Vec<(String, Option<String>, Option<String>)>,
}

/// The days on which parts are full on the mean, or queue depths: an answer without a run. `None` where the scenario states no growth.
#[must_use]
pub fn by_arithmetic(site: &Site, outages: Option<&[String]>, years: f64) -> Option<Vec<FullBy>> {
    let growth = site.growth.as_ref()?;
    let unit = libm::log1p(fastest(growth));
    let most = libm::pow(1.0 + fastest(growth), years);
    let of = |name: &str, begins: Date, site: &Site| {
        let exponents = exponents(growth, site.workloads.len());
        let full = full_over_time(site, &exponents, most, outages).into_iter();
        let day = |factor: f64| growth.from.after_years(libm::log(factor) / unit);
        FullBy {
            stage: name.to_owned(),
            date: begins.to_string(),
            cases: full
                .map(|found| {
                    let factor = found.full.filter(|factor| *factor <= most);
                    let day = factor.map(|factor| day(factor).max(begins).to_string());
                    (found.case, day, found.waits.filter(|_| factor.is_some()))
                })
                .collect(),
        }
    };
    let states = states(site, growth).into_iter();
    let all = states.map(|state| of(&state.name, state.date, state.site));
    Some(all.collect())
}

fn fastest(growth: &Growth) -> f64 {
    growth.per_year.iter().copied().fold(0.0, f64::max)
}

/// By which power of the fastest work's factor each workload grows.
fn exponents(growth: &Growth, workloads: usize) -> Vec<f64> {
    let unit = libm::log1p(fastest(growth));
    let of = |index: usize| {
        growth
            .per_year
            .get(index)
            .map_or(0.0, |own| libm::log1p(*own) / unit)
    };
    (0..workloads).map(of).collect()
}

/// Of each load that was run, whether a limit cut its runs.
fn cut_runs(case: &CaseHeadroom) -> impl Iterator<Item = bool> + '_ {
    let runs = case.points.iter().filter(|point| point.replications > 0);
    runs.map(|point| point.partial)
}

/// Factors as days.
fn dated(case: &CaseHeadroom, growth: &Growth, (begins, next): (Date, Option<Date>)) -> StageCase {
    let unit = libm::log1p(fastest(growth));
    // Of what holds the day before, of what breaks the day after.
    let day = |factor: f64| growth.from.after_years(libm::log(factor) / unit);
    let by = |factor: f64| growth.from.by_years(libm::log(factor) / unit);
    // What no load keeps is broken on no day in particular; before the first day there is none.
    let own = |factor: Option<f64>| factor.filter(|_| case.hopeless.is_none());
    // A stage says nothing of days before it.
    // A hole that a stage grows through ends it: what is proven beyond is no day before which nothing breaks.
    let hole = case.holes.iter().find(|hole| by(hole.factor) >= begins);
    let tried = case.points.iter().filter(|point| {
        let proof = matches!(point.purpose, Purpose::Below | Purpose::ProveMet);
        proof && point.verdict == Verdict::Met
    });
    let tried = tried.map(|point| point.factor);
    let (met, missed, breaks) = match hole {
        None => (case.met, case.missed, &case.breaks),
        Some(hole) => {
            let below = tried.filter(|factor| *factor < hole.factor);
            let below = below.reduce(f64::max);
            (below, Some(hole.factor), &Some(hole.breaks.clone()))
        }
    };
    let first_day = libm::pow(1.0 + fastest(growth), growth.from.years_to(begins));
    let (missed, breaks) = told_of(case, first_day, (missed, breaks));
    let (holds_factor, breaks_factor) = (own(met), own(missed));
    let met = holds_factor.map(day).filter(|day| *day >= begins);
    let missed = breaks_factor.map(|factor| by(factor).max(begins));
    let floor = case.floor.as_ref().filter(|floor| floor.factor > 1.0);
    // A stage says nothing of days before it here either.
    let asked_from = floor.map(|floor| by(floor.factor));
    let asked_from = asked_from.filter(|day| *day > begins);
    let standing = match (met, missed) {
        _ if case.hopeless.is_some() => Standing::Never,
        _ if case.today.is_none() => Standing::Unpromised,
        (_, Some(missed)) if missed <= begins => Standing::BrokenBefore,
        _ if asked_from.is_some() => {
            let asked = |day: Date| asked_from.is_some_and(|from| from < day);
            if next.is_none_or(asked) && missed.is_none_or(asked) {
                Standing::ShortAtFirst
            } else {
                Standing::BrokenBefore
            }
        }
        (Some(met), _) if next.is_some_and(|next| met >= next) => Standing::Holds,
        (_, Some(missed)) if next.is_none_or(|next| missed < next) => Standing::Breaks,
        _ => Standing::Open,
    };
    let text = |date: Option<Date>| date.map(|date| date.to_string());
    StageCase {
        case: case.case.clone(),
        holds_until: text(met),
        holds_factor,
        breaks_by: text(missed),
        breaks_factor,
        full_by: text(case.saturation.map(|factor| day(factor).max(begins))),
        full_depth: case.depth.as_ref().map(|depth| depth.workload.clone()),
        hopeless: case.hopeless.clone(),
        floor: floor.filter(|_| asked_from.is_some()).cloned(),
        asked_from: text(asked_from),
        standing,
        breaks,
        // A hole has no part that is full.
        ends: case.ends.clone().filter(|_| hole.is_none()),
        cut: cut_runs(case).any(|cut| cut),
    }
}

/// The load that tells of a stage that begins at `begins` times the first day's load, and the promise that it breaks. Over unlike
/// ways a load may keep what a lower one breaks, so that one below the stage's own tells nothing of it, as in `headroom`: there only
/// one that was tested does that the stage comes to, or one above which some part is full.
fn told_of(
    case: &CaseHeadroom,
    begins: f64,
    (missed, breaks): (Option<f64>, &Option<Breaks>),
) -> (Option<f64>, Option<Breaks>) {
    let own = |factor: f64| factor >= begins * (1.0 - 1e-9);
    let full = case.certain.is_some_and(|full| full < begins);
    if !case.unlike || full || missed.is_none_or(own) {
        return (missed, breaks.clone());
    }
    let proven = |point: &&LoadPoint| {
        let test = matches!(point.purpose, Purpose::ProveMissed | Purpose::Below);
        test && point.verdict == Verdict::Missed && own(point.factor)
    };
    let tests = case.points.iter().filter(proven);
    let least = tests.min_by(|left, right| left.factor.total_cmp(&right.factor));
    let broken = least.and_then(|point| {
        let mut rows = point.rows.iter();
        let row = rows.find(|row| row.cell.verdict == Verdict::Missed)?;
        Some(Breaks {
            workload: row.workload.clone(),
            measure: row.measure,
            target_text: row.cell.target_text.clone(),
            saturated: row.cell.saturated,
            kept_by_others: false,
        })
    });
    (least.map(|point| point.factor), broken)
}

#[cfg(test)]
mod tests;
