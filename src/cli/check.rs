//! `rimeward check-config`: every problem in one go.

use std::path::{Path, PathBuf};

use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::delivery::secret::read_secret_file;
use crate::app::notify::own_phrases;
use crate::app::settings::Settings;

/// Arguments of `check-config`.
#[derive(Debug, clap::Args)]
pub struct CheckArgs {
    /// The file (default: the one that the other commands would read)
    file: Option<PathBuf>,
}

/// Reads a configuration and says what is wrong with it.
///
/// # Errors
/// [`CliError`] when the file cannot be read at all.
pub fn check(args: &CheckArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let path = args.file.clone().unwrap_or_else(|| around.config_path());
    let problems = Settings::problems_of(&path, file_problems)?;
    let name = path.display();
    let text = if problems.is_empty() {
        format!("{name}: no problem found\n")
    } else {
        format!("{name}: {} to mend\n{}\n", problems.len(), problems.join("\n"))
    };
    let exit = if problems.is_empty() { Exit::Done } else { Exit::BadInput };
    Ok(CommandOutput {
        text,
        json: json!({ "file": name.to_string(), "problems": problems }),
        exit,
    })
}

/// What is wrong with the files and folders that a configuration names: all of it now, not one at each start.
fn file_problems(settings: &Settings) -> Vec<String> {
    let mut found = Vec::new();
    let mail = &settings.mail;
    let smtp = mail.smtp.as_ref();
    let secrets = [
        ("mail.smtp.password_file", smtp.and_then(|smtp| smtp.password_file.as_deref())),
        ("mail.id_key_file", mail.id_key_file.as_deref()),
        ("forecast.open_meteo.key_file", settings.forecast.open_meteo.key_file.as_deref()),
    ];
    for (key, path) in secrets.into_iter().filter_map(|(key, path)| Some((key, path?))) {
        if let Err(error) = read_secret_file(path) {
            found.push(format!("{key}: {error}"));
        }
    }
    if let Some(path) = smtp.and_then(|smtp| smtp.ca_file.as_deref()) {
        match std::fs::read_to_string(path) {
            Ok(text) if text.contains("-----BEGIN CERTIFICATE-----") => {}
            Ok(_) => found.push(format!(
                "mail.smtp.ca_file: {} holds no certificate in PEM (-----BEGIN CERTIFICATE-----)",
                path.display()
            )),
            Err(error) => {
                found.push(format!("mail.smtp.ca_file: cannot read {}: {error}", path.display()));
            }
        }
    }
    for (site, path) in &settings.season.archives {
        if let Err(error) = std::fs::File::open(path) {
            found.push(format!("season.archives.{site}: cannot read {}: {error}", path.display()));
        }
    }
    found.extend(own_phrases(settings).err().unwrap_or_default());
    // The key that is made at the first start where none is named.
    let own_key = settings.store.path.with_extension("id-key");
    if mail.id_key_file.is_none()
        && own_key.exists()
        && let Err(error) = read_secret_file(&own_key)
    {
        found.push(format!("the key for Message-IDs beside the store: {error}"));
    }
    if let Some(inbox) = mail.inbox.as_ref().filter(|inbox| !inbox.is_dir()) {
        found.push(format!(
            "mail.inbox: there is no folder {}; make it, and let the relay deliver into it as a Maildir",
            inbox.display()
        ));
    }
    let folder =
        |path: &Path| path.parent().is_none_or(|at| at.as_os_str().is_empty() || at.is_dir());
    if !folder(&settings.store.path) {
        found.push(format!(
            "store.path: there is no folder for {}; make it",
            settings.store.path.display()
        ));
    }
    found
}
