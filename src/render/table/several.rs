//! Several scenarios, one row each, as text.

use super::align::{Aligned, wrapped};
use crate::render::number::count;
use crate::render::several::ScenarioRow;
use crate::render::words::{Flag, plural};

/// One row a scenario, then how each is repeated.
#[must_use]
pub fn several_text(rows: &[ScenarioRow]) -> String {
    let bad = rows
        .iter()
        .filter(|row| matches!(row.flag(), Flag::Saturated | Flag::Missed))
        .count();
    let open = rows
        .iter()
        .filter(|row| row.flag() == Flag::Undecided)
        .count();
    let all = plural(rows.len(), "scenario");
    let head = match (bad, open) {
        (0, 0) => format!("{all}: none misses a promise."),
        (0, open) => format!(
            "{all}: none misses a promise, {} cannot be decided.",
            count(open as u64)
        ),
        (bad, 0) => format!("{all}: {} with a promise missed.", count(bad as u64)),
        (bad, open) => format!(
            "{all}: {} with a promise missed, {} cannot be decided.",
            count(bad as u64),
            count(open as u64)
        ),
    };
    let mut table = Aligned::new(&[
        "scenario",
        "verdict",
        ">met",
        "the worst judgement",
        ">margin",
        "the fullest part there",
    ]);
    for row in rows {
        table.row(vec![
            row.scenario.clone(),
            row.verdict.to_owned(),
            format!("{} of {}", row.met, row.judged),
            row.worst().to_owned(),
            row.room(),
            row.limit(),
        ]);
    }
    let mut out = format!(
        "{head}\n\n{}",
        table.text("Scenarios, each with its worst judgement")
    );
    let cut: Vec<&str> = rows
        .iter()
        .filter(|row| row.partial)
        .map(|row| row.scenario.as_str())
        .collect();
    if !cut.is_empty() {
        out.push_str(&wrapped(
            &format!(
                "Partial: a limit on events or memory stopped runs of {}; by itself each says which, and what its figures are of.",
                cut.join(", ")
            ),
            120,
        ));
        out.push('\n');
    }
    out.push_str("Estimates, from the inputs stated in each; repeated by\n");
    for row in rows {
        let short = row.digest.get(..12).unwrap_or(&row.digest);
        out.push_str(&wrapped(
            &format!("  {}  (scenario {short})", row.command),
            200,
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;
    use crate::render::several::scenario_rows;

    #[test]
    fn one_row_a_scenario_with_its_worst_judgement_and_what_limits() {
        let one = sample_report();
        let mut other = one.clone();
        other.origin.scenario = "other.toml".to_owned();
        for row in &mut other.matrix.rows {
            for cell in row.cells.iter_mut().flatten() {
                cell.verdict = crate::outcome::Verdict::Met;
                cell.margin_percent = Some(50.0);
            }
        }
        let rows = scenario_rows(&[one, other]);
        assert_eq!((rows[0].verdict, rows[1].verdict), ("missed", "met"));
        assert_eq!(rows[1].met, rows[1].judged);
        assert!(rows[0].met < rows[0].judged);
        let text = several_text(&rows);
        assert!(
            text.starts_with("2 scenarios: 1 with a promise missed."),
            "{text}"
        );
        for word in [
            "ostrel.toml",
            "other.toml",
            "bookings p99",
            "busiest 20",
            "Estimates",
        ] {
            assert!(text.contains(word), "{word} is not in\n{text}");
        }
    }
}
