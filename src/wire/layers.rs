//! What each frame costs beside its message, layer by layer: the overhead split that people ask for.

use super::framing::{
    self, ETHERNET_FCS, ETHERNET_GAP, ETHERNET_HEADER, ETHERNET_PREAMBLE, Encapsulation, Ip,
    VLAN_TAG, Vlan,
};
use super::protocol::Protocol;

/// Bytes that one layer adds to every frame.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Layer {
    /// What the bytes are, in words of the trade.
    pub name: &'static str,
    /// Bytes in each frame.
    pub bytes: u32,
}

const fn layer(name: &'static str, bytes: u32) -> Layer {
    Layer { name, bytes }
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
                layer("gap", framing::FC_GAP),
                layer("delimiters", framing::FC_SOF + framing::FC_EOF),
                layer("FC header", framing::FC_HEADER),
                layer("FC CRC", framing::FC_CRC),
            ],
            (Self::FcScsi(_) | Self::FcNvme(_), Encapsulation::Fcoe) => {
                let mut layers = ethernet(Vlan::Tagged);
                layers.extend([
                    layer(
                        "FCoE header and trailer",
                        framing::FCOE_HEADER + framing::FCOE_TRAILER,
                    ),
                    layer("FC header", framing::FC_HEADER),
                    layer("FC CRC", framing::FC_CRC),
                ]);
                layers
            }
            (Self::NvmeRdma(options), Encapsulation::Ethernet) => {
                let mut layers = ethernet(options.vlan);
                layers.extend([
                    ip(options.ip),
                    layer("UDP", framing::UDP_HEADER),
                    layer("RDMA transport header", framing::ROCE_BTH),
                    layer("RDMA CRC", framing::ROCE_ICRC),
                ]);
                layers
            }
            (Self::Iscsi(_) | Self::NvmeTcp(_) | Self::Nfs(_), Encapsulation::Ethernet) => {
                let Some(tcp) = self.tcp() else {
                    return Vec::new();
                };
                let mut layers = ethernet(tcp.vlan);
                let header = framing::TCP_HEADER + tcp.timestamps.bytes();
                layers.extend([ip(tcp.ip), layer("TCP", header)]);
                layers
            }
            _ => Vec::new(),
        }
    }
}

const fn ip(ip: Ip) -> Layer {
    match ip {
        Ip::V4 => layer("IPv4", ip.bytes()),
        Ip::V6 => layer("IPv6", ip.bytes()),
    }
}

fn ethernet(vlan: Vlan) -> Vec<Layer> {
    let mut layers = vec![
        layer("preamble and gap", ETHERNET_PREAMBLE + ETHERNET_GAP),
        layer("Ethernet header and FCS", ETHERNET_HEADER + ETHERNET_FCS),
    ];
    if vlan == Vlan::Tagged {
        layers.push(layer("VLAN tag", VLAN_TAG));
    }
    layers
}

#[cfg(test)]
mod tests {
    use super::*;

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
