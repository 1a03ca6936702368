//! Who is told at the opening of a season.

use super::gathering::Gathering;
use crate::app::assess::Assessment;
use crate::app::context::ServiceError;
use crate::domain::alert::opening::{Opening, name, year_of};
use crate::domain::alert::{Decision, DecisionInput, decide};
use crate::domain::boat::Boat;
use crate::domain::yard::{Person, recipients};

/// Decides every reader.
///
/// # Errors
/// The store's.
pub(super) fn openings(
    gathering: &Gathering<'_>,
    decided: &mut Decision,
) -> Result<(), ServiceError> {
    let Gathering { app, seen, now, .. } = *gathering;
    if app.clock.doubt(now).is_some() {
        return Ok(());
    }
    for person in seen.yard.people.values() {
        let Some(site) =
            recipients::places_of_season(person, &boats_of(person, seen), &seen.yard.sites)
                .first()
                .copied()
        else {
            continue;
        };
        let Some(year) = year_of(site, now) else { continue };
        let told = app.store.last_run(&name(year, &person.id))?.is_some();
        let opening = Opening { person: &person.id, site, year, told };
        decided.extend(decide(DecisionInput::Opening(&opening), now));
    }
    Ok(())
}

/// The boats that a person owns.
pub(crate) fn boats_of<'a>(person: &Person, seen: &'a Assessment) -> Vec<&'a Boat> {
    seen.yard.boats.iter().filter(|boat| boat.owner.as_ref() == Some(&person.id)).collect()
}
