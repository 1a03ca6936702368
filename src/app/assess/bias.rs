//! What the places' own thermometers teach: each night that was read against the outlook of the evening before.

use std::sync::PoisonError;

use chrono::{DateTime, Days, NaiveTime, Utc};

use crate::app::assess::bias_cache::BiasCache;
use crate::app::assess::forecast_cache::WeatherMemory;
use crate::app::assess::outlook::{Forecasts, outlook_of};
use crate::app::assess::seen::AsOf;
use crate::app::error::ServiceError;
use crate::domain::local_time;
use crate::domain::weather::errors::ErrorModel;
use crate::domain::weather::learned::{Night, OwnCold, ReadNight, learn};
use crate::domain::weather::{Forecast, ForecastState, Step, place, sun};
use crate::domain::yard::Site;

/// The evening hour whose outlook a night is compared with.
const EVENING: NaiveTime = match NaiveTime::from_hms_opt(18, 0, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};
/// A night ends at this hour of the morning.
const MORNING: NaiveTime = match NaiveTime::from_hms_opt(9, 0, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};
/// The newest so many nights teach.
const NIGHTS_MAX: usize = 150;
/// Hours that a night's forecast must have.
const HOURS_LEAST: usize = 10;
/// What is remembered, at most: places times days that were asked for.
const REMEMBERED_MAX: usize = 4096;

/// What a place's readings teach, and how many of them have no forecast to be held against.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesson {
    /// What was learned; `None` without any night.
    pub own: Option<OwnCold>,
    /// Nights that were read.
    pub nights: usize,
    /// Nights for which no usable forecast of the evening before is kept.
    pub without_forecast: usize,
}

impl Forecasts<'_> {
    /// The place with what its thermometer has taught by the instant, where the configuration lets it.
    ///
    /// # Errors
    /// The store's.
    pub(crate) fn bias_corrected(
        self,
        lessons: &BiasCache,
        site: Site,
        instant: AsOf,
    ) -> Result<Site, ServiceError> {
        if !self.settings.learn {
            return Ok(site);
        }
        let nights = self.read_nights(&site, instant)?;
        if nights.is_empty() {
            return Ok(site);
        }
        let today = instant.at.with_timezone(&site.time_zone).date_naive();
        let key = (site.id.clone(), today, nights.len(), sum_of(&nights));
        let known = lessons.0.lock().unwrap_or_else(PoisonError::into_inner).get(&key).copied();
        let own_nights = match known {
            Some(own) => own,
            None => {
                let own = lesson(self, &site, &nights)?.own.as_ref().map(OwnCold::nights);
                let mut lessons = lessons.0.lock().unwrap_or_else(PoisonError::into_inner);
                if lessons.len() >= REMEMBERED_MAX {
                    lessons.clear();
                }
                lessons.insert(key, own);
                own
            }
        };
        Ok(Site { own_nights, ..site })
    }

    /// What a place's thermometer teaches by the instant, in full, whether or not it is used.
    ///
    /// # Errors
    /// The store's.
    pub fn lesson_of(self, site: &Site, instant: AsOf) -> Result<Lesson, ServiceError> {
        lesson(self, site, &self.read_nights(site, instant)?)
    }

    /// The nights that may teach at the instant.
    fn read_nights(self, site: &Site, instant: AsOf) -> Result<Vec<ReadNight>, ServiceError> {
        let today = instant.at.with_timezone(&site.time_zone).date_naive();
        let until = self.settings.learn_until.map_or(today, |until| until.min(today));
        let mut nights = self.store.nights(&site.id, instant.known_at)?;
        nights.retain(|night| night.morning <= until);
        let more = nights.len().saturating_sub(NIGHTS_MAX);
        nights.drain(..more);
        Ok(nights)
    }
}

/// Changed values of the same number of nights make another key.
fn sum_of(nights: &[ReadNight]) -> u64 {
    let bits = |night: &ReadNight| night.low_c.to_bits() ^ night.high_c.unwrap_or(0.0).to_bits();
    nights.iter().fold(17, |sum: u64, night| sum.wrapping_mul(31).wrapping_add(bits(night)))
}

fn lesson(
    forecasts: Forecasts<'_>,
    site: &Site,
    nights: &[ReadNight],
) -> Result<Lesson, ServiceError> {
    let mut held = Vec::new();
    // Its own, and forward in time: the rounds' memory stays where it is.
    let memory = WeatherMemory::default();
    for read in nights {
        held.extend(night(Forecasts { memory: &memory, ..forecasts }, site, read)?);
    }
    Ok(Lesson {
        own: learn(site.night_offset_k, &held),
        nights: nights.len(),
        without_forecast: nights.len() - held.len(),
    })
}

/// A night against the outlook of the evening before, as it was known then.
fn night(
    forecasts: Forecasts<'_>,
    site: &Site,
    read: &ReadNight,
) -> Result<Option<Night>, ServiceError> {
    let Some(before) = read.morning.checked_sub_days(Days::new(1)) else { return Ok(None) };
    let evening = local_time::first(site.time_zone, before.and_time(EVENING));
    let morning = local_time::first(site.time_zone, read.morning.and_time(MORNING));
    // The day before is forecast from its own morning.
    let day = local_time::first(site.time_zone, before.and_time(MORNING));
    let by_day = match read.high_c {
        Some(_) => outlook_of(forecasts, site, AsOf::now(day))?.0,
        None => None,
    };
    let (forecast, state) = outlook_of(forecasts, site, AsOf::now(evening))?;
    let Some(forecast) = forecast.filter(|_| state != ForecastState::Blind) else {
        return Ok(None);
    };
    let hours: Vec<&Step> = between(&forecast, evening, morning).collect();
    let air = |steps: &[&Step]| steps.iter().filter_map(|s| s.temperature_c).collect::<Vec<f64>>();
    let low = air(&hours);
    if low.len() < HOURS_LEAST {
        return Ok(None);
    }
    let forecast_low_c = low.iter().copied().fold(f64::INFINITY, f64::min);
    let dark: Vec<f64> = hours
        .iter()
        .filter(|step| sun::is_night(step.time, site.latitude, site.longitude))
        .map(|step| place::clear_and_calm(step.cloud, step.wind_ms))
        .collect();
    let hours_dark = u32::try_from(dark.len().max(1)).unwrap_or(u32::MAX);
    let clear_calm = dark.iter().sum::<f64>() / f64::from(hours_dark);
    let forecast_high_c = by_day.and_then(|forecast| {
        let day: Vec<&Step> = between(&forecast, day, evening).collect();
        air(&day).into_iter().max_by(f64::total_cmp)
    });
    let lead_h = (morning - forecast.issued_at).as_seconds_f64() / 3600.0;
    let model = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
    Ok(Some(Night {
        morning: read.morning,
        low_c: read.low_c,
        high_c: read.high_c,
        forecast_low_c,
        forecast_high_c,
        clear_calm,
        forecast_sd_k: model.sd(lead_h, forecast_low_c),
    }))
}

fn between(
    forecast: &Forecast,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> impl Iterator<Item = &Step> {
    forecast.steps.iter().filter(move |step| step.time >= from && step.time < until)
}
