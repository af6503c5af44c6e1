//! What is said of a throughput that is promised and that less load does not bring.

use super::hopeless::megabytes;
use super::{counted, counted_missed, growth_unit, load_in, whole};
use crate::outcome::{CaseHeadroom, Headroom};
use crate::render::number::as_written;

/// From which load on a throughput is asked for that is promised; of a closed loop, of which only runs know it, which of them brought it.
pub(super) fn floor_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(floor) = &case.floor else {
        return String::new();
    };
    let (unit, target) = (growth_unit(headroom), as_written(&floor.target_text));
    let at = |factor: f64| load_in(headroom, case, factor);
    if let Some(asked) = floor.asked_mb_s {
        return format!(
            " Below {} {unit} `{}` cannot keep its throughput of {target}: less is asked for, {} today.",
            counted_missed(headroom, floor.factor),
            floor.workload,
            megabytes(asked)
        );
    }
    let Some(short) = floor.short else {
        return format!(
            " `{}` brought its throughput of {target} at {} {unit}; what less brings was not run.",
            floor.workload,
            at(floor.factor)
        );
    };
    let today = headroom.grows.today();
    let next = today.is_some_and(|today| whole(short, today) + 1 == whole(floor.factor, today));
    let between = match floor.step {
        Some(step) => format!(
            "; one more is outstanding from {} on, which lies between them",
            counted(headroom, step)
        ),
        None if next => String::new(),
        None => "; nothing between them was run".to_owned(),
    };
    format!(
        " A closed loop carries less with less outstanding: in its runs `{}` brought its throughput of {target} at {} {unit}, and too \
         little at {}{between}.",
        floor.workload,
        at(floor.factor),
        at(short)
    )
}
