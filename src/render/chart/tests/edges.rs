//! Reports at the edges: nothing, too much, no numbers, wicked names.

use super::*;
use crate::outcome::{Lane, MeasureKind, PartUse, PictureNode, Pipe, PipeLoad, Shape};

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
fn a_stall_that_nothing_ends_is_not_said_to_be_let_go() {
    let mut report = sample_report();
    let work = &mut report.switches[0].workloads[0];
    work.longest_open = vec![true; work.longest_open.len()];
    work.freed_by = None;
    let drawing = crate::render::chart::timeline(&report, 0, 0, Format::Page);
    let finding = drawing.expect("there is a switch-over").finding;
    assert!(finding.contains("for more than"), "{finding}");
    assert!(finding.contains("nothing lets them go"), "{finding}");
    report.switches[0].workloads[0].no_path = true;
    let drawing = crate::render::chart::timeline(&report, 0, 0, Format::Page);
    let finding = drawing.expect("there is a switch-over").finding;
    assert!(finding.contains("no path is left"), "{finding}");
    // What fails is not let go either.
    let mut report = sample_report();
    let work = &mut report.switches[0].workloads[0];
    let freed = work.freed_by.as_mut().expect("the sample has a stall");
    freed.timer = Some("no path, fail at once".to_owned());
    let drawing = crate::render::chart::timeline(&report, 0, 0, Format::Page);
    let finding = drawing.expect("there is a switch-over").finding;
    assert!(
        finding.contains("and fail: no path is left") && !finding.contains("lets them go"),
        "{finding}"
    );
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
        fullest_percent: f64::NAN,
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
        protocols: Vec::new(),
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
                    fullest_percent: 30.0 + number as f64,
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

#[test]
fn short_names_make_narrow_lanes() {
    let mut report = sample_report();
    for node in &mut report.picture.nodes {
        node.name = node.name.chars().take(2).collect();
        node.detail = String::new();
        node.chassis = None;
    }
    for case in 0..3 {
        for format in FORMATS {
            let drawing = diagram(&report, case, format).expect("a site");
            check(&format!("diagram {case}"), format, &drawing);
        }
    }
}

/// Names of ordinary length are whole in every drawing, and the low half of a slide is not empty.
#[test]
fn no_word_of_the_sample_is_cut_and_no_slide_ends_half_way() {
    for (name, format, drawing) in drawings(&sample_report()) {
        let cut = drawing.svg.contains('…');
        let line = drawing.svg.lines().find(|line| line.contains('…'));
        assert!(!cut, "{name}, {format:?} has a word cut: {line:?}");
        if format != Format::Slide {
            continue;
        }
        let document = Document::parse(&drawing.svg).expect("well-formed");
        let attribute = |node: Node<'_, '_>, name: &str| {
            node.attribute(name)
                .and_then(|text| text.parse::<f64>().ok())
        };
        let view = document.root_element().attribute("viewBox");
        let tall: f64 = view
            .and_then(|view| view.split(' ').next_back()?.parse().ok())
            .expect("a height");
        // The foot is the lowest text; what stands above it reaches below the middle.
        let mut lows: Vec<f64> = document
            .descendants()
            .filter(|node| node.has_tag_name("text"))
            .filter_map(|node| attribute(node, "y"))
            .collect();
        lows.sort_by(f64::total_cmp);
        let foot = lows.pop().expect("a foot");
        let body = lows.iter().rev().find(|low| **low < foot - 1.0);
        assert!(
            body.is_some_and(|low| *low > 0.6 * tall),
            "{name} leaves the low half empty: {body:?} of {tall}"
        );
    }
}

/// What the survivors complete at most is a limit only where clearly more is asked for; else it is the load, with its chance.
#[test]
fn the_busiest_moment_of_a_load_is_no_limit() {
    let drawn = |share: f64| {
        let mut report = sample_report();
        let work = &mut report.switches[0].workloads[1];
        let bins = work.bins.iter().map(|bin| bin.offered_iops);
        work.survivors_peak_iops = bins.fold(0.0, f64::max) * share;
        let drawing = crate::render::chart::timeline(&report, 0, 1, Format::Slide);
        drawing.expect("there is a switch-over").description
    };
    assert!(!drawn(0.99).contains("complete at most"), "{}", drawn(0.99));
    assert!(drawn(0.7).contains("complete at most"), "{}", drawn(0.7));
}

/// A name that is too long for its place loses what the drawing says elsewhere before it is cut.
#[test]
fn a_lane_of_many_workloads_keeps_its_side_and_protocol() {
    let mut report = sample_report();
    for lane in &mut report.switches[0].lanes {
        let side = lane.side.expect("each lane is of a side");
        lane.name = format!("{side} paths of bookings, fleet, archive and others, nvme-tcp");
    }
    for format in [Format::Slide, Format::Page] {
        let drawing = crate::render::chart::timeline(&report, 0, 0, format);
        let svg = drawing.expect("there is a switch-over").svg;
        for side in ["A", "B"] {
            assert!(svg.contains(&format!("{side} paths, nvme-tcp")), "{svg}");
        }
    }
}

/// Of a case in which I/Os were not over the mean is not known: its bar says so, and the finding tells of whom it is.
#[test]
fn a_budget_marks_what_was_not_over() {
    let mut report = sample_report();
    let whole = budget(&report, 0, Format::Page).expect("there are bars");
    assert!(!whole.svg.contains("unfinished") && !whole.finding.contains("not over"));
    report.steady[1].workloads[0].all.unfinished = 7;
    for format in [Format::Page, Format::Phone, Format::Slide] {
        let drawing = budget(&report, 0, format).expect("there are bars");
        assert!(drawing.svg.contains("unfinished"), "{format:?}");
        let said = drawing.finding.replace('\u{202F}', " ");
        assert!(
            said.contains("7 I/Os were not over when the run ended"),
            "{said}"
        );
    }
}

/// Of cases that the drawing shows alike the first is told of, and no other is drawn part by part or mended.
#[test]
fn a_budget_tells_of_one_of_two_cases_that_are_alike() {
    let mut report = crate::render::sample::sample_mends();
    let lost: Vec<usize> = (0..report.steady.len())
        .filter(|index| report.steady[*index].case.outage.is_some())
        .collect();
    let (first, second) = (lost[0], lost[1]);
    let mut budget_of_first = report.steady[first].workloads[0].budget.clone();
    for part in &mut budget_of_first {
        part.mean_us *= 10.0;
    }
    report.steady[first].workloads[0].budget = budget_of_first.clone();
    for part in &mut budget_of_first {
        part.mean_us *= 1.000_01;
    }
    report.steady[second].workloads[0].budget = budget_of_first;
    let (one, other) = (
        report.steady[first].case.name.clone(),
        report.steady[second].case.name.clone(),
    );
    let drawing = budget(&report, 0, Format::Slide).expect("there are bars");
    assert!(drawing.finding.contains(&one), "{}", drawing.finding);
    assert!(drawing.svg.contains(&format!("{one}, part by part")));
    assert!(
        !drawing.svg.contains(&format!("{other}, ")),
        "{}",
        drawing.description
    );
}
