//! Bytes a frame takes from a link: pure formulas, every constant with its source.
//!
//! "Wire bytes" are all byte times of a frame, preamble and gap included, because a link is busy for
//! all of them. Sizes given to these functions are bytes of single frames, well below 2^31.
//!
//! Left out: the deficit counter that moves single idle bytes between neighbouring Ethernet frames (the
//! mean gap stays 12 bytes), Fibre Channel extended and optional headers, and the `R_RDY` words, which fit
//! into the gap.

use super::technology::Medium;

/// Ethernet preamble (7) and start delimiter (1), bytes. IEEE 802.3 clause 3; secondary source.
pub const ETHERNET_PREAMBLE: u32 = 8;
/// Destination (6), source (6) and type (2), bytes. IEEE 802.3 clause 3; verified in open-source headers.
pub const ETHERNET_HEADER: u32 = 14;
/// One VLAN tag, bytes. IEEE 802.1Q; the type is verified, the length from memory.
pub const VLAN_TAG: u32 = 4;
/// Ethernet frame check sequence, bytes. IEEE 802.3 clause 3; verified in open-source headers.
pub const ETHERNET_FCS: u32 = 4;
/// Inter-packet gap, bytes: 96 bit times on average. IEEE 802.3 clauses 4 and 46; secondary source.
pub const ETHERNET_GAP: u32 = 12;
/// Smallest frame, FCS included and preamble excluded, bytes; tagged frames too may be this short.
/// IEEE 802.3 clause 4 (verified in open-source headers), IEEE 802.1Q (from memory).
pub const ETHERNET_FRAME_MIN: u32 = 64;
/// The usual largest packet in a frame, bytes. IEEE 802.3 clause 3; verified in open-source headers.
pub const MTU_STANDARD: u32 = 1500;
/// The usual jumbo MTU, bytes: common practice, no source.
pub const MTU_JUMBO: u32 = 9000;

/// IPv4 header without options, bytes. RFC 791; from memory.
pub const IPV4_HEADER: u32 = 20;
/// IPv6 header, bytes. RFC 8200; from memory.
pub const IPV6_HEADER: u32 = 40;
/// TCP header without options, bytes. RFC 9293; from memory.
pub const TCP_HEADER: u32 = 20;
/// TCP timestamps, padded (10 + 2), bytes in every segment. RFC 7323; from memory.
pub const TCP_TIMESTAMPS: u32 = 12;
/// UDP header, bytes. RFC 768; from memory.
pub const UDP_HEADER: u32 = 8;

/// Fibre Channel start-of-frame delimiter, bytes. FC-FS; secondary source.
pub const FC_SOF: u32 = 4;
/// Fibre Channel frame header, bytes. FC-FS-2; verified in open-source headers.
pub const FC_HEADER: u32 = 24;
/// Fibre Channel CRC, bytes. FC-FS; secondary source.
pub const FC_CRC: u32 = 4;
/// Fibre Channel end-of-frame delimiter, bytes. FC-FS; secondary source.
pub const FC_EOF: u32 = 4;
/// Gap between Fibre Channel frames: six primitive words, bytes. FC-FS states it for 8b/10b links
/// (secondary source); that it holds on 64b/66b and 256b/257b links too is from memory and not certain.
pub const FC_GAP: u32 = 24;
/// Largest data field, bytes. FC-FS-2; verified in open-source headers.
pub const FC_DATA_FIELD_MAX: u32 = 2112;
/// The smallest data field limit a port may announce, bytes. FC-FS-2; verified in open-source headers.
pub const FC_DATA_FIELD_MIN: u32 = 256;
/// Usual data field of block storage, bytes: four 512-byte blocks. Common practice, no source.
pub const FC_DATA_FIELD_USUAL: u32 = 2048;

/// `FCoE` header: version and reserved (13), SOF (1), bytes. FC-BB-5; verified in open-source headers.
pub const FCOE_HEADER: u32 = 14;
/// `FCoE` trailer: EOF (1), reserved (3), bytes. FC-BB-5; verified in open-source headers.
pub const FCOE_TRAILER: u32 = 4;

/// RDMA base transport header, bytes. IBTA volume 1; verified in open-source headers.
pub const ROCE_BTH: u32 = 12;
/// RDMA extended transport header, bytes. IBTA volume 1; verified in open-source headers.
pub const ROCE_RETH: u32 = 16;
/// RDMA acknowledgement header, bytes. IBTA volume 1; verified in open-source headers.
pub const ROCE_AETH: u32 = 4;
/// RDMA invariant CRC, bytes. IBTA volume 1; verified in open-source headers.
pub const ROCE_ICRC: u32 = 4;

/// Whether a frame carries a VLAN tag.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Vlan {
    /// No tag.
    #[default]
    Untagged,
    /// One IEEE 802.1Q tag, 4 bytes.
    Tagged,
}

impl Vlan {
    /// Bytes the tag adds to a frame.
    #[must_use]
    pub const fn bytes(self) -> u32 {
        match self {
            Self::Untagged => 0,
            Self::Tagged => VLAN_TAG,
        }
    }
}

/// The IP version below TCP or UDP.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Ip {
    /// RFC 791, no options.
    #[default]
    V4,
    /// RFC 8200, no extension headers.
    V6,
}

impl Ip {
    /// Header bytes of a packet.
    #[must_use]
    pub const fn bytes(self) -> u32 {
        match self {
            Self::V4 => IPV4_HEADER,
            Self::V6 => IPV6_HEADER,
        }
    }
}

/// How a frame is wrapped on a link.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Encapsulation {
    /// An IP packet in an Ethernet frame.
    Ethernet,
    /// A Fibre Channel frame on a Fibre Channel link.
    FibreChannel,
    /// A Fibre Channel frame in an Ethernet frame; always tagged, because losslessness needs a priority.
    Fcoe,
    /// Stated wire bytes without rules of their own.
    Plain,
}

impl Encapsulation {
    /// Bytes that must have arrived before a cut-through switch can look up the output: preamble and
    /// Ethernet header 22, tagged 26 (`FCoE` is always tagged), SOF and Fibre Channel header 28.
    ///
    /// A plain frame has no header of its own and gives 0; what a switch waits for then depends on the
    /// link, see [`Encapsulation::cut_through_header`].
    #[must_use]
    pub const fn header_bytes(self, vlan: Vlan) -> u64 {
        let bytes = match self {
            Self::Ethernet => ETHERNET_PREAMBLE + ETHERNET_HEADER + vlan.bytes(),
            Self::Fcoe => ETHERNET_PREAMBLE + ETHERNET_HEADER + VLAN_TAG,
            Self::FibreChannel => FC_SOF + FC_HEADER,
            Self::Plain => 0,
        };
        bytes as u64
    }

    /// What a cut-through switch waits for on a link of that medium, bytes; `None` when it must store
    /// the whole frame.
    ///
    /// Only plain frames depend on the medium: they wait for the header that the medium's frames have
    /// (22 or 28), and a link without a technology has none to look at, so they are stored there.
    #[must_use]
    pub const fn cut_through_header(self, medium: Option<Medium>, vlan: Vlan) -> Option<u64> {
        match (self, medium) {
            (Self::Plain, None) => None,
            (Self::Plain, Some(Medium::Ethernet)) => {
                Some(Self::Ethernet.header_bytes(Vlan::Untagged))
            }
            (Self::Plain, Some(Medium::FibreChannel)) => {
                Some(Self::FibreChannel.header_bytes(vlan))
            }
            (own, _) => Some(own.header_bytes(vlan)),
        }
    }
}

/// `bytes` rounded up to a whole word of 4 bytes.
#[must_use]
pub const fn ceil4(bytes: u32) -> u32 {
    bytes.div_ceil(4) * 4
}

/// Wire bytes of an Ethernet frame around a packet: max(64, 18 + tag + packet) + 20.
#[must_use]
pub const fn ethernet_wire(packet: u32, vlan: Vlan) -> u32 {
    let frame = ETHERNET_HEADER + vlan.bytes() + packet + ETHERNET_FCS;
    let frame = if frame < ETHERNET_FRAME_MIN {
        ETHERNET_FRAME_MIN
    } else {
        frame
    };
    ETHERNET_PREAMBLE + frame + ETHERNET_GAP
}

/// Wire bytes of a Fibre Channel frame with a data field of so many bytes: 36 + field filled to a word
/// + 24. FC-FS.
#[must_use]
pub const fn fc_wire(field: u32) -> u32 {
    FC_SOF + FC_HEADER + ceil4(field) + FC_CRC + FC_EOF + FC_GAP
}

/// Bytes of the Ethernet packet that carries a Fibre Channel frame: field filled to a word + 46, which is
/// also the MTU a hop needs for it. FC-BB-5.
#[must_use]
pub const fn fcoe_packet(field: u32) -> u32 {
    FCOE_HEADER + FC_HEADER + ceil4(field) + FC_CRC + FCOE_TRAILER
}

/// Wire bytes of a tagged `FCoE` frame: field filled to a word + 88. FC-BB-5.
#[must_use]
pub const fn fcoe_wire(field: u32) -> u32 {
    ethernet_wire(fcoe_packet(field), Vlan::Tagged)
}

/// IP bytes of a `RoCEv2` packet with so many payload bytes (filled to a word) and extension headers.
/// IBTA annex A17.
#[must_use]
pub const fn rocev2_packet(payload: u32, extension: u32, ip: Ip) -> u32 {
    ip.bytes() + UDP_HEADER + ROCE_BTH + extension + ceil4(payload) + ROCE_ICRC
}

/// Wire bytes of a `RoCEv2` packet: payload + 82 over untagged IPv4, extension headers on top. IBTA
/// annex A17.
#[must_use]
pub const fn rocev2_wire(payload: u32, extension: u32, ip: Ip, vlan: Vlan) -> u32 {
    ethernet_wire(rocev2_packet(payload, extension, ip), vlan)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ethernet_frames_by_ieee_802_3() {
        assert_eq!(ethernet_wire(MTU_STANDARD, Vlan::Untagged), 1538);
        assert_eq!(ethernet_wire(MTU_JUMBO, Vlan::Untagged), 9038);
        assert_eq!(ethernet_wire(MTU_STANDARD, Vlan::Tagged), 1542);
        assert_eq!(ethernet_wire(MTU_JUMBO, Vlan::Tagged), 9042);
        // The smallest slot: 64 + 20; a tag fits into the padding.
        assert_eq!(ethernet_wire(1, Vlan::Untagged), 84);
        assert_eq!(ethernet_wire(46, Vlan::Untagged), 84);
        assert_eq!(ethernet_wire(47, Vlan::Untagged), 85);
        assert_eq!(ethernet_wire(42, Vlan::Tagged), 84);
        assert_eq!(ethernet_wire(43, Vlan::Tagged), 85);
    }

    #[test]
    fn fibre_channel_frames_by_fc_fs() {
        assert_eq!(
            FC_SOF + FC_HEADER + FC_DATA_FIELD_MAX + FC_CRC + FC_EOF,
            2148
        );
        assert_eq!(fc_wire(FC_DATA_FIELD_MAX), 2172);
        assert_eq!(fc_wire(FC_DATA_FIELD_USUAL), 2108);
        assert_eq!(fc_wire(0), 60);
        // One to three fill bytes.
        assert_eq!(
            [fc_wire(1), fc_wire(2), fc_wire(3), fc_wire(4), fc_wire(5)],
            [64, 64, 64, 64, 68]
        );
    }

    #[test]
    fn fcoe_frames_by_fc_bb_5() {
        assert_eq!(fcoe_packet(0), 46);
        assert_eq!(fcoe_packet(2112), 2158);
        assert_eq!(fcoe_packet(2048), 2094);
        // With one tag and the FCS the largest frame has 2180 bytes, 2200 on the wire.
        assert_eq!(fcoe_wire(2112), 2180 + 20);
        assert_eq!(fcoe_wire(2048), 2136);
        assert_eq!(fcoe_wire(0), 88);
    }

    #[test]
    fn rocev2_packets_by_ibta_annex_a17() {
        let wire = |payload, extension| rocev2_wire(payload, extension, Ip::V4, Vlan::Untagged);
        assert_eq!(wire(1024, 0), 1024 + 82);
        assert_eq!(wire(1024, ROCE_RETH), 1024 + 98);
        assert_eq!(wire(1024, ROCE_AETH), 1024 + 86);
        // ACK, READ request, congestion notification (16 reserved bytes).
        assert_eq!(
            [wire(0, ROCE_AETH), wire(0, ROCE_RETH), wire(0, 16)],
            [86, 98, 98]
        );
        // A WRITE-first packet needs an IP MTU of the path MTU plus 60.
        assert_eq!(rocev2_packet(1024, ROCE_RETH, Ip::V4), 1084);
        assert_eq!(rocev2_packet(4096, ROCE_RETH, Ip::V4), 4156);
        assert_eq!(rocev2_wire(1024, 0, Ip::V6, Vlan::Tagged), 1024 + 82 + 24);
        // Payload is filled to a word.
        assert_eq!(wire(1021, 0), wire(1024, 0));
    }

    #[test]
    fn headers_a_cut_through_switch_waits_for() {
        use Encapsulation::{Ethernet, Fcoe, FibreChannel, Plain};
        assert_eq!(Ethernet.header_bytes(Vlan::Untagged), 22);
        assert_eq!(Ethernet.header_bytes(Vlan::Tagged), 26);
        assert_eq!(Fcoe.header_bytes(Vlan::Untagged), 26);
        assert_eq!(FibreChannel.header_bytes(Vlan::Untagged), 28);
        let plain = |medium| Plain.cut_through_header(medium, Vlan::Untagged);
        assert_eq!(plain(None), None);
        assert_eq!(plain(Some(Medium::Ethernet)), Some(22));
        assert_eq!(plain(Some(Medium::FibreChannel)), Some(28));
        assert_eq!(
            Fcoe.cut_through_header(Some(Medium::Ethernet), Vlan::Untagged),
            Some(26)
        );
    }
}
