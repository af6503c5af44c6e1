//! Controllers: so many requests at once, one queue.

use super::attempt::tie;
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::unit::Duration;

impl<E: Executor> World<'_, E> {
    /// A request has arrived whole at its controller.
    pub(crate) fn enter_array(&mut self, slot: u32) {
        let attempt = &mut self.attempts[slot];
        attempt.holds += 1;
        attempt.queued = self.now;
        let controller = attempt.controller as usize;
        let tally = &mut self.tally.controllers[controller];
        tally.came += 1;
        tally.asked_series.at(self.now).0 += attempt.service + attempt.mirror;
        let array = self.compiled.fabric.controllers[controller].array;
        if self.controllers[controller].busy < self.compiled.site.arrays[array].parallel {
            self.start_service(slot);
        } else {
            self.controllers[controller].queue.push_back(slot);
            let waiting = self.controllers[controller].queue.len() as u64;
            self.tally.controllers[controller]
                .waiting
                .set(self.now, waiting);
        }
    }

    fn start_service(&mut self, slot: u32) {
        let attempt = &self.attempts[slot];
        let controller = attempt.controller as usize;
        let service = attempt.service + attempt.mirror;
        let tie = tie::ranked(tie::SERVICE_END, attempt.tie);
        self.queue.push(
            Key {
                at: self.now + Duration(service),
                tie,
            },
            Event::ServiceEnd { attempt: slot },
        );
        let waited = self.watch.overlap(attempt.queued, self.now);
        self.tally.controllers[controller].waited += u128::from(waited.0);
        self.controllers[controller].busy += 1;
        self.controllers[controller].begun += u128::from(self.now.0);
        self.note_busy(controller);
    }

    fn note_busy(&mut self, controller: usize) {
        let busy = u64::from(self.controllers[controller].busy);
        let tally = &mut self.tally.controllers[controller];
        tally.busy.set(self.now, busy);
        tally.busy_series.set(self.now, busy);
    }

    /// A controller has finished a request: the next one begins, and the response is ready.
    pub(crate) fn service_ends(&mut self, slot: u32) {
        let attempt = &mut self.attempts[slot];
        let service = attempt.service + attempt.mirror;
        attempt.holds -= 1;
        let wait = self.now.since(attempt.queued).0 - service;
        attempt.parts.array_queue += wait;
        attempt.parts.service += attempt.service;
        attempt.parts.mirror += attempt.mirror;
        attempt.volley += 1;
        let controller = attempt.controller as usize;
        let tally = &mut self.tally.controllers[controller];
        if self.now >= self.watch.from && self.now < self.watch.to {
            tally.served += 1;
            tally.wait.record(Duration(wait));
            tally.service += u128::from(service);
        }
        tally.finished += 1;
        tally.service_total += u128::from(service);
        self.controllers[controller].busy -= 1;
        self.controllers[controller].begun -= u128::from(self.now.0 - service);
        if let Some(next) = self.controllers[controller].queue.pop_front() {
            let waiting = self.controllers[controller].queue.len() as u64;
            self.tally.controllers[controller]
                .waiting
                .set(self.now, waiting);
            self.start_service(next);
        } else {
            self.note_busy(controller);
        }
        // The work was real even if the host has given the attempt up: the response is sent.
        self.answer(slot);
    }
}
