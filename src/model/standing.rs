//! The standing of a path, and the log of what happened to it.

use crate::unit::{Duration, Instant};

/// How a host sees a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// In use.
    Up,
    /// Lost, and nobody has noticed: it goes on taking I/Os up to its depth.
    Unnoticed,
    /// Noticed and held: it goes on taking I/Os up to its depth.
    Blocked,
    /// Given up: takes none.
    Failed,
    /// Emptied on purpose: takes none, what is under way finishes.
    Drained,
    /// Given up for good: takes none, and is not tried again; or, SCSI over FC, to be found anew when its port
    /// returns.
    Removed,
    /// Over a port of a team that is not in use: takes none.
    Standby,
    /// Back, and kept until its failback, or until there is no other.
    Returned,
}

/// The timer that made something happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TimerName {
    /// Loss of signal seen at the local port.
    LinkLossDetect,
    /// Notice of a loss beyond the local link.
    StateNotice,
    /// A held SCSI remote port is given up.
    FastIoFail,
    /// A held SCSI remote port is given up for want of fast-io-fail; or one lost for so long is removed.
    DeviceLoss,
    /// An attempt without an answer is given up.
    CommandTimeout,
    /// A controller over TCP does not answer.
    KeepAlive,
    /// A quiet iSCSI connection was pinged, and did not answer.
    IscsiPing,
    /// A lost iSCSI session was not replaced.
    SessionReplacement,
    /// A failed path is tried again.
    PathCheck,
    /// A path in good standing was checked, and did not answer.
    CheckerTimeout,
    /// A lost controller over TCP is tried again.
    Reconnect,
    /// Lost TCP segments are sent again.
    Retransmission,
    /// A group goes on without a lost member, or with a returned one.
    LagRehash,
    /// A switch no longer forwards over a lost link without others beside it, or does so again: as long as a rehash.
    Forwarding,
    /// A silently lost member is given up.
    Lacp,
    /// The fabric uses another route.
    Reroute,
    /// No hello of path selection over a link between FC switches for so long.
    FabricDead,
    /// The other switch of a pair serves the group.
    PeerLoss,
    /// No path left for so long.
    NoPath,
    /// An NVMe controller lost for so long is not tried again.
    ControllerLoss,
    /// What was under way on a path that was given up has been held for so long before it is sent again.
    Quiesce,
    /// A path that was back long enough is used again.
    Failback,
    /// TCP has sent a message again so many times that it gives the connection up.
    TcpGivesUp,
    /// The partner of a lost controller has its volumes.
    Takeover,
    /// A switch without uplinks takes its host ports down.
    UplinkLoss,
    /// A team got no answer over the port in use.
    TeamProbe,
    /// A team uses another port.
    TeamSwitch,
    /// The guests of a lost host run elsewhere.
    GuestRestart,
}

/// What the fabric takes note of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Note {
    /// Links are lost.
    Lost,
    /// Links are back.
    Returned,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LogKind {
    /// A scripted event, by its index in the run's script.
    Script(u32),
    /// A path changed its standing; `ios` were under way on it and, when it failed, sent elsewhere.
    Path {
        /// Path index.
        path: u32,
        /// New standing.
        to: Standing,
    },
    /// An attempt was given up.
    AttemptTimedOut {
        /// Path index.
        path: u32,
    },
    /// Lost segments were sent again.
    Resent {
        /// Workload index.
        workload: u32,
    },
    /// The fabric changed its routes.
    Rerouted(Note),
    /// The partner of a lost controller serves its volumes from now on: controller index.
    TakenOver(u32),
    /// A switch without uplinks took its host ports down.
    PortsDropped(u32),
    /// A switch has an uplink again, and put its host ports back.
    PortsBack(u32),
    /// A team has noticed that the port in use is lost.
    TeamNoticed {
        /// Path set index.
        set: u32,
    },
    /// The file traffic of a host goes over another port from now on; `ios` were under way, and moved with
    /// their connections.
    TeamMoved {
        /// Path set index.
        set: u32,
    },
    /// A host was lost with its guests: host index; `ios` were under way, and failed.
    GuestsLost(u32),
    /// The guests of a lost host run on the others of its family: host index; `ios` were not asked for meanwhile.
    GuestsRestarted(u32),
    /// A host was emptied on purpose, and its guests moved to the others of its family: host index.
    GuestsMoved(u32),
    /// A host was emptied on purpose, and asks for nothing more: host index.
    HostDrained(u32),
    /// An I/O failed.
    IoFailed {
        /// Workload index.
        workload: u32,
    },
}

/// One line of the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LogEntry {
    /// When.
    pub at: Instant,
    /// What.
    pub kind: LogKind,
    /// The timer that acted, and its value.
    pub timer: Option<(TimerName, Duration)>,
    /// I/Os concerned.
    pub ios: u64,
}
