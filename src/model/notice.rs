//! Who notices a loss by which timer, what is held then, and how long the whole chain may take.
//!
//! Rules only: they know protocols and timers, and no path, so that a study can ask before a run.

use super::compile::Compiled;
use super::standing::TimerName;
use crate::site::{Action, Failback, LossMode, Owner, Timers, UplinkLoss};
use crate::unit::Duration;
use crate::wire::Protocol;

/// Where a loss is, seen from a host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// Its own link is gone.
    OwnLink,
    /// Something behind it.
    Beyond,
}

/// How a host notices that a path is broken: the timer, and how long; `None` when only commands that time
/// out will tell.
pub(crate) fn noticed_by(
    protocol: &Protocol,
    timers: &Timers,
    mode: LossMode,
    place: Place,
) -> Option<(TimerName, Duration)> {
    match (protocol, mode, place) {
        (Protocol::NvmeTcp(_) | Protocol::NvmeRdma(_) | Protocol::Nfs(_), ..) => {
            Some((TimerName::KeepAlive, timers.keep_alive))
        }
        // Nothing has come since the loss: the ping leaves when that has lasted long enough.
        (Protocol::Iscsi(_), ..) => Some((
            TimerName::IscsiPing,
            timers.iscsi_ping + timers.iscsi_ping_timeout,
        )),
        (
            Protocol::FcScsi(_) | Protocol::FcNvme(_) | Protocol::Plain(_),
            LossMode::Loud,
            Place::OwnLink,
        ) => Some((TimerName::LinkLossDetect, timers.link_loss_detect)),
        (
            Protocol::FcScsi(_) | Protocol::FcNvme(_) | Protocol::Plain(_),
            LossMode::Loud,
            Place::Beyond,
        ) => Some((
            TimerName::StateNotice,
            timers.link_loss_detect + timers.state_notice,
        )),
        (Protocol::FcScsi(_) | Protocol::FcNvme(_) | Protocol::Plain(_), LossMode::Silent, _) => {
            None
        }
    }
}

/// The timer that ends the hold of the I/Os of a lost path: SCSI holds them before it sends them elsewhere,
/// nothing else does.
pub(crate) fn hold(protocol: &Protocol, timers: &Timers) -> Option<(TimerName, Duration)> {
    match protocol {
        Protocol::Iscsi(_) => Some((TimerName::SessionReplacement, timers.iscsi_replacement)),
        Protocol::FcScsi(_) => Some(
            timers
                .fast_io_fail
                .map_or((TimerName::DeviceLoss, timers.device_loss), |time| {
                    (TimerName::FastIoFail, time)
                }),
        ),
        Protocol::FcNvme(_)
        | Protocol::NvmeTcp(_)
        | Protocol::NvmeRdma(_)
        | Protocol::Nfs(_)
        | Protocol::Plain(_) => None,
    }
}

/// How often a failed path is tried again.
pub(crate) fn tried_again_by(protocol: &Protocol, timers: &Timers) -> (TimerName, Duration) {
    match protocol {
        Protocol::NvmeTcp(_) | Protocol::NvmeRdma(_) | Protocol::Nfs(_) => {
            (TimerName::Reconnect, timers.reconnect)
        }
        Protocol::FcScsi(_) | Protocol::FcNvme(_) | Protocol::Iscsi(_) | Protocol::Plain(_) => {
            (TimerName::PathCheck, timers.path_check)
        }
    }
}

impl Compiled {
    /// The longest time until the fabric uses parts again that have come back.
    #[must_use]
    pub fn fabric_takes_back(&self) -> Duration {
        self.fabric_chain(None)
    }

    /// The longest time in which hosts and fabric are done with a scripted event: until the last I/O that it
    /// may catch is sent again elsewhere, or until a path that has come back is in use. Not for lack of paths
    /// or slots on them, which may last for ever.
    #[must_use]
    pub fn longest_chain(&self, action: Action) -> Duration {
        let action = as_loss(action);
        let site = &self.site;
        let hosts = self.sets.iter();
        let hosts = hosts.map(|set| {
            let team = set.team.as_ref().map(|_| team_chain(&set.timers, action));
            host_chain(&set.protocol, &set.timers, action).max(team.unwrap_or_default())
        });
        let fabric = match action {
            Action::Lose(mode) => self.fabric_chain(Some(mode)),
            Action::LoseWay(_) => self.fabric_chain(Some(LossMode::Silent)),
            Action::Restore => self.fabric_chain(None),
            Action::Drain | Action::Slow(_) => Duration::ZERO,
        };
        let ports = site
            .switches
            .iter()
            .map(|family| match family.on_uplink_loss {
                UplinkLoss::DropHostPorts(after) if action == Action::Lose(LossMode::Loud) => after,
                UplinkLoss::DropHostPorts(_) | UplinkLoss::Keep => Duration::ZERO,
            });
        // Volumes have owners only where their workload says so, and partners only beside another controller.
        let owned = site.workloads.iter().filter(|work| {
            work.owner == Owner::Alternate && site.arrays[work.array].controllers > 1
        });
        let takeover = owned.map(|work| match action {
            Action::Lose(_) => site.arrays[work.array].takeover,
            _ => Duration::ZERO,
        });
        let hosts = hosts.chain(takeover).max().unwrap_or(Duration::ZERO);
        let ports = ports.max().unwrap_or(Duration::ZERO);
        match action {
            // Hosts find what the fabric uses again, and guests that wait for a host start on it.
            Action::Restore => (fabric + hosts).max(self.guest_chain(fabric + hosts)),
            Action::Lose(_) => (hosts + ports)
                .max(fabric)
                .max(self.guest_chain(Duration::ZERO)),
            _ => (hosts + ports).max(fabric),
        }
    }
}

/// A link that damages every frame is lost for all who take note.
fn as_loss(action: Action) -> Action {
    match (action, action.takes_away()) {
        (Action::Slow(_), Some(mode)) => Action::Lose(mode),
        _ => action,
    }
}

/// The same for a team of ports: the switch-over, and the first retransmission after it. The timeouts of TCP
/// double, so that it comes before twice the time has passed, and one smallest timeout.
fn team_chain(timers: &Timers, action: Action) -> Duration {
    let noticed = timers.team_probe.map_or(timers.link_loss_detect, |probe| {
        probe.max(timers.link_loss_detect)
    });
    match action {
        Action::Lose(_) | Action::LoseWay(_) => {
            let moved = noticed + timers.team_switch;
            moved + (moved + timers.tcp_rto_min).min(timers.tcp_rto_max)
        }
        Action::Restore => {
            let failback = match timers.failback {
                Failback::After(after) => after,
                Failback::Immediate | Failback::Manual => Duration::ZERO,
            };
            noticed + failback
        }
        Action::Drain | Action::Slow(_) => Duration::ZERO,
    }
}

/// The same for one host and one of its protocols.
fn host_chain(protocol: &Protocol, timers: &Timers, action: Action) -> Duration {
    match action {
        Action::LoseWay(_) => host_chain(protocol, timers, Action::Lose(LossMode::Silent)),
        Action::Slow(slow) if slow.loss_ppb > 0 => timers.command_timeout + timers.quiesce,
        Action::Lose(mode) => {
            let noticed = noticed_by(protocol, timers, mode, Place::Beyond);
            let held = hold(protocol, timers).map_or(Duration::ZERO, |(_, time)| time);
            // What goes by the command timeout alone is never held; a check finds idle paths.
            let checked = match protocol {
                Protocol::FcScsi(_) => timers.path_check_max.max(timers.path_check),
                _ => Duration::ZERO,
            };
            let alone = checked + timers.command_timeout;
            let sent = noticed.map_or(alone, |(_, time)| time + held);
            sent + timers.quiesce
        }
        // A switch uses the link again, and the next try finds the path.
        Action::Restore => {
            let failback = match timers.failback {
                Failback::After(after) => after,
                Failback::Immediate | Failback::Manual => Duration::ZERO,
            };
            tried_again_by(protocol, timers).1 + failback
        }
        Action::Drain | Action::Slow(_) => Duration::ZERO,
    }
}
