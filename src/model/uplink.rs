//! Switches that take their host ports down when all their uplinks are gone, so that hosts see a lost link
//! instead of frames that vanish.
//!
//! An uplink is a member towards the arrays, whatever it carries; the ports taken down are all those towards
//! the hosts. Only signals count: a silent loss leaves the ports up. The ports come back in the instant in
//! which an uplink does. A switch that is lost itself does nothing.

use super::attempt::tie;
use super::compile::Compiled;
use super::standing::{LogEntry, LogKind, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::{LossMode, UplinkLoss};
use crate::topology::{MemberId, NodeId};
use crate::unit::{Duration, Instant};

/// A switch that watches its uplinks.
#[derive(Debug)]
pub(crate) struct UplinkWatch {
    switch: u32,
    node: NodeId,
    after: Duration,
    uplinks: Vec<MemberId>,
    host_side: Vec<MemberId>,
    /// Since when no uplink has had a signal.
    since: Option<Instant>,
    dropped: bool,
}

/// The switches of a site that watch their uplinks and have some.
pub(crate) fn watches(compiled: &Compiled) -> Vec<UplinkWatch> {
    let fabric = &compiled.fabric;
    let mut watches = Vec::new();
    for (index, switch) in fabric.switches.iter().enumerate() {
        let UplinkLoss::DropHostPorts(after) = compiled.site.switches[switch.family].on_uplink_loss
        else {
            continue;
        };
        let out = &fabric.nodes[switch.node.0 as usize].out;
        let members = |toward_array: bool| -> Vec<MemberId> {
            out.iter()
                .filter(|direction| direction.toward_array() == toward_array)
                .map(|direction| direction.member())
                .collect()
        };
        let watch = UplinkWatch {
            switch: u32::try_from(index).unwrap_or(u32::MAX),
            node: switch.node,
            after,
            uplinks: members(true),
            host_side: members(false),
            since: None,
            dropped: false,
        };
        if !watch.uplinks.is_empty() {
            watches.push(watch);
        }
    }
    watches
}

impl<E: Executor> World<'_, E> {
    /// Looks at every watched switch after a loss or a return.
    pub(crate) fn look_at_uplinks(&mut self) {
        for watch in 0..self.fault.uplinks.len() {
            let own = &self.fault.uplinks[watch];
            let (node, after, since, dropped) = (own.node, own.after, own.since, own.dropped);
            let dark = !self.fault.node_is_lost(node)
                && own.uplinks.iter().all(|member| {
                    self.fault
                        .lost_since(*member)
                        .is_some_and(|(_, mode)| mode == LossMode::Loud)
                });
            if dark && since.is_none() {
                self.fault.uplinks[watch].since = Some(self.now);
                let watch = u32::try_from(watch).unwrap_or(u32::MAX);
                let key = Key {
                    at: self.now + after,
                    tie: tie::timer(0xf_ffff, watch, tie::Watching::Uplinks),
                };
                self.queue.push(key, Event::UplinksGone { watch });
            }
            if !dark {
                self.fault.uplinks[watch].since = None;
                if dropped {
                    self.fault.uplinks[watch].dropped = false;
                    self.host_ports(watch, LogKind::PortsBack);
                }
            }
        }
    }

    /// The uplinks of a switch may have been gone for long enough.
    pub(crate) fn uplinks_gone(&mut self, watch: u32) {
        let watch = watch as usize;
        let own = &mut self.fault.uplinks[watch];
        let due = own.since.is_some_and(|since| self.now >= since + own.after);
        if due && !own.dropped {
            own.dropped = true;
            self.host_ports(watch, LogKind::PortsDropped);
        }
    }

    /// Takes the host ports of a switch down, or puts them back.
    fn host_ports(&mut self, watch: usize, kind: fn(u32) -> LogKind) {
        let own = &self.fault.uplinks[watch];
        let (members, dropped) = (own.host_side.clone(), own.dropped);
        let entry = LogEntry {
            at: self.now,
            kind: kind(own.switch),
            timer: dropped.then_some((TimerName::UplinkLoss, own.after)),
            ios: 0,
        };
        self.log(entry);
        if dropped {
            self.lose_members(&members, LossMode::Loud);
        } else {
            self.restore_members(&members, [true; 2]);
        }
    }
}
