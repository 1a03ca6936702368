//! The past hours of a place, without holes, and the air that a part saw in them.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::heat::Heat;
use super::place::{PlacePast, PlaceWeather};
use crate::domain::physics::surroundings::Exposure;
use crate::domain::weather::Step;
use crate::domain::weather::usual::UsualAir;
use crate::domain::yard::Site;

/// Is it a row of the boat's own hull or wrap, with air that comes along when she is moved?
pub(super) fn is_of_the_boat(row: &Exposure) -> bool {
    row.tau_env_h > 0.0 && !row.id.starts_with("shed")
}

/// One past hour of a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct PastHour {
    pub step: Step,
    /// Its air, C; where nobody knows it, what that day of the year usually has.
    pub air_c: f64,
    pub known: bool,
}

/// The past hours of one place, without holes.
pub(super) struct Hours<'a> {
    pub site: &'a Site,
    pub heat: &'a Heat,
    pub steps: Vec<PastHour>,
    /// Spread of the air in the hours that nobody knows, K.
    pub spread_k: f64,
}

impl<'a> Hours<'a> {
    pub(super) fn of(weather: &'a PlaceWeather) -> Self {
        let place = (&weather.site, &weather.usual);
        Self::known((&weather.past, place), &weather.heat)
    }

    /// The same hours at another place; of what nobody knows there, nothing is taken from here.
    pub(super) fn elsewhere(other: &'a PlacePast, weather: &PlaceWeather) -> Self {
        let there: BTreeMap<DateTime<Utc>, &Step> =
            other.past.iter().map(|step| (step.time, step)).collect();
        let known = |step: &Step| there.get(&step.time).map_or(Step::empty(step.time), |s| **s);
        let past: Vec<Step> = weather.past.iter().map(known).collect();
        Self::known((&past, (&other.site, &other.usual)), &other.heat)
    }

    fn known((past, (site, usual)): (&[Step], (&'a Site, &UsualAir)), heat: &'a Heat) -> Self {
        let steps = filled(past, |at| usual.on(site, at).0);
        let spread_k = past.last().map_or(0.0, |step| usual.on(site, step.time).1);
        Self { site, heat, steps, spread_k }
    }
}

/// A hole of so many hours between known ones, or after the last known one, is bridged.
const BRIDGED_H: usize = 6;

/// The past hours without holes. A short hole is as cold as the colder of the past hours beside it and counts as known; a longer
/// one, and what lies before anything is known, is as `usual` for the time and does not. Nothing is taken from the coming hours.
pub(super) fn filled(past: &[Step], usual: impl Fn(DateTime<Utc>) -> f64) -> Vec<PastHour> {
    let next_known = distances(past.iter().rev());
    let mut before: Option<(f64, usize)> = None;
    let hours = past.iter().zip(next_known.into_iter().rev());
    hours
        .map(|(step, next)| {
            let bridge = before.and_then(|before| bridged(before, next));
            before = match step.temperature_c {
                Some(air_c) => Some((air_c, 0)),
                None => before.map(|(air_c, away)| (air_c, away + 1)),
            };
            let known_c = step.temperature_c.or(bridge);
            let air_c = known_c.unwrap_or_else(|| usual(step.time));
            PastHour { step: *step, air_c, known: known_c.is_some() }
        })
        .collect()
}

/// The nearest known air behind each hour, C, and how many hours away it is; nothing where none follows.
fn distances<'s>(steps: impl Iterator<Item = &'s Step>) -> Vec<Option<(f64, usize)>> {
    let mut last: Option<(f64, usize)> = None;
    let mut found = Vec::new();
    for step in steps {
        last = match step.temperature_c {
            Some(air_c) => Some((air_c, 0)),
            None => last.map(|(air_c, away)| (air_c, away + 1)),
        };
        found.push(last);
    }
    found
}

/// The air in a hole, C: `before` is the last known hour and how many unknown ones lie between, `next` the known one that follows.
fn bridged(before: (f64, usize), next: Option<(f64, usize)>) -> Option<f64> {
    let hole = before.1 + next.map_or(1, |(_, away)| away);
    let air_c = next.map_or(before.0, |(next_c, _)| next_c.min(before.0));
    (hole <= BRIDGED_H).then_some(air_c)
}
