//! Measured counters beside simulated ones as text.

use super::align::Aligned;
use crate::outcome::Measured;
use crate::render::number::{NONE, count, three};
use crate::render::words::origin_line;

/// Ratios, the farthest from 1 first.
#[must_use]
pub fn measured_text(measured: &Measured) -> String {
    let mut table = Aligned::new(&[
        "part",
        "direction",
        ">links",
        ">measured, MB/s",
        ">simulated, MB/s",
        ">ratio",
        ">measured, frames/s",
        ">simulated, frames/s",
        ">ratio",
    ]);
    let shown = |figure: Option<f64>| figure.map_or_else(|| NONE.to_owned(), three);
    for row in &measured.rows {
        let way = if row.toward_array {
            "toward-array"
        } else {
            "toward-host"
        };
        table.row(vec![
            row.part.clone(),
            way.to_owned(),
            count(u64::from(row.links)),
            three(row.measured_mb_s),
            three(row.simulated_mb_s),
            shown(row.ratio),
            shown(row.measured_frames_s),
            three(row.simulated_frames_s),
            shown(row.frames_ratio),
        ]);
    }
    let mut out = String::new();
    if let Some(worst) = measured.rows.first() {
        out.push_str(&match worst.ratio {
            Some(ratio) => format!(
                "The farthest apart is {}: measured {} times what is simulated.\n\n",
                worst.part,
                three(ratio)
            ),
            None => format!(
                "The farthest apart is {}: nothing is simulated there.\n\n",
                worst.part
            ),
        });
    }
    out.push_str(&table.text(&format!(
        "Measured ({}) beside simulated ({}), the farthest apart first",
        measured.file, measured.case.name
    )));
    for note in &measured.notes {
        out.push_str(&format!("Note: {note}.\n"));
    }
    out.push_str(&format!("{}\n", origin_line(&measured.origin)));
    out
}
