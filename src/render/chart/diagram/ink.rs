//! Lanes, pipes, boxes and labels on paper.

use crate::outcome::{Case, Lane, Shape};
use crate::render::chart::canvas::{Anchor, Face, Mark, Pen, rounded};
use crate::render::chart::frame::Sheet;
use crate::render::chart::palette::Role;
use crate::render::chart::place::{Area, crosses, overlap};
use crate::render::chart::text::{fit, percent, room, short, width, wrap_at_most};

use super::fold::{Bundle, Drawn, Site};
use super::layout::{FRAME_GAP, FRAME_HEAD, Plan};
use super::route::{Way, grown};

/// Tinted lanes with their letters; the one that is lost says so.
pub(super) fn lanes(sheet: &mut Sheet, plan: &Plan, case: &Case) {
    let em = sheet.em;
    let looks = [
        ('A', Role::A, Mark::Round, None),
        ('B', Role::B, Mark::Square, Some((em * 0.6, em * 0.4))),
    ];
    for (lane, (letter, role, mark, dash)) in plan.lanes.iter().zip(looks) {
        let Some((left, top, right, low)) = *lane else {
            continue;
        };
        sheet
            .canvas
            .rect((left, top), (right - left, low - top), Role::Panel);
        if !plan.upright {
            let edge = if letter == 'A' { low } else { top };
            let pen = Pen {
                role,
                width: em * 0.12,
                dash,
            };
            sheet.canvas.line([(left, edge), (right, edge)], pen);
        }
        let lost = case.lost == Some(letter);
        let at = badge(plan, letter, em, lane.unwrap_or(plan.area));
        let tone = if lost { Role::Mute } else { role };
        sheet
            .canvas
            .mark((at.0, at.1 - em * 0.36), mark, em * 0.72, tone, false);
        sheet.label(
            at,
            &letter.to_string(),
            Face::Bold,
            Anchor::Middle,
            Role::OnFill,
        );
        let text = if lost {
            format!("fabric {letter} · lost")
        } else {
            format!("fabric {letter}")
        };
        let text = if plan.upright && lost { "lost" } else { &text };
        sheet.label(
            (at.0 + em * 1.2, at.1),
            text,
            Face::Bold,
            Anchor::Start,
            tone,
        );
    }
}

/// Where a lane's letter stands: outermost, first.
fn badge(plan: &Plan, letter: char, em: f64, (left, top, _, low): Area) -> (f64, f64) {
    if letter == 'A' || plan.upright {
        (left + em * 1.3, top + em * 1.55)
    } else {
        (left + em * 1.3, low - em * 0.85)
    }
}

/// Areas of the lanes' letters and words, which labels and ways keep clear of.
pub(super) fn badges(plan: &Plan, em: f64) -> Vec<Area> {
    let area = |(lane, letter): (&Option<Area>, char)| {
        let at = badge(plan, letter, em, (*lane)?);
        Some((
            at.0 - em,
            at.1 - em * 1.3,
            at.0 + em * 1.2 + room("fabric A · lost", em, true),
            at.1 + em * 0.5,
        ))
    };
    plan.lanes.iter().zip(['A', 'B']).filter_map(area).collect()
}

fn role_of(lane: Lane) -> Role {
    match lane {
        Lane::A => Role::A,
        Lane::B => Role::B,
        Lane::Middle => Role::Use,
    }
}

/// The whole capacity pale, the share used as a core; lost ones dotted and crossed.
pub(super) fn pipe(sheet: &mut Sheet, bundle: &Bundle, way: &Way, wide: f64) {
    let Some(load) = bundle.load else {
        sheet.canvas.line(
            way.clone(),
            Pen::new(Role::Mute, wide * 0.13).dashed(wide * 0.14, wide * 0.35),
        );
        return;
    };
    let thin = (wide * 0.1).max(1.0);
    sheet
        .canvas
        .line(way.clone(), Pen::new(Role::Use2, wide + thin));
    sheet
        .canvas
        .line(way.clone(), Pen::new(Role::Pipe, wide - thin));
    let core = (wide * load / 100.0).clamp(wide * 0.1, wide * 1.45);
    let role = if load > 100.0 {
        Role::Missed
    } else {
        role_of(bundle.lane)
    };
    let pen = Pen::new(role, core);
    let pen = if bundle.lane == Lane::B {
        pen.dashed(wide * 0.95, wide * 0.4)
    } else {
        pen
    };
    if load > 0.0 {
        sheet.canvas.line(way.clone(), pen);
    }
}

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

/// Boxes, and the frames of chassis.
pub(super) fn units(sheet: &mut Sheet, site: &Site, plan: &Plan) {
    let em = sheet.em;
    for (index, unit) in site.units.iter().enumerate() {
        let (left, top, right, low) = plan.area_of(index);
        let Some(frame) = &unit.frame else {
            node(sheet, &unit.boxes[0], unit.lane, (left, top), plan.node);
            continue;
        };
        let size = (right - left, low - top);
        sheet
            .canvas
            .fill(rounded((left, top), size, em * 0.6), Role::Paper);
        let mut outline = rounded((left, top), size, em * 0.6);
        outline.push(outline[0]);
        sheet.canvas.line(
            outline,
            Pen::new(Role::Use2, em * 0.1).dashed(em * 0.35, em * 0.25),
        );
        let text = fit(&format!("chassis {frame}"), em, false, size.0 - em);
        sheet.label(
            (left + em * 0.6, top + em * 1.3),
            &text,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
        let mut y = top + em * FRAME_HEAD;
        for one in &unit.boxes {
            node(sheet, one, unit.lane, (left + em * 0.6, y), plan.node);
            y += plan.node.1 + em * FRAME_GAP;
        }
    }
}

fn node(sheet: &mut Sheet, drawn: &Drawn, lane: Lane, at: (f64, f64), size: (f64, f64)) {
    let em = sheet.em;
    // A round, B square; hosts and arrays between.
    let radius = match (lane, drawn.shape) {
        (Lane::A, _) => size.1 * 0.45,
        (Lane::B, _) => 0.0,
        (Lane::Middle, Shape::Array) => em * 0.2,
        (Lane::Middle, _) => em * 0.5,
    };
    let tone = match (drawn.lost, lane) {
        (true, _) => Role::Mute,
        (_, Lane::Middle) => Role::Ink,
        (_, lane) => role_of(lane),
    };
    let pen = Pen::new(tone, em * if drawn.lost { 0.1 } else { 0.14 });
    let pen = if drawn.lost {
        pen.dashed(em * 0.12, em * 0.25)
    } else {
        pen
    };
    let outline = |shift: f64| {
        let mut points = rounded((at.0 + shift, at.1 - shift), size, radius);
        points.push(points[0]);
        points
    };
    // Two offset outlines behind: a family drawn once.
    for shift in if drawn.count > 1 {
        vec![em * 0.44, em * 0.22, 0.0]
    } else {
        vec![0.0]
    } {
        sheet.canvas.fill(outline(shift), Role::Paper);
        sheet.canvas.line(outline(shift), pen);
    }
    let space = size.0 - em * 0.5;
    let detail = if drawn.lost { "lost" } else { &drawn.detail };
    let most = if size.1 > em * 3.9 { 2 } else { 1 };
    let lines = if detail.is_empty() {
        Vec::new()
    } else if most == 1 {
        // A word cut in its middle says less than none.
        let whole = [detail, short(detail)]
            .into_iter()
            .find(|text| room(text, em, false) <= space);
        whole.map(str::to_owned).into_iter().collect()
    } else {
        wrap_at_most(detail, em, false, space, most)
    };
    let step = em * 1.18;
    let x = at.0 + size.0 / 2.0;
    let mut y = at.1 + size.1 / 2.0 - lines.len() as f64 * step / 2.0 + em * 0.36;
    let name = fit(&drawn.name, em, true, space * 1.08);
    sheet.label(
        (x, y),
        &name,
        Face::Bold,
        Anchor::Middle,
        if drawn.lost { Role::Mute } else { Role::Ink },
    );
    if drawn.lost {
        let half = width(&name, em, true) / 2.0;
        sheet.canvas.line(
            [(x - half, y - em * 0.32), (x + half, y - em * 0.32)],
            Pen::new(Role::Mute, em * 0.1),
        );
    }
    for line in &lines {
        y += step;
        sheet.label((x, y), line, Face::Plain, Anchor::Middle, Role::Mute);
    }
}

/// Labels of the bundles that carry, each where nothing else is; returns those that found no place, which
/// then carry a number. Crosses of the lost ones as well.
pub(super) fn labels(sheet: &mut Sheet, site: &Site, plan: &Plan, ways: &[Way]) -> Vec<usize> {
    let em = sheet.em;
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
            let inside = area.0 >= plan.area.0
                && area.1 >= plan.area.1
                && area.2 <= plan.area.2
                && area.3 <= plan.area.3;
            inside
                && !taken.iter().any(|other| overlap(*other, area))
                && !ways.iter().zip(&site.bundles).any(|(way, bundle)| {
                    let half = if bundle.load.is_some() {
                        plan.pipe * 0.75
                    } else {
                        2.0
                    };
                    crosses(way, grown(area, half))
                })
                && !edges(plan).iter().any(|edge| crosses(edge, area))
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
        numbered(sheet, &ways[index], number + 1, &mut taken);
    }
    left_over
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
    let over = load > 100.0;
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

/// A number on the line itself, on paper.
fn numbered(sheet: &mut Sheet, way: &Way, number: usize, taken: &mut Vec<Area>) {
    let em = sheet.em;
    let half = em * 0.75;
    let text = number.to_string();
    let places = way.windows(2).flat_map(|pair| {
        [0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8].map(|share| {
            (
                pair[0].0 + (pair[1].0 - pair[0].0) * share,
                pair[0].1 + (pair[1].1 - pair[0].1) * share,
            )
        })
    });
    let area = |at: (f64, f64)| (at.0 - half, at.1 - half, at.0 + half, at.1 + half);
    let free = places
        .clone()
        .find(|at| !taken.iter().any(|other| overlap(*other, area(*at))));
    if let Some(at) = free {
        sheet.canvas.disc(at, half, Role::Ink);
        sheet.label(
            (at.0, at.1 + em * 0.36),
            &text,
            Face::Bold,
            Anchor::Middle,
            Role::OnFill,
        );
        taken.push(area(at));
    }
}
