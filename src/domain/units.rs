//! Quantities with their unit in the type, so that a Celsius cannot be added to a litre and a mass share cannot be
//! read as a volume share.
//!
//! Each constructor refuses what cannot be (not finite, outside the stated range) with a [`UnitError`] that says what
//! would be right. Only the operators that mean something exist: `Celsius - Celsius` is a [`KelvinDelta`].

use std::fmt;
use std::ops::{Add, Neg, Sub};

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A number that is not a value of its quantity.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{value} is not a {what}: it must be a number from {low} to {high} {unit}")]
pub struct UnitError {
    what: &'static str,
    unit: &'static str,
    value: f64,
    low: f64,
    high: f64,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $what:literal, $unit:literal, $low:expr, $high:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("Checks that `value` is finite and a possible ", $what, " in ", $unit, ".")]
            ///
            /// # Errors
            /// [`UnitError`] names the allowed range.
            pub fn new(value: f64) -> Result<Self, UnitError> {
                if value.is_finite() && ($low..=$high).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err(UnitError { what: $what, unit: $unit, value, low: $low, high: $high })
                }
            }

            #[doc = concat!("The nearest possible ", $what, "; not-a-number becomes the lower end.")]
            #[must_use]
            pub fn clamped(value: f64) -> Self {
                if value.is_nan() { Self($low) } else { Self(value.clamp($low, $high)) }
            }

            #[doc = concat!("The number, in ", $unit, ".")]
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = UnitError;
            fn try_from(value: f64) -> Result<Self, UnitError> {
                Self::new(value)
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> f64 {
                quantity.0
            }
        }
    };
}

quantity!(
    /// A temperature in degrees Celsius, from absolute zero to far above boiling.
    Celsius, "temperature", "C", -273.15, 1000.0
);
quantity!(
    /// A difference of temperatures in kelvin.
    KelvinDelta, "temperature difference", "K", -1300.0, 1300.0
);
quantity!(
    /// A volume of liquid in litres, never negative.
    Litres, "volume", "L", 0.0, 1.0e6
);
quantity!(
    /// A mass in kilograms, never negative.
    Kilograms, "mass", "kg", 0.0, 1.0e7
);
quantity!(
    /// A length of time in hours; negative where a moment has passed.
    Hours, "duration", "h", -1.0e7, 1.0e7
);
quantity!(
    /// A share of a whole, 0 to 1.
    Fraction, "share", "(0 to 1)", 0.0, 1.0
);
quantity!(
    /// Solute mass over solution mass, 0 to 1.
    MassFraction, "mass fraction", "(0 to 1)", 0.0, 1.0
);
quantity!(
    /// Solute volume over the sum of the pure volumes at 20 C before mixing, 0 to 1.
    VolumeFraction, "volume fraction", "(0 to 1)", 0.0, 1.0
);
quantity!(
    /// Practical salinity, without unit.
    Salinity, "practical salinity", "(0 to 42)", 0.0, 42.0
);
quantity!(
    /// Specific gravity of battery acid at 25 C.
    SpecificGravity, "specific gravity", "(1.000 to 1.400)", 1.0, 1.4
);
quantity!(
    /// A chance, 0 to 1.
    Chance, "chance", "(0 to 1)", 0.0, 1.0
);
quantity!(
    /// Heat conductance in watts per kelvin.
    WattsPerKelvin, "heat conductance", "W/K", 0.0, 1.0e6
);
quantity!(
    /// Heat capacity in joules per kelvin.
    JoulesPerKelvin, "heat capacity", "J/K", 0.0, 1.0e12
);
quantity!(
    /// Wind speed in metres per second.
    MetresPerSecond, "wind speed", "m/s", 0.0, 120.0
);

/// Degrees Fahrenheit as C, unchecked.
#[must_use]
pub const fn fahrenheit_as_celsius(degrees: f64) -> f64 {
    (degrees - 32.0) / 1.8
}

/// C as degrees Fahrenheit, unchecked.
#[must_use]
pub const fn celsius_as_fahrenheit(degrees: f64) -> f64 {
    degrees * 1.8 + 32.0
}

/// A difference in K as degrees Fahrenheit, without the 32.
#[must_use]
pub const fn kelvin_as_fahrenheit(kelvin: f64) -> f64 {
    kelvin * 1.8
}

/// Degrees Fahrenheit as C in tables of units: times the first, plus the second.
pub const FAHRENHEIT_TO_CELSIUS: (f64, f64) = (1.0 / 1.8, -32.0 / 1.8);

impl TemperatureScale {
    /// C as degrees of this scale, unchecked.
    #[must_use]
    pub const fn of_celsius(self, degrees: f64) -> f64 {
        match self {
            Self::C => degrees,
            Self::F => celsius_as_fahrenheit(degrees),
        }
    }

    /// Degrees of this scale as C, unchecked.
    #[must_use]
    pub const fn as_celsius(self, degrees: f64) -> f64 {
        match self {
            Self::C => degrees,
            Self::F => fahrenheit_as_celsius(degrees),
        }
    }
}

impl Celsius {
    /// The freezing point of air-free pure water under one atmosphere.
    pub const FREEZING: Self = Self(0.0);

    /// From degrees Fahrenheit.
    ///
    /// # Errors
    /// As [`Celsius::new`].
    pub fn from_fahrenheit(degrees: f64) -> Result<Self, UnitError> {
        Self::new(fahrenheit_as_celsius(degrees))
    }

    /// In degrees Fahrenheit.
    #[must_use]
    pub fn as_fahrenheit(self) -> f64 {
        celsius_as_fahrenheit(self.0)
    }
}

impl KelvinDelta {
    /// As a difference of degrees Fahrenheit (without the 32).
    #[must_use]
    pub fn as_fahrenheit_delta(self) -> f64 {
        kelvin_as_fahrenheit(self.0)
    }
}

impl Sub for Celsius {
    type Output = KelvinDelta;
    fn sub(self, other: Self) -> KelvinDelta {
        KelvinDelta(self.0 - other.0)
    }
}

impl Add<KelvinDelta> for Celsius {
    type Output = Self;
    fn add(self, delta: KelvinDelta) -> Self {
        Self(self.0 + delta.0)
    }
}

impl Sub<KelvinDelta> for Celsius {
    type Output = Self;
    fn sub(self, delta: KelvinDelta) -> Self {
        Self(self.0 - delta.0)
    }
}

impl Neg for KelvinDelta {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Add for Litres {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

/// Which scale a reader sees first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum TemperatureScale {
    /// Degrees Fahrenheit first.
    #[default]
    F,
    /// Degrees Celsius first.
    C,
}

/// A temperature for people: both scales, the reader's own first, each rounded from the unrounded value.
///
/// ```
/// use rimeward::domain::units::{Celsius, TemperatureScale, in_both_scales};
/// let low = Celsius::from_fahrenheit(21.0).unwrap();
/// assert_eq!(in_both_scales(low, TemperatureScale::F), "21 F (-6 C)");
/// assert_eq!(in_both_scales(low, TemperatureScale::C), "-6 C (21 F)");
/// ```
#[must_use]
pub fn in_both_scales(temperature: Celsius, first: TemperatureScale) -> String {
    let f = Whole(temperature.as_fahrenheit());
    let c = Whole(temperature.value());
    match first {
        TemperatureScale::F => format!("{f} F ({c} C)"),
        TemperatureScale::C => format!("{c} C ({f} F)"),
    }
}

/// A number printed as a whole one, without the sign of a negative zero.
struct Whole(f64);

impl fmt::Display for Whole {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rounded = self.0.round();
        write!(out, "{}", if rounded == 0.0 { 0.0 } else { rounded })
    }
}

/// `20 min`, `2 h`, `2 h 40 min`: a time of work.
#[must_use]
pub fn work_time(minutes: u32) -> String {
    match (minutes / 60, minutes % 60) {
        (0, rest) => format!("{rest} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, rest) => format!("{hours} h {rest} min"),
    }
}

/// Marks in a person's text that nobody sees: controls but for line ends and tabs, and marks that embed, override or
/// isolate the direction (Unicode Annex 9).
#[must_use]
pub fn is_hidden(letter: char) -> bool {
    let spacing = matches!(letter, '\n' | '\r' | '\t');
    (letter.is_control() && !spacing)
        || matches!(letter, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_is_refused_with_the_range() {
        for value in [f64::NAN, f64::INFINITY, -300.0] {
            let refusal = Celsius::new(value).unwrap_err().to_string();
            assert!(refusal.contains("-273.15"), "{refusal}");
        }
        assert!(MassFraction::new(1.2).is_err());
        assert!(Litres::new(-1.0).is_err());
    }

    #[test]
    fn a_negative_zero_has_no_sign() {
        assert_eq!(in_both_scales(Celsius::clamped(-0.2), TemperatureScale::C), "0 C (32 F)");
    }
}
