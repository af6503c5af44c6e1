//! The site as a diagram: A above, what belongs to neither fabric in the middle, B below, hosts at the
//! left; on a phone A left, B right, hosts on top.
//!
//! Nodes and bundles come folded. Here they are put into units (`fold`), the units into layers and lanes
//! (`layout`), the bundles onto ways (`route`) and all of it on paper (`ink`). Places depend on the site
//! only, never on the case, so that cases can be compared by eye.

mod fold;
mod ink;
mod label;
mod layout;
mod route;

use crate::outcome::{Case, Report};
use crate::render::number::is_over;

use super::canvas::{Anchor, Face};
use super::frame::{Plotted, Sheet, with_case};
use super::palette::Role;
use super::text::{THIN, fit, percent_bound, percent_whole, sig};
use super::{Drawing, Format};
use fold::{Bundle, Site};

/// Nodes drawn one by one at most.
const NODES_MOST: usize = 24;
/// Folding further than this would say nothing.
const NODES_LEAST: usize = 6;

pub(super) fn draw(report: &Report, case: usize, format: Format) -> Option<Drawing> {
    let shown = report.matrix.cases.get(case)?;
    if report.picture.nodes.is_empty() {
        return None;
    }
    let columns = if format == Format::Slide { 2 } else { 1 };
    // More nodes than there are need not be tried.
    let (mut most, mut reserve) = (
        NODES_MOST.min(report.picture.nodes.len()).max(NODES_LEAST),
        0.0,
    );
    let (mut sheet, site, plan, left_over) = loop {
        let site = Site::new(&report.picture, case, most);
        let mut sheet = Sheet::new(report, format, 1100.0, finding(&site, shown));
        let plan = layout::plan(&site, &sheet, reserve);
        let ways = route::ways(&site, &plan, &ink::badges(&plan, sheet.em));
        ink::lanes(&mut sheet, &plan, shown);
        for (bundle, way) in site.bundles.iter().zip(&ways) {
            ink::pipe(&mut sheet, bundle, way, plan.pipe);
        }
        ink::units(&mut sheet, &site, &plan);
        let left_over = label::labels(&mut sheet, &site, &plan, &ways);
        // A slide has no more room to give: keep some for the list, or fold further.
        let list = left_over.len().div_ceil(columns) as f64 * sheet.em * 1.3;
        let lacks = format == Format::Slide && list > reserve;
        if format != Format::Slide || (plan.fits && !lacks) || most <= NODES_LEAST {
            break (sheet, site, plan, left_over);
        }
        if plan.fits {
            reserve = list;
        } else {
            reserve = 0.0;
            most -= 1;
        }
    };
    let description = description(&site, shown);
    let em = sheet.em;
    let mut low = plan.low;
    // On a slide that could not be folded far enough, only what there is room for.
    let rows = if format == Format::Slide {
        (reserve / (em * 1.3)).round() as usize
    } else {
        left_over.len()
    };
    let wide = (sheet.right() - sheet.side) / columns as f64;
    for (number, index) in left_over.iter().enumerate().take(rows * columns) {
        let bundle = &site.bundles[*index];
        let line = |said: String| format!("{}: {}, {said}", number + 1, between(&site, bundle));
        let fitted = |text: &str| fit(text, em, false, wide - em * 0.5);
        let whole = line(said(bundle));
        // Where there is no room for both figures, the first one is what the pipe shows.
        let text = match fitted(&whole) {
            text if text == whole => text,
            _ => fitted(&line(said_of_the_whole(bundle))),
        };
        let row = (number / columns + 1) as f64;
        let at = (
            sheet.side + (number % columns) as f64 * wide,
            low + row * em * 1.3,
        );
        sheet.label(at, &text, Face::Plain, Anchor::Start, Role::Ink);
    }
    low += left_over.len().div_ceil(columns).min(rows) as f64 * em * 1.3;
    let body = low + em * 0.4 - sheet.top;
    sheet.finish(&format!("diagram-{case}"), body, description, Plotted::No)
}

/// `san-B to edge-B`: in the direction that its load is of.
fn between(site: &Site, bundle: &Bundle) -> String {
    let (from, to) = if bundle.toward_array {
        (bundle.from, bundle.to)
    } else {
        (bundle.to, bundle.from)
    };
    format!("{} to {}", site.units[from].name(), site.units[to].name())
}

/// `2 × 32GFC, 2 of 4 legs lit, 119 %`, and the fullest member where that differs.
fn said(bundle: &Bundle) -> String {
    let out = said_of_the_whole(bundle);
    match bundle.load.and(bundle.fullest) {
        None => out,
        Some(fullest) => format!("{out}, fullest {}{THIN}%", sig(fullest, 3)),
    }
}

/// The same without the fullest member.
fn said_of_the_whole(bundle: &Bundle) -> String {
    let mut out = bundle.label.clone();
    if !bundle.detail.is_empty() {
        out = format!("{out}, {}", bundle.detail);
    }
    match bundle.load {
        None => format!("{out}, lost"),
        Some(load) => format!("{out}, {}{THIN}%", sig(load, 3)),
    }
}

fn finding(site: &Site, case: &Case) -> String {
    let with = with_case(case);
    let mut alive: Vec<(&Bundle, f64)> = site
        .bundles
        .iter()
        .filter_map(|bundle| Some((bundle, bundle.load?)))
        .collect();
    // Equal loads stay in scenario order, so the mirrored pair names A first.
    alive.sort_by(|a, b| b.1.total_cmp(&a.1));
    let over = alive.iter().filter(|(_, load)| is_over(*load)).count();
    let Some((fullest, load)) = alive.first() else {
        return format!("{with}, no link is left.");
    };
    let name = between(site, fullest);
    let rest = alive.get(over).map_or(0.0, |(_, load)| *load);
    let below = if rest > 0.0 {
        format!(
            " Every other bundle as a whole stays at or below {}.",
            percent_bound(rest)
        )
    } else {
        String::new()
    };
    match over {
        0 => format!(
            "{with}, no link is full; the fullest, {name}, is asked for {} in the busiest 20{THIN}ms.",
            percent_whole(*load)
        ),
        1 => format!(
            "{with}, one bundle is asked for {}: {name}.{below}",
            percent_whole(*load)
        ),
        _ => format!(
            "{with}, {over} bundles are asked for more than they have; the fullest is {name}, {}.{below}",
            percent_whole(*load)
        ),
    }
}

fn description(site: &Site, case: &Case) -> String {
    let mut out = format!("{}. ", with_case(case));
    let lost: Vec<&str> = site
        .units
        .iter()
        .flat_map(|unit| &unit.boxes)
        .filter_map(|node| match (node.lost, node.partly) {
            (true, _) => Some(node.name.as_str()),
            (false, true) => node.detail.strip_suffix(" lost"),
            (false, false) => None,
        })
        .collect();
    if !lost.is_empty() {
        out.push_str(&format!("Lost: {}. ", lost.join(", ")));
    }
    let links: Vec<String> = site
        .bundles
        .iter()
        .map(|bundle| format!("{}: {}", between(site, bundle), said(bundle)))
        .collect();
    out.push_str(&format!(
        "Load in the busiest 20 ms, busier direction. {}.",
        links.join("; ")
    ));
    out
}
