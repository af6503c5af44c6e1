//! The files beside the page: data for machines, drawings for slides.

use crate::outcome::Report;
use crate::render::chart::{self, Drawing, Format};
use crate::render::sheet::Steps;
use crate::render::{csv, json, png, sheet};
use std::collections::BTreeSet;

/// A file by name and content. The name is safe on every system: small letters, digits, `-` and one dot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attachment {
    /// File name without folders.
    pub name: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// Small letters, digits and single hyphens; never empty, never long.
fn safe(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() {
            out.push(c.to_ascii_lowercase());
        } else if !out.ends_with('-') && !out.is_empty() {
            out.push('-');
        }
        if out.len() >= 40 {
            break;
        }
    }
    let out = out.trim_end_matches('-');
    if out.is_empty() {
        "x".to_owned()
    } else {
        out.to_owned()
    }
}

/// What a drawing is made from, for its name, and how to make it.
type Maker<'a> = (String, Box<dyn Fn() -> Option<Drawing> + 'a>);

fn makers(report: &Report) -> Vec<Maker<'_>> {
    let slide = Format::Slide;
    let mut out: Vec<Maker<'_>> = vec![
        (
            "headroom".to_owned(),
            Box::new(move || chart::headroom(report, slide)),
        ),
        (
            "heat".to_owned(),
            Box::new(move || chart::heat(report, slide)),
        ),
        (
            "windows".to_owned(),
            Box::new(move || chart::hours(&report.origin, report.windows.as_ref()?, slide)),
        ),
    ];
    for (index, switch) in report.switches.iter().enumerate() {
        for (workload, figures) in switch.workloads.iter().enumerate() {
            let name = format!("timeline {} {}", switch.case.name, figures.name);
            out.push((
                name,
                Box::new(move || chart::timeline(report, index, workload, slide)),
            ));
        }
    }
    let workloads = report.steady.first().map_or(&[][..], |s| &s.workloads);
    for (index, figures) in workloads.iter().enumerate() {
        out.push((
            format!("percentiles {}", figures.name),
            Box::new(move || chart::percentiles(report, index, slide)),
        ));
        out.push((
            format!("budget {}", figures.name),
            Box::new(move || chart::budget(report, index, slide)),
        ));
    }
    for (case, steady) in report.steady.iter().enumerate() {
        let name = &steady.case.name;
        out.push((
            format!("peaks {name}"),
            Box::new(move || chart::peaks(report, case, slide)),
        ));
        out.push((
            format!("members {name}"),
            Box::new(move || chart::members(report, case, slide)),
        ));
        out.push((
            format!("diagram {name}"),
            Box::new(move || chart::diagram(report, case, slide)),
        ));
    }
    out
}

/// Every drawing that there is, with a name of its own.
fn drawings(report: &Report) -> Vec<(String, Drawing)> {
    let mut taken = BTreeSet::new();
    let mut out = Vec::new();
    for (title, make) in makers(report) {
        let Some(drawing) = make() else {
            continue;
        };
        let stem = safe(&title);
        let mut name = stem.clone();
        let mut number = 1;
        while !taken.insert(name.clone()) {
            number += 1;
            name = format!("{stem}-{number}");
        }
        out.push((name, drawing));
    }
    out
}

/// How a data file is written.
type Writer = fn(&Report) -> String;

/// Data files: name and writer.
const DATA: [(&str, Writer); 10] = [
    ("report.json", json::report_json),
    ("report.csv", csv::report_csv),
    ("promises.csv", |report| csv::promises_csv(&report.matrix)),
    ("changes.csv", csv::mends_csv),
    ("test-sheet.html", |report| {
        let steps = Steps::of(report.clone());
        sheet::sheet_page(&steps, &sheet::sheet(&steps))
    }),
    ("test-sheet.csv", |report| {
        csv::sheet_csv(&sheet::sheet(&Steps::of(report.clone())))
    }),
    ("directions.csv", csv::directions_csv),
    ("switch-overs.csv", csv::switch_overs_csv),
    ("events.csv", csv::events_csv),
    ("assumptions.csv", |report| {
        csv::assumptions_csv(&report.assumptions)
    }),
];

/// The data files of this report: that of maintenance windows only where they were asked for.
fn data(report: &Report) -> impl Iterator<Item = (&'static str, Writer)> {
    let hours: Writer = |report| {
        report
            .windows
            .as_ref()
            .map_or_else(String::new, csv::windows_csv)
    };
    let windows = report.windows.as_ref().map(|_| ("windows.csv", hours));
    DATA.into_iter().chain(windows)
}

/// Names of all files but the page itself, in order; a drawing's picture of the same name is not repeated.
pub(super) fn names(report: &Report) -> Vec<String> {
    let data = data(report).map(|(name, _)| name.to_owned());
    let drawn = drawings(report)
        .into_iter()
        .map(|(name, _)| format!("{name}.svg"));
    data.chain(drawn).collect()
}

/// The page and all files beside it.
#[must_use]
pub fn attachments(report: &Report) -> Vec<Attachment> {
    let file = |name: String, bytes: Vec<u8>| Attachment { name, bytes };
    let mut out = vec![file(
        "report.html".to_owned(),
        super::page(report).into_bytes(),
    )];
    for (name, write) in data(report) {
        out.push(file(name.to_owned(), write(report).into_bytes()));
    }
    for (name, drawing) in drawings(report) {
        // A drawing that cannot be turned into pixels still has its SVG.
        if let Ok(pixels) = png::png(&drawing.svg, 1.0) {
            out.push(file(format!("{name}.png"), pixels));
        }
        out.push(file(format!("{name}.svg"), drawing.svg.into_bytes()));
    }
    out
}
