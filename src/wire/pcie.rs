//! PCI Express between a host and its adapter: what bounds a port from the host's side.
//!
//! Lanes times transfer rate times code, then the packets' own overhead: data that a host receives is written
//! into its memory by the adapter, in packets with a header of 16 bytes; data that it sends is read by the
//! adapter and comes in completions with a header of 12. Each packet holds at most the maximum payload.
//!
//! Left out: read requests and acknowledgements on the way back, skip ordered sets (about 0.3 %, from
//! memory), descriptors and doorbells, and the memory behind the bus. So this is an upper bound.

use super::technology::Mark;
use crate::unit::Rate;

/// A generation. Transfers a second and the code: PCI Express base specifications; secondary source.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Generation {
    /// 8 GT/s a lane, 128b/130b.
    Three,
    /// 16 GT/s a lane, 128b/130b.
    Four,
    /// 32 GT/s a lane, 128b/130b.
    Five,
    /// 64 GT/s a lane (PAM4), flits of 256 bytes of which 236 carry packets.
    Six,
}

/// Every generation, from slow to fast.
pub const GENERATIONS: [Generation; 4] = [
    Generation::Three,
    Generation::Four,
    Generation::Five,
    Generation::Six,
];

/// Widths of a bus, lanes. PCI Express base specification; from memory.
pub const LANES: [u32; 5] = [1, 2, 4, 8, 16];

/// Maximum payloads there are, bytes. PCI Express base specification, device control register; secondary
/// source.
pub const MAX_PAYLOADS: [u32; 6] = [128, 256, 512, 1024, 2048, 4096];

/// Usual maximum payload in servers, bytes: 256 or 512; from memory.
pub const MAX_PAYLOAD_USUAL: u32 = 256;

/// Packet bytes in a flit of generation 6, and the flit: 236 + 6 for acknowledgements + 8 CRC + 6 FEC.
/// PCI Express base specification 6; secondary source.
pub const FLIT: (u64, u64) = (236, 256);

/// Framing token 4 and link CRC 4, bytes a packet in generations 3 to 5. Secondary source. In flits the
/// flit's CRC stands for both (from memory).
const TOKEN_AND_CRC: u64 = 4 + 4;
/// Header of a memory write with a 64-bit address, bytes. PCI Express base specification; secondary source.
const WRITE_HEADER: u64 = 16;
/// Header of a completion with data, bytes. PCI Express base specification; secondary source.
const COMPLETION_HEADER: u64 = 12;

impl Generation {
    /// 3 to 6.
    #[must_use]
    pub const fn number(self) -> u32 {
        match self {
            Self::Three => 3,
            Self::Four => 4,
            Self::Five => 5,
            Self::Six => 6,
        }
    }

    /// Bits on each lane per second: 8 GT/s is 8 Gb/s.
    #[must_use]
    pub const fn line(self) -> Rate {
        let giga = match self {
            Self::Three => 8,
            Self::Four => 16,
            Self::Five => 32,
            Self::Six => 64,
        };
        Rate::from_bits_per_second(giga * 1_000_000_000)
    }

    /// Packet bits and the line bits they take.
    #[must_use]
    pub const fn ratio(self) -> (u64, u64) {
        match self {
            Self::Three | Self::Four | Self::Five => (128, 130),
            Self::Six => FLIT,
        }
    }

    /// The usual way to write the code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Three | Self::Four | Self::Five => "128b/130b",
            Self::Six => "flits, 236 of 256 B",
        }
    }

    /// Where it is defined, and how far that was checked.
    #[must_use]
    pub const fn source(self) -> (&'static str, Mark) {
        let name = match self {
            Self::Three => "PCI Express base specification 3.0",
            Self::Four => "PCI Express base specification 4.0",
            Self::Five => "PCI Express base specification 5.0",
            Self::Six => "PCI Express base specification 6",
        };
        (name, Mark::Published)
    }

    /// Bytes of a packet beside its header.
    const fn framing(self) -> u64 {
        match self {
            Self::Three | Self::Four | Self::Five => TOKEN_AND_CRC,
            Self::Six => 0,
        }
    }
}

/// The bus of one adapter.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct HostBus {
    /// Generation in use on both ends.
    pub generation: Generation,
    /// Lanes: one of [`LANES`].
    pub lanes: u32,
    /// Most payload of a packet, bytes: one of [`MAX_PAYLOADS`]. Usual: [`MAX_PAYLOAD_USUAL`].
    pub max_payload: u32,
}

impl HostBus {
    /// From `PCIe4x8` or `PCIe 4.0 x8`, upper and lower case alike, with the usual maximum payload.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let compact: String = text.split_whitespace().collect();
        let lower = compact.to_ascii_lowercase();
        let (generation, lanes) = lower.strip_prefix("pcie")?.split_once('x')?;
        let generation = generation.strip_suffix(".0").unwrap_or(generation);
        let generation = GENERATIONS
            .into_iter()
            .find(|known| known.number().to_string() == generation)?;
        let lanes = LANES.into_iter().find(|known| known.to_string() == lanes)?;
        Some(Self {
            generation,
            lanes,
            max_payload: MAX_PAYLOAD_USUAL,
        })
    }

    /// `PCIe4x8`.
    #[must_use]
    pub fn label(&self) -> String {
        format!("PCIe{}x{}", self.generation.number(), self.lanes)
    }

    /// Bits that packets share in one direction: all lanes less the code.
    #[must_use]
    pub fn usable(&self) -> Rate {
        let (data, coded) = self.generation.ratio();
        self.generation
            .line()
            .times(u64::from(self.lanes), 1)
            .times(data, coded)
    }

    /// Bits of data per second into the host's memory, at full packets: what reads can bring.
    #[must_use]
    pub fn into_host(&self) -> Rate {
        self.payload(WRITE_HEADER)
    }

    /// Bits of data per second out of the host's memory, at full packets: what writes can take.
    #[must_use]
    pub fn out_of_host(&self) -> Rate {
        self.payload(COMPLETION_HEADER)
    }

    fn payload(&self, header: u64) -> Rate {
        let payload = u64::from(self.max_payload);
        self.usable()
            .times(payload, payload + header + self.generation.framing())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bus(text: &str, max_payload: u32) -> HostBus {
        let known = HostBus::parse(text).expect("a bus");
        HostBus {
            max_payload,
            ..known
        }
    }

    /// Bytes per second, rounded.
    fn bytes(rate: Rate) -> u64 {
        let (bits, seconds) = rate.ratio();
        (bits + 4 * seconds) / (8 * seconds)
    }

    /// PCI Express base specifications 3.0 to 6, GB/s in one direction after the code: secondary source
    /// (application notes), the quotients by arithmetic.
    #[test]
    fn rates_after_the_code() {
        let rows = [
            ("PCIe3", 984_615_385, 7_876_923_077, 15_753_846_154),
            ("PCIe4", 1_969_230_769, 15_753_846_154, 31_507_692_308),
            ("PCIe5", 3_938_461_538, 31_507_692_308, 63_015_384_615),
            // 64 GT/s × 236 ÷ 256 ÷ 8.
            ("PCIe6", 7_375_000_000, 59_000_000_000, 118_000_000_000),
        ];
        for (generation, one, eight, sixteen) in rows {
            for (lanes, expected) in [(1, one), (8, eight), (16, sixteen)] {
                let known = bus(&format!("{generation}x{lanes}"), 256);
                assert_eq!(bytes(known.usable()), expected, "{generation} x{lanes}");
            }
        }
    }

    /// Packets of generations 3 to 5: token 4, header 16 (write) or 12 (completion), CRC 4. Secondary
    /// source; in 1/100,000, rounded.
    #[test]
    fn shares_of_payload() {
        let share = |payload: Rate, of: Rate| {
            let ((bits, seconds), (all, all_seconds)) = (payload.ratio(), of.ratio());
            let (part, whole) = (
                u128::from(bits) * u128::from(all_seconds),
                u128::from(all) * u128::from(seconds),
            );
            (part * 200_000 / whole).div_ceil(2)
        };
        for (payload, write, completion) in [
            (128, 84_211, 86_486),
            (256, 91_429, 92_754),
            (512, 95_522, 96_241),
        ] {
            let known = bus("PCIe4x8", payload);
            assert_eq!(share(known.into_host(), known.usable()), write, "{payload}");
            let got = share(known.out_of_host(), known.usable());
            assert_eq!(got, completion, "{payload}");
        }
        // 15.753846 × 256 ÷ 280 GB/s.
        assert_eq!(bytes(bus("PCIe3x16", 256).into_host()), 14_403_516_484);
    }

    #[test]
    fn names_are_read_in_either_form() {
        for text in ["PCIe4x8", "pcie 4.0 x8", "PCIE4.0X8"] {
            assert_eq!(bus(text, 256).label(), "PCIe4x8");
        }
        for text in ["PCIe2x8", "PCIe4x3", "PCIe4", "4x8", "", "PCIe4x8x8"] {
            assert_eq!(HostBus::parse(text), None, "{text}");
        }
    }
}
