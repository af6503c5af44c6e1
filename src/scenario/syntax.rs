//! Text that is no TOML, or whose tables are misspelt: what is wrong, the cause before all that follows from it.
//!
//! A parser that meets `[[workloads]]` finds nothing wrong with it, and then takes each `[workload.promise]` below
//! for one more of the workload before: the cause is none of its problems. So headings are looked at first. One
//! that is misspelt is reported and read as what it is taken for, and the rest of the text is judged with that.
//!
//! Left out: headings inside strings of several lines are taken for headings, but only in a text that has problems.

use super::context::Context;
use super::problem::{near, plural, position};
use super::tree::{self, Entry, FAMILIES, Origin};
use std::ops::Range;

/// Tables of which there is one.
const ONE: [&str; 4] = ["run", "timers", "day", "growth"];
/// Further tables of which there may be many; they have no name that `--set` could use, or none but that of a change.
const FURTHER: [&str; 3] = ["event", "variant", "step"];

/// A line like `[[host]]` or `[workload.promise]`.
#[derive(Debug)]
struct Heading<'t> {
    /// Bytes of the line, without its end.
    line: Range<usize>,
    /// Whether it opens with two brackets.
    double: bool,
    /// First part of its name.
    name: &'t str,
    /// Bytes of that.
    place: Range<usize>,
    /// Whether nothing but brackets stands behind the first part.
    alone: bool,
}

/// Parses the text. What is wrong with it is noted; the second value says whether the tree can be understood.
pub(super) fn parse(ctx: &Context<'_>) -> (Vec<Entry>, bool) {
    let (root, errors) = entries(ctx.text);
    let known = |entry: &Entry| is_many(&entry.key) || ONE.contains(&entry.key.as_str());
    if errors.is_empty() && root.iter().all(known_or_value(&known)) {
        return (root, true);
    }
    let headings = headings(ctx.text);
    let misspelt: Vec<(&Heading<'_>, &'static str)> = headings
        .iter()
        .filter(|heading| !errors.is_empty() || root.iter().any(|entry| entry.key == heading.name))
        .filter_map(|heading| meant(heading.name).map(|known| (heading, known)))
        .collect();
    let mended = report_misspelt(ctx, &misspelt);
    let (root, errors) = mended.as_deref().map_or((root, errors), entries);
    let can_go_on = mended.is_some() || misspelt.is_empty();
    let left = if can_go_on { errors } else { Vec::new() };
    let left = report_single(ctx, &headings, left);
    let sound = can_go_on && left.is_none();
    report(ctx, &headings, &left.unwrap_or_default());
    (root, sound)
}

/// Whether an entry of the top is a known table, or a value under any key.
fn known_or_value<'k>(known: &'k impl Fn(&Entry) -> bool) -> impl Fn(&Entry) -> bool + 'k {
    move |entry| known(entry) || !holds_tables(entry)
}

fn holds_tables(entry: &Entry) -> bool {
    match &entry.node.value {
        tree::Value::Table(_) => true,
        tree::Value::Array(items) => items.iter().any(|item| item.as_table().is_some()),
        _ => false,
    }
}

fn is_many(name: &str) -> bool {
    FAMILIES.contains(&name) || FURTHER.contains(&name)
}

/// What the parser says of one fault, and where.
type Fault = (Range<usize>, String);

fn entries(text: &str) -> (Vec<Entry>, Vec<Fault>) {
    let (table, errors) = toml::de::DeTable::parse_recoverable(text);
    let mut faults: Vec<Fault> = errors
        .iter()
        .map(|error| {
            let message = error.message().lines().next().unwrap_or("this is not TOML");
            (error.span().unwrap_or(0..0), message.to_owned())
        })
        .collect();
    faults.sort_by_key(|(span, _)| (span.start, span.end));
    (tree::of_table(table.get_ref(), &Origin::Text), faults)
}

fn headings(text: &str) -> Vec<Heading<'_>> {
    let mut found = Vec::new();
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let end = start + line.trim_end().len();
        let inner = line.trim_start();
        let indent = line.len() - inner.len();
        let opened = inner.trim_start_matches('[');
        let brackets = inner.len() - opened.len();
        let bare = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
        let spaces = opened.len() - opened.trim_start().len();
        let name = opened.trim_start();
        let name = &name[..name.find(|c: char| !bare(c)).unwrap_or(name.len())];
        if (1..=2).contains(&brackets) && !name.is_empty() {
            let from = start + indent + brackets + spaces;
            found.push(Heading {
                line: start..end,
                double: brackets == 2,
                name,
                place: from..from + name.len(),
                alone: !opened[spaces + name.len()..].trim_start().starts_with('.'),
            });
        }
        start += line.len();
    }
    found
}

/// The table that a misspelt heading is taken for.
fn meant(name: &str) -> Option<&'static str> {
    let known = || FAMILIES.into_iter().chain(FURTHER).chain(ONE);
    if known().any(|known| known == name) {
        return None;
    }
    let lower = name.to_lowercase();
    known()
        .find(|known| plural(known) == lower)
        .or_else(|| near(name, known()))
}

/// One problem for each misspelt name; the text with all of them put right where they have room for it.
fn report_misspelt(ctx: &Context<'_>, misspelt: &[(&Heading<'_>, &'static str)]) -> Option<String> {
    let mut said: Vec<&str> = Vec::new();
    let mut mended = ctx.text.to_owned();
    let mut fits = !misspelt.is_empty();
    for (heading, known) in misspelt {
        let room = heading.name.len();
        fits &= known.len() <= room;
        if fits {
            mended.replace_range(heading.place.clone(), &format!("{known:room$}"));
        }
        if said.contains(&heading.name) {
            continue;
        }
        said.push(heading.name);
        let again: Vec<String> = misspelt
            .iter()
            .filter(|(other, _)| {
                other.name == heading.name && other.line.start > heading.line.start
            })
            .map(|(other, _)| position(ctx.text, other.place.start).0.to_string())
            .collect();
        let help = match again.as_slice() {
            [] => String::new(),
            [line] => format!("the same in line {line}"),
            lines => format!("the same in lines {}", lines.join(", ")),
        };
        ctx.error(
            &Origin::Text(heading.place.clone()),
            &format!("no table is called `{}`", heading.name),
            &format!("did you mean `{}`?", written(known, heading)),
            &help,
        );
    }
    fits.then_some(mended)
}

/// A heading as it should be: `[[host]]`, `[run]`, `[workload.…]`.
fn written(known: &str, heading: &Heading<'_>) -> String {
    match (is_many(known), heading.alone) {
        (true, true) => format!("[[{known}]]"),
        (_, true) => format!("[{known}]"),
        (_, false) => format!("[{known}.…]"),
    }
}

/// `[host]` for one of many, twice: each is reported, and what follows from it is not. `None` where nothing is left.
fn report_single(
    ctx: &Context<'_>,
    headings: &[Heading<'_>],
    faults: Vec<Fault>,
) -> Option<Vec<Fault>> {
    let mut single: Vec<&str> = Vec::new();
    for (span, message) in &faults {
        let name = section(headings, span).map_or("", |heading| heading.name);
        let wrong = |h: &Heading<'_>| h.name == name && h.alone && !h.double;
        if message.starts_with("duplicate") && is_many(name) && headings.iter().any(wrong) {
            single.push(name);
        }
    }
    for heading in headings {
        if heading.alone && !heading.double && single.contains(&heading.name) {
            ctx.error(
                &Origin::Text(heading.line.clone()),
                &format!(
                    "`[{0}]` stands for the only {0}, and there are more",
                    heading.name
                ),
                &format!("`[[{}]]`, two brackets: one of several", heading.name),
                "",
            );
        }
    }
    let before = faults.len();
    let left: Vec<Fault> = faults
        .into_iter()
        .filter(|(span, message)| {
            let of = section(headings, span);
            !(message.starts_with("duplicate")
                && of.is_some_and(|heading| single.contains(&heading.name)))
        })
        .collect();
    (before > 0).then_some(left)
}

/// The heading that a place stands under or in.
fn section<'h, 't>(headings: &'h [Heading<'t>], span: &Range<usize>) -> Option<&'h Heading<'t>> {
    headings
        .iter()
        .take_while(|heading| heading.line.start <= span.start)
        .last()
}

/// Reports what the parser found: one fault a line, and none that only follows from another.
fn report(ctx: &Context<'_>, headings: &[Heading<'_>], faults: &[Fault]) {
    let twice = |fault: &Fault| fault.1.starts_with("duplicate");
    let line = |fault: &Fault| position(ctx.text, fault.0.start).0;
    let only_twice = faults.iter().all(twice);
    let mut shown: Vec<&Fault> = Vec::new();
    for fault in faults {
        let same_line = shown.last().is_some_and(|last| line(last) == line(fault));
        let follows = if only_twice {
            // Under a heading that is itself there twice every key is.
            section(headings, &fault.0).is_some_and(|heading| {
                !heading.line.contains(&fault.0.start)
                    && faults
                        .iter()
                        .any(|(span, _)| heading.line.contains(&span.start))
            })
        } else {
            twice(fault)
        };
        if !same_line && !follows {
            shown.push(fault);
        }
    }
    let left_out = faults.len() - shown.len();
    for (index, fault) in shown.iter().enumerate() {
        let (span, message) = fault;
        let (says, expected, mut help) = words(ctx.text, headings, span, message);
        if index + 1 == shown.len() && left_out > 0 {
            let more = match left_out {
                1 => "one more problem may follow from this and is left out".to_owned(),
                _ => format!("{left_out} more problems may follow from this and are left out"),
            };
            help = if help.is_empty() {
                more
            } else {
                format!("{help}; {more}")
            };
        }
        ctx.error(&Origin::Text(span.clone()), &says, &expected, &help);
    }
}

/// What is wrong, what was expected, and what to do.
fn words(
    text: &str,
    headings: &[Heading<'_>],
    span: &Range<usize>,
    message: &str,
) -> (String, String, String) {
    let (fault, wanted) = message.split_once(", expected ").unwrap_or((message, ""));
    let at = text.get(span.start..).unwrap_or("");
    let said = |says: &str, expected: String| (says.to_owned(), expected, String::new());
    if message.starts_with("duplicate") {
        return said(
            "the same key is there twice",
            earlier(text, headings, span).map_or_else(
                || "each key once in its table".to_owned(),
                |line| format!("it is already in line {line}"),
            ),
        );
    }
    if fault.contains("string values must be quoted") || fault.starts_with("invalid ") {
        let token = token(text, span.start);
        let plain = token.chars().any(char::is_alphanumeric)
            && !token.contains(['"', '\'', '=', ':', '[', '{']);
        if plain && text[..span.start].rfind('=') > text[..span.start].rfind('\n') {
            return said(
                &format!("`{token}` stands without quotes"),
                format!("\"{token}\", in quotes: only numbers, true and false go without"),
            );
        }
    }
    if at.starts_with(':') {
        return said(
            "this is not TOML: `:` between a key and its value",
            "`key = value`".to_owned(),
        );
    }
    if fault.contains("key with no value") {
        return said(
            "this is not TOML: a key without a value",
            "`key = value`".to_owned(),
        );
    }
    if fault.contains("string") && wanted.contains(['"', '\'']) {
        return said(
            "a string is not closed in this line",
            "a quote at its end, like the one it began with".to_owned(),
        );
    }
    if fault.contains("array table") {
        return said("a heading is not closed", "`]]` at its end".to_owned());
    }
    if fault.contains("unclosed table") {
        return said("a heading is not closed", "`]` at its end".to_owned());
    }
    let wanted = if wanted == "nothing" {
        "nothing more in this line"
    } else {
        wanted
    };
    said(&format!("this is not TOML: {fault}"), wanted.to_owned())
}

/// The value that a place stands in, from `=`, `,` or a bracket to `,`, a bracket, a remark or the end of the line.
fn token(text: &str, at: usize) -> &str {
    let before = text.get(..at).unwrap_or("");
    let start = before
        .rfind(['=', ',', '[', '{', '\n'])
        .map_or(0, |found| found + 1);
    let rest = text.get(start..).unwrap_or("");
    let end = rest.find([',', ']', '}', '#', '\n']).unwrap_or(rest.len());
    rest[..end].trim()
}

/// The line of the same table in which a key that is there twice stood first.
fn earlier(text: &str, headings: &[Heading<'_>], span: &Range<usize>) -> Option<u32> {
    let key = text.get(span.clone())?;
    let own = section(headings, span);
    if let Some(own) = own.filter(|heading| heading.line.contains(&span.start)) {
        let same = |other: &&Heading<'_>| {
            other.line.start < own.line.start && text[other.line.clone()] == text[own.line.clone()]
        };
        let first = headings.iter().find(same)?;
        return Some(position(text, first.line.start).0);
    }
    let from = own.map_or(0, |heading| heading.line.end);
    let mut start = from;
    for line in text.get(from..span.start)?.split_inclusive('\n') {
        if line
            .split_once('=')
            .is_some_and(|(word, _)| word.trim() == key)
        {
            return Some(position(text, start).0);
        }
        start += line.len();
    }
    None
}
