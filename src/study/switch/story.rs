//! What happened in a switch-over, in words: named events, and the stops of each workload.

use super::Setting;
use super::broken::Broken;
use super::figures::seconds_after;
use super::gone::GoneHosts;
use super::told::{Told, ended_by_return, failed_with, rerouted};
use crate::model::{
    self, Compiled, LogEntry, LogKind, Note, Standing, Stopped, Tally, TimerName, WorkloadTally,
};
use crate::outcome::{NamedEvent, StopCause, WorkStop};
use crate::study::grouped;
use crate::unit::{Duration, Instant};
use indexmap::IndexMap;

/// Name of a timer.
pub(crate) fn timer_name(timer: TimerName) -> &'static str {
    match timer {
        TimerName::LinkLossDetect => "link-loss detect",
        TimerName::StateNotice => "link-loss detect and state notice",
        TimerName::FastIoFail => "fast-io-fail",
        TimerName::DeviceLoss => "device loss",
        TimerName::CommandTimeout => "command timeout",
        TimerName::KeepAlive => "keep-alive",
        TimerName::IscsiPing => "iSCSI ping and its timeout",
        TimerName::SessionReplacement => "iSCSI session replacement",
        TimerName::PathCheck => "path check",
        TimerName::CheckerTimeout => "next path check and its timeout",
        TimerName::Reconnect => "reconnect",
        TimerName::Retransmission => "TCP retransmission",
        TimerName::LagRehash => "LAG rehash",
        TimerName::Forwarding => "forwarding update",
        TimerName::Lacp => "LACP expiry",
        TimerName::Reroute => "route change",
        TimerName::FabricDead => "path selection hello",
        TimerName::PeerLoss => "peer loss",
        TimerName::NoPath => "no path",
        TimerName::ControllerLoss => "controller loss in whole tries",
        TimerName::Quiesce => "quiesce",
        TimerName::Failback => "failback",
        TimerName::TcpGivesUp => "TCP gives up",
        TimerName::Takeover => "takeover",
        TimerName::UplinkLoss => "uplink loss",
        TimerName::TeamProbe => "team probe",
        TimerName::TeamSwitch => "team switch-over",
        TimerName::GuestRestart => "restart of guests",
    }
}

pub(super) fn with_value(timer: Option<(TimerName, Duration)>) -> Option<String> {
    timer.map(|(name, value)| match (name, value) {
        (TimerName::NoPath, Duration::ZERO) => "no path, fail at once".to_owned(),
        (TimerName::Retransmission, value) => {
            let name = timer_name(TimerName::Retransmission);
            format!("{name}, doubled each time from {value}")
        }
        (name, value) => format!("{}, {}", timer_name(name), short(value)),
    })
}

/// A time as it was set; one that was worked out, with four digits.
fn short(value: Duration) -> Duration {
    let digits = value.0.checked_ilog10().unwrap_or(0);
    let stated = value.0.is_multiple_of(10_u64.pow(digits.saturating_sub(5)));
    if stated {
        return value;
    }
    let place = 10_u64.pow(digits.saturating_sub(3));
    Duration((value.0 + place / 2) / place * place)
}

/// What entries that are told in one line have in common.
#[derive(Clone, PartialEq, Eq, Hash)]
enum Line {
    Script(u32),
    /// Paths of some workloads that changed to one standing at one instant.
    Paths {
        at: Instant,
        to: Standing,
        /// They were standing by before.
        standby: bool,
        /// They have no way over what is left.
        lost: bool,
        workloads: String,
        timer: Option<(TimerName, Duration)>,
    },
    Rerouted {
        at: Instant,
        note: Note,
        timer: Option<(TimerName, Duration)>,
    },
    TakenOver {
        controller: u32,
    },
    PortsDropped {
        at: Instant,
        switch: u32,
    },
    PortsBack {
        at: Instant,
        switch: u32,
    },
    /// Teams of some workloads that noticed a lost port, or moved, in one instant.
    Team {
        at: Instant,
        moved: bool,
        workloads: String,
        timer: Option<(TimerName, Duration)>,
    },
    /// Hosts lost with their guests in one instant, or guests restarted.
    Guests {
        at: Instant,
        what: Guests,
        timer: Option<(TimerName, Duration)>,
    },
    /// Sums over the run, of which the first instant stands for all; what ended a stop is told by itself.
    TimedOut {
        workloads: String,
        ended: Option<Instant>,
    },
    Resent {
        workload: u32,
        ended: Option<Instant>,
    },
    Failed {
        workload: u32,
    },
}

/// What happened in the first replication.
pub(crate) struct Story {
    /// The log as named events, one line for what happened together.
    pub(crate) events: Vec<NamedEvent>,
    /// Of each workload.
    pub(crate) workloads: Vec<OfWorkload>,
}

/// What happened to a workload.
pub(crate) struct OfWorkload {
    /// What let its longest I/O end: the line with the instant of that end, `None` where nothing had to or nothing has.
    pub(crate) freed_by: Option<NamedEvent>,
    /// The line of its I/Os that failed.
    pub(crate) failed_by: Option<NamedEvent>,
    /// Its stops.
    pub(crate) stops: Vec<WorkStop>,
}

/// What becomes of the guests of a host.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Guests {
    Lost,
    Restarted,
    Moved,
    Drained,
}

/// Tells the log of a run.
pub(crate) fn events(setting: &Setting<'_>, compiled: &Compiled, tally: &Tally) -> Story {
    let workloads: Vec<String> = compiled
        .path_names()
        .map(|path| path.workloads.join(", "))
        .collect();
    let marked = marked(tally);
    let instants: Vec<Instant> = marked.iter().map(|entry| tally.log[*entry].at).collect();
    let mut paths = Paths::of(compiled, instants.clone());
    let broken = Broken::of(setting, compiled);
    let mut scripted = None;
    let mut lines: IndexMap<Line, Told> = IndexMap::new();
    let mut line_of_entry = Vec::with_capacity(tally.log.len());
    let mut gone = GoneHosts::none(compiled);
    let with = failed_with(tally);
    let mut all_failed: IndexMap<u32, Told> = IndexMap::new();
    for (index, entry) in tally.log.iter().enumerate() {
        gone.follow(setting, entry);
        if gone.did(compiled, entry) {
            // A host that is lost itself notices nothing and gives nothing up.
            line_of_entry.push(usize::MAX);
            continue;
        }
        if let LogKind::IoFailed { workload } = entry.kind {
            all_failed
                .entry(workload)
                .or_insert_with(|| Told::begin(entry))
                .add(entry);
            let told = with[index].map(|own| line_of_entry[own]);
            if let Some(line) = told.filter(|line| *line != usize::MAX) {
                // It is counted in that line.
                line_of_entry.push(line);
                continue;
            }
        }
        let mut line = line_of(entry, compiled, &workloads, &instants);
        match (entry.kind, &mut line) {
            (LogKind::Script(index), _) => scripted = Some(index),
            (LogKind::Path { path, to }, Line::Paths { lost, .. }) => {
                *lost = to == Standing::Standby && broken.after(scripted, path as usize);
            }
            _ => {}
        }
        paths.tell(entry, &mut line);
        let line = lines.entry(line);
        line_of_entry.push(line.index());
        line.or_insert_with(|| Told::begin(entry)).add(entry);
    }
    for fate in &tally.fates {
        let line = line_of_entry.get(fate.entry).copied().unwrap_or_default();
        if let Some((_, told)) = lines.get_index_mut(line) {
            told.failed += fate.failed;
            told.waiting += fate.waiting;
            told.pathless |= fate.pathless;
            told.unserved |= fate.unserved;
        }
    }
    let mut told: Vec<NamedEvent> = lines
        .iter()
        .map(|(line, told)| event(setting, compiled, line, told))
        .collect();
    let freeing = tally.workloads.iter().filter_map(|work| work.longest_by);
    let mut ending: Vec<usize> = marked.iter().copied().chain(freeing).collect();
    ending.sort_unstable();
    let mut by_return: Vec<usize> = Vec::new();
    for entry in ending {
        let Some(line) = line_of_entry.get(entry).copied() else {
            continue;
        };
        let of_parts = matches!(
            lines.get_index(line),
            Some((
                Line::Paths {
                    to: Standing::Up,
                    standby: false,
                    timer: None,
                    ..
                },
                _
            ))
        );
        if of_parts
            && !by_return.contains(&line)
            && let Some(words) = ended_by_return(setting, tally, entry)
        {
            by_return.push(line);
            told[line].what += &words;
        }
    }
    let line_of = |entry: usize| told.get(*line_of_entry.get(entry)?);
    let failed = |workload: u32| {
        let all = all_failed.get(&workload)?;
        Some(event(setting, compiled, &Line::Failed { workload }, all))
    };
    let freed = |work: &WorkloadTally| {
        let entry = work.longest_by?;
        let known = tally.log.get(entry)?;
        let line = match known.kind {
            LogKind::IoFailed { workload } => failed(workload)?,
            _ => line_of(entry)?.clone(),
        };
        Some(NamedEvent {
            t_s: seconds_after(known.at, setting.at),
            ended_stall: !work.longest_failed,
            ..line
        })
    };
    let stop = |stop: &Stopped| WorkStop {
        from_s: seconds_after(stop.from, setting.at),
        to_s: stop.to.map(|to| seconds_after(to, setting.at)),
        s: seconds_after(stop.to.unwrap_or(tally.ended), stop.from),
        ended_by: stop.by.and_then(line_of).map(|event| {
            let timer = event.timer.as_ref();
            timer.unwrap_or(&event.what).clone()
        }),
        cause: match stop.cause {
            model::StopCause::NoPath => StopCause::NoPath,
            model::StopCause::LostPaths => StopCause::LostPaths,
            model::StopCause::Volumes => StopCause::Volumes,
            model::StopCause::HostsLost => StopCause::HostsLost,
        },
    };
    let ended: Vec<usize> = marked
        .iter()
        .filter_map(|entry| line_of_entry.get(*entry).copied())
        .collect();
    Story {
        workloads: (0..)
            .zip(&tally.workloads)
            .map(|(index, work)| OfWorkload {
                freed_by: freed(work),
                failed_by: failed(index),
                stops: work.stops.iter().map(stop).collect(),
            })
            .collect(),
        events: told
            .iter()
            .enumerate()
            .map(|(index, event)| NamedEvent {
                ended_stall: ended.contains(&index),
                ..event.clone()
            })
            .collect(),
    }
}

/// Paths that change alike within so long are told in one line, and so is what else happens about the end of a stop. A choice of
/// this program.
const TOGETHER: Duration = Duration::from_ms(100);

/// What has been told of paths so far.
struct Paths {
    standing: Vec<Standing>,
    /// When something ended: a line begins there, so that it is not marked before.
    ended: Vec<Instant>,
    /// For each line that may still grow, the paths in it.
    open: IndexMap<Line, Vec<u32>>,
}

impl Paths {
    fn of(compiled: &Compiled, ended: Vec<Instant>) -> Self {
        Self {
            ended,
            standing: compiled.path_names().map(|path| path.begins).collect(),
            open: IndexMap::new(),
        }
    }

    /// Completes the line of an entry, where it is one of paths: what it was before, and since when others have changed alike.
    fn tell(&mut self, entry: &LogEntry, line: &mut Line) {
        let (LogKind::Path { path, to }, Line::Paths { standby, .. }) = (entry.kind, &mut *line)
        else {
            return;
        };
        let before = std::mem::replace(&mut self.standing[path as usize], to);
        *standby = before == Standing::Standby
            || before == Standing::Returned && to == Standing::Unnoticed;
        self.open
            .retain(|open, _| matches!(open, Line::Paths { at, .. } if *at + TOGETHER >= entry.at));
        let alike = |open: &&Line| {
            let mut own = line.clone();
            if let (Line::Paths { at, .. }, Line::Paths { at: begun, .. }) = (&mut own, open) {
                *at = *begun;
            }
            own == **open
        };
        let begins = self.ended.contains(&entry.at);
        let may_hold =
            |open: &Line| !begins || matches!(open, Line::Paths { at, .. } if *at == entry.at);
        let found = self.open.iter().rev().filter(|(open, _)| may_hold(open));
        let found = found.filter(|(_, paths)| !paths.contains(&path));
        if let Some(begun) = found.map(|(open, _)| open).find(alike) {
            *line = begun.clone();
        }
        self.open.entry(line.clone()).or_default().push(path);
    }
}

/// The lines of the log that ended something: the stops of workloads; where none stopped, what let the longest I/O of each
/// be completed.
fn marked(tally: &Tally) -> Vec<usize> {
    let works = || tally.workloads.iter();
    if works().any(|work| !work.stops.is_empty()) {
        let stops = works().flat_map(|work| &work.stops);
        return stops.filter_map(|stop| stop.by).collect();
    }
    let completed = works().filter(|work| !work.longest_failed);
    completed.filter_map(|work| work.longest_by).collect()
}

fn line_of(entry: &LogEntry, compiled: &Compiled, workloads: &[String], ended: &[Instant]) -> Line {
    let near = |at: &&Instant| **at <= entry.at && entry.at <= **at + TOGETHER;
    let ended = ended.iter().find(near).copied();
    let of = |path: u32| workloads.get(path as usize).cloned().unwrap_or_default();
    let guests = |what| Line::Guests {
        at: entry.at,
        what,
        timer: entry.timer,
    };
    match entry.kind {
        LogKind::Script(index) => Line::Script(index),
        LogKind::Path { path, to } => Line::Paths {
            at: entry.at,
            to,
            standby: false,
            lost: false,
            workloads: of(path),
            timer: entry.timer,
        },
        LogKind::AttemptTimedOut { path } => Line::TimedOut {
            workloads: of(path),
            ended,
        },
        LogKind::Resent { workload } => Line::Resent { workload, ended },
        LogKind::Rerouted(note) => Line::Rerouted {
            at: entry.at,
            note,
            timer: entry.timer,
        },
        LogKind::TakenOver(controller) => Line::TakenOver { controller },
        LogKind::PortsDropped(switch) => Line::PortsDropped {
            at: entry.at,
            switch,
        },
        LogKind::PortsBack(switch) => Line::PortsBack {
            at: entry.at,
            switch,
        },
        LogKind::TeamNoticed { set } | LogKind::TeamMoved { set } => Line::Team {
            at: entry.at,
            moved: matches!(entry.kind, LogKind::TeamMoved { .. }),
            workloads: of(compiled.first_path(set)),
            timer: entry.timer,
        },
        LogKind::GuestsLost(_) => guests(Guests::Lost),
        LogKind::GuestsRestarted(_) => guests(Guests::Restarted),
        LogKind::GuestsMoved(_) => guests(Guests::Moved),
        LogKind::HostDrained(_) => guests(Guests::Drained),
        LogKind::IoFailed { workload } => Line::Failed { workload },
    }
}

fn plural(count: u64, one: &str, many: &str) -> String {
    format!("{} {}", grouped(count), if count == 1 { one } else { many })
}

fn switch_name(compiled: &Compiled, switch: u32) -> &str {
    let node = compiled.fabric.switches[switch as usize].node;
    &compiled.fabric.nodes[node.0 as usize].name
}

fn event(setting: &Setting<'_>, compiled: &Compiled, line: &Line, told: &Told) -> NamedEvent {
    let name = |workload: u32| compiled.site.workloads[workload as usize].name.clone();
    let paths = plural(told.count, "path", "paths");
    let until = if told.last > told.first {
        format!(
            ", the last at {:.3}\u{202F}s",
            seconds_after(told.last, setting.at)
        )
    } else {
        String::new()
    };
    let ios = plural(told.ios, "I/O", "I/Os");
    // What became of those that hung on what was given up.
    let onward = {
        let (waiting, why) = match told.pathless {
            true => (told.waiting, "left without a path"),
            false if told.unserved => (
                told.waiting,
                "left waiting for a controller of their volumes",
            ),
            false => (0, ""),
        };
        let again = told.ios.saturating_sub(told.failed + waiting);
        // Without any path both are so; those that fail for it are counted in a line of their own.
        let (failed, waiting) = match told.pathless {
            true => (0, told.failed + waiting),
            false => (told.failed, waiting),
        };
        // Where the other paths have no place for all, the rest waits at the host for one.
        let at_once = told.pathless || told.unserved || told.waiting == 0;
        let parts = [
            (
                again,
                if at_once {
                    "sent again"
                } else {
                    "sent again or queued for it"
                },
            ),
            (failed, "failed"),
            (waiting, why),
        ];
        let mut parts = parts.iter().filter(|(ios, _)| *ios > 0);
        let first = parts.next();
        first.map_or_else(String::new, |(ios, what)| {
            let mut all = format!(", {} {what}", plural(*ios, "I/O", "I/Os"));
            for (ios, what) in parts {
                all += &format!(", {} {what}", grouped(*ios));
            }
            all
        })
    };
    // Nothing is said of no I/O.
    let said = |before: &str, after: &str| match told.ios {
        0 => String::new(),
        _ => format!("{before}{ios}{after}"),
    };
    let (what, workload, counted) = match line {
        Line::Script(index) => {
            let script = setting.scripts.get(*index as usize);
            (
                script.map_or_else(String::new, |script| script.label.clone()),
                None,
                None,
            )
        }
        Line::Paths {
            to,
            workloads,
            standby,
            lost,
            ..
        } => {
            let what = match to {
                Standing::Up if *standby => format!("{paths} in use, no longer standing by"),
                Standing::Unnoticed if *standby => {
                    format!("{paths} in use, over links that carry nothing yet")
                }
                Standing::Unnoticed => format!("{paths} broken{}", said(" with ", " on the way")),
                Standing::Blocked => {
                    format!("loss seen: {paths} held{}", said(" with ", " on the way"))
                }
                Standing::Failed if matches!(told.timer, Some((TimerName::Quiesce, _))) => {
                    let whose = if told.count == 1 {
                        "the path"
                    } else {
                        "the paths"
                    };
                    format!("what was under way on {whose} given up was held{onward}{until}")
                }
                // No timer ran out: the host has begun anew.
                Standing::Failed if told.timer.is_none() => {
                    format!("{paths} out of use, looked for from now on")
                }
                Standing::Failed => format!("{paths} given up{onward}{until}"),
                Standing::Up if matches!(told.timer, Some((TimerName::Failback, _))) => {
                    format!("{paths} failed back")
                }
                Standing::Up => format!("{paths} back{onward}{until}"),
                Standing::Returned => format!("{paths} back, not in use before failback"),
                Standing::Drained => format!(
                    "{paths} drained: no new I/O on {}{}",
                    if told.count == 1 { "it" } else { "them" },
                    said(", ", " still on the way")
                ),
                Standing::Removed if matches!(told.timer, Some((TimerName::DeviceLoss, _))) => {
                    let whose = if told.count == 1 {
                        "its ports return"
                    } else {
                        "their ports return"
                    };
                    format!("{paths} removed, to be found anew when {whose}")
                }
                Standing::Removed => format!("{paths} given up, no longer tried"),
                Standing::Standby if *lost => format!("{paths} lost, another port in use"),
                Standing::Standby => format!("{paths} standing by"),
            };
            (what, Some(workloads.clone()), Some(told.ios))
        }
        Line::Rerouted { note, timer, .. } => (rerouted(*note, *timer).into(), None, None),
        Line::TakenOver { controller } => {
            let name = &compiled.fabric.controllers[*controller as usize].name;
            let what = format!("volumes of {name} served by its partner from now on");
            (what, None, None)
        }
        Line::PortsDropped { switch, .. } => (
            format!(
                "{}: no uplink left, host ports taken down",
                switch_name(compiled, *switch)
            ),
            None,
            None,
        ),
        Line::PortsBack { switch, .. } => (
            format!(
                "{}: an uplink is back, host ports up again",
                switch_name(compiled, *switch)
            ),
            None,
            None,
        ),
        Line::Team {
            moved, workloads, ..
        } => {
            let teams = plural(told.count, "team", "teams");
            let what = if *moved {
                format!(
                    "file traffic of {teams} over another port from now on{}",
                    said(", ", " moved with their connections")
                )
            } else {
                format!("port in use lost: noticed by {teams}")
            };
            (what, Some(workloads.clone()), Some(told.ios))
        }
        Line::Guests { what, .. } => {
            let hosts = plural(told.count, "host", "hosts");
            let (its, it, asks) = match told.count {
                1 => ("its", "it", "asks"),
                _ => ("their", "them", "ask"),
            };
            let what = match what {
                Guests::Restarted => format!(
                    "guests of {hosts} restarted on the others of the family{}",
                    said("; ", " not asked for meanwhile")
                ),
                Guests::Lost => format!(
                    "{hosts} lost with {its} work{}",
                    said(": ", &format!(" under way lost with {it}"))
                ),
                Guests::Moved => {
                    format!("{hosts} drained: {its} guests moved to the others of the family")
                }
                Guests::Drained => {
                    format!("{hosts} drained with {its} work: {asks} for nothing new")
                }
            };
            (what, None, Some(told.ios))
        }
        Line::TimedOut { workloads, .. } => (
            format!(
                "{} timed out{onward}{until}",
                plural(told.count, "attempt", "attempts")
            ),
            Some(workloads.clone()),
            Some(told.ios),
        ),
        Line::Resent { workload, .. } => {
            let what = format!(
                "{} by TCP of what was lost in the fabric{until}",
                plural(told.count, "retransmission", "retransmissions")
            );
            (what, Some(name(*workload)), Some(told.count))
        }
        Line::Failed { workload } => (
            format!("{} failed{until}", plural(told.count, "I/O", "I/Os")),
            Some(name(*workload)),
            Some(told.count),
        ),
    };
    NamedEvent {
        t_s: seconds_after(told.first, setting.at),
        what,
        timer: with_value(told.timer),
        workload,
        ios: counted,
        ended_stall: false,
    }
}
