//! `merge`: the pieces of a sweep into the same bytes as one run.

use super::claims;
use super::console::Console;
use super::exit::{Exit, Failure};
use super::sweep::store::{self, Kind, Stored};
use super::write;
use crate::render::csv::sweep_header;
use clap::Args;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Arguments of `merge`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The pieces, all of them comma-separated or all of them JSON lines, in any order
    #[arg(value_name = "PIECE", required = true)]
    pieces: Vec<PathBuf>,
    /// Write the whole to this file [default: the standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    arguments
        .output
        .as_deref()
        .map_or(Ok(()), write::check_file)?;
    let text = joined(&arguments.pieces)?;
    match &arguments.output {
        Some(path) => write::file(path, text.as_bytes())?,
        None => console.bytes(text.as_bytes())?,
    }
    Ok(Exit::Done)
}

fn wrong(path: &Path, what: &str, help: &str) -> Failure {
    Failure::InTheWay {
        what: format!("{}: {what}", path.display()),
        help: help.to_owned(),
    }
}

fn joined(pieces: &[PathBuf]) -> Result<String, Failure> {
    let mut whole: Option<(Kind, Vec<String>)> = None;
    let mut points: BTreeMap<usize, (Stored, &Path)> = BTreeMap::new();
    let mut count = None;
    let mut sweep: Option<Option<String>> = None;
    for path in pieces {
        claims::reads(path)?;
        let bytes = std::fs::read(path).map_err(|error| Failure::file("read", path, error))?;
        // A piece of JSON lines without a point of its own, as of more pieces than points, has no line at all.
        if bytes.is_empty() {
            continue;
        }
        let kind = if bytes.first() == Some(&b'{') {
            Kind::Json
        } else {
            Kind::Csv
        };
        if store::keys(kind, &bytes).is_none()
            && store::has_other_columns(kind, &sweep_header(&[]), &bytes)
        {
            return Err(wrong(
                path,
                "these are rows of a sweep with other columns than this version writes",
                "merge them with the version that wrote them, or run that piece again",
            ));
        }
        let keys = store::keys(kind, &bytes).ok_or_else(|| {
            wrong(
                path,
                "this is no file of a sweep",
                "name files that `sweep --slice` wrote",
            )
        })?;
        let header = sweep_header(&keys);
        match &whole {
            None => whole = Some((kind, header.clone())),
            Some(first) if *first != (kind, header.clone()) => {
                return Err(wrong(
                    path,
                    "it has other columns than the first piece",
                    "merge pieces of one sweep, all of one kind",
                ));
            }
            Some(_) => {}
        }
        let stored = store::points(kind, &header, &bytes).map_err(|line| {
            wrong(
                path,
                &format!("line {line} is no row of it"),
                "run that piece again",
            )
        })?;
        if let Some((_, before)) = store::changed(&stored) {
            let line = before + 1 + usize::from(kind == Kind::Csv);
            return Err(wrong(
                path,
                &format!("line {line} was changed since it was written"),
                "run that piece again with the same command: it goes on before that point",
            ));
        }
        let end: usize = stored.iter().map(|point| point.text.len()).sum();
        if store::head(kind, &header).len() + end != bytes.len() {
            return Err(wrong(
                path,
                "its last point is torn",
                "run that piece again with the same command: it goes on where it stopped",
            ));
        }
        let column = header.iter().position(|name| name == "sweep");
        for point in stored {
            let of = column.and_then(|column| point.rows[0].get(column));
            if of != sweep.get_or_insert_with(|| of.cloned()).as_ref() {
                return Err(wrong(
                    path,
                    "it is of another sweep than the first piece: scenario, settings, seed, replications, outages \
                     or version differ",
                    "merge pieces of one sweep, run with the same command but for --slice",
                ));
            }
            let number = |index: usize| point.rows[0][index].parse::<usize>().unwrap_or(0);
            let (index, all) = (number(0), number(1));
            if *count.get_or_insert(all) != all {
                return Err(wrong(
                    path,
                    &format!("it is of a sweep of {all} points, the first piece is not"),
                    "merge pieces of one sweep",
                ));
            }
            match points.get(&index) {
                Some((known, other)) if known.rows != point.rows => {
                    let other = other.display();
                    return Err(wrong(
                        path,
                        &format!("point {index} differs from that in {other}"),
                        "merge pieces of one sweep, of one version",
                    ));
                }
                _ => {
                    points.insert(index, (point, path));
                }
            }
        }
    }
    let missing: Vec<String> = (1..=count.unwrap_or(0))
        .filter(|index| !points.contains_key(index))
        .map(|index| index.to_string())
        .collect();
    if !missing.is_empty() {
        let shown = missing
            .iter()
            .take(10)
            .cloned()
            .collect::<Vec<_>>()
            .join(", ");
        let more = if missing.len() > 10 { ", …" } else { "" };
        return Err(Failure::InTheWay {
            what: format!("{} points are missing: {shown}{more}", missing.len()),
            help: "name all pieces, and run again those that were stopped".to_owned(),
        });
    }
    let Some((kind, header)) = whole else {
        return Err(Failure::InTheWay {
            what: "no piece has a point".to_owned(),
            help: "name files that `sweep --slice` wrote, those with points among them".to_owned(),
        });
    };
    let rows = points.values().map(|(point, _)| point.text.as_str());
    Ok(store::head(kind, &header) + &rows.collect::<String>())
}
