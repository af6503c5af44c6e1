//! Measured counters beside simulated ones, as rows.

use super::{maybe, names, number, to_text};
use crate::outcome::Measured;

/// One row a part and direction, the farthest apart first.
#[must_use]
pub fn measured_csv(measured: &Measured) -> String {
    let header = names(&[
        "part",
        "direction",
        "links",
        "span_s",
        "measured_mb_s",
        "simulated_mb_s",
        "simulated_low_mb_s",
        "simulated_high_mb_s",
        "ratio",
        "ratio_low",
        "ratio_high",
        "measured_frames_s",
        "simulated_frames_s",
        "frames_ratio",
        "resets",
        "partial",
    ]);
    let rows = measured.rows.iter().map(|row| {
        let way = if row.toward_array {
            "toward-array"
        } else {
            "toward-host"
        };
        vec![
            row.part.clone(),
            way.to_owned(),
            row.links.to_string(),
            number(row.span_s),
            maybe(row.measured_mb_s),
            number(row.simulated_mb_s),
            maybe(row.simulated_low_mb_s),
            maybe(row.simulated_high_mb_s),
            maybe(row.ratio),
            maybe(row.ratio_low),
            maybe(row.ratio_high),
            maybe(row.measured_frames_s),
            number(row.simulated_frames_s),
            maybe(row.frames_ratio),
            row.resets.to_string(),
            measured.partial.to_string(),
        ]
    });
    to_text(&header, rows.collect())
}
