//! What `simulate`, `failover` and `report` share: load, run, say where it came from.

use super::exit::{Exit, Failure};
use super::load::{self, Warnings};
use super::options::{PrecisionArguments, RunArguments, ScenarioArguments};
use super::progress::Bar;
use super::stop;
use super::windows::steps_in;
use crate::outcome::{EachPart, Origin, Report, Verdict};
use crate::render::sheet::Steps;
use crate::scenario::{Loaded, Problem};
use crate::site::{Outage, Site};
use crate::study::remedy::{self, Search};
use crate::study::singles::{AskSingles, each_part, mended};
use crate::study::windows::{AskWindows, windows};
use crate::study::{Ask, Progress};

/// A scenario that is loaded and ready to run.
#[derive(Debug)]
pub(super) struct Job {
    loaded: Loaded,
    /// The scenario as it was read, and its options: to lay changes over it.
    text: String,
    scenario: ScenarioArguments,
    options: RunArguments,
    precision: Option<f64>,
    origin: Origin,
    quiet: bool,
    threads: usize,
}

/// Loads the scenario and lays the options over it. `extra` are the arguments that only this command has
/// and that change what is found; they go into the command line that repeats it.
pub(super) fn prepare(
    command: &str,
    scenario: &ScenarioArguments,
    options: &RunArguments,
    extra: &[String],
) -> Result<Job, Failure> {
    let text = load::scenario_text(&scenario.file)?;
    let mut loaded = load::understood(scenario, &text, Warnings::unless(options.quiet))?;
    load::apply(&mut loaded, options);
    let file = scenario
        .file
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let run = &loaded.site.run;
    let origin = Origin {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        title: loaded.site.title.clone(),
        digest: loaded.digest.clone(),
        seed: run.seed,
        replications: run.replications,
        switch_replications: run.switch_replications,
        command: repeating(command, scenario, options, extra),
        scenario: file,
        set: scenario.set.clone(),
    };
    Ok(Job {
        loaded,
        text,
        scenario: scenario.clone(),
        options: options.clone(),
        precision: None,
        origin,
        quiet: options.quiet,
        threads: options.threads.map_or(0, usize::from),
    })
}

impl Job {
    pub(super) const fn site(&self) -> &Site {
        &self.loaded.site
    }

    /// Lays a precision over the scenario's, in what-ifs too.
    pub(super) fn precisely(mut self, precision: &PrecisionArguments) -> Self {
        self.precision = precision.within;
        if precision.within.is_some() {
            let site = &mut self.loaded.site;
            site.run.within = precision.within;
            for variant in &mut site.variants {
                variant.site.run.within = precision.within;
            }
        }
        self
    }

    /// Cuts the replications of steady runs and of switch-overs down to these.
    pub(super) fn at_most(&mut self, replications: u32, switch_replications: u32) {
        let run = &mut self.loaded.site.run;
        run.replications = run.replications.min(replications);
        run.switch_replications = run.switch_replications.min(switch_replications);
        self.origin.replications = run.replications;
        self.origin.switch_replications = run.switch_replications;
    }

    /// The whole study with the changes that `search` asks for.
    pub(super) fn mended(self, ask: &Ask, search: &Search) -> Result<Report, Failure> {
        let (report, _) = self.mended_in_hours(ask, search, None)?;
        Ok(report)
    }

    /// The same with the hours, and what a sheet is made of whose steps are taken in them.
    pub(super) fn mended_in_hours(
        self,
        ask: &Ask,
        search: &Search,
        hours: Option<&AskWindows>,
    ) -> Result<(Report, Option<Steps>), Failure> {
        let apply = self.applier();
        self.run(|site, origin, progress| {
            let report = crate::study::study(site, origin, ask, progress);
            let mut report = remedy::search(site, report, ask, search, &apply, progress);
            report.windows = hours.map(|hours| windows(site, hours, progress));
            let found = report.windows.as_ref();
            let steps = found.map(|found| steps_in(site, &report.origin, found, progress));
            (report, steps)
        })
    }

    /// Every single part lost in turn, with the changes that `search` asks for.
    pub(super) fn singles(self, ask: &AskSingles, search: &Search) -> Result<Report, Failure> {
        let apply = self.applier();
        self.run(|site, origin, progress| {
            let report = each_part(site, origin, ask, progress);
            if search.most == 0 {
                return report;
            }
            mended(site, report, ask, search, &apply, progress)
        })
    }

    /// Lays `key=value` pairs over the scenario as it was read.
    fn applier(
        &self,
    ) -> impl Fn(&[(String, String)]) -> Result<Site, String> + Send + Sync + use<> {
        let (text, scenario, options) = (
            self.text.clone(),
            self.scenario.clone(),
            self.options.clone(),
        );
        let precision = self.precision;
        move |more| {
            let mut set = scenario.set.clone();
            set.retain(|(key, _)| more.iter().all(|(other, _)| other != key));
            set.extend(more.iter().cloned());
            let mut loaded = load::understand(&scenario.file, &text, &set)
                .map_err(|problems| reason(&problems))?;
            loaded.site.variants.clear();
            load::apply(&mut loaded, &options);
            loaded.site.run.within = precision.or(loaded.site.run.within);
            Ok(loaded.site)
        }
    }

    /// Runs `work` on the threads asked for, with a progress bar.
    pub(super) fn run<T: Send>(
        self,
        work: impl FnOnce(&Site, Origin, &dyn Progress) -> T + Send,
    ) -> Result<T, Failure> {
        let pool = pool(self.threads)?;
        // Where it cannot be watched for, Ctrl-C ends the program as it would any other.
        let _watched = stop::watch(stop::BEGINS_AGAIN);
        let bar = Bar::new(self.quiet);
        let report = pool.install(|| work(&self.loaded.site, self.origin, &bar));
        bar.finish();
        Ok(report)
    }
}

/// The first problem in a few words.
fn reason(problems: &[Problem]) -> String {
    problems.first().map_or_else(
        || "it cannot be read".to_owned(),
        |problem| problem.message.clone(),
    )
}

/// Refuses a name that no outage has.
pub(super) fn known(names: &[String], site: &Site) -> Result<(), Failure> {
    let known: Vec<&str> = site.outages.iter().map(|o| o.name.as_str()).collect();
    match names.iter().find(|name| !known.contains(&name.as_str())) {
        None => Ok(()),
        Some(name) => {
            let like = known.iter().find(|other| other.eq_ignore_ascii_case(name));
            Err(Failure::arguments(
                format!("there is no outage `{name}`"),
                match like {
                    Some(like) => format!("did you mean `{like}`?"),
                    None if site.groups.iter().any(|group| group.name == *name) => format!(
                        "it is a group: an [[outage]] with a name of its own and takes = \"{name}\" loses it; outages: {}",
                        known.join(", ")
                    ),
                    None => format!("outages: {}", known.join(", ")),
                },
            ))
        }
    }
}

/// Refuses outages whose parts stay, of those asked for: slow ones, and those that flap. `asked` names what takes parts out
/// of service.
pub(super) fn taken_out(asked: &str, names: Option<&[String]>, site: &Site) -> Result<(), Failure> {
    let takes = |outage: &&Outage| outage.fault.takes_out();
    let wanted = |outage: &&Outage| names.is_none_or(|names| names.contains(&outage.name));
    let mut outages = site.outages.iter();
    let Some(stays) = outages.find(|outage| wanted(outage) && !takes(outage)) else {
        return Ok(());
    };
    let others: Vec<String> = site
        .outages
        .iter()
        .filter(takes)
        .map(|outage| format!("`{}`", outage.name))
        .collect();
    Err(Failure::arguments(
        format!(
            "{asked} takes parts out of service, and those of the outage `{}` stay: they are slow, or come back by themselves",
            stays.name
        ),
        if others.is_empty() {
            "the scenario has no other outage: state one that takes parts out".to_owned()
        } else {
            let option = match asked {
                "--during" => asked,
                // A report is about all of them.
                "report --planned" => "failover --planned --outage",
                _ => "--outage",
            };
            format!(
                "ask for others by name, with {option}: {}",
                others.join(", ")
            )
        },
    ))
}

/// Threads to run on; 0 is one for each core.
pub(super) fn pool(threads: usize) -> Result<rayon::ThreadPool, Failure> {
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .map_err(|error| {
            Failure::arguments(
                format!("cannot start threads: {error}"),
                "ask for fewer with --threads",
            )
        })
}

/// The command line that repeats a run, ready for a shell in the same folder: the scenario as it was typed.
fn repeating(
    command: &str,
    scenario: &ScenarioArguments,
    options: &RunArguments,
    extra: &[String],
) -> String {
    let mut words = vec![
        "halfloom".to_owned(),
        command.to_owned(),
        scenario.file.to_string_lossy().into_owned(),
    ];
    words.extend_from_slice(extra);
    words.extend(repeated(&scenario.set, options));
    shell_line(&words)
}

/// The words of what is set and of the options that change a result.
pub(super) fn repeated(set: &[(String, String)], options: &RunArguments) -> Vec<String> {
    let mut words = Vec::new();
    for (key, value) in set {
        words.extend(["--set".to_owned(), format!("{key}={value}")]);
    }
    if let Some(seed) = options.seed {
        words.extend(["--seed".to_owned(), seed.to_string()]);
    }
    if let Some(replications) = options.replications {
        words.extend(["--replications".to_owned(), replications.to_string()]);
    }
    words
}

/// Words as one line for a shell.
pub(super) fn shell_line(words: &[String]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| quoted(word)).collect();
    quoted.join(" ")
}

/// Runs `work` on the threads asked for, with a progress bar.
pub(super) fn on_threads<T: Send>(
    options: &RunArguments,
    work: impl FnOnce(&dyn Progress) -> T + Send,
) -> Result<T, Failure> {
    let pool = pool(options.threads.map_or(0, usize::from))?;
    // A command that watches for Ctrl-C itself keeps its own words.
    let _watched = stop::watch(stop::BEGINS_AGAIN);
    let bar = Bar::new(options.quiet);
    let done = pool.install(|| work(&bar));
    bar.finish();
    Ok(done)
}

/// A word as a POSIX shell reads it back (IEEE 1003.1-2017, Shell Command Language, 2.2.2).
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=%,:+@".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', r"'\''"))
}

/// Done when every promise is met, also those of the switch-over.
pub(super) fn exit_of(report: &Report) -> Exit {
    let each = report.each_part.as_ref();
    let matrices = std::iter::once(&report.matrix).chain(each.map(|each| &each.matrix));
    let mut cells = matrices
        .flat_map(|matrix| &matrix.rows)
        .flat_map(|row| row.cells.iter().flatten());
    let all_met = cells.all(|cell| cell.verdict == Verdict::Met);
    let whole =
        !report.is_cut() && each.is_none_or(|each| each.cases.iter().all(|case| !case.partial));
    // A host that one part cuts off counts as JUnit counts it, whatever is promised.
    let cut_off = |each: &EachPart| each.losses().any(|(_, case)| !case.cut_off.is_empty());
    if all_met && whole && !each.is_some_and(cut_off) {
        Exit::Done
    } else {
        Exit::NotMet
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_quoted_only_where_a_shell_would_split_or_read_it() {
        assert_eq!(quoted("link.edge-san.members=4"), "link.edge-san.members=4");
        assert_eq!(quoted("two words"), "'two words'");
        assert_eq!(quoted("it's"), r"'it'\''s'");
        assert_eq!(quoted("a=\"1s\""), "'a=\"1s\"'");
        assert_eq!(quoted(""), "''");
    }

    #[test]
    fn the_repeating_line_has_all_that_changes_a_result() {
        let scenario = ScenarioArguments {
            file: "some/folder/my site.toml".into(),
            set: vec![("run.duration".to_owned(), "1s".to_owned())],
        };
        let options = RunArguments {
            seed: Some(9),
            replications: Some(4),
            threads: Some(2),
            quiet: true,
        };
        let extra = ["--planned".to_owned()];
        assert_eq!(
            repeating("failover", &scenario, &options, &extra),
            "halfloom failover 'some/folder/my site.toml' --planned --set run.duration=1s --seed 9 --replications 4"
        );
    }
}
