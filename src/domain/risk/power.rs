//! What hangs on power: how long a circuit in a heated place stays without ice once the heat is gone.

use serde::{Deserialize, Serialize};

use super::case::Outcome;
use super::{Consequence, Limit};
use crate::domain::boat::{CircuitId, CircuitState};

/// Shares of the members by which ice has begun: early, in the middle, late.
const SHARES: [f64; 3] = [0.1, 0.5, 0.9];

/// A conditional judgement beside the row of a circuit: if the power failed now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PowerLoss {
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// Harm if nothing is done.
    pub consequence: Consequence,
    /// Hours from the failure until 5 % is ice in one of ten members, in half of them and in nine of ten; `None` where that
    /// many do not get there within the hours looked at.
    pub ice_after_h: [Option<f64>; 3],
    /// Hours looked at.
    pub within_h: usize,
}

impl PowerLoss {
    /// From what became of a circuit whose heat fails at the start.
    #[must_use]
    pub fn of(circuit: &CircuitState, consequence: Consequence, outcome: &Outcome) -> Self {
        let within_h = outcome.hours();
        let hours = |hour: usize| u32::try_from(hour + 1).map_or(f64::INFINITY, f64::from);
        Self {
            circuit: circuit.circuit.clone(),
            instance: circuit.instance.clone(),
            consequence,
            ice_after_h: SHARES
                .map(|share| outcome.first_hour(Limit::FirstIce, share, within_h).map(hours)),
            within_h,
        }
    }

    /// Hours that can be relied on: until the first tenth of the members has ice.
    #[must_use]
    pub const fn sure_h(&self) -> Option<f64> {
        let [early, _, _] = self.ice_after_h;
        early
    }
}

/// The circuit that gives the least time, the more harmful one of two that give the same; `None` where none freezes
/// within the hours looked at.
#[must_use]
pub fn soonest(losses: &[PowerLoss]) -> Option<&PowerLoss> {
    losses.iter().filter(|loss| loss.sure_h().is_some()).min_by(|a, b| {
        let hours = |loss: &PowerLoss| loss.sure_h().unwrap_or(f64::INFINITY);
        hours(a).total_cmp(&hours(b)).then(b.consequence.cmp(&a.consequence))
    })
}

/// In words: `holds only while the power is on: ice 9 h after it fails (half of the forecasts: 12 h)`.
#[must_use]
pub fn words(loss: &PowerLoss) -> String {
    let [early, middle, _] = loss.ice_after_h;
    match (early, middle) {
        (Some(early), Some(middle)) if middle > early => format!(
            "holds only while the power is on: ice can begin {early:.0} h after it fails, likely by {middle:.0} h"
        ),
        (Some(early), _) => {
            format!("holds only while the power is on: ice can begin {early:.0} h after it fails")
        }
        (None, _) => format!(
            "no ice in the {} h after the power fails, as far as the forecast reaches",
            loss.within_h
        ),
    }
}
