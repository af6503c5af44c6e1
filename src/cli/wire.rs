//! `wire`: one I/O byte by byte, or every size of it over several links.

mod files;
mod protocol;
mod show;
mod sweep;

use super::console::Console;
use super::exit::{Exit, Failure};
use super::options::key_value;
use crate::render::{chart, json};
use crate::scenario;
use crate::study::exchange;
use crate::wire::{Fec, Op, SIZE_MAX, Technology, technologies, technology_with};
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::error::{ContextKind, ContextValue};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Arguments of `wire`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Protocol; not with --sweep
    #[arg(
        long, value_name = "PROTOCOL", value_parser = Nearest::new(&protocol::KEYS),
        required_unless_present = "sweep",
    )]
    protocol: Option<String>,
    /// What the I/O does
    #[arg(long, value_name = "OP", value_enum, default_value = "read")]
    op: OpWord,
    /// Bytes read or written, 1B to 64MiB; not with --sweep
    #[arg(long, value_name = "SIZE", default_value = "8KiB", value_parser = size)]
    size: u64,
    /// Link technologies to put it on, commas between; see `halfloom rates` [default: all that fit]
    #[arg(
        long, value_name = "LINK,…", value_delimiter = ',', ignore_case = true,
        value_parser = Nearest::new(&technologies().iter().map(|known| known.label).collect::<Vec<_>>()),
        hide_possible_values = true,
    )]
    over: Vec<String>,
    /// Show all sizes from 512 B to 4 MiB for several pairs of a protocol and a link
    #[arg(long, conflicts_with_all = ["protocol", "over", "length", "fcoe", "size", "fec"])]
    sweep: bool,
    /// Pairs of a sweep, commas between: PROTOCOL@LINK, for example iscsi@10GbE;
    /// fc-scsi@32GFC,nvme-tcp@25GbE when not given
    #[arg(long, value_name = "PAIR,…", value_delimiter = ',', requires = "sweep")]
    pair: Vec<String>,
    /// MTU in bytes, IP protocols only; with --sweep several, commas between [default: 1500]
    #[arg(
        long, value_name = "BYTES", value_delimiter = ',',
        value_parser = clap::value_parser!(u32).range(576..=65_535),
    )]
    mtu: Vec<u32>,
    /// Length of the link, for the idle latency, 5 ns a metre [default: 10m]
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    length: Option<u64>,
    /// Error correction of the link, for the idle latency; rates do not depend on it. Links that have no such layer are
    /// left out, or refused where --over names them [default: the usual one of each]
    #[arg(long, value_name = "FEC", value_enum)]
    fec: Option<FecWord>,
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
    /// Any other option of the protocol, as in a workload: first_burst=128KiB, version=v4.1, acks=never;
    /// may be repeated [default: those of the scenario language]
    #[arg(long, value_name = "KEY=VALUE", value_parser = key_value)]
    option: Vec<(String, String)>,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write the figures to this file as comma-separated values too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw it as SVG in this file: the messages, or with --sweep the curves [default: no file]
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// The same as PNG [default: no file]
    #[arg(long, value_name = "FILE")]
    png: Option<PathBuf>,
    /// What the drawing is for
    #[arg(long, value_name = "SHAPE", value_enum, default_value = "slide")]
    shape: ShapeWord,
}

/// One word of a list; whoever writes another is told the one that was meant by the rules of the scenario
/// language, which knows `fc-scsi` in `scsi-fc`.
#[derive(Clone, Debug)]
struct Nearest {
    words: Vec<&'static str>,
    parser: PossibleValuesParser,
}

impl Nearest {
    fn new(words: &[&'static str]) -> Self {
        Self {
            words: words.to_vec(),
            parser: PossibleValuesParser::new(words.iter().copied()),
        }
    }
}

impl TypedValueParser for Nearest {
    type Value = String;

    fn parse_ref(
        &self,
        command: &clap::Command,
        argument: Option<&clap::Arg>,
        value: &std::ffi::OsStr,
    ) -> Result<String, clap::Error> {
        let parsed = self.parser.parse_ref(command, argument, value);
        parsed.map_err(|mut error| {
            if let Some(near) = scenario::nearest(&value.to_string_lossy(), &self.words) {
                let near = ContextValue::String(near.to_owned());
                error.insert(ContextKind::SuggestedValue, near);
            }
            error
        })
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        self.parser.possible_values()
    }
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

/// Forward error correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum FecWord {
    /// None
    None,
    /// Firecode, IEEE 802.3 clause 74
    Firecode,
    /// RS(528,514)
    Rs528,
    /// RS(544,514), interleaved or not
    Rs544,
}

impl FecWord {
    /// What it can stand for.
    const fn kinds(self) -> &'static [Fec] {
        match self {
            Self::None => &[Fec::None],
            Self::Firecode => &[Fec::Firecode],
            Self::Rs528 => &[Fec::Rs528],
            Self::Rs544 => &[Fec::Rs544, Fec::Rs544x2, Fec::Rs544x4],
        }
    }

    /// The link with it, if there is such a layer.
    fn of(self, label: &str) -> Option<&'static Technology> {
        let mut kinds = self.kinds().iter();
        kinds.find_map(|fec| technology_with(label, *fec))
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

/// What a drawing is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum ShapeWord {
    /// A page on a wide screen, 800 wide (PNG 1200)
    Page,
    /// A phone, 340 wide (PNG 680)
    Phone,
    /// A slide, 1280 × 720
    Slide,
}

impl ShapeWord {
    const fn format(self) -> chart::Format {
        match self {
            Self::Page => chart::Format::Page,
            Self::Phone => chart::Format::Phone,
            Self::Slide => chart::Format::Slide,
        }
    }

    /// Pixels of a PNG for each unit of the drawing.
    const fn scale(self) -> f32 {
        match self {
            Self::Page => 1.5,
            Self::Phone => 2.0,
            Self::Slide => 1.0,
        }
    }
}

fn size(text: &str) -> Result<u64, String> {
    scenario::size(text, SIZE_MAX).map_err(|expected| format!("write it as {expected}"))
}

fn length(text: &str) -> Result<u64, String> {
    scenario::length(text).map_err(|expected| format!("write it as {expected}"))
}

fn size_or_none(text: &str) -> Result<u64, String> {
    match text.trim() {
        "0" | "0B" => Ok(0),
        other => {
            scenario::size(other, 1 << 20).map_err(|expected| format!("write it as {expected}"))
        }
    }
}

/// Length of the link where none is stated, mm: that of a link in a scenario.
const LENGTH_DEFAULT: u64 = 10_000;

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    files::check(arguments)?;
    let op = arguments.op.op();
    let format = arguments.shape.format();
    if arguments.sweep {
        let sizes = exchange::sizes(&sweep::pairs(arguments)?, op);
        files::write(arguments, &sweep::csv(&sizes), || {
            chart::sizes(&sizes, format)
        })?;
        console.result(&if arguments.json {
            json::sizes_json(&sizes)
        } else {
            sweep::text(&sizes)
        })?;
        return Ok(Exit::Done);
    }
    let protocol = protocol::of(arguments)?;
    let links = protocol::links(arguments, &protocol)?;
    let length = arguments.length.unwrap_or(LENGTH_DEFAULT);
    let exchange = exchange::exchange(&protocol, op, arguments.size, &links, length);
    files::write(arguments, &show::csv(&exchange), || {
        chart::ladder(&exchange, format)
    })?;
    console.result(&if arguments.json {
        json::exchange_json(&exchange)
    } else {
        show::text(&exchange)
    })?;
    Ok(Exit::Done)
}
