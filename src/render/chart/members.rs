//! Load by member of the link groups with several members: how evenly flows share them.

use crate::outcome::{DirectionFigures, Report};
use crate::render::number::is_over;

use super::axis::Scale;
use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, side_role, with_case};
use super::palette::Role;
use super::rows::percent_scale;
use super::text::{bare, fit, percent, percent_whole, room, sig};
use super::{Drawing, Format};

/// Groups drawn at most on a page or a phone, and members of one group.
const GROUPS_MOST: usize = 12;
const MEMBERS_MOST: usize = 16;
/// Height of a member's row where nothing stretches it, em.
const ROW: f64 = 1.45;

/// One direction of one group: its members.
struct Group<'a> {
    name: String,
    speed: &'a str,
    tier: &'a str,
    side: Option<char>,
    members: Vec<&'a DirectionFigures>,
}

impl Group<'_> {
    fn fullest_peak(&self) -> f64 {
        self.members
            .iter()
            .map(|member| member.asked_peak_percent)
            .filter(|peak| peak.is_finite())
            .fold(0.0, f64::max)
    }

    /// Share of the fullest member, and an even one, per cent of the bytes.
    fn shares(&self) -> (f64, f64) {
        let bytes =
            |member: &DirectionFigures| (member.payload_bytes + member.overhead_bytes) as f64;
        let all: f64 = self.members.iter().map(|member| bytes(member)).sum();
        let most = self
            .members
            .iter()
            .map(|member| bytes(member))
            .fold(0.0, f64::max);
        let even = 100.0 / self.members.len() as f64;
        (if all > 0.0 { 100.0 * most / all } else { even }, even)
    }
}

pub(super) fn draw(report: &Report, case: usize, format: Format) -> Option<Drawing> {
    let steady = report.steady.get(case)?;
    let mut groups = groups(&steady.directions);
    if groups.is_empty() {
        return None;
    }
    let with = with_case(&steady.case);
    let mut sheet = Sheet::new(report, format, 800.0, finding(&groups, &with));
    let description = description(&groups, &with);
    let em = sheet.em;
    groups.truncate(GROUPS_MOST);
    let (head, tail) = (em * 2.2, em * 3.2);
    let rows = |group: &Group<'_>| group.members.len().min(MEMBERS_MOST) as f64;
    let tall = |group: &Group<'_>| em * 2.3 + rows(group) * em * ROW;
    let space = sheet.height(f64::INFINITY) - head - tail;
    keep(&mut groups, space, tall);
    // A slide is filled: few members get high bars.
    let spare = space - groups.iter().map(tall).sum::<f64>();
    let all: f64 = groups.iter().map(rows).sum();
    let row = match format {
        Format::Slide => em * ROW + (spare / all).clamp(0.0, em * 2.6),
        Format::Page | Format::Phone => em * ROW,
    };
    let tall = |group: &Group<'_>| em * 2.3 + rows(group) * row;
    let label = room("member 88", em, false) + em * 0.7;
    let (left, right) = (
        sheet.side + label,
        sheet.right() - room("119 % (mean 66.3)", em, true) - em * 0.6,
    );
    let peak = groups.iter().map(Group::fullest_peak).fold(0.0, f64::max);
    let scale = percent_scale(peak, left, right);
    let top = sheet.top + head;
    let low = groups.iter().fold(top, |low, group| low + tall(group));
    key(&mut sheet);
    let mut y = top;
    for group in &groups {
        ticks(
            &mut sheet,
            &scale,
            (y + em * 1.8, y + tall(group) - em * 0.3),
        );
        one(&mut sheet, group, (y, row), |value| scale.place(value));
        y += tall(group);
    }
    for tick in scale.ticks(4) {
        let text = bare(tick);
        sheet.label(
            (scale.place(tick), low + em * 1.1),
            &text,
            Face::Plain,
            Anchor::Middle,
            Role::Mute,
        );
    }
    sheet.label(
        (left, low + em * 2.5),
        "busy, % of the member",
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
    let body = low + tail - sheet.top;
    sheet.finish(&format!("members-{case}"), body, description, Plotted::Yes)
}

/// Groups that fit into `space`, the first at least.
fn keep(groups: &mut Vec<Group<'_>>, mut space: f64, tall: impl Fn(&Group<'_>) -> f64) {
    let mut shown = 0;
    for group in groups.iter() {
        space -= tall(group);
        if space < 0.0 {
            break;
        }
        shown += 1;
    }
    groups.truncate(shown.max(1));
}

/// Grid lines behind the bars of a group; 100 % is heavy.
fn ticks(sheet: &mut Sheet, scale: &Scale, (from, to): (f64, f64)) {
    let heavy = Pen::new(Role::Ink, sheet.em * 0.15);
    for tick in scale.ticks(4) {
        let pen = if tick == 100.0 {
            heavy
        } else {
            Pen::new(Role::Grid, 1.0)
        };
        let x = scale.place(tick);
        sheet.canvas.line([(x, from), (x, to)], pen);
    }
    let x = scale.place(100.0);
    sheet.canvas.line([(x, from), (x, to)], heavy);
}

/// For each tier the direction and instance with the fullest member.
fn groups(directions: &[DirectionFigures]) -> Vec<Group<'_>> {
    let mut all: Vec<Group<'_>> = Vec::new();
    for direction in directions {
        let Some((name, _)) = direction.name.rsplit_once('/') else {
            continue;
        };
        match all.iter_mut().find(|group| group.name == name) {
            Some(group) => group.members.push(direction),
            None => all.push(Group {
                name: name.to_owned(),
                speed: &direction.speed,
                tier: &direction.family,
                side: direction.side,
                members: vec![direction],
            }),
        }
    }
    all.retain(|group| group.members.len() > 1);
    all.sort_by(|a, b| {
        b.fullest_peak()
            .total_cmp(&a.fullest_peak())
            .then_with(|| a.name.cmp(&b.name))
    });
    let mut out: Vec<Group<'_>> = Vec::new();
    for group in all {
        if !out.iter().any(|kept| kept.tier == group.tier) {
            out.push(group);
        }
    }
    out
}

fn key(sheet: &mut Sheet) {
    let em = sheet.em;
    let y = sheet.top + em * 1.1;
    let (w, h) = (em * 1.4, em * 0.8);
    let mut x = sheet.side;
    sheet.canvas.rect((x, y - h), (w, h), Role::Use);
    sheet.label(
        (x + w + em * 0.4, y),
        "mean",
        Face::Plain,
        Anchor::Start,
        Role::Ink,
    );
    x += w + em * 1.6 + room("mean", em, false);
    sheet
        .canvas
        .frame((x, y - h), (w, h), Pen::new(Role::Use, em * 0.12));
    sheet.label(
        (x + w + em * 0.4, y),
        "busiest 20 ms",
        Face::Plain,
        Anchor::Start,
        Role::Ink,
    );
    x += w + em * 1.6 + room("busiest 20 ms", em, false);
    let even = Pen::new(Role::Ink, em * 0.12).dashed(em * 0.22, em * 0.18);
    sheet.canvas.line([(x, y - em), (x, y + em * 0.2)], even);
    sheet.label(
        (x + em * 0.4, y),
        "if shared evenly",
        Face::Plain,
        Anchor::Start,
        Role::Ink,
    );
}

/// A group from `top` on, each member `row` high.
fn one(sheet: &mut Sheet, group: &Group<'_>, (top, row): (f64, f64), place: impl Fn(f64) -> f64) {
    let em = sheet.em;
    let (most, even) = group.shares();
    let space = sheet.right() - sheet.side;
    let share = format!(
        "fullest {} of the bytes, even {}",
        percent(most),
        percent(even)
    );
    let name = format!("{}, {}", group.name, group.speed);
    let beside = room(&share, em, false) + em;
    let whole = room(&name, em, true) + beside <= space;
    let name = fit(&name, em, true, if whole { space - beside } else { space });
    sheet.label(
        (sheet.side, top + em * 1.2),
        &name,
        Face::Bold,
        Anchor::Start,
        side_ink(group.side),
    );
    if whole {
        sheet.label(
            (sheet.right(), top + em * 1.2),
            &share,
            Face::Plain,
            Anchor::End,
            Role::Mute,
        );
    }
    let first = top + em * 1.8;
    let count = group.members.len();
    let peaks: f64 = group
        .members
        .iter()
        .map(|member| member.asked_peak_percent)
        .sum();
    for (index, figures) in group.members.iter().take(MEMBERS_MOST).enumerate() {
        let text = if index + 1 == MEMBERS_MOST && count > MEMBERS_MOST {
            format!("{} more", count - MEMBERS_MOST + 1)
        } else {
            format!("member {}", index + 1)
        };
        member(
            sheet,
            figures,
            (&text, group.side),
            (first + index as f64 * row, row - em * 0.45),
            &place,
        );
    }
    let x = place(peaks / count as f64);
    let low = first + count.min(MEMBERS_MOST) as f64 * row - em * 0.2;
    let even = Pen::new(Role::Ink, em * 0.12).dashed(em * 0.22, em * 0.18);
    sheet.canvas.line([(x, first - em * 0.2), (x, low)], even);
}

/// The bar of one member, with its upper edge at `y` and so high.
fn member(
    sheet: &mut Sheet,
    figures: &DirectionFigures,
    (text, side): (&str, Option<char>),
    (y, high): (f64, f64),
    place: &impl Fn(f64) -> f64,
) {
    let em = sheet.em;
    let (mean, peak) = (figures.utilization_percent, figures.asked_peak_percent);
    let (left, full, role) = (place(0.0), place(100.0), side_role(side));
    let base = y + high / 2.0 + em * 0.37;
    sheet.label(
        (left - em * 0.5, base),
        text,
        Face::Plain,
        Anchor::End,
        Role::Mute,
    );
    let wide = |value: f64| (place(value).min(full) - left, high);
    sheet.canvas.rect((left, y), wide(mean), role);
    sheet
        .canvas
        .frame((left, y), wide(peak), Pen::new(role, em * 0.12));
    if is_over(peak) {
        sheet
            .canvas
            .rect((full, y), (place(peak) - full, high), Role::Missed);
    }
    let ink = if is_over(peak) {
        Role::Missed
    } else {
        Role::Ink
    };
    let text = format!("{} (mean {})", sig(peak, 3), sig(mean, 3));
    let at = (sheet.right(), base);
    sheet.label(at, &text, Face::Bold, Anchor::End, ink);
}

/// Names in the colour of the fabric that carries.
fn side_ink(side: Option<char>) -> Role {
    match side {
        Some('A' | 'B') => side_role(side),
        _ => Role::Ink,
    }
}

fn finding(groups: &[Group<'_>], with: &str) -> String {
    let uneven = |group: &Group<'_>| {
        let (most, even) = group.shares();
        most / even
    };
    let Some(worst) = groups.iter().max_by(|a, b| uneven(a).total_cmp(&uneven(b))) else {
        return String::new();
    };
    let (most, even) = worst.shares();
    let close = most - even < 2.0;
    let (most, even) = (percent_whole(most), percent_whole(even));
    if close {
        return format!(
            "{with}, the members of every link group share its bytes evenly: at most {most} on one of {}.",
            worst.members.len()
        );
    }
    format!(
        "{with}, the fullest of the {} members of {} carries {most} of the bytes, where an even share is {even}.",
        worst.members.len(),
        worst.name
    )
}

fn description(groups: &[Group<'_>], with: &str) -> String {
    let rows: Vec<String> = groups
        .iter()
        .map(|group| {
            let members: Vec<String> = group
                .members
                .iter()
                .map(|member| {
                    format!(
                        "mean {} and busiest 20 ms {} %",
                        sig(member.utilization_percent, 3),
                        sig(member.asked_peak_percent, 3)
                    )
                })
                .collect();
            format!("{}, {}: {}", group.name, group.speed, members.join(", "))
        })
        .collect();
    format!("{with}, by member. {}.", rows.join("; "))
}
