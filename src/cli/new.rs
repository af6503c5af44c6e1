//! `new`: a scenario to start from.

use super::columns::{Align, columns};
use super::console::Console;
use super::exit::{Exit, Failure};
use crate::scenario::kinds::{KINDS, kind};
use clap::Args;
use clap::builder::PossibleValuesParser;

/// Arguments of `new`.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Which starter
    #[arg(
        value_name = "KIND",
        default_value = KINDS[0].name,
        value_parser = PossibleValuesParser::new(KINDS.map(|kind| kind.name)),
    )]
    kind: String,
    /// List the kinds instead
    #[arg(long)]
    list: bool,
}

pub(super) fn run(console: &Console, arguments: &Arguments) -> Result<Exit, Failure> {
    if arguments.list {
        let rows = KINDS.map(|kind| vec![kind.name.to_owned(), kind.about.to_owned()]);
        console.result(&columns(
            &[("kind", Align::Left), ("what it is", Align::Left)],
            &rows,
        ))?;
    } else if let Some(kind) = kind(&arguments.kind) {
        console.result(kind.text)?;
    }
    Ok(Exit::Done)
}
