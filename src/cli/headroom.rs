//! `headroom`: the largest load factor at which every promise holds, healthy and in each outage.

use super::console::{self, Console};
use super::effort::Effort;
use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::{RunArguments, ScenarioArguments};
use super::output::{Forms, Outages, Output};
use super::{picture, stop, study, write};
use crate::outcome::{Headroom, Verdict};
use crate::render::chart::{Format, load_curve, part_bars};
use crate::render::number::three;
use crate::render::words::plural;
use crate::render::{csv, json, page, table};
use crate::site::{HostFamily, Site};
use crate::study::headroom::{
    Ask, ByArithmetic, Hosts, bring_no_more, by_arithmetic, by_arithmetic_in_hosts, has_promises,
    headroom, headroom_in_hosts,
};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `headroom`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    scenario: ScenarioArguments,
    #[command(flatten)]
    outages: Outages,
    /// Let the number of hosts of this family grow, not the load [default: the load]
    #[arg(long, value_name = "FAMILY")]
    hosts: Option<String>,
    /// Largest factor to try, more than 1 and at most 1000
    #[arg(long, value_name = "FACTOR", default_value_t = 64.0, value_parser = factor)]
    most: f64,
    /// Do not simulate the switch-over of each outage at the load that is proven; where nothing is promised about
    /// switching none is simulated anyway [default: judged]
    #[arg(long)]
    no_switch_over: bool,
    #[command(flatten)]
    run: RunArguments,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Write every load that was run as CSV to this file too [default: no file]
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw latency against load into this file, .svg or .png, for a slide [default: no file]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Draw how full each part is into this file, .svg or .png: healthy, in an outage, and spare [default: no file]
    #[arg(long, value_name = "FILE")]
    parts_chart: Option<PathBuf>,
    /// Write both charts, the tables and what they rest on as one page [default: no file]
    #[arg(long, value_name = "FILE.html")]
    page: Option<PathBuf>,
    /// Draw the promises of this workload, its first one [default: the promise that breaks first]
    #[arg(long, value_name = "WORKLOAD", requires = "chart")]
    chart_of: Option<String>,
}

fn factor(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(factor) if factor > 1.0 && factor <= 1000.0 => Ok(factor),
        _ => Err("a factor above 1 and at most 1000, for example 8".to_owned()),
    }
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    let output = Output {
        csv: arguments.csv.as_deref(),
        json: arguments.json,
    };
    output.check()?;
    for path in [&arguments.chart, &arguments.parts_chart]
        .into_iter()
        .flatten()
    {
        picture::check(path)?;
    }
    arguments
        .page
        .as_deref()
        .map_or(Ok(()), picture::check_page)?;
    let mut extra = arguments.outages.words();
    if let Some(family) = &arguments.hosts {
        extra.extend(["--hosts".to_owned(), family.clone()]);
    }
    extra.extend(["--most".to_owned(), arguments.most.to_string()]);
    if arguments.no_switch_over {
        extra.push("--no-switch-over".to_owned());
    }
    let job = study::prepare("headroom", &arguments.scenario, &arguments.run, &extra)?;
    study::known(arguments.outages.names(), job.site())?;
    if !has_promises(job.site()) {
        return Err(Failure::arguments(
            "the scenario promises nothing, so no load can break a promise",
            "give a [[workload]] one, for example promise = { p99 = \"2ms\" }",
        ));
    }
    if let Some(family) = &arguments.hosts {
        known_family(job.site(), family)?;
        grows_with(job.site(), family)?;
    }
    if let Some(name) = &arguments.chart_of {
        let known = || job.site().workloads.iter().map(|work| work.name.as_str());
        if !known().any(|known| known == name) {
            return Err(Failure::arguments(
                format!("there is no workload `{name}`"),
                format!("workloads: {}", known().collect::<Vec<_>>().join(", ")),
            ));
        }
    }
    let ask = Ask {
        outages: arguments.outages.only(),
        most: arguments.most,
        switch_overs: !arguments.no_switch_over,
    };
    // Ctrl-C ends the search; what is proven by then is written as usual, and marked.
    stop::end_early();
    let effort = Effort::begin();
    let found = match &arguments.hosts {
        None => {
            if !arguments.run.quiet {
                console::complain(&first_answer(job.site(), ask.outages.as_deref()));
            }
            job.run(|site, origin, progress| headroom(site, origin, &ask, progress))?
        }
        Some(family) => in_hosts(arguments, family, job, &ask)?,
    };
    if !arguments.run.quiet {
        console::complain(&effort_words(&effort, &found));
    }
    if let Some(path) = &arguments.chart {
        let promise = promise(&found, arguments.chart_of.as_deref());
        picture::write(path, load_curve(&found, promise, Format::Slide))?;
    }
    if let Some(path) = &arguments.parts_chart {
        picture::write(path, part_bars(&found, Format::Slide))?;
    }
    if let Some(path) = &arguments.page {
        write::file(path, page::headroom_page(&found).as_bytes())?;
    }
    let forms = Forms {
        csv: &csv::headroom_csv,
        json: &json::headroom_json,
        text: &table::headroom_text,
    };
    output.write(console, &found, &forms)?;
    if found.partial {
        return Ok(Exit::Stopped);
    }
    // Today's load keeps every promise in every case, proven, and a switch-over that was judged is met at it or above.
    let today = |case: &crate::outcome::CaseHeadroom| {
        let switched = case.switch_over.is_none() || case.switch_met.is_some_and(|met| met >= 1.0);
        case.today.is_none_or(|today| today == Verdict::Met) && switched
    };
    // What a limit stopped is told as partial, wherever it was.
    Ok(if found.cases.iter().all(today) && !found.is_cut() {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

/// What the search took.
fn effort_words(effort: &Effort, found: &Headroom) -> String {
    let points = || found.cases.iter().flat_map(|case| &case.points);
    let switches = found
        .cases
        .iter()
        .filter_map(|case| case.switch_over.as_ref());
    let hops = points().map(|point| point.frame_hops).sum::<u64>()
        + switches.map(|switch| switch.frame_hops).sum::<u64>();
    effort.words(&plural(points().count(), "load"), hops)
}

/// What arithmetic says at once, before any run.
fn first_answer(site: &Site, outages: Option<&[String]>) -> String {
    let cases: Vec<String> = by_arithmetic(site, outages)
        .into_iter()
        .map(|found| {
            let ByArithmetic { case, waits, .. } = found;
            match found.full {
            Some(factor) => {
                let waits = waits.map_or_else(String::new, |work| {
                    format!(" (by then the hosts of {work} have all under way that they may)")
                });
                format!("{case} at {}{waits}", three(factor))
            }
            None if found.cut_off => format!("{case} never (no work has a path)"),
            None => format!("{case} never (closed loops take what there is; what grows is the number outstanding)"),
        }})
        .collect();
    format!(
        "by arithmetic the fullest part is full on the mean, times today's load: {}; the runs say where promises break",
        cases.join(", ")
    )
}

fn first_answer_in_hosts(what: &str, full: &[(String, Option<f64>)]) -> String {
    let cases = full.iter().map(|(case, full)| match full {
        Some(count) => format!("{case} at {count}"),
        None => format!("{case} at none that is looked at"),
    });
    format!(
        "by arithmetic the fullest part is full on the mean at this number of {what}: {}; the runs say where promises break",
        cases.collect::<Vec<_>>().join(", ")
    )
}

fn known_family<'a>(site: &'a Site, family: &str) -> Result<&'a HostFamily, Failure> {
    let families = || site.hosts.iter();
    families().find(|host| host.name == family).ok_or_else(|| {
        let names: Vec<&str> = families().map(|host| host.name.as_str()).collect();
        Failure::arguments(
            format!("there is no family of hosts `{family}`"),
            format!("hosts: {}", names.join(", ")),
        )
    })
}

/// More hosts that bring no more work than there is are no headroom.
fn grows_with(site: &Site, family: &str) -> Result<(), Failure> {
    let Some(works) = bring_no_more(site, family) else {
        return Ok(());
    };
    let help = match works.first() {
        Some(work) => format!(
            "state the rate of each host, as with --set 'workload.{work}.arrivals.per=\"host\"' and a rate for one host, leave --hosts \
             out, or see what other numbers of hosts do with `sweep --vary host.{family}.count`"
        ),
        None => "name a family that a [[workload]] names, or leave --hosts out".to_owned(),
    };
    let why = match works[..] {
        [] => "no workload is theirs".to_owned(),
        [one] => {
            format!("the rate of `{one}` is stated for the whole workload, whatever hosts share it")
        }
        _ => format!(
            "the rates of {} are stated for the whole workload, whatever hosts share it",
            works
                .iter()
                .map(|name| format!("`{name}`"))
                .collect::<Vec<_>>()
                .join(", ")
        ),
    };
    Err(Failure::arguments(
        format!("more hosts of `{family}` bring no more load: {why}"),
        help,
    ))
}

fn in_hosts(
    arguments: &Arguments,
    family: &str,
    job: study::Job,
    ask: &Ask,
) -> Result<Headroom, Failure> {
    let known = known_family(job.site(), family)?;
    // Hosts in chassis are counted in each chassis.
    let held = known.chassis.map(|index| &job.site().chassis[index]);
    let in_each = held.and_then(|chassis| {
        let own = |row: &&(usize, u32)| job.site().hosts[row.0].name == family;
        Some((chassis, chassis.holds.iter().find(own)?.1))
    });
    let (key, today, what) = match in_each {
        Some((chassis, count)) => (
            format!("chassis.{}.holds.{family}", chassis.name),
            count,
            format!("{family} in each {}", chassis.name),
        ),
        None => (
            format!("host.{family}.count"),
            known.count,
            family.to_owned(),
        ),
    };
    let with = |count: u32| {
        let mut scenario = arguments.scenario.clone();
        scenario.set.push((key.clone(), count.to_string()));
        let mut loaded = load::load(&scenario, Warnings::Hidden).map_err(|failure| {
            let text = failure.to_string();
            let first = text.lines().next().unwrap_or("").to_owned();
            first.trim_start_matches("error: ").to_owned()
        })?;
        load::apply(&mut loaded, &arguments.run);
        Ok(loaded.site)
    };
    if let Err(why) = with(today) {
        return Err(Failure::arguments(
            format!("the number of `{family}` cannot be set: {why}"),
            "let the load grow instead, or vary what holds the hosts with `sweep`",
        ));
    }
    let hosts = Hosts {
        family,
        what: &what,
        today,
        with: &with,
    };
    if !arguments.run.quiet {
        let full = by_arithmetic_in_hosts(job.site(), &hosts, ask.most, ask.outages.as_deref());
        console::complain(&first_answer_in_hosts(&what, &full));
    }
    job.run(|site, origin, progress| headroom_in_hosts(site, &hosts, origin, ask, progress))
}

/// The promise to draw: the workload's first, or the one that breaks at the lowest load.
fn promise(found: &Headroom, workload: Option<&str>) -> usize {
    let first = match workload {
        Some(name) => found.promises().iter().position(|row| row.workload == name),
        None => found.breaks_first(),
    };
    first.unwrap_or(0)
}
