//! From the unit that a document names to ours. A unit that is absent or unknown converts nothing.

use crate::domain::units::FAHRENHEIT_TO_CELSIUS;

/// Coldest air temperature that is believed, in C. Outside -70..60 C lie only fill values and faults.
pub const AIR_C_MIN: f64 = -70.0;
/// Warmest air temperature that is believed, in C.
pub const AIR_C_MAX: f64 = 60.0;
/// Strongest sustained wind that is believed, in m/s (the record gust is 113 m/s, WMO archive, Barrow Island 1996).
pub const WIND_MS_MAX: f64 = 113.0;
/// Most water that is believed of one stretch of a forecast, in mm (the record of 24 h is 1,825 mm, WMO archive, Reunion 1966).
pub const WATER_MM_MAX: f64 = 1_825.0;
/// Most snow that is believed of one stretch, in cm (the record of 24 h is 193 cm, NOAA, Silver Lake 1921; from memory).
pub const SNOW_CM_MAX: f64 = 195.0;

/// What kind of quantity a layer holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Air temperature or dew point; ours is C.
    Temperature,
    /// Wind; ours is m/s.
    Speed,
    /// A share; ours is 0 to 1.
    Share,
    /// Water that falls, melted; ours is mm.
    Water,
    /// Depth of fresh snow; ours is cm.
    Snow,
}

/// A linear conversion into our unit: `value * factor + shift`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conversion {
    factor: f64,
    shift: f64,
    quantity: Quantity,
}

impl Conversion {
    /// By the unit's name: a WMO code with or without its prefix (`wmoUnit:degC`, `unit:degC`, a code list's address),
    /// or the plain letters of the forecast texts (`F`, `mph`). `None` when the unit is unknown or of another quantity.
    #[must_use]
    pub fn find(quantity: Quantity, unit: &str) -> Option<Self> {
        let code = unit.rsplit([':', '/']).next().filter(|_| unit.len() < 200)?;
        // A speed such as km/h has the separator inside.
        let code = if unit.ends_with("km/h") { "km/h" } else { code };
        let code = if unit.ends_with("m/s") { "m/s" } else { code };
        let code = if unit == "mp/h" { "mph" } else { code };
        let (factor, shift) = match (quantity, code) {
            (Quantity::Temperature, "degC" | "C" | "Celsius" | "celsius" | "°C") => (1.0, 0.0),
            (Quantity::Temperature, "degF" | "F" | "°F") => FAHRENHEIT_TO_CELSIUS,
            (Quantity::Temperature, "K") => (1.0, -273.15),
            (Quantity::Speed, "m_s-1" | "m/s") => (1.0, 0.0),
            (Quantity::Speed, "km_h-1" | "km/h") => (1.0 / 3.6, 0.0),
            // International knot and mile (exact by definition: 1852 m, 1609.344 m).
            (Quantity::Speed, "kt" | "kn") => (1852.0 / 3600.0, 0.0),
            (Quantity::Speed, "mi_h-1" | "mph") => (0.44704, 0.0),
            (Quantity::Share, "percent" | "%") => (0.01, 0.0),
            (Quantity::Share, "1") => (1.0, 0.0),
            // A kilogram on a square metre is a millimetre of water.
            (Quantity::Water, "mm" | "kg_m-2") => (1.0, 0.0),
            (Quantity::Water, "cm") => (10.0, 0.0),
            (Quantity::Water, "inch" | "in") => (25.4, 0.0),
            (Quantity::Snow, "cm") => (1.0, 0.0),
            (Quantity::Snow, "mm") => (0.1, 0.0),
            (Quantity::Snow, "m") => (100.0, 0.0),
            (Quantity::Snow, "inch" | "in") => (2.54, 0.0),
            _ => return None,
        };
        Some(Self { factor, shift, quantity })
    }

    /// Converts; `None` when the result cannot be: not finite, outside the believed range.
    #[must_use]
    pub fn apply(self, value: f64) -> Option<f64> {
        let ours = value * self.factor + self.shift;
        let possible = match self.quantity {
            Quantity::Temperature => (AIR_C_MIN..=AIR_C_MAX).contains(&ours),
            Quantity::Speed => (0.0..=WIND_MS_MAX).contains(&ours),
            Quantity::Share => (0.0..=1.0).contains(&ours),
            Quantity::Water => (0.0..=WATER_MM_MAX).contains(&ours),
            Quantity::Snow => (0.0..=SNOW_CM_MAX).contains(&ours),
        };
        possible.then_some(ours)
    }
}

/// Dew point in C from the air temperature in C and the relative humidity (0 to 1): Magnus formula with the
/// coefficients of Sonntag 1990 (over water, -45..60 C). `None` for a share that cannot be.
#[must_use]
pub fn dew_point(air_c: f64, humidity: f64) -> Option<f64> {
    const A: f64 = 17.62;
    const B_C: f64 = 243.12;
    if !(0.005..=1.0).contains(&humidity) {
        return None;
    }
    let gamma = humidity.ln() + A * air_c / (B_C + air_c);
    let dew = B_C * gamma / (A - gamma);
    (AIR_C_MIN..=AIR_C_MAX).contains(&dew).then_some(dew)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_converted_by_the_unit_that_is_named() {
        let check = |quantity, unit, value, expect: f64| {
            let ours = Conversion::find(quantity, unit).unwrap().apply(value).unwrap();
            assert!((ours - expect).abs() < 1e-9, "{unit}: {ours}");
        };
        check(Quantity::Temperature, "wmoUnit:degC", -5.0, -5.0);
        check(Quantity::Temperature, "unit:degC", -5.0, -5.0);
        check(Quantity::Temperature, "http://codes.wmo.int/common/unit/degC", -5.0, -5.0);
        check(Quantity::Temperature, "F", 23.0, -5.0);
        check(Quantity::Temperature, "wmoUnit:K", 273.15, 0.0);
        check(Quantity::Speed, "wmoUnit:km_h-1", 36.0, 10.0);
        check(Quantity::Speed, "km/h", 36.0, 10.0);
        check(Quantity::Speed, "mph", 10.0, 4.4704);
        check(Quantity::Share, "wmoUnit:percent", 72.0, 0.72);
        check(Quantity::Water, "wmoUnit:mm", 2.5, 2.5);
        check(Quantity::Water, "inch", 1.0, 25.4);
        check(Quantity::Snow, "wmoUnit:mm", 120.0, 12.0);
        check(Quantity::Snow, "inch", 1.0, 2.54);
    }

    #[test]
    fn an_unknown_unit_converts_nothing() {
        for unit in ["", "wmoUnit:", "degC", "furlong", "wmoUnit:degR"] {
            assert!(Conversion::find(Quantity::Speed, unit).is_none(), "{unit}");
        }
    }

    #[test]
    fn a_fill_value_is_not_a_temperature() {
        let celsius = Conversion::find(Quantity::Temperature, "wmoUnit:degC").unwrap();
        // The netCDF default fill value, seen in the service's documents (jxmot/weather-api-reviews).
        assert_eq!(celsius.apply(9.969_21e36), None);
        assert_eq!(celsius.apply(-9999.0), None);
        assert_eq!(celsius.apply(f64::NAN), None);
        assert_eq!(celsius.apply(-70.0), Some(-70.0));
    }

    #[test]
    fn the_dew_point_follows_the_printed_table() {
        // WMO-No. 8 style psychrometric tables: 20 C at 50 % has its dew point at 9.3 C; saturated air at its own.
        assert!((dew_point(20.0, 0.5).unwrap() - 9.3).abs() < 0.1);
        assert!((dew_point(-5.0, 1.0).unwrap() + 5.0).abs() < 1e-9);
        assert_eq!(dew_point(20.0, 0.0), None);
    }
}
