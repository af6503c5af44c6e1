//! Throughputs that follow from rates and frame sizes, to the digits usually printed.
//!
//! Hand arithmetic on the frame sizes of the standards and the exact usable rates, rounded to nearest in
//! integers. Streams are one direction, back to back, segments full, no loss, no pure ACKs in it. How far
//! the sizes and rates behind them were checked (verified, secondary source, from memory) stands beside each
//! constant of `framing`, of the protocols and of the table of technologies; the products are arithmetic.

use super::*;
use crate::unit::Rate;

/// Payload bytes and the wire bytes they take in a long stream.
type Share = (u64, u64);

/// `share` of the usable rate in bytes per second, times `scale`, over 10^6, rounded to nearest.
fn mb_per_second(rate: Rate, share: Share, scale: u64) -> u64 {
    let (bits, seconds) = rate.ratio();
    let numerator = u128::from(bits) * u128::from(share.0) * u128::from(scale);
    let denominator = u128::from(seconds) * u128::from(share.1) * 8_000_000;
    rounded(numerator, denominator)
}

fn rounded(numerator: u128, denominator: u128) -> u64 {
    u64::try_from((numerator * 2 + denominator) / (denominator * 2)).expect("small in tests")
}

fn usable(label: &str) -> Rate {
    technology(label).expect("in the table").usable
}

fn tcp(mtu: u32, timestamps: Timestamps, vlan: Vlan) -> Share {
    let options = TcpOptions {
        mtu,
        timestamps,
        vlan,
        ..TcpOptions::default()
    };
    (
        u64::from(options.mss()),
        u64::from(options.wire(options.mss())),
    )
}

/// Back-to-back messages of so many data bytes behind a header, all segments full.
fn messages(mtu: u32, data: u64, header: u32) -> Share {
    let (payload, wire) = tcp(mtu, Timestamps::On, Vlan::Untagged);
    (payload * data, wire * (data + u64::from(header)))
}

/// Middle packets of a long RDMA message.
fn rocev2(path_mtu: u32) -> Share {
    (
        u64::from(path_mtu),
        u64::from(framing::rocev2_wire(path_mtu, 0, Ip::V4, Vlan::Untagged)),
    )
}

fn fcoe(field: u32) -> Share {
    (u64::from(field), u64::from(framing::fcoe_wire(field)))
}

fn native(field: u32) -> Share {
    (u64::from(field), u64::from(framing::fc_wire(field)))
}

fn nvme_tcp(mtu: u32) -> Protocol {
    let tcp = TcpOptions {
        mtu,
        ..TcpOptions::default()
    };
    Protocol::NvmeTcp(NvmeTcpOptions {
        tcp,
        ..NvmeTcpOptions::default()
    })
}

fn nvme_rdma(mtu: u32) -> Protocol {
    Protocol::NvmeRdma(NvmeRdmaOptions {
        mtu,
        ..NvmeRdmaOptions::default()
    })
}

/// Wire bytes toward the host of one read on the protocol's own medium.
fn read_wire(protocol: Protocol, size: u64) -> u64 {
    // Native sizes are the same field for Ethernet and Fibre Channel.
    protocol
        .plan(Op::Read, size)
        .wire_bytes(Toward::Host, Encapsulation::Ethernet)
}

#[test]
fn payload_of_ethernet_streams() {
    const SPEEDS: [&str; 9] = [
        "1GbE", "10GbE", "25GbE", "40GbE", "50GbE", "100GbE", "200GbE", "400GbE", "800GbE",
    ];
    // Share of the MAC rate in lowest terms, in 1/10,000 of a percent, and MB/s in tenths at each speed.
    // IEEE 802.3, RFC 9293 and 7323; RFC 7143; NVMe/TCP transport; RFC 1813 and 8881; IBTA annex A17;
    // FC-BB-5.
    let expected: [(Share, Share, u64, [u64; 9]); 21] = [
        (
            tcp(1500, Timestamps::On, Vlan::Untagged),
            (724, 769),
            941_482,
            [
                1_177, 11_769, 29_421, 47_074, 58_843, 117_685, 235_371, 470_741, 941_482,
            ],
        ),
        (
            tcp(1500, Timestamps::Off, Vlan::Untagged),
            (730, 769),
            949_285,
            [
                1_187, 11_866, 29_665, 47_464, 59_330, 118_661, 237_321, 474_642, 949_285,
            ],
        ),
        (
            tcp(9000, Timestamps::On, Vlan::Untagged),
            (4_474, 4_519),
            990_042,
            [
                1_238, 12_376, 30_939, 49_502, 61_878, 123_755, 247_511, 495_021, 990_042,
            ],
        ),
        (
            tcp(9000, Timestamps::Off, Vlan::Untagged),
            (4_480, 4_519),
            991_370,
            [
                1_239, 12_392, 30_980, 49_568, 61_961, 123_921, 247_842, 495_685, 991_370,
            ],
        ),
        (
            tcp(1500, Timestamps::On, Vlan::Tagged),
            (724, 771),
            939_040,
            [
                1_174, 11_738, 29_345, 46_952, 58_690, 117_380, 234_760, 469_520, 939_040,
            ],
        ),
        (
            tcp(9000, Timestamps::On, Vlan::Tagged),
            (4_474, 4_521),
            989_604,
            [
                1_237, 12_370, 30_925, 49_480, 61_850, 123_701, 247_401, 494_802, 989_604,
            ],
        ),
        (
            messages(1500, 8_192, iscsi::HEADER),
            (370_688, 396_035),
            935_998,
            [
                1_170, 11_700, 29_250, 46_800, 58_500, 117_000, 234_000, 467_999, 935_998,
            ],
        ),
        (
            messages(9000, 8_192, iscsi::HEADER),
            (2_290_688, 2_327_285),
            984_275,
            [
                1_230, 12_303, 30_759, 49_214, 61_517, 123_034, 246_069, 492_137, 984_275,
            ],
        ),
        (
            messages(1500, 262_144, iscsi::HEADER),
            (11_862_016, 12_601_603),
            941_310,
            [
                1_177, 11_766, 29_416, 47_066, 58_832, 117_664, 235_328, 470_655, 941_310,
            ],
        ),
        (
            messages(9000, 262_144, iscsi::HEADER),
            (73_302_016, 74_052_853),
            989_861,
            [
                1_237, 12_373, 30_933, 49_493, 61_866, 123_733, 247_465, 494_930, 989_861,
            ],
        ),
        (
            messages(1500, 65_536, nvme_tcp::DATA_HEADER),
            (5_931_008, 6_301_955),
            941_138,
            [
                1_176, 11_764, 29_411, 47_057, 58_821, 117_642, 235_284, 470_569, 941_138,
            ],
        ),
        (
            messages(9000, 65_536, nvme_tcp::DATA_HEADER),
            (36_651_008, 37_033_205),
            989_680,
            [
                1_237, 12_371, 30_927, 49_484, 61_855, 123_710, 247_420, 494_840, 989_680,
            ],
        ),
        (
            messages(1500, 1_048_576, nfs::reply_bytes(NfsVersion::V3, Op::Read)),
            (189_792_256, 201_614_113),
            941_364,
            [
                1_177, 11_767, 29_418, 47_068, 58_835, 117_670, 235_341, 470_682, 941_364,
            ],
        ),
        (
            messages(9000, 1_048_576, nfs::reply_bytes(NfsVersion::V3, Op::Read)),
            (1_172_832_256, 1_184_777_863),
            989_917,
            [
                1_237, 12_374, 30_935, 49_496, 61_870, 123_740, 247_479, 494_959, 989_917,
            ],
        ),
        (
            messages(1500, 1_048_576, nfs::reply_bytes(NfsVersion::V41, Op::Read)),
            (189_792_256, 201_609_499),
            941_385,
            [
                1_177, 11_767, 29_418, 47_069, 58_837, 117_673, 235_346, 470_693, 941_385,
            ],
        ),
        (
            messages(9000, 1_048_576, nfs::reply_bytes(NfsVersion::V41, Op::Read)),
            (1_172_832_256, 1_184_750_749),
            989_940,
            [
                1_237, 12_374, 30_936, 49_497, 61_871, 123_743, 247_485, 494_970, 989_940,
            ],
        ),
        (
            rocev2(1024),
            (512, 553),
            925_859,
            [
                1_157, 11_573, 28_933, 46_293, 57_866, 115_732, 231_465, 462_929, 925_859,
            ],
        ),
        (
            rocev2(2048),
            (1_024, 1_065),
            961_502,
            [
                1_202, 12_019, 30_047, 48_075, 60_094, 120_188, 240_376, 480_751, 961_502,
            ],
        ),
        (
            rocev2(4096),
            (2_048, 2_089),
            980_373,
            [
                1_225, 12_255, 30_637, 49_019, 61_273, 122_547, 245_093, 490_187, 980_373,
            ],
        ),
        (
            fcoe(2048),
            (256, 267),
            958_801,
            [
                1_199, 11_985, 29_963, 47_940, 59_925, 119_850, 239_700, 479_401, 958_801,
            ],
        ),
        (
            fcoe(2112),
            (24, 25),
            960_000,
            [
                1_200, 12_000, 30_000, 48_000, 60_000, 120_000, 240_000, 480_000, 960_000,
            ],
        ),
    ];
    for (stream, fraction, percent, tenths) in expected {
        assert_eq!(stream.0 * fraction.1, stream.1 * fraction.0, "{fraction:?}");
        assert_eq!(
            rounded(u128::from(stream.0) * 1_000_000, u128::from(stream.1)),
            percent,
            "{fraction:?}"
        );
        for (label, tenths) in SPEEDS.iter().zip(tenths) {
            assert_eq!(
                mb_per_second(usable(label), stream, 10),
                tenths,
                "{fraction:?} at {label}"
            );
        }
    }
}

#[test]
fn payload_of_fibre_channel_streams() {
    // In hundredths of a MB/s: the FC-2 byte rate, streams of 2048- and 2112-byte fields, back-to-back
    // 64 KiB reads of SCSI and NVMe; then the nominal MB/s and the 2048-byte stream over it in
    // 1/10,000. FC-PI, FC-FS, FCP-4, FC-NVMe.
    let expected = [
        ("1GFC", 10_625, 10_323, 10_331, 10_310, 10_312, 100, 10_323),
        ("2GFC", 21_250, 20_645, 20_663, 20_619, 20_623, 200, 10_323),
        ("4GFC", 42_500, 41_290, 41_326, 41_239, 41_246, 400, 10_323),
        ("8GFC", 85_000, 82_581, 82_652, 82_478, 82_493, 800, 10_323),
        (
            "16GFC", 170_000, 165_161, 165_304, 164_956, 164_985, 1_600, 10_323,
        ),
        (
            "32GFC", 340_000, 330_323, 330_608, 329_912, 329_970, 3_200, 10_323,
        ),
        (
            "64GFC", 680_000, 660_645, 661_215, 659_824, 659_941, 6_400, 10_323,
        ),
        (
            "128GFC", 1_320_000, 1_282_429, 1_283_536, 1_280_834, 1_281_061, 12_425, 10_321,
        ),
        (
            "128GFCp", 1_360_000, 1_321_290, 1_322_431, 1_319_647, 1_319_882, 12_800, 10_323,
        ),
    ];
    let scsi = (
        65_536,
        read_wire(Protocol::FcScsi(FcOptions::default()), 65_536),
    );
    let nvme = (
        65_536,
        read_wire(Protocol::FcNvme(FcOptions::default()), 65_536),
    );
    assert_eq!((scsi.1, nvme.1), (67_456 + 84, 67_456 + 72));
    for (label, bytes, usual, largest, scsi_reads, nvme_reads, nominal, ratio) in expected {
        let mb = |share| mb_per_second(usable(label), share, 100);
        assert_eq!(mb((1, 1)), bytes, "{label}");
        assert_eq!(mb(native(2048)), usual, "{label}");
        assert_eq!(mb(native(2112)), largest, "{label}");
        assert_eq!(mb(scsi), scsi_reads, "{label}");
        assert_eq!(mb(nvme), nvme_reads, "{label}");
        assert_eq!(
            technology(label).and_then(|known| known.nominal_mb_s),
            Some(nominal),
            "{label}"
        );
        let (payload, wire) = native(2048);
        assert_eq!(
            mb_per_second(usable(label), (payload, wire * nominal), 10_000),
            ratio,
            "{label}"
        );
    }
}

#[test]
fn small_reads_that_one_direction_can_carry() {
    // Reads of 4 KiB: wire bytes toward the host, byte rate in MB/s, serialization in 1/10,000 µs, reads
    // per second rounded down. The same standards as above.
    let expected = [
        (
            Protocol::FcScsi(FcOptions::default()),
            4_300,
            "16GFC",
            1_700,
            25_294,
            395_348,
        ),
        (
            Protocol::FcScsi(FcOptions::default()),
            4_300,
            "32GFC",
            3_400,
            12_647,
            790_697,
        ),
        (
            Protocol::FcScsi(FcOptions::default()),
            4_300,
            "64GFC",
            6_800,
            6_324,
            1_581_395,
        ),
        (
            Protocol::FcScsi(FcOptions::default()),
            4_300,
            "128GFC",
            13_200,
            3_258,
            3_069_767,
        ),
        (
            Protocol::FcNvme(FcOptions::default()),
            4_288,
            "16GFC",
            1_700,
            25_224,
            396_455,
        ),
        (
            Protocol::FcNvme(FcOptions::default()),
            4_288,
            "32GFC",
            3_400,
            12_612,
            792_910,
        ),
        (
            Protocol::FcNvme(FcOptions::default()),
            4_288,
            "64GFC",
            6_800,
            6_306,
            1_585_820,
        ),
        (
            Protocol::FcNvme(FcOptions::default()),
            4_288,
            "128GFC",
            13_200,
            3_248,
            3_078_358,
        ),
        (nvme_tcp(1500), 4_414, "25GbE", 3_125, 14_125, 707_974),
        (nvme_tcp(1500), 4_414, "100GbE", 12_500, 3_531, 2_831_898),
        (nvme_tcp(9000), 4_234, "25GbE", 3_125, 13_549, 738_072),
        (nvme_tcp(9000), 4_234, "100GbE", 12_500, 3_387, 2_952_290),
        (nvme_rdma(1500), 4_538, "25GbE", 3_125, 14_522, 688_629),
        (nvme_rdma(1500), 4_538, "100GbE", 12_500, 3_630, 2_754_517),
        (nvme_rdma(9000), 4_292, "25GbE", 3_125, 13_734, 728_098),
        (nvme_rdma(9000), 4_292, "100GbE", 12_500, 3_434, 2_912_395),
    ];
    for (protocol, bytes, label, mb_s, time, reads) in expected {
        assert_eq!(read_wire(protocol, 4096), bytes, "{protocol:?}");
        let rate = usable(label);
        assert_eq!(mb_per_second(rate, (1, 1), 1), mb_s, "{label}");
        assert_eq!(
            rounded(u128::from(bytes) * 10_000, u128::from(mb_s)),
            time,
            "{label}"
        );
        // The model's own time is the ceiling in ps: it reaches the exact time, one ps less does not.
        let ps = rate.serialize(bytes).0;
        assert!(
            ps * mb_s >= bytes * 1_000_000 && (ps - 1) * mb_s < bytes * 1_000_000,
            "{label}"
        );
        assert_eq!(mb_s * 1_000_000 / bytes, reads, "{label}");
    }
}
