//! One I/O byte by byte on a single link, and what many sizes of it make of several links.
//!
//! Everything follows from the plan of the I/O and the rates of the link: no run, no queue, no random number.
//! The idle latency is that of a link of some length straight between host and array. Left out: adapters,
//! switches, the time the array serves, loss and retransmission.

use crate::outcome::{
    AccountRow, Exchange, FramesAlike, LayerRow, LinkRow, Message, Series, SizePoint, Sizes, Total,
    Way,
};
use crate::unit::Duration;
use crate::wire::{
    Encapsulation, NfsOptions, NfsVersion, Op, Plan, Protocol, Technology, Then, Toward, Volley,
};

/// A link technology and how a protocol's frames are wrapped on it.
pub type Link = (&'static Technology, Encapsulation);

/// Propagation of a millimetre: 5 ns/m, a common planning value; fibre has 4.9.
const PS_PER_MM: u64 = 5;

/// Sizes of a sweep: 512 B to 4 MiB, each twice the one before.
pub const SIZES: [u64; 14] = {
    let mut sizes = [512; 14];
    let mut index = 1;
    while index < sizes.len() {
        sizes[index] = 2 * sizes[index - 1];
        index += 1;
    }
    sizes
};

/// Works an I/O out on `links`, of which there is at least one, each so many millimetres long.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn exchange(
    protocol: &Protocol,
    op: Op,
    size: u64,
    links: &[Link],
    length_mm: u64,
) -> Exchange {
    let plan = protocol.plan(op, size);
    let wrapped = links.first().map_or(Encapsulation::Plain, |link| link.1);
    Exchange {
        protocol: protocol.key(),
        title: title(protocol),
        op: op_word(op),
        size_bytes: size,
        mtu_bytes: mtu(protocol),
        encapsulation: encapsulation_word(wrapped),
        round_trips: plan.round_trips() as u64,
        messages: messages(protocol, &plan, links.first(), length_mm),
        host_to_array: total(protocol, &plan, Toward::Array, wrapped),
        array_to_host: total(protocol, &plan, Toward::Host, wrapped),
        frame_overhead: protocol
            .layers(wrapped)
            .iter()
            .map(|layer| LayerRow {
                layer: layer.name,
                bytes: layer.bytes,
            })
            .collect(),
        payload_share: share(plan.payload, plan.wire_bytes(data_way(op), wrapped)),
        length_m: length_mm as f64 / 1e3,
        links: links
            .iter()
            .map(|link| link_row(&plan, *link, length_mm))
            .collect(),
    }
}

/// Works out every size of [`SIZES`] for each protocol on its link.
#[must_use]
pub fn sizes(pairs: &[(Protocol, Link)], op: Op) -> Sizes {
    Sizes {
        op: op_word(op),
        series: pairs
            .iter()
            .map(|(protocol, link)| series(protocol, *link, op))
            .collect(),
    }
}

fn series(protocol: &Protocol, link: Link, op: Op) -> Series {
    let (technology, wrapped) = link;
    let point = |size: u64| {
        let plan = protocol.plan(op, size);
        let way = |toward| Way {
            frames: plan.frames(toward),
            wire_bytes: plan.wire_bytes(toward, wrapped),
        };
        let (_, goodput_mb_s, saturated_iops) = saturated(&plan, link);
        SizePoint {
            size_bytes: size,
            host_to_array: way(Toward::Array),
            array_to_host: way(Toward::Host),
            payload_share: share(plan.payload, plan.wire_bytes(data_way(op), wrapped)),
            goodput_mb_s,
            saturated_iops,
        }
    };
    let mtu_bytes = mtu(protocol);
    let over = match wrapped {
        Encapsulation::Fcoe => format!("{} (FCoE)", technology.label),
        _ => technology.label.to_owned(),
    };
    Series {
        name: match mtu_bytes {
            Some(mtu) => format!("{}, {over}, MTU {mtu}", title(protocol)),
            None => format!("{}, {over}", title(protocol)),
        },
        protocol: protocol.key(),
        link: technology.label,
        encapsulation: encapsulation_word(wrapped),
        mtu_bytes,
        usable_mb_s: technology.usable.mb_per_second(),
        points: SIZES.iter().map(|size| point(*size)).collect(),
    }
}

/// The protocol as people write it.
#[must_use]
pub const fn title(protocol: &Protocol) -> &'static str {
    match protocol {
        Protocol::FcScsi(_) => "SCSI over FC",
        Protocol::FcNvme(_) => "NVMe over FC",
        Protocol::Iscsi(_) => "iSCSI",
        Protocol::NvmeTcp(_) => "NVMe over TCP",
        Protocol::NvmeRdma(_) => "NVMe over RDMA",
        Protocol::Nfs(NfsOptions {
            version: NfsVersion::V3,
            ..
        }) => "NFS v3",
        Protocol::Nfs(_) => "NFS v4.1",
        Protocol::Plain(_) => "plain frames",
    }
}

/// The largest packet it sends on IP links; `None` for Fibre Channel and plain frames.
fn mtu(protocol: &Protocol) -> Option<u32> {
    match protocol {
        Protocol::NvmeRdma(options) => Some(options.mtu),
        _ => protocol.tcp().map(|tcp| tcp.mtu),
    }
}

const fn op_word(op: Op) -> &'static str {
    match op {
        Op::Read => "read",
        Op::Write => "write",
    }
}

const fn encapsulation_word(encapsulation: Encapsulation) -> &'static str {
    match encapsulation {
        Encapsulation::Ethernet => "Ethernet",
        Encapsulation::FibreChannel => "FC",
        Encapsulation::Fcoe => "FCoE",
        Encapsulation::Plain => "plain",
    }
}

const fn direction(toward: Toward) -> &'static str {
    match toward {
        Toward::Array => "host to array",
        Toward::Host => "array to host",
    }
}

/// The direction that carries the data.
const fn data_way(op: Op) -> Toward {
    match op {
        Op::Read => Toward::Host,
        Op::Write => Toward::Array,
    }
}

/// `part ÷ whole` of byte counts, which are far below 2^53.
#[allow(clippy::cast_precision_loss)]
fn share(part: u64, whole: u64) -> f64 {
    part as f64 / whole.max(1) as f64
}

/// Time a burst occupies a link: frame by frame, each rounded up to the picosecond by itself, as a simulated
/// link does it.
fn occupied(volley: &Volley, (technology, wrapped): Link) -> Duration {
    let each = |run: &crate::wire::FrameRun| {
        let one = technology.usable.serialize(u64::from(run.wire(wrapped)));
        one.0 * u64::from(run.count)
    };
    Duration(volley.runs.iter().map(each).sum())
}

fn messages(
    protocol: &Protocol,
    plan: &Plan,
    first: Option<&Link>,
    length_mm: u64,
) -> Vec<Message> {
    let wrapped = first.map_or(Encapsulation::Plain, |link| link.1);
    let mut now = Duration::ZERO;
    plan.volleys
        .iter()
        .map(|volley| {
            let leaves = now;
            if let Some(link) = first {
                let latency = Duration(length_mm * PS_PER_MM) + link.0.fec_latency();
                now = now + occupied(volley, *link) + latency;
            }
            Message {
                name: volley.name,
                direction: direction(volley.toward),
                served: volley.then == Then::Serve,
                frames: u64::from(volley.frames()),
                payload_bytes: volley.payload(),
                wire_bytes: volley.wire_bytes(wrapped),
                pure_acks_back: if protocol.tcp().is_some() {
                    volley.acks()
                } else {
                    0
                },
                leaves_us: leaves.as_us_f64(),
                arrives_us: now.as_us_f64(),
                runs: volley
                    .runs
                    .iter()
                    .map(|run| FramesAlike {
                        frames: run.count,
                        payload_bytes: run.payload,
                        wire_bytes: run.wire(wrapped),
                    })
                    .collect(),
            }
        })
        .collect()
}

fn total(protocol: &Protocol, plan: &Plan, toward: Toward, wrapped: Encapsulation) -> Total {
    let account = protocol.account(plan, toward, wrapped);
    Total {
        frames: plan.frames(toward),
        wire_bytes: plan.wire_bytes(toward, wrapped),
        pure_acks: plan.acks(toward),
        pure_ack_wire_bytes: plan.ack_wire_bytes(toward),
        account: AccountRow {
            payload_bytes: account.payload,
            protocol_bytes: account.protocol,
            transport_bytes: account.transport,
            network_bytes: account.network,
            link_bytes: account.link,
            gap_bytes: account.gap,
        },
    }
}

/// When such I/Os saturate a link: the direction that is full, payload in MB/s, I/Os per second. Pure ACKs
/// take their part.
#[allow(clippy::cast_precision_loss)]
fn saturated(plan: &Plan, (technology, wrapped): Link) -> (Toward, f64, f64) {
    let bytes = |toward| plan.wire_bytes(toward, wrapped) + plan.ack_wire_bytes(toward);
    let (out, back) = (bytes(Toward::Array), bytes(Toward::Host));
    let fuller = if out > back {
        Toward::Array
    } else {
        Toward::Host
    };
    let most = out.max(back);
    let rate = technology.usable.mb_per_second();
    (
        fuller,
        rate * share(plan.payload, most),
        rate * 1e6 / most.max(1) as f64,
    )
}

#[allow(clippy::cast_precision_loss)]
fn link_row(plan: &Plan, link: Link, length_mm: u64) -> LinkRow {
    let (technology, wrapped) = link;
    let bytes = |toward| plan.wire_bytes(toward, wrapped);
    let time = |toward| -> Duration {
        let own = plan.volleys.iter().filter(|volley| volley.toward == toward);
        Duration(own.map(|volley| occupied(volley, link).0).sum())
    };
    let (out, back) = (time(Toward::Array), time(Toward::Host));
    let volleys = plan.volleys.len() as u64;
    let propagation = Duration(volleys * length_mm * PS_PER_MM);
    let fec = Duration(volleys * technology.fec_latency().0);
    let (fuller, goodput_mb_s, saturated_iops) = saturated(plan, link);
    LinkRow {
        link: technology.label,
        encapsulation: encapsulation_word(wrapped),
        usable_gb_s: technology.usable.bits_per_second() / 1e9,
        host_to_array_wire_bytes: bytes(Toward::Array),
        array_to_host_wire_bytes: bytes(Toward::Host),
        host_to_array_coding_bytes: technology.coding_bytes(bytes(Toward::Array)),
        array_to_host_coding_bytes: technology.coding_bytes(bytes(Toward::Host)),
        host_to_array_us: out.as_us_f64(),
        array_to_host_us: back.as_us_f64(),
        fuller: direction(fuller),
        goodput_mb_s,
        saturated_iops,
        idle_us: (out + back + propagation + fec).as_us_f64(),
        serialization_us: (out + back).as_us_f64(),
        propagation_us: propagation.as_us_f64(),
        fec_us: fec.as_us_f64(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::technology;

    fn of(key: &str, op: Op, size: u64, label: &str, length_mm: u64) -> Exchange {
        let protocol = Protocol::with_defaults(key).expect("a key");
        let known = technology(label).expect("in the table");
        let wrapped = protocol.encapsulation(known.medium).expect("it fits");
        exchange(&protocol, op, size, &[(known, wrapped)], length_mm)
    }

    /// FCP-4 and FC-FS: a read of 8 KiB is a command of 92 wire bytes (32 + header 24 + delimiters and CRC
    /// 12 + gap 24) one way, and four full frames of 2108 and a response of 84 the other: 8516.
    #[test]
    fn a_small_read_over_fibre_channel_by_hand() {
        let read = of("fc-scsi", Op::Read, 8192, "32GFC", 10_000);
        assert_eq!(read.array_to_host.wire_bytes, 4 * 2108 + 84);
        assert_eq!(read.array_to_host.frames, 5);
        assert_eq!(read.host_to_array.frames, 1);
        assert_eq!(read.round_trips, 1);
        // 8516 B × 8 ÷ 27.2 Gb/s = 2504.7 ns.
        let time = read.links[0].array_to_host_us;
        assert!((time - 2.5047).abs() < 1e-4, "{time}");
        assert!((read.payload_share - 8192.0 / 8516.0).abs() < 1e-12);
        // Two messages over 10 m: 100 ns, and two code words of 5280 bits at 28.05 Gb/s with 40 ns each.
        let row = &read.links[0];
        assert_eq!(row.propagation_us, 0.1);
        assert_eq!(row.fec_us, 2.0 * 0.228_236);
        // 92 B and 8516 B at 3400 MB/s.
        assert!((row.serialization_us - 8608.0 / 3400.0).abs() < 1e-5);
        let parts = row.serialization_us + row.propagation_us + row.fec_us;
        assert!((row.idle_us - parts).abs() < 1e-9);
        assert_eq!(read.messages[1].arrives_us, row.idle_us);
    }

    #[test]
    fn a_granted_write_takes_two_round_trips() {
        for (key, label) in [
            ("fc-scsi", "32GFC"),
            ("nvme-tcp", "25GbE"),
            ("iscsi", "10GbE"),
        ] {
            assert_eq!(of(key, Op::Write, 65_536, label, 0).round_trips, 2, "{key}");
            assert_eq!(of(key, Op::Read, 65_536, label, 0).round_trips, 1, "{key}");
        }
        assert_eq!(of("nfs", Op::Write, 65_536, "25GbE", 0).round_trips, 1);
        assert_eq!(of("nvme-tcp", Op::Write, 16_384, "25GbE", 0).round_trips, 1);
    }

    #[test]
    fn totals_are_the_sum_of_the_messages_and_of_the_account() {
        for key in Protocol::KEYS.into_iter().filter(|key| *key != "plain") {
            for (op, label) in [(Op::Read, "100GbE"), (Op::Write, "100GbE")] {
                let io = of(key, op, 65_536, label, 0);
                for (name, total) in [
                    ("host to array", &io.host_to_array),
                    ("array to host", &io.array_to_host),
                ] {
                    let sum: u64 = io
                        .messages
                        .iter()
                        .filter(|message| message.direction == name)
                        .flat_map(|message| &message.runs)
                        .map(|run| u64::from(run.frames) * u64::from(run.wire_bytes))
                        .sum();
                    assert_eq!(sum, total.wire_bytes, "{key} {op:?} {name}");
                    let parts: u64 = total.account.parts().iter().map(|part| part.1).sum();
                    assert_eq!(parts, total.wire_bytes, "{key} {op:?} {name}");
                }
            }
        }
    }

    /// A call of 192 bytes and a reply of 109, each in a segment of 90 more (RFC 8881): the calls fill the
    /// link first, so they set what one byte at a time can reach. 3125 MB/s ÷ 282.
    #[test]
    fn the_fuller_direction_sets_the_rate() {
        let protocol =
            crate::scenario::protocol("nfs", &[("version".to_owned(), "v4.1".to_owned())])
                .expect("an option of it");
        let known = technology("25GbE").expect("in the table");
        let io = exchange(
            &protocol,
            Op::Read,
            1,
            &[(known, Encapsulation::Ethernet)],
            0,
        );
        assert_eq!(
            (io.host_to_array.wire_bytes, io.links[0].fuller),
            (282, "host to array")
        );
        assert!((io.links[0].goodput_mb_s - 3125.0 / 282.0).abs() < 1e-9);
    }

    /// Sizes double from 512 B to 4 MiB; the curves never fall, and at 64 KiB they are the sums by hand:
    /// 3400 × 65,536 ÷ 67,540 and 3125 × 65,536 ÷ 69,724.
    #[test]
    fn curves_rise_with_the_size() {
        assert_eq!((SIZES[0], SIZES[7], SIZES[13]), (512, 65_536, 4 << 20));
        let pair = |key: &str, label: &str| {
            let protocol = Protocol::with_defaults(key).expect("a key");
            let known = technology(label).expect("in the table");
            let wrapped = protocol.encapsulation(known.medium).expect("it fits");
            (protocol, (known, wrapped))
        };
        let curves = sizes(
            &[pair("fc-scsi", "32GFC"), pair("nvme-tcp", "25GbE")],
            Op::Read,
        );
        for (series, by_hand) in curves
            .series
            .iter()
            .zip([3400.0 * 65_536.0 / 67_540.0, 3125.0 * 65_536.0 / 69_724.0])
        {
            let points = &series.points;
            assert!(
                (points[7].goodput_mb_s - by_hand).abs() < 1e-9,
                "{}",
                series.name
            );
            for pair in points.windows(2) {
                assert!(
                    pair[0].goodput_mb_s < pair[1].goodput_mb_s,
                    "{}",
                    series.name
                );
            }
            assert!(points[13].goodput_mb_s < series.usable_mb_s);
        }
    }
}
