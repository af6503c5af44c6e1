//! Worked examples W01 to W51: frames, wire bytes and pure ACKs of whole I/Os, by equality.
//!
//! The figures follow by hand arithmetic from the message and frame sizes of the standards named at each
//! test; how far those sizes were checked stands beside the constants they test. IPv4, TCP timestamps,
//! untagged Ethernet (FCoE tagged), 2048-byte data fields, no digests, no loss.

use super::*;
use Encapsulation::{Ethernet, Fcoe, FibreChannel};
use Op::{Read, Write};

/// One exchange and its figures: frames and wire bytes to the array, then to the host, then pure ACKs to
/// the host and to the array.
struct Row {
    protocol: Protocol,
    encapsulation: Encapsulation,
    op: Op,
    kib: u64,
    to_array: (u64, u64),
    to_host: (u64, u64),
    acks: (u64, u64),
}

const fn row(
    protocol: Protocol,
    encapsulation: Encapsulation,
    op: Op,
    kib: u64,
    to_array: (u64, u64),
    to_host: (u64, u64),
    acks: (u64, u64),
) -> Row {
    Row {
        protocol,
        encapsulation,
        op,
        kib,
        to_array,
        to_host,
        acks,
    }
}

fn check(rows: &[Row]) {
    for row in rows {
        let plan = row.protocol.plan(row.op, row.kib * 1024);
        let toward = |way| (plan.frames(way), plan.wire_bytes(way, row.encapsulation));
        let what = format!("{:?} {} KiB of {:?}", row.op, row.kib, row.protocol);
        assert_eq!(toward(Toward::Array), row.to_array, "to the array, {what}");
        assert_eq!(toward(Toward::Host), row.to_host, "to the host, {what}");
        assert_eq!(
            (plan.acks(Toward::Host), plan.acks(Toward::Array)),
            row.acks,
            "pure ACKs, {what}"
        );
        assert_eq!(plan.payload, row.kib * 1024, "{what}");
    }
}

fn scsi() -> Protocol {
    Protocol::FcScsi(FcOptions::default())
}

fn nvme_fc() -> Protocol {
    Protocol::FcNvme(FcOptions::default())
}

fn tcp(mtu: u32) -> TcpOptions {
    TcpOptions {
        mtu,
        ..TcpOptions::default()
    }
}

fn iscsi(mtu: u32) -> Protocol {
    Protocol::Iscsi(IscsiOptions {
        tcp: tcp(mtu),
        ..IscsiOptions::default()
    })
}

fn iscsi_response(mtu: u32) -> Protocol {
    let read_status = ReadStatus::Separate;
    Protocol::Iscsi(IscsiOptions {
        tcp: tcp(mtu),
        read_status,
        ..IscsiOptions::default()
    })
}

fn iscsi_immediate(mtu: u32) -> Protocol {
    Protocol::Iscsi(IscsiOptions {
        tcp: tcp(mtu),
        array_segment: 262_144,
        ..IscsiOptions::default()
    })
}

fn nvme_tcp(mtu: u32) -> Protocol {
    Protocol::NvmeTcp(NvmeTcpOptions {
        tcp: tcp(mtu),
        ..NvmeTcpOptions::default()
    })
}

fn nvme_tcp_success(mtu: u32) -> Protocol {
    let success = ResponseCapsule::Elided;
    Protocol::NvmeTcp(NvmeTcpOptions {
        tcp: tcp(mtu),
        success,
        ..NvmeTcpOptions::default()
    })
}

fn nvme_rdma(mtu: u32) -> Protocol {
    Protocol::NvmeRdma(NvmeRdmaOptions {
        mtu,
        ..NvmeRdmaOptions::default()
    })
}

fn nfs(version: NfsVersion, mtu: u32) -> Protocol {
    Protocol::Nfs(NfsOptions {
        tcp: tcp(mtu),
        version,
        ..NfsOptions::default()
    })
}

#[test]
#[rustfmt::skip]
fn scsi_and_nvme_over_fibre_channel() {
    // W01 to W09. FC-FS (frame secondary source; gap on 16GFC and faster from memory), FCP-4, FC-NVMe, FC-BB-5
    // (messages and FCoE verified in open-source headers): 36 bytes around a field, 24 of gap; 88 as FCoE.
    check(&[
        row(scsi(), FibreChannel, Read, 4, (1, 92), (3, 4_300), (0, 0)),
        row(scsi(), FibreChannel, Read, 8, (1, 92), (5, 8_516), (0, 0)),
        row(scsi(), FibreChannel, Write, 64, (33, 67_548), (2, 156), (0, 0)),
        row(scsi(), Fcoe, Read, 4, (1, 120), (3, 4_384), (0, 0)),
        row(scsi(), Fcoe, Read, 8, (1, 120), (5, 8_656), (0, 0)),
        row(scsi(), Fcoe, Write, 64, (33, 68_472), (2, 212), (0, 0)),
        row(nvme_fc(), FibreChannel, Read, 4, (1, 156), (3, 4_288), (0, 0)),
        row(nvme_fc(), FibreChannel, Read, 8, (1, 156), (5, 8_504), (0, 0)),
        row(nvme_fc(), FibreChannel, Write, 64, (33, 67_612), (2, 144), (0, 0)),
    ]);
}

#[test]
#[rustfmt::skip]
fn iscsi_exchanges() {
    // W10 to W21. RFC 7143 (headers and defaults verified in open-source code): 48-byte headers; status in the
    // last Data-In or in a response of its own, default lengths, or the whole write immediate.
    check(&[
        row(iscsi(1500), Ethernet, Read, 4, (1, 138), (3, 4_414), (0, 1)),
        row(iscsi_response(1500), Ethernet, Read, 4, (1, 138), (3, 4_462), (0, 1)),
        row(iscsi(1500), Ethernet, Read, 8, (1, 138), (6, 8_780), (0, 3)),
        row(iscsi_response(1500), Ethernet, Read, 8, (1, 138), (6, 8_828), (0, 3)),
        row(iscsi(1500), Ethernet, Write, 64, (46, 70_060), (2, 276), (23, 0)),
        row(iscsi_immediate(1500), Ethernet, Write, 64, (46, 69_724), (1, 138), (23, 0)),
        row(iscsi(9000), Ethernet, Read, 4, (1, 138), (1, 4_234), (0, 0)),
        row(iscsi_response(9000), Ethernet, Read, 4, (1, 138), (1, 4_282), (0, 0)),
        row(iscsi(9000), Ethernet, Read, 8, (1, 138), (1, 8_330), (0, 0)),
        row(iscsi_response(9000), Ethernet, Read, 8, (1, 138), (1, 8_378), (0, 0)),
        row(iscsi(9000), Ethernet, Write, 64, (8, 66_640), (2, 276), (3, 0)),
        row(iscsi_immediate(9000), Ethernet, Write, 64, (8, 66_304), (1, 138), (4, 0)),
    ]);
}

#[test]
#[rustfmt::skip]
fn nvme_over_tcp() {
    // W22 to W33. NVMe/TCP transport (verified in open-source headers): capsules of 72 and 24, data headers of 24.
    check(&[
        row(nvme_tcp(1500), Ethernet, Read, 4, (1, 162), (3, 4_414), (0, 1)),
        row(nvme_tcp_success(1500), Ethernet, Read, 4, (1, 162), (3, 4_390), (0, 1)),
        row(nvme_tcp(1500), Ethernet, Read, 8, (1, 162), (6, 8_780), (0, 3)),
        row(nvme_tcp_success(1500), Ethernet, Read, 8, (1, 162), (6, 8_756), (0, 3)),
        row(nvme_tcp(1500), Ethernet, Write, 64, (47, 69_862), (2, 228), (23, 0)),
        row(nvme_tcp(1500), Ethernet, Write, 4, (3, 4_438), (1, 114), (1, 0)),
        row(nvme_tcp(9000), Ethernet, Read, 4, (1, 162), (1, 4_234), (0, 0)),
        row(nvme_tcp_success(9000), Ethernet, Read, 4, (1, 162), (1, 4_210), (0, 0)),
        row(nvme_tcp(9000), Ethernet, Read, 8, (1, 162), (1, 8_330), (0, 0)),
        row(nvme_tcp_success(9000), Ethernet, Read, 8, (1, 162), (1, 8_306), (0, 0)),
        row(nvme_tcp(9000), Ethernet, Write, 64, (9, 66_442), (2, 228), (4, 0)),
        row(nvme_tcp(9000), Ethernet, Write, 4, (1, 4_258), (1, 114), (0, 0)),
    ]);
}

#[test]
#[rustfmt::skip]
fn nvme_over_rocev2() {
    // W34 to W39. NVMe over Fabrics (binding from memory), IBTA annex A17 (headers verified in open-source code):
    // path MTU 1024 at MTU 1500, 4096 at MTU 9000. Transport ACKs are
    // left out.
    check(&[
        row(nvme_rdma(1500), Ethernet, Read, 4, (1, 146), (5, 4_538), (0, 0)),
        row(nvme_rdma(1500), Ethernet, Read, 8, (1, 146), (9, 8_962), (0, 0)),
        row(nvme_rdma(1500), Ethernet, Write, 64, (65, 70_938), (2, 196), (0, 0)),
        row(nvme_rdma(9000), Ethernet, Read, 4, (1, 146), (2, 4_292), (0, 0)),
        row(nvme_rdma(9000), Ethernet, Read, 8, (1, 146), (3, 8_470), (0, 0)),
        row(nvme_rdma(9000), Ethernet, Write, 64, (17, 67_002), (2, 196), (0, 0)),
    ]);
}

#[test]
#[rustfmt::skip]
fn nfs_over_tcp() {
    // W40 to W51. RFC 5531 and parts of RFC 8881 from memory; RFC 1813 verified in open-source code.
    check(&[
        row(nfs(NfsVersion::V3, 1500), Ethernet, Read, 4, (1, 210), (3, 4_498), (0, 1)),
        row(nfs(NfsVersion::V3, 1500), Ethernet, Read, 8, (1, 210), (6, 8_864), (0, 3)),
        row(nfs(NfsVersion::V3, 1500), Ethernet, Write, 64, (46, 69_804), (1, 254), (23, 0)),
        row(nfs(NfsVersion::V41, 1500), Ethernet, Read, 4, (1, 282), (3, 4_474), (0, 1)),
        row(nfs(NfsVersion::V41, 1500), Ethernet, Read, 8, (1, 282), (6, 8_840), (0, 3)),
        row(nfs(NfsVersion::V41, 1500), Ethernet, Write, 64, (46, 69_872), (1, 206), (23, 0)),
        row(nfs(NfsVersion::V3, 9000), Ethernet, Read, 4, (1, 210), (1, 4_318), (0, 0)),
        row(nfs(NfsVersion::V3, 9000), Ethernet, Read, 8, (1, 210), (1, 8_414), (0, 0)),
        row(nfs(NfsVersion::V3, 9000), Ethernet, Write, 64, (8, 66_384), (1, 254), (4, 0)),
        row(nfs(NfsVersion::V41, 9000), Ethernet, Read, 4, (1, 282), (1, 4_294), (0, 0)),
        row(nfs(NfsVersion::V41, 9000), Ethernet, Read, 8, (1, 282), (1, 8_390), (0, 0)),
        row(nfs(NfsVersion::V41, 9000), Ethernet, Write, 64, (8, 66_452), (1, 206), (4, 0)),
    ]);
}

/// Every option that a row of the other tests uses, at each size and way.
fn all() -> Vec<Protocol> {
    let mut all = vec![scsi(), nvme_fc()];
    for mtu in [1500, 9000] {
        all.extend([
            iscsi(mtu),
            iscsi_response(mtu),
            iscsi_immediate(mtu),
            nvme_tcp(mtu),
        ]);
        all.extend([nvme_tcp_success(mtu), nvme_rdma(mtu)]);
        all.extend([nfs(NfsVersion::V3, mtu), nfs(NfsVersion::V41, mtu)]);
    }
    all
}

#[test]
fn a_read_of_twice_the_size_takes_less_than_twice_the_wire() {
    // The response costs the same for both.
    for protocol in all() {
        let medium = if protocol.family() == Family::Fc {
            Medium::FibreChannel
        } else {
            Medium::Ethernet
        };
        let encapsulation = protocol.encapsulation(medium).expect("its own medium");
        let wire = |size| {
            protocol
                .plan(Op::Read, size)
                .wire_bytes(Toward::Host, encapsulation)
        };
        assert!(wire(8192) < 2 * wire(4096), "{protocol:?}");
    }
}

#[test]
fn a_tag_adds_four_bytes_a_frame() {
    for (untagged, tagged) in [
        (
            nvme_rdma(1500),
            Protocol::NvmeRdma(NvmeRdmaOptions {
                vlan: Vlan::Tagged,
                ..NvmeRdmaOptions::default()
            }),
        ),
        (
            nvme_tcp(1500),
            Protocol::NvmeTcp(NvmeTcpOptions {
                tcp: TcpOptions {
                    vlan: Vlan::Tagged,
                    ..tcp(1500)
                },
                ..NvmeTcpOptions::default()
            }),
        ),
    ] {
        for op in [Op::Read, Op::Write] {
            for way in [Toward::Array, Toward::Host] {
                let (without, with) = (untagged.plan(op, 65_536), tagged.plan(op, 65_536));
                let added = with.wire_bytes(way, Encapsulation::Ethernet)
                    - without.wire_bytes(way, Encapsulation::Ethernet);
                assert_eq!(added, 4 * with.frames(way));
            }
        }
    }
}

#[test]
fn an_extended_nvme_response_adds_twenty_bytes() {
    let extended = Protocol::FcNvme(FcOptions {
        response: NvmeResponse::Extended,
        ..FcOptions::default()
    });
    let wire = |protocol: Protocol| {
        protocol
            .plan(Op::Read, 4096)
            .wire_bytes(Toward::Host, Encapsulation::FibreChannel)
    };
    assert_eq!(wire(extended) - wire(nvme_fc()), 20);
    let long = Protocol::FcScsi(FcOptions {
        cdb: Cdb::Long,
        ..FcOptions::default()
    });
    let command = long
        .plan(Op::Read, 4096)
        .wire_bytes(Toward::Array, Encapsulation::FibreChannel);
    assert_eq!(command, 108);
}

#[test]
fn volleys_say_what_follows() {
    use Then::{Complete, Next, Serve};
    let order = |protocol: Protocol, op, size| {
        protocol
            .plan(op, size)
            .volleys
            .iter()
            .map(|volley| (volley.then, volley.ready_to_transfer))
            .collect::<Vec<_>>()
    };
    let read = [(Serve, false), (Complete, false)];
    let granted = [
        (Next, false),
        (Next, true),
        (Serve, false),
        (Complete, false),
    ];
    for protocol in all() {
        assert_eq!(order(protocol, Op::Read, 65_536), read, "{protocol:?}");
        let write = order(protocol, Op::Write, 65_536);
        let unasked = matches!(protocol, Protocol::Nfs(_))
            || protocol == iscsi_immediate(1500)
            || protocol == iscsi_immediate(9000);
        assert_eq!(
            write,
            if unasked {
                read.to_vec()
            } else {
                granted.to_vec()
            },
            "{protocol:?}"
        );
    }
    assert_eq!(order(nvme_tcp(1500), Op::Write, 16_384), read);
    assert_eq!(order(nvme_tcp(1500), Op::Write, 16_385), granted);
    assert_eq!(order(nvme_rdma(1500), Op::Write, 4096), read);
}

#[test]
fn protocols_by_key_and_what_they_may_cross() {
    for key in Protocol::KEYS {
        let found = Protocol::with_defaults(key);
        assert_eq!(
            found.map(|protocol| protocol.key()),
            (key != "plain").then_some(key)
        );
    }
    assert_eq!(Protocol::with_defaults("other"), None);
    let plain = Protocol::Plain(PlainOptions {
        request: 1,
        response: 1,
        frame: 1,
    });
    assert_eq!(
        scsi().encapsulation(Medium::Ethernet),
        Some(Encapsulation::Fcoe)
    );
    assert_eq!(
        scsi().encapsulation(Medium::FibreChannel),
        Some(Encapsulation::FibreChannel)
    );
    assert_eq!(iscsi(1500).encapsulation(Medium::FibreChannel), None);
    assert_eq!(
        plain.encapsulation(Medium::FibreChannel),
        Some(Encapsulation::Plain)
    );
    // FC-BB-5: 2158 bytes for the largest field.
    let largest = Protocol::FcScsi(FcOptions {
        data_field: 2112,
        ..FcOptions::default()
    });
    assert_eq!(largest.minimum_mtu(), Some(2158));
    assert_eq!(scsi().minimum_mtu(), Some(2094));
    assert_eq!(nfs(NfsVersion::V3, 9000).minimum_mtu(), Some(9000));
    assert_eq!(nvme_rdma(9000).minimum_mtu(), Some(4156));
    assert_eq!(plain.minimum_mtu(), None);
}
