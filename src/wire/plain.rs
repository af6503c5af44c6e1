//! Plain exchanges: stated bytes without rules of their own, for theory checks and lessons.
//!
//! A request, service, a response. No gap, no header, no transfer-ready: what is stated is what the wire
//! carries.

use super::plan::{FrameRun, Op, Part, Plan, Then, Toward, Volley, cut, push_run};

/// Sizes of a plain exchange. Zeros are taken as 1; readers of input refuse them before.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct PlainOptions {
    /// Wire bytes of the request.
    pub request: u32,
    /// Wire bytes of the response.
    pub response: u32,
    /// Wire bytes of a full frame; a message of n bytes is ceil(n / frame) frames, all full but the last.
    pub frame: u32,
}

impl PlainOptions {
    /// The payload of a read fills the response from its first frame on, that of a write the request; it
    /// cannot exceed the wire bytes there and is cut down to them.
    pub(super) fn plan(&self, op: Op, size: u32) -> Plan {
        let (sent, answered) = match op {
            Op::Read => (0, size),
            Op::Write => (size, 0),
        };
        Plan::new(vec![
            Volley::new(
                "request",
                Toward::Array,
                self.message(self.request, sent),
                Then::Serve,
            ),
            Volley::new(
                "response",
                Toward::Host,
                self.message(self.response, answered),
                Then::Complete,
            ),
        ])
    }

    fn message(&self, bytes: u32, payload: u32) -> Vec<FrameRun> {
        let bytes = bytes.max(1);
        let payload = payload.min(bytes);
        let mut runs = Vec::new();
        for piece in cut(
            [Part::Data(payload), Part::Header(bytes - payload)],
            self.frame,
        ) {
            let (count, payload, wire) = (piece.count, piece.payload, piece.bytes);
            push_run(
                &mut runs,
                FrameRun {
                    count,
                    payload,
                    native: wire,
                    fcoe: wire,
                },
            );
        }
        runs
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn run(count: u32, payload: u32, wire: u32) -> FrameRun {
        FrameRun {
            count,
            payload,
            native: wire,
            fcoe: wire,
        }
    }

    #[test]
    fn frames_are_full_but_the_last() {
        let options = PlainOptions {
            request: 100,
            response: 2500,
            frame: 1000,
        };
        let plan = options.plan(Op::Read, 1500);
        assert_eq!(plan.volleys[0].runs, [run(1, 0, 100)]);
        assert_eq!(
            plan.volleys[1].runs,
            [run(1, 1000, 1000), run(1, 500, 1000), run(1, 0, 500)]
        );
        assert_eq!(plan.payload, 1500);
        let write = options.plan(Op::Write, 60);
        assert_eq!(write.volleys[0].runs, [run(1, 60, 100)]);
        assert_eq!(write.volleys[1].runs, [run(2, 0, 1000), run(1, 0, 500)]);
    }

    #[test]
    fn payload_is_cut_down_to_the_wire_bytes() {
        let plan = PlainOptions {
            request: 64,
            response: 4000,
            frame: 4000,
        }
        .plan(Op::Read, 8192);
        assert_eq!((plan.payload, plan.volleys[1].frames()), (4000, 1));
        let zeros = PlainOptions {
            request: 0,
            response: 0,
            frame: 0,
        }
        .plan(Op::Write, 8192);
        assert_eq!(zeros.volleys[0].runs, [run(1, 1, 1)]);
        assert_eq!(zeros.volleys[1].runs, [run(1, 0, 1)]);
    }
}
