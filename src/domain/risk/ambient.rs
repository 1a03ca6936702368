//! The air that a part sees: from the air of the place through hull, shed or water, with the state at the start taken
//! from the past hours.
//!
//! The sun is left out: by day it only warms, and a part in the shade of its hull does not see it.

use chrono::{DateTime, Datelike, Utc};

use crate::domain::physics::surroundings;
use crate::domain::units::Celsius;
use crate::domain::weather::errors::Ensemble;
use crate::domain::weather::{Step, place, sun};
use crate::domain::yard::{Site, SiteKind};

/// Time constant of the air inside a hull on an open lot, h (a 6 to 11 m boat: 210 W/K against 3.3 MJ/K; estimate).
const HULL_TAU_H: f64 = 3.5;
/// Time constant of an unheated shed, h (3 to 8; only anecdotes, so damping and no offset).
const SHED_TAU_H: f64 = 5.0;
/// Share of the sky that a part in the open sees.
const SKY_VIEW: f64 = 0.5;
/// Emissivity of its skin.
const EMISSIVITY: f64 = 0.9;
/// Film coefficient of the open air on a calm night, W/m2K (8 to 15 for a small body in the open).
const OPEN_FILM_W_M2K: f64 = 10.0;
/// Share of the heat path of an under-water part that ends in the water, the rest in the air of the boat.
const WATER_SHARE: f64 = 0.8;
/// The coldest that water under a boat gets, C.
const SEA_FREEZES_C: f64 = -1.9;

/// What stands between a part and the weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Shelter {
    /// In the open, seeing the sky.
    Sky,
    /// In the open air under a cover or a deck.
    Air,
    /// Inside the hull.
    Hull,
    /// Inside the hull, below the waterline of a boat afloat.
    UnderWater,
}

/// The air of one place: what it has been and what it may become.
#[derive(Debug, Clone)]
pub struct PlaceWeather {
    /// The place.
    pub site: Site,
    /// The instant from which chances run, a whole hour.
    pub at: DateTime<Utc>,
    /// The past hours of the place up to `at`, oldest first; the hours may be empty.
    pub past: Vec<Step>,
    /// The coming hours from `at` on, as forecast, at the place.
    pub coming: Vec<Step>,
    /// Possible paths of the coming hours.
    pub paths: Ensemble,
    /// Is the heat of a heated shed known to be on, with power?
    pub heat_on: bool,
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
}

impl Ambient {
    /// The air behind `shelter` at `weather`'s place; `covered` boats do not see the sky.
    #[must_use]
    pub fn behind(shelter: Shelter, covered: bool, weather: &PlaceWeather) -> Self {
        let past = filled(&weather.past, &weather.coming);
        let stages = stages(shelter, covered, weather);
        let mut past_c: Vec<f64> = past.iter().map(|(_, t)| *t).collect();
        let mut coming = weather.paths.clone();
        for stage in stages {
            (past_c, coming) = stage.apply(&past, past_c, &coming, weather);
        }
        let coldest = coming.by_hour().flatten().copied().fold(f32::INFINITY, f32::min);
        Self { past_c, coming, coldest_c: f64::from(coldest) }
    }
}

/// One step between the weather and the part.
#[derive(Debug, Clone, Copy)]
enum Stage {
    /// Loses heat to the clear sky at night.
    Sky,
    /// A space whose air follows the outside with this time constant, h.
    Enclosure(f64),
    /// A heated room: at the setpoint while heated, else following the outside.
    Heated { setpoint_c: f64, tau_h: f64 },
    /// Mostly at the temperature of the water.
    Water,
}

fn stages(shelter: Shelter, covered: bool, weather: &PlaceWeather) -> Vec<Stage> {
    let site = &weather.site;
    let mut stages = Vec::new();
    match site.kind {
        SiteKind::IndoorUnheated => stages.push(Stage::Enclosure(SHED_TAU_H)),
        SiteKind::IndoorHeated => stages.push(heated(site)),
        SiteKind::Outdoor | SiteKind::Afloat => {}
    }
    let indoors = !stages.is_empty();
    match shelter {
        Shelter::Sky if !indoors && !covered => stages.push(Stage::Sky),
        Shelter::Sky | Shelter::Air => {}
        Shelter::Hull => stages.push(Stage::Enclosure(HULL_TAU_H)),
        Shelter::UnderWater => {
            stages.push(Stage::Enclosure(HULL_TAU_H));
            if site.kind == SiteKind::Afloat {
                stages.push(Stage::Water);
            }
        }
    }
    stages
}

/// The time constant of a heated shed from its soak test: from the setpoint to 0 C at the outside of the test.
fn heated(site: &Site) -> Stage {
    let setpoint_c = site.heat_setpoint.map_or(0.0, Celsius::value);
    let tau_h = match (site.soak_hours, site.soak_outside) {
        (Some(soak_h), Some(outside)) if outside.value() < 0.0 && setpoint_c > 0.0 => {
            soak_h / ((setpoint_c - outside.value()) / -outside.value()).ln()
        }
        _ => SHED_TAU_H,
    };
    Stage::Heated { setpoint_c, tau_h }
}

impl Stage {
    fn apply(
        self,
        past: &[(Step, f64)],
        past_c: Vec<f64>,
        coming: &Ensemble,
        weather: &PlaceWeather,
    ) -> (Vec<f64>, Ensemble) {
        let site = &weather.site;
        match self {
            Self::Sky => {
                let below = |step: &Step| sky_offset_k(site, step);
                let past_c = past_c.iter().zip(past).map(|(t, (step, _))| t + below(step)).collect();
                let offsets: Vec<f64> = weather.coming.iter().map(below).collect();
                (past_c, shifted(coming, &offsets))
            }
            Self::Enclosure(tau_h) => followed(&past_c, coming, tau_h),
            Self::Heated { setpoint_c, .. } if weather.heat_on => {
                (vec![setpoint_c; past_c.len()], coming.map_hours(|_, air| air.fill(narrow(setpoint_c))))
            }
            Self::Heated { setpoint_c, tau_h } => {
                let start = past_c.first().map_or(setpoint_c, |first| first.max(setpoint_c));
                let mut with_start = vec![start];
                with_start.extend(past_c);
                let (mut past_c, coming) = followed(&with_start, coming, tau_h);
                past_c.remove(0);
                (past_c, coming)
            }
            Self::Water => {
                let mix = |air: f64, time: DateTime<Utc>| {
                    WATER_SHARE * water_c(site, time) + (1.0 - WATER_SHARE) * air
                };
                let past_c =
                    past_c.iter().zip(past).map(|(t, (step, _))| mix(*t, step.time)).collect();
                let coming = coming.map_hours(|hour, air| {
                    let time = weather.coming.get(hour).map_or(weather.at, |step| step.time);
                    for t in air {
                        *t = narrow(mix(f64::from(*t), time));
                    }
                });
                (past_c, coming)
            }
        }
    }
}

/// The water under the boat in the month of `time`: the yard's monthly mean, never colder than it freezes.
fn water_c(site: &Site, time: DateTime<Utc>) -> f64 {
    let floor = if site.water_kind == "sea" { SEA_FREEZES_C } else { 0.0 };
    let month = usize::try_from(time.month0()).unwrap_or(0);
    site.water_temperature_c.get(month).copied().unwrap_or(floor).max(floor)
}

/// Below the air by this much in this hour, K (negative), for a part that sees the sky at night.
fn sky_offset_k(site: &Site, step: &Step) -> f64 {
    let (Some(air), true) =
        (step.temperature_c, sun::is_night(step.time, site.latitude, site.longitude))
    else {
        return 0.0;
    };
    let dew = step.dewpoint_c.unwrap_or(air - 4.0).min(air);
    let offset = surroundings::clear_sky_offset(
        Celsius::clamped(air),
        Celsius::clamped(dew),
        step.cloud.unwrap_or(0.0),
        SKY_VIEW,
        EMISSIVITY,
        OPEN_FILM_W_M2K,
    );
    offset.value().min(0.0) * place::clear_and_calm(None, step.wind_ms)
}

fn shifted(coming: &Ensemble, offsets_k: &[f64]) -> Ensemble {
    coming.map_hours(|hour, air| {
        let offset = narrow(offsets_k.get(hour).copied().unwrap_or(0.0));
        for t in air {
            *t += offset;
        }
    })
}

/// Air that follows another with a time constant: first order, exact for hours of constant outside air.
fn followed(past_c: &[f64], coming: &Ensemble, tau_h: f64) -> (Vec<f64>, Ensemble) {
    let take = 1.0 - (-1.0 / tau_h.max(1e-3)).exp();
    let mut inside = past_c.first().copied();
    let past: Vec<f64> = past_c
        .iter()
        .map(|outside| {
            let now = inside.map_or(*outside, |t| t + take * (outside - t));
            inside = Some(now);
            now
        })
        .collect();
    let mut state: Vec<f32> = vec![f32::NAN; coming.members()];
    let start = inside.map(narrow);
    let take = narrow(take);
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
