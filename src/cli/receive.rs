//! `rimeward receive`: takes in mail that came back, from files, a pipe or the inbox: bounces and answers.

use std::io::Read as _;
use std::path::PathBuf;

use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::app::answers::{look_into_inbox, take};
use crate::app::ports::RECEIVED_BYTES_MAX;

/// Arguments of `receive`.
#[derive(Debug, clap::Args)]
pub struct ReceiveArgs {
    /// Messages as they came in, one a file; `-` reads one from standard input, as a mail server's pipe hands it over
    /// (default: what is new in mail.inbox)
    files: Vec<PathBuf>,
    /// As if it came in then: for trials on the demonstration's store
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

/// Takes them in, in order.
///
/// # Errors
/// [`CliError`]: a file that cannot be read, no inbox, the store.
pub fn run(args: &ReceiveArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let now = around.time_or_now(args.at.as_deref(), house.settings.yard.time_zone)?;
    let (mut all, mut troubles) = (Vec::new(), Vec::new());
    if args.files.is_empty() {
        if house.settings.mail.inbox.is_none() {
            return Err(CliError::bad_input(
                "name a file with a message, - for standard input, or set mail.inbox in the configuration",
            ));
        }
        let looked = look_into_inbox(&house, now);
        all = looked.taken;
        troubles = looked.troubles;
    }
    for file in &args.files {
        let refuse =
            |error: std::io::Error| CliError::bad_input(format!("{}: {error}", file.display()));
        let most = u64::try_from(RECEIVED_BYTES_MAX).unwrap_or(u64::MAX);
        let mut bytes = Vec::new();
        if file.as_os_str() == "-" {
            std::io::stdin().lock().take(most).read_to_end(&mut bytes).map_err(refuse)?;
        } else {
            let open = std::fs::File::open(file).map_err(refuse)?;
            open.take(most).read_to_end(&mut bytes).map_err(refuse)?;
        }
        all.push(take(&house, &bytes, now)?);
    }
    let mut text: String = all.iter().map(|taken| format!("{}\n", taken.words)).collect();
    for trouble in &troubles {
        text = text + trouble + "\n";
    }
    if text.is_empty() {
        text += "nothing new\n";
    }
    let json = json!({
        "messages": all.iter().map(|taken| json!({ "words": taken.words, "changed": taken.changed })).collect::<Vec<_>>(),
        "troubles": troubles,
    });
    let exit = if troubles.is_empty() { Exit::Done } else { Exit::Failed };
    Ok(CommandOutput { text, json, exit })
}
