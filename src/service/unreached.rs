//! When an address takes no mail, the next contact hears of it: those who run the places concerned, in their order, and
//! the operator. A failed address is a danger untold, not a matter of tidiness.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::deciding::{managers_of, record_of, transition_rows};
use super::house::{House, ServiceError, YardBook};
use super::letters::{Desk, outbox_row};
use crate::domain::alert::unreachable::{Reach, decide_reach};
use crate::domain::alert::{Alert, Decision, Kind, Subject};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::message::{Letter, Mailbox};
use crate::domain::yard::{Person, Role};
use crate::store::outbox::AddressFault;
use crate::store::{AlertFilter, OutboxRow, RoundCommit, StoreError};

/// The words; the blanks are filled below.
const WORDS: &str = include_str!("../../config/catalogue/unreached.txt");
/// So long a next contact needs to hear of it.
const KEPT: TimeDelta = TimeDelta::days(4);
/// Letters of this long ago are no news any more.
const RECENT: TimeDelta = TimeDelta::days(4);

/// The words when mail arrives again.
const AGAIN: &str = include_str!("../../config/catalogue/reached_again.txt");

/// What came of looking.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Unreached {
    /// Letters to next contacts that are new in the outbox.
    pub queued: usize,
    /// People for whom nobody is left to turn to.
    pub nobody_left: Vec<PersonId>,
}

/// Raises an alert for every person whose address has refused a letter and turns to the next contacts; closes it, and
/// tells them so, when mail arrives again or the address was replaced.
///
/// # Errors
/// The store's, or a letter that cannot be written.
pub fn turn_to_next_contact(
    house: &House,
    desk: &Desk,
    now: DateTime<Utc>,
) -> Result<Unreached, ServiceError> {
    let based_on = house.store.generation()?;
    let faults = house.store.address_faults()?;
    let book = Book::read(house)?;
    let mut found = Unreached::default();
    if faults.is_empty() && book.open.is_empty() {
        return Ok(found);
    }
    let yard = house.yard()?;
    let mut decision = Decision::default();
    let mut commit = RoundCommit { based_on: Some(based_on), ..RoundCommit::default() };
    for person in yard.people.values() {
        let faulty = |fault: &&AddressFault| {
            // Else the address has been replaced since.
            fault.recipient == person.id && person.email.as_deref() == Some(&fault.address)
        };
        let fault = faults.iter().find(faulty);
        let open = book.open.get(&person.id);
        let places = places_of(person, &yard);
        let Some(site) = places.first() else { continue };
        let raises = open.is_some() || fault.is_some_and(|fault| now - fault.since < RECENT);
        let reach = Reach {
            person: &person.id,
            site,
            faulty: fault.is_some() && raises,
            open,
            episodes_closed: book.closed.get(&person.id).copied().unwrap_or(0),
        };
        let decided = decide_reach(&reach, now);
        let alert = decided.as_ref().map(|(alert, _)| alert).or(open);
        let Some(alert) = alert else { continue };
        if let Some(fault) = fault {
            let contacts = contacts(person, &places, &yard, &faults);
            if contacts.is_empty() {
                tracing::error!(
                    "{} cannot be written to, nor anybody else: {}",
                    person.id,
                    fault.why
                );
                found.nobody_left.push(person.id.clone());
            }
            let subjects = house.store.refused_subjects(&person.id, fault.since - RECENT)?;
            for contact in contacts {
                let about = (contact, &places[..], &subjects[..]);
                commit.letters.push(raising(desk, (alert, fault, person), about, now)?);
            }
        } else {
            for contact in told_of(house, alert, &yard)? {
                commit.letters.push(closing(desk, alert, person, contact, now)?);
            }
        }
        if let Some((alert, transition)) = decided {
            decision.alerts.push(alert);
            decision.transitions.push(transition);
        }
    }
    for alert in &decision.alerts {
        commit.alerts.push(record_of(alert, now)?);
    }
    commit.transitions = transition_rows(&decision)?;
    if !commit.letters.is_empty() || !commit.alerts.is_empty() {
        match house.store.commit_round(&commit) {
            Ok(committed) => found.queued = committed.queued,
            // Somebody else's round landed meanwhile: the next look decides again.
            Err(StoreError::Overtaken) => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(found)
}

/// The alerts about people: those not closed, and how many are.
#[derive(Default)]
struct Book {
    open: BTreeMap<PersonId, Alert>,
    closed: BTreeMap<PersonId, u32>,
}

impl Book {
    fn read(house: &House) -> Result<Self, ServiceError> {
        let kind = Some(Kind::Unreachable.as_str().to_owned());
        let mut book = Self::default();
        for record in house.store.alerts(&AlertFilter { kind, ..AlertFilter::default() })? {
            let alert: Alert = serde_json::from_value(record.document).map_err(|error| {
                ServiceError::Told(format!("the alert {} cannot be read: {error}", record.id))
            })?;
            let Subject::Person(person) = &alert.subject else { continue };
            if alert.closed.is_some() {
                *book.closed.entry(person.clone()).or_default() += 1;
            } else {
                book.open.insert(person.clone(), alert);
            }
        }
        Ok(book)
    }
}

/// Everybody who was told of the raise and is still listed.
fn told_of<'a>(
    house: &House,
    alert: &Alert,
    yard: &'a YardBook,
) -> Result<Vec<&'a Person>, ServiceError> {
    let letters = house.store.letters(Some(alert.id.as_str()))?;
    let told: BTreeSet<PersonId> = letters.into_iter().map(|letter| letter.row.recipient).collect();
    Ok(told.iter().filter_map(|id| yard.people.get(id)).filter(|p| p.email.is_some()).collect())
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

fn raising(
    desk: &Desk,
    (alert, fault, person): (&Alert, &AddressFault, &Person),
    (contact, places, subjects): (&Person, &[SiteId], &[String]),
    now: DateTime<Utc>,
) -> Result<OutboxRow, ServiceError> {
    let places: Vec<&str> = places.iter().map(SiteId::as_str).collect();
    let subjects: Vec<String> = subjects.iter().map(|subject| format!("- {subject}")).collect();
    // What people wrote comes last, so that it cannot bring blanks of its own.
    let text = WORDS
        .replace("{places}", &places.join(", "))
        .replace("{address}", &fault.address)
        .replace("{why}", &fault.why)
        .replace("{subjects}", &subjects.join("\n"))
        .replace("{name}", &person.name);
    let subject = format!("{} cannot be reached by mail", person.name);
    letter(desk, alert, (contact, 1, false), (subject, text), now)
}

fn closing(
    desk: &Desk,
    alert: &Alert,
    person: &Person,
    contact: &Person,
    now: DateTime<Utc>,
) -> Result<OutboxRow, ServiceError> {
    let since = alert.raised_at.unwrap_or(now).format("%-d %b %H:%M UTC").to_string();
    let text = AGAIN.replace("{since}", &since).replace("{name}", &person.name);
    let subject = format!("{} can be reached by mail again", person.name);
    letter(desk, alert, (contact, alert.revision, true), (subject, text), now)
}

fn letter(
    desk: &Desk,
    alert: &Alert,
    (contact, revision, closing): (&Person, u32, bool),
    (subject, text): (String, String),
    now: DateTime<Utc>,
) -> Result<OutboxRow, ServiceError> {
    let about = alert.id.to_string();
    let sender = &desk.sender;
    let id = |revision| desk.key.id(&about, revision, contact.id.as_str(), 0, &sender.domain);
    let letter = Letter {
        message_id: id(revision),
        date: now,
        from: Mailbox { name: sender.desk.clone(), address: sender.address.clone() },
        reply_to: None,
        to: Mailbox {
            name: contact.name.clone(),
            address: contact.email.clone().unwrap_or_default(),
        },
        subject,
        text,
        html: None,
        in_reply_to: closing.then(|| id(1)),
        references: if closing { vec![id(1)] } else { Vec::new() },
        list_id: None,
        unsubscribe: None,
        urgent: false,
    };
    outbox_row(desk, letter, contact, now, |row| {
        row.thread.clone_from(&about);
        row.alert.clone_from(&about);
        row.revision = revision;
        row.closing = closing;
        row.kind = Kind::Unreachable.as_str().to_owned();
        row.expires_at = now + KEPT;
    })
}
