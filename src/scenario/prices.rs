//! Price lists: CSV with the head `item,of,price`.
//!
//! `item` is a kind of part or work, `of` says which (a technology, an array, a switch; empty for a setting alone),
//! `price` is a number, zero or more, in a currency that nobody asks about.

use super::problem::{Problem, Severity, near_or_list};
use super::quantity::link_rate;
use super::recording::Rows;
use crate::wire::{technologies, technology};

/// The price of one.
#[derive(Clone, Debug, PartialEq)]
pub struct Price {
    /// What kind it is: `port`, `cable` …
    pub item: String,
    /// Of what: `32GFC`, the name of an array …
    pub of: String,
    /// Zero or more.
    pub price: f64,
}

const HEAD: [&str; 3] = ["item", "of", "price"];
const KINDS: [&str; 9] = [
    "cable",
    "port",
    "optic",
    "switch",
    "module",
    "controller",
    "host",
    "parallel",
    "setting",
];
const EXAMPLES: &str = "for example `port,32GFC,900`, `cable,100GbE,120`, `optic,32GFC,150`, `switch,san,20000`, `parallel,vault,40` \
     (one request in one controller) or `setting,,250`";

/// Reads a price list, in the order of its lines.
///
/// # Errors
/// Every problem, up to ten; never empty.
pub fn prices(file: &str, text: &str) -> Result<Vec<Price>, Vec<Problem>> {
    let mut rows = Rows::new(file, text);
    if rows.head != HEAD {
        let expected = format!("a price list: {}", HEAD.join(","));
        rows.bad_head(expected);
        return Err(with_examples(rows.problems));
    }
    let mut seen: Vec<(String, String)> = Vec::new();
    let all = rows.read(|fields| {
        let (item, of, price) = (fields[0], fields[1], fields[2]);
        if !KINDS.contains(&item) {
            let message = format!("`{item}` is no kind of part or work that has a price");
            return Err((0, message, near_or_list(item, "kinds", &KINDS)));
        }
        let of = &technology_of(item, of)?;
        if of.is_empty() && item != "setting" {
            let message = format!("it is not said which {item} this is the price of");
            return Err((1, message, "a name of the scenario".to_owned()));
        }
        let known = (item.to_owned(), of.to_owned());
        if seen.contains(&known) {
            let message = format!("`{item},{of}` is there twice");
            return Err((0, message, "once".to_owned()));
        }
        let value = price.parse::<f64>().ok();
        let value = value.filter(|price| price.is_finite() && *price >= 0.0);
        let value = value.ok_or_else(|| {
            let message = format!("`{price}` is no price");
            (2, message, "a number, zero or more".to_owned())
        })?;
        seen.push(known);
        Ok(Price {
            item: item.to_owned(),
            of: of.to_owned(),
            price: value,
        })
    });
    if rows.problems.is_empty() && all.is_empty() {
        let words = (
            "there is no price below the head".to_owned(),
            "a line for each item".to_owned(),
        );
        rows.note(0, (0, HEAD.join(",").len()), words, &HEAD.join(","));
    }
    if rows.problems.is_empty() {
        Ok(all)
    } else {
        Err(with_examples(rows.problems))
    }
}

/// Kinds whose prices are of families, by their names.
const NAMED: [&str; 5] = ["switch", "module", "controller", "host", "parallel"];

/// Lines of a price list that was read whose price is of a family that there is not: a warning each, for one list may serve several
/// designs. `known`: the names that a kind has.
#[must_use]
pub fn prices_of_nothing<'k>(
    file: &str,
    text: &str,
    known: impl Fn(&str) -> Vec<&'k str>,
) -> Vec<Problem> {
    let mut rows = Rows::new(file, text);
    let _: Vec<()> = rows.read(|fields| {
        let (item, of) = (fields[0], fields[1]);
        let names = known(item);
        if !NAMED.contains(&item) || names.contains(&of) {
            return Ok(());
        }
        let message = format!("no design has a {item} `{of}`, so that this price is of nothing");
        let expected = if names.is_empty() {
            format!("nothing: no design has a {item}")
        } else {
            near_or_list(of, "names", &names)
        };
        Err((1, message, expected))
    });
    for problem in &mut rows.problems {
        problem.severity = Severity::Warning;
    }
    rows.problems
}

/// What is plugged is of a technology, of several legs of one in a cage, or of a rate; the rest has names of its own. A technology is
/// written as it is elsewhere.
fn technology_of(item: &str, of: &str) -> Result<String, (usize, String, String)> {
    if !["cable", "port", "optic"].contains(&item) || link_rate(of).is_ok() {
        return Ok(of.to_owned());
    }
    let (legs, label) = match of
        .strip_suffix(IN_A_CAGE)
        .and_then(|own| own.split_once(TIMES))
    {
        Some((legs, label)) if legs.parse::<u32>().is_ok() => (Some(legs), label),
        _ => (None, of),
    };
    if let Some(known) = technology(label) {
        return Ok(legs.map_or_else(
            || known.label.to_owned(),
            |legs| format!("{legs}{TIMES}{}{IN_A_CAGE}", known.label),
        ));
    }
    let labels: Vec<&str> = technologies().iter().map(|known| known.label).collect();
    let message = format!("`{label}` is no technology, of which each {item} is");
    Err((1, message, near_or_list(label, "technologies", &labels)))
}

/// A cable with several legs: `4 × 25GbE in a cage`.
const TIMES: &str = " × ";
const IN_A_CAGE: &str = " in a cage";

/// The last of them says what lines look like.
fn with_examples(mut problems: Vec<Problem>) -> Vec<Problem> {
    if let Some(last) = problems.last_mut() {
        EXAMPLES.clone_into(&mut last.help);
    }
    problems
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_that_cannot_be_read_is_told_at_its_place() {
        let text = "item,of,price\nport,32GFC,900\ncable,32GFC,x\nprot,32GFC,1\n\nport,32GFC,2\nport,64GFC,-1\nport,64GFC\n";
        let problems = prices("p.csv", text).unwrap_err();
        let places: Vec<_> = problems.iter().map(|p| (p.line, p.column)).collect();
        let wanted = [(3, 13), (4, 1), (6, 1), (7, 12), (8, 1)];
        assert_eq!(
            places,
            wanted.map(|(line, column)| (Some(line), column)),
            "{problems:?}"
        );
        assert_eq!(problems[1].expected, "did you mean `port`?");
        assert!(problems[4].help.contains("port,32GFC,900"));
    }

    #[test]
    fn a_technology_that_there_is_not_is_told_with_the_nearest() {
        let text = "item,of,price\nport,32GCF,900\ncable,4 × 25GbF in a cage,3\noptic,27.2Gb/s,5\ncable,4 × 25gbe in a cage,3\n\
                    port,,1\nhost,rack,7\nport,32gfc,1\nport,32GFC,1\n";
        let problems = prices("p.csv", text).unwrap_err();
        let told: Vec<_> = problems.iter().map(|p| (p.line, p.column)).collect();
        let wanted = [(2, 6), (3, 7), (6, 6), (9, 1)];
        assert_eq!(
            told,
            wanted.map(|(line, column)| (Some(line), column)),
            "{problems:?}"
        );
        assert_eq!(problems[0].expected, "did you mean `32GFC`?");
        assert_eq!(problems[1].expected, "did you mean `25GbE`?");
        assert!(
            problems[2].message.contains("no technology"),
            "{problems:?}"
        );
        assert!(problems[3].message.contains("there twice"), "{problems:?}");
        let all = prices("p.csv", "item,of,price\ncable,4 × 25gbe in a cage,3\n").unwrap();
        assert_eq!(all[0].of, "4 × 25GbE in a cage");
    }

    #[test]
    fn a_price_of_nothing_in_particular_is_told() {
        let text = "item,of,price\nparallel,,1\nmodule,,3\nsetting,,2\nhost,rack,7\n";
        let problems = prices("p.csv", text).unwrap_err();
        let told: Vec<_> = problems.iter().map(|p| p.line).collect();
        assert_eq!(told, [Some(2), Some(3)], "{problems:?}");
    }

    #[test]
    fn a_price_of_a_family_that_no_design_has_is_warned_of_at_its_place() {
        let text = "item,of,price\nswitch,edgee,30\nport,32GFC,1\nmodule,blade,3\nparallel, vault,1\nsetting,,2\n";
        let known = |item: &str| match item {
            "switch" => vec!["edge", "san"],
            "parallel" => vec!["vault"],
            _ => Vec::new(),
        };
        let told = prices_of_nothing("p.csv", text, known);
        let places: Vec<_> = told.iter().map(|p| (p.line, p.column)).collect();
        assert_eq!(places, [(Some(2), 8), (Some(4), 8)], "{told:?}");
        assert!(told.iter().all(|p| p.severity == Severity::Warning));
        assert_eq!(told[0].expected, "did you mean `edge`?");
        assert!(told[1].expected.contains("no design has a module"));
    }

    #[test]
    fn quotes_and_blanks_of_a_spreadsheet_are_taken_off() {
        let text =
            "\u{feff}\"item\",\"of\",\"price\"\n\"port\", 32GFC ,\"900\"\n setting ,,2.5e2\n";
        let all = prices("p.csv", text).unwrap();
        let found: Vec<_> = all
            .iter()
            .map(|row| (row.item.as_str(), row.of.as_str(), row.price))
            .collect();
        assert_eq!(found, [("port", "32GFC", 900.0), ("setting", "", 250.0)]);
    }

    #[test]
    fn a_list_needs_its_head_and_a_price() {
        for text in ["", "item,of\nport,1\n", "item,of,price\n", "\n"] {
            let problems = prices("p.csv", text).unwrap_err();
            assert_eq!(problems.len(), 1, "{text:?}");
            assert!(!problems[0].help.is_empty());
        }
    }
}
