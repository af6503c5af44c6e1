//! Measured counters beside simulated ones as text.

use super::align::{Aligned, with_ends};
use crate::outcome::{Estimated, Measured, MeasuredRow};
use crate::render::number::{NONE, Scale, count, three};
use crate::render::words::origin_line;

/// `1.04 (1.02 to 1.06)`.
fn ratio(row: &MeasuredRow) -> String {
    row.ratio.map_or_else(
        || NONE.to_owned(),
        |value| {
            let figure = Estimated {
                value,
                low: row.ratio_low,
                high: row.ratio_high,
            };
            with_ends(Scale::PLAIN, &figure)
        },
    )
}

/// Ratios, the farthest from 1 first.
#[must_use]
pub fn measured_text(measured: &Measured) -> String {
    let mut table = Aligned::new(&[
        "part",
        "direction",
        ">links",
        ">measured, MB/s",
        ">simulated, MB/s",
        ">ratio, 95 % interval",
        ">measured, frames/s",
        ">simulated, frames/s",
        ">ratio",
    ]);
    let way = |row: &MeasuredRow| {
        if row.toward_array {
            "toward-array"
        } else {
            "toward-host"
        }
    };
    let shown = |figure: Option<f64>| figure.map_or_else(|| NONE.to_owned(), three);
    for row in &measured.rows {
        table.row(vec![
            row.part.clone(),
            way(row).to_owned(),
            count(u64::from(row.links)),
            shown(row.measured_mb_s),
            three(row.simulated_mb_s),
            ratio(row),
            shown(row.measured_frames_s),
            three(row.simulated_frames_s),
            shown(row.frames_ratio),
        ]);
    }
    let mut out = String::new();
    if let Some(worst) = measured.rows.first() {
        let ratio = ratio(worst);
        let by_frames = worst.frames_apart() > worst.bytes_apart();
        let frames = worst.frames_ratio.filter(|_| by_frames);
        out.push_str(&match (worst.ratio, frames) {
            (Some(_), None) => format!(
                "The farthest apart is {}, {}: measured {ratio} times what is simulated.\n\n",
                worst.part,
                way(worst)
            ),
            (_, Some(frames)) => format!(
                "The farthest apart is {}, {}: measured {} times the frames that are simulated.\n\n",
                worst.part,
                way(worst),
                three(frames)
            ),
            (None, None) => format!(
                "The farthest apart is {}, {}: nothing is simulated there.\n\n",
                worst.part,
                way(worst)
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
