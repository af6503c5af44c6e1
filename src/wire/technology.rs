//! Link technologies: baud, code, FEC, and the exact rates that follow from them.
//!
//! The usable rate is what frames and gaps share: line rate less the code and the FEC parity. Alignment
//! markers cost nothing there, because the coding sublayer deletes idle to make room for them (IEEE 802.3
//! clause 82, from memory). Left out: consortium codes. The host's side of an adapter is
//! [`super::pcie`].

mod table;

use crate::unit::{Duration, Rate};
use std::fmt;

/// What a link's frames look like.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Medium {
    /// IEEE 802.3.
    Ethernet,
    /// INCITS FC-FS.
    FibreChannel,
}

/// Where a constant comes from.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Mark {
    /// Stated by the named standard, and verified in its text or in open-source code that implements it.
    Standard,
    /// Stated by a secondary public source; the standard's own text was not read.
    Published,
    /// Common practice, no source.
    CommonPractice,
    /// From memory; the named standard is where to confirm it.
    Memory,
}

impl fmt::Display for Mark {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::Standard => "standard",
            Self::Published => "published",
            Self::CommonPractice => "common practice",
            Self::Memory => "from memory",
        })
    }
}

/// Bits a symbol carries on a lane.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Modulation {
    /// Two levels, one bit.
    Nrz,
    /// Four levels, two bits.
    Pam4,
}

impl Modulation {
    /// Bits per symbol.
    #[must_use]
    pub const fn bits(self) -> u64 {
        match self {
            Self::Nrz => 1,
            Self::Pam4 => 2,
        }
    }
}

impl fmt::Display for Modulation {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::Nrz => "NRZ",
            Self::Pam4 => "PAM4",
        })
    }
}

/// The line code, FEC aside.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Code {
    /// 8b/10b: IEEE 802.3 clause 36, FC-FS.
    EightTen,
    /// 64b/66b: IEEE 802.3 clauses 49 and 82, FC-FS-3.
    SixtyFour,
    /// 256b/257b transcoding: IEEE 802.3 clauses 91, 108, 119 and 134, FC-FS-4.
    TwoFiftySix,
}

impl Code {
    /// Data bits and the line bits they take.
    #[must_use]
    pub const fn ratio(self) -> (u64, u64) {
        match self {
            Self::EightTen => (8, 10),
            Self::SixtyFour => (64, 66),
            Self::TwoFiftySix => (256, 257),
        }
    }

    /// The usual way to write it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::EightTen => "8b/10b",
            Self::SixtyFour => "64b/66b",
            Self::TwoFiftySix => "256b/257b",
        }
    }
}

/// Forward error correction of a link.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Fec {
    /// None.
    None,
    /// Firecode (2112,2080), a code word a lane. It saves one bit of each 66-bit block and so costs no
    /// rate. IEEE 802.3 clause 74; secondary source.
    Firecode,
    /// RS(528,514) over 10-bit symbols. IEEE 802.3 clauses 91 and 108, FC-FS-4; secondary source.
    Rs528,
    /// RS(544,514) over 10-bit symbols. IEEE 802.3 clauses 91 and 134; secondary source.
    Rs544,
    /// Two interleaved RS(544,514). IEEE 802.3 clauses 119 and 161; secondary source.
    Rs544x2,
    /// Four interleaved RS(544,514). IEEE 802.3 clause 172; from memory.
    Rs544x4,
}

impl Fec {
    /// Bytes a receiver collects before it can decode: a code word, or an interleaved group of them.
    #[must_use]
    pub const fn collect_bytes(self) -> u64 {
        match self {
            Self::None => 0,
            Self::Firecode => 2112 / 8,
            Self::Rs528 => 5280 / 8,
            Self::Rs544 => 5440 / 8,
            Self::Rs544x2 => 10_880 / 8,
            Self::Rs544x4 => 21_760 / 8,
        }
    }

    /// Message symbols and the code symbols they take. Firecode's parity takes the place of sync bits and
    /// costs nothing beyond the 64b/66b code.
    #[must_use]
    pub const fn ratio(self) -> (u64, u64) {
        match self {
            Self::None | Self::Firecode => (1, 1),
            Self::Rs528 => (514, 528),
            Self::Rs544 | Self::Rs544x2 | Self::Rs544x4 => (514, 544),
        }
    }

    /// The usual way to write it; `none` without FEC.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Firecode => "firecode (2112,2080)",
            Self::Rs528 => "RS(528,514)",
            Self::Rs544 => "RS(544,514)",
            Self::Rs544x2 => "2×RS(544,514)",
            Self::Rs544x4 => "4×RS(544,514)",
        }
    }
}

/// Work of a FEC decoder beyond collecting its code word: a default of this model. Published figures
/// for whole modules lie between 50 and 120 ns and disagree; a link may state its own.
pub const FEC_DECODE: Duration = Duration::from_ns(40);

/// A kind of link. Every rate is exact and counts one direction.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Technology {
    /// What people call it and write in a scenario: `100GbE`, `32GFC`.
    pub label: &'static str,
    /// The physical layer: a family of IEEE 802.3, or the Fibre Channel speed again.
    pub phy: &'static str,
    /// What its frames look like.
    pub medium: Medium,
    /// Lanes side by side in one direction.
    pub lanes: u32,
    /// Symbols per second on each lane.
    pub baud: u64,
    /// Bits a symbol carries.
    pub modulation: Modulation,
    /// The line code.
    pub code: Code,
    /// The line code as usually written: `64b/66b`.
    pub encoding: &'static str,
    /// Forward error correction in use.
    pub fec: Fec,
    /// Bits on all lanes together, code and parity included.
    pub line: Rate,
    /// Bits that frames and gaps share: the line rate less code and FEC.
    pub usable: Rate,
    /// The name's megabytes (10^6) per second in one direction; a label, not a rate. Fibre Channel only.
    pub nominal_mb_s: Option<u64>,
    /// The standard that defines it.
    pub source: &'static str,
    /// How far that was checked.
    pub mark: Mark,
}

impl Technology {
    /// Time a receiver needs to collect one code word (or interleaved group), rounded up to the
    /// picosecond: the least latency the FEC can have. Zero without FEC.
    ///
    /// Reed-Solomon words are spread over all lanes; firecode words stay on one (IEEE 802.3 clause 74).
    #[must_use]
    pub fn fec_collect(&self) -> Duration {
        let rate = match self.fec {
            Fec::None => return Duration::ZERO,
            Fec::Firecode => self.line.times(1, u64::from(self.lanes)),
            Fec::Rs528 | Fec::Rs544 | Fec::Rs544x2 | Fec::Rs544x4 => self.line,
        };
        rate.serialize(self.fec.collect_bytes())
    }

    /// Latency the FEC adds to a link: [`Technology::fec_collect`] plus [`FEC_DECODE`]; zero without FEC.
    #[must_use]
    pub fn fec_latency(&self) -> Duration {
        match self.fec {
            Fec::None => Duration::ZERO,
            _ => self.fec_collect() + FEC_DECODE,
        }
    }

    /// Bytes that code and FEC parity add on the line to so many wire bytes.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn coding_bytes(&self, wire: u64) -> f64 {
        let ((line, line_s), (usable, usable_s)) = (self.line.ratio(), self.usable.ratio());
        let more =
            u128::from(line) * u128::from(usable_s) - u128::from(usable) * u128::from(line_s);
        let whole = u128::from(usable) * u128::from(line_s);
        (u128::from(wire) * more) as f64 / whole as f64
    }

    /// The same label with another FEC, if such a physical layer exists; one with as many lanes is
    /// preferred.
    #[must_use]
    pub fn with_fec(&self, fec: Fec) -> Option<Self> {
        if self.fec == fec {
            return Some(*self);
        }
        let fits = |other: &&Self| other.label == self.label && other.fec == fec;
        let lanes = |other: &&Self| fits(other) && other.lanes == self.lanes;
        all_technologies()
            .find(lanes)
            .or_else(|| all_technologies().find(fits))
            .copied()
    }
}

/// The technologies a scenario can name, one a label with its usual FEC; Ethernet, then Fibre Channel,
/// each from slow to fast.
#[must_use]
pub fn technologies() -> &'static [Technology] {
    &table::USUAL
}

/// The usual physical layer of each label, then the others.
pub fn all_technologies() -> impl Iterator<Item = &'static Technology> {
    table::USUAL.iter().chain(&table::OTHERS)
}

/// The technology of that label with its usual FEC; upper and lower case are alike.
#[must_use]
pub fn technology(label: &str) -> Option<&'static Technology> {
    technologies()
        .iter()
        .find(|known| known.label.eq_ignore_ascii_case(label))
}

/// The technology of that label with that FEC, if such a physical layer exists: of several, the one whose lanes are as
/// many as usual.
#[must_use]
pub fn technology_with(label: &str, fec: Fec) -> Option<&'static Technology> {
    let usual = technology(label)?;
    all_technologies()
        .filter(|other| other.label == usual.label && other.fec == fec)
        .min_by_key(|other| other.lanes.abs_diff(usual.lanes))
}

#[cfg(test)]
mod tests;
