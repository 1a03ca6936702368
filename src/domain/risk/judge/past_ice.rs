//! What past hours say of a part, and what they do not.

use chrono::{DateTime, TimeDelta, Utc};

use crate::domain::catalogue::{CircuitKind, Consequence};
use crate::domain::risk::Limit;
use crate::domain::risk::ambient::PlaceWeather;
use crate::domain::risk::case::Outcome;
use crate::domain::risk::start::Start;
use crate::domain::yard::SiteKind;

/// What a crack lets in or out on the thaw: the sea, where the part keeps it out, or the water of the house, which is under pressure.
pub(super) fn may_flood(kind: &CircuitKind, afloat: bool) -> bool {
    let keeps_out = afloat && kind.consequence_when(true) > kind.consequence_when(false);
    let house = kind.groups().any(|group| group == HOUSE);
    keeps_out || house && kind.consequence >= Consequence::Major
}

/// The group of circuits that are under the pressure of the house water.
const HOUSE: &str = "HOUSE";

/// The first hour of the danger that can still be met. Of a part that may have frozen already, when as many of those that have not
/// will have: until then what can be done is done.
pub(super) fn danger_hour(
    outcome: &Outcome,
    limit: Limit,
    threshold: f64,
    hours: usize,
) -> Option<usize> {
    let before = outcome.passed_before(limit);
    let still = outcome.first_hour(limit, before + (1.0 - before) * threshold, hours);
    still.or_else(|| outcome.first_hour(limit, threshold, hours))
}

/// Since when the air is known, where before that it may have been cold enough for ice: so many deviations below the usual.
pub(super) fn unknown_before(
    start: &Start,
    first_ice_c: f64,
    weather: &PlaceWeather,
) -> Option<DateTime<Utc>> {
    const DEVIATIONS: f64 = 2.0;
    let from = weather.at - hours(start.known_for_h?);
    let heated = weather.site.kind == SiteKind::IndoorHeated && weather.heat.on();
    let (mean_c, sd_k) = weather.usual.on(&weather.site, from);
    (!heated && mean_c - DEVIATIONS * sd_k < first_ice_c).then_some(from)
}

pub(super) fn hours(hours: usize) -> TimeDelta {
    TimeDelta::hours(i64::try_from(hours).unwrap_or(0))
}
