//! The command line: arguments in, files and terminal out. One file a command.
//!
//! Results go to the standard output, progress and warnings to the standard error, so that results can be
//! piped. A reader that closes the pipe early is no fault of anybody. Files appear whole or not at all.
//!
//! This is the only layer that knows files, a clock and a terminal. Left out: everything that can be said
//! without them.

mod check;
mod claims;
mod columns;
mod compare;
mod completions;
mod console;
mod effort;
mod exit;
mod failover;
mod growth;
mod headroom;
mod load;
mod man;
mod measured;
mod merge;
mod new;
mod options;
mod output;
mod path;
mod picture;
mod progress;
mod rates;
mod report;
mod schema;
mod simulate;
mod stop;
mod study;
mod sweep;
mod windows;
mod wire;
mod workload;
mod write;

pub use exit::Exit;

use clap::{CommandFactory, Parser, Subcommand};
use console::Console;
use exit::Failure;
use std::ffi::OsString;
use std::panic::{AssertUnwindSafe, catch_unwind};

const ABOUT: &str = "Simulates storage traffic over a dual A/B fabric, frame by frame";

const LONG_ABOUT: &str = "\
Simulates storage traffic over a dual A/B fabric, frame by frame.

One text file describes hosts, switches, arrays and links on fabric A and on fabric B, their work, and the \
promises made about it. halfloom says whether the promises hold with everything there, while a fabric is \
being lost, and after it. Every result is an estimate from the stated inputs.

halfloom never contacts any equipment.";

const AFTER: &str = "\
Exit codes:
  0    done, and every promise met (or none made)
  1    done, and a promise missed or undecided
  2    the arguments or the scenario are wrong
  3    reading or writing failed
  101  a fault of halfloom itself
  130  stopped by Ctrl-C: every file is whole, or not there

Start with: halfloom new > site.toml; halfloom check site.toml; halfloom report site.toml";

/// The command line.
#[derive(Debug, Parser)]
#[command(
    name = "halfloom", version, about = ABOUT, long_about = LONG_ABOUT, after_help = AFTER,
    help_expected = true, max_term_width = 100, disable_help_subcommand = true
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
enum Command {
    /// Print a commented starter scenario
    New(new::Arguments),
    /// Say whether a scenario is sound, and what can be seen without a run
    Check(check::Arguments),
    /// Show every path between a host and an array, hop by hop
    Path(path::Arguments),
    /// Print the table of link technologies: lanes, baud, encoding, FEC, line and usable rate
    Rates(rates::Arguments),
    /// Show one I/O byte by byte: every message and frame, both directions
    Wire(wire::Arguments),
    /// Run the scenario as written, scripted events included
    Simulate(simulate::Arguments),
    /// Healthy, then each outage: the switch-over, the state after it, a verdict for each promise
    Failover(failover::Arguments),
    /// How far the work can grow until a promise breaks: healthy, and in each outage
    Headroom(headroom::Arguments),
    /// The same work on several designs side by side, under the same random numbers
    Compare(compare::Arguments),
    /// A grid of what-ifs, one row for each point, case and workload; stopped, it goes on where it was
    Sweep(sweep::Arguments),
    /// A workload from host I/O statistics or a block trace: the busiest five minutes of it
    Workload(workload::Arguments),
    /// Measured port counters beside the simulated ones, ratios ranked
    Measured(measured::Arguments),
    /// The day on which a promise breaks as the work grows: as the site is, and after each planned step
    Growth(growth::Arguments),
    /// Put the pieces of a sweep together into the same bytes as one run
    Merge(merge::Arguments),
    /// Write everything that applies as one page, with its pictures and figures as files
    Report(report::Arguments),
    /// Print the language of scenarios as a JSON Schema, for editors that check and complete by one
    Schema,
    /// Print a completion script for a shell
    Completions(completions::Arguments),
    /// Print the manual page
    Man,
}

/// Runs the program with these arguments (the first is its name) and says how it ended.
///
/// Nothing panics through: a fault of our own is reported on the standard error and becomes
/// [`Exit::OurFault`].
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Exit {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    guarded(|| parse_and_run(&arguments))
}

/// Turns a panic into an exit code. The panic's message and place have been printed by then.
fn guarded(work: impl FnOnce() -> Exit) -> Exit {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
        console::complain(
            "error: this is a fault of halfloom itself, not of your input\n\
             help: keep the scenario, the command line and the message above: together they repeat it",
        );
        Exit::OurFault
    })
}

fn parse_and_run(arguments: &[OsString]) -> Exit {
    let parsed = match Arguments::try_parse_from(arguments) {
        Ok(parsed) => parsed,
        Err(error) => {
            // Help and version come this way too, on the standard output.
            let printed = error.print();
            return match (error.use_stderr(), printed) {
                (false, Err(error)) => exit::of(&Failure::from_stdout(error)),
                (false, Ok(())) => Exit::Done,
                (true, _) => Exit::Wrong,
            };
        }
    };
    let console = Console::new();
    match dispatch(&console, parsed.command) {
        Ok(exit) => exit,
        Err(failure) => {
            let text = failure.to_string();
            if !text.is_empty() {
                console::complain(text.trim_end());
            }
            exit::of(&failure)
        }
    }
}

fn dispatch(console: &Console, command: Command) -> Result<Exit, Failure> {
    match command {
        Command::New(arguments) => new::run(console, &arguments),
        Command::Check(arguments) => check::run(console, &arguments),
        Command::Path(arguments) => path::run(console, &arguments),
        Command::Simulate(arguments) => simulate::run(console, &arguments),
        Command::Failover(arguments) => failover::run(console, &arguments),
        Command::Headroom(arguments) => headroom::run(console, &arguments),
        Command::Compare(arguments) => compare::run(console, &arguments),
        Command::Sweep(arguments) => sweep::run(console, &arguments),
        Command::Workload(arguments) => workload::run(console, &arguments),
        Command::Measured(arguments) => measured::run(console, &arguments),
        Command::Growth(arguments) => growth::run(console, &arguments),
        Command::Merge(arguments) => merge::run(console, &arguments),
        Command::Report(arguments) => report::run(console, &arguments),
        Command::Rates(arguments) => rates::run(console, &arguments),
        Command::Wire(arguments) => wire::run(console, &arguments),
        Command::Completions(arguments) => {
            completions::run(console, &arguments, &mut Arguments::command())
        }
        Command::Schema => schema::run(console),
        Command::Man => man::run(console, &Arguments::command()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flag_has_help_and_names_do_not_clash() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn a_fault_of_our_own_is_101_and_does_not_pass_through() {
        assert_eq!(guarded(|| panic!("on purpose, in a test")), Exit::OurFault);
        assert_eq!(Exit::OurFault.code(), 101);
    }
}
