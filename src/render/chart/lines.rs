//! Lines through points with intervals over a common axis, and a promise as a line to stay under or above.

use super::axis::Scale;
use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::{Plotted, Sheet};
use super::margin::{self, Margin, Named};
use super::palette::Role;
use super::text::{bare, fit, room, wrap};
use super::{Drawing, Format};

/// A point, its interval, and whether it is drawn hollow.
#[derive(Clone, Debug)]
pub(super) struct Dot {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) ends: Option<(f64, f64)>,
    pub(super) hollow: bool,
}

/// One line, what it is called, and a note under its name.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) name: String,
    pub(super) note: String,
    pub(super) role: Role,
    pub(super) mark: Mark,
    pub(super) dots: Vec<Dot>,
    /// Where a mark stands on the lower axis, and its word.
    pub(super) foot: Option<(f64, &'static str)>,
    /// Where the work does not fit, so that there is no figure: an arrow that leaves the plot.
    pub(super) full: Vec<f64>,
    /// Hollow points are of other runs than filled ones: a thin line of their own joins them.
    pub(super) apart: bool,
}

/// A promise as a line to stay under or above.
#[derive(Clone, Debug)]
pub(super) struct Target {
    pub(super) value: f64,
    pub(super) text: String,
    pub(super) role: Role,
    /// Place on the lower axis from which on it is level; before, it rises from nothing at 0 to that in proportion.
    pub(super) level_from: Option<f64>,
}

/// A promise of a case: the case's name, the role of its line and the value.
pub(super) type Promised = (String, Role, f64);

/// The promises of cases, one where they are alike; `shown` puts a value into words.
pub(super) fn targets(cases: &[Promised], shown: &dyn Fn(f64) -> String) -> Vec<Target> {
    let mut groups: Vec<(f64, Vec<&Promised>)> = Vec::new();
    for case in cases {
        let same = |group: &&mut (f64, Vec<_>)| (group.0 / case.2 - 1.0).abs() < 1e-9;
        match groups.iter_mut().find(same) {
            Some(group) => group.1.push(case),
            None => groups.push((case.2, vec![case])),
        }
    }
    let alone = groups.len() == 1;
    let of = |(value, cases): (f64, Vec<&Promised>)| {
        let names: Vec<&str> = cases.iter().map(|case| case.0.as_str()).collect();
        let whose = if alone {
            String::new()
        } else {
            format!(", {}", names.join(", "))
        };
        Target {
            value,
            text: format!("promise{whose}: {}", shown(value)),
            role: match cases[..] {
                [one] if !alone => one.1,
                _ => Role::Ink,
            },
            level_from: None,
        }
    };
    groups.into_iter().map(of).collect()
}

/// A whole plot.
#[derive(Clone, Debug)]
pub(super) struct Lines {
    pub(super) id: String,
    pub(super) across: String,
    pub(super) up: String,
    /// Words along the lower axis at 0, 1, 2, …; numbers when empty.
    pub(super) words: Vec<String>,
    pub(super) log: bool,
    /// What is counted along the lower axis is whole.
    pub(super) whole: bool,
    pub(super) lines: Vec<Line>,
    pub(super) promises: Vec<Target>,
}

struct Plot {
    x: Scale,
    y: Scale,
    left: f64,
    top: f64,
    right: f64,
    low: f64,
}

/// Dashes by the number of the line, so that lines differ without colour.
fn pen(index: usize, role: Role, em: f64) -> Pen {
    let pen = Pen::new(role, em * 0.15);
    match index % 4 {
        0 => pen,
        1 => pen.dashed(em * 0.6, em * 0.4),
        2 => pen.dashed(em * 0.2, em * 0.3),
        _ => pen.dashed(em * 1.2, em * 0.4),
    }
}

/// Draws it; `None` without a point.
pub(super) fn draw(
    foot: String,
    format: Format,
    finding: String,
    description: String,
    chart: &Lines,
) -> Option<Drawing> {
    let dots = || chart.lines.iter().flat_map(|line| &line.dots);
    if !dots().any(|dot| dot.x.is_finite() && dot.y.is_finite()) {
        return None;
    }
    let mut sheet = Sheet::of(foot, format, 800.0, finding);
    let em = sheet.em;
    let phone = format == Format::Phone;
    let list = if phone {
        margin::list(chart.lines.len(), em)
    } else {
        0.0
    };
    let body = sheet.height(em * 30.0 + list);
    let plot = plot(&sheet, chart, body - list);
    grid(&mut sheet, &plot, chart);
    promises(&mut sheet, &plot, chart);
    for (index, line) in chart.lines.iter().enumerate() {
        one(&mut sheet, &plot, index, line);
    }
    foots(&mut sheet, &plot, chart);
    names(&mut sheet, &plot, chart);
    sheet.finish(&chart.id, body, description, Plotted::Yes)
}

/// Each promise with its words above it; of two that lie near, those of the lower one stand below.
fn promises(sheet: &mut Sheet, plot: &Plot, chart: &Lines) {
    let em = sheet.em;
    let places: Vec<f64> = chart
        .promises
        .iter()
        .map(|target| plot.y.place(target.value))
        .collect();
    for (target, y) in chart.promises.iter().zip(&places) {
        let level = target.level_from.map(|from| plot.x.place(from));
        let level = level.map(|level| level.clamp(plot.left, plot.right));
        let mut line = vec![(level.unwrap_or(plot.left), *y), (plot.right, *y)];
        if level.is_some() {
            line.insert(0, (plot.x.place(0.0), plot.y.place(0.0)));
        }
        sheet.canvas.line(line, Pen::new(target.role, em * 0.15));
        let text = fit(&target.text, em, true, plot.right - plot.left);
        let near = |other: &f64| *other < *y && *y - *other < em * 1.6;
        let below = places.iter().any(near) && *y + em * 1.2 < plot.low;
        let down = if below { em * 1.1 } else { -em * 0.4 };
        let wide = room(&text, em, true);
        let left = level.unwrap_or(plot.left).min(plot.right - wide);
        let left = left.max(plot.left);
        let at = (free(plot, chart, (*y + down, wide), (left, em)), *y + down);
        sheet.label(at, &text, Face::Bold, Anchor::Start, target.role);
    }
}

/// Where words of a width stand on their base line with the fewest points and intervals behind them: left, right, or in between.
fn free(plot: &Plot, chart: &Lines, (base, wide): (f64, f64), (left, em): (f64, f64)) -> f64 {
    let (first, last) = (left + em * 0.4, plot.right - wide - em * 0.4);
    let last = last.max(first);
    let hidden = |from: f64| {
        let dots = chart.lines.iter().flat_map(|line| &line.dots);
        let behind = dots.filter(|dot| {
            let (x, y) = (plot.x.place(dot.x), plot.y.place(dot.y));
            let (low, high) = dot.ends.map_or((y, y), |(low, high)| {
                (plot.y.place(low), plot.y.place(high))
            });
            let beside = x > from - em * 0.5 && x < from + wide + em * 0.5;
            beside && low.max(y) > base - em * 1.2 && high.min(y) < base + em * 0.4
        });
        let arrows = chart.lines.iter().flat_map(|line| &line.full);
        let arrows = arrows.filter(|value| {
            let x = plot.x.place(**value);
            let beside = x > from - em * 0.5 && x < from + wide + em * 0.5;
            beside && base - em * 1.2 < plot.top + em * 2.0
        });
        behind.count() + arrows.count()
    };
    let places = [0.0, 1.0, 0.5, 0.25, 0.75].map(|share| first + (last - first) * share);
    let least = places.into_iter().min_by_key(|from| hidden(*from));
    least.unwrap_or(first)
}

fn plot(sheet: &Sheet, chart: &Lines, body: f64) -> Plot {
    let em = sheet.em;
    let dots = || chart.lines.iter().flat_map(|line| &line.dots);
    let heights = || {
        let promise = chart.promises.iter().map(|promise| promise.value);
        dots()
            .flat_map(|dot| {
                let (low, high) = dot.ends.unwrap_or((dot.y, dot.y));
                [dot.y, low.max(dot.y / 10.0), high.min(dot.y * 10.0)]
            })
            .chain(promise)
            .filter(|value| value.is_finite() && *value > 0.0)
    };
    let (low, high) = heights().fold((f64::INFINITY, 0.0_f64), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let beside = if sheet.format == Format::Phone {
        em
    } else {
        let widest = chart
            .lines
            .iter()
            .map(|line| room(&line.name, em, true).max(room(&line.note, em, false)))
            .fold(0.0, f64::max);
        (widest + em * 2.6).min(sheet.width * 0.4)
    };
    let left = sheet.side + room(&bare(high * 1.3), em, false).max(em * 3.2) + em * 0.6;
    let right = sheet.right() - beside;
    let top = sheet.top + em * 2.2 + more_lines(sheet, &chart.up);
    let low_end = sheet.top + body - em * 3.3 - more_lines(sheet, &chart.across);
    let full = chart.lines.iter().flat_map(|line| &line.full).copied();
    let most = dots().map(|dot| dot.x).chain(full).fold(0.0, f64::max);
    let span = if chart.words.is_empty() {
        (0.0, most * 1.04)
    } else {
        (-0.4, chart.words.len().max(1) as f64 - 0.6)
    };
    Plot {
        x: Scale::linear(span, (left, right)),
        y: if chart.log {
            Scale::log((low, high), (low_end, top))
        } else {
            Scale::linear((0.0, high * 1.08), (low_end, top))
        },
        left,
        top,
        right,
        low: low_end,
    }
}

/// Height of a line of an axis' words, in letters.
const LINE: f64 = 1.25;

/// The words of an axis, in as many lines as they need.
fn axis_lines(sheet: &Sheet, text: &str) -> Vec<String> {
    wrap(text, sheet.em, true, sheet.right() - sheet.side)
}

/// How much more room the words of an axis need than one line.
fn more_lines(sheet: &Sheet, text: &str) -> f64 {
    (axis_lines(sheet, text).len() - 1) as f64 * LINE * sheet.em
}

fn grid(sheet: &mut Sheet, plot: &Plot, chart: &Lines) {
    let em = sheet.em;
    let pen = Pen::new(Role::Grid, 1.0);
    let wanted = ((plot.low - plot.top) / (em * 2.4)).max(2.0) as usize;
    for value in plot.y.ticks(wanted) {
        let y = plot.y.place(value);
        sheet.canvas.line([(plot.left, y), (plot.right, y)], pen);
        let at = (plot.left - em * 0.5, y + em * 0.36);
        sheet.label(at, &bare(value), Face::Plain, Anchor::End, Role::Mute);
    }
    let ticks: Vec<(f64, String)> = if chart.words.is_empty() {
        let wanted = ((plot.right - plot.left) / (em * 5.0)).max(2.0) as usize;
        let ticks = plot.x.ticks(wanted).into_iter();
        let ticks = ticks.filter(|value| !chart.whole || (value - value.round()).abs() < 1e-9);
        ticks.map(|value| (value, bare(value))).collect()
    } else {
        let words = chart.words.iter().enumerate();
        words
            .map(|(index, word)| (index as f64, word.clone()))
            .collect()
    };
    let space = (plot.right - plot.left) / ticks.len().max(1) as f64;
    for (value, text) in ticks {
        let x = plot.x.place(value);
        sheet.canvas.line([(x, plot.top), (x, plot.low)], pen);
        let text = fit(&text, em, false, space.max(em * 1.5));
        let at = (x, plot.low + em * 1.3);
        sheet.label(at, &text, Face::Plain, Anchor::Middle, Role::Mute);
    }
    let up = axis_lines(sheet, &chart.up);
    let across = axis_lines(sheet, &chart.across);
    let above = plot.top - em * (1.1 + LINE * (up.len() - 1) as f64);
    for (lines, first) in [(up, above), (across, plot.low + em * 2.7)] {
        for (index, text) in lines.iter().enumerate() {
            let at = (sheet.side, first + em * LINE * index as f64);
            sheet.label(at, text, Face::Bold, Anchor::Start, Role::Ink);
        }
    }
}

fn one(sheet: &mut Sheet, plot: &Plot, index: usize, line: &Line) {
    let em = sheet.em;
    let place = |dot: &Dot| (plot.x.place(dot.x), plot.y.place(dot.y));
    let joined = |wanted: &dyn Fn(&Dot) -> bool| -> Vec<(f64, f64)> {
        let own = line.dots.iter().filter(|dot| wanted(dot));
        own.map(place).collect()
    };
    let own = pen(index, line.role, em);
    if line.apart {
        let thin = Pen {
            width: own.width * 0.4,
            ..own
        };
        sheet.canvas.line(joined(&|dot| dot.hollow), thin);
        sheet.canvas.line(joined(&|dot| !dot.hollow), own);
    } else {
        sheet.canvas.line(joined(&|_| true), own);
    }
    for dot in &line.dots {
        let (x, y) = place(dot);
        if let Some((low, high)) = dot.ends {
            let pen = Pen::new(line.role, em * 0.1);
            let (from, to) = (plot.y.place(low), plot.y.place(high));
            sheet.canvas.line([(x, from), (x, to)], pen);
            for end in [from, to] {
                let bar = [(x - em * 0.25, end), (x + em * 0.25, end)];
                sheet.canvas.line(bar, pen);
            }
        }
        sheet
            .canvas
            .mark((x, y), line.mark, em * 0.32, line.role, dot.hollow);
    }
    for value in &line.full {
        let (x, pen) = (plot.x.place(*value), Pen::new(line.role, em * 0.15));
        let (top, side) = (plot.top + em * 0.2, em * 0.35);
        sheet
            .canvas
            .line([(x, top + em * (1.2 + 0.4 * index as f64)), (x, top)], pen);
        let head = [(x - side, top + side), (x, top), (x + side, top + side)];
        sheet.canvas.line(head, pen);
    }
}

/// A short upright near the lower axis at the foot of a line, with its word; of those that stand at one place, or nearer than the word
/// is wide, the uprights are parts of one, and the word is there once.
fn foots(sheet: &mut Sheet, plot: &Plot, chart: &Lines) {
    let em = sheet.em;
    let mut all: Vec<(f64, &str, Role)> = chart
        .lines
        .iter()
        .filter_map(|line| {
            let (value, word) = line.foot.filter(|(value, _)| value.is_finite())?;
            Some((plot.x.place(value), word, line.role))
        })
        .collect();
    all.sort_by(|left, right| left.0.total_cmp(&right.0));
    let near = |first: &(f64, &str, Role), next: &(f64, &str, Role)| {
        next.1 == first.1 && next.0 - first.0 < room(first.1, em, false) + em * 0.6
    };
    while let Some(first) = all.first().copied() {
        let count = all.iter().take_while(|next| near(&first, next)).count();
        let (top, each) = (plot.low - em * 0.9, em * 0.8 / count as f64);
        for (index, (x, _, role)) in all.drain(..count).enumerate() {
            let from = top + each * index as f64;
            sheet
                .canvas
                .line([(x, from + each), (x, from)], Pen::new(role, em * 0.2));
            if index + 1 < count {
                continue;
            }
            let role = if count > 1 { Role::Ink } else { role };
            let (at, anchor) = if x + em * 0.3 + room(first.1, em, false) > plot.right {
                (first.0 - em * 0.3, Anchor::End)
            } else {
                (x + em * 0.3, Anchor::Start)
            };
            sheet.label((at, top + em * 0.7), first.1, Face::Plain, anchor, role);
        }
    }
}

fn names(sheet: &mut Sheet, plot: &Plot, chart: &Lines) {
    let all: Vec<Named> = chart
        .lines
        .iter()
        .map(|line| Named {
            name: line.name.clone(),
            note: line.note.clone(),
            role: line.role,
            mark: Some(line.mark),
            at: line.dots.last().map_or(plot.top, |dot| plot.y.place(dot.y)),
        })
        .collect();
    let margin = Margin {
        right: plot.right,
        top: plot.top,
        low: plot.low,
        under: plot.low + more_lines(sheet, &chart.across),
    };
    margin.names(sheet, &all);
}
