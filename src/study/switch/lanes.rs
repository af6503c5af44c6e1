//! The standing of the paths over time, in lanes.

use super::Setting;
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
                spans: spans(setting, tally, paths, end),
            }
        })
        .collect();
    lanes.sort_by_key(|lane| lane.side);
    lanes
}

fn spans(
    setting: &Setting<'_>,
    tally: &Tally,
    paths: &[(usize, Standing)],
    end: Instant,
) -> Vec<LaneSpan> {
    let mut standing: Vec<Standing> = paths.iter().map(|(_, begins)| *begins).collect();
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
        let LogKind::Path { path, to } = entry.kind else {
            continue;
        };
        let Some(position) = paths.iter().position(|(own, _)| *own == path as usize) else {
            continue;
        };
        push(since, entry.at, describe(&standing));
        since = since.max(entry.at);
        standing[position] = to;
    }
    push(since, end, describe(&standing));
    let hold = tally.log.iter().find_map(|entry| {
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

fn describe(standing: &[Standing]) -> (String, &'static str) {
    let first = standing[0];
    if standing.iter().all(|own| *own == first) {
        return match first {
            Standing::Up => ("up".into(), "up"),
            Standing::Unnoticed => ("loss not noticed".into(), "blocked"),
            Standing::Blocked => ("held".into(), "blocked"),
            Standing::Failed => ("failed".into(), "failed"),
            Standing::Drained => ("drained".into(), "failed"),
            Standing::Removed => ("given up for good".into(), "failed"),
            Standing::Returned => ("back, kept for failback".into(), "failed"),
            Standing::Standby => ("standing by".into(), "up"),
        };
    }
    let well = |own: &Standing| matches!(own, Standing::Up | Standing::Standby);
    if standing.iter().all(well) {
        return ("up or standing by".into(), "up");
    }
    let up = standing.iter().filter(|own| **own == Standing::Up).count();
    (format!("{up} of {} up", standing.len()), "mixed")
}
