//! What closed forms say, beside what was simulated.

use super::align::{Aligned, wrapped};
use crate::outcome::TheoryRow;
use crate::render::number::NONE;
use crate::render::words::{theory_figure, theory_simulated_line, theory_value, trust_words};

/// The table and its assumptions; nothing where no form applies.
pub(super) fn theory_text(rows: &[TheoryRow], with_simulated: bool) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut heads = vec!["case", "part", "figure", "", ">theory"];
    if with_simulated {
        heads.push(">simulated");
    }
    heads.push("by");
    let mut table = Aligned::new(&heads);
    for row in rows {
        let mut cells = vec![
            row.case.clone(),
            row.part.clone(),
            theory_figure(row),
            trust_words(row.trust).to_owned(),
            theory_value(row),
        ];
        if with_simulated {
            cells.push(theory_simulated_line(row).unwrap_or_else(|| NONE.to_owned()));
        }
        cells.push(row.by.to_owned());
        table.row(cells);
    }
    let mut out = table.text(
        "What queueing theory says of the fullest controller of each array and the fullest first link of each kind, where they are used at all",
    );
    // The table ends with an empty line; its assumptions belong to it.
    out.truncate(out.trim_end().len());
    out.push('\n');
    let mut said: Vec<(&str, &str)> = Vec::new();
    for row in rows {
        if !said.contains(&(row.by, row.assumes)) {
            said.push((row.by, row.assumes));
        }
    }
    // What several end with is said once, after them.
    let last = |assumes: &'static str| assumes.rsplit_once("; ");
    let is_shared = |ending: &str| {
        let own = said
            .iter()
            .filter(|(_, other)| last(other).is_some_and(|other| other.1 == ending));
        own.count() > 1
    };
    let mut lines: Vec<String> = Vec::new();
    let mut shared: Vec<(&str, Vec<&str>)> = Vec::new();
    for (by, assumes) in &said {
        let (own, ending) = match last(assumes).filter(|(_, ending)| is_shared(ending)) {
            Some((own, ending)) => (own, Some(ending)),
            None => (*assumes, None),
        };
        lines.push(format!("{by} assumes: {own}."));
        match (
            ending,
            shared.iter_mut().find(|known| Some(known.0) == ending),
        ) {
            (Some(_), Some(known)) => known.1.push(by),
            (Some(ending), None) => shared.push((ending, vec![by])),
            (None, _) => {}
        }
    }
    let of = |(ending, by): (&str, Vec<&str>)| format!("{} assume: {ending}.", by.join("; "));
    lines.extend(shared.into_iter().map(of));
    for line in lines {
        out.push_str("  ");
        out.push_str(&wrapped(&line, 92).trim_end().replace('\n', "\n    "));
        out.push('\n');
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_two_forms_assume_alike_is_said_once() {
        let row = |by, assumes| {
            let wait = ("mean wait", "us", 12.5);
            let trust = crate::outcome::Trust::Approximation;
            TheoryRow::new("healthy", "depot-c1".to_owned(), wait, trust, (by, assumes))
        };
        let rows = [
            row("one", "at random; paths that level make waits shorter"),
            row("two", "in batches; paths that level make waits shorter"),
            row("three", "no time between; nothing else"),
        ];
        let text = theory_text(&rows, false);
        assert_eq!(text.matches("make waits shorter").count(), 1, "{text}");
        for line in [
            "  one assumes: at random.\n",
            "  two assumes: in batches.\n",
            "  three assumes: no time between; nothing else.\n",
            "  one; two assume: paths that level make waits shorter.\n",
        ] {
            assert!(text.contains(line), "{text}");
        }
    }
}
