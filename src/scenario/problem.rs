//! What is wrong with a scenario, where, and what to do about it.

use std::fmt;

/// How bad a problem is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The scenario cannot be used.
    Error,
    /// It can, but somebody should look.
    Warning,
}

/// One problem, with the line it stands on quoted.
///
/// `Display` gives several lines that end without a line break:
///
/// ```text
/// error: link `isl` ends at an unknown switch or array `sw-a5`
///   --> twin.toml:42:6
///   42 | to = "sw-a5"
///      |      ^^^^^^^ did you mean `sw-a1`?
/// help: add a [[switch]] named `sw-a5`
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// How bad.
    pub severity: Severity,
    /// What is wrong, in one line.
    pub message: String,
    /// The file, or the option that an override came with: `--set`.
    pub file: String,
    /// Line from 1; `None` in an override, which has only one.
    pub line: Option<u32>,
    /// Column from 1, in characters.
    pub column: u32,
    /// The line itself, control characters replaced by spaces.
    pub line_text: String,
    /// Characters to underline, at least 1.
    pub length: u32,
    /// What was expected there; may be empty.
    pub expected: String,
    /// What to do; may be empty.
    pub help: String,
}

impl Problem {
    /// An error in row `number` (from 0) of a table whose line reads `line`, at a place: column from 0, and length, in characters.
    /// `words`: what is wrong, and what was expected.
    #[must_use]
    pub fn in_row(
        file: &str,
        number: usize,
        place: (usize, usize),
        words: (String, String),
        line: &str,
    ) -> Self {
        let clip = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
        Self {
            severity: Severity::Error,
            message: words.0,
            file: file.to_owned(),
            line: Some(clip(number + 1)),
            column: clip(place.0 + 1),
            line_text: line
                .chars()
                .map(|c| if c.is_control() { ' ' } else { c })
                .collect(),
            length: clip(place.1).max(1),
            expected: words.1,
            help: String::new(),
        }
    }
}

/// More of a line than this helps nobody.
const LINE_SHOWN_MAX: usize = 160;

impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        };
        writeln!(out, "{word}: {}", self.message)?;
        let number = match self.line {
            Some(line) => {
                writeln!(out, "  --> {}:{line}:{}", self.file, self.column)?;
                line.to_string()
            }
            None => {
                writeln!(out, "  --> {}", self.file)?;
                String::new()
            }
        };
        let shown: String = self.line_text.chars().take(LINE_SHOWN_MAX).collect();
        writeln!(out, "  {number:>2} | {shown}")?;
        let before = (self.column as usize).saturating_sub(1).min(LINE_SHOWN_MAX);
        let room = LINE_SHOWN_MAX.saturating_sub(before).max(1);
        let carets = "^".repeat((self.length as usize).clamp(1, room));
        let width = number.len().max(2);
        let line = format!(
            "  {:width$} | {}{carets} {}",
            "",
            " ".repeat(before),
            self.expected
        );
        write!(out, "{}", line.trim_end())?;
        if !self.help.is_empty() {
            write!(out, "\nhelp: {}", self.help)?;
        }
        Ok(())
    }
}

/// All problems one after the other, an empty line between two, and a count at the end.
#[must_use]
pub fn render_problems(problems: &[Problem]) -> String {
    let mut text = String::new();
    for problem in problems {
        text.push_str(&problem.to_string());
        text.push_str("\n\n");
    }
    let errors = problems
        .iter()
        .filter(|p| p.severity == Severity::Error)
        .count();
    let warnings = problems.len() - errors;
    let count = |number: usize, word: &str| match number {
        1 => format!("1 {word}"),
        _ => format!("{number} {word}s"),
    };
    match (errors, warnings) {
        (0, 0) => {}
        (0, _) => text.push_str(&format!("{}\n", count(warnings, "warning"))),
        (_, 0) => text.push_str(&format!("{}\n", count(errors, "error"))),
        (_, _) => text.push_str(&format!(
            "{}, {}\n",
            count(errors, "error"),
            count(warnings, "warning")
        )),
    }
    text
}

/// Line, column (both from 1, column in characters) and the line's text at a byte offset of a text.
pub(super) fn position(text: &str, offset: usize) -> (u32, u32, String) {
    let mut offset = offset.min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    let before = &text[..offset];
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    let line = before.matches('\n').count() + 1;
    let end = text[offset..]
        .find('\n')
        .map_or(text.len(), |at| offset + at);
    let column = text[start..offset].chars().count() + 1;
    let shown = text[start..end]
        .trim_end_matches('\r')
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let clip = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    (clip(line), clip(column), shown)
}

/// The nearest of `known` to a misspelt word, if one is near.
pub(super) fn near<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let lower = word.to_lowercase();
    let known: Vec<&str> = known.into_iter().collect();
    let misspelt = known
        .iter()
        .copied()
        .map(|name| {
            (
                strsim::damerau_levenshtein(&lower, &name.to_lowercase()),
                name,
            )
        })
        // A third of the letters may differ, one always may.
        .filter(|(distance, name)| {
            *distance <= (name.chars().count().max(word.chars().count()) / 3).max(1)
        })
        // Of names as near as each other, one with the same digits: `16FC` means 16GFC, not 1GFC.
        .min_by_key(|(distance, name)| (*distance, digits(name) != digits(word)))
        .map(|(_, name)| name);
    let own = pieces(word);
    let same = |name: &&&str| !own.is_empty() && pieces(name) == own;
    let with_more = |name: &&&str| {
        let others = pieces(name);
        word.len() > 1 && !own.is_empty() && own.iter().all(|piece| others.contains(piece))
    };
    let by_piece = || known.iter().find(with_more).copied();
    known
        .iter()
        .find(same)
        .copied()
        .or(misspelt)
        .or_else(by_piece)
}

/// The words in a name, in order: `scsi-fc` and `fc-scsi` have the same.
fn pieces(name: &str) -> Vec<String> {
    let mut pieces: Vec<String> = name
        .to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|piece| !piece.is_empty())
        .map(str::to_owned)
        .collect();
    pieces.sort();
    pieces
}

/// The digits in a text, in order.
pub(super) fn digits(text: &str) -> String {
    text.chars().filter(char::is_ascii_digit).collect()
}

/// `did you mean …?` when something is near, else the list of what is known.
pub(super) fn near_or_list(word: &str, what: &str, known: &[&str]) -> String {
    if let Some(name) = near(word, known.iter().copied()) {
        return format!("did you mean `{name}`?");
    }
    list(what, known)
}

/// The word for several of a family: `switch` gives `switches`.
pub(super) fn plural(word: &str) -> String {
    match word {
        "chassis" => word.to_owned(),
        "switch" => "switches".to_owned(),
        _ => format!("{word}s"),
    }
}

/// `what: a, b, c`, cut where it gets long.
pub(super) fn list(what: &str, known: &[&str]) -> String {
    const SHOWN: usize = 24;
    if known.is_empty() {
        return format!("there are no {what}");
    }
    let mut text = format!(
        "{what}: {}",
        known
            .iter()
            .take(SHOWN)
            .copied()
            .collect::<Vec<_>>()
            .join(", ")
    );
    if known.len() > SHOWN {
        text.push_str(&format!(" and {} more", known.len() - SHOWN));
    }
    text
}
