//! Which runs answer which question, and what they say together.
//!
//! Steady figures come from steady runs: of the whole site, and of the survivors of each outage, built
//! without the lost parts. A switch-over run gives only the transient. Replications and cases run in
//! parallel and are gathered by index, so the result is the same to the byte at any number of threads.
//!
//! Left out: searching for a design; a study runs what it is told. Only [`headroom`] searches, for a load, and
//! [`remedy`], for single changes that mend what is missed.

mod bounds;
mod case;
mod closed_forms;
pub mod compare;
mod cut;
pub mod derive;
pub mod estimate;
pub mod exchange;
mod fullest;
pub mod growth;
pub mod headroom;
pub mod inventory;
mod judge;
mod layers;
pub mod measured;
mod mend;
mod parts;
pub mod paths;
pub mod picture;
mod progress;
pub mod remedy;
pub mod review;
#[cfg(test)]
pub(crate) mod sample;
pub mod singles;
mod stall;
mod steady;
pub mod sweep;
mod switch;
pub mod windows;

pub use case::{CasePlan, cases};
use progress::Ahead;
pub use progress::{NoProgress, Progress};
pub use steady::{PEAK_WINDOW, SteadyRuns};

use crate::measure::RELATIVE_ERROR;
use crate::model::{Compiled, Script};
use crate::outcome::{AssumptionRow, Case, Matrix, Origin, Precision, Report, Steady, Switch};
use crate::site::{Action, Basis, Heading, LossMode, Site, Slow};
use crate::topology::{Fabric, StillOut, still_out};
use crate::unit::Instant;

/// What a study is to look at.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ask {
    /// Outages by name; `None` for all.
    pub outages: Option<Vec<String>>,
    /// Whether the switch-overs are simulated.
    pub switch: bool,
    /// Whether the variants are simulated as remedies.
    pub mends: bool,
    /// Drain the parts a second before they are lost.
    pub planned: bool,
}

/// Healthy and every outage asked for: steady figures, switch-overs, verdicts, parts, remedies.
#[must_use]
pub fn study(site: &Site, origin: Origin, ask: &Ask, progress: &dyn Progress) -> Report {
    let fabric = Fabric::new(site);
    let plans = case::cases_as(site, &fabric, ask.outages.as_deref(), ask.planned);
    let progress = &Ahead::new(progress, planned(site, &plans, ask));
    let (mut runs, precision) = steady::run_precisely(site, &plans, progress);
    let whole = Compiled::new(site, &[]);
    let switches = if ask.switch {
        switch::of_outages_and_ends(site, &whole, &mut runs, ask.planned, progress)
    } else {
        Vec::new()
    };
    let matrix = judge::matrix(site, &runs, &switches);
    let mends = if ask.mends {
        mend::mends(site, ask, &matrix, progress)
    } else {
        Vec::new()
    };
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let mut report = assemble(site, origin, figures, switches, matrix, &plans);
    report.mends = mends;
    with_precision(report, precision)
}

/// How many runs a study takes, as far as that is known before: whether changes need a switch-over depends on what is missed.
fn planned(site: &Site, plans: &[CasePlan], ask: &Ask) -> u64 {
    let variants = if ask.mends { &site.variants[..] } else { &[] };
    let more = variants.iter().map(|variant| {
        let site = &variant.site;
        let plans = case::cases(site, &Fabric::new(site), ask.outages.as_deref());
        runs_of(site, &plans, false)
    });
    runs_of(site, plans, ask.switch) + more.sum::<u64>()
}

/// How many runs these cases take, and their switch-overs too.
fn runs_of(site: &Site, plans: &[CasePlan], switch: bool) -> u64 {
    let outages = plans.iter().filter(|plan| plan.case.outage.is_some());
    let losses = if switch { outages.count() as u64 } else { 0 };
    plans.len() as u64 * u64::from(site.run.replications)
        + losses * u64::from(site.run.switch_replications)
}

/// Lays down what a precision took: the replications are then those of its last look.
fn with_precision(mut report: Report, precision: Option<Precision>) -> Report {
    if let Some(last) = precision.as_ref().and_then(|found| found.looks.last()) {
        report.origin.replications = *last;
    }
    report.precision = precision;
    report
}

/// The scenario as written: steady figures of the whole site and, when it has events, one run with them, on which
/// the promises about switching are judged. Where the events leave parts out or slow, those of lost parts are judged on steady runs of
/// what is left.
#[must_use]
pub fn simulate(site: &Site, origin: Origin, progress: &dyn Progress) -> Report {
    let fabric = Fabric::new(site);
    let plans = vec![CasePlan::healthy()];
    let (runs, precision) = steady::run_precisely(site, &plans, progress);
    let mut switches = Vec::new();
    let mut after = None;
    let still = still_out(site, &fabric);
    let scripts: Vec<Script> = site
        .events
        .iter()
        .zip(&still)
        .map(|(event, still)| Script {
            at: Instant::ZERO + event.at,
            action: event.action,
            members: fabric.members_of(&event.parts, event.side),
            nodes: fabric.nodes_of(&event.parts, event.side),
            hosts: fabric.hosts_of(&event.parts),
            target: event.target.clone(),
            label: event_label(event, still.as_ref()),
        })
        .collect();
    if let Some(first) = scripts.iter().map(|script| script.at).min() {
        let mut plan = CasePlan::healthy();
        plan.case = Case::scripted();
        let compiled = Compiled::new(site, &[]);
        // What is left when all events are over settles as that does by itself.
        let end = CasePlan::after_the_events(site, &fabric);
        let left = if end.members.is_empty() && end.slow.is_empty() {
            Vec::new()
        } else {
            let mut site = site.clone();
            site.run.within = None;
            steady::run(&site, std::slice::from_ref(&end), progress)
        };
        let setting = switch::Setting {
            site,
            plan: &plan,
            survivors: left.first().unwrap_or(&runs[0]),
            scripts: &scripts,
            at: first,
            from: Instant::ZERO,
        };
        let found = switch::scripted(&setting, &compiled, progress);
        switches.push(found.switch);
        after = found.left.or_else(|| left.into_iter().next());
    }
    let matrix = match &after {
        Some(left) => judge::matrix_after(site, &runs, &switches, left),
        None => judge::lasting(site, judge::matrix(site, &runs, &switches), &runs[0]),
    };
    let figures = runs.into_iter().map(|runs| runs.figures).collect();
    let report = assemble(site, origin, figures, switches, matrix, &plans);
    with_precision(report, precision)
}

/// An event in words; `still` is what a return leaves out.
fn event_label(event: &crate::site::Event, still: Option<&StillOut>) -> String {
    let done = action_words(event.action);
    let round = event
        .round
        .map_or_else(String::new, |(round, of)| round_words(round, of));
    let still = still.map_or_else(String::new, |still| format!(", {}", still.words()));
    format!("{} {done}{round}{still}", event.target)
}

/// What an action does: `lost silently`.
fn action_words(action: Action) -> String {
    match action {
        Action::Lose(LossMode::Loud) => "lost".to_owned(),
        Action::Lose(LossMode::Silent) => "lost silently".to_owned(),
        Action::LoseWay(Heading::Arrays) => "lost silently, towards the arrays".to_owned(),
        Action::LoseWay(Heading::Hosts) => "lost silently, towards the hosts".to_owned(),
        Action::Slow(slow) => slow_words(slow),
        Action::Restore => "restored".to_owned(),
        Action::Drain => "drained".to_owned(),
    }
}

/// Which round of a flap it is.
fn round_words(round: u32, of: u32) -> String {
    format!(" (flap {round} of {of})")
}

/// `down to 50 % of its rate, damaging 0.1 % of the frames`.
fn slow_words(slow: Slow) -> String {
    let percent = |part: u32, of: f64| {
        let text = format!("{:.7}", f64::from(part) / of * 100.0);
        let text = text.trim_end_matches('0').trim_end_matches('.').to_owned();
        format!("{text}\u{202F}%")
    };
    let rate = percent(slow.rate_ppm, f64::from(Slow::WHOLE));
    let loss = percent(slow.loss_ppb, f64::from(Slow::CERTAIN));
    match (slow.rate_ppm, slow.loss_ppb) {
        (Slow::WHOLE, _) => format!("damages {loss} of the frames"),
        (_, 0) => format!("down to {rate} of the rate"),
        _ => format!("down to {rate} of the rate, and damages {loss} of the frames"),
    }
}

fn assemble(
    site: &Site,
    origin: Origin,
    steady: Vec<Steady>,
    switches: Vec<Switch>,
    matrix: Matrix,
    plans: &[CasePlan],
) -> Report {
    let fabric = Fabric::new(site);
    let used = || {
        let loads = estimate::estimate_by_member(site, &fabric);
        parts::with_depths_in_the_way(site, &fabric, &loads, &steady)
    };
    let ((parts, growth), mut review) = rayon::join(used, || review::review(site));
    let outage_of = |plan: &CasePlan| {
        let name = plan.case.outage.as_ref()?;
        site.outages.iter().find(|outage| outage.name == *name)
    };
    let outages: Vec<_> = plans.iter().map(outage_of).collect();
    let picture = picture::picture(site, &fabric, &outages, &steady);
    closed_forms::beside(&mut review.theory, &steady, &switches);
    Report {
        origin,
        switches,
        matrix,
        growth,
        parts,
        mends: Vec::new(),
        mend_search: None,
        each_part: None,
        windows: None,
        picture,
        review,
        assumptions: assumptions(site),
        precision: None,
        percentile_error_percent: RELATIVE_ERROR * 100.0,
        steady,
    }
}

/// Thousands set apart by a narrow no-break space, as everywhere in sentences.
pub(crate) fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut out = String::with_capacity(digits.len() + 2);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push('\u{202F}');
        }
        out.push(digit);
    }
    out
}

/// Every input with its mark, guesses first.
#[must_use]
pub fn assumptions(site: &Site) -> Vec<AssumptionRow> {
    let mark = |basis: Basis| match basis {
        Basis::Guessed => "guessed",
        Basis::CommonPractice => "common practice",
        Basis::Stated => "stated",
        Basis::Measured => "measured",
        Basis::Published => "published",
        Basis::Standard => "standard",
    };
    let mut rows: Vec<_> = site.assumptions.iter().collect();
    rows.sort_by_key(|assumption| assumption.basis);
    rows.into_iter()
        .map(|assumption| AssumptionRow {
            key: assumption.key.clone(),
            what: assumption.what.clone(),
            value: assumption.value.clone(),
            mark: mark(assumption.basis).into(),
            source: assumption.source.clone(),
            line: assumption.line,
        })
        .collect()
}
