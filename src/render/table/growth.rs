//! When promises break as the work grows, as text.

use super::align::Aligned;
use crate::outcome::{GrowthPlan, Stage, StageCase, Standing};
use crate::render::number::{NONE, as_written, three, three_down, three_up};
use crate::render::words::{growth_stopped_words, measure_name, no_load_keeps, origin_line};

/// A sentence a stage and case, then the days as a table.
#[must_use]
pub fn growth_text(plan: &GrowthPlan) -> String {
    let mut out = String::new();
    if let Some(said) = growth_stopped_words(plan) {
        out.push_str(&format!("{said}\n"));
    }
    for stage in &plan.stages {
        for case in &stage.cases {
            out.push_str(&sentence(&plan.from, stage, case));
            out.push('\n');
        }
    }
    out.push('\n');
    let mut table = Aligned::new(&[
        "stage",
        "from",
        "case",
        "holds until",
        ">times",
        "broken by",
        ">times",
        "full by arithmetic",
        "part that ends it",
    ]);
    let day = |day: &Option<String>| day.clone().unwrap_or_else(|| NONE.to_owned());
    let factor = |factor: Option<f64>, three: fn(f64) -> String| {
        factor.map_or_else(|| NONE.to_owned(), three)
    };
    for stage in &plan.stages {
        for case in &stage.cases {
            table.row(vec![
                stage.name.clone(),
                stage.date.clone(),
                case.case.name.clone(),
                day(&case.holds_until),
                factor(case.holds_factor, three_down),
                day(&case.breaks_by),
                factor(case.breaks_factor, three_up),
                day(&case.full_by),
                case.ends
                    .as_ref()
                    .map_or_else(|| NONE.to_owned(), |part| part.part.clone()),
            ]);
        }
    }
    out.push_str(&table.text(
        "Days until promises break, and times the load of the first day of the work that grows fastest",
    ));
    let mut growth = Aligned::new(&["workload", ">growth a year, %"]);
    for (name, percent) in &plan.per_year_percent {
        growth.row(vec![name.clone(), three(*percent)]);
    }
    out.push_str(&growth.text(&format!("Growth from {} on", plan.from)));
    for note in &plan.notes {
        out.push_str(&format!("Note: {note}.\n"));
    }
    out.push_str(&format!(
        "Both days of a case hold together with {} % confidence, each case of each stage by itself.\n{}\n",
        three(plan.confidence_percent),
        origin_line(&plan.origin)
    ));
    out
}

fn sentence(from: &str, stage: &Stage, case: &StageCase) -> String {
    let who = match &case.case.outage {
        None => "everything healthy".to_owned(),
        Some(_) => case.case.name.clone(),
    };
    let breaks = case.breaks.as_ref().map_or_else(String::new, |breaks| {
        format!(
            " ({} {} {})",
            breaks.workload,
            measure_name(breaks.measure),
            as_written(&breaks.target_text)
        )
    });
    let day = |day: &Option<String>| day.clone().unwrap_or_default();
    let lasts = stage.until.as_ref().map_or_else(String::new, |until| {
        format!(", the day of the next step being {until}")
    });
    let what = match (case.standing, &case.holds_until, &case.breaks_by) {
        (Standing::Holds, ..) => format!(
            "every promise holds until the next step is there ({})",
            stage.until.clone().unwrap_or_default()
        ),
        (Standing::Never, ..) => case.hopeless.as_ref().map_or_else(String::new, |found| {
            let loads =
                |factor: f64| format!("{} times the load of the first day", three_up(factor));
            format!(
                "{}; no day breaks it, and none mends it",
                no_load_keeps(found, &loads)
            )
        }),
        (Standing::BrokenBefore, _, None) => {
            "more throughput is promised than is asked for".to_owned()
        }
        (Standing::BrokenBefore, _, Some(day)) if day == from => {
            let at = case.breaks_factor.map_or_else(String::new, |factor| {
                format!(", proven at {} times its load", three_up(factor))
            });
            format!("a promise{breaks} is broken on the first day already, {from}{at}")
        }
        (Standing::BrokenBefore, ..) => {
            format!(
                "a promise{breaks} is broken by {}, before this begins",
                day(&case.breaks_by)
            )
        }
        (_, Some(holds), Some(breaks_by)) => {
            format!(
                "every promise holds until {holds}, one{breaks} is broken by {breaks_by}{lasts}"
            )
        }
        (_, Some(holds), None) => {
            format!("every promise holds until {holds}; no day was proven to break one{lasts}")
        }
        (_, None, Some(breaks_by)) => {
            format!(
                "no day was proven to keep every promise; one{breaks} is broken by {breaks_by}{lasts}"
            )
        }
        (_, None, None) => "nothing is proven; more replications or longer runs would".to_owned(),
    };
    let floor = case.floor.as_ref().zip(case.asked_from.as_ref());
    let floor = floor.map_or_else(String::new, |(floor, day)| {
        format!(
            " Before {day} `{}` cannot keep its throughput of {}: less is asked for.",
            floor.workload,
            as_written(&floor.target_text)
        )
    });
    format!("{}, {who}: {what}.{floor}", stage.name)
}
