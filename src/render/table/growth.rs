//! When promises break as the work grows, as text.

use super::align::Aligned;
use crate::outcome::{Floor, GrowthPlan, Stage, StageCase, StageSearch, Standing};
use crate::render::number::{NONE, as_written, three, three_down, three_up};
use crate::render::words::{
    EVERY, every_promise_of, growth_stopped_words, measure_name, no_load_keeps, origin_line,
};

/// A sentence a stage and case, then the days as a table.
#[must_use]
pub fn growth_text(plan: &GrowthPlan) -> String {
    let mut out = String::new();
    if let Some(said) = growth_stopped_words(plan) {
        out.push_str(&format!("{said}\n"));
    }
    for (index, stage) in plan.stages.iter().enumerate() {
        let before = index.checked_sub(1).map(|index| &plan.stages[index]);
        for case in &stage.cases {
            let own = |other: &&StageCase| other.case == case.case;
            let before = before.and_then(|before| before.cases.iter().find(own));
            out.push_str(&sentence(plan, stage, case, before));
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

/// Why no day is named until which promises hold.
fn no_day(case: &StageCase) -> String {
    let most = case.holds_factor.map_or_else(String::new, |factor| {
        format!(
            " (but {} times the load of the first day, less than there is when this begins)",
            three_down(factor)
        )
    });
    format!("no day was proven to keep every promise{most}")
}

/// Of a closed loop nothing is asked for: it brings what it brings.
const fn short_word(floor: &Floor) -> &'static str {
    match floor.asked_mb_s {
        Some(_) => "asked for",
        None => "carried",
    }
}

fn until_the_next(stage: &Stage) -> String {
    let day = stage.until.clone().unwrap_or_default();
    format!("every promise holds until the next step is there ({day})")
}

/// Whether the next step is there on a day; days are written so that their order is that of the letters.
fn over_by(stage: &Stage, day: &String) -> bool {
    stage.until.as_ref().is_some_and(|until| day >= until)
}

fn sentence(
    plan: &GrowthPlan,
    stage: &Stage,
    case: &StageCase,
    before: Option<&StageCase>,
) -> String {
    let from = &plan.from;
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
        (Standing::Holds, ..) => until_the_next(stage),
        (Standing::ShortAtFirst, Some(holds), _) if over_by(stage, holds) => until_the_next(stage),
        (Standing::Never, ..) => case.hopeless.as_ref().map_or_else(String::new, |found| {
            let loads =
                |factor: f64| format!("{} times the load of the first day", three_up(factor));
            format!(
                "{}; no day breaks it, and none mends it",
                no_load_keeps(found, &loads)
            )
        }),
        (Standing::Unpromised, ..) => "nothing is promised".to_owned(),
        (Standing::BrokenBefore, ..) if stage.broken_by(case).is_none() => {
            let how = case.floor.as_ref().map_or("asked for", short_word);
            format!("more throughput is promised than is {how}")
        }
        (Standing::BrokenBefore, _, Some(day)) if day == from => {
            let at = case.breaks_factor.map_or_else(String::new, |factor| {
                format!(", proven at {} times its load", three_up(factor))
            });
            format!("a promise{breaks} is broken on the first day already, {from}{at}")
        }
        (Standing::BrokenBefore, ..) => {
            let at = case.breaks_factor.map_or_else(String::new, |factor| {
                format!(
                    " (proven at {} times the load of the first day, which is reached by then)",
                    three_up(factor)
                )
            });
            let how = match before.map(|before| before.standing) {
                Some(Standing::Holds) => "by this step itself, on",
                Some(Standing::Breaks | Standing::BrokenBefore | Standing::Never) => {
                    "as before, from"
                }
                Some(Standing::Open | Standing::Unpromised | Standing::ShortAtFirst) | None => {
                    "from"
                }
            };
            format!(
                "a promise{breaks} is broken {how} {}{at}",
                day(&case.breaks_by)
            )
        }
        (_, Some(holds), Some(breaks_by)) => {
            format!(
                "every promise holds until {holds}, one{breaks} is broken by {breaks_by}{lasts}"
            )
        }
        (_, Some(holds), None) if plan.holds_to_the_last_day(stage, case) => {
            format!("every promise holds until {holds}, the last day that was looked at")
        }
        (_, Some(holds), None) => {
            format!("every promise holds until {holds}; no day was proven to break one{lasts}")
        }
        (_, None, Some(breaks_by)) => {
            format!(
                "{}; one{breaks} is broken by {breaks_by}{lasts}",
                no_day(case)
            )
        }
        (_, None, None) => match stage.search {
            StageSearch::NotBegun => "not looked at: the search was stopped before it".to_owned(),
            StageSearch::Stopped => "nothing is proven yet: the search was stopped".to_owned(),
            StageSearch::Whole if case.holds_factor.is_some() => no_day(case),
            StageSearch::Whole => {
                "nothing is proven; more replications or longer runs would".to_owned()
            }
        },
    };
    let what = match (case.standing, &case.asked_from) {
        (Standing::ShortAtFirst, Some(day)) => format!("from {day} on {what}"),
        _ => what,
    };
    let what = match case.case.outage {
        Some(_) => what.replace(EVERY, every_promise_of(plan)),
        None => what,
    };
    let floor = case.floor.as_ref().zip(case.asked_from.as_ref());
    let floor = floor.map_or_else(String::new, |(floor, day)| {
        let target = as_written(&floor.target_text);
        match floor.asked_mb_s {
            Some(_) => format!(
                " Before {day} `{}` cannot keep its throughput of {target}: less is asked for.",
                floor.workload
            ),
            // Only its runs know what a closed loop carries.
            None => format!(
                " Of the loads that were run, that of {day} is the first at which `{}` brought its throughput of {target}: with less \
                 outstanding less is carried.",
                floor.workload
            ),
        }
    });
    let full = full_before(stage, case);
    format!("{}, {who}: {what}.{floor}{full}", stage.name)
}

/// Why a day by which a promise is proven to be broken lies after that on which a part is full; nothing where it does not, and
/// nothing of days on which the next step is there.
fn full_before(stage: &Stage, case: &StageCase) -> String {
    let days = case.full_by.as_ref().zip(case.breaks_by.as_ref());
    let own = case.hopeless.is_none() && case.standing != Standing::Holds;
    // Days are written so that their order is that of the letters.
    let lasts = |full: &String| stage.until.as_ref().is_none_or(|until| full < until);
    match days.filter(|(full, broken)| own && full < broken && lasts(full)) {
        Some((full, _)) => {
            let (what, place) = match &case.full_depth {
                Some(work) => (format!("The queue depth of the hosts of `{work}`"), "there"),
                None => ("A part".to_owned(), "for it"),
            };
            format!(
                " {what} is full by arithmetic on {full} already, from when on what waits {place} grows without end: the later day is \
                 the one that runs have proven."
            )
        }
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_growth;

    /// The sentence on the loss of A after the step, with changes to it and to the state before.
    fn said(change: impl Fn(&mut GrowthPlan)) -> String {
        let mut plan = sample_growth();
        change(&mut plan);
        let (first, step) = (&plan.stages[0], &plan.stages[1]);
        sentence(&plan, step, &step.cases[1], Some(&first.cases[1])).replace('\u{202F}', " ")
    }

    #[test]
    fn a_step_that_breaks_a_promise_itself_has_its_own_day() {
        let with = |before: Standing| {
            said(|plan| {
                plan.stages[0].cases[1].standing = before;
                let case = &mut plan.stages[1].cases[1];
                case.standing = Standing::BrokenBefore;
                case.breaks_by = Some("2028-06-01".into());
                case.breaks_factor = Some(1.3);
            })
        };
        let own = with(Standing::Holds);
        assert!(
            own.contains("is broken by this step itself, on 2028-06-01 (proven at 1.30 times the load of the first day"),
            "{own}"
        );
        let before = with(Standing::Breaks);
        assert!(
            before.contains("is broken as before, from 2028-06-01"),
            "{before}"
        );
    }

    /// The switch-over is not judged, so what is promised of it is not said to hold: not healthy either in the title, which has both.
    #[test]
    fn what_is_promised_of_a_switch_over_is_not_said_to_hold() {
        let with = |switching: bool| {
            said(|plan| {
                plan.switching = switching;
                plan.stages[1].cases[1].breaks_by = None;
                plan.stages[1].cases[1].standing = Standing::Open;
            })
        };
        assert!(with(false).contains(": every promise holds until 2030-05-30"));
        let said = with(true);
        assert!(
            said.contains(": every steady promise holds until 2030-05-30")
                && !said.contains("every promise"),
            "{said}"
        );
        let mut plan = sample_growth();
        plan.switching = true;
        let drawing = crate::render::chart::growth_curve(&plan, crate::render::chart::Format::Page);
        let title = drawing.expect("there are stages").finding;
        assert!(
            title.contains("every steady promise holds until the next step")
                && !title.contains("every promise"),
            "{title}"
        );
    }

    #[test]
    fn what_is_short_at_first_is_told_by_the_day_from_which_it_is_not() {
        let with = |asked: Option<f64>| {
            said(|plan| {
                let case = &mut plan.stages[1].cases[1];
                case.standing = Standing::ShortAtFirst;
                case.asked_from = Some("2029-03-01".into());
                (case.holds_until, case.breaks_by) =
                    (Some("2031-01-01".into()), Some("2032-01-27".into()));
                case.floor = Some(Floor {
                    workload: "archive".into(),
                    target_text: "2GB/s".into(),
                    factor: 1.3,
                    short: None,
                    step: None,
                    asked_mb_s: asked,
                });
            })
        };
        let open = with(Some(1500.0));
        assert!(
            open.contains("from 2029-03-01 on every promise holds until 2031-01-01, one")
                && open.contains("is broken by 2032-01-27")
                && open.contains("Before 2029-03-01 `archive` cannot keep its throughput of 2 GB/s: less is asked for."),
            "{open}"
        );
        // A closed loop asks for nothing.
        let closed = with(None);
        assert!(
            closed.contains("that of 2029-03-01 is the first at which `archive` brought its throughput of 2 GB/s"),
            "{closed}"
        );
    }

    #[test]
    fn a_day_after_that_of_a_full_part_is_explained() {
        let with = |full: &str| {
            said(|plan| {
                let case = &mut plan.stages[1].cases[1];
                case.standing = Standing::Breaks;
                (case.holds_until, case.breaks_by) =
                    (Some("2031-01-01".into()), Some("2032-01-27".into()));
                case.full_by = Some(full.into());
            })
        };
        let before = with("2031-12-27");
        assert!(
            before.contains("broken by 2032-01-27")
                && before.contains("A part is full by arithmetic on 2031-12-27 already"),
            "{before}"
        );
        assert!(!with("2032-01-27").contains("already"));
        // Of a stage that is over by then nothing is said.
        for standing in [Standing::Holds, Standing::Open] {
            let over = said(|plan| {
                plan.stages[1].until = Some("2030-01-01".into());
                let case = &mut plan.stages[1].cases[1];
                case.standing = standing;
                (case.holds_until, case.breaks_by) =
                    (Some("2031-01-01".into()), Some("2034-01-27".into()));
                case.full_by = Some("2033-07-29".into());
            });
            assert!(!over.contains("full by arithmetic"), "{over}");
        }
    }

    #[test]
    fn what_was_not_looked_at_is_not_told_to_need_more_replications() {
        let with = |search: StageSearch| {
            said(|plan| {
                plan.stages[1].search = search;
                let case = &mut plan.stages[1].cases[1];
                case.standing = Standing::Open;
                (case.holds_until, case.breaks_by) = (None, None);
                (case.holds_factor, case.breaks_factor) = (None, None);
            })
        };
        assert!(
            with(StageSearch::NotBegun).contains("not looked at: the search was stopped before it")
        );
        assert!(with(StageSearch::Stopped).contains("nothing is proven yet"));
        assert!(with(StageSearch::Whole).contains("more replications"));
    }

    #[test]
    fn where_nothing_is_promised_no_more_replications_would_prove_anything() {
        let text = said(|plan| {
            let case = &mut plan.stages[1].cases[1];
            case.standing = Standing::Unpromised;
            (case.holds_until, case.breaks_by) = (None, None);
            (case.holds_factor, case.breaks_factor) = (None, None);
        });
        assert!(text.ends_with("A lost: nothing is promised."), "{text}");
    }

    #[test]
    fn a_load_that_is_passed_when_a_stage_begins_is_no_day() {
        let text = said(|plan| {
            let case = &mut plan.stages[1].cases[1];
            case.standing = Standing::Open;
            (case.holds_until, case.breaks_by) = (None, None);
            case.holds_factor = Some(1.2);
        });
        assert!(
            text.contains("no day was proven to keep every promise (but 1.20 times the load of the first day, less than"),
            "{text}"
        );
    }
}
