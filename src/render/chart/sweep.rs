//! The promised figure against what a sweep varies: lines over one value, cells over two.

mod others;

use crate::outcome::Origin;
use crate::render::sweep::SweepTable;

use super::canvas::{Anchor, Face, Mark};
use super::frame::{Plotted, Sheet, foot};
use super::lines::{self, Dot, Line, Lines, Promised, targets};
use super::palette::Role;
use super::text::{fit, sig};
use super::{Drawing, Format};
use others::{Others, besides, most_broken, other_is_missed, others};

/// One row of the table, read.
struct Seen {
    values: Vec<String>,
    case: String,
    figure: Option<f64>,
    ends: Option<(f64, f64)>,
    verdict: String,
    saturated: bool,
    /// What the switches lack there, in words.
    lacking: String,
}

/// What is drawn.
struct What {
    workload: String,
    promise: String,
    unit: String,
    /// By case, where it is the same at every point.
    targets: Vec<(String, f64)>,
    judged: bool,
    /// Whether a small figure is the worse one.
    less_is_worse: bool,
    rows: Vec<Seen>,
    /// What becomes of the other promises.
    others: Others,
}

pub(super) fn draw(
    table: &SweepTable,
    origin: &Origin,
    workload: Option<&str>,
    format: Format,
) -> Option<Drawing> {
    let what = what(table, workload)?;
    let varied: Vec<usize> = (0..table.keys.len())
        .filter(|index| values(&what.rows, *index).len() > 1)
        .collect();
    match varied.as_slice() {
        [one] => over_one(table, origin, &what, *one, format),
        [down, across] => over_two(table, origin, &what, (*down, *across), format),
        _ => None,
    }
}

/// The columns of what is drawn.
struct Columns {
    promise: String,
    /// The unit of the figures in the table.
    unit: String,
    /// Figure, and the ends of its interval.
    figure: [&'static str; 3],
    target: &'static str,
    verdict: &'static str,
    judged: bool,
}

/// The promise about the steady state that is missed, else undecided, most often, the first where none is; the mean where
/// nothing is promised; the longest I/O where that is promised and varies more.
fn columns(table: &SweepTable, rows: &[&Vec<String>]) -> Columns {
    let promised = |row: &&&Vec<String>| !table.text(row, "promise").is_empty();
    let first = most_broken(
        table,
        rows.iter().copied().filter(|row| promised(&row)),
        "promise",
    );
    let unit = |promise: &str| {
        let own = rows
            .iter()
            .find(|row| table.text(row, "promise") == promise);
        own.map_or("", |row| table.text(row, "promise_unit"))
            .to_owned()
    };
    let steady = match first {
        Some(promise) => Columns {
            unit: unit(&promise),
            promise,
            figure: ["promise_value", "promise_value_low", "promise_value_high"],
            target: "promise_target",
            verdict: "promise_verdict",
            judged: true,
        },
        None => Columns {
            promise: "mean".to_owned(),
            unit: "us".to_owned(),
            figure: ["mean_us", "mean_low_us", "mean_high_us"],
            target: "",
            verdict: "",
            judged: false,
        },
    };
    let switching = Columns {
        promise: "longest I/O".to_owned(),
        unit: "s".to_owned(),
        figure: ["longest_io_s", "", ""],
        target: "longest_io_promise_s",
        verdict: "switch_verdict",
        judged: true,
    };
    let promised = rows
        .iter()
        .any(|row| table.number(row, switching.target).is_some());
    let varies = |columns: &Columns| {
        let own = |row: &&Vec<String>| belongs(table, columns, row);
        let figures: Vec<(&str, f64)> = rows
            .iter()
            .copied()
            .filter(own)
            .filter_map(|row| {
                let figure = table.number(row, columns.figure[0])?;
                Some((table.text(row, "case"), figure))
            })
            .collect();
        let most = |case: &str| {
            let own = figures.iter().filter(|(known, _)| *known == case);
            let (low, high) = own.fold((f64::INFINITY, 0.0_f64), |(low, high), (_, value)| {
                (low.min(*value), high.max(*value))
            });
            high / low.max(f64::MIN_POSITIVE)
        };
        let ratios = figures.iter().map(|(case, _)| most(case));
        ratios.fold(0.0, f64::max)
    };
    if promised && varies(&switching) > varies(&steady) {
        switching
    } else {
        steady
    }
}

/// Whether a row tells of the promise: not where its case has another one, or none.
fn belongs(table: &SweepTable, columns: &Columns, row: &[String]) -> bool {
    match columns.verdict {
        "" => true,
        "promise_verdict" => table.text(row, "promise") == columns.promise,
        verdict => !table.text(row, verdict).is_empty(),
    }
}

fn what(table: &SweepTable, workload: Option<&str>) -> Option<What> {
    let own = |row: &&Vec<String>| match workload {
        Some(name) => table.text(row, "workload") == name,
        None => {
            !table.text(row, "promise").is_empty()
                || !table.text(row, "longest_io_promise_s").is_empty()
        }
    };
    let broken = most_broken(table, table.rows.iter().filter(own), "workload");
    let workload = broken.or_else(|| {
        let first = table.rows.first()?;
        Some(table.text(first, "workload").to_owned())
    })?;
    let all: Vec<&Vec<String>> = table
        .rows
        .iter()
        .filter(|row| table.text(row, "workload") == workload)
        .collect();
    let columns = columns(table, &all);
    let (scale, unit) = match columns.unit.as_str() {
        "us" => (1e-3, "ms"),
        other => (1.0, other),
    };
    let number = |row: &[String], name: &str| table.number(row, name).map(|value| value * scale);
    let mut drawn: Vec<&Vec<String>> = all
        .into_iter()
        .filter(|row| belongs(table, &columns, row))
        .collect();
    // Of a switch-over, or of nothing promised, the rows of all promises say the same.
    let of = |row: &[String]| ["point", "case"].map(|name| table.text(row, name).to_owned());
    drawn.dedup_by(|next, own| of(next) == of(own));
    let rows: Vec<Seen> = drawn
        .iter()
        .map(|row| {
            let [figure, low, high] = columns.figure.map(|name| number(row, name));
            Seen {
                values: table.values(row),
                case: table.text(row, "case").to_owned(),
                figure,
                ends: low.zip(high),
                verdict: table.text(row, columns.verdict).to_owned(),
                lacking: table.text(row, "ports_lacking").to_owned(),
                saturated: columns.verdict != "switch_verdict"
                    && table.text(row, "saturated") == "true",
            }
        })
        .collect();
    let target = |case: &String| {
        let own = drawn.iter().filter(|row| table.text(row, "case") == case);
        let mut targets = own.map(|row| number(row, columns.target));
        let first = targets.next()??;
        targets
            .all(|other| other == Some(first))
            .then(|| (case.clone(), first))
    };
    Some(What {
        targets: cases(&rows).iter().filter_map(target).collect(),
        judged: columns.judged,
        others: others(table, &workload, &columns.promise),
        less_is_worse: !matches!(unit, "ms" | "s"),
        promise: columns.promise,
        unit: unit.to_owned(),
        workload,
        rows,
    })
}

/// The different values of a key, in order of their first appearance.
fn values(rows: &[Seen], key: usize) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for value in rows.iter().filter_map(|row| row.values.get(key)) {
        if !found.contains(value) {
            found.push(value.clone());
        }
    }
    found
}

fn cases(rows: &[Seen]) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for row in rows {
        if !found.contains(&row.case) {
            found.push(row.case.clone());
        }
    }
    found
}

/// Values as numbers with their common unit; `None` where they are words.
fn numbers(values: &[String]) -> Option<(Vec<f64>, String)> {
    let apart = |value: &String| {
        let value = value.trim_matches('"');
        let end = value.find(|c: char| !c.is_ascii_digit() && c != '.');
        let (number, unit) = value.split_at(end.unwrap_or(value.len()));
        Some((number.parse::<f64>().ok()?, unit.to_owned()))
    };
    let all: Vec<(f64, String)> = values.iter().map(apart).collect::<Option<_>>()?;
    let unit = all.first()?.1.clone();
    // `25GbE` is a name, not a number.
    let named = unit.ends_with("GbE") || unit.ends_with("GFC");
    let alike = !named && all.iter().all(|row| row.1 == unit);
    alike.then(|| (all.into_iter().map(|row| row.0).collect(), unit))
}

/// Healthy is ink; a lost fabric has the colour and mark of the one that carries on.
fn look(case: &str) -> (Role, Mark) {
    match case {
        "A lost" => (Role::B, Mark::Square),
        "B lost" => (Role::A, Mark::Round),
        "healthy" => (Role::Ink, Mark::Diamond),
        _ => (Role::Use, Mark::Triangle),
    }
}

fn finding(table: &SweepTable, what: &What) -> String {
    figures(what) + &besides(&what.others) + &lacking(table, what)
}

/// At how many points switches have fewer ports than are used, and the first of them.
fn lacking(table: &SweepTable, what: &What) -> String {
    let mut points: Vec<&[String]> = Vec::new();
    let rows = || what.rows.iter();
    for row in rows().filter(|row| !row.lacking.is_empty()) {
        if !points.contains(&row.values.as_slice()) {
            points.push(&row.values);
        }
    }
    let Some(first) = points.first() else {
        return String::new();
    };
    let mut all: Vec<&Vec<String>> = rows().map(|row| &row.values).collect();
    all.sort();
    all.dedup();
    let pairs = table.keys.iter().zip(*first);
    let pairs: Vec<String> = pairs.map(|(key, value)| format!("{key}={value}")).collect();
    let at = if points.len() == all.len() {
        "at every point".to_owned()
    } else {
        format!(
            "at {} of {} points, first at {}",
            points.len(),
            all.len(),
            pairs.join(", ")
        )
    };
    format!(" Switches have too few ports {at}: it cannot be built so.")
}

fn figures(what: &What) -> String {
    let number = |verdict: &str| {
        what.rows
            .iter()
            .filter(|row| row.verdict == verdict)
            .count()
    };
    let (met, all) = (number("met"), what.rows.len());
    if !what.judged {
        return format!("{} of {}, point by point.", what.promise, what.workload);
    }
    let undecided = match number("undecided") {
        0 => String::new(),
        some => format!(", undecided at {some}"),
    };
    format!(
        "{} {} is met at {met} of {all} points and cases, missed at {}{undecided}.",
        what.workload,
        what.promise,
        number("missed")
    )
}

fn over_one(
    table: &SweepTable,
    origin: &Origin,
    what: &What,
    key: usize,
    format: Format,
) -> Option<Drawing> {
    let words = values(&what.rows, key);
    let numbers = numbers(&words);
    let place = |value: &String| {
        let index = words.iter().position(|known| known == value)?;
        Some(match &numbers {
            Some((all, _)) => all[index],
            None => index as f64,
        })
    };
    let lines: Vec<Line> = cases(&what.rows)
        .into_iter()
        .map(|case| {
            let own = || what.rows.iter().filter(|row| row.case == case);
            let mut dots: Vec<Dot> = own()
                .filter_map(|row| {
                    Some(Dot {
                        x: place(&row.values[key])?,
                        y: row.figure?,
                        ends: row.ends,
                        hollow: row.verdict != "met" && what.judged,
                    })
                })
                .collect();
            dots.sort_by(|left, right| left.x.total_cmp(&right.x));
            let (role, mark) = look(&case);
            let full: Vec<&str> = own()
                .filter(|row| row.saturated)
                .map(|row| row.values[key].as_str())
                .collect();
            let note = if full.is_empty() {
                let met = own().filter(|row| row.verdict == "met").count();
                if what.judged {
                    format!("met at {met} of {}", own().count())
                } else {
                    String::new()
                }
            } else {
                format!("saturated at {}", full.join(", "))
            };
            Line {
                name: case.clone(),
                note,
                role,
                mark,
                dots,
                foot: None,
                apart: false,
                full: own()
                    .filter(|row| row.saturated && row.figure.is_none())
                    .filter_map(|row| place(&row.values[key]))
                    .collect(),
            }
        })
        .collect();
    let name = format!("{} {}", what.workload, what.promise);
    let unit = numbers.as_ref().map_or("", |all| all.1.as_str());
    let fits = lines.iter().all(|line| line.full.is_empty());
    let judged = match (what.judged, fits) {
        (true, true) => " (filled: met; hollow: missed or undecided)",
        (true, false) => " (filled: met; hollow: missed or undecided; arrow: does not fit)",
        (false, true) => "",
        (false, false) => " (arrow: does not fit)",
    };
    let promised: Vec<Promised> = what
        .targets
        .iter()
        .map(|(case, target)| (case.clone(), look(case).0, *target))
        .collect();
    let mut across = table.keys[key].clone();
    if !unit.is_empty() {
        across.push_str(&format!(", {unit}"));
    }
    let chart = Lines {
        id: "sweep".to_owned(),
        across: across + judged,
        up: format!("{name}, {}", what.unit),
        words: if numbers.is_some() { Vec::new() } else { words },
        log: false,
        whole: false,
        lines,
        promises: targets(&promised, &|value| {
            format!("{} {}", sig(value, 3), what.unit)
        }),
    };
    let text = description(table, what, &[key]);
    lines::draw(foot(origin), format, finding(table, what), text, &chart)
}

fn description(table: &SweepTable, what: &What, keys: &[usize]) -> String {
    let mut out = format!("{} {}, {}:", what.workload, what.promise, what.unit);
    for row in &what.rows {
        let at: Vec<String> = keys
            .iter()
            .map(|key| format!("{} {}", table.keys[*key], row.values[*key]))
            .collect();
        let figure = row.figure.map_or_else(
            || {
                if row.saturated {
                    "saturated"
                } else {
                    "no figure"
                }
                .to_owned()
            },
            |figure| sig(figure, 3),
        );
        let verdict = if row.verdict.is_empty() { "" } else { " " };
        let ports = if row.lacking.is_empty() {
            ""
        } else {
            ", too few ports"
        };
        out.push_str(&format!(
            " {}, {}: {figure}{verdict}{}{ports};",
            at.join(", "),
            row.case,
            row.verdict
        ));
    }
    out.pop();
    out + "."
}

/// The row to show of a cell: the worst case.
fn worst<'a>(what: &'a What, at: &dyn Fn(&Seen) -> bool) -> Option<&'a Seen> {
    let rank = |row: &Seen| {
        let verdict = match row.verdict.as_str() {
            "missed" => 2,
            "undecided" => 1,
            _ => 0,
        };
        (row.saturated, verdict)
    };
    let less_is_worse = what.less_is_worse;
    what.rows
        .iter()
        .filter(|row| at(row))
        .max_by(|left, right| {
            let figure = |row: &Seen| {
                let value = row.figure.unwrap_or(0.0);
                if less_is_worse { -value } else { value }
            };
            rank(left)
                .cmp(&rank(right))
                .then(figure(left).total_cmp(&figure(right)))
        })
}

fn over_two(
    table: &SweepTable,
    origin: &Origin,
    what: &What,
    (down, across): (usize, usize),
    format: Format,
) -> Option<Drawing> {
    let (rows, columns) = (values(&what.rows, down), values(&what.rows, across));
    let mut sheet = Sheet::of(foot(origin), format, 800.0, finding(table, what));
    let em = sheet.em;
    let head = em * 3.0;
    let body = sheet.height(head + rows.len() as f64 * em * 3.2 + em * 2.0);
    let left = sheet.side + (sheet.width * 0.22).min(em * 12.0);
    let wide = (sheet.right() - left) / columns.len() as f64;
    // A slide is filled.
    let most = em * if format == Format::Slide { 8.0 } else { 3.6 };
    let tall = ((body - head - em * 2.0) / rows.len() as f64).min(most);
    let top = sheet.top + head;
    let keys = format!("{} down, {} across", table.keys[down], table.keys[across]);
    let keys = fit(&keys, em, true, sheet.right() - sheet.side);
    let at = (sheet.side, sheet.top + em);
    sheet.label(at, &keys, Face::Bold, Anchor::Start, Role::Ink);
    // Where names have no room, every second, third … is written.
    let every = (1..columns.len())
        .find(|every| {
            let space = *every as f64 * wide - em * 0.4;
            columns
                .iter()
                .all(|column| fit(column, em, false, space) == *column)
        })
        .unwrap_or(1);
    for (index, column) in columns.iter().enumerate().step_by(every) {
        let at = (left + (index as f64 + 0.5) * wide, top - em * 0.5);
        let text = fit(column, em, false, every as f64 * wide - em * 0.4);
        sheet.label(at, &text, Face::Plain, Anchor::Middle, Role::Ink);
    }
    let mut marked = false;
    for (row, value) in rows.iter().enumerate() {
        let y = top + row as f64 * tall;
        let text = fit(value, em, false, left - sheet.side - em);
        let at = (left - em * 0.6, y + tall * 0.5 + em * 0.36);
        sheet.label(at, &text, Face::Plain, Anchor::End, Role::Ink);
        for (column, other) in columns.iter().enumerate() {
            let here = |seen: &Seen| seen.values[down] == *value && seen.values[across] == *other;
            let at = (left + column as f64 * wide, y);
            let shown = worst(what, &here);
            let other = other_is_missed(table, [(down, value), (across, other)]);
            let other = other && shown.is_some_and(|seen| seen.verdict != "missed");
            marked |= other;
            cell(&mut sheet, at, (wide - 2.0, tall - 2.0), (shown, other));
        }
    }
    let mut key = format!(
        "{} {}, {}, of the worst case and its verdict",
        what.workload, what.promise, what.unit
    );
    let room = |text: &str| fit(text, em, true, wide - 2.0 - em * 0.4) == text;
    if room(FULL) && !room(SATURATED) && what.rows.iter().any(|row| row.figure.is_none()) {
        key.push_str("; sat.: saturated");
    }
    if tall < em * (2.0 * LEADING + 0.6)
        || fit("undecided", em, false, wide - 2.0 - em * 0.4) != "undecided"
    {
        key.push_str("; ✓ met, ✗ missed, ? undecided");
    }
    if marked {
        key.insert_str(0, "*: another promise is missed there; ");
    }
    let key = fit(&key, em, false, sheet.right() - sheet.side);
    let at = (sheet.side, top + rows.len() as f64 * tall + em * 1.3);
    sheet.label(at, &key, Face::Plain, Anchor::Start, Role::Mute);
    let text = description(table, what, &[down, across]);
    sheet.finish("sweep", body, text, Plotted::Yes)
}

/// One point; `other`: a promise that is not drawn is missed there.
fn cell(
    sheet: &mut Sheet,
    at: (f64, f64),
    (wide, tall): (f64, f64),
    (seen, other): (Option<&Seen>, bool),
) {
    let em = sheet.em;
    let Some(seen) = seen else {
        sheet.canvas.rect(at, (wide, tall), Role::Grid);
        return;
    };
    let ground = match seen.verdict.as_str() {
        "met" => Role::Met,
        "missed" => Role::Missed,
        "undecided" => Role::Undecided,
        _ => Role::Use,
    };
    sheet.canvas.rect(at, (wide, tall), ground);
    let whole = |text: &str, bold: bool| fit(text, em, bold, wide - em * 0.4) == text;
    let figures = match seen.figure {
        Some(figure) => [sig(figure, 3), sig(figure, 2)],
        None => [SATURATED.to_owned(), FULL.to_owned()],
    };
    let star = if other { "*" } else { "" };
    let figures = figures.map(|figure| figure + star);
    // No cut words: a sign stands for a verdict that has no room, and what else has none is left to the description.
    let figure = figures.into_iter().find(|figure| whole(figure, true));
    let mut lines: Vec<(String, Face)> =
        figure.map(|text| (text, Face::Bold)).into_iter().collect();
    let room = ((tall / em - 0.6) / LEADING) as usize;
    let both = format!("{} · {}", seen.verdict, seen.case);
    if !seen.verdict.is_empty() {
        if room > 1 && whole(&both, false) {
            lines.push((both, Face::Plain));
        } else if room > 1 && whole(&seen.verdict, false) {
            lines.push((seen.verdict.clone(), Face::Plain));
            let case = (seen.case.clone(), Face::Plain);
            lines.extend((room > 2 && whole(&seen.case, false)).then_some(case));
        } else {
            if room < 2 {
                lines.clear();
            }
            // Where the figure has gone the mark stays.
            let star = if lines.is_empty() { star } else { "" };
            lines.push((format!("{}{star}", sign(&seen.verdict)), Face::Bold));
        }
    }
    let first = at.1 + tall / 2.0 - (lines.len() as f64 - 1.0) / 2.0 * LEADING * em + em * 0.36;
    for (index, (text, face)) in lines.iter().enumerate() {
        let at = (at.0 + wide / 2.0, first + index as f64 * LEADING * em);
        sheet.label(at, text, *face, Anchor::Middle, Role::OnFill);
    }
}

/// What stands for a verdict where its word has no room.
fn sign(verdict: &str) -> &'static str {
    match verdict {
        "met" => "✓",
        "missed" => "✗",
        _ => "?",
    }
}

/// From line to line in a cell, in em.
const LEADING: f64 = 1.1;
const SATURATED: &str = "saturated";
/// The same where a cell is narrow; the line below the cells says what it means.
const FULL: &str = "sat.";
