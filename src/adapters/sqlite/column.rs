//! How instants and documents stand in columns: whole milliseconds since 1970, and JSON text.

use chrono::{DateTime, Utc};
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, ValueRef};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::error::Doing as _;
use crate::app::ports::StoreError;

/// An instant as it stands in a `_ms` column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Millis(pub DateTime<Utc>);

impl ToSql for Millis {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(self.0.timestamp_millis()))
    }
}

impl FromSql for Millis {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let ms = value.as_i64()?;
        DateTime::from_timestamp_millis(ms).map(Self).ok_or(FromSqlError::OutOfRange(ms))
    }
}

/// Writes a document as JSON text.
pub(crate) fn to_json<T: Serialize>(document: &T, doing: &str) -> Result<String, StoreError> {
    serde_json::to_string(document).context(doing)
}

/// Reads a document back.
pub(crate) fn from_json<T: DeserializeOwned>(text: &str, doing: &str) -> Result<T, StoreError> {
    serde_json::from_str(text).context(doing)
}
