//! A comparison as text.

use super::align::Aligned;
use crate::outcome::{
    Case, Cell, Change, Comparison, Difference, Inventory, Lack, Matrix, PartDifference, Row,
    Verdict,
};
use crate::render::number::{NONE, Scale, count, price, three};
use crate::render::words::{
    lack_word, listed, measure_name, mend_takes, origin_line, plural, row_scale, two_figures,
    verdict_word,
};

/// What each design does better or worse than the first, verdicts, differences, parts, and what it is made of.
#[must_use]
pub fn comparison_text(comparison: &Comparison) -> String {
    let mut out = String::new();
    for design in 1..comparison.designs.len() {
        out.push_str(&sentence(comparison, design));
    }
    out.push('\n');
    out.push_str(&costs(comparison));
    out.push_str(&verdicts(comparison));
    for design in 1..comparison.designs.len() {
        out.push_str(&differences(comparison, design));
        out.push_str(&parts(comparison, design));
    }
    out.push_str(&inventories(comparison));
    for note in &comparison.notes {
        out.push_str(&format!("Note: {note}.\n"));
    }
    out.push_str(&format!("{}\n", origin_line(&comparison.origin)));
    out
}

/// The number by which a design goes, and its name.
fn name(comparison: &Comparison, design: usize) -> String {
    let name = comparison.designs.get(design).map_or("", |row| &row.name);
    format!("design {} ({name})", design + 1)
}

fn sentence(comparison: &Comparison, design: usize) -> String {
    let own = || {
        let rows = comparison.differences.iter();
        rows.filter(move |row| row.design == design)
    };
    let number = |change: Change| {
        let shown = own().filter(|row| !is_nothing(row));
        shown.filter(|row| row.change == change).count()
    };
    let (who, first) = (name(comparison, design), name(comparison, 0));
    if own().next().is_none() {
        return format!("{who}: no figure in common with {first}, so nothing was compared.\n");
    }
    if own().all(|row| row.change == Change::Same) {
        let promises = match changes(comparison, design) {
            None => ".".to_owned(),
            Some(changes) => format!("; but the promises differ: {changes}"),
        };
        return format!("{who}: exactly the same figures as {first}{promises}\n");
    }
    let mut said: Vec<String> = Vec::new();
    for (change, word) in [(Change::Better, "better"), (Change::Worse, "worse")] {
        if number(change) > 0 {
            said.push(format!("{word} in {}", plural(number(change), "figure")));
        }
    }
    let same = number(Change::Same);
    if same > 0 {
        said.push(format!("the same in {}", count(same as u64)));
    }
    let open = number(Change::NotShown);
    if open > 0 {
        let open = count(open as u64);
        said.push(format!("no difference that this run can show in {open}"));
    }
    let nothing = own().filter(|row| is_nothing(row)).count();
    if nothing > 0 {
        let nothing = count(nothing as u64);
        said.push(format!(
            "nothing to compare in {nothing}, where neither carries any"
        ));
    }
    let most = largest(comparison, design).map_or_else(String::new, |row| {
        format!(
            " The largest difference of a promised figure: {} {} {}{}{}.",
            row.workload,
            measure_name(row.measure),
            row.case.name,
            row.percent().map_or_else(
                || format!(", {}", two_figures(row)),
                |percent| format!(
                    ", {} % {}",
                    three(percent.abs()),
                    if percent > 0.0 { "more" } else { "less" }
                )
            ),
            if row.change == Change::NotShown {
                ", though with an interval that holds 0: more replications would narrow it"
            } else {
                ""
            }
        )
    });
    format!(
        "{who} against {first}: {} {}.{most}\n",
        verdict_changes(comparison, design),
        crate::render::words::sentence(&listed(&said))
    )
}

/// `bookings p99 A lost, missed → met.`; that none changes, or that nothing was promised.
fn verdict_changes(comparison: &Comparison, design: usize) -> String {
    let (Some(first), Some(own)) = (comparison.designs.first(), comparison.designs.get(design))
    else {
        return String::new();
    };
    if first.matrix.rows.is_empty() && own.matrix.rows.is_empty() {
        return "nothing is promised, so there is no verdict.".to_owned();
    }
    changes(comparison, design).unwrap_or_else(|| "no promise changes its verdict.".to_owned())
}

/// What differs in promises and verdicts, with its full stop; `None`: nothing.
fn changes(comparison: &Comparison, design: usize) -> Option<String> {
    let first = comparison.designs.first()?;
    let own = comparison.designs.get(design)?;
    let mut changes = Vec::new();
    for (row, case) in promised(comparison, design) {
        let [cell, other] = [first, own].map(|one| cell_of(&one.matrix, row, &case.name));
        let what = format!(
            "{} {} {}",
            row.workload,
            measure_name(row.measure),
            case.name
        );
        let (Some(cell), Some(other)) = (cell, other) else {
            changes.push(match (cell, other) {
                (Some(cell), _) => format!("{what}, {} → not promised", verdict_word(cell.verdict)),
                (_, Some(cell)) => format!("{what}, not promised → {}", verdict_word(cell.verdict)),
                _ => continue,
            });
            continue;
        };
        let moved = cell.target != other.target;
        let words = [cell, other].map(|cell| verdict_word(cell.verdict));
        if cell.verdict != other.verdict {
            let [from, to] = words;
            let why = if moved {
                format!(
                    " (promised {}, there {})",
                    cell.target_text, other.target_text
                )
            } else if shown_equal(comparison, design, row, &case.name) {
                " (though this run cannot show a difference of the figure)".to_owned()
            } else {
                String::new()
            };
            changes.push(format!("{what}, {from} → {to}{why}"));
        } else if moved {
            changes.push(format!(
                "{what}, {} as before (promised {}, there {})",
                words[0], cell.target_text, other.target_text
            ));
        }
    }
    let more = changes.len().saturating_sub(NAMED);
    changes.truncate(NAMED);
    match (changes.is_empty(), more) {
        (true, _) => None,
        (false, 0) => Some(format!("{}.", changes.join("; "))),
        (false, more) => Some(format!(
            "{}; and {more} more verdicts change.",
            changes.join("; ")
        )),
    }
}

/// Every promise with every case in which the first design or this one has it, those of the first in front.
fn promised(comparison: &Comparison, design: usize) -> Vec<(&Row, &Case)> {
    let mut found: Vec<(&Row, &Case)> = Vec::new();
    let designs = [comparison.designs.first(), comparison.designs.get(design)];
    for matrix in designs.into_iter().flatten().map(|one| &one.matrix) {
        for row in &matrix.rows {
            for (case, cell) in matrix.cases.iter().zip(&row.cells) {
                let same = |(known, of): &(&Row, &Case)| {
                    known.workload == row.workload
                        && known.measure == row.measure
                        && of.name == case.name
                };
                if cell.is_some() && !found.iter().any(same) {
                    found.push((row, case));
                }
            }
        }
    }
    found
}

/// Whether the two figures of a promise are the same, or differ by no more than the run can show.
fn shown_equal(comparison: &Comparison, design: usize, row: &Row, case: &str) -> bool {
    comparison.differences.iter().any(|known| {
        known.design == design
            && known.workload == row.workload
            && known.measure == row.measure
            && known.case.name == case
            && matches!(known.change, Change::NotShown | Change::Same)
    })
}

/// The cell of another design for the same promise and case.
fn cell_of<'a>(matrix: &'a Matrix, row: &Row, case: &str) -> Option<&'a Cell> {
    let place = matrix.cases.iter().position(|known| known.name == case)?;
    let same = |other: &&Row| other.workload == row.workload && other.measure == row.measure;
    let other = matrix.rows.iter().find(same)?;
    other.cells.get(place)?.as_ref()
}

/// Changes of verdicts that the sentence names.
const NAMED: usize = 4;

/// What each design takes and costs, beside what it gains.
fn costs(comparison: &Comparison) -> String {
    let mut heads = vec!["design"];
    if comparison.priced {
        heads.extend([">price, takes", ">price, frees", ">dearer, built new"]);
    }
    heads.extend([
        ">steady promises met",
        ">better",
        ">worse",
        "largest change of a promised figure",
        "takes, beside design 1",
        "frees",
    ]);
    let mut table = Aligned::new(&heads);
    let (mut lacking, mut unknown): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    for (index, design) in comparison.designs.iter().enumerate() {
        let own = || {
            let rows = comparison.differences.iter();
            rows.filter(move |row| row.design == index)
        };
        let number = |change: Change| {
            let found = own().filter(|row| row.change == change).count();
            if index == 0 {
                NONE.to_owned()
            } else {
                count(found as u64)
            }
        };
        let mut cells = vec![format!("{} {}", index + 1, design.name)];
        if comparison.priced {
            for (items, list) in [
                (&design.changes.unpriced, &mut lacking),
                (&design.frees.unpriced, &mut unknown),
            ] {
                let new = items.iter().filter(|item| !list.contains(item));
                let new: Vec<String> = new.cloned().collect();
                list.extend(new);
            }
            let prices = [design.changes.price, design.frees.price, design.dearer()];
            cells.extend(prices.map(|own| match (index, own) {
                (0, _) => NONE.to_owned(),
                (_, Some(own)) => price(own),
                (_, None) => "not all priced".to_owned(),
            }));
        }
        let judged = || {
            let rows = design.matrix.rows.iter();
            rows.flat_map(|row| row.cells.iter().flatten())
        };
        let met = judged().filter(|cell| cell.verdict == Verdict::Met).count();
        cells.push(format!("{met} of {}", judged().count()));
        cells.extend([number(Change::Better), number(Change::Worse)]);
        cells.push(largest(comparison, index).map_or_else(
            || NONE.to_owned(),
            |row| {
                let change = row.percent().map_or_else(
                    || two_figures(row),
                    |percent| {
                        let sign = if percent > 0.0 { "+" } else { "−" };
                        format!("{sign}{} %", three(percent.abs()))
                    },
                );
                format!(
                    "{} {} {}: {change}",
                    row.workload,
                    measure_name(row.measure),
                    row.case.name
                )
            },
        ));
        for parts in [&design.changes, &design.frees] {
            cells.push(if index == 0 {
                NONE.to_owned()
            } else {
                mend_takes(parts)
            });
        }
        table.row(cells);
    }
    let title = if comparison.priced {
        "What each costs by the price list, and what it gains"
    } else {
        "What each takes, and what it gains"
    };
    let mut out = table.text(title);
    if !lacking.is_empty() {
        out.push_str(&format!("The price list lacks {}.\n\n", listed(&lacking)));
    }
    if !unknown.is_empty() {
        out.push_str(&format!(
            "Of what becomes free it has no price for {}.\n\n",
            listed(&unknown)
        ));
    }
    out
}

/// The largest difference of a promised figure that is beyond its interval or changes a verdict; what does not fit or is
/// cut off in one of the two designs is beyond every other.
fn largest(comparison: &Comparison, design: usize) -> Option<&Difference> {
    let rows = comparison.differences.iter();
    let size = |row: &Difference| row.percent().map_or(f64::INFINITY, f64::abs);
    rows.filter(|row| row.design == design && row.promised)
        .filter(|row| match row.change {
            Change::Better | Change::Worse => true,
            Change::NotShown => row.percent().is_some() && verdict_changed(comparison, row),
            Change::Same => false,
        })
        .max_by(|left, right| size(left).total_cmp(&size(right)))
}

fn verdict_changed(comparison: &Comparison, row: &Difference) -> bool {
    let verdict = |design: usize| {
        let matrix = &comparison.designs.get(design)?.matrix;
        let promise = matrix.rows.iter().find(|promise| {
            promise.workload == row.workload && promise.measure == row.measure && !promise.switching
        })?;
        Some(cell_of(matrix, promise, &row.case.name)?.verdict)
    };
    verdict(0) != verdict(row.design)
}

fn verdicts(comparison: &Comparison) -> String {
    let mut table = Aligned::new(&["workload", "promise", "case"]);
    for index in 0..comparison.designs.len() {
        table = table.number(&format!("design {}", index + 1));
    }
    let mut seen: Vec<(&Row, &Case)> = Vec::new();
    for design in 0..comparison.designs.len() {
        for (row, case) in promised(comparison, design) {
            let same = |(known, of): &(&Row, &Case)| {
                known.workload == row.workload
                    && known.measure == row.measure
                    && of.name == case.name
            };
            if !seen.iter().any(same) {
                seen.push((row, case));
            }
        }
    }
    for (row, case) in seen {
        let scale = row_scale(row);
        let all: Vec<Option<&Cell>> = comparison
            .designs
            .iter()
            .map(|design| cell_of(&design.matrix, row, &case.name))
            .collect();
        let mut targets: Vec<&str> = Vec::new();
        for cell in all.iter().flatten() {
            if !targets.contains(&cell.target_text.as_str()) {
                targets.push(&cell.target_text);
            }
        }
        let mut cells = vec![
            row.workload.clone(),
            format!("{} {}", measure_name(row.measure), targets.join(" or ")),
            case.name.clone(),
        ];
        cells.extend(all.into_iter().map(|cell| {
            cell.map_or_else(
                || NONE.to_owned(),
                |cell| {
                    let own = judged(cell, scale);
                    if targets.len() > 1 {
                        format!("{own} {}", cell.target_text)
                    } else {
                        own
                    }
                },
            )
        }));
        table.row(cells);
    }
    table.text("Promises by design: figure and verdict")
}

fn judged(cell: &Cell, scale: Scale) -> String {
    let word = verdict_word(cell.verdict);
    match (cell.value, cell.beyond) {
        _ if cell.saturated => format!("saturated {word}"),
        _ if cell.is_cut_off() => format!("cut off {word}"),
        (Some(value), _) => format!("{} {} {word}", scale.three(value.value), scale.unit),
        (None, Some(beyond)) => format!("> {} {} {word}", scale.three(beyond), scale.unit),
        (None, None) => word.to_owned(),
    }
}

fn differences(comparison: &Comparison, design: usize) -> String {
    let mut table = Aligned::new(&[
        "workload",
        "figure",
        "case",
        ">design 1",
        &format!(">design {}", design + 1),
        ">difference, 95 % interval",
        ">%",
        "which is",
    ]);
    let rows = comparison.differences.iter();
    for row in rows.filter(|row| row.design == design) {
        let values = [row.first, row.value].into_iter().flatten();
        let scale = Scale::of(row.unit, values);
        let figure = |value: Option<f64>, lack: Option<Lack>| {
            value.map_or_else(|| lack_word(lack).to_owned(), |v| scale.three(v))
        };
        let promised = if row.promised { ", promised" } else { "" };
        table.row(vec![
            row.workload.clone(),
            format!("{}, {}{promised}", measure_name(row.measure), scale.unit),
            row.case.name.clone(),
            figure(row.first, row.first_lacks),
            figure(row.value, row.value_lacks),
            row.difference.map_or_else(
                || NONE.to_owned(),
                |difference| scale.difference(&difference),
            ),
            row.percent().map_or_else(|| NONE.to_owned(), three),
            match row.change {
                Change::NotShown | Change::Same if verdict_changed(comparison, row) => {
                    format!("{}; the verdict differs", word(row.change))
                }
                _ if is_nothing(row) => "nothing to compare".to_owned(),
                change => word(change).to_owned(),
            },
        ]);
    }
    table.text(&format!(
        "Differences of the work: {} less {}",
        name(comparison, design),
        name(comparison, 0)
    ))
}

/// Whether neither design carries any of this work in this case: that is no likeness of the two.
fn is_nothing(row: &Difference) -> bool {
    let carried = |value: Option<f64>| value.is_some_and(|value| value > 0.0);
    let saturated = |lack: Option<Lack>| lack == Some(Lack::Saturated);
    !carried(row.first)
        && !carried(row.value)
        && !saturated(row.first_lacks)
        && !saturated(row.value_lacks)
}

const fn word(change: Change) -> &'static str {
    match change {
        Change::Same => "the same",
        Change::Better => "better",
        Change::Worse => "worse",
        Change::NotShown => "no difference that this run can show",
    }
}

fn parts(comparison: &Comparison, design: usize) -> String {
    let mut table = Aligned::new(&[
        "part",
        "which of them",
        "case",
        ">design 1",
        &format!(">design {}", design + 1),
        ">difference, 95 % interval",
        "which is",
    ]);
    let used = |row: &PartDifference| match row.change {
        _ if row.value_percent.is_none() => "only in design 1",
        _ if row.first_percent.is_none() => "not in design 1",
        Change::Same => "the same",
        Change::Better => "less used",
        Change::Worse => "more used",
        Change::NotShown => "no difference that this run can show",
    };
    let shown = |percent: Option<f64>| percent.map_or_else(|| NONE.to_owned(), three);
    let rows = comparison.part_differences.iter();
    for row in rows.filter(|row| row.design == design) {
        table.row(vec![
            row.part.clone(),
            instances(row),
            row.case.name.clone(),
            shown(row.first_percent),
            shown(row.value_percent),
            row.difference.map_or_else(
                || NONE.to_owned(),
                |difference| Scale::PLAIN.difference(&difference),
            ),
            used(row).to_owned(),
        ]);
    }
    table.text(
        "Parts, of each family the fullest by arithmetic: used on the mean, %, and the difference in points",
    )
}

/// Which of a family is shown: `san-A to edge-A`; of two, both.
fn instances(row: &PartDifference) -> String {
    let words = |name: &String| name.replace(" > ", " to ");
    let one = row.first_instance.as_ref().map(words);
    let other = row.value_instance.as_ref().map(words);
    match (one, other) {
        (Some(one), Some(other)) if one != other => format!("{one}; there {other}"),
        (one, other) => one.or(other).unwrap_or_else(|| NONE.to_owned()),
    }
}

fn inventories(comparison: &Comparison) -> String {
    let mut table = Aligned::new(&["made of"]);
    for index in 0..comparison.designs.len() {
        table = table.number(&format!("design {}", index + 1));
    }
    let all: Vec<&Inventory> = comparison
        .designs
        .iter()
        .map(|design| &design.inventory)
        .collect();
    let mut line = |what: String, of: &dyn Fn(&Inventory) -> u32| {
        let numbers = all.iter().map(|one| count(u64::from(of(one))));
        table.row(std::iter::once(what).chain(numbers).collect());
    };
    line("hosts".to_owned(), &|one| one.hosts);
    line("chassis modules".to_owned(), &|one| one.modules);
    line("other switches".to_owned(), &|one| one.switches);
    line("controllers".to_owned(), &|one| one.controllers);
    for (what, list) in [
        (
            "cables",
            (|one| &one.cables) as fn(&Inventory) -> &Vec<(String, u32)>,
        ),
        ("ports", |one| &one.ports),
        ("optics (one an end, as if no cable were copper)", |one| {
            &one.optics
        }),
        ("lit legs of cages", |one| &one.lit_legs),
        ("dark legs of cages", |one| &one.dark_legs),
    ] {
        let mut labels: Vec<&String> = Vec::new();
        for (label, _) in all.iter().flat_map(|one| list(one)) {
            if !labels.contains(&label) {
                labels.push(label);
            }
        }
        for label in labels {
            line(format!("{what}, {label}"), &|one| {
                let found = list(one).iter().find(|row| row.0 == *label);
                found.map_or(0, |row| row.1)
            });
        }
    }
    table.text("What each design is made of")
}
