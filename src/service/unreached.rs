//! When an address takes no mail, the next contact hears of it: those who run the places concerned, in their order, and
//! the operator. A failed address is a danger untold, not a matter of tidiness.

use chrono::{DateTime, TimeDelta, Utc};

use super::deciding::managers_of;
use super::house::{House, ServiceError, YardBook};
use super::letters::{Desk, outbox_row};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::message::{Letter, Mailbox};
use crate::domain::yard::{Person, Role};
use crate::store::outbox::AddressFault;
use crate::store::{OutboxRow, RoundCommit};

/// The words; the blanks are filled below.
const WORDS: &str = include_str!("../../config/catalogue/unreached.txt");
/// So long a next contact needs to hear of it.
const KEPT: TimeDelta = TimeDelta::days(4);
/// Letters of this long ago are no news any more.
const RECENT: TimeDelta = TimeDelta::days(4);

/// What came of looking.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Unreached {
    /// Letters to next contacts that are new in the outbox.
    pub queued: usize,
    /// People for whom nobody is left to turn to.
    pub nobody_left: Vec<PersonId>,
}

/// Turns to the next contact for every address that has refused a letter; for each refusal once.
///
/// # Errors
/// The store's, or a letter that cannot be written.
pub fn turn_to_next_contact(
    house: &House,
    desk: &Desk,
    now: DateTime<Utc>,
) -> Result<Unreached, ServiceError> {
    let faults = house.store.address_faults()?;
    let mut found = Unreached::default();
    if faults.is_empty() {
        return Ok(found);
    }
    let yard = house.yard()?;
    let mut letters = Vec::new();
    for fault in faults.iter().filter(|fault| now - fault.since < RECENT) {
        let Some(person) = yard.people.get(&fault.recipient) else { continue };
        if person.email.as_deref() != Some(&fault.address) {
            // The address has been replaced since.
            continue;
        }
        let places = places_of(person, &yard);
        let contacts = contacts(person, &places, &yard, &faults);
        if contacts.is_empty() {
            tracing::error!(
                "{} cannot be written to, and nobody else can: {}",
                person.id,
                fault.why
            );
            found.nobody_left.push(person.id.clone());
        }
        let subjects = house.store.refused_subjects(&person.id, fault.since - RECENT)?;
        for contact in contacts {
            letters.push(letter(desk, fault, person, (contact, &places, &subjects), now)?);
        }
    }
    if !letters.is_empty() {
        let commit = RoundCommit { letters, ..RoundCommit::default() };
        found.queued = house.store.commit_round(&commit)?.queued;
    }
    Ok(found)
}

/// Where a person has boats, or which places they run; all of them where none is said.
fn places_of(person: &Person, yard: &YardBook) -> Vec<SiteId> {
    let mut places = person.sites.clone();
    let own = yard.boats.iter().filter(|boat| boat.owner.as_ref() == Some(&person.id));
    places.extend(own.map(|boat| boat.site.clone()));
    if places.is_empty() {
        places.extend(yard.sites.keys().cloned());
    }
    places.sort();
    places.dedup();
    places
}

/// For each place the first manager who takes mail; and every operator who does.
fn contacts<'a>(
    person: &Person,
    places: &[SiteId],
    yard: &'a YardBook,
    faults: &[AddressFault],
) -> Vec<&'a Person> {
    let reachable = |other: &&Person| {
        let faulty = |fault: &AddressFault| {
            fault.recipient == other.id && other.email.as_deref() == Some(&fault.address)
        };
        other.id != person.id && other.email.is_some() && !faults.iter().any(faulty)
    };
    let mut found: Vec<&Person> = Vec::new();
    let operators = yard.people.values().filter(|other| other.role == Role::Operator);
    let first = |site: &SiteId| managers_of(site, yard).into_iter().find(reachable);
    for next in places.iter().filter_map(first).chain(operators.filter(reachable)) {
        if !found.iter().any(|known| known.id == next.id) {
            found.push(next);
        }
    }
    found
}

fn letter(
    desk: &Desk,
    fault: &AddressFault,
    person: &Person,
    (contact, places, subjects): (&Person, &[SiteId], &[String]),
    now: DateTime<Utc>,
) -> Result<OutboxRow, ServiceError> {
    let about = format!("unreachable:{}:{}", person.id, fault.since.timestamp_millis());
    let places: Vec<&str> = places.iter().map(SiteId::as_str).collect();
    let subjects: Vec<String> = subjects.iter().map(|subject| format!("- {subject}")).collect();
    // What people wrote comes last, so that it cannot bring blanks of its own.
    let text = WORDS
        .replace("{places}", &places.join(", "))
        .replace("{address}", &fault.address)
        .replace("{why}", &fault.why)
        .replace("{subjects}", &subjects.join("\n"))
        .replace("{name}", &person.name);
    let sender = &desk.sender;
    let letter = Letter {
        message_id: desk.key.id(&about, 1, contact.id.as_str(), 0, &sender.domain),
        date: now,
        from: Mailbox { name: sender.desk.clone(), address: sender.address.clone() },
        reply_to: None,
        to: Mailbox {
            name: contact.name.clone(),
            address: contact.email.clone().unwrap_or_default(),
        },
        subject: format!("{} cannot be reached by mail", person.name),
        text,
        html: None,
        in_reply_to: None,
        references: Vec::new(),
        list_id: None,
        unsubscribe: None,
        urgent: false,
    };
    outbox_row(desk, letter, contact, now, |row| {
        row.thread.clone_from(&about);
        row.alert = about;
        row.kind = "unreachable".to_owned();
        row.expires_at = now + KEPT;
    })
}
