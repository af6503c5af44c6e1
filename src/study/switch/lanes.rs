//! The standing of the paths over time, in lanes.

use super::Setting;
use super::broken::Broken;
use super::figures::seconds_after;
use super::story::with_value;
use crate::model::{Compiled, LogKind, Standing, Tally, TimerName};
use crate::outcome::{LaneSpan, PathLane};
use crate::unit::Instant;
use indexmap::IndexMap;
use std::collections::BTreeMap;

/// What the paths of a lane have in common: no path of another workload is counted in a lane that is drawn for one.
#[derive(PartialEq, Eq, Hash)]
struct Group {
    side: Option<char>,
    protocol: String,
    workloads: Vec<String>,
}

/// Standing of the paths of each side, protocol and workloads over time.
pub(crate) fn lanes(
    setting: &Setting<'_>,
    compiled: &Compiled,
    tally: &Tally,
    end: Instant,
) -> Vec<PathLane> {
    let mut groups: IndexMap<Group, Vec<(usize, Standing)>> = IndexMap::new();
    for (index, path) in compiled.path_names().enumerate() {
        let group = Group {
            side: path.side.and_then(|side| side.letter().chars().next()),
            protocol: path.protocol.to_owned(),
            workloads: path.workloads.iter().map(ToString::to_string).collect(),
        };
        groups.entry(group).or_default().push((index, path.begins));
    }
    let alone = |group: &Group| {
        let all = groups.keys();
        let same = all.filter(|own| (own.side, &own.protocol) == (group.side, &group.protocol));
        same.count() == 1
    };
    let broken = Broken::of(setting, compiled);
    let anew: Vec<bool> = compiled.path_names().map(|path| path.found_anew).collect();
    let own = compiled.paths.iter();
    let hosts: Vec<usize> = own
        .map(|plan| compiled.sets[plan.set as usize].host)
        .collect();
    let mut lanes: Vec<PathLane> = groups
        .iter()
        .map(|(group, paths)| {
            let letter = group
                .side
                .map_or_else(String::new, |side| format!("{side} "));
            let whose = if alone(group) {
                String::new()
            } else {
                format!(" of {}", group.workloads.join(", "))
            };
            PathLane {
                name: format!("{letter}paths{whose}, {}", group.protocol),
                side: group.side,
                workloads: group.workloads.clone(),
                spans: spans(setting, (tally, &broken, &anew, &hosts), paths, end),
            }
        })
        .collect();
    lanes.sort_by_key(|lane| lane.side);
    lanes
}

fn spans(
    setting: &Setting<'_>,
    (tally, broken, anew, hosts): (&Tally, &Broken, &[bool], &[usize]),
    paths: &[(usize, Standing)],
    end: Instant,
) -> Vec<LaneSpan> {
    let mut all = Seen {
        paths,
        broken,
        anew,
        standing: paths.iter().map(|(_, begins)| *begins).collect(),
        emptied: vec![false; paths.len()],
        down: vec![false; paths.len()],
        scripted: None,
        counts: BTreeMap::new(),
    };
    all.count();
    let mut spans: Vec<LaneSpan> = Vec::new();
    let mut since = setting.from;
    let mut push = |from: Instant, to: Instant, all: &Seen<'_>| {
        if to <= from {
            return;
        }
        let (state, kind) = describe(&all.counts);
        let (from_s, to_s) = (
            seconds_after(from, setting.at),
            seconds_after(to, setting.at),
        );
        match spans.last_mut() {
            Some(last) if last.state == state => last.to_s = to_s,
            _ => spans.push(LaneSpan {
                from_s,
                to_s,
                state,
                kind: kind.into(),
            }),
        }
    };
    for entry in &tally.log {
        if let LogKind::Script(index) = entry.kind {
            push(since, entry.at, &all);
            since = since.max(entry.at);
            all.scripted = Some(index);
            all.count();
            continue;
        }
        if let LogKind::GuestsLost(host) = entry.kind {
            push(since, entry.at, &all);
            since = since.max(entry.at);
            for (position, (path, _)) in paths.iter().enumerate() {
                if hosts[*path] == host as usize {
                    all.change(position, |all| all.down[position] = true);
                }
            }
            continue;
        }
        let LogKind::Path { path, to } = entry.kind else {
            continue;
        };
        let Some(position) = place(paths, path) else {
            continue;
        };
        push(since, entry.at, &all);
        since = since.max(entry.at);
        all.change(position, |all| {
            // What becomes of a path at a host that is down nobody sees before the host is back.
            all.down[position] &=
                !matches!(to, Standing::Up | Standing::Returned | Standing::Standby);
            all.emptied[position] =
                to == Standing::Unnoticed && all.standing[position] == Standing::Drained;
            all.standing[position] = to;
        });
    }
    push(since, end, &all);
    // The timer that held these paths, not that of others.
    let own = |path: u32| place(paths, path).is_some();
    let mut log = tally
        .log
        .iter()
        .filter(|entry| matches!(entry.kind, LogKind::Path { path, .. } if own(path)));
    let hold = log.find_map(|entry| {
        entry.timer.filter(|(name, _)| {
            matches!(
                name,
                TimerName::FastIoFail | TimerName::DeviceLoss | TimerName::SessionReplacement
            )
        })
    });
    for span in &mut spans {
        if span.kind == "blocked" && span.state == "held" {
            span.state =
                with_value(hold).map_or_else(|| "held".into(), |timer| format!("held by {timer}"));
        }
    }
    spans
}

/// Where a path stands among those of a lane, which rise.
fn place(paths: &[(usize, Standing)], path: u32) -> Option<usize> {
    paths
        .binary_search_by_key(&(path as usize), |(own, _)| *own)
        .ok()
}

/// The paths of a lane at an instant. How many are to be seen in each state is kept: a large site logs a step for each of its paths.
struct Seen<'a> {
    paths: &'a [(usize, Standing)],
    broken: &'a Broken,
    anew: &'a [bool],
    standing: Vec<Standing>,
    emptied: Vec<bool>,
    down: Vec<bool>,
    scripted: Option<u32>,
    counts: BTreeMap<State, usize>,
}

impl Seen<'_> {
    fn state(&self, position: usize) -> State {
        let (path, _) = self.paths[position];
        match self.standing[position] {
            _ if self.down[position] => State::HostDown,
            Standing::Unnoticed if self.emptied[position] => State::Emptied,
            Standing::Removed if self.anew[path] => State::ToBeFound,
            own => State::of(own, self.broken.after(self.scripted, path)),
        }
    }

    /// Counts all of them anew.
    fn count(&mut self) {
        self.counts.clear();
        for position in 0..self.paths.len() {
            let state = self.state(position);
            *self.counts.entry(state).or_default() += 1;
        }
    }

    /// Changes what is known of one of them.
    fn change(&mut self, position: usize, how: impl FnOnce(&mut Self)) {
        let before = self.state(position);
        how(self);
        let after = self.state(position);
        if let Some(own) = self.counts.get_mut(&before) {
            *own -= 1;
            if *own == 0 {
                self.counts.remove(&before);
            }
        }
        *self.counts.entry(after).or_default() += 1;
    }
}

/// What is to be seen of a path.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum State {
    Is(Standing),
    /// Over a port of a team that is lost, not in use.
    StandbyLost,
    /// Lost after it was drained: nothing is on it, and the run does not wait until that is noticed.
    Emptied,
    /// Removed with its port, and found anew when that returns.
    ToBeFound,
    /// Its host is lost itself: nobody looks at it.
    HostDown,
}

impl State {
    fn of(standing: Standing, broken: bool) -> Self {
        if broken && standing == Standing::Standby {
            Self::StandbyLost
        } else {
            Self::Is(standing)
        }
    }

    /// The word for it, and what kind of state it is.
    const fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Is(Standing::Up) => ("up", "up"),
            Self::Is(Standing::Unnoticed) => ("loss not noticed", "blocked"),
            Self::Is(Standing::Blocked) => ("held", "blocked"),
            Self::Is(Standing::Failed) => ("failed", "failed"),
            Self::Is(Standing::Drained) => ("drained", "failed"),
            Self::Is(Standing::Removed) => ("given up, no longer tried", "failed"),
            Self::Is(Standing::Returned) => ("back, kept for failback", "failed"),
            Self::Is(Standing::Standby) => ("standing by", "up"),
            Self::StandbyLost => ("lost, another port in use", "failed"),
            Self::Emptied => ("lost, nothing on it, not noticed yet", "failed"),
            Self::ToBeFound => ("removed until the port returns", "failed"),
            Self::HostDown => ("lost with their hosts", "failed"),
        }
    }
}

/// One word where all are alike; else how many are up, and how many are in which other state.
fn describe(counts: &BTreeMap<State, usize>) -> (String, &'static str) {
    let mut states = counts.keys();
    if let (Some(first), None) = (states.next(), states.next()) {
        let (word, kind) = first.words();
        return (word.into(), kind);
    }
    let well = |own: &State| matches!(own, State::Is(Standing::Up | Standing::Standby));
    if counts.keys().all(well) {
        return ("up or standing by".into(), "up");
    }
    let up = State::Is(Standing::Up);
    let number = counts.get(&up).copied().unwrap_or(0);
    let mut said = format!("{number} of {} up", counts.values().sum::<usize>());
    for (own, count) in counts.iter().filter(|(own, _)| **own != up) {
        said += &format!(", {count} {}", own.words().0);
    }
    (said, "mixed")
}
