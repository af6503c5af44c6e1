use super::html::esc;
use super::*;
use crate::render::sample::sample_report;
use std::collections::BTreeSet;

/// Values of an attribute, in order.
fn attribute<'a>(page: &'a str, name: &str) -> Vec<&'a str> {
    let start = format!(" {name}=\"");
    page.split(start.as_str())
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

#[test]
fn one_page_with_one_head_and_ids_that_differ() {
    let page = page(&sample_report());
    assert_eq!(page.matches("<h1").count(), 1);
    let ids = attribute(&page, "id");
    let distinct: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), distinct.len(), "an id stands twice");
    assert!(
        attribute(&page, "style").is_empty(),
        "the policy forbids style attributes"
    );
    assert!(page.contains("estimate"));
}

/// Back-ticks are for terminals: a page sets names apart by its type. Those of commands stand in what is typed, where none are.
#[test]
fn pages_have_no_back_ticks() {
    let mut report = sample_report();
    report.review.findings[0].advice = "Set `port_commands` of the array.".to_owned();
    let mut found = crate::render::sample::sample_headroom();
    found.switch_overs = crate::outcome::SwitchOvers::NotAsked;
    found.notes.push("look at `failover`".to_owned());
    let mut hosts = found.clone();
    hosts.grows.hosts = Some(4);
    hosts.grows.what = "db".to_owned();
    for page in [page(&report), headroom_page(&found), headroom_page(&hosts)] {
        let at = page
            .find('`')
            .map(|at| page[at..].chars().take(60).collect::<String>());
        assert_eq!(at, None);
    }
    assert!(headroom_page(&found).contains("<i>failover</i>"));
    // The columns of a switch-over are explained below them.
    assert!(page(&report).contains("Stall by timers alone: detection"));
    // What queues without limits leave out is told with the rest.
    let rests = page(&report);
    assert!(rests.contains("credits of Fibre Channel") && rests.contains("congestion control"));
}

/// A table of many cases is wider than a telephone: it moves in a box of its own, and the page stays.
#[test]
fn a_wide_table_of_parts_moves_in_its_own_box() {
    let page = page(&sample_report());
    let all = page.matches("class=\"heat").count();
    assert!(all > 0);
    let boxed = page.split("<div class=\"pan\"").skip(1);
    let boxed = boxed.filter(|rest| {
        rest.split('>')
            .nth(1)
            .is_some_and(|tag| tag.contains("class=\"heat"))
    });
    assert_eq!(boxed.count(), all);
    assert!(page.contains(".pan{overflow-x:auto}"));
}

/// Where the longest I/O is what is worst of all it is the first tile, and no third one repeats it.
#[test]
fn no_figure_stands_in_two_tiles() {
    use crate::outcome::{MeasureKind, Verdict};
    let tiles = |report: &crate::outcome::Report| -> String {
        let page = page(report);
        let from = page.find("<ul class=\"facts\">").expect("there are tiles");
        let to = page[from..].find("</ul>").expect("they end");
        page[from..from + to].to_owned()
    };
    let mut report = sample_report();
    let before = tiles(&report);
    assert!(
        before.contains("longest I/O of the switch-over"),
        "{before}"
    );
    // The longest of all switch-overs breaks its promise, and nothing else does.
    let longest = report.switches.iter().flat_map(|switch| {
        let works = switch.workloads.iter();
        let all = works.flat_map(|work| work.longest_io_s.iter().map(|s| (*s, &work.name)));
        all.map(|(s, work)| (s, work.clone(), switch.case.name.clone()))
    });
    let longest = longest.max_by(|left, right| left.0.total_cmp(&right.0));
    let (seconds, work, case) = longest.expect("there is a switch-over");
    let column = report
        .matrix
        .cases
        .iter()
        .position(|own| own.name == case)
        .expect("it is judged");
    for row in &mut report.matrix.rows {
        let own = row.switching && row.measure == MeasureKind::LongestIo && row.workload == work;
        for (index, cell) in row.cells.iter_mut().enumerate() {
            let Some(cell) = cell else { continue };
            let worst = own && index == column;
            cell.verdict = if worst { Verdict::Missed } else { Verdict::Met };
            cell.saturated = false;
            if worst {
                cell.margin_percent = Some(-50.0);
                cell.value.as_mut().expect("it has a figure").value = seconds;
            }
        }
    }
    let after = tiles(&report);
    assert!(after.contains("longest I/O of <i>"), "{after}");
    assert!(!after.contains("longest I/O of the switch-over"), "{after}");
}

/// Of switch-overs whose longest I/O reads alike the tile has the first.
#[test]
fn the_tile_of_the_longest_is_of_the_first_outage_that_reads_so() {
    let mut report = sample_report();
    for (index, switch) in (0_u32..).zip(&mut report.switches) {
        for work in &mut switch.workloads {
            work.longest_io_s = vec![7.110_1 + 0.000_1 * f64::from(index)];
        }
    }
    let first = report.switches[0].case.name.clone();
    let tile = |report: &crate::outcome::Report| {
        let page = page(report);
        let from = page
            .find("longest I/O of the switch-over: ")
            .expect("a tile");
        page[from..from + 80].to_owned()
    };
    assert!(tile(&report).contains(&first), "{}", tile(&report));
    let last = report.switches.last_mut().expect("there are two");
    let name = last.case.name.clone();
    last.workloads[0].longest_io_s = vec![7.13];
    assert!(tile(&report).contains(&name), "{}", tile(&report));
}

/// Hours in which a part is nearly full are marked on the page as in the table of a terminal.
#[test]
fn the_page_of_windows_marks_hours_in_which_a_part_is_nearly_full() {
    let mut report = sample_report();
    let mut found = crate::render::sample::sample_windows();
    for row in found
        .outages
        .iter_mut()
        .flat_map(|outage| &mut outage.hours)
    {
        row.judged_by = crate::outcome::JudgedBy::Simulated;
        let fullest = row.fullest.as_mut().expect("each has a fullest part");
        fullest.peak_percent = 12.0;
    }
    report.windows = Some(found.clone());
    assert!(!page(&report).contains("nearly full"));
    let row = &mut found.outages[0].hours[0];
    let fullest = row.fullest.as_mut().expect("it has a fullest part");
    fullest.peak_percent = 96.0;
    report.windows = Some(found);
    let page = page(&report);
    assert!(page.contains("96.0\u{202F}%, nearly full"), "the cell");
    assert!(page.contains("a part is nearly full"), "the sentence");
}

/// What is said of a switch-over can be longer than its table of events: it stands below, so that neither leaves blank space beside the other.
#[test]
fn the_note_of_a_switch_over_stands_below_its_events() {
    let page = page(&sample_report());
    let from = page.find("<section id=\"switch\"").expect("there is one");
    let to = from + page[from..].find("</section>").expect("it ends");
    let section = &page[from..to];
    assert!(!section.contains("class=\"grid\""), "{section}");
    assert_eq!(
        section
            .matches("<aside class=\"note low\"><p><b>When it is over.")
            .count(),
        section.matches("<table class=\"ev\">").count()
    );
    // In columns, as many as have room.
    assert!(page.contains(".note.low{") && page.contains("columns:3 18rem"));
}

/// The tile of the fullest part and the sentence about it have one figure, also where arithmetic asks for more on the mean than came.
#[test]
fn the_tile_of_the_fullest_part_has_the_figure_of_its_sentence() {
    use crate::render::words::answer;
    let mut report = sample_report();
    let part = answer(&report).part.expect("some part is the fullest");
    for used in report.parts[part].cases.iter_mut().flatten() {
        (used.peak_percent, used.mean_percent) = (130.0, 100.0);
        used.asked_mean_percent = Some(119.0);
    }
    let both = |report: &crate::outcome::Report, figure: &str| {
        let page = page(report);
        let from = page.find("<p class=\"lede\">").expect("there is an answer");
        let to = from + page[from..].find("</ul>").expect("with tiles");
        assert_eq!(
            page[from..to].matches(figure).count(),
            2,
            "{}",
            &page[from..to]
        );
    };
    both(&report, "119\u{202F}% on the mean");
    for used in report.parts[part].cases.iter_mut().flatten() {
        used.peak_percent = 100.0;
    }
    assert_eq!(answer(&report).part, Some(part));
    let page = page(&report);
    assert!(page.contains("119\u{202F}% on the mean."), "the sentence");
    assert!(page.contains(
        ">119\u{202F}<small>%</small></b><span class=\"iv\">by arithmetic; it does 100\u{202F}%"
    ));
    assert!(!page.contains("No part is full"));
}

#[test]
fn windows_are_a_section_of_their_own_where_they_were_asked_for() {
    let mut report = sample_report();
    let without = page(&report);
    assert!(
        !without.contains("id=\"windows\"") && without.contains("<span class=\"no\">10</span>")
    );
    report.windows = Some(crate::render::sample::sample_windows());
    let with = page(&report);
    assert!(with.contains("id=\"windows\"") && with.contains("href=\"#windows\""));
    assert!(with.contains("18:00–07:00 (13\u{202F}h)"));
    // Sections are numbered without a gap, and what refers to one says its number.
    for number in 2..=11 {
        let head = format!("<span class=\"no\">{number}</span>");
        assert_eq!(with.matches(&head).count(), 1, "section {number}");
    }
    assert!(with.contains("<a href=\"#rests\">section 10</a>"));
    assert!(without.contains("<a href=\"#rests\">section 9</a>"));
    for caution in crate::render::words::WINDOW_CAUTIONS {
        assert!(with.contains(&html::esc(caution)), "{caution}");
    }
    let mut files: Vec<String> = attachments(&report)
        .into_iter()
        .map(|file| file.name)
        .collect();
    files.retain(|name| name.starts_with("windows"));
    assert_eq!(files, ["windows.csv", "windows.png", "windows.svg"]);
}

#[test]
fn names_cannot_become_markup() {
    let mut report = sample_report();
    let nasty = "<script>alert('\"&')</script>";
    report.origin.title = nasty.into();
    report.origin.scenario = nasty.into();
    let old = report.steady[0].workloads[0].name.clone();
    for steady in &mut report.steady {
        steady.workloads[0].name = nasty.into();
    }
    for switch in &mut report.switches {
        switch.workloads[0].name = nasty.into();
    }
    for row in &mut report.matrix.rows {
        if row.workload == old {
            row.workload = nasty.into();
        }
    }
    let page = page(&report);
    assert!(!page.contains("<script>alert"));
    assert!(page.contains("&lt;script&gt;alert"));
}

#[test]
fn a_report_without_switch_overs_or_remedies_is_still_a_page() {
    let mut report = sample_report();
    report.switches.clear();
    report.mends.clear();
    assert!(page(&report).ends_with("</html>\n") || page(&report).trim_end().ends_with("</html>"));
}

/// Pages of one question have one head, ids that differ, no script, and every case, part and step.
#[test]
fn pages_of_headroom_and_growth_hold_what_they_answer() {
    let (found, plan) = (
        crate::render::sample::sample_headroom(),
        crate::render::sample::sample_growth(),
    );
    for page in [headroom_page(&found), growth_page(&plan)] {
        assert_eq!(page.matches("<h1").count(), 1);
        let ids = attribute(&page, "id");
        let distinct: BTreeSet<&str> = ids.iter().copied().collect();
        assert_eq!(ids.len(), distinct.len(), "an id stands twice");
        assert!(attribute(&page, "style").is_empty());
        assert!(!page.contains("<script") && page.contains("estimate"));
        for case in ["healthy", "A lost", "B lost"] {
            assert!(page.contains(case), "{case}");
        }
    }
    let page = headroom_page(&found);
    for part in &found.parts {
        assert!(page.contains(&esc(&part.part)), "{}", part.part);
    }
    // What ends it, what comes next, and the stall of the loss.
    for words in [
        "at 1.85 times today&#39;s load healthy, at 1.26 times today&#39;s load with A lost and at 1.26 times today&#39;s \
         load with B lost.",
        "The part that ends it is san to edge, 32GFC",
        "the next is vault controllers",
        "the switch-over at 1.26 times today&#39;s load: met",
        "used, A lost, %",
        "spare in the worst, %",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // The first sentence does not name a load alone whose switch-over is missed, and tells what is missed today.
    let mut broken = found.clone();
    let case = &mut broken.cases[1];
    case.today = Some(crate::outcome::Verdict::Missed);
    case.switch_met = None;
    case.switch_over.as_mut().expect("it is judged").verdict = crate::outcome::Verdict::Missed;
    let page = headroom_page(&broken);
    let first = page.split("<h1").nth(1).expect("a heading");
    let first = first.split("</h1>").next().expect("its end");
    assert!(
        first.contains("Every steady promise is proven to hold at 1.85")
            && first.contains(
                "at 1.26 times today&#39;s load with A lost (missed today; the switch-over there is missed)"
            ),
        "{first}"
    );
    // Of many outages one is named, and that of others is told too.
    let mut many = broken.clone();
    let kept = many.cases[2].clone();
    many.cases.extend([kept.clone(), kept]);
    many.cases[2].met = Some(0.5);
    let page = headroom_page(&many);
    assert!(
        page.contains("the least of 4 outages; in 1 of them the switch-over there is not met"),
        "{page}"
    );
    // A search that was stopped has not found that no load holds, and where nothing is promised nothing is looked for.
    let mut stopped = found.clone();
    stopped.partial = true;
    for case in &mut stopped.cases[1..] {
        (case.met, case.missed) = (None, None);
        (case.today, case.switch_over) = (Some(crate::outcome::Verdict::Undecided), None);
    }
    (stopped.cases[0].met, stopped.cases[0].missed) = (None, None);
    stopped.cases[0].today = None;
    let page = headroom_page(&stopped);
    assert!(
        page.contains(
            "The search was stopped before its end: nothing is proven yet with A lost and with B lost; nothing is promised healthy."
        ),
        "{page}"
    );
    assert!(!page.contains("at no load"));
    // Nothing above was proven to be broken, so no part ends it.
    let mut open = found.clone();
    open.cases[0].missed = None;
    let page = headroom_page(&open);
    assert!(page.contains("none; fullest san to edge, 32GFC"), "{page}");
    let drawn = crate::render::chart::load_curve(&broken, 0, crate::render::chart::Format::Slide);
    let drawn = drawn.expect("a curve").finding;
    assert!(
        drawn.contains("A lost 1.26 (switch-over there missed)"),
        "{drawn}"
    );
    let page = growth_page(&plan);
    for words in [
        "light the dark legs &amp; add ports",
        "2028-01-20",
        "link.edge-san.members = 4",
        "holds until the next step",
        "breaks while it lasts",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

#[test]
fn names_cannot_become_markup_on_pages_of_one_question() {
    let nasty = "<script>alert('\"&')</script>";
    let mut found = crate::render::sample::sample_headroom();
    found.origin.title = nasty.into();
    found.parts[0].part = nasty.into();
    found.cases[0].ends.as_mut().expect("a part").part = nasty.into();
    let mut plan = crate::render::sample::sample_growth();
    plan.origin.command = nasty.into();
    plan.stages[1].name = nasty.into();
    plan.per_year_percent[0].0 = nasty.into();
    for page in [headroom_page(&found), growth_page(&plan)] {
        assert!(!page.contains("<script>alert"));
        assert!(page.contains("&lt;script&gt;alert"));
    }
}

/// Theory stands beside what was simulated, each assumption once; the cases that the page knows are told where they are
/// chosen, with what is gone in each.
#[test]
fn theory_and_cases_are_explained() {
    let mut report = sample_report();
    assert!(
        !page(&report).contains("Beside theory"),
        "no form, no table"
    );
    let row = |case: &str, simulated: Option<f64>| crate::outcome::TheoryRow {
        simulated,
        simulated_low: simulated.map(|value| value - 0.5),
        simulated_high: simulated.map(|value| value + 0.5),
        ..crate::outcome::TheoryRow::new(
            case,
            "depot-c1".to_owned(),
            ("mean wait", "us", 12.5),
            crate::outcome::Trust::Approximation,
            ("Lee and Longton", "arrivals at random <and so on>"),
        )
    };
    report.review.theory = vec![
        row("healthy", Some(12.25)),
        row("A lost", None),
        row("a case that was not run", Some(99.25)),
    ];
    let page = page(&report);
    assert!(page.contains("Beside theory") && page.contains("mean wait, µs"));
    assert!(
        page.contains("about 12.5"),
        "the trust stands with the figure"
    );
    assert!(
        page.contains("11.8 to 12.8"),
        "the interval stands in small"
    );
    assert!(!page.contains("a case that was not run"));
    assert_eq!(
        page.matches("arrivals at random &lt;and so on&gt;").count(),
        1
    );
    for words in [
        "nothing is lost",
        "gone for good: all parts of side A, and lan-1; B carries all the work",
        "gone for good: all parts of side B, and lan-2; A carries all the work",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // A name begins no sentence with a small letter.
    assert!(!page.contains("<span>With "));
    for steady in &mut report.steady[1..] {
        steady.case.name.insert_str(0, "feed ");
    }
    for case in &mut report.matrix.cases[1..] {
        case.name.insert_str(0, "feed ");
    }
    assert!(super::page(&report).contains("<span>With "));
}

/// A closed loop has no load, and the page makes none up.
#[test]
fn a_closed_loop_is_no_load_of_zero() {
    let mut report = sample_report();
    let tier = &mut report.review.tiers[0];
    tier.closed = vec![true; report.review.cases.len()];
    for list in [
        &mut tier.toward_array_percent,
        &mut tier.toward_host_percent,
        &mut tier.burst_percent,
    ] {
        for value in list.iter_mut() {
            *value = Some(0.0);
        }
    }
    assert!(page(&report).contains("closed loop</span>"));
}

/// Text taken out of a table keeps its figures apart: no cell touches the next.
#[test]
fn cells_do_not_run_together_as_text() {
    let page = page(&sample_report());
    for joint in ["</td><td", "</th><th", "</th><td", "</text><text"] {
        assert!(!page.contains(joint), "{joint}");
    }
}

/// Where the runs see too few bursts "full at" is not all from the simulation.
#[test]
fn full_at_says_what_is_by_arithmetic() {
    let mut report = sample_report();
    let by = "or by arithmetic in a burst where that is more, as the runs see too few bursts";
    assert!(!page(&report).contains(by));
    let workload = report.steady[0].workloads[0].name.clone();
    report.steady[0].unseen_bursts = vec![crate::render::sample::sample_bursts(
        crate::outcome::Unseen::Rare,
        &workload,
    )];
    let (_, section) = page(&report).split_once("“Full at”").map_or_else(
        || panic!("the section is there"),
        |(before, after)| (before.to_owned(), after.to_owned()),
    );
    let first = section.split("</p>").next().expect("its end");
    assert!(first.contains(by), "{first}");
}

/// The tile of growth says which of the two meanings of full it has: a moment, or all the time.
#[test]
fn the_tile_of_growth_says_in_which_way_a_part_is_full() {
    let mut report = crate::render::sample::sample_report();
    // Where a switch-over was run its longest I/O stands there.
    report.switches.clear();
    let tile = |report: &crate::outcome::Report| {
        let page = super::page(report);
        let (_, tile) = page.split_once("then <i>").expect("a tile of growth");
        tile.split("</li>").next().expect("its end").to_owned()
    };
    let said = tile(&report);
    assert!(
        said.contains("is full in its busiest 20\u{202F}ms (") && said.contains("% on the mean)"),
        "{said}"
    );
    for used in report
        .parts
        .iter_mut()
        .flat_map(|part| part.cases.iter_mut().flatten())
    {
        used.mean_percent = used.peak_percent;
    }
    let said = tile(&report);
    assert!(said.contains("is full on the mean,"), "{said}");
}

/// A case of which no load is met is broken at every load, from one load on, or open: each is said as what it is.
#[test]
fn a_case_without_a_proven_load_says_which_way_it_is_open() {
    let first_of = |found: &crate::outcome::Headroom| {
        let page = headroom_page(found);
        let first = page.split("<h1").nth(1).expect("a heading");
        first.split("</h1>").next().expect("its end").to_owned()
    };
    let mut found = crate::render::sample::sample_headroom();
    for case in &mut found.cases {
        (case.met, case.missed, case.hopeless) = (None, None, None);
        case.today = Some(crate::outcome::Verdict::Undecided);
        (case.switch_over, case.switch_met) = (None, None);
        case.switch_tried.clear();
    }
    let said = first_of(&found);
    assert!(
        said.contains("Nothing is proven either way healthy, with A lost and with B lost."),
        "{said}"
    );
    assert!(
        !said.contains("proven to hold") && !said.contains("at no load"),
        "{said}"
    );
    found.cases[1].missed = Some(1.2);
    found.cases[1].today = Some(crate::outcome::Verdict::Missed);
    found.cases[2].hopeless = Some(crate::outcome::Hopeless {
        workload: "bookings".to_owned(),
        measure: crate::outcome::MeasureKind::Mean,
        target_text: "1us".to_owned(),
        because: crate::outcome::Because::NoPath,
    });
    let said = first_of(&found);
    for words in [
        "o load keeps every steady promise with B lost",
        "o load is proven to keep every steady promise with A lost (missed today)",
        "othing is proven either way healthy",
    ] {
        assert!(said.contains(words), "{said}");
    }
}

/// What holds on each day that was looked at is not left open: what comes after them was not asked.
#[test]
fn what_holds_to_the_last_day_looked_at_is_not_undecided() {
    let mut plan = crate::render::sample::sample_growth();
    plan.stages.truncate(1);
    plan.years = 1.0;
    let with = |factor: f64| {
        let mut plan = plan.clone();
        plan.stages[0].until = None;
        for case in &mut plan.stages[0].cases {
            case.standing = crate::outcome::Standing::Open;
            case.breaks_by = None;
            case.holds_until = Some("2028-01-01".into());
            case.holds_factor = Some(factor);
        }
        (growth_page(&plan), crate::render::table::growth_text(&plan))
    };
    // The fastest work grows by 25 % in the year.
    let (page, text) = with(1.25);
    for said in [&page, &text] {
        assert!(said.contains("the last day that was looked at"), "{said}");
    }
    assert!(page.contains("holds to the last day that was looked at"));
    assert!(!page.contains("not proven"), "{page}");
    assert!(!page.contains("what comes after it is undecided"), "{page}");
    assert!(!text.contains("no day was proven to break one"), "{text}");
    let (page, text) = with(1.2);
    assert!(page.contains("what comes after it is undecided") && page.contains("not proven"));
    assert!(text.contains("no day was proven to break one"), "{text}");
}

/// Where a line of the picture of growth is crossed and nothing is proven, no promise is said to break there.
#[test]
fn the_picture_of_growth_says_a_break_only_where_one_is_proven() {
    let mut plan = crate::render::sample::sample_growth();
    let page = growth_page(&plan);
    assert!(page.contains("where the load crosses one, a promise breaks: the thick stroke"));
    for case in plan.stages.iter_mut().flat_map(|stage| &mut stage.cases) {
        case.standing = crate::outcome::Standing::Open;
        (case.breaks_by, case.breaks_factor, case.breaks) = (None, None, None);
    }
    let page = growth_page(&plan);
    assert!(!page.contains("a promise breaks: the thick"), "{page}");
    assert!(page.contains("what comes after it is undecided"), "{page}");
}
