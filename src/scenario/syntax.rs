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

/// What is said of a value that may lack only its quotes.
pub(super) const BARE: &str = " stands without quotes";

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
    if errors.is_empty() && !root.iter().any(is_strange) {
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
    // The parser takes a value without quotes for one with them, so that the rest can be judged too.
    let only_bare = left.iter().all(|(span, message)| {
        let (says, ..) = words(ctx.text, &headings, span, message);
        says.ends_with(BARE)
    });
    let left = report_single(ctx, &headings, left);
    let sound = can_go_on && (left.is_none() || only_bare);
    let left = left.unwrap_or_default();
    report(ctx, &headings, &left);
    if !sound && !ctx.has_errors() {
        // Nothing may be refused without a word.
        let at = left.first().map_or(0..0, |(span, _)| span.clone());
        ctx.error(&Origin::Text(at), "this is not TOML", "", "");
    }
    (root, sound)
}

/// Whether an entry of the top is a table, or tables, under a name that no table has.
pub(super) fn is_strange(entry: &Entry) -> bool {
    !is_many(&entry.key) && !ONE.contains(&entry.key.as_str()) && holds_tables(entry)
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
    let all = faults.len();
    let open = faults.iter().find_map(|fault| left_open(ctx.text, fault));
    if let Some(open) = &open {
        let what = &ctx.text[open.clone()];
        let close = if what == "{" { '}' } else { ']' };
        let later = faults.iter().filter(|fault| fault.0.start > open.start);
        let help = match later.count() {
            0 | 1 => String::new(),
            more => left_out_words(more - 1),
        };
        ctx.error(
            &Origin::Text(open.clone()),
            &format!("this `{what}` is not closed before the next key"),
            &format!("a `{close}` where it ends"),
            &help,
        );
    }
    let until = open.map_or(usize::MAX, |open| open.start);
    let faults: Vec<&Fault> = faults
        .iter()
        .filter(|fault| fault.0.start < until)
        .collect();
    let only_twice = faults.iter().all(|fault| twice(fault)) && faults.len() == all;
    let mut shown: Vec<&Fault> = Vec::new();
    for fault in faults.iter().copied() {
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
            let more = left_out_words(left_out);
            help = if help.is_empty() {
                more
            } else {
                format!("{help}; {more}")
            };
        }
        ctx.error(&Origin::Text(span.clone()), &says, &expected, &help);
    }
}

fn left_out_words(count: usize) -> String {
    match count {
        1 => "one more problem may follow from this and is left out".to_owned(),
        _ => format!("{count} more problems may follow from this and are left out"),
    }
}

/// The bracket that an earlier line left open, where that explains a fault: a key or a heading was met inside a value.
fn left_open(text: &str, fault: &Fault) -> Option<Range<usize>> {
    let (span, message) = fault;
    let inside = ["comma", "inline table", "array element", "unclosed"];
    if !inside.iter().any(|word| message.contains(word)) {
        return None;
    }
    let start = text.get(..span.start)?.rfind('\n').map_or(0, |at| at + 1);
    let line = text.get(start..)?.lines().next()?.trim_start();
    let is_key = line.starts_with('[') || line.contains('=');
    if !text.get(start..span.start)?.trim().is_empty() || !is_key {
        return None;
    }
    let mut end = start;
    // The value that is open began at most a few lines above; blank lines and remarks may stand between.
    for line in text[..start].split_inclusive('\n').rev() {
        let from = end - line.len();
        if let Some(at) = open_bracket(line) {
            return Some(from + at..from + at + 1);
        }
        end = from;
        if line.contains('=') {
            return None;
        }
    }
    None
}

/// The innermost bracket of a line's value that the line does not close.
fn open_bracket(line: &str) -> Option<usize> {
    let value = line.find('=')? + 1;
    let mut open: Vec<usize> = Vec::new();
    let mut quote = None;
    for (at, letter) in line.char_indices().skip_while(|(at, _)| *at < value) {
        match (quote, letter) {
            (None, '#') => break,
            (None, '"' | '\'') => quote = Some(letter),
            (Some(own), letter) if own == letter => quote = None,
            (None, '{' | '[') => open.push(at),
            (None, '}' | ']') => {
                open.pop();
            }
            _ => {}
        }
    }
    open.pop()
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
    let before = text.get(..span.start).unwrap_or("");
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
        let curly = ['\u{201C}', '\u{201D}', '\u{201E}', '\u{2018}', '\u{2019}'];
        if token.contains(curly) {
            return said(
                &format!("`{token}` stands in curly quotes"),
                format!("\"{}\", in straight ones", token.trim_matches(curly)),
            );
        }
        if ["true", "false"].contains(&token.to_lowercase().as_str()) {
            return said(
                &format!("`{token}` is no word of TOML"),
                format!("{}, in small letters", token.to_lowercase()),
            );
        }
        let plain = token.chars().any(char::is_alphanumeric)
            && !token.contains(['"', '\'', '=', ':', '[', '{']);
        if plain && before.rfind('=') > before.rfind('\n') {
            return said(
                &format!("`{token}`{BARE}"),
                format!("\"{token}\", in quotes: only numbers, true and false go without"),
            );
        }
    }
    if at.starts_with('=') {
        return said("this is not TOML: `==`", "one `=`".to_owned());
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
