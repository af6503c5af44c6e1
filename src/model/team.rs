//! Teams of ports for file traffic (NFS): a host uses one port at a time, and another one when that is lost.
//!
//! What a team notices: that every link of the port in use has lost its signal, after link-loss detection; and,
//! with a probe, that nothing answers over it. Without a probe a port whose link is up is never left, whatever
//! has become of the way behind it; then only the mount's own keep-alive is left, and the no-path policy. The
//! connections survive: the host's address goes to the other port, switches and arrays know that when the
//! switch-over is over, and what was lost meanwhile leaves again when TCP's timer runs out the next time,
//! either way. A port that is preferred is used again by the failback of the host's timers; one that was emptied on purpose, lost
//! meanwhile or not, only when that is taken back.
//!
//! Sources: none for the switch-over time; one port in use and the others standing by, a poll of the link and
//! probes as an option are those of the usual open-source kernel's bonding driver (common practice).
//!
//! Left out: the announcement of the new place and the probes as frames; two teams of one host that see
//! different ports.

use super::attempt::{NONE, tie};
use super::compile::{Compiled, TeamPlan};
use super::standing::{LogEntry, LogKind, Standing, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::{Failback, LossMode};
use crate::topology::NodeId;
use crate::unit::{Duration, Instant};

/// What a team is about.
#[derive(Clone, Copy, Debug)]
pub(super) struct TeamState {
    /// Position in its ports of the one in use.
    active: usize,
    /// Counts plans, so that those given up are void.
    epoch: u32,
    doing: Doing,
}

/// What a team waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Doing {
    /// Nothing.
    Nothing,
    /// The port in use is lost; it will be known by this timer, at that time.
    Noticing(TimerName, Duration, Instant),
    /// It is known; the other port comes into use.
    Switching,
    /// The port in use is lost, and there is no other.
    Stuck,
    /// The preferred port is there again, and comes into use at its failback.
    Returning(Duration),
}

impl TeamState {
    pub(super) const fn new() -> Self {
        Self {
            active: 0,
            epoch: 0,
            doing: Doing::Nothing,
        }
    }
}

impl<E: Executor> World<'_, E> {
    /// Only the paths over a team's first port are in use in the beginning.
    pub(crate) fn start_teams(&mut self) {
        for (path, plan) in self.compiled.paths.iter().enumerate() {
            self.paths[path].standing = self.compiled.begins(plan);
        }
    }

    /// Whether no team is about to change ports.
    pub(crate) fn teams_decided(&self) -> bool {
        let decided = |doing| matches!(doing, Doing::Nothing | Doing::Stuck);
        self.fault.teams.iter().all(|team| decided(team.doing))
    }

    /// Looks at every team after a loss, a return or a drain.
    pub(crate) fn look_at_teams(&mut self) {
        let compiled = self.compiled;
        for (set, plan) in (0_u32..).zip(&compiled.sets) {
            if let Some(team) = &plan.team {
                self.look_at_team(set, team);
            }
        }
    }

    fn look_at_team(&mut self, set: u32, team: &TeamPlan) {
        let timers = &self.compiled.sets[set as usize].timers;
        let (detect, probe, failback) =
            (timers.link_loss_detect, timers.team_probe, timers.failback);
        let own = self.fault.teams[set as usize];
        let active = team.ports[own.active];
        if self.emptied(set, active)
            && let Some(other) = self.other_port(set, team, |world, port| !world.emptied(set, port))
        {
            // On purpose: nothing has to be noticed.
            self.move_team(set, team, other, None);
            return;
        }
        let trouble = if self.is_dark(active) {
            Some((TimerName::LinkLossDetect, detect))
        } else {
            probe
                .filter(|_| !self.answers(set, active))
                .map(|probe| (TimerName::TeamProbe, probe))
        };
        match (trouble, own.doing) {
            (Some((name, after)), doing) => {
                let due = self.now + after;
                let keep = match doing {
                    Doing::Noticing(known, _, at) => known == name || at <= due,
                    Doing::Switching => true,
                    Doing::Stuck => self.other_port(set, team, |_, _| true).is_none(),
                    Doing::Nothing | Doing::Returning(_) => false,
                };
                if !keep {
                    self.plan_team(set, Doing::Noticing(name, after, due), after);
                }
            }
            (None, Doing::Noticing(..) | Doing::Switching | Doing::Stuck) => {
                self.plan_team(set, Doing::Nothing, Duration::ZERO);
                self.look_at_team(set, team);
            }
            (None, Doing::Nothing) if own.active > 0 && self.is_fit(set, team.ports[0]) => {
                let seen = probe.unwrap_or(detect);
                let pause = match failback {
                    Failback::Immediate => Duration::ZERO,
                    Failback::After(pause) => pause,
                    Failback::Manual => return,
                };
                self.plan_team(set, Doing::Returning(pause), seen + pause);
            }
            (None, Doing::Returning(_)) if !self.is_fit(set, team.ports[0]) => {
                self.plan_team(set, Doing::Nothing, Duration::ZERO);
            }
            (None, Doing::Nothing | Doing::Returning(_)) => {}
        }
    }

    /// Sets a team to something, whatever it was about before.
    fn plan_team(&mut self, set: u32, doing: Doing, after: Duration) {
        let team = &mut self.fault.teams[set as usize];
        team.epoch += 1;
        team.doing = doing;
        let epoch = team.epoch;
        if matches!(doing, Doing::Nothing | Doing::Stuck) {
            return;
        }
        let host = u32::try_from(self.compiled.sets[set as usize].host).unwrap_or(0);
        let key = Key {
            at: self.now + after,
            tie: tie::timer(host, set, tie::Watching::Team),
        };
        self.queue.push(key, Event::TeamStep { set, epoch });
    }

    /// Something that a team waited for is over.
    pub(crate) fn team_step(&mut self, set: u32, epoch: u32) {
        let compiled = self.compiled;
        let own = self.fault.teams[set as usize];
        let plan = &compiled.sets[set as usize];
        let Some(team) = plan.team.as_ref().filter(|_| own.epoch == epoch) else {
            return;
        };
        match own.doing {
            Doing::Noticing(name, after, _) => {
                self.log(LogEntry {
                    at: self.now,
                    kind: LogKind::TeamNoticed { set },
                    timer: Some((name, after)),
                    ios: 0,
                });
                self.plan_team(set, Doing::Switching, plan.timers.team_switch);
            }
            Doing::Switching => match self.other_port(set, team, |_, _| true) {
                Some(other) => {
                    let timer = Some((TimerName::TeamSwitch, plan.timers.team_switch));
                    self.move_team(set, team, other, timer);
                }
                None => self.plan_team(set, Doing::Stuck, Duration::ZERO),
            },
            Doing::Returning(pause) => {
                self.move_team(set, team, 0, Some((TimerName::Failback, pause)));
            }
            Doing::Nothing | Doing::Stuck => {}
        }
    }

    /// Whether every link of a port has visibly lost its signal.
    fn is_dark(&self, port: NodeId) -> bool {
        let out = &self.compiled.fabric.nodes[port.0 as usize].out;
        out.iter().all(|direction| {
            let lost = self.fault.lost_since(direction.member());
            lost.is_some_and(|(_, mode)| mode == LossMode::Loud)
        })
    }

    /// Whether an array can be reached over a port.
    fn answers(&self, set: u32, port: NodeId) -> bool {
        paths_over(self.compiled, set, port).any(|path| self.paths[path as usize].connected)
    }

    /// Whether a team stays on another port than it would begin with, as things are, or does not use that one either; `port` is not
    /// the one in use, or its paths are out of use.
    pub(super) fn passed_by_team(&self, set: u32, port: NodeId) -> bool {
        let own = self.fault.teams[set as usize];
        let Some(team) = &self.compiled.sets[set as usize].team else {
            return false;
        };
        let fit = |port: &NodeId| self.answers(set, *port) && !self.emptied(set, *port);
        let stays = matches!(own.doing, Doing::Nothing | Doing::Stuck);
        let begins = team.ports.iter().copied().find(fit);
        let another =
            begins.is_some_and(|begins| begins != team.ports[own.active] || begins == port);
        stays && another && fit(&port)
    }

    /// Whether a port takes no new I/O on purpose, lost meanwhile or not.
    fn emptied(&self, set: u32, port: NodeId) -> bool {
        let paths = || paths_over(self.compiled, set, port).map(|path| &self.paths[path as usize]);
        let some = paths().any(|path| path.drained || path.shut);
        some && paths().all(|path| path.drained || !path.connected)
    }

    /// Whether a team that knows what it can know would use a port.
    fn is_fit(&self, set: u32, port: NodeId) -> bool {
        let probes = self.compiled.sets[set as usize].timers.team_probe.is_some();
        !self.is_dark(port) && !self.emptied(set, port) && (!probes || self.answers(set, port))
    }

    /// The first port of a team that is not in use, and could be.
    fn other_port(
        &self,
        set: u32,
        team: &TeamPlan,
        also: impl Fn(&Self, NodeId) -> bool,
    ) -> Option<usize> {
        let active = self.fault.teams[set as usize].active;
        let probes = self.compiled.sets[set as usize].timers.team_probe.is_some();
        (0..team.ports.len()).find(|index| {
            let port = team.ports[*index];
            *index != active
                && !self.is_dark(port)
                && (!probes || self.answers(set, port))
                && also(self, port)
        })
    }

    /// Uses another port from now on. Connections move with what is under way on them.
    fn move_team(
        &mut self,
        set: u32,
        team: &TeamPlan,
        to: usize,
        timer: Option<(TimerName, Duration)>,
    ) {
        let compiled = self.compiled;
        let from = self.fault.teams[set as usize].active;
        self.fault.teams[set as usize].active = to;
        self.plan_team(set, Doing::Nothing, Duration::ZERO);
        let (mut moved, mut left) = (0, Vec::new());
        for path in paths_over(compiled, set, team.ports[from]) {
            self.paths[path as usize].epoch += 1;
            self.change_standing(path, Standing::Standby, None, 0);
            let heir = heir(compiled, set, path, team.ports[to]);
            while self.paths[path as usize].oldest != NONE {
                let slot = self.paths[path as usize].oldest;
                match heir {
                    Some(heir) => {
                        self.move_attempt(slot, heir);
                        moved += 1;
                    }
                    None => left.push(self.abandon(slot)),
                }
            }
        }
        for path in paths_over(compiled, set, team.ports[to]) {
            self.take_into_use(path);
        }
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::TeamMoved { set },
            timer,
            ios: moved,
        });
        // No such address over the other port: what was under way there begins anew.
        let value = compiled.sets[set as usize].timers.team_switch;
        self.send_again(
            set,
            &mut left,
            timer.unwrap_or((TimerName::TeamSwitch, value)),
        );
        self.dispatch(set);
        // The new port may be lost too.
        self.look_at_team(set, team);
    }

    /// An attempt's connection goes over another path from its next frame on.
    fn move_attempt(&mut self, slot: u32, to: u32) {
        let from = self.attempts[slot].path;
        self.leave_path(slot);
        let [old, new] = [from, to].map(|path| self.compiled.paths[path as usize].flows);
        let attempt = &mut self.attempts[slot];
        attempt.flow = attempt.flow - old + new;
        attempt.path = to;
        self.join_path(slot, to);
    }
}

/// The paths of a set over one port.
fn paths_over(compiled: &Compiled, set: u32, port: NodeId) -> impl Iterator<Item = u32> + '_ {
    let paths = compiled.sets[set as usize].paths.clone();
    paths.filter(move |path| compiled.paths[*path as usize].path.host_port == port)
}

/// The path over `port` on which the connections of `path` go on: to the same port of the array, or else to the
/// one of the same controller in the same place, whose address has moved as the host's has.
fn heir(compiled: &Compiled, set: u32, path: u32, port: NodeId) -> Option<u32> {
    let own = compiled.paths[path as usize].path;
    let of = |port: NodeId| {
        paths_over(compiled, set, port)
            .filter(|path| compiled.paths[*path as usize].path.controller == own.controller)
    };
    let place = of(own.host_port).take_while(|other| *other != path).count();
    let same = |other: &u32| compiled.paths[*other as usize].path.array_port == own.array_port;
    let count = of(port).count().max(1);
    of(port).find(same).or_else(|| of(port).nth(place % count))
}
