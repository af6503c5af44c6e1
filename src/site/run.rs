//! Run control, outages, events, variants, and where every input came from.

use crate::unit::{Duration, Side};

/// How much of the start of a steady run is left out of the figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WarmUp {
    /// Found from the runs themselves (MSER-5 on the bins averaged over the replications).
    Auto,
    /// Stated.
    At(Duration),
}

/// Run control.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Length of a steady run, warm-up included.
    pub duration: Duration,
    /// Warm-up.
    pub warm_up: WarmUp,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Independent replications of each steady run, at least 1.
    pub replications: u32,
    /// Relative precision of every promised figure (0.02 for 2 %): replications are then added until it is
    /// reached. `None`: exactly `replications` are run.
    pub within: Option<f64>,
    /// Most replications that `within` may add up to.
    pub replications_max: u32,
    /// Replications of each switch-over run, at least 1.
    pub switch_replications: u32,
    /// Undisturbed time before the loss in a switch-over run.
    pub before: Duration,
    /// A switch-over run ends this long after the last timer that an event may start has run out, even if not
    /// settled.
    pub settle_limit: Duration,
    /// Unmeasured traffic goes on at most this long until the measured I/Os have finished.
    pub drain_limit: Duration,
    /// The side whose path comes first among equals. Only for symmetry checks; A unless stated.
    pub first: Side,
    /// Most events one run may handle before it is stopped and marked as partial.
    pub events_max: u64,
    /// Most bytes one run may hold for I/Os, attempts, events and frames before it is stopped likewise.
    pub memory_max: u64,
}

/// How a loss shows itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LossMode {
    /// The signal is lost: ports see it.
    Loud,
    /// Frames vanish and the signal stays.
    Silent,
}

/// One of the two ways of a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heading {
    /// From the hosts towards the arrays.
    Arrays,
    /// Back.
    Hosts,
}

/// What is wrong with a link that is there and not well.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slow {
    /// What is left of its rate, in millionths: 1 to 1,000,000.
    pub rate_ppm: u32,
    /// Chance that a frame is damaged on it, in thousand-millionths: 0 to 1,000,000,000.
    pub loss_ppb: u32,
}

impl Slow {
    /// The whole rate, in millionths.
    pub const WHOLE: u32 = 1_000_000;
    /// Certain loss, in thousand-millionths.
    pub const CERTAIN: u32 = 1_000_000_000;
    /// Nothing wrong.
    pub const WELL: Self = Self {
        rate_ppm: Self::WHOLE,
        loss_ppb: 0,
    };

    /// Whether no frame comes through.
    #[must_use]
    pub const fn damages_all(self) -> bool {
        self.loss_ppb >= Self::CERTAIN
    }
}

impl Action {
    /// How it takes links away, if it does. One that damages every frame is as good as lost: nothing comes, and the
    /// signal stays.
    #[must_use]
    pub const fn takes_away(self) -> Option<LossMode> {
        match self {
            Self::Lose(mode) => Some(mode),
            Self::LoseWay(_) => Some(LossMode::Silent),
            Self::Slow(slow) if slow.damages_all() => Some(LossMode::Silent),
            Self::Slow(_) | Self::Drain | Self::Restore => None,
        }
    }
}

/// A part that goes and comes back, several times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flap {
    /// From loss to loss.
    pub period: Duration,
    /// From loss to return, less than the period.
    pub down: Duration,
    /// Losses in all, at least 1.
    pub count: u32,
}

/// What becomes of the parts of an outage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// They are lost, for good as far as a study goes.
    Lost,
    /// One way of their links is lost, for good, and no signal tells.
    OneWay(Heading),
    /// Their links go on at a lower rate, or damage frames, or both, for good.
    Slow(Slow),
    /// They go and come back, and are there in the end.
    Flaps(Flap),
}

impl Fault {
    /// Whether the parts are taken out of service, rather than staying slow or coming back by themselves.
    #[must_use]
    pub const fn takes_out(self) -> bool {
        matches!(self, Self::Lost | Self::OneWay(_))
    }
}

/// A set of parts that something happens to together.
#[derive(Clone, Debug, PartialEq)]
pub struct Outage {
    /// Name: `A`, `B`, or one of the scenario's.
    pub name: String,
    /// Names or patterns (`*` stands for any run of characters) of the parts it takes.
    pub takes: Vec<String>,
    /// Set when it takes all parts of that side (whatever else it takes).
    pub side: Option<Side>,
    /// Loud or silent: how a loss of them shows itself, where they are lost.
    pub mode: LossMode,
    /// What becomes of them.
    pub fault: Fault,
}

impl Outage {
    /// How its parts are gone in the state after it; `None` where they are there, slow or not.
    #[must_use]
    pub const fn gone(&self) -> Option<LossMode> {
        match self.fault {
            Fault::Lost => Some(self.mode),
            Fault::OneWay(heading) => Action::LoseWay(heading).takes_away(),
            Fault::Slow(slow) => Action::Slow(slow).takes_away(),
            Fault::Flaps(_) => None,
        }
    }

    /// What is wrong with its links in the state after it, where they are there.
    #[must_use]
    pub const fn slow(&self) -> Option<Slow> {
        match self.fault {
            Fault::Slow(slow) if !slow.damages_all() => Some(slow),
            _ => None,
        }
    }

    /// The state after it, for people: `A lost`, `edge-A slow`.
    #[must_use]
    pub fn state(&self) -> String {
        let is = match self.fault {
            Fault::Slow(slow) if slow.damages_all() => "lost",
            Fault::Slow(slow) if slow.rate_ppm < Slow::WHOLE => "slow",
            Fault::Slow(_) => "damaging frames",
            Fault::Flaps(_) => "flapped",
            Fault::Lost | Fault::OneWay(_) => "lost",
        };
        format!("{} {is}", self.name)
    }
}

/// Parts that share a fate, such as all that hangs on one power feed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartGroup {
    /// Name: no part and no outage has it.
    pub name: String,
    /// Names or patterns of its parts.
    pub parts: Vec<String>,
}

/// What a scripted event does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// Parts are lost.
    Lose(LossMode),
    /// One way of links is lost: what is sent that way vanishes, and no signal tells.
    LoseWay(Heading),
    /// Links go on at a lower rate, or damage frames, or both.
    Slow(Slow),
    /// Parts come back: one loss of each is undone, and what was drained or slow is well again.
    Restore,
    /// New I/Os avoid the paths over these parts; what is under way finishes.
    Drain,
}

/// A scripted event.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, since the run began.
    pub at: Duration,
    /// What.
    pub action: Action,
    /// Patterns of the parts (an outage's name has been replaced by what it takes).
    pub parts: Vec<String>,
    /// Set when the target is a whole side.
    pub side: Option<Side>,
    /// The target as written.
    pub target: String,
    /// Number of its table in the scenario, from 1.
    pub number: u32,
    /// Of a flap: which time it is, and of how many.
    pub round: Option<(u32, u32)>,
}

/// A what-if: the same scenario with some values set otherwise.
#[derive(Clone, Debug)]
pub struct Variant {
    /// Name for people: "light the two dark legs".
    pub name: String,
    /// `key = value` pairs as in `--set`, already applied in `site`.
    pub set: Vec<(String, String)>,
    /// The site with them applied (its own `variants` is empty).
    pub site: Box<super::Site>,
}

/// Where a value came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    /// The user guessed it.
    Guessed,
    /// Common practice, no published source.
    CommonPractice,
    /// Stated in the scenario.
    Stated,
    /// The user measured it.
    Measured,
    /// In a published source.
    Published,
    /// In a standard.
    Standard,
}

/// One input and its mark.
#[derive(Clone, Debug, PartialEq)]
pub struct Assumption {
    /// Key as in the scenario: `array.vault.parallel`.
    pub key: String,
    /// What it is, for people: "requests in parallel, vault".
    pub what: String,
    /// Value as printed: `48 per controller`.
    pub value: String,
    /// Mark.
    pub basis: Basis,
    /// Source in words: title, edition or year, clause; or the scenario's line.
    pub source: String,
    /// Line in the scenario, if it stands there.
    pub line: Option<u32>,
}
