//! What is said of the parts: the one that ends a case, the fullest, and one that a moment overfills.

use super::{counted_met, proof};
use crate::outcome::{CaseHeadroom, Headroom, PartLoad, Purpose, RankedBy, Unseen};
use crate::render::number::{three, with_unit};

/// Why promises are proven to hold at a load whose runs saw a part full in its busiest moment.
pub(super) fn busiest_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(met) = proof(case, Purpose::ProveMet, case.met) else {
        return String::new();
    };
    // A closed loop asks for no more than there is: full is what it makes a part.
    if headroom.grows.depth.is_some() {
        return String::new();
    }
    // What is by arithmetic there the runs did not see.
    if met.unseen_bursts.iter().any(|own| own.why == Unseen::Rare) {
        return String::new();
    }
    let full = |part: &&PartLoad| part.peak_percent >= 100.5 && part.mean_percent < 100.0;
    let Some(part) = met.fullest.iter().find(full) else {
        return String::new();
    };
    format!(
        " At {} its runs saw {} asked for {} in the busiest 20 ms, and for {} on the mean: what does not fit into such a moment \
         waits for the next, within the promise.",
        counted_met(headroom, met.factor),
        part.part,
        with_unit(&three(part.peak_percent), "%"),
        with_unit(&three(part.mean_percent), "%")
    )
}

/// The fullest part where the search ended though nothing was full.
pub(super) fn fullest_sentence(case: &CaseHeadroom) -> String {
    case.ends.as_ref().map_or_else(String::new, |part| {
        let mean = with_unit(&three(part.mean_percent), "%");
        let how = match case.ranked_by {
            RankedBy::Mean => format!("{mean} full on the mean"),
            RankedBy::Busiest => format!(
                "asked for {} in the busiest 20 ms, {mean} on the mean",
                with_unit(&three(part.peak_percent), "%")
            ),
        };
        format!(" The fullest part there is {}, {how}.", part.part)
    })
}

/// Below this no part is full, per cent of its time on the mean. Our choice, as the next one.
const HALF_FULL: f64 = 50.0;
/// From this share of the latency on, per cent, waiting is not what breaks a promise.
const HARDLY_WAITS: f64 = 80.0;

/// The part that ends it, and the one after it; where none is full and hardly anything waits, that this is so.
pub(super) fn parts_sentence(case: &CaseHeadroom) -> String {
    let Some(ends) = &case.ends else {
        return String::new();
    };
    let percent = |part: &PartLoad| with_unit(&three(part.mean_percent), "%");
    let next = case.next.as_ref();
    let empty = |part: &PartLoad| part.mean_percent < HALF_FULL && part.peak_percent < 100.0;
    let still = case
        .unwaited_percent
        .filter(|still| *still >= HARDLY_WAITS && empty(ends) && next.is_none_or(empty));
    if let Some(still) = still {
        let fuller = next.filter(|next| next.mean_percent > ends.mean_percent);
        let fullest = fuller.unwrap_or(ends);
        return format!(
            " No part is full there: the fullest is {}, {}. {} of the mean latency is no waiting, so that the promise lies near what an \
             I/O takes on an empty site: faster parts help, not more of them.",
            fullest.part,
            percent(fullest),
            with_unit(&three(still), "%")
        );
    }
    let figure = |part: &PartLoad| with_unit(&three(case.ranked_by.figure(part)), "%");
    let next = next.map_or_else(String::new, |next| {
        format!("; the next is {}, {}", next.part, figure(next))
    });
    let beside = beside_words(case).map_or_else(String::new, |said| format!(", and {said}"));
    let ends = match case.ranked_by {
        RankedBy::Mean => format!("{}, {} full on the mean there", ends.part, percent(ends)),
        RankedBy::Busiest => format!(
            "{}, asked for {} in the busiest 20 ms there, {} on the mean",
            ends.part,
            figure(ends),
            percent(ends)
        ),
    };
    format!(
        " The part that ends it is {ends}{beside}{next}.{}",
        short_bursts(case).unwrap_or_default()
    )
}

/// What bursts that 20 ms spread out ask for at the load that is missed, where that is all that a part can do.
fn short_bursts(case: &CaseHeadroom) -> Option<String> {
    let missed = case.missed?;
    let point = case.points.iter().find(|point| point.factor == missed)?;
    let mut bursts = point.unseen_bursts.iter();
    let own = bursts.find(|own| own.why == Unseen::Short && own.percent >= 100.0)?;
    Some(format!(
        " A burst, shorter than 20 ms, asks {} for {} there.",
        own.part.as_deref()?,
        with_unit(&three(own.percent), "%")
    ))
}

/// `about as full, within a tenth of it, is san to edge, 32GFC, 101 %`; nothing where no other part ends a case as well.
#[must_use]
pub fn beside_words(case: &CaseHeadroom) -> Option<String> {
    let part = case.beside.as_ref().filter(|_| case.ends.is_some())?;
    let ends = case
        .ends
        .as_ref()
        .map_or(0.0, |ends| case.ranked_by.figure(ends));
    let figure = case.ranked_by.figure(part);
    // A part that is fuller is none that the work waits for most.
    let how = if figure * ABOUT > ends {
        "fuller, though less waits for it,"
    } else {
        "about as full, within a tenth of it,"
    };
    Some(format!(
        "{how} is {}, {}",
        part.part,
        with_unit(&three(figure), "%")
    ))
}

/// What is told as about as full: the tenth that the study goes by, to either side.
const ABOUT: f64 = 0.9;
