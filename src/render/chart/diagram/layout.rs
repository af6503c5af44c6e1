//! Places of units: layers along one axis, lanes across it.

use crate::outcome::Lane;
use crate::render::chart::Format;
use crate::render::chart::frame::Sheet;
use crate::render::chart::place::Area;
use crate::render::chart::text::room;

use super::fold::{Site, Unit};

/// Head of a chassis' frame, and the gap below each of its boxes, in ems.
pub(super) const FRAME_HEAD: f64 = 2.15;
pub(super) const FRAME_GAP: f64 = 0.65;
/// Left and right of the boxes in it, in ems: the outlines behind a box stand out at the right.
pub(super) const FRAME_SIDES: (f64, f64) = (0.6, 1.0);
/// And on a phone.
pub(super) const FRAME_SIDES_PHONE: (f64, f64) = (0.25, 0.6);

/// The finished plan.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    /// Centre of each unit.
    pub(super) at: Vec<(f64, f64)>,
    /// Width and height of each unit, frame included.
    pub(super) size: Vec<(f64, f64)>,
    /// Size of a single box.
    pub(super) node: (f64, f64),
    /// Areas of the lanes A and B; `None` where nothing stands in it.
    pub(super) lanes: [Option<Area>; 2],
    /// A left, B right.
    pub(super) upright: bool,
    /// Width of a pipe.
    pub(super) pipe: f64,
    /// Everything may be drawn in here.
    pub(super) area: Area,
    /// Lower end of the drawing.
    pub(super) low: f64,
    /// False when it is higher than the sheet has room for.
    pub(super) fits: bool,
}

impl Plan {
    /// Area of a unit.
    pub(super) fn area_of(&self, unit: usize) -> Area {
        let ((x, y), (w, h)) = (self.at[unit], self.size[unit]);
        (x - w / 2.0, y - h / 2.0, x + w / 2.0, y + h / 2.0)
    }
}

/// Rooms along and across, all in the units of the drawing.
struct Rooms {
    /// Units side by side in a lane and in the middle, at most; more start a further row.
    caps: [usize; 2],
    /// Between neighbours across.
    gap: f64,
    /// Outer and inner edge of a lane around its units.
    outer: f64,
    inner: f64,
    /// Around what stands in the middle.
    middle: f64,
}

impl Rooms {
    fn of(format: Format, em: f64) -> Self {
        match format {
            Format::Page => Self {
                caps: [3, 6],
                gap: em * 2.6,
                outer: em * 5.0,
                inner: em * 1.4,
                middle: em * 4.4,
            },
            Format::Phone => Self {
                caps: [1, 2],
                gap: em * 0.9,
                outer: em * 0.4,
                inner: em * 0.4,
                middle: em,
            },
            Format::Slide => Self {
                caps: [1, 3],
                gap: em * 1.2,
                outer: em * 3.3,
                inner: em * 0.3,
                middle: em * 0.6,
            },
        }
    }
}

/// The plan, with `reserve` kept free below on a slide.
pub(super) fn plan(site: &Site, sheet: &Sheet, reserve: f64) -> Plan {
    let em = sheet.em;
    let upright = sheet.format == Format::Phone;
    let rooms = Rooms::of(sheet.format, em);
    let rows = rows(site, &rooms);
    let node = node_size(site, sheet, rows.len());
    let sides = if upright {
        FRAME_SIDES_PHONE
    } else {
        FRAME_SIDES
    };
    let sized = |unit: &Unit| unit_size(unit, node, sides, em);
    let size: Vec<(f64, f64)> = site.units.iter().map(sized).collect();
    let along = |unit: usize| if upright { size[unit].1 } else { size[unit].0 };
    let across = |unit: usize| if upright { size[unit].0 } else { size[unit].1 };
    let total = |units: &[usize]| {
        units.iter().map(|&unit| across(unit)).sum::<f64>()
            + rooms.gap * units.len().saturating_sub(1) as f64
    };
    let thick = |lane: usize| rows.iter().map(|row| total(&row[lane])).fold(0.0, f64::max);
    // B mirrors A: both lanes are as thick as the thicker.
    let used = [thick(0) > 0.0, thick(2) > 0.0];
    let lane = thick(0).max(thick(2)) + rooms.outer + rooms.inner;
    let lanes = used.map(|used| if used { lane } else { 0.0 });
    let mut middle = thick(1) + 2.0 * rooms.middle;
    let start = if upright { sheet.side } else { sheet.top };
    let wanted = lanes[0] + middle + lanes[1];
    let given = match sheet.format {
        Format::Page => wanted,
        Format::Phone => sheet.right() - sheet.side,
        Format::Slide => sheet.height(wanted) - em * 0.4 - reserve,
    };
    middle += (given - wanted).max(0.0);
    let fits = wanted <= given + 0.5 && (upright || node.0 >= em * 4.0);
    let centre = [
        start + rooms.outer + (lane - rooms.outer - rooms.inner) / 2.0,
        start + lanes[0] + middle / 2.0,
        start + lanes[0] + middle + rooms.inner + (lane - rooms.outer - rooms.inner) / 2.0,
    ];
    let steps = steps(sheet, upright, &rows, along);
    let mut at = vec![(0.0, 0.0); site.units.len()];
    for (row, step) in rows.iter().zip(&steps.0) {
        for (units, centre) in row.iter().zip(centre) {
            let mut v = centre - total(units) / 2.0;
            for &unit in units {
                let place = v + across(unit) / 2.0;
                at[unit] = if upright {
                    (place, *step)
                } else {
                    (*step, place)
                };
                v += across(unit) + rooms.gap;
            }
        }
    }
    let (left, right) = (sheet.side, sheet.right());
    let end = start + lanes[0] + middle + lanes[1];
    let low = if upright { steps.1 } else { end };
    let area_of = |from: f64, to: f64| {
        if upright {
            (from, sheet.top, to, low)
        } else {
            (left, from, right, to)
        }
    };
    Plan {
        at,
        size,
        node,
        lanes: [
            used[0].then(|| area_of(start, start + lanes[0])),
            used[1].then(|| area_of(end - lanes[1], end)),
        ],
        upright,
        pipe: if upright { em } else { em * 1.05 },
        area: (left, sheet.top, right, low),
        low,
        fits,
    }
}

/// Places of the rows along the layers, and the end of the drawing on a phone.
fn steps(
    sheet: &Sheet,
    upright: bool,
    rows: &[[Vec<usize>; 3]],
    along: impl Fn(usize) -> f64,
) -> (Vec<f64>, f64) {
    let em = sheet.em;
    let thick: Vec<f64> = rows
        .iter()
        .map(|row| {
            row.iter()
                .flatten()
                .map(|&unit| along(unit))
                .fold(0.0, f64::max)
        })
        .collect();
    let (mut at, gap) = if upright {
        (sheet.top + em * 2.6, em * 6.6)
    } else {
        let space = sheet.right() - sheet.side - 2.0 * em - thick.iter().sum::<f64>();
        (
            sheet.side + em,
            (space / thick.len().saturating_sub(1).max(1) as f64).max(2.0),
        )
    };
    let mut out = Vec::new();
    for thick in &thick {
        out.push(at + thick / 2.0);
        at += thick + gap;
    }
    (out, at - gap + em * 1.2)
}

fn node_size(site: &Site, sheet: &Sheet, rows: usize) -> (f64, f64) {
    let em = sheet.em;
    let upright = sheet.format == Format::Phone;
    let boxes = || site.units.iter().flat_map(|unit| &unit.boxes);
    let widest = boxes()
        .map(|node| {
            let detail = if upright {
                0.0
            } else {
                room(&node.detail, em, false)
            };
            room(&node.name, em, true).max(detail)
        })
        .fold(0.0, f64::max);
    let across = if upright {
        // A lane, two in the middle, a lane, and what is kept free between and around them; frames of
        // chassis in the lanes take room of their own.
        let framed = site
            .units
            .iter()
            .any(|unit| unit.frame.is_some() && unit.lane != Lane::Middle);
        let sides = FRAME_SIDES_PHONE.0 + FRAME_SIDES_PHONE.1;
        let frames = if framed { 2.0 * sides } else { 0.0 };
        (sheet.right() - sheet.side - em * (4.6 + frames)) / 4.0
    } else {
        ((sheet.right() - sheet.side) / rows.max(1) as f64
            * if sheet.format == Format::Slide {
                0.76
            } else {
                0.66
            })
        .min(em * 11.0)
    };
    let tall = match sheet.format {
        Format::Page => 3.2,
        Format::Phone => 4.4,
        Format::Slide => 2.5,
    };
    (
        (widest + em * 1.2).clamp(em * 3.0, across.max(em * 3.0)),
        em * tall,
    )
}

fn unit_size(unit: &Unit, node: (f64, f64), sides: (f64, f64), em: f64) -> (f64, f64) {
    if unit.frame.is_none() {
        return node;
    }
    let count = unit.boxes.len() as f64;
    (
        node.0 + em * (sides.0 + sides.1),
        count * (node.1 + FRAME_GAP * em) + em * FRAME_HEAD,
    )
}

/// Units in rows along the layers: for each row those of A, the middle and B.
fn rows(site: &Site, rooms: &Rooms) -> Vec<[Vec<usize>; 3]> {
    let mut layers: Vec<u32> = site.units.iter().map(|unit| unit.layer).collect();
    layers.sort_unstable();
    layers.dedup();
    let order = ordered(site);
    let mut out = Vec::new();
    for layer in layers {
        let of = |lane: Lane| -> Vec<usize> {
            let here = |unit: &&usize| {
                site.units[**unit].layer == layer && site.units[**unit].lane == lane
            };
            order.iter().filter(here).copied().collect()
        };
        let mut b = of(Lane::B);
        // Mirrored: what is outermost in A is outermost in B.
        b.reverse();
        let mut left = [of(Lane::A), of(Lane::Middle), b];
        while left.iter().any(|units| !units.is_empty()) {
            let mut row: [Vec<usize>; 3] = Default::default();
            for (lane, units) in left.iter_mut().enumerate() {
                let cap = rooms.caps[usize::from(lane == 1)];
                // A wide unit, a chassis, stands alone where only two fit.
                let alone = cap <= 2
                    && units
                        .first()
                        .is_some_and(|&unit| site.units[unit].frame.is_some());
                let take = if alone { 1 } else { cap.min(units.len()) };
                row[lane] = units.drain(..take).collect();
            }
            out.push(row);
        }
    }
    out
}

/// Units in scenario order, those of the middle by where their neighbours stand (barycentre, two sweeps).
fn ordered(site: &Site) -> Vec<usize> {
    let lane = |unit: usize| match site.units[unit].lane {
        Lane::A => -1.0,
        Lane::Middle => 0.0,
        Lane::B => 1.0,
    };
    let mut place: Vec<f64> = (0..site.units.len()).map(lane).collect();
    for _ in 0..2 {
        let before = place.clone();
        for (unit, own) in place.iter_mut().enumerate() {
            if site.units[unit].lane != Lane::Middle {
                continue;
            }
            let near: Vec<f64> = site
                .bundles
                .iter()
                .filter_map(|bundle| match (bundle.from == unit, bundle.to == unit) {
                    (true, false) => Some(before[bundle.to]),
                    (false, true) => Some(before[bundle.from]),
                    _ => None,
                })
                .collect();
            if !near.is_empty() {
                *own = near.iter().sum::<f64>() / near.len() as f64;
            }
        }
    }
    let mut out: Vec<usize> = (0..site.units.len()).collect();
    out.sort_by(|a, b| place[*a].total_cmp(&place[*b]).then(a.cmp(b)));
    out
}
