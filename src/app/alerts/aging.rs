//! Whom the age of a forecast concerns: the operator, and whoever stands on our advice there.

use std::collections::BTreeMap;

use super::gathering::Gathering;
use crate::app::assess::AssessedPlace;
use crate::app::context::ServiceError;
use crate::domain::alert::aging::{AgedPlace, Aging, name};
use crate::domain::alert::{Decision, DecisionInput, Kind, decide};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::weather::ForecastState;
use crate::domain::weather::freshness::Standing;
use crate::domain::yard::{Person, Role, recipients};

/// Names of boats by reader and place.
type Boats = BTreeMap<(PersonId, SiteId), Vec<String>>;

/// Decides every reader.
///
/// # Errors
/// The store's.
pub(super) fn aging(gathering: &Gathering<'_>, decided: &mut Decision) -> Result<(), ServiceError> {
    let aged = |place: &&AssessedPlace| place.state == ForecastState::Degraded;
    let degraded: Vec<&AssessedPlace> = gathering.seen.places.values().filter(aged).collect();
    if degraded.is_empty() {
        return Ok(());
    }
    let standing = standing(gathering);
    for person in gathering.seen.yard.people.values() {
        let mut places = Vec::new();
        for place in &degraded {
            places.extend(of_place(gathering, &standing, person, place)?);
        }
        let aging = Aging { person: &person.id, places: &places, at: gathering.now };
        decided.extend(decide(DecisionInput::Aging(&aging), gathering.now));
    }
    Ok(())
}

/// `None` where the place does not concern the person.
fn of_place(
    gathering: &Gathering<'_>,
    standing: &Boats,
    person: &Person,
    place: &AssessedPlace,
) -> Result<Option<AgedPlace>, ServiceError> {
    let site = &place.site.id;
    let boats = standing.get(&(person.id.clone(), site.clone())).cloned().unwrap_or_default();
    if !recipients::hears_of_aging(person, site, !boats.is_empty()) {
        return Ok(None);
    }
    let issued_at = place.forecast.as_ref().map(|forecast| forecast.issued_at);
    let told = gathering.app.store.last_run(&name(&person.id, site, issued_at))?.is_some();
    let reach = Standing::of(place.forecast.as_deref(), None);
    let blind_from = gathering.app.settings.forecast.limits.blind_from(&reach);
    Ok(Some(AgedPlace { site: site.clone(), issued_at, blind_from, boats, told }))
}

/// The boats about whose open alerts a person was told, unless they run the place.
fn standing(gathering: &Gathering<'_>) -> Boats {
    let yard = &gathering.seen.yard;
    let mut found = Boats::new();
    let raised = gathering.open.of_kind(Kind::Freeze);
    for alert in raised.filter(|alert| alert.is_raised()) {
        let boat = yard.boats.iter().find(|boat| Some(&boat.id) == alert.subject.boat());
        for (person, ledger) in &alert.told {
            let runs = yard.people.get(person).is_some_and(|p| p.role != Role::Owner);
            if ledger.awaits_closing && !runs {
                let name = boat.map_or_else(String::new, |boat| boat.name.clone());
                found.entry((person.clone(), alert.site.clone())).or_default().push(name);
            }
        }
    }
    found
}
