//! When promises break as the work grows, as rows.

use super::{maybe, names, to_text};
use crate::outcome::{GrowthPlan, StageSearch, Standing};

/// One row a stage and case.
#[must_use]
pub fn growth_csv(plan: &GrowthPlan) -> String {
    let header = names(&[
        "stage",
        "from",
        "until",
        "case",
        "holds_until",
        "holds_factor",
        "breaks_by",
        "breaks_factor",
        "full_by",
        "standing",
        "ends",
        "asked_from",
        "partial",
        "search",
    ]);
    let mut rows = Vec::new();
    for stage in &plan.stages {
        let search = match stage.search {
            StageSearch::Whole => "whole",
            StageSearch::Stopped => "stopped",
            StageSearch::NotBegun => "not-begun",
        };
        for case in &stage.cases {
            let standing = match case.standing {
                Standing::Holds => "holds",
                Standing::BrokenBefore => "broken-before",
                Standing::ShortAtFirst => "short-at-first",
                Standing::Never => "never",
                Standing::Breaks => "breaks",
                Standing::Open => "open",
                Standing::Unpromised => "unpromised",
            };
            rows.push(vec![
                stage.name.clone(),
                stage.date.clone(),
                stage.until.clone().unwrap_or_default(),
                case.case.name.clone(),
                case.holds_until.clone().unwrap_or_default(),
                maybe(case.holds_factor),
                case.breaks_by.clone().unwrap_or_default(),
                maybe(case.breaks_factor),
                case.full_by.clone().unwrap_or_default(),
                standing.to_owned(),
                case.ends
                    .as_ref()
                    .map_or_else(String::new, |part| part.part.clone()),
                case.asked_from.clone().unwrap_or_default(),
                case.cut.to_string(),
                search.to_owned(),
            ]);
        }
    }
    to_text(&header, rows)
}
