//! Payload rate against block size, one curve a protocol, link and MTU.

use crate::outcome::{Series, Sizes};

use super::axis::Scale;
use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::{Plotted, Sheet, wire_foot};
use super::palette::Role;
use super::place::{Wish, spread};
use super::text::{THIN, bare, count, fit, percent, room, sig};
use super::{Drawing, Format};

/// The size that the caption speaks of.
const SPOKEN: u64 = 64 << 10;

const MARKS: [Mark; 4] = [Mark::Round, Mark::Square, Mark::Diamond, Mark::Triangle];

/// Where the plot lies.
struct Plot {
    x: Scale,
    y: Scale,
    left: f64,
    right: f64,
    top: f64,
    low: f64,
}

pub(super) fn draw(sizes: &Sizes, format: Format) -> Option<Drawing> {
    let first = sizes.series.first()?;
    if first.points.len() < 2 {
        return None;
    }
    let mut sheet = Sheet::of(wire_foot(), format, 800.0, finding(sizes));
    let em = sheet.em;
    let phone = format == Format::Phone;
    let list = if phone {
        sizes.series.len() as f64 * em * 2.8 + em
    } else {
        0.0
    };
    let body = sheet.height(em * 28.0 + list);
    let beside = if phone {
        em * 0.8
    } else {
        let widest = sizes
            .series
            .iter()
            .flat_map(|series| names(series).map(|text| room(&text, em, true)))
            .fold(0.0, f64::max);
        widest.min(sheet.width * 0.42) + em * 2.4
    };
    let plot = plot(&sheet, first, span(sizes), beside, body - list);
    grid(&mut sheet, &plot, first, sizes.op);
    ceilings(&mut sheet, &plot, sizes);
    for (index, series) in sizes.series.iter().enumerate() {
        curve(&mut sheet, &plot, series, (index, colour(sizes, index)));
    }
    if phone {
        below(&mut sheet, sizes, plot.low + em * 4.6);
    } else {
        ends(&mut sheet, &plot, sizes);
    }
    sheet.finish("sizes", body, description(sizes), Plotted::Yes)
}

/// Ethernet and Fibre Channel differ in colour.
fn look(series: &Series) -> Role {
    if series.encapsulation == "FC" {
        Role::Fibre
    } else {
        Role::Ethernet
    }
}

/// Curves over Ethernet have colours of their own as well, as far as there are some; marks and dashes tell all apart.
fn colour(sizes: &Sizes, index: usize) -> Role {
    const OWN: [Role; 4] = [
        Role::Ethernet,
        Role::Ethernet2,
        Role::Ethernet3,
        Role::Ethernet4,
    ];
    let role = look(&sizes.series[index]);
    let before = sizes.series[..index].iter();
    let before = before.filter(|other| look(other) == Role::Ethernet).count();
    match role {
        Role::Ethernet => OWN[before % OWN.len()],
        other => other,
    }
}

fn dotted(pen: Pen, em: f64) -> Pen {
    pen.dashed(em * 0.12, em * 0.3)
}

/// Curves are whole or dashed: what is dotted is all that a link carries.
fn dash(pen: Pen, index: usize, em: f64) -> Pen {
    match index % 3 {
        0 => pen,
        1 => pen.dashed(em * 0.7, em * 0.4),
        _ => pen.dashed(em * 1.6, em * 0.4),
    }
}

/// From a round number below the lowest point, or from 0 where that is far down, to the highest ceiling.
fn span(sizes: &Sizes) -> (f64, f64) {
    let most = sizes
        .series
        .iter()
        .map(|series| series.usable_mb_s)
        .fold(0.0, f64::max);
    let least = sizes
        .series
        .iter()
        .flat_map(|series| &series.points)
        .map(|point| point.goodput_mb_s)
        .fold(most, f64::min);
    if least < most * 0.5 {
        return (0.0, most);
    }
    let unit = 10_f64.powf(most.max(1.0).log10().floor()) / 2.0;
    ((least / unit).floor() * unit, most)
}

fn plot(sheet: &Sheet, first: &Series, span: (f64, f64), beside: f64, body: f64) -> Plot {
    let em = sheet.em;
    let most = span.1;
    let left = sheet.side + room(&count(most as u64), em, false) + em * 0.8;
    let right = sheet.right() - beside;
    let (top, low) = (sheet.top + em * 2.4, sheet.top + body - em * 3.4);
    let doublings = |bytes: u64| (bytes.max(1) as f64).log2();
    let (small, large) = (
        first.points[0].size_bytes,
        first.points[first.points.len() - 1].size_bytes,
    );
    Plot {
        x: Scale::linear((doublings(small), doublings(large)), (left, right)),
        y: Scale::linear((span.0, most + (most - span.0) * 0.04), (low, top)),
        left,
        right,
        top,
        low,
    }
}

impl Plot {
    fn at(&self, bytes: u64, mb_s: f64) -> (f64, f64) {
        (
            self.x.place((bytes.max(1) as f64).log2()),
            self.y.place(mb_s),
        )
    }
}

fn size(bytes: u64) -> String {
    match bytes {
        _ if bytes >= 1 << 20 => format!("{}{THIN}MiB", bytes >> 20),
        _ if bytes >= 1 << 10 => format!("{}{THIN}KiB", bytes >> 10),
        _ => format!("{bytes}{THIN}B"),
    }
}

fn grid(sheet: &mut Sheet, plot: &Plot, first: &Series, op: &str) {
    let em = sheet.em;
    let pen = Pen::new(Role::Grid, 1.0);
    for tick in plot.y.ticks(6) {
        let y = plot.y.place(tick);
        sheet.canvas.line([(plot.left, y), (plot.right, y)], pen);
        let at = (plot.left - em * 0.5, y + em * 0.36);
        sheet.label(at, &bare_whole(tick), Face::Plain, Anchor::End, Role::Mute);
    }
    let apart = (plot.right - plot.left) / (first.points.len() - 1) as f64;
    let every = (room("512 KiB ", em, false) / apart).ceil().max(1.0) as usize;
    for (index, point) in first.points.iter().enumerate() {
        let (x, _) = plot.at(point.size_bytes, 0.0);
        sheet.canvas.line([(x, plot.top), (x, plot.low)], pen);
        if index % every == 0 {
            let at = (x, plot.low + em * 1.3);
            let text = size(point.size_bytes);
            // The first stands free of the axis at its left.
            let anchor = if index == 0 {
                Anchor::Start
            } else {
                Anchor::Middle
            };
            sheet.label(at, &text, Face::Plain, anchor, Role::Mute);
        }
    }
    let title = "payload, MB/s; dotted: all that the link carries";
    let at = (sheet.side, plot.top - em * 1.2);
    sheet.label(at, title, Face::Bold, Anchor::Start, Role::Ink);
    let floor = match plot.y.ticks(6).first() {
        Some(first) if *first > 0.0 => format!("; rates begin at {}", bare_whole(*first)),
        _ => String::new(),
    };
    let title = format!("size of one {op}, doubling{floor}");
    let at = (plot.left, plot.low + em * 2.7);
    sheet.label(at, &title, Face::Bold, Anchor::Start, Role::Ink);
}

fn bare_whole(value: f64) -> String {
    if value >= 100.0 {
        count(value.round() as u64)
    } else {
        bare(value)
    }
}

/// What each link could carry if every byte were payload.
fn ceilings(sheet: &mut Sheet, plot: &Plot, sizes: &Sizes) {
    let em = sheet.em;
    let mut drawn: Vec<&str> = Vec::new();
    for series in &sizes.series {
        if drawn.contains(&series.link) {
            continue;
        }
        drawn.push(series.link);
        let y = plot.y.place(series.usable_mb_s);
        let pen = dotted(Pen::new(look(series), em * 0.1), em);
        sheet.canvas.line([(plot.left, y), (plot.right, y)], pen);
    }
}

fn curve(sheet: &mut Sheet, plot: &Plot, series: &Series, (index, role): (usize, Role)) {
    let em = sheet.em;
    let points: Vec<(f64, f64)> = series
        .points
        .iter()
        .map(|point| plot.at(point.size_bytes, point.goodput_mb_s))
        .collect();
    let pen = dash(Pen::new(role, em * 0.17), index, em);
    sheet.canvas.line(points.clone(), pen);
    for at in points.iter().skip(index % 2).step_by(2) {
        let mark = MARKS[index % MARKS.len()];
        sheet
            .canvas
            .mark(*at, mark, em * 0.34, role, index >= MARKS.len());
    }
}

fn at_size(series: &Series, bytes: u64) -> f64 {
    series
        .points
        .iter()
        .find(|point| point.size_bytes == bytes)
        .map_or(0.0, |point| point.goodput_mb_s)
}

/// Both lines of a curve's label.
fn names(series: &Series) -> [String; 2] {
    let figures = format!(
        "{} of {} MB/s at {}",
        bare_whole(at_size(series, SPOKEN)),
        bare_whole(series.usable_mb_s),
        size(SPOKEN)
    );
    [series.name.clone(), figures]
}

fn label(
    sheet: &mut Sheet,
    series: &Series,
    (index, role): (usize, Role),
    (x, y): (f64, f64),
    space: f64,
) {
    let em = sheet.em;
    let mark = MARKS[index % MARKS.len()];
    sheet.canvas.mark(
        (x, y - em * 0.36),
        mark,
        em * 0.34,
        role,
        index >= MARKS.len(),
    );
    let [name, figures] = names(series);
    let name = fit(&name, em, true, space - em);
    sheet.label((x + em, y), &name, Face::Bold, Anchor::Start, role);
    let figures = fit(&figures, em, false, space - em);
    let at = (x + em, y + em * 1.2);
    sheet.label(at, &figures, Face::Plain, Anchor::Start, Role::Ink);
}

fn ends(sheet: &mut Sheet, plot: &Plot, sizes: &Sizes) {
    let em = sheet.em;
    let height = (em * 2.75).min((plot.low - plot.top + em) / sizes.series.len() as f64);
    let wishes: Vec<Wish> = sizes
        .series
        .iter()
        .map(|series| Wish {
            at: series
                .points
                .last()
                .map_or(plot.top, |point| plot.y.place(point.goodput_mb_s)),
            size: height,
        })
        .collect();
    let middles = spread(&wishes, plot.top - em, plot.low);
    let x = plot.right + em;
    let space = sheet.right() - x;
    for (index, (series, middle)) in sizes.series.iter().zip(middles).enumerate() {
        let look = (index, colour(sizes, index));
        label(sheet, series, look, (x, middle - em * 0.1), space);
    }
}

fn below(sheet: &mut Sheet, sizes: &Sizes, top: f64) {
    let em = sheet.em;
    let x = sheet.side + em * 0.5;
    let space = sheet.right() - x;
    for (index, series) in sizes.series.iter().enumerate() {
        let y = top + index as f64 * em * 2.8;
        label(sheet, series, (index, colour(sizes, index)), (x, y), space);
    }
}

fn finding(sizes: &Sizes) -> String {
    let rate = |series: &Series| at_size(series, SPOKEN);
    let best = sizes
        .series
        .iter()
        .max_by(|a, b| rate(a).total_cmp(&rate(b)));
    let least = sizes
        .series
        .iter()
        .min_by(|a, b| rate(a).total_cmp(&rate(b)));
    let (Some(best), Some(least)) = (best, least) else {
        return String::new();
    };
    let say = |series: &Series| format!("{} MB/s by {}", bare_whole(rate(series)), series.name);
    let what = format!("Full of {}s of {},", sizes.op, size(SPOKEN));
    if std::ptr::eq(best, least) {
        return format!("{what} the link carries {}.", say(best));
    }
    format!(
        "{what} a link carries {} and {}: {} more.",
        say(least),
        say(best),
        percent(100.0 * (rate(best) / rate(least).max(1e-9) - 1.0)),
    )
}

fn description(sizes: &Sizes) -> String {
    let each: Vec<String> = sizes
        .series
        .iter()
        .map(|series| {
            let ends = [series.points.first(), series.points.last()];
            let ends: Vec<String> = ends
                .into_iter()
                .flatten()
                .map(|point| {
                    format!(
                        "{} MB/s at {}",
                        sig(point.goodput_mb_s, 4),
                        size(point.size_bytes)
                    )
                })
                .collect();
            format!("{}: {}", series.name, ends.join(", "))
        })
        .collect();
    format!(
        "Payload rate against the size of a {}. {}.",
        sizes.op,
        each.join("; ")
    )
}

#[cfg(test)]
mod tests {
    use super::{MARKS, dash, dotted};
    use crate::render::chart::canvas::Pen;
    use crate::render::chart::palette::Role;

    /// A dot is shorter than the gap after it, a dash longer: no curve looks like what a link carries.
    #[test]
    fn only_what_a_link_carries_is_dotted() {
        let is_dotted = |pen: Pen| pen.dash.is_some_and(|(on, off)| on < off);
        let pen = || Pen::new(Role::Ink, 2.0);
        assert!(is_dotted(dotted(pen(), 16.0)));
        for index in 0..MARKS.len() {
            assert!(!is_dotted(dash(pen(), index, 16.0)), "curve {index}");
        }
    }
}
