//! One I/O as tables and as comma-separated values.

use super::files;
use crate::cli::columns::{Align, columns, decimals};
use crate::outcome::{Exchange, FramesAlike, Message, Total};

/// One row a message.
pub(super) fn csv(io: &Exchange) -> String {
    let head = [
        "protocol",
        "op",
        "size_bytes",
        "mtu_bytes",
        "encapsulation",
        "message",
        "direction",
        "frames",
        "payload_bytes",
        "wire_bytes",
        "pure_acks_back",
        "link",
        "length_m",
        "leaves_us",
        "arrives_us",
    ];
    let link = io.links.first().map_or("", |row| row.link);
    let row = |message: &Message| {
        vec![
            io.protocol.to_owned(),
            io.op.to_owned(),
            io.size_bytes.to_string(),
            io.mtu_bytes.map_or_else(String::new, |mtu| mtu.to_string()),
            io.encapsulation.to_owned(),
            message.name.to_owned(),
            message.direction.to_owned(),
            message.frames.to_string(),
            message.payload_bytes.to_string(),
            message.wire_bytes.to_string(),
            message.pure_acks_back.to_string(),
            link.to_owned(),
            io.length_m.to_string(),
            message.leaves_us.to_string(),
            message.arrives_us.to_string(),
        ]
    };
    let rows: Vec<Vec<String>> = io.messages.iter().map(row).collect();
    files::csv(&head, &rows)
}

pub(super) fn text(io: &Exchange) -> String {
    let mtu = io
        .mtu_bytes
        .map_or_else(String::new, |mtu| format!(", MTU {mtu}"));
    let trips = if io.round_trips == 1 {
        "one round trip".to_owned()
    } else {
        format!("{} round trips", io.round_trips)
    };
    format!(
        "{} {} of {} bytes as {}{mtu}: {trips}\n\n{}\n{}\n{}\n{}\n{}\n{}\n",
        io.protocol,
        io.op,
        io.size_bytes,
        io.encapsulation,
        messages(io),
        totals(io),
        account(io),
        overhead(io),
        links(io),
        FOOT,
    )
}

/// What the arrival of a message sets off.
const fn then(message: &Message, last: bool) -> &'static str {
    match (message.served, last) {
        (true, _) => "array serves",
        (false, true) => "done",
        (false, false) => "next goes",
    }
}

fn messages(io: &Exchange) -> String {
    let head = [
        ("message", Align::Left),
        ("direction", Align::Left),
        ("frames", Align::Right),
        ("payload B", Align::Right),
        ("wire B", Align::Right),
        ("frames × wire B each", Align::Left),
        ("ACKs back", Align::Right),
        ("on arrival", Align::Left),
    ];
    let row = |(index, message): (usize, &Message)| {
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
            then(message, index + 1 == io.messages.len()).to_owned(),
        ]
    };
    let rows: Vec<Vec<String>> = io.messages.iter().enumerate().map(row).collect();
    columns(&head, &rows)
}

fn totals(io: &Exchange) -> String {
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
        row("host to array", &io.host_to_array),
        row("array to host", &io.array_to_host),
    ];
    columns(&head, &rows)
}

/// Where the bytes go, with what code and FEC add on the first link.
fn account(io: &Exchange) -> String {
    let head = [
        ("bytes", Align::Left),
        ("host to array", Align::Right),
        ("array to host", Align::Right),
    ];
    let (out, back) = (&io.host_to_array, &io.array_to_host);
    let mut rows: Vec<Vec<String>> = out
        .account
        .parts()
        .iter()
        .zip(back.account.parts())
        .map(|((name, out), (_, back))| vec![(*name).to_owned(), out.to_string(), back.to_string()])
        .collect();
    rows.push(vec![
        "wire bytes".to_owned(),
        out.wire_bytes.to_string(),
        back.wire_bytes.to_string(),
    ]);
    if let Some(link) = io.links.first() {
        rows.push(vec![
            format!("encoding, {}", link.link),
            format!("{:.1}", link.host_to_array_coding_bytes),
            format!("{:.1}", link.array_to_host_coding_bytes),
        ]);
    }
    columns(&head, &rows)
}

fn overhead(io: &Exchange) -> String {
    let head = [("in each frame", Align::Left), ("bytes", Align::Right)];
    let mut rows: Vec<Vec<String>> = io
        .frame_overhead
        .iter()
        .map(|row| vec![row.layer.to_owned(), row.bytes.to_string()])
        .collect();
    let sum: u32 = io.frame_overhead.iter().map(|row| row.bytes).sum();
    rows.push(vec!["together".to_owned(), sum.to_string()]);
    columns(&head, &rows)
}

fn links(io: &Exchange) -> String {
    let idle = format!("idle µs, {} m", decimals(io.length_m, 3));
    let head = [
        ("link", Align::Left),
        ("as", Align::Left),
        ("usable Gb/s", Align::Right),
        ("to array µs", Align::Right),
        ("to host µs", Align::Right),
        (idle.as_str(), Align::Right),
        ("full first", Align::Left),
        ("payload MB/s", Align::Right),
    ];
    let rows: Vec<Vec<String>> = io
        .links
        .iter()
        .map(|row| {
            vec![
                row.link.to_owned(),
                row.encapsulation.to_owned(),
                decimals(row.usable_gb_s, 4),
                format!("{:.3}", row.host_to_array_us),
                format!("{:.3}", row.array_to_host_us),
                format!("{:.3}", row.idle_us),
                row.fuller.to_owned(),
                format!("{:.1}", row.goodput_mb_s),
            ]
        })
        .collect();
    columns(&head, &rows)
}

const FOOT: &str = "\
Wire bytes include preamble, delimiters and gap. Pure ACKs (one for every second frame of a burst) are
apart from the totals. Protocol: commands, responses, headers, digests, fill and padding. Encoding: what
code and FEC parity add on the line. µs: time the frames occupy that direction. Idle: all messages over a
link of that length, FEC included; no adapters, no switches, no service. Payload MB/s (10^6): when such
I/Os fill the link, pure ACKs included. Estimates: sizes follow from the standards, without loss and
retransmission; nothing was measured.";

/// Frames in a row of one size, whatever their share of payload: count and wire bytes.
fn alike(runs: &[FramesAlike]) -> Vec<(u32, u32)> {
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
