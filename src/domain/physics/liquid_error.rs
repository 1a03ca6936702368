//! Why a liquid or a mixture cannot be.

use thiserror::Error;

use super::solute::{STRONGEST, Solute};
use crate::domain::units::UnitError;

/// A question about a liquid that has no answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LiquidError {
    /// A name that is no fluid.
    #[error(
        "`{0}` is no fluid known here; known are fresh-water, sea-water, propylene-glycol, ethylene-glycol, ethanol, methanol, glycerol, battery-acid"
    )]
    UnknownFluid(String),
    /// A reading that no mix of this solute gives.
    #[error(
        "no mix of {solute} has its first ice at {t_c} C: the curve runs from 0 C (plain water) to {end_c:.1} C at {STRONGEST} by mass; check the reading, its scale and its unit"
    )]
    OffTheCurve {
        /// Which solute.
        solute: Solute,
        /// The reading.
        t_c: f64,
        /// The coldest first ice of the curve.
        end_c: f64,
    },
    /// Nothing was poured together.
    #[error("mixing needs more than 0 L in all; both amounts were 0")]
    NothingToMix,
    /// A value outside its range.
    #[error(transparent)]
    Unit(#[from] UnitError),
}
