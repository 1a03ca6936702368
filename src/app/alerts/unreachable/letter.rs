//! From what is to be passed on to letters: one to each next contact, however many people it is about.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::alerts::unreachable::{Post, places_of};
use crate::app::context::{AppContext, YardBook};
use crate::app::notify::{Composer, Written, blank_row, label_of};
use crate::app::ports::{Cause, OutboxRow};
use crate::domain::alert::quiet::not_before;
use crate::domain::alert::{AlertSettings, Kind};
use crate::domain::boat::{CircuitId, PersonId, SiteId};
use crate::domain::message::{MissedBy, Trouble, compose_reached, compose_unreached};
use crate::domain::risk::Priority;
use crate::domain::yard::{Person, Site};

/// So long a next contact needs to hear of it.
const KEPT: TimeDelta = TimeDelta::days(4);

/// One letter to each contact, however many people it is about; and one about those who can be reached again.
pub(crate) fn write(
    house: &AppContext,
    composer: &Composer,
    yard: &YardBook,
    posts: &[Post<'_>],
    now: DateTime<Utc>,
) -> Written {
    let mut written = Written::default();
    let mut groups: BTreeMap<(&PersonId, bool), Vec<&Post<'_>>> = BTreeMap::new();
    for post in posts {
        groups.entry((&post.contact, post.missed.is_none())).or_default().push(post);
    }
    let label = |circuit: &CircuitId| label_of(house, circuit);
    for ((contact, again), group) in groups {
        let Some(person) = yard.people.get(contact).filter(|person| person.email.is_some()) else {
            continue;
        };
        let site = places_of(person, yard).first().and_then(|site| yard.sites.get(site));
        let Some(site) = site else { continue };
        let context = composer.context((person, site), &label, now);
        let letter = if again {
            let people: Vec<(String, DateTime<Utc>)> =
                group.iter().map(|post| reached_again(post, yard, now)).collect();
            compose_reached(&people, &context)
        } else {
            let missed: Vec<MissedBy<'_>> = group.iter().filter_map(|post| missed(post)).collect();
            compose_unreached(&missed, &place_names(&group, yard), pressing(&group), &context)
        };
        let letter = letter.map_err(|error| error.to_string());
        let (about, revision) = match group.as_slice() {
            [one] => (one.alert.id.to_string(), one.alert.revision),
            _ => (round_name(contact, now), 1),
        };
        let settings = &house.settings.alert;
        let held = (!pressing(&group)).then(|| held(person, site, settings, now)).flatten();
        let row = OutboxRow {
            revision,
            closing: again,
            kind: Kind::Unreachable.as_str().to_owned(),
            due_at: held.unwrap_or(now),
            expires_at: now + KEPT,
            ..blank_row(composer, letter.as_ref().ok(), (&about, person), now)
        };
        written.add(letter, row);
    }
    written
}

/// What a letter about several people is called in the outbox.
#[must_use]
pub fn round_name(contact: &PersonId, at: DateTime<Utc>) -> String {
    format!("unreached-{contact}-{}", at.timestamp())
}

fn pressing(group: &[&Post<'_>]) -> bool {
    group.iter().any(|post| post.alert.condition.is_high())
}

/// What does not press waits for the morning.
fn held(
    person: &Person,
    site: &Site,
    settings: &AlertSettings,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    not_before(person, site.time_zone, settings, Priority::Medium, None, now)
}

fn reached_again(post: &Post<'_>, yard: &YardBook, now: DateTime<Utc>) -> (String, DateTime<Utc>) {
    let id = post.alert.subject.as_str();
    let person = yard.people.get(&PersonId::from(id));
    let name = person.map_or_else(|| id.to_owned(), |person| person.name.clone());
    (name, post.alert.raised_at.unwrap_or(now))
}

fn missed<'a>(post: &'a Post<'a>) -> Option<MissedBy<'a>> {
    let (person, late, subjects) = post.missed.as_ref()?;
    let newest = late.last()?;
    let trouble = match newest.cause {
        Cause::Address if newest.address.is_empty() => Trouble::NoAddress,
        Cause::Address => Trouble::Address,
        Cause::Policy | Cause::Size | Cause::Other => Trouble::Refused,
        Cause::Unwritten => Trouble::Unwritten,
        Cause::Waits => Trouble::Waits,
    };
    Some(MissedBy {
        person,
        trouble,
        address: &newest.address,
        why: &newest.why,
        since: newest.queued_at,
        subjects,
    })
}

/// Names of the places of everybody in the letter.
fn place_names(group: &[&Post<'_>], yard: &YardBook) -> Vec<String> {
    let mut places: Vec<SiteId> = group
        .iter()
        .filter_map(|post| post.missed.as_ref())
        .flat_map(|(person, _, _)| places_of(person, yard))
        .collect();
    places.sort();
    places.dedup();
    places.iter().filter_map(|site| yard.sites.get(site)).map(|site| site.name.clone()).collect()
}
