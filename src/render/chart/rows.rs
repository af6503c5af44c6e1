//! Charts made of rows: names at the left (above, on a phone), bars along one scale.

use super::Format;
use super::axis::Scale;
use super::canvas::{Anchor, Face, Pen};
use super::frame::Sheet;
use super::palette::Role;
use super::text::{bare, fit, room, sig};

/// Where the rows of a chart lie.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grid {
    /// Left end of the bars.
    pub(super) left: f64,
    /// Right end of the scale.
    pub(super) right: f64,
    /// Top of the first row.
    pub(super) top: f64,
    /// Height of a row.
    pub(super) step: f64,
    /// Height of a bar.
    pub(super) bar: f64,
    /// Rows shown.
    pub(super) shown: usize,
    /// Names stand above the bars.
    above: bool,
    /// Second lines of names are shown.
    details: bool,
}

impl Grid {
    /// Room for `count` rows below `head`, with `beside` kept free at the right. Rows that find no room on
    /// a slide are left out, from the end.
    pub(super) fn new(
        sheet: &Sheet,
        count: usize,
        head: f64,
        beside: f64,
        names: &[(&str, &str)],
    ) -> Self {
        let em = sheet.em;
        let above = sheet.format == Format::Phone;
        let top = sheet.top + head;
        let widest = names.iter().fold(0.0_f64, |widest, (name, detail)| {
            widest
                .max(room(name, em, true))
                .max(room(detail, em, false))
        });
        let left = if above {
            sheet.side + 4.0
        } else {
            sheet.side + widest.min(sheet.width * 0.3) + em
        };
        let wanted = if above { em * 3.3 } else { em * 2.75 };
        let mut shown = count;
        let mut step = wanted;
        let mut details = true;
        if sheet.format == Format::Slide {
            let space = sheet.height(0.0) - head - axis_height(em);
            let least = em * 1.35;
            shown = count.min((space / least).floor() as usize).max(1);
            if shown < count {
                // A line below says what was left out.
                shown = shown.saturating_sub(1).max(1);
            }
            step =
                ((space - if shown < count { em * 1.4 } else { 0.0 }) / shown as f64).min(wanted);
            details = step >= em * 2.35;
        }
        let bar = if above {
            em * 1.25
        } else {
            (step * 0.56).min(em * 1.55)
        };
        Self {
            left,
            right: sheet.right() - beside,
            top,
            step,
            bar,
            shown,
            above,
            details,
        }
    }

    /// Whether names have room for their second lines.
    pub(super) const fn has_details(&self) -> bool {
        self.details
    }

    /// Top of the bar of row `index`.
    pub(super) fn bar_top(&self, index: usize) -> f64 {
        let row = self.top + index as f64 * self.step;
        if self.above {
            row + self.step - self.bar - self.step * 0.14
        } else {
            row + (self.step - self.bar) / 2.0
        }
    }

    /// Baseline of text in the middle of the bar of row `index`.
    pub(super) fn baseline(&self, index: usize, em: f64) -> f64 {
        self.bar_top(index) + self.bar / 2.0 + em * 0.36
    }

    /// Baseline of the name of row `index`, when names stand above; else that of the bar.
    pub(super) fn name_baseline(&self, index: usize, em: f64) -> f64 {
        if self.above {
            self.bar_top(index) - em * 0.4
        } else {
            self.baseline(index, em)
        }
    }

    /// Lower end of the rows.
    pub(super) fn low(&self) -> f64 {
        self.top + self.shown as f64 * self.step
    }

    /// Height of everything below the sheet's top: head, rows, axis and what was left out.
    pub(super) fn body(&self, sheet: &Sheet, count: usize) -> f64 {
        let omitted = if self.shown < count {
            sheet.em * 1.4
        } else {
            0.0
        };
        self.low() - sheet.top + axis_height(sheet.em) + omitted
    }

    /// The name and the second line of row `index`; `kept` is room at the right when names stand above.
    pub(super) fn name(
        &self,
        sheet: &mut Sheet,
        index: usize,
        (name, detail): (&str, &str),
        kept: f64,
    ) {
        let em = sheet.em;
        if self.above {
            let space = self.right - self.left - kept;
            let name = fit(name, em, true, space);
            let at = (self.left, self.name_baseline(index, em));
            sheet.label(at, &name, Face::Bold, Anchor::Start, Role::Ink);
            let used = room(&name, em, true) + em * 0.5;
            if room(detail, em, false) <= space - used {
                sheet.label(
                    (at.0 + used, at.1),
                    detail,
                    Face::Plain,
                    Anchor::Start,
                    Role::Mute,
                );
            }
            return;
        }
        let x = self.left - em * 0.7;
        let space = x - sheet.side;
        let two = self.details && !detail.is_empty();
        let y = self.baseline(index, em) - if two { em * 0.55 } else { 0.0 };
        sheet.label(
            (x, y),
            &fit(name, em, true, space),
            Face::Bold,
            Anchor::End,
            Role::Ink,
        );
        if two {
            let detail = fit(detail, em, false, space);
            sheet.label(
                (x, y + em * 1.12),
                &detail,
                Face::Plain,
                Anchor::End,
                Role::Mute,
            );
        }
    }

    /// Grid lines of a scale in per cent, its labels and its title.
    pub(super) fn axis(&self, sheet: &mut Sheet, scale: &Scale, title: &str) {
        let em = sheet.em;
        let low = self.low();
        for tick in scale.ticks(if self.above { 4 } else { 6 }) {
            let x = scale.place(tick);
            if (tick - 100.0).abs() > 1e-6 {
                self.upright(sheet, x, 0.0, Pen::new(Role::Grid, 1.0));
            }
            sheet.label(
                (x, low + em * 1.25),
                &bare(tick),
                Face::Plain,
                Anchor::Middle,
                Role::Mute,
            );
        }
        let space = sheet.right() - self.left;
        let title = fit(title, em, true, space);
        sheet.label(
            (self.left, low + em * 2.6),
            &title,
            Face::Bold,
            Anchor::Start,
            Role::Ink,
        );
    }

    /// An upright line through all rows, from `over` above them; where names stand above the bars, only
    /// through the bars.
    pub(super) fn upright(&self, sheet: &mut Sheet, x: f64, over: f64, pen: Pen) {
        if !self.above {
            sheet
                .canvas
                .line([(x, self.top - over), (x, self.low())], pen);
            return;
        }
        let more = self.bar * 0.15;
        for index in 0..self.shown {
            let top = self.bar_top(index);
            sheet
                .canvas
                .line([(x, top - more), (x, top + self.bar + more)], pen);
        }
    }

    /// Says how many rows a slide left out.
    pub(super) fn omitted(&self, sheet: &mut Sheet, count: usize, fullest: f64) {
        if self.shown < count {
            let em = sheet.em;
            let text = format!(
                "and {} more, none above {} %",
                count - self.shown,
                sig(fullest, 3)
            );
            let at = (self.left, self.low() + em * 3.9);
            sheet.label(at, &text, Face::Plain, Anchor::Start, Role::Mute);
        }
    }
}

/// Room below the rows for tick labels and the axis title.
fn axis_height(em: f64) -> f64 {
    em * 3.3
}

/// A scale in per cent that shows 100 and `peak`; loads far beyond end at its end.
pub(super) fn percent_scale(peak: f64, left: f64, right: f64) -> Scale {
    let peak = if peak.is_finite() { peak } else { 100.0 };
    let end = ((peak / 25.0).ceil() * 25.0).clamp(125.0, 250.0);
    Scale::linear((0.0, end), (left, right))
}

/// Short upright lines that rule an area.
pub(super) fn ruled(sheet: &mut Sheet, (x, y): (f64, f64), (w, h): (f64, f64), role: Role) {
    let gap = (sheet.em * 0.42).max(4.0);
    let mut at = x + gap * 0.6;
    while at < x + w - 1.0 {
        sheet
            .canvas
            .line([(at, y), (at, y + h)], Pen::new(role, 1.5));
        at += gap;
    }
}
