//! The air behind one row of the exposure table: hull, wrap, shed, water.

use chrono::{DateTime, Datelike, Utc};

use super::hours::{Hours, PastHour, is_of_the_boat};
use super::place::{PlaceWeather, Power};
use crate::domain::physics::surroundings::{self, Exposure, HeatedShed};
use crate::domain::units::{self, Celsius, Fraction, WattsPerKelvin};
use crate::domain::weather::errors::Ensemble;
use crate::domain::weather::{Step, place, sun};
use crate::domain::yard::Site;

/// Emissivity of the skin of a part.
const EMISSIVITY: f64 = 0.9;
/// The coldest that sea water under a boat gets, C (first ice at ocean strength).
const SEA_FREEZES_C: f64 = -1.9;
/// The same for brackish water: first ice at half of ocean strength (UNESCO 1983).
const BRACKISH_FREEZES_C: f64 = -1.0;
/// What the water under a boat was at where nobody says: warm enough that nothing counts as frozen that can still be drained. A
/// boat is lifted before her water freezes; common practice, no source.
const UNKNOWN_WATER_WAS_C: f64 = 4.0;
/// Dew point below the air where none is forecast, K: drier is colder, and this is dry for a coast.
const DEW_BELOW_AIR_K: f64 = 6.0;

/// The past air of a part, C an hour, behind `row`, and the air behind it at the end of the past, before any water under it
/// is mixed in; nothing where there is no past. A boat that came in hour `brought.0` brought the air in her hull, `brought.1` C.
pub(super) fn past(
    row: &Exposure,
    air_c: Vec<f64>,
    hours: &Hours<'_>,
    brought: Option<(usize, f64)>,
) -> (Vec<f64>, Option<f64>) {
    let site = hours.site;
    if row.id == "shed_no_power" {
        return heated_shed_past(row, &air_c, hours);
    }
    let steps = &hours.steps;
    let mut inside_c: Option<f64> = None;
    let mut felt_c = Vec::with_capacity(air_c.len());
    let brought = brought.filter(|_| is_of_the_boat(row));
    for (hour, (air_c, PastHour { step, .. })) in air_c.into_iter().zip(steps).enumerate() {
        if let Some((_, hull_c)) = brought.filter(|(came, _)| *came == hour) {
            inside_c = Some(hull_c);
        }
        let outside_c = air_c + row.offset_k + night_offset_k(row, site, step);
        let now_c = match inside_c {
            Some(before_c) if row.tau_env_h > 0.0 => {
                surroundings::enclosure_step(before_c, outside_c, row.tau_env_h, 1.0)
            }
            _ => outside_c,
        };
        inside_c = Some(now_c);
        felt_c.push(beside_water((row, site), now_c, step.time, Some(UNKNOWN_WATER_WAS_C)));
    }
    (felt_c, inside_c)
}

/// The coming air of a part behind `row`, where the air behind it begins at `inside_c`.
pub(super) fn coming(
    row: &Exposure,
    inside_c: Option<f64>,
    coming: Ensemble,
    weather: &PlaceWeather,
    power: Power,
) -> Ensemble {
    let site = &weather.site;
    if row.id == "shed_no_power" {
        let setpoint_c = setpoint_c(site);
        let inside_c = inside_c.or(Some(setpoint_c));
        let heated = power == Power::AsLogged && weather.heat.on();
        let outside =
            if heated { coming.map_hours(|_, air| air.fill(narrow(setpoint_c))) } else { coming };
        return followed(inside_c, outside, shed_tau_h(row, site));
    }
    let colder = |step: &Step| row.offset_k + night_offset_k(row, site, step);
    let offsets: Vec<f64> = weather.coming.iter().map(colder).collect();
    let coming = followed(inside_c, shifted(coming, &offsets), row.tau_env_h);
    if row.water_ua_w_k <= 0.0 {
        return coming;
    }
    coming.map_hours(|hour, air| {
        let time = weather.coming.get(hour).map_or(weather.at, |step| step.time);
        for t in air {
            *t = narrow(beside_water((row, site), f64::from(*t), time, None));
        }
    })
}

/// What a part near the hull of a floating boat feels in air of `air_c`, C: beside water of the yard's monthly mean, else of
/// `unknown_c`, else as cold as water gets.
fn beside_water(
    (row, site): (&Exposure, &Site),
    air_c: f64,
    time: DateTime<Utc>,
    unknown_c: Option<f64>,
) -> f64 {
    if row.water_ua_w_k <= 0.0 {
        return air_c;
    }
    let freezes_c = match site.water_kind.as_str() {
        "sea" => SEA_FREEZES_C,
        "brackish" => BRACKISH_FREEZES_C,
        _ => 0.0,
    };
    let month = usize::try_from(time.month0()).unwrap_or(0);
    let water_c = site.water_temperature_c.get(month).copied().or(unknown_c).unwrap_or(freezes_c);
    surroundings::temperature_afloat(
        Celsius::clamped(water_c),
        Celsius::clamped(air_c),
        WattsPerKelvin::clamped(row.water_ua_w_k),
        WattsPerKelvin::clamped(row.air_ua_w_k),
        Celsius::clamped(freezes_c),
    )
    .map_or(air_c, Celsius::value)
}

/// At the setpoint to begin with, and hour by hour towards the setpoint while it is heated, else towards the outside, with
/// the shed's own time constant: what has cooled warms up no faster than it cooled.
fn heated_shed_past(row: &Exposure, air_c: &[f64], hours: &Hours<'_>) -> (Vec<f64>, Option<f64>) {
    let setpoint_c = setpoint_c(hours.site);
    let tau_h = shed_tau_h(row, hours.site);
    let mut inside_c = setpoint_c;
    let felt_c: Vec<f64> = air_c
        .iter()
        .zip(&hours.steps)
        .map(|(outside_c, PastHour { step, .. })| {
            let towards_c = if hours.heat.was_on(step.time) { setpoint_c } else { *outside_c };
            inside_c = surroundings::enclosure_step(inside_c, towards_c, tau_h, 1.0);
            inside_c
        })
        .collect();
    (felt_c, Some(inside_c))
}

fn setpoint_c(site: &Site) -> f64 {
    site.heat_setpoint.map_or(0.0, Celsius::value)
}

/// The shed's own time constant by its soak test, hours; the table's where it has none.
fn shed_tau_h(row: &Exposure, site: &Site) -> f64 {
    let soak = match (site.heat_setpoint, site.soak_hours, site.soak_outside) {
        (Some(setpoint), Some(hours), Some(outside)) => {
            units::Hours::new(hours).ok().and_then(|soak| {
                surroundings::shed_time_constant(&HeatedShed {
                    setpoint,
                    soak,
                    soak_outside: outside,
                })
            })
        }
        _ => None,
    };
    soak.map_or(row.tau_env_h, units::Hours::value)
}

/// What a clear calm night adds for a part with this exposure in this hour, K, never above 0, besides what the place
/// adds to its forecast.
///
/// A surface under the sky gets colder than the air around it, whatever that is: the sky balance comes on top. The
/// table's own offset is an allowance for air that pools where boats stand, which a place with a night offset of its own
/// has in its air already: only the part that goes beyond that counts, so that no cold is counted twice.
fn night_offset_k(row: &Exposure, site: &Site, step: &Step) -> f64 {
    let sees_nothing = row.sky_view <= 0.0 && row.clear_night_offset_k >= 0.0;
    if sees_nothing || !sun::is_night(step.time, site.latitude, site.longitude) {
        return 0.0;
    }
    let counted_k = site.clear_night_k();
    let beyond_k = (row.clear_night_offset_k - counted_k).min(0.0);
    let pooled_k = beyond_k * place::clear_and_calm(step.cloud, step.wind_ms);
    if row.sky_view <= 0.0 {
        return pooled_k;
    }
    let air = step.temperature_c.unwrap_or(0.0);
    let dew = step.dewpoint_c.unwrap_or(air - DEW_BELOW_AIR_K).min(air);
    let sky = surroundings::clear_sky_offset(
        Celsius::clamped(air),
        Celsius::clamped(dew),
        Fraction::clamped(step.cloud.unwrap_or(0.0)),
        Fraction::clamped(row.sky_view),
        Fraction::clamped(EMISSIVITY),
        row.h_convection_w_m2k,
    );
    // Wind brings the surface back to the air; cloud is in the sky balance.
    let still = place::clear_and_calm(Some(0.0), step.wind_ms);
    sky.value().min(0.0) * still + pooled_k
}

fn shifted(coming: Ensemble, offsets_k: &[f64]) -> Ensemble {
    coming.map_hours(|hour, air| {
        let offset = narrow(offsets_k.get(hour).copied().unwrap_or(0.0));
        for t in air {
            *t += offset;
        }
    })
}

/// Air that follows another with a time constant from where it begins: first order, exact for hours of constant outside air.
fn followed(inside_c: Option<f64>, coming: Ensemble, tau_h: f64) -> Ensemble {
    if tau_h <= 0.0 {
        return coming;
    }
    let mut state: Vec<f32> = vec![f32::NAN; coming.members()];
    let start = inside_c.map(narrow);
    let take = narrow(-(-1.0 / tau_h).exp_m1());
    coming.map_hours(|_, air| {
        for (inside, t) in state.iter_mut().zip(air) {
            let before = if inside.is_nan() { start.unwrap_or(*t) } else { *inside };
            *inside = before + take * (*t - before);
            *t = *inside;
        }
    })
}

#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(celsius: f64) -> f32 {
    celsius as f32
}
