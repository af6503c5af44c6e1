//! The parts of an expanded site.

use crate::site::{Carries, Choose, Forwarding};
use crate::unit::{Duration, Rate, Side};
use crate::wire::Medium;

/// Index of a node in [`super::Fabric::nodes`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct NodeId(pub u32);

/// Index of a member in [`super::Fabric::members`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct MemberId(pub u32);

/// Index of a direction: member × 2, plus 0 towards the arrays or 1 towards the hosts.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct DirectionId(pub u32);

impl DirectionId {
    /// The member it belongs to.
    #[must_use]
    pub const fn member(self) -> MemberId {
        MemberId(self.0 / 2)
    }

    /// Whether it leads towards the arrays.
    #[must_use]
    pub const fn toward_array(self) -> bool {
        self.0.is_multiple_of(2)
    }

    /// As an index.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0 as usize
    }
}

/// What a node is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NodeKind {
    /// A port of a host: index into [`super::Fabric::hosts`].
    HostPort(u32),
    /// A switch: index into [`super::Fabric::switches`].
    Switch(u32),
    /// A port of a controller: index into [`super::Fabric::controllers`].
    ArrayPort(u32),
}

/// A port or a switch.
#[derive(Clone, Debug)]
pub struct Node {
    /// `db-1:A1`, `edge-A`, `vault-c1:A2`.
    pub name: String,
    /// What it is.
    pub kind: NodeKind,
    /// Fabric, or `None` for neither.
    pub side: Option<Side>,
    /// Salt (switch) or address (port): a digest of the name without the fabric's letter.
    pub digest: u64,
    /// Forwarding delay; zero at ports.
    pub delay: Duration,
    /// Forwarding mode; ports end a route.
    pub forwarding: Forwarding,
    /// Directions that leave it, in order of creation.
    pub out: Vec<DirectionId>,
    /// Number of this port among the ports of its owner on its side, from 0.
    pub port: u32,
    /// Name of the adapter that a host port is on with others of its host: `db-1:adapter-1`.
    pub adapter: Option<String>,
}

/// A host.
#[derive(Clone, Debug)]
pub struct HostInstance {
    /// Index into [`crate::site::Site::hosts`].
    pub family: usize,
    /// Position in the family, from 0.
    pub index: u32,
    /// Name.
    pub name: String,
    /// Chassis instance (family, index) that holds it.
    pub chassis: Option<(usize, u32)>,
    /// Its ports in order of creation.
    pub ports: Vec<NodeId>,
}

/// A switch.
#[derive(Clone, Debug)]
pub struct SwitchInstance {
    /// Index into [`crate::site::Site::switches`].
    pub family: usize,
    /// Position in the family on its side, from 0.
    pub index: u32,
    /// Its node.
    pub node: NodeId,
    /// Chassis instance whose module it is.
    pub chassis: Option<(usize, u32)>,
}

/// A controller.
#[derive(Clone, Debug)]
pub struct Controller {
    /// Index into [`crate::site::Site::arrays`].
    pub array: usize,
    /// Position in the array, from 0.
    pub index: u32,
    /// `vault-c1`.
    pub name: String,
    /// Its ports in order of creation.
    pub ports: Vec<NodeId>,
}

/// One cable (or leg): one member of a link between two nodes.
#[derive(Clone, Debug)]
pub struct Member {
    /// Index into [`crate::site::Site::links`].
    pub family: usize,
    /// `edge-A~san-A` of all members of one link between the same two nodes; with the link's name,
    /// `edge-A~san-A~backup`, where another link joins the same two.
    pub bundle: String,
    /// Position in the bundle, from 0.
    pub index: u32,
    /// Members in the bundle.
    pub of: u32,
    /// Near node (towards the hosts).
    pub near: NodeId,
    /// Far node.
    pub far: NodeId,
    /// Name of the cage it is a leg of: `edge-A~san-A/cage-1`.
    pub cage: Option<String>,
    /// Another link joins the same two nodes, so that names need the link's.
    pub shares_ends: bool,
    /// Fabric: that of either end.
    pub side: Option<Side>,
}

impl Member {
    /// `edge-A~san-A`, with `/2` when the bundle has several members.
    #[must_use]
    pub fn name(&self) -> String {
        if self.of > 1 {
            format!("{}/{}", self.bundle, self.index + 1)
        } else {
            self.bundle.clone()
        }
    }
}

/// One direction of a member.
#[derive(Clone, Copy, Debug)]
pub struct Direction {
    /// Sending node.
    pub from: NodeId,
    /// Receiving node.
    pub to: NodeId,
    /// Usable rate.
    pub rate: Rate,
    /// Propagation, in full.
    pub propagation: Duration,
    /// Propagation and FEC latency together: from the end on the wire to the arrival.
    pub latency: Duration,
    /// Technology's medium; `None` for a stated rate.
    pub medium: Option<Medium>,
    /// What may cross.
    pub carries: Carries,
    /// Member choice at the sender.
    pub choose: Choose,
    /// Link family.
    pub family: usize,
}
