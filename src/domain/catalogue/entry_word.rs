//! Words that people write for the fields and circuits of an entry made by hand.

use serde::Deserialize;

use super::table::{list, rows};
use super::{Catalogue, CatalogueError, CircuitId, EventKind, nearest};

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
    what: EntryWordKind,
    words: String,
    means: String,
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

impl Catalogue {
    fn entry_word(&self, what: EntryWordKind, words: &str) -> Option<&EntryWord> {
        let words = plain(words);
        self.entry_words()
            .iter()
            .find(|row| row.what == what && list(&row.words).any(|word| plain(word) == words))
    }

    /// The column of the event table that people mean by a word such as `out` or `reading`.
    #[must_use]
    pub fn field_in_words(&self, words: &str) -> Option<&str> {
        self.entry_word(EntryWordKind::Field, words).map(|row| row.means.as_str())
    }

    /// The circuits or groups that people mean by words such as `block` or `deck wash`: an id, a label, or a row of the table.
    ///
    /// # Errors
    /// The nearest right name, if one is near.
    pub fn circuits_in_words(&self, words: &str) -> Result<Vec<CircuitId>, Option<&str>> {
        let wanted = plain(words);
        if self.named(&CircuitId::from(words)).is_some() {
            return Ok(vec![CircuitId::from(words)]);
        }
        let by_name =
            self.circuit_words().find(|id| plain(id) == wanted).map(CircuitId::from).or_else(
                || self.circuits().iter().find(|c| plain(&c.label) == wanted).map(|c| c.id.clone()),
            );
        if let Some(id) = by_name {
            return Ok(vec![id]);
        }
        match self.entry_word(EntryWordKind::Circuit, words) {
            Some(row) => Ok(row.circuits().map(CircuitId::from).collect()),
            None => {
                let said = self.entry_words().iter();
                let said = said.filter(|row| row.what == EntryWordKind::Circuit);
                let known = self.circuit_words().chain(said.flat_map(|row| list(&row.words)));
                Err(nearest(words, known))
            }
        }
    }

    /// The kind of event that people mean: an id, a label, or a synonym that means one thing.
    ///
    /// # Errors
    /// [`NotAKind`]: words that mean several things, with what to ask; or the nearest right name.
    pub fn kind_in_words(&self, words: &str) -> Result<&EventKind, NotAKind> {
        let wanted = plain(words);
        let named = self.event(words).or_else(|| {
            self.events()
                .iter()
                .find(|kind| plain(&kind.id) == wanted || plain(&kind.label) == wanted)
        });
        if let Some(kind) = named {
            return Ok(kind);
        }
        match self.synonym(words).or_else(|| self.synonym(&wanted)) {
            Some(synonym) if synonym.event.is_empty() => Err(NotAKind::Ask(synonym.ask.clone())),
            Some(synonym) => self.event(&synonym.event).ok_or(NotAKind::Unknown(None)),
            None => {
                let names = self.events().iter().map(|kind| kind.id.as_str());
                Err(NotAKind::Unknown(nearest(&wanted.replace(' ', "_"), names).map(str::to_owned)))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_may_say_it_their_own_way() {
        let catalogue = Catalogue::built_in().unwrap();
        let kind = |words: &str| catalogue.kind_in_words(words).unwrap().id.clone();
        assert_eq!(kind("drop plugs"), "drained");
        assert_eq!(kind("Drive Down"), "drive_down");
        assert_eq!(kind("on-the-hard"), "hauled");
        assert_eq!(kind("engine-run"), "engine_run");
        let circuits = |words: &str| catalogue.circuits_in_words(words).unwrap();
        assert_eq!(circuits("Block"), vec![CircuitId::from("block_raw")]);
        assert_eq!(circuits("engine_raw"), vec![CircuitId::from("ENGINE_RAW")]);
        assert_eq!(circuits("deck wash"), vec![CircuitId::from("washdown")]);
        assert_eq!(catalogue.field_in_words("out"), Some("litres_out"));
    }

    #[test]
    fn a_word_with_two_meanings_is_a_question_and_a_slip_finds_its_name() {
        let catalogue = Catalogue::built_in().unwrap();
        assert!(
            matches!(catalogue.kind_in_words("flushed"), Err(NotAKind::Ask(ask)) if ask.contains("antifreeze"))
        );
        assert_eq!(
            catalogue.kind_in_words("engin_run"),
            Err(NotAKind::Unknown(Some("engine_run".to_owned())))
        );
        assert_eq!(catalogue.circuits_in_words("blok_raw"), Err(Some("block_raw")));
    }
}
