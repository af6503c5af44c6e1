//! One I/O as tables and as JSON.

use super::protocol::Link;
use crate::cli::columns::{Align, columns, decimals};
use crate::wire::{Encapsulation, Op, Plan, Protocol, Toward};
use serde::Serialize;

/// Everything shown of one I/O; also what `--json` prints.
#[derive(Debug, Serialize)]
pub(super) struct Exchange {
    /// Version of this shape.
    format: u32,
    program: &'static str,
    /// Always: sizes follow from standards, nothing was measured.
    estimate: bool,
    kind: &'static str,
    /// Version of the program.
    version: &'static str,
    protocol: &'static str,
    /// `read` or `write`.
    op: &'static str,
    size_bytes: u64,
    /// Largest packet on IP links; `null` for Fibre Channel.
    mtu_bytes: Option<u32>,
    /// Wrapping on the first of `links`, which the figures below are for.
    encapsulation: &'static str,
    /// Messages in the order in which they are sent.
    messages: Vec<Message>,
    /// Totals towards the array.
    host_to_array: Total,
    /// Totals towards the host.
    array_to_host: Total,
    /// What each frame carries beside its message.
    frame_overhead: Vec<LayerRow>,
    /// Storage payload ÷ wire bytes of the direction that carries the data.
    payload_share: f64,
    links: Vec<LinkRow>,
}

/// One burst of frames.
#[derive(Debug, Serialize)]
struct Message {
    name: &'static str,
    /// `host to array` or `array to host`.
    direction: &'static str,
    frames: u64,
    payload_bytes: u64,
    wire_bytes: u64,
    /// Pure ACKs that it draws the other way.
    pure_acks_back: u32,
    /// Runs of frames that are alike, in order.
    runs: Vec<Run>,
}

/// Frames in a row that are alike.
#[derive(Debug, Serialize)]
struct Run {
    frames: u32,
    payload_bytes: u32,
    wire_bytes: u32,
}

/// One direction. Pure ACKs are counted apart and are not among `frames`.
#[derive(Debug, Serialize)]
struct Total {
    frames: u64,
    wire_bytes: u64,
    pure_acks: u64,
    pure_ack_wire_bytes: u64,
}

/// Bytes of one layer in each frame.
#[derive(Debug, Serialize)]
struct LayerRow {
    layer: &'static str,
    bytes: u32,
}

/// The same I/O on one link technology.
#[derive(Debug, Serialize)]
struct LinkRow {
    link: &'static str,
    encapsulation: &'static str,
    usable_gb_s: f64,
    host_to_array_wire_bytes: u64,
    array_to_host_wire_bytes: u64,
    /// Time its frames occupy the direction, pure ACKs excluded.
    host_to_array_us: f64,
    array_to_host_us: f64,
    /// Payload per second when such I/Os fill the direction that carries the data.
    goodput_mb_s: f64,
}

const fn word(encapsulation: Encapsulation) -> &'static str {
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
fn share(part: u64, whole: u64) -> f64 {
    part as f64 / whole.max(1) as f64
}

impl Exchange {
    /// Works the I/O out. `links` is not empty.
    pub(super) fn new(protocol: &Protocol, op: Op, size: u64, links: &[Link]) -> Self {
        let plan = protocol.plan(op, size);
        let wrapped = links.first().map_or(Encapsulation::Plain, |link| link.1);
        let data = plan.wire_bytes(data_way(op), wrapped);
        Self {
            format: 1,
            program: "halfloom",
            estimate: true,
            kind: "wire",
            version: env!("CARGO_PKG_VERSION"),
            protocol: protocol.key(),
            op: match op {
                Op::Read => "read",
                Op::Write => "write",
            },
            size_bytes: size,
            mtu_bytes: match protocol {
                Protocol::NvmeRdma(options) => Some(options.mtu),
                _ => protocol.tcp().map(|tcp| tcp.mtu),
            },
            encapsulation: word(wrapped),
            messages: messages(&plan, wrapped),
            host_to_array: total(&plan, Toward::Array, wrapped),
            array_to_host: total(&plan, Toward::Host, wrapped),
            frame_overhead: protocol
                .layers(wrapped)
                .iter()
                .map(|layer| LayerRow {
                    layer: layer.name,
                    bytes: layer.bytes,
                })
                .collect(),
            payload_share: share(plan.payload, data),
            links: links
                .iter()
                .map(|link| link_row(&plan, data_way(op), link))
                .collect(),
        }
    }

    /// As JSON.
    pub(super) fn json(&self) -> String {
        serde_json::to_string_pretty(self).unwrap_or_default()
    }

    /// As tables.
    pub(super) fn text(&self) -> String {
        let mtu = self
            .mtu_bytes
            .map_or_else(String::new, |mtu| format!(", MTU {mtu}"));
        format!(
            "{} {} of {} bytes as {}{mtu}\n\n{}\n{}\n{}\n{}\n{}\n",
            self.protocol,
            self.op,
            self.size_bytes,
            self.encapsulation,
            self.messages_text(),
            self.totals_text(),
            self.overhead_text(),
            self.links_text(),
            FOOT,
        )
    }

    fn messages_text(&self) -> String {
        let head = [
            ("message", Align::Left),
            ("direction", Align::Left),
            ("frames", Align::Right),
            ("payload B", Align::Right),
            ("wire B", Align::Right),
            ("frames × wire B each", Align::Left),
            ("ACKs back", Align::Right),
        ];
        let rows: Vec<Vec<String>> = self
            .messages
            .iter()
            .map(|message| {
                let runs: Vec<String> = alike(&message.runs)
                    .iter()
                    .map(|(frames, wire)| format!("{frames} × {wire}"))
                    .collect();
                vec![
                    message.name.to_owned(),
                    message.direction.to_owned(),
                    message.frames.to_string(),
                    message.payload_bytes.to_string(),
                    message.wire_bytes.to_string(),
                    shortened(&runs),
                    message.pure_acks_back.to_string(),
                ]
            })
            .collect();
        columns(&head, &rows)
    }

    fn totals_text(&self) -> String {
        let head = [
            ("total", Align::Left),
            ("frames", Align::Right),
            ("wire B", Align::Right),
            ("pure ACKs", Align::Right),
            ("their wire B", Align::Right),
        ];
        let row = |name: &str, total: &Total| {
            vec![
                name.to_owned(),
                total.frames.to_string(),
                total.wire_bytes.to_string(),
                total.pure_acks.to_string(),
                total.pure_ack_wire_bytes.to_string(),
            ]
        };
        let rows = [
            row(direction(Toward::Array), &self.host_to_array),
            row(direction(Toward::Host), &self.array_to_host),
        ];
        columns(&head, &rows)
    }

    fn overhead_text(&self) -> String {
        let head = [("in each frame", Align::Left), ("bytes", Align::Right)];
        let mut rows: Vec<Vec<String>> = self
            .frame_overhead
            .iter()
            .map(|row| vec![row.layer.to_owned(), row.bytes.to_string()])
            .collect();
        let sum: u32 = self.frame_overhead.iter().map(|row| row.bytes).sum();
        rows.push(vec!["together".to_owned(), sum.to_string()]);
        columns(&head, &rows)
    }

    fn links_text(&self) -> String {
        let head = [
            ("link", Align::Left),
            ("as", Align::Left),
            ("usable Gb/s", Align::Right),
            ("to array us", Align::Right),
            ("to host us", Align::Right),
            ("payload MB/s", Align::Right),
        ];
        let rows: Vec<Vec<String>> = self
            .links
            .iter()
            .map(|row| {
                vec![
                    row.link.to_owned(),
                    row.encapsulation.to_owned(),
                    decimals(row.usable_gb_s, 4),
                    format!("{:.3}", row.host_to_array_us),
                    format!("{:.3}", row.array_to_host_us),
                    format!("{:.1}", row.goodput_mb_s),
                ]
            })
            .collect();
        columns(&head, &rows)
    }
}

const FOOT: &str = "\
Wire bytes include preamble, delimiters and gap. Pure ACKs (one for every second frame of a burst) are
apart from the totals. us: time the frames occupy that direction. Payload MB/s (10^6): when such I/Os fill
the direction that carries the data. Estimates: sizes follow from the standards, without loss and
retransmission; nothing was measured.";

/// Frames in a row of one size, whatever their share of payload: count and wire bytes.
fn alike(runs: &[Run]) -> Vec<(u32, u32)> {
    let mut sizes: Vec<(u32, u32)> = Vec::new();
    for run in runs {
        match sizes.last_mut() {
            Some((frames, wire)) if *wire == run.wire_bytes => *frames += run.frames,
            _ => sizes.push((run.frames, run.wire_bytes)),
        }
    }
    sizes
}

/// A list, cut in the middle where it gets long.
fn shortened(runs: &[String]) -> String {
    const SHOWN: usize = 4;
    if runs.len() <= SHOWN {
        return runs.join(", ");
    }
    let (first, last) = (&runs[..SHOWN - 1], &runs[runs.len() - 1]);
    format!("{}, …, {last}", first.join(", "))
}

fn messages(plan: &Plan, wrapped: Encapsulation) -> Vec<Message> {
    plan.legs
        .iter()
        .map(|leg| Message {
            name: leg.name,
            direction: direction(leg.toward),
            frames: u64::from(leg.frames()),
            payload_bytes: leg.payload(),
            wire_bytes: leg.wire_bytes(wrapped),
            pure_acks_back: leg.acks(),
            runs: leg
                .runs
                .iter()
                .map(|run| Run {
                    frames: run.count,
                    payload_bytes: run.payload,
                    wire_bytes: run.wire(wrapped),
                })
                .collect(),
        })
        .collect()
}

fn total(plan: &Plan, toward: Toward, wrapped: Encapsulation) -> Total {
    let pure_ack_wire_bytes = plan
        .legs
        .iter()
        .filter(|leg| leg.toward != toward)
        .map(|leg| u64::from(leg.acks()) * u64::from(leg.ack_bytes.unwrap_or(0)))
        .sum();
    Total {
        frames: plan.frames(toward),
        wire_bytes: plan.wire_bytes(toward, wrapped),
        pure_acks: plan.acks(toward),
        pure_ack_wire_bytes,
    }
}

fn link_row(plan: &Plan, data: Toward, link: &Link) -> LinkRow {
    let (technology, wrapped) = *link;
    let bytes = |toward| plan.wire_bytes(toward, wrapped);
    // Frame by frame, as a link does it: each is rounded up to the picosecond by itself.
    let time = |toward| -> f64 {
        let ps: u64 = plan
            .legs
            .iter()
            .filter(|leg| leg.toward == toward)
            .flat_map(|leg| &leg.runs)
            .map(|run| {
                let each = technology.usable.serialize(u64::from(run.wire(wrapped)));
                each.0 * u64::from(run.count)
            })
            .sum();
        ps as f64 / 1e6
    };
    LinkRow {
        link: technology.label,
        encapsulation: word(wrapped),
        usable_gb_s: technology.usable.bits_per_second() / 1e9,
        host_to_array_wire_bytes: bytes(Toward::Array),
        array_to_host_wire_bytes: bytes(Toward::Host),
        host_to_array_us: time(Toward::Array),
        array_to_host_us: time(Toward::Host),
        goodput_mb_s: technology.usable.mb_per_second() * share(plan.payload, bytes(data)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::technology;

    /// FCP-4 and FC-FS: a read of 8 KiB is a command of 92 wire bytes (32 + header 24 + delimiters and CRC 12 + gap 24) one way, and
    /// four full frames of 2108 and a response of 84 the other: 8516.
    #[test]
    fn a_small_read_over_fibre_channel_by_hand() {
        let protocol = Protocol::with_defaults("fc-scsi").expect("a key");
        let link = technology("32GFC").expect("in the table");
        let links = [(link, Encapsulation::FibreChannel)];
        let exchange = Exchange::new(&protocol, Op::Read, 8192, &links);
        assert_eq!(exchange.array_to_host.wire_bytes, 4 * 2108 + 84);
        assert_eq!(exchange.array_to_host.frames, 5);
        assert_eq!(exchange.host_to_array.frames, 1);
        // 8516 B × 8 ÷ 27.2 Gb/s = 2504.7 ns.
        let time = exchange.links[0].array_to_host_us;
        assert!((time - 2.5047).abs() < 1e-4, "{time}");
        assert!((exchange.payload_share - 8192.0 / 8516.0).abs() < 1e-12);
    }

    #[test]
    fn totals_are_the_sum_of_the_messages() {
        for key in super::super::protocol::KEYS {
            let protocol = Protocol::with_defaults(key).expect("a key");
            for op in [Op::Read, Op::Write] {
                let label = if key.starts_with("fc") {
                    "32GFC"
                } else {
                    "100GbE"
                };
                let link = technology(label).expect("in the table");
                let wrapped = protocol.encapsulation(link.medium).expect("it fits");
                let exchange = Exchange::new(&protocol, op, 65_536, &[(link, wrapped)]);
                for (name, total) in [
                    ("host to array", &exchange.host_to_array),
                    ("array to host", &exchange.array_to_host),
                ] {
                    let sum: u64 = exchange
                        .messages
                        .iter()
                        .filter(|message| message.direction == name)
                        .flat_map(|message| &message.runs)
                        .map(|run| u64::from(run.frames) * u64::from(run.wire_bytes))
                        .sum();
                    assert_eq!(sum, total.wire_bytes, "{key} {op:?} {name}");
                }
            }
        }
    }
}
