//! A point on Earth, checked.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

/// How far apart the asked and the answered place may lie, in degrees of latitude or longitude.
const APART_DEG_MAX: f64 = 0.1;

/// Coordinates that are not a place on Earth.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{text} is not a place: give latitude,longitude in degrees, such as 44.19,-69.07")]
pub struct PlaceError {
    text: String,
}

/// A point on Earth in degrees, WGS 84.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    latitude: f64,
    longitude: f64,
}

impl Place {
    /// Checks that latitude lies in -90..90 and longitude in -180..180 degrees.
    ///
    /// # Errors
    /// [`PlaceError`] repeats what was given.
    pub fn new(latitude: f64, longitude: f64) -> Result<Self, PlaceError> {
        if (-90.0..=90.0).contains(&latitude) && (-180.0..=180.0).contains(&longitude) {
            Ok(Self { latitude, longitude })
        } else {
            Err(PlaceError { text: format!("{latitude},{longitude}") })
        }
    }

    /// Degrees north.
    #[must_use]
    pub const fn latitude(self) -> f64 {
        self.latitude
    }

    /// Degrees east.
    #[must_use]
    pub const fn longitude(self) -> f64 {
        self.longitude
    }

    /// Within 0.1 degree of `other` in both directions, across the date line too.
    #[must_use]
    pub fn is_near(self, other: Self) -> bool {
        let east = (self.longitude - other.longitude).abs();
        (self.latitude - other.latitude).abs() <= APART_DEG_MAX
            && east.min(360.0 - east) <= APART_DEG_MAX
    }
}

/// Latitude and longitude with at most four decimals and no trailing zeros, the only form that api.weather.gov
/// answers without a redirect (its documentation of `/points`).
impl fmt::Display for Place {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{},{}", four_decimals(self.latitude), four_decimals(self.longitude))
    }
}

impl FromStr for Place {
    type Err = PlaceError;
    fn from_str(text: &str) -> Result<Self, PlaceError> {
        let refusal = || PlaceError { text: text.to_owned() };
        let (latitude, longitude) = text.split_once(',').ok_or_else(refusal)?;
        let latitude = latitude.trim().parse().map_err(|_| refusal())?;
        let longitude = longitude.trim().parse().map_err(|_| refusal())?;
        Self::new(latitude, longitude).map_err(|_| refusal())
    }
}

fn four_decimals(degrees: f64) -> String {
    let text = format!("{degrees:.4}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_are_cut_to_four_decimals_without_trailing_zeros() {
        let check = |text: &str, expect: &str| {
            assert_eq!(text.parse::<Place>().unwrap().to_string(), expect);
        };
        check("44.19, -69.07", "44.19,-69.07");
        check("40.71284999,-74.00600", "40.7128,-74.006");
        check("0,-0.00001", "0,0");
        check("-45,170", "-45,170");
        assert!("91,0".parse::<Place>().is_err());
        assert!("44.19".parse::<Place>().is_err());
        assert!("nan,0".parse::<Place>().is_err());
    }

    #[test]
    fn the_date_line_is_no_border() {
        let west = Place::new(-17.0, 179.98).unwrap();
        assert!(west.is_near(Place::new(-17.0, -179.99).unwrap()));
    }
}
