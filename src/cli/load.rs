//! From a file to a site.

use super::claims;
use super::console;
use super::exit::Failure;
use super::options::{RunArguments, ScenarioArguments};
use crate::scenario::{self, Loaded, Problem, Source, render_problems};
use crate::site::Run;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Most bytes read of a scenario: above the reader's own limit, so that it is the reader who refuses, and
/// far below what would fill the memory when somebody names a device.
const SCENARIO_BYTES_MAX: u64 = 8 << 20;
/// Most bytes read of a trace.
const TRACE_BYTES_MAX: u64 = 512 << 20;

/// Whether remarks are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Warnings {
    /// On the standard error.
    Shown,
    /// Not at all.
    Hidden,
}

impl Warnings {
    /// Shown unless somebody asked for quiet.
    pub(super) const fn unless(quiet: bool) -> Self {
        if quiet { Self::Hidden } else { Self::Shown }
    }
}

/// Reads the scenario of a command. Traces are looked for beside it.
pub(super) fn load(arguments: &ScenarioArguments, warnings: Warnings) -> Result<Loaded, Failure> {
    understood(arguments, &scenario_text(&arguments.file)?, warnings)
}

/// The scenario of a command, of which the text is known.
pub(super) fn understood(
    arguments: &ScenarioArguments,
    text: &str,
    warnings: Warnings,
) -> Result<Loaded, Failure> {
    let loaded = understand(&arguments.file, text, &arguments.set)
        .map_err(|problems| Failure::Scenario(render_problems(&problems)))?;
    if warnings == Warnings::Shown && !loaded.warnings.is_empty() {
        console::complain(render_problems(&loaded.warnings).trim_end());
    }
    Ok(loaded)
}

/// The text of a scenario.
pub(super) fn scenario_text(path: &Path) -> Result<String, Failure> {
    claims::reads(path)?;
    let bytes = read(path, SCENARIO_BYTES_MAX).map_err(|e| Failure::file("read", path, e))?;
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        Failure::Scenario(format!(
            "error: {} is not text: byte {at} is not UTF-8\nhelp: a scenario is a TOML file; `halfloom new` prints one",
            path.display()
        ))
    })
}

/// What a text with values laid over it says. Traces are looked for beside its file.
pub(super) fn understand(
    path: &Path,
    text: &str,
    set: &[(String, String)],
) -> Result<Loaded, Vec<Problem>> {
    let name = path.display().to_string();
    let source = Source { name: &name, text };
    let folder = path.parent().unwrap_or(Path::new(""));
    let files = |trace: &str| {
        let path = folder.join(trace);
        claims::reads(&path)
            .map_err(|_| format!("{} is to be written by this run", path.display()))?;
        let bytes = read(&path, TRACE_BYTES_MAX)
            .map_err(|error| format!("cannot read {}: {error}", path.display()))?;
        String::from_utf8(bytes).map_err(|_| format!("{} is not UTF-8 text", path.display()))
    };
    scenario::read(source, set, &files)
}

/// The text of a CSV file.
pub(super) fn text(path: &Path) -> Result<String, Failure> {
    claims::reads(path)?;
    let bytes = read(path, TRACE_BYTES_MAX).map_err(|e| Failure::file("read", path, e))?;
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        Failure::arguments(
            format!("{} is not text: byte {at} is not UTF-8", path.display()),
            "name a CSV file",
        )
    })
}

/// Lays the seed and the replications of the command line over the scenario's, in what-ifs too.
pub(super) fn apply(loaded: &mut Loaded, run: &RunArguments) {
    let lay = |of: &mut Run| {
        if let Some(seed) = run.seed {
            of.seed = seed;
        }
        if let Some(replications) = run.replications {
            of.replications = replications;
            of.switch_replications = of.switch_replications.min(replications);
        }
    };
    lay(&mut loaded.site.run);
    for step in &mut loaded.site.steps {
        lay(&mut step.site.run);
    }
    for variant in &mut loaded.site.variants {
        lay(&mut variant.site.run);
    }
}

/// The bytes of a file, at most so many: more is an error.
fn read(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let file = File::open(path)?;
    if file.metadata()?.is_dir() {
        return Err(io::Error::other("it is a folder, not a file"));
    }
    let mut bytes = Vec::new();
    file.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(io::Error::other(format!(
            "it has more than {} MiB",
            most >> 20
        )));
    }
    Ok(bytes)
}
