//! A switch-over as one workload lived it: path states over completions over latency, on one time axis,
//! with numbered events through all of them.

mod panels;
mod words;

use crate::outcome::{Cell, MeasureKind, NamedEvent, PathLane, Report, Switch, SwitchWorkload};

use crate::render::number::is_over;

use super::axis::Scale;
use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, side_role};
use super::palette::Role;
use super::place::{Wish, spread};
use super::text::{bare, fit, room};
use super::{Drawing, Format};

/// Events numbered at most.
const EVENTS_MOST: usize = 9;
/// Lanes drawn at most.
const LANES_MOST: usize = 6;
/// And on a slide.
const LANES_MOST_SLIDE: usize = 3;

/// What a timeline is drawn from.
struct Scene<'a> {
    switch: &'a Switch,
    workload: &'a SwitchWorkload,
    /// With their numbers in the table of events, from 1.
    events: Vec<(usize, &'a NamedEvent)>,
    lanes: Vec<&'a PathLane>,
    /// The steady latency promise after the loss: percentile (`None`: mean), microseconds, as written.
    promise: Option<(Option<f64>, f64, String)>,
    /// A part is asked for more than it has in this case, in its busiest 20 ms.
    over: bool,
    /// The promise on the longest I/O: seconds, as written.
    longest: Option<(f64, String)>,
}

pub(super) fn draw(
    report: &Report,
    case: usize,
    workload: usize,
    format: Format,
) -> Option<Drawing> {
    let mut scene = scene(report, case, workload)?;
    if format == Format::Slide {
        scene.lanes.truncate(LANES_MOST_SLIDE);
    }
    let mut sheet = Sheet::new(report, format, 1100.0, words::finding(&scene));
    let em = sheet.em;
    let phone = format == Format::Phone;
    let left = sheet.side
        + if phone {
            room("100 000", em, false) + em * 0.5
        } else {
            names_width(&scene, em).min(sheet.width * 0.24)
        };
    let right = sheet.right() - if phone { em } else { sheet.width * 0.175 };
    let x = Scale::linear((scene.switch.from_s, scene.switch.to_s), (left, right));
    let lane = if phone { em * 2.9 } else { em * 1.75 };
    let head = em * 2.2;
    let lanes = scene.lanes.len() as f64 * lane;
    let notes = if phone {
        em * 1.25 * panels::NOTES_MOST as f64
    } else {
        0.0
    };
    let axis = em * 2.9;
    let gap = em * 2.6 + notes;
    let wanted = head + lanes + 2.0 * gap + em * 23.0 + axis;
    let body = sheet.height(wanted);
    let plots = (body - head - lanes - 2.0 * gap - axis).max(em * 6.0);
    let tops = (
        sheet.top + head + lanes + gap,
        sheet.top + head + lanes + 2.0 * gap + plots * 0.43,
    );
    let lows = (tops.0 + plots * 0.43, tops.1 + plots * 0.57);
    let frame = panels::Frame {
        x,
        left,
        right,
        phone,
    };
    guides(&mut sheet, &scene, &x, lows.1);
    for (index, path) in scene.lanes.iter().enumerate() {
        let top = sheet.top + head + index as f64 * lane;
        let space = if phone {
            sheet.right() - sheet.side
        } else {
            left - sheet.side - em * 0.5
        };
        let name = lane_name(&scene.lanes, path, em, space);
        one_lane(&mut sheet, (path, &name), &x, (top, lane), phone);
    }
    panels::completions(&mut sheet, &scene, &frame, (tops.0, lows.0));
    panels::latency(&mut sheet, &scene, &frame, (tops.1, lows.1));
    time_axis(&mut sheet, &scene, &frame, lows.1);
    let description = words::description(&scene);
    sheet.finish(
        &format!("timeline-{case}-{workload}"),
        body,
        description,
        Plotted::Yes,
    )
}

/// Ticks and title of the time axis below everything.
fn time_axis(sheet: &mut Sheet, scene: &Scene<'_>, frame: &panels::Frame, low: f64) {
    let em = sheet.em;
    for tick in frame.x.ticks(if frame.phone { 5 } else { 9 }) {
        let at = frame.x.place(tick);
        sheet
            .canvas
            .line([(at, low), (at, low + em * 0.3)], Pen::new(Role::Mute, 1.0));
        sheet.label(
            (at, low + em * 1.4),
            &bare(tick),
            Face::Plain,
            Anchor::Middle,
            Role::Mute,
        );
    }
    let title = fit(
        &format!(
            "seconds {} ({})",
            scene.switch.counted_from.after(),
            scene.switch.case.name
        ),
        em,
        true,
        sheet.right() - frame.left,
    );
    sheet.label(
        (frame.left, low + em * 2.7),
        &title,
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
}

fn scene(report: &Report, case: usize, workload: usize) -> Option<Scene<'_>> {
    let switch = report.switches.get(case)?;
    let figures = switch.workloads.get(workload)?;
    if figures.bins.is_empty()
        || switch.to_s.partial_cmp(&switch.from_s) != Some(std::cmp::Ordering::Greater)
    {
        return None;
    }
    let events = numbered(switch, workload)
        .into_iter()
        .filter_map(|index| Some((index + 1, switch.events.get(index)?)))
        .collect();
    let lanes = switch
        .lanes
        .iter()
        .filter(|lane| lane.workloads.is_empty() || lane.workloads.contains(&figures.name))
        .take(LANES_MOST)
        .collect();
    let column = report
        .matrix
        .cases
        .iter()
        .position(|column| *column == switch.case);
    let over = report.parts.iter().any(|part| {
        let used = column.and_then(|column| part.cases.get(column)?.as_ref());
        used.is_some_and(|used| is_over(used.peak_percent))
    });
    let cell = |row: &'_ crate::outcome::Row| -> Option<Cell> { row.cells.get(column?)?.clone() };
    let rows = || {
        report
            .matrix
            .rows
            .iter()
            .filter(|row| row.workload == figures.name)
    };
    let promise = rows()
        .filter(|row| !row.switching)
        .filter_map(|row| match row.measure {
            MeasureKind::Quantile(q) => Some((Some(q), cell(row)?)),
            MeasureKind::Mean => Some((None, cell(row)?)),
            _ => None,
        })
        .filter(|(_, cell)| cell.unit == "us" && cell.target > 0.0)
        // p99 before other percentiles before the mean: the panel shows p99.
        .max_by_key(|(q, _)| {
            if *q == Some(0.99) {
                2
            } else {
                i32::from(q.is_some())
            }
        })
        .map(|(q, cell)| (q, cell.target, cell.target_text));
    let longest = rows()
        .filter(|row| row.switching && row.measure == MeasureKind::LongestIo)
        .find_map(|row| cell(row).map(|cell| (cell.target, cell.target_text)));
    Some(Scene {
        over,
        switch,
        workload: figures,
        events,
        lanes,
        promise,
        longest,
    })
}

/// Indices of the events that are numbered: those of this workload or of none; if there are too many,
/// scripted ones and those that ended a stall first.
pub(super) fn numbered(switch: &Switch, workload: usize) -> Vec<usize> {
    let name = switch
        .workloads
        .get(workload)
        .map(|workload| workload.name.as_str());
    let mut out: Vec<usize> = (0..switch.events.len())
        .filter(|&index| {
            let event = &switch.events[index];
            event.t_s.is_finite()
                && event.t_s >= switch.from_s
                && event.t_s <= switch.to_s
                && event.workload.as_deref().is_none_or(|of| Some(of) == name)
        })
        .collect();
    if out.len() > EVENTS_MOST {
        let weight = |index: &usize| {
            let event = &switch.events[*index];
            (
                !event.ended_stall,
                event.timer.is_some(),
                event.workload.is_none(),
                *index,
            )
        };
        out.sort_by_key(weight);
        out.truncate(EVENTS_MOST);
        out.sort_unstable();
    }
    out
}

fn names_width(scene: &Scene<'_>, em: f64) -> f64 {
    let names = scene.lanes.iter().map(|lane| room(&lane.name, em, true));
    names.fold(room("100 000", em, false), f64::max) + em
}

/// Numbers of the events on top, their dotted lines through everything, and their words where there is
/// room beside the number.
fn guides(sheet: &mut Sheet, scene: &Scene<'_>, x: &Scale, low: f64) {
    let em = sheet.em;
    let (size, y) = (em * 1.35, sheet.top + em * 1.1);
    let wishes: Vec<Wish> = scene
        .events
        .iter()
        .map(|(number, event)| Wish {
            at: x.place(event.t_s),
            size: box_width(*number, em) + size * 0.1,
        })
        .collect();
    let ends = (x.place(scene.switch.from_s), x.place(scene.switch.to_s));
    let middles = spread(&wishes, ends.0, ends.1 + em);
    for ((wish, middle), (number, _)) in wishes.iter().zip(&middles).zip(&scene.events) {
        let top = y + em * 0.45;
        let wide = box_width(*number, em);
        let pen = Pen::new(Role::Mute, 1.5).dashed(1.5, 3.5);
        sheet.canvas.line(
            [(*middle, top), (wish.at, top + em * 0.6), (wish.at, low)],
            pen,
        );
        sheet
            .canvas
            .rect((middle - wide / 2.0, y - em), (wide, em * 1.4), Role::Ink);
        let number = number.to_string();
        sheet.label(
            (*middle, y),
            &number,
            Face::Bold,
            Anchor::Middle,
            Role::OnFill,
        );
    }
    event_words(sheet, scene, &middles, y);
}

/// Width of the box of an event's number.
fn box_width(number: usize, em: f64) -> f64 {
    (room(&number.to_string(), em, true) + em * 0.5).max(em * 1.35)
}

/// Words beside the numbers: what ended the stall first, then what was scripted. Where none fit the number
/// stands alone, and the table of events has the words.
fn event_words(sheet: &mut Sheet, scene: &Scene<'_>, middles: &[f64], y: f64) {
    let em = sheet.em;
    let half = |index: usize| box_width(scene.events[index].0, em) / 2.0;
    let mut taken: Vec<(f64, f64)> = middles
        .iter()
        .enumerate()
        .map(|(index, middle)| (middle - half(index), middle + half(index)))
        .collect();
    let mut order: Vec<usize> = (0..middles.len()).collect();
    order.sort_by_key(|index| {
        (
            !scene.events[*index].1.ended_stall,
            scene.events[*index].1.timer.is_some(),
            *index,
        )
    });
    for index in order {
        let beside = half(index) + em * 0.3;
        let spot = words::event(scene.events[index].1, scene.workload)
            .into_iter()
            .find_map(|text| {
                let wide = room(&text, em, true);
                let right = (middles[index] + beside, middles[index] + beside + wide);
                let left = (middles[index] - beside - wide, middles[index] - beside);
                let sides = if index == 0 {
                    [left, right]
                } else {
                    [right, left]
                };
                let free = sides.into_iter().find(|area| {
                    let inside = area.0 >= sheet.side && area.1 <= sheet.right();
                    inside
                        && taken.iter().all(|other| {
                            area.1 + em * 0.2 <= other.0 || other.1 + em * 0.2 <= area.0
                        })
                });
                free.map(|area| (text, area))
            });
        if let Some((text, area)) = spot {
            let anchor = if area.0 < middles[index] {
                Anchor::End
            } else {
                Anchor::Start
            };
            let at = if anchor == Anchor::End {
                area.1
            } else {
                area.0
            };
            sheet.label((at, y), &text, Face::Bold, anchor, Role::Ink);
            taken.push(area);
        }
    }
}

/// The name of a lane, shorter where there is no room for it and no other lane of the drawing would be called the same: the drawing is that of
/// one workload, and says of which.
fn lane_name(lanes: &[&PathLane], lane: &PathLane, em: f64, space: f64) -> String {
    let whole = fit(&lane.name, em, true, space);
    if whole == lane.name {
        return whole;
    }
    let protocol = |lane: &PathLane| {
        let last = lane.name.rsplit(", ").next();
        format!(
            "{}paths, {}",
            side_before(lane.side),
            last.unwrap_or_default()
        )
    };
    let side = |lane: &PathLane| format!("{}paths", side_before(lane.side));
    let shorter: [&dyn Fn(&PathLane) -> String; 2] = [&protocol, &side];
    let mut found = shorter.iter().map(|of| (of(lane), of));
    let fits = found.find(|(name, of)| {
        let alike = lanes.iter().filter(|other| of(other) == *name);
        alike.count() == 1 && fit(name, em, true, space) == *name
    });
    fits.map_or(whole, |(name, _)| name)
}

/// `A `, or nothing where paths are of no side.
fn side_before(side: Option<char>) -> String {
    side.map_or_else(String::new, |side| format!("{side} "))
}

fn one_lane(
    sheet: &mut Sheet,
    (lane, name): (&PathLane, &str),
    x: &Scale,
    (top, step): (f64, f64),
    phone: bool,
) {
    let em = sheet.em;
    let role = side_role(lane.side);
    let high = em * 1.4;
    let y = top + step - high - em * 0.1;
    let base = y + high / 2.0 + em * 0.36;
    let start = lane.spans.first().map_or(0.0, |span| x.place(span.from_s));
    if phone {
        // On paper, so that the dotted lines of the events do not run through it.
        let plate = (sheet.side, y - em * 1.3);
        sheet
            .canvas
            .rect(plate, (room(name, em, true), em * 1.25), Role::Paper);
        sheet.label(
            (sheet.side, y - em * 0.35),
            name,
            Face::Bold,
            Anchor::Start,
            role,
        );
    } else {
        sheet.label(
            (start - em * 0.6, base),
            name,
            Face::Bold,
            Anchor::End,
            role,
        );
    }
    for span in &lane.spans {
        let (from, to) = (x.place(span.from_s), x.place(span.to_s));
        let (area, size) = ((from, y), (to - from, high));
        let ink = span_box(sheet, &span.kind, role, area, size);
        let text = words::state(&span.state);
        let space = to - from - em * 0.7;
        let mut shown = fit(&text, em, true, space);
        // How many are up, where there is no room for what the others are.
        if let Some((first, _)) = text.split_once(", ")
            && shown.contains('…')
        {
            shown = fit(first, em, true, space);
        }
        // A word cut to nothing says nothing.
        if !shown.contains('…') || shown.chars().count() > 8 {
            sheet.label(
                (f64::midpoint(from, to), base),
                &shown,
                Face::Bold,
                Anchor::Middle,
                ink,
            );
        }
    }
}

/// The box of a state; returns the colour of its words.
fn span_box(sheet: &mut Sheet, kind: &str, role: Role, area: (f64, f64), size: (f64, f64)) -> Role {
    let em = sheet.em;
    match kind {
        "up" => {
            sheet.canvas.rect(area, size, role);
            Role::OnFill
        }
        "blocked" => {
            sheet.canvas.rect(area, size, Role::Paper);
            sheet.canvas.frame(
                area,
                size,
                Pen::new(role, em * 0.12).dashed(em * 0.4, em * 0.25),
            );
            role
        }
        "failed" => {
            sheet.canvas.rect(area, size, Role::Paper);
            sheet
                .canvas
                .frame(area, size, Pen::new(Role::Use2, em * 0.1));
            Role::Mute
        }
        _ => {
            sheet.canvas.rect(area, size, Role::Pipe);
            sheet.canvas.frame(area, size, Pen::new(role, em * 0.1));
            Role::Ink
        }
    }
}
