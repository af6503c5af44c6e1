//! Stop and spike: whether the work of a workload stops while some of it hangs on lost paths, whether more than usual
//! comes after, and why its path policy makes it so.

use super::pathless::no_path_is_left;
use super::{plural, timer_words};
use crate::outcome::{Harm, Reference, StopCause, Switch, SwitchWorkload, WorkStop};
use crate::render::number::{Scale, about, three};

/// From this many times the busiest 20 ms of the steady run that it settles to on, what comes after is a spike, where it is more than
/// chance makes of so long a run ([`SwitchWorkload::chance_most_iops`]). A choice of this program.
const SPIKE: f64 = 1.2;

/// From more than this many times the I/Os that hung on, the backlog is told of as work that waited behind them. A choice of
/// this program.
const BEHIND: u64 = 2;

/// Paragraphs on the workloads of which I/Os had to be sent again, those of one path policy together.
#[must_use]
pub(crate) fn stop_and_spike(switch: &Switch) -> Vec<String> {
    let mut policies: Vec<&[String]> = Vec::new();
    let hit = |work: &&SwitchWorkload| work.hung() || work.stopped();
    for work in switch.workloads.iter().filter(hit) {
        if !policies.contains(&work.policies.as_slice()) {
            policies.push(&work.policies);
        }
    }
    let own = |policy: &&[String]| {
        let works = switch.workloads.iter().filter(hit);
        let works: Vec<&SwitchWorkload> = works.filter(|work| work.policies == *policy).collect();
        paragraph(policy, &works, switch)
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

/// Whether nothing was taken back from a path, as where TCP sends again on a path that stands.
fn nothing_taken_back(work: &SwitchWorkload) -> bool {
    work.held.iter().all(|held| *held == 0)
}

fn spikes(work: &SwitchWorkload) -> bool {
    let (most, usual) = (work.completed_most_iops, work.survivors_peak_iops);
    usual > 0.0 && most >= SPIKE * usual && most > work.chance_most_iops
}

fn paragraph(policy: &[String], works: &[&SwitchWorkload], switch: &Switch) -> String {
    let (beside, harm) = (switch.settles_to, switch.harm);
    let mut out = match policy {
        [policy] if harm == Harm::Slow => format!("Paths are taken {}.", taken_slow(policy)),
        // Where no path is left there is no choice among them to explain.
        [_] if works
            .iter()
            .all(|work| work.no_path && !work.partly_without_path()) =>
        {
            String::new()
        }
        [policy] => format!("Paths are taken {}.", taken(policy)),
        _ => "Hosts differ in how they take paths.".to_owned(),
    };
    let mut calm: Vec<String> = Vec::new();
    for work in works {
        let hung = hung(work);
        let at_once = if work.stops.len() > 1 || switch.losses > 1 {
            " at a time"
        } else {
            ""
        };
        let of = work.outstanding.map_or_else(String::new, |bound| {
            format!(" of the {} that may be under way", about(bound))
        });
        if work.stopped() || spikes(work) || work.longest_open.contains(&true) {
            // Paths that stand through it, as TCP sends again what was lost, hold what no count has.
            let hung = if nothing_taken_back(work) {
                "nothing was taken back from a path".to_owned()
            } else {
                format!("{hung}{of} hung{at_once}")
            };
            out += &format!(
                " {}: {hung}. {}{}",
                work.name,
                stop(switch, work),
                spike(work, beside)
            );
        } else {
            calm.push(format!(
                "{} ({hung}{of} hung{})",
                work.name,
                slowed(work, switch)
            ));
        }
    }
    if !calm.is_empty() {
        out += &format!(
            " No stop and no spike: {}; {}.",
            calm.join(", "),
            went_on(harm)
        );
    }
    out.trim_start().to_owned()
}

/// That much less than usual was completed for a time, though the work went on: what hung took the places of what came. Of so few I/Os that
/// chance alone leaves bins empty nothing is said.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn slowed(work: &SwitchWorkload, switch: &Switch) -> String {
    let bin = switch.bin_s.max(LEAST_BIN_S);
    let usual = work.survivors_peak_iops;
    let least = work
        .completed_least_iops
        .filter(|least| usual * bin >= SLOWED_IOS && *least < usual * SLOWED);
    least.map_or_else(String::new, |least| {
        format!(
            "; as few as {} I/Os a second were completed in {}",
            about(least.round().max(0.0) as u64),
            least_bin(switch)
        )
    })
}

/// Work goes slowly below this share of the busiest 20 ms of its steady run; told where a bin has at least so many I/Os. Choices of this
/// program.
const SLOWED: f64 = 0.5;
const SLOWED_IOS: f64 = 40.0;

/// Who gets an I/O while nobody knows that a path is lost.
fn taken(policy: &str) -> &'static str {
    match policy {
        "team" => {
            "over one port of a team at a time: what is under way there hangs when that port is lost, and so does what comes, \
             until the traffic moves to another and TCP sends again"
        }
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

/// The same where nothing is lost, but a part is slow or damages frames.
fn taken_slow(policy: &str) -> &'static str {
    match policy {
        "team" => "over one port of a team at a time, slow or not: what it loses TCP sends again",
        "round-robin" => {
            "in turn: a path that is slow or loses frames gets its share of all that comes like any other while a slot is \
             free, and what it loses waits for a timer"
        }
        "random" => {
            "at random: a path that is slow or loses frames gets its share of all that comes like any other while a slot is \
             free, and what it loses waits for a timer"
        }
        "least-queue" => {
            "by the fewest I/Os under way: a path that is slow, or waits for what it has lost, gets fewer of those that come"
        }
        "least-bytes" => {
            "by the fewest bytes under way: a path that is slow, or waits for what it has lost, gets fewer of those that come"
        }
        _ => {
            "by preference: the preferred one gets all that comes while it has a free slot, slow or not, and what it loses \
             waits for a timer"
        }
    }
}

/// What became of those that did not hang.
const fn went_on(harm: Harm) -> &'static str {
    match harm {
        Harm::Loss | Harm::Both => "the rest went on over the other paths",
        Harm::Slow => "the rest went on",
    }
}

/// What a run cannot show of a part that is still slow, or damages frames, when it ends.
#[must_use]
pub(crate) fn still_slow(switch: &Switch) -> Option<String> {
    (switch.settles_to == Reference::StaysSlow).then(|| {
        format!(
            "A part is still slow, or damages frames, when the run ends, {}\u{202F}s {}: what is lost later is in none of these figures, and the state that lasts is judged by steady runs of its own.",
            three(switch.to_s),
            switch.counted_from.after()
        )
    })
}

/// The bins of which the emptiest is told: 20 ms, or wider ones where the run has none so short.
#[must_use]
pub(crate) fn least_bin(switch: &Switch) -> String {
    let least = switch.bin_s.max(LEAST_BIN_S);
    Scale::of("s", [least]).two(least)
}

/// `least and most completed in 20 ms`.
#[must_use]
pub(crate) fn least_and_most(switch: &Switch) -> String {
    if switch.bin_s > LEAST_BIN_S {
        format!(
            "least completed in {}, most in 20\u{202F}ms",
            least_bin(switch)
        )
    } else {
        "least and most completed in 20\u{202F}ms".to_owned()
    }
}

/// The width of the bins in which completions are least and most.
const LEAST_BIN_S: f64 = 0.02;

/// Stops that are told one by one; more are counted.
const STOPS_TOLD: usize = 4;

fn stop(switch: &Switch, work: &SwitchWorkload) -> String {
    let harm = switch.harm;
    if !work.stopped() {
        return format!("{}: no stop. ", super::sentence(went_on(harm)));
    }
    let time = |seconds: f64| Scale::of("s", [seconds]).two(seconds);
    let all = work
        .outstanding
        .is_some_and(|bound| work.held_first() >= bound);
    let longest = work.stops.iter().max_by(|a, b| a.s.total_cmp(&b.s));
    let cause = longest.map(|stop| stop.cause);
    let fails = work.failed.first().is_some_and(|failed| *failed > 0);
    let (begin, end) = match (all, harm) {
        _ if cause == Some(StopCause::HostsLost) => {
            ("The load", ": its hosts were out of service themselves")
        }
        _ if cause == Some(StopCause::Volumes) => (
            "The load",
            ": volumes had no controller, and what came for the others waited behind",
        ),
        (true, _) if fails && cause == Some(StopCause::LostPaths) => (
            "That is all: the load",
            if work.held_first() == 1 {
                ", until it fails"
            } else {
                ", until they fail"
            },
        ),
        (true, _) if fails => ("That is all: the load", ", until a path takes work again"),
        (true, _) if work.held_first() == 1 => (
            "That is all: the load",
            ", until it is let go and a path takes more",
        ),
        (true, _) => (
            "That is all: the load",
            ", until they are let go and a path takes more",
        ),
        (false, Harm::Slow) => ("The load", ": nothing else was under way that came through"),
        (false, _) if cause == Some(StopCause::NoPath) && work.policies == ["team"] => (
            "The load",
            ": nothing answered over the port in use, and the team had not moved to another",
        ),
        (false, _) if cause == Some(StopCause::NoPath) && work.partly_without_path() => (
            "The load",
            ": some hosts had no path left that answers, and nothing of the others came through",
        ),
        (false, _) if cause == Some(StopCause::NoPath) && kept_for_failback(switch, work) => (
            "The load",
            ": no path in use was left that answers, and those that are back are not used before failback",
        ),
        (false, _) if cause == Some(StopCause::NoPath) => {
            ("The load", ": no path was left that answers")
        }
        (false, _) if cause == Some(StopCause::LostPaths) => (
            "The load",
            ": what was under way hung on what is lost, and nothing else came through",
        ),
        (false, _) => ("The load", ""),
    };
    match work.stops.as_slice() {
        [] => format!("{begin} stops for {}{end}. ", time(work.longest_silence_s)),
        [only] => match only.to_s {
            Some(_) => format!("{begin} stops for {}{end}. ", time(only.s)),
            None => format!(
                "{begin} stops, and {} later, when the run ends, nothing of it has been completed since. ",
                time(only.s)
            ),
        },
        many => format!("{begin} stops {} times: {}. ", many.len(), told(many)),
    }
}

/// Whether paths of a workload were back, and kept for failback, when its longest stop began.
fn kept_for_failback(switch: &Switch, work: &SwitchWorkload) -> bool {
    let longest = work.stops.iter().max_by(|a, b| a.s.total_cmp(&b.s));
    let mut lanes = switch
        .lanes
        .iter()
        .filter(|lane| lane.workloads.contains(&work.name));
    longest.is_some_and(|stop| {
        lanes.any(|lane| {
            let mut spans = lane.spans.iter();
            spans.any(|span| {
                let then = span.from_s <= stop.from_s && stop.from_s < span.to_s;
                then && span.state.contains("kept for failback")
            })
        })
    })
}

/// Why more attempts are sent again than I/Os hung, where they are and one fault does not tell.
#[must_use]
pub(crate) fn sent_twice(switch: &Switch) -> Option<String> {
    // Of several losses each catches I/Os of its own.
    let more = |work: &&SwitchWorkload| {
        switch.losses <= 1 && work.stops.len() <= 1 && work.retried > work.held.iter().sum::<u64>()
    };
    let names: Vec<String> = switch
        .workloads
        .iter()
        .filter(|work| work.hung())
        .filter(more)
        .map(|work| work.name.clone())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "Sent again counts attempts, more of {} than I/Os hung: one that is let go may be given a path that is lost as well, and \
             is sent again with that.",
            super::listed(&names)
        )
    })
}

/// Each of several stops with its beginning; many of them counted, with the longest.
fn told(stops: &[WorkStop]) -> String {
    let time = |seconds: f64| Scale::of("s", [seconds]).two(seconds);
    let one = |stop: &WorkStop| {
        let open = if stop.to_s.is_none() {
            " and is not over when the run ends"
        } else {
            ""
        };
        format!(
            "for {} from {}\u{202F}s on{open}",
            time(stop.s),
            crate::render::number::at_place(stop.from_s, -1)
        )
    };
    if stops.len() <= STOPS_TOLD {
        let all: Vec<String> = stops.iter().map(one).collect();
        return super::listed(&all);
    }
    let longest = stops.iter().max_by(|a, b| a.s.total_cmp(&b.s));
    let longest = longest.map_or_else(String::new, one);
    let whole = stops.iter().map(|stop| stop.s).sum();
    format!("the longest {longest}, {} in all", time(whole))
}

fn spike(work: &SwitchWorkload, beside: Reference) -> String {
    if work.hosts_gone > 0 {
        return "Nobody is left to do the work of lost hosts.".to_owned();
    }
    let over = work.stops.last().is_none_or(|stop| stop.to_s.is_some());
    if !over && work.failed.iter().any(|failed| *failed > 0) {
        return "What hangs fails when its time is over; only a path that is back ends that."
            .to_owned();
    }
    if !over || work.longest_open.contains(&true) {
        let them = if work.held_first() == 1 { "it" } else { "them" };
        if work.no_path {
            return format!(
                "{}: only one that is back lets {them} go.",
                super::sentence(&no_path_is_left(work))
            );
        }
        if work.held_first() == 1 {
            return "When the run ends it still waits: no timer that would let it go has run out by then."
                .to_owned();
        }
        let still = work.hanging.first().copied().filter(|still| *still > 1);
        let still = still.map_or_else(
            || "some of them".to_owned(),
            |still| format!("{} I/Os", about(still)),
        );
        return format!(
            "When the run ends {still} still wait: no timer that would let them go has run out by then."
        );
    }
    if spikes(work) {
        let rest = if work.backlog_peak > BEHIND * work.held_first() {
            ", and what waited behind them in the hosts,"
        } else {
            ""
        };
        let (most, usual) = (work.completed_most_iops, work.survivors_peak_iops);
        let (they, come) = match (work.held_first(), rest.is_empty()) {
            (1, true) => ("it", "comes"),
            (1, false) => ("it", "come"),
            _ => ("they", "come"),
        };
        let go = match nothing_taken_back(work) {
            true => "What waited comes".to_owned(),
            false => format!("Let go, {they}{rest} {come}"),
        };
        return format!(
            "{go} at once: up to {} a second in 20\u{202F}ms, {} times the busiest 20\u{202F}ms of {}.",
            three(most),
            three(most / usual),
            beside.words().replace('\'', "\u{2019}")
        );
    }
    if work.rated {
        made_good(work)
    } else {
        "Nothing is made good afterwards: a closed loop has no rate that it is behind of."
            .to_owned()
    }
}

/// What becomes of what is behind the set rate, where it comes without a spike.
fn made_good(work: &SwitchWorkload) -> String {
    let any = |counts: &[u64]| counts.iter().any(|count| *count > 0);
    let never = match (any(&work.failed), any(&work.unasked)) {
        (true, true) => Some("What has failed, or was not asked for,"),
        (true, false) => Some("What has failed"),
        (false, true) => Some("What was not asked for"),
        (false, false) => None,
    };
    // A backlog that never came down again.
    let piles_up = work.drain_s.is_none() && !work.fails_after;
    match (never, piles_up) {
        (None, false) => "What is behind the set rate is made good without a spike.".to_owned(),
        (None, true) => {
            "What is behind the set rate is not made good before the run ends.".to_owned()
        }
        (Some(never), false) => format!(
            "{never} is not made good; what else is behind the set rate comes without a spike."
        ),
        (Some(never), true) => format!(
            "{never} is not made good, nor is what else is behind the set rate before the run ends."
        ),
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

/// Each sum of timers of a switch-over in words, with the workloads that wait for it; where none is worked out, the timer that ended
/// the longest I/O.
#[must_use]
pub(crate) fn stalls_by_timers(switch: &Switch) -> Vec<(String, Vec<String>)> {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for work in &switch.workloads {
        let freed = work.freed_by.as_ref().filter(|event| event.ended_stall);
        let said = match (
            &work.by_timers,
            freed.and_then(|event| event.timer.as_ref()),
        ) {
            (Some(stall), _) => {
                let parts: Vec<String> = stall.by.split(" + ").map(timer_words).collect();
                let sum = if parts.len() > 1 {
                    format!(" = {}\u{202F}s", three(stall.s))
                } else {
                    String::new()
                };
                format!("{}{sum}.", parts.join(" + "))
            }
            (None, Some(timer)) => {
                format!(
                    "no sum is worked out; what ended the longest I/O is {}.",
                    timer_words(timer)
                )
            }
            (None, None) => continue,
        };
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
        let slow = beside(Reference::StaysSlow);
        assert!(slow.contains("with what stays slow"), "{slow}");
    }

    /// Two thousand of eight for a second are no stop, and no small matter.
    #[test]
    fn work_that_goes_on_slowly_says_how_slowly() {
        let of = |least: f64, usual: f64| {
            said(move |work| {
                (work.retried, work.held, work.outstanding) = (40, vec![100], None);
                (work.rated, work.longest_open) = (true, vec![false]);
                (work.longest_silence_s, work.backlog_peak) = (0.0, 0);
                work.completed_least_iops = Some(least);
                (work.completed_most_iops, work.survivors_peak_iops) = (usual, usual);
            })
        };
        let slow = of(2_000.0, 8_000.0);
        assert!(
            slow.contains("as few as 2\u{202F}000 I/Os a second were completed in 20\u{202F}ms"),
            "{slow}"
        );
        assert!(!of(4_001.0, 8_000.0).contains("as few as"));
        assert!(!of(0.0, 100.0).contains("as few as"));
    }

    /// Where few I/Os come in 20 ms, the busiest of many of them has more than that of few by chance.
    #[test]
    fn what_chance_makes_of_a_long_run_is_no_spike() {
        let of = |chance: f64| {
            said(move |work| {
                (work.rated, work.longest_open) = (true, vec![false]);
                work.longest_silence_s = 0.0;
                (work.completed_most_iops, work.survivors_peak_iops) = (450.0, 350.0);
                work.chance_most_iops = chance;
            })
        };
        assert!(of(449.0).contains("1.29 times"), "{}", of(449.0));
        assert!(of(450.0).contains("No stop and no spike"), "{}", of(450.0));
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
        assert!(
            closed(true).contains("When the run ends some of them still wait"),
            "{}",
            closed(true)
        );
    }

    /// A few stops are told one by one, many counted with the longest, and one that is not over is not said to end.
    #[test]
    fn stops_are_told_apart() {
        let of = |stops: &[(f64, f64)], over: bool, failed: u64| {
            let stops: Vec<WorkStop> = stops
                .iter()
                .map(|(from_s, s)| WorkStop {
                    from_s: *from_s,
                    to_s: over.then_some(from_s + s),
                    s: *s,
                    ended_by: None,
                    cause: StopCause::NoPath,
                })
                .collect();
            said(move |work| {
                work.stops.clone_from(&stops);
                (work.retried, work.held, work.outstanding) = (8, vec![8], Some(8));
                (work.rated, work.failed) = (false, vec![failed]);
                work.longest_open = vec![false];
                (work.completed_most_iops, work.survivors_peak_iops) = (100.0, 100.0);
            })
        };
        let two = of(&[(0.0, 5.1), (19.0, 0.7)], true, 0);
        assert!(
            two.contains("stops 2 times: for 5.1\u{202F}s from 0.0\u{202F}s on and for 700\u{202F}ms from 19.0"),
            "{two}"
        );
        assert!(two.contains("hung at a time"), "{two}");
        // What TCP sends again over paths that stand is taken back from none: no number is told of it.
        let again = said(|work| {
            work.stops = vec![WorkStop {
                from_s: 0.0,
                to_s: Some(3.0),
                s: 3.0,
                ended_by: None,
                cause: StopCause::NoPath,
            }];
            (work.retried, work.held, work.failed) = (0, vec![0], vec![0]);
            work.longest_open = vec![false];
            (work.completed_most_iops, work.survivors_peak_iops) = (900.0, 100.0);
        });
        assert!(
            again.contains("nothing was taken back from a path. ")
                && again.contains("What waited comes at once")
                && !again.contains("0 I/Os"),
            "{again}"
        );
        let many = of(
            &[(0.0, 1.0), (2.0, 1.0), (4.0, 1.5), (6.0, 1.0), (8.0, 1.0)],
            true,
            0,
        );
        assert!(
            many.contains(
                "5 times: the longest for 1.5\u{202F}s from 4.0\u{202F}s on, 5.5\u{202F}s in all"
            ),
            "{many}"
        );
        let open = of(&[(0.0, 65.0)], false, 0);
        assert!(
            open.contains("nothing of it has been completed since"),
            "{open}"
        );
        assert!(
            open.contains("When the run ends some of them still wait"),
            "{open}"
        );
        let failing = of(&[(0.0, 65.0)], false, 13);
        assert!(
            failing.contains("only a path that is back ends that"),
            "{failing}"
        );
        assert!(!failing.contains("let them go"), "{failing}");
    }

    /// One I/O that hangs is no "they".
    #[test]
    fn one_that_hangs_is_told_as_one() {
        let of = |held: u64, open: bool| {
            said(move |work| {
                (work.retried, work.held, work.outstanding) = (held, vec![held], Some(held));
                (work.rated, work.longest_silence_s) = (false, 15.0);
                (work.completed_most_iops, work.survivors_peak_iops) = (500.0, 100.0);
                (work.backlog_peak, work.longest_open) = (0, vec![open]);
            })
        };
        let one = of(1, false);
        for part in [
            "1 I/O of the 1",
            "until it is let go",
            "Let go, it comes at once",
        ] {
            assert!(one.contains(part), "{part}: {one}");
        }
        assert!(of(1, true).contains("let it go"));
        let two = of(2, false);
        for part in [
            "2 I/Os of the 2",
            "until they are let go",
            "Let go, they come at once",
        ] {
            assert!(two.contains(part), "{part}: {two}");
        }
        assert!(of(2, true).contains("let them go"));
    }

    /// More attempts than I/Os are explained; as many, or those of several stops, need no word.
    #[test]
    fn attempts_beyond_the_ios_that_hung_are_explained() {
        let mut switch = sample_report().switches[0].clone();
        switch.workloads.truncate(1);
        let work = &mut switch.workloads[0];
        (work.retried, work.held) = (290, vec![98, 96, 96]);
        assert_eq!(sent_twice(&switch), None);
        switch.workloads[0].retried = 291;
        let said = sent_twice(&switch).expect("one is sent again twice");
        assert!(said.contains(&switch.workloads[0].name), "{said}");
        let stop = WorkStop {
            from_s: 0.0,
            to_s: Some(1.0),
            s: 1.0,
            ended_by: None,
            cause: StopCause::NoPath,
        };
        switch.workloads[0].stops = vec![stop.clone(), stop];
        assert_eq!(sent_twice(&switch), None);
        switch.workloads[0].stops.clear();
        assert!(sent_twice(&switch).is_some());
        // Each of three losses catches 98 at most, 291 in all.
        switch.losses = 3;
        assert_eq!(sent_twice(&switch), None);
    }

    /// What is behind is made good only where the backlog comes down, and nothing of it failed or was not asked for.
    #[test]
    fn what_is_not_made_good_is_not_said_to_be() {
        let of = |failed: u64, unasked: u64, drained: Option<f64>| {
            said(move |work| {
                (work.retried, work.held, work.outstanding) = (4, vec![10], None);
                (work.rated, work.longest_open) = (true, vec![false]);
                (work.completed_most_iops, work.survivors_peak_iops) = (4_000.0, 4_000.0);
                (work.failed, work.unasked) = (vec![failed], vec![unasked]);
                (work.drain_s, work.fails_after) = (drained, false);
                work.stops = vec![WorkStop {
                    from_s: 0.0,
                    to_s: Some(15.0),
                    s: 15.0,
                    ended_by: None,
                    cause: StopCause::LostPaths,
                }];
            })
        };
        let good = "What is behind the set rate is made good without a spike.";
        assert!(of(0, 0, Some(1.0)).contains(good));
        for (failed, unasked, drained, words) in [
            (0, 0, None, "is not made good before the run ends"),
            (
                0,
                14_000,
                Some(1.0),
                "What was not asked for is not made good; what else",
            ),
            (
                3,
                0,
                Some(1.0),
                "What has failed is not made good; what else",
            ),
            (
                3,
                5,
                Some(1.0),
                "What has failed, or was not asked for, is not made good",
            ),
            (3, 0, None, "is not made good, nor is what else"),
        ] {
            let said = of(failed, unasked, drained);
            assert!(said.contains(words) && !said.contains(good), "{said}");
        }
    }

    /// Paths that are back and wait for their failback answer: it is their host that does not use them.
    #[test]
    fn paths_kept_for_failback_are_not_said_to_be_without_an_answer() {
        let mut switch = sample_report().switches[0].clone();
        switch.workloads.truncate(1);
        let work = &mut switch.workloads[0];
        (work.failed, work.outstanding) = (vec![0; 10], None);
        work.stops = vec![WorkStop {
            from_s: 40.0,
            to_s: Some(45.0),
            s: 5.0,
            ended_by: None,
            cause: StopCause::NoPath,
        }];
        assert!(
            stop_and_spike(&switch)
                .join("\n")
                .contains(": no path was left that answers")
        );
        let name = switch.workloads[0].name.clone();
        let lane = switch
            .lanes
            .iter_mut()
            .find(|lane| lane.workloads.contains(&name));
        lane.expect("it has paths")
            .spans
            .push(crate::outcome::LaneSpan {
                from_s: 25.0,
                to_s: 45.0,
                state: "back, kept for failback".into(),
                kind: "failed".into(),
            });
        let said = stop_and_spike(&switch).join("\n");
        assert!(
            said.contains("those that are back are not used before failback")
                && !said.contains(": no path was left"),
            "{said}"
        );
    }

    /// A stop is told with its cause: a path that answers is not said to be missing where one was there all along.
    #[test]
    fn stops_are_told_with_their_cause() {
        for (cause, failed, words) in [
            (StopCause::NoPath, 0, "no path was left that answers"),
            (StopCause::LostPaths, 0, "hung on what is lost"),
            (StopCause::Volumes, 0, "volumes had no controller"),
            (
                StopCause::HostsLost,
                0,
                "its hosts were out of service themselves",
            ),
        ] {
            let mut switch = sample_report().switches[0].clone();
            let work = &mut switch.workloads[0];
            (work.failed, work.outstanding) = (vec![failed; 10], None);
            work.stops = vec![WorkStop {
                from_s: 0.0,
                to_s: Some(1.0),
                s: 1.0,
                ended_by: None,
                cause,
            }];
            let said = stop_and_spike(&switch).join("\n");
            assert!(said.contains(words), "{said}");
            assert_eq!(
                said.contains("no path was left"),
                cause == StopCause::NoPath,
                "{said}"
            );
        }
        // The other port of a team stands by all the while.
        let mut switch = sample_report().switches[0].clone();
        let work = &mut switch.workloads[0];
        (work.policies, work.outstanding, work.failed) =
            (vec!["team".to_owned()], None, vec![0; 10]);
        work.stops = vec![WorkStop {
            from_s: 0.0,
            to_s: Some(1.0),
            s: 1.0,
            ended_by: None,
            cause: StopCause::NoPath,
        }];
        let said = stop_and_spike(&switch).join("\n");
        assert!(
            said.contains("nothing answered over the port in use"),
            "{said}"
        );
        assert!(!said.contains("no path was left"), "{said}");
        // One at a time whose attempt fails, because none may follow, goes on over the other path.
        let mut switch = sample_report().switches[0].clone();
        let work = &mut switch.workloads[0];
        (work.outstanding, work.held, work.failed) = (Some(1), vec![1; 10], vec![1; 10]);
        work.stops = vec![WorkStop {
            from_s: 0.0,
            to_s: Some(1.0),
            s: 1.0,
            ended_by: None,
            cause: StopCause::LostPaths,
        }];
        let said = stop_and_spike(&switch).join("\n");
        assert!(said.contains(", until it fails. "), "{said}");
    }

    /// Every policy has words for a part that is slow, and none of them speaks of a lost path.
    #[test]
    fn slow_parts_have_words_of_their_own() {
        for policy in [
            "round-robin",
            "random",
            "least-queue",
            "least-bytes",
            "nearest",
        ] {
            let mut switch = sample_report().switches[0].clone();
            switch.harm = Harm::Slow;
            switch.workloads.truncate(1);
            let work = &mut switch.workloads[0];
            work.policies = vec![policy.to_owned()];
            (work.retried, work.held) = (4, vec![4]);
            let slow = stop_and_spike(&switch).join("\n");
            assert!(
                slow.contains("slow") && !slow.contains("lost path"),
                "{slow}"
            );
            assert!(!slow.contains("over the other paths"), "{slow}");
            switch.harm = Harm::Loss;
            let lost = stop_and_spike(&switch).join("\n");
            assert!(lost.contains("lost") && !lost.contains("slow"), "{lost}");
        }
    }
}
