//! The heat of heated places: from the record and the thermometer to what those who run them are told.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::alerts::seasonal::{Decided, earlier};
use crate::app::assess::heating::heating;
use crate::app::assess::{Assessment, BoatView, PlaceView};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::{Composer, label_of};
use crate::domain::alert::heat::{HeatedPlace, Outside, Trouble, Word, decide_heat};
use crate::domain::alert::{Act, Alert, Decision, Kind, System, is_wet};
use crate::domain::boat::{CircuitId, LayupEvent, PersonId, SiteId};
use crate::domain::message::{HeatTold, InTheShed, compose_heat};
use crate::domain::risk::{CircuitRisk, Priority, power};
use crate::domain::yard::{Site, SiteKind, recipients};

/// Decides every heated place of the assessment. What its managers read there of each boat they need not be told once more:
/// their letters of `decided` about boats in it go with the worklist.
///
/// # Errors
/// The store's, or a hole in the tables.
pub fn heats(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    decided: &mut Decision,
    now: DateTime<Utc>,
) -> Result<Decided, ServiceError> {
    let mut found = Decided::default();
    let heated =
        || assessment.places.values().filter(|place| place.site.kind == SiteKind::IndoorHeated);
    if heated().next().is_none() {
        return Ok(found);
    }
    let events = house.events()?;
    let said: Vec<&LayupEvent> = events.iter().filter(|event| event.boat.is_none()).collect();
    let book = Book::read(house)?;
    for place in heated() {
        let site = &place.site.id;
        let trouble = heating(house, &place.site, &said, assessment.instant)?.trouble;
        let seen = place.weather.is_some();
        let boats = boats_in(assessment, place, trouble, now);
        let in_danger = match seen {
            // A heater that gives way can be mended before anything is in danger.
            true if matches!(trouble, Some(Trouble::Low { .. })) => holds_water(assessment, site),
            true => boats.iter().any(|line| line.frozen || line.danger.is_some()),
            false => is_cold_half(&place.site, now) && holds_water(assessment, site),
        };
        let (managers, next) = people_of(assessment, site);
        let low = place.low.filter(|_| place.weather.is_some());
        let settings = &house.settings.alert;
        let heated = HeatedPlace {
            site,
            managers: &managers,
            next: &next,
            trouble,
            boats: boats.len(),
            in_danger,
            outside: Outside::of(low.map(|low| low.p10_c), settings.deadband_k),
            chance: greatest_chance(assessment, site),
            issued_at: place.forecast.as_ref().map(|forecast| forecast.issued_at),
            open: book.open.get(site),
            episodes_closed: book.closed.get(site).copied().unwrap_or(0),
            settings,
        };
        let Some((alert, transition, word)) = decide_heat(&heated, now) else { continue };
        let was_silent = book.open.get(site).is_some_and(|open| {
            open.told.values().any(|ledger| ledger.last.action == "heat_silent")
        });
        for (word, person) in
            word.iter().flat_map(|(word, people)| people.iter().map(move |person| (*word, person)))
        {
            let Some(person) = assessment.yard.people.get(person) else { continue };
            let label = |circuit: &CircuitId| label_of(house, circuit);
            let context = composer.context((person, &place.site), &label, now);
            let forecast = place.forecast.as_ref();
            let told = HeatTold {
                alert: &alert.id,
                revision: alert.revision,
                earlier: &earlier(&alert, person),
                word,
                trouble,
                boats: &boats,
                low: low.as_ref(),
                forecast: (
                    forecast.map_or("", |forecast| forecast.service.as_str()),
                    heated.issued_at,
                    place.state,
                ),
                until: assessment.until,
                seen,
                was_silent,
            };
            let letter = compose_heat(&told, &context).map_err(|error| error.to_string());
            if word == Word::Trouble && letter.is_ok() && person.email.is_some() {
                carry(decided, (site, told.listed()), &person.id);
            }
            let closing = word != Word::Trouble;
            found.post((house, composer), &alert, (person, &place.site), letter, closing, now);
        }
        found.alerts.push(alert);
        found.transitions.push(transition);
    }
    Ok(found)
}

/// The letter about the heat lists the boats in it, with their parts and minutes: no letter of their own to the same reader in
/// the same round.
fn carry(decided: &mut Decision, (site, listed): (&SiteId, &[InTheShed<'_>]), reader: &PersonId) {
    let in_it = |notification: &crate::domain::alert::Notification| {
        let boat = notification.subject.boat();
        listed.iter().any(|line| Some(&line.boat.0.id) == boat && line.minutes > 0.0)
    };
    for notification in &mut decided.notifications {
        let own = notification.kind == Kind::Freeze
            && notification.site == *site
            && in_it(notification)
            && notification.recipient == *reader
            && !matches!(notification.act, Act::Close { .. });
        notification.with_worklist |= own;
    }
}

/// The alerts about heat that are not closed, and how many are, by place.
struct Book {
    open: BTreeMap<SiteId, Alert>,
    closed: BTreeMap<SiteId, u32>,
}

impl Book {
    fn read(house: &AppContext) -> Result<Self, ServiceError> {
        let mut open = BTreeMap::new();
        let of_heat = |kind: &str| kind == Kind::Heat.as_str();
        for record in house.store.open_alerts()?.into_iter().filter(|of| of_heat(&of.kind)) {
            let (id, site) = (record.id, record.site);
            let alert = serde_json::from_value(record.document).map_err(|error| {
                ServiceError::Told(format!("the alert {id} cannot be read: {error}"))
            })?;
            open.insert(site, alert);
        }
        let counts = house.store.closed_counts()?.into_iter();
        let counts = counts.filter(|(kind, ..)| of_heat(kind));
        let closed = counts.map(|(_, site, count)| (SiteId::from(site), count)).collect();
        Ok(Self { open, closed })
    }
}

/// Who runs the place, and who is told next; where nobody runs it, whoever keeps this service running.
fn people_of(assessment: &Assessment, site: &SiteId) -> (Vec<PersonId>, Vec<PersonId>) {
    let hear = recipients::of_heat(&assessment.yard.people, site);
    (hear.first, hear.next)
}

fn views<'a>(assessment: &'a Assessment, site: &SiteId) -> impl Iterator<Item = &'a BoatView> {
    let site = site.clone();
    assessment.boats.iter().filter(move |view| view.state.site == site && !view.state.afloat)
}

/// From October to April, south of the line from April to October.
fn is_cold_half(site: &Site, now: DateTime<Utc>) -> bool {
    site.hemisphere().is_cold_half(now.with_timezone(&site.time_zone).date_naive())
}

/// Does a boat in it hold water in anything that breaks, by the record?
fn holds_water(assessment: &Assessment, site: &SiteId) -> bool {
    views(assessment, site)
        .flat_map(|view| &view.state.circuits)
        .any(|circuit| is_wet(circuit.holds))
}

fn greatest_chance(assessment: &Assessment, site: &SiteId) -> f64 {
    let rows = views(assessment, site).flat_map(|view| &view.rows);
    rows.map(|row| row.chance_limit).fold(0.0, f64::max)
}

/// The boats that stand in the place, the one with the least time first.
fn boats_in<'a>(
    assessment: &'a Assessment,
    place: &PlaceView,
    trouble: Option<Trouble>,
    now: DateTime<Utc>,
) -> Vec<InTheShed<'a>> {
    // By the record the heat is on: what each boat would have from now on.
    let silent = matches!(trouble, Some(Trouble::Silent { .. }));
    let mut boats: Vec<InTheShed<'a>> = views(assessment, &place.site.id)
        .map(|view| if silent { were_it_off(view, now) } else { as_judged(view) })
        .collect();
    boats.sort_by_key(|line| (!line.frozen, line.danger.is_none(), line.danger));
    boats
}

fn as_judged(view: &BoatView) -> InTheShed<'_> {
    let pressing = || view.rows.iter().filter(|row| row.priority > Priority::Notice);
    let soonest = pressing()
        .filter(|row| row.frozen_now || row.first_danger.is_some())
        .min_by_key(|row| (!row.frozen_now, row.first_danger));
    InTheShed {
        boat: (&view.boat, &view.state),
        first: soonest.map(|row: &CircuitRisk| System::of(row)),
        danger: soonest.and_then(|row| row.first_danger),
        frozen: soonest.is_some_and(|row| row.frozen_now),
        minutes: pressing().filter(|row| !row.frozen_now).map(|row| row.minutes.max(0.0)).sum(),
        parts: pressing().filter(|row| !row.frozen_now).map(System::of).collect(),
    }
}

fn were_it_off(view: &BoatView, now: DateTime<Utc>) -> InTheShed<'_> {
    let soonest = power::soonest(&view.if_power_fails);
    let hours = soonest.and_then(power::PowerLoss::sure_h);
    InTheShed {
        boat: (&view.boat, &view.state),
        first: soonest
            .map(|loss| System { circuit: loss.circuit.clone(), instance: loss.instance.clone() }),
        danger: hours.map(|hours| now + minutes(hours * 60.0)),
        frozen: false,
        minutes: 0.0,
        parts: Vec::new(),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "hours of a forecast")]
fn minutes(minutes: f64) -> TimeDelta {
    TimeDelta::minutes(minutes.clamp(0.0, 1.0e6) as i64)
}
