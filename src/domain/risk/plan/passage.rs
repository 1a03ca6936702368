//! The hour in which each member of the forecast first takes a circuit past its limit: the chances of the worklist say
//! how many members do, a plan for many boats also needs to know which.

use std::collections::HashMap;
use std::rc::Rc;

use crate::domain::boat::{BoatState, CircuitState, Holds};
use crate::domain::catalogue::{Catalogue, CircuitKind, PartExposure};
use crate::domain::physics::Liquid;
use crate::domain::physics::part::{PartModel, thermal_class};
use crate::domain::risk::Limit;
use crate::domain::risk::ambient::{Ambient, PlaceWeather, Power};
use crate::domain::risk::judge::{JudgeError, liquid_bits};
use crate::domain::risk::start::{Content, hours_that_count};
use crate::domain::units::Kilograms;

/// Warmer than this above first ice in every member and at the start: nothing is stepped.
const CLEARLY_ABOVE_K: f64 = 0.05;

/// When a circuit passes its limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passage {
    /// It has passed it already.
    pub frozen_now: bool,
    /// For each member the hour in which it does, 0 = the first; `None` where it does not.
    pub hours: Vec<Option<u16>>,
}

type Key = (PartExposure, bool, String, [u64; 2], u64, usize, Limit);

/// Passages at one place; equal cases are computed once.
pub struct Passages<'a> {
    weather: &'a PlaceWeather,
    catalogue: &'a Catalogue,
    ambients: HashMap<(PartExposure, bool), Ambient>,
    found: HashMap<Key, Rc<Passage>>,
}

impl<'a> Passages<'a> {
    /// For one place.
    #[must_use]
    pub fn new(weather: &'a PlaceWeather, catalogue: &'a Catalogue) -> Self {
        Self { weather, catalogue, ambients: HashMap::new(), found: HashMap::new() }
    }

    /// The tables that circuits are looked up in.
    #[must_use]
    pub const fn catalogue(&self) -> &'a Catalogue {
        self.catalogue
    }

    /// The place.
    #[must_use]
    pub const fn weather(&self) -> &'a PlaceWeather {
        self.weather
    }

    /// When `circuit` of a boat passes `limit`.
    ///
    /// # Errors
    /// [`JudgeError`] where a table lacks a row.
    pub fn of(
        &mut self,
        state: &BoatState,
        circuit: &CircuitState,
        kind: &CircuitKind,
        liquid: &Liquid,
        limit: Limit,
    ) -> Result<Rc<Passage>, JudgeError> {
        let drained =
            matches!(circuit.holds, Holds::Drained | Holds::Dry) && !circuit.closed_pocket;
        let class_id = if drained { &kind.thermal_class_drained } else { &kind.thermal_class };
        let table = |source| JudgeError::Table { circuit: kind.id.to_string(), source };
        let class = thermal_class(class_id).map_err(table)?;
        let pocket = drained && kind.thermal_class_drained == kind.thermal_class;
        let water = if pocket {
            Kilograms::clamped(circuit.litres.clamp(0.01, class.water().value().max(0.01)))
        } else {
            class.water()
        };
        let past_h = hours_that_count(
            class,
            liquid,
            circuit.since.map(|since| self.weather.at - since),
            self.weather.past.len(),
        );
        let bits = liquid_bits(liquid);
        let grams = water.value().to_bits();
        let key = (kind.exposure, state.covered, class_id.clone(), bits, grams, past_h, limit);
        if let Some(found) = self.found.get(&key) {
            return Ok(Rc::clone(found));
        }
        let ambient = match self.ambients.entry((kind.exposure, state.covered)) {
            std::collections::hash_map::Entry::Occupied(known) => known.into_mut(),
            std::collections::hash_map::Entry::Vacant(free) => {
                let power = Power::AsLogged;
                let ambient = Ambient::of(kind.exposure, state.covered, self.weather, power);
                free.insert(ambient.map_err(table)?)
            }
        };
        let skip = ambient.past_c.len().saturating_sub(past_h);
        let past = ambient.past_c.get(skip..).unwrap_or_default();
        let start = Content { class, water, liquid: *liquid }
            .after(past)
            .map_err(|source| JudgeError::Part { circuit: kind.id.to_string(), source })?;
        let first_ice_c = start.liquid.first_ice().value();
        let (model, start) = (start.model, start.enthalpy_j);
        let warm = ambient.coldest_c > first_ice_c + CLEARLY_ABOVE_K
            && model.temperature(start) > first_ice_c + CLEARLY_ABOVE_K;
        let passage = if warm {
            Passage { frozen_now: false, hours: vec![None; ambient.coming.members()] }
        } else {
            let winds = ambient.wind_factors(class, self.weather);
            first_passages(&model, start, ambient, winds.as_deref(), limit)
        };
        let passage = Rc::new(passage);
        self.found.insert(key, Rc::clone(&passage));
        Ok(passage)
    }
}

fn first_passages(
    model: &PartModel,
    start: f64,
    ambient: &Ambient,
    winds: Option<&[f64]>,
    limit: Limit,
) -> Passage {
    let members = ambient.coming.members();
    let mark = model.enthalpy_at_ice_share(limit.ice_share()).unwrap_or(f64::NEG_INFINITY);
    if start < mark {
        return Passage { frozen_now: true, hours: vec![Some(0); members] };
    }
    let mut state = vec![start; members];
    let mut hours = vec![None; members];
    for (hour, air) in (0_u16..).zip(ambient.coming.by_hour()) {
        let factor = winds.map(|winds| winds.get(usize::from(hour)).copied().unwrap_or(1.0));
        for ((enthalpy, passed), air_c) in state.iter_mut().zip(&mut hours).zip(air) {
            if passed.is_some() {
                continue;
            }
            let air_c = f64::from(*air_c);
            *enthalpy = match factor {
                Some(factor) => model.step(*enthalpy, air_c, factor),
                None => model.step_hour(*enthalpy, air_c),
            };
            if *enthalpy < mark {
                *passed = Some(hour);
            }
        }
    }
    Passage { frozen_now: false, hours }
}
