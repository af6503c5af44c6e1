//! From the options of `wire` to a protocol and links that carry it.

use super::{Arguments, DigestsWord};
use crate::cli::exit::Failure;
use crate::wire::{
    Digests, Encapsulation, Family, Ip, Medium, Protocol, ResponseCapsule, Technology, Timestamps,
    Vlan, technologies, technology,
};

/// Protocols whose sizes follow from rules; `plain` has none.
pub(super) const KEYS: [&str; 6] = [
    "fc-scsi",
    "fc-nvme",
    "iscsi",
    "nvme-tcp",
    "nvme-rdma",
    "nfs",
];

/// The protocol with its options; an option that does not apply to it is refused, not dropped.
pub(super) fn of(arguments: &Arguments) -> Result<Protocol, Failure> {
    let key = arguments.protocol.as_str();
    let mut protocol = Protocol::with_defaults(key).ok_or_else(|| {
        Failure::arguments(
            format!("{key} has no default sizes"),
            format!("one of: {}", KEYS.join(", ")),
        )
    })?;
    refuse_strangers(arguments, &protocol)?;
    let digests = match arguments.digests {
        None | Some(DigestsWord::Off) => Digests::Off,
        Some(DigestsWord::Header) => Digests::Header,
        Some(DigestsWord::Data) => Digests::Data,
        Some(DigestsWord::Both) => Digests::Both,
    };
    let in_capsule = arguments
        .in_capsule
        .map(|bytes| u32::try_from(bytes).unwrap_or(u32::MAX));
    match &mut protocol {
        Protocol::FcScsi(options) | Protocol::FcNvme(options) => {
            if let Some(field) = arguments.data_field {
                options.data_field = field;
            }
        }
        Protocol::Iscsi(options) => {
            options.digests = digests;
            tcp(&mut options.tcp, arguments);
        }
        Protocol::NvmeTcp(options) => {
            options.digests = digests;
            tcp(&mut options.tcp, arguments);
            options.in_capsule = in_capsule.unwrap_or(options.in_capsule);
            if arguments.success {
                options.success = ResponseCapsule::Elided;
            }
        }
        Protocol::NvmeRdma(options) => {
            options.mtu = arguments.mtu.unwrap_or(options.mtu);
            options.ip = ip(arguments).unwrap_or(options.ip);
            options.vlan = vlan(arguments).unwrap_or(options.vlan);
            options.in_capsule = in_capsule.unwrap_or(options.in_capsule);
        }
        Protocol::Nfs(options) => tcp(&mut options.tcp, arguments),
        Protocol::Plain(_) => {}
    }
    Ok(protocol)
}

fn tcp(options: &mut crate::wire::TcpOptions, arguments: &Arguments) {
    options.mtu = arguments.mtu.unwrap_or(options.mtu);
    options.ip = ip(arguments).unwrap_or(options.ip);
    options.vlan = vlan(arguments).unwrap_or(options.vlan);
    if arguments.no_timestamps {
        options.timestamps = Timestamps::Off;
    }
}

fn ip(arguments: &Arguments) -> Option<Ip> {
    arguments.ipv6.then_some(Ip::V6)
}

fn vlan(arguments: &Arguments) -> Option<Vlan> {
    arguments.vlan.then_some(Vlan::Tagged)
}

fn refuse_strangers(arguments: &Arguments, protocol: &Protocol) -> Result<(), Failure> {
    let fc = protocol.family() == Family::Fc;
    let over_tcp = protocol.tcp().is_some();
    let nvme_tcp = matches!(protocol, Protocol::NvmeTcp(_));
    let capsules = nvme_tcp || matches!(protocol, Protocol::NvmeRdma(_));
    let digests = nvme_tcp || matches!(protocol, Protocol::Iscsi(_));
    let options = [
        ("--mtu", arguments.mtu.is_some(), !fc),
        ("--ipv6", arguments.ipv6, !fc),
        ("--vlan", arguments.vlan, !fc),
        ("--no-timestamps", arguments.no_timestamps, over_tcp),
        ("--in-capsule", arguments.in_capsule.is_some(), capsules),
        ("--digests", arguments.digests.is_some(), digests),
        ("--success", arguments.success, nvme_tcp),
        ("--fcoe", arguments.fcoe, fc),
        ("--data-field", arguments.data_field.is_some(), fc),
    ];
    for (name, given, applies) in options {
        if given && !applies {
            return Err(Failure::arguments(
                format!("{name} says nothing about {}", protocol.key()),
                format!("leave {name} out, or see `halfloom wire --help` for what it applies to"),
            ));
        }
    }
    if arguments.data_field.is_some_and(|field| field % 4 != 0) {
        return Err(Failure::arguments(
            "--data-field is no whole number of words",
            "a multiple of 4 from 256 to 2112",
        ));
    }
    Ok(())
}

/// A link technology and how the protocol's frames are wrapped on it.
pub(super) type Link = (&'static Technology, Encapsulation);

/// The links asked for, or all that fit; each must carry the protocol.
pub(super) fn links(arguments: &Arguments, protocol: &Protocol) -> Result<Vec<Link>, Failure> {
    let home = match protocol.family() {
        Family::Fc if !arguments.fcoe => Medium::FibreChannel,
        _ => Medium::Ethernet,
    };
    let wrapped = |known: &'static Technology| {
        protocol
            .encapsulation(known.medium)
            .map(|encapsulation| (known, encapsulation))
    };
    if arguments.over.is_empty() {
        let fitting = technologies().iter().filter(|known| known.medium == home);
        return Ok(fitting.filter_map(wrapped).collect());
    }
    let mut links = Vec::new();
    for label in &arguments.over {
        let known = technology(label).ok_or_else(|| {
            Failure::arguments(
                format!("there is no link technology `{label}`"),
                "`halfloom rates` lists them",
            )
        })?;
        if arguments.fcoe && known.medium == Medium::FibreChannel {
            return Err(Failure::arguments(
                format!("{} carries FC frames as they are, not as FCoE", known.label),
                "leave --fcoe out, or name an Ethernet link",
            ));
        }
        let link = wrapped(known).ok_or_else(|| {
            Failure::arguments(
                format!("{} cannot cross {}", protocol.key(), known.label),
                "IP protocols need an Ethernet link",
            )
        })?;
        links.push(link);
    }
    Ok(links)
}
