//! Lanes, pipes, boxes and labels on paper.

use crate::outcome::{Case, Lane, Shape};
use crate::render::chart::canvas::{Anchor, Face, Mark, Pen, rounded};
use crate::render::chart::frame::Sheet;
use crate::render::chart::palette::Role;
use crate::render::chart::place::Area;
use crate::render::chart::text::{fit, room, short, width, wrap_at_most};
use crate::render::number::is_over;

use super::fold::{Bundle, Drawn, Site};
use super::layout::{FRAME_GAP, FRAME_HEAD, FRAME_SIDES, FRAME_SIDES_PHONE, Plan};
use super::route::Way;

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
        // Narrow lanes of a phone have room for the letter only; lost parts say so themselves.
        let space = sheet.right() - at.0 - em * 1.2;
        if plan.upright && room(text, em, true) > space {
            continue;
        }
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

pub(super) fn role_of(lane: Lane) -> Role {
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
    let role = if is_over(load) {
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
        let whole = format!("chassis {frame}");
        let text = [whole.as_str(), frame]
            .into_iter()
            .find(|text| room(text, em, false) <= size.0 - em)
            .map_or_else(|| fit(frame, em, false, size.0 - em), str::to_owned);
        sheet.label(
            (left + em * 0.6, top + em * 1.3),
            &text,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
        let mut y = top + em * FRAME_HEAD;
        let inside = if plan.upright {
            FRAME_SIDES_PHONE.0
        } else {
            FRAME_SIDES.0
        };
        for one in &unit.boxes {
            node(sheet, one, unit.lane, (left + em * inside, y), plan.node);
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
        // Those behind stand for the ones that are lost.
        let gone = drawn.partly && shift > 0.0;
        let pen = match gone {
            true => Pen::new(Role::Mute, em * 0.1).dashed(em * 0.12, em * 0.25),
            false => pen,
        };
        sheet.canvas.line(outline(shift), pen);
    }
    node_words(sheet, drawn, at, size);
}

/// Name and second line of a box.
fn node_words(sheet: &mut Sheet, drawn: &Drawn, at: (f64, f64), size: (f64, f64)) {
    let em = sheet.em;
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
        let lines = [detail, short(detail)].map(|text| wrap_at_most(text, em, false, space, most));
        let whole = |lines: &Vec<String>| !lines.iter().any(|line| line.contains('…'));
        lines.into_iter().find(whole).unwrap_or_default()
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
