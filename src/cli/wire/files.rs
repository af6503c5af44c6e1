//! The files that `wire` writes beside what it prints.

use super::Arguments;
use crate::cli::exit::Failure;
use crate::cli::write;
use crate::render::chart::Drawing;
use crate::render::png::png;

/// Whether every file asked for can be written, before any is.
pub(super) fn check(arguments: &Arguments) -> Result<(), Failure> {
    [&arguments.csv, &arguments.svg, &arguments.png]
        .into_iter()
        .flatten()
        .try_for_each(|path| write::check_file(path))
}

/// Writes the files asked for.
pub(super) fn write(
    arguments: &Arguments,
    csv: &str,
    draw: impl FnOnce() -> Option<Drawing>,
) -> Result<(), Failure> {
    let nothing = || {
        Failure::arguments(
            "there is nothing to draw",
            "leave --svg and --png out, or ask for a larger I/O",
        )
    };
    let wanted = arguments.svg.is_some() || arguments.png.is_some();
    let drawing = if wanted {
        Some(draw().ok_or_else(nothing)?)
    } else {
        None
    };
    let pixels = match (&arguments.png, &drawing) {
        (Some(_), Some(drawing)) => {
            let pixels = png(&drawing.svg, arguments.shape.scale());
            Some(pixels.map_err(|what| Failure::arguments(what, "ask for the SVG alone"))?)
        }
        _ => None,
    };
    if let Some(path) = &arguments.csv {
        write::file(path, csv.as_bytes())?;
    }
    if let (Some(path), Some(drawing)) = (&arguments.svg, &drawing) {
        write::file(path, drawing.svg.as_bytes())?;
    }
    if let (Some(path), Some(pixels)) = (&arguments.png, &pixels) {
        write::file(path, pixels)?;
    }
    Ok(())
}

/// The head that every JSON of ours has.
#[derive(Debug, serde::Serialize)]
pub(super) struct Json<'a, T> {
    /// Version of this shape.
    format: u32,
    program: &'static str,
    /// Always: sizes follow from standards, nothing was measured.
    estimate: bool,
    kind: &'static str,
    /// Version of the program.
    version: &'static str,
    #[serde(flatten)]
    content: &'a T,
}

/// `content` under that head.
pub(super) fn json<T: serde::Serialize>(kind: &'static str, content: &T) -> String {
    let json = Json {
        format: 1,
        program: "halfloom",
        estimate: true,
        kind,
        version: env!("CARGO_PKG_VERSION"),
        content,
    };
    serde_json::to_string_pretty(&json).unwrap_or_default()
}

/// Rows as comma-separated values under a head.
pub(super) fn csv(head: &[&str], rows: &[Vec<String>]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let lines = std::iter::once(head.iter().map(|&name| name.to_owned()).collect());
    for line in lines.chain(rows.iter().cloned()) {
        // Into memory, all rows alike: this cannot fail.
        if writer.write_record(&line).is_err() {
            return String::new();
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}
