//! The rest of the worked exchanges, hop by hop: those of FC-NVMe, iSCSI, RDMA and NFS.
//!
//! Figures by hand arithmetic from the standards named at each test; how far their sizes were checked stands beside
//! the constants of the wire layer.

use super::rig::site;
use super::wire_counts::{READ, WRITE, Way, alike, three_links};
use halfloom::model::Compiled;

/// Name; MTU; protocol with options; operation; size; frames, bytes and pure ACKs each way.
type Row = (
    &'static str,
    u32,
    &'static str,
    &'static str,
    &'static str,
    Way,
    Way,
);

fn hold(speed: &str, rows: &[Row]) {
    for (id, mtu, protocol, op, size, out, back) in rows {
        let work = format!("{protocol}\n{op}\nsizes = \"{size}\"");
        let link = if speed.ends_with("GFC") {
            format!("speed = \"{speed}\"")
        } else {
            format!("speed = \"{speed}\"\nmtu = {mtu}")
        };
        let text = three_links([&link; 3], &work);
        alike(id, &Compiled::new(&site(&text), &[]), *out, *back);
    }
}

/// W04 to W06. FC-NVMe: command 96, transfer-ready 12, response 12; a frame of P bytes takes P + 60.
#[test]
#[rustfmt::skip]
fn nvme_over_fibre_channel() {
    hold("32GFC", &[
        ("W04", 1500, "protocol = \"fc-nvme\"", READ, "4KiB", (1, 156, 0), (3, 4288, 0)),
        ("W05", 1500, "protocol = \"fc-nvme\"", READ, "8KiB", (1, 156, 0), (5, 8504, 0)),
        ("W06", 1500, "protocol = \"fc-nvme\"", WRITE, "64KiB", (33, 67_612, 0), (2, 144, 0)),
    ]);
}

/// W10 to W21. RFC 7143: headers of 48; status in the last Data-In or in a response of its own; default lengths, or
/// the whole write in one data segment.
#[test]
#[rustfmt::skip]
fn iscsi() {
    hold("25GbE", &[
        ("W10", 1500, "protocol = \"iscsi\"", READ, "4KiB", (1, 138, 1), (3, 4414, 0)),
        ("W11", 1500, "protocol = \"iscsi\"\nseparate_status = true", READ, "4KiB", (1, 138, 1), (3, 4462, 0)),
        ("W12", 1500, "protocol = \"iscsi\"", READ, "8KiB", (1, 138, 3), (6, 8780, 0)),
        ("W13", 1500, "protocol = \"iscsi\"\nseparate_status = true", READ, "8KiB", (1, 138, 3), (6, 8828, 0)),
        ("W14", 1500, "protocol = \"iscsi\"", WRITE, "64KiB", (46, 70_060, 0), (2, 276, 23)),
        ("W15", 1500, "protocol = \"iscsi\"\narray_segment = 262144", WRITE, "64KiB", (46, 69_724, 0), (1, 138, 23)),
        ("W16", 9000, "protocol = \"iscsi\"", READ, "4KiB", (1, 138, 0), (1, 4234, 0)),
        ("W17", 9000, "protocol = \"iscsi\"\nseparate_status = true", READ, "4KiB", (1, 138, 0), (1, 4282, 0)),
        ("W18", 9000, "protocol = \"iscsi\"", READ, "8KiB", (1, 138, 0), (1, 8330, 0)),
        ("W19", 9000, "protocol = \"iscsi\"\nseparate_status = true", READ, "8KiB", (1, 138, 0), (1, 8378, 0)),
        ("W20", 9000, "protocol = \"iscsi\"", WRITE, "64KiB", (8, 66_640, 0), (2, 276, 3)),
        ("W21", 9000, "protocol = \"iscsi\"\narray_segment = 262144", WRITE, "64KiB", (8, 66_304, 0), (1, 138, 4)),
    ]);
}

/// W34 to W39. NVMe over Fabrics, IBTA annex A17: path MTU 1024 at MTU 1500, 4096 at 9000; transport ACKs left out.
#[test]
#[rustfmt::skip]
fn nvme_over_rdma() {
    hold("25GbE", &[
        ("W34", 1500, "protocol = \"nvme-rdma\"", READ, "4KiB", (1, 146, 0), (5, 4538, 0)),
        ("W35", 1500, "protocol = \"nvme-rdma\"", READ, "8KiB", (1, 146, 0), (9, 8962, 0)),
        ("W36", 1500, "protocol = \"nvme-rdma\"", WRITE, "64KiB", (65, 70_938, 0), (2, 196, 0)),
        ("W37", 9000, "protocol = \"nvme-rdma\"", READ, "4KiB", (1, 146, 0), (2, 4292, 0)),
        ("W38", 9000, "protocol = \"nvme-rdma\"", READ, "8KiB", (1, 146, 0), (3, 8470, 0)),
        ("W39", 9000, "protocol = \"nvme-rdma\"", WRITE, "64KiB", (17, 67_002, 0), (2, 196, 0)),
    ]);
}

/// W40 to W51. RFC 5531, RFC 1813, RFC 8881.
#[test]
#[rustfmt::skip]
fn nfs() {
    hold("25GbE", &[
        ("W40", 1500, "protocol = \"nfs\"", READ, "4KiB", (1, 210, 1), (3, 4498, 0)),
        ("W41", 1500, "protocol = \"nfs\"", READ, "8KiB", (1, 210, 3), (6, 8864, 0)),
        ("W42", 1500, "protocol = \"nfs\"", WRITE, "64KiB", (46, 69_804, 0), (1, 254, 23)),
        ("W43", 1500, "protocol = \"nfs\"\nversion = \"v4.1\"", READ, "4KiB", (1, 282, 1), (3, 4474, 0)),
        ("W44", 1500, "protocol = \"nfs\"\nversion = \"v4.1\"", READ, "8KiB", (1, 282, 3), (6, 8840, 0)),
        ("W45", 1500, "protocol = \"nfs\"\nversion = \"v4.1\"", WRITE, "64KiB", (46, 69_872, 0), (1, 206, 23)),
        ("W46", 9000, "protocol = \"nfs\"", READ, "4KiB", (1, 210, 0), (1, 4318, 0)),
        ("W47", 9000, "protocol = \"nfs\"", READ, "8KiB", (1, 210, 0), (1, 8414, 0)),
        ("W48", 9000, "protocol = \"nfs\"", WRITE, "64KiB", (8, 66_384, 0), (1, 254, 4)),
        ("W49", 9000, "protocol = \"nfs\"\nversion = \"v4.1\"", READ, "4KiB", (1, 282, 0), (1, 4294, 0)),
        ("W50", 9000, "protocol = \"nfs\"\nversion = \"v4.1\"", READ, "8KiB", (1, 282, 0), (1, 8390, 0)),
        ("W51", 9000, "protocol = \"nfs\"\nversion = \"v4.1\"", WRITE, "64KiB", (8, 66_452, 0), (1, 206, 4)),
    ]);
}
