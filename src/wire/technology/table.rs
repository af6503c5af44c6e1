//! The table of technologies.
//!
//! Ethernet rates follow from IEEE 802.3; Fibre Channel rates from FC-PI and FC-FS. The FEC code of 64GFC
//! and serial 128GFC is taken as RS(544,514), because only that gives the published throughputs (6400 and
//! 12425 MB/s nominal); one secondary source says RS(528,514). The nominal figures are one direction, half
//! of what the industry association publishes for both.

use super::{Code, Fec, Mark, Medium, Modulation, Technology};
use crate::unit::Rate;

/// Lanes, baud of each in thousands of symbols per second, bits per symbol.
struct Lanes(u32, u64, Modulation);

const fn technology(
    label: &'static str,
    phy: &'static str,
    Lanes(lanes, kilobaud, modulation): Lanes,
    (code, fec): (Code, Fec),
    nominal_mb_s: Option<u64>,
    (source, mark): (&'static str, Mark),
) -> Technology {
    let baud = kilobaud * 1000;
    let line = Rate::from_bits_per_second(lanes as u64 * baud * modulation.bits());
    let (data, coded) = code.ratio();
    let (message, word) = fec.ratio();
    // Only Fibre Channel speeds have a nominal figure.
    let medium = if nominal_mb_s.is_some() {
        Medium::FibreChannel
    } else {
        Medium::Ethernet
    };
    Technology {
        label,
        phy,
        medium,
        lanes,
        baud,
        modulation,
        code,
        encoding: code.name(),
        fec,
        line,
        usable: line.times(data, coded).times(message, word),
        nominal_mb_s,
        source,
        mark,
    }
}

use Code::{EightTen, SixtyFour, TwoFiftySix};
use Mark::{Memory, Published};
use Modulation::{Nrz, Pam4};

/// One a label, with its usual FEC.
pub(super) static USUAL: [Technology; 18] = [
    technology(
        "1GbE",
        "1000BASE-X",
        Lanes(1, 1_250_000, Nrz),
        (EightTen, Fec::None),
        None,
        ("IEEE 802.3 clause 36", Memory),
    ),
    technology(
        "10GbE",
        "10GBASE-R",
        Lanes(1, 10_312_500, Nrz),
        (SixtyFour, Fec::None),
        None,
        ("IEEE 802.3 clause 49", Published),
    ),
    technology(
        "25GbE",
        "25GBASE-R",
        Lanes(1, 25_781_250, Nrz),
        (TwoFiftySix, Fec::Rs528),
        None,
        ("IEEE 802.3by clauses 107 and 108", Published),
    ),
    technology(
        "40GbE",
        "40GBASE-R4",
        Lanes(4, 10_312_500, Nrz),
        (SixtyFour, Fec::None),
        None,
        ("IEEE 802.3 clause 82", Memory),
    ),
    technology(
        "50GbE",
        "50GBASE-R1",
        Lanes(1, 26_562_500, Pam4),
        (TwoFiftySix, Fec::Rs544),
        None,
        ("IEEE 802.3cd clauses 133 and 134", Published),
    ),
    technology(
        "100GbE",
        "100GBASE-R4",
        Lanes(4, 25_781_250, Nrz),
        (TwoFiftySix, Fec::Rs528),
        None,
        ("IEEE 802.3bj clause 91", Published),
    ),
    technology(
        "200GbE",
        "200GBASE-R4",
        Lanes(4, 26_562_500, Pam4),
        (TwoFiftySix, Fec::Rs544x2),
        None,
        ("IEEE 802.3bs clause 119", Published),
    ),
    technology(
        "400GbE",
        "400GBASE-R8",
        Lanes(8, 26_562_500, Pam4),
        (TwoFiftySix, Fec::Rs544x2),
        None,
        ("IEEE 802.3bs clause 119", Published),
    ),
    technology(
        "800GbE",
        "800GBASE-R8",
        Lanes(8, 53_125_000, Pam4),
        (TwoFiftySix, Fec::Rs544x4),
        None,
        ("IEEE 802.3df-2024 clauses 169 to 173", Published),
    ),
    technology(
        "1GFC",
        "1GFC",
        Lanes(1, 1_062_500, Nrz),
        (EightTen, Fec::None),
        Some(100),
        ("FC-PH, FC-PI", Published),
    ),
    technology(
        "2GFC",
        "2GFC",
        Lanes(1, 2_125_000, Nrz),
        (EightTen, Fec::None),
        Some(200),
        ("FC-PI", Published),
    ),
    technology(
        "4GFC",
        "4GFC",
        Lanes(1, 4_250_000, Nrz),
        (EightTen, Fec::None),
        Some(400),
        ("FC-PI-2, FC-PI-5", Published),
    ),
    technology(
        "8GFC",
        "8GFC",
        Lanes(1, 8_500_000, Nrz),
        (EightTen, Fec::None),
        Some(800),
        ("FC-PI-4, FC-PI-5", Published),
    ),
    technology(
        "16GFC",
        "16GFC",
        Lanes(1, 14_025_000, Nrz),
        (SixtyFour, Fec::None),
        Some(1_600),
        ("FC-PI-5, FC-FS-3", Published),
    ),
    technology(
        "32GFC",
        "32GFC",
        Lanes(1, 28_050_000, Nrz),
        (TwoFiftySix, Fec::Rs528),
        Some(3_200),
        ("FC-PI-6, FC-FS-4 clause 5.4", Published),
    ),
    technology(
        "64GFC",
        "64GFC",
        Lanes(1, 28_900_000, Pam4),
        (TwoFiftySix, Fec::Rs544),
        Some(6_400),
        ("FC-PI-7, FC-FS-5", Published),
    ),
    technology(
        "128GFC",
        "128GFC",
        Lanes(1, 56_100_000, Pam4),
        (TwoFiftySix, Fec::Rs544),
        Some(12_425),
        ("FC-PI-8, FC-FS-6", Published),
    ),
    technology(
        "128GFCp",
        "128GFCp",
        Lanes(4, 28_050_000, Nrz),
        (TwoFiftySix, Fec::Rs528),
        Some(12_800),
        ("FC-PI-6P (INCITS 533-2016), FC-FS-4 clause 5.6", Published),
    ),
];

/// Other physical layers of the same labels.
pub(super) static OTHERS: [Technology; 13] = [
    technology(
        "10GbE",
        "10GBASE-R",
        Lanes(1, 10_312_500, Nrz),
        (SixtyFour, Fec::Firecode),
        None,
        ("IEEE 802.3 clauses 49 and 74", Published),
    ),
    technology(
        "25GbE",
        "25GBASE-R",
        Lanes(1, 25_781_250, Nrz),
        (SixtyFour, Fec::None),
        None,
        ("IEEE 802.3by clause 107", Published),
    ),
    technology(
        "25GbE",
        "25GBASE-R",
        Lanes(1, 25_781_250, Nrz),
        (SixtyFour, Fec::Firecode),
        None,
        ("IEEE 802.3by clause 107, IEEE 802.3 clause 74", Published),
    ),
    technology(
        "40GbE",
        "40GBASE-R4",
        Lanes(4, 10_312_500, Nrz),
        (SixtyFour, Fec::Firecode),
        None,
        ("IEEE 802.3 clauses 82 and 74", Memory),
    ),
    technology(
        "100GbE",
        "100GBASE-R4",
        Lanes(4, 25_781_250, Nrz),
        (SixtyFour, Fec::None),
        None,
        ("IEEE 802.3 clause 82", Published),
    ),
    technology(
        "100GbE",
        "100GBASE-R2",
        Lanes(2, 26_562_500, Pam4),
        (TwoFiftySix, Fec::Rs544),
        None,
        ("IEEE 802.3cd, IEEE 802.3 clause 91", Published),
    ),
    technology(
        "100GbE",
        "100GBASE-R1",
        Lanes(1, 53_125_000, Pam4),
        (TwoFiftySix, Fec::Rs544),
        None,
        ("IEEE 802.3cu clause 140, IEEE 802.3ck", Memory),
    ),
    technology(
        "100GbE",
        "100GBASE-R1",
        Lanes(1, 53_125_000, Pam4),
        (TwoFiftySix, Fec::Rs544x2),
        None,
        ("IEEE 802.3ck clause 161 (copper, backplane)", Memory),
    ),
    technology(
        "200GbE",
        "200GBASE-R2",
        Lanes(2, 53_125_000, Pam4),
        (TwoFiftySix, Fec::Rs544x2),
        None,
        ("IEEE 802.3ck", Memory),
    ),
    technology(
        "400GbE",
        "400GBASE-R16",
        Lanes(16, 26_562_500, Nrz),
        (TwoFiftySix, Fec::Rs544x2),
        None,
        ("IEEE 802.3bs", Published),
    ),
    technology(
        "400GbE",
        "400GBASE-R4",
        Lanes(4, 53_125_000, Pam4),
        (TwoFiftySix, Fec::Rs544x2),
        None,
        ("IEEE 802.3cu clause 151, IEEE 802.3ck", Memory),
    ),
    technology(
        "800GbE",
        "800GBASE-R4",
        Lanes(4, 106_250_000, Pam4),
        (TwoFiftySix, Fec::Rs544x4),
        None,
        ("IEEE P802.3dj (draft), inner code left out", Memory),
    ),
    technology(
        "16GFC",
        "16GFC",
        Lanes(1, 14_025_000, Nrz),
        (SixtyFour, Fec::Firecode),
        Some(1_600),
        ("FC-PI-5, FC-FS-3", Memory),
    ),
];
