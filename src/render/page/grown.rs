//! A page of one question: how far the work can grow.

use super::frame::single;
use super::html::{
    Column, Table, beside, case_name, esc, figure_numbered, flag_class, flag_mark, section,
    sentence,
};
use crate::outcome::{
    Because, Bound, CaseHeadroom, Headroom, LoadSwitch, Origin, PartLoad, PartUse, RankedBy,
    SwitchOvers,
};
use crate::render::chart::{Format, load_curve, part_bars};
use crate::render::number::{NONE, as_written, is_over, three, three_down, with_unit};
use crate::render::words::{
    Flag, beside_words, burst_words_of, counted, counted_met, counted_missed, growth_unit,
    hole_words, listed, load_in, measure_name, missed_today, proven_sentences_below, stopped_words,
    switch_breaks, switch_clause, switch_remark, switch_sentence, switch_value, target_of,
    today_word, verdict_word,
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
    let above = in_headline(found);
    let told = |case: &CaseHeadroom| above.iter().any(|own| own.case == case.case);
    answers.extend(proven_sentences_below(found, &told));
    let mut body = head("How far can it grow?", &answers, &headroom_facts(found));
    let mut curves = String::new();
    for index in promises_in_order(found) {
        let wide = load_curve(found, index, Format::Page);
        let narrow = load_curve(found, index, Format::Phone);
        curves.push_str(&figure_numbered(&mut next, "", wide, narrow));
    }
    let note = "<p>The line is the promise; bars are intervals of 95\u{202F}% over the replications. Hollow points looked for the edge and prove nothing; filled ones are the proof, on other random numbers.</p><p>The knee is, of the loads that were run, the one at which load ÷ the latency that breaks first is largest: beyond it, latency grows faster than the load. None is told where the intervals let it be chance; which of neighbouring loads it is may be chance all the same, and where a figure has no bar, so may the knee. A percentile has a bar where every replication measured a hundred I/Os beyond it.</p>";
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
    let mut note = "<p>Asked of the fullest of each family in its busiest 20\u{202F}ms, at today’s load; queue depths of hosts by arithmetic. Spare is what is left of 100\u{202F}% in the worst case.</p>".to_owned();
    if found.grows.today().is_none() {
        note.push_str("<p><b>Peak 100\u{202F}% at</b> is 100 ÷ that: arithmetic, of those 20\u{202F}ms and of work that is not in closed loops. Promises may break before, and may hold beyond: what does not fit into such a moment waits for the next one.</p>");
        note.push_str(&full_words(found));
    }
    if let Some(said) = burst_words_of(found) {
        let _ = write!(note, "<p><b>{}</b></p>", esc(&said));
    }
    body.push_str(&section(
        "parts",
        2,
        "How full is each part today, and with a fabric lost?",
        &format!("{}{}", beside(&bars, &note), parts_table(found)),
    ));
    body.push_str(&section(
        "switch",
        3,
        "And while a fabric is being lost?",
        &switches(found),
    ));
    let mut notes = found.notes.clone();
    notes.extend(burst_words_of(found));
    body.push_str(&rest(
        4,
        &notes,
        &found.origin,
        &format!(
            "Both ends of a case hold together with {}\u{202F}% confidence, each case by itself.",
            three(found.confidence_percent)
        ),
    ));
    let title = format!("{}: headroom", found.origin.title);
    single(&found.origin, "headroom", &title, &body)
}

/// The cases that the headline names: healthy, and the outages where they are few, else the worst of them.
fn in_headline(found: &Headroom) -> Vec<&CaseHeadroom> {
    let healthy = found.cases.iter().find(|case| case.case.outage.is_none());
    let outages = || found.cases.iter().filter(|case| case.case.outage.is_some());
    let named: Vec<&CaseHeadroom> = match outages().count() {
        0..=3 => outages().collect(),
        _ => worst_outage(found).into_iter().collect(),
    };
    healthy.into_iter().chain(named).collect()
}

/// `Every promise is proven to hold at 2.94 times today's load healthy, and at 2.48 with A lost.`
fn short_answer(found: &Headroom) -> String {
    let outages = || found.cases.iter().filter(|case| case.case.outage.is_some());
    let named_in = |case: &CaseHeadroom| match &case.case.outage {
        None => "healthy".to_owned(),
        Some(_) => format!("with {}", case.case.name),
    };
    let said = |case: &CaseHeadroom| {
        let name = named_in(case);
        case.met.map_or_else(
            || name.clone(),
            |met| {
                let least = case.bound.map_or("", |bound| match bound {
                    Bound::Asked => "at least ",
                    Bound::Buildable => "all that can be built, ",
                });
                let today = missed_today(case);
                let but: Vec<&str> = hole_words(case).into_iter().chain(today).collect();
                let but = but.join(", ");
                let switch = switch_breaks(case).then(|| switch_clause(case, found));
                // After words that are against it already, the switch-over is no "but".
                let but = match switch {
                    Some(said) if but.is_empty() => said.trim_start_matches(", ").to_owned(),
                    Some(said) => format!("{but}; {}", said.trim_start_matches(", but ")),
                    None => but,
                };
                let but = if but.is_empty() {
                    but
                } else {
                    format!(" ({but})")
                };
                format!(
                    "at {least}{} {} {name}{but}",
                    counted_met(found, met),
                    growth_unit(found)
                )
            },
        )
    };
    // What was not looked for to the end is no load that breaks a promise.
    let open = |case: &&CaseHeadroom| {
        found.partial && case.met.is_none() && case.missed.is_none() && case.hopeless.is_none()
    };
    let mut proven = String::new();
    let cases = in_headline(found);
    let of = |wanted: &dyn Fn(&&CaseHeadroom) -> bool| -> Vec<String> {
        let cases = cases.iter().copied().filter(|case| wanted(case));
        cases.map(named_in).collect()
    };
    let unpromised = of(&|case| case.today.is_none());
    let not_yet = of(&|case| case.today.is_some() && open(case));
    let known = cases.iter().copied();
    let known = known.filter(|case| case.today.is_some() && !open(case));
    let least = match outages().count() {
        0..=3 => String::new(),
        more => {
            // Not only that of the outage which is named.
            let switch = match outages().filter(|case| switch_breaks(case)).count() {
                0 => String::new(),
                some => format!("; in {some} of them the switch-over there is not met"),
            };
            format!(", the least of {more} outages{switch}")
        }
    };
    // What is not proven to hold is broken at every load, from some load on, or open: never "at no load" alike.
    let (held, rest): (Vec<&CaseHeadroom>, Vec<&CaseHeadroom>) =
        known.partition(|case| case.met.is_some());
    let outage_held = held.iter().any(|case| case.case.outage.is_some());
    let all: Vec<String> = held.into_iter().map(said).collect();
    let named = |wanted: &dyn Fn(&CaseHeadroom) -> bool| -> Vec<String> {
        let cases = rest.iter().filter(|case| wanted(case));
        cases
            .map(|case| {
                let today = missed_today(case).map_or("", |_| " (missed today)");
                let least = case.case.outage.as_ref().map_or("", |_| least.as_str());
                format!("{}{today}{least}", named_in(case))
            })
            .collect()
    };
    let never = named(&|case| case.hopeless.is_some());
    let breaks = named(&|case| case.hopeless.is_none() && case.missed.is_some());
    let either = named(&|case| case.hopeless.is_none() && case.missed.is_none());
    let steady = match found.switch_overs {
        SwitchOvers::NothingPromised => "promise",
        SwitchOvers::Judged | SwitchOvers::NotAsked => "steady promise",
    };
    if !all.is_empty() {
        let least = if outage_held { least.as_str() } else { "" };
        proven = format!("every {steady} is proven to hold {}{least}", listed(&all));
    }
    let stopped = if found.partial {
        "the search was stopped before its end: "
    } else {
        ""
    };
    let rest = [
        (format!("no load keeps every {steady}"), never),
        (format!("no load is proven to keep every {steady}"), breaks),
        ("nothing is proven either way".to_owned(), either),
    ];
    let rest = rest.into_iter().filter(|(_, names)| !names.is_empty());
    let rest = rest.map(|(said, names)| format!("{said} {}", listed(&names)));
    let yet = (!not_yet.is_empty()).then(|| format!("nothing is proven yet {}", listed(&not_yet)));
    let nothing =
        (!unpromised.is_empty()).then(|| format!("nothing is promised {}", listed(&unpromised)));
    let proven = (!proven.is_empty()).then_some(proven);
    let parts: Vec<String> = proven
        .into_iter()
        .chain(rest)
        .chain(yet)
        .chain(nothing)
        .collect();
    let said = format!("{stopped}{}.", parts.join("; "));
    let mut letters = said.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}", first.to_uppercase(), letters.as_str())
    })
}

/// What "full on the mean" is beside a peak of 100 %, with its loads; nothing where no part is ever full.
fn full_words(found: &Headroom) -> String {
    let full = found
        .cases
        .iter()
        .filter_map(|case| Some((counted(found, case.saturation?), &case.case.name)));
    let full: Vec<(String, &String)> = full.collect();
    let said = match full.first() {
        None => return String::new(),
        Some((at, _)) if full.len() > 1 && full.iter().all(|(other, _)| other == at) => {
            format!("{at}\u{202F}× in every case")
        }
        Some(_) => {
            let each = full
                .iter()
                .map(|(at, name)| format!("{at}\u{202F}× {name}"));
            listed(&each.collect::<Vec<_>>())
        }
    };
    format!(
        "<p><b>Full on the mean</b>, in the table above, is another load: there a part has no moment left to catch up in ({}).</p>",
        esc(&said)
    )
}

/// ` (but the switch-over there is missed; it is met at 1.20)`; nothing where it is met or was not judged.
fn switch_words(case: &CaseHeadroom, found: &Headroom) -> String {
    if switch_breaks(case) {
        let said = switch_clause(case, found);
        format!(" ({})", said.trim_start_matches(", "))
    } else {
        String::new()
    }
}

/// The outage with the least proven load.
fn worst_outage(found: &Headroom) -> Option<&CaseHeadroom> {
    let met = |case: &CaseHeadroom| case.met.unwrap_or(0.0);
    let promised = |case: &&CaseHeadroom| case.today.is_some();
    let outages = || found.cases.iter().filter(|case| case.case.outage.is_some());
    let any = outages().any(|case| promised(&case));
    outages()
        .filter(|case| !any || promised(case))
        .min_by(|left, right| met(left).total_cmp(&met(right)))
}

/// The promise that breaks at the lowest load first.
fn promises_in_order(found: &Headroom) -> Vec<usize> {
    let first = found.breaks_first();
    let rest = (0..found.promises().len()).filter(|index| Some(*index) != first);
    first.into_iter().chain(rest).collect()
}

/// A head: the question, the answers, and up to three numbers.
pub(super) fn head(question: &str, answers: &[String], facts: &str) -> String {
    let (first, rest) = answers
        .split_first()
        .map_or(("", &[][..]), |(first, rest)| (first.as_str(), rest));
    let rest: String = rest.iter().fold(String::new(), |mut out, said| {
        let _ = writeln!(
            out,
            "<p class=\"lede\">{}</p>",
            whole_dates(&sentence(said))
        );
        out
    });
    format!(
        "<section id=\"verdict\" aria-labelledby=\"h-verdict\">\n<p class=\"flag na\">{}</p>\n<h1 id=\"h-verdict\">{}</h1>\n{rest}<ul class=\"facts\">{facts}</ul>\n</section>\n\n",
        sentence(question),
        whole_dates(&sentence(first))
    )
}

/// Keeps the days of a text on one line.
fn whole_dates(html: &str) -> String {
    let shape = |text: &str| {
        text.len() == 10
            && text.bytes().enumerate().all(|(at, byte)| match at {
                4 | 7 => byte == b'-',
                _ => byte.is_ascii_digit(),
            })
    };
    let mut out = String::new();
    let mut from = 0;
    while from < html.len() {
        match html.get(from..from + 10).filter(|text| shape(text)) {
            Some(day) => {
                let _ = write!(out, "<span class=\"nw\">{day}</span>");
                from += 10;
            }
            None => {
                let letter = html[from..].chars().next().unwrap_or_default();
                out.push(letter);
                from += letter.len_utf8();
            }
        }
    }
    out
}

pub(super) fn fact(number: &str, unit: &str, colour: &str, interval: &str, what: &str) -> String {
    let long = if number.len() > 12 { " long" } else { "" };
    format!(
        "<li><b class=\"n{long} {colour}\">{}<small>{}</small></b><span class=\"iv\">{}</span><span>{}</span></li>\n",
        esc(number),
        esc(unit),
        esc(interval),
        sentence(what)
    )
}

fn headroom_facts(found: &Headroom) -> String {
    let unit = match (found.grows.hosts, &found.grows.depth) {
        (Some(_), _) => "hosts",
        (None, Some(_)) => "outstanding",
        (None, None) => "×",
    };
    let one = |case: &CaseHeadroom| {
        let number = case
            .met
            .map_or_else(|| NONE.to_owned(), |met| counted_met(found, met));
        let open = case.met.is_none() && (found.partial || case.today.is_none());
        let short = !open && case.met.is_none_or(|met| met < 1.0) || switch_breaks(case);
        let what = if found.switch_overs == SwitchOvers::NothingPromised {
            "proven to keep every promise"
        } else {
            "proven to keep every steady promise"
        };
        let missed = match (case.missed, &case.hopeless, case.bound) {
            _ if case.today.is_none() => "nothing is promised".to_owned(),
            (None, None, None) if found.partial => "the search was stopped before".to_owned(),
            (_, Some(found), _) => match found.because {
                Because::NeverBrought { .. } => "one promise is broken at every load that was run",
                _ => "one promise is broken at every load",
            }
            .to_owned(),
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
            &format!(
                "{what}, {}{}{}",
                case.case.name,
                hole_words(case).map_or_else(String::new, |said| format!(" ({said})")),
                switch_words(case, found)
            ),
        )
    };
    let healthy = found.cases.iter().find(|case| case.case.outage.is_none());
    let worst = worst_outage(found);
    let part = worst.or(healthy).and_then(|case| {
        let ends = case.ends.as_ref()?;
        let beside = beside_words(case).map_or_else(String::new, |said| format!("; {said}"));
        let next = case.next.as_ref().map_or_else(String::new, |next| {
            format!(
                "; then {}, {}",
                next.part,
                with_unit(&three(case.ranked_by.figure(next)), "%")
            )
        });
        Some(fact(
            &three(case.ranked_by.figure(ends)),
            "%",
            "",
            &format!(
                "{}, at the {}",
                match case.ranked_by {
                    RankedBy::Mean => "on the mean",
                    RankedBy::Busiest => "asked for in the busiest 20\u{202F}ms",
                },
                if case.missed.is_some() {
                    "load that ends it"
                } else {
                    "largest load that is proven"
                }
            ),
            &format!("of {}{beside}{next}", ends.part),
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

/// The part that ends a case; where none does, the fullest.
fn ended_by(case: &CaseHeadroom) -> String {
    let fullest = part_cell(case.ends.as_ref());
    match case.missed {
        None if case.ends.is_some() => format!("none; fullest {fullest}"),
        _ => match beside_words(case) {
            Some(said) => format!("{fullest} <small>{}</small>", sentence(&said)),
            None => fullest,
        },
    }
}

fn ends_table(found: &Headroom) -> String {
    let columns = vec![
        Column::words("case"),
        Column::words("today"),
        Column::number("met to"),
        Column::number("switch-over met at"),
        Column::number("missed from"),
        Column::number("knee"),
        Column::number("full on the mean at"),
        Column::words("breaks first"),
        Column::words("the part that ends it"),
        Column::words("the next part"),
    ];
    let caption = format!("What is proven, {}", sentence(&growth_unit(found)));
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
                format!("<span class=\"nw\">{}</span>", today_word(case)),
                format!("<b>{}</b>", show(case.met, counted_met)),
                show(case.switch_met, counted_met),
                show(case.missed, counted_missed),
                case.knee
                    .map_or_else(|| NONE.to_owned(), |knee| load_in(found, case, knee)),
                show(case.saturation, counted),
                breaks,
                ended_by(case),
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
    // Neither whole hosts nor closed loops make a part fuller by as much.
    let scales = found.grows.today().is_none();
    if scales {
        columns.push(Column::number("peak 100\u{202F}% at, ×"));
    }
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
        if scales {
            cells.push(if most > 0.0 {
                three_down(100.0 / most)
            } else {
                "idle".to_owned()
            });
        }
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
        return format!("<p class=\"plain\">{}.</p>\n", sentence(remark));
    }
    let mut out = String::new();
    for said in found
        .cases
        .iter()
        .filter_map(|case| switch_sentence(case, found))
    {
        let _ = writeln!(out, "<p class=\"plain\">{}</p>", sentence(&said));
    }
    let columns = vec![
        Column::words("case"),
        Column::number("load"),
        Column::words("workload"),
        Column::words("promise"),
        Column::number("figure"),
        Column::words("verdict"),
    ];
    let caption = "The switch-over at the load that is proven, healthy and after it; where it is not met, at lower loads too"
        .to_owned();
    let mut table = Table::new("", caption, columns);
    for case in &found.cases {
        for switch in case.switch_over.iter().chain(&case.switch_tried) {
            switch_rows(&mut table, found, case, switch);
        }
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
pub(super) fn rest(number: usize, notes: &[String], origin: &Origin, said: &str) -> String {
    let notes: String = notes.iter().fold(String::new(), |mut out, note| {
        let _ = write!(out, "<li>{}</li>", sentence(note));
        out
    });
    let body = format!(
        "<p class=\"plain\">{} This is an estimate from stated inputs: no guarantee, and no approval of a design.</p>\n\
         <div class=\"cols\"><ul>{notes}</ul></div>\n<pre>{}</pre>\n",
        sentence(said),
        esc(&origin.command)
    );
    section(
        "rests",
        number,
        "What does it rest on, and how is it repeated?",
        &body,
    )
}
