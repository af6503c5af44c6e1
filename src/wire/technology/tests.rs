//! Rates by IEEE 802.3 and FC-PI, FEC times by the code words of IEEE 802.3 and FC-FS.

use super::*;

fn find(label: &str, fec: Fec) -> Technology {
    technology(label)
        .and_then(|usual| usual.with_fec(fec))
        .expect("in the table")
}

#[test]
fn line_and_usable_rates_are_exact() {
    // Physical layer, line and usable bits per second.
    let expected = [
        ("1000BASE-X", 1_250_000_000, 1_000_000_000),
        ("10GBASE-R", 10_312_500_000, 10_000_000_000),
        ("25GBASE-R", 25_781_250_000, 25_000_000_000),
        ("40GBASE-R4", 41_250_000_000, 40_000_000_000),
        ("50GBASE-R1", 53_125_000_000, 50_000_000_000),
        ("100GBASE-R4", 103_125_000_000, 100_000_000_000),
        ("100GBASE-R2", 106_250_000_000, 100_000_000_000),
        ("100GBASE-R1", 106_250_000_000, 100_000_000_000),
        ("200GBASE-R4", 212_500_000_000, 200_000_000_000),
        ("200GBASE-R2", 212_500_000_000, 200_000_000_000),
        ("400GBASE-R16", 425_000_000_000, 400_000_000_000),
        ("400GBASE-R8", 425_000_000_000, 400_000_000_000),
        ("400GBASE-R4", 425_000_000_000, 400_000_000_000),
        ("800GBASE-R8", 850_000_000_000, 800_000_000_000),
        ("800GBASE-R4", 850_000_000_000, 800_000_000_000),
        ("1GFC", 1_062_500_000, 850_000_000),
        ("2GFC", 2_125_000_000, 1_700_000_000),
        ("4GFC", 4_250_000_000, 3_400_000_000),
        ("8GFC", 8_500_000_000, 6_800_000_000),
        ("16GFC", 14_025_000_000, 13_600_000_000),
        ("32GFC", 28_050_000_000, 27_200_000_000),
        ("64GFC", 57_800_000_000, 54_400_000_000),
        ("128GFC", 112_200_000_000, 105_600_000_000),
        ("128GFCp", 112_200_000_000, 108_800_000_000),
    ];
    for known in all_technologies() {
        let (_, line, usable) = expected
            .iter()
            .find(|row| row.0 == known.phy)
            .expect(known.phy);
        assert_eq!(
            known.line,
            Rate::from_bits_per_second(*line),
            "{}",
            known.phy
        );
        assert_eq!(
            known.usable,
            Rate::from_bits_per_second(*usable),
            "{} {:?}",
            known.phy,
            known.fec
        );
    }
    for (phy, ..) in expected {
        assert!(
            all_technologies().any(|known| known.phy == phy),
            "{phy} is missing"
        );
    }
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
fn codes_and_parity_fill_the_same_room() {
    let one = Rate::from_bits_per_second(1);
    let coded = |code: Code, fec: Fec| {
        let ((data, coded), (message, word)) = (code.ratio(), fec.ratio());
        one.times(data, coded).times(message, word)
    };
    // RS(528,514) with 256b/257b leaves exactly what 64b/66b leaves.
    assert_eq!(coded(Code::SixtyFour, Fec::None), Rate::from_ratio(32, 33));
    assert_eq!(
        coded(Code::TwoFiftySix, Fec::Rs528),
        Rate::from_ratio(32, 33)
    );
    assert_eq!(
        coded(Code::TwoFiftySix, Fec::Rs544),
        Rate::from_ratio(16, 17)
    );
    assert_eq!(coded(Code::EightTen, Fec::None), Rate::from_ratio(4, 5));
    // A higher baud pays for the larger parity.
    let baud = |label: &str| technology(label).expect("in the table").baud;
    assert_eq!(baud("50GbE") * 528, baud("25GbE") * 544);
    // Bits of a code word: 5140 of message, the rest parity; firecode is 32 blocks of 65 bits and 32 more.
    assert_eq!(Fec::Rs528.collect_bytes() * 8, 20 * 257 + 140);
    assert_eq!(Fec::Rs528.collect_bytes() * 8, 80 * 66);
    assert_eq!(Fec::Rs544.collect_bytes() * 8, 20 * 257 + 300);
    assert_eq!(Fec::Firecode.collect_bytes() * 8, 32 * 65 + 32);
    assert_eq!(Fec::Firecode.collect_bytes() * 8, 32 * 66);
}

#[test]
fn fibre_channel_speeds_relate_as_published() {
    let usable = |label: &str| technology(label).expect("in the table").usable;
    // From 1GFC to 64GFC each is a whole multiple of 106.25 MB/s.
    for times in [1, 2, 4, 8, 16, 32, 64] {
        assert_eq!(
            usable(&format!("{times}GFC")),
            Rate::from_bits_per_second(850_000_000 * times)
        );
    }
    // Serial 128GFC is not twice 64GFC; the parallel one is, and four times 32GFC.
    assert_eq!(usable("128GFC"), usable("64GFC").times(33, 17));
    assert_eq!(usable("128GFCp"), usable("64GFC").times(2, 1));
    assert_eq!(usable("128GFCp"), usable("32GFC").times(4, 1));
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
