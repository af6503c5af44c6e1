//! Labels of bundles, where nothing else is.

use crate::outcome::Lane;
use crate::render::chart::Format;
use crate::render::chart::canvas::{Anchor, Face, Pen, rounded};
use crate::render::chart::frame::Sheet;
use crate::render::chart::palette::Role;
use crate::render::chart::place::{Area, crosses, overlap};
use crate::render::chart::text::{fit, percent, room};
use crate::render::number::is_over;

use super::fold::{Bundle, Site};
use super::ink::{badges, role_of};
use super::layout::Plan;
use super::route::{Way, grown};

/// Labels of the bundles that carry, each where nothing else is; returns those that found no place, which
/// then carry a number (on a slide their load, and none is returned). Crosses of the lost ones as well.
pub(super) fn labels(sheet: &mut Sheet, site: &Site, plan: &Plan, ways: &[Way]) -> Vec<usize> {
    let em = sheet.em;
    let mut taken = occupied(site, plan, em);
    for (_, way) in site
        .bundles
        .iter()
        .zip(ways)
        .filter(|(bundle, _)| bundle.load.is_none())
    {
        crosses_on(sheet, way, &taken, plan.pipe);
    }
    let mut order: Vec<usize> = (0..site.bundles.len())
        .filter(|&index| site.bundles[index].load.is_some())
        .collect();
    // The fullest first: it must have its words beside it.
    order.sort_by(|a, b| {
        site.bundles[*b]
            .load
            .unwrap_or(0.0)
            .total_cmp(&site.bundles[*a].load.unwrap_or(0.0))
            .then(a.cmp(b))
    });
    let mut left_over = Vec::new();
    for index in order {
        let clear = |area: Area| {
            !taken.iter().any(|other| overlap(*other, area)) && clear(site, plan, ways, area)
        };
        // With everything, then without the detail, which the list of links has too.
        let placed = [true, false].into_iter().find_map(|detailed| {
            let words = words(&site.bundles[index], detailed, em);
            let tall = words.len() as f64 * em * 1.15;
            let wide = words.iter().map(|word| word.room).fold(0.0, f64::max);
            let spots = spots(&ways[index], plan, (wide, tall));
            let spot = spots
                .into_iter()
                .find(|spot| clear((spot.0, spot.1, spot.0 + wide, spot.1 + tall)))?;
            Some((words, spot, wide, tall))
        });
        let Some((words, (left, top), wide, tall)) = placed else {
            left_over.push(index);
            continue;
        };
        taken.push((left, top, left + wide, top + tall));
        for (line, word) in words.iter().enumerate() {
            let at = (left + wide / 2.0, top + (line as f64 + 0.85) * em * 1.15);
            sheet.label(at, &word.text, word.face, Anchor::Middle, word.role);
        }
    }
    left_over.sort_unstable();
    for (number, &index) in left_over.iter().enumerate() {
        // A slide has no room for a list: there the load itself stands on the line.
        let text = match (sheet.format, site.bundles[index].load) {
            (Format::Slide, Some(load)) => percent(load),
            _ => (number + 1).to_string(),
        };
        let free = |area: Area| clear(site, plan, ways, area);
        numbered(sheet, &ways[index], &text, &mut taken, &free);
    }
    if sheet.format == Format::Slide {
        left_over.clear();
    }
    left_over
}

/// What is taken from the start: units, and the lanes' letters.
fn occupied(site: &Site, plan: &Plan, em: f64) -> Vec<Area> {
    let mut taken: Vec<Area> = (0..site.units.len())
        .map(|unit| {
            let area = plan.area_of(unit);
            // The outlines behind stand out at the upper right.
            let behind = if site.units[unit].boxes.iter().any(|node| node.count > 1) {
                em * 0.5
            } else {
                0.0
            };
            (
                area.0 - 2.0,
                area.1 - behind - 2.0,
                area.2 + behind + 2.0,
                area.3 + 2.0,
            )
        })
        .collect();
    taken.extend(badges(plan, em));
    taken
}

/// Whether no way runs through an area of the drawing.
fn clear(site: &Site, plan: &Plan, ways: &[Way], area: Area) -> bool {
    let inside = area.0 >= plan.area.0
        && area.1 >= plan.area.1
        && area.2 <= plan.area.2
        && area.3 <= plan.area.3;
    inside
        && !edges(plan).iter().any(|edge| crosses(edge, area))
        && !ways.iter().zip(&site.bundles).any(|(way, bundle)| {
            let half = if bundle.load.is_some() {
                plan.pipe * 0.75
            } else {
                2.0
            };
            crosses(way, grown(area, half))
        })
}

/// Edges of lanes, which no label lies on.
fn edges(plan: &Plan) -> Vec<[(f64, f64); 2]> {
    let mut out = Vec::new();
    if let Some((left, _, right, low)) = plan.lanes[0].filter(|_| !plan.upright) {
        out.push([(left, low), (right, low)]);
    }
    if let Some((left, top, right, _)) = plan.lanes[1].filter(|_| !plan.upright) {
        out.push([(left, top), (right, top)]);
    }
    out
}

/// A line of a label.
struct Word {
    text: String,
    face: Face,
    role: Role,
    room: f64,
}

fn words(bundle: &Bundle, detailed: bool, em: f64) -> Vec<Word> {
    let word = |text: String, face: Face, role: Role| {
        let room = room(&text, em, face == Face::Bold);
        Word {
            text,
            face,
            role,
            room,
        }
    };
    let most = em * 14.0;
    let mut out = vec![word(
        fit(&bundle.label, em, false, most),
        Face::Plain,
        Role::Mute,
    )];
    if detailed && !bundle.detail.is_empty() {
        out.push(word(
            fit(&format!("({})", bundle.detail), em, false, most),
            Face::Plain,
            Role::Mute,
        ));
    }
    let load = bundle.load.unwrap_or(0.0);
    let over = is_over(load);
    let role = match (over, bundle.lane) {
        (true, _) => Role::Missed,
        (_, Lane::Middle) => Role::Ink,
        (_, lane) => role_of(lane),
    };
    let text = if over {
        format!("{} · over", percent(load))
    } else {
        percent(load)
    };
    out.push(word(text, Face::Bold, role));
    if let Some(fullest) = bundle.fullest {
        let role = if is_over(fullest) {
            Role::Missed
        } else {
            Role::Mute
        };
        out.push(word(
            format!("fullest {}", percent(fullest)),
            Face::Plain,
            role,
        ));
    }
    out
}

/// Upper left corners worth trying: beside the middle of the longest piece first, outward of the lane.
fn spots(way: &Way, plan: &Plan, (wide, tall): (f64, f64)) -> Vec<(f64, f64)> {
    let mut pieces: Vec<&[(f64, f64)]> = way.windows(2).collect();
    let length = |piece: &[(f64, f64)]| (piece[1].0 - piece[0].0).hypot(piece[1].1 - piece[0].1);
    pieces.sort_by(|a, b| length(b).total_cmp(&length(a)));
    let centre = (
        f64::midpoint(plan.area.0, plan.area.2),
        f64::midpoint(plan.area.1, plan.area.3),
    );
    let gap = plan.pipe * 0.85;
    let mut out = Vec::new();
    for piece in pieces {
        for share in [0.5, 0.38, 0.62, 0.27, 0.73, 0.18, 0.82] {
            let x = piece[0].0 + (piece[1].0 - piece[0].0) * share;
            let y = piece[0].1 + (piece[1].1 - piece[0].1) * share;
            let (above, below) = ((x - wide / 2.0, y - tall - gap), (x - wide / 2.0, y + gap));
            let (left, right) = ((x - wide - gap, y - tall / 2.0), (x + gap, y - tall / 2.0));
            let vertical = if y < centre.1 {
                [above, below]
            } else {
                [below, above]
            };
            let lateral = if x < centre.0 {
                [left, right]
            } else {
                [right, left]
            };
            let level = (piece[0].1 - piece[1].1).abs() < 1.0;
            let upright = (piece[0].0 - piece[1].0).abs() < 1.0;
            if level {
                out.extend(vertical);
                // Between two boxes there may be too little room: then beyond their edges.
                let far = plan.node.1 / 2.0 + gap * 0.4;
                let (above, below) = ((x - wide / 2.0, y - tall - far), (x - wide / 2.0, y + far));
                out.extend(if y < centre.1 {
                    [above, below]
                } else {
                    [below, above]
                });
            } else if upright {
                out.extend(lateral);
            } else {
                out.extend(vertical.into_iter().chain(lateral));
                let more = gap * 1.6;
                out.extend([
                    (x + more, y - tall - more),
                    (x + more, y + more),
                    (x - wide - more, y + more),
                    (x - wide - more, y - tall - more),
                ]);
            }
        }
    }
    out
}

/// A few letters on the line itself, light on dark; where the line is too short for them, beside it at the end of a thin line.
fn numbered(
    sheet: &mut Sheet,
    way: &Way,
    text: &str,
    taken: &mut Vec<Area>,
    clear: &dyn Fn(Area) -> bool,
) {
    let em = sheet.em;
    let high = em * 0.75;
    let wide = (room(text, em, true) / 2.0 + em * 0.3).max(high);
    let along = |share: f64| {
        move |pair: &[(f64, f64)]| {
            (
                pair[0].0 + (pair[1].0 - pair[0].0) * share,
                pair[0].1 + (pair[1].1 - pair[0].1) * share,
            )
        }
    };
    let places = way
        .windows(2)
        .flat_map(|pair| [0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8].map(|share| along(share)(pair)));
    let area = |at: (f64, f64)| (at.0 - wide, at.1 - high, at.0 + wide, at.1 + high);
    let untaken = |at: &(f64, f64)| !taken.iter().any(|other| overlap(*other, area(*at)));
    let on_it = places.clone().find(untaken);
    let beside = || {
        let length = |pair: &&[(f64, f64)]| (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1);
        let longest = way
            .windows(2)
            .max_by(|a, b| length(a).total_cmp(&length(b)))?;
        let from = along(0.5)(longest);
        let rings = (3..=STEPS_BESIDE).flat_map(|step| {
            let far = f64::from(step) * em * 0.5;
            (0..16).map(move |turn| {
                let angle = f64::from(turn) * std::f64::consts::TAU / 16.0;
                (
                    from.0 + far * libm::cos(angle),
                    from.1 + far * libm::sin(angle),
                )
            })
        });
        let mut rings = rings.filter(|at| clear(area(*at)));
        rings.find(untaken).map(|at| (from, at))
    };
    let (leader, at) = match on_it {
        Some(at) => (None, at),
        None => match beside() {
            Some((from, at)) => (Some(from), at),
            None => return,
        },
    };
    if let Some(from) = leader {
        sheet
            .canvas
            .line([from, at], Pen::new(Role::Ink, (em * 0.08).max(1.0)));
    }
    let (left, top, ..) = area(at);
    let size = (2.0 * wide, 2.0 * high);
    sheet
        .canvas
        .fill(rounded((left, top), size, high), Role::Ink);
    sheet.label(
        (at.0, at.1 + em * 0.36),
        text,
        Face::Bold,
        Anchor::Middle,
        Role::OnFill,
    );
    taken.push(area(at));
}

/// So many halves of a line's height a number may stand off its line.
const STEPS_BESIDE: u32 = 20;

/// Crosses on the visible pieces of lost ways; drawn after the boxes.
fn crosses_on(sheet: &mut Sheet, way: &Way, areas: &[Area], wide: f64) {
    for pair in way.windows(2) {
        let length = (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1);
        let at = |share: f64| {
            (
                pair[0].0 + (pair[1].0 - pair[0].0) * share,
                pair[0].1 + (pair[1].1 - pair[0].1) * share,
            )
        };
        let half = wide * 0.36;
        let free = |place: &(f64, f64)| {
            let area = (
                place.0 - half,
                place.1 - half,
                place.0 + half,
                place.1 + half,
            );
            !areas.iter().any(|other| overlap(*other, area))
        };
        if length < wide * 4.0 {
            continue;
        }
        // Off the middle second, where a mesh crosses.
        if let Some((x, y)) = [0.5, 0.6, 0.4, 0.3, 0.7].into_iter().map(at).find(free) {
            let pen = Pen::new(Role::Mute, wide * 0.14);
            sheet
                .canvas
                .line([(x - half, y - half), (x + half, y + half)], pen);
            sheet
                .canvas
                .line([(x - half, y + half), (x + half, y - half)], pen);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    /// A line that is too short for its number has it beside it.
    #[test]
    fn no_line_is_without_its_number() {
        let mut sheet = Sheet::new(&sample_report(), Format::Slide, 800.0, String::new());
        let way: Way = vec![(300.0, 300.0), (320.0, 300.0)];
        let unit = (200.0, 250.0, 400.0, 350.0);
        let mut taken = vec![unit];
        numbered(&mut sheet, &way, "9\u{202F}%", &mut taken, &|_| true);
        assert_eq!(taken.len(), 2);
        assert!(!overlap(taken[1], unit), "{:?}", taken[1]);
    }
}
