//! What the tables say of what is aboard: by the way in which the engine is cooled, by lists, by the words of people.

use super::{Catalogue, CircuitId, CircuitKind, CircuitSet, Cooling, CoolingKind, FittingWord};

impl Catalogue {
    /// What a kind of cooling says of the circuits.
    #[must_use]
    pub fn cooling(&self, kind: CoolingKind) -> Option<&Cooling> {
        self.coolings.of(kind)
    }

    /// The set of these circuits.
    pub fn set_of<'i>(&self, ids: impl IntoIterator<Item = &'i CircuitId>) -> CircuitSet {
        let mut set = CircuitSet::EMPTY;
        ids.into_iter().filter_map(|id| self.place_of(id)).for_each(|place| set.insert(place));
        set
    }

    /// The circuits of a set, in the order of the table.
    pub fn circuits_of(&self, set: CircuitSet) -> impl Iterator<Item = &CircuitKind> {
        let placed = self.circuits().iter().zip(0_u8..);
        placed.filter(move |(_, place)| set.contains(*place)).map(|(kind, _)| kind)
    }

    /// How an engine is cooled by a list of what is fitted, where nobody has said it; `None` where the list does not show it.
    #[must_use]
    pub fn cooling_by_list(&self, fitted: &[CircuitId]) -> Option<CoolingKind> {
        self.coolings.shown_by(self.set_of(fitted))
    }

    /// How an engine is cooled by the words of an answer: a word of the table by itself, or any of them in a text about cooling.
    /// A text that says two things, or doubts one, says nothing.
    #[must_use]
    pub fn cooling_in_words(&self, text: &str, diesel: bool) -> Option<CoolingKind> {
        self.coolings.in_words(text, diesel)
    }

    /// Does an answer say, and nothing else, that a part is aboard, or that it is not?
    #[must_use]
    pub fn fitting_in_words(&self, text: &str) -> Option<FittingWord> {
        self.coolings.fitting(text)
    }

    /// Does a text say that a tank is full to its vent?
    #[must_use]
    pub fn is_brimful_in_words(&self, text: &str) -> bool {
        self.coolings.is_brimful(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_say_in_their_own_words_how_an_engine_is_cooled() {
        use CoolingKind::{ClosedFull, ClosedHalf, Electric, Raw, RawOutboard};
        let catalogue = Catalogue::built_in().unwrap();
        for (text, petrol, diesel) in [
            ("raw", Some(Raw), Some(Raw)),
            ("cooling: raw", Some(Raw), Some(Raw)),
            ("Half closed", Some(ClosedHalf), Some(ClosedHalf)),
            ("cooling half", Some(ClosedHalf), Some(ClosedHalf)),
            ("closed_full", Some(ClosedFull), Some(ClosedFull)),
            ("freshwater cooled", Some(ClosedHalf), Some(ClosedFull)),
            ("it is cooled by lake water", Some(Raw), Some(Raw)),
            ("is the engine cooled raw or closed? raw", Some(Raw), Some(Raw)),
            ("electric", Some(Electric), Some(Electric)),
            ("cooling: an outboard", Some(RawOutboard), Some(RawOutboard)),
            // Not about cooling, doubted, or two things at once.
            ("ran on sea water", None, None),
            ("full", None, None),
            ("not raw cooled", None, None),
            ("cooled raw or closed?", None, None),
            ("raw cooled manifolds, closed block", None, None),
        ] {
            assert_eq!(catalogue.cooling_in_words(text, false), petrol, "{text}");
            assert_eq!(catalogue.cooling_in_words(text, true), diesel, "{text}, diesel");
        }
    }

    #[test]
    fn a_list_may_show_how_the_engine_is_cooled() {
        let catalogue = Catalogue::built_in().unwrap();
        let by = |list: &str| {
            let ids: Vec<CircuitId> = list.split(';').map(CircuitId::from).collect();
            catalogue.cooling_by_list(&ids)
        };
        assert_eq!(by("block_raw;raw_pump"), Some(CoolingKind::Raw));
        assert_eq!(by("closed_loop;manifold_raw"), Some(CoolingKind::ClosedHalf));
        assert_eq!(by("closed_loop;hx_raw"), Some(CoolingKind::ClosedFull));
        assert_eq!(by("ob_cool;gearcase"), Some(CoolingKind::RawOutboard));
        assert_eq!(by("block_raw;closed_loop"), None, "the list says two things");
        assert_eq!(by("ac_raw"), None);
    }
}
