//! A forecast that is older than it should be is said once to the operator and to whoever stands on our advice there.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::sqlite::OutboxRow;
use crate::app::assess::Assessment;
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::{Composer, Written, blank_row, label_of};
use crate::domain::alert::quiet::not_before;
use crate::domain::alert::{Alert, Kind};
use crate::domain::boat::{CircuitId, PersonId, SiteId};
use crate::domain::message::{Aging, compose_aging};
use crate::domain::risk::Priority;
use crate::domain::weather::ForecastState;
use crate::domain::weather::freshness::Standing;
use crate::domain::yard::{Role, recipients};

/// A day later the place is blind or well.
const KEPT: TimeDelta = TimeDelta::hours(12);

/// The letters, and the names under which the store notes that they went.
#[derive(Default)]
pub struct Aged {
    /// Letters.
    pub written: Written,
    /// Names and times for the store.
    pub runs: Vec<(String, DateTime<Utc>)>,
}

/// Writes to whoever has not been told of this age.
///
/// # Errors
/// The store's, or an alert document that cannot be read.
pub fn aging(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    now: DateTime<Utc>,
) -> Result<Aged, ServiceError> {
    let mut aged = Aged::default();
    if assessment.places.values().all(|place| place.state != ForecastState::Degraded) {
        return Ok(aged);
    }
    let standing = standing(house, assessment)?;
    let label = |circuit: &CircuitId| label_of(house, circuit);
    for person in assessment.yard.people.values() {
        let mut places = Vec::new();
        let mut names = Vec::new();
        let mut zone_of = None;
        for place in
            assessment.places.values().filter(|place| place.state == ForecastState::Degraded)
        {
            let id = &place.site.id;
            let boats = standing.get(&(person.id.clone(), id.clone())).cloned().unwrap_or_default();
            if !recipients::hears_of_aging(person, id, !boats.is_empty()) {
                continue;
            }
            let issued_at = place.forecast.as_ref().map(|forecast| forecast.issued_at);
            let stamp = issued_at.map_or(0, |at| at.timestamp());
            let name = format!("aging:{}:{id}:{stamp}", person.id);
            if house.store.last_run(&name)?.is_some() {
                continue;
            }
            let reach = Standing::of(place.forecast.as_deref(), None);
            let blind_from = house.settings.forecast.limits.blind_from(&reach);
            names.push(name);
            zone_of.get_or_insert(&place.site);
            places.push(Aging { place: place.site.name.clone(), issued_at, blind_from, boats });
        }
        let Some(site) = zone_of else { continue };
        let context = composer.context((person, site), &label, now);
        let letter = compose_aging(&places, &context).map_err(|error| error.to_string());
        let settings = &house.settings.alert;
        let held = not_before(person, site.time_zone, settings, Priority::Low, None, now);
        let due_at = held.unwrap_or(now);
        let about = format!("aging-{}-{}", person.id, now.timestamp());
        let row = OutboxRow {
            kind: "aging".to_owned(),
            due_at,
            expires_at: due_at + KEPT,
            ..blank_row(composer, letter.as_ref().ok(), (&about, person), now)
        };
        aged.written.add(letter, row);
        aged.runs.extend(names.into_iter().map(|name| (name, now)));
    }
    Ok(aged)
}

/// Names of the boats about whose open alerts a person was told, by person and place.
fn standing(
    house: &AppContext,
    assessment: &Assessment,
) -> Result<BTreeMap<(PersonId, SiteId), Vec<String>>, ServiceError> {
    let mut found: BTreeMap<(PersonId, SiteId), Vec<String>> = BTreeMap::new();
    for record in house.store.open_alerts()? {
        let id = record.id.clone();
        let alert: Alert = serde_json::from_value(record.document).map_err(|error| {
            ServiceError::Told(format!("the alert {id} cannot be read: {error}"))
        })?;
        if alert.kind != Kind::Freeze || !alert.is_raised() {
            continue;
        }
        let boat = assessment.yard.boats.iter().find(|boat| Some(&boat.id) == alert.subject.boat());
        for (person, ledger) in &alert.told {
            let runs = assessment.yard.people.get(person).is_some_and(|p| p.role != Role::Owner);
            if ledger.awaits_closing && !runs {
                let name = boat.map_or_else(String::new, |boat| boat.name.clone());
                found.entry((person.clone(), alert.site.clone())).or_default().push(name);
            }
        }
    }
    Ok(found)
}
