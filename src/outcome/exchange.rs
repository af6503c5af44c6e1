//! One I/O byte by byte, and what many sizes of it make of several links.

use serde::Serialize;

/// Everything said of one I/O.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Exchange {
    /// Protocol key, `nvme-tcp`.
    pub protocol: &'static str,
    /// The protocol as people write it.
    #[serde(skip)]
    pub title: &'static str,
    /// `read` or `write`.
    pub op: &'static str,
    /// Bytes read or written.
    pub size_bytes: u64,
    /// Largest packet on IP links; `null` for Fibre Channel.
    pub mtu_bytes: Option<u32>,
    /// Wrapping on the first of `links`, which all figures but those of `links` are for.
    pub encapsulation: &'static str,
    /// Times that one end waits for the other.
    pub round_trips: u64,
    /// Messages in the order in which they are sent.
    pub messages: Vec<Message>,
    /// Totals towards the array.
    pub host_to_array: Total,
    /// Totals towards the host.
    pub array_to_host: Total,
    /// What each frame carries beside its message.
    pub frame_overhead: Vec<LayerRow>,
    /// Storage payload ÷ wire bytes of the direction that carries the data.
    pub payload_share: f64,
    /// Length of the link, m; 5 ns each.
    pub length_m: f64,
    /// The same I/O on each link asked for.
    pub links: Vec<LinkRow>,
}

/// One burst of frames.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Message {
    /// What it is.
    pub name: &'static str,
    /// `host to array` or `array to host`.
    pub direction: &'static str,
    /// Whether the array serves the request when this has arrived.
    pub served: bool,
    /// Frames of the burst.
    pub frames: u64,
    /// Storage payload in it.
    pub payload_bytes: u64,
    /// Its wire bytes.
    pub wire_bytes: u64,
    /// Pure ACKs that it draws the other way.
    pub pure_acks_back: u32,
    /// When its first frame leaves on the first of the links, idle, service in the array excluded.
    pub leaves_us: f64,
    /// When its last frame has arrived.
    pub arrives_us: f64,
    /// Runs of frames that are alike, in order.
    pub runs: Vec<FramesAlike>,
}

/// Frames in a row that are alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct FramesAlike {
    /// How many.
    pub frames: u32,
    /// Storage payload in each.
    pub payload_bytes: u32,
    /// Wire bytes of each.
    pub wire_bytes: u32,
}

/// One direction. Pure ACKs are counted apart and are not among `frames`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Total {
    /// Frames.
    pub frames: u64,
    /// Wire bytes, gaps included.
    pub wire_bytes: u64,
    /// Pure ACKs drawn by the bursts of the other direction.
    pub pure_acks: u64,
    /// Their wire bytes.
    pub pure_ack_wire_bytes: u64,
    /// Where the wire bytes go; they add up.
    pub account: AccountRow,
}

/// Where wire bytes go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct AccountRow {
    /// Storage payload.
    pub payload_bytes: u64,
    /// Messages of the protocol: commands, responses, headers, digests, fill and padding.
    pub protocol_bytes: u64,
    /// TCP, UDP, RDMA transport.
    pub transport_bytes: u64,
    /// IP, or the Fibre Channel header.
    pub network_bytes: u64,
    /// Ethernet, delimiters, checks, the wrapping of FCoE.
    pub link_bytes: u64,
    /// Preambles and gaps.
    pub gap_bytes: u64,
}

impl AccountRow {
    /// The parts with their names, in order.
    #[must_use]
    pub const fn parts(&self) -> [(&'static str, u64); 6] {
        [
            ("payload", self.payload_bytes),
            ("protocol", self.protocol_bytes),
            ("transport", self.transport_bytes),
            ("network", self.network_bytes),
            ("link", self.link_bytes),
            ("gap", self.gap_bytes),
        ]
    }
}

/// Bytes of one layer in each frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct LayerRow {
    /// In words of the trade.
    pub layer: &'static str,
    /// In each frame.
    pub bytes: u32,
}

/// The same I/O on one link technology.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LinkRow {
    /// Label.
    pub link: &'static str,
    /// How frames are wrapped on it.
    pub encapsulation: &'static str,
    /// Line rate less code and FEC.
    pub usable_gb_s: f64,
    /// Wire bytes towards the array.
    pub host_to_array_wire_bytes: u64,
    /// Wire bytes towards the host.
    pub array_to_host_wire_bytes: u64,
    /// What code and FEC parity add on the line.
    pub host_to_array_coding_bytes: f64,
    /// The same towards the host.
    pub array_to_host_coding_bytes: f64,
    /// Time its frames occupy the direction, pure ACKs excluded.
    pub host_to_array_us: f64,
    /// The same towards the host.
    pub array_to_host_us: f64,
    /// The direction that is full first when such I/Os saturate the link; pure ACKs count.
    pub fuller: &'static str,
    /// Payload per second then, 10^6 bytes.
    pub goodput_mb_s: f64,
    /// I/Os per second then.
    pub saturated_iops: f64,
    /// One I/O over the idle link: the three parts below. No adapters, no switches, no service in the array.
    pub idle_us: f64,
    /// Of it: frames on the wire.
    pub serialization_us: f64,
    /// Of it: the length, once a message.
    pub propagation_us: f64,
    /// Of it: FEC, once a message.
    pub fec_us: f64,
}

/// Many sizes of one kind of I/O over several protocols and links.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sizes {
    /// `read` or `write`.
    pub op: &'static str,
    /// One a protocol, link and MTU, in the order asked for.
    pub series: Vec<Series>,
}

/// One protocol on one link.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Series {
    /// `SCSI over FC, 32GFC`; with the MTU on IP links.
    pub name: String,
    /// Protocol key.
    pub protocol: &'static str,
    /// Label.
    pub link: &'static str,
    /// How frames are wrapped on it.
    pub encapsulation: &'static str,
    /// Largest packet on IP links.
    pub mtu_bytes: Option<u32>,
    /// Usable rate of the link, 10^6 bytes per second.
    pub usable_mb_s: f64,
    /// One a size, sizes rising.
    pub points: Vec<SizePoint>,
}

/// One size.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SizePoint {
    /// Bytes read or written.
    pub size_bytes: u64,
    /// Towards the array.
    pub host_to_array: Way,
    /// Towards the host.
    pub array_to_host: Way,
    /// Storage payload ÷ wire bytes of the direction that carries the data.
    pub payload_share: f64,
    /// Payload per second when such I/Os saturate the link, 10^6 bytes.
    pub goodput_mb_s: f64,
    /// I/Os per second then.
    pub saturated_iops: f64,
}

/// Frames and bytes of one direction, pure ACKs excluded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Way {
    /// Frames.
    pub frames: u64,
    /// Wire bytes, gaps included.
    pub wire_bytes: u64,
}
