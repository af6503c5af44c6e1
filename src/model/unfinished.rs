//! The unfinished I/Os of each workload, in order of arrival: the oldest one's age is followed over time.

use super::attempt::NONE;
use super::world::{Executor, World};
use crate::unit::Instant;

impl<E: Executor> World<'_, E> {
    /// Longest I/O and silence of what is unfinished at the end, and what is above a target already.
    pub(crate) fn note_longest_of_unfinished(&mut self, workload: usize) {
        let mut io = self.oldest[workload];
        let Some(since) = self.fault.since else {
            return;
        };
        if io != NONE {
            let age = self.now.since(self.ios[io].arrival);
            let tally = &mut self.tally.workloads[workload];
            if age > tally.longest {
                tally.longest = age;
                tally.longest_failed = false;
                tally.longest_by = None;
                tally.longest_open = true;
            }
            tally.silence = tally
                .silence
                .max(self.now.since(tally.last_completion.max(since)));
        }
        self.note_stop_at_the_end(workload, since);
        while io != NONE {
            let age = self.now.since(self.ios[io].arrival);
            let tally = &mut self.tally.workloads[workload];
            tally.unfinished += 1;
            for (above, (target, _)) in tally.above_after.iter_mut().zip(&tally.above) {
                *above += u64::from(age.0 > *target);
            }
            io = self.ios[io].after;
        }
    }

    pub(crate) fn link_unfinished(&mut self, workload: u32, io: u32) {
        let newest = std::mem::replace(&mut self.newest[workload as usize], io);
        self.ios[io].before = newest;
        if newest == NONE {
            self.oldest[workload as usize] = io;
        } else {
            self.ios[newest].after = io;
        }
    }

    pub(super) fn unlink_unfinished(&mut self, workload: u32, io: u32) {
        let (before, after) = (self.ios[io].before, self.ios[io].after);
        if before == NONE {
            self.oldest[workload as usize] = after;
        } else {
            self.ios[before].after = after;
        }
        if after == NONE {
            self.newest[workload as usize] = before;
        } else {
            self.ios[after].before = before;
        }
    }

    /// Records the age of the oldest unfinished I/O in every bin since it was last looked at.
    pub(crate) fn note_oldest(&mut self, workload: u32) {
        if !self.watch.transient {
            return;
        }
        let index = workload as usize;
        let from = std::mem::replace(&mut self.oldest_seen[index], self.now);
        let io = self.oldest[index];
        if io == NONE {
            return;
        }
        let arrival = self.ios[io].arrival;
        let series = &mut self.tally.workloads[index].oldest;
        let width = series.width().0;
        let mut end = (from.max(arrival).0 / width + 1) * width;
        while end <= self.now.0 {
            let last = Instant(end - 1);
            series.at(last).raise(last.since(arrival).0);
            end += width;
        }
        series.at(self.now).raise(self.now.since(arrival).0);
    }
}
