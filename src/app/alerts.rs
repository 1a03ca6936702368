//! From an assessment to decisions: one situation for each boat and for each place, each decided by the pure core.

pub mod aging;
pub mod blend;
pub mod deadline;
pub mod heat;
pub mod opening;
pub mod seasonal;
pub mod unreachable;

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::assess::{Assessment, BoatView, PlaceView};
use crate::app::context::{AppContext, ServiceError, YardBook};
use crate::app::notify::Composer;
use crate::app::notify::webhooks;
use crate::app::ports::{AlertRecord, TransitionRow};
use crate::app::settings::schedule::Schedule;
use crate::domain::alert::{
    Alert, AlertSettings, Decision, Kind, Known, Situation, Standing, Subject, Target, Transition,
    WorklistTimes, decide,
};
use crate::domain::boat::{Boat, BoatId, PersonId, SiteId};
use crate::domain::risk::Priority;
use crate::domain::risk::timing::WorkingHours;
use crate::domain::yard::{Person, Role, SiteKind};

/// Messages of this long ago no longer count against a person's daily limit.
const RECENT: TimeDelta = TimeDelta::hours(24);

/// Decides every boat and place of the assessment, in the order of their ids.
///
/// # Errors
/// The store's, or an alert document that cannot be read.
pub fn decide_all(
    house: &AppContext,
    assessment: &Assessment,
    worklist_due: bool,
    now: DateTime<Utc>,
) -> Result<Decision, ServiceError> {
    let ground = Ground {
        book: OpenAlerts::read(house)?,
        recent: house.store.letters_since(now - RECENT)?,
        until: assessment.until,
        worklist: worklist_times(house, worklist_due, now)?,
        settings: house.settings.alert.clone(),
        working_hours: house.working_hours(),
    };
    let mut all = Decision::default();
    for view in &assessment.boats {
        let Some(place) = assessment.places.get(&view.state.site) else { continue };
        let subject = Subject::Boat(view.boat.id.clone());
        let people = people_of(&view.boat, &place.site.id, &assessment.yard);
        let target = Target::Boat {
            boat: Box::new(view.boat.clone()),
            state: Box::new(view.state.clone()),
            rows: view.rows.clone(),
        };
        let mut situation = ground.situation(place, (Kind::Freeze, &subject), target, people);
        // Only who might be told anew needs what was told before.
        let pressing = view.rows.iter().any(|row| row.priority > Priority::Notice);
        if situation.open.is_none() && pressing {
            situation.known = known_of(house, &view.boat.id)?;
        }
        extend(&mut all, decide(&situation, now));
    }
    for place in assessment.places.values() {
        let subject = Subject::Site(place.site.id.clone());
        let standing = standing_at(&ground.book, &place.site.id, &assessment.boats);
        let people = people_for_blindness(&place.site.id, &standing, &assessment.yard);
        let target = Target::Site { standing };
        let situation = ground.situation(place, (Kind::Blind, &subject), target, people);
        extend(&mut all, decide(&situation, now));
    }
    Ok(all)
}

fn extend(all: &mut Decision, one: Decision) {
    all.alerts.extend(one.alerts);
    all.transitions.extend(one.transitions);
    all.notifications.extend(one.notifications);
    all.looked.extend(one.looked);
}

/// What people were told of a boat in the episodes before, as the last of them kept it.
fn known_of(house: &AppContext, boat: &BoatId) -> Result<Vec<Known>, ServiceError> {
    let last = house.store.last_closed(Kind::Freeze.as_str(), boat)?;
    Ok(last.map_or_else(Vec::new, |alert| alert.known))
}

/// When the managers read the worklist, if anybody gets one.
fn worklist_times(
    house: &AppContext,
    in_this_round: bool,
    now: DateTime<Utc>,
) -> Result<Option<WorklistTimes>, ServiceError> {
    let yard = &house.settings.yard;
    let schedule = Schedule::parse(&yard.worklist).map_err(ServiceError::Told)?;
    let next = schedule.next_after(now, yard.time_zone);
    Ok(next.map(|next| WorklistTimes { in_this_round, next }))
}

/// What every situation of a round has in common.
struct Ground {
    book: OpenAlerts,
    recent: Vec<(PersonId, String, DateTime<Utc>)>,
    until: DateTime<Utc>,
    worklist: Option<WorklistTimes>,
    settings: AlertSettings,
    working_hours: WorkingHours,
}

impl Ground {
    fn situation(
        &self,
        place: &PlaceView,
        (kind, subject): (Kind, &Subject),
        target: Target,
        people: Vec<Person>,
    ) -> Situation {
        let open = self.book.open.get(&(kind, subject.as_str().to_owned())).cloned();
        let own = open.as_ref().map(|alert| alert.id.to_string());
        let others = self.recent.iter().filter(|(_, alert, _)| own.as_ref() != Some(alert));
        let recent = others.map(|(person, _, at)| (person.clone(), *at)).collect();
        let key = (kind.as_str().to_owned(), subject.as_str().to_owned());
        let heated = match &target {
            Target::Boat { state, .. } => {
                let warm = place.weather.as_ref().is_some_and(|weather| weather.heat.on());
                !state.afloat && warm && place.site.kind == SiteKind::IndoorHeated
            }
            Target::Site { .. } => false,
        };
        Situation {
            heated,
            target,
            site: place.site.clone(),
            forecast: place.state,
            service: place.forecast.as_ref().map(|f| f.service.clone()).unwrap_or_default(),
            issued_at: place.forecast.as_ref().map(|f| f.issued_at),
            until: self.until,
            low: place.low,
            open,
            known: Vec::new(),
            worklist: self.worklist,
            episodes_closed: self.book.closed.get(&key).copied().unwrap_or(0),
            people,
            recent,
            working_hours: self.working_hours,
            settings: self.settings.clone(),
        }
    }
}

/// Every alert that matters for the next decision.
struct OpenAlerts {
    open: BTreeMap<(Kind, String), Alert>,
    closed: BTreeMap<(String, String), u32>,
}

impl OpenAlerts {
    fn read(house: &AppContext) -> Result<Self, ServiceError> {
        let mut book = Self { open: BTreeMap::new(), closed: BTreeMap::new() };
        for alert in house.store.open_alerts()? {
            book.open.insert((alert.kind, alert.subject.as_str().to_owned()), alert);
        }
        for (kind, subject, count) in house.store.closed_counts()? {
            book.closed.insert((kind, subject), count);
        }
        Ok(book)
    }
}

/// The owner, then those who run the place, in their order.
fn people_of(boat: &Boat, site: &SiteId, yard: &YardBook) -> Vec<Person> {
    let owner = boat.owner.as_ref().and_then(|id| yard.people.get(id));
    let own = |person: &&Person| Some(&person.id) != boat.owner.as_ref();
    let technicians = yard
        .people
        .values()
        .filter(|person| person.role == Role::Technician && person.sites.contains(site));
    let managers = managers_of(site, yard);
    // Somebody has to hear of a boat that nobody answers for.
    let orphan = owner.is_none() && managers.is_empty();
    let operators = yard.people.values().filter(|p| orphan && p.role == Role::Operator);
    let others = managers.into_iter().chain(technicians).chain(operators).filter(own);
    owner.into_iter().chain(others).cloned().collect()
}

/// Those who run a place, in the order in which they are told.
pub fn managers_of<'a>(site: &SiteId, yard: &'a YardBook) -> Vec<&'a Person> {
    let runs = |person: &&Person| person.role == Role::Manager && person.sites.contains(site);
    let mut managers: Vec<&Person> = yard.people.values().filter(runs).collect();
    managers.sort_by_key(|person| person.escalation_order);
    managers
}

/// Those who have to know that a place cannot be seen: the operator, who runs it, and whoever counts on an open alert.
fn people_for_blindness(site: &SiteId, standing: &[Standing], yard: &YardBook) -> Vec<Person> {
    let operators = yard.people.values().filter(|person| {
        person.role == Role::Operator && (person.sites.is_empty() || person.sites.contains(site))
    });
    let mut people: Vec<Person> = operators.chain(managers_of(site, yard)).cloned().collect();
    for one in standing {
        if let Some(person) = yard.people.get(&one.person)
            && !people.iter().any(|known| known.id == person.id)
        {
            people.push(person.clone());
        }
    }
    people
}

/// The advice that stands for the boats of a place.
fn standing_at(book: &OpenAlerts, site: &SiteId, boats: &[BoatView]) -> Vec<Standing> {
    let mut standing = Vec::new();
    for alert in book.open.values() {
        if alert.kind != Kind::Freeze || alert.site != *site || !alert.is_raised() {
            continue;
        }
        let Some(id) = alert.subject.boat() else { continue };
        let Some(view) = boats.iter().find(|view| view.boat.id == *id) else { continue };
        for (person, ledger) in &alert.told {
            if ledger.awaits_closing {
                standing.push(Standing {
                    person: person.clone(),
                    boat: id.clone(),
                    boat_name: view.boat.name.clone(),
                    told: ledger.last.clone(),
                });
            }
        }
    }
    standing
}

/// What somebody does to an alert by hand: the document after it and the row of its log.
pub type ByHand<'a, E> = &'a dyn Fn(&Alert, Option<&PersonId>) -> Result<(Alert, Transition), E>;

/// Lands what a person does to an alert; the boat's owner is handed in. The answer is the change in words.
///
/// # Errors
/// The store's, an alert document that cannot be read, or what `act` answers (the inner one); nothing has changed then.
pub fn by_hand<E>(
    house: &AppContext,
    record: &AlertRecord,
    act: ByHand<'_, E>,
    now: DateTime<Utc>,
) -> Result<Result<String, E>, ServiceError> {
    let based_on = house.store.generation()?;
    let Some(record) = house.store.alert(&record.id)? else {
        return Err(ServiceError::Told(format!("the alert {} has gone", record.id)));
    };
    let alert = record.alert()?;
    let boats = house.store.boats()?;
    let boat = record.boat.and_then(|id| boats.into_iter().find(|boat| boat.id == id));
    let (next, transition) = match act(&alert, boat.as_ref().and_then(|boat| boat.owner.as_ref())) {
        Ok(done) => done,
        Err(error) => return Ok(Err(error)),
    };
    let decision =
        Decision { alerts: vec![next], transitions: vec![transition], ..Decision::default() };
    let mut commit = crate::app::ports::RoundCommit {
        based_on: Some(based_on),
        transitions: transition_rows(&decision)?,
        ..crate::app::ports::RoundCommit::default()
    };
    for alert in &decision.alerts {
        commit.alerts.push(record_of(alert, now)?);
    }
    if !house.settings.webhook.is_empty() {
        commit.letters = webhooks::notes(&house.settings, &Composer::of(house)?, &decision, now);
    }
    house.store.commit_round(&commit)?;
    Ok(Ok(commit.transitions.pop().map_or_else(String::new, |row| row.change)))
}

/// A decided alert as the store keeps it.
///
/// # Errors
/// [`ServiceError::Told`] if it cannot be written as JSON.
pub fn record_of(alert: &Alert, now: DateTime<Utc>) -> Result<AlertRecord, ServiceError> {
    Ok(AlertRecord {
        id: alert.id.to_string(),
        kind: alert.kind.as_str().to_owned(),
        boat: alert.subject.boat().cloned(),
        site: alert.site.clone(),
        open: alert.closed.is_none(),
        revision: alert.revision,
        raised_at: alert.raised_at.or(alert.rising.map(|seen| seen.at)).unwrap_or(now),
        closed_at: alert.closed.as_ref().map(|closing| closing.at),
        document: as_json(alert)?,
    })
}

/// The transitions of a decision as the store keeps them, with everything that they were decided on.
///
/// # Errors
/// [`ServiceError::Told`] if one cannot be written as JSON.
pub fn transition_rows(decision: &Decision) -> Result<Vec<TransitionRow>, ServiceError> {
    decision
        .transitions
        .iter()
        .map(|transition| {
            let alert = decision.alerts.iter().find(|alert| alert.id == transition.alert);
            let looked = decision.looked.iter().find(|(id, _)| *id == transition.alert);
            // What a person did by hand rests on what stood then.
            let facts = looked
                .map(|(_, facts)| facts)
                .or_else(|| alert.and_then(|alert| alert.decided_on.as_ref()));
            Ok(TransitionRow {
                alert: transition.alert.to_string(),
                revision: alert.map_or(0, |alert| alert.revision),
                at: transition.at,
                change: format!("{} to {}", transition.from.as_str(), transition.to.as_str()),
                decided_on: as_json(&serde_json::json!({
                    "transition": transition,
                    "facts": facts,
                }))?,
            })
        })
        .collect()
}

fn as_json(value: &impl serde::Serialize) -> Result<serde_json::Value, ServiceError> {
    serde_json::to_value(value)
        .map_err(|error| ServiceError::Told(format!("writing a decision as JSON: {error}")))
}
