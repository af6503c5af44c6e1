//! Stop and spike: whether the work of a workload stops while some of it hangs on lost paths, whether more than usual
//! comes after, and why its path policy makes it so.

use super::plural;
use crate::outcome::{Switch, SwitchWorkload};
use crate::render::number::{Scale, about, three};

/// A silence of this share of the longest I/O is a stop.
const STOP: f64 = 0.5;
/// From this many times the survivors' own busiest 20 ms on, what comes after is a spike.
const SPIKE: f64 = 1.2;

/// Sentences on one workload; empty where no I/O had to be sent again.
#[must_use]
pub(crate) fn stop_and_spike(switch: &Switch, work: &SwitchWorkload) -> String {
    let runs = u64::from(switch.replications.max(1));
    let hung = work.retried.div_ceil(runs);
    if hung == 0 {
        return String::new();
    }
    [
        policy(work, hung),
        stop(work, hung),
        spike(switch, work, hung),
    ]
    .concat()
}

/// Who gets an I/O while nobody knows that a path is lost.
fn policy(work: &SwitchWorkload, hung: u64) -> String {
    let [policy] = work.policies.as_slice() else {
        return format!("{} hung on lost paths. ", plural(whole(hung), "I/O"));
    };
    let why = match policy.as_str() {
        "round-robin" => {
            "in turn: a lost path gets its share of all that comes, for as long as nobody knows that it is lost and a slot \
             is free"
        }
        "random" => {
            "at random: a lost path gets its share of all that comes, for as long as nobody knows that it is lost and a \
             slot is free"
        }
        "least-queue" => {
            "by the fewest I/Os under way: a lost path never gets rid of what it has, so it is the emptiest no more, and \
             gets another only when all others have as many"
        }
        "least-bytes" => {
            "by the fewest bytes under way: a lost path never gets rid of what it has, so it is the emptiest no more, and \
             gets another only when all others have as many"
        }
        _ => {
            "by preference: the preferred one gets all that comes while it has a free slot, lost or not, for as long as \
             nobody knows"
        }
    };
    format!(
        "Paths are taken {why}. {} hung on lost paths. ",
        plural(whole(hung), "I/O")
    )
}

fn stop(work: &SwitchWorkload, hung: u64) -> String {
    let longest = work.longest_io_s.iter().copied().fold(0.0, f64::max);
    let silence = work.longest_silence_s;
    let bound = work.outstanding;
    if silence >= STOP * longest {
        let time = Scale::of("s", [silence]).two(silence);
        return match bound {
            Some(bound) if hung >= bound => format!(
                "That is all that may be under way ({}): the load stops for {time}, until a timer lets them go. ",
                about(bound)
            ),
            _ => format!("The load stops for {time}: no path was left that answers. "),
        };
    }
    match bound {
        Some(bound) if hung < bound => format!(
            "That is {} of the {} that may be under way; the rest go on over the other paths, and the load does not stop. ",
            about(hung),
            about(bound)
        ),
        _ => "What came after them took the other paths, and the load did not stop. ".to_owned(),
    }
}

fn spike(switch: &Switch, work: &SwitchWorkload, hung: u64) -> String {
    let (most, usual) = (work.completed_most_iops, work.survivors_peak_iops);
    if usual > 0.0 && most >= SPIKE * usual {
        let piled = work.backlog_peak.saturating_sub(hung);
        let rest = if piled > hung {
            ", and what waited behind them in the hosts,"
        } else {
            ""
        };
        return format!(
            "Let go, they{rest} come at once: up to {} a second in 20\u{202F}ms, {} times the survivors\u{2019} own busiest.",
            three(most),
            three(most / usual)
        );
    }
    if work.rated {
        "There was too little behind the set rate for a spike above it.".to_owned()
    } else if switch.settled_s.is_some() {
        "Nothing is made good afterwards: a closed loop has no rate that it is behind of.".to_owned()
    } else {
        String::new()
    }
}

fn whole(count: u64) -> usize {
    usize::try_from(count).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    /// One workload of the invented switch-over, changed.
    fn said(change: impl Fn(&mut SwitchWorkload)) -> String {
        let mut switch = sample_report().switches[0].clone();
        switch.replications = 1;
        let mut work = switch.workloads[1].clone();
        work.longest_io_s = vec![15.0];
        change(&mut work);
        stop_and_spike(&switch, &work)
    }

    #[test]
    fn a_bound_that_hangs_as_a_whole_is_a_stop_and_one_that_does_not_is_none() {
        let turns = said(|work| {
            work.policies = vec!["round-robin".into()];
            (work.retried, work.outstanding) = (32, Some(32));
            work.longest_silence_s = 14.99;
            work.backlog_peak = 60_000;
            (work.completed_most_iops, work.survivors_peak_iops) = (120_000.0, 4_000.0);
        });
        for part in ["in turn", "32 I/Os hung", "stops for 15", "30.0 times", "waited behind"] {
            assert!(turns.contains(part), "{part}: {turns}");
        }
        let level = said(|work| {
            work.policies = vec!["least-queue".into()];
            (work.retried, work.outstanding) = (2, Some(32));
            work.longest_silence_s = 0.001;
            (work.completed_most_iops, work.survivors_peak_iops) = (4_100.0, 4_000.0);
        });
        for part in ["fewest", "2 I/Os hung", "2 of the 32", "does not stop", "too little"] {
            assert!(level.contains(part), "{part}: {level}");
        }
    }

    #[test]
    fn nothing_is_said_where_nothing_hung() {
        assert_eq!(said(|work| work.retried = 0), "");
    }

    #[test]
    fn a_closed_loop_makes_nothing_good() {
        let closed = said(|work| {
            (work.retried, work.outstanding, work.rated) = (32, Some(32), false);
            work.longest_silence_s = 15.0;
        });
        assert!(closed.contains("no rate"), "{closed}");
    }
}
