//! Refractometer readings: what counts as evidence of a strength and what does not.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::liquid::{Liquid, LiquidError};
use super::solute::Solute;
use crate::domain::units::Celsius;

/// What somebody read off a refractometer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// First ice as read.
    pub first_ice: Celsius,
    /// The scale that was read, where it was written down.
    pub scale: Option<Solute>,
    /// What is in the circuit, where that is known to be one fluid; `None` for a mixture or an unknown product.
    pub fluid: Option<Solute>,
    /// Whether the instrument was set on water that day.
    pub calibrated: bool,
}

/// Why a reading is no evidence.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NotEvidence {
    /// The scale was not written down.
    #[error(
        "the scale of the reading is not known: a wrong one errs by 10 C and more (ASTM D3321)"
    )]
    NoScale,
    /// Nobody knows what is in it, or it is a mixture.
    #[error("what is in it is a mixture or not known: no scale reads that (ASTM D3321)")]
    Mixture,
    /// Read on the scale of another fluid.
    #[error("{fluid} was read on the scale of {scale}: read it again on its own scale")]
    WrongScale {
        /// What is in it.
        fluid: Solute,
        /// The scale that was read.
        scale: Solute,
    },
    /// No field instrument reads it.
    #[error("{0} cannot be read with a refractometer; only the recipe tells its strength")]
    NoInstrument(Solute),
    /// The instrument was not set on water.
    #[error("the instrument was not set on water before reading: it may be off by several degrees")]
    NotCalibrated,
    /// No mix reads like that.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
}

impl Reading {
    /// The blend that was measured.
    ///
    /// # Errors
    /// [`NotEvidence`] when the reading tells no strength.
    pub fn as_liquid(&self) -> Result<Liquid, NotEvidence> {
        let fluid = self.fluid.ok_or(NotEvidence::Mixture)?;
        if !matches!(fluid, Solute::PropyleneGlycol | Solute::EthyleneGlycol) {
            return Err(NotEvidence::NoInstrument(fluid));
        }
        let scale = self.scale.ok_or(NotEvidence::NoScale)?;
        if scale != fluid {
            return Err(NotEvidence::WrongScale { fluid, scale });
        }
        if !self.calibrated {
            return Err(NotEvidence::NotCalibrated);
        }
        Ok(Liquid::blend_from_first_ice(fluid, self.first_ice)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_right_scale_on_one_known_fluid_is_evidence() {
        let (pg, eg) = (Some(Solute::PropyleneGlycol), Some(Solute::EthyleneGlycol));
        let good =
            Reading { first_ice: Celsius::clamped(-20.0), scale: pg, fluid: pg, calibrated: true };
        assert!((good.as_liquid().unwrap().first_ice().value() + 20.0).abs() < 1e-6);
        let no = |reading: Reading| reading.as_liquid().unwrap_err();
        assert_eq!(no(Reading { scale: None, ..good }), NotEvidence::NoScale);
        assert_eq!(no(Reading { fluid: None, ..good }), NotEvidence::Mixture);
        assert!(matches!(no(Reading { scale: eg, ..good }), NotEvidence::WrongScale { .. }));
        assert_eq!(no(Reading { calibrated: false, ..good }), NotEvidence::NotCalibrated);
        let spirit = Some(Solute::Ethanol);
        let alcohol = Reading { fluid: spirit, scale: spirit, ..good };
        assert_eq!(no(alcohol), NotEvidence::NoInstrument(Solute::Ethanol));
        let beyond = Reading { first_ice: Celsius::clamped(-70.0), ..good };
        assert!(matches!(no(beyond), NotEvidence::Liquid(_)));
    }
}
