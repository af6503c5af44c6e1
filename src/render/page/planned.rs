//! A page of one question: when promises break as the work grows.

use super::frame::single;
use super::grown::{fact, head, rest};
use super::html::{
    Column, Table, beside, case_name, esc, figure_numbered, flag_class, flag_mark, section,
};
use crate::outcome::{GrowthPlan, MeasureKind, Stage, StageCase, StageSearch, Standing};
use crate::render::chart::{Drawing, Format, growth_curve};
use crate::render::number::{NONE, as_written, three, three_down, three_up};
use crate::render::words::{Flag, growth_stopped_words, measure_name};

/// A page of `growth`: the days, the load over the years, and the steps.
#[must_use]
pub fn growth_page(plan: &GrowthPlan) -> String {
    let mut drawn = 0;
    let mut next = || {
        drawn += 1;
        drawn
    };
    let wide = growth_curve(plan, Format::Page);
    let narrow = growth_curve(plan, Format::Phone);
    let mut answers: Vec<String> = wide.iter().map(|drawing| drawing.finding.clone()).collect();
    // What the chart finds is the headline here, and is not said twice.
    let titled = |drawing: Drawing| Drawing {
        finding: "The load by day, and what each case is proven to carry.".to_owned(),
        ..drawing
    };
    let (wide, narrow) = (wide.map(titled), narrow.map(titled));
    if answers.is_empty() {
        answers.push("No day was worked out.".to_owned());
    }
    answers.extend(growth_stopped_words(plan).map(str::to_owned));
    let mut body = head("When does a promise break?", &answers, &growth_facts(plan));
    let note = format!(
        "<p>The thick line is the load. The others are what is proven to be carried, by case; {}.</p>",
        crossing(plan)
    );
    let chart = figure_numbered(&mut next, "", wide, narrow);
    body.push_str(&section(
        "years",
        1,
        "How does the load meet what is proven?",
        &beside(&chart, &note),
    ));
    body.push_str(&section(
        "days",
        2,
        "On which day, with which step?",
        &days_table(plan),
    ));
    body.push_str(&section(
        "steps",
        3,
        "What grows, and what is planned?",
        &plan_tables(plan),
    ));
    body.push_str(&rest(4, &plan.notes, &plan.origin, &format!(
        "Both days of a case hold together with {}\u{202F}% confidence, each case of each stage by itself.",
        three(plan.confidence_percent)
    )));
    let title = format!("{}: growth", plan.origin.title);
    single(&plan.origin, "growth", &title, &body)
}

/// What it means that the load crosses a line: a break only where one is proven.
fn crossing(plan: &GrowthPlan) -> &'static str {
    let cases = || {
        let stages = plan.stages.iter();
        stages.flat_map(|stage| stage.cases.iter().map(move |case| (stage, case)))
    };
    let broken = cases().any(|(stage, case)| stage.broken_by(case).is_some());
    let open = cases().any(|(stage, case)| {
        case.standing == Standing::Open && !plan.holds_to_the_last_day(stage, case)
    });
    let ends = cases().any(|(stage, case)| plan.holds_to_the_last_day(stage, case));
    match (broken, open) {
        (true, false) => {
            "where the load crosses one, a promise breaks: the thick stroke reaches from the last day that is proven to hold to the day by which it is proven to be broken"
        }
        (true, true) => {
            "where the load crosses one with a thick stroke, a promise breaks: the stroke reaches from the last day that is proven to hold to the day by which it is proven to be broken. Where it crosses one without, what comes after it is undecided"
        }
        (false, true) => {
            "where the load crosses one, what is proven to hold ends, and what comes after it is undecided"
        }
        (false, false) if ends => {
            "the load crosses none of them while its stage lasts, up to the last day that was looked at"
        }
        (false, false) => "the load crosses none of them while its stage lasts",
    }
}

/// The first day on which something breaks, by stage: at most three.
fn growth_facts(plan: &GrowthPlan) -> String {
    let one = |stage: &Stage| {
        if let Some((case, found)) = stage
            .cases
            .iter()
            .find_map(|case| Some((case, case.hopeless.as_ref()?)))
        {
            return fact(
                "at no load",
                "",
                "miss",
                &format!(
                    "is {} of {} kept",
                    measure_name(found.measure),
                    esc(&found.workload)
                ),
                &format!(
                    "no day breaks it, and none mends it, {}: {}",
                    esc(&case.case.name),
                    esc(&stage.name)
                ),
            );
        }
        let early = stage.cases.iter().find_map(|case| {
            let day = case.asked_from.as_ref()?;
            Some((case, day, case.floor.as_ref()?))
        });
        if let Some((case, day, floor)) = early {
            return fact(
                day,
                "",
                "miss",
                &format!(
                    "before it less is {} than the throughput promised of {}",
                    if closed_floor(case) {
                        "carried"
                    } else {
                        "asked for"
                    },
                    esc(&floor.workload)
                ),
                &format!(
                    "kept from then on at the earliest, {}: {}",
                    esc(&case.case.name),
                    esc(&stage.name)
                ),
            );
        }
        let broken = || {
            let own = stage.cases.iter();
            own.filter(move |case| stage.broken_by(case).is_some())
        };
        // All cases that break on a day, as the chart names them.
        let cases_of = |day: &String| {
            let own = broken().filter(|case| case.breaks_by.as_ref() == Some(day));
            let names: Vec<String> = own.map(|case| esc(&case.case.name)).collect();
            match names.len() {
                all if all > 1 && all == stage.cases.len() => "every case".to_owned(),
                _ => names.join(", "),
            }
        };
        let first = broken()
            .filter_map(|case| Some((case.breaks_by.clone()?, case)))
            .min_by(|left, right| left.0.cmp(&right.0));
        // What is proven of later days is of a site that the next step will have changed by then.
        let lasts = |day: String| match &stage.until {
            Some(until) if *until < day => until.clone(),
            _ => day,
        };
        let promised = stage.cases.iter();
        let promised = promised.filter(|case| case.standing != Standing::Unpromised);
        let all = promised.map(|case| case.holds_until.clone());
        let last = all.collect::<Option<Vec<String>>>();
        let last = last.and_then(|days| days.into_iter().min()).map(lasts);
        match first {
            Some((day, case)) => fact(
                &day,
                "",
                "miss",
                &case.holds_until.as_ref().map_or_else(
                    || "no day was proven to hold".to_owned(),
                    |day| format!("proven to hold until {day}"),
                ),
                &format!(
                    "a promise breaks by then, {}: {}",
                    cases_of(&day),
                    esc(&stage.name)
                ),
            ),
            None => fact(
                &last.unwrap_or_else(|| NONE.to_owned()),
                "",
                "",
                match stage.search {
                    StageSearch::Whole => "no promise was proven to break while it lasts",
                    StageSearch::Stopped => "the search was stopped on the way",
                    StageSearch::NotBegun => "not looked at: the search was stopped before it",
                },
                &format!(
                    "proven to hold until then in every case: {}",
                    esc(&stage.name)
                ),
            ),
        }
    };
    plan.stages.iter().take(3).map(one).collect()
}

/// Of a closed loop nothing is asked for: it brings what it brings.
fn closed_floor(case: &StageCase) -> bool {
    let floor = case.floor.as_ref();
    floor.is_some_and(|floor| floor.asked_mb_s.is_none())
}

fn standing(plan: &GrowthPlan, stage: &Stage, case: &StageCase) -> (&'static str, Flag) {
    match case.standing {
        Standing::Holds => ("holds until the next step", Flag::Met),
        Standing::ShortAtFirst if closed_floor(case) => {
            ("too little is carried at first", Flag::Missed)
        }
        Standing::ShortAtFirst => ("too little is asked for at first", Flag::Missed),
        Standing::BrokenBefore if stage.broken_by(case).is_none() => {
            if closed_floor(case) {
                ("too little is carried while it lasts", Flag::Missed)
            } else {
                ("too little is asked for while it lasts", Flag::Missed)
            }
        }
        Standing::BrokenBefore => ("broken on the day it begins", Flag::Missed),
        Standing::Never => ("no load keeps it", Flag::Missed),
        Standing::Unpromised => ("nothing is promised", Flag::Unasked),
        Standing::Breaks => ("breaks while it lasts", Flag::Missed),
        Standing::Open if plan.holds_to_the_last_day(stage, case) => {
            ("holds to the last day that was looked at", Flag::Met)
        }
        Standing::Open => match stage.search {
            StageSearch::Whole => ("not proven", Flag::Undecided),
            StageSearch::Stopped => ("not proven yet: stopped", Flag::Undecided),
            StageSearch::NotBegun => ("not looked at: stopped before it", Flag::Undecided),
        },
    }
}

fn days_table(plan: &GrowthPlan) -> String {
    let columns = vec![
        Column::words("stage and case"),
        Column::words("holds until"),
        Column::number("×"),
        Column::words("broken by"),
        Column::number("×"),
        Column::words("full by arithmetic"),
        Column::words("breaks first"),
        Column::words("the part that ends it"),
        Column::words("what becomes of it"),
    ];
    let caption = "Days, and times the load of the first day".to_owned();
    let mut table = Table::new("", caption, columns);
    let day = |day: &Option<String>| day.clone().unwrap_or_else(|| NONE.to_owned());
    let factor = |factor: Option<f64>, three: fn(f64) -> String| {
        factor.map_or_else(|| NONE.to_owned(), three)
    };
    for stage in &plan.stages {
        for case in &stage.cases {
            let (words, flag) = standing(plan, stage, case);
            let promise = |workload: &str, measure, target: &str| {
                format!(
                    "{} {} {}",
                    esc(workload),
                    measure_name(measure),
                    esc(&as_written(target))
                )
            };
            let breaks = match (&case.hopeless, &case.breaks) {
                (Some(found), _) => promise(&found.workload, found.measure, &found.target_text),
                (None, None) if case.floor.is_some() => {
                    case.floor.as_ref().map_or_else(String::new, |floor| {
                        let day = case.asked_from.as_deref().unwrap_or(NONE);
                        let what =
                            promise(&floor.workload, MeasureKind::Throughput, &floor.target_text);
                        let how = if closed_floor(case) {
                            "carried"
                        } else {
                            "asked for"
                        };
                        format!("{what}, not {how} before {day}")
                    })
                }
                (None, Some(found)) => promise(&found.workload, found.measure, &found.target_text),
                (None, None) => NONE.to_owned(),
            };
            table.row(
                "",
                &[
                    format!(
                        "{} <small>{}</small>",
                        case_name(&case.case),
                        esc(&stage.name)
                    ),
                    format!("<span class=\"nw\">{}</span>", day(&case.holds_until)),
                    factor(case.holds_factor, three_down),
                    format!("<span class=\"nw\">{}</span>", day(&case.breaks_by)),
                    factor(case.breaks_factor, three_up),
                    format!("<span class=\"nw\">{}</span>", day(&case.full_by)),
                    breaks,
                    case.ends
                        .as_ref()
                        .map_or_else(|| NONE.to_owned(), |part| esc(&part.part)),
                    format!(
                        "<span class=\"{}\">{} {words}</span>",
                        flag_class(flag),
                        flag_mark(flag)
                    ),
                ],
            );
        }
    }
    table.html()
}

fn plan_tables(plan: &GrowthPlan) -> String {
    let columns = vec![
        Column::words("workload"),
        Column::number("growth a year, %"),
    ];
    let mut growth = Table::new("", format!("Growth from {} on", esc(&plan.from)), columns);
    for (name, percent) in &plan.per_year_percent {
        growth.row("", &[esc(name), three(*percent)]);
    }
    let columns = vec![
        Column::words("step"),
        Column::words("from"),
        Column::words("sets"),
    ];
    let mut steps = Table::new("", "Planned steps".to_owned(), columns);
    for stage in plan.stages.iter().skip(1) {
        let set: Vec<String> = stage
            .set
            .iter()
            .map(|(key, value)| format!("<code>{} = {}</code>", esc(key), esc(value)))
            .collect();
        steps.row("", &[esc(&stage.name), esc(&stage.date), set.join("<br>")]);
    }
    growth.html() + &steps.html()
}
