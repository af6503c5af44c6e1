//! Which hosts are lost themselves while a log is told: nothing is told of their timers, for a host without power has none.

use super::Setting;
use crate::model::{Compiled, LogEntry, LogKind};
use crate::site::Action;

/// Hosts that are lost themselves, as the log is followed.
pub(super) struct GoneHosts(Vec<u32>);

impl GoneHosts {
    /// Before anything is lost.
    pub(super) fn none(compiled: &Compiled) -> Self {
        Self(vec![0; compiled.fabric.hosts.len()])
    }

    /// Takes note of what an entry does to hosts.
    pub(super) fn follow(&mut self, setting: &Setting<'_>, entry: &LogEntry) {
        let LogKind::Script(index) = entry.kind else {
            return;
        };
        let script = &setting.scripts[index as usize];
        for host in &script.hosts {
            let lost = &mut self.0[*host];
            match script.action {
                Action::Lose(_) => *lost += 1,
                Action::Restore => *lost = lost.saturating_sub(1),
                Action::LoseWay(_) | Action::Slow(_) | Action::Drain => {}
            }
        }
    }

    /// Whether an entry tells what a timer of a lost host did.
    pub(super) fn did(&self, compiled: &Compiled, entry: &LogEntry) -> bool {
        let host = match entry.kind {
            LogKind::Path { path, .. } if entry.timer.is_some() => compiled.host_of_path(path),
            LogKind::AttemptTimedOut { path } => compiled.host_of_path(path),
            LogKind::TeamNoticed { set } | LogKind::TeamMoved { set } => {
                compiled.host_of_path(compiled.first_path(set))
            }
            _ => None,
        };
        host.is_some_and(|host| self.0[host] > 0)
    }
}
