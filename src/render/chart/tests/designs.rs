//! Differences of designs.

use super::{FORMATS, check, texts};
use crate::outcome::{Change, Comparison, Estimated, Lack};
use crate::render::chart::{Format, design_differences};
use crate::render::sample::sample_comparison;

/// The sample, with so many rows like its first.
fn with_rows(count: usize) -> Comparison {
    let mut comparison = sample_comparison();
    let row = comparison.differences[0].clone();
    comparison.differences = vec![row; count];
    comparison
}

#[test]
fn differences_keep_the_rules_and_tell_what_each_design_has() {
    let comparison = sample_comparison();
    for format in FORMATS {
        let drawing = design_differences(&comparison, format).expect("a figure is promised");
        check("differences", format, &drawing);
        let words = texts(&drawing.svg).join(" ");
        assert!(words.contains("14.0 ms → 1.31 ms"), "{words}");
        assert!(words.contains("bookings p99"), "{words}");
        assert_eq!(
            drawing.finding,
            "ostrel-mended.toml against ostrel.toml: 1 of 1 promised figure better, none worse; most of all bookings p99, A lost: \
             14.0 ms → 1.31 ms."
        );
        // 12 710 of 14 020, and 420 to each side.
        assert!(
            drawing.description.contains("−90.7 % (−93.7 to −87.7)"),
            "{}",
            drawing.description
        );
    }
}

/// Designs go by their names, and what a difference has to be read with stands in the picture too.
/// Two variants that differ only where their names are cut are told apart by their numbers, as in the tables.
#[test]
fn designs_with_long_names_are_numbered() {
    let mut comparison = sample_comparison();
    let mut third = comparison.designs[1].clone();
    comparison.designs[1].name = "link.host-leaf.speed=32GFC, link.leaf-box.speed=32GFC".into();
    third.name = "link.host-leaf.speed=32GFC, link.leaf-box.ports=2".into();
    comparison.designs.push(third);
    let mut row = comparison.differences[0].clone();
    row.design = 2;
    comparison.differences.push(row);
    let drawing = design_differences(&comparison, Format::Slide).expect("a figure is promised");
    let words = texts(&drawing.svg).join(" ");
    assert!(
        words.contains("design 2, ") && words.contains("design 3, "),
        "{words}"
    );
}

#[test]
fn designs_go_by_their_names_and_notes_are_kept() {
    let mut comparison = sample_comparison();
    let mut third = comparison.designs[1].clone();
    third.name = "link.isl.members=4".into();
    third.other_work = vec!["fleet: sizes".into()];
    third.partial = true;
    comparison.designs.push(third);
    let mut row = comparison.differences[0].clone();
    row.design = 2;
    comparison.differences.push(row);
    for format in FORMATS {
        let drawing = design_differences(&comparison, format).expect("a figure is promised");
        check("differences, three", format, &drawing);
        let words = texts(&drawing.svg).join(" ");
        assert!(
            !words.contains("design 1") && !words.contains("design 3"),
            "{words}"
        );
        // A phone has no room for second lines so long.
        let told = words.contains("link.isl.members=4, A lost");
        assert!(told || format == Format::Phone, "{words}");
        assert!(words.contains("as ostrel.toml"), "{words}");
        assert!(
            drawing.finding.contains(
                "Other work than that of ostrel.toml, so that a difference is one of the work too: link.isl.members=4. A limit cut runs, \
                 which prove nothing: link.isl.members=4."
            ),
            "{}",
            drawing.finding
        );
    }
}

#[test]
fn a_figure_that_is_not_promised_is_not_drawn() {
    let mut comparison = sample_comparison();
    comparison.differences[0].promised = false;
    assert_eq!(design_differences(&comparison, Format::Slide), None);
}

#[test]
fn without_room_for_second_lines_the_case_stands_in_the_first() {
    for (count, more) in [(12, ""), (60, "which differ no more")] {
        let drawing = design_differences(&with_rows(count), Format::Slide).expect("rows");
        check("differences", Format::Slide, &drawing);
        let words = texts(&drawing.svg).join(" ");
        assert!(
            words.contains("bookings p99, A lost") && words.contains(more),
            "{words}"
        );
    }
}

#[test]
fn a_design_that_lacks_a_figure_is_said_to_and_has_no_mark() {
    let mut comparison = with_rows(2);
    let lacking = &mut comparison.differences[1];
    (lacking.first, lacking.first_lacks) = (None, Some(Lack::Saturated));
    (lacking.difference, lacking.base) = (None, None);
    let far = &mut comparison.differences[0];
    far.change = Change::NotShown;
    far.difference = Some(Estimated {
        value: 90_000.0,
        low: Some(-20_000.0),
        high: Some(200_000.0),
    });
    for format in FORMATS {
        let drawing = design_differences(&comparison, format).expect("rows");
        check("differences", format, &drawing);
        let words = texts(&drawing.svg).join(" ");
        assert!(words.contains("saturated → 1.31 ms"), "{words}");
        assert!(
            drawing.finding.contains("1 of 2 promised figures better"),
            "{}",
            drawing.finding
        );
    }
}
