//! What is said of how far the work can grow.

use super::*;
use crate::outcome::{Because, Floor, Hopeless};
use crate::render::sample::sample_headroom;

fn said(change: impl Fn(&mut CaseHeadroom)) -> String {
    let mut found = sample_headroom();
    change(&mut found.cases[0]);
    proven_sentences(&found)[0].clone().replace('\u{202F}', " ")
}

/// Below a headline with the loads that are proven they are not said again, and cases that read alike share their sentences.
#[test]
fn what_a_headline_has_told_is_not_said_again() {
    let mut found = sample_headroom();
    let mut one = found.cases[0].clone();
    (one.met, one.missed) = (Some(2.0), Some(3.0));
    let mut other = one.clone();
    one.case.outage = Some("A".to_owned());
    one.case.name = "A lost".to_owned();
    other.case.outage = Some("rack".to_owned());
    other.case.name = "rack lost".to_owned();
    found.cases = vec![one, other];
    let whole = proven_sentences(&found);
    assert!(whole[0].starts_with("A lost: every"), "{whole:?}");
    // No sentence begins with a small letter.
    assert!(whole[1].starts_with("With rack lost: every"), "{whole:?}");
    assert!(whole[0].contains("holds at 2.00"), "{whole:?}");
    let below = proven_sentences_below(&found, &|_| true);
    assert!(
        below[0].starts_with("A lost, rack lost: at 3.00 times today's load a promise is broken"),
        "{below:?}"
    );
    assert!(!below.concat().contains("holds at"), "{below:?}");
    assert_eq!(below.len() + 1, whole.len());
}

#[test]
fn what_explains_every_case_is_said_once() {
    let mut found = sample_headroom();
    let mut one = found.cases[0].clone();
    one.met = Some(one.points[0].factor);
    one.points[0].lengthened_s = Some(0.7);
    let mut other = one.clone();
    found.cases = vec![one.clone(), one];
    let said = proven_sentences(&found);
    assert_eq!(said.len(), 3);
    assert!(
        !said[0].contains("were made")
            && said[2].starts_with("In every case: the runs that prove it were made")
    );
    assert!(
        said[2].contains("were made 0.700\u{202F}s long"),
        "{said:?}"
    );
    // Where one differs each says its own.
    other.points[0].lengthened_s = Some(0.9);
    found.cases[1] = other;
    let said = proven_sentences(&found);
    assert!(
        said[0].contains("0.700") && said[1].contains("0.900"),
        "{said:?}"
    );
}

#[test]
fn ends_are_rounded_to_the_side_that_is_proven() {
    let text = said(|case| (case.met, case.missed) = (Some(18.749), Some(18.751)));
    assert!(
        text.starts_with(
            "Healthy: every promise holds at 18.7 times today's load; at 18.8 one is broken"
        ),
        "{text}"
    );
}

/// At 24 % nothing is full: what breaks a promise there is how long an I/O takes anyway.
#[test]
fn a_part_that_is_nearly_empty_does_not_end_it() {
    let with = |mean_percent: f64, still: Option<f64>| {
        said(|case| {
            for part in [&mut case.ends, &mut case.next].into_iter().flatten() {
                (part.mean_percent, part.peak_percent) = (mean_percent, mean_percent + 10.0);
            }
            let next = case.next.as_mut().expect("the sample has one");
            next.mean_percent = mean_percent + 5.0;
            case.unwaited_percent = still;
        })
    };
    let empty = with(24.3, Some(97.0));
    assert!(
        empty.contains("No part is full there: the fullest is vault controllers, 29.3 %.")
            && empty.contains("97.0 % of the mean latency is no waiting"),
        "{empty}"
    );
    for ended in [
        with(24.3, Some(60.0)),
        with(24.3, None),
        with(80.0, Some(97.0)),
    ] {
        assert!(ended.contains("The part that ends it is"), "{ended}");
    }
}

#[test]
fn a_bound_is_said_to_be_one() {
    let bound = |bound| {
        said(|case| {
            (case.met, case.missed, case.bound) = (Some(4.0), None, Some(bound));
        })
    };
    assert!(bound(Bound::Asked).starts_with(
        "Healthy: every promise holds at 4.00 times today's load at least; no more was asked for. The fullest part"
    ));
    assert!(
        bound(Bound::Buildable).contains("more cannot be built: that ends it, and not a promise")
    );
}

#[test]
fn a_promise_that_no_load_keeps_is_named_with_its_reason() {
    let hopeless = |because: Because| {
        said(|case| {
            case.met = None;
            case.hopeless = Some(Hopeless {
                workload: "bookings".into(),
                measure: MeasureKind::Mean,
                target_text: "250us".into(),
                because: because.clone(),
            });
        })
    };
    let idle = hopeless(Because::IdleMean { latency_us: 310.0 });
    assert!(
        idle.starts_with("Healthy: no load at all keeps `bookings` mean 250 µs: even an empty fabric takes 310 µs on the mean."),
        "{idle}"
    );
    let least = hopeless(Because::LeastLoad {
        factor: 0.01578,
        latency_us: Some(310.0),
    });
    // Loads above today's were not tried: the words do not speak of them.
    assert!(
        least.starts_with("Healthy: no load that was tried keeps `bookings`"),
        "{least}"
    );
    assert!(
        least.contains(
            "even at 0.0158 times today's load, where hardly anything waits, it is 310 µs."
        ),
        "{least}"
    );
    let full = hopeless(Because::FullBefore {
        factor: 2.0,
        throughput_mb_s: 1024.0,
    });
    assert!(
        full.contains("a part is full at 2.00 times today's load"),
        "{full}"
    );
    assert!(
        full.contains("no more than 1.02 GB/s is asked for"),
        "{full}"
    );
    let most = hopeless(Because::MostBefore {
        factor: 3.0,
        throughput_mb_s: 500.0,
    });
    assert!(
        most.contains("no load that was to be tried keeps")
            && most.contains("up to 3.00 times today's load"),
        "{most}"
    );
    assert!(hopeless(Because::NoPath).contains("its hosts have no path to the array"));
}

/// A load that is open because runs begin empty is no example of what counts decide, and is not called near.
#[test]
fn runs_that_are_too_short_to_fill_a_queue_are_called_that() {
    let told = |open: Option<LeftOpen>| {
        let mut found = sample_headroom();
        for case in &mut found.cases {
            for point in &mut case.points {
                (point.verdict, point.partial) = (Verdict::Undecided, false);
                for row in &mut point.rows {
                    row.cell.verdict = Verdict::Undecided;
                    row.cell.left_open = open;
                    row.cell.above_share = Some(1e-6);
                    row.cell.above_allowed = Some(0.01);
                    if let Some(value) = &mut row.cell.value {
                        *value = crate::outcome::Estimated {
                            value: row.cell.target / 2.0,
                            low: Some(row.cell.target * 0.4),
                            high: Some(row.cell.target * 0.6),
                        };
                    }
                }
            }
        }
        crate::render::table::headroom_text(&found).replace('\n', " ")
    };
    let filling = told(Some(LeftOpen::Filling));
    assert!(
        filling.contains(", runs too short") && !filling.contains(", too near"),
        "{filling}"
    );
    assert!(!filling.contains("one-sided bounds"), "{filling}");
    let near = told(None);
    assert!(near.contains(", too near"), "{near}");
    assert!(near.contains("bounds"), "{near}");
}

/// Nothing proven: near the promise, of I/Os that a run is too short for, or of too few.
#[test]
fn why_nothing_is_proven_is_told_by_what_the_runs_show() {
    let with = |change: &dyn Fn(&mut crate::outcome::Cell)| {
        said(|case| {
            (case.met, case.missed, case.today) = (None, None, Some(Verdict::Undecided));
            for point in &mut case.points {
                point.purpose = Purpose::ProveMissed;
                point.verdict = Verdict::Undecided;
                for row in &mut point.rows {
                    row.cell.verdict = Verdict::Undecided;
                    change(&mut row.cell);
                }
            }
        })
    };
    let near = with(&|_| ());
    assert!(near.contains("too near the promise"), "{near}");
    let cut = with(&|cell| cell.left_open = Some(LeftOpen::Stopped));
    assert!(
        cut.contains("a limit stopped the runs before their end (bookings p99); a higher limit")
            && !cut.contains("near"),
        "{cut}"
    );
    let short = with(&|cell| {
        cell.left_open = Some(LeftOpen::RunTooShort);
        cell.above_share = Some(0.3);
    });
    assert!(
        short.contains(
            "the runs are too short to show what becomes of I/Os that are held up (bookings p99)"
        ) && !short.contains("near"),
        "{short}"
    );
    let few = with(&|cell| cell.above_share = Some(0.0));
    assert!(
        few.contains("none of the I/Os counted is above the promise") && !few.contains("near"),
        "{few}"
    );
}

/// The verdicts of loads are those of promises, and a load that was tested for the other end is explained.
#[test]
fn a_load_that_was_asked_whether_it_is_met_is_missed_as_any_other() {
    let mut found = sample_headroom();
    let point = &mut found.cases[0].points[3];
    (point.purpose, point.verdict) = (Purpose::ProveMet, Verdict::Missed);
    let text = crate::render::table::headroom_text(&found);
    assert!(
        !text.contains("not met") && !text.contains("not missed"),
        "{text}"
    );
    assert!(
        text.contains("1.71 was tested for being met, and is missed instead"),
        "{text}"
    );
}

#[test]
fn a_floor_is_said_beside_what_holds_above_it() {
    let text = said(|case| {
        case.floor = Some(Floor {
            workload: "archive".into(),
            target_text: "2GB/s".into(),
            factor: 1.2716,
            short: None,
            step: None,
            asked_mb_s: Some(1573.0),
        });
    });
    assert!(
        text.contains("Below 1.28 times today's load `archive` cannot keep its throughput of 2 GB/s: less is asked for, 1.57 GB/s today."),
        "{text}"
    );
}

/// What a run saw is said, and nothing is worked out from another load.
#[test]
fn a_part_that_a_run_saw_full_in_its_busiest_moment_is_explained() {
    let with = |peak: f64| {
        said(|case| {
            let met = case.met;
            let own = |point: &&mut LoadPoint| {
                point.purpose == Purpose::ProveMet && Some(point.factor) == met
            };
            let point = case.points.iter_mut().find(own).expect("the proof");
            point.fullest[0].mean_percent = 88.0;
            point.fullest[0].peak_percent = peak;
        })
    };
    let text = with(130.0);
    assert!(
        text.contains(
            "At 1.85 its runs saw san to edge, 32GFC asked for 130 % in the busiest 20 ms, and for 88.0 % on the mean"
        ),
        "{text}"
    );
    assert!(!with(99.0).contains("busiest"), "it was never full");
    let mut closed = sample_headroom();
    closed.grows.depth = Some(crate::outcome::LoopDepth {
        workload: "scan".into(),
        depth: 8,
    });
    closed.cases[0].points[4].fullest[0].mean_percent = 88.0;
    closed.cases[0].points[4].fullest[0].peak_percent = 130.0;
    assert!(!proven_sentences(&closed)[0].contains("busiest"));
    // A part that is busy today is full at no load that was not run.
    let mut found = sample_headroom();
    for part in &mut found.parts {
        part.cases[0].as_mut().expect("it is used").peak_percent = 80.0;
    }
    assert!(!proven_sentences(&found)[0].contains("busiest"));
}

#[test]
fn a_load_whose_switch_over_is_missed_is_not_called_held_alone() {
    let lost = |change: &dyn Fn(&mut CaseHeadroom)| {
        let mut found = sample_headroom();
        change(&mut found.cases[1]);
        proven_sentences(&found)[1].replace('\u{202F}', " ")
    };
    let kept = lost(&|_| {});
    assert!(
        kept.contains("every steady promise holds at 1.26 times today's load, and the switch-over there is met; at 1.32"),
        "{kept}"
    );
    let broken = |met: Option<f64>, tried: &[f64]| {
        lost(&|case| {
            let first = case.switch_over.as_mut().expect("it is judged");
            first.verdict = Verdict::Missed;
            let first = first.clone();
            case.switch_met = met;
            case.switch_tried = tried
                .iter()
                .map(|factor| crate::outcome::LoadSwitch {
                    factor: *factor,
                    ..first.clone()
                })
                .collect();
        })
    };
    let some = broken(Some(1.1), &[1.0, 1.1]);
    assert!(
        some.contains("but the switch-over there is missed; it is met at 1.10; at 1.32 one"),
        "{some}"
    );
    let none = broken(None, &[1.0, 0.125]);
    assert!(
        none.contains("but the switch-over there is missed, and not met at 0.125 either;"),
        "{none}"
    );
}

#[test]
fn a_load_that_is_missed_today_is_told_first() {
    let text = said(|case| {
        (case.met, case.missed) = (Some(0.8), Some(0.9));
        case.today = Some(Verdict::Missed);
    });
    assert!(
        text.starts_with("Healthy: missed today: every promise holds at 0.800 times"),
        "{text}"
    );
}

#[test]
fn a_switch_over_that_is_missed_today_is_told_first() {
    let mut found = sample_headroom();
    let case = &mut found.cases[1];
    case.today = Some(Verdict::Missed);
    let switch = case.switch_over.as_mut().expect("it is judged");
    (switch.verdict, switch.factor) = (Verdict::Missed, 1.0);
    let text = &proven_sentences(&found)[1];
    assert!(
        text.starts_with("A lost: missed today, in the switch-over: every steady promise holds at"),
        "{text}"
    );
}

#[test]
fn a_case_without_a_promise_says_so_even_where_the_search_was_stopped() {
    let mut found = sample_headroom();
    found.partial = true;
    found.cases[0].today = None;
    (found.cases[0].met, found.cases[0].missed) = (None, None);
    assert_eq!(proven_sentences(&found)[0], "Healthy: nothing is promised.");
}

#[test]
fn whole_numbers_are_told_as_such_and_those_between_too() {
    let mut found = sample_headroom();
    found.grows.depth = Some(crate::outcome::LoopDepth {
        workload: "scan".into(),
        depth: 8,
    });
    let case = &mut found.cases[0];
    (case.met, case.missed) = (Some(1.0), Some(1.75));
    case.points[0].purpose = Purpose::ProveMet;
    case.points[0].factor = 1.25;
    let text = proven_sentences(&found)[0].replace('\u{202F}', " ");
    assert!(
        text.starts_with("Healthy: every promise holds at 8 outstanding at each host of `scan`; at 14 one is broken"),
        "{text}"
    );
    assert!(
        text.contains(
            "Between them 10 was tested and is undecided; 9, 11, 12 and 13 were not tested."
        ),
        "{text}"
    );
}

/// A load that a pilot run and a proof share reads alike, rounded to the side that is proven.
#[test]
fn one_load_reads_alike_wherever_it_stands() {
    let mut found = sample_headroom();
    let case = &mut found.cases[0];
    case.met = Some(8.096);
    case.points[0].factor = 8.096;
    case.points[0].purpose = Purpose::Pilot;
    case.missed = Some(8.204);
    case.points[1].factor = 8.204;
    let (case, other) = (found.cases[0].clone(), found.cases[1].clone());
    for own in [&case, &other] {
        assert_eq!(load_in(&found, own, 8.096), "8.09");
        assert_eq!(load_in(&found, own, 8.204), "8.21");
        assert_eq!(load_in(&found, own, 8.3049), "8.30");
    }
    // In its own case it is what it is there.
    found.cases[1].missed = Some(8.096);
    let other = found.cases[1].clone();
    assert_eq!(load_in(&found, &other, 8.096), "8.10");
    let table = crate::render::table::headroom_text(&found);
    assert!(
        table.contains(" 8.09 ") && !table.contains(" 8.20 "),
        "{table}"
    );
}

#[test]
fn a_hole_is_named_with_what_was_met_below_and_above_it() {
    let hole = |factor| crate::outcome::Hole {
        factor,
        breaks: sample_headroom().cases[0]
            .breaks
            .clone()
            .expect("the sample has one"),
    };
    // Loads that were run: 0.570, 1.14, 1.52, 1.71 and 1.85, the last proven.
    let text = said(|case| {
        case.holes = vec![hole(1.14)];
        case.points[1].purpose = Purpose::Below;
        case.points[1].verdict = Verdict::Missed;
    });
    assert!(
        text.contains(
            " Not every load below keeps it: at 1.14 one is broken (bookings p99: more than 2 ms); every one that was tried up to 0.570 \
             was met; every one that was tried from 1.52 to 1.85 was met."
        ),
        "{text}"
    );
    let text = said(|case| {
        case.holes = vec![hole(0.57), hole(1.71)];
        for index in [0, 3] {
            case.points[index].purpose = Purpose::Below;
            case.points[index].verdict = Verdict::Missed;
        }
    });
    assert!(text.contains("at 0.570 and 1.71 one is broken"), "{text}");
    assert!(text.contains("none was tried below 0.570."), "{text}");
    let text = said(|case| {
        case.unlike = true;
        case.points[1].purpose = Purpose::Below;
    });
    assert!(
        text.contains("less load need not be met as well; tested, it is met at 1.14."),
        "{text}"
    );
}

#[test]
fn what_arithmetic_proves_stands_beside_what_runs_prove() {
    let with = |certain: f64| said(|case| case.certain = Some(certain));
    assert!(
        with(1.9).contains(
            "more than 2 ms), and by arithmetic at every load above 1.90, where a part is full."
        ),
        "{}",
        with(1.9)
    );
    assert!(!with(2.5).contains("by arithmetic"), "runs prove more");
    let open = said(|case| {
        case.certain = Some(2.0);
        case.missed = None;
    });
    assert!(
        open.contains("; by arithmetic one is broken at every load above 2.00 times today's load, where a part is full."),
        "{open}"
    );
}

/// Where a part that no promise is about is full well below the load that is missed, it is said why nothing between is met.
#[test]
fn a_load_that_is_full_between_the_ends_is_named() {
    let clause = "; none is called met above 2.50, where a part is full by arithmetic.";
    let of = |missed: f64, certain: Option<f64>| {
        said(|case| {
            (case.met, case.missed, case.saturation) = (Some(2.45), Some(missed), Some(2.5));
            case.certain = certain;
        })
    };
    assert!(of(10.4, None).contains(clause), "{}", of(10.4, None));
    assert!(!of(2.55, None).contains(clause));
    assert!(!of(10.4, Some(2.5)).contains("is called met"));
}

/// I/Os over ways that are not full keep a percentile at any load: that is what is said, not that the work does not fit.
#[test]
fn work_that_piles_up_while_its_percentile_is_kept_is_told_of_as_that() {
    let broken = |case: &mut CaseHeadroom| {
        let breaks = case.breaks.as_mut().expect("one breaks");
        (breaks.saturated, breaks.kept_by_others) = (true, true);
        (case.crossing, case.no_crossing) = (None, Some(NoCrossing::PilesUp));
    };
    let text = said(broken);
    assert!(
        text.contains(
            "work piles up without end over a full part, though no more of its I/Os are above"
        ),
        "{text}"
    );
    assert!(!text.contains("does not fit"), "{text}");
    let mut found = sample_headroom();
    broken(&mut found.cases[0]);
    let why = no_crossing(&found.cases[0], &found).expect("it is said");
    assert!(why.contains("crosses nowhere"), "{why}");
}

#[test]
fn a_crossing_that_is_not_given_names_the_ends_that_it_lies_outside() {
    let text = |change: fn(&mut CaseHeadroom)| {
        let mut found = sample_headroom();
        let case = &mut found.cases[0];
        (case.crossing, case.met, case.missed) = (None, Some(2.0), Some(3.0));
        (case.saturation, case.no_crossing) = (None, Some(NoCrossing::Outside { factor: 1.5 }));
        change(case);
        no_crossing(&found.cases[0], &found).expect("there is none")
    };
    assert_eq!(
        text(|_| {}),
        "Healthy, no crossing is given: the runs have it at 1.50, which is not between 2.00, which is met, and 3.00, which is missed."
    );
    assert!(
        text(|case| case.saturation = Some(2.5))
            .ends_with("and 2.50, which is full by arithmetic.")
    );
    assert!(
        text(|case| case.met = None)
            .ends_with("the runs have it at 1.50, and no load below that is proven met.")
    );
    // Below a floor runs break it as well, by asking for less.
    let floor = text(|case| {
        case.no_crossing = Some(NoCrossing::OneSided);
        case.floor = Some(Floor {
            workload: "w".into(),
            target_text: "1MB/s".into(),
            factor: 1.25,
            short: None,
            step: None,
            asked_mb_s: Some(0.8),
        });
    });
    assert!(
        floor.ends_with("from 1.25 on the runs lie on one side of the promises."),
        "{floor}"
    );
}

/// With whole hosts nothing lies below one of them.
#[test]
fn of_hosts_nothing_is_said_below_one() {
    let mut found = sample_headroom();
    found.grows.hosts = Some(2);
    let breaks = found.cases[0].breaks.clone().expect("the sample has one");
    found.cases[0].holes = vec![crate::outcome::Hole {
        factor: 0.5,
        breaks,
    }];
    found.cases[0].points.retain(|point| point.factor > 1.0);
    let said = proven_sentences(&found)[0].clone();
    assert!(
        said.contains("at 1 one is broken") && !said.contains("below 1"),
        "{said}"
    );
}

/// What bursts end is told by the busiest moment, and of two parts that are about equally full both are named, in words, text and page
/// alike.
#[test]
fn parts_are_told_by_the_figure_that_ends_it() {
    let mut found = sample_headroom();
    let part = |part: &str, mean_percent: f64, peak_percent: f64| crate::outcome::PartLoad {
        part: part.into(),
        instance: part.into(),
        mean_percent,
        peak_percent,
    };
    for case in &mut found.cases {
        case.ends = Some(part("vault controllers", 60.1, 110.0));
        case.beside = Some(part("san to edge, 32GFC", 57.7, 101.0));
        case.next = Some(part("depot controllers", 60.8, 63.6));
        case.ranked_by = crate::outcome::RankedBy::Busiest;
    }
    let said = proven_sentences(&found).remove(0).replace('\u{202F}', " ");
    let beside = "about as full, within a tenth of it, is san to edge, 32GFC, 101 %";
    assert!(
        said.ends_with(&format!(
            " The part that ends it is vault controllers, asked for 110 % in the busiest 20 ms there, 60.1 % on the mean, and {beside}; \
             the next is depot controllers, 63.6 %."
        )),
        "{said}"
    );
    // A burst that 20 ms spread out is told beside it.
    let mut short = found.clone();
    let missed = short.cases[0].missed;
    let mut points = short.cases[0].points.iter_mut();
    let end = points.find(|point| Some(point.factor) == missed);
    end.expect("it was run").unseen_bursts = vec![crate::render::sample::sample_bursts(
        crate::outcome::Unseen::Short,
        "fleet",
    )];
    let told = proven_sentences(&short).remove(0).replace('\u{202F}', " ");
    assert!(
        told.contains(" A burst, shorter than 20 ms, asks vault-c1 for 150 % there."),
        "{told}"
    );
    let text = crate::render::table::headroom_text(&found).replace('\u{202F}', " ");
    assert!(
        text.contains(&format!("vault controllers, 60.1 %  110 %; {beside}")),
        "{text}"
    );
    let page = crate::render::page::headroom_page(&found).replace('\u{202F}', " ");
    assert!(page.contains("asked for in the busiest 20 ms, at the load that ends it"));
    assert!(page.matches(beside).count() > found.cases.len(), "{page}");
    assert!(page.contains("; then depot controllers, 63.6 %"));
    // One that is fuller, for which the work waits less, is told as that.
    for case in &mut found.cases {
        case.beside = Some(part("san to edge, 32GFC", 57.7, 130.0));
    }
    let said = proven_sentences(&found).remove(0).replace('\u{202F}', " ");
    assert!(
        said.contains(", and fuller, though less waits for it, is san to edge, 32GFC, 130 %;"),
        "{said}"
    );
}

/// What a closed loop brings only its runs know: which were run is told, one load in one way, and not that less cannot bring it.
#[test]
fn the_least_load_of_a_closed_loop_is_told_as_what_was_run() {
    let with = |depth: Option<u32>, (factor, short): (f64, f64), step: Option<f64>| {
        let mut found = sample_headroom();
        found.grows.depth = depth.map(|depth| crate::outcome::LoopDepth {
            workload: "scan".into(),
            depth,
        });
        found.cases[0].met = Some(factor);
        found.cases[0].floor = Some(Floor {
            workload: "scan".into(),
            target_text: "2GB/s".into(),
            factor,
            short: Some(short),
            step,
            asked_mb_s: None,
        });
        let said = proven_sentences(&found).remove(0).replace('\u{202F}', " ");
        assert!(!said.contains("cannot keep"), "{said}");
        said
    };
    let said = with(Some(6), (5.0 / 6.0, 0.5), None);
    assert!(
        said.contains("brought its throughput of 2 GB/s at 5 outstanding at each host of `scan`, and too little at 3; nothing between them was run."),
        "{said}"
    );
    let said = with(Some(6), (4.0 / 6.0, 0.5), None);
    assert!(said.contains(" and too little at 3."), "{said}");
    // The load that is met is rounded down, here as there.
    let said = with(None, (0.88452, 0.79), Some(0.8333));
    assert!(
        said.contains("holds at 0.884 ")
            && said.contains(" at 0.884 times today's load, and too little at 0.790"),
        "{said}"
    );
    assert!(
        said.contains("; one more is outstanding from 0.833 on, which lies between them."),
        "{said}"
    );
}

#[test]
fn what_no_depth_brings_is_told_with_the_loads_that_were_run() {
    let mut found = sample_headroom();
    found.grows.depth = Some(crate::outcome::LoopDepth {
        workload: "scan".into(),
        depth: 6,
    });
    (found.cases[0].met, found.cases[0].hopeless) = (
        None,
        Some(Hopeless {
            workload: "scan".into(),
            measure: MeasureKind::Throughput,
            target_text: "5MB/s".into(),
            because: Because::NeverBrought {
                least: 0.5,
                factor: 16.0,
                throughput_mb_s: 4.0,
            },
        }),
    );
    let said = proven_sentences(&found).remove(0).replace('\u{202F}', " ");
    assert!(
        said.contains(
            "no load that was tried keeps `scan` throughput 5 MB/s: from 3 outstanding at each host of `scan` to 96 outstanding at each \
             host of `scan` no run brought more than 4.00 MB/s."
        ),
        "{said}"
    );
}

/// Pilot runs are too short at lower loads too: the one that is told is one of those that were tried.
#[test]
fn runs_that_are_too_short_are_those_of_a_load_that_is_told_as_tried() {
    let mut found = sample_headroom();
    let mut case = found.cases.remove(0);
    (case.met, case.missed, case.certain, case.breaks) = (None, None, None, None);
    let like = case.points[0].clone();
    let point = |factor: f64, purpose: Purpose| LoadPoint {
        factor,
        purpose,
        verdict: Verdict::Undecided,
        needs_s: Some(90.0),
        ..like.clone()
    };
    case.points = vec![
        point(0.25, Purpose::Pilot),
        point(1.0, Purpose::ProveMet),
        point(2.0, Purpose::ProveMet),
    ];
    found.cases = vec![case.clone()];
    let said = proven_sentences(&found).join(" ");
    assert!(
        said.contains("tried from 1.00 to 2.00") && said.contains("too short to judge 1.00"),
        "{said}"
    );
    case.points.truncate(1);
    found.cases = vec![case];
    let said = proven_sentences(&found).join(" ");
    assert!(said.contains("too short to judge 0.25"), "{said}");
}
