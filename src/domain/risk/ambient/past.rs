//! The air that a part has stood in until now, at this place and where its boat was before.

use chrono::{DateTime, TimeDelta, Utc};

use super::behind;
use super::hours::{Hours, is_of_the_boat};
use super::past_air::PastAir;
use super::place::{PlaceWeather, Whereabouts, chain};
use crate::domain::boat::{BoatState, Stay};
use crate::domain::catalogue::{CircuitKind, PartExposure};
use crate::domain::physics::TableError;
use crate::domain::physics::surroundings::Exposure;
use crate::domain::weather::Step;

/// After so long nothing is left of the air that a hull has brought: ten of its longest time constants.
const HULL_FORGETS: TimeDelta = TimeDelta::hours(60);

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
    /// A place that is not on the list is taken for this one.
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
            air.known.extend(felt.known.get(came..end).unwrap_or_default());
            air.spread_k = air.spread_k.max(felt.spread_k);
        }
        Ok((air, hull_c))
    }
}

/// The past air behind the rows, outermost first, and behind each of them the air at its end. `brought`: when the boat came,
/// and what the air in her hull was then, C.
pub(super) fn through(
    rows: &[&Exposure],
    hours: &Hours<'_>,
    brought: Option<(usize, f64)>,
) -> (PastAir, Vec<Option<f64>>) {
    let mut air_c: Vec<f64> = hours.steps.iter().map(|hour| hour.air_c).collect();
    let mut insides = Vec::with_capacity(rows.len());
    for row in rows {
        let (felt_c, inside_c) = behind::past(row, air_c, hours, brought);
        air_c = felt_c;
        insides.push(inside_c);
    }
    let windy = rows.last().is_some_and(|row| row.wind_reaches);
    let wind = |step: &Step| if windy { step.wind_ms.unwrap_or(0.0) } else { 0.0 };
    let wind_ms = hours.steps.iter().map(|hour| wind(&hour.step)).collect();
    let known = hours.steps.iter().map(|hour| hour.known).collect();
    let spread_k = hours.spread_k * rows.iter().map(|row| air_share(row)).product::<f64>();
    (PastAir { air_c, wind_ms, known, spread_k }, insides)
}

/// How much of a change of the air outside a part behind `row` feels in the end, 0 to 1.
fn air_share(row: &Exposure) -> f64 {
    let both = row.water_ua_w_k + row.air_ua_w_k;
    if both > 0.0 { row.air_ua_w_k / both } else { 1.0 }
}
