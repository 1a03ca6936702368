//! Words that people use for events; some mean two things and must be asked about.

use serde::Deserialize;

use super::CatalogueError;
use super::table::{list, rows};

/// One row of the table of synonyms.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Synonym {
    words: String,
    /// The event that is meant; empty where the words do not say.
    pub event: String,
    /// What to ask first, where the words have more than one meaning.
    pub ask: String,
    /// Where this comes from.
    pub source: String,
}

impl Synonym {
    /// Whether these words are among its own, letter case aside.
    #[must_use]
    pub fn has(&self, words: &str) -> bool {
        list(&self.words).any(|word| word.eq_ignore_ascii_case(words.trim()))
    }
}

/// Reads the table of synonyms.
pub(crate) fn parse(text: &str) -> Result<Vec<Synonym>, CatalogueError> {
    Ok(rows::<Synonym>("synonyms.csv", text)?.into_iter().map(|(_, row)| row).collect())
}
