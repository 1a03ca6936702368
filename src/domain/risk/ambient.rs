//! The air that a part sees: from the air of the place through hull, shed or water, with the state at the start taken
//! from the past hours.
//!
//! The sun is left out: by day it only warms, and a part in the shade of its hull does not see it.

mod behind;
mod heat;
mod past;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};

pub use heat::Heat;
pub use past::{Earlier, PastAir, PlacePast};

use crate::domain::boat::{BoatState, SiteId};
use crate::domain::catalogue::{CircuitKind, PartExposure};
use crate::domain::physics::surroundings::{self, Exposure};
use crate::domain::physics::{TableError, part::ThermalClass};
use crate::domain::units::MetresPerSecond;
use crate::domain::weather::Step;
use crate::domain::weather::errors::Ensemble;
use crate::domain::yard::{Site, SiteKind};

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
    /// The past hours of other places, from which boats have come here.
    pub elsewhere: Arc<BTreeMap<SiteId, PlacePast>>,
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
    pub past: PastAir,
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
        let afloat = Self::staying(part, weather, power, None)?;
        let Some((haul, exposure)) = part.hauled else { return Ok(afloat) };
        let ashore = Whereabouts { exposure, afloat: false, hauled: None, ..part };
        Ok(afloat.until(haul, &Self::staying(ashore, weather, power, None)?, weather.at))
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

    /// The same for a boat that has brought air of `hull_c`, C, in her hull.
    ///
    /// # Errors
    /// [`TableError`] where the exposure table lacks a row.
    pub fn with_hull(
        part: Whereabouts,
        weather: &PlaceWeather,
        power: Power,
        hull_c: f64,
    ) -> Result<Self, TableError> {
        Self::staying(part, weather, power, Some(hull_c))
    }

    fn staying(
        part: Whereabouts,
        weather: &PlaceWeather,
        power: Power,
        hull_c: Option<f64>,
    ) -> Result<Self, TableError> {
        let rows = chain(part, &weather.site)?;
        let (past, insides) = past::through(&rows, &past::Hours::of(weather), None);
        let mut coming = weather.paths.clone();
        for (row, inside_c) in rows.iter().zip(insides) {
            let brought_c = hull_c.filter(|_| past::is_of_the_boat(row));
            coming = behind::coming(row, brought_c.or(inside_c), coming, weather, power);
        }
        let coldest_c = f64::from(coming.coldest_c());
        let in_the_wind = rows.last().is_some_and(|row| row.wind_reaches);
        Ok(Self { past, coming, coldest_c, in_the_wind })
    }

    /// By how much the wind of each coming hour multiplies the heat loss of `class`; `None` where it does not reach.
    #[must_use]
    pub fn wind_factors(&self, class: &ThermalClass, weather: &PlaceWeather) -> Option<Vec<f64>> {
        self.in_the_wind.then(|| {
            let wind = |step: &Step| wind_factor(class, step.wind_ms.unwrap_or(0.0));
            weather.coming.iter().map(wind).collect()
        })
    }
}

/// By how much wind of `wind_ms`, m/s, multiplies the heat loss of `class` in still air; never below 1.
#[must_use]
pub fn wind_factor(class: &ThermalClass, wind_ms: f64) -> f64 {
    let still = class.ua().value();
    let in_wind = class.ua_in_wind(MetresPerSecond::clamped(wind_ms)).value();
    if still > 0.0 { (in_wind / still).max(1.0) } else { 1.0 }
}

/// The rows of the exposure table between the weather and the part, outermost first.
fn chain(part: Whereabouts, site: &Site) -> Result<Vec<&'static Exposure>, TableError> {
    use PartExposure::{BelowWaterline, Deck, EngineBay, InsideHull, Open};
    let Whereabouts { exposure, covered, afloat, .. } = part;
    let floats = afloat || site.kind == SiteKind::Afloat;
    let within = matches!(exposure, BelowWaterline | EngineBay | InsideHull);
    // Whoever is still to be hauled into a shed floats outside of it.
    let kind = if floats { SiteKind::Afloat } else { site.kind };
    let ids: &[&str] = match (kind, exposure) {
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

#[cfg(test)]
mod tests;
