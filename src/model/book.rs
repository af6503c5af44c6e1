//! The book of an attempt's time: which part of its latency each hop of its frames adds to.

use super::attempt::Attempt;
use super::compile::{Compiled, HOPS_MAX, Hop};
use super::net::{Frame, FrameKind, Times};

/// Where the time of frames is booked.
#[derive(Debug)]
pub(crate) struct Book<'a> {
    pub(crate) compiled: &'a Compiled,
    pub(crate) attempts: &'a mut [Attempt],
    pub(crate) waits: &'a mut [u64],
}

impl Book<'_> {
    /// Splits the time of one hop of a volley's frame into the parts of its latency budget.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Part of each hop of each frame.
    pub(crate) fn account_hop(&mut self, frame: &Frame, times: &Times, hop: &Hop) {
        let attempt = &mut self.attempts[frame.attempt as usize];
        let place = usize::from(frame.hop) % HOPS_MAX;
        let ser = times.end.0 - times.start.0;
        // What it would wait were its own message's frames alone here.
        let own_start = times.ready.0.max(attempt.own_free[place]);
        attempt.own_free[place] = own_start + ser;
        if frame.kind != FrameKind::Last {
            return;
        }
        let wait = times.start.0 - times.ready.0;
        let own_wait = (own_start - times.ready.0).min(wait);
        let delay = if hop.ends { 0 } else { hop.delay.0 };
        let passed = times.handover.0 - times.start.0;
        attempt.volley_sum += wait + passed;
        if self.compiled.volleys[attempt.volley as usize].ready_to_transfer {
            return;
        }
        // The header's time where it was cut through, else the whole frame's.
        attempt.parts.serialization += own_wait + (passed - hop.latency.0 - delay);
        attempt.parts.propagation += hop.latency.0;
        attempt.parts.switch += delay;
        self.waits[frame.attempt as usize * self.compiled.tiers.len() + hop.tier as usize] +=
            wait - own_wait;
    }
}
