//! Loads as people count them.

use crate::outcome::{CaseHeadroom, Headroom, Purpose};
use crate::render::number::{count, three, three_down, three_up};

/// A factor as people count it: times today's load, or hosts.
#[must_use]
pub fn counted(headroom: &Headroom, factor: f64) -> String {
    counted_with(headroom, factor, three)
}

/// The same of a factor that is proven to keep every promise: never more than that.
#[must_use]
pub fn counted_met(headroom: &Headroom, factor: f64) -> String {
    counted_with(headroom, factor, three_down)
}

/// The same of a factor that is proven to break one: never less than that.
#[must_use]
pub fn counted_missed(headroom: &Headroom, factor: f64) -> String {
    counted_with(headroom, factor, three_up)
}

/// A load that was run as all sentences, tables and charts of a page have it: rounded to the side that is proven of it, so that no
/// page shows one load in two ways.
#[must_use]
pub fn load_in(headroom: &Headroom, case: &CaseHeadroom, factor: f64) -> String {
    let same = |other: f64| (other / factor - 1.0).abs() < 1e-9;
    let ends = |case: &CaseHeadroom| {
        let is = |end: Option<f64>| end.is_some_and(same);
        match (is(case.met), is(case.missed)) {
            (true, _) => Some(Purpose::ProveMet),
            (_, true) => Some(Purpose::ProveMissed),
            _ => None,
        }
    };
    let tested = |purpose: Purpose| {
        let mut points = case.points.iter();
        points
            .any(|point| point.purpose == purpose && same(point.factor))
            .then_some(purpose)
    };
    let own = ends(case)
        .or_else(|| tested(Purpose::ProveMet))
        .or_else(|| tested(Purpose::ProveMissed))
        .or_else(|| headroom.cases.iter().find_map(ends));
    match own {
        Some(Purpose::ProveMet) => counted_met(headroom, factor),
        Some(Purpose::ProveMissed) => counted_missed(headroom, factor),
        Some(Purpose::Pilot | Purpose::Below) | None => counted(headroom, factor),
    }
}

fn counted_with(headroom: &Headroom, factor: f64, digits: fn(f64) -> String) -> String {
    match headroom.grows.today() {
        None => digits(factor),
        Some(today) => count(whole(factor, today)),
    }
}

/// A factor as a number of hosts, or of I/Os outstanding.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
pub(super) fn whole(factor: f64, today: u32) -> u64 {
    (factor * f64::from(today)).round().max(0.0) as u64
}
