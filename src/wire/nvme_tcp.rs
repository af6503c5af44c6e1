//! NVMe over TCP: the PDUs of one I/O.
//!
//! One C2HData PDU per read, and one ready-to-transfer (R2T) with one H2CData PDU per piece of a write, one
//! after the other. Left out: connection set-up, data alignment beyond 4 bytes (the default needs no
//! padding), several R2Ts outstanding, TLS.

use super::plan::{Op, Part, Plan, Then, Toward, Volley};
use super::tcp::{Digests, TcpOptions};

/// Common header (8) and submission queue entry (64), bytes. NVMe/TCP transport; verified in open-source
/// headers.
pub const COMMAND: u32 = 8 + 64;
/// Common header (8) and completion queue entry (16), bytes. NVMe/TCP transport; verified in open-source
/// headers.
pub const RESPONSE: u32 = 8 + 16;
/// Header of H2CData and C2HData: 8 + command id 2 + tag 2 + offset 4 + length 4 + reserved 4, bytes.
/// NVMe/TCP transport; verified in open-source headers.
pub const DATA_HEADER: u32 = 8 + 2 + 2 + 4 + 4 + 4;
/// Ready to transfer, laid out like a data header, bytes. NVMe/TCP transport; verified in open-source
/// headers.
pub const READY_TO_TRANSFER: u32 = 8 + 2 + 2 + 4 + 4 + 4;
/// Connection request and response (ICReq, ICResp), bytes. NVMe/TCP transport; verified in open-source
/// headers. Not part of an I/O.
pub const INITIALIZE: u32 = 8 + 2 + 1 + 1 + 4 + 112;
/// Smallest limit on the data of one H2CData PDU (MAXH2CDATA), bytes. NVMe/TCP transport; from memory.
pub const MAX_H2C_DATA_MIN: u32 = 4096;

/// Whether a good read is answered by a capsule of its own.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum ResponseCapsule {
    /// Sent after the data.
    #[default]
    Sent,
    /// Elided: the SUCCESS flag of the last C2HData stands for it. Reads only; needs submission queue flow
    /// control off (from memory).
    Elided,
}

/// Options of NVMe over TCP.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct NvmeTcpOptions {
    /// Segments of the connection.
    pub tcp: TcpOptions,
    /// Largest write whose data travels in the command capsule, bytes; 0 means none does. Default 16384:
    /// four pages of 4 KiB, the default of an open-source target (verified there).
    pub in_capsule: u32,
    /// Largest data of one H2CData PDU (MAXH2CDATA), bytes, at least 4096. Default 4 MiB: the default of an
    /// open-source target (verified there).
    pub max_h2c_data: u32,
    /// Digests. Default off.
    pub digests: Digests,
    /// The response of a good read. Default sent.
    pub success: ResponseCapsule,
}

impl Default for NvmeTcpOptions {
    fn default() -> Self {
        Self {
            tcp: TcpOptions::default(),
            in_capsule: 16_384,
            max_h2c_data: 0x40_0000,
            digests: Digests::default(),
            success: ResponseCapsule::default(),
        }
    }
}

impl NvmeTcpOptions {
    fn header(&self, bytes: u32) -> Part {
        Part::Header(bytes + self.digests.header_bytes())
    }

    fn with_data(&self, header: u32, data: u32) -> [Part; 3] {
        [
            self.header(header),
            Part::Data(data),
            Part::Header(self.digests.data_bytes()),
        ]
    }

    pub(super) fn plan(&self, op: Op, size: u32) -> Plan {
        Plan::new(match op {
            Op::Read => self.read(size),
            Op::Write if size <= self.in_capsule => vec![
                self.tcp.volley(
                    "command and data",
                    Toward::Array,
                    self.with_data(COMMAND, size),
                    Then::Serve,
                ),
                self.response(),
            ],
            Op::Write => self.granted_write(size),
        })
    }

    fn read(&self, size: u32) -> Vec<Volley> {
        let command = self.tcp.volley(
            "command",
            Toward::Array,
            [self.header(COMMAND)],
            Then::Serve,
        );
        let data = self.with_data(DATA_HEADER, size);
        let burst = match self.success {
            ResponseCapsule::Sent => {
                let parts = data.into_iter().chain([self.header(RESPONSE)]);
                self.tcp
                    .volley("data and response", Toward::Host, parts, Then::Complete)
            }
            ResponseCapsule::Elided => self.tcp.volley("data", Toward::Host, data, Then::Complete),
        };
        vec![command, burst]
    }

    fn granted_write(&self, size: u32) -> Vec<Volley> {
        let mut volleys =
            vec![
                self.tcp
                    .volley("command", Toward::Array, [self.header(COMMAND)], Then::Next),
            ];
        let limit = self.max_h2c_data.max(MAX_H2C_DATA_MIN);
        let mut left = size;
        while left > 0 {
            let piece = left.min(limit);
            left -= piece;
            let ready = [self.header(READY_TO_TRANSFER)];
            volleys.push(
                self.tcp
                    .volley("ready to transfer", Toward::Host, ready, Then::Next)
                    .ready_to_transfer(),
            );
            let then = if left == 0 { Then::Serve } else { Then::Next };
            volleys.push(self.tcp.volley(
                "data",
                Toward::Array,
                self.with_data(DATA_HEADER, piece),
                then,
            ));
        }
        volleys.push(self.response());
        volleys
    }

    fn response(&self) -> Volley {
        self.tcp.volley(
            "response",
            Toward::Host,
            [self.header(RESPONSE)],
            Then::Complete,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::Encapsulation;

    #[test]
    fn pdu_sizes_by_the_nvme_tcp_transport() {
        assert_eq!(
            [
                COMMAND,
                RESPONSE,
                DATA_HEADER,
                READY_TO_TRANSFER,
                INITIALIZE
            ],
            [72, 24, 24, 24, 128]
        );
    }

    #[test]
    fn a_large_write_is_granted_piece_by_piece() {
        let options = NvmeTcpOptions {
            max_h2c_data: 0,
            ..NvmeTcpOptions::default()
        };
        // The limit is held to its floor of 4096: 20,000 bytes are four pieces and a rest of 3616.
        let plan = options.plan(Op::Write, 20_000);
        let payloads: Vec<u64> = plan.volleys.iter().map(Volley::payload).collect();
        assert_eq!(
            payloads,
            [0, 0, 4096, 0, 4096, 0, 4096, 0, 4096, 0, 3616, 0]
        );
        let serves: Vec<usize> = (0..plan.volleys.len())
            .filter(|index| plan.volleys[*index].then == Then::Serve)
            .collect();
        assert_eq!(serves, [10]);
        assert_eq!(
            plan.volleys
                .iter()
                .filter(|volley| volley.ready_to_transfer)
                .count(),
            5
        );
    }

    #[test]
    fn digests_add_four_bytes_to_each_header_and_each_data() {
        let wire = |digests, op, size| {
            let plan = NvmeTcpOptions {
                digests,
                ..NvmeTcpOptions::default()
            }
            .plan(op, size);
            plan.volleys
                .iter()
                .map(|volley| volley.wire_bytes(Encapsulation::Ethernet))
                .sum::<u64>()
        };
        let added = |digests, op, size| wire(digests, op, size) - wire(Digests::Off, op, size);
        // Read: command, data header, response; one data. No extra frame at these sizes.
        assert_eq!(added(Digests::Header, Op::Read, 4096), 12);
        assert_eq!(added(Digests::Data, Op::Read, 4096), 4);
        assert_eq!(added(Digests::Both, Op::Read, 4096), 16);
        // Write beyond the capsule: command, R2T, data header, response; one data.
        assert_eq!(added(Digests::Both, Op::Write, 65_536), 20);
        assert_eq!(added(Digests::Both, Op::Write, 4096), 12);
    }
}
