//! The house rules that the compiler does not hold, checked on the text of `src/`.
//!
//! Every check looks at code only: comments, the insides of strings and whatever is marked `#[cfg(test)]`
//! are taken away first. The layers come from the table in the documentation of `src/lib.rs`. The last tests
//! feed the checks bad samples, so that none passes by finding nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// Most lines of code in a file.
const LINES_MAX: usize = 600;
/// The highest layer in which an order of iteration could reach a result of a run.
const ORDERED_UP_TO: usize = 4;
/// What prints.
const PRINTING: [&str; 5] = ["print", "println", "eprint", "eprintln", "dbg"];

// ---------------------------------------------------------------- text

/// Text with comments blanked and every character of a literal replaced by `"`; lines stay lines.
fn masked(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let Some((end, filler)) = literal_or_comment(&chars, at) else {
            out.push(chars[at]);
            at += 1;
            continue;
        };
        for c in &chars[at..end] {
            out.push(if c.is_whitespace() { *c } else { filler });
        }
        at = end;
    }
    out
}

/// If a comment or a literal begins at `at`: where it ends, and what to put in its place.
fn literal_or_comment(chars: &[char], at: usize) -> Option<(usize, char)> {
    let get = |index: usize| chars.get(index).copied().unwrap_or('\0');
    let inside_word = at > 0 && is_word(chars[at - 1]);
    match (get(at), get(at + 1)) {
        ('/', '/') => Some((find(chars, at, |c| c == '\n'), ' ')),
        ('/', '*') => Some((block_comment_end(chars, at), ' ')),
        ('"', _) => Some((string_end(chars, at + 1), '"')),
        ('b' | 'c', '"') if !inside_word => Some((string_end(chars, at + 2), '"')),
        ('r', '"' | '#') if !inside_word => Some((raw_end(chars, at + 1)?, '"')),
        ('b' | 'c', 'r') if !inside_word => Some((raw_end(chars, at + 2)?, '"')),
        ('\'', '\\') => {
            let end = find(chars, at + 3, |c| c == '\'') + 1;
            Some((end.min(chars.len()), '"'))
        }
        ('\'', _) if get(at + 2) == '\'' => Some((at + 3, '"')),
        _ => None,
    }
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The first place from `at` on where `wanted` holds, or the end.
fn find(chars: &[char], at: usize, wanted: impl Fn(char) -> bool) -> usize {
    (at..chars.len())
        .find(|index| wanted(chars[*index]))
        .unwrap_or(chars.len())
}

fn block_comment_end(chars: &[char], at: usize) -> usize {
    let (mut depth, mut index) = (0, at);
    while index + 1 < chars.len() {
        match (chars[index], chars[index + 1]) {
            ('/', '*') => depth += 1,
            ('*', '/') => depth -= 1,
            _ => {
                index += 1;
                continue;
            }
        }
        index += 2;
        if depth == 0 {
            return index;
        }
    }
    chars.len()
}

/// End of a string whose first character is at `at`.
fn string_end(chars: &[char], mut at: usize) -> usize {
    while at < chars.len() {
        match chars[at] {
            '\\' => at += 2,
            '"' => return at + 1,
            _ => at += 1,
        }
    }
    chars.len()
}

/// End of a raw string whose first `#` or quote is at `at`; `None` for a raw identifier.
fn raw_end(chars: &[char], at: usize) -> Option<usize> {
    let open = find(chars, at, |c| c != '#');
    let hashes = open - at;
    if chars.get(open) != Some(&'"') {
        return None;
    }
    let closes = |index: usize| {
        chars[index] == '"'
            && chars[index + 1..]
                .iter()
                .take(hashes)
                .filter(|c| **c == '#')
                .count()
                == hashes
    };
    let end = (open + 1..chars.len()).find(|index| closes(*index));
    Some(end.map_or(chars.len(), |index| index + 1 + hashes))
}

/// A word, or one other character, with the line it stands on (from 1).
#[derive(Clone, Debug, PartialEq, Eq)]
struct Token {
    text: String,
    line: usize,
}

fn tokens(masked: &str) -> Vec<Token> {
    let mut found: Vec<Token> = Vec::new();
    for (index, line) in masked.lines().enumerate() {
        let mut word = String::new();
        for c in line.chars().chain(std::iter::once(' ')) {
            if is_word(c) {
                word.push(c);
                continue;
            }
            let other = (!c.is_whitespace()).then(|| c.to_string());
            let words = (!word.is_empty()).then(|| std::mem::take(&mut word));
            found.extend(words.into_iter().chain(other).map(|text| Token {
                text,
                line: index + 1,
            }));
        }
    }
    found
}

/// Whether the tokens from `at` on read `wanted` (words and single characters, apart by spaces).
fn reads(tokens: &[Token], at: usize, wanted: &str) -> bool {
    wanted
        .split(' ')
        .enumerate()
        .all(|(offset, text)| tokens.get(at + offset).is_some_and(|t| t.text == text))
}

// ---------------------------------------------------------------- sources

/// A file of `src/`, its code without what is marked `#[cfg(test)]`.
#[derive(Debug)]
struct Source {
    /// Relative to the root of the repository, with `/`.
    path: String,
    code: Vec<Token>,
    /// Lines that hold code.
    lines: usize,
    /// Folders and files that are test modules declared here, without the ending.
    test_modules: Vec<String>,
}

impl Source {
    fn new(path: &str, text: &str) -> Self {
        let all = tokens(&masked(text));
        let (code, test_modules) = without_tests(path, &all);
        let lines: BTreeSet<usize> = code.iter().map(|token| token.line).collect();
        Self {
            path: path.to_owned(),
            lines: lines.len(),
            code,
            test_modules,
        }
    }

    /// Module names from the root of the crate down to this file.
    fn modules(&self) -> Vec<&str> {
        let inner = self.path.trim_start_matches("src/").trim_end_matches(".rs");
        inner.split('/').collect()
    }

    fn top(&self) -> &str {
        self.modules()[0]
    }

    fn offence(&self, line: usize, what: &str) -> String {
        format!("{}:{line}: {what}", self.path)
    }
}

/// The tokens outside `#[cfg(test)]` items, and the test modules that stand in files of their own.
fn without_tests(path: &str, all: &[Token]) -> (Vec<Token>, Vec<String>) {
    let (mut code, mut modules) = (Vec::new(), Vec::new());
    let mut at = 0;
    while at < all.len() {
        if !reads(all, at, "# [ cfg ( test ) ]") {
            code.push(all[at].clone());
            at += 1;
            continue;
        }
        let end = item_end(all, at + 7);
        let item = &all[at..end];
        let named = item.iter().position(|token| token.text == "mod");
        if let Some(position) = named
            && item.last().is_some_and(|token| token.text == ";")
        {
            let folder = if path == "src/lib.rs" {
                "src"
            } else {
                path.trim_end_matches(".rs")
            };
            modules.push(format!("{folder}/{}", item[position + 1].text));
        }
        at = end;
    }
    (code, modules)
}

/// One past the end of the item that begins at `at`: its first `;` or `}` outside all brackets.
fn item_end(all: &[Token], at: usize) -> usize {
    let mut depth = 0;
    for (index, token) in all.iter().enumerate().skip(at) {
        match token.text.as_str() {
            "{" | "(" | "[" => depth += 1,
            "}" | ")" | "]" => depth -= 1,
            _ => {}
        }
        if depth == 0 && matches!(token.text.as_str(), "}" | ";") {
            return index + 1;
        }
    }
    all.len()
}

/// Takes away the files that are test modules of others.
fn without_test_files(sources: Vec<Source>) -> Vec<Source> {
    let modules: Vec<String> = sources
        .iter()
        .flat_map(|source| source.test_modules.clone())
        .collect();
    let is_test = |path: &str| {
        modules
            .iter()
            .any(|module| path == format!("{module}.rs") || path.starts_with(&format!("{module}/")))
    };
    let mut kept = sources;
    kept.retain(|source| !is_test(&source.path));
    kept
}

// ---------------------------------------------------------------- layers

/// The layer of each top-level module, from the table in the documentation of `src/lib.rs`.
fn layers(lib: &str) -> BTreeMap<String, usize> {
    let mut found = BTreeMap::new();
    for line in lib.lines() {
        let Some(row) = line.strip_prefix("//! |") else {
            continue;
        };
        let mut cells = row.split('|').map(str::trim);
        let (Some(Ok(layer)), Some(modules)) = (cells.next().map(str::parse), cells.next()) else {
            continue;
        };
        for name in modules.split(',') {
            let name = name.trim().trim_matches(['[', ']', '`']);
            found.insert(name.trim_start_matches("mod@").to_owned(), layer);
        }
    }
    found
}

/// Names right below the root of the crate that this file uses, with their lines.
fn used(source: &Source) -> Vec<(String, usize)> {
    let code = &source.code;
    let depth = source.modules().len();
    let mut found = Vec::new();
    for at in 0..code.len() {
        let after = if reads(code, at, "crate : :") {
            at + 3
        } else if reads(code, at, "super : :") && !(at >= 3 && reads(code, at - 3, "super : :")) {
            let supers = (0..)
                .take_while(|n| reads(code, at + 3 * n, "super : :"))
                .count();
            if supers < depth {
                continue;
            }
            at + 3 * supers
        } else {
            continue;
        };
        found.extend(names_at(code, after));
    }
    found
}

/// The first name of a path, or of each path of a group in braces.
fn names_at(code: &[Token], at: usize) -> Vec<(String, usize)> {
    let Some(first) = code.get(at) else {
        return Vec::new();
    };
    if first.text != "{" {
        return vec![(first.text.clone(), first.line)];
    }
    let (mut depth, mut found) = (0, Vec::new());
    for (index, token) in code.iter().enumerate().skip(at) {
        match token.text.as_str() {
            "{" => depth += 1,
            "}" => depth -= 1,
            _ if depth == 1 && matches!(code[index - 1].text.as_str(), "{" | ",") => {
                found.push((token.text.clone(), token.line));
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    found
}

fn imports(sources: &[Source], layers: &BTreeMap<String, usize>) -> Vec<String> {
    let mut offences = Vec::new();
    for source in sources {
        let own = source.top();
        if matches!(own, "lib" | "main") {
            continue;
        }
        let Some(layer) = layers.get(own) else {
            offences.push(source.offence(1, &format!("`{own}` is missing in the table of layers")));
            continue;
        };
        for (name, line) in used(source) {
            let what = match layers.get(&name) {
                _ if name == own => continue,
                Some(other) if other < layer => continue,
                Some(other) => format!("`{own}` (layer {layer}) uses `{name}` (layer {other})"),
                None => format!("`{own}` uses `{name}` of the root, which the table does not have"),
            };
            offences.push(source.offence(line, &what));
        }
    }
    offences
}

// ---------------------------------------------------------------- words

/// Offences at every token for which `bad` says why, in the sources that `concerns`.
fn search(
    sources: &[Source],
    concerns: impl Fn(&Source) -> bool,
    bad: impl Fn(&[Token], usize) -> Option<String>,
) -> Vec<String> {
    let mut offences = Vec::new();
    for source in sources.iter().filter(|source| concerns(source)) {
        for at in 0..source.code.len() {
            if let Some(what) = bad(&source.code, at) {
                offences.push(source.offence(source.code[at].line, &what));
            }
        }
    }
    offences
}

/// Whether `std::name` is used at `at`, alone or in a group.
fn uses_std(code: &[Token], at: usize, name: &str) -> bool {
    reads(code, at, "std : :")
        && names_at(code, at + 3)
            .iter()
            .any(|(found, _)| found == name)
}

fn clocks(sources: &[Source]) -> Vec<String> {
    search(
        sources,
        |source| source.top() != "cli",
        |code, at| uses_std(code, at, "time").then(|| "`std::time` outside `cli`".to_owned()),
    )
}

fn threads(sources: &[Source]) -> Vec<String> {
    search(
        sources,
        |source| !matches!(source.top(), "study" | "cli"),
        |code, at| {
            (code[at].text == "rayon" || uses_std(code, at, "thread"))
                .then(|| "threads outside `study` and `cli`".to_owned())
        },
    )
}

fn unordered(sources: &[Source], layers: &BTreeMap<String, usize>) -> Vec<String> {
    search(
        sources,
        |source| {
            layers
                .get(source.top())
                .is_some_and(|layer| *layer <= ORDERED_UP_TO)
        },
        |code, at| {
            let name = &code[at].text;
            matches!(
                name.as_str(),
                "HashMap" | "HashSet" | "hash_map" | "hash_set"
            )
            .then(|| format!("`{name}` has no order to rely on"))
        },
    )
}

fn prints(sources: &[Source]) -> Vec<String> {
    search(
        sources,
        |source| !matches!(source.top(), "cli" | "main"),
        |code, at| {
            let name = &code[at].text;
            (PRINTING.contains(&name.as_str()) && reads(code, at + 1, "!"))
                .then(|| format!("`{name}!` outside `cli`"))
        },
    )
}

fn unsafe_code(sources: &[Source]) -> Vec<String> {
    search(
        sources,
        |_| true,
        |code, at| (code[at].text == "unsafe").then(|| "`unsafe`".to_owned()),
    )
}

fn too_long(sources: &[Source]) -> Vec<String> {
    sources
        .iter()
        .filter(|source| source.lines > LINES_MAX)
        .map(|source| {
            let what = format!("{} lines of code, at most {LINES_MAX}", source.lines);
            source.offence(1, &what)
        })
        .collect()
}

// ---------------------------------------------------------------- on src/

fn read_folder(root: &Path, folder: &str, into: &mut Vec<(String, String)>) {
    let mut names: Vec<_> = fs::read_dir(root.join(folder))
        .expect("the folder is there")
        .map(|entry| entry.expect("the folder can be read"))
        .map(|entry| (entry.file_name(), entry.path().is_dir()))
        .collect();
    names.sort();
    for (name, is_folder) in names {
        let path = format!("{folder}/{}", name.to_string_lossy());
        if is_folder {
            read_folder(root, &path, into);
        } else if path.ends_with(".rs") {
            let text = fs::read_to_string(root.join(&path)).expect("sources are text");
            into.push((path, text));
        }
    }
}

fn files() -> Vec<(String, String)> {
    let mut files = Vec::new();
    read_folder(Path::new(env!("CARGO_MANIFEST_DIR")), "src", &mut files);
    files
}

fn sources() -> Vec<Source> {
    let all = files();
    let sources = all.iter().map(|(path, text)| Source::new(path, text));
    without_test_files(sources.collect())
}

fn table() -> BTreeMap<String, usize> {
    let all = files();
    let lib = all.iter().find(|(path, _)| path == "src/lib.rs");
    layers(&lib.expect("the library has a root").1)
}

fn none(offences: &[String]) {
    let list = offences.iter().fold(String::new(), |mut list, offence| {
        let _ = write!(list, "\n  {offence}");
        list
    });
    assert!(offences.is_empty(), "{} offences:{list}", offences.len());
}

#[test]
fn the_table_of_layers_names_every_module_and_no_other() {
    let lib = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/lib.rs"));
    let code = tokens(&masked(&lib.expect("the library has a root")));
    let declared: BTreeSet<String> = (0..code.len())
        .filter(|at| code[*at].text == "mod")
        .map(|at| code[at + 1].text.clone())
        .collect();
    let named: BTreeSet<String> = table().into_keys().collect();
    assert_eq!(named, declared);
    assert!(!named.is_empty());
}

#[test]
fn imports_point_down() {
    none(&imports(&sources(), &table()));
}

#[test]
fn only_the_command_line_knows_a_clock() {
    none(&clocks(&sources()));
}

#[test]
fn threads_belong_to_studies_and_the_command_line() {
    none(&threads(&sources()));
}

#[test]
fn nothing_below_studies_iterates_in_hash_order() {
    none(&unordered(&sources(), &table()));
}

#[test]
fn only_the_command_line_prints() {
    none(&prints(&sources()));
}

#[test]
fn there_is_no_unsafe_code() {
    none(&unsafe_code(&sources()));
}

#[test]
fn no_file_is_too_long() {
    none(&too_long(&sources()));
}

// ---------------------------------------------------------------- on samples

/// Line numbers of the offences, all of them in `path`.
fn lines_of(offences: &[String], path: &str) -> Vec<usize> {
    let line = |offence: &String| -> usize {
        let rest = offence.strip_prefix(path).expect("the offender is named");
        let number = rest.split(':').nth(1).expect("the line is named");
        number.parse().expect("the line is a number")
    };
    offences.iter().map(line).collect()
}

fn one(path: &str, text: &str) -> Vec<Source> {
    vec![Source::new(path, text)]
}

const SAMPLE_TABLE: &str = "\
//! | layer | modules | what they know |
//! | --- | --- | --- |
//! | 0 | [`mod@low`] | x |
//! | 1 | [`left`], [`right`] | x |
//! | 5 | [`high`] | x |
";

#[test]
fn a_sample_of_a_table_is_read() {
    let expected = [("high", 5), ("left", 1), ("low", 0), ("right", 1)];
    let expected = expected.map(|(name, layer)| (name.to_owned(), layer));
    assert_eq!(layers(SAMPLE_TABLE), BTreeMap::from(expected));
}

#[test]
fn bad_imports_are_found_whatever_their_form() {
    let text = "\
use crate::low::Fine;
use crate::right::Sideways;
use crate::{high::Up, left::{Own, right}, right};
pub(crate) fn f() { crate::high::call() }
use super::super::high;
use super::right;
// use crate::high;
const TEXT: &str = \"use crate::high\";
use crate::unheard_of;
use {
    crate
        ::high
};
#[cfg(test)]
mod tests {
    use crate::high::Fine;
}
";
    let sources = one("src/left/part.rs", text);
    let offences = imports(&sources, &layers(SAMPLE_TABLE));
    assert_eq!(
        lines_of(&offences, "src/left/part.rs"),
        [2, 3, 3, 4, 5, 9, 12]
    );
    let unknown = one("src/stray.rs", "fn f() {}\n");
    let offences = imports(&unknown, &layers(SAMPLE_TABLE));
    assert_eq!(lines_of(&offences, "src/stray.rs"), [1]);
    // From the top module's own file, one step up is the root.
    let top = one("src/left.rs", "use super::right;\nuse super::low;\n");
    let offences = imports(&top, &layers(SAMPLE_TABLE));
    assert_eq!(lines_of(&offences, "src/left.rs"), [1]);
}

#[test]
fn bad_words_are_found() {
    let path = "src/left.rs";
    let clock = "use std::time::Instant;\nuse std::{fmt, time::Duration};\nuse std::fmt;\n";
    assert_eq!(lines_of(&clocks(&one(path, clock)), path), [1, 2]);
    assert!(clocks(&one("src/cli/a.rs", clock)).is_empty());

    let thread = "use rayon::prelude::*;\nfn f() { std::thread::spawn(g); }\n// rayon\n";
    assert_eq!(lines_of(&threads(&one(path, thread)), path), [1, 2]);
    assert!(threads(&one("src/study/a.rs", thread)).is_empty());

    let hashed = "use std::collections::{BTreeMap, HashMap};\n\nfn f(s: &HashSet<u8>) {}\n";
    let table = layers(SAMPLE_TABLE);
    assert_eq!(
        lines_of(&unordered(&one(path, hashed), &table), path),
        [1, 3]
    );
    assert!(unordered(&one("src/high.rs", hashed), &table).is_empty());

    let printing = "fn f() {\n    println!(\"a\");\n    eprintln! { \"b\" }\n    std::print!(\"c\");\n    dbg!(1);\n}\n";
    assert_eq!(lines_of(&prints(&one(path, printing)), path), [2, 3, 4, 5]);
    assert!(prints(&one("src/main.rs", printing)).is_empty());

    let rash = "/* unsafe */ fn f<'a>(c: &'a u8) -> char { '\"' }\nunsafe fn g() {}\n";
    assert_eq!(lines_of(&unsafe_code(&one(path, rash)), path), [2]);
}

#[test]
fn only_lines_of_code_count() {
    let code = "const A: u8 = 1;\n\n// A comment.\n/* Two\nlines. */\n";
    let tests = "#[cfg(test)]\nmod tests {\n    const B: u8 = 2;\n}\n";
    let just = one("src/left.rs", &(code.repeat(LINES_MAX) + tests));
    assert_eq!(just[0].lines, LINES_MAX);
    assert!(too_long(&just).is_empty());
    let more = one("src/left.rs", &code.repeat(LINES_MAX + 1));
    assert_eq!(lines_of(&too_long(&more), "src/left.rs"), [1]);
}

#[test]
fn literals_hide_what_they_hold_and_nothing_else() {
    let text = "let a = r#\"unsafe \" unsafe\"#; let b = b\"unsafe\\\"\"; let c = '\\''; let d = '\"'; unsafe\n";
    let found = unsafe_code(&one("src/left.rs", text));
    assert_eq!(found.len(), 1, "{found:?}");
    let nested = "/* /* */ unsafe */ fn f() {}\nlet r#unsafe = 1; // unsafe\n";
    assert_eq!(
        lines_of(&unsafe_code(&one("src/left.rs", nested)), "src/left.rs"),
        [2]
    );
}

#[test]
fn files_of_test_modules_are_left_out() {
    let mother = Source::new(
        "src/left.rs",
        "#[cfg(test)]\npub(crate) mod sample;\nmod sampler;\n",
    );
    let inside = |path: &str| Source::new(path, "use crate::high;\n");
    let all = vec![
        mother,
        inside("src/left/sample.rs"),
        inside("src/left/sample/deep.rs"),
        inside("src/left/sampler.rs"),
    ];
    let kept = without_test_files(all);
    let paths: Vec<&str> = kept.iter().map(|source| source.path.as_str()).collect();
    assert_eq!(paths, ["src/left.rs", "src/left/sampler.rs"]);
}
