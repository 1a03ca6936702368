//! An answer to a letter that says how an engine is cooled: it goes into the log, and the question has an end.

use chrono::{DateTime, Utc};

use super::word::without_greetings;
use crate::app::context::{AppContext, ServiceError, YardBook};
use crate::app::salt;
use crate::domain::boat::fold::answered_cooling;
use crate::domain::boat::{Boat, BoatId, CoolingKind, LayupEvent};
use crate::domain::yard::Person;

/// Free texts of an entry that get a salt of their own, at most.
const TEXTS_PER_EVENT: usize = 3;

/// Whose answer it is, and when it comes.
pub(super) struct Heard<'a> {
    pub(super) house: &'a AppContext,
    pub(super) yard: &'a YardBook,
    pub(super) person: &'a Person,
    pub(super) now: DateTime<Utc>,
}

impl Heard<'_> {
    /// Keeps what an answer says of the cooling; `told` are the boats that the letter was about. In words what
    /// was kept, or `None` where it says nothing of it or leaves open of which boat.
    pub(super) fn answer(
        &self,
        told: &[&BoatId],
        text: &str,
    ) -> Result<Option<String>, ServiceError> {
        if text.trim_end().ends_with('?') {
            return Ok(None);
        }
        let line = without_greetings(text, &self.person.name);
        if self.says(line, "").is_none() && self.says(line, "diesel").is_none() {
            return Ok(None);
        }
        let log = self.house.store.all_events()?;
        let Some(boat) = self.meant(told, line, &log) else { return Ok(None) };
        let Some(cooling) = self.says(line, &boat.fuel) else { return Ok(None) };
        let now = self.now.with_timezone(&self.yard.zone(&boat.site)).fixed_offset();
        let event = LayupEvent::cooling_answer(&boat.id, cooling, self.person.id.as_str(), now);
        let mut salt = salt::random(TEXTS_PER_EVENT)?;
        self.house.store.append_events(std::slice::from_ref(&event), self.now, &mut salt)?;
        let words = event.method.as_deref().unwrap_or_default();
        Ok(Some(format!("answers {words} for {}: in the log as {}", boat.id, event.id)))
    }

    /// What a line says of the cooling, also behind the name of a boat.
    fn says(&self, line: &str, fuel: &str) -> Option<CoolingKind> {
        let diesel = fuel.to_lowercase().contains("diesel");
        let tail = line.rsplit(':').next().unwrap_or(line).trim();
        let catalogue = &self.house.catalogue;
        let said = catalogue.cooling_in_words(tail, diesel);
        said.or_else(|| catalogue.cooling_in_words(line, diesel))
    }

    /// The boat that is meant: the one that the letter is about, that the answer names, or whose cooling is asked for.
    fn meant(&self, told: &[&BoatId], line: &str, log: &[LayupEvent]) -> Option<&Boat> {
        let line = line.to_lowercase();
        let own: Vec<&Boat> = self
            .yard
            .boats
            .iter()
            .filter(|boat| told.contains(&&boat.id) || boat.owner.as_ref() == Some(&self.person.id))
            .collect();
        let of_letter = own.iter().filter(|boat| told.contains(&&boat.id));
        let named = own.iter().filter(|boat| line.contains(&boat.name.to_lowercase()));
        let asked = own.iter().filter(|boat| {
            let known = answered_cooling(boat, log, self.now, &self.house.catalogue);
            !boat.cooling_is_known() && known.is_none()
        });
        only(named).or_else(|| only(of_letter)).or_else(|| only(asked)).or_else(|| only(own.iter()))
    }
}

fn only<'a, 'b: 'a>(mut boats: impl Iterator<Item = &'a &'b Boat>) -> Option<&'b Boat> {
    boats.next().filter(|_| boats.next().is_none()).copied()
}
