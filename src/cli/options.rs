//! Options that several commands share.

use super::console::Console;
use super::exit::Failure;
use super::write;
use crate::outcome::Report;
use crate::render::{csv, json};
use clap::Args;
use std::path::PathBuf;

/// The scenario and what is set otherwise for this run.
#[derive(Clone, Debug, Args)]
pub(super) struct ScenarioArguments {
    /// The scenario, a TOML file
    #[arg(value_name = "SCENARIO.toml")]
    pub(super) file: PathBuf,
    /// Set a value of the scenario for this run, for example link.edge-san.members=4; may be repeated
    /// [default: the scenario as written]
    #[arg(long, value_name = "KEY=VALUE", value_parser = key_value)]
    pub(super) set: Vec<(String, String)>,
}

/// How much is run, and how.
#[derive(Clone, Debug, Args)]
pub(super) struct RunArguments {
    /// Seed of all random numbers, a whole number [default: the scenario's, or 1]
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub(super) seed: Option<u64>,
    /// Independent replications of each steady run; switch-over runs are cut to at most as many
    /// [default: the scenario's, or 10]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000), allow_negative_numbers = true)]
    pub(super) replications: Option<u32>,
    /// Threads to run on; results do not depend on it [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024), allow_negative_numbers = true)]
    pub(super) threads: Option<u16>,
    /// No progress and no warnings on the standard error [default: both]
    #[arg(long)]
    pub(super) quiet: bool,
}

/// Where results go.
#[derive(Clone, Debug, Args)]
pub(super) struct OutputArguments {
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write the figures as CSV to this file too: one row a case and workload [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
}

impl OutputArguments {
    /// Whether the file asked for can be written: before the runs, which take time.
    pub(super) fn check(&self) -> Result<(), Failure> {
        self.csv.as_deref().map_or(Ok(()), write::check_file)
    }

    /// Writes the CSV file if one was asked for, then prints the result.
    pub(super) fn write(
        &self,
        console: &Console,
        report: &Report,
        text: impl FnOnce(&Report) -> String,
    ) -> Result<(), Failure> {
        if let Some(path) = &self.csv {
            write::file(path, csv::report_csv(report).as_bytes())?;
        }
        let result = if self.json {
            json::report_json(report)
        } else {
            text(report)
        };
        console.result(&result)
    }
}

/// `KEY=VALUE`, apart.
pub(super) fn key_value(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() && !value.trim().is_empty() => {
            Ok((key.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err("write it as KEY=VALUE, for example run.duration=1s".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_splits_at_its_first_equals_sign() {
        let pair = |key: &str, value: &str| Ok((key.to_owned(), value.to_owned()));
        assert_eq!(key_value("run.seed=3"), pair("run.seed", "3"));
        assert_eq!(key_value(" a = { b = 1 } "), pair("a", "{ b = 1 }"));
        for wrong in ["", "a", "=1", "a=", " = "] {
            assert!(key_value(wrong).is_err(), "{wrong:?}");
        }
    }
}
