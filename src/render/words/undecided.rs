//! Why a judgement is not decided, and what would decide it.

use super::Prose;
use super::answer::{figure_of, with_case};
use super::measure::cell_scale;
use crate::outcome::{Case, Cell, LeftOpen, Row};
use crate::render::number::{as_written, two};

/// Why a judgement stays open whatever the number of replications, and what would decide; `None` where they decide.
#[must_use]
pub(crate) fn left_open_words(cell: &Cell) -> Option<(String, &'static str)> {
    Some(match cell.left_open? {
        LeftOpen::Waiting(waiting) => {
            let runs = match cell.replications {
                1 => "an I/O still waits when the run ends".to_owned(),
                all => {
                    format!("in {waiting} of {all} runs an I/O still waits at the end")
                }
            };
            (
                runs,
                "More replications do not decide; a longer run (run.settle_limit) shows what becomes of it.",
            )
        }
        LeftOpen::RunTooShort => (
            "the run is too short to tell".to_owned(),
            "More replications do not decide; longer runs (run.duration, run.drain_limit) do.",
        ),
        LeftOpen::Filling => (
            "the run begins empty and is too short for its queues to become what they are in the long run".to_owned(),
            "More replications do not decide; longer runs (run.duration) do.",
        ),
        LeftOpen::Bursts => (
            "the runs hold too few bursts to tell".to_owned(),
            "Longer runs (run.duration) hold more; a run with the peak as the rate shows a burst by itself.",
        ),
        LeftOpen::Stopped => (
            "a limit stopped a run before its end".to_owned(),
            "More replications do not decide; a higher limit (run.events_max, run.memory_max) or a shorter run does.",
        ),
        LeftOpen::PilesUp => (
            "afterwards more is asked for than is carried, and I/Os wait the longer the longer it lasts".to_owned(),
            "No run decides that: what is left must carry the work first.",
        ),
    })
}

/// Whether no I/O at all was completed in the measured time, so that a latency has no figure.
fn nothing_came(row: &Row, cell: &Cell) -> bool {
    !row.switching && cell.value.is_none() && cell.beyond.is_none_or(|beyond| beyond <= 0.0)
}

/// The verdict where the worst of all cells is undecided.
pub(super) fn undecided(row: &Row, case: &Case, cell: &Cell) -> Prose {
    let scale = cell_scale(cell);
    let figure = cell.value.map(|figure| scale.figure(&figure));
    let unit = |number: &str| crate::render::number::with_unit(number, scale.unit);
    let value = match figure {
        Some((value, Some(ends))) => {
            format!(
                " is {}, between {}",
                unit(&value),
                unit(&ends.replace(" to ", " and "))
            )
        }
        Some((value, None)) => format!(" is {}", unit(&value)),
        None if nothing_came(row, cell) => {
            " has no figure, for no I/O was completed in the measured time".to_owned()
        }
        None => " could not be measured to the end".to_owned(),
    };
    let more = cell
        .replications_needed
        .map(|all| all.saturating_sub(cell.replications))
        .filter(|more| *more > 0);
    if let Some((why, remedy)) = left_open_words(cell) {
        return Prose::new()
            .text(format!("Not decided: {}, ", with_case(case)))
            .then_tight(figure_of(row))
            .text(format!(
                "{value}, promise {}; {why}. {remedy}",
                as_written(&cell.target_text)
            ));
    }
    if cell.replications == 1 {
        return Prose::new()
            .text(format!("Not decided: {}, ", with_case(case)))
            .then_tight(figure_of(row))
            .text(format!(
                "{value}, promise {}. One replication gives no bounds: run at least 2.",
                as_written(&cell.target_text)
            ));
    }
    if nothing_came(row, cell) {
        return Prose::new()
            .text(format!("Not decided: {}, ", with_case(case)))
            .then_tight(figure_of(row))
            .text(format!(
                "{value}, promise {}. A longer run (run.duration) would have some.",
                as_written(&cell.target_text)
            ));
    }
    let decide = more.map_or_else(
        || "More replications would decide.".to_owned(),
        |more| {
            let more = two(f64::from(more));
            let ending = if more == "1" { "" } else { "s" };
            format!("About {more} more replication{ending} would decide.")
        },
    );
    // Nothing was above the target, and of so few I/Os that is no proof.
    let (opening, why) = match (cell.above_share, cell.above_allowed) {
        (Some(share), Some(allowed)) if share <= 0.0 => (
            "Too few I/Os to tell",
            format!(
                " None was above it, of too few to show that no more than {}\u{202F}% are.",
                two(100.0 * allowed)
            ),
        ),
        _ => ("Too close to call", String::new()),
    };
    let decide = format!("{why} {decide}");
    let decide = decide.trim_start();
    Prose::new()
        .text(format!("{opening}: {}, ", with_case(case)))
        .then_tight(figure_of(row))
        .text(format!(
            "{value}, promise {}. {decide}",
            as_written(&cell.target_text)
        ))
}
