//! Which promise of a sweep is drawn, and what becomes of those that are not.

use crate::render::sweep::SweepTable;

/// Promises about the steady state that are not drawn, of every workload.
#[derive(Default)]
pub(super) struct Others {
    missed: usize,
    undecided: usize,
    /// The first that is missed, else the first that is undecided: workload, promise and case, and where.
    first: String,
}

/// What stands in that column of the rows whose promise is missed most often, or else undecided; of equals the first.
pub(super) fn most_broken<'a>(
    table: &SweepTable,
    rows: impl Iterator<Item = &'a Vec<String>>,
    column: &str,
) -> Option<String> {
    let mut found: Vec<(&str, [usize; 2])> = Vec::new();
    for row in rows {
        let name = table.text(row, column);
        let index = found.iter().position(|(known, _)| *known == name);
        let index = index.unwrap_or_else(|| {
            found.push((name, [0, 0]));
            found.len() - 1
        });
        match table.text(row, "promise_verdict") {
            "missed" => found[index].1[0] += 1,
            "undecided" => found[index].1[1] += 1,
            _ => {}
        }
    }
    let most = found.iter().map(|(_, broken)| *broken).max()?;
    let first = found.iter().find(|(_, broken)| *broken == most)?;
    Some(first.0.to_owned())
}

/// How the promises do that are not drawn.
pub(super) fn others(table: &SweepTable, workload: &str, promise: &str) -> Others {
    let mut out = Others::default();
    let other = |row: &&Vec<String>| {
        table.text(row, "workload") != workload || table.text(row, "promise") != promise
    };
    let rows = || table.rows.iter().filter(other);
    let with = |verdict: &'static str| {
        rows().filter(move |row| table.text(row, "promise_verdict") == verdict)
    };
    (out.missed, out.undecided) = (with("missed").count(), with("undecided").count());
    if let Some(row) = with("missed").chain(with("undecided")).next() {
        let pairs = table.keys.iter().zip(table.values(row));
        let pairs: Vec<String> = pairs.map(|(key, value)| format!("{key}={value}")).collect();
        out.first = format!(
            "{} {}, {}, at {}",
            table.text(row, "workload"),
            table.text(row, "promise"),
            table.text(row, "case"),
            pairs.join(", ")
        );
    }
    out
}

/// What the picture does not show: other promises that are not met.
pub(super) fn besides(others: &Others) -> String {
    let place = |count: usize| if count == 1 { "place" } else { "places" };
    let said = match (others.missed, others.undecided) {
        (0, 0) => return String::new(),
        (0, open) => format!("undecided at {open} {}", place(open)),
        (missed, 0) => format!("missed at {missed} {}", place(missed)),
        (missed, open) => format!("missed at {missed} {}, undecided at {open}", place(missed)),
    };
    format!(" Not drawn: other promises {said}, first {}.", others.first)
}

/// Whether a promise of any work is missed in any case of a point, drawn or not.
pub(super) fn other_is_missed(table: &SweepTable, at: [(usize, &String); 2]) -> bool {
    let here = |row: &Vec<String>| {
        let values = table.values(row);
        at.iter()
            .all(|(key, value)| values.get(*key) == Some(*value))
    };
    let missed = |row: &Vec<String>| {
        ["promise_verdict", "switch_verdict"]
            .iter()
            .any(|name| table.text(row, name) == "missed")
    };
    table.rows.iter().any(|row| here(row) && missed(row))
}
