//! Once a season each reader is told when they hear from us, and what silence means.

use chrono::{DateTime, Datelike, TimeDelta, Timelike, Utc};

use crate::app::assess::Assessment;
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::{Composer, Written, blank_row, label_of};
use crate::app::ports::OutboxRow;
use crate::domain::boat::{Boat, CircuitId, SiteId};
use crate::domain::message::{Opening, compose_opening};
use crate::domain::yard::{Person, Role, Site};

/// Months of the northern autumn in which a season opens; half a year later in the south. Whoever joins later, or a service
/// that is set up in winter, is written to then.
const MONTHS: [u32; 7] = [9, 10, 11, 12, 1, 2, 3];
/// In September only from this day on.
const FIRST_DAY: u32 = 15;
/// Hours of the day, local, in which it is written.
const HOURS: std::ops::Range<u32> = 9..20;
/// So long it is worth reading.
const KEPT: TimeDelta = TimeDelta::days(4);

/// The letters that open the season, and the names under which the store notes that they went.
#[derive(Default)]
pub struct Opened {
    /// Letters.
    pub written: Written,
    /// Names and times for the store.
    pub runs: Vec<(String, DateTime<Utc>)>,
}

/// Writes to whoever has not been written to this season.
///
/// # Errors
/// The store's.
pub fn openings(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    now: DateTime<Utc>,
) -> Result<Opened, ServiceError> {
    let mut opened = Opened::default();
    if house.clock.doubt(now).is_some() {
        return Ok(opened);
    }
    let label = |circuit: &CircuitId| label_of(house, circuit);
    for person in assessment.yard.people.values() {
        let boats: Vec<&Boat> = assessment
            .yard
            .boats
            .iter()
            .filter(|boat| boat.owner.as_ref() == Some(&person.id))
            .collect();
        let places = places(person, &boats, assessment);
        let Some(site) = places.first().copied() else { continue };
        let Some(year) = opening_year(site, now) else { continue };
        let name = format!("opening:{year}:{}", person.id);
        if house.store.last_run(&name)?.is_some() {
            continue;
        }
        let names: Vec<String> = places.iter().map(|site| site.name.clone()).collect();
        let worklist =
            crate::app::settings::schedule::Schedule::parse(&house.settings.yard.worklist)
                .ok()
                .and_then(|schedule| schedule.next_after(now, site.time_zone))
                .map(|next| next.with_timezone(&site.time_zone).format("%H:%M").to_string());
        let archives = &house.settings.season;
        let nudges = archives.nudges
            && places.iter().any(|site| archives.archive_of(site.id.as_str()).is_some());
        let opening =
            Opening { year, boats: &boats, places: &names, worklist: worklist.as_deref(), nudges };
        let context = composer.context((person, site), &label, now);
        let letter = compose_opening(&opening, &context).map_err(|error| error.to_string());
        let row = OutboxRow {
            kind: "opening".to_owned(),
            expires_at: now + KEPT,
            ..blank_row(composer, letter.as_ref().ok(), (&name, person), now)
        };
        opened.written.add(letter, row);
        opened.runs.push((name, now));
    }
    Ok(opened)
}

/// The places that a person answers for, or where their boats stand.
fn places<'a>(person: &Person, boats: &[&Boat], assessment: &'a Assessment) -> Vec<&'a Site> {
    let own = |id: &SiteId| match person.role {
        Role::Owner => boats.iter().any(|boat| boat.site == *id),
        _ => person.sites.contains(id),
    };
    let sites = assessment.yard.sites.values();
    sites.filter(|site| own(&site.id)).collect()
}

/// The first year of the winter that opens at a place now; `None` in summer and at night.
fn opening_year(site: &Site, now: DateTime<Utc>) -> Option<i32> {
    let local = now.with_timezone(&site.time_zone);
    if !HOURS.contains(&local.hour()) {
        return None;
    }
    // A year in the south runs from its own autumn.
    let shifted = if site.latitude < 0.0 {
        local.date_naive().checked_add_months(chrono::Months::new(6))?
    } else {
        local.date_naive()
    };
    let early = shifted.month() == 9 && shifted.day() < FIRST_DAY;
    if !MONTHS.contains(&shifted.month()) || early {
        return None;
    }
    Some(if shifted.month() >= 7 { shifted.year() } else { shifted.year() - 1 })
}
