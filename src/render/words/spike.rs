//! Stop and spike: whether the work of a workload stops while some of it hangs on lost paths, whether more than usual
//! comes after, and why its path policy makes it so.

use super::{plural, timer_words};
use crate::outcome::{Reference, Switch, SwitchWorkload};
use crate::render::number::{Scale, about, three};

/// From this many times the busiest 20 ms of the steady run that it settles to on, what comes after is a spike. A choice of
/// this program.
const SPIKE: f64 = 1.2;

/// From more than this many times the I/Os that hung on, the backlog is told of as work that waited behind them. A choice of
/// this program.
const BEHIND: u64 = 2;

/// Paragraphs on the workloads of which I/Os had to be sent again, those of one path policy together.
#[must_use]
pub(crate) fn stop_and_spike(switch: &Switch) -> Vec<String> {
    let mut policies: Vec<&[String]> = Vec::new();
    let hit = |work: &&SwitchWorkload| work.hung();
    for work in switch.workloads.iter().filter(hit) {
        if !policies.contains(&work.policies.as_slice()) {
            policies.push(&work.policies);
        }
    }
    let own = |policy: &&[String]| {
        let works = switch.workloads.iter().filter(hit);
        let works: Vec<&SwitchWorkload> = works.filter(|work| work.policies == *policy).collect();
        paragraph(policy, &works, switch.settles_to)
    };
    policies.iter().map(own).collect()
}

/// `40 I/Os`, as in the events, which are of the first run; with the range where others differ.
fn hung(work: &SwitchWorkload) -> String {
    let first = work.held_first();
    let fewest = work.held.iter().copied().min().unwrap_or(first);
    let most = work.held.iter().copied().max().unwrap_or(first);
    if fewest == most {
        plural(whole(first), "I/O")
    } else {
        let (fewest, most) = (about(fewest), about(most));
        format!(
            "{} ({fewest} to {most} over the runs)",
            plural(whole(first), "I/O")
        )
    }
}

fn spikes(work: &SwitchWorkload) -> bool {
    work.survivors_peak_iops > 0.0 && work.completed_most_iops >= SPIKE * work.survivors_peak_iops
}

fn paragraph(policy: &[String], works: &[&SwitchWorkload], beside: Reference) -> String {
    let mut out = match policy {
        [policy] => format!("Paths are taken {}.", taken(policy)),
        _ => "Hosts differ in how they take paths.".to_owned(),
    };
    let mut calm: Vec<String> = Vec::new();
    for work in works {
        let hung = hung(work);
        let of = work.outstanding.map_or_else(String::new, |bound| {
            format!(" of the {} that may be under way", about(bound))
        });
        if work.stopped() || spikes(work) || work.longest_open.contains(&true) {
            out += &format!(
                " {}: {hung}{of} hung. {}{}",
                work.name,
                stop(work),
                spike(work, beside)
            );
        } else {
            calm.push(format!("{} ({hung}{of} hung)", work.name));
        }
    }
    if !calm.is_empty() {
        out += &format!(
            " No stop and no spike: {}; the rest went on over the other paths.",
            calm.join(", ")
        );
    }
    out
}

/// Who gets an I/O while nobody knows that a path is lost.
fn taken(policy: &str) -> &'static str {
    match policy {
        "round-robin" => {
            "in turn: a lost path gets its share of all that comes, for as long as nobody knows that it is lost and a slot \
             is free"
        }
        "random" => {
            "at random: a lost path gets its share of all that comes, for as long as nobody knows that it is lost and a \
             slot is free"
        }
        "least-queue" => {
            "by the fewest I/Os under way: a lost path never gets rid of what it has, so that it gets another only when all \
             that answer have as many"
        }
        "least-bytes" => {
            "by the fewest bytes under way: a lost path never gets rid of what it has, so that it gets another only when all \
             that answer have as many"
        }
        _ => {
            "by preference: the preferred one gets all that comes while it has a free slot, lost or not, for as long as \
             nobody knows"
        }
    }
}

fn stop(work: &SwitchWorkload) -> String {
    if !work.stopped() {
        return "The rest went on over the other paths: no stop. ".to_owned();
    }
    let time = Scale::of("s", [work.longest_silence_s]).two(work.longest_silence_s);
    if work
        .outstanding
        .is_some_and(|bound| work.held_first() >= bound)
    {
        format!(
            "That is all: the load stops for {time}, until they are let go and a path takes more. "
        )
    } else {
        format!("The load stops for {time}: no path was left that answers. ")
    }
}

fn spike(work: &SwitchWorkload, beside: Reference) -> String {
    if work.longest_open.contains(&true) {
        return "Nothing has let them go in the time simulated.".to_owned();
    }
    if spikes(work) {
        let rest = if work.backlog_peak > BEHIND * work.held_first() {
            ", and what waited behind them in the hosts,"
        } else {
            ""
        };
        let (most, usual) = (work.completed_most_iops, work.survivors_peak_iops);
        return format!(
            "Let go, they{rest} come at once: up to {} a second in 20\u{202F}ms, {} times the busiest 20\u{202F}ms of {}.",
            three(most),
            three(most / usual),
            beside.words().replace('\'', "\u{2019}")
        );
    }
    if work.rated {
        "What is behind the set rate is made good without a spike.".to_owned()
    } else {
        "Nothing is made good afterwards: a closed loop has no rate that it is behind of."
            .to_owned()
    }
}

/// What the longest I/O took beyond the timers, s: its own latency and queues; less than nothing where none was caught in the
/// instant of the loss. `None` where it is not over.
#[must_use]
pub(crate) fn over_timers(work: &SwitchWorkload) -> Option<f64> {
    let stall = work.by_timers.as_ref()?;
    let longest = work.longest_io_s.iter().copied().fold(0.0, f64::max);
    (!work.longest_open.contains(&true)).then_some(longest - stall.s)
}

/// Each sum of timers of a switch-over in words, with the workloads that wait for it.
#[must_use]
pub(crate) fn stalls_by_timers(switch: &Switch) -> Vec<(String, Vec<String>)> {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for work in &switch.workloads {
        let Some(stall) = &work.by_timers else {
            continue;
        };
        let parts: Vec<String> = stall.by.split(" + ").map(timer_words).collect();
        let sum = if parts.len() > 1 {
            format!(" = {}\u{202F}s", three(stall.s))
        } else {
            String::new()
        };
        let said = format!("{}{sum}.", parts.join(" + "));
        match found.iter_mut().find(|(known, _)| *known == said) {
            Some((_, names)) => names.push(work.name.clone()),
            None => found.push((said, vec![work.name.clone()])),
        }
    }
    found
}

fn whole(count: u64) -> usize {
    usize::try_from(count).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    /// What is said of one workload of the invented switch-over, changed.
    fn said(change: impl Fn(&mut SwitchWorkload)) -> String {
        let mut switch = sample_report().switches[0].clone();
        switch.replications = 1;
        switch.workloads.truncate(1);
        let work = &mut switch.workloads[0];
        work.longest_io_s = vec![15.0];
        change(work);
        stop_and_spike(&switch).join("\n")
    }

    #[test]
    fn a_bound_that_hangs_as_a_whole_is_a_stop_and_one_that_does_not_is_none() {
        let turns = said(|work| {
            work.policies = vec!["round-robin".into()];
            // Sent on to a path that was given up in the same instant, eight were sent again twice.
            (work.retried, work.held, work.outstanding) = (40, vec![32], Some(32));
            work.longest_silence_s = 14.99;
            work.backlog_peak = 60_000;
            (work.completed_most_iops, work.survivors_peak_iops) = (120_000.0, 4_000.0);
        });
        for part in [
            "in turn",
            "32 I/Os of the 32",
            "That is all",
            "stops for 15",
            "30.0 times",
            "waited behind",
        ] {
            assert!(turns.contains(part), "{part}: {turns}");
        }
        let level = said(|work| {
            work.policies = vec!["least-queue".into()];
            (work.retried, work.held, work.outstanding) = (2, vec![2], Some(32));
            work.longest_silence_s = 0.001;
            (work.completed_most_iops, work.survivors_peak_iops) = (4_100.0, 4_000.0);
        });
        for part in ["fewest", "2 I/Os of the 32", "No stop and no spike"] {
            assert!(level.contains(part), "{part}: {level}");
        }
    }

    /// What is compared with is the steady run that it settles to: with all parts back there are no survivors.
    #[test]
    fn a_spike_is_told_beside_the_run_that_it_settles_to() {
        let beside = |reference: Reference| {
            let mut switch = sample_report().switches[0].clone();
            switch.workloads.truncate(1);
            switch.settles_to = reference;
            let work = &mut switch.workloads[0];
            work.longest_io_s = vec![15.0];
            work.longest_open = vec![false];
            (work.retried, work.held) = (40, vec![32]);
            (work.completed_most_iops, work.survivors_peak_iops) = (120_000.0, 4_000.0);
            stop_and_spike(&switch).join("\n")
        };
        let left = beside(Reference::Survivors);
        assert!(
            left.contains("30.0 times the busiest 20\u{202F}ms of the survivors\u{2019} own"),
            "{left}"
        );
        let back = beside(Reference::Healthy);
        assert!(
            back.contains("of the steady run of the whole site"),
            "{back}"
        );
        assert!(!back.contains("survivors"), "{back}");
        let slow = beside(Reference::WithoutSlow);
        assert!(slow.contains("without what stays slow"), "{slow}");
    }

    /// The thresholds, on both sides of each.
    #[test]
    fn a_spike_a_stop_and_a_backlog_begin_where_they_are_said_to() {
        let of = |most: f64, silence_s: f64, backlog: u64| {
            said(move |work| {
                (work.retried, work.held, work.outstanding) = (40, vec![100], None);
                (work.rated, work.longest_open) = (true, vec![false]);
                work.longest_silence_s = silence_s;
                work.backlog_peak = backlog;
                (work.completed_most_iops, work.survivors_peak_iops) = (most, 1_000.0);
            })
        };
        // 15 s is the longest I/O; half of it is a stop.
        assert!(of(1_201.0, 0.0, 0).contains("come at once"));
        assert!(of(1_199.0, 0.0, 0).contains("No stop and no spike"));
        assert!(of(1_000.0, 7.51, 0).contains("The load stops"));
        assert!(of(1_000.0, 7.49, 0).contains("No stop and no spike"));
        assert!(of(1_201.0, 0.0, 201).contains("waited behind"));
        assert!(!of(1_201.0, 0.0, 200).contains("waited behind"));
    }

    #[test]
    fn nothing_is_said_where_nothing_hung() {
        assert_eq!(said(|work| work.retried = 0), "");
    }

    #[test]
    fn a_closed_loop_makes_nothing_good_and_what_hangs_to_the_end_is_said() {
        let closed = |open: bool| {
            said(move |work| {
                (work.retried, work.held, work.rated) = (32, vec![32], false);
                work.outstanding = Some(32);
                work.longest_silence_s = 15.0;
                (work.completed_most_iops, work.survivors_peak_iops) = (100.0, 100.0);
                work.longest_open = vec![open];
            })
        };
        assert!(closed(false).contains("no rate"), "{}", closed(false));
        assert!(closed(true).contains("Nothing has let"), "{}", closed(true));
    }
}
