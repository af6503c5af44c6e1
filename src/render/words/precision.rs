//! What a precision that was asked for took, and what a limit that stopped a run means, in sentences.

use super::{listed, measure_name, plural};
use crate::outcome::{Case, Filling, Precision, Report};
use crate::render::number::{THIN, three, two};

/// Said where the measured span may hold no whole 20 ms of bins, so that no busiest one is known; `None` where it does.
#[must_use]
pub fn short_span_words(report: &Report) -> Option<String> {
    let spans = report
        .steady
        .iter()
        .map(|steady| steady.duration_s - steady.warm_up_s);
    let span = spans.fold(f64::INFINITY, f64::min);
    (span < 0.0201).then(|| {
        format!(
            "The runs measure {} ms: too short for a busiest 20 ms. What stands for it is the mean of the measured span, and \
             the growth that rests on it is too high for work that comes in bursts; run.duration = \"200ms\" or more would tell.",
            three(span * 1e3)
        )
    })
}

/// What the table of growth shows; [`growth_words`] has the exception.
pub const GROWTH_TITLE: &str = "Times today’s load at which a part is full: 100 ÷ per cent asked of it in the busiest 20\u{202F}ms";

/// What a growth below one rests on where work is turned back; `None` where none is.
#[must_use]
pub fn growth_words(report: &Report) -> Option<String> {
    let plain = report.steady.iter();
    let mended = report.shown_mends().flat_map(|mend| &mend.steady);
    plain.chain(mended).any(|steady| steady.saturated).then(|| {
        "Where a backlog grows, full queues keep work from the parts: there the factor is the share of the asked work \
         that was done in the simulation, where that is less."
            .to_owned()
    })
}

/// One sentence a fact: reached or not, the rule, and what it could not go by.
#[must_use]
pub fn precision_words(precision: &Precision) -> Vec<String> {
    let percent = |value: f64| format!("{}{THIN}%", three(value));
    let used = precision.looks.last().copied().unwrap_or(0);
    let asked = percent(precision.within_percent);
    let narrow = percent(precision.narrow_percent);
    let widest = precision.widest.as_ref().map(|widest| {
        let half = widest
            .half_width_percent
            .map_or_else(|| "more than itself".to_owned(), percent);
        format!(
            "{} of {}, {}: half its interval is {half} of it",
            measure_name(widest.measure),
            widest.workload,
            widest.case
        )
    });
    let mut out = Vec::new();
    let replications = plural(used as usize, "replication");
    if let Some(limit) = precision.stopped_by {
        out.push(format!(
            "Precision: within {asked} was asked for; {limit} stopped a run, so that no more than {replications} were run: more would be \
             cut as well."
        ));
        return out;
    }
    out.push(match (precision.reached, &widest) {
        (true, Some(widest)) => format!(
            "Precision: within {asked}, as asked, with {}. Widest: {widest}.",
            plural(used as usize, "replication")
        ),
        (_, None) => format!(
            "Precision: within {asked} was asked for, but no promised figure has an interval; {} were run.",
            plural(used as usize, "replication")
        ),
        (false, Some(widest)) => format!(
            "Precision: within {asked} was asked for and not reached with {}, the most allowed \
             (run.replications_max). Widest: {widest}; {narrow} was to be reached.",
            plural(used as usize, "replication")
        ),
    });
    let looks: Vec<String> = precision.looks.iter().map(ToString::to_string).collect();
    out.push(format!(
        "Rule: looks at {} replications, numbers fixed beforehand; it ends when two looks in succession find \
         half the interval of each of {} at most {narrow}. Level of each {}, so that all hold together with \
         95{THIN}% (Bonferroni). Figures of switch-overs have no interval and are not among them.",
        looks.join(", "),
        plural(precision.figures as usize, "figure"),
        percent(precision.level_percent),
    ));
    out.extend(precision.left_out.iter().map(|left| {
        format!(
            "Left out: {} of {}, {}: {}.",
            measure_name(left.measure),
            left.workload,
            left.case,
            left.why
        )
    }));
    out
}

/// What a limit that stopped a run means for the figures; `None` when none did.
#[must_use]
pub fn partial_words(report: &Report) -> Option<String> {
    let steady = report.steady.iter().filter(|steady| steady.partial);
    let switches = report.switches.iter().filter(|switch| switch.partial);
    let measured = steady.clone().filter(|steady| !steady.unmeasured);
    let mut named: Vec<String> = measured.map(|steady| steady.case.name.clone()).collect();
    for switch in switches.clone() {
        // Where its state was cut too, the name of the case says both.
        if !named.contains(&switch.case.name) {
            named.push(format!("the switch-over of {}", switch.case.name));
        }
    }
    let limit = steady
        .clone()
        .filter_map(|steady| steady.stopped_by)
        .chain(switches.filter_map(|switch| switch.stopped_by))
        .next()
        .unwrap_or("a limit");
    // Of these there is no figure at all.
    let nothing: Vec<&str> = steady
        .filter(|steady| steady.unmeasured)
        .map(|steady| steady.case.name.as_str())
        .collect();
    let within = (!nothing.is_empty()).then(|| {
        format!(
            "Stopped within the warm-up: {limit} ended the runs ({}) before their measured window began. Nothing was measured there, and no \
             promise counts as met; what is said of its parts is by arithmetic. A shorter warm-up, less work, or a higher limit would let them be measured.",
            nothing.join(", ")
        )
    });
    let later = (!named.is_empty()).then(|| {
        format!(
            "Partial: {limit} stopped a run ({}); its figures are of what had been simulated by then, and no \
             promise of it counts as met. A shorter run, less work, or a higher limit would let it end.",
            named.join(", ")
        )
    });
    let said: Vec<String> = within.into_iter().chain(later).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// That I/Os take longer than the runs can show, where some do; `None` where none does.
#[must_use]
pub fn beyond_run_words(report: &Report) -> Option<String> {
    let mut said: Vec<String> = Vec::new();
    let mut full: Vec<String> = Vec::new();
    for steady in &report.steady {
        for work in &steady.workloads {
            let Some(service_s) = work.service_beyond_run_s else {
                continue;
            };
            let one = format!("{} ({}\u{202F}s)", work.name, two(service_s));
            if !said.contains(&one) {
                said.push(one);
            }
            if work.saturated && !full.contains(&work.name) {
                full.push(work.name.clone());
            }
        }
    }
    // Where arithmetic has said so already, it is no open question.
    let fits = match full.len() {
        0 => "only arithmetic says whether the work fits".to_owned(),
        1 => format!("it is by arithmetic that {} does not fit", listed(&full)),
        _ => format!("it is by arithmetic that {} do not fit", listed(&full)),
    };
    (!said.is_empty()).then(|| {
        format!(
            "The run is too short for {}: in the array an I/O takes longer than half of the run, or than drain_limit. What is unfinished \
             when it ends ranks last, no mean is told of the rest, and {fits}. Runs of several times \
             that length (run.duration, run.drain_limit, run.warm_up) show it.",
            listed(&said)
        )
    })
}

/// That runs begin empty and end before the queue of a nearly full part has filled, where that is so; `None` where it is not.
#[must_use]
pub fn filling_words(report: &Report) -> Option<String> {
    let mut worst: Option<(&Filling, &str, &str)> = None;
    for steady in &report.steady {
        for work in &steady.workloads {
            let Some(own) = &work.filling else { continue };
            if worst.is_none_or(|(known, ..)| known.missing_share < own.missing_share) {
                worst = Some((own, &work.name, &steady.case.name));
            }
        }
    }
    let (filling, work, case) = worst?;
    let memory = filling.memory_s.map_or_else(
        || "never forgets".to_owned(),
        |memory_s| {
            format!(
                "takes {}\u{202F}s to forget its start (relaxation time)",
                two(memory_s)
            )
        },
    );
    let remedy = filling.enough_s.map_or_else(String::new, |enough_s| {
        format!(
            " Runs of {}\u{202F}s (run.duration) would leave less than 1\u{202F}% out.",
            two(enough_s)
        )
    });
    Some(format!(
        "Runs begin empty, and these are too short for the queue of {} to fill: it is {}\u{202F}% busy and {memory}, so that by arithmetic mean \
         waits there come out about {}\u{202F}% too low (most of all {work}, {case}).{remedy} A promise counts as met only where it is with what is \
         missing, too.",
        filling.part,
        three(filling.busy_percent),
        two(100.0 * filling.missing_share),
    ))
}

/// What is said of work that does not fit, in its sentence and at its end, where I/Os of all such work of a case take longer than the
/// runs can show: arithmetic alone says so then.
pub(super) fn only_by_arithmetic(report: &Report, case: &Case) -> (&'static str, &'static str) {
    let steady = report.steady.iter().find(|steady| steady.case == *case);
    let works = steady.map_or(&[][..], |steady| &steady.workloads);
    let mut full = works.iter().filter(|work| work.saturated).peekable();
    if full.peek().is_some() && full.all(|work| work.service_beyond_run_s.is_some()) {
        (" by arithmetic", "; the run is too short to show it")
    } else {
        ("", "")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{LeftOut, MeasureKind, WidestFigure};

    fn precision() -> Precision {
        Precision {
            within_percent: 2.0,
            narrow_percent: 100.0 * 0.02 / 1.02,
            reached: true,
            looks: vec![10, 15, 23],
            replications_max: 400,
            figures: 4,
            level_percent: 99.0,
            widest: Some(WidestFigure {
                case: "A lost".into(),
                workload: "orders".into(),
                measure: MeasureKind::Quantile(0.99),
                half_width_percent: Some(1.2),
            }),
            left_out: Vec::new(),
            stopped_by: None,
        }
    }

    #[test]
    fn reached_says_with_how_many_and_by_what_rule() {
        let words = precision_words(&precision());
        assert_eq!(words.len(), 2);
        assert!(
            words[0].contains("as asked, with 23 replications"),
            "{}",
            words[0]
        );
        assert!(words[0].contains("p99 of orders, A lost"), "{}", words[0]);
        assert!(
            words[1].contains("looks at 10, 15, 23 replications"),
            "{}",
            words[1]
        );
        assert!(
            words[1].contains("1.96") && words[1].contains("99.0"),
            "{}",
            words[1]
        );
    }

    #[test]
    fn a_stopped_run_names_its_limit_and_its_case() {
        let mut report = crate::render::sample::sample_report();
        assert_eq!(partial_words(&report), None);
        report.steady[1].partial = true;
        report.steady[1].stopped_by = Some("run.memory_max");
        // Its switch-over is of the same case, which is named once.
        for switch in &mut report.switches {
            switch.partial = switch.case == report.steady[1].case;
        }
        let words = partial_words(&report).unwrap();
        assert!(
            words.starts_with("Partial: run.memory_max stopped a run (A lost)"),
            "{words}"
        );
        report.steady[1].partial = false;
        let words = partial_words(&report).unwrap();
        assert!(
            words.contains("(the switch-over of A lost); ")
                && words.contains("no promise of it counts as met"),
            "{words}"
        );
    }

    #[test]
    fn a_limit_that_stopped_a_run_ends_the_rule_and_is_named() {
        let mut cut = precision();
        (cut.reached, cut.looks) = (false, vec![10]);
        cut.stopped_by = Some("run.events_max");
        let words = precision_words(&cut);
        assert_eq!(words.len(), 1);
        assert!(
            words[0].contains(
                "run.events_max stopped a run, so that no more than 10 replications were run"
            ),
            "{words:?}"
        );
    }

    #[test]
    fn not_reached_says_why_and_what_was_left_out() {
        let mut not = precision();
        not.reached = false;
        not.left_out.push(LeftOut {
            case: "healthy".into(),
            workload: "fleet".into(),
            measure: MeasureKind::Quantile(0.999),
            why: "fewer than 100 I/Os above it in a replication; a longer run has more".into(),
        });
        let words = precision_words(&not).join("\n");
        assert!(
            words.contains("not reached with 23 replications, the most allowed"),
            "{words}"
        );
        assert!(
            words.contains("Left out: p99.9 of fleet, healthy: fewer than 100"),
            "{words}"
        );
        not.widest = None;
        let words = precision_words(&not).join("\n");
        assert!(
            words.contains("no promised figure has an interval"),
            "{words}"
        );
    }
}
