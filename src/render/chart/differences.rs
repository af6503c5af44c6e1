//! Promised figures of each design against the first one's, with their intervals.

use super::axis::Scale;
use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::{Plotted, Sheet, foot};
use super::palette::Role;
use super::rows::Grid;
use super::text::{fit, room, sig};
use super::{Drawing, Format};
use crate::outcome::{Change, Comparison, DesignRow, Difference};
use crate::render::words::{listed, measure_name, plural, two_figures};

/// Differences and intervals beyond so many per cent are drawn at the end of the scale.
const MOST: f64 = 200.0;
/// The least that the scale shows to each side, per cent.
const LEAST: f64 = 2.0;

pub(super) fn draw(comparison: &Comparison, format: Format) -> Option<Drawing> {
    let all = comparison.differences.iter();
    let mut rows: Vec<&Difference> = all.filter(|row| row.promised).collect();
    let size = |row: &Difference| row.percent().map_or(f64::INFINITY, f64::abs);
    if format == Format::Slide {
        // What finds no room is what differs least.
        rows.sort_by(|a, b| size(b).total_cmp(&size(a)));
    }
    if rows.is_empty() {
        return None;
    }
    let finding = finding(comparison, &rows) + &remarks(comparison);
    let mut sheet = Sheet::of(foot(&comparison.origin), format, 800.0, finding);
    let em = sheet.em;
    let phone = format == Format::Phone;
    let mut names: Vec<(String, String)> = rows.iter().map(|row| names(comparison, row)).collect();
    let said: Vec<String> = rows.iter().map(|row| two_figures(row)).collect();
    let widest = said
        .iter()
        .map(|text| room(text, em, true))
        .fold(0.0, f64::max);
    let beside = if phone {
        em
    } else {
        widest.max(room("95 % interval", em, false)) + em * 1.5
    };
    let mut grid = Grid::new(&sheet, rows.len(), em * 3.6, beside, &pairs(&names));
    if !grid.has_details() {
        for (name, detail) in &mut names {
            name.push_str(&format!(", {}", std::mem::take(detail)));
        }
        grid = Grid::new(&sheet, rows.len(), em * 3.6, beside, &pairs(&names));
    }
    let far = |row: &&Difference| {
        let ends = row
            .percent_ends()
            .map(|(low, high)| low.abs().max(high.abs()));
        row.percent().map_or(0.0, f64::abs).max(ends.unwrap_or(0.0))
    };
    let most = rows.iter().map(far).fold(LEAST, f64::max).min(MOST) * 1.05;
    let scale = Scale::linear((-most, most), (grid.left + em * 0.6, grid.right));
    grid.axis(
        &mut sheet,
        &scale,
        &format!(
            "difference, % of the figure of {}",
            design_name(comparison, 0)
        ),
    );
    head(&mut sheet, &grid, &scale, design_name(comparison, 0));
    for (index, row) in rows.iter().take(grid.shown).enumerate() {
        line(
            &mut sheet,
            &grid,
            &scale,
            (index, row),
            (pairs(&names)[index], &said[index]),
        );
    }
    if grid.shown < rows.len() {
        let text = format!("and {} more, which differ no more", rows.len() - grid.shown);
        let at = (grid.left, grid.low() + em * 3.9);
        sheet.label(at, &text, Face::Plain, Anchor::Start, Role::Mute);
    }
    let body = grid.body(&sheet, rows.len());
    let description = description(&rows, &names, &said);
    sheet.finish("differences", body, description, Plotted::Yes)
}

fn pairs(names: &[(String, String)]) -> Vec<(&str, &str)> {
    let each = names.iter();
    each.map(|(name, detail)| (name.as_str(), detail.as_str()))
        .collect()
}

/// Names of designs with more letters than this may not fit beside their bars: they are numbered, as in the tables.
const LONG_NAME: usize = 24;

/// `bookings p99`, and the case, after the design where there are several.
fn names(comparison: &Comparison, row: &Difference) -> (String, String) {
    let name = format!("{} {}", row.workload, measure_name(row.measure));
    let case = &row.case.name;
    // Names that are cut at their end may be alike in what is left of them.
    let long = |row: &DesignRow| row.name.chars().count() > LONG_NAME;
    let detail = if comparison.designs.len() > 2 && comparison.designs.iter().skip(1).any(long) {
        let design = design_name(comparison, row.design);
        format!("design {}, {case}: {design}", row.design + 1)
    } else if comparison.designs.len() > 2 {
        format!("{}, {case}", design_name(comparison, row.design))
    } else {
        case.clone()
    };
    (name, detail)
}

fn design_name(comparison: &Comparison, design: usize) -> &str {
    let row = comparison.designs.get(design);
    row.map_or("", |row| row.name.as_str())
}

/// What has to stand beside the figures: that the work differs, so that a difference says nothing of a design alone, and that a limit cut
/// runs, which prove nothing.
fn remarks(comparison: &Comparison) -> String {
    let named = |wanted: &dyn Fn(&DesignRow) -> bool| {
        let own = comparison.designs.iter().filter(|row| wanted(row));
        own.map(|row| row.name.clone()).collect::<Vec<String>>()
    };
    let mut out = String::new();
    let others = named(&|row| !row.other_work.is_empty());
    if !others.is_empty() {
        let first = design_name(comparison, 0);
        out.push_str(&format!(
            " Other work than that of {first}, so that a difference is one of the work too: {}.",
            listed(&others)
        ));
    }
    let cut = named(&|row| row.partial);
    if !cut.is_empty() {
        out.push_str(&format!(
            " A limit cut runs, which prove nothing: {}.",
            listed(&cut)
        ));
    }
    out
}

/// What the run can show is drawn heavier than what it cannot; green and red are for promises.
const fn role(change: Change) -> Role {
    match change {
        Change::Better | Change::Worse => Role::Ink,
        Change::Same | Change::NotShown => Role::Mute,
    }
}

fn head(sheet: &mut Sheet, grid: &Grid, scale: &Scale, first: &str) {
    let em = sheet.em;
    let y = sheet.top + em * 1.1;
    let mut x = if sheet.format == Format::Phone {
        grid.left
    } else {
        sheet.side + em * 0.4
    };
    for (change, word) in [
        (Change::Better, "better"),
        (Change::Worse, "worse"),
        (Change::NotShown, "not shown to differ"),
    ] {
        let at = (x, y - em * 0.35);
        let hollow = change == Change::NotShown;
        sheet
            .canvas
            .mark(at, mark(change), em * 0.38, role(change), hollow);
        sheet.label(
            (x + em * 0.8, y),
            word,
            Face::Plain,
            Anchor::Start,
            Role::Ink,
        );
        x += room(word, em, false) + em * 2.2;
    }
    if sheet.format != Format::Phone {
        sheet.label(
            (x, y),
            "bar: 95 % interval",
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
    }
    let zero = scale.place(0.0);
    grid.upright(sheet, zero, em * 0.3, Pen::new(Role::Ink, em * 0.15));
    let line = grid.top - em * 0.5;
    // As much to either side as there is room for.
    let space = 2.0 * (zero - sheet.side).min(sheet.right() - zero);
    sheet.label(
        (zero, line),
        &fit(&format!("as {first}"), em, true, space),
        Face::Bold,
        Anchor::Middle,
        Role::Ink,
    );
}

/// Marks tell the changes apart without colour.
const fn mark(change: Change) -> Mark {
    match change {
        Change::Better => Mark::Round,
        Change::Worse => Mark::Triangle,
        Change::Same | Change::NotShown => Mark::Diamond,
    }
}

fn line(
    sheet: &mut Sheet,
    grid: &Grid,
    scale: &Scale,
    (index, row): (usize, &Difference),
    (name, said): ((&str, &str), &str),
) {
    let em = sheet.em;
    let middle = grid.bar_top(index) + grid.bar / 2.0;
    let role = role(row.change);
    if let Some((low, high)) = row.percent_ends() {
        let (from, to) = (scale.place(low), scale.place(high));
        sheet
            .canvas
            .line([(from, middle), (to, middle)], Pen::new(role, em * 0.2));
        for (at, value) in [(from, low), (to, high)] {
            // An interval that goes on beyond the scale has no end there.
            if value.abs() <= MOST {
                let half = em * 0.35;
                sheet.canvas.line(
                    [(at, middle - half), (at, middle + half)],
                    Pen::new(role, em * 0.16),
                );
            }
        }
    }
    if let Some(percent) = row.percent() {
        let hollow = matches!(row.change, Change::NotShown | Change::Same);
        let at = (scale.place(percent), middle);
        sheet
            .canvas
            .mark(at, mark(row.change), em * 0.42, role, hollow);
    }
    if sheet.format == Format::Phone {
        grid.name(sheet, index, name, room(said, em, true) + em * 0.5);
        let at = (grid.right, grid.name_baseline(index, em));
        sheet.label(at, said, Face::Plain, Anchor::End, Role::Ink);
        return;
    }
    grid.name(sheet, index, name, 0.0);
    let at = (sheet.right(), middle + em * 0.36);
    sheet.label(at, said, Face::Plain, Anchor::End, Role::Ink);
}

/// How many of the promised figures are better and worse, and the one that differs most.
fn finding(comparison: &Comparison, rows: &[&Difference]) -> String {
    let number = |change: Change| rows.iter().filter(|row| row.change == change).count();
    let (better, worse) = (number(Change::Better), number(Change::Worse));
    let name = |index: usize| comparison.designs.get(index).map_or("", |row| &row.name);
    let who = if comparison.designs.len() > 2 {
        format!("Against {}", name(0))
    } else {
        format!("{} against {}", name(1), name(0))
    };
    let all = plural(rows.len(), "promised figure");
    let worse_words = if worse == 0 {
        "none".to_owned()
    } else {
        worse.to_string()
    };
    if better + worse == 0 {
        return format!("{who}: no difference of {all} that this run can show.");
    }
    let shown = rows
        .iter()
        .filter(|row| matches!(row.change, Change::Better | Change::Worse));
    let size = |row: &Difference| row.percent().map_or(f64::INFINITY, f64::abs);
    let most = shown.max_by(|a, b| size(a).total_cmp(&size(b)));
    let most = most.map_or_else(String::new, |row| {
        let (name, detail) = names(comparison, row);
        format!("; most of all {name}, {detail}: {}", two_figures(row))
    });
    format!("{who}: {better} of {all} better, {worse_words} worse{most}.")
}

fn description(rows: &[&Difference], names: &[(String, String)], said: &[String]) -> String {
    let each = rows.iter().zip(names).zip(said);
    let each = each.map(|((row, (name, detail)), said)| {
        let percent = row.percent().map_or_else(String::new, |percent| {
            let ends = row.percent_ends().map_or_else(String::new, |(low, high)| {
                format!(" ({} to {})", sig(low, 3), sig(high, 3))
            });
            format!(", {} %{ends}", sig(percent, 3))
        });
        let comma = if detail.is_empty() { "" } else { ", " };
        format!("{name}{comma}{detail}: {said}{percent}")
    });
    format!("{}.", each.collect::<Vec<_>>().join("; "))
}
