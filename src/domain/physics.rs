//! What a liquid does in the cold, and how a part full of it cools.

use serde::{Deserialize, Serialize};

use crate::domain::units::{Celsius, MassFraction, Salinity, SpecificGravity};

/// What is dissolved in the water of a blend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Solute {
    /// 1,2-propanediol.
    PropyleneGlycol,
    /// 1,2-ethanediol: poisonous.
    EthyleneGlycol,
    /// Ethyl alcohol.
    Ethanol,
    /// Methyl alcohol.
    Methanol,
    /// 1,2,3-propanetriol.
    Glycerol,
}

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

impl Liquid {
    /// Temperature at which the first ice forms.
    #[must_use]
    pub fn first_ice(&self) -> Celsius {
        Celsius::FREEZING
    }

    /// Temperature at which the share `share` (0 to 1, by mass) of the liquid is ice; `None` past the end of the data.
    #[must_use]
    pub fn temperature_at_ice_share(&self, _share: f64) -> Option<Celsius> {
        None
    }
}
