//! Used healthy, used besides in an outage, and spare, by part.
//!
//! "Full" is said of the mean alone, where a page has both: a moment at 100 % is not full, for what does not fit waits for the next.

use crate::outcome::{Case, Origin, PartUse, UnseenBursts};
use crate::render::number::{is_over, three_down};

use super::axis::Scale;
use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, foot, with_bursts};
use super::palette::Role;
use super::rows::{Grid, percent_scale, ruled};
use super::text::{percent, percent_whole, room, short, sig};
use super::{Drawing, Format};

/// One row: a part with its peaks.
struct Row<'a> {
    part: &'a PartUse,
    healthy: Option<f64>,
    /// Most of all outages.
    outage: Option<f64>,
}

impl Row<'_> {
    fn most(&self) -> f64 {
        self.healthy.unwrap_or(0.0).max(self.outage.unwrap_or(0.0))
    }
}

/// Parts with their use by case, healthy first.
pub(super) fn draw(
    parts: &[PartUse],
    cases: &[&Case],
    (origin, unseen): (&Origin, &[UnseenBursts]),
    format: Format,
) -> Option<Drawing> {
    let rows: Vec<Row<'_>> = parts.iter().map(row).collect();
    if rows.is_empty() {
        return None;
    }
    let outages = cases.len() > 1;
    let mut sheet = Sheet::of(
        with_bursts(foot(origin), unseen),
        format,
        800.0,
        finding(&rows, cases),
    );
    let em = sheet.em;
    let phone = format == Format::Phone;
    let head = em * if phone { 4.6 } else { 3.6 };
    let beside = if phone { em * 0.5 } else { em * 6.0 };
    let names: Vec<(&str, &str)> = rows
        .iter()
        .map(|row| (row.part.part.as_str(), row.part.detail.as_str()))
        .collect();
    let grid = Grid::new(&sheet, rows.len(), head, beside, &names);
    let peak = rows.iter().map(Row::most).fold(0.0, f64::max);
    // Beyond the scale stands the value.
    let value_room = room("119 %", em, true) + em;
    let scale = percent_scale(
        peak,
        grid.left,
        grid.right - if phone { em } else { value_room },
    );
    grid.axis(
        &mut sheet,
        &scale,
        "busy in the busiest 20 ms, % of the part",
    );
    key(&mut sheet, &grid, &scale, outages);
    for (index, row) in rows.iter().take(grid.shown).enumerate() {
        bar(&mut sheet, &grid, &scale, index, row);
    }
    full_line(&mut sheet, &grid, &scale);
    grid.omitted(
        &mut sheet,
        rows.len(),
        rows.iter()
            .skip(grid.shown)
            .map(Row::most)
            .fold(0.0, f64::max),
    );
    let body = grid.body(&sheet, rows.len());
    sheet.finish("headroom", body, description(&rows, outages), Plotted::Yes)
}

fn row(part: &PartUse) -> Row<'_> {
    Row {
        part,
        healthy: peak(part, 0),
        outage: (1..part.cases.len())
            .filter_map(|case| peak(part, case))
            .reduce(f64::max),
    }
}

/// Asked of a part in the busiest 20 ms of a case.
fn peak(part: &PartUse, case: usize) -> Option<f64> {
    let used = part.cases.get(case)?.as_ref()?;
    Some(used.peak_percent).filter(|percent| percent.is_finite())
}

fn key(sheet: &mut Sheet, grid: &Grid, scale: &Scale, outages: bool) {
    let em = sheet.em;
    let (w, h) = (em * 1.5, em * 0.8);
    let y = sheet.top + em * 1.1;
    let mut x = grid.left;
    for (number, text) in ["used healthy", "more with one lost", "spare"]
        .into_iter()
        .enumerate()
    {
        if number == 1 && !outages {
            continue;
        }
        let at = (x, y - h);
        match number {
            0 => sheet.canvas.rect(at, (w, h), Role::Use),
            1 => {
                sheet.canvas.rect(at, (w, h), Role::Pipe);
                ruled(sheet, at, (w, h), Role::Use);
                sheet.canvas.frame(at, (w, h), Pen::new(Role::Use, 1.0));
            }
            _ => sheet.canvas.frame(at, (w, h), Pen::new(Role::Use2, 1.0)),
        }
        sheet.label(
            (x + w + em * 0.4, y),
            text,
            Face::Plain,
            Anchor::Start,
            Role::Ink,
        );
        x += w + em * 1.4 + room(text, em, false);
    }
    let full = scale.place(100.0);
    sheet.label(
        (full + em * 0.2, grid.top - em * 0.5),
        "100\u{202F}%",
        Face::Bold,
        Anchor::End,
        Role::Ink,
    );
    if sheet.format != Format::Phone {
        let at = (sheet.right(), grid.top - em * 0.5);
        sheet.label(
            at,
            "peak 100\u{202F}% at × load",
            Face::Bold,
            Anchor::End,
            Role::Ink,
        );
    }
}

fn bar(sheet: &mut Sheet, grid: &Grid, scale: &Scale, index: usize, row: &Row<'_>) {
    let em = sheet.em;
    let (top, high) = (grid.bar_top(index), grid.bar);
    let full = scale.place(100.0);
    let place = |value: f64| scale.place(value).min(full);
    let healthy = row.healthy.unwrap_or(0.0);
    let most = row.most();
    sheet.canvas.frame(
        (grid.left, top),
        (full - grid.left, high),
        Pen::new(Role::Use2, 1.0),
    );
    sheet.canvas.rect(
        (grid.left, top),
        (place(healthy) - grid.left, high),
        Role::Use,
    );
    if most > healthy {
        let (from, to) = (place(healthy), place(most));
        sheet
            .canvas
            .rect((from, top), (to - from, high), Role::Pipe);
        ruled(sheet, (from, top), (to - from, high), Role::Use);
        sheet
            .canvas
            .frame((from, top), (to - from, high), Pen::new(Role::Use, 1.0));
    }
    if is_over(most) {
        sheet
            .canvas
            .rect((full, top), (scale.place(most) - full, high), Role::Missed);
    }
    let y = grid.baseline(index, em);
    let inside = sig(healthy, 3);
    if most - healthy > 0.5 && place(healthy) - grid.left > room(&inside, em, true) + em * 0.8 {
        let at = (place(healthy) - em * 0.4, y);
        sheet.label(at, &inside, Face::Bold, Anchor::End, Role::OnFill);
    }
    figures(sheet, grid, scale, index, row);
}

/// Name and figures of a row: beside its bar, or above it on a phone.
fn figures(sheet: &mut Sheet, grid: &Grid, scale: &Scale, index: usize, row: &Row<'_>) {
    let em = sheet.em;
    let most = row.most();
    let (role, face) = if is_over(most) {
        (Role::Missed, Face::Bold)
    } else {
        (Role::Ink, Face::Plain)
    };
    let factor = (most > 0.0).then(|| three_down(100.0 / most));
    let name = (row.part.part.as_str(), row.part.detail.as_str());
    if sheet.format == Format::Phone {
        let text = factor.map_or_else(
            || "idle".to_owned(),
            |factor| format!("{}, 100\u{202F}% at {factor}×", percent(most)),
        );
        grid.name(sheet, index, name, room(&text, em, true) + em * 0.6);
        let at = (grid.right, grid.name_baseline(index, em));
        sheet.label(at, &text, Face::Bold, Anchor::End, role);
        return;
    }
    grid.name(sheet, index, name, 0.0);
    let y = grid.baseline(index, em);
    let value = if is_over(most) {
        percent(most)
    } else {
        sig(most, 3)
    };
    let at = (scale.place(most) + em * 0.4, y);
    sheet.label(at, &value, Face::Bold, Anchor::Start, role);
    let at = (sheet.right(), y);
    sheet.label(
        at,
        factor.as_deref().unwrap_or("idle"),
        face,
        Anchor::End,
        role,
    );
}

fn full_line(sheet: &mut Sheet, grid: &Grid, scale: &Scale) {
    let pen = Pen::new(Role::Ink, sheet.em * 0.17);
    grid.upright(sheet, scale.place(100.0), sheet.em * 0.3, pen);
}

fn finding(rows: &[Row<'_>], cases: &[&Case]) -> String {
    let fullest = rows.iter().max_by(|a, b| a.most().total_cmp(&b.most()));
    let Some(fullest) = fullest.filter(|row| row.most() > 0.0) else {
        return "No part is ever busy.".to_owned();
    };
    let most = fullest.most();
    let healthy = fullest.healthy.is_some_and(|healthy| healthy >= most);
    // The case in which it is fullest, of which alone the sentence speaks.
    let lost =
        (1..cases.len()).find(|case| peak(fullest.part, *case).is_some_and(|own| own >= most));
    let lost = lost.filter(|_| !healthy);
    let when = match lost {
        Some(case) => format!("With {}, ", cases[case].name),
        None if cases.len() > 1 => "Healthy or not, ".to_owned(),
        None => String::new(),
    };
    let there = |row: &Row<'_>| match lost {
        Some(case) => peak(row.part, case).unwrap_or(0.0),
        None => row.most(),
    };
    let next = rows
        .iter()
        .filter(|row| !std::ptr::eq(*row, fullest))
        .map(there)
        .fold(0.0, f64::max);
    let rest = if next > 0.0 {
        format!(
            "; everything else has room to {} times",
            three_down(100.0 / next)
        )
    } else {
        String::new()
    };
    // A part that is fuller in another case is the next to end growth there.
    let elsewhere = rows
        .iter()
        .filter(|row| !std::ptr::eq(*row, fullest) && row.most() > next)
        .max_by(|a, b| a.most().total_cmp(&b.most()));
    let elsewhere = elsewhere.map_or_else(String::new, |row| {
        let own = |case: &usize| peak(row.part, *case).is_some_and(|own| own >= row.most());
        let case = (1..cases.len()).find(own).map(|case| &cases[case].name);
        let healthy = row.healthy.is_some_and(|healthy| healthy >= row.most());
        let when = match case.filter(|_| !healthy) {
            Some(name) => format!("with {name}"),
            None => "healthy".to_owned(),
        };
        format!(
            "; {when} {} to {}",
            short(&row.part.part),
            three_down(100.0 / row.most())
        )
    });
    // What is full today was seen; what would be is today's moment times a factor.
    let is = if is_over(most) {
        "is already "
    } else {
        "is, by arithmetic, "
    };
    format!(
        "{when}{} {is}asked for 100\u{202F}% in its busiest 20 ms at {} times today’s load{rest}{elsewhere}.",
        short(&fullest.part.part),
        three_down(100.0 / most)
    )
}

fn description(rows: &[Row<'_>], outages: bool) -> String {
    let figure = |value: Option<f64>| value.map_or("none left".to_owned(), percent_or_zero);
    let rows: Vec<String> = rows
        .iter()
        .map(|row| {
            let lost = if outages {
                format!(", in an outage {}", figure(row.outage))
            } else {
                String::new()
            };
            format!(
                "{} ({}): healthy {}{lost}",
                row.part.part,
                row.part.detail,
                figure(row.healthy)
            )
        })
        .collect();
    format!(
        "Busy in the busiest 20 ms, per cent of each part. {}.",
        rows.join("; ")
    )
}

fn percent_or_zero(value: f64) -> String {
    if value > 0.0 {
        percent(value)
    } else {
        percent_whole(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    /// The fullest part of all cases, and the room of the others in that same case.
    #[test]
    fn the_finding_names_one_case_and_keeps_to_it() {
        let report = sample_report();
        let cases: Vec<&Case> = report.matrix.cases.iter().collect();
        let mut parts = report.parts[..2].to_vec();
        let used = parts[0].cases[0].clone().expect("it is used");
        let peak = |peak_percent: f64| {
            let mut own = used.clone();
            own.peak_percent = peak_percent;
            Some(own)
        };
        let more = cases.len() - 3;
        for (part, peaks) in parts
            .iter_mut()
            .zip([[40.0, 50.0, 80.0], [30.0, 65.0, 34.0]])
        {
            part.cases = peaks
                .map(peak)
                .into_iter()
                .chain((0..more).map(|_| None))
                .collect();
        }
        let rows: Vec<Row<'_>> = parts.iter().map(row).collect();
        let said = finding(&rows, &cases);
        let start = format!("With {}, ", cases[2].name);
        assert!(said.starts_with(&start), "{said}");
        // 100 ÷ 34, not 100 ÷ 65.
        assert!(
            said.contains("at 1.25 times") && said.contains("room to 2.94 times"),
            "{said}"
        );
        // The other is fuller in another case, which is told as that: 100 ÷ 65, rounded down.
        let other = format!("; with {} ", cases[1].name);
        assert!(
            said.contains(&other) && said.ends_with(" to 1.53."),
            "{said}"
        );
    }
}
