//! The messages of one I/O between host and array, and where its bytes go.
//!
//! Rungs stand in order, not to a scale of time: a command takes nanoseconds where its data take
//! microseconds. The bars below are to scale, both directions alike.

use crate::outcome::{Exchange, Message};

use super::canvas::{Anchor, Face, Pen};
use super::frame::{Plotted, Sheet, wire_foot};
use super::palette::Role;
use super::text::{THIN, bare, count, fit, percent, room, time};
use super::{Drawing, Format};

/// Rungs drawn at most; those in the middle of a long ladder are alike.
const RUNGS_MOST: usize = 6;

/// What a bar is made of: name, role, and which parts of the account belong to it.
const GROUPS: [(&str, Role, &[usize]); 3] = [
    ("payload", Role::Use, &[0]),
    ("headers", Role::Use2, &[1, 2, 3]),
    ("link and gap", Role::Pipe, &[4, 5]),
];

pub(super) fn draw(io: &Exchange, format: Format) -> Option<Drawing> {
    let link = io.links.first()?;
    let mut sheet = Sheet::of(wire_foot(), format, 800.0, finding(io));
    let em = sheet.em;
    let phone = format == Format::Phone;
    let whole = sheet.right() - sheet.side;
    let (ladder, table) = if phone {
        ((sheet.side, sheet.right()), (sheet.side, sheet.right()))
    } else {
        let middle = sheet.side + whole * 0.56;
        ((sheet.side, middle), (middle + em * 2.0, sheet.right()))
    };
    let rungs = rungs(io);
    let tall = em * 3.0 + rungs.len() as f64 * em * STEP + em * 1.2;
    let rows = em * 1.35 * 10.0 + em * 7.4;
    let body = sheet.height(if phone { tall + rows } else { tall.max(rows) });
    let step = if phone {
        em * STEP
    } else {
        ((body - em * 4.2) / rungs.len() as f64).min(em * STEP)
    };
    rails(&mut sheet, ladder, rungs.len(), step);
    for (index, rung) in rungs.iter().enumerate() {
        let top = sheet.top + em * 3.0 + index as f64 * step;
        match rung {
            Some(message) => one(&mut sheet, ladder, top, step, message),
            None => left_out(&mut sheet, ladder, top + step * 0.5, io.messages.len()),
        }
    }
    let top = sheet.top + if phone { tall } else { 0.0 };
    account(&mut sheet, table, top, io, link.link);
    sheet.finish("ladder", body, description(io), Plotted::Yes)
}

/// Height of a rung in ems: two lines of words and the arrow.
const STEP: f64 = 4.3;

/// The messages drawn; `None` stands for those left out.
fn rungs(io: &Exchange) -> Vec<Option<&Message>> {
    let all: Vec<Option<&Message>> = io.messages.iter().map(Some).collect();
    if all.len() <= RUNGS_MOST {
        return all;
    }
    let (head, tail) = (RUNGS_MOST - 3, 2);
    let mut out: Vec<Option<&Message>> = all[..head].to_vec();
    out.push(None);
    out.extend_from_slice(&all[all.len() - tail..]);
    out
}

fn rails(sheet: &mut Sheet, (left, right): (f64, f64), rungs: usize, step: f64) {
    let em = sheet.em;
    let (top, low) = (
        sheet.top + em * 1.6,
        sheet.top + em * 3.0 + rungs as f64 * step + em * 0.4,
    );
    for (x, name, anchor) in [
        (left + em * 0.4, "host", Anchor::Start),
        (right - em * 0.4, "array", Anchor::End),
    ] {
        sheet
            .canvas
            .line([(x, top), (x, low)], Pen::new(Role::Ink, em * 0.16));
        let at = match anchor {
            Anchor::Start => left,
            _ => right,
        };
        sheet.label((at, sheet.top + em), name, Face::Bold, anchor, Role::Ink);
    }
}

fn one(sheet: &mut Sheet, (left, right): (f64, f64), top: f64, step: f64, message: &Message) {
    let em = sheet.em;
    let (from, to) = if message.direction == "host to array" {
        (left + em * 0.4, right - em * 0.4)
    } else {
        (right - em * 0.4, left + em * 0.4)
    };
    let middle = f64::midpoint(left, right);
    let space = right - left - em * 2.4;
    let frames = if message.frames == 1 {
        "1 frame".to_owned()
    } else {
        format!("{} frames", count(message.frames))
    };
    let bytes = count(message.wire_bytes);
    let bytes = match acks(message) {
        None => format!("{frames}, {bytes} bytes on the wire"),
        Some(acks) => format!("{frames}, {bytes} bytes, {acks} back"),
    };
    let first = fit(message.name, em, true, space);
    sheet.label((middle, top), &first, Face::Bold, Anchor::Middle, Role::Ink);
    let second = fit(&bytes, em, false, space);
    back(sheet, (left, right), top, step, message);
    let at = (middle, top + em * 1.2);
    sheet.label(at, &second, Face::Plain, Anchor::Middle, Role::Mute);
    let (start, end) = (top + em * 1.65, top + (step - em * 1.6).max(em * 2.1));
    let data = message.payload_bytes > 0;
    let width = if data { em * 0.34 } else { em * 0.16 };
    let way = if to > from { 1.0 } else { -1.0 };
    let tip = (to - way * em * 0.1, end);
    sheet.canvas.line(
        [(from, start), (tip.0 - way * em * 0.7, tip.1)],
        Pen::new(Role::Use, width),
    );
    sheet.canvas.fill(
        [
            tip,
            (tip.0 - way * em * 0.9, tip.1 - em * 0.42),
            (tip.0 - way * em * 0.9, tip.1 + em * 0.42),
        ],
        Role::Use,
    );
    if message.served {
        // A bar on the array's rail: it works here, for a time that is not part of the wire.
        let x = right - em * 0.4;
        sheet.canvas.rect(
            (x - em * 0.2, end + em * 0.2),
            (em * 0.4, (top + step - end - em * 0.2).max(em * 0.4)),
            Role::Ink,
        );
    }
}

/// `23 pure ACKs`: what a message over TCP draws the other way.
fn acks(message: &Message) -> Option<String> {
    match message.pure_acks_back {
        0 => None,
        1 => Some("1 pure ACK".to_owned()),
        some => Some(format!("{} pure ACKs", count(u64::from(some)))),
    }
}

/// Pure ACKs go back while a message comes: a thin arrow against it.
fn back(sheet: &mut Sheet, (left, right): (f64, f64), top: f64, step: f64, message: &Message) {
    if message.pure_acks_back == 0 {
        return;
    }
    let em = sheet.em;
    let (low, high) = (left + em * 0.4, right - em * 0.4);
    let (from, to) = if message.direction == "host to array" {
        (high, low)
    } else {
        (low, high)
    };
    let (start, end) = (top + em * 2.0, top + (step - em * 1.25).max(em * 2.45));
    let pen = Pen::new(Role::Use2, em * 0.1).dashed(em * 0.3, em * 0.3);
    sheet.canvas.line([(from, start), (to, end)], pen);
    let way = if to > from { 1.0 } else { -1.0 };
    let tip = (to - way * em * 0.1, end);
    sheet.canvas.fill(
        [
            tip,
            (tip.0 - way * em * 0.6, tip.1 - em * 0.28),
            (tip.0 - way * em * 0.6, tip.1 + em * 0.28),
        ],
        Role::Use2,
    );
}

fn left_out(sheet: &mut Sheet, (left, right): (f64, f64), y: f64, messages: usize) {
    let text = format!("and {} more messages", messages + 1 - RUNGS_MOST);
    let at = (f64::midpoint(left, right), y);
    sheet.label(at, &text, Face::Plain, Anchor::Middle, Role::Mute);
}

/// Bars to scale, then every part in bytes.
fn account(sheet: &mut Sheet, (left, right): (f64, f64), top: f64, io: &Exchange, link: &str) {
    let em = sheet.em;
    let most = io.host_to_array.wire_bytes.max(io.array_to_host.wire_bytes);
    let mut y = top + em;
    for (name, total) in [
        ("host to array", &io.host_to_array),
        ("array to host", &io.array_to_host),
    ] {
        sheet.label((left, y), name, Face::Bold, Anchor::Start, Role::Ink);
        let parts = total.account.parts();
        let mut x = left;
        for (_, role, members) in GROUPS {
            let bytes: u64 = members.iter().map(|part| parts[*part].1).sum();
            let wide = (right - left) * bytes as f64 / most.max(1) as f64;
            sheet.canvas.rect((x, y + em * 0.4), (wide, em), role);
            x += wide;
        }
        y += em * 2.9;
    }
    keys(sheet, left, y - em * 0.2);
    y += em * 1.7;
    let columns = [right - room("array to host", em, false) - em, right];
    for (at, text) in columns.iter().zip(["to array", "to host"]) {
        sheet.label((*at, y), text, Face::Bold, Anchor::End, Role::Ink);
    }
    let head = format!("bytes, {link}");
    sheet.label((left, y), &head, Face::Bold, Anchor::Start, Role::Ink);
    let row = &io.links[0];
    let mut rows: Vec<(String, String, String, Face)> = io
        .host_to_array
        .account
        .parts()
        .iter()
        .zip(io.array_to_host.account.parts())
        .map(|((name, out), (_, back))| ((*name).to_owned(), count(*out), count(back), Face::Plain))
        .collect();
    rows.push((
        "wire bytes".to_owned(),
        count(io.host_to_array.wire_bytes),
        count(io.array_to_host.wire_bytes),
        Face::Bold,
    ));
    let whole = |bytes: f64| count(bytes.round() as u64);
    rows.push((
        "encoding".to_owned(),
        whole(row.host_to_array_coding_bytes),
        whole(row.array_to_host_coding_bytes),
        Face::Plain,
    ));
    let acked = |total: &crate::outcome::Total| total.pure_ack_wire_bytes;
    let (out, back) = (acked(&io.host_to_array), acked(&io.array_to_host));
    if out + back > 0 {
        rows.push(("pure ACKs".to_owned(), count(out), count(back), Face::Plain));
    }
    for (name, out, back, face) in rows {
        y += em * 1.35;
        sheet.label((left, y), &name, face, Anchor::Start, Role::Ink);
        for (at, text) in columns.iter().zip([out, back]) {
            sheet.label((*at, y), &text, face, Anchor::End, Role::Ink);
        }
    }
}

fn keys(sheet: &mut Sheet, left: f64, y: f64) {
    let em = sheet.em;
    let mut x = left;
    for (name, role, _) in GROUPS {
        sheet
            .canvas
            .rect((x, y - em * 0.75), (em * 0.8, em * 0.8), role);
        sheet.label(
            (x + em * 1.1, y),
            name,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
        x += em * 2.0 + room(name, em, false);
    }
}

fn what(io: &Exchange) -> String {
    format!("{} {} of {} bytes", io.title, io.op, count(io.size_bytes))
}

fn finding(io: &Exchange) -> String {
    let link = &io.links[0];
    let trips = if io.round_trips == 1 {
        "one round trip".to_owned()
    } else {
        format!("{} round trips", io.round_trips)
    };
    let mtu = io
        .mtu_bytes
        .map_or_else(String::new, |mtu| format!(" at MTU {mtu}"));
    format!(
        "{} over {}{mtu}: {trips}, {} of the wire is payload, {} on an idle link of {}{THIN}m.",
        what(io),
        link.link,
        percent(100.0 * io.payload_share),
        time(link.idle_us, 3),
        bare(io.length_m),
    )
}

fn description(io: &Exchange) -> String {
    let messages: Vec<String> = io
        .messages
        .iter()
        .map(|message| {
            let acks = acks(message).map_or_else(String::new, |acks| format!(", {acks} back"));
            format!(
                "{}, {}: {} frames, {} bytes{acks}",
                message.name, message.direction, message.frames, message.wire_bytes
            )
        })
        .collect();
    format!("{}. {}.", what(io), messages.join("; "))
}
