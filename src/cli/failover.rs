//! `failover`: healthy, then each outage: the switch-over, the state after it, a verdict per promise.

use super::console::{Console, complain};
use super::effort::Effort;
use super::exit::{Exit, Failure};
use super::options::{
    MendArguments, OutputArguments, PrecisionArguments, RunArguments, ScenarioArguments,
};
use super::output::{only, outage_words};
use super::study::{self, Job};
use super::windows::{self, WindowArguments};
use super::{picture, write};
use crate::outcome::{Origin, Windows};
use crate::render::chart::{self, Format};
use crate::render::several::scenario_rows;
use crate::render::{csv, sheet, table};
use crate::study::Ask;
use crate::study::remedy::Search;
use crate::study::singles::{AskSingles, Symmetry};
use clap::{ArgGroup, Args};
use std::path::{Path, PathBuf};

/// Replications of a case of single parts, unless asked for otherwise: there are many cases.
const EACH_REPLICATIONS: u32 = 4;
/// The same of a switch-over.
const EACH_SWITCH_REPLICATIONS: u32 = 1;

/// Arguments of `failover`.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("singles").args(["each_part", "during"]).multiple(true).conflicts_with("windows"))]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    /// Further scenarios: one row each is printed then, with the verdict, the worst case and what limits there
    #[arg(value_name = "MORE.toml", conflicts_with_all = ["singles", "windows"])]
    more: Vec<PathBuf>,
    /// Only this outage, by name; may be repeated [default: every outage]
    #[arg(long, value_name = "NAME")]
    outage: Vec<String>,
    /// Drain the parts for a second before they are lost, as for maintenance
    #[arg(long)]
    planned: bool,
    /// Lose every single part in turn instead: port, adapter, module, chassis, switch, link, member, cage,
    /// controller, and each group of one fate; the state after each, at most 4 replications unless --replications says otherwise
    #[arg(long, conflicts_with_all = ["outage", "planned", "within"])]
    each_part: bool,
    /// The same while this outage is in force, as when a fabric is out for maintenance [default: no outage]
    #[arg(long, value_name = "NAME", conflicts_with_all = ["outage", "planned", "within"])]
    during: Option<String>,
    /// Simulate parts in the same place each by itself, not one for all of them
    #[arg(long, requires = "singles")]
    no_symmetry: bool,
    /// Simulate the switch-over of each single part too: seconds of traffic a case, so it takes long
    #[arg(long, requires = "singles")]
    switch_overs: bool,
    /// Write a work sheet for an acceptance test to this file, HTML for printing, and as CSV beside it: case by case
    /// what to take away, what to expect, and room for what is measured [default: no file]
    #[arg(long, value_name = "FILE.html")]
    sheet: Option<PathBuf>,
    #[command(flatten)]
    windows: WindowArguments,
    /// Draw the hours into this file, .svg or .png, for a slide [default: no file]
    #[arg(long, value_name = "FILE", requires = "windows")]
    chart: Option<PathBuf>,
    #[command(flatten)]
    run: RunArguments,
    #[command(flatten)]
    precision: PrecisionArguments,
    #[command(flatten)]
    mends: MendArguments,
    #[command(flatten)]
    output: OutputArguments,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    // Other questions have no file of verdicts beside that of figures.
    let singles = arguments.each_part || arguments.during.is_some();
    if singles || !arguments.more.is_empty() || arguments.windows.windows.is_some() {
        arguments.output.check()?;
        if singles && arguments.switch_overs {
            arguments.output.check_with_switch_overs()?;
        }
    } else {
        arguments.output.check_with_promises()?;
    }
    refuse_sheet(arguments, singles)?;
    arguments.chart.as_deref().map_or(Ok(()), picture::check)?;
    let sheet_files = arguments.sheet.as_deref().map(sheet_files).transpose()?;
    let search = arguments.mends.search()?;
    let mut job = prepared(arguments, &arguments.scenario)?;
    if singles {
        study::known(arguments.during.as_slice(), job.site())?;
        study::taken_out("--during", Some(arguments.during.as_slice()), job.site())?;
        if arguments.run.replications.is_none() {
            job.at_most(EACH_REPLICATIONS, EACH_SWITCH_REPLICATIONS);
        }
        let ask = AskSingles {
            during: arguments.during.clone(),
            symmetry: if arguments.no_symmetry {
                Symmetry::Each
            } else {
                Symmetry::Grouped
            },
            switch: arguments.switch_overs,
        };
        let effort = Effort::begin();
        let report = job.singles(&ask, &search)?;
        if let Some(each) = report.each_part.as_ref().filter(|_| !arguments.run.quiet) {
            complain(&cost_words(
                each.cases_run,
                each.cases_saved,
                &effort.time_words(),
            ));
        }
        arguments
            .output
            .write(console, &report, table::each_part_text)?;
        return Ok(study::exit_of(&report));
    }
    let ask = Ask {
        outages: only(&arguments.outage),
        switch: true,
        mends: search.most > 0,
        planned: arguments.planned,
    };
    let hours = arguments.windows.ask(job.site(), ask.outages.as_deref())?;
    if !arguments.more.is_empty() {
        return several(console, arguments, job, &ask, &search);
    }
    if let Some(hours) = &hours {
        if search.most > 0 || arguments.planned || arguments.precision.within.is_some() {
            return Err(Failure::arguments(
                "--windows looks for hours only, with a drain before each loss",
                "leave out --mends, --planned and --within",
            ));
        }
        let found = windows::alone(job, hours, sheet_files.is_some())?;
        draw(arguments, &found.origin, &found.windows)?;
        if let (Some(files), Some(steps)) = (&sheet_files, &found.steps) {
            write_sheet(files, steps)?;
        }
        let output = &arguments.output;
        output.write_windows(console, &found.origin, &found.windows)?;
        return Ok(windows::exit_of(&found.windows));
    }
    let report = job.mended(&ask, &search)?;
    if let Some(files) = &sheet_files {
        write_sheet(files, &sheet::Steps::of(report.clone()))?;
    }
    arguments
        .output
        .write(console, &report, table::report_text)?;
    Ok(study::exit_of(&report))
}

/// A sheet has a step for each outage with its switch-over, of one site: why there is none of other questions, and what to
/// do instead.
fn refuse_sheet(arguments: &Arguments, singles: bool) -> Result<(), Failure> {
    if arguments.sheet.is_none() {
        return Ok(());
    }
    if singles {
        return Err(Failure::arguments(
            "--sheet has a step for each outage of the scenario, and single parts are no outages of it",
            "state each part to be tested as an [[outage]], as in name = \"edge-A\", takes = [\"edge-A\"] (for a part lost while a fabric is out, \
             takes = [\"*-A\", \"edge-B\"]), and leave out --each-part and --during",
        ));
    }
    if !arguments.more.is_empty() {
        return Err(Failure::arguments(
            "--sheet is about one site, and there are several scenarios",
            "ask for the sheet of each by itself",
        ));
    }
    Ok(())
}

/// The page of a sheet, and its rows.
fn write_sheet((page, rows): &(PathBuf, PathBuf), steps: &sheet::Steps) -> Result<(), Failure> {
    let sheet = sheet::sheet(steps);
    write::file(page, sheet::sheet_page(steps, &sheet).as_bytes())?;
    write::file(rows, csv::sheet_csv(&sheet).as_bytes())
}

/// The hours as a slide, where one was asked for.
fn draw(arguments: &Arguments, origin: &Origin, found: &Windows) -> Result<(), Failure> {
    match &arguments.chart {
        Some(path) => picture::write(path, chart::hours(origin, found, Format::Slide)),
        None => Ok(()),
    }
}

/// Where a sheet goes: the page as asked for, and its rows beside it; both can be written.
fn sheet_files(page: &Path) -> Result<(PathBuf, PathBuf), Failure> {
    let html = page
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("html"));
    if !html {
        return Err(Failure::arguments(
            format!("the sheet {} does not end in .html", page.display()),
            "name it for example test-sheet.html; its rows go to test-sheet.csv",
        ));
    }
    let rows = page.with_extension("csv");
    write::check_file(page)?;
    write::check_file(&rows)?;
    Ok((page.to_owned(), rows))
}

fn prepared(arguments: &Arguments, scenario: &ScenarioArguments) -> Result<Job, Failure> {
    let job = study::prepare("failover", scenario, &arguments.run, &own_words(arguments))?
        .precisely(&arguments.precision);
    study::known(&arguments.outage, job.site())?;
    if arguments.planned {
        let names = only(&arguments.outage);
        study::taken_out("--planned", names.as_deref(), job.site())?;
    }
    let events = job.site().events.len();
    if events > 0 && !arguments.run.quiet {
        complain(&left_out_words(events));
    }
    Ok(job)
}

/// Several scenarios, one after the other; all of them are read before the first run.
fn several(
    console: &Console,
    arguments: &Arguments,
    first: Job,
    ask: &Ask,
    search: &Search,
) -> Result<Exit, Failure> {
    let mut jobs = vec![first];
    for file in &arguments.more {
        let scenario = ScenarioArguments {
            file: file.clone(),
            set: arguments.scenario.set.clone(),
        };
        jobs.push(prepared(arguments, &scenario)?);
    }
    let mut reports = Vec::new();
    for job in jobs {
        reports.push(job.mended(ask, search)?);
    }
    let rows = scenario_rows(&reports);
    arguments.output.write_several(console, &rows, &reports)?;
    let all_done = reports
        .iter()
        .all(|report| study::exit_of(report) == Exit::Done);
    Ok(if all_done { Exit::Done } else { Exit::NotMet })
}

/// The arguments that only this command has and that change what is found.
fn own_words(arguments: &Arguments) -> Vec<String> {
    let mut words = outage_words(&arguments.outage);
    if let Some(name) = &arguments.during {
        words.extend(["--during".to_owned(), name.clone()]);
    }
    let switches = [
        (arguments.planned, "--planned"),
        (arguments.each_part, "--each-part"),
        (arguments.no_symmetry, "--no-symmetry"),
        (arguments.switch_overs, "--switch-overs"),
    ];
    let given = switches.into_iter().filter(|(given, _)| *given);
    words.extend(given.map(|(_, word)| word.to_owned()));
    words.extend(arguments.precision.words());
    words.extend(arguments.mends.words());
    words.extend(arguments.windows.words());
    words
}

/// What is not looked at here.
fn left_out_words(events: usize) -> String {
    let what = if events == 1 {
        "the [[event]] of the scenario is"
    } else {
        "the [[event]]s of the scenario are"
    };
    format!("failover looks at outages and single parts: {what} left out; simulate runs them")
}

/// What the cases took: `71 cases, 214 saved by symmetry, in 93.1 s; 181 s of processor time, 1.94 cores in use`.
fn cost_words(run: u32, saved: u32, time: &str) -> String {
    format!("{run} cases, {saved} saved by symmetry, in {time}")
}
