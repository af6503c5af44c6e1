//! Whole studies, from the text of a scenario to what is printed: what must be equal whatever the figures
//! are, and what the words "saturated" and "settled" must mean.
//!
//! - `saturation`: work that does not fit is called so, and is not given a mean
//! - `survivors`: the state after an outage is the site written without the lost parts
//! - `derive`: recordings are counted as they are described, and the workload that stands for one brings the same load
//! - `faults`: outages of one way, slow, damaging frames and flapping, against other ways to say the same
//! - `filling`: a run that ends before a nearly full queue has filled decides nothing near its promise
//! - `headroom`: the switch-over at a proven load is the one of a failover at that load
//! - `hosts`: what hosts that are lost or drained themselves ask for, and what is judged of it
//! - `mends`: changes proposed for what is missed, each proven by a simulation
//! - `mirror`: a site with its sides swapped gives swapped results; an idle site favours no side
//! - `pathless`: hosts without a path beside others that have one
//! - `repeat`: the number of threads changes no byte
//! - `singles`: every single part lost in turn, and what stands in the same place
//! - `returns`: what comes back, what does not yet, and that it is then as it was
//! - `settle`: when a switch-over has settled, and how long a backlog takes to drain
//! - `spikes`: what hung, counted once, and what came after it
//! - `stalls`: what timers alone account for, by protocol, and the longest I/O beside it
//! - `stops`: every stop told apart, marked where work went on, and what has settled
//! - `teams`: a team of ports that does not see that its port leads nowhere has no path, whichever study asks
//! - `text`: whatever becomes of a text, it is read or refused
//! - `verdicts`: how often verdicts are wrong where the truth is known
//! - `windows`: in which hours of a day an outage may be brought about, against M/D/1
//! - `within`: replications until a stated precision
//! - `limits`: a run that would never end, or never fit, is stopped and marked
//! - `replay`: a recorded trace in many copies: every I/O of it, and its bursts

mod derive;
#[path = "../shared/every_kind.rs"]
mod every;
mod faults;
mod filling;
mod headroom;
mod hosts;
mod limits;
mod mends;
mod mirror;
mod pathless;
mod rates;
mod repeat;
mod replay;
mod returns;
mod rig;
mod saturation;
mod settle;
mod singles;
mod spikes;
mod stalls;
mod stops;
mod survivors;
mod teams;
mod text;
mod verdicts;
mod windows;
mod within;
