//! Section 1: the answer, three numbers, what to do.

use super::Context;
use super::html::{esc, flag_class, flag_mark, prose};
use crate::outcome::{Cell, Growth, MeasureKind, Row};
use crate::render::number::{
    Scale, as_written, is_over, three, three_down, whole_percent, with_unit,
};
use crate::render::words::{Flag, measure_name, plural, row_scale};

const CONTENTS: [(&str, &str); 11] = [
    ("verdict", "Verdict"),
    ("promises", "Promises"),
    ("switch", "Switch-over"),
    ("windows", "Windows"),
    ("site", "Site"),
    ("headroom", "Headroom"),
    ("latency", "Latency"),
    ("parts", "Parts"),
    ("bursts", "Bursts"),
    ("rests", "What it rests on"),
    ("repeat", "Repeat it"),
];

pub(super) fn section(context: &Context<'_>) -> String {
    let answer = &context.answer;
    let contents: String = CONTENTS
        .iter()
        .filter(|(id, _)| *id != "windows" || context.report.windows.is_some())
        .map(|(id, name)| format!("<li><a href=\"#{id}\">{name}</a></li>"))
        .collect();
    let lede = answer.holds.clone().then(answer.cause.clone());
    let heading = match answer.flag {
        Flag::Met | Flag::Unasked => "What to expect",
        _ => "What to do",
    };
    let rests = context.section(9);
    format!(
        "<section id=\"verdict\" aria-labelledby=\"h-verdict\">\n<p class=\"flag {}\">{} {}</p>\n<h1 id=\"h-verdict\">{}</h1>\n<p class=\"lede\">{}</p>\n<ul class=\"facts\">{}</ul>\n\
         <div class=\"todo\"><h2>{heading}</h2>\n<p>{}</p>\n<p class=\"sure\"><b>How sure.</b> {} See <a href=\"#rests\">section {rests}</a>.</p></div>\n\
         <nav aria-label=\"Contents\"><ol>{contents}</ol></nav>\n</section>\n\n",
        flag_class(answer.flag),
        flag_mark(answer.flag),
        answer.flag.word(),
        prose(&answer.headline),
        prose(&lede),
        facts(context),
        prose(&answer.mend),
        prose(&answer.sure),
    )
}

/// One of the three numbers.
struct Fact {
    number: String,
    unit: String,
    colour: &'static str,
    interval: String,
    what: String,
    close: String,
}

impl Fact {
    fn html(&self) -> String {
        // Words instead of a number get a smaller size.
        let long = if self.number.len() > 12 { " long" } else { "" };
        let unit = if self.unit.is_empty() {
            String::new()
        } else {
            format!("\u{202F}<small>{}</small>", esc(&self.unit))
        };
        format!(
            "<li><b class=\"n{long} {}\">{}{unit}</b><span class=\"iv\">{}</span><span>{}</span>{}</li>\n",
            self.colour,
            esc(&self.number),
            esc(&self.interval),
            self.what,
            self.close
        )
    }
}

fn facts(context: &Context<'_>) -> String {
    let worst = worst_fact(context);
    let third = switch_fact(context).or_else(|| growth_fact(context));
    [worst, part_fact(context), third]
        .into_iter()
        .flatten()
        .map(|fact| fact.html())
        .collect()
}

fn worded(flag: Flag) -> String {
    format!(
        "<em class=\"{}\">{} {}</em>",
        flag_class(flag),
        flag_mark(flag),
        flag.word()
    )
}

/// Figure, unit and interval of a judgement.
fn figure(row: &Row, cell: &Cell) -> (String, String, String) {
    let scale = row_scale(row);
    let unit = scale.unit.to_owned();
    let promise = format!("promise {}", as_written(&cell.target_text));
    match (cell.value, cell.beyond) {
        _ if cell.saturated => ("without end".to_owned(), String::new(), promise),
        (Some(value), _) => {
            let (number, ends) = scale.figure(&value);
            let ends = ends.map_or_else(String::new, |ends| format!("{ends}, "));
            (number, unit, format!("{ends}{promise}"))
        }
        (None, Some(_)) if cell.is_cut_off() => ("cut off".to_owned(), String::new(), promise),
        (None, Some(beyond)) => (format!("> {}", scale.three(beyond)), unit, promise),
        (None, None) => ("beyond".to_owned(), String::new(), promise),
    }
}

fn worst_fact(context: &Context<'_>) -> Option<Fact> {
    let (row, case) = context.answer.worst?;
    let row = &context.report.matrix.rows[row];
    let cell = row.cells[case].as_ref()?;
    let flag = Flag::of(cell);
    let (number, unit, interval) = figure(row, cell);
    let share = match (row.measure, cell.above_share) {
        (MeasureKind::Quantile(_), Some(share)) if flag != Flag::Met => format!(
            "; {}\u{202F}% take over {}",
            whole_percent(share * 100.0),
            esc(&as_written(&cell.target_text))
        ),
        _ => String::new(),
    };
    let state = &context.cases()[case];
    let state = match state.outage {
        Some(_) => format!("with {}", esc(&state.name)),
        None => "healthy".to_owned(),
    };
    Some(Fact {
        number,
        unit,
        colour: flag_class(flag),
        interval,
        what: format!(
            "{} of <i>{}</i>, {state}{share}",
            measure_name(row.measure),
            esc(&row.workload)
        ),
        close: worded(flag),
    })
}

fn part_fact(context: &Context<'_>) -> Option<Fact> {
    let part = &context.report.parts[context.answer.part?];
    let case = context.first_case();
    let used = part.cases[case].as_ref()?;
    let over = is_over(used.most_asked_percent());
    let state = &context.cases()[case].name;
    // The figure of the sentence above.
    let on_mean = used.asked_percent() > used.peak_percent;
    let (interval, when) = if on_mean {
        let did = whole_percent(used.mean_percent);
        let did = format!("by arithmetic; it does {did}\u{202F}%");
        (did, "on the mean")
    } else {
        let mean = whole_percent(used.asked_percent());
        let mean = format!("{mean}\u{202F}% on the mean");
        (mean, "in the busiest 20\u{202F}ms")
    };
    Some(Fact {
        number: whole_percent(used.most_asked_percent()),
        unit: "%".to_owned(),
        colour: if over { "miss" } else { "" },
        interval,
        what: format!("asked of <i>{}</i> {when}, {}", esc(&part.part), esc(state)),
        close: if over
            && matches!(
                context.answer.flag,
                Flag::Missed | Flag::Saturated | Flag::Undecided
            ) {
            "<em>the cause</em>".to_owned()
        } else {
            "<em>the fullest part</em>".to_owned()
        },
    })
}

/// The longest I/O of any switch-over, with its promise if there is one.
fn switch_fact(context: &Context<'_>) -> Option<Fact> {
    let mut longest: Option<(f64, &str, &str)> = None;
    for switch in &context.report.switches {
        for workload in &switch.workloads {
            for &seconds in &workload.longest_io_s {
                // Of outages that read alike the first.
                let longer = |most: f64| seconds > most && three(seconds) != three(most);
                if longest.is_none_or(|(most, ..)| longer(most)) {
                    longest = Some((seconds, &workload.name, &switch.case.name));
                }
            }
        }
    }
    let (seconds, workload, case) = longest?;
    // What is worst of all is the first of the three already, and so is the same stall of another outage.
    let told = context.answer.worst.is_some_and(|(row, case)| {
        let row = &context.report.matrix.rows[row];
        let value = row.cells[case].as_ref().and_then(|cell| cell.value);
        let own =
            row.switching && row.measure == MeasureKind::LongestIo && row.workload == workload;
        own && value.is_some_and(|value| value.value >= seconds)
    });
    if told {
        return None;
    }
    let judged = context.report.matrix.rows.iter().find(|row| {
        row.workload == workload && row.switching && row.measure == MeasureKind::LongestIo
    });
    let cell = judged
        .zip(context.case_index(case))
        .and_then(|(row, case)| row.cells.get(case)?.as_ref());
    let scale = Scale::of("s", [seconds]);
    let runs = context.report.origin.switch_replications;
    let mut interval = format!("largest of {}", plural(runs as usize, "run"));
    if let Some(cell) = cell {
        interval.push_str(&format!(", promise {}", as_written(&cell.target_text)));
    }
    Some(Fact {
        number: scale.three(seconds),
        unit: scale.unit.to_owned(),
        colour: cell.map_or("", |cell| flag_class(Flag::of(cell))),
        interval,
        what: format!(
            "longest I/O of the switch-over: <i>{}</i>, {}",
            esc(workload),
            esc(case)
        ),
        close: cell.map_or_else(String::new, |cell| worded(Flag::of(cell))),
    })
}

/// From here on a part is full on the mean, per cent: what is printed as 100.
const FULL_ON_MEAN: f64 = 99.5;

/// Whether a part is full on the mean at the load of a growth, or in its busiest moments alone.
fn full_how(context: &Context<'_>, growth: &Growth) -> String {
    let mut parts = context.report.parts.iter();
    let part = parts.find(|part| part.part == growth.part);
    let case = context.case_index(&growth.case);
    let used = part.zip(case);
    let used = used.and_then(|(part, case)| part.cases.get(case)?.as_ref());
    let mean = used.map(|used| used.asked_percent() * growth.factor);
    // A queue depth is told by its mean, and so is what is full all the time.
    match mean.filter(|mean| *mean < FULL_ON_MEAN) {
        Some(mean) => format!(
            "in its busiest 20\u{202F}ms ({}\u{202F}% on the mean)",
            whole_percent(mean)
        ),
        None => "on the mean".to_owned(),
    }
}

fn growth_fact(context: &Context<'_>) -> Option<Fact> {
    let growth = &context.report.growth;
    let least = growth.iter().min_by(|a, b| a.factor.total_cmp(&b.factor))?;
    Some(Fact {
        number: with_unit(&three_down(least.factor), "×"),
        unit: String::new(),
        colour: "",
        interval: "today’s load, by arithmetic".to_owned(),
        what: format!(
            "then <i>{}</i> is full {}, {}",
            esc(&least.part),
            full_how(context, least),
            esc(&least.case)
        ),
        close: "<em>the first limit</em>".to_owned(),
    })
}
