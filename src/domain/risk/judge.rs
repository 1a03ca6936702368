//! Every circuit of a boat against the coming cold.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Utc};
use thiserror::Error;

use super::ambient::{Ambient, PlaceWeather};
use super::case::{Outcome, through_the_ensemble, through_the_past};
use super::timing::{WorkingHours, latest_start, priority};
use super::{CircuitRisk, Limit, Priority, reasons};
use crate::domain::boat::{Boat, BoatState, CircuitState, Holds};
use crate::domain::catalogue::{
    Alarms, Catalogue, CircuitKind, Confinement, Consequence, PartExposure,
};
use crate::domain::physics::part::{PartError, PartModel, thermal_class};
use crate::domain::physics::{Liquid, TableError};
use crate::domain::units::Kilograms;

/// Warmer than this above first ice in every member and at the start: nothing can freeze, nothing is stepped.
const CLEARLY_ABOVE_K: f64 = 0.05;

/// Something in the tables that keeps a circuit from being judged.
#[derive(Debug, Error)]
pub enum JudgeError {
    /// A table lacks a row.
    #[error("cannot judge {circuit}: {source}")]
    Table {
        /// Which circuit.
        circuit: String,
        /// What is missing.
        source: TableError,
    },
    /// A part cannot be computed.
    #[error("cannot judge {circuit}: {source}")]
    Part {
        /// Which circuit.
        circuit: String,
        /// Why.
        source: PartError,
    },
}

/// On-thresholds by consequence, and the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgeSettings {
    /// Chance from which a minor, a major, a severe row counts.
    pub on: [f64; 3],
    /// Hours from the start for which chances are stated.
    pub horizon_h: usize,
    /// When people work.
    pub working_hours: WorkingHours,
}

impl Default for JudgeSettings {
    fn default() -> Self {
        Self { on: [0.30, 0.20, 0.10], horizon_h: 72, working_hours: WorkingHours::default() }
    }
}

impl JudgeSettings {
    /// The on-threshold of a consequence.
    #[must_use]
    pub const fn threshold(&self, consequence: Consequence) -> f64 {
        let [minor, major, severe] = self.on;
        match consequence {
            Consequence::Minor => minor,
            Consequence::Major => major,
            Consequence::Severe => severe,
        }
    }
}

type AmbientKey = (PartExposure, bool);
/// Thermal class, liquid as text of its bits, grams of water, hours of the past that count.
type CaseKey = (PartExposure, bool, String, [u64; 2], u64, usize);

/// Judges the boats of one place; what two circuits have in common is computed once.
pub struct Judge<'a> {
    weather: &'a PlaceWeather,
    catalogue: &'a Catalogue,
    settings: JudgeSettings,
    ambients: HashMap<AmbientKey, Ambient>,
    outcomes: HashMap<CaseKey, Outcome>,
}

impl<'a> Judge<'a> {
    /// For one place and one forecast.
    #[must_use]
    pub fn new(
        weather: &'a PlaceWeather,
        catalogue: &'a Catalogue,
        settings: JudgeSettings,
    ) -> Self {
        Self { weather, catalogue, settings, ambients: HashMap::new(), outcomes: HashMap::new() }
    }

    /// Number of distinct cases computed so far.
    #[must_use]
    pub fn distinct_cases(&self) -> usize {
        self.outcomes.len()
    }

    /// One row for each circuit of the boat that can freeze, in the order of the catalogue.
    ///
    /// # Errors
    /// [`JudgeError`] where a table lacks a row: nothing is judged by halves.
    pub fn boat(&mut self, boat: &Boat, state: &BoatState) -> Result<Vec<CircuitRisk>, JudgeError> {
        let mut rows = Vec::new();
        for circuit in &state.circuits {
            let (Some(kind), Some(liquid)) =
                (self.catalogue.circuit(&circuit.circuit), circuit.liquid)
            else {
                continue;
            };
            if circuit.holds == Holds::Absent {
                continue;
            }
            let outcome = self.outcome(circuit, kind, &liquid, state.covered)?.clone();
            rows.push(self.row(boat, state, circuit, kind, &liquid, &outcome));
        }
        Ok(rows)
    }

    fn outcome(
        &mut self,
        circuit: &CircuitState,
        kind: &CircuitKind,
        liquid: &Liquid,
        covered: bool,
    ) -> Result<&Outcome, JudgeError> {
        let drained = matches!(circuit.holds, Holds::Drained | Holds::Dry);
        let class_id = if drained { &kind.thermal_class_drained } else { &kind.thermal_class };
        let table = |source| JudgeError::Table { circuit: kind.id.to_string(), source };
        let class = thermal_class(class_id).map_err(table)?;
        // A pocket in a part that has no class of its own when drained: its own litres.
        let pocket = drained && kind.thermal_class_drained == kind.thermal_class;
        let water = if pocket {
            Kilograms::clamped(circuit.litres.clamp(0.01, class.water().value().max(0.01)))
        } else {
            class.water()
        };
        let past_h = self.hours_since(circuit.since);
        let key = (
            kind.exposure,
            covered,
            class_id.clone(),
            liquid_bits(liquid),
            water.value().to_bits(),
            past_h,
        );
        if !self.outcomes.contains_key(&key) {
            let ambient_key = (kind.exposure, covered);
            if !self.ambients.contains_key(&ambient_key) {
                let ambient = Ambient::of(kind.exposure, covered, self.weather).map_err(table)?;
                self.ambients.insert(ambient_key, ambient);
            }
            let model = PartModel::new(liquid, water, class.solid(), class.ua())
                .map_err(|source| JudgeError::Part { circuit: kind.id.to_string(), source })?;
            let ambient = self.ambients.get(&ambient_key);
            let outcome = ambient.map(|ambient| {
                let first_ice_c = liquid.first_ice().value();
                let skip = ambient.past_c.len().saturating_sub(past_h);
                let past = ambient.past_c.get(skip..).unwrap_or_default();
                let start = through_the_past(&model, first_ice_c, past);
                let warm = ambient.coldest_c > first_ice_c + CLEARLY_ABOVE_K
                    && model.temperature(start) > first_ice_c + CLEARLY_ABOVE_K;
                if warm {
                    return Outcome::nothing_freezes(
                        model.temperature(start),
                        ambient.coming.hours(),
                    );
                }
                let winds = ambient.wind_factors(class, self.weather);
                through_the_ensemble(&model, start, &ambient.coming, winds.as_deref())
            });
            if let Some(outcome) = outcome {
                self.outcomes.insert(key.clone(), outcome);
            }
        }
        Ok(self.outcomes.entry(key).or_insert_with(|| Outcome::nothing_freezes(0.0, 0)))
    }

    /// Hours of the past that the present content has stood through.
    fn hours_since(&self, since: Option<DateTime<Utc>>) -> usize {
        let all = self.weather.past.len();
        since.map_or(all, |since| {
            usize::try_from((self.weather.at - since).num_hours().max(0)).unwrap_or(all).min(all)
        })
    }

    fn row(
        &self,
        boat: &Boat,
        state: &BoatState,
        circuit: &CircuitState,
        kind: &CircuitKind,
        liquid: &Liquid,
        outcome: &Outcome,
    ) -> CircuitRisk {
        let consequence = kind.consequence_when(state.afloat);
        let interrupts = interrupts(circuit, kind, state.afloat);
        let limit = match circuit.holds {
            Holds::Blend | Holds::Coolant => Limit::Burst,
            _ => Limit::FirstIce,
        };
        let hours = self.settings.horizon_h;
        let chance = |limit| outcome.chance_by(limit, hours.saturating_sub(1));
        let threshold = self.settings.threshold(consequence);
        let frozen_now = outcome.past(limit);
        let at = self.weather.at;
        let first_danger = if frozen_now {
            Some(at)
        } else {
            outcome
                .first_hour(limit, threshold, hours)
                .map(|hour| at + TimeDelta::hours(i64::try_from(hour).unwrap_or(0)))
        };
        // Once it has frozen there is nothing to drain: it is looked at and tested, not hurried.
        let minutes = if frozen_now { 0.0 } else { kind.drain_minutes };
        let site = &self.weather.site;
        let latest = first_danger.filter(|_| !frozen_now).map(|danger| {
            latest_start(danger, minutes, site.travel_minutes, site, self.settings.working_hours)
        });
        let slack = latest.map(|latest| latest - at);
        let priority = match slack {
            _ if !interrupts => Priority::Notice,
            Some(slack) => priority(consequence, slack),
            // Frozen already: nothing to hurry for, but nobody may start the engine or fill the water.
            None if frozen_now => priority_when_frozen(consequence),
            None => Priority::Notice,
        };
        let action = self.catalogue.action(&kind.action).unwrap_or(&kind.action).to_owned();
        CircuitRisk {
            boat: boat.id.clone(),
            site: state.site.clone(),
            circuit: circuit.circuit.clone(),
            instance: circuit.instance.clone(),
            holds: circuit.holds,
            since: circuit.since,
            evidence: circuit.evidence,
            consequence,
            limit,
            limit_at_c: liquid.temperature_at_ice_share(limit.ice_share()).map(Into::into),
            chance_first_ice: chance(Limit::FirstIce),
            chance_slush: chance(Limit::Slush),
            chance_burst: chance(Limit::Burst),
            chance_limit: chance(limit),
            frozen_now,
            first_danger,
            latest_start: latest,
            slack_s: slack.map(|slack| slack.num_seconds()),
            priority,
            action,
            minutes,
            why: reasons::why(circuit, liquid, outcome, site),
        }
    }
}

const fn priority_when_frozen(consequence: Consequence) -> Priority {
    match consequence {
        Consequence::Minor => Priority::Low,
        Consequence::Major | Consequence::Severe => Priority::Medium,
    }
}

/// May ice in this circuit ask a person to act? Open tanks and bilges are listed, hoses usually survive, and a drained
/// part has room; afloat, whatever keeps the sea out counts.
pub(super) fn interrupts(circuit: &CircuitState, kind: &CircuitKind, afloat: bool) -> bool {
    let sinks = afloat && kind.consequence_when(true) > kind.consequence_when(false);
    let closed = matches!(kind.confinement, Confinement::Hard | Confinement::Brittle) || sinks;
    let wet = match circuit.holds {
        Holds::Fresh | Holds::Sea | Holds::LubeWet | Holds::Blend | Holds::Coolant => true,
        Holds::Unknown => kind.alarms == Alarms::Wet,
        Holds::Drained => circuit.closed_pocket,
        Holds::Charged | Holds::Dry | Holds::LubeClean | Holds::Absent => false,
    };
    closed && wet && kind.alarms != Alarms::Never
}

pub(super) fn liquid_bits(liquid: &Liquid) -> [u64; 2] {
    match *liquid {
        Liquid::FreshWater => [0, 0],
        Liquid::SeaWater { salinity } => [1, salinity.value().to_bits()],
        Liquid::Blend { solute, mass_fraction } => {
            [10 + solute as u64, mass_fraction.value().to_bits()]
        }
        Liquid::BatteryAcid { specific_gravity } => [2, specific_gravity.value().to_bits()],
    }
}
