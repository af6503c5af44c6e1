//! What every drawing has: its size by format, the finding on slides, the foot, and the way out.

use crate::outcome::{Case, Origin, Report, UnseenBursts};

use super::canvas::{Anchor, Canvas, Face, Mark, svg};
use super::palette::Role;
use super::text::{wrap, wrap_at_most};
use super::{Drawing, Format};
use crate::render::words::{burst_foot, plural, unseen_in};

const SLIDE: (f64, f64) = (1280.0, 720.0);

/// Size and lines at most of a finding on a slide that is long.
const SMALL_FINDING: (f64, usize) = (26.0, 3);

/// Whether a slide has room for all of a finding.
pub(super) fn finding_fits(finding: &str) -> bool {
    let (size, most) = SMALL_FINDING;
    wrap(finding, size, false, SLIDE.0 - 2.0 * 40.0).len() <= most
}

/// A drawing in the making.
#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) canvas: Canvas,
    pub(super) format: Format,
    /// Width of the drawing.
    pub(super) width: f64,
    /// Size of all labels.
    pub(super) em: f64,
    /// Margin at left and right.
    pub(super) side: f64,
    /// Where the body starts.
    pub(super) top: f64,
    foot: Vec<String>,
    finding: String,
}

impl Sheet {
    /// A sheet for `finding`; `page_width` counts on wide screens only.
    pub(super) fn new(report: &Report, format: Format, page_width: f64, finding: String) -> Self {
        let foot = with_bursts(foot(&report.origin), &unseen_in(report));
        Self::of(foot, format, page_width, finding)
    }

    /// A sheet whose foot is already words.
    pub(super) fn of(foot: String, format: Format, page_width: f64, finding: String) -> Self {
        let (width, em, side) = match format {
            Format::Page => (page_width, 13.0, 4.0),
            Format::Phone => (340.0, 10.5, 2.0),
            Format::Slide => (SLIDE.0, 22.0, 40.0),
        };
        let mut canvas = Canvas::default();
        let mut top = 6.0;
        if format == Format::Slide {
            canvas.rect((0.0, 0.0), SLIDE, Role::Paper);
            top = 30.0;
            // A long finding is set smaller rather than cut.
            let space = width - 2.0 * side;
            let (size, most) = if wrap(&finding, 32.0, false, space).len() <= 2 {
                (32.0, 2)
            } else {
                SMALL_FINDING
            };
            for line in wrap_at_most(&finding, size, false, space, most) {
                top += size * 1.14;
                canvas.text(
                    (side, top),
                    &line,
                    size,
                    Face::Claim,
                    Anchor::Start,
                    Role::Ink,
                );
            }
            top += 26.0;
        }
        let foot = wrap_at_most(&foot, em, false, width - 2.0 * side, 3);
        Self {
            canvas,
            format,
            width,
            em,
            side,
            top,
            foot,
            finding,
        }
    }

    /// Height of the body: `wanted`, or what a slide has left.
    pub(super) fn height(&self, wanted: f64) -> f64 {
        if self.format == Format::Slide {
            SLIDE.1 - self.top - self.foot_height() - 8.0
        } else {
            wanted
        }
    }

    fn foot_height(&self) -> f64 {
        self.foot.len() as f64 * self.em * 1.3 + self.em * 0.9
    }

    /// The right edge of what may be drawn.
    pub(super) fn right(&self) -> f64 {
        self.width - self.side
    }

    /// A line of text in the usual size.
    pub(super) fn label(
        &mut self,
        at: (f64, f64),
        text: &str,
        face: Face,
        anchor: Anchor,
        role: Role,
    ) {
        let em = self.em;
        self.canvas.text(at, text, em, face, anchor, role);
    }

    /// The drawing, with a body of `height`; through `plotters`, or by hand.
    pub(super) fn finish(
        mut self,
        id: &str,
        height: f64,
        description: String,
        plotted: Plotted,
    ) -> Option<Drawing> {
        let body = self.height(height);
        let total = if self.format == Format::Slide {
            SLIDE.1
        } else {
            self.top + body + self.foot_height()
        };
        let total = total.ceil();
        let lines = self.foot.len();
        for (index, line) in std::mem::take(&mut self.foot).iter().enumerate() {
            let up = (lines - 1 - index) as f64 * self.em * 1.3;
            let low = if self.format == Format::Slide {
                16.0
            } else {
                self.em * 0.5
            };
            let at = (self.side, total - low - up);
            self.label(at, line, Face::Plain, Anchor::Start, Role::Mute);
        }
        let format = match self.format {
            Format::Page => "page",
            Format::Phone => "phone",
            Format::Slide => "slide",
        };
        let size = (self.width, total);
        let content = match plotted {
            Plotted::Yes => self.canvas.plot(size).ok()?,
            Plotted::No => self.canvas.write(),
        };
        let id = format!("{id}-{format}");
        let svg = svg(
            &id,
            size,
            plotted == Plotted::Yes,
            &self.finding,
            &description,
            &content,
        );
        Some(Drawing {
            svg,
            finding: self.finding,
            description,
        })
    }
}

/// Which writer a drawing goes through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Plotted {
    Yes,
    No,
}

/// `estimate · scenario · seed · replications · version · digest`.
pub(super) fn foot(origin: &Origin) -> String {
    let digest: String = origin.digest.chars().take(8).collect();
    let mut scenario: String = origin.scenario.chars().take(48).collect();
    if scenario.len() < origin.scenario.len() {
        scenario.push('…');
    }
    format!(
        "estimate · {scenario} · seed {} · {} · halfloom {} · digest {digest}",
        origin.seed,
        plural(origin.replications as usize, "replication"),
        origin.version
    )
}

/// The foot where figures of the busiest 20 ms have such bursts.
pub(super) fn with_bursts(foot: String, unseen: &[UnseenBursts]) -> String {
    match burst_foot(unseen) {
        Some(said) => format!("{foot} · {said}"),
        None => foot,
    }
}

/// The foot of what follows from standards alone.
pub(super) fn wire_foot() -> String {
    format!(
        "estimate · sizes and rates follow from the standards, nothing was measured · halfloom {}",
        env!("CARGO_PKG_VERSION")
    )
}

/// Colour and mark of a case: of the fabric that carries it, never of the one that is missing.
pub(super) fn look(case: &Case) -> (Role, Mark) {
    match (case.carries, &case.outage) {
        (Some('A'), _) => (Role::A, Mark::Round),
        (Some('B'), _) => (Role::B, Mark::Square),
        (_, None) => (Role::Ink, Mark::Diamond),
        _ => (Role::Use, Mark::Triangle),
    }
}

/// Colour and mark of a fabric.
pub(super) fn side_role(side: Option<char>) -> Role {
    match side {
        Some('A') => Role::A,
        Some('B') => Role::B,
        _ => Role::Use,
    }
}

/// `With A lost`, `With the fabrics healthy`.
pub(super) fn with_case(case: &Case) -> String {
    match &case.outage {
        None => "With everything healthy".to_owned(),
        Some(_) => format!("With {}", case.name),
    }
}
