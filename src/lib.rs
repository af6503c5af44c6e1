//! halfloom: a discrete-event simulator of storage traffic over a dual A/B fabric.
//!
//! One text file describes a site (hosts, switches, arrays, links on fabric A and on fabric B), its work
//! and its promises. halfloom simulates every frame of that work on every link direction it crosses,
//! healthy and with either fabric lost, and answers with a verdict and the numbers behind it.
//!
//! The folders of `src/` are the architecture. Imports point only down this list, never up and never
//! sideways; `tests/tidy.rs` holds it:
//!
//! | layer | modules | what they know |
//! | --- | --- | --- |
//! | 0 | [`mod@unit`] | integers with a unit: time, rate, sides, names |
//! | 1 | [`wire`], [`engine`], [`measure`] | bytes and protocols; events and random numbers; statistics |
//! | 2 | [`site`], [`theory`] | what a site, its work and its promises are; closed forms on numbers |
//! | 3 | [`topology`], [`workload`] | the parts, links, routes and paths of a site; what is asked for, and when |
//! | 4 | [`model`] | the state machines: links, hosts, arrays, multipath, faults |
//! | 5 | [`scenario`], [`outcome`] | text to site; the result types |
//! | 6 | [`study`] | which runs answer which question; statistics and verdicts over them |
//! | 7 | [`render`] | results in, text and pictures out |
//! | 8 | [`cli`] | arguments, files, terminal |

pub mod cli;
pub mod engine;
pub mod measure;
pub mod model;
pub mod outcome;
pub mod render;
pub mod scenario;
pub mod site;
pub mod study;
pub mod theory;
pub mod topology;
pub mod unit;
pub mod wire;
pub mod workload;
