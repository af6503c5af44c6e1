//! The standing of the paths over time, in lanes.

use super::Setting;
use super::broken::Broken;
use super::figures::seconds_after;
use super::story::with_value;
use crate::model::{Compiled, LogKind, Standing, Tally, TimerName};
use crate::outcome::{LaneSpan, PathLane};
use crate::unit::Instant;
use indexmap::IndexMap;

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
    let mut standing: Vec<Standing> = paths.iter().map(|(_, begins)| *begins).collect();
    let mut emptied = vec![false; paths.len()];
    let mut down = vec![false; paths.len()];
    let mut scripted = None;
    let seen = |standing: &[Standing], emptied: &[bool], down: &[bool], scripted: Option<u32>| {
        let all = paths.iter().zip(standing).zip(emptied.iter().zip(down));
        let all: Vec<State> = all
            .map(|(((path, _), own), (emptied, down))| match own {
                _ if *down => State::HostDown,
                Standing::Unnoticed if *emptied => State::Emptied,
                Standing::Removed if anew[*path] => State::ToBeFound,
                own => State::of(*own, broken.after(scripted, *path)),
            })
            .collect();
        describe(&all)
    };
    let mut spans: Vec<LaneSpan> = Vec::new();
    let mut since = setting.from;
    let mut push = |from: Instant, to: Instant, (state, kind): (String, &str)| {
        if to <= from {
            return;
        }
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
            push(since, entry.at, seen(&standing, &emptied, &down, scripted));
            since = since.max(entry.at);
            scripted = Some(index);
            continue;
        }
        if let LogKind::GuestsLost(host) = entry.kind {
            push(since, entry.at, seen(&standing, &emptied, &down, scripted));
            since = since.max(entry.at);
            for (down, (path, _)) in down.iter_mut().zip(paths) {
                *down |= hosts[*path] == host as usize;
            }
            continue;
        }
        let LogKind::Path { path, to } = entry.kind else {
            continue;
        };
        let Some(position) = paths.iter().position(|(own, _)| *own == path as usize) else {
            continue;
        };
        push(since, entry.at, seen(&standing, &emptied, &down, scripted));
        since = since.max(entry.at);
        // What becomes of a path at a host that is down nobody sees before the host is back.
        down[position] &= !matches!(to, Standing::Up | Standing::Returned | Standing::Standby);
        emptied[position] = to == Standing::Unnoticed && standing[position] == Standing::Drained;
        standing[position] = to;
    }
    push(since, end, seen(&standing, &emptied, &down, scripted));
    // The timer that held these paths, not that of others.
    let own = |path: u32| paths.iter().any(|(own, _)| *own == path as usize);
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
fn describe(all: &[State]) -> (String, &'static str) {
    let first = all[0];
    if all.iter().all(|own| *own == first) {
        let (word, kind) = first.words();
        return (word.into(), kind);
    }
    let well = |own: &State| matches!(own, State::Is(Standing::Up | Standing::Standby));
    if all.iter().all(well) {
        return ("up or standing by".into(), "up");
    }
    let up = all.iter().filter(|own| **own == State::Is(Standing::Up));
    let mut said = format!("{} of {} up", up.count(), all.len());
    let mut others: Vec<State> = all.to_vec();
    others.retain(|own| *own != State::Is(Standing::Up));
    others.sort_unstable();
    for alike in others.chunk_by(|one, other| one == other) {
        said += &format!(", {} {}", alike.len(), alike[0].words().0);
    }
    (said, "mixed")
}
