//! What is said of loads below the one that is proven, and of those above the one that is full.

use super::{broken, counted, growth_unit, load_in, verdict_word};
use crate::outcome::{CaseHeadroom, Headroom, LoadPoint, Purpose, Verdict};
use crate::render::words::listed;

/// `but not at every load below`; nothing where none below is proven to be missed.
#[must_use]
pub fn hole_words(case: &CaseHeadroom) -> Option<&'static str> {
    (!case.holes.is_empty()).then_some("but not at every load below")
}

/// Which loads below the one that is met are not, and up to which and from which on every one that was tried is; where none is
/// proven to be missed, which were tested.
pub(super) fn below_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(met) = case.met else {
        return String::new();
    };
    let at = |factor: f64| load_in(headroom, case, factor);
    let mut below: Vec<&LoadPoint> = case.points.iter().collect();
    below.retain(|point| point.factor < met);
    let (Some(lowest), Some(highest)) = (case.holes.first(), case.holes.last()) else {
        return tested_sentence(case, headroom);
    };
    let loads: Vec<String> = case.holes.iter().map(|hole| at(hole.factor)).collect();
    // The least proof of a load counts: a pilot run of it proves nothing.
    let not_met =
        |point: &&&LoadPoint| point.verdict != Verdict::Met && point.purpose != Purpose::Pilot;
    let first = below
        .iter()
        .find(not_met)
        .map_or(lowest.factor, |point| point.factor);
    let last = below
        .iter()
        .rfind(not_met)
        .map_or(highest.factor, |point| point.factor);
    let proven = |point: &&&LoadPoint| point.verdict == Verdict::Met;
    let up_to = below.iter().filter(proven).map(|point| point.factor);
    let up_to = up_to.filter(|factor| *factor < first).reduce(f64::max);
    let from = below.iter().filter(proven).map(|point| point.factor);
    let from = from.filter(|factor| *factor > last).reduce(f64::min);
    let lower = below.iter().any(|point| point.factor < first);
    // Fewer than one host there are not.
    let hosts = headroom.grows.hosts.map(f64::from);
    let least = hosts.is_some_and(|today| first * today < 1.5);
    let low = match up_to {
        Some(factor) => format!("; every one that was tried up to {} was met", at(factor)),
        None if lower => format!("; none that was tried below {} was met", at(first)),
        None if least => String::new(),
        None => format!("; none was tried below {}", at(first)),
    };
    let high = from.map_or_else(String::new, |factor| {
        format!(
            "; every one that was tried from {} to {} was met",
            at(factor),
            at(met)
        )
    });
    format!(
        " Not every load below keeps it: at {} one is broken ({}){low}{high}.",
        listed(&loads),
        broken(&lowest.breaks)
    )
}

/// The lower loads that were tested because they need not be met.
fn tested_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let tests = case
        .points
        .iter()
        .filter(|point| point.purpose == Purpose::Below);
    let of = |verdict: Verdict| -> Vec<String> {
        let own = tests.clone().filter(|point| point.verdict == verdict);
        own.map(|point| load_in(headroom, case, point.factor))
            .collect()
    };
    let said = [Verdict::Met, Verdict::Undecided].map(|verdict| (verdict, of(verdict)));
    let said: Vec<String> = said
        .iter()
        .filter(|(_, loads)| !loads.is_empty())
        .map(|(verdict, loads)| format!("{} at {}", verdict_word(*verdict), listed(loads)))
        .collect();
    if said.is_empty() {
        return String::new();
    }
    let why = if case.unlike {
        "As hosts look at queues over unlike ways, less load need not be met as well"
    } else {
        "As a first run broke a promise below, lower loads were looked at again"
    };
    format!(" {why}; tested, it is {}.", said.join(" and "))
}

/// A load that is missed lies so much above the one that is full where more than the runs' own doubt is between them.
const WELL_ABOVE: f64 = 1.05;

/// Why nothing is met between a part that is full by arithmetic and a load that is missed well above it.
fn full_clause(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let full = case.saturation.filter(|_| case.depth.is_none());
    let Some((full, (met, missed))) = full.zip(case.met.zip(case.missed)) else {
        return String::new();
    };
    if met > full || missed < full * WELL_ABOVE {
        return String::new();
    }
    format!(
        "; none is called met above {}, where a part is full by arithmetic",
        counted(headroom, full)
    )
}

/// `, and by arithmetic at every load above 2.00`, where the runs prove less.
pub(super) fn certain_clause(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let beyond = |full: &f64| case.missed.is_none_or(|missed| *full < missed);
    let Some(full) = case.certain.filter(beyond) else {
        return if case.certain.is_none() {
            full_clause(case, headroom)
        } else {
            String::new()
        };
    };
    let at = counted(headroom, full);
    match case.missed {
        Some(_) => format!(", and by arithmetic at every load above {at}, where a part is full"),
        None => format!(
            "; by arithmetic one is broken at every load above {at} {}, where a part is full",
            growth_unit(headroom)
        ),
    }
}
