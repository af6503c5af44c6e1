//! What each frame costs beside its message, layer by layer: the overhead split that people ask for.

use super::framing::{
    self, ETHERNET_FCS, ETHERNET_GAP, ETHERNET_HEADER, ETHERNET_PREAMBLE, Encapsulation, Ip,
    VLAN_TAG, Vlan,
};
use super::nvme_rdma;
use super::plan::{Plan, Toward};
use super::protocol::Protocol;
use Purpose::{Gap, Link, Network, Transport};

/// What the bytes of a layer are for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Purpose {
    /// From end to end, in order: TCP, UDP, the RDMA transport.
    Transport,
    /// Addresses across the fabric: IP, and the Fibre Channel header, which numbers the frames too.
    Network,
    /// From port to port: Ethernet, delimiters, checks, the wrapping of `FCoE`.
    Link,
    /// Preamble and the gap between frames.
    Gap,
}

/// Bytes that one layer adds to every frame.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Layer {
    /// What the bytes are, in words of the trade.
    pub name: &'static str,
    /// What they are for.
    pub purpose: Purpose,
    /// Bytes in each frame.
    pub bytes: u32,
}

const fn layer(name: &'static str, purpose: Purpose, bytes: u32) -> Layer {
    Layer {
        name,
        purpose,
        bytes,
    }
}

/// Where the bytes of one direction go; they add up to its wire bytes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Account {
    /// Storage payload, bytes.
    pub payload: u64,
    /// Messages of the protocol around it: commands, responses, headers, digests, fill and padding.
    pub protocol: u64,
    /// Transport, bytes; none of its own on Fibre Channel.
    pub transport: u64,
    /// Network, bytes.
    pub network: u64,
    /// Link, bytes.
    pub link: u64,
    /// Preambles and gaps, bytes.
    pub gap: u64,
}

impl Account {
    /// All of them: the wire bytes.
    #[must_use]
    pub const fn total(&self) -> u64 {
        self.payload + self.protocol + self.transport + self.network + self.link + self.gap
    }
}

impl Protocol {
    /// The layers around a message in each frame of that encapsulation, outermost first.
    ///
    /// Payload, these layers times the frames, and the messages' own headers (with digests, fill and
    /// padding, and the extension headers of RDMA) add up to the wire bytes. Empty for plain frames, and
    /// for an encapsulation the protocol never has.
    #[must_use]
    pub fn layers(&self, encapsulation: Encapsulation) -> Vec<Layer> {
        match (self, encapsulation) {
            (Self::FcScsi(_) | Self::FcNvme(_), Encapsulation::FibreChannel) => vec![
                layer("gap", Gap, framing::FC_GAP),
                layer("delimiters", Link, framing::FC_SOF + framing::FC_EOF),
                layer("FC header", Network, framing::FC_HEADER),
                layer("FC CRC", Link, framing::FC_CRC),
            ],
            (Self::FcScsi(_) | Self::FcNvme(_), Encapsulation::Fcoe) => {
                let mut layers = ethernet(Vlan::Tagged);
                layers.extend([
                    layer(
                        "FCoE header and trailer",
                        Link,
                        framing::FCOE_HEADER + framing::FCOE_TRAILER,
                    ),
                    layer("FC header", Network, framing::FC_HEADER),
                    layer("FC CRC", Link, framing::FC_CRC),
                ]);
                layers
            }
            (Self::NvmeRdma(options), Encapsulation::Ethernet) => {
                let mut layers = ethernet(options.vlan);
                layers.extend([
                    ip(options.ip),
                    layer("UDP", Transport, framing::UDP_HEADER),
                    layer("RDMA transport header", Transport, framing::ROCE_BTH),
                    layer("RDMA CRC", Transport, framing::ROCE_ICRC),
                ]);
                layers
            }
            (Self::Iscsi(_) | Self::NvmeTcp(_) | Self::Nfs(_), Encapsulation::Ethernet) => {
                let Some(tcp) = self.tcp() else {
                    return Vec::new();
                };
                let mut layers = ethernet(tcp.vlan);
                let header = framing::TCP_HEADER + tcp.timestamps.bytes();
                layers.extend([ip(tcp.ip), layer("TCP", Transport, header)]);
                layers
            }
            _ => Vec::new(),
        }
    }

    /// Where the bytes of `plan`, one of this protocol's, go in one direction; pure ACKs excluded.
    ///
    /// What is neither payload nor a layer of [`Protocol::layers`] belongs to the protocol, over RDMA to its
    /// transport as far as it is not a capsule: the extension headers.
    #[must_use]
    pub fn account(&self, plan: &Plan, toward: Toward, encapsulation: Encapsulation) -> Account {
        let frames = plan.frames(toward);
        let of = |purpose| -> u64 {
            self.layers(encapsulation)
                .iter()
                .filter(|layer| layer.purpose == purpose)
                .map(|layer| u64::from(layer.bytes) * frames)
                .sum()
        };
        let mut account = Account {
            payload: plan.payload_toward(toward),
            protocol: 0,
            transport: of(Transport),
            network: of(Network),
            link: of(Link),
            gap: of(Gap),
        };
        let rest = plan
            .wire_bytes(toward, encapsulation)
            .saturating_sub(account.total());
        account.protocol = match self {
            Self::NvmeRdma(_) => rest.min(u64::from(match toward {
                Toward::Array => nvme_rdma::COMMAND,
                Toward::Host => nvme_rdma::RESPONSE,
            })),
            _ => rest,
        };
        account.transport += rest - account.protocol;
        account
    }
}

const fn ip(ip: Ip) -> Layer {
    match ip {
        Ip::V4 => layer("IPv4", Network, ip.bytes()),
        Ip::V6 => layer("IPv6", Network, ip.bytes()),
    }
}

fn ethernet(vlan: Vlan) -> Vec<Layer> {
    let mut layers = vec![
        layer("preamble and gap", Gap, ETHERNET_PREAMBLE + ETHERNET_GAP),
        layer(
            "Ethernet header and FCS",
            Link,
            ETHERNET_HEADER + ETHERNET_FCS,
        ),
    ];
    if vlan == Vlan::Tagged {
        layers.push(layer("VLAN tag", Link, VLAN_TAG));
    }
    layers
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::Op;

    fn account(key: &str, op: Op, encapsulation: Encapsulation) -> [Account; 2] {
        let protocol = Protocol::with_defaults(key).expect("a key");
        let plan = protocol.plan(op, 65_536);
        [Toward::Array, Toward::Host].map(|way| protocol.account(&plan, way, encapsulation))
    }

    /// FCP-4, FC-FS: 32 data frames and a response of 24 bytes; gap 24, delimiters and CRC 12, header 24.
    #[test]
    fn the_bytes_of_a_fibre_channel_read_by_hand() {
        let [command, data] = account("fc-scsi", Op::Read, Encapsulation::FibreChannel);
        let expected = Account {
            payload: 65_536,
            protocol: 24,
            transport: 0,
            network: 33 * 24,
            link: 33 * 12,
            gap: 33 * 24,
        };
        assert_eq!((data, data.total()), (expected, 67_540));
        assert_eq!((command.payload, command.protocol), (0, 32));
        assert_eq!(command.total(), 92);
    }

    /// NVMe/TCP: header 24 and response 24 in 46 segments; TCP 20 + 12, IPv4 20, Ethernet 18, gap 20.
    #[test]
    fn the_bytes_of_a_read_over_tcp_by_hand() {
        let [_, data] = account("nvme-tcp", Op::Read, Encapsulation::Ethernet);
        let expected = Account {
            payload: 65_536,
            protocol: 48,
            transport: 46 * 32,
            network: 46 * 20,
            link: 46 * 18,
            gap: 46 * 20,
        };
        assert_eq!((data, data.total()), (expected, 69_724));
    }

    /// IBTA annex A17: 64 READ responses, AETH 4 in the first and the last; UDP 8, BTH 12, ICRC 4.
    #[test]
    fn extension_headers_belong_to_the_rdma_transport() {
        let [data, response] = account("nvme-rdma", Op::Write, Encapsulation::Ethernet);
        assert_eq!((data.payload, data.protocol), (65_536, 64));
        assert_eq!(data.transport, 65 * 24 + 8);
        assert_eq!(data.total(), 70_938);
        // READ request with RETH 16, and the response capsule.
        assert_eq!((response.protocol, response.transport), (16, 2 * 24 + 16));
    }

    #[test]
    fn layers_add_up_to_the_overhead_of_a_frame() {
        let sum = |key: &str, encapsulation| -> u32 {
            let protocol = Protocol::with_defaults(key).expect("a key");
            protocol
                .layers(encapsulation)
                .iter()
                .map(|layer| layer.bytes)
                .sum()
        };
        // FC-FS 36 + 24; FC-BB-5 88, tagged; TCP over IPv4 with timestamps 90; RoCEv2 82.
        assert_eq!(sum("fc-scsi", Encapsulation::FibreChannel), 60);
        assert_eq!(sum("fc-nvme", Encapsulation::Fcoe), 88);
        for key in ["iscsi", "nvme-tcp", "nfs"] {
            assert_eq!(sum(key, Encapsulation::Ethernet), 90);
        }
        assert_eq!(sum("nvme-rdma", Encapsulation::Ethernet), 82);
        assert_eq!(sum("iscsi", Encapsulation::FibreChannel), 0);
    }
}
