//! The site as a diagram: folded nodes and bundles of links, before any layout.

use serde::Serialize;

/// What a node is drawn as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Hosts.
    Host,
    /// A chassis module.
    Module,
    /// A switch.
    Switch,
    /// An array.
    Array,
}

/// Where a node stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lane {
    /// Fabric A.
    A,
    /// Fabric B.
    B,
    /// Neither.
    Middle,
}

/// The folded site.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Picture {
    /// Nodes in scenario order.
    pub nodes: Vec<PictureNode>,
    /// Bundles of links.
    pub pipes: Vec<Pipe>,
}

/// A family (or one instance of a shared one) as one node.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PictureNode {
    /// Name: `db`, `edge-A`, `lan-1`.
    pub name: String,
    /// Second line: "6 hosts, 2 each", "2 controllers", "FC switch".
    pub detail: String,
    /// How many it stands for.
    pub count: u32,
    /// Drawn as.
    pub shape: Shape,
    /// Lane.
    pub lane: Lane,
    /// Chassis that frames it: name and count.
    pub chassis: Option<(String, u32)>,
    /// Cases (by index) in which it is lost.
    pub lost_in: Vec<usize>,
    /// Distance in layers from the hosts: hosts of a chassis 0, its modules 1, ….
    pub layer: u32,
    /// An array: the protocols that it is spoken to in, in order of name. Empty for everything else.
    pub protocols: Vec<String>,
}

/// All links between two folded nodes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pipe {
    /// Index of the near node (towards hosts).
    pub from: usize,
    /// Index of the far node (towards arrays).
    pub to: usize,
    /// "2 × 32GFC", "12 × 100GbE".
    pub label: String,
    /// "2 of 4 legs lit", "one cage", or empty.
    pub detail: String,
    /// Fabric of the bundle.
    pub lane: Lane,
    /// Load in each case, `None` where the bundle is lost.
    pub load: Vec<Option<PipeLoad>>,
}

/// Load of a bundle in its busier direction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PipeLoad {
    /// Mean of the run, all members together.
    pub mean_percent: f64,
    /// Asked in the busiest 20 ms, all members together; over 100 when it cannot keep up.
    pub asked_peak_percent: f64,
    /// Asked of the fullest member in its busiest 20 ms, in the same direction.
    pub fullest_percent: f64,
    /// True when the busier direction is from hosts towards arrays.
    pub toward_array: bool,
}
