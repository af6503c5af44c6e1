//! Identities that tie rates, code words, frames and messages together.
//!
//! Each names its standard and how far that was read: *verified* in open-source headers, *secondary source*,
//! or *from memory*. Those without a mark are arithmetic on the others.

use super::framing::*;
use super::*;
use crate::unit::Rate;

fn usable(label: &str) -> Rate {
    technology(label).expect("in the table").usable
}

fn coded(code: Code, fec: Fec) -> Rate {
    let ((data, line), (message, word)) = (code.ratio(), fec.ratio());
    Rate::from_ratio(data, line).times(message, word)
}

/// IEEE 802.3 clauses 49, 91, 108 and 119, secondary source: 64/66 = 514/528 × 256/257 = 32/33, and
/// 514/544 × 256/257 = 16/17.
#[test]
fn a_longer_code_and_parity_leave_a_round_share() {
    let sixty_four = coded(Code::SixtyFour, Fec::None);
    assert_eq!(sixty_four, Rate::from_ratio(32, 33));
    assert_eq!(coded(Code::TwoFiftySix, Fec::Rs528), sixty_four);
    for fec in [Fec::Rs544, Fec::Rs544x2, Fec::Rs544x4] {
        assert_eq!(coded(Code::TwoFiftySix, fec), Rate::from_ratio(16, 17));
    }
}

/// IEEE 802.3, secondary source; 106.25 GBd from memory (P802.3dj). Baud × bits × share is the MAC rate.
#[test]
fn bauds_are_chosen_for_whole_rates() {
    let rate = |kilobaud: u64, bits: u64, share: (u64, u64)| {
        Rate::from_bits_per_second(kilobaud * 1000 * bits).times(share.0, share.1)
    };
    let giga = |number: u64| Rate::from_bits_per_second(number * 1_000_000_000);
    assert_eq!(rate(10_312_500, 1, (64, 66)), giga(10));
    assert_eq!(rate(25_781_250, 1, (64, 66)), giga(25));
    assert_eq!(rate(26_562_500, 2, (16, 17)), giga(50));
    assert_eq!(rate(53_125_000, 2, (16, 17)), giga(100));
    assert_eq!(rate(106_250_000, 2, (16, 17)), giga(200));
    // RS(544,514) needs 544/528 of the symbols of RS(528,514).
    let baud = |label: &str| technology(label).expect("in the table").baud;
    assert_eq!(baud("25GbE") * 544, baud("50GbE") * 528);
    // The lanes of the table have these bauds.
    for known in all_technologies().filter(|known| known.medium == Medium::Ethernet) {
        let lane = rate(known.baud / 1000, known.modulation.bits(), (1, 1));
        let all = lane.times(u64::from(known.lanes), 1);
        assert_eq!(all, known.line, "{}", known.phy);
    }
}

/// FC-PI to FC-PI-8, secondary source; the code of 64GFC and 128GFC by the published throughput.
#[test]
fn fibre_channel_rates_hang_together() {
    let megabytes = |label: &str| usable(label).times(1, 8);
    for multiple in [1_u64, 2, 4, 8, 16, 32, 64] {
        let expected = Rate::from_bits_per_second(106_250_000).times(multiple, 1);
        assert_eq!(megabytes(&format!("{multiple}GFC")), expected);
    }
    let tenths = |label: &str| usable(label).times(1, 100_000_000);
    for (label, expected) in [
        ("16GFC", 136),
        ("32GFC", 272),
        ("64GFC", 544),
        ("128GFC", 1056),
        ("128GFCp", 1088),
    ] {
        assert_eq!(tenths(label), Rate::from_ratio(expected, 1), "{label}");
    }
    // Serial 128GFC is 33/17 of 64GFC, not twice it; four lanes of 32GFC are.
    assert_eq!(usable("128GFC"), usable("64GFC").times(33, 17));
    assert_eq!(usable("128GFCp"), usable("32GFC").times(4, 1));
    assert_eq!(usable("128GFCp"), usable("64GFC").times(2, 1));
}

/// IEEE 802.3 clauses 74, 91 and 134, secondary source: bits of a code word, and what they carry.
#[test]
fn code_words_are_whole_numbers_of_blocks() {
    let word = |fec: Fec| fec.collect_bytes() * 8;
    // 20 blocks of 257 bits are the 514 message symbols of 10 bits; the rest is parity.
    let (message, symbols) = Fec::Rs528.ratio();
    assert_eq!((message * 10, symbols * 10), (20 * 257, word(Fec::Rs528)));
    assert_eq!(word(Fec::Rs528), 20 * 257 + 140);
    assert_eq!(word(Fec::Rs528), 80 * 66);
    let (message, symbols) = Fec::Rs544.ratio();
    assert_eq!((message * 10, symbols * 10), (20 * 257, word(Fec::Rs544)));
    assert_eq!(word(Fec::Rs544), 20 * 257 + 300);
    assert_eq!(word(Fec::Rs544x2), 2 * word(Fec::Rs544));
    assert_eq!(word(Fec::Rs544x4), 4 * word(Fec::Rs544));
    // 32 blocks of 65 bits and 32 of parity take the room of 32 blocks of 66.
    assert_eq!(word(Fec::Firecode), 32 * 65 + 32);
    assert_eq!(word(Fec::Firecode), 32 * 66);
}

/// FC-FS (secondary source; header and field verified), FC-BB-5 (verified): the largest frames.
#[test]
fn the_largest_fibre_channel_frame_and_its_wrapping() {
    let frame = FC_SOF + FC_HEADER + FC_DATA_FIELD_MAX + FC_CRC + FC_EOF;
    assert_eq!((frame, fc_wire(FC_DATA_FIELD_MAX)), (2148, 2172));
    let packet = FCOE_HEADER + FC_HEADER + FC_DATA_FIELD_MAX + FC_CRC + FCOE_TRAILER;
    assert_eq!((packet, fcoe_packet(FC_DATA_FIELD_MAX)), (2158, 2158));
    let tagged = ETHERNET_HEADER + VLAN_TAG + packet + ETHERNET_FCS;
    assert_eq!((tagged, fcoe_wire(FC_DATA_FIELD_MAX)), (2180, 2200));
}

/// RFC 791, RFC 9293, RFC 7323, from memory; IEEE 802.3, verified: a full segment at MTU 1500.
#[test]
fn a_full_segment_is_the_mtu() {
    let tcp = TcpOptions::default();
    assert_eq!((tcp.mss(), tcp.mss() + tcp.headers()), (1448, 1500));
    assert_eq!(tcp.wire(tcp.mss()), 1500 + 38);
    assert_eq!(tcp.wire(tcp.mss()) - tcp.mss(), 90);
}

/// NVMe/TCP transport and FC-NVMe, verified in open-source headers.
#[test]
fn messages_of_nvme() {
    assert_eq!((nvme_tcp::COMMAND, nvme_tcp::RESPONSE), (72, 24));
    assert_eq!(nvme_tcp::DATA_HEADER, 24);
    assert_eq!(nvme_tcp::READY_TO_TRANSFER, 24);
    assert_eq!(nvme_tcp::INITIALIZE, 128);
    assert_eq!(fc::NVME_COMMAND, 96);
    assert_eq!(fc::nvme_response(NvmeResponse::Extended), 32);
}

/// PCI Express base specification 6, secondary source: 236 of packets + 6 + 8 CRC + 6 FEC.
#[test]
fn a_flit_is_256_bytes() {
    assert_eq!(pcie::FLIT, (236, 236 + 6 + 8 + 6));
}

/// IBTA annex A17, verified in open-source headers: what surrounds a middle packet of a message.
#[test]
fn a_rocev2_packet_around_its_payload() {
    let parts = [
        ETHERNET_PREAMBLE,
        ETHERNET_HEADER,
        IPV4_HEADER,
        UDP_HEADER,
        ROCE_BTH,
        ROCE_ICRC,
        ETHERNET_FCS,
        ETHERNET_GAP,
    ];
    assert_eq!(parts, [8, 14, 20, 8, 12, 4, 4, 12]);
    let wire = |extension| rocev2_wire(1024, extension, Ip::V4, Vlan::Untagged) - 1024;
    assert_eq!(wire(0), parts.iter().sum::<u32>());
    assert_eq!([wire(0), wire(ROCE_RETH), wire(ROCE_AETH)], [82, 98, 86]);
}

/// IEEE 802.1Qbb, secondary source: a frame of priority flow control has an opcode, a vector and eight timers, and
/// is padded to the least frame. Timers count 512 bit times: 60 and 394 of them are what a port may take to
/// stop at 10 and 100 Gb/s.
#[test]
fn a_pause_is_a_least_frame_and_counts_in_512_bits() {
    let (opcode, vector, timers) = (2, 2, 8 * 2);
    assert_eq!(
        ethernet_wire(opcode + vector + timers, Vlan::Untagged),
        ETHERNET_PREAMBLE + 64 + ETHERNET_GAP
    );
    let padding = 64 - (ETHERNET_HEADER + opcode + vector + timers + ETHERNET_FCS);
    assert_eq!(padding, 26);
    let stop = |label: &str, quanta: u64| usable(label).serialize(quanta * 512 / 8).0;
    assert_eq!(stop("10GbE", 60), 30_720 * 100);
    assert_eq!(stop("100GbE", 394), 201_728 * 10);
}
