//! The storage protocols, as one type.

use super::fc::{self, FcOptions};
use super::framing::{self, Encapsulation, Vlan};
use super::iscsi::IscsiOptions;
use super::nfs::NfsOptions;
use super::nvme_rdma::NvmeRdmaOptions;
use super::nvme_tcp::NvmeTcpOptions;
use super::plain::PlainOptions;
use super::plan::{Op, Plan, within_limits};
use super::tcp::TcpOptions;
use super::technology::Medium;

/// What a link must carry for a protocol.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Family {
    /// Fibre Channel frames, native or as FCoE.
    Fc,
    /// IP packets.
    Ip,
    /// Anything: plain frames have no rules of their own.
    Any,
}

/// A storage protocol with what its two ends have agreed on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Protocol {
    /// SCSI over Fibre Channel (FCP-4).
    FcScsi(FcOptions),
    /// NVMe over Fibre Channel (FC-NVMe).
    FcNvme(FcOptions),
    /// SCSI over TCP (RFC 7143).
    Iscsi(IscsiOptions),
    /// NVMe over TCP (NVMe/TCP transport).
    NvmeTcp(NvmeTcpOptions),
    /// NVMe over RoCEv2 (NVMe over Fabrics, IBTA annex A17).
    NvmeRdma(NvmeRdmaOptions),
    /// NFS over TCP (RFC 1813, RFC 8881).
    Nfs(NfsOptions),
    /// Stated sizes without rules.
    Plain(PlainOptions),
}

impl Protocol {
    /// The keys of all protocols, as a scenario writes them.
    pub const KEYS: [&'static str; 7] = [
        "fc-scsi",
        "fc-nvme",
        "iscsi",
        "nvme-tcp",
        "nvme-rdma",
        "nfs",
        "plain",
    ];

    /// The protocol of that key with default options; `None` for an unknown key, and for `plain`, whose
    /// sizes have no default.
    #[must_use]
    pub fn with_defaults(key: &str) -> Option<Self> {
        Some(match key {
            "fc-scsi" => Self::FcScsi(FcOptions::default()),
            "fc-nvme" => Self::FcNvme(FcOptions::default()),
            "iscsi" => Self::Iscsi(IscsiOptions::default()),
            "nvme-tcp" => Self::NvmeTcp(NvmeTcpOptions::default()),
            "nvme-rdma" => Self::NvmeRdma(NvmeRdmaOptions::default()),
            "nfs" => Self::Nfs(NfsOptions::default()),
            _ => return None,
        })
    }

    /// The key of the protocol, as a scenario writes it.
    #[must_use]
    pub const fn key(&self) -> &'static str {
        match self {
            Self::FcScsi(_) => "fc-scsi",
            Self::FcNvme(_) => "fc-nvme",
            Self::Iscsi(_) => "iscsi",
            Self::NvmeTcp(_) => "nvme-tcp",
            Self::NvmeRdma(_) => "nvme-rdma",
            Self::Nfs(_) => "nfs",
            Self::Plain(_) => "plain",
        }
    }

    /// Whether it is NVMe, over whichever fabric.
    #[must_use]
    pub const fn is_nvme(&self) -> bool {
        matches!(self, Self::FcNvme(_) | Self::NvmeTcp(_) | Self::NvmeRdma(_))
    }

    /// Whether a path that was removed with its port is looked for when that is back: SCSI does, NVMe has given its controller up.
    #[must_use]
    pub const fn is_found_anew(&self) -> bool {
        matches!(self, Self::FcScsi(_))
    }

    /// What a link must carry.
    #[must_use]
    pub const fn family(&self) -> Family {
        match self {
            Self::FcScsi(_) | Self::FcNvme(_) => Family::Fc,
            Self::Iscsi(_) | Self::NvmeTcp(_) | Self::NvmeRdma(_) | Self::Nfs(_) => Family::Ip,
            Self::Plain(_) => Family::Any,
        }
    }

    /// How its frames are wrapped on a link of that medium; `None` where it cannot cross one.
    #[must_use]
    pub const fn encapsulation(&self, medium: Medium) -> Option<Encapsulation> {
        match (self.family(), medium) {
            (Family::Any, _) => Some(Encapsulation::Plain),
            (Family::Fc, Medium::FibreChannel) => Some(Encapsulation::FibreChannel),
            (Family::Fc, Medium::Ethernet) => Some(Encapsulation::Fcoe),
            (Family::Ip, Medium::Ethernet) => Some(Encapsulation::Ethernet),
            (Family::Ip, Medium::FibreChannel) => None,
        }
    }

    /// Whether its IP packets are tagged; FCoE always is, whatever this says.
    #[must_use]
    pub const fn vlan(&self) -> Vlan {
        match self {
            Self::FcScsi(_) | Self::FcNvme(_) | Self::Plain(_) => Vlan::Untagged,
            Self::NvmeRdma(options) => options.vlan,
            Self::Iscsi(IscsiOptions { tcp, .. })
            | Self::NvmeTcp(NvmeTcpOptions { tcp, .. })
            | Self::Nfs(NfsOptions { tcp, .. }) => tcp.vlan,
        }
    }

    /// The TCP options, where it runs over TCP.
    #[must_use]
    pub const fn tcp(&self) -> Option<&TcpOptions> {
        match self {
            Self::Iscsi(IscsiOptions { tcp, .. })
            | Self::NvmeTcp(NvmeTcpOptions { tcp, .. })
            | Self::Nfs(NfsOptions { tcp, .. }) => Some(tcp),
            Self::FcScsi(_) | Self::FcNvme(_) | Self::NvmeRdma(_) | Self::Plain(_) => None,
        }
    }

    /// The largest Ethernet packet it sends, bytes: every Ethernet hop needs at least this MTU. `None` for
    /// plain frames.
    ///
    /// TCP fills packets to its own MTU; FCoE needs its data field and 46 bytes more (2158 for 2112);
    /// RoCEv2 its path MTU and 60 (IPv4).
    #[must_use]
    pub fn minimum_mtu(&self) -> Option<u32> {
        match self {
            Self::FcScsi(options) | Self::FcNvme(options) => {
                Some(framing::fcoe_packet(options.field()))
            }
            Self::NvmeRdma(options) => Some(options.packet_max()),
            Self::Iscsi(_) | Self::NvmeTcp(_) | Self::Nfs(_) => self.tcp().map(|tcp| tcp.mtu),
            Self::Plain(_) => None,
        }
    }

    /// All messages and frames of one I/O of `size` bytes, 1 to [`super::SIZE_MAX`]; sizes outside are
    /// taken as the nearest of these (readers of input refuse them before).
    ///
    /// Cost: linear in the number of PDUs; worth keeping per distinct size.
    #[must_use]
    pub fn plan(&self, op: Op, size: u64) -> Plan {
        #[cfg(test)]
        PLANS.set(PLANS.get() + 1);
        let size = within_limits(size);
        match self {
            Self::FcScsi(options) => fc::scsi_plan(options, op, size),
            Self::FcNvme(options) => fc::nvme_plan(options, op, size),
            Self::Iscsi(options) => options.plan(op, size),
            Self::NvmeTcp(options) => options.plan(op, size),
            Self::NvmeRdma(options) => options.plan(op, size),
            Self::Nfs(options) => options.plan(op, size),
            Self::Plain(options) => options.plan(op, size),
        }
    }
}

#[cfg(test)]
thread_local! {
    /// Plans made on this thread: tests hold that they do not grow with a site.
    pub(crate) static PLANS: std::cell::Cell<u64> = const { std::cell::Cell::new(0) };
}
