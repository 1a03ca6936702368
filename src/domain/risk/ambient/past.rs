//! The air that a part has stood in until now, at this place and where its boat was before.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::{Heat, PlaceWeather, Whereabouts, behind, chain, wind_factor};
use crate::domain::boat::{BoatState, Stay};
use crate::domain::catalogue::{CircuitKind, PartExposure};
use crate::domain::physics::TableError;
use crate::domain::physics::part::ThermalClass;
use crate::domain::physics::surroundings::Exposure;
use crate::domain::weather::Step;
use crate::domain::yard::Site;

/// After so long nothing is left of the air that a hull has brought: ten of its longest time constants.
const HULL_FORGETS: TimeDelta = TimeDelta::hours(60);

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

/// The past of a place from which a boat has come.
#[derive(Debug, Clone)]
pub struct PlacePast {
    /// The place.
    pub site: Site,
    /// Its past hours, oldest first; hours may be empty.
    pub past: Vec<Step>,
    /// The heat of a heated shed.
    pub heat: Heat,
}

/// Where a part was, while its boat has not always been where and how she is now.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Earlier {
    /// Oldest first; the last is the present one.
    stays: Vec<Stay>,
    afloat: PartExposure,
    ashore: PartExposure,
}

impl Earlier {
    /// The stays of a boat as far as they reach into the last `hours` before `at`; `None` where she has not stirred since.
    #[must_use]
    pub fn of(
        kind: &CircuitKind,
        state: &BoatState,
        at: DateTime<Utc>,
        hours: usize,
    ) -> Option<Self> {
        if state.earlier.is_empty() {
            return None;
        }
        let hours = TimeDelta::hours(i64::from(u32::try_from(hours).unwrap_or(u32::MAX)));
        let recent = state.earlier.iter().filter(|stay| stay.until > at - hours);
        let mut stays: Vec<Stay> = recent.cloned().collect();
        if stays.is_empty() {
            return None;
        }
        let (site, afloat, covered) = (state.site.clone(), state.afloat, state.covered);
        stays.push(Stay { until: DateTime::<Utc>::MAX_UTC, site, afloat, covered });
        Some(Self { stays, afloat: kind.exposure_when(true), ashore: kind.exposure_when(false) })
    }

    /// Has she come so lately that the air in her hull may still be other air?
    #[must_use]
    pub fn is_recent(&self, at: DateTime<Utc>) -> bool {
        let came = self.stays.iter().rev().nth(1);
        came.is_some_and(|before| at - before.until < HULL_FORGETS)
    }

    /// The past of the part, stay by stay, and the air in the hull at its end, C, where the part is behind one; that air comes along
    /// from each stay to the next.
    ///
    /// A place of which nothing is known is taken for this one.
    ///
    /// # Errors
    /// [`TableError`] where the exposure table lacks a row.
    pub fn air(&self, weather: &PlaceWeather) -> Result<(PastAir, Option<f64>), TableError> {
        let (mut air, mut hull_c) = (PastAir::default(), None);
        for stay in &self.stays {
            let (came, end) =
                (air.air_c.len(), weather.past.partition_point(|step| step.time < stay.until));
            if end <= came {
                continue;
            }
            let exposure = if stay.afloat { self.afloat } else { self.ashore };
            let (covered, afloat) = (stay.covered, stay.afloat);
            let part = Whereabouts { exposure, covered, afloat, hauled: None };
            let hours = match weather.elsewhere.get(&stay.site) {
                Some(other) if stay.site != weather.site.id => Hours::elsewhere(other, weather),
                _ => Hours::of(weather),
            };
            let brought = air.air_c.last().map(|air_c| (came, *air_c));
            let rows = chain(part, hours.site)?;
            let (felt, insides) = through(&rows, &hours, brought);
            let behind_hull = rows.last().is_some_and(|row| is_of_the_boat(row));
            hull_c = insides.last().copied().flatten().filter(|_| behind_hull);
            air.air_c.extend(felt.air_c.get(came..end).unwrap_or_default());
            air.wind_ms.extend(felt.wind_ms.get(came..end).unwrap_or_default());
        }
        Ok((air, hull_c))
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
    fn elsewhere(other: &'a PlacePast, weather: &PlaceWeather) -> Self {
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

/// The past air behind the rows, outermost first, and behind each of them the air at its end. `brought`: when the boat came,
/// and what the air in her hull was then, C.
pub(super) fn through(
    rows: &[&Exposure],
    hours: &Hours<'_>,
    brought: Option<(usize, f64)>,
) -> (PastAir, Vec<Option<f64>>) {
    let mut air_c: Vec<f64> = hours.steps.iter().map(|(_, air_c)| *air_c).collect();
    let mut insides = Vec::with_capacity(rows.len());
    for row in rows {
        let (felt_c, inside_c) = behind::past(row, air_c, hours, brought);
        air_c = felt_c;
        insides.push(inside_c);
    }
    let windy = rows.last().is_some_and(|row| row.wind_reaches);
    let wind = |step: &Step| if windy { step.wind_ms.unwrap_or(0.0) } else { 0.0 };
    let wind_ms = hours.steps.iter().map(|(step, _)| wind(step)).collect();
    (PastAir { air_c, wind_ms }, insides)
}

/// Hours whose mean stands for those before anything was known: a day, so that no hour of it counts for weeks.
const FIRST_DAY_H: usize = 24;

/// The past hours without holes: a hole takes the colder of its neighbours; what lies before anything is known is as the
/// mean of the first day that is.
fn filled(past: &[Step], coming: &[Step]) -> Vec<(Step, f64)> {
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
