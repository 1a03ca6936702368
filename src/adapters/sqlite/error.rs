//! SQLite's answers as errors of the store.

use crate::app::ports::StoreError;

impl StoreError {
    /// Sorts SQLite's answer by what has to be done about it.
    #[must_use]
    pub(crate) fn from_sql(doing: &str, source: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode::{
            CannotOpen, DatabaseBusy, DatabaseCorrupt, DatabaseLocked, DiskFull, NotADatabase,
            PermissionDenied, ReadOnly, SystemIoFailure,
        };
        let doing = doing.to_owned();
        match source.sqlite_error_code() {
            Some(DatabaseBusy | DatabaseLocked) => Self::Locked { doing, source: source.into() },
            Some(CannotOpen | DiskFull | PermissionDenied | ReadOnly | SystemIoFailure) => {
                Self::Unreachable { doing, source: source.into() }
            }
            Some(DatabaseCorrupt | NotADatabase) => {
                Self::Damaged { doing, what: source.to_string() }
            }
            _ => Self::Sql { doing, source: source.into() },
        }
    }
}

/// Says what we were doing when an answer was an error.
pub(crate) trait Doing<T> {
    /// Wraps the error with what we were doing: a clause like `reading the boats`.
    fn context(self, doing: &str) -> Result<T, StoreError>;
}

impl<T> Doing<T> for Result<T, rusqlite::Error> {
    fn context(self, doing: &str) -> Result<T, StoreError> {
        self.map_err(|source| StoreError::from_sql(doing, source))
    }
}

impl<T> Doing<T> for Result<T, serde_json::Error> {
    fn context(self, doing: &str) -> Result<T, StoreError> {
        self.map_err(|source| StoreError::Document { doing: doing.to_owned(), source })
    }
}

impl<T> Doing<T> for Result<T, std::io::Error> {
    fn context(self, doing: &str) -> Result<T, StoreError> {
        self.map_err(|source| StoreError::File { doing: doing.to_owned(), source })
    }
}
