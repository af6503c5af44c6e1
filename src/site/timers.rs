//! Every timer by which a host or a fabric notices a loss, and what it then does.

use crate::unit::Duration;

/// How often LACP speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LacpRate {
    /// Every 30 s; a silent member is given up after 90 s.
    Slow,
    /// Every second; given up after 3 s.
    Fast,
}

/// What a host does with an I/O when no path is in good standing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoPath {
    /// As hosts of the protocol usually do: NVMe holds it as long as one of its controllers is still tried (`controller_loss`),
    /// then fails it; all others fail it at once.
    ByProtocol,
    /// Fails it at once.
    Fail,
    /// Holds it until the host has had no path for so many path checks, then fails it.
    Retry(u32),
    /// Holds it until a path returns.
    Queue,
}

/// When a host uses a path again that was given up and has come back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failback {
    /// As soon as it is found.
    Immediate,
    /// So long after it was found.
    After(Duration),
    /// Not before everything else is gone.
    Manual,
}

/// The timers of one host family. Defaults and their marks are the reader's (`scenario`).
#[derive(Clone, Debug, PartialEq)]
pub struct Timers {
    /// Name of the preset they started from: `default` or `short`.
    pub preset: &'static str,
    /// From the loss of signal until the local port is known to be down.
    pub link_loss_detect: Duration,
    /// Until hosts are told of a loss beyond their local link, added to `link_loss_detect`.
    pub state_notice: Duration,
    /// SCSI over FC: I/O on a lost remote port is held so long; `None` holds until `device_loss`.
    pub fast_io_fail: Option<Duration>,
    /// SCSI over FC: the remote port is removed so long after its loss was noticed, and must be found anew.
    pub device_loss: Duration,
    /// An attempt without an answer is given up (SCSI and NVMe).
    pub command_timeout: Duration,
    /// Attempts after the first before an I/O fails.
    pub retries: u32,
    /// A failed path is tried again this often.
    pub path_check: Duration,
    /// SCSI over FC: paths in good standing are checked at intervals that double up to this.
    pub path_check_max: Duration,
    /// When a path that has come back is used again.
    pub failback: Failback,
    /// No path left.
    pub no_path: NoPath,
    /// NVMe over TCP and RDMA, NFS: a server that does not answer is noticed after this.
    pub keep_alive: Duration,
    /// NVMe over TCP: a lost controller is tried again this often.
    pub reconnect: Duration,
    /// NVMe: a controller is given up after this.
    pub controller_loss: Duration,
    /// iSCSI: a connection that has been quiet for so long is pinged.
    pub iscsi_ping: Duration,
    /// iSCSI: a ping without an answer for so long, and the connection is given up.
    pub iscsi_ping_timeout: Duration,
    /// iSCSI: I/O of a lost session is held so long for a new one, then it goes elsewhere.
    pub iscsi_replacement: Duration,
    /// TCP retransmission: smallest timeout.
    pub tcp_rto_min: Duration,
    /// TCP retransmission: largest timeout after doubling.
    pub tcp_rto_max: Duration,
    /// TCP gives a connection up when so many retransmissions have not been answered.
    pub tcp_retries: u32,
    /// A team for file traffic: from the notice of a lost port until the other one is in use everywhere.
    pub team_switch: Duration,
    /// A team asks its array over the port in use, and gives the port up without an answer for so long; `None`
    /// does not ask, and sees only a link that loses its signal.
    pub team_probe: Option<Duration>,
    /// Virtual servers: from the loss of a host until the cluster takes it for lost.
    pub guest_detect: Duration,
    /// Virtual servers: from then until the guests run on other hosts.
    pub guest_restart: Duration,
    /// Extra hold before an I/O is sent again on another path.
    pub quiesce: Duration,
    /// A fabric stops using a lost link this long after the loss of signal, others of its group carrying on.
    pub lag_rehash: Duration,
    /// The same where none is left between two Fibre Channel switches, and frames go another way.
    pub fc_reroute: Duration,
    /// The same between two switches on Ethernet.
    pub ethernet_reroute: Duration,
    /// The same where the group goes over both switches of a pair, and one of them has none left.
    pub peer_loss: Duration,
    /// A silently lost link between Fibre Channel switches is given up.
    pub fc_dead: Duration,
    /// LACP rate: when a silently lost member is given up, on Ethernet.
    pub lacp: LacpRate,
}

impl Timers {
    /// All of them zero or off: before anything is read, or where none of them matters.
    pub const ZERO: Self = Self {
        preset: "default",
        link_loss_detect: Duration::ZERO,
        state_notice: Duration::ZERO,
        fast_io_fail: None,
        device_loss: Duration::ZERO,
        command_timeout: Duration::ZERO,
        retries: 0,
        path_check: Duration::ZERO,
        path_check_max: Duration::ZERO,
        failback: Failback::Immediate,
        no_path: NoPath::Fail,
        keep_alive: Duration::ZERO,
        reconnect: Duration::ZERO,
        controller_loss: Duration::ZERO,
        iscsi_ping: Duration::ZERO,
        iscsi_ping_timeout: Duration::ZERO,
        iscsi_replacement: Duration::ZERO,
        tcp_rto_min: Duration::ZERO,
        tcp_rto_max: Duration::ZERO,
        tcp_retries: 0,
        guest_detect: Duration::ZERO,
        guest_restart: Duration::ZERO,
        team_switch: Duration::ZERO,
        team_probe: None,
        quiesce: Duration::ZERO,
        lag_rehash: Duration::ZERO,
        fc_reroute: Duration::ZERO,
        ethernet_reroute: Duration::ZERO,
        peer_loss: Duration::ZERO,
        fc_dead: Duration::ZERO,
        lacp: LacpRate::Slow,
    };
}
