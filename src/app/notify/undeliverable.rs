//! Words of kind `unreachable`: one letter to each contact, however many people it is about.

use chrono::{DateTime, Utc};

use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::domain::alert::unreachable::Notice;
use crate::domain::boat::{CircuitId, SiteId};
use crate::domain::message::{Email, MissedBy, compose_reached, compose_unreached};
use crate::domain::yard::recipients;

pub(super) fn words(
    scene: &Scene<'_>,
    notices: &[Notice],
    reader: Reader<'_>,
) -> Result<Email, String> {
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    let context = scene.context(reader, &label);
    let missed: Vec<MissedBy<'_>> =
        notices.iter().filter_map(|notice| missed(scene, notice)).collect();
    let email = if missed.is_empty() {
        let again = notices.iter().map(|notice| (name(scene, notice), notice.since));
        compose_reached(&again.collect::<Vec<(String, DateTime<Utc>)>>(), &context)
    } else {
        let pressing = notices.iter().any(|notice| notice.pressing);
        compose_unreached(&missed, &place_names(scene, notices), pressing, &context)
    };
    email.map_err(|error| error.to_string())
}

fn name(scene: &Scene<'_>, notice: &Notice) -> String {
    let person = scene.yard.people.get(&notice.person);
    person.map_or_else(|| notice.person.to_string(), |person| person.name.clone())
}

fn missed<'a>(scene: &Scene<'a>, notice: &'a Notice) -> Option<MissedBy<'a>> {
    let (newest, subjects) = notice.missed.as_ref()?;
    Some(MissedBy {
        person: scene.yard.people.get(&notice.person)?,
        trouble: newest.trouble,
        address: &newest.address,
        why: &newest.why,
        since: newest.queued_at,
        subjects,
    })
}

/// Names of the places of everybody in the letter.
fn place_names(scene: &Scene<'_>, notices: &[Notice]) -> Vec<String> {
    let people = notices.iter().filter_map(|notice| scene.yard.people.get(&notice.person));
    let mut places: Vec<SiteId> = people
        .flat_map(|person| recipients::places_of(person, &scene.yard.boats, &scene.yard.sites))
        .collect();
    places.sort();
    places.dedup();
    let sites = places.iter().filter_map(|site| scene.yard.sites.get(site));
    sites.map(|site| site.name.clone()).collect()
}
