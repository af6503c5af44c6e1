//! The plot of percentile curves: grid, promises, lines, marks and names.

use crate::render::chart::axis::Scale;
use crate::render::chart::canvas::{Anchor, Face, Mark, Pen};
use crate::render::chart::frame::Sheet;
use crate::render::chart::palette::Role;
use crate::render::chart::place::{Wish, crosses, spread};
use crate::render::chart::text::{bare, bare_percent, fit, room, target};

use super::words::{figure, of_cases};
use super::{Curve, FLOOR_US, Promise, along, rarity};

/// Title of the upright axis.
const TITLE: &str = "latency, ms (log scale)";

/// Where the plot lies.
pub(super) struct Plot {
    pub(super) x: Scale,
    pub(super) y: Scale,
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) low: f64,
}

pub(super) fn plot(
    sheet: &Sheet,
    curves: &[Curve],
    promises: &[Promise],
    beside: f64,
    body: f64,
) -> Plot {
    let em = sheet.em;
    let all = || curves.iter().flat_map(|curve| curve.points.iter());
    let targets = || promises.iter().map(|promise| promise.us);
    let low = all()
        .map(|point| point.1)
        .chain(targets())
        .fold(f64::INFINITY, f64::min);
    let high = all()
        .map(|point| point.1)
        .chain(targets().map(|us| us * 1.6))
        .fold(0.0, f64::max);
    let rarest = all()
        .map(|point| point.0)
        .chain(promises.iter().map(|promise| rarity(promise.q) + 0.3));
    let rarest = rarest.fold(2.0, f64::max).min(5.0);
    let widest = ["0.005".to_owned(), bare(high / 1000.0 * 1.3)];
    let left = sheet.side
        + widest
            .iter()
            .map(|text| room(text, em, false))
            .fold(0.0, f64::max)
        + em * 0.6;
    let right = sheet.right() - beside;
    let (top, low_end) = (sheet.top + em * 2.2, sheet.top + body - em * 3.3);
    Plot {
        x: Scale::linear((0.0, rarest), (left, right)),
        y: Scale::log((low / 1000.0, high / 1000.0), (low_end, top)),
        left,
        top,
        right,
        low: low_end,
    }
}

pub(super) fn grid(sheet: &mut Sheet, plot: &Plot) {
    let em = sheet.em;
    let pen = Pen::new(Role::Grid, 1.0);
    let wanted = ((plot.low - plot.top) / (em * 2.2)) as usize;
    for ms in plot.y.ticks(wanted) {
        let y = plot.y.place(ms);
        sheet.canvas.line([(plot.left, y), (plot.right, y)], pen);
        let at = (plot.left - em * 0.5, y + em * 0.36);
        sheet.label(at, &bare(ms), Face::Plain, Anchor::End, Role::Mute);
    }
    for (q, text) in [
        (0.0, "0"),
        (0.5, "50"),
        (0.9, "90"),
        (0.99, "99"),
        (0.999, "99.9"),
        (0.9999, "99.99"),
        (0.99999, "99.999"),
    ] {
        let x = plot.x.place(rarity(q));
        if rarity(q) > 0.0 && x >= plot.right && (plot.x.place(rarity(q) - 1e-6) >= plot.right) {
            continue;
        }
        sheet.canvas.line([(x, plot.top), (x, plot.low)], pen);
        sheet.label(
            (x, plot.low + em * 1.3),
            text,
            Face::Plain,
            Anchor::Middle,
            Role::Mute,
        );
    }
    sheet.label(
        (sheet.side, plot.top - em * 1.1),
        TITLE,
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
    let title = "percentile (each step: ten times rarer)";
    sheet.label(
        (plot.left, plot.low + em * 2.7),
        title,
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
}

pub(super) fn line(curve: &Curve, plot: &Plot) -> Vec<(f64, f64)> {
    curve
        .points
        .iter()
        .map(|point| (plot.x.place(point.0), plot.y.place(point.1 / 1000.0)))
        .collect()
}

/// The hatched corner, and its words where no curve runs through them.
pub(super) fn corner(sheet: &mut Sheet, plot: &Plot, promise: &Promise, lines: &[Vec<(f64, f64)>]) {
    let em = sheet.em;
    let (x, y) = (
        plot.x.place(rarity(promise.q)),
        plot.y.place(promise.us / 1000.0),
    );
    let mut at = plot.top;
    while at < y - em * 0.5 {
        sheet.canvas.line(
            [(x, at + em * 0.55), (x + em * 0.5, at)],
            Pen::new(Role::Ink, 1.0),
        );
        at += em * 0.42;
    }
    sheet.canvas.line(
        [(x, plot.top), (x, y), (x - em * 1.6, y)],
        Pen::new(Role::Ink, em * 0.15),
    );
    corner_words(sheet, plot, promise, lines);
}

/// The words of a corner, where no curve runs through them: both lines, else the first, else above the plot.
fn corner_words(sheet: &mut Sheet, plot: &Plot, promise: &Promise, lines: &[Vec<(f64, f64)>]) {
    let em = sheet.em;
    let text = target(&promise.text);
    let of = of_cases(promise);
    let first = format!("promise: {text} at {} %{of}", bare_percent(promise.q));
    let second = "a curve must pass under this corner";
    let one = (room(&first, em, true), em * 1.2);
    let both = (one.0.max(room(second, em, false)), em * 2.5);
    // Near the corner rather than in full: words far off belong to nothing.
    let brief = format!("promise {text}{of}");
    let least = (room(&brief, em, true), em * 1.2);
    let found = [(both, 2), (one, 2), (least, 2), (both, 8), (one, 8)]
        .into_iter()
        .find_map(|(size, far)| Some((spot(plot, promise, lines, (size, far), em)?, size)));
    if let Some(((x, y), size)) = found {
        let said = if size == least { &brief } else { &first };
        sheet.label((x, y + em), said, Face::Bold, Anchor::Start, Role::Ink);
        if size == both {
            sheet.label(
                (x, y + em * 2.2),
                second,
                Face::Plain,
                Anchor::Start,
                Role::Mute,
            );
        }
        return;
    }
    // Above the plot nothing runs.
    let space = plot.right - sheet.side - room(TITLE, em, true) - em;
    let whole = [&first, &brief]
        .into_iter()
        .find(|text| room(text, em, true) <= space);
    let text = whole
        .cloned()
        .unwrap_or_else(|| fit(&brief, em, true, space));
    let at = (plot.right, plot.top - em * 0.3);
    sheet.label(at, &text, Face::Bold, Anchor::End, Role::Ink);
}

/// Upper left corner of a free area of `wide` by `tall` beside the corner of a promise: right of the wall
/// above or below, then left of it, further and further off, at most `far` lines.
fn spot(
    plot: &Plot,
    promise: &Promise,
    lines: &[Vec<(f64, f64)>],
    ((wide, tall), far): ((f64, f64), u32),
    em: f64,
) -> Option<(f64, f64)> {
    let (x, y) = (
        plot.x.place(rarity(promise.q)),
        plot.y.place(promise.us / 1000.0),
    );
    let spots = (0..far).flat_map(|step| {
        let off = f64::from(step) * em;
        let (above, below) = (y - tall - em * 0.4 - off, y + em * 0.5 + off);
        let left = x - wide - em * 0.6;
        [
            (x + em, above),
            (x + em * 0.6, below),
            (left, below),
            (left, above),
        ]
    });
    spots.into_iter().find(|&(left, top)| {
        let area = (
            left - em * 0.3,
            top - em * 0.3,
            left + wide,
            top + tall + em * 0.3,
        );
        let inside = area.0 > plot.left
            && area.2 < plot.right + em
            && area.1 > plot.top
            && area.3 < plot.low;
        inside && !lines.iter().any(|line| crosses(line, area))
    })
}

pub(super) fn one(sheet: &mut Sheet, curve: &Curve, line: &[(f64, f64)]) {
    let em = sheet.em;
    let pen = Pen::new(curve.role, em * 0.17);
    let pen = match (curve.role, curve.mended) {
        (Role::B, _) => pen.dashed(em * 0.6, em * 0.45),
        (_, true) => pen.dashed(em * 0.2, em * 0.3),
        _ => pen,
    };
    sheet.canvas.line(line.to_vec(), pen);
}

pub(super) fn marks(sheet: &mut Sheet, plot: &Plot, curve: &Curve, index: usize, judged: f64) {
    let em = sheet.em;
    let hollow = curve.mark == Mark::Diamond && !curve.mended;
    for step in 0..6 {
        // Each case has its marks at percentiles of its own.
        let at = 0.3 + 0.8 * f64::from(step) + 0.16 * index as f64;
        if let Some(us) = along(&curve.points, at) {
            let place = (plot.x.place(at), plot.y.place(us / 1000.0));
            sheet
                .canvas
                .mark(place, curve.mark, em * 0.36, curve.role, hollow);
        }
    }
    if let Some((_, Some(low), Some(high))) = curve.value {
        let x = plot.x.place(rarity(judged));
        let (top, end) = (
            plot.y.place(high / 1000.0),
            plot.y.place(low.max(FLOOR_US) / 1000.0),
        );
        let pen = Pen::new(curve.role, em * 0.12);
        sheet.canvas.line([(x, top), (x, end)], pen);
        for y in [top, end] {
            sheet
                .canvas
                .line([(x - em * 0.35, y), (x + em * 0.35, y)], pen);
        }
    }
}

pub(super) fn labels_width(curves: &[Curve], judged: f64, em: f64) -> f64 {
    curves
        .iter()
        .map(|curve| room(&curve.name, em, true).max(room(&figure(curve, judged), em, false)) + em)
        .fold(0.0, f64::max)
}

/// Names and figures at the curves' right ends.
pub(super) fn ends(
    sheet: &mut Sheet,
    plot: &Plot,
    curves: &[Curve],
    lines: &[Vec<(f64, f64)>],
    judged: f64,
) {
    let em = sheet.em;
    let size = (em * 2.75).min((plot.low - plot.top) / curves.len() as f64);
    let wishes: Vec<Wish> = lines
        .iter()
        .map(|line| Wish {
            at: line.last().map_or(plot.top, |end| end.1),
            size,
        })
        .collect();
    let middles = spread(&wishes, plot.top - em, plot.low);
    let x = plot.right + em * 0.8;
    let space = sheet.right() - x - em;
    for (curve, middle) in curves.iter().zip(&middles) {
        let hollow = curve.mark == Mark::Diamond && !curve.mended;
        sheet.canvas.mark(
            (x, middle - em * 0.45),
            curve.mark,
            em * 0.36,
            curve.role,
            hollow,
        );
        let name = fit(&curve.name, em, true, space);
        sheet.label(
            (x + em, middle - em * 0.1),
            &name,
            Face::Bold,
            Anchor::Start,
            curve.role,
        );
        let text = fit(&figure(curve, judged), em, false, space);
        let role = if curve.saturated {
            Role::Missed
        } else {
            curve.role
        };
        sheet.label(
            (x + em, middle + em * 1.08),
            &text,
            Face::Plain,
            Anchor::Start,
            role,
        );
    }
}

/// The same in a list, for narrow screens.
pub(super) fn below(sheet: &mut Sheet, curves: &[Curve], judged: f64, top: f64) {
    let em = sheet.em;
    let x = sheet.side + em * 0.6;
    let space = sheet.right() - x - em;
    for (index, curve) in curves.iter().enumerate() {
        let y = top + index as f64 * em * 2.9;
        let hollow = curve.mark == Mark::Diamond && !curve.mended;
        sheet.canvas.mark(
            (x, y - em * 0.36),
            curve.mark,
            em * 0.36,
            curve.role,
            hollow,
        );
        let name = fit(&curve.name, em, true, space);
        sheet.label((x + em, y), &name, Face::Bold, Anchor::Start, curve.role);
        let text = fit(&figure(curve, judged), em, false, space);
        sheet.label(
            (x + em, y + em * 1.2),
            &text,
            Face::Plain,
            Anchor::Start,
            Role::Ink,
        );
    }
}
