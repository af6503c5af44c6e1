//! What a line of the timeline sums up of the log, which lines count the I/Os that failed, and which return ended a stall.

use super::Setting;
use super::figures::seconds_after;
use super::story::with_value;
use crate::model::{LogEntry, LogKind, Note, Tally, TimerName};
use crate::site::Action;
use crate::unit::{Duration, Instant};

/// What happened together.
pub(super) struct Told {
    pub(super) first: Instant,
    pub(super) last: Instant,
    pub(super) count: u64,
    pub(super) ios: u64,
    /// Of these, failed or left waiting for a path.
    pub(super) failed: u64,
    pub(super) waiting: u64,
    /// The last of the paths was given up with this: who waits, waits for a path.
    pub(super) pathless: bool,
    /// Volumes were without a controller: who waits, waits for one.
    pub(super) unserved: bool,
    pub(super) timer: Option<(TimerName, Duration)>,
}

impl Told {
    /// Nothing yet of what an entry begins.
    pub(super) const fn begin(entry: &LogEntry) -> Self {
        Self {
            first: entry.at,
            last: entry.at,
            count: 0,
            ios: 0,
            failed: 0,
            waiting: 0,
            pathless: false,
            unserved: false,
            timer: entry.timer,
        }
    }

    pub(super) const fn add(&mut self, entry: &LogEntry) {
        self.last = entry.at;
        self.count += 1;
        self.ios += entry.ios;
    }
}

/// Of the line of the log by which paths are back because parts are, and no timer of their host had a say:
/// `; ended by the return of core-A at 2.000 s, and forwarding update, 1s after it`.
pub(super) fn ended_by_return(
    setting: &Setting<'_>,
    tally: &Tally,
    entry: usize,
) -> Option<String> {
    let at = tally.log.get(entry)?.at;
    let until = || tally.log.iter().take(entry);
    let mut scripts = until().filter_map(|known| match known.kind {
        LogKind::Script(index) => setting.scripts.get(index as usize),
        _ => None,
    });
    let script = scripts.rfind(|script| script.action == Action::Restore)?;
    let mut noted = until().filter(|known| known.at == at);
    let noted = noted.find(|known| matches!(known.kind, LogKind::Rerouted(Note::Returned)));
    let after = noted.and_then(|known| with_value(known.timer));
    let after = after.map_or_else(String::new, |timer| format!(", and {timer} after it"));
    Some(format!(
        "; ended by the return of {} at {:.3}\u{202F}s{after}",
        script.target,
        seconds_after(script.at, setting.at)
    ))
}

/// For each entry of the log by which an I/O failed with its last attempt, the entry that let go of that: its line counts the I/O.
pub(super) fn failed_with(tally: &Tally) -> Vec<Option<usize>> {
    let log = &tally.log;
    let mut with = vec![None; log.len()];
    for fate in &tally.fates {
        let Some(own) = log.get(fate.entry) else {
            continue;
        };
        let mut left = fate.failed;
        for index in fate.entry + 1..log.len() {
            let entry = &log[index];
            if left == 0 || entry.at != own.at {
                break;
            }
            let fails = matches!(entry.kind, LogKind::IoFailed { .. });
            // Who fails for want of a path has a timer of its own.
            if fails && entry.timer == own.timer && with[index].is_none() {
                with[index] = Some(fate.entry);
                left -= 1;
            }
        }
    }
    with
}

/// What switches do about links that are lost or back.
pub(super) fn rerouted(note: Note, timer: Option<(TimerName, Duration)>) -> &'static str {
    let by = timer.map(|(name, _)| name);
    match (note, by) {
        (Note::Lost, Some(TimerName::LagRehash)) => {
            "groups of links go on without their lost members"
        }
        (Note::Lost, Some(TimerName::PeerLoss)) => {
            "the other switch of a pair takes over its groups of links"
        }
        (Note::Lost, Some(TimerName::Reroute | TimerName::FabricDead)) => {
            "switches use other routes, where there are any: lost links are out of use"
        }
        (Note::Lost, _) => "switches no longer use the lost links",
        (Note::Returned, Some(TimerName::LagRehash)) => {
            "groups of links use their returned members again"
        }
        (Note::Returned, Some(TimerName::Reroute)) => {
            "switches use the routes over returned links again"
        }
        (Note::Returned, _) => "switches use the returned links again",
    }
}
