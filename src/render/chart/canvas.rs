//! A list of shapes in the units of the drawing, and the two ways to write it as SVG: through `plotters`
//! for charts, by hand for the diagram.

mod hand;

use plotters::backend::SVGBackend;
use plotters::drawing::{DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, ShapeStyle, TextStyle};

use super::palette::Role;
use super::text::clean;

pub(super) use hand::svg;

/// `plotters` writes whole pixels: charts are drawn twice as large and shown at half.
const FINE: f64 = 2.0;
/// `plotters` divides font sizes by this.
const FONT_FACTOR: f64 = 1.24;
/// Families of labels and of claims.
const LABELS: &str = "system-ui, sans-serif";
const CLAIMS: &str = "ui-serif, Georgia, serif";

/// A point.
pub(super) type At = (f64, f64);

/// Which end of a text stands at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// Weight and family.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Face {
    Plain,
    Bold,
    /// Findings: serif.
    Claim,
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pen {
    pub(super) role: Role,
    pub(super) width: f64,
    /// Lengths of dash and gap.
    pub(super) dash: Option<(f64, f64)>,
}

impl Pen {
    pub(super) const fn new(role: Role, width: f64) -> Self {
        Self {
            role,
            width,
            dash: None,
        }
    }

    pub(super) const fn dashed(self, dash: f64, gap: f64) -> Self {
        Self {
            dash: Some((dash, gap)),
            ..self
        }
    }
}

/// Points by which cases can be told apart without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    /// A carries.
    Round,
    /// B carries.
    Square,
    /// Neither side alone.
    Diamond,
    /// An outage of something else.
    Triangle,
}

#[derive(Clone, Debug)]
enum Shape {
    Line(Vec<At>, Pen),
    Fill(Vec<At>, Role),
    Rect(At, At, Role),
    Disc(At, f64, Role),
    Text(Label),
}

#[derive(Clone, Debug)]
struct Label {
    at: At,
    text: String,
    size: f64,
    face: Face,
    anchor: Anchor,
    role: Role,
}

/// The shapes of a drawing, first drawn first.
#[derive(Clone, Debug, Default)]
pub(super) struct Canvas {
    shapes: Vec<Shape>,
}

impl Canvas {
    pub(super) fn line(&mut self, points: impl Into<Vec<At>>, pen: Pen) {
        let points: Vec<At> = points.into();
        if points.len() > 1 && points.iter().all(|at| at.0.is_finite() && at.1.is_finite()) {
            self.shapes.push(Shape::Line(points, pen));
        }
    }

    pub(super) fn fill(&mut self, points: impl Into<Vec<At>>, role: Role) {
        let points: Vec<At> = points.into();
        if points.len() > 2 && points.iter().all(|at| at.0.is_finite() && at.1.is_finite()) {
            self.shapes.push(Shape::Fill(points, role));
        }
    }

    /// A filled rectangle from its upper left corner.
    pub(super) fn rect(&mut self, at: At, (w, h): At, role: Role) {
        if w > 0.0 && h > 0.0 && at.0.is_finite() && at.1.is_finite() {
            self.shapes.push(Shape::Rect(at, (w, h), role));
        }
    }

    /// The outline of a rectangle, inside its edges.
    pub(super) fn frame(&mut self, (x, y): At, (w, h): At, pen: Pen) {
        let half = pen.width / 2.0;
        let (left, top, right, low) = (x + half, y + half, x + w - half, y + h - half);
        self.line(
            [
                (left, top),
                (right, top),
                (right, low),
                (left, low),
                (left, top - half),
            ],
            pen,
        );
    }

    pub(super) fn disc(&mut self, at: At, radius: f64, role: Role) {
        if at.0.is_finite() && at.1.is_finite() {
            self.shapes.push(Shape::Disc(at, radius, role));
        }
    }

    /// Text with its baseline at `at`.
    pub(super) fn text(
        &mut self,
        at: At,
        text: &str,
        size: f64,
        face: Face,
        anchor: Anchor,
        role: Role,
    ) {
        let text = clean(text);
        if !text.trim().is_empty() && at.0.is_finite() && at.1.is_finite() {
            self.shapes.push(Shape::Text(Label {
                at,
                text,
                size,
                face,
                anchor,
                role,
            }));
        }
    }

    /// A mark of half-width `radius`; hollow ones show the paper inside.
    pub(super) fn mark(&mut self, at: At, mark: Mark, radius: f64, role: Role, hollow: bool) {
        let mut layer = |radius: f64, role: Role| match mark {
            Mark::Round => self.disc(at, radius, role),
            _ => self.fill(outline(at, mark, radius), role),
        };
        layer(radius, role);
        if hollow {
            layer(radius * 0.62, Role::Paper);
        }
    }

    /// The shapes as SVG elements in units of half a pixel, through `plotters`.
    pub(super) fn plot(&self, (w, h): (f64, f64)) -> Result<String, String> {
        let mut out = String::new();
        let size = ((w * FINE).round() as u32, (h * FINE).round() as u32);
        self.draw_onto(SVGBackend::with_string(&mut out, size))
            .map_err(|error| error.to_string())?;
        let body = out.find(">\n").map_or("", |at| &out[at + 2..]);
        let body = body.trim_end().trim_end_matches("</svg>");
        // Said once, on the root, instead of on every element.
        Ok(body
            .replace(" opacity=\"1\"", "")
            .replace(&format!(" font-family=\"{LABELS}\""), "")
            .replace(" text-anchor=\"start\"", "")
            .replace(">\n", ">")
            .replace("\n</text>", "</text>\n")
            .replace("/>", "/>\n"))
    }

    fn draw_onto(
        &self,
        backend: SVGBackend<'_>,
    ) -> Result<(), DrawingAreaErrorKind<std::io::Error>> {
        let area = backend.into_drawing_area();
        let px = |at: At| ((at.0 * FINE).round() as i32, (at.1 * FINE).round() as i32);
        for shape in &self.shapes {
            match shape {
                Shape::Line(points, pen) => {
                    let width = (pen.width * FINE).round().max(1.0) as u32;
                    let style = ShapeStyle::from(rgb(pen.role)).stroke_width(width);
                    for dash in dashes(points, pen.dash) {
                        area.draw(&PathElement::new(
                            dash.into_iter().map(px).collect::<Vec<_>>(),
                            style,
                        ))?;
                    }
                }
                Shape::Fill(points, role) => {
                    let points: Vec<_> = points.iter().copied().map(px).collect();
                    area.draw(&Polygon::new(points, rgb(*role).filled()))?;
                }
                Shape::Rect(at, size, role) => {
                    let (from, mut to) = (px(*at), px((at.0 + size.0, at.1 + size.1)));
                    // What is there is never rounded away.
                    to = (to.0.max(from.0 + 1), to.1.max(from.1 + 1));
                    area.draw(&Rectangle::new([from, to], rgb(*role).filled()))?;
                }
                Shape::Disc(at, radius, role) => {
                    let radius = (radius * FINE).round() as u32;
                    area.draw(&Circle::new(px(*at), radius, rgb(*role).filled()))?;
                }
                Shape::Text(label) => {
                    let at = px((label.at.0, label.at.1 - 0.76 * label.size));
                    area.draw(&Text::new(label.text.clone(), at, text_style(label)))?;
                }
            }
        }
        area.present()
    }
}

/// Corners of a mark.
fn outline((x, y): At, mark: Mark, radius: f64) -> Vec<At> {
    match mark {
        Mark::Round | Mark::Diamond => {
            let radius = radius * 1.3;
            vec![
                (x, y - radius),
                (x + radius, y),
                (x, y + radius),
                (x - radius, y),
            ]
        }
        Mark::Square => {
            let radius = radius * 0.95;
            vec![
                (x - radius, y - radius),
                (x + radius, y - radius),
                (x + radius, y + radius),
                (x - radius, y + radius),
            ]
        }
        Mark::Triangle => {
            let radius = radius * 1.2;
            vec![
                (x, y - radius),
                (x + radius, y + 0.8 * radius),
                (x - radius, y + 0.8 * radius),
            ]
        }
    }
}

/// Corners of a rectangle with rounded corners.
pub(super) fn rounded((x, y): At, (w, h): At, radius: f64) -> Vec<At> {
    let radius = radius.min(w / 2.0).min(h / 2.0);
    let centres = [
        (x + w - radius, y + radius, -90.0),
        (x + w - radius, y + h - radius, 0.0),
        (x + radius, y + h - radius, 90.0),
        (x + radius, y + radius, 180.0),
    ];
    let mut out = Vec::new();
    for (cx, cy, from) in centres {
        for step in 0..=6 {
            let angle = f64::to_radians(from + 15.0 * f64::from(step));
            out.push((cx + radius * angle.cos(), cy + radius * angle.sin()));
        }
    }
    out
}

fn rgb(role: Role) -> RGBColor {
    let [_, red, green, blue] = role.light().to_be_bytes();
    RGBColor(red, green, blue)
}

fn text_style(label: &Label) -> TextStyle<'static> {
    let (family, style) = match label.face {
        Face::Plain => (LABELS, FontStyle::Normal),
        Face::Bold => (LABELS, FontStyle::Bold),
        Face::Claim => (CLAIMS, FontStyle::Normal),
    };
    let across = match label.anchor {
        Anchor::Start => HPos::Left,
        Anchor::Middle => HPos::Center,
        Anchor::End => HPos::Right,
    };
    let size = label.size * FINE * FONT_FACTOR;
    TextStyle {
        font: FontDesc::new(FontFamily::Name(family), size, style),
        color: rgb(label.role).to_backend_color(),
        pos: Pos::new(across, VPos::Top),
    }
}

/// The dashes of a line; a line without dashes is one.
fn dashes(points: &[At], dash: Option<(f64, f64)>) -> Vec<Vec<At>> {
    let Some((on, off)) = dash else {
        return vec![points.to_vec()];
    };
    let mut out: Vec<Vec<At>> = Vec::new();
    let mut current = vec![points[0]];
    let (mut drawing, mut left) = (true, on);
    for pair in points.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let length = (to.0 - from.0).hypot(to.1 - from.1);
        let mut done = 0.0;
        while length - done > left {
            done += left;
            let at = (
                from.0 + (to.0 - from.0) * done / length,
                from.1 + (to.1 - from.1) * done / length,
            );
            if drawing {
                current.push(at);
                out.push(std::mem::take(&mut current));
            } else {
                current = vec![at];
            }
            drawing = !drawing;
            left = if drawing { on } else { off };
        }
        left -= length - done;
        if drawing {
            current.push(to);
        }
    }
    if drawing && current.len() > 1 {
        out.push(current);
    }
    out
}
