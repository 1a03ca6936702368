//! Sunrise and sunset, good to a few minutes: for working by daylight and for telling night from day.
//!
//! After the low-accuracy formulas of the Astronomical Almanac (mean longitude, anomaly and ecliptic longitude of the
//! sun; stated error 0.01 degree between 1950 and 2050), from memory; checked against printed times in the tests.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

/// The sun's centre stands this far below the horizon at sunrise and sunset (34' refraction, 16' half disc), degrees.
const HORIZON_DEG: f64 = -0.833;

/// Sunrise and sunset of the solar day around local noon of `date` at the place, UTC; `None` where the sun does not
/// cross the horizon that day.
#[must_use]
pub fn rise_and_set(
    date: NaiveDate,
    latitude: f64,
    longitude: f64,
) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let midnight = date.and_hms_opt(0, 0, 0)?.and_utc();
    let noon_guess = midnight + hours(12.0 - longitude / 15.0);
    let sun = Sun::at(noon_guess);
    let noon = noon_guess - hours(sun.equation_of_time_h);
    let latitude = latitude.to_radians();
    let cosine = (HORIZON_DEG.to_radians().sin() - latitude.sin() * sun.declination.sin())
        / (latitude.cos() * sun.declination.cos());
    if !(-1.0..=1.0).contains(&cosine) {
        return None;
    }
    let half_day = hours(cosine.acos().to_degrees() / 15.0);
    Some((noon - half_day, noon + half_day))
}

/// Is the sun below the horizon at `instant`?
#[must_use]
pub fn is_night(instant: DateTime<Utc>, latitude: f64, longitude: f64) -> bool {
    let sun = Sun::at(instant);
    let seconds = f64::from(instant.timestamp().rem_euclid(86_400).try_into().unwrap_or(0_i32));
    let solar_h = seconds / 3600.0 + longitude / 15.0 + sun.equation_of_time_h;
    let angle = ((solar_h - 12.0) * 15.0).to_radians();
    let latitude = latitude.to_radians();
    let height = latitude.sin() * sun.declination.sin()
        + latitude.cos() * sun.declination.cos() * angle.cos();
    height < HORIZON_DEG.to_radians().sin()
}

/// Where the sun stands in the sky of no place in particular.
struct Sun {
    declination: f64,
    equation_of_time_h: f64,
}

impl Sun {
    fn at(instant: DateTime<Utc>) -> Self {
        // Days from 2000-01-01 12:00 UTC.
        let days = i32::try_from((instant.timestamp() - 946_728_000) / 60)
            .map_or(0.0, |minutes| f64::from(minutes) / 1440.0);
        let longitude = (280.460 + 0.985_647_4 * days).rem_euclid(360.0);
        let anomaly = (357.528 + 0.985_600_3 * days).to_radians();
        let ecliptic =
            (longitude + 1.915 * anomaly.sin() + 0.020 * (2.0 * anomaly).sin()).to_radians();
        let obliquity = (23.439 - 4.0e-7 * days).to_radians();
        let declination = (obliquity.sin() * ecliptic.sin()).asin();
        let ascension = (obliquity.cos() * ecliptic.sin()).atan2(ecliptic.cos()).to_degrees();
        let minutes_of_arc = (longitude - ascension + 180.0).rem_euclid(360.0) - 180.0;
        Self { declination, equation_of_time_h: minutes_of_arc / 15.0 }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a part of a day fits an i64 of seconds")]
fn hours(hours: f64) -> TimeDelta {
    TimeDelta::seconds((hours * 3600.0).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minutes_apart(a: DateTime<Utc>, b: &str) -> i64 {
        (a - b.parse::<DateTime<Utc>>().unwrap()).num_minutes().abs()
    }

    #[test]
    fn greenwich_at_the_solstices_and_the_equinox() {
        // Printed almanac times for 51.48 N 0 E, from memory: 20 June 03:43/20:21, 21 December 08:04/15:53 UT.
        let date = |m, d| NaiveDate::from_ymd_opt(2023, m, d).unwrap();
        let (rise, set) = rise_and_set(date(6, 20), 51.48, 0.0).unwrap();
        assert!(minutes_apart(rise, "2023-06-20T03:43:00Z") <= 3, "{rise}");
        assert!(minutes_apart(set, "2023-06-20T20:21:00Z") <= 3, "{set}");
        let (rise, set) = rise_and_set(date(12, 21), 51.48, 0.0).unwrap();
        assert!(minutes_apart(rise, "2023-12-21T08:04:00Z") <= 3, "{rise}");
        assert!(minutes_apart(set, "2023-12-21T15:53:00Z") <= 3, "{set}");
    }

    #[test]
    fn night_agrees_with_the_rise_and_the_set_of_a_western_place() {
        let date = NaiveDate::from_ymd_opt(2022, 11, 20).unwrap();
        let (rise, set) = rise_and_set(date, 44.2, -69.1).unwrap();
        for (instant, night) in [(-20, true), (20, false)] {
            assert_eq!(is_night(rise + TimeDelta::minutes(instant), 44.2, -69.1), night);
            assert_eq!(is_night(set - TimeDelta::minutes(instant), 44.2, -69.1), night);
        }
    }

    #[test]
    fn the_polar_night_has_no_sunrise() {
        let date = NaiveDate::from_ymd_opt(2022, 12, 20).unwrap();
        assert!(rise_and_set(date, 78.0, 15.0).is_none());
        assert!(is_night("2022-12-20T11:00:00Z".parse().unwrap(), 78.0, 15.0));
    }
}
