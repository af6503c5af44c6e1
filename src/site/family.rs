//! Families of parts: hosts, chassis, switches, arrays, links.

use super::Timers;
use crate::unit::{Duration, Rate, Side};
use crate::wire::{HostBus, Medium};

/// Chassis with slots; its modules are the switch families whose `per` names it.
#[derive(Clone, Debug, PartialEq)]
pub struct Chassis {
    /// Family name; instances are `name-1` … (or `name` alone when there is one and no count was stated).
    pub name: String,
    /// Number of chassis, at least 1.
    pub count: u32,
    /// Whether a count was stated, so that names carry a number.
    pub numbered: Numbered,
    /// Slots in each; 0 when not stated.
    pub slots: u32,
    /// Hosts in each chassis: index into [`super::Site::hosts`] and how many of them.
    pub holds: Vec<(usize, u32)>,
}

/// Whether instance names of a family carry a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Numbered {
    /// `name-1`, `name-2`, …
    Yes,
    /// `name`: no count was stated.
    No,
}

impl Numbered {
    /// The name of instance `index` (from 0), fabric suffix excluded.
    #[must_use]
    pub fn name(self, family: &str, index: u32) -> String {
        match self {
            Self::Yes => format!("{family}-{}", index + 1),
            Self::No => family.to_owned(),
        }
    }
}

/// How a host picks among its paths in good standing with a free slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PathPolicy {
    /// In turn.
    RoundRobin,
    /// Fewest I/Os issued and not completed.
    LeastQueue,
    /// Fewest bytes issued and not completed.
    LeastBytes,
    /// Always the first in good standing.
    OnePath,
    /// The paths with the fewest hops and the lowest idle latency, in turn among equals.
    Nearest,
    /// Uniformly at random (for checks).
    Random,
}

impl PathPolicy {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::RoundRobin,
        Self::LeastQueue,
        Self::LeastBytes,
        Self::OnePath,
        Self::Nearest,
        Self::Random,
    ];

    /// The word by which a scenario asks for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::RoundRobin => "round-robin",
            Self::LeastQueue => "least-queue",
            Self::LeastBytes => "least-bytes",
            Self::OnePath => "one-path",
            Self::Nearest => "nearest",
            Self::Random => "random",
        }
    }
}

/// How the file traffic (NFS) of a host uses its ports. Everything else uses all its paths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Team {
    /// No team: all paths, as any other protocol.
    Off,
    /// One port at a time, the first one in front.
    First,
    /// One port at a time, in front port `i` modulo their number for host `i`.
    Alternate,
}

/// What becomes of the work of a host that is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guests {
    /// It stays with its host.
    Stay,
    /// It is that of virtual servers, which are restarted on the other hosts of the family.
    Restart,
}

/// Hosts of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct HostFamily {
    /// Family name.
    pub name: String,
    /// Number of hosts, at least 1.
    pub count: u32,
    /// Whether names carry a number.
    pub numbered: Numbered,
    /// The chassis family that holds them, if any: index into [`super::Site::chassis`].
    pub chassis: Option<usize>,
    /// Path policy.
    pub paths: PathPolicy,
    /// Commands in flight per path; `None` is unlimited.
    pub queue_depth: Option<u32>,
    /// Every timer that applies to these hosts.
    pub timers: Timers,
    /// What becomes of the work of a lost host.
    pub guests: Guests,
    /// How file traffic uses the ports.
    pub team: Team,
    /// Which ports share an adapter, and its fate.
    pub adapter_per: AdapterPer,
    /// The bus between a host and its adapters, where stated. Reviews and paths apply it; the model does not
    /// simulate it.
    pub bus: Option<AdapterBus>,
}

/// The bus of a host's adapters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AdapterBus {
    /// Generation, lanes and maximum payload.
    pub bus: HostBus,
    /// Who has one.
    pub per: BusPer,
}

/// Which ports of a host are on one adapter: a part that is lost as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AdapterPer {
    /// Each port is an adapter of its own, and goes by the name of the port.
    Port,
    /// The first port of each fabric is on one (`db-1:adapter-1`), the second of each on the next.
    Pair,
    /// All ports on one fabric are on one: `db-1:adapter-A`.
    Fabric,
    /// All ports of a host are on one: `db-1:adapter`.
    Host,
}

/// How many ports share a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BusPer {
    /// Each port is an adapter with a bus of its own.
    Port,
    /// Each adapter has one, which its ports share.
    Adapter,
    /// All ports of a host share one.
    Host,
}

/// On which fabric a family stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fabric {
    /// One on each: `edge-A`, `edge-B`.
    Each,
    /// On one side only, with that side's suffix.
    Only(Side),
    /// Belongs to neither; no suffix.
    Shared,
}

impl Fabric {
    /// The sides on which an instance exists: both, one, or `None` alone for a shared one.
    #[must_use]
    pub fn sides(self) -> &'static [Option<Side>] {
        match self {
            Self::Each => &[Some(Side::A), Some(Side::B)],
            Self::Only(Side::A) => &[Some(Side::A)],
            Self::Only(Side::B) => &[Some(Side::B)],
            Self::Shared => &[None],
        }
    }
}

/// When a switch may begin to send a frame onward.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Forwarding {
    /// After the header, when the output is not faster than the input and the encapsulation stays.
    CutThrough,
    /// After the whole frame.
    StoreAndForward,
}

/// What an edge switch or module does to its host ports when all its uplinks are gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UplinkLoss {
    /// Leaves them up: hosts do not notice at once.
    Keep,
    /// Takes them down after this time, so that hosts see a lost link.
    DropHostPorts(Duration),
}

/// Switches of one kind; a chassis module is one too.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchFamily {
    /// Family name.
    pub name: String,
    /// Number per fabric (or in all when shared); for a module the number of chassis.
    pub count: u32,
    /// Whether names carry a number.
    pub numbered: Numbered,
    /// The chassis family of which each chassis has one per fabric: index into [`super::Site::chassis`].
    pub per: Option<usize>,
    /// On which fabric.
    pub fabric: Fabric,
    /// Forwarding delay, queueing excluded.
    pub delay: Duration,
    /// Forwarding mode.
    pub forwarding: Forwarding,
    /// Port budget: label of the technology and number of such ports in each switch.
    pub ports: Vec<(String, u32)>,
    /// Most uplink members a module can have, if stated.
    pub uplinks_max: Option<u32>,
    /// What happens to host ports when the uplinks are lost.
    pub on_uplink_loss: UplinkLoss,
    /// Salt of the member choice; `None` derives it from the name.
    pub salt: Option<u64>,
}

/// A service-time law. Times are drawn per request.
#[derive(Clone, Debug, PartialEq)]
pub enum Law {
    /// Always this long.
    Constant(Duration),
    /// Exponential with this mean.
    Exponential(Duration),
    /// exp(N(ln median, sigma)): `sigma` is the standard deviation of the logarithm.
    Lognormal {
        /// Median.
        median: Duration,
        /// Standard deviation of the natural logarithm, > 0.
        sigma: f64,
    },
    /// One of several laws, by weight; weights sum to 1.
    Mixture(Vec<(f64, Self)>),
    /// One of these measured times, each equally likely.
    Empirical(Vec<Duration>),
}

impl Law {
    /// The mean in seconds (lognormal: median × exp(sigma² / 2)).
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn mean_s(&self) -> f64 {
        match self {
            Self::Constant(time) | Self::Exponential(time) => time.as_secs_f64(),
            Self::Lognormal { median, sigma } => {
                median.as_secs_f64() * libm::exp(sigma * sigma / 2.0)
            }
            Self::Mixture(parts) => parts
                .iter()
                .map(|(weight, law)| weight * law.mean_s())
                .sum(),
            Self::Empirical(times) => {
                times.iter().map(|time| time.as_secs_f64()).sum::<f64>() / times.len().max(1) as f64
            }
        }
    }

    /// The second moment about zero, in seconds squared (exponential: 2 × mean²; lognormal: median² × exp(2
    /// sigma²)).
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn second_moment_s2(&self) -> f64 {
        let square = |time: &Duration| time.as_secs_f64() * time.as_secs_f64();
        match self {
            Self::Constant(time) => square(time),
            Self::Exponential(time) => 2.0 * square(time),
            Self::Lognormal { median, sigma } => square(median) * libm::exp(2.0 * sigma * sigma),
            Self::Mixture(parts) => parts
                .iter()
                .map(|(weight, law)| weight * law.second_moment_s2())
                .sum(),
            Self::Empirical(times) => {
                times.iter().map(square).sum::<f64>() / times.len().max(1) as f64
            }
        }
    }

    /// Whether it is exponential.
    #[must_use]
    pub const fn is_exponential(&self) -> bool {
        matches!(self, Self::Exponential(_))
    }
}

/// Reads in an array.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadService {
    /// Chance of a hit, 0..=1.
    pub hit: f64,
    /// Time of a hit.
    pub hit_time: Law,
    /// Time of a miss.
    pub miss_time: Law,
    /// Added per MiB read.
    pub per_mib: Duration,
}

/// Writes in an array.
#[derive(Clone, Debug, PartialEq)]
pub struct WriteService {
    /// Time of a write.
    pub time: Law,
    /// Added per MiB written.
    pub per_mib: Duration,
    /// Trip to the other controller and back, added to every write; zero when not configured.
    pub mirror: Duration,
}

/// Arrays of one kind. Instances are named like hosts; controllers are `NAME-c1`, `NAME-c2`, ….
#[derive(Clone, Debug, PartialEq)]
pub struct ArrayFamily {
    /// Family name.
    pub name: String,
    /// Controllers, at least 1.
    pub controllers: u32,
    /// Requests worked on at once, per controller, at least 1.
    pub parallel: u32,
    /// Commands that one port accepts at once, for the static review; no run depends on it.
    pub port_commands: u32,
    /// From the loss of a controller until its partner serves the volumes that it owns.
    pub takeover: Duration,
    /// Reads.
    pub read: ReadService,
    /// Writes.
    pub write: WriteService,
}

/// One end of a link family.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Index into [`super::Site::hosts`].
    Host(usize),
    /// Index into [`super::Site::switches`].
    Switch(usize),
    /// Index into [`super::Site::arrays`].
    Array(usize),
}

/// Which protocols may cross a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carries {
    /// Only IP.
    Ip,
    /// Only Fibre Channel (native, or over Ethernet on an Ethernet link).
    Fc,
    /// Both.
    All,
}

/// How a frame chooses among the members of a link aggregation group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Choose {
    /// By the addresses of the flow.
    Flow,
    /// By the addresses and the exchange.
    Exchange,
    /// Frame by frame in turn.
    Frame,
    /// By the sender's position: sender `i` on member `i` modulo the members alive.
    Pinned,
}

/// How the instances of two families are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wiring {
    /// Instance `i` of the larger family to instance `i` modulo the size of the smaller.
    Dealt,
    /// Instance `i` to instance `i`; the sizes are equal.
    OneToOne,
    /// Each to each.
    Mesh,
}

/// How far a link aggregation group reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lag {
    /// The members between two switches.
    Single,
    /// One group over both switches of a pair (multi-chassis).
    Across,
}

/// A breakout cage: one port, one cable, one fate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cage {
    /// Legs of the cage.
    pub legs: u32,
    /// Legs in use.
    pub lit: u32,
}

/// Links of one kind between two families.
#[derive(Clone, Debug, PartialEq)]
pub struct LinkFamily {
    /// Name: as stated, else `FROM-TO`.
    pub name: String,
    /// Near end: hosts or switches.
    pub from: End,
    /// Far end: switches or arrays.
    pub to: End,
    /// Label of the technology, or the stated rate as written.
    pub label: String,
    /// Ethernet or Fibre Channel; `None` for a stated rate (lessons and checks).
    pub medium: Option<Medium>,
    /// Usable rate of one member.
    pub rate: Rate,
    /// Members of the group between each pair of instances, at least 1.
    pub members: u32,
    /// Separate array ports per controller and switch, at least 1; 1 for links that do not end at an array.
    pub ports: u32,
    /// Propagation delay of the whole length.
    pub propagation: Duration,
    /// FEC latency, added once a link.
    pub fec_latency: Duration,
    /// What may cross.
    pub carries: Carries,
    /// Member choice.
    pub choose: Choose,
    /// Wiring.
    pub wiring: Wiring,
    /// Reach of the group.
    pub lag: Lag,
    /// Breakout, if any.
    pub cage: Option<Cage>,
    /// Largest Ethernet payload (MTU) in bytes; ignored on Fibre Channel.
    pub mtu: u32,
}
