//! `schema`: the language of scenarios, for editors that check and complete by a JSON Schema.

use super::console::Console;
use super::exit::{Exit, Failure};
use crate::scenario;

pub(super) fn run(console: &Console) -> Result<Exit, Failure> {
    let mut text = serde_json::to_string_pretty(&scenario::schema())
        .map_err(|error| Failure::Output(error.into()))?;
    text.push('\n');
    console.bytes(text.as_bytes())?;
    Ok(Exit::Done)
}
