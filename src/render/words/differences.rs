//! What two designs have of a figure, in words.

use crate::outcome::{Difference, Lack};
use crate::render::number::{NONE, Scale};

/// `saturated → 705 µs`: what each of the two has.
#[must_use]
pub fn two_figures(row: &Difference) -> String {
    let scale = Scale::of(row.unit, [row.first, row.value].into_iter().flatten());
    let side = |value: Option<f64>, lack: Option<Lack>| {
        value.map_or_else(
            || lack_word(lack).to_owned(),
            |value| format!("{} {}", scale.three(value), scale.unit),
        )
    };
    format!(
        "{} → {}",
        side(row.first, row.first_lacks),
        side(row.value, row.value_lacks)
    )
}

/// Why a design has no figure.
#[must_use]
pub const fn lack_word(lack: Option<Lack>) -> &'static str {
    match lack {
        Some(Lack::Saturated) => "saturated",
        Some(Lack::CutOff) => "cut off",
        Some(Lack::NoFigure) | None => NONE,
    }
}
