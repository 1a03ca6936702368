//! The air that a part sees: from the air of the place through hull, shed or water, with the state at the start taken
//! from the past hours.
//!
//! The sun is left out: by day it only warms, and a part in the shade of its hull does not see it.

mod heat;

use chrono::{DateTime, Datelike, Utc};

pub use heat::Heat;

use crate::domain::boat::BoatState;
use crate::domain::catalogue::{CircuitKind, PartExposure};
use crate::domain::physics::surroundings::{self, Exposure, HeatedShed};
use crate::domain::physics::{TableError, part::ThermalClass};
use crate::domain::units::{Celsius, Fraction, Hours, MetresPerSecond, WattsPerKelvin};
use crate::domain::weather::errors::Ensemble;
use crate::domain::weather::{Step, place, sun};
use crate::domain::yard::{Site, SiteKind};

/// Emissivity of the skin of a part.
const EMISSIVITY: f64 = 0.9;
/// The coldest that sea water under a boat gets, C (first ice at ocean strength).
const SEA_FREEZES_C: f64 = -1.9;
/// Dew point below the air where none is forecast, K: drier is colder, and this is dry for a coast.
const DEW_BELOW_AIR_K: f64 = 6.0;

/// The air of one place: what it has been and what it may become.
#[derive(Debug, Clone)]
pub struct PlaceWeather {
    /// The place.
    pub site: Site,
    /// The instant from which chances run, a whole hour.
    pub at: DateTime<Utc>,
    /// The past hours of the place up to `at`, oldest first; hours may be empty.
    pub past: Vec<Step>,
    /// The coming hours from `at` on, as forecast, at the place.
    pub coming: Vec<Step>,
    /// Possible paths of the coming hours.
    pub paths: Ensemble,
    /// The heat of a heated shed; until it went off the place was at its setpoint.
    pub heat: Heat,
}

/// What is taken for granted about the power of a heated place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Power {
    /// On or off as the log says.
    AsLogged,
    /// On until now, and from now on no longer.
    FailsNow,
}

/// Where a part is, as far as it decides what air it sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Whereabouts {
    /// Where it sits in the boat.
    pub exposure: PartExposure,
    /// Is the boat covered? Then nothing of it sees the sky.
    pub covered: bool,
    /// Is she afloat? A boat can float at a place that is a lot to others, before she is hauled.
    pub afloat: bool,
    /// Where she is afloat and her haul is planned: from when on she stands ashore, and where the part sits then.
    pub hauled: Option<(DateTime<Utc>, PartExposure)>,
}

impl Whereabouts {
    /// A circuit of a boat.
    #[must_use]
    pub const fn of(kind: &CircuitKind, state: &BoatState) -> Self {
        let (covered, afloat) = (state.covered, state.afloat);
        let hauled = match state.ashore_from {
            Some(from) if afloat => Some((from, kind.exposure_when(false))),
            _ => None,
        };
        Self { exposure: kind.exposure_when(afloat), covered, afloat, hauled }
    }
}

/// What a part sees: one past path and many coming ones, C.
#[derive(Debug, Clone)]
pub struct Ambient {
    /// Hour by hour up to the start.
    pub past_c: Vec<f64>,
    /// The coming hours.
    pub coming: Ensemble,
    /// The coldest hour of any member, C.
    pub coldest_c: f64,
    /// Does the wind reach the part?
    pub in_the_wind: bool,
}

impl Ambient {
    /// The air that a part with `exposure` sees at `weather`'s place; `covered` boats see no sky.
    ///
    /// # Errors
    /// [`TableError`] where the exposure table lacks a row.
    pub fn of(part: Whereabouts, weather: &PlaceWeather, power: Power) -> Result<Self, TableError> {
        let afloat = Self::staying(part, weather, power)?;
        let Some((haul, exposure)) = part.hauled else { return Ok(afloat) };
        let ashore = Whereabouts { exposure, afloat: false, hauled: None, ..part };
        Ok(afloat.until(haul, &Self::staying(ashore, weather, power)?, weather.at))
    }

    /// This air up to `end`, from then on that of `after`.
    fn until(self, end: DateTime<Utc>, after: &Self, at: DateTime<Utc>) -> Self {
        let hours = usize::try_from((end - at).num_hours()).unwrap_or(0);
        let mut later = after.coming.by_hour();
        let coming = self.coming.map_hours(|hour, air| {
            let Some(own) = later.next().filter(|_| hour >= hours) else { return };
            air.copy_from_slice(own);
        });
        let coldest_c = f64::from(coming.coldest_c());
        // Wind that reaches it ashore is taken to reach it before as well: it only hurries what the air does.
        let in_the_wind = self.in_the_wind || after.in_the_wind;
        Self { coming, coldest_c, in_the_wind, ..self }
    }

    fn staying(
        part: Whereabouts,
        weather: &PlaceWeather,
        power: Power,
    ) -> Result<Self, TableError> {
        let past = filled(&weather.past, &weather.coming);
        let mut past_c: Vec<f64> = past.iter().map(|(_, t)| *t).collect();
        let mut coming = weather.paths.clone();
        let rows = chain(part, &weather.site)?;
        let mut in_the_wind = false;
        for row in rows {
            in_the_wind = row.wind_reaches;
            (past_c, coming) = behind(row, &past, (past_c, coming), weather, power);
        }
        let coldest_c = f64::from(coming.coldest_c());
        Ok(Self { past_c, coming, coldest_c, in_the_wind })
    }

    /// By how much the wind of each coming hour multiplies the heat loss of `class`; `None` where it does not reach.
    #[must_use]
    pub fn wind_factors(&self, class: &ThermalClass, weather: &PlaceWeather) -> Option<Vec<f64>> {
        let still = class.ua().value();
        (self.in_the_wind && still > 0.0).then(|| {
            let factor = |step: &Step| {
                let wind = MetresPerSecond::clamped(step.wind_ms.unwrap_or(0.0));
                (class.ua_in_wind(wind).value() / still).max(1.0)
            };
            weather.coming.iter().map(factor).collect()
        })
    }
}

/// The rows of the exposure table between the weather and the part, outermost first.
fn chain(part: Whereabouts, site: &Site) -> Result<Vec<&'static Exposure>, TableError> {
    use PartExposure::{BelowWaterline, Deck, EngineBay, InsideHull, Open};
    let Whereabouts { exposure, covered, afloat, .. } = part;
    let floats = afloat || site.kind == SiteKind::Afloat;
    let within = matches!(exposure, BelowWaterline | EngineBay | InsideHull);
    let ids: &[&str] = match (site.kind, exposure) {
        (SiteKind::IndoorUnheated, _) if within => &["shed_unheated", "covered_hull"],
        (SiteKind::IndoorUnheated, _) => &["shed_unheated"],
        (SiteKind::IndoorHeated, _) if within => &["shed_no_power", "covered_hull"],
        (SiteKind::IndoorHeated, _) => &["shed_no_power"],
        (_, BelowWaterline | EngineBay) if floats => &["afloat_below"],
        (_, Deck) => &["covered"],
        (_, Open) if covered => &["covered"],
        (_, Open) if floats => &["afloat_above"],
        (_, Open) => &["open_part"],
        _ if covered => &["covered_hull"],
        _ => &["open_hull"],
    };
    ids.iter().map(|id| surroundings::exposure(id)).collect()
}

/// The air behind one row of the table.
fn behind(
    row: &Exposure,
    past: &[(Step, f64)],
    (past_c, coming): (Vec<f64>, Ensemble),
    weather: &PlaceWeather,
    power: Power,
) -> (Vec<f64>, Ensemble) {
    let site = &weather.site;
    if row.id == "shed_no_power" {
        return in_a_heated_shed(row, past_c, coming, weather, power);
    }
    let colder = |step: &Step| row.offset_k + night_offset_k(row, site, step);
    let past_c: Vec<f64> = past_c.iter().zip(past).map(|(t, (s, _))| t + colder(s)).collect();
    let offsets: Vec<f64> = weather.coming.iter().map(colder).collect();
    let coming = shifted(coming, &offsets);
    let (mut past_c, mut coming) = followed(past_c, coming, row.tau_env_h);
    if row.water_ua_w_k > 0.0 {
        let mix = |air_c: f64, time| beside_water(row, site, air_c, time);
        past_c = past_c.iter().zip(past).map(|(t, (step, _))| mix(*t, step.time)).collect();
        coming = coming.map_hours(|hour, air| {
            let time = weather.coming.get(hour).map_or(weather.at, |step| step.time);
            for t in air {
                *t = narrow(mix(f64::from(*t), time));
            }
        });
    }
    (past_c, coming)
}

/// What a part near the hull of a floating boat feels in air of `air_c`, C.
fn beside_water(row: &Exposure, site: &Site, air_c: f64, time: DateTime<Utc>) -> f64 {
    let freezes_c = if site.water_kind == "sea" { SEA_FREEZES_C } else { 0.0 };
    // The yard's monthly mean; unknown water is as cold as water gets.
    let month = usize::try_from(time.month0()).unwrap_or(0);
    let water_c = site.water_temperature_c.get(month).copied().unwrap_or(freezes_c);
    surroundings::temperature_afloat(
        Celsius::clamped(water_c),
        Celsius::clamped(air_c),
        WattsPerKelvin::clamped(row.water_ua_w_k),
        WattsPerKelvin::clamped(row.air_ua_w_k),
        Celsius::clamped(freezes_c),
    )
    .map_or(air_c, Celsius::value)
}

/// At the setpoint while it is heated; else the air inside decays towards the outside with the shed's own time
/// constant, from the setpoint at the start of the past hours, or from now when the power fails now.
fn in_a_heated_shed(
    row: &Exposure,
    past_c: Vec<f64>,
    coming: Ensemble,
    weather: &PlaceWeather,
    power: Power,
) -> (Vec<f64>, Ensemble) {
    let site = &weather.site;
    let setpoint_c = site.heat_setpoint.map_or(0.0, Celsius::value);
    let soak = match (site.heat_setpoint, site.soak_hours, site.soak_outside) {
        (Some(setpoint), Some(hours), Some(outside)) => Hours::new(hours).ok().and_then(|soak| {
            surroundings::shed_time_constant(&HeatedShed { setpoint, soak, soak_outside: outside })
        }),
        _ => None,
    };
    let tau_h = soak.map_or(row.tau_env_h, Hours::value);
    let heated = vec![setpoint_c; past_c.len()];
    match power {
        Power::FailsNow => (heated, followed(vec![setpoint_c], coming, tau_h).1),
        Power::AsLogged if weather.heat.on => {
            (heated, coming.map_hours(|_, air| air.fill(narrow(setpoint_c))))
        }
        Power::AsLogged => {
            // Heated until it went off; where nobody says when, from the start of what is known.
            let off = weather.heat.off_since.unwrap_or(DateTime::<Utc>::MIN_UTC);
            let warm = weather.past.iter().take_while(|step| step.time < off).count();
            let mut past: Vec<f64> = vec![setpoint_c; warm.min(past_c.len())];
            let mut with_start = vec![setpoint_c];
            with_start.extend(past_c.into_iter().skip(warm));
            let (since, coming) = followed(with_start, coming, tau_h);
            past.extend(since.into_iter().skip(1));
            (past, coming)
        }
    }
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

/// Air that follows another with a time constant: first order, exact for hours of constant outside air.
fn followed(past_c: Vec<f64>, coming: Ensemble, tau_h: f64) -> (Vec<f64>, Ensemble) {
    if tau_h <= 0.0 {
        return (past_c, coming);
    }
    let mut inside = past_c.first().copied();
    let past: Vec<f64> = past_c
        .iter()
        .map(|outside| {
            let before = inside.unwrap_or(*outside);
            let now = surroundings::enclosure_step(before, *outside, tau_h, 1.0);
            inside = Some(now);
            now
        })
        .collect();
    let mut state: Vec<f32> = vec![f32::NAN; coming.members()];
    let start = inside.map(narrow);
    let take = narrow(-(-1.0 / tau_h).exp_m1());
    let coming = coming.map_hours(|_, air| {
        for (inside, t) in state.iter_mut().zip(air) {
            let before = if inside.is_nan() { start.unwrap_or(*t) } else { *inside };
            *inside = before + take * (*t - before);
            *t = *inside;
        }
    });
    (past, coming)
}

/// The past hours without holes: a hole takes the colder of its neighbours; a past of which nothing is known begins
/// with the first coming hour.
fn filled(past: &[Step], coming: &[Step]) -> Vec<(Step, f64)> {
    let first_coming = coming.iter().find_map(|step| step.temperature_c);
    let mut next_known = vec![first_coming; past.len()];
    let mut after = first_coming;
    for (slot, step) in next_known.iter_mut().zip(past).rev() {
        *slot = after;
        after = step.temperature_c.or(after);
    }
    let mut before: Option<f64> = None;
    past.iter()
        .zip(next_known)
        .map(|(step, next)| {
            let t = step.temperature_c.unwrap_or_else(|| match (before, next) {
                (Some(a), Some(b)) => a.min(b),
                (a, b) => a.or(b).unwrap_or(0.0),
            });
            before = step.temperature_c.or(before);
            (*step, t)
        })
        .collect()
}

#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(celsius: f64) -> f32 {
    celsius as f32
}

#[cfg(test)]
mod tests;
