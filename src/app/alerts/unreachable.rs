//! Kind `unreachable`: when what we wrote does not arrive, the next contact hears of it: those who run the places concerned,
//! in their order, and the operator. A letter that was refused is a danger untold, not a matter of tidiness.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::open_alerts::{OpenAlerts, person_of};
use super::rows::{record_of, transition_rows};
use crate::app::context::{AppContext, ServiceError, YardBook};
use crate::app::notify::{Composer, Scene, webhooks, write};
use crate::app::ports::AlertStore;
use crate::app::ports::AppStore;
use crate::app::ports::Mailer;
use crate::app::ports::Outbox;
use crate::app::ports::UndeliveredLetters;
use crate::app::ports::{AlertFilter, RoundCommit, StoreError};
use crate::app::ports::{
    Cause, Fault, OutboxState, Patience, Posted, TEXTS, Undelivered, WEBHOOKS,
};
use crate::domain::alert::unreachable::{Late, Missed, Reach, Trouble};
use crate::domain::alert::{Alert, Decision, DecisionInput, Kind, decide};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::yard::{Person, recipients};

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
pub struct Undeliverable {
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
    app: &AppContext,
    composer: &Composer,
    now: DateTime<Utc>,
) -> Result<Undeliverable, ServiceError> {
    let based_on = app.store.generation()?;
    let yard = app.yard()?;
    readdress((&*app.store, &*app.mailer), &yard)?;
    let late = app.store.undelivered(PATIENCE, now)?;
    let missed = missed_by(&late, &yard);
    let people =
        People { yard: &yard, missed: &missed, open: &OpenAlerts::read(&*app.store)?, now };
    let mut found = Undeliverable::default();
    let decision = people.decide_all(&*app.store, &mut found)?;
    let changed = told_in_vain(&*app.store, &missed, people.open, now)?;
    found.tell_anew = !changed.is_empty();
    let scene = Scene { app, composer, yard: &yard, seen: None, now };
    let written = write(&scene, &decision.notifications);
    let notes = webhooks::notes(&app.settings, composer, &decision, now);
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
        match app.store.commit_round(&commit) {
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
    store: &dyn UndeliveredLetters,
    since: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, ServiceError> {
    Ok(store.next_overdue(PATIENCE, since)?)
}

/// What has not arrived and should have, a line for each person, and one for what waits at the relay.
///
/// # Errors
/// The store's.
pub fn not_arrived(store: &dyn AppStore, now: DateTime<Utc>) -> Result<Vec<String>, ServiceError> {
    let late = store.undelivered(PATIENCE, now)?;
    let yard = YardBook::read(store)?;
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
    let waiting = store.waiting(now - PATIENCE.urgent)?;
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
fn readdress(
    (store, mailer): (&dyn Outbox, &dyn Mailer),
    yard: &YardBook,
) -> Result<(), ServiceError> {
    let waiting = store.waiting_letters()?;
    for letter in waiting
        .into_iter()
        .filter(|letter| ![TEXTS, WEBHOOKS].contains(&letter.row.channel.as_str()))
    {
        let listed =
            yard.people.get(&letter.row.recipient).and_then(|person| person.email.as_deref());
        let Some(listed) = listed.filter(|listed| *listed != letter.row.address) else { continue };
        let bytes = mailer.to_address(&letter.row.bytes, &letter.row.address, listed);
        if store.readdress(letter.id, listed, &bytes)? {
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

/// Everybody, and what did not reach them.
struct People<'a> {
    yard: &'a YardBook,
    missed: &'a ByPerson<'a>,
    open: &'a OpenAlerts,
    now: DateTime<Utc>,
}

impl People<'_> {
    fn decide_all(
        &self,
        store: &dyn AlertStore,
        found: &mut Undeliverable,
    ) -> Result<Decision, ServiceError> {
        let open: BTreeMap<&PersonId, &Alert> = self
            .open
            .of_kind(Kind::Unreachable)
            .filter_map(|alert| Some((person_of(alert)?, alert)))
            .collect();
        let everybody: BTreeSet<&PersonId> =
            self.missed.keys().copied().chain(open.keys().copied()).collect();
        let mut decision = Decision::default();
        if everybody.is_empty() {
            return Ok(decision);
        }
        let closed = closed_before(store)?;
        for person in everybody {
            let before = closed.get(person).copied().unwrap_or(0);
            self.decide(person, (open.get(person).copied(), before), found, &mut decision);
        }
        Ok(decision)
    }

    fn decide(
        &self,
        id: &PersonId,
        (open, episodes_closed): (Option<&Alert>, u32),
        found: &mut Undeliverable,
        decision: &mut Decision,
    ) {
        let person = self.yard.people.get(id);
        let places = person.map_or_else(Vec::new, |person| {
            recipients::places_of(person, &self.yard.boats, &self.yard.sites)
        });
        let site = places.first().cloned().or_else(|| open.map(|alert| alert.site.clone()));
        let Some(site) = site else { return };
        let late = self.missed.get(id).map_or(&[][..], Vec::as_slice);
        let recent = late.iter().any(|one| self.now - one.since < RECENT);
        let missed = person.filter(|_| !late.is_empty() && (open.is_some() || recent));
        let contacts = missed.map_or_else(Vec::new, |person| self.contacts(person, &places));
        if missed.is_some() && contacts.is_empty() {
            tracing::error!(person.id = %id, "cannot be written to, nor anybody else");
            found.nobody_left.push(id.clone());
        }
        let danger = |one: &&&Undelivered| !one.closing && !NO_DANGER.contains(&one.kind.as_str());
        let lines: Vec<Late> = late.iter().map(|one| line(one)).collect();
        let reach = Reach {
            person: id,
            site: &site,
            missed: missed.map(|_| Missed {
                newest_danger: late.iter().filter(danger).map(|one| one.since).max(),
                pressing: late.iter().any(|one| one.urgent && !one.closing),
            }),
            late: &lines,
            contacts: &contacts,
            open,
            episodes_closed,
        };
        decision.extend(decide(DecisionInput::Undeliverable(&reach), self.now));
    }

    /// For each place the first manager whom mail reaches; and every operator whom it does.
    fn contacts(&self, person: &Person, places: &[SiteId]) -> Vec<PersonId> {
        let reachable = |other: &Person| {
            // Whose letters merely wait, or could not be written, may be reached all the same.
            let late = self.missed.get(&other.id).map_or(&[][..], Vec::as_slice);
            other.email.is_some() && !late.iter().any(|one| one.cause == Cause::Address)
        };
        recipients::of_undeliverable(&self.yard.people, (&person.id, places), reachable)
    }
}

/// A letter that did not arrive, as the next contact is told of it.
fn line(one: &Undelivered) -> Late {
    let trouble = match one.cause {
        Cause::Address if one.address.is_empty() => Trouble::NoAddress,
        Cause::Address => Trouble::Address,
        Cause::Policy | Cause::Size | Cause::Other => Trouble::Refused,
        Cause::Unwritten => Trouble::Unwritten,
        Cause::Waits => Trouble::Waits,
    };
    Late {
        trouble,
        address: one.address.clone(),
        why: one.why.clone(),
        subject: one.subject.clone(),
        queued_at: one.queued_at,
        since: one.since,
    }
}

/// How many alerts about each person are closed.
fn closed_before(store: &dyn AlertStore) -> Result<BTreeMap<PersonId, u32>, ServiceError> {
    let filter = AlertFilter {
        kind: Some(Kind::Unreachable.as_str().to_owned()),
        open: Some(false),
        ..AlertFilter::default()
    };
    let mut closed = BTreeMap::new();
    for alert in store.alerts(&filter)? {
        if let Some(person) = person_of(&alert) {
            *closed.entry(person.clone()).or_default() += 1;
        }
    }
    Ok(closed)
}

/// Open alerts of which nothing reached somebody who was meant to be told and who can be: with the telling taken back, so
/// that the next look tells them anew. Letters expire while nothing runs, and one that could not be written may be by now.
/// Whose address is at fault waits until it works.
fn told_in_vain(
    store: &dyn Outbox,
    missed: &ByPerson<'_>,
    open: &OpenAlerts,
    now: DateTime<Utc>,
) -> Result<Vec<Alert>, ServiceError> {
    let at_fault = |person: &PersonId| {
        let late = missed.get(person).map_or(&[][..], Vec::as_slice);
        late.iter().any(|one| one.cause == Cause::Address)
    };
    let mut found = Vec::new();
    for alert in open.all() {
        let (mut in_vain, mut last_lost) = (Vec::new(), Vec::new());
        for (person, ledger) in &alert.told {
            if !ledger.awaits_closing || at_fault(person) {
                continue;
            }
            let mut letters = store.letters(Some(alert.id.as_str()))?;
            for sent in &ledger.sent {
                // Only these are put into one letter with others of the same second.
                if !matches!(alert.kind, Kind::Freeze | Kind::Blind) {
                    continue;
                }
                let rolled = format!("rollup-{person}-{}", sent.at.timestamp());
                letters.extend(store.letters(Some(&rolled))?);
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
            let mut alert = alert.clone();
            in_vain.iter().for_each(|person| alert.untell(person));
            last_lost.iter().for_each(|person| alert.untell_last(person));
            found.push(alert);
        }
    }
    Ok(found)
}
