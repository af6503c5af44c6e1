//! A drawing in a file of its own.

use super::exit::Failure;
use super::write;
use crate::render::chart::Drawing;
use crate::render::png::png;
use std::io;
use std::path::Path;

/// What the ending of a file asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Svg,
    Png,
}

fn kind(path: &Path) -> Result<Kind, Failure> {
    match path.extension().and_then(|ending| ending.to_str()) {
        Some("svg") => Ok(Kind::Svg),
        Some("png") => Ok(Kind::Png),
        _ => Err(Failure::arguments(
            format!("{} is neither .svg nor .png", path.display()),
            "a chart is written as one of the two: name the file so",
        )),
    }
}

/// Whether a drawing could be written there: asked before the runs, which take time.
pub(super) fn check(path: &Path) -> Result<(), Failure> {
    kind(path)?;
    write::check_file(path)
}

/// Whether a page could be written there: asked before the runs, which take time.
pub(super) fn check_page(path: &Path) -> Result<(), Failure> {
    let html = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("html"));
    if !html {
        return Err(Failure::arguments(
            format!("the page {} does not end in .html", path.display()),
            "a page is written as HTML: name the file so",
        ));
    }
    write::check_file(path)
}

/// Writes it. Where there is nothing to draw, nothing is written, and that is said.
pub(super) fn write(path: &Path, drawing: Option<Drawing>) -> Result<(), Failure> {
    let Some(drawing) = drawing else {
        let shown = path.display();
        super::console::complain(&format!("warning: nothing to draw, {shown} is not written"));
        return Ok(());
    };
    let bytes = match kind(path)? {
        Kind::Svg => drawing.svg.into_bytes(),
        Kind::Png => png(&drawing.svg, 1.0)
            .map_err(|error| Failure::file("write", path, io::Error::other(error)))?,
    };
    write::file(path, &bytes)
}
