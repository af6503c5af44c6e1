//! Lines of promises: each case has its own, and what is promised is what is drawn.

use super::*;
use crate::outcome::{Purpose, Verdict};

/// Cases that promise something else have their own line; one that promises nothing has none, and what does not fit leaves
/// the plot.
#[test]
fn each_case_is_drawn_against_its_own_promise() {
    let mut found = sample_headroom();
    for point in &mut found.cases[1].points {
        point.rows[0].cell.target = 4000.0;
        point.rows[0].cell.target_text = "4ms".into();
    }
    let last = found.cases[2].points.last_mut().expect("a point");
    (
        last.saturated,
        last.rows[0].cell.saturated,
        last.rows[0].cell.value,
    ) = (true, true, None);
    for format in FORMATS {
        let drawing = load_curve(&found, 0, format).expect("the sample has points");
        check("load, several promises", format, &drawing);
        let words = texts(&drawing.svg).join(" ");
        assert!(words.contains("promise, healthy, B lost: 2"), "{words}");
        assert!(words.contains("promise, A lost: 4"), "{words}");
        assert!(words.contains("arrow: does not fit"), "{words}");
        assert!(drawing.description.contains("does not fit at 1.43"));
    }
    let mut lost = found;
    let healthy = &mut lost.cases[0];
    (healthy.today, healthy.met, healthy.missed) = (None, None, None);
    for point in &mut healthy.points {
        point.rows.clear();
    }
    let drawing = load_curve(&lost, 0, Format::Slide).expect("the others have points");
    assert!(drawing.finding.contains("healthy nothing promised"));
    assert!(!drawing.description.contains("healthy: "));
    // A search that was stopped has not found that nothing holds.
    lost.partial = true;
    (lost.cases[1].met, lost.cases[1].missed) = (None, None);
    let drawing = load_curve(&lost, 0, Format::Slide).expect("there are points");
    assert!(drawing.finding.contains("A lost nothing yet"));
}

/// The steady figure is flat, and the longest I/O is what the timer moves.
#[test]
fn a_sweep_of_switch_overs_draws_what_they_vary() {
    let origin = sample_report().origin;
    let mut table = swept(&[("timers.fast_io_fail", &["500ms", "2s", "7s"][..])]);
    let column = |table: &SweepTable, name: &str| {
        let own = table.header.iter().position(|known| known == name);
        own.expect("a column")
    };
    let longest = [
        ("0.6", "met"),
        ("0.6", "met"),
        ("0.6", "met"),
        ("2.1", "met"),
        ("2.1", "undecided"),
        ("2.1", "met"),
        ("7.1", "missed"),
        ("7.1", "missed"),
        ("7.1", "missed"),
    ];
    let names = [
        "promise_value",
        "longest_io_s",
        "longest_io_promise_s",
        "switch_verdict",
    ];
    let places = names.map(|name| column(&table, name));
    for (row, (figure, verdict)) in table.rows.iter_mut().zip(longest) {
        let healthy = row.contains(&"healthy".to_owned());
        let fields = [
            "400",
            if healthy { "" } else { figure },
            if healthy { "" } else { "6" },
            if healthy { "" } else { verdict },
        ];
        for (place, field) in places.into_iter().zip(fields) {
            row[place] = field.to_owned();
        }
    }
    for format in FORMATS {
        let drawing = sweep_chart(&table, &origin, None, format).expect("there are points");
        check("sweep of switch-overs", format, &drawing);
        assert_eq!(
            drawing.finding,
            "bookings longest I/O is met at 3 of 6 points and cases, missed at 2, undecided at 1. Not drawn: other promises missed at 2 \
             places, first bookings p99, A lost, at timers.fast_io_fail=7s."
        );
        assert!(drawing.svg.contains("promise: 6.00 s"), "{}", drawing.svg);
        assert!(drawing.description.contains("7s, A lost: 7.10 missed"));
    }
}

/// Where a second promise is missed more often, it is the one that is drawn, each point by its own verdict, and what becomes of the
/// others is said.
#[test]
fn a_sweep_draws_the_promise_that_is_missed_and_tells_of_the_others() {
    let origin = sample_report().origin;
    let mut table = swept(&[("load", &["1", "2", "3"][..])]);
    let [promise, verdict, value, saturated] =
        ["promise", "promise_verdict", "promise_value", "saturated"]
            .map(|name| column_of(&table, name));
    let first = sweep_chart(&table, &origin, None, Format::Slide).expect("there are points");
    assert!(!first.finding.contains("Not drawn"), "{}", first.finding);
    let mut rows = Vec::new();
    for mut row in table.rows.clone() {
        row[saturated] = "false".to_owned();
        row[verdict] = "met".to_owned();
        row[value] = "400".to_owned();
        let mut mean = row.clone();
        mean[promise] = "mean".to_owned();
        if row[4] == "3" {
            mean[verdict] = "missed".to_owned();
        }
        rows.extend([row, mean]);
    }
    table.rows = rows;
    let drawn = |table: &SweepTable| {
        sweep_chart(table, &origin, None, Format::Slide).expect("there are points")
    };
    let drawing = drawn(&table);
    check("sweep, two promises", Format::Slide, &drawing);
    assert_eq!(
        drawing.finding,
        "bookings mean is met at 6 of 9 points and cases, missed at 3."
    );
    // One of another workload is not drawn, and told.
    let mut other = table.rows[0].clone();
    other[column_of(&table, "workload")] = "backup".to_owned();
    other[promise] = "throughput".to_owned();
    other[verdict] = "undecided".to_owned();
    table.rows.push(other);
    assert!(
        drawn(&table)
            .finding
            .ends_with("Not drawn: other promises undecided at 1 place, first backup throughput, healthy, at load=1."),
        "{}",
        drawn(&table).finding
    );
}

/// Over two values a cell is green by the promise that is drawn; where another one is missed there it is marked, and the mark explained.
#[test]
fn a_cell_of_a_sweep_is_marked_where_another_promise_is_missed() {
    let origin = sample_report().origin;
    let mut table = swept(&[
        ("load", &["1", "2"][..]),
        ("link.edge-san.members", &["1", "2"][..]),
    ]);
    let [promise, verdict, saturated, value] =
        ["promise", "promise_verdict", "saturated", "promise_value"]
            .map(|name| column_of(&table, name));
    for row in &mut table.rows {
        row[saturated] = "false".to_owned();
        row[verdict] = "met".to_owned();
        row[value] = "400".to_owned();
    }
    let marks = |table: &SweepTable| {
        let drawing = sweep_chart(table, &origin, None, Format::Slide).expect("there are points");
        check("sweep, marked cells", Format::Slide, &drawing);
        let all = texts(&drawing.svg);
        let key = all
            .iter()
            .any(|text| text.contains("*: another promise is missed there"));
        (all.iter().filter(|text| *text == "400*").count(), key)
    };
    assert_eq!(marks(&table), (0, false));
    let mut other = table.rows[0].clone();
    other[column_of(&table, "workload")] = "backup".to_owned();
    other[promise] = "throughput".to_owned();
    other[verdict] = "missed".to_owned();
    table.rows.push(other);
    // The other work is missed once, so that it is the one that is drawn unless the first is asked for.
    let drawing =
        sweep_chart(&table, &origin, Some("bookings"), Format::Slide).expect("there are points");
    let all = texts(&drawing.svg);
    let starred = all.iter().filter(|text| text.ends_with('*')).count();
    assert_eq!(starred, 1, "{all:?}");
    assert!(
        all.iter()
            .any(|text| text.contains("*: another promise is missed there")),
        "{all:?}"
    );
}

fn column_of(table: &SweepTable, name: &str) -> usize {
    let own = table.header.iter().position(|known| known == name);
    own.expect("a column")
}

/// A promise in `lost` alone: healthy is neither met nor missed, and each case has its own line.
#[test]
fn a_sweep_draws_each_case_against_its_own_promise() {
    let origin = sample_report().origin;
    let speeds = ("link.edge-san.speed", &["16GFC", "32GFC", "64GFC"][..]);
    let mut table = swept(&[speeds]);
    let of = |name: &str| table.header.iter().position(|known| known == name);
    let places = [
        "case",
        "promise_target",
        "promise",
        "promise_value",
        "promise_verdict",
    ]
    .map(of);
    let [case, target, rest @ ..] = places.map(|place| place.expect("a column"));
    let mut other = table.clone();
    for row in &mut other.rows {
        if row[case] == "B lost" {
            row[target] = "3000".to_owned();
        }
    }
    let drawing = sweep_chart(&other, &origin, None, Format::Slide).expect("there are points");
    check("sweep, several promises", Format::Slide, &drawing);
    let words = texts(&drawing.svg).join(" ");
    assert!(
        words.contains("promise, healthy, A lost: 2.00 ms"),
        "{words}"
    );
    assert!(words.contains("promise, B lost: 3.00 ms"), "{words}");
    assert!(words.contains("arrow: does not fit"), "{words}");
    for row in &mut table.rows {
        if row[case] == "healthy" {
            for place in [target].into_iter().chain(rest) {
                row[place].clear();
            }
        }
    }
    let drawing = sweep_chart(&table, &origin, None, Format::Slide).expect("there are points");
    assert!(
        drawing.finding.contains(" of 6 points and cases"),
        "{}",
        drawing.finding
    );
    assert!(!drawing.description.contains("healthy"));
}

/// Loads that looked for the edge are of fewer runs than those that prove it: a thin line joins the ones, a thick one the others.
#[test]
fn loads_that_prove_nothing_are_not_joined_with_those_that_do() {
    let mut found = sample_headroom();
    found.cases.truncate(1);
    let seen = |purpose: fn(Purpose) -> bool| {
        let own = found.cases[0].points.iter();
        let own = own.filter(|point| purpose(point.purpose) && point.rows[0].cell.value.is_some());
        own.count()
    };
    let (pilots, proofs) = (
        seen(|own| own == Purpose::Pilot),
        seen(|own| own != Purpose::Pilot),
    );
    assert!(pilots > 3 && proofs == 2, "{pilots} {proofs}");
    let drawing = load_curve(&found, 0, Format::Slide).expect("there are points");
    // Points and width of each line that goes down somewhere and is no upright.
    let lines: Vec<(usize, f64)> = drawing
        .svg
        .split("<polyline ")
        .skip(1)
        .filter_map(|line| {
            let text = |key: &str| line.split_once(&format!("{key}=\""))?.1.split_once('"');
            let points: Vec<&str> = text("points")?.0.split_whitespace().collect();
            let ends = points
                .first()?
                .split_once(',')
                .zip(points.last()?.split_once(','))?;
            let slanted = ends.0.0 != ends.1.0 && ends.0.1 != ends.1.1;
            slanted.then_some((points.len(), text("stroke-width")?.0.parse().ok()?))
        })
        .collect();
    let width = |points: usize| {
        let mut own = lines.iter().filter(|line| line.0 == points);
        own.next()
            .unwrap_or_else(|| panic!("none of {points}: {lines:?}"))
            .1
    };
    assert!(width(pilots) < 0.7 * width(proofs), "{lines:?}");
    assert!(
        lines.iter().all(|line| line.0 < pilots + proofs),
        "{lines:?}"
    );
}

/// A load that was tested and is undecided proves nothing either.
#[test]
fn loads_that_are_undecided_are_no_proof() {
    let hollow = |verdict: Option<Verdict>| {
        let mut found = sample_headroom();
        found.cases.truncate(1);
        for point in &mut found.cases[0].points {
            point.verdict = verdict.unwrap_or(point.verdict);
        }
        let drawing = load_curve(&found, 0, Format::Slide).expect("there are points");
        // A hollow mark has a second shape inside.
        drawing.svg.matches("<circle").count() + drawing.svg.matches("<polygon").count()
    };
    let (some, all) = (hollow(None), hollow(Some(Verdict::Undecided)));
    assert!(all > some, "{all} of {some}");
}

/// A point that no switch has the ports for is told on the chart, over one value and over two.
#[test]
fn a_sweep_says_at_which_points_switches_have_too_few_ports() {
    let origin = sample_report().origin;
    let members: (&str, &[&str]) = ("link.a-b.members", &["1", "2", "3"]);
    let load: (&str, &[&str]) = ("load", &["1", "2"]);
    for (keys, said) in [
        (
            &[members][..],
            "too few ports at 1 of 3 points, first at link.a-b.members=3",
        ),
        (
            &[members, load][..],
            "too few ports at 2 of 6 points, first at link.a-b.members=3, load=1",
        ),
    ] {
        let mut table = swept(keys);
        let drawn = |table: &SweepTable| {
            sweep_chart(table, &origin, None, Format::Page).expect("it can be drawn")
        };
        assert!(!drawn(&table).finding.contains("ports"));
        let column = table
            .header
            .iter()
            .position(|name| name == "ports_lacking")
            .expect("there is one");
        for row in table.rows.iter_mut().filter(|row| row[4] == "3") {
            row[column] = "port budget, edge-A".to_owned();
        }
        let drawing = drawn(&table);
        assert!(drawing.finding.contains(said), "{}", drawing.finding);
        assert!(drawing.description.contains("too few ports"));
    }
}

/// A load below the proven one that is missed is told in the caption, the note of its line and the description.
#[test]
fn a_curve_with_a_hole_says_so() {
    let mut found = sample_headroom();
    let breaks = found.cases[0].breaks.clone().expect("the sample has one");
    found.cases[0].holes = vec![crate::outcome::Hole {
        factor: found.cases[0].points[1].factor,
        breaks,
    }];
    for format in FORMATS {
        let drawing = load_curve(&found, 0, format).expect("a curve");
        // On a page the headline says it.
        let said = drawing
            .finding
            .contains("healthy 1.85 (but not at every load below)");
        assert_eq!(said, format == Format::Slide, "{}", drawing.finding);
        assert!(
            drawing.svg.contains("1.85 met, not all below, 1.92 missed"),
            "{format:?}"
        );
        assert!(drawing.description.contains("broken below at 1.14;"));
    }
}

/// The ends beside a line are those of every promise: where another one breaks than the one that is drawn, it is named.
#[test]
fn the_ends_of_a_curve_name_the_promise_that_breaks_where_it_is_not_drawn() {
    let mut found = sample_headroom();
    let notes = |found: &crate::outcome::Headroom, format: Format| {
        let drawing = load_curve(found, 0, format).expect("the sample has points");
        check("load, another breaks", format, &drawing);
        texts(&drawing.svg).join(" ")
    };
    for format in FORMATS {
        let said = notes(&found, format);
        assert!(!said.contains("missed by"), "{said}");
    }
    for case in &mut found.cases {
        let breaks = case.breaks.as_mut().expect("one breaks");
        breaks.measure = crate::outcome::MeasureKind::Mean;
    }
    for format in FORMATS {
        let said = notes(&found, format);
        assert_eq!(
            said.matches("missed by mean").count(),
            found.cases.len(),
            "{said}"
        );
    }
}
