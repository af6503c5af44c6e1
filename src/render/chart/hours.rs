//! The hours of a day in which an outage may be brought about: the load above, a strip of 24 hours for each outage.
//!
//! An hour in which every promise is met is filled and has a tick; one that misses a promise is an outline with a
//! cross, one that is undecided an outline with a question mark: nothing rests on colour. Windows are named below.

use crate::outcome::{Origin, OutageWindows, Verdict, Window, Windows};
use crate::render::words::{all_windows_words, begun_with, clock, window_words, windows_answer};

use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, foot, look};
use super::palette::Role;
use super::text::{fit, room, sig, width};
use super::{Drawing, Format};

/// Most outages of one drawing, by format.
const fn most(format: Format) -> usize {
    match format {
        Format::Page => 8,
        Format::Phone => 6,
        Format::Slide => 4,
    }
}

/// Where things lie.
struct Day {
    left: f64,
    /// Height of the bar of a full load.
    bar: f64,
    /// Height of a strip.
    strip: f64,
    /// Width of an hour.
    hour: f64,
    /// Names stand above their strips.
    above: bool,
}

impl Day {
    fn at(&self, hour: f64) -> f64 {
        self.left + hour * self.hour
    }
}

pub(super) fn draw(origin: &Origin, found: &Windows, format: Format) -> Option<Drawing> {
    if found.outages.is_empty() {
        return None;
    }
    let (_, sentences) = windows_answer(found);
    let finding = sentences.first()?.plain();
    let mut sheet = Sheet::of(foot(origin), format, 800.0, finding);
    let em = sheet.em;
    let shown = &found.outages[..found.outages.len().min(most(format))];
    let above = format == Format::Phone;
    let widest = shown
        .iter()
        .map(|outage| room(&outage.case.name, em, true) + em * 1.6)
        .chain([room("load, %", em, false)])
        .fold(0.0, f64::max);
    let left = if above {
        sheet.side
    } else {
        sheet.side + widest.min(sheet.width * 0.25) + em
    };
    // A slide is filled: what the rest leaves goes to the bars, and half as much to each strip.
    let spare = match format {
        Format::Slide => {
            let rest = em * (12.0 + 4.8 * shown.len() as f64);
            (sheet.height(0.0) - rest).max(0.0) / (1.0 + 0.5 * shown.len() as f64)
        }
        Format::Page | Format::Phone => 0.0,
    };
    let day = Day {
        left,
        bar: em * 3.4 + spare,
        strip: em * 2.0 + (spare * 0.5).min(em * 2.5),
        hour: (sheet.right() - left) / 24.0,
        above,
    };
    let top = sheet.top;
    let mut y = load(&mut sheet, &day, found, top);
    for outage in shown {
        y = strip(&mut sheet, &day, outage, y);
    }
    let space = sheet.right() - sheet.side;
    let mut key = if above {
        "drained first: ✓ met, ✗ missed, ? undecided".to_owned()
    } else {
        "drained first: ✓ every promise judged is met, ✗ one is missed, ? undecided; bars: load of the hour, % of the busiest".to_owned()
    };
    if shown.len() < found.outages.len() {
        key = format!(
            "{key}; {} more outages not drawn",
            found.outages.len() - shown.len()
        );
    }
    y += em * 1.2;
    for line in super::text::wrap(&key, em, false, space) {
        sheet.label(
            (sheet.side, y),
            &line,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
        y += em * 1.3;
    }
    let body = y - em * 0.6 - sheet.top;
    sheet.finish("hours", body, description(found), Plotted::Yes)
}

/// The load of each hour as bars, and the clock below; where the next row begins.
fn load(sheet: &mut Sheet, day: &Day, found: &Windows, top: f64) -> f64 {
    let em = sheet.em;
    let tall = day.bar;
    let name = "load, %";
    let base = if day.above {
        sheet.label(
            (sheet.side, top + em),
            name,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
        top + em * 2.8 + tall
    } else {
        let x = day.left - em * 0.7;
        sheet.label(
            (x, top + em * 1.4 + tall),
            name,
            Face::Plain,
            Anchor::End,
            Role::Mute,
        );
        top + em * 1.4 + tall
    };
    let rows = found
        .outages
        .first()
        .map_or(&[][..], |outage| &outage.hours);
    let said = |factor: f64| sig(100.0 * factor, 2);
    let widest = rows
        .iter()
        .map(|row| room(&said(row.most_factor), em, false));
    let widest = widest.fold(0.0, f64::max) + em * 0.3;
    // As many hours have their number as keep their neighbours' apart.
    let fits = |every: &u32| f64::from(*every) * day.hour >= widest;
    let every = [1, 2, 3, 4, 6, 8, 12].into_iter().find(fits).unwrap_or(24);
    for row in rows {
        let x = day.at(f64::from(row.hour));
        let size = |factor: f64| (day.hour - 2.0, factor * tall);
        let (most, least) = (size(row.most_factor), size(row.least_factor));
        sheet
            .canvas
            .rect((x + 1.0, base - most.1), most, Role::Pipe);
        sheet
            .canvas
            .rect((x + 1.0, base - least.1), least, Role::Use2);
        if row.hour % every == 0 {
            let text = said(row.most_factor);
            let at = (x + day.hour / 2.0, base - most.1 - em * 0.35);
            sheet.label(at, &text, Face::Plain, Anchor::Middle, Role::Mute);
        }
    }
    sheet.canvas.line(
        [(day.at(0.0), base), (day.at(24.0), base)],
        Pen::new(Role::Rule, 1.0),
    );
    for hour in (0..=24_u32).step_by(3) {
        let x = day.at(f64::from(hour));
        sheet.canvas.line(
            [(x, base), (x, base + em * 0.35)],
            Pen::new(Role::Rule, 1.0),
        );
        let text = if day.above {
            format!("{hour:02}")
        } else {
            clock(hour)
        };
        let anchor = match hour {
            0 => Anchor::Start,
            24 => Anchor::End,
            _ => Anchor::Middle,
        };
        sheet.label(
            (x, base + em * 1.45),
            &text,
            Face::Plain,
            anchor,
            Role::Mute,
        );
    }
    base + em * 2.3
}

/// The 24 hours of an outage; where the next row begins.
fn strip(sheet: &mut Sheet, day: &Day, outage: &OutageWindows, top: f64) -> f64 {
    let em = sheet.em;
    let tall = day.strip;
    let (role, mark) = look(&outage.case);
    let cells = if day.above {
        let name = fit(
            &outage.case.name,
            em,
            true,
            sheet.right() - sheet.side - em * 2.0,
        );
        let centre = (sheet.side + em * 0.5, top + em * 0.75);
        sheet.canvas.mark(centre, mark, em * 0.45, role, false);
        let at = (sheet.side + em * 1.4, top + em * 1.1);
        sheet.label(at, &name, Face::Bold, Anchor::Start, Role::Ink);
        top + em * 1.6
    } else {
        let x = day.left - em * 0.7;
        let name = fit(&outage.case.name, em, true, x - sheet.side - em * 1.5);
        let y = top + tall / 2.0 + em * 0.36;
        sheet.label((x, y), &name, Face::Bold, Anchor::End, Role::Ink);
        let before = x - width(&name, em, true) * 1.06 - em * 0.8;
        sheet
            .canvas
            .mark((before, y - em * 0.34), mark, em * 0.45, role, false);
        top
    };
    for row in &outage.hours {
        let x = day.at(f64::from(row.hour));
        hour(sheet, (x + 0.5, cells), (day.hour - 1.0, tall), row.verdict);
    }
    names(sheet, day, outage, cells + tall)
}

fn hour(sheet: &mut Sheet, (x, y): (f64, f64), (w, h): (f64, f64), verdict: Verdict) {
    let (cx, cy) = (x + w / 2.0, y + h / 2.0);
    let r = (w.min(h) * 0.26).max(2.5);
    let stroke = (r * 0.42).clamp(1.4, 4.0);
    match verdict {
        Verdict::Met => {
            sheet.canvas.rect((x, y), (w, h), Role::Met);
            let tick = [
                (cx - r, cy),
                (cx - r * 0.25, cy + r * 0.75),
                (cx + r, cy - r * 0.8),
            ];
            sheet.canvas.line(tick, Pen::new(Role::Paper, stroke));
        }
        Verdict::Missed => {
            sheet
                .canvas
                .frame((x, y), (w, h), Pen::new(Role::Rule, 1.0));
            let pen = Pen::new(Role::Missed, stroke);
            let r = r * 0.85;
            sheet.canvas.line([(cx - r, cy - r), (cx + r, cy + r)], pen);
            sheet.canvas.line([(cx - r, cy + r), (cx + r, cy - r)], pen);
        }
        Verdict::Undecided => {
            sheet
                .canvas
                .frame((x, y), (w, h), Pen::new(Role::Undecided, 1.5));
            let size = (w.min(h) * 0.75).clamp(sheet.em, sheet.em * 1.2);
            let at = (cx, cy + size * 0.36);
            sheet
                .canvas
                .text(at, "?", size, Face::Bold, Anchor::Middle, Role::Undecided);
        }
    }
}

/// The windows below their hours, as many as find room; where the next row begins.
fn names(sheet: &mut Sheet, day: &Day, outage: &OutageWindows, top: f64) -> f64 {
    let em = sheet.em;
    let low = top + em * 0.45;
    for window in &outage.windows {
        for (from, to) in pieces(window) {
            let (x, end) = (day.at(f64::from(from)) + 1.0, day.at(f64::from(to)) - 1.0);
            sheet
                .canvas
                .line([(x, low), (end, low)], Pen::new(Role::Met, 2.0));
        }
    }
    let y = low + em * 1.25;
    let spans = placed(outage, day, em, sheet.right());
    let (left, right) = (day.left, sheet.right());
    match spans {
        Some(spans) => {
            for (x, text) in spans {
                sheet.label((x, y), &text, Face::Plain, Anchor::Middle, Role::Ink);
            }
        }
        None => {
            let text = format!("windows: {}", all_windows_words(outage));
            let text = fit(&text, em, false, right - left);
            sheet.label((left, y), &text, Face::Plain, Anchor::Start, Role::Ink);
        }
    }
    y + em * 1.1
}

/// A window within the day: two pieces where it runs past midnight.
fn pieces(window: &Window) -> Vec<(u32, u32)> {
    if window.to_hour > window.from_hour {
        vec![(window.from_hour, window.to_hour)]
    } else {
        vec![(window.from_hour, 24), (0, window.to_hour)]
    }
}

/// Each window's name below its longer piece; `None` where they would overlap, or there is none.
fn placed(outage: &OutageWindows, day: &Day, em: f64, right: f64) -> Option<Vec<(f64, String)>> {
    let mut spans: Vec<(f64, f64, String)> = Vec::new();
    for window in &outage.windows {
        let (from, to) = pieces(window)
            .into_iter()
            .max_by_key(|(from, to)| to - from)?;
        let text = window_words(window);
        let half = room(&text, em, false) / 2.0;
        let middle = day.at(f64::from(from + to) / 2.0);
        let middle = middle.max(day.left + half).min(right - half);
        spans.push((middle, half, text));
    }
    spans.sort_by(|one, other| one.0.total_cmp(&other.0));
    let apart = spans
        .windows(2)
        .all(|pair| pair[0].0 + pair[0].1 + em * 0.5 < pair[1].0 - pair[1].1);
    (apart && !spans.is_empty()).then(|| {
        let named = spans.into_iter().map(|(x, _, text)| (x, text));
        named.collect()
    })
}

fn description(found: &Windows) -> String {
    let of = |outage: &OutageWindows| {
        let hours = |wanted: Verdict| -> Vec<String> {
            let rows = outage.hours.iter().filter(|row| row.verdict == wanted);
            rows.map(|row| clock(row.hour)).collect()
        };
        let mut said = vec![format!("windows {}", all_windows_words(outage))];
        for (verdict, word) in [
            (Verdict::Missed, "missed"),
            (Verdict::Undecided, "undecided"),
        ] {
            let hours = hours(verdict);
            if !hours.is_empty() {
                said.push(format!("{word} in the hours from {}", hours.join(", ")));
            }
        }
        format!("{}: {}", begun_with(&outage.case.name), said.join("; "))
    };
    let all: Vec<String> = found.outages.iter().map(of).collect();
    format!("{}.", all.join(". "))
}
