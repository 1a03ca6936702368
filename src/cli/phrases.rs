//! `rimeward phrases`: the words of all letters, and whether a yard's own fit.

use std::path::PathBuf;

use serde_json::json;

use super::{CliError, CommandOutput, Exit};
use crate::domain::message::Phrases;
use crate::domain::message::phrases::BUILT_IN;

/// Arguments of `phrases`.
#[derive(Debug, clap::Args)]
pub struct PhrasesArgs {
    /// Your own words: say whether they fit, instead of printing those that come with the program
    file: Option<PathBuf>,
}

/// Prints the phrase catalogue, or checks a file of own words.
///
/// # Errors
/// [`CliError`]: the file cannot be read.
pub fn phrases(args: &PhrasesArgs) -> Result<CommandOutput, CliError> {
    let Some(path) = &args.file else {
        let json = json!({ "phrases": BUILT_IN });
        return Ok(CommandOutput { text: BUILT_IN.to_owned(), json, exit: Exit::Done });
    };
    let name = path.display();
    let text = std::fs::read_to_string(path)
        .map_err(|error| CliError::bad_input(format!("cannot read {name}: {error}")))?;
    let faults = Phrases::with_own(&text).err().unwrap_or_default();
    let (said, exit) = if faults.is_empty() {
        (format!("{name}: fits; set mail.phrases to it\n"), Exit::Done)
    } else {
        let lines = faults.iter().map(|fault| format!("{name}: {fault}\n"));
        (lines.collect(), Exit::BadInput)
    };
    let json = json!({ "file": name.to_string(), "problems": faults });
    Ok(CommandOutput { text: said, json, exit })
}
