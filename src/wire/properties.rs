//! Properties that hold for any size and any options.

use super::*;
use proptest::prelude::*;

fn sizes() -> impl Strategy<Value = u64> {
    // Small odd sizes, whole blocks, and anything up to the limit.
    prop_oneof![
        1..20_000_u64,
        (1..4096_u64).prop_map(|blocks| blocks * 512),
        1..=SIZE_MAX
    ]
}

fn ops() -> impl Strategy<Value = Op> {
    prop_oneof![Just(Op::Read), Just(Op::Write)]
}

fn mtus() -> impl Strategy<Value = u32> {
    prop_oneof![
        Just(1500),
        Just(9000),
        TcpOptions::MTU_MIN..=TcpOptions::MTU_MAX
    ]
}

fn tcps() -> impl Strategy<Value = TcpOptions> {
    let ip = prop_oneof![Just(Ip::V4), Just(Ip::V6)];
    let vlan = prop_oneof![Just(Vlan::Untagged), Just(Vlan::Tagged)];
    let timestamps = prop_oneof![Just(Timestamps::On), Just(Timestamps::Off)];
    let acks = prop_oneof![Just(Acks::EverySecond), Just(Acks::Never)];
    let all = (mtus(), ip, vlan, timestamps, acks);
    all.prop_map(|(mtu, ip, vlan, timestamps, acks)| TcpOptions {
        mtu,
        ip,
        vlan,
        timestamps,
        acks,
    })
}

fn digests() -> impl Strategy<Value = Digests> {
    prop_oneof![
        Just(Digests::Off),
        Just(Digests::Header),
        Just(Digests::Data),
        Just(Digests::Both)
    ]
}

fn iscsis() -> impl Strategy<Value = Protocol> {
    let flags = (any::<(bool, bool, bool)>(), digests());
    let lengths = (
        0..300_000_u32,
        0..300_000_u32,
        0..300_000_u32,
        0..1_000_000_u32,
    );
    (tcps(), lengths, flags).prop_map(|(tcp, lengths, ((r2t, immediate, separate), digests))| {
        Protocol::Iscsi(IscsiOptions {
            tcp,
            host_segment: lengths.0,
            array_segment: lengths.1,
            first_burst: lengths.2,
            max_burst: lengths.3,
            initial_r2t: if r2t { InitialR2t::Yes } else { InitialR2t::No },
            immediate_data: if immediate {
                ImmediateData::Yes
            } else {
                ImmediateData::No
            },
            read_status: if separate {
                ReadStatus::Separate
            } else {
                ReadStatus::InLastData
            },
            digests,
        })
    })
}

fn nvme_tcps() -> impl Strategy<Value = Protocol> {
    (
        tcps(),
        0..70_000_u32,
        0..5_000_000_u32,
        digests(),
        any::<bool>(),
    )
        .prop_map(|(tcp, in_capsule, max_h2c_data, digests, elided)| {
            let success = if elided {
                ResponseCapsule::Elided
            } else {
                ResponseCapsule::Sent
            };
            Protocol::NvmeTcp(NvmeTcpOptions {
                tcp,
                in_capsule,
                max_h2c_data,
                digests,
                success,
            })
        })
}

fn fcs() -> impl Strategy<Value = FcOptions> {
    // Bursts are whole blocks.
    let bursts = (0..300_u32, prop_oneof![Just(131_072_u32), 1..400_u32]);
    let all = (0..3000_u32, any::<(bool, bool)>(), bursts);
    all.prop_map(|(data_field, (long, extended), (first, max))| FcOptions {
        first_burst: 512 * first,
        max_burst: 512 * max,
        data_field,
        cdb: if long { Cdb::Long } else { Cdb::Short },
        response: if extended {
            NvmeResponse::Extended
        } else {
            NvmeResponse::Short
        },
    })
}

fn protocols() -> impl Strategy<Value = Protocol> {
    prop_oneof![
        fcs().prop_map(Protocol::FcScsi),
        fcs().prop_map(Protocol::FcNvme),
        iscsis(),
        nvme_tcps(),
        (tcps(), 0..20_000_u32).prop_map(|(TcpOptions { mtu, ip, vlan, .. }, in_capsule)| {
            Protocol::NvmeRdma(NvmeRdmaOptions {
                mtu,
                ip,
                vlan,
                in_capsule,
            })
        }),
        (tcps(), any::<bool>(), 0..2_000_000_u32).prop_map(|(tcp, third, transfer)| {
            let version = if third {
                NfsVersion::V3
            } else {
                NfsVersion::V41
            };
            Protocol::Nfs(NfsOptions {
                tcp,
                version,
                transfer,
            })
        }),
    ]
}

/// What every frame costs beside its message.
fn overhead(protocol: &Protocol, encapsulation: Encapsulation) -> u64 {
    protocol
        .layers(encapsulation)
        .iter()
        .map(|layer| u64::from(layer.bytes))
        .sum()
}

/// Frames and wire bytes of both ways.
fn total(plan: &Plan, encapsulation: Encapsulation) -> (u64, u64) {
    let both = [Toward::Array, Toward::Host];
    let frames = both.iter().map(|way| plan.frames(*way)).sum();
    (
        frames,
        both.iter()
            .map(|way| plan.wire_bytes(*way, encapsulation))
            .sum(),
    )
}

/// Message headers of a whole I/O, where they do not depend on how data is cut: what the wire carries
/// beside payload and the fixed cost of frames. `None` where padding of short frames blurs it.
fn message_headers(protocol: &Protocol, op: Op, size: u64) -> Option<u64> {
    let fill = size.div_ceil(4) * 4 - size;
    let calls = |transfer: u32| size.div_ceil(u64::from(transfer));
    let grants = |options: &FcOptions| {
        let asked = size.saturating_sub(u64::from(options.first_burst));
        if op == Op::Write {
            12 * asked.div_ceil(u64::from(options.max_burst))
        } else {
            0
        }
    };
    Some(match (protocol, op) {
        (Protocol::FcScsi(options), _) => {
            let command = if options.cdb == Cdb::Short { 32 } else { 48 };
            command + 24 + fill + grants(options)
        }
        (Protocol::FcNvme(options), _) => {
            let response = if options.response == NvmeResponse::Short {
                12
            } else {
                32
            };
            96 + response + fill + grants(options)
        }
        (Protocol::NvmeTcp(options), Op::Read) if options.tcp.timestamps == Timestamps::On => {
            let header = u64::from(options.digests.header_bytes());
            let response = if options.success == ResponseCapsule::Sent {
                24 + header
            } else {
                0
            };
            72 + header + 24 + header + u64::from(options.digests.data_bytes()) + response
        }
        (Protocol::Nfs(options), Op::Read) if options.tcp.timestamps == Timestamps::On => {
            let each = if options.version == NfsVersion::V3 {
                120 + 132
            } else {
                192 + 108
            };
            let transfer = options.transfer.clamp(1024, 1 << 20);
            if transfer % 4 != 0 {
                return None;
            }
            calls(transfer) * each + fill
        }
        _ => return None,
    })
}

proptest! {
    #[test]
    fn payload_adds_up_to_the_size(protocol in protocols(), op in ops(), size in sizes()) {
        let plan = protocol.plan(op, size);
        prop_assert_eq!(plan.payload, size);
        let data_way = if op == Op::Read { Toward::Host } else { Toward::Array };
        for volley in &plan.volleys {
            prop_assert!(volley.frames() > 0);
            prop_assert!(volley.toward == data_way || volley.payload() == 0);
            for run in &volley.runs {
                prop_assert!(run.count > 0 && run.payload < run.native);
            }
        }
    }

    #[test]
    fn volleys_alternate_and_the_array_serves_once(protocol in protocols(), op in ops(), size in sizes()) {
        let plan = protocol.plan(op, size);
        prop_assert_eq!(plan.volleys.first().map(|volley| volley.toward), Some(Toward::Array));
        prop_assert_eq!(plan.volleys.last().map(|volley| volley.then), Some(Then::Complete));
        for pair in plan.volleys.windows(2) {
            prop_assert_eq!(pair[0].toward, pair[1].toward.other());
            prop_assert!(pair[0].then != Then::Complete);
        }
        let serves: Vec<_> = plan.volleys.iter().filter(|volley| volley.then == Then::Serve).collect();
        prop_assert_eq!(serves.len(), 1);
        prop_assert_eq!(serves[0].toward, Toward::Array);
        for volley in &plan.volleys {
            prop_assert!(!volley.ready_to_transfer || (volley.toward, volley.then) == (Toward::Host, Then::Next));
            let acks = protocol.tcp().is_some_and(|tcp| tcp.acks == Acks::EverySecond);
            prop_assert_eq!(volley.ack_bytes.is_some(), acks);
        }
    }

    #[test]
    fn wire_bytes_are_payload_frame_overhead_and_headers(
        protocol in protocols(), op in ops(), size in sizes(),
    ) {
        let plan = protocol.plan(op, size);
        for medium in [Medium::Ethernet, Medium::FibreChannel] {
            let Some(encapsulation) = protocol.encapsulation(medium) else { continue };
            let (frames, wire) = total(&plan, encapsulation);
            let fixed = plan.payload + frames * overhead(&protocol, encapsulation);
            prop_assert!(wire > fixed);
            if let Some(headers) = message_headers(&protocol, op, size) {
                prop_assert_eq!(wire, fixed + headers);
            }
        }
    }

    #[test]
    fn every_byte_is_on_one_line_of_the_account(
        protocol in protocols(), op in ops(), size in sizes(),
    ) {
        let plan = protocol.plan(op, size);
        for medium in [Medium::Ethernet, Medium::FibreChannel] {
            let Some(encapsulation) = protocol.encapsulation(medium) else { continue };
            let mut payload = 0;
            for way in [Toward::Array, Toward::Host] {
                let account = protocol.account(&plan, way, encapsulation);
                prop_assert_eq!(account.total(), plan.wire_bytes(way, encapsulation));
                payload += account.payload;
            }
            prop_assert_eq!(payload, size);
        }
    }

    #[test]
    fn a_split_io_never_costs_less_than_a_whole_one(
        protocol in protocols(), op in ops(), size in 2..=SIZE_MAX, part in 0.0..1.0_f64,
    ) {
        #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, clippy::cast_sign_loss)]
        let first = ((size as f64 * part) as u64).clamp(1, size - 1);
        let plans = [size, first, size - first].map(|size| protocol.plan(op, size));
        // One transfer mode: the same messages in the same order, and one call each.
        let mode = |plan: &Plan| -> Vec<(&str, Then)> {
            plan.volleys.iter().map(|volley| (volley.name, volley.then)).collect()
        };
        let calls = match &protocol {
            Protocol::Nfs(options) => size.div_ceil(u64::from(options.transfer.clamp(1024, 1 << 20))),
            _ => 1,
        };
        prop_assume!(calls == 1 && plans[1..].iter().all(|plan| mode(plan) == mode(&plans[0])));
        let [whole, one, other] = plans.map(|plan| total(&plan, Encapsulation::Ethernet));
        prop_assert!(whole.0 <= one.0 + other.0, "frames: {} of {} and {}", whole.0, one.0, other.0);
        prop_assert!(whole.1 < one.1 + other.1, "bytes: {} of {} and {}", whole.1, one.1, other.1);
    }

    #[test]
    fn a_larger_mtu_never_raises_wire_bytes(
        protocol in protocols(), op in ops(), size in sizes(), mtus in (mtus(), mtus()),
        fields in (0..3000_u32, 0..3000_u32),
    ) {
        let with = |mtu: u32, field: u32| {
            let mut changed = protocol;
            match &mut changed {
                Protocol::FcScsi(options) | Protocol::FcNvme(options) => options.data_field = field,
                Protocol::NvmeRdma(options) => options.mtu = mtu,
                Protocol::Iscsi(options) => options.tcp.mtu = mtu,
                Protocol::NvmeTcp(options) => options.tcp.mtu = mtu,
                Protocol::Nfs(options) => options.tcp.mtu = mtu,
                Protocol::Plain(_) => {}
            }
            total(&changed.plan(op, size), Encapsulation::Ethernet)
        };
        let smaller = with(mtus.0.min(mtus.1), fields.0.min(fields.1));
        let larger = with(mtus.0.max(mtus.1), fields.0.max(fields.1));
        prop_assert!(larger.0 <= smaller.0);
        // Without timestamps a frame may need up to 5 bytes of padding, wherever a burst happens to end.
        let padding = match protocol.tcp() {
            Some(tcp) if tcp.timestamps == Timestamps::Off => 5 * larger.0,
            _ => 0,
        };
        prop_assert!(larger.1 <= smaller.1 + padding);
    }

    #[test]
    fn a_plain_message_has_its_stated_bytes(
        request in 1..100_000_u32, response in 1..100_000_u32, frame in 1..10_000_u32,
        op in ops(), size in sizes(),
    ) {
        let plan = Protocol::Plain(PlainOptions { request, response, frame }).plan(op, size);
        let [sent, answered] = [Toward::Array, Toward::Host]
            .map(|way| (plan.frames(way), plan.wire_bytes(way, Encapsulation::Plain)));
        prop_assert_eq!(sent, (u64::from(request.div_ceil(frame)), u64::from(request)));
        prop_assert_eq!(answered, (u64::from(response.div_ceil(frame)), u64::from(response)));
        let carrier = if op == Op::Read { response } else { request };
        prop_assert_eq!(plan.payload, size.min(u64::from(carrier)));
    }
}

/// Every protocol with all its numbers at `value`.
fn extreme(value: u32) -> [Protocol; 6] {
    let fc = FcOptions {
        data_field: value,
        ..FcOptions::default()
    };
    let tcp = TcpOptions {
        mtu: value,
        ..TcpOptions::default()
    };
    let nvme_tcp = NvmeTcpOptions {
        tcp,
        in_capsule: value,
        max_h2c_data: value,
        ..NvmeTcpOptions::default()
    };
    let iscsi = IscsiOptions {
        tcp,
        host_segment: value,
        array_segment: value,
        first_burst: value,
        max_burst: value,
        ..IscsiOptions::default()
    };
    let rdma = NvmeRdmaOptions {
        mtu: value,
        in_capsule: value,
        ..NvmeRdmaOptions::default()
    };
    [
        Protocol::FcScsi(fc),
        Protocol::FcNvme(fc),
        Protocol::NvmeTcp(nvme_tcp),
        Protocol::Iscsi(iscsi),
        Protocol::NvmeRdma(rdma),
        Protocol::Nfs(NfsOptions {
            tcp,
            transfer: value,
            ..NfsOptions::default()
        }),
    ]
}

#[test]
fn the_limits_of_sizes_and_options_do_not_panic() {
    for size in [0, 1, 2, 511, 513, SIZE_MAX - 1, SIZE_MAX, u64::MAX] {
        for op in [Op::Read, Op::Write] {
            for protocol in [0, 1, 4096, u32::MAX].into_iter().flat_map(extreme) {
                assert_eq!(
                    protocol.plan(op, size).payload,
                    size.clamp(1, SIZE_MAX),
                    "{protocol:?}"
                );
            }
        }
    }
}
