//! `rates`: the table of link technologies.

use super::columns::{Align, columns, decimals};
use super::console::Console;
use super::exit::{Exit, Failure};
use super::write;
use crate::wire::{Medium, Technology, technologies};
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// Arguments of `rates`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
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
    /// The figure of the name, MB/s; Fibre Channel only.
    nominal_mb_s: Option<u64>,
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
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let rows: Vec<Row> = technologies().iter().map(row).collect();
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
        };
        console.result(&serde_json::to_string_pretty(&json).unwrap_or_default())?;
    } else {
        console.result(&text(&rows))?;
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
        nominal_mb_s: technology.nominal_mb_s,
        source: technology.source,
        mark: technology.mark.to_string(),
    }
}

const HEAD: [(&str, Align); 11] = [
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
    ("nominal MB/s", Align::Right),
];

fn text(rows: &[Row]) -> String {
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                row.label.to_owned(),
                row.lanes.to_string(),
                decimals(row.lane_gbaud, 6),
                row.modulation.clone(),
                row.encoding.to_owned(),
                row.fec.to_owned(),
                decimals(row.fec_latency_ns, 1),
                decimals(row.line_gb_s, 4),
                decimals(row.usable_gb_s, 4),
                decimals(row.usable_mb_s, 1),
                row.nominal_mb_s.map_or_else(String::new, |n| n.to_string()),
            ]
        })
        .collect();
    let table = columns(&HEAD, &cells);
    format!(
        "{table}\nOne direction. Usable: line rate less encoding and FEC; frames and gaps share it. Nominal: the\n\
         figure of the name, Fibre Channel only. Sources and how far they were checked: --json. Estimates of\n\
         real links: rates follow from the standards, nothing was measured.\n"
    )
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
        let text = text(&rows);
        for technology in technologies() {
            let line = text.lines().find(|line| line.starts_with(technology.label));
            assert!(line.is_some(), "{}", technology.label);
        }
    }

    /// FC-PI and FC-FS: 28.05 Gb/s × 256/257 × 514/528 = 27.2 Gb/s.
    #[test]
    fn the_printed_rate_is_the_exact_one() {
        let all: Vec<Row> = technologies().iter().map(row).collect();
        let line = text(&all)
            .lines()
            .find(|line| line.starts_with("32GFC"))
            .map(str::to_owned)
            .unwrap_or_default();
        let cells: Vec<&str> = line.split_whitespace().collect();
        assert!(cells.contains(&"28.05"), "{line}");
        assert!(cells.contains(&"27.2"), "{line}");
        assert!(cells.contains(&"3400"), "{line}");
    }
}
