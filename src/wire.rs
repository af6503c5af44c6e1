//! What storage traffic looks like on a wire, byte by byte.
//!
//! Link technologies with their exact rates ([`technologies`]), the bytes a frame takes ([`framing`]), and
//! the messages and frames of one I/O of each protocol ([`Protocol::plan`]). Everything here is a pure
//! function of its arguments: no time passes, nothing is drawn.
//!
//! Every constant names its standard and how far it was checked: *verified* (read in the standard, or in
//! open-source code that implements it), *secondary source* (read in a public page that quotes it), *from
//! memory* (the standard named is where to confirm it), or common practice without a source. Documents of
//! IEEE, T10, T11, IBTA and NVM Express were not read at first hand.
//!
//! Left out: loss and retransmission, encryption, connection set-up, management traffic.

pub mod fc;
pub mod framing;
pub mod iscsi;
mod layers;
pub mod nfs;
pub mod nvme_rdma;
pub mod nvme_tcp;
pub mod pcie;
mod plain;
mod plan;
pub(crate) mod protocol;
mod tcp;
mod technology;

#[cfg(test)]
mod identities;
#[cfg(test)]
mod properties;
#[cfg(test)]
mod throughput;
#[cfg(test)]
mod worked;

pub use fc::{Cdb, FcOptions, NvmeResponse};
pub use framing::{Encapsulation, Ip, Vlan};
pub use iscsi::{ImmediateData, InitialR2t, IscsiOptions, ReadStatus};
pub use layers::{Account, Layer, Purpose};
pub use nfs::{NfsOptions, NfsVersion};
pub use nvme_rdma::NvmeRdmaOptions;
pub use nvme_tcp::{NvmeTcpOptions, ResponseCapsule};
pub use pcie::HostBus;
pub use plain::PlainOptions;
pub use plan::{FrameRun, Op, Plan, SIZE_MAX, Then, Toward, Volley};
pub use protocol::{Family, Protocol};
pub use tcp::{Acks, Digests, TcpOptions, Timestamps};
pub use technology::{
    Code, FEC_DECODE, Fec, Mark, Medium, Modulation, Technology, all_technologies, technologies,
    technology, technology_with,
};
