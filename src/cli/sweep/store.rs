//! The rows of a sweep in a file that can be cut short anywhere and gone on with.
//!
//! A point's rows are written with one call once all of them and all points before are done, so that what is in
//! the file is the beginning of what will be. Whatever comes after the last whole point (a torn row, a point
//! without all its rows) is cut off and run again; whole points are kept and never run again.

use crate::render::csv::{
    BEFORE, sweep_check, sweep_csv_line, sweep_header, sweep_json_fields, sweep_json_line,
};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

/// How rows are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli) enum Kind {
    /// A header line, then commas.
    Csv,
    /// One JSON object a line.
    Json,
}

/// A point in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::cli) struct Stored {
    /// Its rows as fields, in the order of the header.
    pub(in crate::cli) rows: Vec<Vec<String>>,
    /// The same as bytes.
    pub(in crate::cli) text: String,
    /// Where it ends in the file.
    end: u64,
}

/// Most bytes read of a file of rows.
const BYTES_MAX: u64 = 1 << 30;

/// A pipe or a device: rows go there as they come, and nothing is there to go on after.
fn flows_away(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|found| !found.is_file())
}

/// The whole text of a file; nothing where there is none.
pub(in crate::cli) fn read(path: &Path) -> io::Result<Vec<u8>> {
    if flows_away(path) {
        return Ok(Vec::new());
    }
    let mut bytes = Vec::new();
    match File::open(path) {
        Ok(file) => {
            file.take(BYTES_MAX).read_to_end(&mut bytes)?;
            Ok(bytes)
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(bytes),
        Err(error) => Err(error),
    }
}

/// The varied keys of a file, by its header or its first row; `None` for what is no file of rows.
pub(in crate::cli) fn keys(kind: Kind, bytes: &[u8]) -> Option<Vec<String>> {
    let end = bytes.iter().position(|byte| *byte == b'\n')?;
    let line = std::str::from_utf8(&bytes[..end]).ok()?;
    let names: Vec<String> = match kind {
        Kind::Csv => fields(line)?,
        Kind::Json => in_line(line)?,
    };
    let others = sweep_header(&[]).len();
    let count = names.len().checked_sub(others)?;
    let keys = names.get(BEFORE.len()..BEFORE.len() + count)?.to_vec();
    (names == sweep_header(&keys)).then_some(keys)
}

/// Whether a file holds rows of a sweep, by how its first line begins, but with other columns than those of the header: those of
/// another version, or of other varied keys. What is torn in its first line is nothing yet.
pub(in crate::cli) fn has_other_columns(kind: Kind, header: &[String], bytes: &[u8]) -> bool {
    let named = || -> Option<Vec<String>> {
        let end = bytes.iter().position(|byte| *byte == b'\n')?;
        let line = std::str::from_utf8(&bytes[..end]).ok()?;
        match kind {
            Kind::Csv => fields(line),
            Kind::Json => in_line(line),
        }
    };
    let begins = |names: &Vec<String>| {
        let first = names.iter().take(BEFORE.len());
        first.eq(BEFORE) && names.iter().any(|name| name == "version")
    };
    named().filter(begins).is_some_and(|names| names != header)
}

/// The names of an object's fields in the order in which they stand there.
fn in_line(line: &str) -> Option<Vec<String>> {
    let mut named: Vec<(usize, String)> = sweep_json_fields(line)?
        .into_iter()
        .map(|(name, _)| {
            let quoted = format!("{}:", serde_json::Value::from(name.as_str()));
            Some((line.find(&quoted)?, name))
        })
        .collect::<Option<_>>()?;
    named.sort();
    Some(named.into_iter().map(|(_, name)| name).collect())
}

fn fields(line: &str) -> Option<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(line.as_bytes());
    let record = reader.records().next()?.ok()?;
    Some(record.iter().map(str::to_owned).collect())
}

fn row(kind: Kind, header: &[String], line: &str) -> Option<Vec<String>> {
    let row = match kind {
        Kind::Csv => fields(line)?,
        Kind::Json => {
            let found = sweep_json_fields(line)?;
            let of = |name: &String| {
                let own = found.iter().find(|(known, _)| known == name)?;
                Some(own.1.clone())
            };
            header.iter().map(of).collect::<Option<Vec<_>>>()?
        }
    };
    (row.len() == header.len()).then_some(row)
}

/// The whole points of a file; what is torn at its end is left out.
///
/// # Errors
/// The number of the first line that is no row of such a sweep and not the last one.
pub(in crate::cli) fn points(
    kind: Kind,
    header: &[String],
    bytes: &[u8],
) -> Result<Vec<Stored>, usize> {
    let head = sweep_csv_line(header);
    let mut at = 0;
    let mut line_number = 0;
    if kind == Kind::Csv {
        if bytes.len() < head.len() && head.as_bytes().starts_with(bytes) {
            return Ok(Vec::new());
        }
        if !bytes.starts_with(head.as_bytes()) {
            return Err(1);
        }
        at = head.len();
        line_number = 1;
    }
    let mut whole = Vec::new();
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut start = at;
    while let Some(length) = bytes[at..].iter().position(|byte| *byte == b'\n') {
        line_number += 1;
        let line = &bytes[at..at + length];
        at += length + 1;
        let parsed = std::str::from_utf8(line)
            .ok()
            .and_then(|line| row(kind, header, line));
        let number = |row: &[String], index: usize| row[index].parse::<usize>().ok();
        let next = parsed.filter(|row| {
            let same = rows.first().is_none_or(|first| first[0] == row[0]);
            same && number(row, 2) == Some(rows.len() + 1)
        });
        let Some(next) = next else {
            // A torn line that a later write happened to end: only at the very end.
            return if at == bytes.len() {
                Ok(whole)
            } else {
                Err(line_number)
            };
        };
        let last = number(&next, 3) == Some(rows.len() + 1);
        rows.push(next);
        if last {
            whole.push(Stored {
                rows: std::mem::take(&mut rows),
                text: String::from_utf8_lossy(&bytes[start..at]).into_owned(),
                end: at as u64,
            });
            start = at;
        }
    }
    Ok(whole)
}

/// The first row that was changed since it was written, by its check: the index of its point, and how many rows stand before it.
pub(in crate::cli) fn changed(stored: &[Stored]) -> Option<(usize, usize)> {
    let mut before = 0;
    for (index, point) in stored.iter().enumerate() {
        for row in &point.rows {
            let (check, others) = row.split_last()?;
            if *check != sweep_check(others) {
                return Some((index, before));
            }
            before += 1;
        }
    }
    None
}

/// The rows of a point as bytes.
pub(in crate::cli) fn text(kind: Kind, header: &[String], rows: &[Vec<String>]) -> String {
    let one = |row: &Vec<String>| match kind {
        Kind::Csv => sweep_csv_line(row),
        Kind::Json => sweep_json_line(header, row),
    };
    rows.iter().map(one).collect()
}

/// What stands before the first point.
pub(in crate::cli) fn head(kind: Kind, header: &[String]) -> String {
    match kind {
        Kind::Csv => sweep_csv_line(header),
        Kind::Json => String::new(),
    }
}

/// A file that grows by whole points.
#[derive(Debug)]
pub(super) struct Sink {
    pub(super) path: PathBuf,
    kind: Kind,
    header: Vec<String>,
    file: File,
}

impl Sink {
    /// Opens a file and cuts it down to its first `keep` points (its header is written where there is none).
    pub(super) fn open(
        path: &Path,
        kind: Kind,
        header: &[String],
        stored: &[Stored],
        keep: usize,
    ) -> io::Result<Self> {
        let head = head(kind, header);
        let sink = |file| Self {
            path: path.to_path_buf(),
            kind,
            header: header.to_vec(),
            file,
        };
        if flows_away(path) {
            let mut file = OpenOptions::new().write(true).open(path)?;
            file.write_all(head.as_bytes())?;
            return Ok(sink(file));
        }
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(path)?;
        if keep == 0 {
            file.set_len(0)?;
            file.write_all(head.as_bytes())?;
        } else {
            file.set_len(stored[keep - 1].end)?;
            file.seek(io::SeekFrom::End(0))?;
        }
        Ok(sink(file))
    }

    /// Writes a point's rows, all of them at once.
    pub(super) fn add(&mut self, rows: &[Vec<String>]) -> io::Result<()> {
        let text = text(self.kind, &self.header, rows);
        self.file.write_all(text.as_bytes())?;
        self.file.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> Vec<String> {
        sweep_header(&["run.seed".to_owned()])
    }

    /// Two points of two rows each.
    fn rows() -> Vec<Vec<Vec<String>>> {
        let header = header();
        (1..=2)
            .map(|point| {
                (1..=2)
                    .map(|row| {
                        let field = |name: &String| match name.as_str() {
                            "point" => point.to_string(),
                            "row" => row.to_string(),
                            "points" | "rows" => "2".to_owned(),
                            "case" => "A, \"lost\"".to_owned(),
                            _ => "1".to_owned(),
                        };
                        header.iter().map(field).collect()
                    })
                    .collect()
            })
            .collect()
    }

    #[test]
    fn cut_anywhere_only_whole_points_are_left() {
        let header = header();
        for kind in [Kind::Csv, Kind::Json] {
            let parts: Vec<String> = rows()
                .iter()
                .map(|rows| text(kind, &header, rows))
                .collect();
            let whole = head(kind, &header) + &parts.concat();
            let first = head(kind, &header).len() + parts[0].len();
            assert_eq!(
                keys(kind, whole.as_bytes()),
                Some(vec!["run.seed".to_owned()])
            );
            for cut in 0..=whole.len() {
                let found = points(kind, &header, &whole.as_bytes()[..cut]).expect("a beginning");
                let wanted = usize::from(cut >= first) + usize::from(cut == whole.len());
                assert_eq!(found.len(), wanted, "{kind:?} cut at {cut}");
                for (point, rows) in found.iter().zip(rows()) {
                    assert_eq!(point.rows, rows);
                }
            }
        }
    }

    #[test]
    fn what_is_no_file_of_this_sweep_is_told() {
        let header = header();
        let good = head(Kind::Csv, &header) + &text(Kind::Csv, &header, &rows()[0]);
        let other = sweep_csv_line(&sweep_header(&["load".to_owned()]));
        assert_eq!(points(Kind::Csv, &header, other.as_bytes()), Err(1));
        let spoilt = good.replace("\n1,2,2", "\n1,2,9");
        assert_eq!(
            points(Kind::Csv, &header, (spoilt + &good).as_bytes()),
            Err(3)
        );
        for kind in [Kind::Csv, Kind::Json] {
            let own = head(kind, &header) + &text(kind, &header, &rows()[0]);
            assert!(!has_other_columns(kind, &header, own.as_bytes()));
            // As a version before named a column that is no longer there.
            let old = own.replace("all_promises", "verdict");
            assert!(has_other_columns(kind, &header, old.as_bytes()));
            assert!(!has_other_columns(kind, &header, b"name,value\n"));
            assert!(!has_other_columns(kind, &header, &own.as_bytes()[..20]));
        }
        assert_eq!(keys(Kind::Csv, b"name,value\n"), None);
        assert_eq!(keys(Kind::Json, b"{\"a\":1}\n"), None);
    }
}
