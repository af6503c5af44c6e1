//! Bits of HTML: escaping, marks, tables and drawings.

use super::Context;
use crate::outcome::Case;
use crate::render::chart::Drawing;
use crate::render::words::{Flag, Prose, Span, named};
use std::fmt::Write as _;

/// Text made harmless in element content and in quoted attributes. Controls that XML forbids are dropped.
pub(in crate::render) fn esc(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Text as the inside of a CSS string: everything but letters, digits and blanks as a numeric escape.
pub(super) fn css_string(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() || c == ' ' {
            out.push(c);
        } else {
            let _ = write!(out, "\\{:06x}", u32::from(c));
        }
    }
    out
}

/// A sentence with its names in italics.
pub(super) fn prose(text: &Prose) -> String {
    text.0
        .iter()
        .map(|span| match span {
            Span::Text(text) => esc(text),
            Span::Name(name) => format!("<i>{}</i>", esc(name)),
            Span::Strong(text) => format!("<b>{}</b>", esc(text)),
        })
        .collect()
}

/// A sentence in which names stand in back-ticks, with them in italics.
pub(super) fn sentence(text: &str) -> String {
    prose(&named(text))
}

/// The mark of a verdict, without its word.
pub(super) fn flag_mark(flag: Flag) -> String {
    let id = match flag {
        Flag::Saturated | Flag::Missed => "missed",
        Flag::Undecided => "undecided",
        Flag::Met => "met",
        Flag::Unasked => return String::new(),
    };
    format!("<svg class=\"mk\" aria-hidden=\"true\"><use href=\"#{id}\"/></svg>")
}

/// Class that colours a verdict's word.
pub(super) fn flag_class(flag: Flag) -> &'static str {
    match flag {
        Flag::Saturated | Flag::Missed => "miss",
        Flag::Undecided => "und",
        Flag::Met => "met",
        Flag::Unasked => "na",
    }
}

/// The two badges of a case: who is there, who is lost.
pub(super) fn case_badges(case: &Case) -> String {
    let id = match (case.lost, &case.outage) {
        (Some('A'), _) => "case-a",
        (Some('B'), _) => "case-b",
        (_, Some(_)) => "case-part",
        _ => "case-healthy",
    };
    format!("<svg class=\"kc\" aria-hidden=\"true\"><use href=\"#{id}\"/></svg>")
}

/// Badges and name.
pub(super) fn case_name(case: &Case) -> String {
    format!("{} {}", case_badges(case), esc(&case.name))
}

/// The badge of fabric A in [`SYMBOLS`], and that of B.
pub(super) const BADGE_A: &str =
    r#"<circle class="fa" cx="9" cy="9" r="8.5"/><text class="on" x="9" y="13.3">A</text>"#;
pub(super) const BADGE_B: &str = r#"<rect class="fb" x="22" y="1" width="16.5" height="16.5"/><text class="on" x="30.2" y="13.5">B</text>"#;

/// The symbols that marks refer to, once a page.
pub(super) const SYMBOLS: &str = r#"<svg class="defs" aria-hidden="true">
<symbol id="met" viewBox="0 0 18 18"><path d="M4.8 1.5h8.4L17 9l-3.8 7.5H4.8L1 9z" fill="none" stroke="currentColor" stroke-width="1.6"/><path d="M5.3 9.3l2.6 2.7 4.8-5.6" fill="none" stroke="currentColor" stroke-width="2"/></symbol>
<symbol id="missed" viewBox="0 0 18 18"><path d="M4.5 1h9L18 9l-4.5 8h-9L0 9z" fill="currentColor"/><path class="hole" d="M6 6l6 6M12 6l-6 6" fill="none" stroke-width="2.2"/></symbol>
<symbol id="undecided" viewBox="0 0 18 18"><path d="M4.8 1.5h8.4L17 9l-3.8 7.5H4.8L1 9z" fill="none" stroke="currentColor" stroke-width="1.6" stroke-dasharray="2.6 2"/><text x="9" y="13.3" fill="currentColor">?</text></symbol>
<symbol id="case-healthy" viewBox="0 0 40 18"><circle class="fa" cx="9" cy="9" r="8.5"/><text class="on" x="9" y="13.3">A</text><rect class="fb" x="22" y="1" width="16.5" height="16.5"/><text class="on" x="30.2" y="13.5">B</text></symbol>
<symbol id="case-a" viewBox="0 0 40 18"><circle class="gone" cx="9" cy="9" r="7.8"/><path class="x" d="M5 13l8-8"/><rect class="fb" x="22" y="1" width="16.5" height="16.5"/><text class="on" x="30.2" y="13.5">B</text></symbol>
<symbol id="case-b" viewBox="0 0 40 18"><circle class="fa" cx="9" cy="9" r="8.5"/><text class="on" x="9" y="13.3">A</text><rect class="gone" x="22.7" y="1.6" width="15" height="15"/><path class="x" d="M26 13.5l9-9"/></symbol>
<symbol id="case-part" viewBox="0 0 40 18"><path class="gone" d="M2 9h13M25 9h13"/><path class="x" d="M15.5 4.5l9 9M24.5 4.5l-9 9"/></symbol>
</svg>
"#;

/// A drawing in both its formats under its finding; nothing when neither was drawn.
pub(super) fn figure(
    context: &Context<'_>,
    class: &str,
    wide: Option<Drawing>,
    narrow: Option<Drawing>,
) -> String {
    figure_numbered(&mut || context.next_number(), class, wide, narrow)
}

/// The same with numbers for the ids of drawings from elsewhere.
pub(super) fn figure_numbered(
    next_number: &mut dyn FnMut() -> usize,
    class: &str,
    wide: Option<Drawing>,
    narrow: Option<Drawing>,
) -> String {
    let Some(finding) = wide.as_ref().or(narrow.as_ref()).map(|d| d.finding.clone()) else {
        return String::new();
    };
    let mut out = format!(
        "<figure{}><figcaption>{}</figcaption>",
        class_attribute(class),
        esc(&finding)
    );
    let both = wide.is_some() && narrow.is_some();
    for (drawing, class) in [(wide, "w"), (narrow, "n")] {
        if let Some(drawing) = drawing {
            // A lone drawing shows at every width.
            let class = if both { class } else { "both" };
            let svg = own_ids(&drawing.svg, next_number());
            let _ = write!(out, "<div class=\"{class}\">{svg}</div>");
        }
    }
    out.push_str("</figure>\n");
    out
}

fn class_attribute(class: &str) -> String {
    if class.is_empty() {
        String::new()
    } else {
        format!(" class=\"{class}\"")
    }
}

/// Gives every id of a drawing a prefix of its own, and what refers to it: ids are unique in a page.
fn own_ids(svg: &str, number: usize) -> String {
    let mut ids: Vec<&str> = svg
        .split(" id=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    ids.sort_unstable();
    ids.dedup();
    let mut out = svg.to_owned();
    for id in &ids {
        let new = format!("d{number}-{id}");
        for (before, after) in [(" id=\"", "\""), ("href=\"#", "\""), ("url(#", ")")] {
            out = out.replace(
                &format!("{before}{id}{after}"),
                &format!("{before}{new}{after}"),
            );
        }
    }
    for attribute in ["aria-labelledby=\"", "aria-describedby=\""] {
        let mut pieces = out.split(attribute);
        let mut next = pieces.next().unwrap_or_default().to_owned();
        for piece in pieces {
            let (value, rest) = piece.split_once('"').unwrap_or((piece, ""));
            let renamed: Vec<String> = value
                .split_whitespace()
                .map(|id| {
                    if ids.contains(&id) {
                        format!("d{number}-{id}")
                    } else {
                        id.to_owned()
                    }
                })
                .collect();
            let _ = write!(next, "{attribute}{}\"{rest}", renamed.join(" "));
        }
        out = next;
    }
    out
}

/// A head of a section.
pub(super) fn section(id: &str, number: usize, question: &str, body: &str) -> String {
    format!(
        "<section id=\"{id}\" aria-labelledby=\"h-{id}\"><h2 id=\"h-{id}\"><span class=\"no\">{number}</span> <span>{question}</span></h2>\n{body}</section>\n\n"
    )
}

/// A chart with a note beside it.
pub(super) fn beside(main: &str, note: &str) -> String {
    if note.is_empty() {
        return main.to_owned();
    }
    format!(
        "<div class=\"grid\"><div class=\"main\">{main}</div>\n<aside class=\"note\">{note}</aside></div>\n"
    )
}

/// A table with a note below it, in columns: one that is as long as the table would leave blank space beside it.
pub(super) fn below(main: &str, note: &str) -> String {
    format!("{main}<aside class=\"note low\">{note}</aside>\n")
}

/// A column of a [`Table`].
pub(super) struct Column {
    /// Head, HTML.
    pub(super) head: String,
    /// What a phone shows before the cell, plain text.
    pub(super) label: String,
    /// Numbers stand right.
    pub(super) right: bool,
}

impl Column {
    /// A column of words.
    pub(super) fn words(head: &str) -> Self {
        Self {
            head: esc(head),
            label: head.to_owned(),
            right: false,
        }
    }

    /// A column of numbers.
    pub(super) fn number(head: &str) -> Self {
        Self {
            right: true,
            ..Self::words(head)
        }
    }
}

/// An ordinary table: a caption, a head, rows whose first cell is their head. Blocks on a phone.
pub(super) struct Table {
    class: &'static str,
    caption: String,
    columns: Vec<Column>,
    rows: Vec<String>,
}

impl Table {
    /// `caption` is HTML.
    pub(super) fn new(class: &'static str, caption: String, columns: Vec<Column>) -> Self {
        Self {
            class,
            caption,
            columns,
            rows: Vec::new(),
        }
    }

    /// Adds a row of HTML cells; `attributes` go on the `tr`. Empty cells are left out on a phone.
    pub(super) fn row(&mut self, attributes: &str, cells: &[String]) {
        let gap = if attributes.is_empty() { "" } else { " " };
        let mut out = format!("<tr role=\"row\"{gap}{attributes}>");
        for (index, (cell, column)) in cells.iter().zip(&self.columns).enumerate() {
            if index == 0 {
                let _ = write!(out, "<th role=\"rowheader\" scope=\"row\">{cell}</th>");
                continue;
            }
            let right = if column.right { " class=\"r\"" } else { "" };
            let _ = write!(
                out,
                "<td role=\"cell\"{right} data-l=\"{}\">{cell}</td>",
                esc(&column.label)
            );
        }
        out.push_str("</tr>\n");
        self.rows.push(out);
    }

    /// True when no row was added.
    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The whole table; nothing when it has no row.
    pub(super) fn html(&self) -> String {
        if self.is_empty() {
            return String::new();
        }
        let mut out = format!(
            "<table role=\"table\" class=\"stack {}\"><caption>{}</caption><thead role=\"rowgroup\"><tr role=\"row\">",
            self.class, self.caption
        );
        for column in &self.columns {
            let right = if column.right { " class=\"r\"" } else { "" };
            let _ = write!(
                out,
                "<th role=\"columnheader\" scope=\"col\"{right}>{}</th>",
                column.head
            );
        }
        let _ = write!(
            out,
            "</tr></thead>\n<tbody role=\"rowgroup\">{}</tbody></table>\n",
            self.rows.concat()
        );
        out
    }
}
