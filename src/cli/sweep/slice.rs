//! Which points one machine of several runs.
//!
//! Piece I of N runs points I, I + N, I + 2N, …: neighbours take about as long, so the pieces end together. Batch
//! engines say which piece a process is by variables of the environment:
//!
//! | engine | variables | first piece |
//! | --- | --- | --- |
//! | Slurm job arrays | `SLURM_ARRAY_TASK_ID`, `_MIN`, `_MAX`, `_COUNT`, `_STEP` | `_MIN` |
//! | Kubernetes indexed jobs | `JOB_COMPLETION_INDEX` | 0 |
//! | GNU parallel | `PARALLEL_SEQ` | 1 |
//!
//! Sources: Slurm, sbatch manual page, "OUTPUT ENVIRONMENT VARIABLES"; Kubernetes documentation, "Indexed Job for
//! Parallel Processing with Static Work Assignment"; GNU parallel manual page, "ENVIRONMENT VARIABLES" (all
//! from memory).

use crate::render::words::{listed as joined, plural};

const SLURM: &str = "SLURM_ARRAY_TASK_ID";
const KUBERNETES: &str = "JOB_COMPLETION_INDEX";
/// By which variable each engine says which piece a process is.
const ENGINES: [&str; 3] = [SLURM, KUBERNETES, "PARALLEL_SEQ"];

fn listed(names: &[&str]) -> String {
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    joined(&names)
}

/// The numbers of a job array and of one of its tasks.
struct Array {
    id: usize,
    least: usize,
    most: Option<usize>,
    step: usize,
    count: Option<usize>,
}

impl Array {
    fn piece(&self) -> Result<usize, String> {
        let from = self.id.checked_sub(self.least);
        let from = from.ok_or("SLURM_ARRAY_TASK_ID is below SLURM_ARRAY_TASK_MIN")?;
        Ok(from / self.step + 1)
    }

    /// A task that is sent again alone, or some of them, is an array of its own, of fewer tasks: taken for the whole it
    /// would run other points than before.
    fn check_whole(&self) -> Result<(), String> {
        let Some(count) = self.count else {
            return Ok(());
        };
        let first = self.least <= 1 || self.least == self.step;
        let reach = self.least + count.saturating_sub(1) * self.step;
        let gapless = self.most.is_none_or(|most| most == reach);
        if count > 1 && first && gapless {
            return Ok(());
        }
        Err(format!(
            "the job array has {} from number {} on, and auto cannot know whether they are some of a larger one, sent again",
            plural(count, "task"),
            self.least
        ))
    }
}

/// One piece of several.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Slice {
    /// From 1.
    pub(super) piece: usize,
    /// How many.
    pub(super) pieces: usize,
}

/// What was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// `I/N`.
    Piece(Slice),
    /// `auto` or `auto/N`: as the environment says.
    Auto(Option<usize>),
}

/// `I/N`, `auto` or `auto/N`.
pub(super) fn wanted(text: &str) -> Result<Wanted, String> {
    let expected = || "I/N with I from 1 to N, for example 3/8; or auto, or auto/8".to_owned();
    let number = |text: &str| {
        text.parse::<usize>()
            .ok()
            .filter(|n| *n >= 1 && *n <= 100_000)
    };
    if text == "auto" {
        return Ok(Wanted::Auto(None));
    }
    let (left, right) = text.split_once('/').ok_or_else(expected)?;
    let pieces = number(right).ok_or_else(expected)?;
    if left == "auto" {
        return Ok(Wanted::Auto(Some(pieces)));
    }
    match number(left) {
        Some(piece) if piece <= pieces => Ok(Wanted::Piece(Slice { piece, pieces })),
        _ => Err(expected()),
    }
}

/// The piece that is meant, by the variables of the environment where need be.
pub(super) fn resolve(
    wanted: Wanted,
    variable: &dyn Fn(&str) -> Option<String>,
) -> Result<Slice, String> {
    let stated = match wanted {
        Wanted::Piece(slice) => return Ok(slice),
        Wanted::Auto(stated) => stated,
    };
    let number = |name: &str| -> Result<Option<usize>, String> {
        variable(name)
            .map(|text| {
                let parsed = text.trim().parse::<usize>();
                parsed.map_err(|_| format!("{name} is `{text}`, which is no whole number"))
            })
            .transpose()
    };
    let engines: Vec<&str> = ENGINES
        .into_iter()
        .filter(|name| variable(name).is_some())
        .collect();
    let (name, piece, counted) = match engines[..] {
        [] => {
            return Err(format!(
                "no batch engine says which piece this is: none of {} is set",
                listed(&ENGINES)
            ));
        }
        [SLURM] => {
            let array = Array {
                id: number(SLURM)?.unwrap_or(0),
                least: number("SLURM_ARRAY_TASK_MIN")?.unwrap_or(1),
                most: number("SLURM_ARRAY_TASK_MAX")?,
                step: number("SLURM_ARRAY_TASK_STEP")?.unwrap_or(1).max(1),
                count: number("SLURM_ARRAY_TASK_COUNT")?,
            };
            if stated.is_none() {
                array.check_whole()?;
            }
            (SLURM, array.piece()?, array.count)
        }
        [KUBERNETES] => {
            let index = number(KUBERNETES)?.unwrap_or(0);
            (KUBERNETES, index.saturating_add(1), None)
        }
        [name] => (name, number(name)?.unwrap_or(0), None),
        _ => {
            return Err(format!(
                "{} are set at once, and auto cannot know which of these engines is meant",
                listed(&engines)
            ));
        }
    };
    let pieces = match (stated, counted) {
        (Some(stated), Some(counted)) if stated != counted => {
            return Err(format!(
                "auto/{stated} was asked for, but the job array has {}",
                plural(counted, "task")
            ));
        }
        (Some(pieces), _) | (None, Some(pieces)) => pieces,
        (None, None) => {
            return Err(format!(
                "{name} says which piece this is, but not of how many: write auto/N"
            ));
        }
    };
    if piece == 0 || piece > pieces {
        return Err(format!("{name} makes this piece {piece} of {pieces}"));
    }
    Ok(Slice { piece, pieces })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(wanted: &str, set: &[(&str, &str)]) -> Result<(usize, usize), String> {
        let look = |name: &str| {
            let found = set.iter().find(|pair| pair.0 == name);
            found.map(|pair| pair.1.to_owned())
        };
        let wanted = super::wanted(wanted)?;
        resolve(wanted, &look).map(|slice| (slice.piece, slice.pieces))
    }

    #[test]
    fn pieces_are_stated_or_come_from_a_batch_engine() {
        assert_eq!(from("3/8", &[]), Ok((3, 8)));
        let array = |id, min, step| {
            [
                ("SLURM_ARRAY_TASK_ID", id),
                ("SLURM_ARRAY_TASK_MIN", min),
                ("SLURM_ARRAY_TASK_STEP", step),
                ("SLURM_ARRAY_TASK_COUNT", "4"),
            ]
        };
        assert_eq!(from("auto", &array("0", "0", "1")), Ok((1, 4)));
        assert_eq!(from("auto", &array("4", "1", "1")), Ok((4, 4)));
        assert_eq!(from("auto/4", &array("30", "10", "10")), Ok((3, 4)));
        assert_eq!(from("auto/4", &[("JOB_COMPLETION_INDEX", "0")]), Ok((1, 4)));
        assert_eq!(from("auto/4", &[("PARALLEL_SEQ", "4")]), Ok((4, 4)));
        for (wanted, set) in [
            ("0/3", &[][..]),
            ("4/3", &[]),
            ("1", &[]),
            ("1/0", &[]),
            ("auto", &[]),
            ("auto", &[("PARALLEL_SEQ", "1")]),
            ("auto/4", &[("PARALLEL_SEQ", "5")]),
            ("auto/4", &[("PARALLEL_SEQ", "x")]),
            ("auto/5", &array("1", "1", "1")),
            ("auto", &array("0", "1", "1")),
        ] {
            assert!(from(wanted, set).is_err(), "{wanted} {set:?}");
        }
    }

    /// Task 3 of four, sent again alone, is an array of one: taken for the whole it would run every point.
    #[test]
    fn a_part_of_an_array_is_not_taken_for_the_whole() {
        let array = |id, least, most, count| {
            [
                ("SLURM_ARRAY_TASK_ID", id),
                ("SLURM_ARRAY_TASK_MIN", least),
                ("SLURM_ARRAY_TASK_MAX", most),
                ("SLURM_ARRAY_TASK_STEP", "1"),
                ("SLURM_ARRAY_TASK_COUNT", count),
            ]
        };
        assert_eq!(from("auto", &array("3", "1", "4", "4")), Ok((3, 4)));
        for part in [
            array("3", "3", "3", "1"),
            array("1", "1", "1", "1"),
            array("3", "2", "3", "2"),
            array("4", "1", "4", "2"),
        ] {
            let said = from("auto", &part).unwrap_err();
            assert!(said.contains("sent again"), "{said}");
            assert!(from("auto/4", &part).is_err());
            assert_eq!(from("3/4", &part), Ok((3, 4)));
        }
    }

    #[test]
    fn two_engines_at_once_are_refused() {
        let both = [("JOB_COMPLETION_INDEX", "0"), ("PARALLEL_SEQ", "3")];
        let said = from("auto/4", &both).unwrap_err();
        let named = "JOB_COMPLETION_INDEX and PARALLEL_SEQ are set at once";
        assert!(said.contains(named), "{said}");
        assert_eq!(from("2/4", &both), Ok((2, 4)));
    }
}
