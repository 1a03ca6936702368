//! The air that a part sees: from the air of the place through hull, shed or water, with the state at the start taken
//! from the past hours.
//!
//! The sun is left out: by day it only warms, and a part in the shade of its hull does not see it.

mod behind;
mod heat;
mod past;
mod past_air;

use chrono::{DateTime, Utc};

pub use heat::Heat;
pub use past::Earlier;
pub use past_air::{FeltHour, PastAir};
use place::chain;
pub use place::{PlacePast, PlaceWeather, Power, Whereabouts, wind_factor};

use crate::domain::physics::{TableError, part::ThermalClass};
use crate::domain::weather::Step;
use crate::domain::weather::errors::Ensemble;

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
        let (past, insides) = past::through(&rows, &hours::Hours::of(weather), None);
        let mut coming = weather.paths.clone();
        for (row, inside_c) in rows.iter().zip(insides) {
            let brought_c = hull_c.filter(|_| hours::is_of_the_boat(row));
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

#[cfg(test)]
mod tests;
mod hours;
mod place;
