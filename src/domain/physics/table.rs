//! Reading the physics tables of `config/catalogue`, which are compiled in.
//!
//! A line that starts with `#` is a comment. A test reads every table, so that a slip in one never reaches a user.

use serde::de::DeserializeOwned;
use thiserror::Error;

/// A table of the catalogue that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TableError {
    /// A row does not read.
    #[error("reading config/catalogue/{table}: {reason}; correct the row and build again")]
    Row {
        /// Which file.
        table: &'static str,
        /// Line and column, in the words of the reader.
        reason: String,
    },
    /// A row reads but cannot be.
    #[error("config/catalogue/{table}, row `{row}`: {reason}")]
    Value {
        /// Which file.
        table: &'static str,
        /// The id of the row.
        row: String,
        /// What is wrong with it.
        reason: String,
    },
    /// Nothing by that name.
    #[error("config/catalogue/{table} has no row `{row}`; it has {known}")]
    NoRow {
        /// Which file.
        table: &'static str,
        /// What was asked for.
        row: String,
        /// What there is.
        known: String,
    },
}

/// The rows of `text` in their order.
pub(crate) fn rows<T: DeserializeOwned>(
    table: &'static str,
    text: &str,
) -> Result<Vec<T>, TableError> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    reader
        .deserialize()
        .collect::<Result<Vec<T>, csv::Error>>()
        .map_err(|error| TableError::Row { table, reason: error.to_string() })
}
