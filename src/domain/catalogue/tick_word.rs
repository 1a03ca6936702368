//! What people write into a tick column: a tick is somebody's word and nothing more.

use serde::Deserialize;

use super::entry_word::plain;
use super::table::{list, rows};
use super::{Catalogue, CatalogueError};

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
    words: String,
    means: TickMeaning,
    #[serde(rename = "source")]
    _source: String,
}

/// Reads the table of tick words.
pub(crate) fn parse(text: &str) -> Result<Vec<TickWord>, CatalogueError> {
    Ok(rows::<TickWord>("tick_words.csv", text)?.into_iter().map(|(_, row)| row).collect())
}

impl Catalogue {
    /// What a word in a tick column means; `None` for a word that is not in the table.
    #[must_use]
    pub fn tick(&self, word: &str) -> Option<TickMeaning> {
        let (bare, wanted) = (word.trim(), plain(word));
        self.tick_words()
            .iter()
            .filter(|row| row.means != TickMeaning::Remark)
            .find(|row| {
                list(&row.words)
                    .any(|known| known == bare || (!wanted.is_empty() && plain(known) == wanted))
            })
            .map(|row| row.means)
    }

    /// The first words in a remark that somebody should follow up, such as "owner will do".
    #[must_use]
    pub fn remark_to_follow(&self, remark: &str) -> Option<&str> {
        let text = format!(" {} ", plain(&remark.replace([',', ';', '.', ':', '(', ')'], " ")));
        self.tick_words()
            .iter()
            .filter(|row| row.means == TickMeaning::Remark)
            .flat_map(|row| list(&row.words))
            .find(|words| text.contains(&format!(" {} ", plain(words))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tick_is_told_from_an_order() {
        let catalogue = Catalogue::built_in().unwrap();
        assert_eq!(catalogue.tick(" X "), Some(TickMeaning::Done));
        assert_eq!(catalogue.tick("\u{2713}"), Some(TickMeaning::Done));
        assert_eq!(catalogue.tick("To do"), Some(TickMeaning::Ordered));
        assert_eq!(catalogue.tick("-"), Some(TickMeaning::No));
        assert_eq!(catalogue.tick("Owner will do"), Some(TickMeaning::Declined));
        assert_eq!(catalogue.tick("JB"), None);
        let found = catalogue.remark_to_follow("Water system - owner will do, engine by us.");
        assert_eq!(found, Some("owner will do"));
        assert_eq!(catalogue.remark_to_follow("owner Will Dough"), None);
    }
}
