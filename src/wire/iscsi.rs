//! iSCSI: the PDUs of one I/O (RFC 7143).
//!
//! Data-In PDUs of a read share frames as one burst, the status in the last one or in a response of its
//! own. A write sends immediate and unsolicited data with its command, then one burst for each R2T, one
//! after the other. Left out: login, several R2Ts outstanding, sense data, NOPs, TLS.

use super::framing::ceil4;
use super::plan::{Op, Part, Plan, Then, Toward, Volley};
use super::tcp::{Digests, TcpOptions};

/// Basic header segment of every PDU here, bytes. RFC 7143 section 11; verified in open-source headers.
pub const HEADER: u32 = 48;

/// Where the status of a good read travels.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum ReadStatus {
    /// In the last Data-In PDU.
    #[default]
    InLastData,
    /// In a SCSI Response PDU of its own.
    Separate,
}

/// Whether a write waits for an R2T before it sends more than its immediate data (key InitialR2T).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum InitialR2t {
    /// Yes, the default of RFC 7143.
    #[default]
    Yes,
    /// No: data up to the first burst length follows the command unasked.
    No,
}

/// Whether data may travel in the command PDU (key ImmediateData).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum ImmediateData {
    /// Yes, the default of RFC 7143.
    #[default]
    Yes,
    /// No.
    No,
}

/// What a login has settled. Defaults: RFC 7143 section 13, verified in open-source code.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct IscsiOptions {
    /// Segments of the connection.
    pub tcp: TcpOptions,
    /// Largest data segment the host takes (its MaxRecvDataSegmentLength), bytes, at least 512. Default
    /// 8192.
    pub host_segment: u32,
    /// Largest data segment the array takes, bytes, at least 512. Default 8192.
    pub array_segment: u32,
    /// Most data sent unasked, immediate data included (FirstBurstLength), bytes, at least 512. Default
    /// 65536.
    pub first_burst: u32,
    /// Most data for one R2T (MaxBurstLength), bytes, at least 512. Default 262144.
    pub max_burst: u32,
    /// Default yes.
    pub initial_r2t: InitialR2t,
    /// Default yes.
    pub immediate_data: ImmediateData,
    /// Where the status of a read travels. Default in the last Data-In.
    pub read_status: ReadStatus,
    /// Digests. Default off.
    pub digests: Digests,
}

impl Default for IscsiOptions {
    fn default() -> Self {
        Self {
            tcp: TcpOptions::default(),
            host_segment: 8192,
            array_segment: 8192,
            first_burst: 65_536,
            max_burst: 262_144,
            initial_r2t: InitialR2t::default(),
            immediate_data: ImmediateData::default(),
            read_status: ReadStatus::default(),
            digests: Digests::default(),
        }
    }
}

/// The smallest length any of the four limits can be negotiated to, bytes. RFC 7143 section 13.12 to
/// 13.14; verified in open-source headers.
pub const LENGTH_MIN: u32 = 512;

impl IscsiOptions {
    pub(super) fn plan(&self, op: Op, size: u32) -> Plan {
        Plan::new(match op {
            Op::Read => self.read(size),
            Op::Write => self.write(size),
        })
    }

    fn pdu(&self, parts: &mut Vec<Part>, data: u32) {
        parts.push(Part::Header(HEADER + self.digests.header_bytes()));
        if data > 0 {
            parts.push(Part::Data(data));
            // Data segments are padded to a word.
            parts.push(Part::Header(ceil4(data) - data + self.digests.data_bytes()));
        }
    }

    /// PDUs of at most `limit` data bytes.
    fn pdus(&self, parts: &mut Vec<Part>, data: u32, limit: u32) {
        let mut left = data;
        while left > 0 {
            let piece = left.min(limit.max(LENGTH_MIN));
            self.pdu(parts, piece);
            left -= piece;
        }
    }

    fn bare(&self, name: &'static str, toward: Toward, then: Then) -> Volley {
        let mut parts = Vec::new();
        self.pdu(&mut parts, 0);
        self.tcp.volley(name, toward, parts, then)
    }

    fn read(&self, size: u32) -> Vec<Volley> {
        let mut parts = Vec::new();
        self.pdus(&mut parts, size, self.host_segment);
        if self.read_status == ReadStatus::Separate {
            self.pdu(&mut parts, 0);
        }
        vec![
            self.bare("command", Toward::Array, Then::Serve),
            self.tcp
                .volley("data and response", Toward::Host, parts, Then::Complete),
        ]
    }

    fn write(&self, size: u32) -> Vec<Volley> {
        let first_burst = size.min(self.first_burst.max(LENGTH_MIN));
        let immediate = match self.immediate_data {
            ImmediateData::Yes => first_burst.min(self.array_segment.max(LENGTH_MIN)),
            ImmediateData::No => 0,
        };
        let unsolicited = match self.initial_r2t {
            InitialR2t::Yes => 0,
            InitialR2t::No => first_burst - immediate,
        };
        let mut parts = Vec::new();
        self.pdu(&mut parts, immediate);
        self.pdus(&mut parts, unsolicited, self.array_segment);
        let mut left = size - immediate - unsolicited;
        let after = |left: u32| if left == 0 { Then::Serve } else { Then::Next };
        let name = if immediate + unsolicited == 0 {
            "command"
        } else {
            "command and data"
        };
        let mut volleys = vec![self.tcp.volley(name, Toward::Array, parts, after(left))];
        while left > 0 {
            let piece = left.min(self.max_burst.max(LENGTH_MIN));
            left -= piece;
            volleys.push(
                self.bare("ready to transfer", Toward::Host, Then::Next)
                    .ready_to_transfer(),
            );
            let mut parts = Vec::new();
            self.pdus(&mut parts, piece, self.array_segment);
            volleys.push(self.tcp.volley("data", Toward::Array, parts, after(left)));
        }
        volleys.push(self.bare("response", Toward::Host, Then::Complete));
        volleys
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::Encapsulation;

    #[test]
    fn a_read_of_many_pdus_is_one_burst() {
        let read = |host_segment| {
            let plan = IscsiOptions {
                host_segment,
                ..IscsiOptions::default()
            }
            .plan(Op::Read, 65_536);
            (
                plan.frames(Toward::Host),
                plan.wire_bytes(Toward::Host, Encapsulation::Ethernet),
            )
        };
        // One PDU, or eight in one burst: 65536 + 48 or + 8 × 48 bytes in 46 segments of 90 overhead.
        assert_eq!(read(262_144), (46, 69_724));
        assert_eq!(read(8192), (46, 70_060));
    }

    #[test]
    fn a_large_write_is_cut_by_r2ts() {
        // 512 KiB: 8 KiB immediate, then 262,144 and 253,952.
        let plan = IscsiOptions::default().plan(Op::Write, 524_288);
        let bursts: Vec<u64> = plan.volleys.iter().map(Volley::payload).collect();
        assert_eq!(bursts, [8192, 0, 262_144, 0, 253_952, 0]);
        assert_eq!(plan.volleys[4].then, Then::Serve);
    }

    #[test]
    fn unsolicited_data_joins_the_burst_of_the_command() {
        let options = IscsiOptions {
            initial_r2t: InitialR2t::No,
            ..IscsiOptions::default()
        };
        let plan = options.plan(Op::Write, 65_536);
        assert_eq!(plan.volleys.len(), 2);
        // Eight PDUs, 65920 bytes, in one burst.
        assert_eq!(
            plan.wire_bytes(Toward::Array, Encapsulation::Ethernet),
            65_920 + 46 * 90
        );
        let none = IscsiOptions {
            immediate_data: ImmediateData::No,
            ..IscsiOptions::default()
        };
        let plan = none.plan(Op::Write, 65_536);
        assert_eq!(
            plan.volleys.iter().map(Volley::payload).collect::<Vec<_>>(),
            [0, 0, 65_536, 0]
        );
    }

    #[test]
    fn digests_and_padding() {
        let wire = |digests, size| {
            let plan = IscsiOptions {
                digests,
                ..IscsiOptions::default()
            }
            .plan(Op::Read, size);
            plan.wire_bytes(Toward::Host, Encapsulation::Ethernet)
        };
        assert_eq!(wire(Digests::Both, 1000) - wire(Digests::Off, 1000), 8);
        // 1001 bytes are padded to 1004.
        assert_eq!(wire(Digests::Off, 1001), 48 + 1004 + 90);
    }
}
