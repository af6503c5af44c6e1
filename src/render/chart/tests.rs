//! What must hold of every drawing, on the sample and on sites at the edges.

mod designs;
mod edges;
mod promises;
mod wire;

use resvg::usvg::roxmltree::{Document, Node};

use super::text::width;
use super::*;
use crate::render::png::png;
use crate::render::sample::{sample_growth, sample_headroom, sample_report, sample_windows};

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
        let found = report.windows.as_ref();
        let day = found.and_then(|found| hours(&report.origin, found, format));
        keep("hours".to_owned(), format, day);
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
    check_texts(&what, root, (w, h), least * scale);
    assert!(drawing.svg.contains("estimate ·"), "{what}: no foot");
}

/// Texts are inside, large enough, and none lies on another.
fn check_texts(what: &str, root: Node<'_, '_>, (w, h): (f64, f64), least: f64) {
    let mut boxes: Vec<(&str, super::place::Area)> = Vec::new();
    for node in root.descendants().filter(|node| node.has_tag_name("text")) {
        let size = number(node, "font-size");
        assert!(size >= least - 1e-6, "{what}: text of {size}");
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
}

fn check_all(report: &Report) -> usize {
    let all = drawings(report);
    for (name, format, drawing) in &all {
        check(name, *format, drawing);
    }
    all.len()
}

#[test]
fn a_curve_over_load_keeps_the_rules_and_names_its_ends() {
    let found = sample_headroom();
    for format in FORMATS {
        let drawing = load_curve(&found, 0, format).expect("the sample has points");
        check("load", format, &drawing);
        assert!(
            drawing
                .description
                .contains("A lost: 1.26 met, 1.32 missed, knee 0.910;")
        );
        assert!(drawing.svg.contains("promise: 2"));
        let words = texts(&drawing.svg);
        assert_eq!(words.iter().filter(|word| *word == "knee").count(), 2);
        // The words of an axis are wrapped where they do not fit, and never cut.
        let all = words.join(" ");
        assert!(all.contains("ms (log scale)"), "{all}");
        assert!(all.contains("times today"), "{all}");
        assert!(!all.contains('…'), "{all}");
    }
    // Curves that bend at one load share the word.
    let mut same = found.clone();
    for case in &mut same.cases {
        case.knee = Some(0.91);
    }
    for format in FORMATS {
        let drawing = load_curve(&same, 0, format).expect("the sample has points");
        let words = texts(&drawing.svg);
        assert_eq!(words.iter().filter(|word| *word == "knee").count(), 1);
    }
    assert_eq!(load_curve(&found, 1, Format::Page), None);
    let mut none = found;
    for case in &mut none.cases {
        case.points.clear();
    }
    assert_eq!(load_curve(&none, 0, Format::Page), None);
}

/// Of open work less is promised below today's load, in proportion: the line rises to it from nothing, and is level from there on. That of
/// a closed loop, and of a latency, is level throughout.
#[test]
fn a_throughput_that_shrinks_with_the_load_is_drawn_as_it_is() {
    let risen = |drawing: &super::Drawing| {
        let lines = drawing.svg.split("points=\"").skip(1);
        let mut lines = lines.map(|rest| {
            let points = rest.split('"').next().unwrap_or_default().split(' ');
            let points = points.filter_map(|point| {
                let (x, y) = point.split_once(',')?;
                Some((x.parse::<f64>().ok()?, y.parse::<f64>().ok()?))
            });
            points.collect::<Vec<(f64, f64)>>()
        });
        lines.any(|points| match points[..] {
            [(x, y), (one, level), (end, last)] => {
                x < one && one < end && y > level && (level - last).abs() < 0.01
            }
            _ => false,
        })
    };
    let mut found = sample_headroom();
    let drawn = |found: &crate::outcome::Headroom| {
        FORMATS.map(|format| {
            let drawing = load_curve(found, 0, format).expect("the sample has points");
            check("load, throughput", format, &drawing);
            (risen(&drawing), drawing.svg.contains("below 1 times that"))
        })
    };
    assert_eq!(drawn(&found), [(false, false); 3]);
    let points = found.cases.iter_mut().flat_map(|case| &mut case.points);
    for point in points {
        let row = &mut point.rows[0];
        row.measure = crate::outcome::MeasureKind::Throughput;
        row.cell.unit = "MB/s";
        row.cell.target = 1500.0 * point.factor.min(1.0);
        row.cell.target_text = "1.5GB/s".into();
    }
    assert_eq!(drawn(&found), [(true, true); 3]);
    for point in found.cases.iter_mut().flat_map(|case| &mut case.points) {
        point.rows[0].cell.target = 1500.0;
        point.depths = vec![crate::outcome::LoopDepth {
            workload: "bookings".into(),
            depth: 4,
        }];
    }
    assert_eq!(drawn(&found), [(false, false); 3]);
}

/// Invented rows of a sweep: `keys` varied values, three cases a point, the last one full.
/// Used healthy, used in an outage and spare, of the same parts as in a report.
#[test]
fn bars_of_parts_at_todays_load_keep_the_rules() {
    let found = sample_headroom();
    for format in FORMATS {
        let drawing = part_bars(&found, format).expect("there are parts");
        check("part bars", format, &drawing);
        for part in &found.parts {
            assert!(drawing.description.contains(&part.part));
        }
        assert!(drawing.svg.contains("spare"));
    }
}

#[test]
fn a_curve_over_years_keeps_the_rules_and_names_steps_and_days() {
    let plan = sample_growth();
    for format in FORMATS {
        let drawing = growth_curve(&plan, format).expect("there are stages");
        check("growth", format, &drawing);
        // Both losses break on one day and are one mark; healthy holds until the step is there.
        for words in [
            "step 1",
            "2028-01-20: A lost, B lost",
            "2032-06-01: healthy",
        ] {
            assert!(drawing.svg.contains(words), "{words}: {}", drawing.svg);
        }
        assert!(
            !drawing.svg.contains("2029-12-15:"),
            "it is replaced before"
        );
        assert_eq!(
            drawing.finding,
            "As it is: healthy, every promise holds until the next step; with A lost or B lost, a promise breaks by 2028-01-20. With “light \
             the dark legs & add ports”: healthy, a promise breaks by 2032-06-01; with A lost or B lost, by 2030-09-01."
        );
    }
}

/// Nothing is proven on any day: the day by which a promise breaks is no day until which all hold.
#[test]
fn a_title_of_growth_says_that_no_day_is_proven() {
    let mut plan = sample_growth();
    plan.stages.remove(0);
    plan.stages[0].cases.truncate(1);
    plan.stages[0].cases[0].holds_until = None;
    plan.unseen_bursts = vec![crate::render::sample::sample_bursts(
        crate::outcome::Unseen::Rare,
        "bookings",
    )];
    for format in FORMATS {
        let drawing = growth_curve(&plan, format).expect("there are stages");
        assert_eq!(
            drawing.finding,
            "As it is: no day is proven to hold, and a promise is proven to be broken by 2032-06-01."
        );
        let words = texts(&drawing.svg).join(" ");
        assert!(
            words.contains("the runs see too few bursts of bookings: days are of what they saw"),
            "{words}"
        );
    }
}

/// A step that no load keeps is no verdict on the others.
#[test]
fn a_step_that_no_load_keeps_is_named_in_the_legend() {
    let mut plan = sample_growth();
    plan.stages[1].cases[0].standing = crate::outcome::Standing::Never;
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    let words = texts(&drawing.svg).join(" ");
    assert!(!words.contains("missed at every load"), "{words}");
    assert!(words.contains("missed with step 1, "), "{words}");
    for stage in &mut plan.stages {
        stage.cases[0].standing = crate::outcome::Standing::Never;
        stage.cases[1].standing = crate::outcome::Standing::Unpromised;
    }
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    let words = texts(&drawing.svg).join(" ");
    assert!(words.contains("missed at every load"), "{words}");
    assert!(words.contains("nothing promised"), "{words}");
}

/// A day of the site as it is that lies beyond the step is no day on which anything breaks: the step has changed the site by then.
#[test]
fn what_is_short_at_first_breaks_on_no_day_beyond_the_next_step() {
    let mut plan = sample_growth();
    plan.stages[1].cases.truncate(1);
    let stage = &mut plan.stages[0];
    stage.cases.truncate(1);
    let case = &mut stage.cases[0];
    case.standing = crate::outcome::Standing::ShortAtFirst;
    case.asked_from = Some("2028-01-01".into());
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    let words = texts(&drawing.svg).join(" ");
    assert!(!words.contains("2029-12-15"), "{words}");
    assert!(words.contains("broken by 2032-06-01"), "{words}");
    assert!(
        drawing.finding.starts_with(
            "As it is: more throughput is promised than is asked for before 2028-01-01, then every promise holds until the next step. "
        ),
        "{}",
        drawing.finding
    );
    // Without a later break the legend has the day up to which it is short.
    let mut kept = plan.clone();
    kept.stages.truncate(1);
    kept.stages[0].cases[0].breaks_by = None;
    let drawing = growth_curve(&kept, Format::Slide).expect("there are stages");
    let words = texts(&drawing.svg).join(" ");
    assert!(words.contains("short until 2028-01-01"), "{words}");
    // While the stage lasts it is one.
    plan.stages[0].until = Some("2030-01-01".into());
    plan.stages[1].date = "2030-01-01".into();
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    let words = texts(&drawing.svg).join(" ");
    assert!(words.contains("2029-12-15"), "{words}");
    assert!(
        drawing
            .finding
            .contains("before 2028-01-01, and a promise breaks by 2029-12-15."),
        "{}",
        drawing.finding
    );
}

/// Three stages with much to say of each: a slide tells less of them rather than half a word.
#[test]
fn a_slide_of_growth_ends_with_a_whole_sentence() {
    let mut plan = sample_growth();
    let last = plan.stages[1].clone();
    plan.stages.push(last);
    for (index, stage) in plan.stages.iter_mut().enumerate() {
        stage.name = format!("a planned change that takes many words to be told, number {index}");
        stage.date = format!("20{}-01-01", 27 + 2 * index);
        stage.until = (index < 2).then(|| format!("20{}-01-01", 29 + 2 * index));
        for (case, own) in stage.cases.iter_mut().enumerate() {
            own.standing = crate::outcome::Standing::Open;
            own.holds_until = Some(format!("20{}-0{}-18", 27 + 2 * index, 3 + 2 * case));
            own.breaks_by = None;
        }
    }
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    let words = texts(&drawing.svg);
    assert!(!words.iter().any(|word| word.ends_with('…')), "{words:?}");
    assert!(
        drawing
            .finding
            .ends_with("what comes after it is undecided. Later steps: see below."),
        "{}",
        drawing.finding
    );
    // A page has room for all.
    let page = growth_curve(&plan, Format::Page).expect("there are stages");
    assert!(page.finding.len() > drawing.finding.len());
}

/// What is not proven to break is not told as if it held: how far it is proven, or that it is undecided.
#[test]
fn a_day_that_is_not_proven_is_told_as_that() {
    let mut plan = sample_growth();
    plan.stages.truncate(1);
    let stage = &mut plan.stages[0];
    (stage.until, stage.cases[0].standing) = (None, crate::outcome::Standing::Open);
    stage.cases[0].breaks_by = None;
    for case in &mut stage.cases[1..] {
        case.standing = crate::outcome::Standing::Open;
        (case.holds_until, case.breaks_by) = (None, None);
    }
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    assert_eq!(
        drawing.finding,
        "As it is: healthy, every promise holds until 2029-10-01, and what comes after it is undecided; with A lost or B lost, it is \
         undecided whether every promise holds on any day."
    );
}

/// Nothing proven, every case broken on one day, a step beyond what is shown, a day that cannot be read.
/// Three steps and five days on a slide: the plot stays tall, no words lie on one another, and the finding is whole.
#[test]
fn growth_with_many_steps_has_room_on_a_slide() {
    let mut plan = sample_growth();
    let first = plan.stages[0].clone();
    let stage = |index: usize| {
        let mut stage = first.clone();
        if index > 0 {
            stage.name = format!("a planned change with a long name, number {index}");
        }
        stage.date = format!("20{}-01-01", 27 + 2 * index);
        stage.until = (index < 3).then(|| format!("20{}-01-01", 29 + 2 * index));
        for (case, own) in stage.cases.iter_mut().enumerate() {
            own.standing = crate::outcome::Standing::Breaks;
            own.holds_factor = Some(1.5 + index as f64);
            own.holds_until = Some(stage.date.clone());
            own.breaks_by = Some(format!("20{}-0{}-18", 27 + 2 * index, 3 + 2 * case));
        }
        stage
    };
    plan.stages = (0..4).map(stage).collect();
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    check("growth, many steps", Format::Slide, &drawing);
    let words = texts(&drawing.svg);
    assert!(!words.iter().any(|word| word.ends_with('…')), "{words:?}");
    assert!(
        drawing
            .finding
            .contains("With step 3: healthy, by 2033-03-18"),
        "{}",
        drawing.finding
    );
    // The first day that is told says what it is the day of.
    for case in &mut plan.stages[0].cases {
        case.standing = crate::outcome::Standing::Open;
    }
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    assert!(
        drawing
            .finding
            .contains("With step 1: healthy, a promise breaks by 2029-03-18. With step 2: healthy, by 2031-03-18"),
        "{}",
        drawing.finding
    );
    for case in &mut plan.stages[0].cases {
        case.standing = crate::outcome::Standing::Breaks;
    }
    // All cases of one day are named as at its mark.
    for stage in &mut plan.stages {
        let day = stage.cases[0].breaks_by.clone();
        for case in &mut stage.cases {
            case.breaks_by = day.clone();
        }
    }
    let drawing = growth_curve(&plan, Format::Slide).expect("there are stages");
    assert!(
        drawing
            .finding
            .contains("in every case a promise breaks by 2027-03-18"),
        "{}",
        drawing.finding
    );
}

#[test]
fn growth_at_its_edges_is_drawn_too() {
    let mut plan = sample_growth();
    for case in plan.stages.iter_mut().flat_map(|stage| &mut stage.cases) {
        (case.holds_until, case.holds_factor) = (None, None);
        (case.breaks_by, case.breaks_factor) = (Some("2027-01-01".into()), Some(1.0));
        case.standing = crate::outcome::Standing::BrokenBefore;
    }
    plan.stages[1].date = "2060-01-01".into();
    for format in FORMATS {
        let drawing = growth_curve(&plan, format).expect("there are stages");
        check("growth, all broken", format, &drawing);
        assert!(drawing.svg.contains("2027-01-01: every case"));
    }
    plan.from = "someday".into();
    assert_eq!(growth_curve(&plan, Format::Page), None);
}

fn swept(keys: &[(&str, &[&str])]) -> SweepTable {
    let names: Vec<String> = keys.iter().map(|key| key.0.to_owned()).collect();
    let header = crate::render::csv::sweep_header(&names);
    let mut points: Vec<Vec<&str>> = vec![Vec::new()];
    for (_, values) in keys {
        points = points
            .iter()
            .flat_map(|point| values.iter().map(|value| [&point[..], &[*value]].concat()))
            .collect();
    }
    let mut rows = Vec::new();
    for (index, point) in points.iter().enumerate() {
        for (row, case) in ["healthy", "A lost", "B lost"].iter().enumerate() {
            let us = 400.0 + 200.0 * (index * (row + 1)) as f64;
            let full = index + 1 == points.len() && row > 0;
            let field = |(column, name): (usize, &String)| match name.as_str() {
                _ if (4..4 + keys.len()).contains(&column) => point[column - 4].to_owned(),
                "case" => (*case).to_owned(),
                "workload" => "bookings".to_owned(),
                "promise" => "p99".to_owned(),
                "promise_unit" => "us".to_owned(),
                "promise_target" => "2000".to_owned(),
                "saturated" => full.to_string(),
                "promise_value" if full => String::new(),
                "promise_value" => us.to_string(),
                "promise_value_low" if !full => (us * 0.9).to_string(),
                "promise_value_high" if !full => (us * 1.1).to_string(),
                "promise_verdict" => if full || us > 2000.0 { "missed" } else { "met" }.to_owned(),
                "ports_lacking" => String::new(),
                _ => "1".to_owned(),
            };
            rows.push(header.iter().enumerate().map(field).collect());
        }
    }
    SweepTable {
        keys: names,
        header,
        rows,
    }
}

#[test]
fn a_sweep_over_one_or_two_values_keeps_the_rules() {
    let origin = sample_report().origin;
    let speeds = ("link.edge-san.speed", &["16GFC", "32GFC", "64GFC"][..]);
    let shares = ("array.vault.read.hit", &["20%", "40%", "80%", "95%"][..]);
    for format in FORMATS {
        let draw = |keys: &[(&str, &[&str])]| sweep_chart(&swept(keys), &origin, None, format);
        for (keys, word) in [
            (
                &[speeds][..],
                "bookings p99, ms: link.edge-san.speed 16GFC, healthy: 0.400 met;",
            ),
            (
                &[shares],
                "array.vault.read.hit 95%, B lost: saturated missed.",
            ),
            (
                &[speeds, shares],
                "link.edge-san.speed 64GFC, array.vault.read.hit 95%, A lost: saturated missed;",
            ),
            (&[("load", &["1"][..]), speeds], "healthy: 0.400 met;"),
        ] {
            let drawing = draw(keys).expect("there are points");
            check("sweep", format, &drawing);
            assert!(
                drawing.description.contains(word),
                "{}",
                drawing.description
            );
        }
        assert_eq!(draw(&[speeds, shares, ("load", &["1", "2"])]), None);
        assert_eq!(draw(&[("load", &["1"])]), None);
    }
}

#[test]
fn the_sample_gives_every_drawing() {
    let mut report = sample_report();
    report.windows = Some(sample_windows());
    // Headroom, heat and hours; peaks, members and diagram by case; percentiles and budget by workload; a timeline
    // for each switch-over and workload; all in three formats.
    assert_eq!(check_all(&report), 3 * (3 + 3 * 3 + 2 * 3 + 2 * 3));
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

/// What let the longest I/O go ends a stall only where the work stopped.
#[test]
fn a_timeline_ends_no_stall_that_there_was_not() {
    let mut report = sample_report();
    let said = |report: &Report| {
        let drawing = timeline(report, 0, 0, Format::Page).expect("drawn");
        ["ends the stall", "lets the longest I/O go"].map(|words| drawing.svg.contains(words))
    };
    assert_eq!(said(&report), [false, true]);
    report.switches[0].workloads[0].stops = vec![crate::outcome::WorkStop {
        from_s: 0.0,
        to_s: Some(5.1),
        s: 5.1,
        ended_by: None,
        cause: crate::outcome::StopCause::LostPaths,
    }];
    assert_eq!(said(&report), [true, false]);
}

#[test]
fn no_sentence_of_a_description_begins_with_a_small_letter() {
    let mut found = sample_windows();
    "feed lost".clone_into(&mut found.outages[0].case.name);
    let drawing = hours(&sample_report().origin, &found, Format::Slide).expect("drawn");
    assert!(drawing.svg.contains("With feed lost: windows "));
}

/// Numbers of neighbouring hours that are as busy stand apart.
#[test]
fn numbers_of_busy_hours_stand_apart() {
    let mut found = sample_windows();
    for row in found.outages.iter_mut().flat_map(|own| &mut own.hours) {
        row.most_factor = 1.0;
    }
    for format in FORMATS {
        let drawing = hours(&sample_report().origin, &found, format).expect("drawn");
        let document = Document::parse(&drawing.svg).expect("well-formed");
        let texts = document.descendants();
        let full = texts.filter(|node| node.has_tag_name("text") && node.text() == Some("100"));
        let places: Vec<(f64, f64)> = full
            .map(|node| (number(node, "x"), number(node, "font-size")))
            .collect();
        assert!(places.len() >= 6, "{format:?}: {}", places.len());
        for pair in places.windows(2) {
            let gap = pair[1].0 - pair[0].0 - width("100", pair[0].1, false);
            assert!(gap > 0.2 * pair[0].1, "{format:?}: {gap}");
        }
    }
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
    assert!(finding(headroom(&report, Format::Page)).contains("0.838 times"));
    assert!(
        finding(diagram(&report, 1, Format::Page))
            .contains(&format!("119{thin}%: san-B to edge-B"))
    );
    assert!(finding(timeline(&report, 0, 0, Format::Page)).contains("fast-io-fail"));
    assert_eq!(numbered_events(&report.switches[0], 0), vec![0, 1, 4, 5]);
}

/// Each case is held against what is promised of it, and the worst is the one that is nearest to its own promise or farthest beyond.
#[test]
fn a_percentile_stands_beside_the_promise_of_its_own_case() {
    let mut report = sample_report();
    let healthy = report.steady[0].workloads[0].name.clone();
    let row = report.matrix.rows.iter_mut().find(|row| {
        let quantile = matches!(row.measure, crate::outcome::MeasureKind::Quantile(_));
        row.workload == healthy && !row.switching && quantile
    });
    let row = row.expect("a percentile is promised");
    for cell in row.cells.iter_mut().skip(1).flatten() {
        (cell.target, cell.target_text) = (50_000.0, "50ms".to_owned());
    }
    let judged = |report: &Report| percentiles(report, 0, Format::Page).expect("curves");
    let thin = '\u{202F}';
    let drawing = judged(&report);
    let finding = &drawing.finding;
    assert!(
        finding.starts_with("With everything healthy")
            && finding.contains(&format!("promise 2{thin}ms")),
        "{finding}"
    );
    // The corners say of which cases they are.
    let words = texts(&drawing.svg);
    let with = |case: &str| {
        let own = |word: &&String| word.starts_with("promise") && word.contains(case);
        words.iter().any(|word| own(&word))
    };
    assert!(with("healthy") && with("A lost"), "{words:?}");
    let row = report.matrix.rows.iter_mut().find(|row| {
        let quantile = matches!(row.measure, crate::outcome::MeasureKind::Quantile(_));
        row.workload == healthy && !row.switching && quantile
    });
    for cell in row.expect("as before").cells.iter_mut().skip(1).flatten() {
        (cell.target, cell.target_text) = (1_500.0, "1500us".to_owned());
    }
    let finding = judged(&report).finding;
    assert!(
        finding.starts_with("With A lost") && finding.contains("promise 1"),
        "{finding}"
    );
}

/// The numbers in the drawing are those of the table of events beside it, which lists those of all workloads.
#[test]
fn events_keep_the_numbers_of_their_table() {
    let report = sample_report();
    for format in FORMATS {
        let svg = timeline(&report, 0, 0, format).expect("drawn").svg;
        let document = Document::parse(&svg).expect("checked elsewhere");
        let on_fill = palette::Role::OnFill.hex();
        let numbers: Vec<&str> = document
            .descendants()
            .filter(|node| node.has_tag_name("text"))
            .filter(|node| node.attribute("fill") == Some(on_fill.as_str()))
            .filter_map(|node| node.text())
            .filter(|text| text.parse::<u32>().is_ok())
            .collect();
        assert_eq!(numbers, ["1", "2", "5", "6"]);
    }
}

/// A load that is shared unevenly is said, and only then.
#[test]
fn a_member_much_fuller_than_its_bundle_is_named() {
    let mut report = sample_report();
    let says = |report: &Report| diagram(report, 0, Format::Page).expect("a site").svg;
    assert!(!says(&report).contains(">fullest"));
    let load = report.picture.pipes[0].load[0]
        .as_mut()
        .expect("it carries");
    load.fullest_percent = load.asked_peak_percent + 5.1;
    let svg = says(&report);
    assert!(svg.contains(">fullest") && svg.contains(", fullest "));
}

/// What stands between `<text …>` and `</text>`, in the order of the drawing.
fn texts(svg: &str) -> Vec<String> {
    svg.split("<text ")
        .skip(1)
        .filter_map(|rest| {
            Some(
                rest.split_once('>')?
                    .1
                    .split_once("</text>")?
                    .0
                    .trim()
                    .to_owned(),
            )
        })
        .collect()
}
