//! Options that several commands share.

use super::console::Console;
use super::exit::Failure;
use super::load;
use super::write;
use crate::outcome::{Origin, Report, Windows};
use crate::render::several::ScenarioRow;
use crate::render::{csv, json, junit, table};
use crate::scenario::{prices, render_problems};
use crate::study::remedy::{PriceList, Search};
use clap::Args;
use std::path::{Path, PathBuf};

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

/// How precise steady figures are to be.
#[derive(Clone, Debug, Args)]
pub(super) struct PrecisionArguments {
    /// Add replications until half the interval of every promised figure is at most about this part of it,
    /// for example 2%, from 0.1% to 50% [default: exactly the replications asked for]
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    pub(super) within: Option<f64>,
}

impl PrecisionArguments {
    /// The words that repeat it on a command line.
    pub(super) fn words(&self) -> Vec<String> {
        // As it was typed: a fraction times 100 without the dust of the division.
        let typed = |fraction: f64| (fraction * 1e8).round() / 1e6;
        self.within.map_or_else(Vec::new, |within| {
            vec!["--within".to_owned(), format!("{}%", typed(within))]
        })
    }
}

/// Changes proposed for what is missed.
#[derive(Clone, Debug, Args)]
pub(super) struct MendArguments {
    /// Propose changes for what is missed and simulate at most so many of them, beside the scenario's variants;
    /// without a number 12 [default: none is proposed]
    #[arg(long, value_name = "N", num_args = 0..=1, require_equals = true, default_missing_value = "12",
        value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub(super) mends: Option<u32>,
    /// A price list, CSV with the columns item, of and price: changes are then ordered by their price
    /// [default: by the cables and ports that they take]
    #[arg(long, value_name = "FILE", requires = "mends")]
    pub(super) prices: Option<PathBuf>,
}

impl MendArguments {
    /// The words that repeat them on a command line.
    pub(super) fn words(&self) -> Vec<String> {
        let mut words: Vec<String> = Vec::new();
        words.extend(self.mends.map(|most| format!("--mends={most}")));
        if let Some(file) = &self.prices {
            words.extend(["--prices".to_owned(), file.to_string_lossy().into_owned()]);
        }
        words
    }

    /// How far the search is to go.
    pub(super) fn search(&self) -> Result<Search, Failure> {
        let Some(file) = &self.prices else {
            return Ok(Search {
                most: self.mends.unwrap_or(0),
                prices: None,
            });
        };
        Ok(Search {
            most: self.mends.unwrap_or(0),
            prices: Some(price_list(file)?),
        })
    }
}

/// Reads a price list.
pub(super) fn price_list(file: &Path) -> Result<PriceList, Failure> {
    let shown = file.display().to_string();
    let rows = prices(&shown, &load::text(file)?)
        .map_err(|problems| Failure::Scenario(render_problems(&problems)))?;
    Ok(PriceList::new(rows))
}

/// Where results go.
#[derive(Clone, Debug, Args)]
pub(super) struct OutputArguments {
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write the figures as CSV to this file too, a row a case and workload; of figures.csv, figures-promises.csv has the
    /// verdicts and figures-switch-overs.csv the switch-overs; with single parts a row a case and promise, with windows an
    /// outage and hour [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    #[command(flatten)]
    pub(super) junit: JunitArguments,
}

/// Verdicts for automation.
#[derive(Clone, Debug, Args)]
pub(super) struct JunitArguments {
    /// Write the verdicts as JUnit XML to this file too: one test for each case and promise [default: no file]
    #[arg(long, value_name = "FILE")]
    junit: Option<PathBuf>,
}

impl JunitArguments {
    /// Whether the file asked for can be written.
    pub(super) fn check(&self) -> Result<(), Failure> {
        self.junit.as_deref().map_or(Ok(()), write::check_file)
    }

    /// Writes the file if one was asked for.
    pub(super) fn write(&self, report: &Report) -> Result<(), Failure> {
        match &self.junit {
            Some(path) => write::file(path, junit::junit_xml(report).as_bytes()),
            None => Ok(()),
        }
    }
}

impl OutputArguments {
    /// Whether the files asked for can be written: before the runs, which take time.
    pub(super) fn check(&self) -> Result<(), Failure> {
        self.csv.as_deref().map_or(Ok(()), write::check_file)?;
        self.junit.check()
    }

    /// The same where the verdicts go to a file of their own.
    pub(super) fn check_with_promises(&self) -> Result<(), Failure> {
        self.check()?;
        self.check_beside(PROMISES)?;
        self.check_with_switch_overs()
    }

    /// Whether the figures of switch-overs can be written to a file of their own.
    pub(super) fn check_with_switch_overs(&self) -> Result<(), Failure> {
        self.check_beside(SWITCH_OVERS)
    }

    fn check_beside(&self, what: &str) -> Result<(), Failure> {
        let beside = self.csv.as_deref().and_then(|path| beside(path, what));
        beside.map_or(Ok(()), |path| write::check_file(&path))
    }

    /// Writes the CSV and JUnit files if they were asked for, then prints the result.
    pub(super) fn write(
        &self,
        console: &Console,
        report: &Report,
        text: impl FnOnce(&Report) -> String,
    ) -> Result<(), Failure> {
        if let Some(path) = &self.csv {
            let text = report
                .each_part
                .as_ref()
                .map_or_else(|| csv::report_csv(report), csv::singles_csv);
            write::file(path, text.as_bytes())?;
            // Single parts have their verdicts in the same rows.
            if let Some(beside) = beside(path, PROMISES).filter(|_| report.each_part.is_none()) {
                write::file(&beside, csv::promises_csv(&report.matrix).as_bytes())?;
            }
            if let (Some(beside), Some(text)) = (beside(path, SWITCH_OVERS), switch_overs(report)) {
                write::file(&beside, text.as_bytes())?;
            }
        }
        self.junit.write(report)?;
        let result = if self.json {
            json::report_json(report)
        } else {
            text(report)
        };
        console.result(&result)
    }
}

impl OutputArguments {
    /// Writes the CSV and JUnit files of a search for hours if they were asked for, then prints it.
    pub(super) fn write_windows(
        &self,
        console: &Console,
        origin: &Origin,
        found: &Windows,
    ) -> Result<(), Failure> {
        if let Some(path) = &self.csv {
            write::file(path, csv::windows_csv(found).as_bytes())?;
        }
        if let Some(path) = &self.junit.junit {
            write::file(path, junit::windows_xml(origin, found).as_bytes())?;
        }
        let result = if self.json {
            json::windows_json(origin, found)
        } else {
            table::windows_text(origin, found)
        };
        console.result(&result)
    }

    /// Writes the CSV file if it was asked for, then prints a row for each scenario.
    pub(super) fn write_several(
        &self,
        console: &Console,
        rows: &[ScenarioRow],
        reports: &[Report],
    ) -> Result<(), Failure> {
        if let Some(path) = &self.csv {
            write::file(path, csv::several_csv(rows).as_bytes())?;
        }
        if let Some(path) = &self.junit.junit {
            write::file(path, junit::several_xml(reports).as_bytes())?;
        }
        let result = if self.json {
            json::several_json(rows, reports)
        } else {
            table::several_text(rows)
        };
        console.result(&result)
    }
}

/// The figures of switch-overs, where any were simulated.
fn switch_overs(report: &Report) -> Option<String> {
    match &report.each_part {
        Some(each) => {
            let mut cases = each.cases.iter();
            let any = cases.any(|case| case.switch_over.is_some());
            any.then(|| csv::singles_switch_overs_csv(each))
        }
        None => (!report.switches.is_empty()).then(|| csv::switch_overs_csv(report)),
    }
}

const PROMISES: &str = "-promises";
const SWITCH_OVERS: &str = "-switch-overs";

/// Where more goes beside a file of figures: `figures-promises.csv`. Nowhere beside a pipe or a device.
fn beside(figures: &Path, what: &str) -> Option<PathBuf> {
    if figures.exists() && !figures.is_file() {
        return None;
    }
    let mut name = figures.file_stem()?.to_owned();
    name.push(what);
    if let Some(ending) = figures.extension() {
        name.push(".");
        name.push(ending);
    }
    Some(figures.with_file_name(name))
}

/// A precision like `2%`, as a fraction.
fn percent(text: &str) -> Result<f64, String> {
    const EXPECTED: &str = "write it as per cent, from 0.1% to 50%, for example 2%";
    text.strip_suffix('%')
        .and_then(|number| number.trim().parse::<f64>().ok())
        .map(|number| number / 100.0)
        .filter(|share| (0.001..=0.5).contains(share))
        .ok_or_else(|| EXPECTED.to_owned())
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
    fn a_precision_is_per_cent_within_its_range() {
        assert_eq!(percent("2%"), Ok(0.02));
        assert_eq!(percent("0.5 %"), Ok(0.005));
        let words = |within| PrecisionArguments { within }.words();
        assert_eq!(words(percent("2.3%").ok()), ["--within", "2.3%"]);
        assert!(words(None).is_empty());
        for wrong in [
            "", "%", "2", "0.02", "0%", "-1%", "60%", "nan%", "inf%", "2%%",
        ] {
            assert!(percent(wrong).is_err(), "{wrong:?}");
        }
    }

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
