//! `rimeward backup` and `rimeward restore`: a consistent copy of the store, and back.

use std::path::PathBuf;

use serde_json::json;

use super::{Exit, Refusal, Said, Surroundings};
use crate::service::house::ServiceError;
use crate::settings::Settings;
use crate::store::{Hold, Options, Store};

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
/// [`Refusal`]: a file of that name is there, or the store or the disk is in trouble.
pub fn backup(args: &BackupArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let house = around.house()?;
    house.store.backup(&args.file).map_err(refused)?;
    let bytes = std::fs::metadata(&args.file).map_or(0, |facts| facts.len());
    let name = args.file.display();
    Ok(Said {
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
/// [`Refusal`]: a running daemon, a backup that is damaged or newer than this program.
pub fn restore(args: &RestoreArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let settings = Settings::load(&around.config_path())?;
    let path = &settings.store.path;
    if !args.file.is_file() {
        return Err(Refusal::bad_input(format!(
            "{} is not there; name a file that rimeward backup wrote",
            args.file.display()
        )));
    }
    let _hold = Hold::take(path)?;
    let store = Store::open(path, Options::default())?;
    if let Some(keep) = &args.keep {
        store.backup(keep).map_err(refused)?;
    }
    store.restore(&args.file).map_err(refused)?;
    store.full_check()?;
    // The backup may have been made while a daemon ran.
    store.mark_stopped()?;
    let (sites, boats, rows) =
        (store.sites()?.len(), store.boats()?.len(), store.verify_log(None)?.rows);
    let kept = args
        .keep
        .as_ref()
        .map_or(String::new(), |keep| format!("What it held before lies in {}.\n", keep.display()));
    Ok(Said {
        text: format!(
            "{} is as {} says: {sites} places, {boats} boats, {rows} events; checked\n{kept}",
            path.display(),
            args.file.display()
        ),
        json: json!({ "store": path.display().to_string(), "sites": sites, "boats": boats, "events": rows }),
        exit: Exit::Done,
    })
}

/// What the caller got wrong is bad input; the rest is as ever.
fn refused(error: crate::store::StoreError) -> Refusal {
    use crate::store::StoreErrorKind::{Input, Newer};
    let is_input = matches!(error.kind(), Input | Newer);
    let refusal = Refusal::from(ServiceError::from(error));
    if is_input { Refusal { exit: Exit::BadInput, ..refusal } } else { refusal }
}
