//! Pages of one question: how far the work can grow, and when promises break as it grows.

use super::frame::single;
use super::html::{
    Column, Table, beside, case_name, esc, figure_numbered, flag_class, flag_mark, section,
};
use crate::outcome::{
    Bound, CaseHeadroom, GrowthPlan, Headroom, LoadSwitch, MeasureKind, Origin, PartLoad, PartUse,
    Stage, StageCase, Standing, Verdict,
};
use crate::render::chart::{Format, growth_curve, load_curve, part_bars};
use crate::render::number::{NONE, as_written, is_over, three, three_down, three_up, with_unit};
use crate::render::words::{
    Flag, counted, counted_met, counted_missed, growth_stopped_words, growth_unit, listed,
    measure_name, proven_sentence, stopped_words, switch_remark, switch_sentence, switch_value,
    target_of, verdict_word,
};
use std::fmt::Write as _;

/// A page of `headroom`: what is proven, latency against load, how full each part is, and the switch-over.
#[must_use]
pub fn headroom_page(found: &Headroom) -> String {
    let mut drawn = 0;
    let mut next = || {
        drawn += 1;
        drawn
    };
    let mut answers = vec![short_answer(found)];
    answers.extend(stopped_words(found).map(str::to_owned));
    answers.extend(found.cases.iter().map(|case| proven_sentence(case, found)));
    let mut body = head("How far can it grow?", &answers, &headroom_facts(found));
    let promises = found.cases.first().and_then(|case| case.points.first());
    let promises = promises.map_or(0, |point| point.rows.len());
    let mut curves = String::new();
    for index in promises_in_order(found, promises) {
        let wide = load_curve(found, index, Format::Page);
        let narrow = load_curve(found, index, Format::Phone);
        curves.push_str(&figure_numbered(&mut next, "", wide, narrow));
    }
    let note = "<p>The line is the promise; bars are intervals of 95\u{202F}% over the replications. Hollow points looked for the edge and prove nothing; filled ones are the proof, on other random numbers.</p><p>The knee is where load ÷ latency is largest: beyond it, latency grows faster than the load.</p>";
    body.push_str(&section(
        "load",
        1,
        "How does the promised figure grow with the load?",
        &format!("{}{}", beside(&curves, note), ends_table(found)),
    ));
    let bars = figure_numbered(
        &mut next,
        "",
        part_bars(found, Format::Page),
        part_bars(found, Format::Phone),
    );
    let note = "<p>Asked of the fullest of each family in its busiest 20\u{202F}ms, at today’s load. Spare is what is left of 100\u{202F}% in the worst case.</p><p><b>Peak full at</b> is 100 ÷ that: arithmetic, of those 20\u{202F}ms and not of the mean. Promises may break before, and may hold beyond: what does not fit into such a moment waits for the next one, while a part that is full on the mean never catches up.</p>";
    body.push_str(&section(
        "parts",
        2,
        "How full is each part today, and with a fabric lost?",
        &format!("{}{}", beside(&bars, note), parts_table(found)),
    ));
    body.push_str(&section(
        "switch",
        3,
        "And while a fabric is being lost?",
        &switches(found),
    ));
    body.push_str(&rest(
        4,
        &found.notes,
        &found.origin,
        &format!(
            "Both ends of a case hold together with {}\u{202F}% confidence, each case by itself.",
            three(found.confidence_percent)
        ),
    ));
    let title = format!("{}: headroom", found.origin.title);
    single(&found.origin, "headroom", &title, &body)
}

/// `Every promise is proven to hold at 2.94 times today's load healthy, and at 2.48 with A lost.`
fn short_answer(found: &Headroom) -> String {
    let healthy = found.cases.iter().find(|case| case.case.outage.is_none());
    let outages = || found.cases.iter().filter(|case| case.case.outage.is_some());
    let named: Vec<&CaseHeadroom> = match outages().count() {
        0..=3 => outages().collect(),
        _ => worst_outage(found).into_iter().collect(),
    };
    let said = |case: &CaseHeadroom| {
        let name = case.case.outage.as_ref().map_or_else(
            || "healthy".to_owned(),
            |_| format!("with {}", case.case.name),
        );
        case.met.map_or_else(
            || format!("at no load {name}"),
            |met| {
                let least = case.bound.map_or("", |bound| match bound {
                    Bound::Asked => "at least ",
                    Bound::Buildable => "all that can be built, ",
                });
                format!(
                    "at {least}{} {} {name}",
                    counted_met(found, met),
                    growth_unit(found)
                )
            },
        )
    };
    let all: Vec<String> = healthy.into_iter().chain(named).map(said).collect();
    let least = match outages().count() {
        0..=3 => String::new(),
        more => format!(", the least of {more} outages"),
    };
    format!("Every promise is proven to hold {}{least}.", listed(&all))
}

/// The outage with the least proven load.
fn worst_outage(found: &Headroom) -> Option<&CaseHeadroom> {
    let met = |case: &CaseHeadroom| case.met.unwrap_or(0.0);
    found
        .cases
        .iter()
        .filter(|case| case.case.outage.is_some())
        .min_by(|left, right| met(left).total_cmp(&met(right)))
}

/// The promise that breaks at the lowest load first.
fn promises_in_order(found: &Headroom, count: usize) -> Vec<usize> {
    let rows = found.cases.first().and_then(|case| case.points.first());
    let rows = rows.map_or(&[][..], |point| &point.rows);
    let breaking = found
        .cases
        .iter()
        .filter_map(|case| Some((case.missed?, case.breaks.as_ref()?)))
        .min_by(|left, right| left.0.total_cmp(&right.0));
    let first = breaking.and_then(|(_, breaks)| {
        rows.iter()
            .position(|row| row.workload == breaks.workload && row.measure == breaks.measure)
    });
    let rest = (0..count).filter(|index| Some(*index) != first);
    first.into_iter().chain(rest).collect()
}

/// A head: the question, the answers, and up to three numbers.
fn head(question: &str, answers: &[String], facts: &str) -> String {
    let (first, rest) = answers
        .split_first()
        .map_or(("", &[][..]), |(first, rest)| (first.as_str(), rest));
    let rest: String = rest.iter().fold(String::new(), |mut out, said| {
        let _ = writeln!(out, "<p class=\"lede\">{}</p>", esc(said));
        out
    });
    format!(
        "<section id=\"verdict\" aria-labelledby=\"h-verdict\">\n<p class=\"flag na\">{}</p>\n<h1 id=\"h-verdict\">{}</h1>\n{rest}<ul class=\"facts\">{facts}</ul>\n</section>\n\n",
        esc(question),
        esc(first)
    )
}

fn fact(number: &str, unit: &str, colour: &str, interval: &str, what: &str) -> String {
    let long = if number.len() > 12 { " long" } else { "" };
    format!(
        "<li><b class=\"n{long} {colour}\">{}<small>{}</small></b><span class=\"iv\">{}</span><span>{}</span></li>\n",
        esc(number),
        esc(unit),
        esc(interval),
        esc(what)
    )
}

fn headroom_facts(found: &Headroom) -> String {
    let unit = if found.grows.hosts.is_some() {
        "hosts"
    } else {
        "×"
    };
    let one = |case: &CaseHeadroom| {
        let number = case
            .met
            .map_or_else(|| NONE.to_owned(), |met| counted_met(found, met));
        let short = case.met.is_none_or(|met| met < 1.0);
        let missed = match (case.missed, &case.hopeless, case.bound) {
            (_, Some(_), _) => "one promise is broken at every load".to_owned(),
            (Some(missed), ..) => format!("broken at {}", counted_missed(found, missed)),
            (None, _, Some(Bound::Asked)) => "no more was asked for".to_owned(),
            (None, _, Some(Bound::Buildable)) => "more cannot be built".to_owned(),
            (None, None, None) => "none was proven to break a promise".to_owned(),
        };
        fact(
            &number,
            unit,
            if short { "miss" } else { "" },
            &missed,
            &format!("proven to keep every promise, {}", case.case.name),
        )
    };
    let healthy = found.cases.iter().find(|case| case.case.outage.is_none());
    let worst = worst_outage(found);
    let part = worst.or(healthy).and_then(|case| {
        let ends = case.ends.as_ref()?;
        let next = case.next.as_ref().map_or_else(String::new, |next| {
            format!(
                "; then {}, {}",
                next.part,
                with_unit(&three(next.mean_percent), "%")
            )
        });
        Some(fact(
            &three(ends.mean_percent),
            "%",
            "",
            if case.missed.is_some() {
                "on the mean, at the load that ends it"
            } else {
                "on the mean, at the largest load that is proven"
            },
            &format!("of {}{next}", ends.part),
        ))
    });
    let cases = healthy.into_iter().chain(worst).map(one);
    cases.chain(part).collect()
}

fn part_cell(part: Option<&PartLoad>) -> String {
    part.map_or_else(
        || NONE.to_owned(),
        |part| {
            format!(
                "{} <small>{} on the mean, {} asked in the busiest 20\u{202F}ms</small>",
                esc(&part.part),
                with_unit(&three(part.mean_percent), "%"),
                with_unit(&three(part.peak_percent), "%")
            )
        },
    )
}

fn ends_table(found: &Headroom) -> String {
    let columns = vec![
        Column::words("case"),
        Column::number("met to"),
        Column::number("missed from"),
        Column::number("knee"),
        Column::number("full on the mean at"),
        Column::words("breaks first"),
        Column::words("the part that ends it"),
        Column::words("the next part"),
    ];
    let caption = format!("What is proven, {}", esc(&growth_unit(found)));
    let mut table = Table::new("", caption, columns);
    let show = |value: Option<f64>, counted: fn(&Headroom, f64) -> String| {
        value.map_or_else(|| NONE.to_owned(), |value| counted(found, value))
    };
    for case in &found.cases {
        let breaks = case.breaks.as_ref().map_or_else(
            || NONE.to_owned(),
            |breaks| {
                format!(
                    "{} {} <small>{}</small>",
                    esc(&breaks.workload),
                    measure_name(breaks.measure),
                    if breaks.saturated {
                        "does not fit".to_owned()
                    } else {
                        esc(&as_written(&breaks.target_text))
                    }
                )
            },
        );
        table.row(
            "",
            &[
                case_name(&case.case),
                format!("<b>{}</b>", show(case.met, counted_met)),
                show(case.missed, counted_missed),
                show(case.knee, counted),
                show(case.saturation, counted),
                breaks,
                part_cell(case.ends.as_ref()),
                part_cell(case.next.as_ref()),
            ],
        );
    }
    table.html()
}

fn percent(value: Option<f64>) -> String {
    match value {
        None => NONE.to_owned(),
        Some(value) if is_over(value) => format!("<b class=\"miss\">{}</b>", three(value)),
        Some(value) => three(value),
    }
}

fn parts_table(found: &Headroom) -> String {
    let mut columns = vec![Column::words("part")];
    for case in &found.cases {
        columns.push(Column::number(&format!("used, {}, %", case.case.name)));
    }
    columns.push(Column::number("spare in the worst, %"));
    columns.push(Column::number("peak full at, ×"));
    let caption = "Every part: used, and what is spare".to_owned();
    let mut table = Table::new("", caption, columns);
    for part in &found.parts {
        let peak = |used: &Option<crate::outcome::UseInCase>| used.as_ref().map(|u| u.peak_percent);
        let most = most(part);
        let mut cells = vec![format!(
            "{} <small>{}</small>",
            esc(&part.part),
            esc(&part.detail)
        )];
        cells.extend(part.cases.iter().map(|used| percent(peak(used))));
        cells.push(three((100.0 - most).max(0.0)));
        cells.push(if most > 0.0 {
            three(100.0 / most)
        } else {
            "idle".to_owned()
        });
        table.row("", &cells);
    }
    table.html()
}

fn most(part: &PartUse) -> f64 {
    let peaks = part.cases.iter().flatten().map(|used| used.peak_percent);
    peaks.fold(0.0, f64::max)
}

fn switches(found: &Headroom) -> String {
    if let Some(remark) = switch_remark(found) {
        return format!("<p class=\"plain\">{}.</p>\n", esc(remark));
    }
    let mut out = String::new();
    for said in found
        .cases
        .iter()
        .filter_map(|case| switch_sentence(case, found))
    {
        let _ = writeln!(out, "<p class=\"plain\">{}</p>", esc(&said));
    }
    let columns = vec![
        Column::words("case"),
        Column::number("load"),
        Column::words("workload"),
        Column::words("promise"),
        Column::number("figure"),
        Column::words("verdict"),
    ];
    let caption = "The switch-over at the load that is proven, healthy and after it".to_owned();
    let mut table = Table::new("", caption, columns);
    for case in &found.cases {
        let Some(switch) = &case.switch_over else {
            continue;
        };
        switch_rows(&mut table, found, case, switch);
    }
    out + &table.html()
}

fn switch_rows(table: &mut Table, found: &Headroom, case: &CaseHeadroom, switch: &LoadSwitch) {
    for row in &switch.rows {
        let flag = Flag::of(&row.cell);
        table.row(
            "",
            &[
                case_name(&case.case),
                counted_met(found, switch.factor),
                esc(&row.workload),
                format!(
                    "{}: {}",
                    measure_name(row.measure),
                    esc(&target_of(row.measure, &row.cell))
                ),
                esc(&switch_value(row)),
                format!(
                    "<span class=\"{}\">{} {}</span>",
                    flag_class(flag),
                    flag_mark(flag),
                    verdict_word(row.cell.verdict)
                ),
            ],
        );
    }
}

/// What is taken for granted, and how to repeat it.
fn rest(number: usize, notes: &[String], origin: &Origin, said: &str) -> String {
    let notes: String = notes.iter().fold(String::new(), |mut out, note| {
        let _ = write!(out, "<li>{}</li>", esc(note));
        out
    });
    let body = format!(
        "<p class=\"plain\">{} This is an estimate from stated inputs: no guarantee, and no approval of a design.</p>\n\
         <div class=\"cols\"><ul>{notes}</ul></div>\n<pre>{}</pre>\n",
        esc(said),
        esc(&origin.command)
    );
    section(
        "rests",
        number,
        "What does it rest on, and how is it repeated?",
        &body,
    )
}

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
    if answers.is_empty() {
        answers.push("No day was worked out.".to_owned());
    }
    answers.extend(growth_stopped_words(plan).map(str::to_owned));
    let mut body = head("When does a promise break?", &answers, &growth_facts(plan));
    let note = "<p>The thick line is the load. The others are what is proven to be carried, by case; where the load crosses one, a promise breaks: the thick stroke reaches from the last day that is proven to hold to the day by which it is proven to be broken.</p>";
    let chart = figure_numbered(&mut next, "", wide, narrow);
    body.push_str(&section(
        "years",
        1,
        "How does the load meet what is proven?",
        &beside(&chart, note),
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

/// The first day on which something breaks, by stage: at most three.
fn growth_facts(plan: &GrowthPlan) -> String {
    let one = |stage: &Stage| {
        if let Some((case, found)) = stage
            .cases
            .iter()
            .find_map(|case| Some((case, case.hopeless.as_ref()?)))
        {
            return fact(
                "never",
                "",
                "miss",
                &format!(
                    "no load keeps {} of {}",
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
                    "before it less is asked for than the throughput promised of {}",
                    esc(&floor.workload)
                ),
                &format!(
                    "kept from then on at the earliest, {}: {}",
                    esc(&case.case.name),
                    esc(&stage.name)
                ),
            );
        }
        let broken = stage
            .cases
            .iter()
            .filter(|case| matches!(case.standing, Standing::Breaks | Standing::BrokenBefore));
        let first = broken
            .filter_map(|case| Some((case.breaks_by.clone()?, case)))
            .min_by(|left, right| left.0.cmp(&right.0));
        // What is proven of later days is of a site that the next step will have changed by then.
        let lasts = |day: String| match &stage.until {
            Some(until) if *until < day => until.clone(),
            _ => day,
        };
        let all = stage.cases.iter().map(|case| case.holds_until.clone());
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
                    case.case.name, stage.name
                ),
            ),
            None => fact(
                &last.unwrap_or_else(|| NONE.to_owned()),
                "",
                "",
                "no promise was proven to break while it lasts",
                &format!("proven to hold until then in every case: {}", stage.name),
            ),
        }
    };
    plan.stages.iter().take(3).map(one).collect()
}

const fn standing(case: &StageCase) -> (&'static str, Verdict) {
    match case.standing {
        Standing::Holds => ("holds until the next step", Verdict::Met),
        Standing::BrokenBefore if case.breaks_by.is_none() => {
            ("too little is asked for at first", Verdict::Missed)
        }
        Standing::BrokenBefore => ("broken before it begins", Verdict::Missed),
        Standing::Never => ("no load keeps it", Verdict::Missed),
        Standing::Breaks => ("breaks while it lasts", Verdict::Missed),
        Standing::Open => ("not proven", Verdict::Undecided),
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
            let (words, verdict) = standing(case);
            let flag = match verdict {
                Verdict::Met => Flag::Met,
                Verdict::Missed => Flag::Missed,
                Verdict::Undecided => Flag::Undecided,
            };
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
                        format!("{what}, not asked for before {day}")
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
