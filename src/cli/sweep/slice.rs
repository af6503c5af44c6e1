//! Which points one machine of several runs.
//!
//! Piece I of N runs points I, I + N, I + 2N, …: neighbours take about as long, so the pieces end together. Batch
//! engines say which piece a process is by variables of the environment:
//!
//! | engine | variables | first piece |
//! | --- | --- | --- |
//! | Slurm job arrays | `SLURM_ARRAY_TASK_ID`, `_MIN`, `_COUNT`, `_STEP` | `_MIN` |
//! | Kubernetes indexed jobs | `JOB_COMPLETION_INDEX` | 0 |
//! | GNU parallel | `PARALLEL_SEQ` | 1 |
//!
//! Sources: Slurm, sbatch manual page, "OUTPUT ENVIRONMENT VARIABLES"; Kubernetes documentation, "Indexed Job for
//! Parallel Processing with Static Work Assignment"; GNU parallel manual page, "ENVIRONMENT VARIABLES" (all
//! from memory).

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
    let (name, piece, counted) = if let Some(id) = number("SLURM_ARRAY_TASK_ID")? {
        let least = number("SLURM_ARRAY_TASK_MIN")?.unwrap_or(1);
        let step = number("SLURM_ARRAY_TASK_STEP")?.unwrap_or(1).max(1);
        let from = id
            .checked_sub(least)
            .ok_or("SLURM_ARRAY_TASK_ID is below SLURM_ARRAY_TASK_MIN")?;
        let count = number("SLURM_ARRAY_TASK_COUNT")?;
        ("SLURM_ARRAY_TASK_ID", from / step + 1, count)
    } else if let Some(index) = number("JOB_COMPLETION_INDEX")? {
        ("JOB_COMPLETION_INDEX", index.saturating_add(1), None)
    } else if let Some(seq) = number("PARALLEL_SEQ")? {
        ("PARALLEL_SEQ", seq, None)
    } else {
        return Err(
            "no batch engine says which piece this is: none of SLURM_ARRAY_TASK_ID, \
             JOB_COMPLETION_INDEX and PARALLEL_SEQ is set"
                .to_owned(),
        );
    };
    let pieces = match (stated, counted) {
        (Some(stated), Some(counted)) if stated != counted => {
            return Err(format!(
                "auto/{stated} was asked for, but the job array has {counted} tasks"
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
}
