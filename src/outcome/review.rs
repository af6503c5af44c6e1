//! The static review: what can be said of a site before any run, and every path hop by hop.

use serde::Serialize;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Likely to break a promise or cut somebody off.
    Warning,
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReviewFinding {
    /// Severity.
    pub severity: Severity,
    /// Kind in a word or two: `one path`, `single point`, `unequal fabrics`, `queue budget`, `port budget`,
    /// `utilization`, `oversubscription`, `mtu`.
    pub kind: String,
    /// What was found, one sentence.
    pub what: String,
    /// What to do, one sentence.
    pub advice: String,
}

/// One tier of links on one fabric.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TierRow {
    /// `edge to san`.
    pub tier: String,
    /// Fabric, or `None` for neither.
    pub side: Option<char>,
    /// "2 × 32GFC".
    pub links: String,
    /// Sum of the labels' line rates per direction, Gb/s.
    pub nominal_gb_s: f64,
    /// Sum of the usable rates per direction, Gb/s.
    pub usable_gb_s: f64,
    /// Host side ÷ uplink side at the nearer switch, usable rates, one direction; `None` at the first tier.
    pub oversubscription: Option<f64>,
    /// A-priori utilization towards the arrays, per cent, by case (healthy, then each outage; `None` where
    /// the tier is lost). Means: wire bytes of the exchanges × rates ÷ usable rate.
    pub toward_array_percent: Vec<Option<f64>>,
    /// The same towards the hosts.
    pub toward_host_percent: Vec<Option<f64>>,
    /// The busier direction in a burst of the bursty workloads.
    pub burst_percent: Vec<Option<f64>>,
    /// By case: whether a closed loop crosses it. Such work takes what there is, and no figure above counts it.
    pub closed: Vec<bool>,
}

/// Name, requests in parallel, and per cent by case: on the mean, then in a burst.
pub type ControllerRow = (String, u32, Vec<Option<f64>>, Vec<Option<f64>>);

/// The whole static review.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Review {
    /// Names of the cases: `healthy`, `A lost`, ….
    pub cases: Vec<String>,
    /// Tiers, from the hosts to the arrays, A before B.
    pub tiers: Vec<TierRow>,
    /// Controllers' a-priori utilization by case: name, parallel, per cent on the mean and in a burst.
    pub controllers: Vec<ControllerRow>,
    /// By controller and case: whether a closed loop reaches it, which its figures do not count.
    pub closed_controllers: Vec<Vec<bool>>,
    /// Findings, warnings first.
    pub findings: Vec<ReviewFinding>,
    /// What closed forms say, by case.
    pub theory: Vec<super::TheoryRow>,
}

/// Every path between a host and an array for one protocol.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PathSheet {
    /// Host.
    pub host: String,
    /// Array.
    pub array: String,
    /// Workloads that use these paths, and their protocol.
    pub workloads: Vec<String>,
    /// Protocol key, `fc-scsi`.
    pub protocol: String,
    /// One row a path.
    pub paths: Vec<PathRow>,
}

/// One path.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PathRow {
    /// Fabric of the host port.
    pub side: Option<char>,
    /// Host port.
    pub host_port: String,
    /// Array port.
    pub array_port: String,
    /// Hops from host to array. Equal-cost next hops are listed together in one hop.
    pub hops: Vec<PathHop>,
    /// Idle latency from host to array of a frame of the size in `idle_frame_bytes`, fabric only.
    pub idle_us: f64,
    /// Frame size that `idle_us` was computed for, bytes on the wire of the first hop.
    pub idle_frame_bytes: u64,
    /// Index of the narrowest hop (least usable rate of all members together), the first of several that are as narrow.
    pub narrowest: usize,
    /// Smallest usable rate of one member along the path, Gb/s: what one flow can have.
    pub one_flow_gb_s: f64,
    /// The bus behind the host port, where stated; no run simulates it.
    pub host_bus: Option<HostBusRow>,
}

impl PathRow {
    /// Whether a hop is the narrowest, or one as narrow.
    #[must_use]
    pub fn is_narrowest(&self, hop: usize) -> bool {
        let rate = |hop: usize| self.hops.get(hop).map(|own| own.usable_gb_s);
        let (own, least) = (rate(hop), rate(self.narrowest));
        own.zip(least)
            .is_some_and(|(own, least)| (own - least).abs() <= 1e-9 * least)
    }
}

/// A host's bus as a bound of a path.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HostBusRow {
    /// `PCIe4x8`.
    pub bus: String,
    /// All ports of the host share it.
    pub shared: bool,
    /// Data into the host's memory (reads), Gb/s.
    pub into_host_gb_s: f64,
    /// Data out of the host's memory (writes), Gb/s.
    pub out_of_host_gb_s: f64,
    /// Data that the narrowest hop carries in full frames, Gb/s.
    pub hop_payload_gb_s: f64,
    /// Whether the bus carries less than that hop, in either direction.
    pub narrower: bool,
}

/// One hop.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PathHop {
    /// `db-1 > module-1-A`.
    pub name: String,
    /// `100GbE`.
    pub speed: String,
    /// Members that may be chosen, all equal-cost next hops together.
    pub members: u32,
    /// `Ethernet`, `FC`, `FCoE`.
    pub encapsulation: String,
    /// Line rate of all members, Gb/s.
    pub nominal_gb_s: f64,
    /// Usable rate of all members, Gb/s.
    pub usable_gb_s: f64,
    /// `cut-through` or `store-and-forward` onward; empty at the last hop.
    pub onward: String,
}
