//! From the options of `wire` to a protocol and links that carry it.

use super::{Arguments, DigestsWord};
use crate::cli::exit::Failure;
use crate::scenario::{self, render_problems};
use crate::study::exchange::Link;
use crate::wire::{
    Digests, Family, Ip, Medium, Protocol, ResponseCapsule, TcpOptions, Technology, Timestamps,
    Vlan, all_technologies, technologies, technology,
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
    let key = arguments.protocol.as_deref().unwrap_or_default();
    refuse_strangers(arguments, &[by_key(key, &[])?])?;
    if arguments.mtu.len() > 1 {
        return Err(Failure::arguments(
            "one I/O has one MTU",
            "name one, or compare several with --sweep",
        ));
    }
    with_options(arguments, key, arguments.mtu.first().copied())
}

/// A protocol with options in the words of a scenario.
pub(super) fn by_key(key: &str, options: &[(String, String)]) -> Result<Protocol, Failure> {
    scenario::protocol(key, options)
        .map_err(|problems| Failure::Scenario(render_problems(&problems)))
}

/// The protocol with those of the options that apply to it, and that MTU.
pub(super) fn with_options(
    arguments: &Arguments,
    key: &str,
    mtu: Option<u32>,
) -> Result<Protocol, Failure> {
    let mut protocol = by_key(key, &arguments.option)?;
    let digests = arguments.digests.map(|word| match word {
        DigestsWord::Off => Digests::Off,
        DigestsWord::Header => Digests::Header,
        DigestsWord::Data => Digests::Data,
        DigestsWord::Both => Digests::Both,
    });
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
            options.digests = digests.unwrap_or(options.digests);
            tcp(&mut options.tcp, arguments, mtu);
        }
        Protocol::NvmeTcp(options) => {
            options.digests = digests.unwrap_or(options.digests);
            tcp(&mut options.tcp, arguments, mtu);
            options.in_capsule = in_capsule.unwrap_or(options.in_capsule);
            if arguments.success {
                options.success = ResponseCapsule::Elided;
            }
        }
        Protocol::NvmeRdma(options) => {
            options.mtu = mtu.unwrap_or(options.mtu);
            options.ip = ip(arguments).unwrap_or(options.ip);
            options.vlan = vlan(arguments).unwrap_or(options.vlan);
            options.in_capsule = in_capsule.unwrap_or(options.in_capsule);
        }
        Protocol::Nfs(options) => tcp(&mut options.tcp, arguments, mtu),
        Protocol::Plain(_) => {}
    }
    Ok(protocol)
}

fn tcp(options: &mut TcpOptions, arguments: &Arguments, mtu: Option<u32>) {
    options.mtu = mtu.unwrap_or(options.mtu);
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

/// Refuses an option that says nothing about any of the protocols.
pub(super) fn refuse_strangers(
    arguments: &Arguments,
    protocols: &[Protocol],
) -> Result<(), Failure> {
    let any = |applies: fn(&Protocol) -> bool| protocols.iter().any(applies);
    let fc = any(|protocol| protocol.family() == Family::Fc);
    let over_ip = any(|protocol| protocol.family() == Family::Ip);
    let over_tcp = any(|protocol| protocol.tcp().is_some());
    let nvme_tcp = any(|protocol| matches!(protocol, Protocol::NvmeTcp(_)));
    let rdma = any(|protocol| matches!(protocol, Protocol::NvmeRdma(_)));
    let iscsi = any(|protocol| matches!(protocol, Protocol::Iscsi(_)));
    let capsules = arguments.in_capsule.is_some();
    let options = [
        ("--mtu", !arguments.mtu.is_empty(), over_ip),
        ("--ipv6", arguments.ipv6, over_ip),
        ("--vlan", arguments.vlan, over_ip),
        ("--no-timestamps", arguments.no_timestamps, over_tcp),
        ("--in-capsule", capsules, nvme_tcp || rdma),
        ("--digests", arguments.digests.is_some(), nvme_tcp || iscsi),
        ("--success", arguments.success, nvme_tcp),
        ("--fcoe", arguments.fcoe, fc),
        ("--data-field", arguments.data_field.is_some(), fc),
    ];
    let keys: Vec<&str> = protocols.iter().map(Protocol::key).collect();
    for (name, given, applies) in options {
        if given && !applies {
            return Err(Failure::arguments(
                format!("{name} says nothing about {}", keys.join(" and ")),
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

/// A link has no layer with the FEC asked for: says which there are.
fn no_such_fec(known: &Technology) -> Failure {
    let mut names: Vec<&str> = Vec::new();
    for other in all_technologies().filter(|other| other.label == known.label) {
        if !names.contains(&other.fec.name()) {
            names.push(other.fec.name());
        }
    }
    Failure::arguments(
        format!("{} has no layer with this error correction", known.label),
        format!("{} has: {}", known.label, names.join(", ")),
    )
}

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
        let with_fec = |known: &'static Technology| match arguments.fec {
            None => Some(known),
            Some(fec) => fec.of(known.label),
        };
        return Ok(fitting.filter_map(with_fec).filter_map(wrapped).collect());
    }
    let mut links = Vec::new();
    for label in &arguments.over {
        let known = technology(label).ok_or_else(|| {
            Failure::arguments(
                format!("there is no link technology `{label}`"),
                "`halfloom rates` lists them",
            )
        })?;
        let known = match arguments.fec {
            None => known,
            Some(fec) => fec.of(known.label).ok_or_else(|| no_such_fec(known))?,
        };
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
