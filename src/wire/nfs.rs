//! NFS over TCP: the calls and replies of one I/O, versions 3 (RFC 1813) and 4.1 (RFC 8881).
//!
//! Sizes assume AUTH_SYS with an 8-byte machine name and no extra groups, a 32-byte file handle, stable
//! writes, no integrity or privacy service. An I/O beyond the transfer size is cut into several calls that
//! leave together; each call and each reply is a burst of its own and shares no segment. Left out: COMMIT,
//! attribute traffic beyond what the replies carry, mounting, locking.

use super::framing::ceil4;
use super::plan::{Op, Part, Plan, Then, Toward, Volley};
use super::tcp::TcpOptions;

/// Protocol version.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum NfsVersion {
    /// RFC 1813.
    #[default]
    V3,
    /// RFC 8881, compound of SEQUENCE, PUTFH and READ or WRITE.
    V41,
}

/// Options of NFS.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct NfsOptions {
    /// Segments of the connection.
    pub tcp: TcpOptions,
    /// Version. Default 3: common practice, no source.
    pub version: NfsVersion,
    /// Largest data of one call or reply (rsize and wsize), bytes, 1024 to 1 MiB. Default 1 MiB: the
    /// ceiling of an open-source client (verified there).
    pub transfer: u32,
}

impl Default for NfsOptions {
    fn default() -> Self {
        Self {
            tcp: TcpOptions::default(),
            version: NfsVersion::default(),
            transfer: TRANSFER_MAX,
        }
    }
}

/// Smallest transfer size, bytes: the floor of an open-source client, verified there.
pub const TRANSFER_MIN: u32 = 1024;
/// Largest transfer size, bytes: the ceiling of an open-source client, verified there.
pub const TRANSFER_MAX: u32 = 1 << 20;

/// Record mark 4, call header 24, AUTH_SYS credential 36, null verifier 8, bytes. RFC 5531; from memory.
const CALL: u32 = 4 + 24 + (4 + 4 + (4 + 4 + 8 + 4 + 4 + 4)) + 8;
/// Record mark, transaction id, type, status, verifier 8, accept status, bytes. RFC 5531; from memory.
const REPLY: u32 = 4 + 4 + 4 + 4 + 8 + 4;
/// File handle: length and 32 bytes. RFC 1813, verified in open-source code; RFC 8881, from memory.
const HANDLE: u32 = 4 + 32;
/// Attributes after an operation: a flag and 21 words. RFC 1813; verified in open-source code.
const ATTRIBUTES_V3: u32 = 4 + 21 * 4;
/// Attributes before (flag and 6 words) and after. RFC 1813; verified in open-source code.
const WEAK_CONSISTENCY_V3: u32 = 4 + 6 * 4 + ATTRIBUTES_V3;
/// Compound: tag, minor version or status, count. RFC 8881; from memory.
const COMPOUND: u32 = 4 + 4 + 4;
/// SEQUENCE: operation, session 16, four words. RFC 8881; verified in open-source code.
const SEQUENCE_CALL: u32 = 4 + 16 + 16;
/// SEQUENCE: operation and status, session 16, five words. RFC 8881; verified in open-source code.
const SEQUENCE_REPLY: u32 = 8 + 16 + 20;
/// PUTFH: operation and handle. RFC 8881; from memory.
const PUTFH_CALL: u32 = 4 + HANDLE;
/// PUTFH: operation and status. RFC 8881; from memory.
const PUTFH_REPLY: u32 = 8;

/// Bytes of a call or reply without its data.
#[must_use]
pub const fn call_bytes(version: NfsVersion, op: Op) -> u32 {
    match (version, op) {
        // Offset 8, count 4.
        (NfsVersion::V3, Op::Read) => CALL + HANDLE + 12,
        // Offset 8, count 4, stability 4, length 4.
        (NfsVersion::V3, Op::Write) => CALL + HANDLE + 20,
        // Operation 4, state 16, offset 8, count 4.
        (NfsVersion::V41, Op::Read) => {
            CALL + COMPOUND + SEQUENCE_CALL + PUTFH_CALL + 4 + 16 + 8 + 4
        }
        // Operation 4, state 16, offset 8, stability 4, length 4.
        (NfsVersion::V41, Op::Write) => {
            CALL + COMPOUND + SEQUENCE_CALL + PUTFH_CALL + 4 + 16 + 8 + 4 + 4
        }
    }
}

/// Bytes of a reply without its data.
#[must_use]
pub const fn reply_bytes(version: NfsVersion, op: Op) -> u32 {
    match (version, op) {
        // Status, attributes, count, end of file, length.
        (NfsVersion::V3, Op::Read) => REPLY + 4 + ATTRIBUTES_V3 + 4 + 4 + 4,
        // Status, attributes, count, stability, verifier 8.
        (NfsVersion::V3, Op::Write) => REPLY + 4 + WEAK_CONSISTENCY_V3 + 4 + 4 + 8,
        // Operation and status 8, end of file 4, length 4.
        (NfsVersion::V41, Op::Read) => REPLY + COMPOUND + SEQUENCE_REPLY + PUTFH_REPLY + 8 + 4 + 4,
        // Operation and status 8, count 4, stability 4, verifier 8.
        (NfsVersion::V41, Op::Write) => {
            REPLY + COMPOUND + SEQUENCE_REPLY + PUTFH_REPLY + 8 + 4 + 4 + 8
        }
    }
}

impl NfsOptions {
    pub(super) fn plan(&self, op: Op, size: u32) -> Plan {
        let (call, reply) = (call_bytes(self.version, op), reply_bytes(self.version, op));
        let (sent, answered) = match op {
            Op::Read => ("calls", "replies with data"),
            Op::Write => ("calls with data", "replies"),
        };
        let (mut calls, mut replies) = (Vec::new(), Vec::new());
        let mut left = size;
        while left > 0 {
            let data = left.min(self.transfer.clamp(TRANSFER_MIN, TRANSFER_MAX));
            left -= data;
            // Opaque data is filled to a word (RFC 4506 section 4.10, from memory).
            let fill = Part::Header(ceil4(data) - data);
            let (sent, answered) = match op {
                Op::Read => (0, data),
                Op::Write => (data, 0),
            };
            let fill_of = |length| if length > 0 { fill } else { Part::Header(0) };
            self.tcp.burst(
                [Part::Header(call), Part::Data(sent), fill_of(sent)],
                &mut calls,
            );
            self.tcp.burst(
                [Part::Header(reply), Part::Data(answered), fill_of(answered)],
                &mut replies,
            );
        }
        let answered = Volley::new(answered, Toward::Host, replies, Then::Complete);
        let sent = Volley::new(sent, Toward::Array, calls, Then::Serve);
        Plan::new(vec![
            self.tcp.acknowledged(sent),
            self.tcp.acknowledged(answered),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::Encapsulation;

    #[test]
    fn message_sizes_by_rfc_5531_1813_and_8881() {
        assert_eq!([CALL, REPLY, WEAK_CONSISTENCY_V3], [72, 28, 116]);
        let sizes = |version| {
            [Op::Read, Op::Write].map(|op| (call_bytes(version, op), reply_bytes(version, op)))
        };
        assert_eq!(sizes(NfsVersion::V3), [(120, 132), (128, 164)]);
        assert_eq!(sizes(NfsVersion::V41), [(192, 108), (196, 116)]);
    }

    #[test]
    fn an_io_beyond_the_transfer_size_is_several_calls() {
        // 2.5 MiB are three calls; their replies do not share segments.
        let plan = NfsOptions::default().plan(Op::Read, 2_621_440);
        assert_eq!(plan.frames(Toward::Array), 3);
        // (1,048,576 + 132) / 1448 is 725 segments, (524,288 + 132) / 1448 is 363.
        assert_eq!(plan.frames(Toward::Host), 725 + 725 + 363);
        let bytes = 2_621_440 + 3 * 132 + (725 + 725 + 363) * 90;
        assert_eq!(
            plan.wire_bytes(Toward::Host, Encapsulation::Ethernet),
            bytes
        );
        assert_eq!(plan.payload, 2_621_440);
    }
}
