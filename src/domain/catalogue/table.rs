//! Reading of the embedded tables: comma-separated text with a header line; lines that begin with `#` are remarks.

use serde::de::DeserializeOwned;

use super::CatalogueError;

/// The rows of `text` as values of `T`, in order, each with its line number.
pub(crate) fn rows<T: DeserializeOwned>(
    table: &'static str,
    text: &str,
) -> Result<Vec<(u64, T)>, CatalogueError> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let headers = reader
        .headers()
        .map_err(|source| CatalogueError::Unreadable { table, source: Box::new(source) })?
        .clone();
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record
            .map_err(|source| CatalogueError::Unreadable { table, source: Box::new(source) })?;
        let line = record.position().map_or(0, csv::Position::line);
        let row = record
            .deserialize(Some(&headers))
            .map_err(|source| CatalogueError::Unreadable { table, source: Box::new(source) })?;
        rows.push((line, row));
    }
    Ok(rows)
}

/// The parts of a semicolon list, trimmed, without empty ones.
pub(crate) fn list(text: &str) -> impl Iterator<Item = &str> {
    text.split(';').map(str::trim).filter(|part| !part.is_empty())
}
