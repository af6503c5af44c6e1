//! The work sheet of an acceptance test, one row an expectation.

use super::{names, to_text};
use crate::render::sheet::{CAUTIONS, Sheet, SheetLine};

/// One row for each expectation; `measured`, `as_expected` and `promise_kept` are empty, for whoever tests. The cautions come first, what to take
/// away before each step and its return after it.
#[must_use]
pub fn sheet_csv(sheet: &Sheet) -> String {
    let header = names(&[
        "step",
        "case",
        "when",
        "what",
        "expected_low",
        "expected_high",
        "unit",
        "range",
        "expected_words",
        "promised",
        "measured",
        "as_expected",
        "promise_kept",
    ]);
    let row = |step: usize, case: &str, line: &SheetLine| {
        vec![
            step.to_string(),
            case.to_owned(),
            line.when.to_owned(),
            line.what.clone(),
            figure(line, line.low),
            figure(line, line.high),
            line.unit.clone(),
            line.spread.clone(),
            line.words.clone(),
            line.promised.clone(),
            String::new(),
            String::new(),
            String::new(),
        ]
    };
    let said = |step: usize, case: &str, when: &str, what: &str, words: String| {
        let mut cells = vec![String::new(); header.len()];
        cells[0] = step.to_string();
        for (at, text) in [(1, case), (2, when), (3, what), (8, &words)] {
            text.clone_into(&mut cells[at]);
        }
        cells
    };
    let mut rows: Vec<Vec<String>> = CAUTIONS
        .iter()
        .map(|caution| said(0, "healthy", "care", "read first", (*caution).to_owned()))
        .collect();
    let missed = |step: usize, case: &str, misses: &[String], open: &[String]| {
        let row = |what: &str, named: &[String]| {
            (!named.is_empty()).then(|| said(step, case, "care", what, named.join("; ")))
        };
        let undecided = "not decided: have it decided first";
        [
            row("expected to miss: do not go on at this load", misses),
            row(undecided, open),
        ]
    };
    rows.extend(
        missed(0, "healthy", &sheet.misses, &sheet.open)
            .into_iter()
            .flatten(),
    );
    rows.extend(sheet.before.iter().map(|line| row(0, "healthy", line)));
    for (index, step) in sheet.cases.iter().enumerate() {
        let (number, case) = (index + 1, &step.case.name);
        rows.extend(
            missed(number, case, &step.misses, &step.open)
                .into_iter()
                .flatten(),
        );
        if let Some(load) = &step.load {
            rows.push(said(number, case, "care", "at the load of", load.clone()));
        }
        for (position, act) in step.takes.iter().enumerate() {
            let what = format!("what is done, {} of {}", position + 1, step.takes.len());
            rows.push(said(number, case, "take away", &what, act.clone()));
        }
        if let Some(how) = step.how {
            rows.push(said(number, case, "take away", "how", how.to_owned()));
        }
        let links = if step.silent {
            "links over which nothing may come through"
        } else {
            "links whose ports to disable"
        };
        for (what, parts) in [("whole parts", &step.nodes), (links, &step.links)] {
            if !parts.is_empty() {
                rows.push(said(number, case, "take away", what, parts.join("; ")));
            }
        }
        rows.extend(step.lines.iter().map(|line| row(number, case, line)));
        let back = "all paths as in step 0".to_owned();
        rows.push(said(number, case, "back", "everything back", back));
    }
    to_text(&header, rows)
}

/// A figure as the page has it: counts as they are, everything else to three digits.
fn figure(line: &SheetLine, value: Option<f64>) -> String {
    let Some(value) = value else {
        return String::new();
    };
    if line.unit.is_empty() && value.fract() == 0.0 || value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    // From the decimal text, so that it ends after three digits.
    let rounded = format!("{value:.2e}").parse::<f64>();
    rounded.unwrap_or(value).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;
    use crate::render::sheet::{Steps, sheet};

    /// No figure has more than three digits but a count, and the row says the same as the page.
    #[test]
    fn figures_have_three_digits() {
        let sheet = sheet(&Steps::of(sample_report()));
        let lines = || {
            sheet
                .before
                .iter()
                .chain(sheet.cases.iter().flat_map(|step| &step.lines))
        };
        let long = |value: f64| value.to_string().len() > 8;
        assert!(
            lines().any(|line| line.high.is_some_and(long)),
            "the sample has long ones"
        );
        for line in lines() {
            for value in [line.low, line.high].into_iter().flatten() {
                let said = figure(line, Some(value));
                let digits = said.replace(['.', '-'], "");
                let digits = digits.trim_start_matches('0').trim_end_matches('0');
                let count = line.unit.is_empty() && value.fract() == 0.0;
                assert!(count || digits.len() <= 3, "{said} of {value}");
                let back: f64 = said.parse().expect("it is a number");
                assert!(
                    (back - value).abs() <= 0.005 * value.abs(),
                    "{said} of {value}"
                );
            }
        }
        let text = sheet_csv(&sheet);
        assert!(text.contains("% interval of the mean"), "{text}");
    }
}
