//! Nudges to lay up in time: from past seasons and the record to what each owner is told, decided by the pure core.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::house::{House, ServiceError};
use super::letters::{Desk, Written, blank_row, label_of};
use super::survey::{BoatView, Survey};
use crate::domain::alert::deadline::{Autumn, Word, decide_autumn};
use crate::domain::alert::quiet::not_before;
use crate::domain::alert::{Alert, AlertId, Decision, Kind, System, Transition, is_wet};
use crate::domain::boat::{BoatId, Care, CircuitId};
use crate::domain::catalogue::Consequence;
use crate::domain::message::{Nudge, compose_deadline};
use crate::domain::risk::Priority;
use crate::domain::risk::judge::interrupts;
use crate::domain::risk::plan::work::WorkTable;
use crate::domain::weather::seasons::{End, day_at};
use crate::domain::yard::{Role, SiteKind};
use crate::store::{AlertFilter, OutboxRow};

/// A nudge is of no use much later.
const KEPT: TimeDelta = TimeDelta::days(2);

/// What to do about a loop of engine coolant, as the catalogue calls it.
const TESTED_NOT_DRAINED: &str = "test_loop";

/// What a look over the boats came to.
#[derive(Default)]
pub struct Nudged {
    /// Alerts that are new or changed.
    pub alerts: Vec<Alert>,
    /// Rows of their logs.
    pub transitions: Vec<Transition>,
    /// Letters.
    pub written: Written,
}

/// Decides every boat of the survey whose place has past seasons. `decided` is what the same round came to about freezes.
///
/// # Errors
/// The store's, or a hole in the tables.
pub fn nudges(
    house: &House,
    desk: &Desk,
    survey: &Survey,
    decided: &Decision,
    now: DateTime<Utc>,
) -> Result<Nudged, ServiceError> {
    let mut nudged = Nudged::default();
    let is_off = house.clock.doubt(now).is_some() || !house.settings.season.nudges;
    if is_off || house.settings.season.archives.is_empty() {
        return Ok(nudged);
    }
    let book = Book::read(house, decided)?;
    let work = WorkTable::built_in(&house.catalogue)?;
    for view in &survey.boats {
        let Some(look) = look(house, survey, view, &work, now)? else { continue };
        let id = &view.boat.id;
        let owner = view.boat.owner.as_ref().and_then(|owner| survey.yard.people.get(owner));
        let owner =
            owner.filter(|person| person.role == Role::Owner && view.boat.care != Care::Yard);
        let autumn = Autumn {
            boat: id,
            site: &view.state.site,
            zone: survey.yard.zone(&view.state.site),
            owner: owner.map(|person| &person.id),
            wet: &look.wet,
            last_day: look.last_day,
            tolerance: house.settings.season.tolerance,
            minutes: look.minutes,
            freeze: book.freeze.get(id),
            open: book.open.get(id),
            closed: book.closed.get(id).map(|(last, _)| last),
            episodes_closed: book.closed.get(id).map_or(0, |(_, count)| *count),
        };
        let Some((alert, transition, word)) = decide_autumn(&autumn, now) else { continue };
        // Whoever was told is told the end, whoever owns the boat by now.
        let reader = owner
            .or_else(|| alert.told.keys().next().and_then(|person| survey.yard.people.get(person)));
        let site = survey.yard.sites.get(&view.state.site);
        if let (Some(word), Some(person), Some(site)) = (word, reader, site) {
            let label = |circuit: &CircuitId| label_of(house, circuit);
            let context = desk.context((person, site), &label, now);
            let sent = alert.told.get(&person.id).map_or(&[][..], |ledger| ledger.sent.as_slice());
            let earlier: Vec<u32> = sent
                .iter()
                .map(|sent| sent.revision)
                .filter(|revision| *revision < alert.revision)
                .collect();
            let wet: Vec<CircuitId> =
                look.wet.iter().map(|system| system.circuit.clone()).collect();
            let nudge = Nudge {
                alert: &alert.id,
                revision: alert.revision,
                earlier: &earlier,
                word,
                boat: (&view.boat, &view.state),
                wet: &wet,
                last_day: look.last_day,
                one_in: one_in(house.settings.season.tolerance),
                half_day: look.half_day,
                seasons: look.seasons,
                minutes: look.minutes,
                hours: house.working_hours(),
            };
            let letter = compose_deadline(&nudge, &context).map_err(|error| error.to_string());
            let held =
                not_before(person, site.time_zone, &house.settings.alert, Priority::Low, None, now);
            let due_at = held.unwrap_or(now);
            let row = OutboxRow {
                revision: alert.revision,
                kind: Kind::Deadline.as_str().to_owned(),
                closing: word == Word::Done,
                due_at,
                expires_at: due_at + KEPT,
                ..blank_row(desk, letter.as_ref().ok(), (alert.id.as_str(), person), now)
            };
            nudged.written.add(letter, row);
        }
        nudged.alerts.push(alert);
        nudged.transitions.push(transition);
    }
    Ok(nudged)
}

/// A tolerance as one in so many.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0.02 to 0.5")]
fn one_in(tolerance: f64) -> u32 {
    (1.0 / tolerance.clamp(0.02, 0.5)).round() as u32
}

/// The alerts that matter here.
struct Book {
    open: BTreeMap<BoatId, Alert>,
    closed: BTreeMap<BoatId, (Alert, u32)>,
    /// Freezes that somebody has been told of.
    freeze: BTreeMap<BoatId, AlertId>,
}

impl Book {
    fn read(house: &House, decided: &Decision) -> Result<Self, ServiceError> {
        let mut book =
            Self { open: BTreeMap::new(), closed: BTreeMap::new(), freeze: BTreeMap::new() };
        let filter = AlertFilter {
            kind: Some(Kind::Deadline.as_str().to_owned()),
            ..AlertFilter::default()
        };
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

    fn note(&mut self, freeze: &Alert) {
        let Some(boat) = freeze.subject.boat() else { return };
        if freeze.is_raised() {
            self.freeze.insert(boat.clone(), freeze.id.clone());
        } else {
            self.freeze.remove(boat);
        }
    }
}

fn read(record: crate::store::AlertRecord) -> Result<(Alert, Option<BoatId>), ServiceError> {
    let id = record.id.clone();
    let boat = record.boat.clone();
    let alert = serde_json::from_value(record.document)
        .map_err(|error| ServiceError::Told(format!("the alert {id} cannot be read: {error}")))?;
    Ok((alert, boat))
}

/// What a boat still has in it, and by when it has to be out.
struct Look {
    wet: Vec<System>,
    last_day: NaiveDate,
    half_day: Option<NaiveDate>,
    seasons: usize,
    minutes: f64,
}

/// `None` where the place is heated or has no past seasons, or where no winter of them freezes any part.
fn look(
    house: &House,
    survey: &Survey,
    view: &BoatView,
    work: &WorkTable,
    now: DateTime<Utc>,
) -> Result<Option<Look>, ServiceError> {
    let site = survey.yard.sites.get(&view.state.site);
    let Some(site) = site.filter(|site| site.kind != SiteKind::IndoorHeated) else {
        return Ok(None);
    };
    let past = house.past_seasons(site).unwrap_or_else(|error| {
        tracing::warn!("{}: nobody is nudged: {error}", site.id);
        None
    });
    let Some(past) = past else { return Ok(None) };
    let today = now.with_timezone(&site.time_zone).date_naive();
    let on = |day: u32| past.half.this_season(today, day);
    let tolerance = house.settings.season.tolerance;
    let mut found = Look {
        wet: Vec::new(),
        last_day: NaiveDate::MAX,
        half_day: None,
        seasons: past.winters.len(),
        minutes: 0.0,
    };
    let mut groups: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for circuit in &view.state.circuits {
        let Some(kind) = house.catalogue.circuit(&circuit.circuit) else { continue };
        let group = work.group_of(&circuit.circuit, &house.catalogue);
        if let Some(group) = group {
            groups.entry(group).or_default().1 += kind.drain_minutes;
        }
        let dear = kind.consequence_when(view.state.afloat) >= Consequence::Major;
        // A loop of engine coolant is tested, not drained: that its strength is not known is another matter.
        let loops = kind.action == TESTED_NOT_DRAINED;
        if !dear || loops || !is_wet(circuit.holds) || !interrupts(circuit, kind, view.state.afloat)
        {
            continue;
        }
        if let Some(group) = group {
            groups.entry(group).or_default().0 += kind.drain_minutes;
        }
        let days = house.first_and_last(&past, &kind.thermal_class)?;
        let (Some(bad), half) =
            (day_at(&days, End::First, tolerance), day_at(&days, End::First, 0.5))
        else {
            continue;
        };
        let Some(last) = bad.checked_sub(1).and_then(on) else { continue };
        found
            .wet
            .push(System { circuit: circuit.circuit.clone(), instance: circuit.instance.clone() });
        if last < found.last_day {
            (found.last_day, found.half_day) = (last, half.and_then(on));
        }
    }
    for (group, (open, all)) in groups.into_iter().filter(|(_, (open, _))| *open > 0.0) {
        if let Some(group) = work.groups().get(group) {
            let boat = &view.boat;
            let minutes = work.minutes(&boat.kind, &group.group, boat.engines, open, all);
            found.minutes += f64::from(minutes.complete);
        }
    }
    Ok(Some(found))
}
