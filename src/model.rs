//! The state machines: frames on link directions, arrays, hosts and their paths, and what a loss does.
//!
//! [`Compiled`] is a site made ready to run: parts as indices, every message as runs of frames with their
//! times on each class of link. It is shared by all replications. A [`World`] is one run of it: the state
//! machines, an event set and what was counted ([`Tally`]). Nothing here knows files, clocks, threads or
//! what the figures are for.
//!
//! What is modelled: every frame on every link direction it crosses; FIFO links; store-and-forward and
//! cut-through switches; member choice in link groups; adapters; multipath with path states; arrays with a
//! fixed number of requests worked on at once; loss and return of parts with the timers of each protocol;
//! retransmission by timeout where the transport is TCP.
//!
//! Left out: credits and pause (queues are unlimited), bit errors of healthy links, congestion control, in-order delivery
//! within a TCP connection (a lost segment delays its own message only), what happens inside an array
//! beyond one station per controller, control traffic (logins, keep-alives, notices have delays, not
//! frames).

mod absent;
mod again;
mod array;
mod attempt;
mod book;
mod checker;
mod compile;
mod fault;
mod finish;
mod flow;
mod freed;
mod guests;
mod host;
mod ill;
mod message;
mod net;
mod notice;
mod order;
mod pathless;
mod pick;
mod quiet;
mod reroute;
mod sides;
mod standing;
mod steps;
mod takeover;
mod tally;
mod team;
mod unfinished;
mod uplink;
mod way;
mod world;

pub use absent::Elsewhere;
pub(crate) use again::tcp_gives_up;
pub(crate) use compile::flow_hash;
pub use compile::{Compiled, OutPath, PathName, Watch};
pub use fault::Script;
pub use net::{Admission, Class, Discipline, Gate, InOrder, NoGate, Open};
pub(crate) use notice::{Place, hold, noticed_by, tried_again_by};
pub use quiet::{LeftOut, left_out};
pub use standing::{LogEntry, LogKind, Note, Standing, TimerName};
pub use tally::{
    Before, BudgetSums, Coarse, ControllerTally, DirectionTally, Fate, FlowCell, KindTally,
    PathTally, SourceTally, StopCause, Stopped, Tally, WorkloadTally,
};
pub(crate) use way::{by_flow, by_position};
pub use world::{Executor, Fast, Flow, Limits, Plain, Stop, World};
