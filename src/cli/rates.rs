//! `rates`: the table of link technologies, the bus behind an adapter, and why names mislead.

use super::columns::{Align, columns, decimals};
use super::console::Console;
use super::exit::{Exit, Failure};
use super::write;
use crate::wire::pcie::{self, Generation};
use crate::wire::{
    HostBus, Medium, TcpOptions, Technology, all_technologies, framing, technologies,
};
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// Arguments of `rates`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Every physical layer of a label, with and without error correction [default: the usual one]
    #[arg(long)]
    all: bool,
    /// Print JSON instead of a table
    #[arg(long)]
    json: bool,
    /// Write the table to this file as comma-separated values too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
}

/// One technology. Rates count one direction.
#[derive(Debug, Serialize)]
struct Row {
    /// What people call it.
    label: &'static str,
    /// Physical layer.
    phy: &'static str,
    /// `Ethernet` or `FC`.
    medium: &'static str,
    /// Lanes side by side in one direction.
    lanes: u32,
    /// Symbols on each lane, 10^9 per second.
    lane_gbaud: f64,
    /// `NRZ` or `PAM4`.
    modulation: String,
    /// Line code.
    encoding: &'static str,
    /// Forward error correction.
    fec: &'static str,
    /// What it adds to the latency of a link, ns.
    fec_latency_ns: f64,
    /// Bits on all lanes, Gb/s.
    line_gb_s: f64,
    /// Line rate less code and parity, Gb/s.
    usable_gb_s: f64,
    /// The same in MB/s (10^6 bytes).
    usable_mb_s: f64,
    /// Payload of a stream of the largest usual frames, MB/s: TCP at an MTU of 9000, FC fields of 2112.
    best_payload_mb_s: f64,
    /// The figure of the name in one direction, MB/s; Fibre Channel only.
    nominal_mb_s: Option<u64>,
    /// The same as published, both directions added; 16GFC and faster.
    published_both_mb_s: Option<u64>,
    /// What the name is, and why it misleads.
    name_means: &'static str,
    /// The standard.
    source: &'static str,
    /// How far that was checked.
    mark: String,
}

/// What `--json` prints.
#[derive(Debug, Serialize)]
struct Json {
    format: u32,
    program: &'static str,
    estimate: bool,
    kind: &'static str,
    version: &'static str,
    technologies: Vec<Row>,
    /// The bus between a host and its adapter, which bounds a port from the host's side.
    host_buses: Vec<BusRow>,
}

/// One generation of a host's bus. Rates count one direction.
#[derive(Debug, Serialize)]
struct BusRow {
    /// As a scenario names one: `PCIe4x8`.
    label: String,
    /// Lanes side by side in one direction.
    lanes: u32,
    /// Transfers on each lane, 10^9 per second.
    lane_gt_s: f64,
    /// Line code or flits.
    encoding: &'static str,
    /// Bits that packets share, Gb/s.
    usable_gb_s: f64,
    /// Most payload of a packet, bytes.
    max_payload_bytes: u32,
    /// Data into the host's memory (reads), MB/s.
    into_host_mb_s: f64,
    /// Data out of the host's memory (writes), MB/s.
    out_of_host_mb_s: f64,
    /// The standard.
    source: &'static str,
    /// How far that was checked.
    mark: String,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let rows: Vec<Row> = if arguments.all {
        let mut all: Vec<Row> = all_technologies().map(row).collect();
        // Layers of one label together, the usual one first.
        let place = |row: &Row| {
            technologies()
                .iter()
                .position(|known| known.label == row.label)
        };
        all.sort_by_key(place);
        all
    } else {
        technologies().iter().map(row).collect()
    };
    if let Some(path) = &arguments.csv {
        write::file(path, csv(&rows).as_bytes())?;
    }
    if arguments.json {
        let json = Json {
            format: 1,
            program: "halfloom",
            estimate: true,
            kind: "rates",
            version: env!("CARGO_PKG_VERSION"),
            technologies: rows,
            host_buses: buses(),
        };
        console.result(&serde_json::to_string_pretty(&json).unwrap_or_default())?;
    } else {
        console.result(&text(&rows, arguments.all))?;
    }
    Ok(Exit::Done)
}

fn row(technology: &Technology) -> Row {
    Row {
        label: technology.label,
        phy: technology.phy,
        medium: match technology.medium {
            Medium::Ethernet => "Ethernet",
            Medium::FibreChannel => "FC",
        },
        lanes: technology.lanes,
        // Below 2^53, so exact.
        lane_gbaud: technology.baud as f64 / 1e9,
        modulation: technology.modulation.to_string(),
        encoding: technology.encoding,
        fec: technology.fec.name(),
        fec_latency_ns: technology.fec_latency().as_us_f64() * 1e3,
        line_gb_s: technology.line.bits_per_second() / 1e9,
        usable_gb_s: technology.usable.bits_per_second() / 1e9,
        usable_mb_s: technology.usable.mb_per_second(),
        best_payload_mb_s: best_payload(technology),
        nominal_mb_s: technology.nominal_mb_s,
        published_both_mb_s: published_both(technology),
        name_means: name_means(technology),
        source: technology.source,
        mark: technology.mark.to_string(),
    }
}

/// Payload and wire bytes of the largest usual frame, back to back.
fn best_payload(technology: &Technology) -> f64 {
    let (payload, wire) = match technology.medium {
        Medium::Ethernet => {
            let tcp = TcpOptions {
                mtu: framing::MTU_JUMBO,
                ..TcpOptions::default()
            };
            (tcp.mss(), tcp.wire(tcp.mss()))
        }
        Medium::FibreChannel => (
            framing::FC_DATA_FIELD_MAX,
            framing::fc_wire(framing::FC_DATA_FIELD_MAX),
        ),
    };
    technology.usable.mb_per_second() * f64::from(payload) / f64::from(wire)
}

/// What the industry association publishes from 16GFC on: both directions added (secondary source).
fn published_both(technology: &Technology) -> Option<u64> {
    technology
        .nominal_mb_s
        .filter(|nominal| *nominal >= 1_600)
        .map(|nominal| nominal * 2)
}

fn name_means(technology: &Technology) -> &'static str {
    match (technology.medium, technology.label) {
        (Medium::Ethernet, _) => {
            "usable rate, Gb/s; the line is faster by code and parity, payload less by frames and gaps"
        }
        (_, "128GFC") => {
            "a step in a row: neither line nor usable rate, and not twice 64GFC but 33/17 of it"
        }
        (_, "128GFCp") => {
            "four lanes of 32GFC side by side: four times 32GFC, more than serial 128GFC"
        }
        _ => {
            "a step in a row: neither line nor usable rate; its MB/s, times 1.0625, are the usable rate"
        }
    }
}

/// Every generation with eight and sixteen lanes.
fn buses() -> Vec<BusRow> {
    let with = |generation: Generation, lanes: u32| {
        let bus = HostBus {
            generation,
            lanes,
            max_payload: pcie::MAX_PAYLOAD_USUAL,
        };
        let (source, mark) = generation.source();
        BusRow {
            label: bus.label(),
            lanes,
            lane_gt_s: generation.line().bits_per_second() / 1e9,
            encoding: generation.code(),
            usable_gb_s: bus.usable().bits_per_second() / 1e9,
            max_payload_bytes: bus.max_payload,
            into_host_mb_s: bus.into_host().mb_per_second(),
            out_of_host_mb_s: bus.out_of_host().mb_per_second(),
            source,
            mark: mark.to_string(),
        }
    };
    pcie::GENERATIONS
        .into_iter()
        .flat_map(|generation| [8, 16].map(|lanes| with(generation, lanes)))
        .collect()
}

const HEAD: [(&str, Align); 12] = [
    ("link", Align::Left),
    ("lanes", Align::Right),
    ("GBd/lane", Align::Right),
    ("signal", Align::Left),
    ("encoding", Align::Left),
    ("FEC", Align::Left),
    ("FEC ns", Align::Right),
    ("line Gb/s", Align::Right),
    ("usable Gb/s", Align::Right),
    ("usable MB/s", Align::Right),
    ("payload MB/s", Align::Right),
    ("nominal MB/s", Align::Right),
];

/// `layers` names the physical layer beside the label, where several stand under one.
fn text(rows: &[Row], layers: bool) -> String {
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                if layers && row.phy != row.label {
                    format!("{} {}", row.label, row.phy)
                } else {
                    row.label.to_owned()
                },
                row.lanes.to_string(),
                decimals(row.lane_gbaud, 6),
                row.modulation.clone(),
                row.encoding.to_owned(),
                row.fec.to_owned(),
                decimals(row.fec_latency_ns, 1),
                decimals(row.line_gb_s, 5),
                decimals(row.usable_gb_s, 4),
                decimals(row.usable_mb_s, 1),
                decimals(row.best_payload_mb_s, 1),
                row.nominal_mb_s.map_or_else(String::new, |n| n.to_string()),
            ]
        })
        .collect();
    let table = columns(&HEAD, &cells);
    format!("{table}\n{FOOT}\n{NAMES}\n{}\n{BUS_FOOT}", buses_text())
}

const FOOT: &str = "\
One direction. Usable: line rate less encoding and FEC; frames and gaps share it. Payload: a stream of the
largest usual frames, TCP at an MTU of 9000 (8948 of 9038 bytes) and FC fields of 2112 (of 2172). Nominal:
the figure of the name, Fibre Channel only. Sources and how far they were checked: --json. Estimates of
real links: rates follow from the standards, nothing was measured.
";

const NAMES: &str = "\
Why names mislead
- 25GbE is named after its usable rate, 32GFC after nothing that it has: 28.05 Gb/s on the line, 27.2 usable.
  The names differ by 28 %, the best payload by 6.9 %.
- The MB/s of a Fibre Channel name are below what it carries: 3200 for 32GFC, 3306 of payload at best.
- Published Fibre Channel figures add both directions: 6400 for 32GFC. A link direction carries half.
- Serial 128GFC is 1.94 times 64GFC, not twice; 128GFCp, four lanes of 32GFC, is exactly twice.
- Parity does not make Ethernet slower: it takes the room that a shorter line code leaves.
";

const BUS_FOOT: &str = "\
The bus between a host and its adapter, one direction, packets of at most 256 bytes of payload: reads go
into the host, writes out of it. An upper bound: requests and acknowledgements on the way back are left out.
";

fn buses_text() -> String {
    let head = [
        ("host bus", Align::Left),
        ("lanes", Align::Right),
        ("GT/s/lane", Align::Right),
        ("encoding", Align::Left),
        ("usable Gb/s", Align::Right),
        ("reads MB/s", Align::Right),
        ("writes MB/s", Align::Right),
    ];
    let rows: Vec<Vec<String>> = buses()
        .iter()
        .map(|row| {
            vec![
                row.label.clone(),
                row.lanes.to_string(),
                decimals(row.lane_gt_s, 1),
                row.encoding.to_owned(),
                decimals(row.usable_gb_s, 3),
                decimals(row.into_host_mb_s, 1),
                decimals(row.out_of_host_mb_s, 1),
            ]
        })
        .collect();
    columns(&head, &rows)
}

fn csv(rows: &[Row]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        // Into memory, all rows alike: this cannot fail.
        if writer.serialize(row).is_err() {
            return String::new();
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_technology_is_a_row_in_every_format() {
        let rows: Vec<Row> = technologies().iter().map(row).collect();
        assert_eq!(csv(&rows).lines().count(), technologies().len() + 1);
        let text = text(&rows, false);
        for technology in technologies() {
            let line = text.lines().find(|line| line.starts_with(technology.label));
            assert!(line.is_some(), "{}", technology.label);
        }
    }

    /// FC-PI and FC-FS: 28.05 Gb/s × 256/257 × 514/528 = 27.2 Gb/s.
    #[test]
    fn the_printed_rate_is_the_exact_one() {
        let all: Vec<Row> = technologies().iter().map(row).collect();
        let line = text(&all, false)
            .lines()
            .find(|line| line.starts_with("32GFC"))
            .map(str::to_owned)
            .unwrap_or_default();
        let cells: Vec<&str> = line.split_whitespace().collect();
        assert!(cells.contains(&"28.05"), "{line}");
        assert!(cells.contains(&"27.2"), "{line}");
        assert!(cells.contains(&"3400"), "{line}");
    }

    /// IEEE 802.3, RFC 9293: 3125 × 8948 ÷ 9038; FC-FS: 3400 × 2112 ÷ 2172, 13,200 × 2112 ÷ 2172. The words
    /// about names quote the first two.
    #[test]
    fn the_best_payload_by_hand() {
        let best = |label: &str| {
            let rows: Vec<Row> = technologies().iter().map(row).collect();
            let found = rows.iter().find(|row| row.label == label);
            found.map_or(0.0, |row| row.best_payload_mb_s)
        };
        for (label, by_hand) in [
            ("25GbE", 3125.0 * 8948.0 / 9038.0),
            ("32GFC", 3400.0 * 2112.0 / 2172.0),
            ("128GFC", 13_200.0 * 2112.0 / 2172.0),
        ] {
            assert!((best(label) - by_hand).abs() < 1e-9, "{label}");
        }
        let more = 100.0 * (best("32GFC") / best("25GbE") - 1.0);
        assert!(NAMES.contains(&format!("payload by {more:.1} %")), "{more}");
        assert!(NAMES.contains(&format!("{:.0} of payload", best("32GFC"))));
        assert!(NAMES.contains("names differ by 28 %"), "32 ÷ 25 = 1.28");
    }

    /// As published, both directions added: 3,200 for 16GFC to 25,600 for 128GFCp (secondary source).
    #[test]
    fn published_figures_add_both_directions() {
        let both = |label: &str| crate::wire::technology(label).and_then(published_both);
        assert_eq!([both("8GFC"), both("25GbE")], [None, None]);
        for (label, figure) in [
            ("16GFC", 3_200),
            ("32GFC", 6_400),
            ("64GFC", 12_800),
            ("128GFC", 24_850),
            ("128GFCp", 25_600),
        ] {
            assert_eq!(both(label), Some(figure), "{label}");
        }
    }
}
