//! The door to SQL: the yard, the log, the forecasts as they stood, the alerts and the outbox, in one SQLite file.
//!
//! Parameters are written `?1`: SQLite takes `$1` for a *name* and numbers names by first appearance.
//!
//! One writer connection stands behind a mutex; every change is one `BEGIN IMMEDIATE` transaction, so that two
//! programs on one file wait for each other instead of failing half way. Instants are whole milliseconds since 1970
//! in columns ending in `_ms`; documents are JSON text of the domain's own types.
//!
//! Invariants: the log and the transitions of alerts are append-only, forecasts are never edited (triggers refuse it; old
//! ones that no alert rests on go at night);
//! letters enter the outbox in the same transaction as the state change that they tell of.

mod alerts;
mod cached;
mod column;
mod error;
mod exposures;
mod forecasts;
mod hold;
mod log;
mod migrate;
mod nights;
mod observations;
mod outbox;
mod refused;
mod round;
mod separated;
mod status;
mod upkeep;
mod yard;

use std::path::Path;
use std::sync::atomic::AtomicU64;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use chrono::{DateTime, Utc};
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use error::Doing as _;
pub use hold::Hold;
pub use migrate::newest_layout;

use crate::app::ports::{StoreError, failpoint};

/// How long a writer waits for another one before it says that the store is locked.
const BUSY_TIMEOUT: Duration = Duration::from_secs(10);

/// Pages kept in memory, KiB: a winter of one yard's alerts and newest forecasts, read again at every round.
const PAGE_CACHE_KIB: i64 = 16 * 1024;

/// Parsed statements that are kept: more than there are different ones.
const STATEMENTS_KEPT: usize = 128;

/// How hard a commit is pushed to the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Durability {
    /// A commit survives a power cut (`synchronous=FULL`).
    #[default]
    Full,
    /// A commit survives a crash of the program, not always of the machine (`synchronous=NORMAL`): for demonstrations.
    Normal,
}

/// How to open a store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// How hard a commit is pushed to the disk.
    pub durability: Durability,
    /// How long to wait for another writer.
    pub busy_timeout: Duration,
}

impl Default for Options {
    fn default() -> Self {
        Self { durability: Durability::Full, busy_timeout: BUSY_TIMEOUT }
    }
}

/// An open store. Shared between threads by reference; calls are short and block.
#[derive(Debug)]
pub struct Store {
    connection: Mutex<Connection>,
    /// New forecasts kept through this value.
    forecasts: AtomicU64,
    /// Letters that the server accepted and that could not be marked: number, the server's words, when.
    unmarked: Mutex<Vec<(i64, String, DateTime<Utc>)>>,
}

impl Store {
    /// Opens the store at `path`, creates it (readable by its owner only) where absent, and brings it to the newest
    /// layout.
    ///
    /// # Errors
    /// [`StoreError::Unreachable`] when the folder is missing, the disk read-only or full;
    /// [`StoreError::Locked`] when another program holds it; [`StoreError::Newer`] when a newer version wrote it.
    pub fn open(path: &Path, options: Options) -> Result<Self, StoreError> {
        let doing = format!("opening the store {}", path.display());
        create_private(path).context(&doing)?;
        // Without CREATE: the file is ours, made above with its permissions.
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).context(&doing)?;
        Self::prepare(connection, options, &doing)
    }

    /// A store that lives in memory and ends with this value: for tests and previews.
    ///
    /// # Errors
    /// Whatever SQLite answers.
    pub fn open_in_memory() -> Result<Self, StoreError> {
        let doing = "opening a store in memory";
        let connection = Connection::open_in_memory().context(doing)?;
        Self::prepare(connection, Options::default(), doing)
    }

    fn prepare(
        mut connection: Connection,
        options: Options,
        doing: &str,
    ) -> Result<Self, StoreError> {
        connection.busy_timeout(options.busy_timeout).context(doing)?;
        let found = migrate::layout(&connection)?;
        let known = newest_layout();
        if found > known {
            // Before anything is touched: a newer store stays as it is.
            return Err(StoreError::Newer { found, known });
        }
        connection
            .query_row("PRAGMA journal_mode=WAL", [], |row| row.get::<_, String>(0))
            .context(doing)?;
        let synchronous = match options.durability {
            Durability::Full => "FULL",
            Durability::Normal => "NORMAL",
        };
        connection.pragma_update(None, "synchronous", synchronous).context(doing)?;
        connection.pragma_update(None, "foreign_keys", true).context(doing)?;
        connection.pragma_update(None, "secure_delete", true).context(doing)?;
        connection.pragma_update(None, "cache_size", -PAGE_CACHE_KIB).context(doing)?;
        connection.set_prepared_statement_cache_capacity(STATEMENTS_KEPT);
        migrate::forward(&mut connection, known)?;
        refuse_read_only(&connection, doing)?;
        Ok(Self {
            connection: Mutex::new(connection),
            forecasts: AtomicU64::new(0),
            unmarked: Mutex::default(),
        })
    }

    /// The one connection. A panic elsewhere rolled its transaction back, so a poisoned lock is still good.
    fn lock(&self) -> MutexGuard<'_, Connection> {
        self.connection.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Runs `work` in one immediate transaction; an error undoes all of it.
    fn write<T>(
        &self,
        doing: &str,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut connection = self.lock();
        let transaction =
            connection.transaction_with_behavior(TransactionBehavior::Immediate).context(doing)?;
        let outcome = work(&transaction)?;
        failpoint::hit("before_commit");
        transaction.commit().context(doing)?;
        failpoint::hit("after_commit");
        Ok(outcome)
    }

    /// Runs `work` on one consistent picture of the store.
    fn read<T>(
        &self,
        doing: &str,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut connection = self.lock();
        let transaction =
            connection.transaction_with_behavior(TransactionBehavior::Deferred).context(doing)?;
        work(&transaction)
    }
}

/// Makes an empty file that only its owner can read, unless there is one.
fn create_private(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::OpenOptionsExt as _;

    if path.exists() {
        return Ok(());
    }
    std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(path)
        .map(drop)
}

/// SQLite opens a file that it may not write without a word; we would find out at the first alert.
fn refuse_read_only(connection: &Connection, doing: &str) -> Result<(), StoreError> {
    if connection.is_readonly(rusqlite::MAIN_DB).context(doing)? {
        let source = rusqlite::Error::SqliteFailure(
            rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_READONLY),
            Some("the store can be read but not written".to_owned()),
        );
        return Err(StoreError::Unreachable { doing: doing.to_owned(), source: source.into() });
    }
    Ok(())
}
