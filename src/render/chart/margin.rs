//! Names of lines in the right margin of a plot, each near the end of its line; on a phone in a list below it.

use super::Format;
use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::Sheet;
use super::palette::Role;
use super::place::{Wish, spread};
use super::text::fit;

/// Height of a name with its note in a list, and of the space before the list, in ems.
const ROW: f64 = 2.9;
const SPACE: f64 = 0.4;

/// The name of a line, a note under it, and the height at which the line ends.
#[derive(Clone, Debug)]
pub(super) struct Named {
    pub(super) name: String,
    pub(super) note: String,
    pub(super) role: Role,
    /// The mark of the line; a stroke without one.
    pub(super) mark: Option<Mark>,
    pub(super) at: f64,
}

/// The edges of the plot, and from where on there is room below it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Margin {
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) low: f64,
    pub(super) under: f64,
}

/// Room that a list of so many names takes on a phone.
pub(super) fn list(count: usize, em: f64) -> f64 {
    count as f64 * em * ROW + em * SPACE
}

impl Margin {
    /// Draws the names; those that would lie on one another are spread, and the lines stay where they are.
    pub(super) fn names(self, sheet: &mut Sheet, all: &[Named]) {
        let em = sheet.em;
        let phone = sheet.format == Format::Phone;
        let room = (self.low - self.top + em) / all.len().max(1) as f64;
        // A name with its note takes two lines; where there is no room for all of them the names stand alone.
        let notes = phone || room >= em * 2.3;
        let size = if notes { em * 2.75 } else { em * 1.35 };
        let middles: Vec<f64> = if phone {
            (0..all.len())
                .map(|index| self.under + em * 4.7 + index as f64 * em * ROW)
                .collect()
        } else {
            let wishes: Vec<Wish> = all
                .iter()
                .map(|named| Wish {
                    at: named.at,
                    size: size.min(room),
                })
                .collect();
            spread(&wishes, self.top - em, self.low)
        };
        let x = if phone {
            sheet.side + em * 0.6
        } else {
            self.right + em * 1.2
        };
        let space = sheet.right() - x - em;
        for (named, middle) in all.iter().zip(middles) {
            let at = (x, middle - em * 0.45);
            match named.mark {
                Some(mark) => sheet.canvas.mark(at, mark, em * 0.32, named.role, false),
                None => {
                    let line = [(at.0 - em * 0.5, at.1), (at.0 + em * 0.5, at.1)];
                    sheet.canvas.line(line, Pen::new(named.role, em * 0.28));
                }
            }
            let name = fit(&named.name, em, true, space);
            let at = (x + em, middle - em * 0.1);
            sheet.label(at, &name, Face::Bold, Anchor::Start, named.role);
            if !notes {
                continue;
            }
            let note = fit(&named.note, em, false, space);
            let at = (x + em, middle + em * 1.08);
            sheet.label(at, &note, Face::Plain, Anchor::Start, Role::Ink);
        }
    }
}
