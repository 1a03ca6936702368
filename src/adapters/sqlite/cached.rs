//! Single statements, each parsed once for the life of the connection: a round sends the same few again and again.

use rusqlite::{Connection, Params, Row};

/// As the methods of [`Connection`] that take a statement, with the parsed statement kept.
pub(super) trait Cached {
    /// As [`Connection::query_row`].
    fn one_row<T>(
        &self,
        statement: &str,
        parameters: impl Params,
        read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>,
    ) -> rusqlite::Result<T>;

    /// As [`Connection::execute`].
    fn change(&self, statement: &str, parameters: impl Params) -> rusqlite::Result<usize>;
}

impl Cached for Connection {
    fn one_row<T>(
        &self,
        statement: &str,
        parameters: impl Params,
        read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>,
    ) -> rusqlite::Result<T> {
        self.prepare_cached(statement)?.query_row(parameters, read)
    }

    fn change(&self, statement: &str, parameters: impl Params) -> rusqlite::Result<usize> {
        self.prepare_cached(statement)?.execute(parameters)
    }
}
