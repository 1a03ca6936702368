//! The hours that have passed at a place, from whoever knows most of each: its own thermometer, a station nearby, the archive of past
//! days that the season uses, the forecasts of that time. What none of them knows stays empty: nothing is taken from the hours to come.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::app::assess::past_seasons::PastSeasons;
use crate::app::assess::seen::AsOf;
use crate::app::context::{AppContext, ServiceError};
use crate::domain::weather::learned::ReadNight;
use crate::domain::weather::measured::{self, Measured};
use crate::domain::weather::nights::put_nights;
use crate::domain::weather::seasons::{Day, hours};
use crate::domain::weather::usual::UsualAir;
use crate::domain::weather::{Step, place};
use crate::domain::yard::{Site, SiteKind};

/// When the past hours begin that are looked back on.
fn past_from(house: &AppContext, hour: DateTime<Utc>) -> DateTime<Utc> {
    hour - TimeDelta::days(i64::from(house.settings.judge.past_days))
}

/// What stations near a place have measured in the hours that are looked back on.
///
/// # Errors
/// The store's.
pub(super) fn readings_of(
    house: &AppContext,
    site: &Site,
    instant: AsOf,
    hour: DateTime<Utc>,
) -> Result<Vec<Measured>, ServiceError> {
    let span = (past_from(house, hour), instant.at + TimeDelta::minutes(1));
    Ok(house.store.observations(&site.id, span, instant.known_at)?)
}

/// The past hours of a place; hours that nobody knows are empty.
///
/// # Errors
/// The store's.
pub(super) fn past_of(
    house: &AppContext,
    site: &Site,
    instant: AsOf,
    hour: DateTime<Utc>,
) -> Result<Vec<Step>, ServiceError> {
    past_with(house, site, instant, hour, &readings_of(house, site, instant, hour)?)
}

/// The same where the readings of the stations are at hand.
///
/// # Errors
/// The store's.
pub(super) fn past_with(
    house: &AppContext,
    site: &Site,
    instant: AsOf,
    hour: DateTime<Utc>,
    readings: &[Measured],
) -> Result<Vec<Step>, ServiceError> {
    let span = (past_from(house, hour), hour);
    let mut past = house.weather.past(&*house.store, &site.id, instant.known_at, span)?;
    if let Some(seasons) = seasons_of(house, site) {
        put_archive(&mut past, &seasons.recent, site, hour);
    }
    measured::put_over(&mut past, readings, site.elevation_m);
    let mut past = place::at_the_place(site, &past);
    // In a heated shed it hangs inside.
    if site.kind != SiteKind::IndoorHeated {
        let read = nights_of(house, site, instant)?;
        put_nights(&mut past, &read, site.time_zone);
    }
    Ok(past)
}

fn nights_of(
    house: &AppContext,
    site: &Site,
    instant: AsOf,
) -> Result<Vec<ReadNight>, ServiceError> {
    let today = instant.at.with_timezone(&site.time_zone).date_naive();
    let mut nights = house.store.nights(&site.id, instant.known_at)?;
    nights.retain(|night| night.morning <= today);
    Ok(nights)
}

/// What air is usual at a place: by its archive, else by its latitude.
pub(super) fn usual_air(house: &AppContext, site: &Site) -> UsualAir {
    seasons_of(house, site).map_or_else(UsualAir::default, |seasons| {
        UsualAir::of_archive(Arc::clone(&seasons.normals))
    })
}

/// An archive that cannot be read is none here; whoever asks for the season hears why.
fn seasons_of(house: &AppContext, site: &Site) -> Option<Arc<PastSeasons>> {
    house.past_archives().of(site).ok().flatten()
}

/// Puts the days of an archive that were over before `hour` into the hours that they speak for.
fn put_archive(past: &mut [Step], days: &[Day], site: &Site, hour: DateTime<Utc>) {
    let (Some(first), today) = (past.first().map(|step| step.time), local_date(hour, site)) else {
        return;
    };
    let from = local_date(first, site) - TimeDelta::days(1);
    let over: Vec<Day> =
        days.iter().filter(|day| day.date >= from && day.date < today).copied().collect();
    for (local, air_c) in hours(&over) {
        let Some(at) = local.and_local_timezone(site.time_zone).earliest() else { continue };
        let at = at.with_timezone(&Utc);
        let known = past.binary_search_by_key(&at, |step| step.time);
        if let Some(step) = known.ok().and_then(|known| past.get_mut(known)) {
            step.temperature_c = Some(air_c);
        }
    }
}

fn local_date(at: DateTime<Utc>, site: &Site) -> NaiveDate {
    at.with_timezone(&site.time_zone).date_naive()
}
