//! The frame-level model against figures from outside: worked exchanges, timing by hand, queueing theory,
//! what a fault must cost, and symmetries that hold whatever the figures are.

mod again;
mod back;
mod cages;
mod checker;
mod conserve;
mod drains;
#[path = "../shared/every_kind.rs"]
mod every;
mod every_kind;
mod fault;
mod flow;
mod guests;
mod ill;
mod oracle;
mod paths;
mod port;
mod queueing;
mod recovery;
mod reroute;
mod rig;
mod routes;
mod saturated;
mod stall;
#[path = "../shared/stalls.rs"]
mod stalls;
mod symmetry;
mod team;
mod timing;
mod uplink;
mod wide;
mod wire_counts;
mod wire_rows;
