//! The answer to "how far can the work grow" as text.

use super::align::{Aligned, with_ends, wrapped};
use crate::outcome::{
    CaseHeadroom, Headroom, LeftOpen, LoadPoint, LoadRow, PartLoad, Purpose, Verdict,
};
use crate::render::number::{NONE, Scale, as_written, count, three};
use crate::render::words::{
    beside_words, burst_words_of, counted, counted_met, counted_missed, growth_axis, load_in,
    measure_name, no_crossing, origin_line, proven_sentences, stopped_words, switch_remark,
    switch_sentence, today_word, verdict_word,
};

/// Ends by case, every load that was run, the parts at today's load, and what is taken for granted.
#[must_use]
pub fn headroom_text(headroom: &Headroom) -> String {
    let mut out = String::new();
    if let Some(said) = stopped_words(headroom) {
        out.push_str(&format!("{said}\n"));
    }
    for said in proven_sentences(headroom) {
        out.push_str(&said);
        out.push('\n');
    }
    for said in headroom
        .cases
        .iter()
        .filter_map(|case| switch_sentence(case, headroom))
    {
        out.push_str(&said);
        out.push('\n');
    }
    out.push('\n');
    out.push_str(&ends(headroom));
    for case in &headroom.cases {
        out.push_str(&points(case, headroom));
    }
    out.push_str(&parts(headroom));
    if let Some(remark) = switch_remark(headroom) {
        out.push_str(&format!("{remark}.\n"));
    }
    for note in &headroom.notes {
        out.push_str(&format!("Note: {note}.\n"));
    }
    if let Some(said) = burst_words_of(headroom) {
        out.push_str(&wrapped(&said, 96));
    }
    out.push_str(&format!(
        "Both ends of a case hold together with {} % confidence, each case by itself.\n{}\n",
        three(headroom.confidence_percent),
        origin_line(&headroom.origin)
    ));
    out
}

fn factor(value: Option<f64>) -> String {
    value.map_or_else(|| NONE.to_owned(), three)
}

fn part(part: Option<&PartLoad>) -> String {
    part.map_or_else(
        || NONE.to_owned(),
        |part| {
            format!(
                "{}, {} %  {} %",
                part.part,
                three(part.mean_percent),
                three(part.peak_percent)
            )
        },
    )
}

/// The part that ends a case; where none does, the fullest.
fn ended_by(case: &CaseHeadroom) -> String {
    let fullest = part(case.ends.as_ref());
    match case.missed {
        None if case.ends.is_some() => format!("none; fullest {fullest}"),
        _ => match beside_words(case) {
            Some(said) => format!("{fullest}; {said}"),
            None => fullest,
        },
    }
}

fn ends(headroom: &Headroom) -> String {
    let mut table = Aligned::new(&[
        "case",
        "today",
        ">met to",
        ">switch-over met at",
        ">missed from",
        ">crosses, no proof",
        ">knee",
        ">full by arithmetic",
        "part that ends it: mean, busiest 20 ms",
        "next part",
    ]);
    let show = |value: Option<f64>, counted: fn(&Headroom, f64) -> String| {
        value.map_or_else(|| NONE.to_owned(), |factor| counted(headroom, factor))
    };
    let times = headroom.grows.today().map_or(1.0, f64::from);
    for case in &headroom.cases {
        table.row(vec![
            case.case.name.clone(),
            today_word(case).to_owned(),
            show(case.met, counted_met),
            show(case.switch_met, counted_met),
            show(case.missed, counted_missed),
            factor(case.crossing.map(|crossing| crossing * times)),
            case.knee
                .map_or_else(|| NONE.to_owned(), |knee| load_in(headroom, case, knee)),
            show(case.saturation, counted),
            ended_by(case),
            part(case.next.as_ref()),
        ]);
    }
    let mut out = table.text(&match headroom.grows.today() {
        None => "Headroom, times today's load".to_owned(),
        Some(today) => format!("Headroom, {} ({today} today)", growth_axis(headroom)),
    });
    for said in headroom
        .cases
        .iter()
        .filter_map(|case| no_crossing(case, headroom))
    {
        out.push_str(&wrapped(&said, 96));
        out.push('\n');
    }
    out
}

const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Pilot => "pilot",
        Purpose::ProveMet => "is it met?",
        Purpose::ProveMissed => "is it missed?",
        Purpose::Below => "is it met too?",
    }
}

fn points(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(first) = case.points.iter().find(|point| !point.rows.is_empty()) else {
        return String::new();
    };
    let scales: Vec<Scale> = (0..first.rows.len())
        .map(|index| {
            let cells = || case.points.iter().filter_map(|point| point.rows.get(index));
            let values = cells().flat_map(|row| {
                let value = row.cell.value.map(|figure| figure.value);
                value.into_iter().chain([row.cell.target])
            });
            Scale::of(first.rows[index].cell.unit, values)
        })
        .collect();
    let head = match (headroom.grows.hosts, &headroom.grows.depth) {
        (Some(_), _) => ">hosts",
        (None, Some(_)) => ">outstanding",
        (None, None) => ">times",
    };
    let mut table = Aligned::new(&[head, "run for", ">replications"]);
    for (row, scale) in first.rows.iter().zip(&scales) {
        let target = as_written(&row.cell.target_text);
        let name = measure_name(row.measure);
        let shrinks = case.points.iter().any(|point| {
            let cells = point
                .rows
                .iter()
                .filter(|own| own.workload == row.workload && own.measure == row.measure);
            cells
                .map(|own| own.cell.target)
                .any(|other| other < 0.999 * promised(case, row))
        });
        let shrinks = if shrinks { ", below 1 times that" } else { "" };
        table = table.number(&format!(
            "{} {name}, {} (promise {target}{shrinks})",
            row.workload, scale.unit
        ));
    }
    let mut table = table.number("verdict");
    for point in &case.points {
        let mut cells = vec![
            load_in(headroom, case, point.factor),
            purpose(point.purpose).to_owned(),
            count(u64::from(point.replications)),
        ];
        cells.extend(figures(point, &scales));
        let word = verdict_word(point.verdict);
        cells.push(format!("{word}{}", open_word(point)));
        table.row(cells);
    }
    let mut out = table.text(&format!("Loads that were run, {}", case.case.name));
    let said = [
        other_end_words(case, headroom),
        counted_words(case, headroom),
    ];
    for said in said.into_iter().flatten() {
        out.push_str(&wrapped(&said, 96));
        out.push('\n');
    }
    out
}

/// Why a load is undecided, in a word or two; nothing where it is decided.
fn open_word(point: &LoadPoint) -> &'static str {
    let mut open = point
        .rows
        .iter()
        .filter(|row| row.cell.verdict == Verdict::Undecided)
        .peekable();
    let short = |row: &LoadRow| {
        let open = row.cell.left_open;
        matches!(
            open,
            Some(LeftOpen::RunTooShort | LeftOpen::Filling | LeftOpen::Bursts)
        )
    };
    if point.partial {
        ", cut short"
    } else if point.verdict != Verdict::Undecided {
        ""
    } else if point.needs_s.is_some() || point.rows.iter().any(short) || open.peek().is_none() {
        ", runs too short"
    } else if open.all(|row| row.cell.above_share == Some(0.0)) {
        ", too few I/Os"
    } else {
        ", too near"
    }
}

/// That a load which was tested for one end and came out on the other side is not the other end.
fn other_end_words(case: &CaseHeadroom, headroom: &Headroom) -> Option<String> {
    let other = |point: &&LoadPoint| {
        matches!(
            (point.purpose, point.verdict),
            (Purpose::ProveMet, Verdict::Missed) | (Purpose::ProveMissed, Verdict::Met)
        )
    };
    let point = case.points.iter().find(other)?;
    let (asked, end) = match point.purpose {
        Purpose::ProveMet => ("met", "missed from"),
        _ => ("missed", "met to"),
    };
    Some(format!(
        "{} was tested for being {asked}, and is {} instead; it is no \u{201C}{end}\u{201D}, for that end has tests of its own.",
        load_in(headroom, case, point.factor),
        verdict_word(point.verdict)
    ))
}

/// The promise of a row as it stands at today's load and above.
fn promised(case: &CaseHeadroom, row: &LoadRow) -> f64 {
    let rows = case.points.iter().flat_map(|point| &point.rows);
    rows.filter(|own| own.workload == row.workload && own.measure == row.measure)
        .map(|own| own.cell.target)
        .fold(0.0, f64::max)
}

/// Where the interval shown and the verdict seem not to go together, what the verdict goes by.
fn counted_words(case: &CaseHeadroom, headroom: &Headroom) -> Option<String> {
    let odd = |row: &LoadRow| {
        let cell = &row.cell;
        let (low, high) = cell.value?.ends()?;
        // What is left open for another reason is so whatever the count.
        if cell.left_open.is_some() {
            return None;
        }
        let against = match cell.verdict {
            Verdict::Met => high > cell.target,
            Verdict::Missed => low < cell.target,
            Verdict::Undecided => low > cell.target || high < cell.target,
        };
        (against && cell.above_share.is_some()).then_some(())
    };
    let point = case
        .points
        .iter()
        .find(|point| point.rows.iter().any(|row| odd(row).is_some()))?;
    let row = point.rows.iter().find(|row| odd(row).is_some())?;
    let (share, allowed) = (row.cell.above_share?, row.cell.above_allowed?);
    Some(format!(
        "Verdicts of percentiles go by the I/Os counted above the target, not by the interval shown: at {} {} % of \
         {} are above {}, where {} % may be, and the one-sided bounds on that share (95 % for a pilot, for a proof \
         its part of the 5 %) make it {}.",
        load_in(headroom, case, point.factor),
        three(100.0 * share),
        row.workload,
        as_written(&row.cell.target_text),
        three(100.0 * allowed),
        verdict_word(row.cell.verdict)
    ))
}

fn figures(point: &LoadPoint, scales: &[Scale]) -> Vec<String> {
    point
        .rows
        .iter()
        .zip(scales)
        .map(|(row, scale)| match (row.cell.value, row.cell.beyond) {
            _ if row.cell.saturated => "saturated".to_owned(),
            _ if row.cell.is_cut_off() => "no path".to_owned(),
            (Some(figure), _) => with_ends(*scale, &figure),
            (None, Some(beyond)) => format!("> {}", scale.three(beyond)),
            (None, None) => NONE.to_owned(),
        })
        .collect()
}

fn parts(headroom: &Headroom) -> String {
    let mut table = Aligned::new(&[
        "part",
        "detail",
        ">used healthy, %",
        ">used in the worst outage, %",
        ">spare in the worst, %",
    ]);
    for part in &headroom.parts {
        let peak = |index: usize| Some(part.cases.get(index)?.as_ref()?.peak_percent);
        let healthy = peak(0);
        let worst = (1..part.cases.len())
            .filter_map(peak)
            .fold(None, |most, next| {
                Some(most.map_or(next, |most: f64| most.max(next)))
            });
        let most = worst.unwrap_or(0.0).max(healthy.unwrap_or(0.0));
        table.row(vec![
            part.part.clone(),
            part.detail.clone(),
            factor(healthy),
            factor(worst),
            three((100.0 - most).max(0.0)),
        ]);
    }
    table.text("Parts at today's load, the fullest of each family, asked in the busiest 20 ms (queue depths by arithmetic)")
}
