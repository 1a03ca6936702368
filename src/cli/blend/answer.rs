//! What is known of the mixture that was asked about.

use super::mix::Mix;
use super::remedy;
use crate::domain::physics::Liquid;
use crate::domain::units::Celsius;

/// What the calculator found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    /// What counts: of a range the end that freezes first.
    pub liquid: Liquid,
    /// How it came about, of a blend.
    pub mix: Option<Mix>,
    /// The temperature asked for and the ice share there, where known.
    pub at: Option<(Celsius, Option<f64>)>,
    pub remedy: Option<remedy::Remedy>,
    pub cautions: Vec<&'static str>,
}

/// May water lie where the flow did not reach?
pub(super) fn has_pocket(answer: &Answer) -> bool {
    let pocket = answer.mix.as_ref().and_then(|mix| mix.worst_pocket);
    pocket.is_some_and(|pocket| pocket != answer.liquid)
}
