//! `sweep`: a grid of what-ifs, one row for each point, case and workload, written as they finish.

mod idle;
pub(super) mod slice;
pub(super) mod store;
mod vary;

use super::console::{self, Console};
use super::effort::Effort;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::{RunArguments, ScenarioArguments};
use super::output::Outages;
use super::{picture, stop, study, write};
use crate::outcome::{Origin, SweepPoint};
use crate::render::chart::{Format, sweep_chart};
use crate::render::csv::{SweepPlace, sweep_header, sweep_json_line, sweep_rows};
use crate::render::sweep::SweepTable;
use crate::render::table;
use crate::render::words::plural;
use crate::scenario::render_problems;
use crate::site::Site;
use crate::study::Progress;
use crate::study::headroom::{rounded_depths, scaled};
use crate::study::review::port_budget_notes;
use crate::study::sweep::{Asked, Runs, in_order, point, runs};
use clap::Args;
use idle::Idle;
use sha2::{Digest, Sha256};
use slice::{Slice, Wanted};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use store::{Kind, Sink, Stored};
use vary::Axis;

/// The key that scales all work and is no key of the scenario.
const LOAD: &str = "load";

/// Arguments of `sweep`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Vary a value of the scenario: a list, or a range as 2..8, 0.5..2/0.25 or 10%..90%/20%; `load` is times
    /// today's work; several make a grid [default: none]
    #[arg(long, value_name = "KEY=V1,V2", value_parser = vary::axis)]
    vary: Vec<Axis>,
    /// Points from a table: a header line of keys, one row a point; with --vary, each of them with each of its
    /// values [default: none]
    #[arg(long, value_name = "FILE.csv")]
    points: Option<PathBuf>,
    #[command(flatten)]
    outages: Outages,
    /// Run the switch-over of each outage too, at every point: seconds of traffic each, so it takes long
    #[arg(long)]
    switch_overs: bool,
    /// Run piece I of N only; auto or auto/N: as the batch engine says [default: all points]
    #[arg(long, value_name = "I/N", value_parser = slice::wanted)]
    slice: Option<Wanted>,
    #[command(flatten)]
    run: RunArguments,
    /// Write rows to this file as they finish; where it holds rows of the same sweep, go on after them
    /// [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// The same as one JSON object a line [default: no file]
    #[arg(long, value_name = "FILE")]
    jsonl: Option<PathBuf>,
    /// Print the rows as JSON, one object a line, instead of a table
    #[arg(long)]
    json: bool,
    /// Draw the promised figure against one or two varied values into this file, .svg or .png [default: no file]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// The workload to draw [default: the one that misses a promise most often, else the first one with a promise]
    #[arg(long, value_name = "WORKLOAD", requires = "chart")]
    chart_of: Option<String>,
}

/// A point before it is run.
struct Plan {
    place: SweepPlace,
    set: Vec<(String, String)>,
    load: f64,
}

struct Sweep<'a> {
    arguments: &'a Arguments,
    asked: Asked,
    header: Vec<String>,
    keys: Vec<String>,
    plans: Vec<Plan>,
    runs: u64,
    /// Varied keys that no row depends on, in sentences.
    notes: Vec<String>,
    /// Where a load takes no whole number of a closed loop's I/Os.
    rounded: Vec<String>,
    origin: Origin,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    for path in [&arguments.csv, &arguments.jsonl].into_iter().flatten() {
        write::check_file(path)?;
    }
    arguments.chart.as_deref().map_or(Ok(()), picture::check)?;
    let sweep = plan(arguments)?;
    if !arguments.run.quiet {
        for said in &sweep.notes {
            console::complain(&format!("note: {said}"));
        }
    }
    let files: Vec<(&Path, Kind)> = [(&arguments.csv, Kind::Csv), (&arguments.jsonl, Kind::Json)]
        .into_iter()
        .filter_map(|(path, kind)| Some((path.as_deref()?, kind)))
        .collect();
    let stored: Vec<Vec<Stored>> = files
        .iter()
        .map(|(path, kind)| found(path, *kind, &sweep))
        .collect::<Result<_, _>>()?;
    let keep = stored.iter().map(Vec::len).min().unwrap_or(0);
    let mut sinks = Vec::new();
    for ((path, kind), stored) in files.iter().zip(&stored) {
        let sink = Sink::open(path, *kind, &sweep.header, stored, keep);
        sinks.push(sink.map_err(|error| Failure::file("write", *path, error))?);
    }
    let mut rows: Vec<Vec<String>> = Vec::new();
    if let Some(stored) = stored.first() {
        rows.extend(stored[..keep].iter().flat_map(|point| point.rows.clone()));
    }
    if keep > 0 && !arguments.run.quiet {
        let all = sweep.plans.len();
        console::complain(&format!(
            "{keep} of {all} points are there and are not run again"
        ));
    }
    let effort = Effort::begin();
    let (new, hops) = go_on(&sweep, keep, sinks)?;
    rows.extend(new);
    if !arguments.run.quiet {
        let points = plural(sweep.plans.len() - keep, "point");
        console::complain(&effort.words(&points, hops));
    }
    let table = SweepTable {
        keys: sweep.keys.clone(),
        header: sweep.header.clone(),
        rows,
    };
    if let Some(path) = &arguments.chart {
        let of = arguments.chart_of.as_deref();
        picture::write(path, sweep_chart(&table, &sweep.origin, of, Format::Slide))?;
    }
    let lines = || {
        table
            .rows
            .iter()
            .map(|row| sweep_json_line(&table.header, row))
    };
    console.result(&if arguments.json {
        lines().collect()
    } else {
        table::sweep_text(&table, &sweep.notes, &sweep.rounded, &sweep.origin)
    })?;
    let kept = |row: &Vec<String>, name: &str| matches!(table.text(row, name), "met" | "");
    let whole = |row: &Vec<String>| table.text(row, "partial") != "true";
    let met =
        |row: &Vec<String>| whole(row) && kept(row, "all_promises") && kept(row, "switch_verdict");
    Ok(if table.rows.iter().all(met) {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

/// Reads every point once, so that what is wrong with one is said before any is run.
fn plan(arguments: &Arguments) -> Result<Sweep<'_>, Failure> {
    let mut axes = Vec::new();
    if let Some(path) = &arguments.points {
        let text = load::text(path)?;
        let shown = path.display().to_string();
        let table = vary::table(&shown, &text);
        axes.push(table.map_err(|problems| Failure::Scenario(render_problems(&problems)))?);
    }
    axes.extend(arguments.vary.iter().cloned());
    if axes.is_empty() {
        return Err(Failure::arguments(
            "nothing is varied",
            "add --vary KEY=V1,V2 or --points FILE.csv",
        ));
    }
    let keys: Vec<String> = axes.iter().flat_map(|axis| axis.keys.clone()).collect();
    if arguments.chart.is_some() && keys.len() > 2 {
        return Err(Failure::arguments(
            format!(
                "a chart shows one or two varied values, and {} are varied",
                keys.len()
            ),
            "leave --chart out, or vary fewer",
        ));
    }
    for (key, option, stated) in [
        (
            "run.replications",
            "--replications",
            arguments.run.replications.is_some(),
        ),
        ("run.seed", "--seed", arguments.run.seed.is_some()),
    ] {
        if stated && keys.iter().any(|varied| varied == key) {
            return Err(Failure::arguments(
                format!("{key} is varied, and {option} states one value for all points"),
                format!("leave {option} out"),
            ));
        }
    }
    let grid = vary::grid(&axes)
        .map_err(|problem| Failure::arguments(problem, "vary fewer values, each key once"))?;
    let slice = match arguments.slice {
        None => Slice {
            piece: 1,
            pieces: 1,
        },
        Some(wanted) => slice::resolve(wanted, &|name| std::env::var(name).ok())
            .map_err(|problem| Failure::arguments(problem, "or say it outright: --slice 3/8"))?,
    };
    let asked = Asked {
        outages: arguments.outages.only(),
        runs: if arguments.switch_overs {
            Runs::SwitchOvers
        } else {
            Runs::Steady
        },
    };
    let points = grid.len();
    let mut idle = Idle::new(&keys, &asked);
    let mut rounded: Vec<String> = Vec::new();
    let mut budgets: Vec<(String, String)> = Vec::new();
    let (mut plans, mut all_runs, mut hash, mut first) = (Vec::new(), 0, Sha256::new(), None);
    for (index, values) in grid.into_iter().enumerate() {
        let (set, load) = settings(arguments, &keys, &values)?;
        let warnings = Warnings::unless(arguments.run.quiet || index > 0);
        let loaded =
            read(arguments, &set, warnings).map_err(|failure| at(failure, &keys, &values))?;
        study::known(arguments.outages.names(), &loaded.site)?;
        for said in port_budget_notes(&loaded.site) {
            if !budgets.iter().any(|(known, _)| *known == said) {
                budgets.push((said, place_of(&keys, &values)));
            }
        }
        idle.look(&values, &loaded.site, load);
        let run = loaded.site.run.clone();
        hash.update(loaded.digest.as_bytes());
        hash.update(run.seed.to_le_bytes());
        hash.update(run.replications.to_le_bytes());
        hash.update(load.to_le_bytes());
        if index % slice.pieces == slice.piece - 1 {
            for said in rounded_depths(&loaded.site, load) {
                if !rounded.contains(&said) {
                    rounded.push(said);
                }
            }
            all_runs += runs(&loaded.site, &asked);
            plans.push(Plan {
                place: SweepPlace {
                    point: index + 1,
                    points,
                    values,
                    seed: run.seed,
                    replications: run.replications,
                    digest: loaded.digest,
                    sweep: String::new(),
                    version: env!("CARGO_PKG_VERSION").to_owned(),
                },
                set,
                load,
            });
        }
        first.get_or_insert((run, loaded.site.title.clone()));
    }
    let Some((run, title)) = first else {
        return Err(Failure::arguments("there is no point", "vary something"));
    };
    if asked.outages.as_ref().is_some_and(Vec::is_empty) {
        hash.update(b"healthy alone");
    }
    for name in asked.outages.iter().flatten() {
        hash.update(name.as_bytes());
        hash.update([0]);
    }
    hash.update([u8::from(arguments.switch_overs)]);
    hash.update(env!("CARGO_PKG_VERSION").as_bytes());
    let digest: String = hash.finalize().iter().map(|b| format!("{b:02x}")).collect();
    for plan in &mut plans {
        plan.place.sweep.clone_from(&digest);
    }
    let file = arguments.scenario.file.file_name();
    Ok(Sweep {
        arguments,
        notes: idle
            .words()
            .into_iter()
            .chain(budget_words(budgets))
            .collect(),
        asked,
        header: sweep_header(&keys),
        keys,
        plans,
        runs: all_runs,
        rounded,
        origin: Origin {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title,
            scenario: file.map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
            digest,
            seed: run.seed,
            replications: run.replications,
            switch_replications: run.switch_replications,
            command: command(arguments, &axes),
            set: arguments.scenario.set.clone(),
        },
    })
}

/// The settings of a point and its load factor.
fn settings(
    arguments: &Arguments,
    keys: &[String],
    values: &[String],
) -> Result<(Vec<(String, String)>, f64), Failure> {
    let mut set = arguments.scenario.set.clone();
    let mut load = 1.0;
    for (key, value) in keys.iter().zip(values) {
        if key != LOAD {
            set.push((key.clone(), value.clone()));
            continue;
        }
        let number: f64 = value.parse().unwrap_or(0.0);
        if !(number > 0.0 && number <= 1000.0) {
            return Err(Failure::arguments(
                format!("{value} is no load"),
                "load is a factor above 0 and at most 1000: how many times today's work",
            ));
        }
        load = number;
    }
    Ok((set, load))
}

fn read(
    arguments: &Arguments,
    set: &[(String, String)],
    warnings: Warnings,
) -> Result<crate::scenario::Loaded, Failure> {
    let scenario = ScenarioArguments {
        file: arguments.scenario.file.clone(),
        set: set.to_vec(),
    };
    let mut loaded = load::load(&scenario, warnings)?;
    load::apply(&mut loaded, &arguments.run);
    Ok(loaded)
}

/// Says at which point a scenario is wrong.
fn at(failure: Failure, keys: &[String], values: &[String]) -> Failure {
    match failure {
        Failure::Scenario(text) => Failure::Scenario(format!(
            "{text}\nnote: at the point {}; where another value has to change with it, --points FILE.csv has a column for each",
            place_of(keys, values)
        )),
        other => other,
    }
}

/// `speed=32GFC, load=2`: a point in words.
fn place_of(keys: &[String], values: &[String]) -> String {
    let pairs = keys.iter().zip(values);
    let pairs: Vec<String> = pairs.map(|(key, value)| format!("{key}={value}")).collect();
    pairs.join(", ")
}

/// What goes beyond the ports of a switch, with the first point at which it does.
fn budget_words(budgets: Vec<(String, String)>) -> impl Iterator<Item = String> {
    budgets
        .into_iter()
        .map(|(said, point)| format!("first at {point}: {said}"))
}

fn command(arguments: &Arguments, axes: &[Axis]) -> String {
    let file = &arguments.scenario.file;
    let mut words = vec![
        "halfloom".to_owned(),
        "sweep".to_owned(),
        file.to_string_lossy().into_owned(),
    ];
    let table = usize::from(arguments.points.is_some());
    if let Some(path) = &arguments.points {
        words.extend(["--points".to_owned(), path.to_string_lossy().into_owned()]);
    }
    for axis in &axes[table..] {
        let values: Vec<String> = axis.rows.iter().map(|row| row[0].clone()).collect();
        let pair = format!("{}={}", axis.keys[0], values.join(","));
        words.extend(["--vary".to_owned(), pair]);
    }
    words.extend(arguments.outages.words());
    if arguments.switch_overs {
        words.push("--switch-overs".to_owned());
    }
    words.extend(study::repeated(&arguments.scenario.set, &arguments.run));
    study::shell_line(&words)
}

/// The whole points that a file holds, which must be the first ones of this sweep.
fn found(path: &Path, kind: Kind, sweep: &Sweep<'_>) -> Result<Vec<Stored>, Failure> {
    let bytes = store::read(path).map_err(|error| Failure::file("read", path, error))?;
    let refuse = |line: usize| {
        Failure::InTheWay {
        what: format!("{}:{line}: this is no row of this sweep", path.display()),
        help: "name another file, or remove it: rows are only gone on with by the same version, scenario, \
               values, seed and replications; where a disk has spoilt that line, cut the file before it"
            .to_owned(),
    }
    };
    if store::has_other_columns(kind, &sweep.header, &bytes) {
        return Err(Failure::InTheWay {
            what: format!(
                "{}:1: these are rows of a sweep with other columns: of other varied keys, or written by another version",
                path.display()
            ),
            help: "name another file, or remove it and run all points again; or go on with the keys and the version that began it"
                .to_owned(),
        });
    }
    let mut stored = store::points(kind, &sweep.header, &bytes).map_err(refuse)?;
    let mut line = 1 + usize::from(kind == Kind::Csv);
    if let Some((index, before)) = store::changed(&stored) {
        if !sweep.arguments.run.quiet {
            console::complain(&format!(
                "warning: {}:{}: this row was changed since it was written; its point and those after it are run again",
                path.display(),
                line + before
            ));
        }
        stored.truncate(index);
    }
    for (index, point) in stored.iter().enumerate() {
        let same = |plan: &Plan| belongs(sweep, &plan.place, &point.rows);
        if !sweep.plans.get(index).is_some_and(same) {
            return Err(refuse(line));
        }
        line += point.rows.len();
    }
    Ok(stored)
}

fn belongs(sweep: &Sweep<'_>, place: &SweepPlace, rows: &[Vec<String>]) -> bool {
    let table = SweepTable {
        keys: sweep.keys.clone(),
        header: sweep.header.clone(),
        rows: Vec::new(),
    };
    rows.iter().all(|row| {
        [
            ("point", place.point.to_string()),
            ("points", place.points.to_string()),
            ("seed", place.seed.to_string()),
            ("replications", place.replications.to_string()),
            ("digest", place.digest.clone()),
            ("sweep", place.sweep.clone()),
            ("version", place.version.clone()),
        ]
        .iter()
        .all(|(name, wanted)| table.text(row, name) == wanted)
            && table.values(row) == place.values
    })
}

/// Runs are planned for the whole sweep at once, so that the remaining time is that of the sweep.
struct Whole<'a>(&'a dyn Progress);

impl Progress for Whole<'_> {
    fn planned(&self, _runs: u64) {}
    fn advanced(&self, events: u64) {
        self.0.advanced(events);
    }
    fn run_done(&self) {
        self.0.run_done();
    }
}

/// Runs the points from `keep` on and writes their rows; those, and how many frame-hops were simulated.
fn go_on(
    sweep: &Sweep<'_>,
    keep: usize,
    sinks: Vec<Sink>,
) -> Result<(Vec<Vec<String>>, u64), Failure> {
    let plans = &sweep.plans[keep..];
    let sinks = Mutex::new(sinks);
    // Whoever stops it waits for the write that is under way: no file is left with half a row.
    let watched = stop::watch(
        if sweep.arguments.csv.is_some() || sweep.arguments.jsonl.is_some() {
            "stopped; files hold whole points, and the same command goes on after them"
        } else {
            stop::BEGINS_AGAIN
        },
    );
    if watched.is_err() && !sweep.arguments.run.quiet {
        console::complain("warning: cannot watch for Ctrl-C; a torn last row would be repaired");
    }
    let (mut rows, mut hops) = (Vec::new(), 0_u64);
    let mut failed = None;
    let done = study::on_threads(&sweep.arguments.run, |progress| {
        let all = sweep.plans.len().max(1) as u64;
        progress.planned(sweep.runs * plans.len() as u64 / all);
        in_order(
            plans.len(),
            |index| one(sweep, &plans[index], progress),
            |_, result: Result<(Vec<Vec<String>>, SweepPoint), Failure>| {
                let written = result.and_then(|(rows, found)| {
                    hops += found.steady.iter().map(|case| case.frame_hops).sum::<u64>();
                    hops += found.switches.iter().map(|own| own.frame_hops).sum::<u64>();
                    let mut sinks = sinks.lock().unwrap_or_else(PoisonError::into_inner);
                    let _kept = stop::writing();
                    for sink in sinks.iter_mut() {
                        if let Err(error) = sink.add(&rows) {
                            return Err(Failure::file("write", &sink.path, error));
                        }
                    }
                    Ok(rows)
                });
                match written {
                    Ok(new) => rows.extend(new),
                    Err(failure) => failed = Some(failure),
                }
                failed.is_none()
            },
        );
    });
    done?;
    failed.map_or(Ok((rows, hops)), Err)
}

fn one(
    sweep: &Sweep<'_>,
    plan: &Plan,
    progress: &dyn Progress,
) -> Result<(Vec<Vec<String>>, SweepPoint), Failure> {
    let loaded = read(sweep.arguments, &plan.set, Warnings::Hidden)?;
    if loaded.digest != plan.place.digest {
        return Err(Failure::arguments(
            "the scenario was changed while the sweep ran",
            "what is written so far is of the old one: start again with another file",
        ));
    }
    let site: Site = scaled(&loaded.site, plan.load);
    let found = point(&site, &sweep.asked, &Whole(progress));
    Ok((sweep_rows(&plan.place, &found), found))
}
