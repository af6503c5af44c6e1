//! TCP as a carrier of storage messages: how a burst of bytes becomes frames.
//!
//! A burst is what one side can send without waiting for the other. It is cut into full segments and one
//! shorter last one; bursts do not share segments. Left out: loss, congestion windows, receive offload
//! (which would merge ACKs), TLS.

use super::framing::{self, Ip, Vlan};
use super::plan::{FrameRun, Part, Then, Toward, Volley, cut, push_run};

/// Whether every segment carries timestamps.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Timestamps {
    /// 12 bytes in every segment (RFC 7323).
    #[default]
    On,
    /// None.
    Off,
}

impl Timestamps {
    /// Bytes in every segment.
    #[must_use]
    pub const fn bytes(self) -> u32 {
        match self {
            Self::On => framing::TCP_TIMESTAMPS,
            Self::Off => 0,
        }
    }
}

/// Whether the receiver of a burst sends pure ACKs.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Acks {
    /// One for every second segment, as RFC 5681 section 4.2 asks at least (from memory).
    #[default]
    EverySecond,
    /// None: as if receive offload let every ACK ride on data that goes back anyway.
    Never,
}

/// CRC32C digests of a storage protocol over TCP, 4 bytes each; off by default in iSCSI (RFC 7143 13.1,
/// secondary source) and NVMe/TCP.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Digests {
    /// None.
    #[default]
    Off,
    /// After each PDU header.
    Header,
    /// After the data of each PDU that has some.
    Data,
    /// Both.
    Both,
}

impl Digests {
    /// Bytes after each PDU header.
    #[must_use]
    pub const fn header_bytes(self) -> u32 {
        match self {
            Self::Off | Self::Data => 0,
            Self::Header | Self::Both => 4,
        }
    }

    /// Bytes after the data of a PDU.
    #[must_use]
    pub const fn data_bytes(self) -> u32 {
        match self {
            Self::Off | Self::Header => 0,
            Self::Data | Self::Both => 4,
        }
    }
}

/// How a connection's segments look.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct TcpOptions {
    /// Largest IP packet, bytes; [`TcpOptions::MTU_MIN`] to [`TcpOptions::MTU_MAX`]. Default 1500.
    pub mtu: u32,
    /// IP version. Default IPv4.
    pub ip: Ip,
    /// VLAN tag. Default untagged.
    pub vlan: Vlan,
    /// Timestamps. Default on.
    pub timestamps: Timestamps,
    /// Pure ACKs. Default one for every second segment of a burst.
    pub acks: Acks,
}

impl Default for TcpOptions {
    fn default() -> Self {
        Self {
            mtu: framing::MTU_STANDARD,
            ip: Ip::default(),
            vlan: Vlan::default(),
            timestamps: Timestamps::default(),
            acks: Acks::default(),
        }
    }
}

impl TcpOptions {
    /// Smallest MTU that readers of input should take, bytes: what every IPv4 host must accept (RFC 791
    /// section 3.1, from memory).
    pub const MTU_MIN: u32 = 576;
    /// Largest, bytes: the largest IPv4 packet (RFC 791 section 3.1, from memory).
    pub const MTU_MAX: u32 = 65_535;

    /// Header bytes of each packet.
    #[must_use]
    pub const fn headers(&self) -> u32 {
        self.ip.bytes() + framing::TCP_HEADER + self.timestamps.bytes()
    }

    /// Largest payload of a segment, bytes: the MTU less the headers; at least 1, so that an MTU outside
    /// the limits cannot stall a burst.
    #[must_use]
    pub fn mss(&self) -> u32 {
        self.mtu
            .min(Self::MTU_MAX)
            .saturating_sub(self.headers())
            .max(1)
    }

    /// Wire bytes of a segment with so many payload bytes.
    #[must_use]
    pub const fn wire(&self, payload: u32) -> u32 {
        framing::ethernet_wire(self.headers() + payload, self.vlan)
    }

    /// Wire bytes of a pure ACK.
    #[must_use]
    pub const fn ack_wire(&self) -> u32 {
        self.wire(0)
    }

    /// Appends the frames of one burst.
    pub(super) fn burst(&self, parts: impl IntoIterator<Item = Part>, runs: &mut Vec<FrameRun>) {
        for piece in cut(parts, self.mss()) {
            let wire = self.wire(piece.bytes);
            push_run(
                runs,
                FrameRun {
                    count: piece.count,
                    payload: piece.payload,
                    native: wire,
                    fcoe: wire,
                },
            );
        }
    }

    /// A volley of one burst, acknowledged as TCP does.
    pub(super) fn volley(
        &self,
        name: &'static str,
        toward: Toward,
        parts: impl IntoIterator<Item = Part>,
        then: Then,
    ) -> Volley {
        let mut runs = Vec::new();
        self.burst(parts, &mut runs);
        self.acknowledged(Volley::new(name, toward, runs, then))
    }

    /// The volley with the pure ACKs that it draws.
    pub(super) const fn acknowledged(&self, volley: Volley) -> Volley {
        match self.acks {
            Acks::EverySecond => volley.acknowledged(self.ack_wire()),
            Acks::Never => volley,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options(mtu: u32, ip: Ip, timestamps: Timestamps) -> TcpOptions {
        TcpOptions {
            mtu,
            ip,
            timestamps,
            ..TcpOptions::default()
        }
    }

    #[test]
    fn segment_sizes_by_rfc_9293_and_rfc_7323() {
        for (mtu, v4, plain, v6) in [(1500, 1448, 1460, 1428), (9000, 8948, 8960, 8928)] {
            assert_eq!(options(mtu, Ip::V4, Timestamps::On).mss(), v4);
            assert_eq!(options(mtu, Ip::V4, Timestamps::Off).mss(), plain);
            assert_eq!(options(mtu, Ip::V6, Timestamps::On).mss(), v6);
        }
        let usual = TcpOptions::default();
        assert_eq!(usual.wire(1448), 1538);
        assert_eq!(usual.wire(1448) - 1448, 90);
        assert_eq!(
            TcpOptions {
                vlan: Vlan::Tagged,
                ..usual
            }
            .wire(1448)
                - 1448,
            94
        );
    }

    #[test]
    fn pure_acks() {
        let usual = TcpOptions::default();
        assert_eq!(usual.ack_wire(), 90);
        assert_eq!(
            TcpOptions {
                vlan: Vlan::Tagged,
                ..usual
            }
            .ack_wire(),
            94
        );
        // 58 bytes without timestamps, padded to 64.
        assert_eq!(
            TcpOptions {
                timestamps: Timestamps::Off,
                ..usual
            }
            .ack_wire(),
            84
        );
    }

    #[test]
    fn without_pure_acks_a_burst_draws_none() {
        let volley = |acks| {
            let options = TcpOptions {
                acks,
                ..TcpOptions::default()
            };
            options.volley("data", Toward::Host, [Part::Data(65_536)], Then::Complete)
        };
        // 65,536 ÷ 1448 are 46 segments, half of them answered.
        assert_eq!(volley(Acks::EverySecond).acks(), 23);
        assert_eq!(volley(Acks::Never).acks(), 0);
        assert_eq!(volley(Acks::Never).runs, volley(Acks::EverySecond).runs);
    }

    #[test]
    fn an_mtu_outside_the_limits_still_moves_a_byte_a_segment() {
        assert_eq!(options(0, Ip::V6, Timestamps::On).mss(), 1);
        assert_eq!(options(u32::MAX, Ip::V4, Timestamps::On).mss(), 65_483);
    }
}
