//! When what we wrote does not arrive, the next contact hears of it: those who run the places concerned, in their order,
//! and the operator. A letter that was refused is a danger untold, not a matter of tidiness.

mod letter;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::alerts::{managers_of, record_of, transition_rows};
use crate::app::context::{AppContext, ServiceError, YardBook};
use crate::app::notify::Composer;
use crate::app::notify::webhooks;
use crate::app::ports::{
    AlertFilter, Cause, Fault, OutboxState, Patience, Posted, RoundCommit, StoreError, TEXTS,
    Undelivered, WEBHOOKS,
};
use crate::domain::alert::unreachable::{Missed, Reach, decide_reach};
use crate::domain::alert::{Alert, Decision, Kind, Subject};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::yard::{Person, Role};
pub use letter::round_name;
use letter::write;

/// Letters of this long ago raise nothing any more.
const RECENT: TimeDelta = TimeDelta::days(4);
/// Kinds of letters that tell of no danger, or of others whom mail does not reach: these must not set off more of the same.
const NO_DANGER: [&str; 4] = ["worklist", "unreachable", "opening", "aging"];
/// What could not be written is tried anew after so long: somebody may have mended the cause.
const WRITTEN_ANEW_AFTER: TimeDelta = TimeDelta::hours(6);
/// How long a pressing letter may wait at a relay that takes others, and how long any other.
const PATIENCE: Patience = Patience { urgent: TimeDelta::minutes(30), other: TimeDelta::hours(4) };

/// What came of looking.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Unreached {
    /// Letters to next contacts that are new in the outbox.
    pub queued: usize,
    /// People for whom nobody is left to turn to.
    pub nobody_left: Vec<PersonId>,
    /// Somebody can be reached again who has to be told anew what did not arrive.
    pub tell_anew: bool,
}

/// Raises an alert for every person whom a letter did not reach and turns to the next contacts; does so again for
/// whatever else does not arrive; closes it, and tells them so, when mail arrives again or the address was replaced.
///
/// # Errors
/// The store's.
pub fn turn_to_next_contact(
    house: &AppContext,
    composer: &Composer,
    now: DateTime<Utc>,
) -> Result<Unreached, ServiceError> {
    let based_on = house.store.generation()?;
    let yard = house.yard()?;
    readdress(house, &yard)?;
    let late = house.store.undelivered(PATIENCE, now)?;
    let book = Book::read(house)?;
    let mut found = Unreached::default();
    let missed = missed_by(&late, &yard);
    let mut pass = Pass { yard: &yard, missed: &missed, book: &book, now, posts: Vec::new() };
    let mut decision = Decision::default();
    let people: BTreeSet<&PersonId> = missed.keys().copied().chain(book.open.keys()).collect();
    for person in people {
        let Some((alert, transition)) = pass.look_at(person, &mut found) else { continue };
        decision.alerts.push(alert);
        decision.transitions.push(transition);
    }
    let changed = told_in_vain(house, &missed, now)?;
    found.tell_anew = !changed.is_empty();
    let written = write(house, composer, &yard, &pass.posts, now);
    let notes = webhooks::notes(&house.settings, composer, &decision, now);
    let mut commit = RoundCommit {
        based_on: Some(based_on),
        transitions: transition_rows(&decision)?,
        letters: written.letters.into_iter().chain(notes).collect(),
        unsendable: written.unsendable,
        ..RoundCommit::default()
    };
    for alert in decision.alerts.iter().chain(&changed) {
        commit.alerts.push(record_of(alert, now)?);
    }
    if !commit.alerts.is_empty() {
        match house.store.commit_round(&commit) {
            Ok(committed) => found.queued = committed.queued,
            // Somebody else's round landed meanwhile: the next look decides again.
            Err(StoreError::Overtaken) => found.tell_anew = false,
            Err(error) => return Err(error.into()),
        }
    }
    Ok(found)
}

/// When a letter that waits has waited too long, if nothing happens before: the next look after one at `since`.
///
/// # Errors
/// The store's.
pub fn next_overdue(
    house: &AppContext,
    since: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, ServiceError> {
    Ok(house.store.next_overdue(PATIENCE, since)?)
}

/// What has not arrived and should have, a line for each person, and one for what waits at the relay.
///
/// # Errors
/// The store's.
pub fn not_arrived(house: &AppContext, now: DateTime<Utc>) -> Result<Vec<String>, ServiceError> {
    let late = house.store.undelivered(PATIENCE, now)?;
    let yard = house.yard()?;
    let mut lines: Vec<String> = missed_by(&late, &yard)
        .into_iter()
        .filter_map(|(person, own)| {
            let newest = own.last()?;
            let letters = own.len();
            Some(format!(
                "{person} did not get {letters} of ours ({}), the newest \"{}\": {}",
                newest.address, newest.subject, newest.why
            ))
        })
        .collect();
    let waiting = house.store.waiting(now - PATIENCE.urgent)?;
    let tried = || waiting.iter().filter(|letter| letter.attempts > 0);
    if let Some(oldest) = tried().next() {
        lines.push(format!(
            "{} wait to be taken, the oldest since {}: {}",
            tried().count(),
            oldest.queued_at.format("%-d %b %H:%M UTC"),
            oldest.why.as_deref().unwrap_or("not answered")
        ));
    }
    Ok(lines)
}

/// Letters that wait go to the address that is listed now.
fn readdress(house: &AppContext, yard: &YardBook) -> Result<(), ServiceError> {
    let waiting = house.store.waiting_letters()?;
    for letter in waiting
        .into_iter()
        .filter(|letter| ![TEXTS, WEBHOOKS].contains(&letter.row.channel.as_str()))
    {
        let listed =
            yard.people.get(&letter.row.recipient).and_then(|person| person.email.as_deref());
        let Some(listed) = listed.filter(|listed| *listed != letter.row.address) else { continue };
        let bytes = house.mailer.to_address(&letter.row.bytes, &letter.row.address, listed);
        if house.store.readdress(letter.id, listed, &bytes)? {
            tracing::info!("a letter to {} goes to the address listed now", letter.row.recipient);
        }
    }
    Ok(())
}

type ByPerson<'a> = BTreeMap<&'a PersonId, Vec<&'a Undelivered>>;

/// What each person did not get at the address that is listed now: that of an address replaced since says nothing.
fn missed_by<'a>(late: &'a [Undelivered], yard: &YardBook) -> ByPerson<'a> {
    let mut missed = ByPerson::new();
    for one in late {
        let listed = yard.people.get(&one.recipient);
        if listed.is_some_and(|person| person.email.as_deref().unwrap_or("") == one.address) {
            missed.entry(&one.recipient).or_default().push(one);
        }
    }
    missed
}

/// One thing to write to one contact.
struct Post<'a> {
    contact: PersonId,
    alert: Alert,
    /// What they missed; `None`: reached again.
    missed: Option<(&'a Person, &'a [&'a Undelivered], Vec<String>)>,
}

/// One look over everybody concerned.
struct Pass<'a> {
    yard: &'a YardBook,
    missed: &'a ByPerson<'a>,
    book: &'a Book,
    now: DateTime<Utc>,
    posts: Vec<Post<'a>>,
}

impl<'a> Pass<'a> {
    fn look_at(
        &mut self,
        id: &PersonId,
        found: &mut Unreached,
    ) -> Option<(Alert, crate::domain::alert::Transition)> {
        let open = self.book.open.get(id);
        let person = self.yard.people.get(id);
        let places = person.map_or_else(Vec::new, |person| places_of(person, self.yard));
        let site = places.first().cloned().or_else(|| open.map(|alert| alert.site.clone()))?;
        let late = self.missed.get(id).map_or(&[][..], Vec::as_slice);
        let recent = late.iter().any(|one| self.now - one.since < RECENT);
        let missed = person.filter(|_| !late.is_empty() && (open.is_some() || recent));
        let contacts = missed.map_or_else(Vec::new, |person| self.contacts(person, &places));
        if missed.is_some() && contacts.is_empty() {
            tracing::error!("{id} cannot be written to, nor anybody else");
            found.nobody_left.push(id.clone());
        }
        let danger = |one: &&&Undelivered| !one.closing && !NO_DANGER.contains(&one.kind.as_str());
        let reach = Reach {
            person: id,
            site: &site,
            missed: missed.map(|_| Missed {
                newest_danger: late.iter().filter(danger).map(|one| one.since).max(),
                pressing: late.iter().any(|one| one.urgent && !one.closing),
            }),
            contacts: &contacts,
            open,
            episodes_closed: self.book.closed.get(id).copied().unwrap_or(0),
        };
        let (alert, transition) = decide_reach(&reach, self.now)?;
        match missed {
            Some(person) => {
                let last = open.and_then(|open| open.passed_on.last()).map(|passed| passed.at);
                let subjects = subjects(late, last);
                self.posts.extend(contacts.into_iter().map(|contact| Post {
                    contact,
                    alert: alert.clone(),
                    missed: Some((person, late, subjects.clone())),
                }));
            }
            None => {
                let told: BTreeSet<&PersonId> = alert.passed_on.iter().map(|p| &p.to).collect();
                self.posts.extend(told.into_iter().map(|contact| Post {
                    contact: contact.clone(),
                    alert: alert.clone(),
                    missed: None,
                }));
            }
        }
        Some((alert, transition))
    }

    /// For each place the first manager whom mail reaches; and every operator whom it does.
    fn contacts(&self, person: &Person, places: &[SiteId]) -> Vec<PersonId> {
        let reachable = |other: &&Person| {
            // Whose letters merely wait, or could not be written, may be reached all the same.
            let late = self.missed.get(&other.id).map_or(&[][..], Vec::as_slice);
            let at_fault = late.iter().any(|one| one.cause == Cause::Address);
            other.id != person.id && other.email.is_some() && !at_fault
        };
        let mut found: Vec<PersonId> = Vec::new();
        let operators = self.yard.people.values().filter(|other| other.role == Role::Operator);
        let first = |site: &SiteId| managers_of(site, self.yard).into_iter().find(reachable);
        for next in places.iter().filter_map(first).chain(operators.filter(reachable)) {
            if !found.contains(&next.id) {
                found.push(next.id.clone());
            }
        }
        found
    }
}

/// Subjects of what did not arrive after `last`, each once; without one, of everything still recent.
fn subjects(late: &[&Undelivered], last: Option<DateTime<Utc>>) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for one in late {
        let new = last.is_none_or(|last| one.since > last);
        if new && !found.contains(&one.subject) {
            found.push(one.subject.clone());
        }
    }
    found
}

/// The alerts about people: those not closed, and how many are.
#[derive(Default)]
struct Book {
    open: BTreeMap<PersonId, Alert>,
    closed: BTreeMap<PersonId, u32>,
}

impl Book {
    fn read(house: &AppContext) -> Result<Self, ServiceError> {
        let mut book = Self::default();
        for alert in alerts(
            house,
            AlertFilter {
                kind: Some(Kind::Unreachable.as_str().to_owned()),
                ..AlertFilter::default()
            },
        )? {
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

fn alerts(house: &AppContext, filter: AlertFilter) -> Result<Vec<Alert>, ServiceError> {
    Ok(house.store.alerts(&filter)?)
}

/// Open alerts of which nothing reached somebody who was meant to be told and who can be: with the telling taken back, so
/// that the next look tells them anew. Letters expire while nothing runs, and one that could not be written may be by now.
/// Whose address is at fault waits until it works.
fn told_in_vain(
    house: &AppContext,
    missed: &ByPerson<'_>,
    now: DateTime<Utc>,
) -> Result<Vec<Alert>, ServiceError> {
    let at_fault = |person: &PersonId| {
        let late = missed.get(person).map_or(&[][..], Vec::as_slice);
        late.iter().any(|one| one.cause == Cause::Address)
    };
    let mut found = Vec::new();
    for mut alert in alerts(house, AlertFilter { open: Some(true), ..AlertFilter::default() })? {
        let (mut in_vain, mut last_lost) = (Vec::new(), Vec::new());
        for (person, ledger) in &alert.told {
            if !ledger.awaits_closing || at_fault(person) {
                continue;
            }
            let mut letters = house.store.letters(Some(alert.id.as_str()))?;
            for sent in &ledger.sent {
                // Only these are put into one letter with others of the same second.
                if !matches!(alert.kind, Kind::Freeze | Kind::Blind) {
                    continue;
                }
                let rolled = format!("rollup-{person}-{}", sent.at.timestamp());
                letters.extend(house.store.letters(Some(&rolled))?);
            }
            letters.retain(|letter| letter.row.recipient == *person);
            let lost = |letter: &Posted| match letter.state {
                OutboxState::Expired => true,
                // It will not go any more: the next pass takes it out.
                OutboxState::Queued | OutboxState::Deferred => letter.row.expires_at <= now,
                OutboxState::Failed => {
                    letter.fault.as_deref() == Some(Fault::Address.as_str())
                        || now - letter.row.queued_at >= WRITTEN_ANEW_AFTER
                }
                _ => false,
            };
            letters.sort_by_key(|letter| letter.id);
            let newest = letters.iter().rfind(|letter| !letter.row.closing);
            if !letters.is_empty() && letters.iter().all(lost) {
                in_vain.push(person.clone());
            } else if newest.is_some_and(lost) && !ledger.worst.systems.is_empty() {
                last_lost.push(person.clone());
            }
        }
        if !in_vain.is_empty() || !last_lost.is_empty() {
            in_vain.iter().for_each(|person| alert.untell(person));
            last_lost.iter().for_each(|person| alert.untell_last(person));
            found.push(alert);
        }
    }
    Ok(found)
}

/// Where a person has boats, or which places they run; all of them where none is said.
fn places_of(person: &Person, yard: &YardBook) -> Vec<SiteId> {
    let own = yard.boats.iter().filter(|boat| boat.owner.as_ref() == Some(&person.id));
    let mut places: Vec<SiteId> = person.sites.clone();
    places.extend(own.map(|boat| boat.site.clone()));
    places.retain(|site| yard.sites.contains_key(site));
    if places.is_empty() {
        places.extend(yard.sites.keys().cloned());
    }
    places.sort();
    places.dedup();
    places
}
