//! Hours of a day for two outages, invented.

use super::cases;
use crate::outcome::{
    Case, Fullest, HourRow, JudgedBy, MeasureKind, OutageWindows, Tightest, Verdict, Window,
    Windows, WorkShape,
};

/// Per cent of the busiest hour, by hour.
const DAY: [u32; 24] = [
    25, 25, 20, 20, 20, 25, 40, 65, 90, 100, 100, 95, 80, 90, 100, 100, 90, 70, 55, 45, 40, 35, 30,
    25,
];

/// The invented hours: with A lost up to 55 % of the load is met, with B lost up to 40 %.
#[doc(hidden)]
#[must_use]
pub fn sample_windows() -> Windows {
    let cases = cases();
    let factors = DAY.map(|percent| f64::from(percent) / 100.0).to_vec();
    Windows {
        needed_hours: 4,
        shapes: vec![WorkShape {
            workload: "bookings".to_owned(),
            stated: true,
            factors,
        }],
        loads: 14,
        bracketed: true,
        switch_judged: true,
        replications: 10,
        switch_replications: 5,
        duration_s: 2.0,
        outages: vec![
            outage(&cases[1], (55, 65), &[(18, 7, 13)]),
            outage(&cases[2], (40, 45), &[(20, 7, 11)]),
        ],
        notes: vec!["invented figures".to_owned()],
    }
}

/// Met up to the first load, missed above the second, undecided between.
fn outage(case: &Case, (met, missed): (u32, u32), windows: &[(u32, u32, u32)]) -> OutageWindows {
    let hours = (0..24_u32).zip(DAY).map(|(hour, percent)| {
        let verdict = match percent {
            load if load <= met => Verdict::Met,
            load if load > missed => Verdict::Missed,
            _ => Verdict::Undecided,
        };
        row(hour, f64::from(percent) / 100.0, verdict, (met, missed))
    });
    let windows: Vec<Window> = windows
        .iter()
        .map(|(from_hour, to_hour, hours)| Window {
            from_hour: *from_hour,
            to_hour: *to_hour,
            hours: *hours,
        })
        .collect();
    OutageWindows {
        case: case.clone(),
        takes: format!("all parts of side {}", case.lost.unwrap_or('A')),
        cut_off: Vec::new(),
        simulated: 5,
        ways_simulated: 1,
        hours: hours.collect(),
        longest: windows.first().copied(),
        windows,
        verdict: Verdict::Met,
    }
}

fn row(hour: u32, factor: f64, verdict: Verdict, (met, missed): (u32, u32)) -> HourRow {
    let percent = DAY[hour as usize];
    let first = |wanted: u32| (0..24_u32).zip(DAY).find(|(_, load)| *load == wanted);
    // The busiest hour that is met answers for those below, the quietest that is missed for those above.
    let least = DAY.into_iter().filter(|load| *load > missed).min();
    let answers = match verdict {
        Verdict::Met => met,
        Verdict::Missed => least.unwrap_or(percent),
        Verdict::Undecided => percent,
    };
    let figures_of_hour = first(answers).map_or(hour, |(hour, _)| hour);
    let judged_by = match verdict {
        _ if figures_of_hour == hour => JudgedBy::Simulated,
        _ if answers == percent => JudgedBy::SameLoad,
        Verdict::Missed => JudgedBy::QuieterHour,
        _ => JudgedBy::BusierHour,
    };
    let way = verdict == Verdict::Met;
    let full = f64::from(answers) / 100.0;
    let margin = 100.0 * (f64::from(met + missed) / 200.0 - full);
    HourRow {
        hour,
        least_factor: factor,
        most_factor: factor,
        verdict,
        state: verdict,
        judged_by,
        figures_of_hour,
        switch_over: way.then_some(Verdict::Met),
        switch_judged_by: way.then_some(judged_by),
        switch_of_hour: way.then_some(figures_of_hour),
        margin_percent: Some(margin),
        tightest: Some(Tightest {
            workload: "bookings".to_owned(),
            measure: MeasureKind::Quantile(0.99),
            target_text: "2ms".to_owned(),
            margin_percent: Some(margin),
            judged_by,
        }),
        saturated: false,
        partial: false,
        fullest: Some(Fullest {
            part: "san to edge, 32GFC".to_owned(),
            instance: "san-B > edge-B".to_owned(),
            mean_percent: 70.0 * full,
            asked_mean_percent: None,
            peak_percent: 120.0 * full,
        }),
        longest_io_s: way.then_some(0.004),
        rows: Vec::new(),
    }
}
