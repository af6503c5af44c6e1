//! What the picture of growth shows, in words that can be read aloud: of each stage what becomes of the promises healthy, and with
//! what is lost.

use crate::outcome::{Floor, GrowthPlan, Stage, StageCase, StageSearch, Standing};
use crate::render::words::{EVERY, every_promise_of};

/// From so many stages on steps go by their numbers.
const MANY: usize = 3;
/// So many different answers of outages are told of a stage, the worst first.
const GROUPS: usize = 2;
/// How a day is told on which a promise breaks.
const BREAKS: &str = "a promise breaks by ";

/// `As it is: healthy, a promise breaks by 2031-03-14; with A lost, by 2028-02-01.`
pub(super) fn finding(plan: &GrowthPlan) -> String {
    told(plan, GROUPS, plan.stages.len() > MANY)
}

/// The same with as many outages of each stage as `fits` has room for; where that is too much still the worst case of each alone, then
/// steps by their numbers, then the first stages alone.
pub(super) fn finding_that_fits(plan: &GrowthPlan, fits: impl Fn(&str) -> bool) -> String {
    let many = plan.stages.len() > MANY;
    let ways = (0..=GROUPS).rev().map(|groups| (groups, many));
    let mut whole = ways
        .chain([(0, true)])
        .map(|(groups, numbered)| told(plan, groups, numbered));
    if let Some(said) = whole.find(|said| fits(said)) {
        return said;
    }
    // Whole sentences of the first stages; the picture has the others.
    let first = |stages: usize| {
        let part = GrowthPlan {
            stages: plan.stages[..stages].to_vec(),
            ..plan.clone()
        };
        format!("{} Later steps: see below.", told(&part, 0, true))
    };
    let mut fewer = (1..plan.stages.len()).rev().map(first);
    let fewer = fewer.find(|said| fits(said));
    fewer.unwrap_or_else(|| told(plan, 0, true))
}

/// `numbered`: steps go by their numbers.
fn told(plan: &GrowthPlan, groups: usize, numbered: bool) -> String {
    let many = plan.stages.len() > MANY;
    let mut told = false;
    let said = plan.stages.iter().enumerate().map(|(index, stage)| {
        let name = match index {
            0 => "As it is".to_owned(),
            // Of many the list below has the names.
            _ if numbered => format!("With step {index}"),
            _ => format!("With “{}”", stage.name),
        };
        // Of many there is room for the worst of each alone; the picture has the others.
        let said = of_stage(plan, stage, if many { 0 } else { groups });
        let said = said.replace(EVERY, every_promise_of(plan));
        // What a day is the day of is told once.
        let again = many && told;
        told |= said.contains(BREAKS);
        let said = if again {
            said.replace(BREAKS, "by ")
        } else {
            said
        };
        format!("{name}: {said}.")
    });
    let said: Vec<String> = said.collect();
    let stopped = if plan.partial {
        "Stopped before its end. "
    } else {
        ""
    };
    format!("{stopped}{}", said.join(" "))
}

/// What becomes of the promises while a stage lasts: healthy, then of `most` kinds of outages that read alike; of none, the worst case.
fn of_stage(plan: &GrowthPlan, stage: &Stage, most: usize) -> String {
    let mut cases: Vec<&StageCase> = stage.cases.iter().collect();
    // Healthy stays first; a stable sort.
    cases.sort_by_key(|case| (case.case.outage.is_some(), rank(case)));
    let mut groups: Vec<(String, Vec<&StageCase>)> = Vec::new();
    for case in cases {
        let said = of_case(plan, stage, case);
        match groups.iter_mut().find(|(known, _)| *known == said) {
            Some((_, own)) => own.push(case),
            None => groups.push((said, vec![case])),
        }
    }
    if let [(said, own)] = &groups[..] {
        return match own[..] {
            [one] if one.case.outage.is_none() => said.clone(),
            [one] => format!("with {}, {said}", one.case.name),
            _ => format!("in every case {said}"),
        };
    }
    if most == 0 {
        let worst = groups.iter().min_by_key(|(_, own)| rank(own[0]));
        return worst.map_or_else(String::new, |(said, own)| format!("{}, {said}", who(own)));
    }
    let more = groups.len() > most + 1;
    groups.truncate(most + 1);
    let mut out: Vec<String> = Vec::new();
    let mut before = "";
    for (said, own) in &groups {
        let day = said.strip_prefix(BREAKS);
        let short = day.filter(|_| before.starts_with(BREAKS));
        let said_now = short.map_or_else(|| said.clone(), |day| format!("by {day}"));
        out.push(format!("{}, {said_now}", who(own)));
        before = said;
    }
    if more {
        out.push("other outages do better".to_owned());
    }
    out.join("; ")
}

/// `healthy`, `with A lost or B lost`, `healthy or with A lost`.
fn who(cases: &[&StageCase]) -> String {
    let healthy = cases.iter().any(|case| case.case.outage.is_none());
    let lost = cases.iter().filter(|case| case.case.outage.is_some());
    let lost: Vec<&str> = lost.map(|case| case.case.name.as_str()).collect();
    let lost = match lost[..] {
        [] => None,
        [ref all @ .., last] if !all.is_empty() => {
            Some(format!("with {} or {last}", all.join(", ")))
        }
        [one, ..] => Some(format!("with {one}")),
    };
    let healthy = healthy.then(|| "healthy".to_owned());
    let both: Vec<String> = healthy.into_iter().chain(lost).collect();
    both.join(" or ")
}

/// The worse a case is, the less; days are written so that their order is that of the letters.
fn rank(case: &StageCase) -> (u8, String) {
    let day = |day: &Option<String>| day.clone().unwrap_or_default();
    match case.standing {
        Standing::Never => (0, String::new()),
        Standing::BrokenBefore | Standing::ShortAtFirst => (1, day(&case.asked_from)),
        Standing::Breaks => (2, day(&case.breaks_by)),
        Standing::Open => (3, day(&case.holds_until)),
        Standing::Unpromised => (4, String::new()),
        Standing::Holds => (5, String::new()),
    }
}

/// Of a closed loop nothing is asked for: it brings what it brings.
fn too_little(case: &StageCase) -> &'static str {
    let closed = |floor: &Floor| floor.asked_mb_s.is_none();
    if case.floor.as_ref().is_some_and(closed) {
        "more throughput is promised than is carried"
    } else {
        "more throughput is promised than is asked for"
    }
}

fn of_case(plan: &GrowthPlan, stage: &Stage, case: &StageCase) -> String {
    let broken = stage.broken_by(case);
    let early = case.asked_from.as_ref().filter(|_| broken.is_none());
    let short = |day: &String| format!("{} before {day}", too_little(case));
    match (case.standing, early, &broken, &case.holds_until) {
        (Standing::ShortAtFirst, ..) => {
            let before = case.asked_from.as_ref().map_or_else(String::new, short);
            let then = match (broken, &case.holds_until, &stage.until) {
                (Some(day), ..) => format!(", and {BREAKS}{day}"),
                (None, Some(holds), Some(until)) if holds >= until => {
                    ", then every promise holds until the next step".to_owned()
                }
                (None, Some(holds), _) => format!(", then every promise holds until {holds}"),
                (None, None, _) => String::new(),
            };
            format!("{before}{then}")
        }
        (Standing::Never, ..) => "a promise is broken at every load".to_owned(),
        (Standing::Unpromised, ..) => "nothing is promised".to_owned(),
        (_, Some(day), ..) => short(day),
        (Standing::BrokenBefore, ..) => "a promise is broken from the first day on".to_owned(),
        // Else the day by which one breaks would read as if all held before it.
        (Standing::Breaks, _, Some(day), None) => {
            format!("no day is proven to hold, and a promise is proven to be broken by {day}")
        }
        (Standing::Breaks, _, Some(day), Some(_)) => format!("{BREAKS}{day}"),
        (Standing::Holds, ..) => "every promise holds until the next step".to_owned(),
        _ if stage.search == StageSearch::NotBegun => "nothing was looked at yet".to_owned(),
        (_, _, _, Some(day)) if plan.holds_to_the_last_day(stage, case) => {
            format!("every promise holds until {day}, the last day that was looked at")
        }
        (_, _, _, Some(day)) => {
            format!("every promise holds until {day}, and what comes after it is undecided")
        }
        _ => "it is undecided whether every promise holds on any day".to_owned(),
    }
}
