//! How the temperature of a boat's parts goes through the coming hours, for a picture of it.

use crate::domain::boat::{BoatState, CircuitId, CircuitState};
use crate::domain::risk::Limit;
use crate::domain::risk::ambient::{Ambient, Power};
use crate::domain::weather::errors::Ensemble;

use super::{Case, Judge, JudgeError};

/// One part through the coming hours.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// Temperature at the end of each hour in the middle of all members, C.
    pub middle_c: Vec<f64>,
    /// Where the first ice forms, C.
    pub first_ice_c: f64,
    /// Where a third is ice, C; `None` where the liquid's data end first.
    pub burst_c: Option<f64>,
}

/// Quantiles of the members of each hour, C: `shares` of them lie below.
#[must_use]
pub fn quantiles<const N: usize>(air: &Ensemble, shares: [f64; N]) -> Vec<[f64; N]> {
    air.by_hour()
        .map(|hour| of_hour(hour.iter().map(|t| f64::from(*t)).collect(), shares))
        .collect()
}

fn of_hour<const N: usize>(mut members: Vec<f64>, shares: [f64; N]) -> [f64; N] {
    members.sort_by(f64::total_cmp);
    let last = members.len().saturating_sub(1);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "an index below a few thousand"
    )]
    let at = |share: f64| (share.clamp(0.0, 1.0) * last as f64).round() as usize;
    shares.map(|share| members.get(at(share)).copied().unwrap_or(f64::NAN))
}

impl Judge<'_> {
    /// The curves of those circuits of a boat that `wanted` says yes to, in the order of its state.
    ///
    /// # Errors
    /// [`JudgeError`] where a table lacks a row.
    pub fn curves(
        &mut self,
        state: &BoatState,
        wanted: impl Fn(&CircuitState) -> bool,
    ) -> Result<Vec<Curve>, JudgeError> {
        let cases = self.cases_of(state, Power::AsLogged)?;
        let cases = cases.into_iter().filter(|(circuit, _)| wanted(circuit));
        cases.map(|(circuit, case)| self.curve(circuit, &case)).collect()
    }

    fn curve(&self, circuit: &CircuitState, case: &Case<'_>) -> Result<Curve, JudgeError> {
        let id = || case.circuit.id.to_string();
        let table = |source| JudgeError::Table { circuit: id(), source };
        let ambient = Ambient::of(case.air.0, self.weather, case.air.1).map_err(table)?;
        let (start, ambient) = case
            .content
            .at_the_start(&case.memory, case.air, &ambient, self.weather)
            .map_err(|source| source.of(id()))?;
        let winds = ambient.wind_factors(case.content.class, self.weather);
        let mut factors = winds.iter().flatten().copied();
        let states = start.states.iter().map(|state| state.now_j).cycle();
        let mut members: Vec<f64> = states.take(ambient.coming.members()).collect();
        let mut middle_c = Vec::with_capacity(ambient.coming.hours());
        for hour in ambient.coming.by_hour().take(self.settings.horizon_h) {
            let factor = factors.next().unwrap_or(1.0);
            for (state, air_c) in members.iter_mut().zip(hour) {
                *state = start.model.step(*state, f64::from(*air_c), factor);
            }
            let temperatures = members.iter().map(|state| start.model.temperature(*state));
            let [middle] = of_hour(temperatures.collect(), [0.5]);
            middle_c.push(middle);
        }
        let at = |limit: Limit| start.liquid.temperature_at_ice_share(limit.ice_share());
        Ok(Curve {
            circuit: circuit.circuit.clone(),
            instance: circuit.instance.clone(),
            middle_c,
            first_ice_c: start.liquid.first_ice().value(),
            burst_c: at(Limit::Burst).map(|celsius| celsius.value()),
        })
    }
}
