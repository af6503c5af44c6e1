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
