//! Volumes of a lost controller: its partner serves them after a time.
//!
//! Only where volumes have owners (`owner = "alternate"`): with `any`, both controllers serve all volumes all
//! along. A controller is lost when all its ports are. Until the takeover is over, I/Os of its volumes wait in
//! their hosts. Nothing is taken over while no partner is alive: it begins when one is back. How hosts notice is the paths' own affair, so the stall is the longer of the two. A controller
//! that is back has its volumes at once, as far as its hosts use its paths (failback). One that is emptied on purpose hands them over
//! while both are there, so that nobody waits when it goes.
//!
//! Left out: what a takeover costs the partner.

use super::attempt::tie;
use super::compile::Compiled;
use super::standing::{LogEntry, LogKind, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::Owner;
use crate::topology::{Controller, NodeId};

/// Whether the volumes of an array have owners for any workload.
fn owned(compiled: &Compiled, array: usize) -> bool {
    let mut works = compiled.site.workloads.iter();
    works.any(|work| work.array == array && work.owner == Owner::Alternate)
}

impl<E: Executor> World<'_, E> {
    /// Looks which controllers are lost, after a loss or a return.
    ///
    /// Returns the arrays of which a controller is back before its partner had its volumes.
    pub(crate) fn look_at_controllers(&mut self) -> Vec<usize> {
        let mut back = Vec::new();
        let controllers = &self.compiled.fabric.controllers;
        let lost: Vec<bool> = controllers
            .iter()
            .map(|controller| {
                let ports = &controller.ports;
                !ports.is_empty() && ports.iter().all(|port| self.fault.node_is_lost(*port))
            })
            .collect();
        for (index, controller) in controllers.iter().enumerate() {
            let takeover = self.compiled.site.arrays[controller.array].takeover;
            let partner = || {
                let mut others = controllers.iter().zip(&lost).enumerate();
                others.any(|(other, (own, lost))| {
                    other != index && own.array == controller.array && !lost
                })
            };
            let handed_over = self.controllers[index].handed_over;
            let since = &mut self.controllers[index].lost_since;
            if !lost[index] || !owned(self.compiled, controller.array) {
                let waited = since
                    .take()
                    .is_some_and(|begun| !handed_over && self.now < begun + takeover);
                if waited {
                    back.push(controller.array);
                }
                continue;
            }
            match *since {
                // What the partner has it keeps, and has when it comes back.
                Some(begun) if self.now >= begun + takeover || partner() => continue,
                Some(_) => {
                    *since = None;
                    continue;
                }
                None if partner() => *since = Some(self.now),
                None => continue,
            }
            if handed_over {
                continue;
            }
            let controller = u32::try_from(index).unwrap_or(u32::MAX);
            let key = Key {
                at: self.now + takeover,
                tie: tie::timer(0xf_ffff, controller, tie::Watching::Takeover),
            };
            self.queue.push(key, Event::Takeover { controller });
        }
        back
    }

    /// Controllers of which every port is emptied on purpose hand their volumes over, where a partner stays.
    pub(crate) fn hand_volumes_over(&mut self, drained: &[NodeId]) {
        let controllers = &self.compiled.fabric.controllers;
        let out = |own: &Controller| {
            let emptied = |port: &NodeId| drained.contains(port) || self.fault.node_is_lost(*port);
            !own.ports.is_empty() && own.ports.iter().all(emptied)
        };
        let emptied = |own: &Controller| own.ports.iter().any(|port| drained.contains(port));
        let mut handed = Vec::new();
        for (index, controller) in (0_u32..).zip(controllers) {
            let mut others = controllers.iter();
            let partner = others.any(|own| own.array == controller.array && !out(own));
            if emptied(controller)
                && out(controller)
                && partner
                && owned(self.compiled, controller.array)
                && self.controllers[index as usize].lost_since.is_none()
            {
                handed.push(index);
            }
        }
        for controller in handed {
            self.controllers[controller as usize].handed_over = true;
            self.log(LogEntry {
                at: self.now,
                kind: LogKind::TakenOver(controller),
                timer: None,
                ios: 0,
            });
        }
    }

    /// Controllers whose ports come back have their volumes again.
    pub(crate) fn take_volumes_back(&mut self, back: &[NodeId]) {
        let controllers = &self.compiled.fabric.controllers;
        for (state, controller) in self.controllers.iter_mut().zip(controllers) {
            if controller.ports.iter().any(|port| back.contains(port)) {
                state.handed_over = false;
            }
        }
    }

    /// Volumes of an array are served again, because their controller is back: what waits for them goes on.
    pub(crate) fn volumes_are_back(&mut self, array: usize) {
        for set in 0..self.compiled.sets.len() {
            if self.compiled.array_of(&self.compiled.sets[set]) == Some(array) {
                self.dispatch(u32::try_from(set).unwrap_or(u32::MAX));
            }
        }
    }

    /// Whether the volumes of a controller are between it and its partner.
    #[cold]
    pub(crate) fn waits_for_takeover(&self, controller: usize) -> bool {
        let array = self.compiled.fabric.controllers[controller].array;
        let takeover = self.compiled.site.arrays[array].takeover;
        let own = &self.controllers[controller];
        let since = own.lost_since.filter(|_| !own.handed_over);
        since.is_some_and(|since| self.now < since + takeover)
    }

    /// A takeover may be over.
    pub(crate) fn taken_over(&mut self, controller: u32) {
        let index = controller as usize;
        let array = self.compiled.fabric.controllers[index].array;
        let takeover = self.compiled.site.arrays[array].takeover;
        let due = self.controllers[index].lost_since;
        if due.is_none_or(|since| self.now < since + takeover) {
            return;
        }
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::TakenOver(controller),
            timer: Some((TimerName::Takeover, takeover)),
            ios: 0,
        });
        for set in 0..self.compiled.sets.len() {
            self.dispatch(u32::try_from(set).unwrap_or(u32::MAX));
        }
    }
}
