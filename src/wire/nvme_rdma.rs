//! NVMe over RDMA (RoCEv2): the packets of one I/O.
//!
//! A read is SEND, RDMA WRITE, SEND; a write beyond the in-capsule limit is SEND, one RDMA READ, SEND: the
//! array starts all movement of data. Left out: transport ACKs (86 wire bytes each over IPv4; at least one
//! for each SEND or WRITE group), invalidation of keys (4 bytes more in the response), congestion
//! notifications, several READs for one write.

use super::framing::{self, Ip, ROCE_AETH, ROCE_RETH, Vlan, rocev2_packet, rocev2_wire};
use super::plan::{FrameRun, Op, Part, Plan, Then, Toward, Volley, cut, push_run};

/// Submission queue entry, bytes. NVMe over Fabrics, RDMA binding; from memory.
pub const COMMAND: u32 = 64;
/// Completion queue entry, bytes. NVMe over Fabrics, RDMA binding; from memory.
pub const RESPONSE: u32 = 16;
/// Path MTUs there are, bytes. IBTA volume 1; from memory.
pub const PATH_MTUS: [u32; 5] = [256, 512, 1024, 2048, 4096];

/// Options of NVMe over RDMA.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct NvmeRdmaOptions {
    /// Largest IP packet, bytes; the path MTU follows from it. Default 1500.
    pub mtu: u32,
    /// IP version. Default IPv4.
    pub ip: Ip,
    /// VLAN tag. Default untagged.
    pub vlan: Vlan,
    /// Largest write whose data travels with the command, bytes; 0 means none does. Default 4096: one page,
    /// the default of an open-source target (secondary source).
    pub in_capsule: u32,
}

impl Default for NvmeRdmaOptions {
    fn default() -> Self {
        Self {
            mtu: framing::MTU_STANDARD,
            ip: Ip::default(),
            vlan: Vlan::default(),
            in_capsule: 4096,
        }
    }
}

/// Extension headers by place in a message, bytes.
#[derive(Clone, Copy)]
struct Extensions {
    first: u32,
    last: u32,
    only: u32,
}

/// SEND has none (IBTA volume 1; verified in open-source opcode tables, as are the next two).
const SEND: Extensions = Extensions {
    first: 0,
    last: 0,
    only: 0,
};
/// RDMA WRITE says where to in its first packet.
const WRITE: Extensions = Extensions {
    first: ROCE_RETH,
    last: 0,
    only: ROCE_RETH,
};
/// READ responses acknowledge in the first and the last packet.
const READ_RESPONSE: Extensions = Extensions {
    first: ROCE_AETH,
    last: ROCE_AETH,
    only: ROCE_AETH,
};

impl NvmeRdmaOptions {
    /// The largest path MTU whose largest packet, a WRITE's first, fits the IP MTU; 256 where none does.
    #[must_use]
    pub fn path_mtu(&self) -> u32 {
        let fits = |path: &&u32| rocev2_packet(**path, ROCE_RETH, self.ip) <= self.mtu;
        PATH_MTUS
            .iter()
            .rev()
            .find(fits)
            .copied()
            .unwrap_or(PATH_MTUS[0])
    }

    /// The largest IP packet sent, bytes: what a hop must carry.
    #[must_use]
    pub fn packet_max(&self) -> u32 {
        rocev2_packet(self.path_mtu(), ROCE_RETH, self.ip)
    }

    /// Wire bytes of a transport ACK, which plans leave out.
    #[must_use]
    pub const fn ack_wire(&self) -> u32 {
        rocev2_wire(0, ROCE_AETH, self.ip, self.vlan)
    }

    pub(super) fn plan(&self, op: Op, size: u32) -> Plan {
        let command = |data, then| {
            let name = if data > 0 {
                "command and data"
            } else {
                "command"
            };
            let parts = [Part::Header(COMMAND), Part::Data(data)];
            Volley::new(name, Toward::Array, self.message(parts, SEND), then)
        };
        let response = self.message([Part::Header(RESPONSE)], SEND);
        Plan::new(match op {
            Op::Read => {
                let mut runs = self.message([Part::Data(size)], WRITE);
                runs.extend(response);
                vec![
                    command(0, Then::Serve),
                    Volley::new("data and response", Toward::Host, runs, Then::Complete),
                ]
            }
            Op::Write if size <= self.in_capsule => {
                vec![
                    command(size, Then::Serve),
                    Volley::new("response", Toward::Host, response, Then::Complete),
                ]
            }
            Op::Write => vec![
                command(0, Then::Next),
                Volley::new(
                    "read request",
                    Toward::Host,
                    vec![self.run(1, 0, 0, ROCE_RETH)],
                    Then::Next,
                )
                .ready_to_transfer(),
                Volley::new(
                    "data",
                    Toward::Array,
                    self.message([Part::Data(size)], READ_RESPONSE),
                    Then::Serve,
                ),
                Volley::new("response", Toward::Host, response, Then::Complete),
            ],
        })
    }

    fn run(&self, count: u32, payload: u32, bytes: u32, extension: u32) -> FrameRun {
        let wire = rocev2_wire(bytes, extension, self.ip, self.vlan);
        FrameRun {
            count,
            payload,
            native: wire,
            fcoe: wire,
        }
    }

    /// The packets of one message.
    fn message(
        &self,
        parts: impl IntoIterator<Item = Part>,
        extensions: Extensions,
    ) -> Vec<FrameRun> {
        let pieces = cut(parts, self.path_mtu());
        let packets: u32 = pieces.iter().map(|piece| piece.count).sum();
        let mut runs = Vec::new();
        let mut before = 0;
        for piece in pieces {
            let mut push = |count, extension| {
                if count > 0 {
                    push_run(
                        &mut runs,
                        self.run(count, piece.payload, piece.bytes, extension),
                    );
                }
            };
            let after = before + piece.count;
            let first = u32::from(before == 0);
            let last = u32::from(after == packets);
            if packets == 1 {
                push(1, extensions.only);
            } else {
                // A piece of one packet is never both first and last here: there are others.
                push(first, extensions.first);
                push(piece.count - first - last, 0);
                push(last, extensions.last);
            }
            before = after;
        }
        runs
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn path_mtu_follows_from_the_ip_mtu() {
        let path = |mtu, ip| {
            NvmeRdmaOptions {
                mtu,
                ip,
                ..NvmeRdmaOptions::default()
            }
            .path_mtu()
        };
        assert_eq!(
            [path(1500, Ip::V4), path(9000, Ip::V4), path(0, Ip::V4)],
            [1024, 4096, 256]
        );
        // IPv4 needs 60 bytes around a full packet, IPv6 80.
        assert_eq!([path(4155, Ip::V4), path(4156, Ip::V4)], [2048, 4096]);
        assert_eq!([path(4175, Ip::V6), path(4176, Ip::V6)], [2048, 4096]);
        assert_eq!(NvmeRdmaOptions::default().packet_max(), 1084);
        assert_eq!(NvmeRdmaOptions::default().ack_wire(), 86);
    }

    #[test]
    fn extension_headers_sit_in_the_right_packets() {
        let options = NvmeRdmaOptions::default();
        let sizes = |plan: &Plan, volley: usize| -> Vec<(u32, u32)> {
            plan.volleys[volley]
                .runs
                .iter()
                .map(|run| (run.count, run.native))
                .collect()
        };
        // WRITE first, three middle and last, response.
        let read = options.plan(Op::Read, 4096);
        assert_eq!(sizes(&read, 1), [(1, 1122), (3, 1106), (1, 98)]);
        // READ responses: first, middle, last; an only packet has one acknowledgement header.
        let write = options.plan(Op::Write, 8192);
        assert_eq!(sizes(&write, 2), [(1, 1110), (6, 1106), (1, 1110)]);
        let small = NvmeRdmaOptions {
            in_capsule: 0,
            ..options
        }
        .plan(Op::Write, 512);
        assert_eq!(sizes(&small, 2), [(1, 512 + 86)]);
        // In the capsule: 64 + 4096 bytes are four full packets and one of 64.
        let capsule = options.plan(Op::Write, 4096);
        let payloads: Vec<(u32, u32, u32)> = capsule.volleys[0]
            .runs
            .iter()
            .map(|run| (run.count, run.payload, run.native))
            .collect();
        assert_eq!(payloads, [(1, 960, 1106), (3, 1024, 1106), (1, 64, 146)]);
    }
}
