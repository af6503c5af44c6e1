//! Rates by IEEE 802.3 and FC-PI, FEC times by the code words of IEEE 802.3 and FC-FS.

use super::*;

fn find(label: &str, fec: Fec) -> Technology {
    technology(label)
        .and_then(|usual| usual.with_fec(fec))
        .expect("in the table")
}

/// Lanes, kilobaud of each, bits a symbol, code and FEC; then line and usable rate in Mb/s.
type Row = (&'static str, (u32, u64, u64), (Code, Fec), (u64, u64));

/// Every physical layer with its lanes and rates. IEEE 802.3 (as amended by 802.3by, bj, bs, cd, ck, cu and
/// df) for Ethernet, FC-PI to FC-PI-8 and FC-FS for Fibre Channel, all from secondary sources, except those
/// marked in the table as from memory: 1000BASE-X, 40GBASE-R4, the layers of 53.125 and 106.25 GBd, and
/// firecode on 16GFC.
#[rustfmt::skip]
const ROWS: [Row; 31] = [
    ("1000BASE-X", (1, 1_250_000, 1), (Code::EightTen, Fec::None), (1_250, 1_000)),
    ("10GBASE-R", (1, 10_312_500, 1), (Code::SixtyFour, Fec::None), (10_312, 10_000)),
    ("25GBASE-R", (1, 25_781_250, 1), (Code::TwoFiftySix, Fec::Rs528), (25_781, 25_000)),
    ("40GBASE-R4", (4, 10_312_500, 1), (Code::SixtyFour, Fec::None), (41_250, 40_000)),
    ("50GBASE-R1", (1, 26_562_500, 2), (Code::TwoFiftySix, Fec::Rs544), (53_125, 50_000)),
    ("100GBASE-R4", (4, 25_781_250, 1), (Code::TwoFiftySix, Fec::Rs528), (103_125, 100_000)),
    ("200GBASE-R4", (4, 26_562_500, 2), (Code::TwoFiftySix, Fec::Rs544x2), (212_500, 200_000)),
    ("400GBASE-R8", (8, 26_562_500, 2), (Code::TwoFiftySix, Fec::Rs544x2), (425_000, 400_000)),
    ("800GBASE-R8", (8, 53_125_000, 2), (Code::TwoFiftySix, Fec::Rs544x4), (850_000, 800_000)),
    ("1GFC", (1, 1_062_500, 1), (Code::EightTen, Fec::None), (1_062, 850)),
    ("2GFC", (1, 2_125_000, 1), (Code::EightTen, Fec::None), (2_125, 1_700)),
    ("4GFC", (1, 4_250_000, 1), (Code::EightTen, Fec::None), (4_250, 3_400)),
    ("8GFC", (1, 8_500_000, 1), (Code::EightTen, Fec::None), (8_500, 6_800)),
    ("16GFC", (1, 14_025_000, 1), (Code::SixtyFour, Fec::None), (14_025, 13_600)),
    ("32GFC", (1, 28_050_000, 1), (Code::TwoFiftySix, Fec::Rs528), (28_050, 27_200)),
    ("64GFC", (1, 28_900_000, 2), (Code::TwoFiftySix, Fec::Rs544), (57_800, 54_400)),
    ("128GFC", (1, 56_100_000, 2), (Code::TwoFiftySix, Fec::Rs544), (112_200, 105_600)),
    ("128GFCp", (4, 28_050_000, 1), (Code::TwoFiftySix, Fec::Rs528), (112_200, 108_800)),
    ("10GBASE-R", (1, 10_312_500, 1), (Code::SixtyFour, Fec::Firecode), (10_312, 10_000)),
    ("25GBASE-R", (1, 25_781_250, 1), (Code::SixtyFour, Fec::None), (25_781, 25_000)),
    ("25GBASE-R", (1, 25_781_250, 1), (Code::SixtyFour, Fec::Firecode), (25_781, 25_000)),
    ("40GBASE-R4", (4, 10_312_500, 1), (Code::SixtyFour, Fec::Firecode), (41_250, 40_000)),
    ("100GBASE-R4", (4, 25_781_250, 1), (Code::SixtyFour, Fec::None), (103_125, 100_000)),
    ("100GBASE-R2", (2, 26_562_500, 2), (Code::TwoFiftySix, Fec::Rs544), (106_250, 100_000)),
    ("100GBASE-R1", (1, 53_125_000, 2), (Code::TwoFiftySix, Fec::Rs544), (106_250, 100_000)),
    ("100GBASE-R1", (1, 53_125_000, 2), (Code::TwoFiftySix, Fec::Rs544x2), (106_250, 100_000)),
    ("200GBASE-R2", (2, 53_125_000, 2), (Code::TwoFiftySix, Fec::Rs544x2), (212_500, 200_000)),
    ("400GBASE-R16", (16, 26_562_500, 1), (Code::TwoFiftySix, Fec::Rs544x2), (425_000, 400_000)),
    ("400GBASE-R4", (4, 53_125_000, 2), (Code::TwoFiftySix, Fec::Rs544x2), (425_000, 400_000)),
    ("800GBASE-R4", (4, 106_250_000, 2), (Code::TwoFiftySix, Fec::Rs544x4), (850_000, 800_000)),
    ("16GFC", (1, 14_025_000, 1), (Code::SixtyFour, Fec::Firecode), (14_025, 13_600)),
];

#[test]
fn every_row_has_the_lanes_and_rates_of_its_standard() {
    let all: Vec<&Technology> = all_technologies().collect();
    assert_eq!(all.len(), ROWS.len());
    for (known, (phy, (lanes, kilobaud, bits), (code, fec), (line, usable))) in
        all.into_iter().zip(ROWS)
    {
        assert_eq!(known.phy, phy);
        let lane = (known.lanes, known.baud, known.modulation.bits());
        assert_eq!(lane, (lanes, kilobaud * 1000, bits), "{phy}");
        assert_eq!((known.code, known.fec), (code, fec), "{phy}");
        assert_eq!(known.encoding, code.name());
        // The product is the line rate; Mb/s drop what is below one.
        let kilobits = u64::from(lanes) * kilobaud * bits;
        assert_eq!(
            known.line,
            Rate::from_bits_per_second(kilobits * 1000),
            "{phy}"
        );
        assert_eq!(kilobits / 1000, line, "{phy}");
        let expected = Rate::from_bits_per_second(usable * 1_000_000);
        assert_eq!(known.usable, expected, "{phy} {fec:?}");
        let from_memory = phy == "1000BASE-X"
            || phy == "40GBASE-R4"
            || kilobaud > 50_000_000 && !["800GBASE-R8", "128GFC"].contains(&phy)
            || (phy, fec) == ("16GFC", Fec::Firecode);
        assert_eq!(known.mark == Mark::Memory, from_memory, "{phy}");
        assert!(from_memory || known.mark == Mark::Published, "{phy}");
    }
}

/// 28.05 Gb/s on the line for 27.2 usable: 33 bytes for every 32, so 67,540 take 2110.625 more.
#[test]
fn code_and_parity_in_bytes() {
    let more = |label: &str, wire| technology(label).map(|known| known.coding_bytes(wire));
    assert_eq!(more("32GFC", 67_540), Some(2_110.625));
    assert_eq!(more("8GFC", 100), Some(25.0));
    assert_eq!(more("50GbE", 1600), Some(100.0));
}

#[test]
fn labels_are_unique_and_found_in_any_case() {
    for (index, known) in technologies().iter().enumerate() {
        assert_eq!(
            technologies()
                .iter()
                .position(|other| other.label == known.label),
            Some(index)
        );
        assert_eq!(technology(&known.label.to_lowercase()), Some(known));
        assert_eq!(known.with_fec(known.fec), Some(*known));
    }
    assert_eq!(technology("3GFC"), None);
    assert_eq!(technologies().len(), 18);
}

/// IEEE 802.3 clauses 74, 91, 108, 119 and 134, INCITS FC-FS-4 clause 5.4, secondary sources: the length of the code
/// words. The quotients are arithmetic.
#[test]
fn fec_collect_times() {
    // Bits to collect, line rate in bits per second (of one lane for firecode), and the quotient in
    // hundredths of a nanosecond, rounded to nearest.
    let expected = [
        (
            "10GbE",
            Fec::Firecode,
            2_112_u64,
            10_312_500_000_u64,
            20_480_u64,
        ),
        (
            "25GbE",
            Fec::Firecode,
            2_112_u64,
            25_781_250_000_u64,
            8_192_u64,
        ),
        (
            "40GbE",
            Fec::Firecode,
            2_112_u64,
            10_312_500_000_u64,
            20_480_u64,
        ),
        (
            "25GbE",
            Fec::Rs528,
            5_280_u64,
            25_781_250_000_u64,
            20_480_u64,
        ),
        (
            "100GbE",
            Fec::Rs528,
            5_280_u64,
            103_125_000_000_u64,
            5_120_u64,
        ),
        (
            "50GbE",
            Fec::Rs544,
            5_440_u64,
            53_125_000_000_u64,
            10_240_u64,
        ),
        (
            "100GbE",
            Fec::Rs544,
            5_440_u64,
            106_250_000_000_u64,
            5_120_u64,
        ),
        (
            "100GbE",
            Fec::Rs544x2,
            10_880_u64,
            106_250_000_000_u64,
            10_240_u64,
        ),
        (
            "200GbE",
            Fec::Rs544x2,
            10_880_u64,
            212_500_000_000_u64,
            5_120_u64,
        ),
        (
            "400GbE",
            Fec::Rs544x2,
            10_880_u64,
            425_000_000_000_u64,
            2_560_u64,
        ),
        (
            "800GbE",
            Fec::Rs544x4,
            21_760_u64,
            850_000_000_000_u64,
            2_560_u64,
        ),
        (
            "32GFC",
            Fec::Rs528,
            5_280_u64,
            28_050_000_000_u64,
            18_824_u64,
        ),
        (
            "128GFCp",
            Fec::Rs528,
            5_280_u64,
            112_200_000_000_u64,
            4_706_u64,
        ),
        (
            "64GFC",
            Fec::Rs544,
            5_440_u64,
            57_800_000_000_u64,
            9_412_u64,
        ),
        (
            "128GFC",
            Fec::Rs544,
            5_440_u64,
            112_200_000_000_u64,
            4_848_u64,
        ),
    ];
    for (label, fec, bits, line, hundredths) in expected {
        assert_eq!(
            (u128::from(bits) * 200_000_000_000 / u128::from(line)).div_ceil(2),
            u128::from(hundredths)
        );
        assert_eq!(
            find(label, fec).fec.collect_bytes() * 8,
            bits,
            "{label} {fec:?}"
        );
        // The ceiling in picoseconds: collect × line reaches the bits, one picosecond less does not.
        let collect = u128::from(find(label, fec).fec_collect().0);
        let needed = u128::from(bits) * 1_000_000_000_000;
        assert!(collect * u128::from(line) >= needed, "{label} {fec:?}");
        assert!((collect - 1) * u128::from(line) < needed, "{label} {fec:?}");
    }
    // 5280 bits at 28.05 Gb/s are 188,235.29… ps.
    assert_eq!(find("32GFC", Fec::Rs528).fec_collect(), Duration(188_236));
    assert_eq!(find("32GFC", Fec::Rs528).fec_latency(), Duration(228_236));
    assert_eq!(find("100GbE", Fec::None).fec_latency(), Duration::ZERO);
}

#[test]
fn nominal_figures_are_one_direction_and_below_the_line_rate() {
    // As published for both directions; FC-PI, as quoted by the industry association.
    for (label, both) in [
        ("16GFC", 3_200),
        ("32GFC", 6_400),
        ("64GFC", 12_800),
        ("128GFC", 24_850),
        ("128GFCp", 25_600),
    ] {
        let nominal = technology(label).and_then(|known| known.nominal_mb_s);
        assert_eq!(nominal.map(|one| one * 2), Some(both));
    }
    for known in technologies() {
        assert_eq!(
            known.nominal_mb_s.is_some(),
            known.medium == Medium::FibreChannel
        );
        let nominal = known.nominal_mb_s.unwrap_or(1);
        assert!(Rate::from_bits_per_second(nominal * 8_000_000) < known.usable);
        assert!(
            Rate::from_bits_per_second(nominal * 16_000_000) > known.line
                || known.nominal_mb_s.is_none()
        );
    }
}
