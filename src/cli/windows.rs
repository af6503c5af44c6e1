//! Maintenance windows: the options of `failover` and `report`, and the runs.

use super::exit::{Exit, Failure};
use super::study::{self, Job};
use crate::outcome::{Origin, OutageWindows, Verdict, Windows};
use crate::render::sheet::{AtLoad, Steps};
use crate::site::Site;
use crate::study::windows::{AskWindows, HourRuns, at_hour, busiest_of, has_promises, windows};
use crate::study::{Ask, Progress};
use clap::Args;

/// Whether windows are looked for, and how.
#[derive(Clone, Debug, Args)]
pub(super) struct WindowArguments {
    /// Find the hours of a day in which what each outage leaves keeps every promise, so many of them in a row, 1 to 24;
    /// without a number 1. The load of each hour is that of the `shape` of the workloads; the parts are drained first
    /// [default: no hours are looked for]
    #[arg(long, value_name = "HOURS", num_args = 0..=1, require_equals = true, default_missing_value = "1",
        value_parser = clap::value_parser!(u32).range(1..=24))]
    pub(super) windows: Option<u32>,
    /// Simulate every different load of the day, also where a busier or quieter hour answers for it
    #[arg(long, requires = "windows")]
    pub(super) each_hour: bool,
}

impl WindowArguments {
    /// The words that repeat them on a command line.
    pub(super) fn words(&self) -> Vec<String> {
        let mut words: Vec<String> = Vec::new();
        words.extend(self.windows.map(|hours| format!("--windows={hours}")));
        if self.each_hour {
            words.push("--each-hour".to_owned());
        }
        words
    }

    /// What is asked of a site; `None` where nothing is.
    pub(super) fn ask(
        &self,
        site: &Site,
        outages: Option<&[String]>,
    ) -> Result<Option<AskWindows>, Failure> {
        let Some(needed) = self.windows else {
            return Ok(None);
        };
        // Those that nobody asked for by name are left out where their parts stay, and a note says so.
        let some = site.outages.iter().any(|outage| outage.fault.takes_out());
        if outages.is_some() || !some {
            study::taken_out("--windows", outages, site)?;
        }
        if !has_promises(site) {
            return Err(Failure::arguments(
                "the scenario promises nothing of an outage, so no hour can keep or break it",
                "give a [[workload]] a promise, for example promise = { p99 = \"2ms\" }",
            ));
        }
        Ok(Some(AskWindows {
            outages: outages.map(<[String]>::to_vec),
            needed,
            runs: if self.each_hour {
                HourRuns::Each
            } else {
                HourRuns::Needed
            },
        }))
    }
}

/// What a search found.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) origin: Origin,
    pub(super) windows: Windows,
    /// What a sheet is made of: each outage that has a window, at the load of the busiest hour of its longest.
    pub(super) steps: Option<Steps>,
}

/// The search alone, without a study of the stated load; with a sheet, the study of each outage at the load of its window.
pub(super) fn alone(job: Job, ask: &AskWindows, with_sheet: bool) -> Result<Found, Failure> {
    job.run(|site, origin, progress| {
        let found = windows(site, ask, progress);
        let steps = with_sheet.then(|| steps_in(site, &origin, &found, progress));
        Found {
            origin,
            windows: found,
            steps,
        }
    })
}

/// What a sheet is made of whose steps are taken in the windows found.
pub(super) fn steps_in(
    site: &Site,
    origin: &Origin,
    found: &Windows,
    progress: &dyn Progress,
) -> Steps {
    Steps {
        loads: steps(site, origin, found, progress),
        windows: Some(found.clone()),
        origin: origin.clone(),
    }
}

/// Outages that have the same busiest hour in one study, in order of their first; drained before they are lost.
fn steps(site: &Site, origin: &Origin, found: &Windows, progress: &dyn Progress) -> Vec<AtLoad> {
    let mut hours: Vec<(u32, Vec<&OutageWindows>)> = Vec::new();
    for outage in &found.outages {
        let Some(window) = &outage.longest else {
            continue;
        };
        let busiest = busiest_of(site, window, outage.case.outage.as_deref());
        match hours.iter_mut().find(|(hour, _)| *hour == busiest) {
            Some((_, outages)) => outages.push(outage),
            None => hours.push((busiest, vec![outage])),
        }
    }
    let of_hour = |(hour, outages): (u32, Vec<&OutageWindows>)| {
        let names = outages.iter().filter_map(|found| found.case.outage.clone());
        let ask = Ask {
            outages: Some(names.collect()),
            switch: true,
            mends: false,
            planned: true,
        };
        AtLoad {
            report: crate::study::study(&at_hour(site, hour), origin.clone(), &ask, progress),
            hour: Some(hour),
        }
    };
    hours.into_iter().map(of_hour).collect()
}

/// Done when each outage has a window that is long enough.
pub(super) fn exit_of(found: &Windows) -> Exit {
    let enough = |outage: &crate::outcome::OutageWindows| outage.verdict == Verdict::Met;
    // What a limit stopped is told as partial, whichever hours it was.
    let cut = |outage: &crate::outcome::OutageWindows| outage.hours.iter().any(|row| row.partial);
    if found.outages.iter().all(enough) && !found.outages.iter().any(cut) {
        Exit::Done
    } else {
        Exit::NotMet
    }
}
