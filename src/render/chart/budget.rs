//! Where the mean latency is spent: one bar a case on one scale, and one of them enlarged.

mod parts;
mod words;

use crate::outcome::{Case, Report};
use parts::Part;

use super::axis::Scale;
use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, with_case};
use super::palette::Role;
use super::text::{fit, room, sig, wrap_at_most};
use super::{Drawing, Format};
use crate::render::number::UNFINISHED;

/// Bars drawn at most.
const BARS_MOST: usize = 8;
/// And on a slide, where leaders need the room.
const BARS_MOST_SLIDE: usize = 4;

/// A bar: a case, or a mend in a case.
#[derive(Clone)]
struct Bar {
    name: String,
    with: String,
    parts: Vec<Part>,
    total: f64,
    saturated: bool,
    /// I/Os that were not over when the run ended: the parts are those of the others, and what the mean would be is not known.
    unfinished: u64,
    mended: bool,
}

impl Bar {
    /// Its length in the three digits that are drawn: cases that differ in none of them are alike, and the first stands for all.
    fn shown(&self) -> f64 {
        if !self.total.is_finite() || self.total <= 0.0 {
            return self.total;
        }
        let unit = 10_f64.powf(self.total.log10().floor() - 2.0);
        (self.total / unit).round() * unit
    }

    /// What stands at its end: the mean, or that nobody knows it.
    fn sum(&self, unit: Unit) -> String {
        if self.unfinished > 0 {
            return UNFINISHED.to_owned();
        }
        unit.figure(self.total, self.total)
    }
}

pub(super) fn draw(report: &Report, workload: usize, format: Format) -> Option<Drawing> {
    let most = if format == Format::Slide {
        BARS_MOST_SLIDE
    } else {
        BARS_MOST
    };
    let all = bars(report, workload);
    let mut bars = chosen(all.clone(), most);
    let name = &report.steady.first()?.workloads.get(workload)?.name;
    let sheet_of = |bars: &[Bar]| Sheet::new(report, format, 800.0, words::finding(bars, name));
    let mut sheet = sheet_of(&bars);
    let em = sheet.em;
    let share = if format == Format::Slide { 0.37 } else { 0.34 };
    let mut widest = sheet.width * share;
    let long = |bar: &Bar| room(&bar.name, em, true) > sheet.width * share;
    if bars.iter().any(long) {
        // Names that take two lines leave more to the bars, and on a slide need the room of one.
        widest = sheet.width * 0.3;
        if format == Format::Slide {
            bars = chosen(all, most - 1);
            sheet = sheet_of(&bars);
        }
    }
    let enlarged = enlarged(&bars, format)?;
    let phone = format == Format::Phone;
    let most = bars.iter().map(|bar| bar.total).fold(0.0, f64::max);
    let names = bars
        .iter()
        .map(|bar| room(&bar.name, em, true))
        .fold(0.0, f64::max);
    let left = if phone {
        sheet.side
    } else {
        sheet.side + names.min(widest) + em
    };
    let known = |bar: &Bar| bar.unfinished == 0;
    let sum = if bars.iter().all(known) {
        "0.000 ms"
    } else {
        UNFINISHED
    };
    let right = sheet.right() - room(sum, em, true) - em * 0.5;
    let scale = Scale::linear((0.0, most), (left, right));
    let (step, high) = if phone {
        (em * 3.0, em * 1.4)
    } else if names > left - sheet.side - em * 0.6 {
        // A long name takes two lines rather than be cut.
        (em * 2.7, em * 1.6)
    } else {
        (em * 2.2, em * 1.6)
    };
    let unit = Unit::of(most);
    let mut y = sheet.top + em * 1.1;
    let title = format!("mean latency, {}, all on one scale", unit.name());
    sheet.label((left, y), &title, Face::Bold, Anchor::Start, Role::Ink);
    y += em * 0.7;
    for bar in &bars {
        let top = if phone { y + step - high } else { y };
        label(&mut sheet, bar, left, (y, top, high), phone);
        stack(&mut sheet, bar, &scale, (top, high), unit);
        y += step;
    }
    y += em * 0.4;
    let ends = (sheet.side, sheet.right());
    sheet
        .canvas
        .line([(ends.0, y), (ends.1, y)], Pen::new(Role::Rule, 1.0));
    for index in enlarged {
        y = enlarge(&mut sheet, &bars[index], most, (left, right), y + em * 1.4);
    }
    let body = y - sheet.top;
    let description = words::description(&bars, name);
    sheet.finish(
        &format!("budget-{workload}"),
        body,
        description,
        Plotted::Yes,
    )
}

/// Bars shown part by part: the first, and the longest where it is another story; a slide has room for
/// one. `None` when there is nothing to show.
fn enlarged(bars: &[Bar], format: Format) -> Option<Vec<usize>> {
    let first = bars.iter().position(|bar| bar.total > 0.0)?;
    let longest = (first..bars.len()).fold(first, |best, index| {
        if bars[index].shown() > bars[best].shown() {
            index
        } else {
            best
        }
    });
    if bars[longest].total < 1.5 * bars[first].total {
        return Some(vec![first]);
    }
    Some(match format {
        Format::Slide => vec![longest],
        Format::Page | Format::Phone => vec![first, longest],
    })
}

/// Unit of all figures of the drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unit {
    Us,
    Ms,
}

impl Unit {
    fn of(most_us: f64) -> Self {
        if most_us >= 100.0 { Self::Ms } else { Self::Us }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Us => "µs",
            Self::Ms => "ms",
        }
    }

    /// `us` with as many places as three digits of `total` have: parts are no more exact than their sum.
    fn figure(self, us: f64, total: f64) -> String {
        let scale = if self == Self::Ms { 1e-3 } else { 1.0 };
        let (value, total) = (us * scale, total * scale);
        let places = (2 - total.abs().max(1e-6).log10().floor() as i32).clamp(0, 6);
        if places == 0 || value >= 1000.0 {
            return sig(value, 3);
        }
        format!("{value:.*}", places as usize)
    }
}

fn bars(report: &Report, workload: usize) -> Vec<Bar> {
    let bar = |case: &Case, mend: Option<&str>, figures: &crate::outcome::WorkloadFigures| {
        let parts = parts::parts(&figures.budget);
        let name = mend.map_or_else(
            || case.name.clone(),
            |mend| format!("{}, {mend}", case.name),
        );
        Bar {
            with: match mend {
                None => with_case(case),
                Some(mend) => format!("{}, {mend}", with_case(case)),
            },
            name,
            total: parts.iter().map(|part| part.us).sum(),
            parts,
            saturated: figures.saturated,
            unfinished: figures.all.unfinished,
            mended: mend.is_some(),
        }
    };
    let mut out = Vec::new();
    for steady in &report.steady {
        if let Some(figures) = steady.workloads.get(workload) {
            out.push(bar(&steady.case, None, figures));
        }
    }
    // Of a mend only the case that was slowest without it.
    let slowest = (0..out.len())
        .max_by(|a, b| {
            (out[*a].saturated, out[*a].shown())
                .partial_cmp(&(out[*b].saturated, out[*b].shown()))
                .unwrap_or(std::cmp::Ordering::Equal)
                .then(b.cmp(a))
        })
        .unwrap_or(0);
    for mend in report.shown_mends() {
        if let Some(steady) = mend.steady.get(slowest)
            && let Some(figures) = steady.workloads.get(workload)
        {
            out.push(bar(&steady.case, Some(&mend.name), figures));
        }
    }
    out
}

/// At most so many bars: healthy, then the longest, in their order.
fn chosen(mut bars: Vec<Bar>, most: usize) -> Vec<Bar> {
    while bars.len() > most.max(2) {
        let mut shortest = 1;
        for (index, bar) in bars.iter().enumerate().skip(2) {
            let kept = bar.saturated || bar.mended;
            if !kept && bar.total <= bars[shortest].total {
                shortest = index;
            }
        }
        bars.remove(shortest);
    }
    bars
}

fn label(sheet: &mut Sheet, bar: &Bar, left: f64, (row, top, high): (f64, f64, f64), phone: bool) {
    let em = sheet.em;
    if phone {
        let name = fit(&bar.name, em, true, sheet.right() - left);
        sheet.label(
            (left, row + em * 1.2),
            &name,
            Face::Bold,
            Anchor::Start,
            Role::Ink,
        );
    } else {
        let lines = wrap_at_most(&bar.name, em, true, left - sheet.side - em * 0.6, 2);
        let first = top + high / 2.0 + em * 0.36 - (lines.len() - 1) as f64 * em * 0.6;
        for (index, line) in lines.iter().enumerate() {
            let at = (left - em * 0.6, first + index as f64 * em * 1.2);
            sheet.label(at, line, Face::Bold, Anchor::End, Role::Ink);
        }
    }
}

/// The bar itself, with the names of the parts that are wide enough and the sum at its end.
fn stack(sheet: &mut Sheet, bar: &Bar, scale: &Scale, (top, high): (f64, f64), unit: Unit) {
    let em = sheet.em;
    let base = top + high / 2.0 + em * 0.36;
    if bar.saturated || bar.total <= 0.0 {
        let text = if bar.saturated {
            "saturated: waiting grows without end"
        } else {
            "no I/O"
        };
        let role = if bar.saturated {
            Role::Missed
        } else {
            Role::Mute
        };
        sheet.label(
            (scale.place(0.0), base),
            text,
            Face::Bold,
            Anchor::Start,
            role,
        );
        return;
    }
    let mut from = 0.0;
    for part in &bar.parts {
        let (left, right) = (scale.place(from), scale.place(from + part.us));
        segment(sheet, part, (left, right), (top, high));
        let whole = format!("{} {}", part.name, unit.figure(part.us, bar.total));
        let text = [whole, unit.figure(part.us, bar.total)]
            .into_iter()
            .find(|text| room(text, em, true) + em * 0.6 <= right - left);
        if let Some(text) = text {
            let at = (f64::midpoint(left, right), base);
            sheet.label(at, &text, Face::Bold, Anchor::Middle, part.look.fill().1);
        }
        from += part.us;
    }
    let at = (scale.place(bar.total) + em * 0.5, base);
    sheet.label(at, &bar.sum(unit), Face::Bold, Anchor::Start, Role::Ink);
}

fn segment(sheet: &mut Sheet, part: &Part, (left, right): (f64, f64), (top, high): (f64, f64)) {
    let wide = (right - left).max(0.5);
    sheet
        .canvas
        .rect((left, top), (wide, high), part.look.fill().0);
    if wide > 2.0 {
        sheet
            .canvas
            .frame((left, top), (wide, high), Pen::new(Role::Use, 1.0));
    }
}

/// One bar as wide as the drawing, small parts on leaders; returns its lower end.
fn enlarge(sheet: &mut Sheet, bar: &Bar, most: f64, (left, right): (f64, f64), y: f64) -> f64 {
    let em = sheet.em;
    let factor = most / bar.total;
    let times = if factor >= 1.5 {
        format!("{} times larger", sig(factor, 2))
    } else {
        "part by part".to_owned()
    };
    let title = fit(
        &format!("{}, {times}", bar.name),
        em,
        true,
        sheet.right() - left,
    );
    sheet.label((left, y), &title, Face::Bold, Anchor::Start, Role::Ink);
    let scale = Scale::linear((0.0, bar.total), (left, right));
    let unit = Unit::of(most);
    let (above, below) = leaders(sheet, bar, &scale, unit);
    let (top, high) = (y + em * (0.7 + 1.3 * above.len() as f64), em * 1.7);
    let mut from = 0.0;
    for part in &bar.parts {
        let (start, end) = (scale.place(from), scale.place(from + part.us));
        segment(sheet, part, (start, end), (top, high));
        let text = format!("{} {}", part.name, unit.figure(part.us, bar.total));
        if room(&text, em, true) + em * 0.6 <= end - start {
            let at = (f64::midpoint(start, end), top + high / 2.0 + em * 0.36);
            sheet.label(at, &text, Face::Bold, Anchor::Middle, part.look.fill().1);
        }
        from += part.us;
    }
    let at = (right + em * 0.5, top + high / 2.0 + em * 0.36);
    sheet.label(at, &bar.sum(unit), Face::Bold, Anchor::Start, Role::Ink);
    leader_lines(sheet, &above, &below, (top, top + high))
}

/// A part's middle, and its words.
type Leader = (f64, String);

/// Words on leaders above and below a bar; returns the lower end of all.
fn leader_lines(
    sheet: &mut Sheet,
    above: &[Leader],
    below: &[Leader],
    (top, low): (f64, f64),
) -> f64 {
    let em = sheet.em;
    let pen = Pen::new(Role::Mute, 1.0);
    let step = em * 1.3;
    // The leftmost stands on top, so that no leader runs through another's words.
    for (row, leader) in above.iter().enumerate() {
        let line = top - (above.len() - row) as f64 * step + em * 0.65;
        sheet.canvas.line(
            [
                (leader.0, top),
                (leader.0, line),
                (leader.0 + em * 0.5, line),
            ],
            pen,
        );
        let text = fit(&leader.1, em, false, sheet.right() - leader.0 - em * 0.8);
        sheet.label(
            (leader.0 + em * 0.8, line + em * 0.36),
            &text,
            Face::Plain,
            Anchor::Start,
            Role::Ink,
        );
    }
    let mut line = low;
    for leader in below {
        line += step;
        let end = leader.0 - em * 1.1;
        sheet.canvas.line(
            [(leader.0, low), (leader.0, line), (end + em * 0.3, line)],
            pen,
        );
        sheet.label(
            (end, line + em * 0.36),
            &leader.1,
            Face::Plain,
            Anchor::End,
            Role::Ink,
        );
    }
    line + em * 0.9
}

/// Parts too narrow for their words: those whose words find no room at their left go above the bar, the
/// others below it.
fn leaders(sheet: &Sheet, bar: &Bar, scale: &Scale, unit: Unit) -> (Vec<Leader>, Vec<Leader>) {
    let em = sheet.em;
    let mut from = 0.0;
    let mut all: Vec<Leader> = Vec::new();
    for part in &bar.parts {
        let (start, end) = (scale.place(from), scale.place(from + part.us));
        let figure = unit.figure(part.us, bar.total);
        let text = format!("{} {figure}", part.name);
        // What rounds to nothing needs no words.
        let nothing = figure.chars().all(|c| c == '0' || c == '.');
        if !nothing && room(&text, em, true) + em * 0.6 > end - start {
            all.push((f64::midpoint(start, end), text));
        }
        from += part.us;
    }
    all.into_iter()
        .partition(|leader| leader.0 - em * 1.1 - room(&leader.1, em, false) < sheet.side)
}
