//! The two drawings of single I/Os, in every format.

use super::{FORMATS, check};
use crate::outcome::{Exchange, Sizes};
use crate::render::chart::{Drawing, Format, ladder, palette, sizes};
use crate::study::exchange;
use crate::wire::{Op, Protocol, technology};

fn pair(key: &str, label: &str) -> (Protocol, exchange::Link) {
    let protocol = Protocol::with_defaults(key).expect("a key");
    let known = technology(label).expect("in the table");
    let wrapped = protocol.encapsulation(known.medium).expect("it fits");
    (protocol, (known, wrapped))
}

fn io(key: &str, label: &str, op: Op, size: u64) -> Exchange {
    let (protocol, link) = pair(key, label);
    exchange::exchange(&protocol, op, size, &[link], 40_000)
}

fn curves(pairs: &[(&str, &str)]) -> Sizes {
    let pairs: Vec<_> = pairs.iter().map(|(key, label)| pair(key, label)).collect();
    exchange::sizes(&pairs, Op::Read)
}

#[test]
fn every_ladder_can_be_read() {
    for key in Protocol::KEYS.into_iter().filter(|key| *key != "plain") {
        for (op, size) in [
            (Op::Read, 1),
            (Op::Read, 65_536),
            (Op::Write, 65_536),
            (Op::Write, 64 << 20),
        ] {
            let exchange = io(key, "100GbE", op, size);
            for format in FORMATS {
                let drawing = ladder(&exchange, format).expect("messages");
                check(&format!("ladder {key} {op:?} {size}"), format, &drawing);
            }
        }
    }
}

#[test]
fn a_long_ladder_says_what_it_leaves_out() {
    // 4 MiB: 8 KiB with the command, then sixteen ready-to-transfer messages, each with its data; response.
    let exchange = io("iscsi", "25GbE", Op::Write, 4 << 20);
    assert_eq!(exchange.messages.len(), 1 + 2 * 16 + 1);
    let svg = ladder(&exchange, Format::Page).expect("messages").svg;
    assert!(svg.contains("and 29 more messages"));
}

#[test]
fn curves_can_be_read_alone_and_in_company() {
    let two = [("fc-scsi", "32GFC"), ("nvme-tcp", "25GbE")];
    let eight = [
        ("fc-scsi", "32GFC"),
        ("fc-nvme", "32GFC"),
        ("fc-scsi", "25GbE"),
        ("iscsi", "10GbE"),
        ("nvme-tcp", "25GbE"),
        ("nvme-rdma", "25GbE"),
        ("nfs", "25GbE"),
        ("nfs", "1GbE"),
    ];
    for pairs in [&two[..1], &two, &eight] {
        for format in FORMATS {
            let drawing = sizes(&curves(pairs), format).expect("curves");
            check(&format!("sizes of {}", pairs.len()), format, &drawing);
        }
    }
}

/// 3400 × 65,536 ÷ 67,540 and 3125 × 65,536 ÷ 69,724; the first is 12.3 % more.
#[test]
fn the_captions_state_the_figures() {
    let drawing = sizes(
        &curves(&[("fc-scsi", "32GFC"), ("nvme-tcp", "25GbE")]),
        Format::Page,
    );
    let finding = drawing.expect("curves").finding;
    let thin = '\u{202F}';
    for part in [
        format!("2{thin}937 MB/s by NVMe over TCP, 25GbE, MTU 1500"),
        format!("3{thin}299 MB/s by SCSI over FC, 32GFC: 12.3{thin}% more."),
    ] {
        assert!(finding.contains(&part), "{finding}");
    }
    let finding = ladder(&io("fc-scsi", "32GFC", Op::Write, 65_536), Format::Page)
        .expect("messages")
        .finding;
    assert!(finding.contains("2 round trips"), "{finding}");
}

#[test]
fn ethernet_and_fibre_channel_have_colours_of_their_own() {
    let svg = |pairs: &[(&str, &str)]| -> String {
        let drawing: Option<Drawing> = sizes(&curves(pairs), Format::Page);
        drawing.expect("curves").svg
    };
    let (fibre, ethernet) = (palette::Role::Fibre.hex(), palette::Role::Ethernet.hex());
    let both = svg(&[("fc-scsi", "32GFC"), ("nvme-tcp", "25GbE")]);
    assert!(both.contains(&fibre) && both.contains(&ethernet));
    let one = svg(&[("nvme-tcp", "25GbE")]);
    assert!(!one.contains(&fibre) && one.contains(&ethernet));
}

/// Four kinds of work over Ethernet have four colours, and a fifth begins anew.
#[test]
fn kinds_of_work_over_ethernet_have_colours_of_their_own() {
    use palette::Role;
    let pairs = ["nvme-tcp", "iscsi", "nvme-rdma", "nfs"].map(|key| (key, "100GbE"));
    let drawing: Option<Drawing> = sizes(&curves(&pairs), Format::Page);
    let svg = drawing.expect("curves").svg;
    for role in [
        Role::Ethernet,
        Role::Ethernet2,
        Role::Ethernet3,
        Role::Ethernet4,
    ] {
        assert!(svg.contains(&role.hex()), "{role:?}");
    }
    let drawing: Option<Drawing> = sizes(&curves(&pairs[..2]), Format::Page);
    assert!(
        !drawing
            .expect("curves")
            .svg
            .contains(&Role::Ethernet3.hex())
    );
}

/// A read of 64 KiB over TCP draws pure ACKs, which are no part of its frames: the picture has them at their message and as bytes.
#[test]
fn a_ladder_has_the_pure_acks() {
    let exchange = io("nvme-tcp", "100GbE", Op::Read, 65_536);
    let acks: u32 = exchange.messages.iter().map(|own| own.pure_acks_back).sum();
    assert!(acks > 0);
    let own = exchange.messages.iter().find(|own| own.pure_acks_back > 0);
    let drawn = own.expect("one draws some").pure_acks_back;
    for format in FORMATS {
        let drawing = ladder(&exchange, format).expect("messages");
        assert!(drawing.svg.contains("pure ACK"), "{format:?}");
        assert!(
            drawing.description.contains(&format!("{drawn} pure ACK")),
            "{}",
            drawing.description
        );
    }
    let none = ladder(&io("fc-scsi", "32GFC", Op::Read, 65_536), Format::Page).expect("messages");
    assert!(!none.svg.contains("ACK") && !none.description.contains("ACK"));
}
