//! What a timeline says.

use crate::outcome::{NamedEvent, SwitchWorkload};
use crate::render::chart::text::{THIN, count, percent_whole, percentile, sig, target, time};
use crate::render::words::no_path_is_left;

use super::Scene;

/// A lane's state with a narrow space between number and unit.
pub(super) fn state(text: &str) -> String {
    text.split(' ').map(target).collect::<Vec<_>>().join(" ")
}

/// A few words for the head of the drawing, the longer ones first; the table beside has the whole.
/// Where the work never stopped, what is marked let its longest I/O end.
pub(super) fn event(event: &NamedEvent, work: &SwitchWorkload) -> Vec<String> {
    let Some(timer) = event.timer.as_deref() else {
        let what = event
            .what
            .split([':', ';'])
            .next()
            .unwrap_or(&event.what)
            .trim();
        return vec![what.to_owned()];
    };
    let name = timer.split(',').next().unwrap_or(timer).to_owned();
    if event.ended_stall && work.stopped() {
        let whole = format!("{}, ends the stall", state(timer));
        return vec![whole, format!("{name} ends the stall"), name];
    }
    if event.ended_stall {
        let whole = format!("{}, lets the longest I/O go", state(timer));
        return vec![whole, state(timer), name];
    }
    vec![state(timer), name]
}

/// Longest I/O of all replications, seconds.
pub(super) fn longest(scene: &Scene<'_>) -> Option<f64> {
    scene
        .workload
        .longest_io_s
        .iter()
        .copied()
        .filter(|seconds| seconds.is_finite())
        .reduce(f64::max)
}

/// What the survivors carry at most, I/Os per second: known only where a part is full and the workload
/// asks for more than came through. Elsewhere the most that came through is the load, not a limit.
pub(super) fn capacity(scene: &Scene<'_>) -> Option<f64> {
    let most = scene.workload.survivors_peak_iops;
    let bins = scene.workload.bins.iter();
    let asked = bins
        .map(|bin| bin.offered_iops)
        .filter(|iops| iops.is_finite());
    let bin_s = scene.switch.bin_s;
    let held_back =
        most.is_finite() && most > 0.0 && more_than(asked.fold(0.0, f64::max), most, bin_s);
    (scene.over && held_back).then_some(most)
}

/// Whether a rate is above another by more than chance makes of so short a time: by a tenth, and by four times the root of the count. Choices of
/// this program.
fn more_than(asked: f64, most: f64, bin_s: f64) -> bool {
    let count = (most * bin_s).max(0.0);
    asked > 1.1 * most && (asked - most) * bin_s > 4.0 * count.sqrt()
}

/// From when [`p99_at_last`] counts.
pub(super) fn at_last(scene: &Scene<'_>) -> &'static str {
    match scene.workload.settled_s {
        Some(_) => "after settling",
        None => "in the last third",
    }
}

/// The same in a word, for a slide.
pub(super) fn at_last_short(scene: &Scene<'_>) -> &'static str {
    match scene.workload.settled_s {
        Some(_) => "settled",
        None => "at last",
    }
}

/// Mean p99 of the fullest bins after things settled (or in the last third), microseconds.
pub(super) fn p99_at_last(scene: &Scene<'_>) -> Option<f64> {
    let from = scene
        .switch
        .settled_s
        .unwrap_or(scene.switch.to_s * 2.0 / 3.0);
    let values = scene
        .workload
        .bins
        .iter()
        .filter(|bin| bin.t_s >= from)
        .filter_map(|bin| bin.p99_us);
    values.filter(|us| us.is_finite()).reduce(f64::max)
}

pub(super) fn finding(scene: &Scene<'_>) -> String {
    let (with, name) = (&scene.switch.case.name, &scene.workload.name);
    let ended = scene.workload.freed_by.as_ref();
    let open = scene.workload.longest_open.contains(&true);
    let first = match (ended, longest(scene)) {
        (_, Some(seconds)) if open => {
            let why = if scene.workload.no_path {
                no_path_is_left(scene.workload)
            } else {
                "nothing lets them go in that time".to_owned()
            };
            format!(
                "With {with}, I/Os of {name} hang for more than {}{THIN}s: {why}",
                sig(seconds, 2)
            )
        }
        (Some(event), Some(seconds)) => {
            let held = match scene.workload.held_first() {
                0 => "requests".to_owned(),
                ios => format!("{} requests", count(ios)),
            };
            let seconds = sig(seconds, 2);
            match event.timer.as_deref() {
                Some(timer) if timer.starts_with("no path") => {
                    format!(
                        "With {with}, {held} of {name} hang for up to {seconds}{THIN}s and fail: {}",
                        no_path_is_left(scene.workload)
                    )
                }
                timer => {
                    let timer = timer.and_then(|timer| timer.split(',').next());
                    let timer = timer.unwrap_or("an event");
                    format!(
                        "With {with}, {held} of {name} hang for up to {seconds}{THIN}s, until {timer} lets them go"
                    )
                }
            }
        }
        (None, Some(seconds)) => {
            format!(
                "With {with}, the longest I/O of {name} takes {}",
                time(seconds * 1e6, 2)
            )
        }
        _ => format!("With {with}, no I/O of {name} was ever completed"),
    };
    let after = match (&scene.promise, scene.workload.above_promise_share) {
        (Some((_, _, text)), Some(share)) if share > 0.01 => {
            format!(
                "; {} {} take over the promised {}",
                scene.switch.counted_from.after(),
                percent_whole(share * 100.0),
                target(text)
            )
        }
        _ if scene.workload.settled_s.is_none() => {
            "; things do not settle within the limit".to_owned()
        }
        _ => String::new(),
    };
    format!("{first}{after}.")
}

pub(super) fn description(scene: &Scene<'_>) -> String {
    let mut out = format!(
        "{} in the switch-over, {}. ",
        scene.workload.name, scene.switch.case.name
    );
    for (number, event) in &scene.events {
        let timer = event
            .timer
            .as_deref()
            .map_or_else(String::new, |timer| format!(" (timer {timer})"));
        let ended = match (event.ended_stall, scene.workload.stopped()) {
            (true, true) => ", which ends the stall",
            (true, false) => ", which lets the longest I/O go",
            (false, _) => "",
        };
        let text = format!(
            "{number}: at {} s, {}{timer}{ended}. ",
            sig(event.t_s, 3),
            event.what
        );
        out.push_str(&text);
    }
    if let Some(seconds) = longest(scene) {
        out.push_str(&format!("Longest I/O {} s. ", sig(seconds, 3)));
    }
    if let Some(capacity) = capacity(scene) {
        out.push_str(&format!(
            "The survivors complete at most {} thousand I/Os per second. ",
            sig(capacity / 1e3, 3)
        ));
    }
    if let Some(us) = p99_at_last(scene) {
        out.push_str(&format!(
            "At last the p99 of a bin reaches {}. ",
            time(us, 3)
        ));
    }
    if let Some((q, _, text)) = &scene.promise {
        let what = q.map_or_else(|| "mean".to_owned(), percentile);
        out.push_str(&format!("The promise is {what} {}. ", target(text)));
    }
    match scene.workload.settled_s {
        Some(seconds) => out.push_str(&format!("Settled after {} s.", sig(seconds, 3))),
        None => out.push_str("Not settled within the limit."),
    }
    out
}
