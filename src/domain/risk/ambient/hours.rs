//! The past hours of a place, without holes, and the air that a part saw in them.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::heat::Heat;
use super::place::{PlacePast, PlaceWeather, wind_factor};
use crate::domain::physics::part::ThermalClass;
use crate::domain::physics::surroundings::Exposure;
use crate::domain::weather::Step;
use crate::domain::yard::Site;

/// The past air of a part, an hour each, oldest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PastAir {
    /// Its temperature, C.
    pub air_c: Vec<f64>,
    /// The wind that reached the part, m/s; 0 behind hull, wrap or wall.
    pub wind_ms: Vec<f64>,
}

impl PastAir {
    /// Steady air without wind.
    #[must_use]
    pub fn still(air_c: Vec<f64>) -> Self {
        let wind_ms = vec![0.0; air_c.len()];
        Self { air_c, wind_ms }
    }

    /// The last `hours` of it: temperature, C, and by how much its wind multiplies the heat loss of `class`.
    #[must_use]
    pub fn last(&self, hours: usize, class: &ThermalClass) -> Vec<(f64, f64)> {
        let skip = self.air_c.len().saturating_sub(hours);
        let factor = |wind_ms: f64| if wind_ms > 0.0 { wind_factor(class, wind_ms) } else { 1.0 };
        let hours = self.air_c.iter().zip(&self.wind_ms).skip(skip);
        hours.map(|(air_c, wind_ms)| (*air_c, factor(*wind_ms))).collect()
    }
}

/// Is it a row of the boat's own hull or wrap, with air that comes along when she is moved?
pub(super) fn is_of_the_boat(row: &Exposure) -> bool {
    row.tau_env_h > 0.0 && !row.id.starts_with("shed")
}

/// The past hours of one place, without holes.
pub(super) struct Hours<'a> {
    pub site: &'a Site,
    pub heat: &'a Heat,
    pub steps: Vec<(Step, f64)>,
}

impl<'a> Hours<'a> {
    pub(super) fn of(weather: &'a PlaceWeather) -> Self {
        let steps = filled(&weather.past, &weather.coming);
        Self { site: &weather.site, heat: &weather.heat, steps }
    }

    /// The same hours at another place; what is not known of them there is taken from this one.
    pub(super) fn elsewhere(other: &'a PlacePast, weather: &PlaceWeather) -> Self {
        let there: BTreeMap<DateTime<Utc>, &Step> =
            other.past.iter().map(|step| (step.time, step)).collect();
        let known = |step: &Step| {
            let there = there.get(&step.time).filter(|step| step.temperature_c.is_some());
            there.map_or(*step, |step| **step)
        };
        let past: Vec<Step> = weather.past.iter().map(known).collect();
        let steps = filled(&past, &weather.coming);
        Self { site: &other.site, heat: &other.heat, steps }
    }
}

/// Hours whose mean stands for those before anything was known: a day, so that no hour of it counts for weeks.
pub(super) const FIRST_DAY_H: usize = 24;

/// The past hours without holes: a hole takes the colder of its neighbours; what lies before anything is known is as the
/// mean of the first day that is.
pub(super) fn filled(past: &[Step], coming: &[Step]) -> Vec<(Step, f64)> {
    let mut next_known = vec![None; past.len()];
    let mut after = coming.iter().find_map(|step| step.temperature_c);
    for (slot, step) in next_known.iter_mut().zip(past).rev() {
        *slot = after;
        after = step.temperature_c.or(after);
    }
    let known = past.iter().chain(coming).filter_map(|step| step.temperature_c);
    let (sum_c, hours) =
        known.take(FIRST_DAY_H).fold((0.0, 0.0), |(sum, hours), air_c| (sum + air_c, hours + 1.0));
    let days_mean_c = if hours > 0.0 { sum_c / hours } else { 0.0 };
    let mut before: Option<f64> = None;
    past.iter()
        .zip(next_known)
        .map(|(step, next)| {
            let t = step.temperature_c.unwrap_or_else(|| match (before, next) {
                (Some(a), Some(b)) => a.min(b),
                (Some(a), None) => a,
                (None, _) => days_mean_c,
            });
            before = step.temperature_c.or(before);
            (*step, t)
        })
        .collect()
}
