//! The opening of a season: once a winter each reader is told when they hear from us, and what silence means.

use chrono::{DateTime, Datelike, Timelike, Utc};

use crate::domain::boat::PersonId;
use crate::domain::yard::Site;

/// Months of the northern autumn in which a season opens; half a year later in the south. Whoever joins later, or a service
/// that is set up in winter, is written to then.
const MONTHS: [u32; 7] = [9, 10, 11, 12, 1, 2, 3];
/// In September only from this day on.
const FIRST_DAY: u32 = 15;
/// Hours of the day, local, in which it is written.
const HOURS: std::ops::Range<u32> = 9..20;
/// One reader at the beginning of a season.
#[derive(Debug, Clone, Copy)]
pub struct Opening<'a> {
    /// Who.
    pub person: &'a PersonId,
    /// The first of their places.
    pub site: &'a Site,
    /// The first year of the winter that opens; see [`year_of`].
    pub year: i32,
    /// They have been told.
    pub told: bool,
}

/// The name under which the store notes that somebody has been told.
#[must_use]
pub fn name(year: i32, person: &PersonId) -> String {
    format!("opening:{year}:{person}")
}

/// The first year of the winter that opens at a place now; `None` in summer and at night.
#[must_use]
pub fn year_of(site: &Site, now: DateTime<Utc>) -> Option<i32> {
    let local = now.with_timezone(&site.time_zone);
    if !HOURS.contains(&local.hour()) {
        return None;
    }
    // A year in the south runs from its own autumn.
    let shifted = site.hemisphere().as_northern(local.date_naive())?;
    let early = shifted.month() == 9 && shifted.day() < FIRST_DAY;
    if !MONTHS.contains(&shifted.month()) || early {
        return None;
    }
    Some(site.hemisphere().year_of(local.date_naive()))
}
