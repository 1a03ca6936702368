//! A liquid in the cold: first ice, how much of it is ice at a temperature, slush and burst.
//!
//! The ice that separates is pure water, so the rest gets stronger and its own first ice colder: with an overall
//! strength `x0` and ice share `f` the liquid that is left has `x0 / (1 - f)` (the lever rule). Slush is said at 15 % ice
//! by mass and burst at one third, which is what the published burst tables come to (within 2 K).

use serde::{Deserialize, Serialize};

pub use super::liquid_error::LiquidError;
use super::solute::{STRONGEST, Solute, spread};
use super::strength::mass_from_volume;
use super::{battery, sea};
use crate::domain::units::{Celsius, MassFraction, Salinity, SpecificGravity, VolumeFraction};

/// Share of ice by mass at which a blend is slush: pumps may not turn.
pub const SLUSH_SHARE: f64 = 0.15;

/// Share of ice by mass at which parts are likely to break.
pub const BURST_SHARE: f64 = 1.0 / 3.0;

/// A liquid that may freeze.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "liquid", rename_all = "kebab-case")]
pub enum Liquid {
    /// Fresh water.
    FreshWater,
    /// Sea water.
    SeaWater {
        /// Practical salinity.
        salinity: Salinity,
    },
    /// Water with antifreeze.
    Blend {
        /// What is dissolved.
        solute: Solute,
        /// Solute mass over solution mass.
        mass_fraction: MassFraction,
    },
    /// Battery acid.
    BatteryAcid {
        /// Specific gravity at 25 C.
        specific_gravity: SpecificGravity,
    },
}

/// Where the data of a liquid end on the cold side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DataEnd {
    /// The coldest temperature for which an ice share is known.
    pub temperature: Celsius,
    /// The ice share there, 0 to 1.
    pub ice_share: f64,
}

impl Liquid {
    /// A blend by the volumes before mixing at 20 C.
    #[must_use]
    pub fn blend_by_volume(solute: Solute, volume: VolumeFraction) -> Self {
        Self::Blend { solute, mass_fraction: mass_from_volume(solute, volume) }
    }

    /// The blend whose first ice is at `first_ice`, as a refractometer with the right scale gives it.
    ///
    /// # Errors
    /// [`LiquidError::OffTheCurve`] above 0 C and beyond the end of the solute's curve.
    pub fn blend_from_first_ice(solute: Solute, first_ice: Celsius) -> Result<Self, LiquidError> {
        let x = solute.mass_fraction_at_c(first_ice.value()).ok_or(LiquidError::OffTheCurve {
            solute,
            t_c: first_ice.value(),
            end_c: solute.first_ice_c(STRONGEST),
        })?;
        Ok(Self::Blend { solute, mass_fraction: MassFraction::new(x)? })
    }

    /// Temperature at which the first ice forms. Of a blend above 0.60 by mass, where the curve ends, the warmest credible
    /// value; see [`Solute::first_ice_c`].
    #[must_use]
    pub fn first_ice(&self) -> Celsius {
        Celsius::clamped(match self {
            Self::FreshWater => 0.0,
            Self::SeaWater { salinity } => sea::first_ice_c(salinity.value()),
            Self::Blend { solute, mass_fraction } => solute.first_ice_c(mass_fraction.value()),
            Self::BatteryAcid { specific_gravity } => {
                battery::first_ice_c(specific_gravity.value())
            }
        })
    }

    /// Temperature at which the share `share` (0 to 1, by mass) of the liquid is ice.
    ///
    /// Plain water freezes through at 0 C, whatever the share. `None` past the end of the data, for shares that are
    /// no share, and for battery acid and blends above 0.60 by mass at any share but 0.
    #[must_use]
    pub fn temperature_at_ice_share(&self, share: f64) -> Option<Celsius> {
        if !(0.0..=1.0).contains(&share) {
            return None;
        }
        if share == 0.0 || self.is_plain_water() {
            return Some(self.first_ice());
        }
        let (strength, strongest) = self.strength()?;
        let left = strength / (1.0 - share);
        (left <= strongest).then(|| Celsius::clamped(self.first_ice_of_rest_c(left)))
    }

    /// Share of ice by mass, 0 to 1, in balance at `temperature`.
    ///
    /// Plain water is a step: 0 above 0 C, 1 below, and `None` at 0 C where any share is in balance. `None` also below
    /// the end of the data, and for battery acid below first ice.
    #[must_use]
    pub fn ice_share_at(&self, temperature: Celsius) -> Option<f64> {
        let t_c = temperature.value();
        if self.is_plain_water() {
            return match t_c.total_cmp(&0.0) {
                _ if t_c == 0.0 => None,
                std::cmp::Ordering::Less => Some(1.0),
                _ => Some(0.0),
            };
        }
        if t_c >= self.first_ice().value() {
            return Some(0.0);
        }
        let (strength, _) = self.strength()?;
        let left = match self {
            Self::SeaWater { .. } => sea::brine_salinity_at_c(t_c)?,
            Self::Blend { solute, .. } => solute.mass_fraction_at_c(t_c)?,
            Self::FreshWater | Self::BatteryAcid { .. } => return None,
        };
        Some((1.0 - strength / left).clamp(0.0, 1.0))
    }

    /// Temperature at 15 % ice by mass; `None` where the data end first.
    #[must_use]
    pub fn slush(&self) -> Option<Celsius> {
        self.temperature_at_ice_share(SLUSH_SHARE)
    }

    /// Temperature at one third ice by mass; `None` where the data end first.
    #[must_use]
    pub fn burst(&self) -> Option<Celsius> {
        self.temperature_at_ice_share(BURST_SHARE)
    }

    /// The cold end of the data; `None` for plain water, which has none, and for battery acid and blends above 0.60 by
    /// mass, whose ice share has no data at all.
    #[must_use]
    pub fn data_end(&self) -> Option<DataEnd> {
        if self.is_plain_water() {
            return None;
        }
        let (strength, strongest) = self.strength()?;
        Some(DataEnd {
            temperature: Celsius::clamped(self.first_ice_of_rest_c(strongest)),
            ice_share: (1.0 - strength / strongest).clamp(0.0, 1.0),
        })
    }

    /// How far published first-ice figures lie apart for this liquid, K, about one standard deviation.
    #[must_use]
    pub fn spread_k(&self) -> f64 {
        match self {
            Self::FreshWater => 0.0,
            // UNESCO 1983 against TEOS-10, both published; 0.0032 K at most.
            Self::SeaWater { .. } => 0.003,
            // Plain water has no band.
            Self::Blend { mass_fraction, .. } if mass_fraction.value() <= 0.0 => 0.0,
            Self::Blend { solute, mass_fraction } => solute.spread_k(mass_fraction.value()),
            Self::BatteryAcid { specific_gravity } => {
                spread("battery-acid", specific_gravity.value())
            }
        }
    }

    /// Do measured points reach as far as the figure for the share `share` (0 to 1) of ice? Where they do not, no band is known.
    #[must_use]
    pub fn has_points_at(&self, share: f64) -> bool {
        match self {
            Self::Blend { solute, mass_fraction } if share < 1.0 => {
                mass_fraction.value() / (1.0 - share) <= solute.measured_between().1
            }
            _ => true,
        }
    }

    /// The same for the temperature at which the share `share` (0 to 1) is ice: of a blend as of what is left between the ice, which
    /// is stronger.
    #[must_use]
    pub fn spread_k_at_ice_share(&self, share: f64) -> f64 {
        match self {
            Self::Blend { solute, mass_fraction } if share < 1.0 && mass_fraction.value() > 0.0 => {
                solute.spread_k(mass_fraction.value() / (1.0 - share))
            }
            _ => self.spread_k(),
        }
    }

    /// Where the figures for this liquid were published.
    #[must_use]
    pub fn sources(&self) -> Vec<&'static str> {
        match self {
            Self::FreshWater => vec!["IAPWS-95 and IAPWS R10-06"],
            Self::SeaWater { .. } => vec![
                "UNESCO Tech. Pap. Mar. Sci. 44 (1983), after Millero and Leung",
                "lever rule, salt-free ice",
            ],
            Self::Blend { solute, .. } => {
                vec![solute.source(), "lever rule: slush at 15 % ice by mass, burst at one third"]
            }
            Self::BatteryAcid { .. } => {
                vec!["US Army OD1002 and TM 5-1185", "Polaris owner manual, off-season storage"]
            }
        }
    }

    /// Its name in contracts.
    #[must_use]
    pub const fn fluid(&self) -> &'static str {
        match self {
            Self::FreshWater => "fresh-water",
            Self::SeaWater { .. } => "sea-water",
            Self::Blend { solute, .. } => solute.name(),
            Self::BatteryAcid { .. } => "battery-acid",
        }
    }

    /// Freezes at one temperature, with nothing dissolved that would matter.
    pub(crate) fn is_plain_water(&self) -> bool {
        self.strength().is_some_and(|(strength, _)| strength < 1e-9)
    }

    /// Strength of the whole and the strongest rest for which the curve holds, in the liquid's own measure; `None` for
    /// what has no curve: battery acid, and blends beyond the end of theirs.
    pub(crate) fn strength(&self) -> Option<(f64, f64)> {
        match self {
            Self::FreshWater => Some((0.0, 1.0)),
            Self::SeaWater { salinity } => Some((salinity.value(), sea::SALTIEST_BRINE)),
            Self::Blend { mass_fraction, .. } => {
                (mass_fraction.value() <= STRONGEST).then(|| (mass_fraction.value(), STRONGEST))
            }
            Self::BatteryAcid { .. } => None,
        }
    }

    /// First ice of the liquid between the ice, at its strength, in C.
    pub(crate) fn first_ice_of_rest_c(&self, strength: f64) -> f64 {
        match self {
            Self::SeaWater { .. } => sea::first_ice_c(strength),
            Self::Blend { solute, .. } => solute.first_ice_c(strength),
            Self::FreshWater | Self::BatteryAcid { .. } => self.first_ice().value(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pg(volume: f64) -> Liquid {
        Liquid::blend_by_volume(Solute::PropyleneGlycol, VolumeFraction::new(volume).unwrap())
    }

    #[test]
    fn thirty_percent_pink_is_ice_at_minus_thirteen_and_a_third_ice_at_minus_twenty_seven() {
        // The physics of a "-50 F" jug: Melinder 2010 with the lever rule.
        let pink = pg(0.30);
        assert!((pink.first_ice().value() + 13.3).abs() < 0.1);
        assert!((pink.burst().unwrap().value() + 27.2).abs() < 0.1);
        assert!(pg(0.50).burst().is_none(), "the data end before a third is ice");
        assert!(pg(0.50).slush().is_some());
    }

    #[test]
    fn published_burst_protection_is_the_lever_rule_within_two_kelvin() {
        // Goodheart-Willcox 2018, exercise 5-4: volume percent against degrees F of burst protection.
        for (percent, rating_f) in
            [(12.0, 20.0), (20.0, 10.0), (24.0, 0.0), (28.0, -10.0), (31.0, -20.0), (33.0, -30.0)]
        {
            let published = Celsius::from_fahrenheit(rating_f).unwrap();
            let computed = pg(percent / 100.0).burst().unwrap();
            assert!((computed - published).value().abs() < 2.0, "{percent} % {computed:?}");
        }
    }

    #[test]
    fn plain_water_is_a_step() {
        let water = Liquid::FreshWater;
        assert_eq!(water.ice_share_at(Celsius::clamped(0.1)), Some(0.0));
        assert_eq!(water.ice_share_at(Celsius::FREEZING), None);
        assert_eq!(water.ice_share_at(Celsius::clamped(-0.1)), Some(1.0));
        assert_eq!(water.burst(), Some(Celsius::FREEZING));
        assert_eq!(water.temperature_at_ice_share(1.5), None);
        assert_eq!(water.temperature_at_ice_share(f64::NAN), None);
        let unsalted = Liquid::SeaWater { salinity: Salinity::new(0.0).unwrap() };
        assert_eq!(unsalted.ice_share_at(Celsius::clamped(-1.0)), Some(1.0));
    }

    #[test]
    fn sea_water_at_minus_five_is_more_than_half_ice() {
        // gsw 3.6.23 with salt-free ice: 0.5834 at salinity 35.
        let sea = Liquid::SeaWater { salinity: Salinity::new(35.0).unwrap() };
        assert!((sea.ice_share_at(Celsius::clamped(-5.0)).unwrap() - 0.5834).abs() < 0.01);
        assert_eq!(sea.ice_share_at(Celsius::clamped(-30.0)), None);
    }

    #[test]
    fn of_battery_acid_only_first_ice_is_said() {
        let acid = Liquid::BatteryAcid { specific_gravity: SpecificGravity::new(1.2).unwrap() };
        assert_eq!(acid.first_ice().value(), -26.7);
        assert_eq!(acid.temperature_at_ice_share(0.0), Some(acid.first_ice()));
        assert_eq!(acid.burst(), None);
        assert_eq!(acid.ice_share_at(Celsius::clamped(-40.0)), None);
    }

    #[test]
    fn a_reading_off_the_curve_is_refused_with_the_range() {
        let cold = Liquid::blend_from_first_ice(Solute::PropyleneGlycol, Celsius::clamped(-70.0));
        assert!(cold.unwrap_err().to_string().contains("-50.0 C"));
        let warm = Liquid::blend_from_first_ice(Solute::PropyleneGlycol, Celsius::clamped(2.0));
        assert!(warm.is_err());
        let right = Liquid::blend_from_first_ice(Solute::PropyleneGlycol, Celsius::clamped(-11.0));
        assert!((right.unwrap().first_ice().value() + 11.0).abs() < 1e-6);
    }

    #[test]
    fn the_written_form_of_a_liquid_is_stable() {
        let text = serde_json::to_string(&pg(0.0)).unwrap();
        assert_eq!(text, r#"{"liquid":"blend","solute":"propylene-glycol","mass_fraction":0.0}"#);
    }
}
