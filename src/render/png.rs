//! Drawings as PNG files (ISO/IEC 15948:2004), with the fonts of the program and none of the system's, so
//! that a file is the same wherever it is made.

use std::sync::{Arc, OnceLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use super::chart::fonts;

/// Largest edge of a file, in pixels.
const EDGE_MOST: f32 = 16_384.0;

/// `svg` as a PNG file, `scale` times its width and height in pixels.
///
/// # Errors
/// When the text is no SVG, `scale` is not above zero, or an edge would be over 16,384 pixels.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, String> {
    static OURS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    let database = OURS.get_or_init(|| Arc::new(database()));
    let options = Options {
        font_family: fonts::FAMILY.to_owned(),
        fontdb: Arc::clone(database),
        ..Options::default()
    };
    let tree =
        Tree::from_str(svg, &options).map_err(|error| format!("not an SVG drawing: {error}"))?;
    let size = tree.size();
    let (width, height) = (
        (size.width() * scale).ceil(),
        (size.height() * scale).ceil(),
    );
    let sound = |edge: f32| (1.0..=EDGE_MOST).contains(&edge);
    if !sound(width) || !sound(height) {
        return Err(format!(
            "a drawing of {width} × {height} pixels is beyond 1 to {EDGE_MOST} an edge"
        ));
    }
    let mut pixels = Pixmap::new(width as u32, height as u32)
        .ok_or("the drawing is too large for the memory")?;
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    pixels.encode_png().map_err(|error| format!("PNG: {error}"))
}

fn database() -> fontdb::Database {
    let mut database = fontdb::Database::new();
    database.load_font_data(fonts::PLAIN.to_vec());
    database.load_font_data(fonts::BOLD.to_vec());
    // Generic families of CSS all mean ours; names like `system-ui` fall back to `Options::font_family`.
    database.set_serif_family(fonts::FAMILY);
    database.set_sans_serif_family(fonts::FAMILY);
    database.set_monospace_family(fonts::FAMILY);
    database.set_cursive_family(fonts::FAMILY);
    database.set_fantasy_family(fonts::FAMILY);
    database
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn size_is_in_the_header_and_text_leaves_ink() {
        let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="60" height="20" viewBox="0 0 120 40"><text x="4" y="30" font-family="system-ui, sans-serif" font-size="30">H</text></svg>"#;
        let blank = svg.replace(">H<", "> <");
        let file = png(svg, 2.0).expect("a sound drawing");
        assert_eq!(&file[..8], b"\x89PNG\r\n\x1a\n");
        // IHDR (ISO/IEC 15948, 11.2.2): width and height after signature, length and type.
        assert_eq!(&file[16..24], [0, 0, 0, 120, 0, 0, 0, 40]);
        assert_ne!(file, png(&blank, 2.0).expect("a sound drawing"));
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(png("<html>", 1.0).is_err());
        let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="60" height="20"/>"#;
        for scale in [0.0, -1.0, f32::NAN, 1e9] {
            assert!(png(svg, scale).is_err());
        }
    }
}
