//! The worklist: for a manager as a letter, for a screen as the same words.

use chrono::{DateTime, Utc};

use super::house::{House, ServiceError};
use super::letters::{Desk, label_of, outbox_row};
use super::planning::headline_of;
use super::survey::{BoatView, Survey};
use crate::domain::boat::{CircuitId, Holds, SiteId};
use crate::domain::message::{
    CannotSay, Context, Letter, PlaceLine, Worklist, WorklistBoat, compose_worklist,
};
use crate::domain::risk::{CircuitRisk, Priority, rank};
use crate::domain::weather::ForecastState;
use crate::domain::yard::{Person, Role};
use crate::store::OutboxRow;

/// A worklist is of no use after the next one.
const WORKLIST_KEPT_H: i64 = 20;
/// Boats with so many circuits of which nothing is known are named under "cannot say".
const MANY_UNKNOWN: usize = 3;

/// One letter with the worklist of their places to each manager.
///
/// # Errors
/// The phrase catalogue or the store.
pub fn worklist_letters(
    house: &House,
    desk: &Desk,
    survey: &Survey,
    now: DateTime<Utc>,
) -> Result<Vec<OutboxRow>, ServiceError> {
    let managers = survey.yard.people.values().filter(|person| person.role == Role::Manager);
    let plan = crew_line(house, survey);
    let mut rows = Vec::new();
    for person in managers.filter(|person| person.email.is_some()) {
        let own = |site: &SiteId| person.sites.is_empty() || person.sites.contains(site);
        let letter = worklist_letter(house, desk, survey, (person, plan.as_deref()), own)?;
        let zone = house.settings.yard.time_zone;
        let day = now.with_timezone(&zone).date_naive();
        rows.push(outbox_row(desk, letter, person, now, |row| {
            row.alert = format!("worklist:{}:{day}", person.id);
            row.thread.clone_from(&row.alert);
            row.kind = "worklist".to_owned();
            row.expires_at = now + chrono::TimeDelta::hours(WORKLIST_KEPT_H);
        })?);
    }
    Ok(rows)
}

/// The worklist of all places in the words of the letter, for a screen.
///
/// # Errors
/// The phrase catalogue or the store.
pub fn worklist_text(house: &House, survey: &Survey) -> Result<String, ServiceError> {
    let desk = Desk::open(&house.settings.yard.name, &house.settings.mail)?;
    let mut managers = survey.yard.people.values().filter(|person| person.role == Role::Manager);
    let Some(first) = survey.places.values().next() else {
        return Ok(
            "The store holds no place yet: bring in your tables with rimeward import.\n".into()
        );
    };
    let mut reader = managers.next().cloned().unwrap_or_else(|| nobody(first.site.usual_scale()));
    reader.email.get_or_insert_with(|| "nobody@localhost".to_owned());
    let letter = worklist_letter(
        house,
        &desk,
        survey,
        (&reader, crew_line(house, survey).as_deref()),
        |_| true,
    )?;
    Ok(format!("{}\n\n{}", letter.subject, letter.text))
}

fn worklist_letter(
    house: &House,
    desk: &Desk,
    survey: &Survey,
    (person, plan): (&Person, Option<&str>),
    own: impl Fn(&SiteId) -> bool,
) -> Result<Letter, ServiceError> {
    let places: Vec<PlaceLine<'_>> = survey
        .places
        .values()
        .filter(|place| own(&place.site.id))
        .map(|place| PlaceLine {
            site: &place.site,
            low: place.low.as_ref(),
            issued_at: place.forecast.as_ref().map(|forecast| forecast.issued_at),
            forecast: place.state,
        })
        .collect();
    let mut listed: Vec<(&BoatView, Vec<CircuitRisk>)> = survey
        .boats
        .iter()
        .filter(|view| own(&view.state.site))
        .map(|view| {
            let rows = view.rows.iter().filter(|row| rank::is_worth_listing(row));
            let mut rows: Vec<CircuitRisk> = rows.cloned().collect();
            rows.sort_by(rank::order);
            (view, rows)
        })
        .collect();
    listed.sort_by(|(a, first), (b, second)| match (pressing(first), pressing(second)) {
        (Some(one), Some(other)) => rank::order(one, other),
        (one, other) => other.is_some().cmp(&one.is_some()).then(a.boat.id.cmp(&b.boat.id)),
    });
    let boats: Vec<WorklistBoat<'_>> = listed
        .iter()
        .filter_map(|(view, rows)| {
            let site = survey.places.get(&view.state.site).map(|place| &place.site)?;
            Some(WorklistBoat { boat: &view.boat, state: &view.state, site, rows, remark: "" })
        })
        .collect();
    let head = house.store.log_head()?;
    let label = |circuit: &CircuitId| label_of(house, circuit);
    let home = survey.places.values().find(|place| own(&place.site.id));
    let Some(home) = home else {
        return Err(ServiceError::Told(format!(
            "{} answers for no place that is listed",
            person.id
        )));
    };
    let context = Context {
        phrases: &desk.phrases,
        sender: &desk.sender,
        key: &desk.key,
        person,
        site: &home.site,
        label: &label,
        date: survey.instant.at,
    };
    let worklist = Worklist {
        at: survey.instant.at,
        until: survey.until,
        places: &places,
        boats: &boats,
        cannot_say: &cannot_say(survey, own),
        plan,
        log_head: Some(&head),
    };
    compose_worklist(&worklist, &context)
        .map_err(|error| ServiceError::Told(format!("writing the worklist: {error}")))
}

/// The head of the crew plan. A worklist goes out without it rather than not at all.
fn crew_line(house: &House, survey: &Survey) -> Option<String> {
    headline_of(house, survey)
        .inspect_err(|error| tracing::warn!(%error, "worklist goes out without the crew plan"))
        .ok()
}

/// The first row that asks for something.
fn pressing(rows: &[CircuitRisk]) -> Option<&CircuitRisk> {
    rows.iter().find(|row| row.priority > Priority::Notice)
}

/// What cannot be judged: places without a forecast, boats of which hardly anything is on record.
fn cannot_say(survey: &Survey, own: impl Fn(&SiteId) -> bool) -> Vec<CannotSay> {
    let mut found = Vec::new();
    for place in survey.places.values().filter(|place| own(&place.site.id)) {
        if place.state == ForecastState::Blind {
            found.push(CannotSay {
                what: place.site.name.clone(),
                why: "no usable forecast; check the official one".to_owned(),
            });
        }
    }
    for view in survey.boats.iter().filter(|view| own(&view.state.site)) {
        let unknown = view.state.circuits.iter().filter(|c| c.holds == Holds::Unknown).count();
        if unknown >= MANY_UNKNOWN {
            found.push(CannotSay {
                what: format!("{} {}", view.boat.id, view.boat.name),
                why: format!("nothing on record for {unknown} of its circuits; judged as water"),
            });
        }
    }
    found
}

fn nobody(units: crate::domain::units::TemperatureScale) -> Person {
    Person {
        id: "nobody".into(),
        name: "the yard".to_owned(),
        role: Role::Manager,
        email: None,
        phone: None,
        text_consent: false,
        consent_date: None,
        sites: Vec::new(),
        quiet_from: None,
        quiet_to: None,
        escalation_order: None,
        tell_at_chance: None,
        units,
    }
}
