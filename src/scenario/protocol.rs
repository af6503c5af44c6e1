//! Protocols and their options.

use super::context::Context;
use super::cursor::{Cursor, Fallback, Fault, choice, practice, published, standard};
use super::links::{MTU_DEFAULT, RawLink};
use super::tree::{Node, Origin};
use super::value::{bytes, one_of, switch};
use crate::site::Carries;
use crate::wire::{
    Acks, Cdb, Digests, FcOptions, ImmediateData, InitialR2t, Ip, IscsiOptions, Medium, NfsOptions,
    NfsVersion, NvmeRdmaOptions, NvmeResponse, NvmeTcpOptions, PlainOptions, Protocol, ReadStatus,
    ResponseCapsule, SIZE_MAX, TcpOptions, Timestamps, Vlan,
};

const OPEN_TARGET: &str = "an open-source target's default";

/// A protocol's word.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    FcScsi,
    FcNvme,
    Iscsi,
    NvmeTcp,
    NvmeRdma,
    Nfs,
    Plain,
}

impl Kind {
    /// Adapter time for each message.
    pub(super) const fn adapter(self) -> Fallback {
        match self {
            Self::FcScsi | Self::FcNvme | Self::NvmeRdma => practice("3us"),
            Self::Iscsi | Self::NvmeTcp | Self::Nfs => practice("15us"),
            Self::Plain => choice("0s"),
        }
    }

    /// Connections per host and path.
    pub(super) const fn connections(self) -> Fallback {
        match self {
            Self::Iscsi | Self::NvmeTcp | Self::NvmeRdma | Self::Nfs => practice("4"),
            Self::FcScsi | Self::FcNvme | Self::Plain => choice("1"),
        }
    }
}

/// Reads the word.
pub(super) fn kind(node: &Node) -> Result<Kind, Fault> {
    one_of(&KINDS)(node)
}

const KINDS: [(&str, Kind); 7] = [
    ("fc-scsi", Kind::FcScsi),
    ("fc-nvme", Kind::FcNvme),
    ("iscsi", Kind::Iscsi),
    ("nvme-tcp", Kind::NvmeTcp),
    ("nvme-rdma", Kind::NvmeRdma),
    ("nfs", Kind::Nfs),
    ("plain", Kind::Plain),
];

/// The words for protocols.
#[must_use]
pub fn protocol_words() -> [&'static str; 7] {
    KINDS.map(|known| known.0)
}

/// Reads the options of a protocol from its workload's table.
pub(super) fn options(cursor: &Cursor<'_, '_>, kind: Kind, links: &[Option<RawLink>]) -> Protocol {
    match kind {
        Kind::FcScsi => Protocol::FcScsi(fc(cursor, kind, links)),
        Kind::FcNvme => Protocol::FcNvme(fc(cursor, kind, links)),
        Kind::Iscsi => Protocol::Iscsi(iscsi(cursor, links)),
        Kind::NvmeTcp => Protocol::NvmeTcp(NvmeTcpOptions {
            tcp: tcp(cursor, links),
            in_capsule: in_capsule(cursor, published("16384", OPEN_TARGET)),
            digests: digests(cursor),
            success: if cursor.input(
                "success",
                "response of a good read left out",
                &switch,
                practice("false"),
            ) {
                ResponseCapsule::Elided
            } else {
                ResponseCapsule::Sent
            },
            max_h2c_data: cursor.input(
                "max_h2c_data",
                "most data for one R2T",
                &bytes(4096, 16 << 20),
                published("4MiB", OPEN_TARGET),
            ),
        }),
        Kind::NvmeRdma => Protocol::NvmeRdma(NvmeRdmaOptions {
            mtu: mtu(cursor, links),
            ip: ip(cursor),
            vlan: vlan(cursor),
            in_capsule: in_capsule(cursor, published("4096", OPEN_TARGET)),
        }),
        Kind::Nfs => Protocol::Nfs(NfsOptions {
            tcp: tcp(cursor, links),
            version: cursor.input(
                "version",
                "NFS version",
                &one_of(&[("v3", NfsVersion::V3), ("v4.1", NfsVersion::V41)]),
                practice("v3"),
            ),
            transfer: cursor.input(
                "transfer",
                "largest call or reply",
                &bytes(1024, 1 << 20),
                published("1MiB", "an open-source client's ceiling"),
            ),
        }),
        Kind::Plain => Protocol::Plain(plain(cursor)),
    }
}

/// Takes every option that some protocol has as known.
pub(super) fn know_options(cursor: &Cursor<'_, '_>) {
    let nothing = Context::new("", "", &[]);
    for (word, kind) in KINDS {
        let empty = Cursor::new(&nothing, &[], &Origin::Default, "", word);
        options(&empty, kind, &[]);
        cursor.know(&empty);
    }
}

fn in_capsule(cursor: &Cursor<'_, '_>, default: Fallback) -> u32 {
    cursor.input(
        "in_capsule",
        "largest write sent with its command",
        &bytes(0, 1 << 20),
        default,
    )
}

fn plain(cursor: &Cursor<'_, '_>) -> PlainOptions {
    let max = u32::try_from(SIZE_MAX).unwrap_or(u32::MAX);
    let part = |key, what, example: &str| {
        cursor
            .needed(key, what, &bytes(1, max), example)
            .unwrap_or(1)
    };
    PlainOptions {
        request: part("request", "bytes of a request", "\"100B\""),
        response: part("response", "bytes of a response", "\"8KiB\""),
        frame: part("frame", "bytes of a full frame", "\"2KiB\""),
    }
}

fn fc(cursor: &Cursor<'_, '_>, kind: Kind, links: &[Option<RawLink>]) -> FcOptions {
    let data_field = cursor.input(
        "data_field",
        "largest FC data field",
        &data_field,
        practice("2048"),
    );
    fcoe_fits(cursor, data_field, links);
    let extended = kind == Kind::FcNvme
        && cursor.input(
            "extended_response",
            "extended NVMe response",
            &switch,
            practice("false"),
        );
    let response = if extended {
        NvmeResponse::Extended
    } else {
        NvmeResponse::Short
    };
    let long = kind == Kind::FcScsi
        && cursor.input(
            "long_command",
            "SCSI command of 32 bytes, not 16",
            &switch,
            practice("false"),
        );
    FcOptions {
        data_field,
        cdb: if long { Cdb::Long } else { Cdb::Short },
        response,
        first_burst: cursor.input(
            "first_burst",
            "most data sent unasked",
            &bytes(0, 64 << 20),
            practice("0"),
        ),
        max_burst: cursor.input(
            "max_burst",
            "most data for one transfer-ready",
            &bytes(512, 64 << 20),
            practice("64MiB"),
        ),
    }
}

fn data_field(node: &Node) -> Result<u32, Fault> {
    let field = bytes(256, 2112)(node)?;
    if field % 4 != 0 {
        return Err(Fault::new(
            "is no whole number of words",
            "a multiple of 4 from 256 to 2112",
        ));
    }
    Ok(field)
}

/// Ethernet bytes around a data field in an FCoE frame's payload: header 14, FC header 24, CRC 4, trailer 4
/// (FC-BB-5).
const FCOE_AROUND: u32 = 46;

fn fcoe_fits(cursor: &Cursor<'_, '_>, data_field: u32, links: &[Option<RawLink>]) {
    let need = data_field + FCOE_AROUND;
    for link in links.iter().flatten() {
        let family = &link.family;
        let fcoe = family.medium == Some(Medium::Ethernet) && family.carries != Carries::Ip;
        if fcoe && family.mtu < need {
            let at = cursor
                .entry("protocol")
                .map_or(cursor.origin, |entry| &entry.node.origin);
            let message = format!(
                "{} does not fit link `{}`, whose MTU is {}",
                cursor.who, family.name, family.mtu
            );
            let help = format!(
                "a data field of {data_field} bytes makes FCoE frames of {need}; raise `mtu` of the link"
            );
            cursor
                .ctx
                .error(at, &message, &format!("an MTU of at least {need}"), &help);
        }
    }
}

fn tcp(cursor: &Cursor<'_, '_>, links: &[Option<RawLink>]) -> TcpOptions {
    let on = cursor.input(
        "timestamps",
        "TCP timestamps",
        &switch,
        standard("true", "RFC 7323; on by common practice"),
    );
    TcpOptions {
        mtu: mtu(cursor, links),
        ip: ip(cursor),
        vlan: vlan(cursor),
        timestamps: if on { Timestamps::On } else { Timestamps::Off },
        acks: cursor.input(
            "acks",
            "pure ACKs",
            &one_of(&[("every-second", Acks::EverySecond), ("never", Acks::Never)]),
            standard("every-second", "RFC 5681 section 4.2"),
        ),
    }
}

fn ip(cursor: &Cursor<'_, '_>) -> Ip {
    if cursor.input("ipv6", "IPv6", &switch, practice("false")) {
        Ip::V6
    } else {
        Ip::V4
    }
}

fn vlan(cursor: &Cursor<'_, '_>) -> Vlan {
    if cursor.input("vlan", "VLAN tag on IP frames", &switch, practice("false")) {
        Vlan::Tagged
    } else {
        Vlan::Untagged
    }
}

fn digests(cursor: &Cursor<'_, '_>) -> Digests {
    let words = one_of(&[
        ("off", Digests::Off),
        ("header", Digests::Header),
        ("data", Digests::Data),
        ("both", Digests::Both),
    ]);
    let read = |node: &Node| match switch(node) {
        Ok(true) => Ok(Digests::Both),
        Ok(false) => Ok(Digests::Off),
        Err(_) => words(node),
    };
    cursor.input("digests", "digests", &read, practice("off"))
}

/// The MTU that IP traffic keeps to: the smallest of the links that carry IP, unless the workload states a
/// smaller one. A link whose MTU was not stated counts as 1500, also where FCoE gives it more room.
fn mtu(cursor: &Cursor<'_, '_>, links: &[Option<RawLink>]) -> u32 {
    let narrowest = links
        .iter()
        .flatten()
        .filter(|link| link.family.carries != Carries::Fc)
        .filter(|link| link.family.medium == Some(Medium::Ethernet) || link.mtu_stated)
        .map(|link| {
            (
                if link.mtu_stated {
                    link.family.mtu
                } else {
                    MTU_DEFAULT
                },
                &link.family.name,
            )
        })
        .min_by_key(|(mtu, _)| *mtu);
    let Some(stated) = cursor.optional("mtu", "MTU", &bytes(576, TcpOptions::MTU_MAX)) else {
        let mtu = narrowest.map_or(MTU_DEFAULT, |(mtu, _)| mtu);
        cursor.assume_default(
            "mtu",
            "MTU",
            &mtu.to_string(),
            choice("the smallest MTU of the links that carry IP"),
        );
        return mtu;
    };
    if let Some((limit, name)) = narrowest
        && stated > limit
    {
        let at = cursor
            .entry("mtu")
            .map_or(cursor.origin, |entry| &entry.node.origin);
        let message = format!("packets of {} do not fit link `{name}`", cursor.who);
        let help = format!(
            "raise `mtu` of link `{name}`, or lower this one: small I/Os would pass and large ones hang"
        );
        cursor.ctx.error(
            at,
            &message,
            &format!("at most {limit}, the MTU of that link"),
            &help,
        );
    }
    stated
}

fn iscsi(cursor: &Cursor<'_, '_>, links: &[Option<RawLink>]) -> IscsiOptions {
    let rfc = |text| standard(text, "RFC 7143 section 13");
    let limit = |key, what, text| cursor.input(key, what, &bytes(512, 16_777_215), rfc(text));
    let yes = |key, what| cursor.input(key, what, &switch, rfc("true"));
    IscsiOptions {
        tcp: tcp(cursor, links),
        host_segment: limit(
            "host_segment",
            "largest data segment the host takes",
            "8192",
        ),
        array_segment: limit(
            "array_segment",
            "largest data segment the array takes",
            "8192",
        ),
        first_burst: limit("first_burst", "most data sent unasked", "65536"),
        max_burst: limit("max_burst", "most data for one R2T", "262144"),
        initial_r2t: if yes("initial_r2t", "writes wait for an R2T") {
            InitialR2t::Yes
        } else {
            InitialR2t::No
        },
        immediate_data: if yes("immediate_data", "data in the command") {
            ImmediateData::Yes
        } else {
            ImmediateData::No
        },
        read_status: if cursor.input(
            "separate_status",
            "status of a read in a response of its own",
            &switch,
            practice("false"),
        ) {
            ReadStatus::Separate
        } else {
            ReadStatus::InLastData
        },
        digests: digests(cursor),
    }
}
