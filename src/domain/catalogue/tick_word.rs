//! What people write into a tick column: a tick is somebody's word and nothing more.

use serde::Deserialize;

use super::CatalogueError;
use super::table::rows;

/// What a cell of a tick column says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TickMeaning {
    /// Somebody says that it was done.
    Done,
    /// It was asked for; nobody says that it was done.
    Ordered,
    /// Not done, or not there.
    No,
    /// The owner does it, or does not want it.
    Declined,
    /// Words to look for in remarks.
    Remark,
}

/// One row of the table of tick words.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(crate) struct TickWord {
    pub(super) words: String,
    pub(super) means: TickMeaning,
    #[serde(rename = "source")]
    _source: String,
}

/// Reads the table of tick words.
pub(crate) fn parse(text: &str) -> Result<Vec<TickWord>, CatalogueError> {
    Ok(rows::<TickWord>("tick_words.csv", text)?.into_iter().map(|(_, row)| row).collect())
}
