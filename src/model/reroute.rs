//! What the fabric does about members that are lost or come back, and when: others of the group take their
//! frames, the other switch of a pair does, or frames go another way. Until then what is sent over a lost member
//! vanishes.
//!
//! Timers, all of the whole site: within a group the rehash; where no member between the two is left, the time
//! until the other switch of a pair serves the group (multi-chassis), or until the fabric has another route,
//! which for Fibre Channel is its path selection protocol's affair (FSPF) and for Ethernet the spanning tree's or
//! the routing's. Of a silent loss a switch learns by what is exchanged over the link: on Ethernet by LACP, between
//! Fibre Channel switches by the hellos of FSPF (FC-SW: every 20 s, dead after 80 s; from memory). A Fibre Channel
//! port towards a host or an array hears nothing of the kind, so that nobody in the fabric notices.
//!
//! Left out: routes that form loops while they change, frames delivered twice or out of order meanwhile, the flooding
//! of the new state (all switches change their routes in one instant), the loss of the link between the two switches
//! of a pair alone, and pairs that keep a returned switch out of use for minutes.

use super::attempt::tie;
use super::compile::Compiled;
use super::standing::{LogEntry, LogKind, Note, TimerName};
use super::way::Way;
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::{LacpRate, Lag, LossMode, Timers};
use crate::topology::{Member, MemberId, NodeKind};
use crate::unit::Duration;
use crate::wire::Medium;

/// What decides who takes note of a member.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Kind {
    fibre_channel: bool,
    /// Between two switches.
    inner: bool,
    /// Of a group over both switches of a pair.
    across: bool,
}

/// Whether a group goes on without the member.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Others {
    Carry,
    None,
    /// Both ends are lost themselves: nobody sends.
    Nobody,
}

impl Kind {
    fn of(compiled: &Compiled, member: &Member) -> Self {
        let fabric = &compiled.fabric;
        let link = &compiled.site.links[member.family];
        let is_switch = |node: crate::topology::NodeId| {
            matches!(fabric.nodes[node.0 as usize].kind, NodeKind::Switch(_))
        };
        Self {
            fibre_channel: link.medium == Some(Medium::FibreChannel),
            inner: is_switch(member.near) && is_switch(member.far),
            across: link.lag == Lag::Across,
        }
    }

    /// How the fabric takes note of a loss, or (without a mode) of a return; `None`: not at all.
    fn noted_by(
        self,
        mode: Option<LossMode>,
        others: Others,
        timers: &Timers,
    ) -> Option<(TimerName, Duration)> {
        match mode {
            Some(LossMode::Silent) if self.fibre_channel => self
                .inner
                .then_some((TimerName::FabricDead, timers.fc_dead)),
            Some(LossMode::Silent) => Some((TimerName::Lacp, lacp_expiry(timers.lacp))),
            Some(LossMode::Loud) | None => Some(match (others, self) {
                (Others::None, Self { across: true, .. }) => {
                    (TimerName::PeerLoss, timers.peer_loss)
                }
                (
                    Others::None,
                    Self {
                        inner: true,
                        fibre_channel,
                        ..
                    },
                ) => {
                    let after = if fibre_channel {
                        timers.fc_reroute
                    } else {
                        timers.ethernet_reroute
                    };
                    (TimerName::Reroute, after)
                }
                (Others::Carry, _) => (TimerName::LagRehash, timers.lag_rehash),
                _ => (TimerName::Forwarding, timers.lag_rehash),
            }),
        }
    }
}

/// Three missed periods: IEEE 802.1AX (short and long timeout), as in open-source code.
const fn lacp_expiry(rate: LacpRate) -> Duration {
    match rate {
        LacpRate::Fast => Duration::from_secs(3),
        LacpRate::Slow => Duration::from_secs(90),
    }
}

impl Compiled {
    /// The longest time until the fabric has taken note of a loss, or (without a mode) of a return.
    pub(super) fn fabric_chain(&self, mode: Option<LossMode>) -> Duration {
        let members = self.fabric.members.iter();
        let kinds = members.map(|member| Kind::of(self, member));
        let both = |kind: Kind| {
            [Others::Carry, Others::None]
                .map(|others| kind.noted_by(mode, others, &self.site.timers))
        };
        let times = kinds.flat_map(both).flatten().map(|(_, after)| after);
        times.max().unwrap_or(Duration::ZERO)
    }
}

impl<E: Executor> World<'_, E> {
    /// Plans when the fabric takes note of a loss, or (without a mode) of a return. What becomes of the rest of
    /// their groups meanwhile is seen then.
    pub(super) fn plan_reroute(&mut self, members: &[MemberId], mode: Option<LossMode>) {
        let compiled = self.compiled;
        let timers = &compiled.site.timers;
        let mut planned: Vec<Duration> = Vec::new();
        for member in members {
            let kind = Kind::of(compiled, &compiled.fabric.members[member.0 as usize]);
            for others in [Others::Carry, Others::None] {
                if let Some((_, after)) = kind.noted_by(mode, others, timers)
                    && !planned.contains(&after)
                {
                    planned.push(after);
                }
            }
        }
        for after in planned {
            let key = Key {
                at: self.now + after,
                tie: tie::ranked(tie::TIMER, 0),
            };
            self.queue.push(key, Event::Reroute);
        }
    }

    /// The fabric takes note of every member whose loss or return has lasted long enough.
    pub(crate) fn reroute(&mut self) {
        let compiled = self.compiled;
        let there = self.fault.there();
        let before = self.fault.shunned.clone();
        let mut acted: Vec<(Note, TimerName, Duration)> = Vec::new();
        for (index, member) in compiled.fabric.members.iter().enumerate() {
            let lost = !there[index];
            if lost == before[index] {
                continue;
            }
            let nobody = [member.near, member.far]
                .iter()
                .all(|end| self.fault.node_is_lost(*end));
            let others = match (carried(member, index, &there, &before), nobody) {
                (true, _) => Others::Carry,
                (false, true) => Others::Nobody,
                (false, false) => Others::None,
            };
            let (since, mode) = self.fault.changed[index];
            let kind = Kind::of(compiled, member);
            let timer = kind.noted_by(lost.then_some(mode), others, &compiled.site.timers);
            if let Some((name, after)) = timer
                && self.now >= since + after
            {
                self.fault.shunned[index] = lost;
                let note = if lost { Note::Lost } else { Note::Returned };
                if !acted.contains(&(note, name, after)) {
                    acted.push((note, name, after));
                }
            }
        }
        if acted.is_empty() {
            return;
        }
        let alive: Vec<bool> = self.fault.shunned.iter().map(|shunned| !shunned).collect();
        self.routes = compiled.routes.again(&compiled.fabric, &alive);
        self.ways.fill(Way::Unknown);
        for (note, name, after) in acted {
            self.log(LogEntry {
                at: self.now,
                kind: LogKind::Rerouted(note),
                timer: Some((name, after)),
                ios: 0,
            });
        }
        self.look_at_paths();
    }

    /// Whether no group of links still sends over a lost member of which it will take note.
    pub(super) fn groups_decided(&self) -> bool {
        let there = self.fault.there();
        let shunned = &self.fault.shunned;
        let members = self.compiled.fabric.members.iter().enumerate();
        let mut open = members.filter(|(index, _)| !there[*index] && !shunned[*index]);
        !open.any(|(index, member)| {
            let mode = Some(self.fault.changed[index].1);
            let kind = Kind::of(self.compiled, member);
            let timers = &self.compiled.site.timers;
            carried(member, index, &there, shunned)
                && kind.noted_by(mode, Others::Carry, timers).is_some()
        })
    }
}

/// Whether another member of the group of a member is there and in use.
fn carried(member: &Member, index: usize, there: &[bool], shunned: &[bool]) -> bool {
    let first = index - member.index as usize;
    let mut group = first..first + member.of as usize;
    group.any(|other| other != index && there[other] && !shunned[other])
}
