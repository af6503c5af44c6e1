//! Differences as rows.

use super::{estimated, maybe, names, to_text};
use crate::outcome::{Change, Comparison, Lack};
use crate::render::words::measure_name;

/// One row for each difference from the first design: of the work (`workload` and `figure`), then of the
/// parts (`part`, used per cent on the mean); with a price list then three rows a design with its prices (`figure`: what it takes, what it
/// frees and how much dearer it is built new; no `value` where the list lacks any of it).
#[must_use]
pub fn comparison_csv(comparison: &Comparison) -> String {
    let header = names(&[
        "design",
        "name",
        "case",
        "workload",
        "part",
        "figure",
        "promised",
        "unit",
        "first",
        "value",
        "difference",
        "difference_low",
        "difference_high",
        "change",
        "first_lacks",
        "value_lacks",
        "partial",
    ]);
    let name = |design: usize| {
        let row = comparison.designs.get(design);
        row.map_or_else(String::new, |row| row.name.clone())
    };
    // Whether a limit stopped a run of either design.
    let cut = |design: usize| {
        let of = |design: usize| {
            comparison
                .designs
                .get(design)
                .is_some_and(|own| own.partial)
        };
        (of(0) || of(design)).to_string()
    };
    let mut rows = Vec::new();
    for row in &comparison.differences {
        let mut cells = vec![
            (row.design + 1).to_string(),
            name(row.design),
            row.case.name.clone(),
            row.workload.clone(),
            String::new(),
            measure_name(row.measure),
            row.promised.to_string(),
            row.unit.to_owned(),
            maybe(row.first),
            maybe(row.value),
        ];
        estimated(row.difference, &mut cells);
        cells.push(change(row.change).to_owned());
        cells.extend([row.first_lacks, row.value_lacks].map(|lack| lack_name(lack).to_owned()));
        cells.push(cut(row.design));
        rows.push(cells);
    }
    for row in &comparison.part_differences {
        let mut cells = vec![
            (row.design + 1).to_string(),
            name(row.design),
            row.case.name.clone(),
            String::new(),
            row.part.clone(),
            "used".to_owned(),
            "false".to_owned(),
            "percent".to_owned(),
            maybe(row.first_percent),
            maybe(row.value_percent),
        ];
        estimated(row.difference, &mut cells);
        cells.push(change(row.change).to_owned());
        cells.extend([String::new(), String::new()]);
        cells.push(cut(row.design));
        rows.push(cells);
    }
    if comparison.priced {
        for (index, design) in comparison.designs.iter().enumerate().skip(1) {
            let prices = [
                ("price_takes", design.changes.price),
                ("price_frees", design.frees.price),
                ("price_dearer", design.dearer()),
            ];
            rows.extend(prices.map(|(figure, price)| {
                let mut cells = vec![String::new(); header.len()];
                cells[0] = (index + 1).to_string();
                cells[1] = name(index);
                cells[5] = figure.to_owned();
                cells[6] = "false".to_owned();
                cells[7] = "price".to_owned();
                cells[9] = maybe(price);
                cells[16] = cut(index);
                cells
            }));
        }
    }
    to_text(&header, rows)
}

const fn lack_name(lack: Option<Lack>) -> &'static str {
    match lack {
        None => "",
        Some(Lack::Saturated) => "saturated",
        Some(Lack::CutOff) => "cut-off",
        Some(Lack::NoFigure) => "no-figure",
    }
}

const fn change(change: Change) -> &'static str {
    match change {
        Change::Same => "same",
        Change::Better => "better",
        Change::Worse => "worse",
        Change::NotShown => "not-shown",
    }
}
