//! `workload`: host I/O statistics or a block trace in, a `[[workload]]` for its busiest five minutes out.

use super::console::Console;
use super::exit::{Exit, Failure};
use super::load;
use crate::render::{json, table};
use crate::scenario::{Recording, protocol_words, recording, render_problems};
use crate::study::derive::{Names, Replay, derive};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `workload`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The recording: a block trace (timestamp_ns,op,offset_bytes,size_bytes and perhaps latency_ns) or statistics
    /// (time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s and perhaps latency_us, queue)
    #[arg(value_name = "FILE.csv")]
    file: PathBuf,
    /// What the workload is called
    #[arg(long, value_name = "NAME", default_value = "recorded", value_parser = name)]
    name: String,
    /// Its hosts, a family of the scenario
    #[arg(long, value_name = "NAME", default_value = "app", value_parser = name)]
    hosts: String,
    /// Its array
    #[arg(long, value_name = "NAME", default_value = "store", value_parser = name)]
    array: String,
    /// Its protocol, which no recording has; else fc-scsi stands there, marked as a placeholder
    #[arg(long, value_name = "WORD", value_parser = protocol)]
    protocol: Option<String>,
    /// Replay the whole trace instead of fitting arrivals to it
    #[arg(long)]
    replay: bool,
    /// Print the `[[workload]]` alone, to append to a scenario
    #[arg(long, conflicts_with = "json")]
    toml: bool,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
}

fn protocol(text: &str) -> Result<String, String> {
    let words = protocol_words();
    if words.contains(&text) {
        Ok(text.to_owned())
    } else {
        Err(format!("a protocol of scenarios: {}", words.join(", ")))
    }
}

fn name(text: &str) -> Result<String, String> {
    let sound = text.starts_with(|c: char| c.is_ascii_alphabetic())
        && text
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || "-_".contains(c))
        && text.len() <= 40;
    if sound {
        Ok(text.to_owned())
    } else {
        Err("a name: a letter, then letters, digits, - and _, at most 40".to_owned())
    }
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let text = load::text(&arguments.file)?;
    let shown = arguments.file.display().to_string();
    let found = recording(&shown, &text)
        .map_err(|problems| Failure::Scenario(render_problems(&problems)))?;
    if arguments.replay && matches!(found, Recording::Statistics(_)) {
        return Err(Failure::arguments(
            "statistics cannot be replayed: they have no single I/O",
            "leave --replay out",
        ));
    }
    let file = arguments.file.file_name();
    let derived = derive(
        &found,
        &Names {
            file: file.map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
            workload: arguments.name.clone(),
            hosts: arguments.hosts.clone(),
            array: arguments.array.clone(),
            protocol: arguments.protocol.clone(),
            replay: if arguments.replay {
                Replay::Yes
            } else {
                Replay::No
            },
        },
    );
    let text = if arguments.json {
        json::derived_json(&derived)
    } else if arguments.toml {
        derived.toml
    } else {
        table::derived_text(&derived)
    };
    console.result(&text)?;
    Ok(Exit::Done)
}
