//! What thermometers near a place said: of the hours that have passed they know more than any forecast.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::Step;

/// A station further away than this says little about the place, km: common practice, no source.
pub const NEAR_KM: f64 = 30.0;
/// A station so much higher or lower has another cold, m: common practice, no source.
const HEIGHT_APART_M: f64 = 200.0;
/// A reading speaks for the whole hour that begins within this time of it.
const HALF_AN_HOUR: TimeDelta = TimeDelta::minutes(30);

/// One reading of a station near a place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Which station.
    pub station: String,
    /// How far from the place, km.
    pub distance_km: f64,
    /// Its height, m, where stated.
    pub elevation_m: Option<f64>,
    /// The values; `time` is the moment of the reading.
    pub step: Step,
}

impl Measured {
    /// Does it speak for a place of this height, m?
    #[must_use]
    pub fn speaks_for(&self, place_elevation_m: f64) -> bool {
        let apart = self.elevation_m.map_or(0.0, |height| (height - place_elevation_m).abs());
        self.distance_km <= NEAR_KM && apart <= HEIGHT_APART_M
    }
}

/// Puts readings in the place of the hours that they speak for; where nothing was measured the forecast's hour stays.
pub fn put_over(hours: &mut [Step], readings: &[Measured], place_elevation_m: f64) {
    for hour in hours {
        let apart = |reading: &&Measured| (reading.step.time - hour.time).abs();
        let nearest = readings
            .iter()
            .filter(|reading| reading.step.temperature_c.is_some())
            .filter(|reading| reading.speaks_for(place_elevation_m))
            .filter(|reading| apart(reading) <= HALF_AN_HOUR)
            .min_by_key(apart);
        let Some(reading) = nearest else { continue };
        let seen = reading.step;
        hour.temperature_c = seen.temperature_c;
        hour.dewpoint_c = seen.dewpoint_c.or(hour.dewpoint_c);
        hour.wind_ms = seen.wind_ms.or(hour.wind_ms);
        hour.cloud = seen.cloud.or(hour.cloud);
    }
}

/// Kilometres between two points given in degrees, on a sphere (haversine).
#[must_use]
pub fn distance_km(from: (f64, f64), to: (f64, f64)) -> f64 {
    const EARTH_KM: f64 = 6371.0;
    let ((lat1, lon1), (lat2, lon2)) = (from, to);
    let half = |a: f64, b: f64| ((a - b).to_radians() / 2.0).sin().powi(2);
    let h = half(lat1, lat2) + lat1.to_radians().cos() * lat2.to_radians().cos() * half(lon1, lon2);
    2.0 * EARTH_KM * h.clamp(0.0, 1.0).sqrt().asin()
}

/// The newest of them that is no older than `most`.
#[must_use]
pub fn newest(readings: &[Measured], now: DateTime<Utc>, most: TimeDelta) -> Option<&Measured> {
    readings
        .iter()
        .filter(|reading| now - reading.step.time <= most && reading.step.time <= now)
        .max_by_key(|reading| reading.step.time)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(time: &str, c: f64, km: f64) -> Measured {
        let step = Step { temperature_c: Some(c), ..Step::empty(time.parse().unwrap()) };
        Measured { station: "QQQQ".into(), distance_km: km, elevation_m: Some(20.0), step }
    }

    #[test]
    fn a_reading_takes_the_place_of_the_nearest_hour_only() {
        let at = |hour: u32| -> DateTime<Utc> {
            format!("2022-12-24T{hour:02}:00:00Z").parse().unwrap()
        };
        let hour = |h| Step { temperature_c: Some(0.0), wind_ms: Some(3.0), ..Step::empty(at(h)) };
        let mut hours: Vec<Step> = (0..6).map(hour).collect();
        let readings = [
            reading("2022-12-24T01:53:00Z", -7.0, 5.0),
            reading("2022-12-24T02:10:00Z", -9.0, 5.0),
            reading("2022-12-24T04:00:00Z", -20.0, 80.0),
        ];
        put_over(&mut hours, &readings, 30.0);
        let air: Vec<f64> = hours.iter().filter_map(|h| h.temperature_c).collect();
        assert_eq!(air, [0.0, 0.0, -7.0, 0.0, 0.0, 0.0]);
        // What was not measured stays as forecast; a station far above the place says nothing.
        assert_eq!(hours[2].wind_ms, Some(3.0));
        assert!(!readings[0].speaks_for(900.0));
        assert_eq!(newest(&readings, at(3), TimeDelta::hours(2)), Some(&readings[1]));
        assert_eq!(newest(&readings, at(3), TimeDelta::minutes(5)), None);
    }

    #[test]
    fn distances_are_those_of_a_table() {
        // New York to London, 5,570 km on the great circle (from memory, a standard example).
        let km = distance_km((40.7128, -74.0060), (51.5074, -0.1278));
        assert!((km - 5570.0).abs() < 5.0, "{km}");
    }
}
