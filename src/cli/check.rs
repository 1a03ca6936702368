//! `rimeward check-config`: every problem in one go.

use std::path::PathBuf;

use serde_json::json;

use super::{Exit, Refusal, Said, Surroundings};
use crate::settings::{Settings, SettingsError};

/// Arguments of `check-config`.
#[derive(Debug, clap::Args)]
pub struct CheckArgs {
    /// The file (default: the one that the other commands would read)
    file: Option<PathBuf>,
}

/// Reads a configuration and says what is wrong with it.
///
/// # Errors
/// [`Refusal`] when the file cannot be read at all.
pub fn check(args: &CheckArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let path = args.file.clone().unwrap_or_else(|| around.config_path());
    let problems = match Settings::load(&path) {
        Ok(_) => Vec::new(),
        Err(SettingsError::Invalid { problems, .. }) => problems,
        Err(error @ SettingsError::Unreadable { .. }) => return Err(error.into()),
    };
    let name = path.display();
    let text = if problems.is_empty() {
        format!("{name}: no problem found\n")
    } else {
        format!("{name}: {} to mend\n{}\n", problems.len(), problems.join("\n"))
    };
    let exit = if problems.is_empty() { Exit::Done } else { Exit::BadInput };
    Ok(Said { text, json: json!({ "file": name.to_string(), "problems": problems }), exit })
}
