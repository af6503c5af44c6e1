//! `compare`: the same work on several designs, under the same random numbers.

use super::console::{self, Console};
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::{RunArguments, ScenarioArguments, key_value, price_list};
use super::output::{Forms, Outages, Output};
use super::{picture, study};
use crate::outcome::{Comparison, Inventory, Origin, Verdict};
use crate::render::chart::{Format, design_differences};
use crate::render::{csv, json, table};
use crate::scenario::{prices_of_nothing, render_problems};
use crate::study::compare::{Design, compare};
use crate::study::inventory::inventory;
use clap::Args;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The designs: scenarios, the first one is what the others are compared with
    #[arg(value_name = "SCENARIO.toml", required = true)]
    files: Vec<PathBuf>,
    /// One more design: the first scenario with this value, or several apart by `;`, for example
    /// link.edge-san.members=4; may be repeated [default: none]
    #[arg(long, value_name = "KEY=VALUE[;KEY=VALUE]", value_parser = settings)]
    variant: Vec<Settings>,
    /// Set a value in every design; may be repeated [default: the scenarios as written]
    #[arg(long, value_name = "KEY=VALUE", value_parser = key_value)]
    set: Vec<(String, String)>,
    #[command(flatten)]
    outages: Outages,
    /// A price list, CSV with the columns item, of and price: what each design costs more than the first stands beside
    /// what it gains [default: no prices]
    #[arg(long, value_name = "FILE")]
    prices: Option<PathBuf>,
    #[command(flatten)]
    run: RunArguments,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write the differences as CSV to this file too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw the differences of promised figures with their intervals into this file, .svg or .png, for a slide [default: no
    /// file]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
}

/// What one variant sets.
type Settings = Vec<(String, String)>;

/// `KEY=VALUE;KEY=VALUE`; a `;` inside double quotes belongs to the value.
fn settings(text: &str) -> Result<Settings, String> {
    let (mut parts, mut quoted) = (vec![String::new()], false);
    for letter in text.chars() {
        match letter {
            ';' if !quoted => parts.push(String::new()),
            letter => {
                quoted ^= letter == '"';
                if let Some(last) = parts.last_mut() {
                    last.push(letter);
                }
            }
        }
    }
    parts.iter().map(|part| key_value(part)).collect()
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let output = Output {
        csv: arguments.csv.as_deref(),
        json: arguments.json,
    };
    output.check()?;
    arguments.chart.as_deref().map_or(Ok(()), picture::check)?;
    let designs = designs(arguments)?;
    if designs.len() < 2 {
        return Err(Failure::arguments(
            "there is only one design, and nothing to compare it with",
            "name a second scenario, or add --variant KEY=VALUE",
        ));
    }
    for design in &designs {
        study::known(arguments.outages.names(), &design.site)?;
    }
    let prices = arguments.prices.as_deref().map(price_list).transpose()?;
    if let Some(file) = arguments.prices.as_deref().filter(|_| !arguments.run.quiet) {
        warn_of_prices(file, &designs)?;
    }
    let origin = origin(arguments, &designs);
    let outages = arguments.outages.only();
    let found = study::on_threads(&arguments.run, |progress| {
        compare(
            &designs,
            origin,
            outages.as_deref(),
            prices.as_ref(),
            progress,
        )
    })?;
    if let Some(path) = &arguments.chart {
        picture::write(path, design_differences(&found, Format::Slide))?;
    }
    let forms = Forms {
        csv: &csv::comparison_csv,
        json: &json::comparison_json,
        text: &table::comparison_text,
    };
    output.write(console, &found, &forms)?;
    Ok(exit_of(&found))
}

/// Warns of prices of families that no design has.
fn warn_of_prices(file: &Path, designs: &[Design]) -> Result<(), Failure> {
    let inventories: Vec<Inventory> = designs.iter().map(|own| inventory(&own.site)).collect();
    let devices = || inventories.iter().flat_map(|own| &own.devices);
    let names = |item: &str| {
        let kind = if item == "parallel" {
            "controller"
        } else {
            item
        };
        let own = devices().filter(|device| device.kind == kind);
        let mut names: Vec<&str> = own.map(|device| device.of.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names
    };
    let shown = file.display().to_string();
    let told = prices_of_nothing(&shown, &load::text(file)?, names);
    if !told.is_empty() {
        console::complain(render_problems(&told).trim_end());
    }
    Ok(())
}

fn designs(arguments: &Arguments) -> Result<Vec<Design>, Failure> {
    let one = |file: &PathBuf, own: &[(String, String)], name: String| {
        let scenario = ScenarioArguments {
            file: file.clone(),
            set: [&arguments.set[..], own].concat(),
        };
        let mut loaded = load::load(&scenario, Warnings::unless(arguments.run.quiet))?;
        load::apply(&mut loaded, &arguments.run);
        Ok(Design {
            name,
            site: loaded.site,
            digest: loaded.digest,
            set: scenario.set,
        })
    };
    let file_name = |file: &PathBuf| {
        let name = file.file_name();
        name.map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    };
    let mut designs = Vec::new();
    for file in &arguments.files {
        designs.push(one(file, &[], file_name(file))?);
    }
    for set in &arguments.variant {
        let pairs: Vec<String> = set.iter().map(|(k, v)| format!("{k}={v}")).collect();
        designs.push(one(&arguments.files[0], set, pairs.join("; "))?);
    }
    Ok(designs)
}

fn origin(arguments: &Arguments, designs: &[Design]) -> Origin {
    let run = &designs[0].site.run;
    let mut hash = Sha256::new();
    for design in designs {
        hash.update(design.digest.as_bytes());
    }
    let mut words = vec!["halfloom".to_owned(), "compare".to_owned()];
    let mut names: Vec<String> = Vec::new();
    for design in &designs[..arguments.files.len()] {
        names.push(design.name.clone());
    }
    words.extend(names.clone());
    for set in &arguments.variant {
        let pairs: Vec<String> = set.iter().map(|(k, v)| format!("{k}={v}")).collect();
        words.extend(["--variant".to_owned(), pairs.join(";")]);
    }
    words.extend(arguments.outages.words());
    if let Some(file) = &arguments.prices {
        words.extend(["--prices".to_owned(), file.to_string_lossy().into_owned()]);
    }
    words.extend(study::repeated(&arguments.set, &arguments.run));
    Origin {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        title: designs[0].site.title.clone(),
        scenario: names.join(", "),
        digest: hash.finalize().iter().map(|b| format!("{b:02x}")).collect(),
        seed: run.seed,
        replications: run.replications,
        switch_replications: run.switch_replications,
        command: study::shell_line(&words),
        set: arguments.set.clone(),
    }
}

/// Done when every design meets every promise.
fn exit_of(found: &Comparison) -> Exit {
    let rows = found.designs.iter().flat_map(|design| &design.matrix.rows);
    let mut cells = rows.flat_map(|row| row.cells.iter().flatten());
    let whole = found.designs.iter().all(|design| !design.partial);
    if whole && cells.all(|cell| cell.verdict == Verdict::Met) {
        Exit::Done
    } else {
        Exit::NotMet
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_variant_may_set_several_values() {
        let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        assert_eq!(
            settings("a=1; b=\"x;y\""),
            Ok(vec![pair("a", "1"), pair("b", "\"x;y\"")])
        );
        assert!(settings("a=1;").is_err() && settings("a").is_err());
    }
}
