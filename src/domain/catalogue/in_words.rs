//! What people mean by the words that they write: fields, circuits, kinds of event, ticks.

use std::collections::HashMap;

use super::entry_word::{EntryWord, EntryWordKind, NotAKind, plain};
use super::table::list;
use super::tick_word::TickMeaning;
use super::{Catalogue, CircuitId, EventKind, nearest};

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
        if let Some(found) = self.circuits_worded(words) {
            return Ok(found);
        }
        let said = self.entry_words().iter();
        let said = said.filter(|row| row.what == EntryWordKind::Circuit);
        let known = self.circuit_words().chain(said.flat_map(|row| list(&row.words)));
        Err(nearest(words, known))
    }

    /// As [`Catalogue::circuits_in_words`], where nobody wants to hear what else could be meant.
    #[must_use]
    pub fn circuits_worded(&self, words: &str) -> Option<Vec<CircuitId>> {
        let id = CircuitId::from(words);
        if self.named(&id).is_some() {
            return Some(vec![id]);
        }
        self.worded.get(&plain(words)).cloned()
    }

    /// What circuits each wording means: an id before a label before a row of the table.
    pub(super) fn wordings(&self) -> HashMap<String, Vec<CircuitId>> {
        let ids = self.circuit_words().map(|id| (plain(id), vec![CircuitId::from(id)]));
        let labels = self.circuits().iter().map(|kind| (plain(&kind.label), vec![kind.id.clone()]));
        let rows = self.entry_words().iter().filter(|row| row.what == EntryWordKind::Circuit);
        let rows = rows.flat_map(|row| {
            let circuits: Vec<CircuitId> = row.circuits().map(CircuitId::from).collect();
            list(&row.words).map(move |words| (plain(words), circuits.clone()))
        });
        let mut worded = HashMap::new();
        for (words, circuits) in ids.chain(labels).chain(rows) {
            worded.entry(words).or_insert(circuits);
        }
        worded
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
