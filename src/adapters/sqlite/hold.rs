//! Who has the store for a longer time: the daemon holds it while it runs, a restore holds it for a moment. Both through
//! a lock on a file beside the store, which the system lets go when the process ends, however it ends.
//!
//! Commands that read, or write one short transaction, do not ask for it.

use crate::adapters::sqlite::cached::Cached as _;
use std::fs::File;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use rusqlite::{OptionalExtension as _, params};

use super::Store;
use super::column::Millis;
use super::error::{Doing as _, StoreError};

/// Name under which the store notes that a daemon runs.
const RUNNING: &str = "running";

/// The store is ours until this value is dropped.
#[derive(Debug)]
pub struct Hold {
    _file: File,
    path: PathBuf,
}

impl Hold {
    /// Takes the store at `path` for longer.
    ///
    /// # Errors
    /// [`StoreError::Held`] when a daemon (or a restore) has it; [`StoreError::File`] when the lock file cannot be made.
    pub fn take(path: &Path) -> Result<Self, StoreError> {
        use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};

        // The file itself, whatever leads to it: else a link would be another store.
        let real = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        // Under a second name of the same file the lock would be another one.
        if std::fs::metadata(&real).is_ok_and(|facts| facts.nlink() > 1) {
            return Err(StoreError::Refused(format!(
                "{} has a second name (a hard link): two programs could write it at once; remove the link, or copy the file",
                path.display()
            )));
        }
        let mut lock = real.into_os_string();
        lock.push(".lock");
        let doing = format!("holding the store {}", path.display());
        let file = std::fs::OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(Path::new(&lock))
            .context(&doing)?;
        match file.try_lock() {
            Ok(()) => Ok(Self { _file: file, path: path.to_owned() }),
            Err(std::fs::TryLockError::WouldBlock) => {
                Err(StoreError::Held { path: path.to_owned() })
            }
            Err(std::fs::TryLockError::Error(source)) => Err(StoreError::File { doing, source }),
        }
    }

    /// Which store it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl Store {
    /// Notes that a daemon begins to run. The answer is when the one before it began, if that one did not end cleanly.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn mark_running(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, StoreError> {
        let doing = "noting that the daemon runs";
        self.write(doing, |tx| {
            let before = tx
                .one_row("SELECT at_ms FROM last_run WHERE name = ?1", [RUNNING], |row| {
                    row.get::<_, Millis>(0)
                })
                .optional()
                .context(doing)?;
            super::status::put_last_run(tx, RUNNING, now)?;
            Ok(before.map(|Millis(at)| at))
        })
    }

    /// Notes that the daemon ended cleanly.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn mark_stopped(&self) -> Result<(), StoreError> {
        let doing = "noting that the daemon ended";
        self.write(doing, |tx| {
            tx.change("DELETE FROM last_run WHERE name = ?1", params![RUNNING])
                .context(doing)
                .map(drop)
        })
    }

    /// A number that changes when another program has written to the store.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn others_wrote(&self) -> Result<i64, StoreError> {
        let doing = "looking whether others wrote to the store";
        self.lock().query_row("PRAGMA data_version", [], |row| row.get(0)).context(doing)
    }
}
