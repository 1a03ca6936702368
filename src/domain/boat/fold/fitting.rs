//! What is aboard by list and by answers: how the engine is cooled, which parts somebody has confirmed or denied, and what
//! is still to be asked. Such a fact has no hour: it holds for the whole log from the moment at which it became known.

use std::borrow::Borrow;

use chrono::{DateTime, Utc};

use super::log;
use crate::domain::boat::{Boat, CoolingKind, LayupEvent, Mark};
use crate::domain::catalogue::{Catalogue, CircuitSet, FittingWord, Reason};

const ANSWER: &str = "question_answered";
const CORRECTION: &str = "correction";

/// What the list and the answers say of what is aboard.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Fitting {
    /// How the engine is cooled.
    pub(super) cooling: CoolingKind,
    /// Somebody has answered how it is.
    answered: bool,
    /// Parts that an answer says are aboard, and those that it says are not.
    confirmed: CircuitSet,
    denied: CircuitSet,
    /// Circuits of the list that the cooling excludes, and such as it adds to it.
    excluded: CircuitSet,
    added: CircuitSet,
}

/// How the engine of `boat` is cooled as far as an answer of the log says so that was known at `known_at`.
#[must_use]
pub fn answered_cooling<E: Borrow<LayupEvent>>(
    boat: &Boat,
    events: &[E],
    known_at: DateTime<Utc>,
    catalogue: &Catalogue,
) -> Option<CoolingKind> {
    let fitting = Fitting::of(boat, events, known_at, catalogue);
    fitting.answered.then_some(fitting.cooling)
}

/// The answer about cooling that an entry gives, if it gives one.
#[must_use]
pub fn cooling_told(event: &LayupEvent, boat: &Boat, catalogue: &Catalogue) -> Option<CoolingKind> {
    let diesel = boat.fuel.to_lowercase().contains("diesel");
    let texts = || [&event.point, &event.method, &event.note].into_iter().flatten();
    let each = || texts().find_map(|text| catalogue.cooling_in_words(text, diesel));
    let all: Vec<&str> = texts().map(String::as_str).collect();
    each().or_else(|| catalogue.cooling_in_words(&all.join("; "), diesel))
}

/// Whether a part is aboard or not, as the entry says of the parts that it names.
fn part_told(event: &LayupEvent, catalogue: &Catalogue) -> Option<FittingWord> {
    let texts = [&event.method, &event.note].into_iter().flatten();
    let said = texts.filter_map(|text| catalogue.fitting_in_words(text)).next();
    said.filter(|_| !event.circuits.is_empty())
}

/// Does an answer say how the engine is cooled, or whether a part is aboard?
pub(super) fn tells_of_it(event: &LayupEvent, boat: &Boat, catalogue: &Catalogue) -> bool {
    part_told(event, catalogue).is_some() || cooling_told(event, boat, catalogue).is_some()
}

impl Fitting {
    pub(super) fn of<E: Borrow<LayupEvent>>(
        boat: &Boat,
        events: &[E],
        known_at: DateTime<Utc>,
        catalogue: &Catalogue,
    ) -> Self {
        let mut fitting = Self { cooling: boat.cooling, ..Self::default() };
        fitting.listen(boat, events, known_at, catalogue);
        let stated = boat.fitted.iter().filter(|id| boat.mark_of(id) == Mark::Stated);
        let listed = catalogue.set_of(stated);
        let (_, excluded) = boat.by_cooling(fitting.cooling, catalogue);
        fitting.excluded = listed.intersection(excluded);
        let added = boat.fit_out(fitting.cooling, catalogue);
        let added = added.iter().filter(|(_, mark)| *mark == Mark::Added).map(|(id, _)| id);
        fitting.added = catalogue.set_of(added);
        fitting
    }

    fn listen<E: Borrow<LayupEvent>>(
        &mut self,
        boat: &Boat,
        events: &[E],
        known_at: DateTime<Utc>,
        catalogue: &Catalogue,
    ) {
        let all = || events.iter().map(Borrow::borrow);
        let is_own = |event: &&LayupEvent| event.boat.as_ref() == Some(&boat.id);
        if !all().filter(is_own).any(|event: &LayupEvent| event.kind == ANSWER) {
            return;
        }
        let told: Vec<&LayupEvent> = all()
            .filter(is_own)
            .filter(|event| event.kind == ANSWER || event.kind == CORRECTION)
            .collect();
        let mut told = log::entries(&boat.id, &told, DateTime::<Utc>::MAX_UTC, known_at, catalogue);
        // A fact without an hour: what was learned last stands, whichever day it is entered for.
        told.sort_by_key(|entry| entry.event.recorded_at);
        for entry in told {
            let event = &*entry.event;
            let answer = cooling_told(event, boat, catalogue);
            if let Some(cooling) = answer {
                (self.cooling, self.answered) = (cooling, true);
            }
            let parts = catalogue.set_of(&event.circuits);
            match part_told(event, catalogue) {
                Some(FittingWord::NotFitted) => {
                    self.denied = self.denied.union(parts);
                    self.confirmed = self.confirmed.without(parts);
                }
                Some(FittingWord::Fitted) => {
                    self.confirmed = self.confirmed.union(parts);
                    self.denied = self.denied.without(parts);
                }
                Some(FittingWord::Brimful) | None => {}
            }
        }
    }

    /// Has nobody said how the engine is cooled?
    pub(super) fn is_open(&self, boat: &Boat) -> bool {
        let known = self.answered || boat.cooling_is_known();
        let asks = self.cooling == CoolingKind::Unknown || boat.guess_asks_of_cooling();
        !known && boat.engines > 0 && (asks || boat.guess().is_none())
    }

    /// What is still to be asked about what is aboard, in words.
    pub(super) fn questions(&self, boat: &Boat, catalogue: &Catalogue) -> Vec<String> {
        let words = |reason| catalogue.reasons().words(reason).to_owned();
        let known = self.answered || boat.cooling_is_known();
        let mut questions: Vec<String> =
            boat.open_guess(known).map(str::to_owned).into_iter().collect();
        if self.is_open(boat) {
            if !boat.guess_asks_of_cooling() {
                questions.push(words(Reason::CoolingUnknown));
            }
        } else if boat.guess().is_none() {
            questions.extend(self.of_the_list(Reason::CoolingAdds, self.added, catalogue));
            questions.extend(self.of_the_list(Reason::CoolingExcludes, self.excluded, catalogue));
        }
        questions
    }

    /// The question about parts in which list and cooling differ, but for those that an answer has settled.
    fn of_the_list(
        &self,
        reason: Reason,
        parts: CircuitSet,
        catalogue: &Catalogue,
    ) -> Option<String> {
        let open = parts.without(self.confirmed.union(self.denied));
        let names: Vec<&str> =
            catalogue.circuits_of(open).map(|kind| kind.label.as_str()).collect();
        let label = catalogue.cooling(self.cooling).map_or("", |row| row.label.as_str());
        let words = catalogue.reasons().words(reason).replace("{instance}", label);
        (!names.is_empty()).then(|| format!("{}: {words}", names.join(", ")))
    }

    /// Does an answer say that a part is not aboard? What somebody has listed is denied only where the cooling excludes it.
    pub(super) fn is_denied(&self, place: u8, mark: Mark) -> bool {
        let open_to_denial = mark != Mark::Stated || self.excluded.contains(place);
        self.denied.contains(place) && open_to_denial
    }
}
