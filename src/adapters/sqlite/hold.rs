//! Who has the store for a longer time: the daemon holds it while it runs, a restore holds it for a moment. Both through
//! a lock on a file beside the store, which the system lets go when the process ends, however it ends.
//!
//! Commands that read, or write one short transaction, do not ask for it.

use std::fs::File;
use std::path::{Path, PathBuf};

use super::error::Doing as _;
use crate::app::ports::StoreError;

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
