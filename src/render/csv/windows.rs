//! Maintenance windows: one row an outage and hour.

use super::{maybe, names, number, to_text};
use crate::outcome::{JudgedBy, Windows};
use crate::render::words::{measure_name, verdict_word};

/// One row an outage and hour, from midnight on.
#[must_use]
pub fn windows_csv(found: &Windows) -> String {
    let mut header = names(&["case", "hour"]);
    for shape in &found.shapes {
        header.push(format!("factor_{}", shape.workload));
    }
    header.extend(names(&[
        "verdict",
        "state",
        "switch_over",
        "margin_percent",
        "tightest_workload",
        "tightest_measure",
        "tightest_target",
        "saturated",
        "longest_io_s",
        "fullest_part",
        "fullest_instance",
        "fullest_mean_percent",
        "fullest_peak_percent",
        "judged_by",
        "figures_of_hour",
        "figures_bound",
        "switch_of_hour",
        "longest_io_bound",
        "window_from_hour",
        "window_to_hour",
        "window_hours",
        "partial",
    ]));
    let mut rows = Vec::new();
    for outage in &found.outages {
        for row in &outage.hours {
            let mut cells = vec![outage.case.name.clone(), row.hour.to_string()];
            for shape in &found.shapes {
                let factor = shape.factors.get(row.hour as usize);
                cells.push(maybe(factor.copied()));
            }
            let tightest = row.tightest.as_ref();
            let fullest = row.fullest.as_ref();
            let window = outage.windows.iter().find(|window| {
                let since = (row.hour + 24 - window.from_hour) % 24;
                since < window.hours
            });
            cells.extend([
                verdict_word(row.verdict).to_owned(),
                verdict_word(row.state).to_owned(),
                row.switch_over
                    .map_or_else(String::new, |verdict| verdict_word(verdict).to_owned()),
                maybe(row.margin_percent),
                tightest.map_or_else(String::new, |own| own.workload.clone()),
                tightest.map_or_else(String::new, |own| measure_name(own.measure)),
                tightest.map_or_else(String::new, |own| own.target_text.clone()),
                row.saturated.to_string(),
                maybe(row.longest_io_s),
                fullest.map_or_else(String::new, |own| own.part.clone()),
                fullest.map_or_else(String::new, |own| own.instance.clone()),
                fullest.map_or_else(String::new, |own| number(own.mean_percent)),
                fullest.map_or_else(String::new, |own| number(own.peak_percent)),
                judged_by(row.judged_by).to_owned(),
                row.figures_of_hour.to_string(),
                bound(row.judged_by).to_owned(),
                row.switch_of_hour
                    .map_or_else(String::new, |hour| hour.to_string()),
                row.switch_judged_by.map_or("", bound).to_owned(),
            ]);
            let of = |value: fn(&crate::outcome::Window) -> u32| {
                window.map_or_else(String::new, |window| value(window).to_string())
            };
            cells.extend([
                of(|window| window.from_hour),
                of(|window| window.to_hour),
                of(|window| window.hours),
            ]);
            cells.push(row.partial.to_string());
            rows.push(cells);
        }
    }
    to_text(&header, rows)
}

const fn bound(how: JudgedBy) -> &'static str {
    match how {
        JudgedBy::BusierHour => "at-most",
        JudgedBy::QuieterHour => "at-least",
        JudgedBy::Simulated | JudgedBy::SameLoad | JudgedBy::NoWork => "",
    }
}

fn judged_by(how: JudgedBy) -> &'static str {
    match how {
        JudgedBy::Simulated => "simulated",
        JudgedBy::SameLoad => "same-load",
        JudgedBy::QuieterHour => "quieter-hour",
        JudgedBy::BusierHour => "busier-hour",
        JudgedBy::NoWork => "no-work",
    }
}
