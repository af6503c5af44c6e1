//! Links by cases, shaded by how busy they are in the busiest 20 ms.

use crate::outcome::{Case, PartUse, Report, UseInCase};
use crate::render::number::is_over;

use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::{Plotted, Sheet, look};
use super::palette::{HEAT_STEPS, Role};
use super::text::{THIN, fit, percent, percent_whole, room, short, sig};
use super::{Drawing, Format};

/// Where the cells lie.
struct Table {
    left: f64,
    top: f64,
    wide: f64,
    step: f64,
    cell: f64,
    /// Names stand above the cells.
    above: bool,
    /// Indices of the cases shown.
    cases: Vec<usize>,
    rows: usize,
}

pub(super) fn draw(report: &Report, format: Format) -> Option<Drawing> {
    let cases = &report.matrix.cases;
    let links: Vec<&PartUse> = report
        .parts
        .iter()
        .filter(|part| part.tier.contains(" > "))
        .collect();
    if links.is_empty() || cases.is_empty() {
        return None;
    }
    let mut sheet = Sheet::new(report, format, 800.0, finding(&links, cases));
    let table = table(&sheet, &links, cases);
    head(&mut sheet, &table, cases);
    for (row, link) in links.iter().take(table.rows).enumerate() {
        name(&mut sheet, &table, row, link);
        for (column, &case) in table.cases.iter().enumerate() {
            let at = (
                table.left + column as f64 * table.wide,
                table.top + row as f64 * table.step + table.step - table.cell,
            );
            let used = link.cases.get(case).and_then(Option::as_ref);
            cell(&mut sheet, at, (table.wide - 2.0, table.cell - 2.0), used);
        }
    }
    let em = sheet.em;
    let low = table.top + table.rows as f64 * table.step;
    let key = "large: busiest 20 ms, %; small: mean, %";
    let mut keys = vec![key.to_owned()];
    let (rows, columns) = (links.len() - table.rows, cases.len() - table.cases.len());
    if rows + columns > 0 {
        let counted = |count: usize, what: &str| match count {
            0 => None,
            1 => Some(format!("1 {what}")),
            _ => Some(format!("{count} {what}s")),
        };
        let out: Vec<String> = [counted(rows, "link"), counted(columns, "case")]
            .into_iter()
            .flatten()
            .collect();
        let out = out.join(" and ");
        // The longest that finds room whole.
        keys = vec![
            format!("{key}; links only (controllers: headroom); left out, all less busy: {out}"),
            format!("{key}; links only; left out, all less busy: {out}"),
            format!("large: busiest 20 ms, %; left out, less busy: {out}"),
            format!("left out, less busy: {out}"),
        ];
    }
    let space = sheet.right() - sheet.side;
    let whole = |key: &&String| room(key, em, false) <= space;
    let key = keys.iter().find(whole).unwrap_or(&keys[keys.len() - 1]);
    let key = fit(key, em, false, space);
    let at = (sheet.side, low + em * 1.4);
    sheet.label(at, &key, Face::Plain, Anchor::Start, Role::Mute);
    let body = low + em * 1.9 - sheet.top;
    sheet.finish("heat", body, description(&links, cases), Plotted::Yes)
}

fn table(sheet: &Sheet, links: &[&PartUse], cases: &[Case]) -> Table {
    let em = sheet.em;
    let above = sheet.format == Format::Phone;
    let most = match sheet.format {
        Format::Page => 8,
        Format::Phone => 4,
        Format::Slide => 6,
    };
    let mut shown: Vec<usize> = (1..cases.len()).collect();
    let fullest = |case: usize| {
        links
            .iter()
            .filter_map(|link| link.cases.get(case)?.as_ref())
            .map(|used| used.peak_percent)
            .fold(0.0, f64::max)
    };
    shown.sort_by(|a, b| fullest(*b).total_cmp(&fullest(*a)).then(a.cmp(b)));
    shown.truncate(most - 1);
    shown.push(0);
    shown.sort_unstable();
    let widest = links
        .iter()
        .map(|link| room(&link.part, em, true).max(room(&link.detail, em, false)))
        .fold(0.0, f64::max);
    let left = if above {
        sheet.side
    } else {
        sheet.side + widest.min(sheet.width * 0.32) + em
    };
    let top = sheet.top + em * 2.0;
    let cell = if above { em * 3.0 } else { em * 3.2 };
    let wanted = if above { cell + em * 1.7 } else { cell };
    let space = sheet.height(f64::INFINITY) - em * 2.0 - em * 1.9;
    let rows = links
        .len()
        .min((space / (em * 2.9)).floor() as usize)
        .max(1);
    let step = wanted.min(space / rows as f64);
    let cell = cell.min(step);
    let wide = (sheet.right() - left) / shown.len() as f64;
    let wide = if above { wide } else { wide.min(em * 14.0) };
    Table {
        left,
        top,
        wide,
        step,
        cell,
        above,
        cases: shown,
        rows,
    }
}

fn head(sheet: &mut Sheet, table: &Table, cases: &[Case]) {
    let em = sheet.em;
    for (column, &index) in table.cases.iter().enumerate() {
        let case = &cases[index];
        let right = table.left + (column + 1) as f64 * table.wide - 2.0 - em * 0.5;
        let (role, mark) = look(case);
        let text = fit(&case.name, em, true, table.wide - em * 2.2);
        let y = table.top - em * 0.6;
        let across = super::text::width(&text, em, true);
        sheet.label((right, y), &text, Face::Bold, Anchor::End, Role::Ink);
        if mark != Mark::Diamond {
            sheet.canvas.mark(
                (right - across * 1.06 - em * 0.8, y - em * 0.34),
                mark,
                em * 0.4,
                role,
                false,
            );
        }
    }
}

fn name(sheet: &mut Sheet, table: &Table, row: usize, link: &PartUse) {
    let em = sheet.em;
    let top = table.top + row as f64 * table.step;
    if table.above {
        let y = top + table.step - table.cell - em * 0.45;
        let space = sheet.right() - sheet.side;
        let name = fit(&link.part, em, true, space);
        sheet.label((sheet.side, y), &name, Face::Bold, Anchor::Start, Role::Ink);
        let used = room(&name, em, true) + em * 0.5;
        if room(&link.detail, em, false) < space - used {
            let at = (sheet.side + used, y);
            sheet.label(at, &link.detail, Face::Plain, Anchor::Start, Role::Mute);
        }
        return;
    }
    let space = table.left - sheet.side - em * 0.5;
    let pen = Pen::new(Role::Rule, 1.0);
    sheet.canvas.line(
        [
            (sheet.side, top + table.step - 1.0),
            (table.left - 2.0, top + table.step - 1.0),
        ],
        pen,
    );
    let y = top + table.step / 2.0 - em * 0.2;
    sheet.label(
        (sheet.side, y),
        &fit(&link.part, em, true, space),
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
    let detail = fit(&link.detail, em, false, space);
    sheet.label(
        (sheet.side, y + em * 1.15),
        &detail,
        Face::Plain,
        Anchor::Start,
        Role::Mute,
    );
}

fn cell(sheet: &mut Sheet, at: (f64, f64), (w, h): (f64, f64), used: Option<&UseInCase>) {
    let em = sheet.em;
    let Some(used) = used.filter(|used| used.peak_percent.is_finite()) else {
        sheet.label(
            (at.0 + w - em * 0.5, at.1 + h * 0.6),
            "lost",
            Face::Plain,
            Anchor::End,
            Role::Mute,
        );
        return;
    };
    let step = (used.peak_percent / 10.0)
        .floor()
        .clamp(0.0, f64::from(HEAT_STEPS - 1)) as u8;
    let over = is_over(used.peak_percent);
    let (ground, ink) = if over {
        (Role::Missed, Role::OnFill)
    } else {
        (Role::Heat(step), Role::HeatText(step))
    };
    sheet.canvas.rect(at, (w, h), ground);
    if over {
        let inset = em * 0.1;
        let pen = Pen::new(Role::OnFill, em * 0.1);
        sheet.canvas.frame(
            (at.0 + inset, at.1 + inset),
            (w - 2.0 * inset, h - 2.0 * inset),
            pen,
        );
    }
    let right = at.0 + w - em * 0.55;
    let large = em * 1.25;
    let mut text = sig(used.peak_percent, 3);
    if over && room(&format!("{text} over"), large, true) < w - em {
        text.push_str(" over");
    }
    let middle = at.1 + h / 2.0 - em * 0.1;
    sheet
        .canvas
        .text((right, middle), &text, large, Face::Bold, Anchor::End, ink);
    let mean = sig(used.mean_percent, 3);
    sheet.label(
        (right, middle + em * 1.12),
        &mean,
        Face::Plain,
        Anchor::End,
        ink,
    );
}

fn finding(links: &[&PartUse], cases: &[Case]) -> String {
    let mut over: Vec<&str> = Vec::new();
    let mut healthy_over = false;
    let mut fullest: (f64, &str, usize) = (0.0, "", 0);
    for link in links {
        let mut link_over = false;
        for (case, used) in link.cases.iter().enumerate() {
            let peak = used.as_ref().map_or(0.0, |used| used.peak_percent);
            link_over |= is_over(peak);
            healthy_over |= is_over(peak) && case == 0;
            if peak > fullest.0 {
                fullest = (peak, &link.part, case);
            }
        }
        if link_over {
            over.push(short(&link.part));
        }
    }
    let when = match cases.get(fullest.2) {
        Some(case) if case.outage.is_some() => format!("with {}", case.name),
        _ => "with everything healthy".to_owned(),
    };
    let only = if healthy_over {
        ""
    } else {
        ", and only in an outage"
    };
    match over.as_slice() {
        [] => format!(
            "No link is ever asked for more than it has; the fullest, {}, reaches {} {when}.",
            short(fullest.1),
            percent_whole(fullest.0)
        ),
        [one] => format!(
            "Only {one} is asked for more than it has{only}: {} {when}.",
            percent_whole(fullest.0)
        ),
        many => format!(
            "{} kinds of link are asked for more than they have{only}: {} first, {} {when}.",
            many.len(),
            short(fullest.1),
            percent_whole(fullest.0)
        ),
    }
}

fn description(links: &[&PartUse], cases: &[Case]) -> String {
    let rows: Vec<String> = links
        .iter()
        .map(|link| {
            let cells: Vec<String> = cases
                .iter()
                .zip(&link.cases)
                .map(|(case, used)| match used {
                    None => format!("{}: lost", case.name),
                    Some(used) => format!(
                        "{}: busiest 20 ms {}, mean {}{THIN}%",
                        case.name,
                        percent(used.peak_percent),
                        sig(used.mean_percent, 3)
                    ),
                })
                .collect();
            format!("{}: {}", link.part, cells.join(", "))
        })
        .collect();
    format!("{}.", rows.join("; "))
}
