//! The load over the years against what is proven, with planned steps and the days on which promises break.

mod finding;

use crate::outcome::{GrowthPlan, Stage, StageCase, Standing};
use crate::render::words::days_foot;
use crate::unit::Date;

use super::axis::Scale;
use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, finding_fits, foot, look};
use super::margin::{self, Margin, Named};
use super::palette::Role;
use super::place::{Wish, spread};
use super::text::{bare, fit, room, sig, wrap, wrap_at_most};
use super::{Drawing, Format};
use finding::{finding, finding_that_fits};

/// Points of the curve of the load.
const POINTS: u32 = 80;

struct Plot {
    x: Scale,
    y: Scale,
    left: f64,
    top: f64,
    right: f64,
    low: f64,
    /// The same below the days on which promises break.
    under: f64,
    /// Years shown.
    span: f64,
}

/// Days as years after the first one.
struct Days {
    from: Date,
    /// Growth a year of the work that grows fastest.
    rate: f64,
}

impl Days {
    fn of(plan: &GrowthPlan) -> Option<Self> {
        let rate = plan.per_year_percent.iter().map(|(_, percent)| *percent);
        Some(Self {
            from: Date::parse(&plan.from)?,
            rate: rate.fold(0.0, f64::max) / 100.0,
        })
    }

    fn years(&self, day: &str) -> Option<f64> {
        Some(self.from.years_to(Date::parse(day)?))
    }

    fn load(&self, years: f64) -> f64 {
        libm::pow(1.0 + self.rate, years)
    }
}

/// A day on which a promise is broken, while its stage lasts.
struct Break {
    /// The cases in which it is.
    cases: Vec<String>,
    day: String,
    /// From the last day that is proven to hold (or the stage's first) …
    holds: f64,
    /// … to the day by which it is broken, years after the first day.
    broken: f64,
}

pub(super) fn draw(plan: &GrowthPlan, format: Format) -> Option<Drawing> {
    let days = Days::of(plan)?;
    let cases = &plan.stages.first()?.cases;
    let said = match format {
        Format::Slide => finding_that_fits(plan, finding_fits),
        Format::Page | Format::Phone => finding(plan),
    };
    let foot = foot(&plan.origin);
    let foot = match days_foot(&plan.unseen_bursts) {
        Some(caution) => format!("{foot} · {caution}"),
        None => foot,
    };
    let mut sheet = Sheet::of(foot, format, 800.0, said);
    let em = sheet.em;
    let phone = format == Format::Phone;
    let names = if phone {
        margin::list(cases.len() + 1, em)
    } else {
        0.0
    };
    let space = sheet.right() - sheet.side;
    let steps = step_lines(plan, (em, space), format == Format::Slide);
    let list = names + steps.len() as f64 * em * 1.35 + if steps.is_empty() { 0.0 } else { em };
    let (x, edges, span) = across(&sheet, plan, &days);
    let (breaks, words) = breaks_with_words(&sheet, plan, &days, &x, (edges, span));
    let rows = words.iter().map(|label| label.row + 1).max().unwrap_or(0);
    let list = list + rows as f64 * em * BREAK_ROW;
    let body = sheet.height(em * 30.0 + list);
    let plot = plot(&sheet, plan, &days, (x, edges, span), (body - list, rows));
    grid(&mut sheet, &plot, plan, &days);
    for (index, case) in cases.iter().enumerate() {
        proven(&mut sheet, &plot, plan, &days, index, case);
    }
    load(&mut sheet, &plot, &days);
    marks(&mut sheet, &plot, plan, &days, (&breaks, &words));
    labels(&mut sheet, &plot, plan, &days);
    let mut y = plot.under + em * 4.2 + names;
    for line in &steps {
        let at = (sheet.side, y);
        sheet.label(at, line, Face::Plain, Anchor::Start, Role::Ink);
        y += em * 1.35;
    }
    sheet.finish("growth", body, description(plan), Plotted::Yes)
}

/// What each numbered step is.
fn step_lines(plan: &GrowthPlan, (em, space): (f64, f64), slide: bool) -> Vec<String> {
    let steps = plan.stages.iter().skip(1).enumerate();
    let words = |(index, stage): (usize, &Stage)| {
        format!("step {}: {}, {}", index + 1, stage.name, stage.date)
    };
    if slide {
        // One after the other: a slide has more room across than down.
        let all: Vec<String> = steps.map(words).collect();
        return wrap_at_most(&all.join("; "), em, false, space, 3);
    }
    let each = steps.flat_map(|step| wrap_at_most(&words(step), em, false, space, 2));
    each.collect()
}

fn breaks(plan: &GrowthPlan, days: &Days) -> Vec<Break> {
    let mut found: Vec<Break> = Vec::new();
    for stage in &plan.stages {
        let begins = days.years(&stage.date).unwrap_or(0.0);
        for case in &stage.cases {
            let Some(day) = stage.broken_by(case) else {
                continue;
            };
            let Some(broken) = days.years(day) else {
                continue;
            };
            let holds = case.holds_until.as_ref().and_then(|day| days.years(day));
            let holds = holds.unwrap_or(begins).max(begins);
            // Cases that break on one day are one mark.
            let same = |known: &&mut Break| known.day == *day;
            if let Some(known) = found.iter_mut().find(same) {
                if !known.cases.contains(&case.case.name) {
                    known.cases.push(case.case.name.clone());
                }
                known.holds = known.holds.min(holds);
                continue;
            }
            found.push(Break {
                cases: vec![case.case.name.clone()],
                day: day.clone(),
                holds,
                broken: broken.max(begins),
            });
        }
    }
    found.sort_by(|left, right| left.broken.total_cmp(&right.broken));
    found
}

/// Rows of days that a slide has room for.
const SLIDE_ROWS: usize = 2;

/// The days that are shown, and the words of each. On a slide only the first of each stage has words where all take too much room.
fn breaks_with_words(
    sheet: &Sheet,
    plan: &GrowthPlan,
    days: &Days,
    x: &Scale,
    (edges, span): ((f64, f64), f64),
) -> (Vec<Break>, Vec<BreakLabel>) {
    let cases = plan.stages.first().map_or(0, |stage| stage.cases.len());
    let mut all = breaks(plan, days);
    all.retain(|found| found.broken <= span);
    let between = (edges.0, sheet.right());
    let words = |all: &[Break]| break_labels(all, cases, x, between, sheet.em);
    let labels = words(&all);
    let rows = labels.iter().map(|label| label.row + 1).max().unwrap_or(0);
    if sheet.format != Format::Slide || rows <= SLIDE_ROWS {
        return (all, labels);
    }
    let firsts = plan.stages.iter().filter_map(|stage| {
        let broken = stage.cases.iter();
        broken
            .filter_map(|case| stage.broken_by(case))
            .min()
            .cloned()
    });
    let firsts: Vec<String> = firsts.collect();
    // Those with words come first: labels and days go by their places.
    all.sort_by_key(|found| !firsts.contains(&found.day));
    let named = all.partition_point(|found| firsts.contains(&found.day));
    let labels = words(&all[..named]);
    (all, labels)
}

/// A day in words, with the cases in which a promise breaks on it.
fn break_words(found: &Break, all: usize) -> String {
    let cases: Vec<&str> = found.cases.iter().map(String::as_str).collect();
    format!("{}: {}", found.day, of_cases(&cases, all))
}

/// Cases out of all: their names, or that they are all.
fn of_cases(cases: &[&str], all: usize) -> String {
    if cases.len() == all && all > 1 {
        "every case".to_owned()
    } else {
        cases.join(", ")
    }
}

/// The scale of the years, its ends, and how many are shown: so far that everything proven shows, and a little
/// beyond, but never beyond what was looked at.
fn across(sheet: &Sheet, plan: &GrowthPlan, days: &Days) -> (Scale, (f64, f64), f64) {
    let em = sheet.em;
    let all = plan.stages.iter().flat_map(|stage| {
        let days = stage.cases.iter();
        days.flat_map(|case| [case.holds_until.as_deref(), case.breaks_by.as_deref()])
            .chain([Some(stage.date.as_str())])
            .flatten()
    });
    let last = all
        .filter_map(|day| days.years(day))
        .fold(0.0_f64, f64::max);
    let span = (last * 1.12).max(1.0).min(plan.years.max(1.0));
    let beside = if sheet.format == Format::Phone {
        em
    } else {
        let cases = plan.stages.iter().take(1).flat_map(|stage| &stage.cases);
        let widest = cases
            .map(|case| room(&case.case.name, em, true).max(room(&note(plan, case), em, false)))
            .fold(room("load", em, true), f64::max);
        (widest + em * 2.6).min(sheet.width * 0.4)
    };
    let edges = (sheet.side + em * 3.8, sheet.right() - beside);
    (Scale::linear((0.0, span), edges), edges, span)
}

fn plot(
    sheet: &Sheet,
    plan: &GrowthPlan,
    days: &Days,
    (x, (left, right), span): (Scale, (f64, f64), f64),
    (body, rows): (f64, usize),
) -> Plot {
    let em = sheet.em;
    let most = days.load(span);
    let factors = plan.stages.iter().flat_map(|stage| &stage.cases);
    let proven = factors
        .filter_map(|case| case.holds_factor)
        .fold(0.0_f64, f64::max);
    let high = most.max(proven.min(most * 1.25));
    let more = em * UP_LINE * (up_lines(sheet).len() - 1) as f64;
    let (top, low) = (sheet.top + em * 3.6 + more, sheet.top + body - em * 3.3);
    Plot {
        x,
        y: Scale::linear((0.0, high * 1.08), (low, top)),
        left,
        top,
        right,
        low,
        under: low + rows as f64 * em * BREAK_ROW,
        span,
    }
}

/// Height of a line of the words over the upright axis, in letters.
const UP_LINE: f64 = 1.25;

/// The words over the upright axis, in as many lines as they need.
fn up_lines(sheet: &Sheet) -> Vec<String> {
    let up = "times the load of the first day, of the work that grows fastest";
    wrap(up, sheet.em, true, sheet.right() - sheet.side)
}

fn grid(sheet: &mut Sheet, plot: &Plot, plan: &GrowthPlan, days: &Days) {
    let em = sheet.em;
    let pen = Pen::new(Role::Grid, 1.0);
    let wanted = ((plot.low - plot.top) / (em * 2.4)).max(2.0) as usize;
    for value in plot.y.ticks(wanted) {
        let y = plot.y.place(value);
        sheet.canvas.line([(plot.left, y), (plot.right, y)], pen);
        let at = (plot.left - em * 0.5, y + em * 0.36);
        sheet.label(at, &bare(value), Face::Plain, Anchor::End, Role::Mute);
    }
    for (years, text) in year_ticks(plan, days, plot, em) {
        let x = plot.x.place(years);
        sheet.canvas.line([(x, plot.top), (x, plot.low)], pen);
        let at = (x, plot.low + em * 1.3);
        sheet.label(at, &text, Face::Plain, Anchor::Middle, Role::Mute);
    }
    let across = format!("years (from {})", plan.from);
    let lines = up_lines(sheet);
    let above = plot.top - em * (2.4 + UP_LINE * (lines.len() - 1) as f64);
    for (index, text) in lines.iter().enumerate() {
        let at = (sheet.side, above + em * UP_LINE * index as f64);
        sheet.label(at, text, Face::Bold, Anchor::Start, Role::Ink);
    }
    let at = (plot.left, plot.under + em * 2.7);
    let text = fit(&across, em, true, sheet.right() - at.0);
    sheet.label(at, &text, Face::Bold, Anchor::Start, Role::Ink);
}

/// The first days of years, as many as there is room for.
fn year_ticks(plan: &GrowthPlan, days: &Days, plot: &Plot, em: f64) -> Vec<(f64, String)> {
    let first: i64 = plan
        .from
        .get(..4)
        .map_or(0, |year| year.parse().unwrap_or(0));
    let count = plot.span.ceil() as i64 + 1;
    let room = ((plot.right - plot.left) / (em * 3.6)).max(1.0) as i64;
    let every = (count / room.max(1) + 1).max(1);
    (0..=count)
        .step_by(usize::try_from(every).unwrap_or(1))
        .filter_map(|index| {
            let year = first + index;
            let years = days.years(&format!("{year:04}-01-01"))?;
            (years >= 0.0 && years <= plot.span).then(|| (years, year.to_string()))
        })
        .collect()
}

/// From when to when a stage lasts, years.
fn lasts(stage: &Stage, days: &Days, span: f64) -> (f64, f64) {
    let begins = days.years(&stage.date).unwrap_or(0.0);
    let until = stage.until.as_ref().and_then(|day| days.years(day));
    (begins.min(span), until.unwrap_or(span).min(span))
}

fn pen(index: usize, role: Role, em: f64) -> Pen {
    let pen = Pen::new(role, em * 0.17);
    match index % 4 {
        0 => pen,
        1 => pen.dashed(em * 0.7, em * 0.4),
        2 => pen.dashed(em * 0.2, em * 0.3),
        _ => pen.dashed(em * 1.2, em * 0.4),
    }
}

/// What is proven to be carried in one case, stage by stage.
fn proven(
    sheet: &mut Sheet,
    plot: &Plot,
    plan: &GrowthPlan,
    days: &Days,
    index: usize,
    case: &StageCase,
) {
    let em = sheet.em;
    let (role, mark) = look(&case.case);
    // Cases that are proven to the same load lie on one another, each at its value: the dashes of the later let the
    // earlier through.
    let mut line: Vec<(f64, f64)> = Vec::new();
    let mut starts = Vec::new();
    for stage in &plan.stages {
        let own = stage.cases.iter().find(|own| own.case == case.case);
        let (from, to) = lasts(stage, days, plot.span);
        let Some(factor) = own.and_then(|own| own.holds_factor) else {
            sheet
                .canvas
                .line(std::mem::take(&mut line), pen(index, role, em));
            continue;
        };
        let y = plot.y.place(factor);
        starts.push((plot.x.place(from), y));
        line.extend([(plot.x.place(from), y), (plot.x.place(to), y)]);
    }
    sheet.canvas.line(line, pen(index, role, em));
    for at in starts {
        sheet.canvas.mark(at, mark, em * 0.32, role, false);
    }
}

fn load(sheet: &mut Sheet, plot: &Plot, days: &Days) {
    let points: Vec<(f64, f64)> = (0..=POINTS)
        .map(|point| {
            let years = plot.span * f64::from(point) / f64::from(POINTS);
            (plot.x.place(years), plot.y.place(days.load(years)))
        })
        .collect();
    sheet
        .canvas
        .line(points, Pen::new(Role::Use, sheet.em * 0.28));
}

/// Steps as numbered uprights, and the days on which promises break.
fn marks(
    sheet: &mut Sheet,
    plot: &Plot,
    plan: &GrowthPlan,
    days: &Days,
    (breaks, labels): (&[Break], &[BreakLabel]),
) {
    let em = sheet.em;
    let places: Vec<f64> = plan
        .stages
        .iter()
        .skip(1)
        .map(|stage| plot.x.place(lasts(stage, days, plot.span).0))
        .collect();
    // Steps soon after each other push their names apart.
    let wishes: Vec<Wish> = places
        .iter()
        .enumerate()
        .map(|(index, at)| Wish {
            at: *at,
            size: room(&format!("step {}", index + 1), em, true) + em * 0.4,
        })
        .collect();
    let middles = spread(&wishes, plot.left - em * 2.0, sheet.right());
    for (index, (x, middle)) in places.into_iter().zip(middles).enumerate() {
        let line = [(x, plot.top - em * 0.4), (x, plot.low)];
        let upright = Pen::new(Role::Mute, em * 0.12).dashed(em * 0.35, em * 0.3);
        sheet.canvas.line(line, upright);
        let at = (middle, plot.top - em * 0.7);
        let text = format!("step {}", index + 1);
        sheet.label(at, &text, Face::Bold, Anchor::Middle, Role::Ink);
    }
    for (index, found) in breaks.iter().enumerate() {
        let x = plot.x.place(found.broken);
        let on_curve = (x, plot.y.place(days.load(found.broken)));
        let from = (
            plot.x.place(found.holds),
            plot.y.place(days.load(found.holds)),
        );
        sheet
            .canvas
            .line([from, on_curve], Pen::new(Role::Missed, em * 0.5));
        if let Some(label) = labels.get(index) {
            let y = plot.low + em * (BREAKS_DOWN + label.row as f64 * BREAK_ROW);
            let drop = Pen::new(Role::Missed, em * 0.12);
            sheet.canvas.line([on_curve, (x, y + em * 0.1)], drop);
        }
        sheet.canvas.disc(on_curve, em * 0.3, Role::Missed);
    }
    // A line to a lower row passes behind the words of the rows above it.
    for label in labels {
        let y = plot.low + em * (BREAKS_DOWN + label.row as f64 * BREAK_ROW);
        let wide = room(&label.text, em, true);
        let back = (label.start - em * 0.1, y - em * 0.95);
        sheet.canvas.rect(back, (wide, em * 1.2), Role::Paper);
        let at = (label.start, y);
        sheet.label(at, &label.text, Face::Bold, Anchor::Start, Role::Missed);
    }
}

/// Where the days on which promises break begin below the axis, and the height of a row of them, in ems.
const BREAKS_DOWN: f64 = 2.7;
const BREAK_ROW: f64 = 1.35;

/// The words of a day below the axis: beside its line, in the first row where nothing else stands.
struct BreakLabel {
    text: String,
    start: f64,
    row: usize,
}

/// Places the words; the number of rows that they take is one more than the largest.
fn break_labels(
    breaks: &[Break],
    cases: usize,
    x: &Scale,
    edges: (f64, f64),
    em: f64,
) -> Vec<BreakLabel> {
    let mut rows: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut out = Vec::new();
    for found in breaks {
        let text = fit(&break_words(found, cases), em, true, edges.1 - edges.0);
        let (x, wide) = (x.place(found.broken), room(&text, em, true));
        let right = (x + em * 0.4).min(edges.1 - wide);
        let left = (x - em * 0.4 - wide).max(edges.0);
        let free = |row: &[(f64, f64)], start: f64| {
            row.iter()
                .all(|(from, to)| start + wide + em * 0.5 < *from || start > *to + em * 0.5)
        };
        // Words may not lie on their own line either, unless there is no room beside it.
        let place = rows.iter().enumerate().find_map(|(index, row)| {
            let start = [right, left].into_iter().find(|start| free(row, *start))?;
            Some((index, start))
        });
        let (row, start) = place.unwrap_or_else(|| {
            rows.push(Vec::new());
            (rows.len() - 1, if right > x { right } else { left })
        });
        rows[row].push((start, start + wide));
        out.push(BreakLabel { text, start, row });
    }
    out
}

/// Under the name of a case: what becomes of it.
fn note(plan: &GrowthPlan, case: &StageCase) -> String {
    let own = plan.stages.iter().filter_map(|stage| {
        let mut cases = stage.cases.iter();
        Some((stage, cases.find(|own| own.case == case.case)?))
    });
    let is = |wanted: Standing| move |(_, own): (&Stage, &StageCase)| own.standing == wanted;
    if own.clone().all(is(Standing::Unpromised)) {
        return "nothing promised".to_owned();
    }
    if own.clone().all(is(Standing::Never)) {
        return "missed at every load".to_owned();
    }
    // A stage that no load keeps says nothing of the others.
    let never: Vec<String> = own
        .clone()
        .enumerate()
        .filter(|(_, (_, own))| own.standing == Standing::Never)
        .map(|(index, _)| match index {
            0 => "as it is".to_owned(),
            _ => format!("with step {index}"),
        })
        .collect();
    let rest = note_of_days(own.filter(|(_, own)| own.standing != Standing::Never));
    if never.is_empty() {
        return rest;
    }
    let rest = if rest.is_empty() {
        rest
    } else {
        format!(", {rest}")
    };
    format!("missed {}{rest}", never.join(", "))
}

/// What becomes of a case in stages that some load keeps.
fn note_of_days<'a>(own: impl Iterator<Item = (&'a Stage, &'a StageCase)> + Clone) -> String {
    // Too little is asked for before that day.
    let short = own.clone().find_map(|(stage, own)| {
        let short = match own.standing {
            Standing::ShortAtFirst => true,
            Standing::BrokenBefore => stage.broken_by(own).is_none(),
            _ => false,
        };
        own.asked_from.as_ref().filter(|_| short)
    });
    let broken = own.clone();
    let mut broken = broken.filter_map(|(stage, own)| stage.broken_by(own));
    let open = own.clone().any(|(_, own)| own.standing == Standing::Open);
    let last = own.filter_map(|(_, own)| own.holds_until.as_ref()).max();
    // There is room for one day.
    match (broken.next(), short, last) {
        (Some(day), ..) => format!("broken by {day}"),
        (None, Some(day), _) => format!("short until {day}"),
        (None, None, Some(day)) => format!("holds until {day}"),
        (None, None, None) if open => "nothing proven".to_owned(),
        (None, None, None) => String::new(),
    }
}

/// Names at the right, or below on a phone.
fn labels(sheet: &mut Sheet, plot: &Plot, plan: &GrowthPlan, days: &Days) {
    let cases = &plan.stages[0].cases;
    let percent = sig(days.rate * 100.0, 3);
    let mut all = vec![Named {
        name: "load".to_owned(),
        note: format!("{percent}\u{202F}% more a year"),
        role: Role::Use,
        mark: None,
        at: plot.y.place(days.load(plot.span)),
    }];
    for case in cases {
        let (role, mark) = look(&case.case);
        let last = plan.stages.iter().rev().find_map(|stage| {
            let own = stage.cases.iter().find(|own| own.case == case.case)?;
            own.holds_factor
        });
        all.push(Named {
            name: case.case.name.clone(),
            note: note(plan, case),
            role,
            mark: Some(mark),
            at: last.map_or(plot.low, |factor| plot.y.place(factor)),
        });
    }
    let margin = Margin {
        right: plot.right,
        top: plot.top,
        low: plot.low,
        under: plot.under,
    };
    margin.names(sheet, &all);
}

fn description(plan: &GrowthPlan) -> String {
    let mut out = String::from("Times the load of the first day, over the years.");
    for stage in &plan.stages {
        out.push_str(&format!(" From {} on, {}:", stage.date, stage.name));
        for case in &stage.cases {
            let factor = case.holds_factor.map_or_else(
                || match case.standing {
                    Standing::Unpromised => "nothing promised".to_owned(),
                    _ => "nothing proven".to_owned(),
                },
                |factor| format!("holds to {} times", sig(factor, 3)),
            );
            let until = case
                .breaks_by
                .as_ref()
                .map_or_else(String::new, |day| format!(", broken by {day}"));
            out.push_str(&format!(" {}: {factor}{until};", case.case.name));
        }
        out.pop();
        out.push('.');
    }
    out
}
