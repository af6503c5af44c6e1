//! A text with faults, put right where its reader can only have meant one thing, so that the rest of it can be judged too.
//!
//! Every byte stays in its place: a fault is replaced by as many bytes, and a line that cannot be put right is blanked. What is
//! then missing because of that is not told: its line is.
//!
//! Left out: lines that name a part or say what a link joins. Without them whatever refers to the part would be told to be wrong.

use super::{Fault, Heading, left_open, section, token, words};
use crate::scenario::problem::position;
use std::ops::Range;

/// Keys that others refer to.
const REFERRED_TO: [&str; 3] = ["name", "from", "to"];

/// A key that a blanked line stated: line of the heading that it stands under (1 where there is none), and the key.
pub(in crate::scenario) type Blanked = (u32, String);

const CURLY: [char; 5] = ['\u{201C}', '\u{201D}', '\u{201E}', '\u{2018}', '\u{2019}'];

/// The text without these faults, and what was blanked; `None` where that would be a guess.
pub(super) fn mended(
    text: &str,
    headings: &[Heading<'_>],
    faults: &[Fault],
) -> Option<(String, Vec<Blanked>)> {
    let mut out = text.to_owned();
    let mut blanked = Vec::new();
    // Up to here everything has been seen to.
    let mut seen = 0;
    for fault in faults {
        let (span, message) = fault;
        let line = line_of(text, span.start);
        if span.start < seen || harmless(text, headings, fault) {
            continue;
        }
        if headings.iter().any(|heading| heading.line.contains(&span.start)) && left_open(text, fault).is_none() {
            return None;
        }
        let place = left_open(text, fault).map_or(line.clone(), |open| {
            line_of(text, open.start).start..line.start
        });
        seen = place.end.max(line.end.min(place.end));
        if let Some(new) = put_right(text, span, message, &line) {
            out.replace_range(line.clone(), &new);
            seen = line.end;
            continue;
        }
        let key = text[place.clone()].split(['=', ':']).next()?.trim();
        let bare = !key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || "-_".contains(c));
        if !bare || REFERRED_TO.contains(&key) {
            return None;
        }
        let own = section(headings, span);
        let head = own.map_or(1, |heading| position(text, heading.line.start).0);
        blanked.push((head, key.to_owned()));
        let blank: String = text[place.clone()]
            .bytes()
            .map(|byte| if byte == b'\n' { '\n' } else { ' ' })
            .collect();
        out.replace_range(place, &blank);
    }
    Some((out, blanked))
}

/// The line that a byte stands in, without its end.
fn line_of(text: &str, at: usize) -> Range<usize> {
    let start = text[..at].rfind('\n').map_or(0, |found| found + 1);
    let end = text[at..].find('\n').map_or(text.len(), |found| at + found);
    start..end
}

/// What the parser gets over by itself: values without quotes, and keys that are there twice.
pub(super) fn harmless(text: &str, headings: &[Heading<'_>], (span, message): &Fault) -> bool {
    let in_heading = headings
        .iter()
        .any(|heading| heading.line.contains(&span.start));
    let twice = message.starts_with("duplicate") && !in_heading;
    twice || words(text, headings, span, message).0.ends_with(super::BARE)
}

/// The line with a fault put right, as long as before; `None` where it is not clear what was meant.
fn put_right(text: &str, span: &Range<usize>, message: &str, line: &Range<usize>) -> Option<String> {
    let own = &text[line.clone()];
    let at = span.start.checked_sub(line.start)?;
    let swapped = |place: usize, new: &str| {
        let mut own = own.to_owned();
        own.replace_range(place..place + new.len(), new);
        own
    };
    let rest = own.get(at..)?;
    if rest.starts_with(':') && !own[..at].contains('=') {
        return Some(swapped(at, "="));
    }
    if rest.starts_with('=') && own[..at].trim_end().ends_with('=') {
        return Some(swapped(at, " "));
    }
    if !message.contains("string values must be quoted") && !message.starts_with("invalid ") {
        return None;
    }
    let token = token(text, span.start);
    let from = own.find(token)?;
    if ["true", "false"].contains(&token.to_lowercase().as_str()) {
        return Some(swapped(from, &token.to_lowercase()));
    }
    let inside = token.strip_prefix(CURLY)?.strip_suffix(CURLY)?;
    let sound = !inside.contains(['"', '\\']) && !inside.contains(CURLY);
    // A curly quote takes three bytes.
    sound.then(|| swapped(from, &format!("  \"{inside}\"  ")))
}
