//! What a site is: the typed, valid description of a dual fabric, its work and its promises. Plain data.
//!
//! `scenario` turns text into a [`Site`], `topology` expands its families into parts and links, `model` is
//! built from that, `study` varies it. Everything here has already been checked: references are indices
//! that exist, fractions lie in 0..=1, sums hold. Families stay folded here (one entry for six hosts).
//!
//! Left out: where a value stood in the text (only [`Assumption::line`] remembers), and every derived thing.

mod day;
mod family;
mod growth;
mod run;
mod timers;
mod work;

pub use day::DayShape;
pub use family::{
    AdapterBus, AdapterPer, ArrayFamily, BusPer, Cage, Carries, Chassis, Choose, End, Fabric,
    Forwarding, Guests, HostFamily, Lag, Law, LinkFamily, Numbered, PathPolicy, ReadService,
    SwitchFamily, Team, UplinkLoss, Wiring, WriteService,
};
pub use growth::{Growth, Step};
pub use run::{
    Action, Assumption, Basis, Event, Fault, Flap, Heading, LossMode, Outage, PartGroup, Run, Slow,
    Variant, WarmUp,
};
pub use timers::{Failback, LacpRate, NoPath, Timers};
pub use work::{
    Arrivals, Burst, BurstLaw, Measure, Owner, Per, Promise, Promises, Replay, SizeMix, TraceEntry,
    Workload,
};

/// A whole scenario, understood: what there is, what it is asked to do, and what was promised.
#[derive(Clone, Debug)]
pub struct Site {
    /// Title for people.
    pub title: String,
    /// Run control.
    pub run: Run,
    /// Timers of the fabric itself, and of every host family that states none of its own.
    pub timers: Timers,
    /// Chassis families.
    pub chassis: Vec<Chassis>,
    /// Host families.
    pub hosts: Vec<HostFamily>,
    /// Switch families, chassis modules included.
    pub switches: Vec<SwitchFamily>,
    /// Array families.
    pub arrays: Vec<ArrayFamily>,
    /// Link families.
    pub links: Vec<LinkFamily>,
    /// Workloads.
    pub workloads: Vec<Workload>,
    /// Outages, A and B included (they exist by themselves unless the scenario redefines them). A site
    /// with one fabric has only that fabric's.
    pub outages: Vec<Outage>,
    /// Parts that share a fate, scenario order.
    pub groups: Vec<PartGroup>,
    /// Scripted events, in order of time.
    pub events: Vec<Event>,
    /// How the work grows, where that is stated.
    pub growth: Option<Growth>,
    /// Planned changes, in order of their days.
    pub steps: Vec<Step>,
    /// What-if variants that the report simulates as possible remedies.
    pub variants: Vec<Variant>,
    /// Every input with its mark, guesses first.
    pub assumptions: Vec<Assumption>,
}
