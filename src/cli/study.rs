//! What `simulate`, `failover` and `report` share: load, run, say where it came from.

use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::{RunArguments, ScenarioArguments};
use super::progress::Bar;
use crate::outcome::{Origin, Report, Verdict};
use crate::scenario::Loaded;
use crate::site::Site;
use crate::study::Progress;

/// Loads the scenario, lays the options over it and runs `work` on the threads asked for.
pub(super) fn run(
    command: &str,
    scenario: &ScenarioArguments,
    options: &RunArguments,
    work: impl FnOnce(&Site, Origin, &dyn Progress) -> Report + Send,
) -> Result<Report, Failure> {
    let shown = if options.quiet {
        Warnings::Hidden
    } else {
        Warnings::Shown
    };
    let mut loaded = load::load(scenario, shown)?;
    load::apply(&mut loaded, options);
    let origin = origin(command, scenario, options, &loaded);
    let bar = Bar::new(options.quiet);
    let threads = options.threads.map_or(0, usize::from);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .map_err(|error| {
            Failure::arguments(
                format!("cannot start threads: {error}"),
                "ask for fewer with --threads",
            )
        })?;
    let report = pool.install(|| work(&loaded.site, origin, &bar));
    bar.finish();
    Ok(report)
}

fn origin(
    command: &str,
    scenario: &ScenarioArguments,
    options: &RunArguments,
    loaded: &Loaded,
) -> Origin {
    let file = scenario
        .file
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let run = &loaded.site.run;
    let mut line = format!("halfloom {command} {file}");
    for (key, value) in &scenario.set {
        line.push_str(&format!(" --set '{key}={value}'"));
    }
    if let Some(seed) = options.seed {
        line.push_str(&format!(" --seed {seed}"));
    }
    if let Some(replications) = options.replications {
        line.push_str(&format!(" --replications {replications}"));
    }
    Origin {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        title: loaded.site.title.clone(),
        scenario: file,
        digest: loaded.digest.clone(),
        seed: run.seed,
        replications: run.replications,
        switch_replications: run.switch_replications,
        command: line,
        set: scenario.set.clone(),
    }
}

/// Done when every promise is met, also those of the switch-over.
pub(super) fn exit_of(report: &Report) -> Exit {
    let cells = report
        .matrix
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten());
    let all_met = cells.into_iter().all(|cell| cell.verdict == Verdict::Met);
    let whole = report.steady.iter().all(|steady| !steady.partial)
        && report.switches.iter().all(|s| !s.partial);
    if all_met && whole {
        Exit::Done
    } else {
        Exit::NotMet
    }
}
