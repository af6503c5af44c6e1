//! Which loads are simulated, and what that says about the others.
//!
//! Loads are partly ordered: one is at most another when no workload has more to do in it. A load that is met
//! answers for all at most it, one that is missed for all at least it, one that is undecided for itself until another
//! answers for it too.

use crate::outcome::Verdict;

/// How a load was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Judged {
    /// By itself, or not yet.
    Alone,
    /// By that one, which is at least as busy and met.
    Below(usize),
    /// By that one, which is at most as busy and missed.
    Above(usize),
}

/// Which load is simulated first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    /// The one that decides most whichever way it goes.
    Halving,
    /// The busiest, which most likely answers for all others; then as above.
    BusiestFirst,
}

/// The loads with what is known of each.
pub(super) struct Bracket<'a> {
    loads: &'a [Vec<f64>],
    /// Which are to be judged.
    wanted: Vec<bool>,
    known: Vec<Option<Judged>>,
    /// Simulated, and not decided by that.
    undecided: Vec<bool>,
    order: Order,
}

impl<'a> Bracket<'a> {
    pub(super) fn new(loads: &'a [Vec<f64>], wanted: Vec<bool>, order: Order) -> Self {
        Self {
            loads,
            wanted,
            known: vec![None; loads.len()],
            undecided: vec![false; loads.len()],
            order,
        }
    }

    fn at_most(&self, one: usize, other: usize) -> bool {
        let both = self.loads[one].iter().zip(&self.loads[other]);
        both.into_iter().all(|(own, beyond)| own <= beyond)
    }

    fn open(&self) -> impl Iterator<Item = usize> + '_ {
        let open = |load: &usize| self.wanted[*load] && self.known[*load].is_none();
        (0..self.loads.len()).filter(open)
    }

    /// The load to simulate next, the first of several that are as good. `None` when all are known.
    pub(super) fn next(&self) -> Option<usize> {
        let busiest = self.order == Order::BusiestFirst && self.known.iter().all(Option::is_none);
        let worth = |load: usize| {
            let below = self
                .open()
                .filter(|other| self.at_most(*other, load))
                .count();
            let above = self
                .open()
                .filter(|other| self.at_most(load, *other))
                .count();
            let least = if busiest { below } else { below.min(above) };
            (least, below + above)
        };
        // The last of equals wins in `max_by_key`, so they are asked backwards.
        let open: Vec<usize> = self.open().collect();
        open.into_iter().rev().max_by_key(|load| worth(*load))
    }

    /// Notes the verdict of a load that was simulated, and of those that it answers for.
    pub(super) fn judge(&mut self, load: usize, verdict: Verdict) {
        self.known[load] = Some(Judged::Alone);
        self.undecided[load] = verdict == Verdict::Undecided;
        let left = (0..self.loads.len()).filter(|other| self.undecided[*other]);
        let open: Vec<usize> = self.open().chain(left).collect();
        for other in open {
            let answer = match verdict {
                Verdict::Met if self.at_most(other, load) => Judged::Below(load),
                Verdict::Missed if self.at_most(load, other) => Judged::Above(load),
                _ => continue,
            };
            self.known[other] = Some(answer);
            self.undecided[other] = false;
        }
    }

    /// Notes that a load was simulated, and lets it answer for itself alone.
    pub(super) fn judge_alone(&mut self, load: usize) {
        self.known[load] = Some(Judged::Alone);
    }

    pub(super) fn judged(&self, load: usize) -> Judged {
        self.known[load].unwrap_or(Judged::Alone)
    }

    /// The load that answers for this one; itself where it is not judged.
    pub(super) fn judge_of(&self, load: usize) -> usize {
        match self.judged(load) {
            Judged::Alone => load,
            Judged::Below(other) | Judged::Above(other) => other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs a bracket against the truth; how each was judged, and how many were simulated.
    fn run(loads: &[Vec<f64>], truth: impl Fn(&[f64]) -> Verdict) -> (Vec<Verdict>, usize) {
        let mut bracket = Bracket::new(loads, vec![true; loads.len()], Order::Halving);
        let mut runs = 0;
        while let Some(load) = bracket.next() {
            bracket.judge(load, truth(&loads[load]));
            runs += 1;
        }
        let verdicts = (0..loads.len())
            .map(|load| match bracket.judged(load) {
                Judged::Alone => truth(&loads[load]),
                Judged::Below(_) => Verdict::Met,
                Judged::Above(_) => Verdict::Missed,
            })
            .collect();
        (verdicts, runs)
    }

    #[test]
    fn loads_in_one_order_take_a_bisection() {
        // 24 loads in any order, with the edge at every place: at most 5 runs, as 2^5 > 24.
        let loads: Vec<Vec<f64>> = (0..24_u32)
            .map(|hour| vec![f64::from((hour * 7) % 24) / 23.0])
            .collect();
        for edge in 0..=24_u32 {
            let edge = f64::from(edge) / 23.0 - 0.01;
            let truth = |load: &[f64]| {
                if load[0] <= edge {
                    Verdict::Met
                } else {
                    Verdict::Missed
                }
            };
            let (found, runs) = run(&loads, truth);
            assert!(runs <= 5, "{runs} runs for {edge}");
            for (load, verdict) in loads.iter().zip(found) {
                assert_eq!(verdict, truth(load), "{load:?}");
            }
        }
    }

    #[test]
    fn an_undecided_load_answers_for_no_other() {
        let loads: Vec<Vec<f64>> = (0..10_u32).map(|hour| vec![f64::from(hour)]).collect();
        let truth = |load: &[f64]| match load[0] {
            at if at < 3.5 => Verdict::Met,
            at if at < 6.5 => Verdict::Undecided,
            _ => Verdict::Missed,
        };
        let (found, runs) = run(&loads, truth);
        for (load, verdict) in loads.iter().zip(found) {
            assert_eq!(verdict, truth(load), "{load:?}");
        }
        // The three undecided, and their neighbours at least.
        assert!((5..10).contains(&runs), "{runs}");
    }

    #[test]
    fn an_undecided_load_is_answered_for_by_one_decided_later() {
        let loads: Vec<Vec<f64>> = (0..4_u32).map(|hour| vec![f64::from(hour)]).collect();
        let mut bracket = Bracket::new(&loads, vec![true; 4], Order::Halving);
        bracket.judge(1, Verdict::Undecided);
        assert_eq!(bracket.judged(1), Judged::Alone);
        bracket.judge(2, Verdict::Met);
        assert_eq!(bracket.judged(1), Judged::Below(2));
        bracket.judge(3, Verdict::Missed);
        assert_eq!(
            (bracket.judged(1), bracket.judged(2)),
            (Judged::Below(2), Judged::Alone)
        );
    }

    #[test]
    fn loads_that_cannot_be_compared_are_simulated_each() {
        // One workload by day, the other by night.
        let loads: Vec<Vec<f64>> = (0..8_u32)
            .map(|hour| vec![f64::from(hour), f64::from(8 - hour)])
            .collect();
        let (_, runs) = run(&loads, |_| Verdict::Met);
        assert_eq!(runs, 8);
    }

    #[test]
    fn what_no_workload_has_more_of_is_met_with_it() {
        let loads = vec![vec![1.0, 0.2], vec![0.5, 0.2], vec![0.5, 0.3]];
        let mut bracket = Bracket::new(&loads, vec![true; 3], Order::Halving);
        bracket.judge(0, Verdict::Met);
        assert_eq!(bracket.judged(1), Judged::Below(0));
        assert_eq!(bracket.next(), Some(2), "more of the second workload");
        bracket.judge(2, Verdict::Missed);
        assert_eq!(bracket.next(), None);
    }

    #[test]
    fn the_busiest_of_those_wanted_is_asked_first() {
        let loads: Vec<Vec<f64>> = (0..8_u32).map(|hour| vec![f64::from(hour)]).collect();
        let wanted: Vec<bool> = (0..8).map(|load| load < 6).collect();
        let mut bracket = Bracket::new(&loads, wanted, Order::BusiestFirst);
        assert_eq!(bracket.next(), Some(5));
        bracket.judge(5, Verdict::Undecided);
        assert_eq!(bracket.next(), Some(2), "then by halves");
        bracket.judge(2, Verdict::Met);
        bracket.judge(3, Verdict::Missed);
        assert_eq!(
            bracket.next(),
            None,
            "4 is above 3, and 6 and 7 are not wanted"
        );
        assert_eq!(
            (
                bracket.judge_of(0),
                bracket.judge_of(4),
                bracket.judge_of(7)
            ),
            (2, 3, 7)
        );
    }
}
