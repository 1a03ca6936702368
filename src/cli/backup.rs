//! `rimeward backup` and `rimeward restore`: a consistent copy of the store, and back.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::sqlite::{Hold, Options, Store};
use crate::app::context::ServiceError;
use crate::app::ports::StoreErrorKind::{Input, Newer};
use crate::app::ports::{
    EventLog as _, LetterCounts as _, OutboxState, Registry as _, RunLog as _, StoreError,
    Upkeep as _,
};
use crate::app::settings::Settings;

/// Arguments of `backup`.
#[derive(Debug, clap::Args)]
pub struct BackupArgs {
    /// Where to; must not be there yet
    file: PathBuf,
}

/// Arguments of `restore`.
#[derive(Debug, clap::Args)]
pub struct RestoreArgs {
    /// A file that `rimeward backup` wrote
    file: PathBuf,
    /// Keep what the store holds now in this file first
    #[arg(long, value_name = "FILE")]
    keep: Option<PathBuf>,
}

/// Copies the store while others go on writing.
///
/// # Errors
/// [`CliError`]: a file of that name is there, or the store or the disk is in trouble.
pub fn backup(args: &BackupArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    house.store.backup(&args.file).map_err(refused)?;
    let bytes = std::fs::metadata(&args.file).map_or(0, |facts| facts.len());
    let name = args.file.display();
    Ok(CommandOutput {
        text: format!(
            "{name}: {bytes} bytes, checked; readable by its owner only, it holds names and addresses\n"
        ),
        json: json!({ "file": name.to_string(), "bytes": bytes }),
        exit: Exit::Done,
    })
}

/// Puts the store back to a backup, all of it or nothing. Refused while a daemon has the store.
///
/// # Errors
/// [`CliError`]: a running daemon, a backup that is damaged or newer than this program.
pub fn restore(args: &RestoreArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let settings = Settings::load(&around.config_path())?;
    let path = &settings.store.path;
    if !args.file.is_file() {
        return Err(CliError::bad_input(format!(
            "{} is not there; name a file that rimeward backup wrote",
            args.file.display()
        )));
    }
    let same = |one: &Path, other: &Path| {
        one.canonicalize().ok().zip(other.canonicalize().ok()).is_some_and(|(a, b)| a == b)
    };
    if same(&args.file, path) {
        return Err(CliError::bad_input(format!(
            "{} is the store itself; name a file that rimeward backup wrote",
            args.file.display()
        )));
    }
    let _hold = Hold::take(path)?;
    Store::check_backup(&args.file).map_err(|error| no_backup(&args.file, error))?;
    let (store, aside) = open_or_set_aside(path, around.now)?;
    if let (Some(keep), None) = (&args.keep, &aside) {
        store.backup(keep).map_err(refused)?;
    }
    store.restore(&args.file).map_err(refused)?;
    store.full_check()?;
    // The backup may have been made while a daemon ran.
    store.mark_stopped()?;
    let (sites, boats, rows) =
        (store.sites()?.len(), store.boats()?.len(), store.verify_log(None)?.rows);
    let outbox = store.outbox_summary()?;
    let waiting: u32 = [OutboxState::Queued, OutboxState::Deferred, OutboxState::Leased]
        .into_iter()
        .map(|state| outbox.count(state))
        .sum();
    let letters = match waiting {
        0 => String::new(),
        n => format!(
            "{n} letters of the backup wait and go with the next round, also those that have gone since it was made.\n"
        ),
    };
    let kept = match (&aside, &args.keep) {
        (Some(aside), _) => {
            format!("The store that could not be opened lies in {}.\n", aside.display())
        }
        (None, Some(keep)) => format!("What it held before lies in {}.\n", keep.display()),
        (None, None) => String::new(),
    };
    Ok(CommandOutput {
        text: format!(
            "{} is as {} says: {sites} places, {boats} boats, {rows} events; checked\n{letters}{kept}",
            path.display(),
            args.file.display()
        ),
        json: json!({ "store": path.display().to_string(), "sites": sites, "boats": boats, "events": rows, "letters_waiting": waiting }),
        exit: Exit::Done,
    })
}

/// The store as it is; one that is damaged, or from a newer program, is set aside whole and an empty one put in its place.
fn open_or_set_aside(
    path: &Path,
    now: DateTime<Utc>,
) -> Result<(Store, Option<PathBuf>), CliError> {
    let opened = Store::open(path, Options::default()).and_then(|store| {
        store.quick_check()?;
        Ok(store)
    });
    match opened {
        Ok(store) => Ok((store, None)),
        Err(StoreError::Damaged { .. } | StoreError::Newer { .. }) => {
            let aside = with_ending(path, &format!(".set-aside-{}", now.format("%Y%m%dT%H%M%S")));
            for ending in ["", "-wal", "-shm"] {
                let (from, to) = (with_ending(path, ending), with_ending(&aside, ending));
                match std::fs::rename(&from, &to) {
                    Ok(()) => {}
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
                    Err(error) => {
                        return Err(CliError::failed(format!(
                            "cannot set {} aside: {error}",
                            from.display()
                        )));
                    }
                }
            }
            Ok((Store::open(path, Options::default())?, Some(aside)))
        }
        Err(error) => Err(error.into()),
    }
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// The store is as it was: it is the file that was named which is no good.
fn no_backup(file: &Path, error: StoreError) -> CliError {
    match error {
        StoreError::Damaged { .. } => CliError::bad_input(format!(
            "{} is damaged, or no file that rimeward backup wrote; the store is as it was: name another backup",
            file.display()
        )),
        error => refused(error),
    }
}

/// What the caller got wrong is bad input; the rest is as ever.
fn refused(error: crate::app::ports::StoreError) -> CliError {
    let is_input = matches!(error.kind(), Input | Newer);
    let refusal = CliError::from(ServiceError::from(error));
    if is_input { CliError { exit: Exit::BadInput, ..refusal } } else { refusal }
}
