//! Mean against the busiest 20 ms, by part.

use crate::outcome::{Report, UseInCase};
use crate::render::number::is_over;

use super::axis::Scale;
use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::{Plotted, Sheet, with_case};
use super::palette::Role;
use super::rows::{Grid, percent_scale};
use super::text::{percent_whole, room, short, sig};
use super::{Drawing, Format};

/// The usual rule: so many per cent on the mean, healthy and with one fabric lost (common practice, no
/// source). The chart shows what it misses.
const RULE_HEALTHY: f64 = 35.0;
const RULE_OUTAGE: f64 = 70.0;

/// A part and its use in the case shown.
type Row<'a> = (&'a str, &'a str, &'a UseInCase);

pub(super) fn draw(report: &Report, case: usize, format: Format) -> Option<Drawing> {
    let shown = report.matrix.cases.get(case)?;
    let mut rows: Vec<Row<'_>> = report
        .parts
        .iter()
        .filter_map(|part| {
            Some((
                part.part.as_str(),
                part.detail.as_str(),
                part.cases.get(case)?.as_ref()?,
            ))
        })
        .filter(|row| row.2.peak_percent.is_finite() && row.2.mean_percent.is_finite())
        .collect();
    rows.sort_by(|a, b| b.2.peak_percent.total_cmp(&a.2.peak_percent));
    if rows.is_empty() {
        return None;
    }
    let rule = if shown.outage.is_some() {
        RULE_OUTAGE
    } else {
        RULE_HEALTHY
    };
    let mut sheet = Sheet::new(
        report,
        format,
        800.0,
        finding(&rows, &with_case(shown), rule),
    );
    let em = sheet.em;
    let phone = format == Format::Phone;
    let names: Vec<(&str, &str)> = rows.iter().map(|row| (row.0, row.1)).collect();
    let beside = if phone {
        em * 0.5
    } else {
        room("119 %", em, true) + em
    };
    let grid = Grid::new(&sheet, rows.len(), em * 4.2, beside, &names);
    let peak = rows[0].2.peak_percent;
    let scale = percent_scale(peak, grid.left, grid.right - if phone { em } else { 0.0 });
    grid.axis(&mut sheet, &scale, &format!("busy, %, {}", shown.name));
    head(&mut sheet, &grid, &scale, rule);
    for (index, row) in rows.iter().take(grid.shown).enumerate() {
        bar(&mut sheet, &grid, &scale, index, row);
    }
    let left_out = rows.get(grid.shown).map_or(0.0, |row| row.2.peak_percent);
    grid.omitted(&mut sheet, rows.len(), left_out);
    let body = grid.body(&sheet, rows.len());
    let description = description(&rows, &with_case(shown));
    sheet.finish(&format!("peaks-{case}"), body, description, Plotted::Yes)
}

fn head(sheet: &mut Sheet, grid: &Grid, scale: &Scale, rule: f64) {
    let em = sheet.em;
    let y = sheet.top + em * 1.1;
    let mut x = grid.left;
    sheet.canvas.line(
        [(x + em * 0.3, y - em * 0.9), (x + em * 0.3, y + em * 0.1)],
        Pen::new(Role::Ink, em * 0.22),
    );
    x += em;
    sheet.label(
        (x, y),
        "mean of the run",
        Face::Plain,
        Anchor::Start,
        Role::Ink,
    );
    x += room("mean of the run", em, false) + em * 1.5;
    sheet.canvas.mark(
        (x, y - em * 0.35),
        Mark::Diamond,
        em * 0.36,
        Role::Use,
        false,
    );
    sheet.label(
        (x + em * 0.9, y),
        "busiest 20 ms",
        Face::Plain,
        Anchor::Start,
        Role::Ink,
    );
    let (full, at) = (scale.place(100.0), scale.place(rule));
    let line = grid.top - em * 0.5;
    grid.upright(sheet, full, em * 0.3, Pen::new(Role::Ink, em * 0.15));
    sheet.label((full, line), "full", Face::Bold, Anchor::Middle, Role::Ink);
    let dotted = Pen::new(Role::Ink, em * 0.12).dashed(em * 0.16, em * 0.28);
    grid.upright(sheet, at, em * 0.3, dotted);
    let text = format!("rule of thumb: {} on the mean", sig(rule, 2));
    // Left of its line where there is room, else right of it, clear of "full".
    let wide = room(&text, em, false);
    if at - wide > sheet.side {
        sheet.label(
            (at + em * 0.3, line),
            &text,
            Face::Plain,
            Anchor::End,
            Role::Mute,
        );
    } else {
        let text = if at + wide < full - em * 2.0 {
            text
        } else {
            format!("rule: {}", sig(rule, 2))
        };
        sheet.label(
            (at - em * 0.3, line),
            &text,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
    }
}

fn bar(sheet: &mut Sheet, grid: &Grid, scale: &Scale, index: usize, row: &Row<'_>) {
    let em = sheet.em;
    let (mean, peak) = (row.2.mean_percent, row.2.peak_percent);
    let middle = grid.bar_top(index) + grid.bar / 2.0;
    let (from, to) = (scale.place(mean), scale.place(peak));
    let role = if is_over(peak) {
        Role::Missed
    } else {
        Role::Use
    };
    let ink = if is_over(peak) {
        Role::Missed
    } else {
        Role::Ink
    };
    sheet
        .canvas
        .line([(from, middle), (to, middle)], Pen::new(role, em * 0.2));
    let half = em * 0.55;
    sheet.canvas.line(
        [(from, middle - half), (from, middle + half)],
        Pen::new(Role::Ink, em * 0.22),
    );
    sheet
        .canvas
        .mark((to, middle), Mark::Diamond, em * 0.4, role, false);
    if sheet.format == Format::Phone {
        let text = format!("{} (mean {})", sig(peak, 3), sig(mean, 3));
        grid.name(sheet, index, (row.0, ""), room(&text, em, true) + em * 0.5);
        let at = (grid.right, grid.name_baseline(index, em));
        sheet.label(at, &text, Face::Bold, Anchor::End, ink);
        return;
    }
    grid.name(sheet, index, (row.0, row.1), 0.0);
    let y = middle + em * 0.36;
    let mean_text = sig(mean, 3);
    let wide = room(&mean_text, em, false) + em * 0.6;
    if to - from > em * 2.2 && from - wide > grid.left {
        sheet.label(
            (from - em * 0.5, y),
            &mean_text,
            Face::Plain,
            Anchor::End,
            Role::Ink,
        );
        plate(sheet, (to + em * 0.8, y), &sig(peak, 3), Face::Bold, ink);
    } else {
        let text = format!("{} (mean {mean_text})", sig(peak, 3));
        plate(sheet, (to + em * 0.8, y), &text, Face::Plain, ink);
    }
}

/// Text on paper, so that no line runs through it.
fn plate(sheet: &mut Sheet, at: (f64, f64), text: &str, face: Face, role: Role) {
    let em = sheet.em;
    let wide = room(text, em, face == Face::Bold) + em * 0.2;
    sheet.canvas.rect(
        (at.0 - em * 0.1, at.1 - em * 0.9),
        (wide, em * 1.15),
        Role::Paper,
    );
    sheet.label(at, text, face, Anchor::Start, role);
}

fn finding(rows: &[Row<'_>], with: &str, rule: f64) -> String {
    let (part, _, used) = rows[0];
    let part = short(part);
    let (mean, peak) = (
        percent_whole(used.mean_percent),
        percent_whole(used.peak_percent),
    );
    match (used.mean_percent <= rule, is_over(used.peak_percent)) {
        (true, true) => format!(
            "{with}, {part} is {mean} busy on the mean, within the rule of thumb, yet is asked for {peak} in the busiest 20 ms."
        ),
        (false, true) => format!(
            "{with}, {part} is {mean} busy on the mean and is asked for {peak} in the busiest 20 ms."
        ),
        _ => format!(
            "{with}, no part is ever full: the fullest, {part}, is {mean} busy on the mean and {peak} in the busiest 20 ms."
        ),
    }
}

fn description(rows: &[Row<'_>], with: &str) -> String {
    let rows: Vec<String> = rows
        .iter()
        .map(|(part, _, used)| {
            format!(
                "{part}: mean {} %, busiest 20 ms {} %",
                sig(used.mean_percent, 3),
                sig(used.peak_percent, 3)
            )
        })
        .collect();
    format!("{with}. {}.", rows.join("; "))
}
