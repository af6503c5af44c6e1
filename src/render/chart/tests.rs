//! What must hold of every drawing, on the sample and on sites at the edges.

use resvg::usvg::roxmltree::{Document, Node};

use super::text::width;
use super::*;
use crate::outcome::{Lane, MeasureKind, PartUse, PictureNode, Pipe, PipeLoad, Shape};
use crate::render::png::png;
use crate::render::sample::sample_report;

const FORMATS: [Format; 3] = [Format::Page, Format::Phone, Format::Slide];

/// Every drawing that a report gives.
fn drawings(report: &Report) -> Vec<(String, Format, Drawing)> {
    let mut out = Vec::new();
    let mut keep = |name: String, format: Format, drawing: Option<Drawing>| {
        out.extend(drawing.map(|drawing| (name, format, drawing)));
    };
    for format in FORMATS {
        keep("headroom".to_owned(), format, headroom(report, format));
        keep("heat".to_owned(), format, heat(report, format));
        for case in 0..5 {
            keep(format!("peaks {case}"), format, peaks(report, case, format));
            keep(
                format!("members {case}"),
                format,
                members(report, case, format),
            );
            keep(
                format!("diagram {case}"),
                format,
                diagram(report, case, format),
            );
            keep(
                format!("percentiles {case}"),
                format,
                percentiles(report, case, format),
            );
            keep(
                format!("budget {case}"),
                format,
                budget(report, case, format),
            );
            for workload in 0..4 {
                keep(
                    format!("timeline {case} {workload}"),
                    format,
                    timeline(report, case, workload, format),
                );
            }
        }
    }
    out
}

fn number(node: Node<'_, '_>, key: &str) -> f64 {
    node.attribute(key)
        .and_then(|value| value.parse().ok())
        .unwrap_or_else(|| panic!("{key} of {node:?}"))
}

/// Holds every rule that can be read off an SVG; panics with the drawing's name.
fn check(name: &str, format: Format, drawing: &Drawing) {
    let what = format!("{name}, {format:?}");
    assert!(
        !drawing.svg.contains("NaN") && !drawing.svg.contains("inf"),
        "{what}: not a number"
    );
    let document = Document::parse(&drawing.svg).unwrap_or_else(|error| panic!("{what}: {error}"));
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"), "{what}");
    let named = |tag: &str| {
        let found = root
            .children()
            .find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", tag)));
        found.and_then(|node| Some((node.attribute("id")?.to_owned(), node.text()?.to_owned())))
    };
    let (title, desc) = (
        named("title").unwrap_or_default(),
        named("desc").unwrap_or_default(),
    );
    assert_eq!(title.1, super::text::clean(&drawing.finding), "{what}");
    assert_eq!(desc.1, super::text::clean(&drawing.description), "{what}");
    assert!(
        drawing.finding.ends_with('.') && drawing.description.len() > 20,
        "{what}: {}",
        drawing.finding
    );
    let ids = format!("{} {}", title.0, desc.0);
    assert_eq!(
        root.attribute("aria-labelledby"),
        Some(ids.as_str()),
        "{what}"
    );
    let view: Vec<f64> = root
        .attribute("viewBox")
        .unwrap_or_default()
        .split(' ')
        .filter_map(|part| part.parse().ok())
        .collect();
    let [_, _, w, h] = view[..] else {
        panic!("{what}: viewBox")
    };
    let scale = w / number(root, "width");
    let (wide, least) = match format {
        Format::Page => (
            if name.starts_with("timeline") || name.starts_with("diagram") {
                1100.0
            } else {
                800.0
            },
            13.0,
        ),
        Format::Phone => (340.0, 10.0),
        Format::Slide => (1280.0, 22.0),
    };
    assert_eq!(w / scale, wide, "{what}");
    if format == Format::Slide {
        assert_eq!(h / scale, 720.0, "{what}");
    }
    let mut boxes: Vec<(&str, super::place::Area)> = Vec::new();
    for node in root.descendants().filter(|node| node.has_tag_name("text")) {
        let size = number(node, "font-size");
        assert!(
            size / scale >= least - 1e-6,
            "{what}: text of {}",
            size / scale
        );
        let text = node.text().unwrap_or_default();
        let across = width(text, size, node.attribute("font-weight") == Some("bold"));
        let x = number(node, "x");
        let left = match node.attribute("text-anchor") {
            Some("middle") => x - across / 2.0,
            Some("end") => x - across,
            _ => x,
        };
        let base = number(node, "y")
            + if node.has_attribute("dy") {
                0.76 * size
            } else {
                0.0
            };
        assert!(
            left >= -1.0 && left + across <= w + 1.0,
            "{what}: {text:?} from {left} to {} of {w}",
            left + across
        );
        assert!(
            base - 0.76 * size >= -1.0 && base + 0.24 * size <= h + 1.0,
            "{what}: {text:?} at {base} of {h}"
        );
        // Two lines of one label stand a little closer than their letters are high.
        let area = (left, base - 0.7 * size, left + across, base + 0.1 * size);
        for (other, there) in &boxes {
            assert!(
                !super::place::overlap(area, *there),
                "{what}: {text:?} lies on {other:?}"
            );
        }
        boxes.push((text, area));
    }
    assert!(boxes.len() > 2, "{what}: {} texts", boxes.len());
    assert!(drawing.svg.contains("estimate ·"), "{what}: no foot");
}

fn check_all(report: &Report) -> usize {
    let all = drawings(report);
    for (name, format, drawing) in &all {
        check(name, *format, drawing);
    }
    all.len()
}

#[test]
fn the_sample_gives_every_drawing() {
    let report = sample_report();
    // Headroom and heat; peaks, members and diagram by case; percentiles and budget by workload; a timeline
    // for each switch-over and workload; all in three formats.
    assert_eq!(check_all(&report), 3 * (2 + 3 * 3 + 2 * 3 + 2 * 3));
    let ids: std::collections::BTreeSet<String> = drawings(&report)
        .iter()
        .filter_map(|(_, _, drawing)| {
            drawing
                .svg
                .split("aria-labelledby=\"")
                .nth(1)?
                .split('"')
                .next()
                .map(str::to_owned)
        })
        .collect();
    assert_eq!(
        ids.len(),
        drawings(&report).len(),
        "identifiers must differ, all drawings share a page"
    );
}

#[test]
fn drawings_become_files() {
    for (name, format, drawing) in drawings(&sample_report())
        .iter()
        .filter(|(_, format, _)| *format == Format::Phone)
    {
        let file =
            png(&drawing.svg, 1.0).unwrap_or_else(|error| panic!("{name} {format:?}: {error}"));
        assert_eq!(&file[16..20], 340_u32.to_be_bytes());
    }
}

#[test]
fn colours_are_those_of_the_palette() {
    let known: Vec<String> = palette::colours()
        .into_iter()
        .map(|colour| colour.1)
        .collect();
    for (name, format, drawing) in drawings(&sample_report()) {
        let document = Document::parse(&drawing.svg).expect("checked elsewhere");
        for node in document.descendants() {
            for colour in ["fill", "stroke"]
                .iter()
                .filter_map(|key| node.attribute(*key))
            {
                assert!(
                    colour == "none" || known.iter().any(|one| one == colour),
                    "{name} {format:?}: {colour}"
                );
            }
        }
    }
}

#[test]
fn crimson_stands_for_missed_only() {
    let mut report = sample_report();
    let missed = palette::Role::Missed.hex();
    assert!(
        headroom(&report, Format::Page)
            .expect("parts")
            .svg
            .contains(&missed)
    );
    for part in &mut report.parts {
        for used in part.cases.iter_mut().flatten() {
            used.peak_percent = used.peak_percent.min(100.0);
        }
    }
    for format in FORMATS {
        for drawing in [
            headroom(&report, format),
            heat(&report, format),
            peaks(&report, 1, format),
        ] {
            assert!(!drawing.expect("parts").svg.contains(&missed));
        }
        assert!(
            !diagram(&report, 0, format)
                .expect("a site")
                .svg
                .contains(&missed)
        );
    }
}

#[test]
fn the_one_who_carries_gives_the_colour() {
    let report = sample_report();
    let svg = percentiles(&report, 0, Format::Page).expect("curves").svg;
    let colour_of = |label: &str| {
        let document = Document::parse(&svg).expect("checked elsewhere");
        let node = document
            .descendants()
            .find(|node| node.has_tag_name("text") && node.text() == Some(label));
        node.and_then(|node| node.attribute("fill").map(str::to_owned))
    };
    assert_eq!(colour_of("A lost"), Some(palette::Role::B.hex()));
    assert_eq!(colour_of("B lost"), Some(palette::Role::A.hex()));
}

#[test]
fn findings_state_the_numbers() {
    let report = sample_report();
    let thin = '\u{202F}';
    let finding = |drawing: Option<Drawing>| drawing.expect("drawn").finding;
    assert!(
        finding(percentiles(&report, 0, Format::Page))
            .contains(&format!("14{thin}ms, promise 2{thin}ms"))
    );
    assert!(finding(headroom(&report, Format::Page)).contains("0.84 times"));
    assert!(
        finding(diagram(&report, 1, Format::Page))
            .contains(&format!("119{thin}%: edge-B to san-B"))
    );
    assert!(finding(timeline(&report, 0, 0, Format::Page)).contains("fast-io-fail"));
    assert_eq!(numbered_events(&report.switches[0], 0), vec![0, 1, 4, 5]);
}

#[test]
fn nothing_to_show_is_none() {
    let mut report = sample_report();
    report.parts.clear();
    report.steady.clear();
    report.switches.clear();
    report.mends.clear();
    report.picture.nodes.clear();
    report.picture.pipes.clear();
    assert!(drawings(&report).is_empty());
    let mut report = sample_report();
    for steady in &mut report.steady {
        steady.workloads.clear();
        steady.directions.clear();
    }
    for switch in &mut report.switches {
        switch.workloads.clear();
    }
    let kinds: Vec<String> = drawings(&report)
        .into_iter()
        .map(|drawing| drawing.0)
        .collect();
    assert!(!kinds.iter().any(|kind| kind.starts_with("timeline")
        || kind.starts_with("members")
        || kind.starts_with("budget")));
    check_all(&report);
}

#[test]
fn one_case_only() {
    let mut report = sample_report();
    report.steady.truncate(1);
    report.switches.clear();
    report.mends.clear();
    report.matrix.cases.truncate(1);
    report.growth.truncate(1);
    for row in &mut report.matrix.rows {
        row.cells.truncate(1);
    }
    for part in &mut report.parts {
        part.cases.truncate(1);
    }
    for pipe in &mut report.picture.pipes {
        pipe.load.truncate(1);
    }
    assert_eq!(check_all(&report), 3 * (2 + 3 + 2 * 3));
}

#[test]
fn saturated_has_no_mean() {
    let mut report = sample_report();
    for steady in &mut report.steady[1..] {
        let workload = &mut steady.workloads[0];
        workload.saturated = true;
        workload.budget.clear();
        workload.curve.clear();
        workload.all.mean_us = None;
        for figure in &mut workload.all.quantiles {
            figure.latency_us = None;
            figure.beyond_us = Some(2e6);
        }
    }
    for switch in &mut report.switches {
        switch.settled_s = None;
        for bin in &mut switch.workloads[0].bins[60..] {
            bin.completed_iops = 0.0;
            (bin.mean_us, bin.p99_us, bin.max_us) = (None, None, None);
        }
        for event in &mut switch.events {
            event.ended_stall = false;
        }
        switch.workloads[0].longest_io_s.clear();
    }
    check_all(&report);
    for drawing in [
        budget(&report, 0, Format::Page),
        percentiles(&report, 0, Format::Page),
    ] {
        let drawing = drawing.expect("the healthy case is there");
        assert!(
            drawing.finding.contains("does not fit") && drawing.svg.contains("saturated"),
            "{}",
            drawing.finding
        );
    }
}

#[test]
fn figures_of_no_number_do_no_harm() {
    let mut report = sample_report();
    report.parts[0].cases[1]
        .as_mut()
        .expect("alive")
        .peak_percent = f64::NAN;
    report.parts[1].cases[1]
        .as_mut()
        .expect("alive")
        .peak_percent = f64::INFINITY;
    report.steady[1].workloads[0].curve[3].latency_us = f64::NAN;
    report.steady[1].workloads[0].curve[0].latency_us = 0.0;
    report.steady[1].workloads[0].budget[0].mean_us = f64::NAN;
    report.steady[1].directions[20].asked_peak_percent = f64::NAN;
    report.picture.pipes[0].load[0] = Some(PipeLoad {
        mean_percent: 0.0,
        asked_peak_percent: f64::NAN,
        toward_array: true,
    });
    report.switches[0].workloads[0].bins[5].completed_iops = f64::NAN;
    report.switches[0].workloads[0].bins[6].p99_us = Some(f64::INFINITY);
    report.switches[0].workloads[0].bins[7].oldest_us = f64::NAN;
    report.switches[0].workloads[0].survivors_peak_iops = f64::INFINITY;
    check_all(&report);
}

#[test]
fn long_and_wicked_names() {
    let mut report = sample_report();
    let wicked = "a \"very\" <long> & wicked name, as nobody should give it but somebody will, 'quoted'\u{7} and all";
    report.origin.scenario = format!("{wicked}.toml");
    for part in &mut report.parts {
        part.part = format!("{wicked} {}", part.part);
        part.detail = wicked.to_owned();
    }
    let mut cases: Vec<&mut crate::outcome::Case> = report.matrix.cases.iter_mut().collect();
    cases.extend(report.steady.iter_mut().map(|steady| &mut steady.case));
    cases.extend(report.switches.iter_mut().map(|switch| &mut switch.case));
    for case in cases {
        case.name = format!("{wicked} {}", case.name);
    }
    for steady in &mut report.steady {
        for workload in &mut steady.workloads {
            workload.name = wicked.to_owned();
        }
        for direction in &mut steady.directions {
            direction.name = format!("{wicked}{}", direction.name);
        }
    }
    for switch in &mut report.switches {
        for lane in &mut switch.lanes {
            lane.name = format!("{wicked} {}", lane.name);
            lane.workloads.clear();
            lane.spans[0].state = wicked.to_owned();
        }
        for event in &mut switch.events {
            event.what = wicked.to_owned();
            event.timer = Some(wicked.to_owned());
        }
    }
    for node in &mut report.picture.nodes {
        node.name = format!("{wicked} {}", node.name);
        node.detail = wicked.to_owned();
    }
    for pipe in &mut report.picture.pipes {
        pipe.label = wicked.to_owned();
        pipe.detail = wicked.to_owned();
    }
    report.mends[0].name = wicked.to_owned();
    check_all(&report);
}

#[test]
fn forty_parts_and_many_cases() {
    let mut report = sample_report();
    let first: Vec<PartUse> = report.parts.clone();
    report.parts = (0..40)
        .map(|index| PartUse {
            part: format!("part {index}, 32GFC"),
            ..first[index % first.len()].clone()
        })
        .collect();
    for number in 0..12 {
        let mut case = report.matrix.cases[1].clone();
        case.name = format!("feed {number} lost");
        case.outage = Some(format!("feed {number}"));
        (case.lost, case.carries) = (None, None);
        let mut steady = report.steady[1].clone();
        steady.case = case.clone();
        report.steady.push(steady);
        for part in &mut report.parts {
            let used = part.cases[1].clone();
            part.cases.push(used);
        }
        for pipe in &mut report.picture.pipes {
            let load = pipe.load[0];
            pipe.load.push(load);
        }
        report.matrix.cases.push(case);
    }
    check_all(&report);
    let slide = headroom(&report, Format::Slide).expect("parts");
    assert!(slide.svg.contains("more, none above"));
}

/// A site of `count` switches on each side, each with hosts and an array of its own.
fn wide_site(report: &mut Report, count: usize) {
    let node = |name: String, shape, lane, layer, lost_in: Vec<usize>| PictureNode {
        name,
        detail: "detail".to_owned(),
        count: 2,
        shape,
        lane,
        chassis: None,
        lost_in,
        layer,
    };
    report.picture.nodes.clear();
    report.picture.pipes.clear();
    for number in 0..count {
        let first = report.picture.nodes.len();
        report.picture.nodes.extend([
            node(
                format!("host-{number}"),
                Shape::Host,
                Lane::Middle,
                0,
                Vec::new(),
            ),
            node(
                format!("edge-{number}-A"),
                Shape::Switch,
                Lane::A,
                1,
                vec![1],
            ),
            node(
                format!("edge-{number}-B"),
                Shape::Switch,
                Lane::B,
                1,
                vec![2],
            ),
            node(
                format!("array-{number}"),
                Shape::Array,
                Lane::Middle,
                2,
                Vec::new(),
            ),
        ]);
        for (switch, lane, lost) in [(first + 1, Lane::A, 1), (first + 2, Lane::B, 2)] {
            for (from, to) in [(first, switch), (switch, first + 3)] {
                let load = PipeLoad {
                    mean_percent: 20.0,
                    asked_peak_percent: 30.0 + number as f64,
                    toward_array: true,
                };
                report.picture.pipes.push(Pipe {
                    from,
                    to,
                    label: "2 × 32GFC".to_owned(),
                    detail: String::new(),
                    lane,
                    load: (0..3).map(|case| (case != lost).then_some(load)).collect(),
                });
            }
        }
    }
}

#[test]
fn wide_sites_are_folded() {
    let mut report = sample_report();
    for count in [1, 3, 6, 7, 10, 40] {
        wide_site(&mut report, count);
        let names = |svg: &str| svg.matches(">edge-").count();
        for case in 0..3 {
            for format in FORMATS {
                let drawing = diagram(&report, case, format).expect("a site");
                check(&format!("diagram {case} of {count}"), format, &drawing);
                if format == Format::Page && count <= 6 {
                    assert_eq!(names(&drawing.svg), 2 * count, "every switch has its box");
                }
            }
        }
    }
}

#[test]
fn a_site_of_one_fabric_and_pipes_to_nowhere() {
    let mut report = sample_report();
    wide_site(&mut report, 2);
    report.picture.nodes.retain(|node| node.lane != Lane::B);
    // Indices now point at other nodes, or beyond the end: nothing of that may harm.
    for case in 0..3 {
        for format in FORMATS {
            check(
                "diagram",
                format,
                &diagram(&report, case, format).expect("a site"),
            );
        }
    }
}

#[test]
fn promises_of_other_kinds() {
    let mut report = sample_report();
    report
        .matrix
        .rows
        .retain(|row| row.measure == MeasureKind::Throughput);
    check_all(&report);
    report.matrix.rows.clear();
    check_all(&report);
}
