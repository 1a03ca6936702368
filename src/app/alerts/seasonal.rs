//! What the alerts that follow no single forecast have in common: which of them are open, who reads them, and how they are sent.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::sqlite::{AlertFilter, OutboxRow};
use crate::app::assess::past_seasons::PastSeasons;
use crate::app::assess::{Assessment, BoatView};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::sms;
use crate::app::notify::{Composer, Written, blank_row};
use crate::domain::alert::quiet::not_before;
use crate::domain::alert::{Alert, AlertId, Concerned, Condition, Decision, Kind, Transition};
use crate::domain::boat::{BoatId, PersonId};
use crate::domain::message::Email;
use crate::domain::risk::Priority;
use crate::domain::yard::{Person, Site, SiteKind, recipients};

/// Such a letter is of no use much later.
const KEPT: TimeDelta = TimeDelta::days(2);

/// What a look over the boats came to.
#[derive(Default)]
pub struct Decided {
    /// Alerts that are new or changed.
    pub alerts: Vec<Alert>,
    /// Rows of their logs.
    pub transitions: Vec<Transition>,
    /// Letters.
    pub written: Written,
}

impl Decided {
    /// Puts a letter into what was written; it may wait for the reader's day.
    pub(crate) fn post(
        &mut self,
        (house, composer): (&AppContext, &Composer),
        alert: &Alert,
        (person, site): (&Person, &Site),
        letter: Result<Email, String>,
        closing: bool,
        now: DateTime<Utc>,
    ) {
        let settings = &house.settings.alert;
        let priority = match alert.condition {
            Condition::Active { priority } if !closing => priority,
            _ => Priority::Low,
        };
        let held = not_before(person, site.time_zone, settings, priority, None, now);
        let due_at = held.unwrap_or(now);
        let row = OutboxRow {
            revision: alert.revision,
            kind: alert.kind.as_str().to_owned(),
            closing,
            due_at,
            expires_at: due_at + KEPT,
            ..blank_row(composer, letter.as_ref().ok(), (alert.id.as_str(), person), now)
        };
        let text =
            letter.as_ref().ok().and_then(|letter| sms::beside(composer, person, letter, &row));
        self.written.add(letter, row);
        self.written.letters.extend(text);
    }
}

/// The place of a boat and its past seasons; `None` where it is heated or none are named.
pub(crate) fn past_of<'a>(
    house: &AppContext,
    assessment: &'a Assessment,
    view: &BoatView,
) -> Option<(&'a Site, Arc<PastSeasons>)> {
    let site = assessment.yard.sites.get(&view.state.site);
    let site = site.filter(|site| site.kind != SiteKind::IndoorHeated)?;
    let past = house.past_seasons(site).unwrap_or_else(|error| {
        tracing::warn!("{}: nothing is told by past seasons: {error}", site.id);
        None
    });
    Some((site, past?))
}

/// The owner who is told of a boat; `None` where the yard sees to her, or nobody is listed.
pub(crate) fn owner_told<'a>(assessment: &'a Assessment, view: &BoatView) -> Option<&'a Person> {
    recipients::of_season(&assessment.yard.people, &view.boat)
}

/// Who reads the letter, and about which place: whoever was told is told the end, whoever owns the boat by now.
pub(crate) fn reader<'a>(
    assessment: &'a Assessment,
    view: &BoatView,
    owner: Option<&'a Person>,
    alert: &Alert,
) -> Option<(&'a Person, &'a Site)> {
    let told = || alert.told.keys().next().and_then(|person| assessment.yard.people.get(person));
    Some((owner.or_else(told)?, assessment.yard.sites.get(&view.state.site)?))
}

/// The revisions that a person has had before this one.
pub(crate) fn earlier(alert: &Alert, person: &Person) -> Vec<u32> {
    let sent = alert.told.get(&person.id).map_or(&[][..], |ledger| ledger.sent.as_slice());
    sent.iter().map(|sent| sent.revision).filter(|revision| *revision < alert.revision).collect()
}

/// The alerts of a kind, and the freezes that go before them.
pub(crate) struct Book {
    open: BTreeMap<BoatId, Alert>,
    closed: BTreeMap<BoatId, (Alert, u32)>,
    /// Freezes that are not closed, and who has been told of each and awaits its end.
    freeze: BTreeMap<BoatId, (AlertId, Vec<PersonId>)>,
}

impl Book {
    pub(crate) fn read(
        house: &AppContext,
        kind: Kind,
        decided: &Decision,
    ) -> Result<Self, ServiceError> {
        let mut book =
            Self { open: BTreeMap::new(), closed: BTreeMap::new(), freeze: BTreeMap::new() };
        let filter = AlertFilter { kind: Some(kind.as_str().to_owned()), ..AlertFilter::default() };
        for record in house.store.alerts(&filter)? {
            let (alert, boat) = read(record)?;
            let Some(boat) = boat else { continue };
            if alert.closed.is_none() {
                book.open.insert(boat, alert);
            } else {
                let count = book.closed.get(&boat).map_or(0, |(_, count)| *count);
                book.closed.insert(boat, (alert, count.saturating_add(1)));
            }
        }
        for record in house.store.open_alerts()? {
            if record.kind == Kind::Freeze.as_str() {
                let (alert, _) = read(record)?;
                book.note(&alert);
            }
        }
        for alert in decided.alerts.iter().filter(|alert| alert.kind == Kind::Freeze) {
            book.note(alert);
        }
        Ok(book)
    }

    /// A boat, and how far its alerts of this kind have come.
    pub(crate) fn of<'a>(
        &'a self,
        assessment: &Assessment,
        view: &'a BoatView,
        reader: Option<&'a Person>,
    ) -> Concerned<'a> {
        let (boat, site) = (&view.boat.id, &view.state.site);
        let closed = self.closed.get(boat);
        // What goes before must have come to whoever reads this one: to nobody else's knowledge.
        let knows = |told: &[PersonId]| match reader {
            Some(person) => told.contains(&person.id),
            None => !told.is_empty(),
        };
        Concerned {
            boat,
            site,
            zone: assessment.yard.zone(site),
            hemisphere: assessment.yard.hemisphere(site),
            reader: reader.map(|person| &person.id),
            freeze: self.freeze.get(boat).filter(|(_, told)| knows(told)).map(|(id, _)| id),
            open: self.open.get(boat),
            closed: closed.map(|(last, _)| last),
            episodes_closed: closed.map_or(0, |(_, count)| *count),
        }
    }

    /// The alert of a boat that is not closed.
    pub(crate) fn open_of(&self, boat: &BoatId) -> Option<&Alert> {
        self.open.get(boat)
    }

    fn note(&mut self, freeze: &Alert) {
        let Some(boat) = freeze.subject.boat() else { return };
        // One that has returned may be back tomorrow: it goes before as long as it is not closed.
        if freeze.closed.is_none() && freeze.raised_at.is_some() {
            let told = freeze.told.iter().filter(|(_, ledger)| ledger.awaits_closing);
            let told = told.map(|(person, _)| person.clone()).collect();
            self.freeze.insert(boat.clone(), (freeze.id.clone(), told));
        } else {
            self.freeze.remove(boat);
        }
    }
}

fn read(
    record: crate::adapters::sqlite::AlertRecord,
) -> Result<(Alert, Option<BoatId>), ServiceError> {
    let id = record.id.clone();
    let boat = record.boat.clone();
    let alert = serde_json::from_value(record.document)
        .map_err(|error| ServiceError::Told(format!("the alert {id} cannot be read: {error}")))?;
    Ok((alert, boat))
}
