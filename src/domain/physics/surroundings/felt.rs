//! From the weather of an hour to the air that a part feels: site, sky, enclosure, wind, water.

use super::enclosure::{enclosure_step, temperature_afloat};
use super::exposure::Exposure;
use super::film::{film_in_still_air, film_in_wind};
use super::sky::{clear_sky_offset, cloud_leaves};
use crate::domain::units::{Celsius, Fraction, KelvinDelta, MetresPerSecond, WattsPerKelvin};

/// Emissivity of paint, plastic, rust and rubber (engineering tables).
const EMISSIVITY: f64 = 0.9;

/// The weather of one hour at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeatherHour {
    /// Air temperature, C.
    pub air_c: f64,
    /// Dew point, C; without it the air counts as saturated, which makes the sky warmest.
    pub dew_point_c: Option<f64>,
    /// Covered share of the sky, 0 to 1; unknown counts as clear, the cold side.
    pub cloud: Option<f64>,
    /// Wind, m/s; unknown counts as calm.
    pub wind_ms: Option<f64>,
    /// Whether the sun is down. By day no sky and no sun are counted: leaving the sun out is the cold side.
    pub night: bool,
    /// Temperature of the water that the boat floats in, C.
    pub water_c: Option<f64>,
}

impl Exposure {
    /// The temperature outside the enclosure, C: air, offsets and night sky.
    #[must_use]
    pub fn outside_c(&self, hour: &WeatherHour) -> f64 {
        let mut outside_c = hour.air_c + self.offset_k;
        if !hour.night {
            return outside_c;
        }
        let cloud = Fraction::clamped(hour.cloud.unwrap_or(0.0));
        let wind_ms = hour.wind_ms.unwrap_or(0.0);
        if wind_ms < self.calm_below_ms {
            outside_c += self.clear_night_offset_k * cloud_leaves(cloud);
        }
        if self.sky_view > 0.0 {
            let offset = clear_sky_offset(
                Celsius::clamped(hour.air_c),
                Celsius::clamped(hour.dew_point_c.unwrap_or(hour.air_c)),
                cloud,
                Fraction::clamped(self.sky_view),
                Fraction::clamped(EMISSIVITY),
                self.convection_w_m2k(wind_ms),
            );
            outside_c += offset.value();
        }
        outside_c
    }

    /// The temperature inside the enclosure after the hour, C, from that before it; what a part's model takes as air.
    ///
    /// `coldest_water_c` is the first ice of the water around a floating boat.
    #[must_use]
    pub fn felt_c(&self, before_c: f64, hour: &WeatherHour, coldest_water_c: f64) -> f64 {
        let outside_c = self.outside_c(hour);
        let around_c = hour
            .water_c
            .and_then(|water_c| {
                temperature_afloat(
                    Celsius::clamped(water_c),
                    Celsius::clamped(outside_c),
                    WattsPerKelvin::clamped(self.water_ua_w_k),
                    WattsPerKelvin::clamped(self.air_ua_w_k),
                    Celsius::clamped(coldest_water_c),
                )
            })
            .map_or(outside_c, Celsius::value);
        enclosure_step(before_c, around_c, self.tau_env_h, 1.0)
    }

    /// Convection in the wind of the hour where wind reaches, W/(m2 K), on a body of 50 mm.
    fn convection_w_m2k(&self, wind_ms: f64) -> f64 {
        const BODY_M: f64 = 0.05;
        if !self.wind_reaches {
            return self.h_convection_w_m2k;
        }
        let in_wind = film_in_wind(BODY_M, MetresPerSecond::clamped(wind_ms))
            - film_in_still_air(BODY_M, KelvinDelta::clamped(0.0));
        in_wind.max(self.h_convection_w_m2k)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::physics::surroundings::exposure;

    const CLEAR_NIGHT: WeatherHour = WeatherHour {
        air_c: 0.0,
        dew_point_c: Some(-4.0),
        cloud: Some(0.0),
        wind_ms: Some(0.5),
        night: true,
        water_c: None,
    };

    fn felt(id: &str, hour: WeatherHour) -> f64 {
        exposure(id).unwrap().felt_c(5.0, &hour, -1.9)
    }

    #[test]
    fn a_clear_calm_night_is_colder_in_the_open_and_nowhere_else() {
        // The sky balance on a small body: -2 to -4 K on a clear calm night.
        assert!((-4.0..-2.0).contains(&felt("open_part", CLEAR_NIGHT)));
        let day = WeatherHour { night: false, ..CLEAR_NIGHT };
        assert_eq!(felt("open_part", day), 0.0);
        let windy = WeatherHour { wind_ms: Some(8.0), ..CLEAR_NIGHT };
        assert!(felt("open_part", windy) > -1.0);
        let unknown = WeatherHour { cloud: None, ..CLEAR_NIGHT };
        assert_eq!(felt("open_part", unknown), felt("open_part", CLEAR_NIGHT));
        let overcast = WeatherHour { cloud: Some(1.0), ..CLEAR_NIGHT };
        assert!(felt("open_part", overcast) > -1.0);
    }

    #[test]
    fn enclosures_lag_and_warm_water_holds_a_hull_up() {
        let cold = WeatherHour { air_c: -15.0, ..CLEAR_NIGHT };
        assert!(felt("shed_unheated", cold) > 0.0);
        assert!(felt("covered", cold) < felt("open_hull", cold));
        let floating = WeatherHour { water_c: Some(4.0), ..cold };
        let below = exposure("afloat_below").unwrap();
        let steady = (0..100).fold(5.0, |inside, _| below.felt_c(inside, &floating, -1.9));
        assert!((steady - (0.75 * 4.0 - 0.25 * 15.0)).abs() < 0.01, "{steady}");
        let frozen_harbour = WeatherHour { water_c: Some(-10.0), ..cold };
        let steady = (0..100).fold(5.0, |inside, _| below.felt_c(inside, &frozen_harbour, -1.9));
        assert!((steady - (0.75 * -1.9 - 0.25 * 15.0)).abs() < 0.01, "{steady}");
    }
}
