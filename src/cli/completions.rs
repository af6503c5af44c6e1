//! `completions`: a script that lets a shell complete our arguments.

use super::console::Console;
use super::exit::{Exit, Failure};
use clap::Args;
use clap_complete::Shell;

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

pub(super) fn run(
    console: &Console,
    arguments: &Arguments,
    command: &mut clap::Command,
) -> Result<Exit, Failure> {
    // Into memory first: the generator would panic on a closed pipe.
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, command, "halfloom", &mut script);
    console.bytes(&script)?;
    Ok(Exit::Done)
}
