//! `man`: the manual page, one page with every command.

use super::console::Console;
use super::exit::{Exit, Failure};
use clap_mangen::Man;

pub(super) fn run(console: &Console, command: &clap::Command) -> Result<Exit, Failure> {
    let mut page = Vec::new();
    Man::new(command.clone())
        .render(&mut page)
        .map_err(Failure::Output)?;
    for sub in command.get_subcommands() {
        let usage = sub.clone().bin_name(format!("halfloom {}", sub.get_name()));
        // Writing to memory does not fail; if it ever does, that is an output error.
        section(&usage, &mut page).map_err(Failure::Output)?;
    }
    console.bytes(&page)?;
    Ok(Exit::Done)
}

/// A command as a section of the page: its usage and its options.
fn section(command: &clap::Command, page: &mut Vec<u8>) -> std::io::Result<()> {
    use std::io::Write;
    let name = command.get_bin_name().unwrap_or(command.get_name());
    writeln!(page, ".SH \"{}\"", name.to_uppercase())?;
    if let Some(about) = command.get_about() {
        writeln!(page, "{about}.")?;
    }
    let man = Man::new(command.clone());
    man.render_synopsis_section(page)?;
    man.render_options_section(page)
}
