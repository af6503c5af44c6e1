//! Volumes of a lost controller: its partner serves them after a time.
//!
//! Only where volumes have owners (`owner = "alternate"`): with `any`, both controllers serve all volumes all
//! along. A controller is lost when all its ports are. Until the takeover is over, I/Os of its volumes wait in
//! their hosts; how hosts notice is the paths' own affair, so the stall is the longer of the two. A controller
//! that is back has its volumes at once, as far as its hosts use its paths (failback).
//!
//! Left out: what a takeover costs the partner.

use super::attempt::tie;
use super::standing::{LogEntry, LogKind, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};

impl<E: Executor> World<'_, E> {
    /// Looks which controllers are lost, after a loss or a return.
    pub(crate) fn look_at_controllers(&mut self) {
        for (index, controller) in self.compiled.fabric.controllers.iter().enumerate() {
            let ports = &controller.ports;
            let lost = !ports.is_empty() && ports.iter().all(|port| self.fault.node_is_lost(*port));
            let since = &mut self.controllers[index].lost_since;
            match (lost, *since) {
                (true, None) => *since = Some(self.now),
                (false, Some(_)) => {
                    *since = None;
                    continue;
                }
                _ => continue,
            }
            let controller = u32::try_from(index).unwrap_or(u32::MAX);
            let takeover =
                self.compiled.site.arrays[self.compiled.fabric.controllers[index].array].takeover;
            let key = Key {
                at: self.now + takeover,
                tie: tie::timer(0xf_ffff, controller, tie::Watching::Takeover),
            };
            self.queue.push(key, Event::Takeover { controller });
        }
    }

    /// Whether the volumes of a controller are between it and its partner.
    #[cold]
    pub(crate) fn waits_for_takeover(&self, controller: usize) -> bool {
        let array = self.compiled.fabric.controllers[controller].array;
        let takeover = self.compiled.site.arrays[array].takeover;
        let since = self.controllers[controller].lost_since;
        // One controller alone has no partner to wait for.
        let since = since.filter(|_| self.compiled.site.arrays[array].controllers > 1);
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
