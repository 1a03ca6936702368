//! A table of the trade that cannot be used.

use thiserror::Error;

/// A table of the trade that cannot be used.
#[derive(Debug, Error)]
pub enum CatalogueError {
    /// Not a table of the expected columns.
    #[error("reading the table config/catalogue/{table}: correct the row that is named")]
    Unreadable {
        /// File name.
        table: &'static str,
        /// Line, column and reason.
        #[source]
        source: Box<csv::Error>,
    },
    /// A row that does not fit the others.
    #[error("reading the table config/catalogue/{table}, line {line}: {what}")]
    Row {
        /// File name.
        table: &'static str,
        /// Line, 0 for the table as a whole.
        line: u64,
        /// What is wrong.
        what: String,
    },
}
