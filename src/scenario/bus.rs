//! The bus between a host and its adapters.

use super::cursor::{Cursor, Fallback, Fault, choice};
use super::problem::Severity;
use super::tree::Node;
use super::value::{bytes, one_of};
use crate::site::{AdapterBus, AdapterPer, Basis, BusPer};
use crate::wire::{HostBus, pcie};

/// Most payload of a packet where none is stated: 256 or 512 are usual in servers, from memory.
const PAYLOAD: Fallback = Fallback {
    text: "256",
    basis: Basis::CommonPractice,
    source: "usual in servers: 256 or 512; no source",
};

/// `bus`, `bus_payload` and `bus_per` of a host. Where ports share an adapter, they share its bus unless stated.
pub(super) fn of_host(cursor: &Cursor<'_, '_>, adapter: AdapterPer) -> Option<AdapterBus> {
    let stated = cursor.optional("bus", "bus of an adapter, not simulated", &named);
    for key in ["bus_payload", "bus_per"] {
        if let Some(entry) = cursor.entry(key)
            && !cursor.has("bus")
        {
            let message = format!("{} has `{key}` and no `bus`", cursor.who);
            let help = "for example bus = \"PCIe4x8\"";
            cursor
                .ctx
                .error(&entry.origin, &message, "`bus` beside it", help);
        }
    }
    let named = stated?;
    let max_payload = cursor.input(
        "bus_payload",
        "payload of a packet on the bus",
        &payload,
        PAYLOAD,
    );
    let per = one_of(&[
        ("port", BusPer::Port),
        ("adapter", BusPer::Adapter),
        ("host", BusPer::Host),
    ]);
    let usual = match adapter {
        AdapterPer::Port => "port",
        AdapterPer::Pair | AdapterPer::Fabric | AdapterPer::Host => "adapter",
    };
    let per = cursor.input("bus_per", "who has a bus of its own", &per, choice(usual));
    if let Some(entry) = cursor.entry("bus") {
        cursor.ctx.problem(
            Severity::Warning,
            &entry.node.origin,
            &format!("the bus of {} is not simulated", cursor.who),
            "",
            "`check` and `path` apply it; a run may show more than the bus lets through",
        );
    }
    Some(AdapterBus {
        bus: HostBus {
            max_payload,
            ..named
        },
        per,
    })
}

fn named(node: &Node) -> Result<HostBus, Fault> {
    let expected = "PCIe3 to PCIe6 with 1, 2, 4, 8 or 16 lanes, for example \"PCIe4x8\"";
    let Some(text) = node.as_str() else {
        return Err(Fault::new(format!("is {}", node.kind()), expected));
    };
    HostBus::parse(text).ok_or_else(|| Fault::new(format!("cannot be `{text}`"), expected))
}

fn payload(node: &Node) -> Result<u32, Fault> {
    let payload = bytes(pcie::MAX_PAYLOADS[0], pcie::MAX_PAYLOADS[5])(node)?;
    if pcie::MAX_PAYLOADS.contains(&payload) {
        Ok(payload)
    } else {
        let expected = "128, 256, 512, 1024, 2048 or 4096 bytes";
        Err(Fault::new("is no maximum payload", expected))
    }
}
