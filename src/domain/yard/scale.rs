//! Which temperature scale people at a place read first.

use super::Site;
use crate::domain::units::TemperatureScale;

/// Zones of the United States in the time-zone database, by their last part or prefix; people there read Fahrenheit.
const FAHRENHEIT_ZONES: [&str; 19] = [
    "US/",
    "America/New_York",
    "America/Detroit",
    "America/Kentucky/",
    "America/Indiana/",
    "America/Indianapolis",
    "America/Louisville",
    "America/Chicago",
    "America/Menominee",
    "America/North_Dakota/",
    "America/Denver",
    "America/Boise",
    "America/Phoenix",
    "America/Los_Angeles",
    "America/Anchorage",
    "America/Juneau",
    "America/Sitka",
    "America/Nome",
    "Pacific/Honolulu",
];

impl Site {
    /// The scale that stands first in what is said about the place.
    #[must_use]
    pub fn scale(&self) -> TemperatureScale {
        let zone = self.time_zone.name();
        if FAHRENHEIT_ZONES.iter().any(|start| zone.starts_with(start)) {
            TemperatureScale::F
        } else {
            TemperatureScale::C
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::domain::units::TemperatureScale;

    #[test]
    fn maine_reads_fahrenheit_and_halifax_celsius() {
        let mut site = crate::domain::risk::timing::tests::site();
        assert_eq!(site.scale(), TemperatureScale::F);
        site.time_zone = chrono_tz::America::Halifax;
        assert_eq!(site.scale(), TemperatureScale::C);
    }
}
