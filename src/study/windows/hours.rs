//! Hours in a row, round midnight.

use crate::outcome::{Verdict, Window};

/// Runs of hours with one of these verdicts, earliest first; one that goes on past midnight counts once.
pub(super) fn in_a_row(day: &[Verdict], wanted: &[Verdict]) -> Vec<Window> {
    let count = day.len();
    let fits = |hour: usize| wanted.contains(&day[hour % count]);
    let number = |hour: usize| u32::try_from(hour).unwrap_or(u32::MAX);
    if (0..count).all(fits) {
        return vec![Window {
            from_hour: 0,
            to_hour: number(count),
            hours: number(count),
        }];
    }
    (0..count)
        .filter(|hour| fits(*hour) && !fits(hour + count - 1))
        .map(|from| {
            let hours = (from..).take_while(|hour| fits(*hour)).count();
            let end = (from + hours) % count;
            Window {
                from_hour: number(from),
                to_hour: number(if end == 0 { count } else { end }),
                hours: number(hours),
            }
        })
        .collect()
}

/// The longest, the earliest of several.
pub(super) fn longest(windows: &[Window]) -> Option<Window> {
    // The last of equals wins in `max_by_key`, so they are asked backwards.
    windows
        .iter()
        .rev()
        .copied()
        .max_by_key(|window| window.hours)
}

/// Whether so many hours in a row are met, or might be.
pub(super) fn long_enough(day: &[Verdict], needed: u32) -> Verdict {
    let reach = |wanted: &[Verdict]| {
        longest(&in_a_row(day, wanted)).is_some_and(|window| window.hours >= needed)
    };
    if reach(&[Verdict::Met]) {
        Verdict::Met
    } else if reach(&[Verdict::Met, Verdict::Undecided]) {
        Verdict::Undecided
    } else {
        Verdict::Missed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(letters: &str) -> Vec<Verdict> {
        letters
            .chars()
            .map(|letter| match letter {
                'm' => Verdict::Met,
                'x' => Verdict::Missed,
                _ => Verdict::Undecided,
            })
            .collect()
    }

    fn shown(letters: &str) -> Vec<(u32, u32, u32)> {
        in_a_row(&day(letters), &[Verdict::Met])
            .iter()
            .map(|window| (window.from_hour, window.to_hour, window.hours))
            .collect()
    }

    #[test]
    fn a_window_may_run_past_midnight() {
        assert_eq!(shown("mmmmmxxxxxxx?xxxmmxxxxmm"), [(16, 18, 2), (22, 5, 7)]);
        assert_eq!(shown("xmmxxxxxxxxxxxxxxxxxxxxm"), [(1, 3, 2), (23, 24, 1)]);
        assert_eq!(shown(&"m".repeat(24)), [(0, 24, 24)]);
        assert_eq!(shown(&"x".repeat(24)), []);
        let found = in_a_row(&day("mmxmmxxxxxxxxxxxxxxxxxxx"), &[Verdict::Met]);
        let first = longest(&found).expect("there are two");
        assert_eq!(
            (first.from_hour, first.hours),
            (0, 2),
            "the earliest of equals"
        );
    }

    #[test]
    fn undecided_hours_leave_it_open_only_where_they_could_do() {
        let day = day("mmm?mxxxxxxxxxxxxxxxxxxx");
        let found = [1, 3, 4, 5, 6].map(|needed| long_enough(&day, needed));
        use Verdict::{Met, Missed, Undecided};
        assert_eq!(found, [Met, Met, Undecided, Undecided, Missed]);
    }

    proptest! {
        /// Each hour that is met lies in exactly one window, and no other does.
        #[test]
        fn windows_hold_the_hours_that_are_met_and_no_others(letters in "[mx?]{24}") {
            let day = day(&letters);
            let mut held = vec![0; 24];
            for window in in_a_row(&day, &[Verdict::Met]) {
                for step in 0..window.hours {
                    held[((window.from_hour + step) % 24) as usize] += 1;
                }
                prop_assert_eq!((window.from_hour + window.hours - 1) % 24 + 1, window.to_hour);
            }
            for (verdict, held) in day.iter().zip(held) {
                prop_assert_eq!(held, i32::from(*verdict == Verdict::Met));
            }
        }
    }
}
