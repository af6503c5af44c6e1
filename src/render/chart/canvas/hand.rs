//! Shapes as SVG elements by hand, and the element around them.

use std::fmt::Write as _;

use super::{Anchor, At, CLAIMS, Canvas, FINE, Face, LABELS, Label, Pen, Shape};
use crate::render::chart::text::escape;

impl Canvas {
    /// The shapes as SVG elements, one unit a pixel, dashes as attributes.
    pub(in crate::render::chart) fn write(&self) -> String {
        let mut out = String::new();
        for shape in &self.shapes {
            // Writing into a string cannot fail.
            let _ = match shape {
                Shape::Line(points, pen) => write_line(&mut out, points, *pen),
                Shape::Fill(points, role) => {
                    writeln!(
                        out,
                        "<polygon points=\"{}\" fill=\"{}\"/>",
                        joined(points),
                        role.hex()
                    )
                }
                Shape::Rect((x, y), (w, h), role) => writeln!(
                    out,
                    "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
                    tenth(*x),
                    tenth(*y),
                    tenth(*w),
                    tenth(*h),
                    role.hex()
                ),
                Shape::Disc((x, y), radius, role) => writeln!(
                    out,
                    "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\"/>",
                    tenth(*x),
                    tenth(*y),
                    tenth(*radius),
                    role.hex()
                ),
                Shape::Text(label) => write_text(&mut out, label),
            };
        }
        out
    }
}

fn write_line(out: &mut String, points: &[At], pen: Pen) -> std::fmt::Result {
    write!(
        out,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"",
        joined(points),
        pen.role.hex(),
        tenth(pen.width)
    )?;
    if let Some((on, off)) = pen.dash {
        write!(out, " stroke-dasharray=\"{} {}\"", tenth(on), tenth(off))?;
    }
    out.push_str("/>\n");
    Ok(())
}

fn write_text(out: &mut String, label: &Label) -> std::fmt::Result {
    let (x, y) = label.at;
    write!(
        out,
        "<text x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{}\"",
        tenth(x),
        tenth(y),
        tenth(label.size),
        label.role.hex()
    )?;
    match label.anchor {
        Anchor::Start => {}
        Anchor::Middle => out.push_str(" text-anchor=\"middle\""),
        Anchor::End => out.push_str(" text-anchor=\"end\""),
    }
    match label.face {
        Face::Plain => {}
        Face::Bold => out.push_str(" font-weight=\"bold\""),
        Face::Claim => write!(out, " font-family=\"{CLAIMS}\"")?,
    }
    writeln!(out, ">{}</text>", escape(&label.text))
}

fn joined(points: &[At]) -> String {
    let mut out = String::new();
    for (index, at) in points.iter().enumerate() {
        if index > 0 {
            out.push(' ');
        }
        let _ = write!(out, "{},{}", tenth(at.0), tenth(at.1));
    }
    out
}

/// A coordinate to a tenth of a unit.
fn tenth(value: f64) -> String {
    let value = (value * 10.0).round() / 10.0;
    // Minus zero would be written with its sign.
    format!("{}", value + 0.0)
}

/// The whole `<svg>` element. `fine` says that the elements count in half pixels.
pub(in crate::render::chart) fn svg(
    id: &str,
    (w, h): (f64, f64),
    fine: bool,
    title: &str,
    description: &str,
    body: &str,
) -> String {
    let scale = if fine { FINE } else { 1.0 };
    let (title, description) = (escape(title), escape(description));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {} {}\" role=\"img\" \
         aria-labelledby=\"{id}-t {id}-d\" font-family=\"{LABELS}\">\n<title id=\"{id}-t\">{title}</title>\n\
         <desc id=\"{id}-d\">{description}</desc>\n{body}</svg>\n",
        w * scale,
        h * scale
    )
}
