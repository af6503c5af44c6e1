//! `wire`: one I/O byte by byte.

mod protocol;
mod show;

use super::console::Console;
use super::exit::{Exit, Failure};
use crate::scenario;
use crate::wire::{Op, SIZE_MAX, technologies};
use clap::builder::PossibleValuesParser;
use clap::{Args, ValueEnum};

/// Arguments of `wire`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Protocol
    #[arg(long, value_name = "PROTOCOL", value_parser = PossibleValuesParser::new(protocol::KEYS))]
    protocol: String,
    /// What the I/O does
    #[arg(long, value_name = "OP", value_enum, default_value = "read")]
    op: OpWord,
    /// Bytes read or written, 1B to 64MiB
    #[arg(long, value_name = "SIZE", default_value = "8KiB", value_parser = size)]
    size: u64,
    /// Link technologies to put it on, commas between; see `halfloom rates` [default: all that fit]
    #[arg(
        long, value_name = "LINK,…", value_delimiter = ',', ignore_case = true,
        value_parser = PossibleValuesParser::new(technologies().iter().map(|known| known.label)),
        hide_possible_values = true,
    )]
    over: Vec<String>,
    /// MTU in bytes, IP protocols only [default: 1500]
    #[arg(long, value_name = "BYTES", value_parser = clap::value_parser!(u32).range(576..=65_535))]
    mtu: Option<u32>,
    /// Largest write sent with its command, NVMe over TCP and RDMA only; 0B for none
    /// [default: 16KiB over TCP, 4KiB over RDMA]
    #[arg(long, value_name = "SIZE", value_parser = size_or_none)]
    in_capsule: Option<u64>,
    /// Digests, iSCSI and NVMe over TCP only; without a word: both [default: off]
    #[arg(long, value_name = "WHICH", value_enum, num_args = 0..=1, default_missing_value = "both")]
    digests: Option<DigestsWord>,
    /// The response of a good read is left out, NVMe over TCP only [default: it is sent]
    #[arg(long)]
    success: bool,
    /// Fibre Channel frames over Ethernet, FC protocols only [default: on Fibre Channel links]
    #[arg(long)]
    fcoe: bool,
    /// Largest FC data field in bytes, a multiple of 4, FC protocols only [default: 2048]
    #[arg(long, value_name = "BYTES", value_parser = clap::value_parser!(u32).range(256..=2112))]
    data_field: Option<u32>,
    /// IPv6 instead of IPv4, IP protocols only [default: IPv4]
    #[arg(long)]
    ipv6: bool,
    /// A VLAN tag on every frame, IP protocols only [default: untagged; FCoE always is]
    #[arg(long)]
    vlan: bool,
    /// No TCP timestamps, TCP protocols only [default: timestamps on]
    #[arg(long)]
    no_timestamps: bool,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
}

/// Read or write.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum OpWord {
    /// The host fetches data
    Read,
    /// The host stores data
    Write,
}

impl OpWord {
    const fn op(self) -> Op {
        match self {
            Self::Read => Op::Read,
            Self::Write => Op::Write,
        }
    }
}

/// Which digests are used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum DigestsWord {
    /// None
    Off,
    /// Of headers
    Header,
    /// Of data
    Data,
    /// Of headers and data
    Both,
}

fn size(text: &str) -> Result<u64, String> {
    scenario::size(text, SIZE_MAX).map_err(|expected| format!("write it as {expected}"))
}

fn size_or_none(text: &str) -> Result<u64, String> {
    match text.trim() {
        "0" | "0B" => Ok(0),
        other => {
            scenario::size(other, 1 << 20).map_err(|expected| format!("write it as {expected}"))
        }
    }
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let protocol = protocol::of(arguments)?;
    let links = protocol::links(arguments, &protocol)?;
    let exchange = show::Exchange::new(&protocol, arguments.op.op(), arguments.size, &links);
    if arguments.json {
        console.result(&exchange.json())?;
    } else {
        console.result(&exchange.text())?;
    }
    Ok(Exit::Done)
}
