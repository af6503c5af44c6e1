//! Frames and wire bytes of single I/Os, direction by direction and hop by hop, and what a full link carries.
//!
//! Sizes: FCP information units by FCP-4, frames and gaps by FC-FS, FCoE by FC-BB-5, NVMe/TCP PDUs by the
//! NVMe/TCP transport specification 1.0, IPv4 by RFC 791, TCP by RFC 9293 with timestamps by RFC 7323,
//! Ethernet by IEEE 802.3; one pure ACK for every second segment by RFC 5681 section 4.2. IPv4, no digests.

use super::rig::{LIMITS, MS, US, direction, site, watch};
use halfloom::model::{Compiled, Stop, Tally, World};
use halfloom::unit::Instant;

/// One I/O after the other over three links, `speeds` from host to array with further keys of each link.
pub(super) fn three_links(speeds: [&str; 3], work: &str) -> String {
    let ends = [("app", "edge"), ("edge", "san"), ("san", "box")];
    let links: String = ends
        .iter()
        .zip(speeds)
        .map(|((from, to), speed)| format!("[[link]]\nfrom = \"{from}\"\nto = \"{to}\"\n{speed}\n"))
        .collect();
    format!(
        "format = 1\n[[host]]\nname = \"app\"\n\
         [[switch]]\nname = \"edge\"\nfabric = \"A\"\n[[switch]]\nname = \"san\"\nfabric = \"A\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\n{links}\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\n\
         arrivals = {{ closed = {{ depth = 1, think = \"1ms\" }} }}\n{work}\n"
    )
}

/// Runs until `ios` I/Os are complete and the wires are silent; the next one is still to come.
fn one_at_a_time(compiled: &Compiled, ios: u64) -> Tally {
    let mut world = World::new(compiled, 0, watch(0, 100 * MS), LIMITS);
    while world.tally().workloads[0].completed_total < ios {
        let next = world.now().0 + 10 * US;
        world.run_until(Instant(next), Stop::AtTheTime);
    }
    let rest = world.now().0 + 500 * US;
    world.run_until(Instant(rest), Stop::AtTheTime);
    let tally = world.finish();
    assert_eq!(tally.workloads[0].issued_total, ios);
    tally
}

/// Frames, their wire bytes, and pure ACKs: toward the array, then toward the host.
pub(super) type Way = (u64, u64, u64);

/// Every hop must have carried `ios` times the exchange.
fn check(id: &str, compiled: &Compiled, ways: &[(&str, &str, Way, Way)]) {
    const IOS: u64 = 3;
    /// A pure ACK: packet 20 + 32, Ethernet header and FCS 18, preamble and gap 20 (RFC 791, RFC 7323).
    const ACK: u64 = 90;
    let tally = one_at_a_time(compiled, IOS);
    for (near, far, out, back) in ways {
        for (from, to, (frames, bytes, acks)) in [(near, far, out), (far, near, back)] {
            let got = direction(compiled, &tally, &format!("{from} > {to}"));
            let name = format!("{id}: {from} > {to}");
            assert_eq!(got.delivered, IOS * (frames + acks), "{name}, frames");
            assert_eq!(
                got.delivered_bytes,
                IOS * (bytes + acks * ACK),
                "{name}, bytes"
            );
            assert_eq!((got.offered, got.frames), (got.delivered, got.delivered));
        }
    }
}

/// The same exchange on all three hops.
pub(super) fn alike(id: &str, compiled: &Compiled, out: Way, back: Way) {
    let hops = [
        ("app:A1", "edge-A"),
        ("edge-A", "san-A"),
        ("san-A", "box-c1:A1"),
    ];
    check(
        id,
        compiled,
        &hops.map(|(near, far)| (near, far, out, back)),
    );
}

pub(super) const READ: &str = "read = \"100%\"";
pub(super) const WRITE: &str = "read = \"0%\"";

/// W01 to W03. A frame of P bytes takes 36 + P + gap 24 = P + 60.
#[test]
fn scsi_over_fibre_channel() {
    let rows = [
        // CMND 32 + 60; two data frames 2 × 2108, RSP 24 + 60.
        ("W01", READ, "4KiB", (1, 92, 0), (3, 4300, 0)),
        // Four data frames.
        ("W02", READ, "8KiB", (1, 92, 0), (5, 8516, 0)),
        // CMND 92 and 32 data frames; XFER_RDY 12 + 60 and RSP.
        ("W03", WRITE, "64KiB", (33, 67_548, 0), (2, 156, 0)),
    ];
    for (id, op, size, out, back) in rows {
        let work = format!("protocol = \"fc-scsi\"\n{op}\nsizes = \"{size}\"");
        let text = three_links(["speed = \"32GFC\""; 3], &work);
        alike(id, &Compiled::new(&site(&text), &[]), out, back);
    }
}

/// W07 to W09 on the first hop, W01 to W03 behind the switch that unpacks. Tagged FCoE: P + 88.
#[test]
fn scsi_over_fcoe_and_fibre_channel() {
    let rows = [
        (
            "W07",
            READ,
            "4KiB",
            [(1, 120, 0), (3, 4384, 0)],
            [(1, 92, 0), (3, 4300, 0)],
        ),
        (
            "W08",
            READ,
            "8KiB",
            [(1, 120, 0), (5, 8656, 0)],
            [(1, 92, 0), (5, 8516, 0)],
        ),
        (
            "W09",
            WRITE,
            "64KiB",
            [(33, 68_472, 0), (2, 212, 0)],
            [(33, 67_548, 0), (2, 156, 0)],
        ),
    ];
    for (id, op, size, fcoe, fc) in rows {
        let work = format!("protocol = \"fc-scsi\"\n{op}\nsizes = \"{size}\"");
        let ethernet = "speed = \"25GbE\"\ncarries = \"all\"";
        let text = three_links([ethernet, "speed = \"32GFC\"", "speed = \"32GFC\""], &work);
        let ways = [
            ("app:A1", "edge-A", fcoe[0], fcoe[1]),
            ("edge-A", "san-A", fc[0], fc[1]),
            ("san-A", "box-c1:A1", fc[0], fc[1]),
        ];
        check(id, &Compiled::new(&site(&text), &[]), &ways);
    }
}

/// W22 to W33. A burst of B bytes is ceil(B / MSS) segments and takes B + 90 each; MSS 1448 at MTU 1500,
/// 8948 at 9000. CapsuleCmd 72, C2HData and H2CData 24 + data, R2T 24, CapsuleResp 24.
#[test]
fn nvme_over_tcp() {
    type Row = (
        &'static str,
        u32,
        &'static str,
        bool,
        &'static str,
        Way,
        Way,
    );
    // The last figure of each way: pure ACKs that go that way, half the segments of each burst the other way.
    let rows: [Row; 12] = [
        ("W22", 1500, READ, false, "4KiB", (1, 162, 1), (3, 4414, 0)),
        ("W23", 1500, READ, true, "4KiB", (1, 162, 1), (3, 4390, 0)),
        ("W24", 1500, READ, false, "8KiB", (1, 162, 3), (6, 8780, 0)),
        ("W25", 1500, READ, true, "8KiB", (1, 162, 3), (6, 8756, 0)),
        // 72 alone, then 24 + 65,536 in 46 segments.
        (
            "W26",
            1500,
            WRITE,
            false,
            "64KiB",
            (47, 69_862, 0),
            (2, 228, 23),
        ),
        // 72 + 4096 in 3 segments: data in the capsule.
        ("W27", 1500, WRITE, false, "4KiB", (3, 4438, 0), (1, 114, 1)),
        ("W28", 9000, READ, false, "4KiB", (1, 162, 0), (1, 4234, 0)),
        ("W29", 9000, READ, true, "4KiB", (1, 162, 0), (1, 4210, 0)),
        ("W30", 9000, READ, false, "8KiB", (1, 162, 0), (1, 8330, 0)),
        ("W31", 9000, READ, true, "8KiB", (1, 162, 0), (1, 8306, 0)),
        (
            "W32",
            9000,
            WRITE,
            false,
            "64KiB",
            (9, 66_442, 0),
            (2, 228, 4),
        ),
        ("W33", 9000, WRITE, false, "4KiB", (1, 4258, 0), (1, 114, 0)),
    ];
    for (id, mtu, op, success, size, out, back) in rows {
        let work =
            format!("protocol = \"nvme-tcp\"\nsuccess = {success}\n{op}\nsizes = \"{size}\"");
        let link = format!("speed = \"25GbE\"\nmtu = {mtu}");
        let text = three_links([&link; 3], &work);
        alike(id, &Compiled::new(&site(&text), &[]), out, back);
    }
}

/// Payload per second of 64 KiB reads, 64 at a time, over one link, in bytes; 20 ms are left out.
#[allow(clippy::cast_precision_loss)]
fn full_link(speed: &str, protocol: &str) -> f64 {
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\nqueue_depth = 64\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\n\
         read = {{ hit = \"100%\", hit_time = \"20us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\n{speed}\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\n{protocol}\n\
         arrivals = {{ closed = {{ depth = 64 }} }}\nread = \"100%\"\nsizes = \"64KiB\"\n"
    );
    let compiled = Compiled::new(&site(&text), &[]);
    let mut world = World::new(&compiled, 0, watch(20 * MS, 120 * MS), LIMITS);
    world.run_until(Instant(120 * MS), Stop::AtTheTime);
    let tally = world.finish();
    tally.workloads[0].reads.bytes as f64 / 0.1
}

/// 32GFC: 28.05 Gb/s × 64/66 ÷ 8 = 3400 MB/s (FC-PI); a read takes 32 × 2108 + 84 = 67,540 bytes of the
/// link, 3400 × 65,536 / 67,540 = 3299.12 MB/s.
#[test]
fn a_full_32gfc_link_carries_what_its_bytes_leave() {
    let got = full_link("speed = \"32GFC\"", "protocol = \"fc-scsi\"");
    assert!((got / 3_299.12e6 - 1.0).abs() < 0.001, "{got}");
}

/// 25GbE: 3125 MB/s (IEEE 802.3by); a read is 65,560 bytes in 46 segments, 65,560 + 46 × 90 = 69,700 bytes,
/// 3125 × 65,536 / 69,700 = 2938.31 MB/s.
#[test]
fn a_full_25gbe_link_carries_what_its_bytes_leave() {
    let got = full_link(
        "speed = \"25GbE\"\nmtu = 1500",
        "protocol = \"nvme-tcp\"\nsuccess = true",
    );
    assert!((got / 2_938.31e6 - 1.0).abs() < 0.001, "{got}");
}
