//! The program as its users meet it: arguments in, streams, files and exit codes out.
//!
//! - `batch`: the examples for batch engines
//! - `exit`: every exit code, and what wrong input gets to read
//! - `files`: what is written, when, and what is left alone
//! - `lessons`: the pages in `scenarios/lessons`, their sums, commands and answers
//! - `growth`: headroom, comparisons and sweeps
//! - `readme`: the commands of the README
//! - `singles`: every single part lost in turn
//! - `remedies`: changes proposed for what is missed, several scenarios, work sheets
//! - `repeat`: the same seed gives the same bytes
//! - `sweep`: sweeps that are stopped, cut into pieces and joined again
//! - `windows`: the hours of a day in which a fabric can be taken out
//! - `cases/`: whole commands with their whole output, where every figure follows from standards

mod batch;
mod exit;
mod files;
mod growth;
mod lessons;
mod readme;
mod remedies;
mod repeat;
mod singles;
mod sweep;
mod windows;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The program, called from a folder.
fn halfloom(folder: &Path, arguments: &[&str]) -> Output {
    command(folder, arguments)
        .output()
        .expect("the program starts")
}

fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_halfloom"));
    command
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null());
    command
}

fn code(output: &Output) -> i32 {
    output.status.code().expect("it ended by itself")
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("results are UTF-8")
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("messages are UTF-8")
}

/// One host, one array, two fabrics, little work: a failover of it takes a moment. `promise` is the
/// workload's.
fn small_site(folder: &Path, promise: &str) -> PathBuf {
    let text = format!(
        r#"
format = 1
title = "Small"

[run]
duration = "40ms"
warm_up = "10ms"
replications = 3
switch_replications = 2
settle_limit = "8s"

[[host]]
name = "app"
timers = {{ fast_io_fail = "1s" }}

[[switch]]
name = "core"

[[array]]
name = "store"

[[link]]
from = "app"
to = "core"
speed = "32GFC"

[[link]]
from = "core"
to = "store"
speed = "32GFC"

[[workload]]
name = "orders"
hosts = "app"
array = "store"
protocol = "fc-scsi"
arrivals = {{ poisson = "20k/s" }}
sizes = "8KiB"
promise = {promise}
"#
    );
    let path = folder.join("small.toml");
    std::fs::write(&path, text).expect("the folder can be written");
    path
}

#[test]
fn whole_commands() {
    trycmd::TestCases::new().case("tests/cli/cases/*.trycmd");
}
