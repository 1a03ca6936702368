//! Words that people write for the fields and circuits of an entry made by hand.

use serde::Deserialize;

use super::CatalogueError;
use super::table::{list, rows};

/// What a word stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum EntryWordKind {
    Field,
    Circuit,
}

/// One row of the table of entry words.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(crate) struct EntryWord {
    pub(super) what: EntryWordKind,
    pub(super) words: String,
    pub(super) means: String,
    #[serde(rename = "source")]
    _source: String,
}

/// Why words for a kind of event were not taken as one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotAKind {
    /// They mean more than one thing: what to ask.
    Ask(String),
    /// No such kind; the nearest name, if one is near.
    Unknown(Option<String>),
}

/// Words without letter case, with single spaces where people put `_`, `-` or several.
#[must_use]
pub(crate) fn plain(words: &str) -> String {
    words.to_lowercase().replace(['_', '-'], " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Reads the table of entry words.
pub(crate) fn parse(text: &str) -> Result<Vec<EntryWord>, CatalogueError> {
    Ok(rows::<EntryWord>("entry_words.csv", text)?.into_iter().map(|(_, row)| row).collect())
}

impl EntryWord {
    pub(crate) fn circuits(&self) -> impl Iterator<Item = &str> {
        let circuits = self.what == EntryWordKind::Circuit;
        list(&self.means).filter(move |_| circuits)
    }
}
