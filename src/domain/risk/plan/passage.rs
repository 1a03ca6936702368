//! The hour in which each member of the forecast first takes a circuit past its limit: the chances of the worklist say
//! how many members do, a plan for many boats also needs to know which.

use std::collections::HashMap;
use std::rc::Rc;

use crate::domain::boat::{BoatState, CircuitState};
use crate::domain::catalogue::{Catalogue, CircuitKind};
use crate::domain::physics::Liquid;
use crate::domain::physics::part::PartModel;
use crate::domain::risk::Limit;
use crate::domain::risk::ambient::{Ambient, PlaceWeather, Power, Whereabouts};
use crate::domain::risk::judge::{JudgeError, liquid_bits};
use crate::domain::risk::start::{Content, Memory, PastSpan};

/// Warmer than this above first ice in every member and at the start: nothing is stepped.
const CLEARLY_ABOVE_K: f64 = 0.05;

/// What a circuit is in at the instant that is looked from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Now {
    /// Under its limit.
    Liquid,
    /// Past its limit, and not yet so far that parts are likely to break: what still runs can be let out.
    Ice,
    /// So much ice that parts are likely to be broken: it is tested after it has thawed, and drained before the next cold.
    Solid,
}

/// When a circuit passes its limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passage {
    /// What it is in now.
    pub now: Now,
    /// For each member the hour of the next harm, 0 = the first: passing the limit; from [`Now::Ice`] so much ice that parts
    /// are likely to break; from either kind of ice the next freeze after a thaw. `None` where none comes.
    pub hours: Vec<Option<u16>>,
    /// For each member the hour by which what is frozen now has thawed; empty where nothing is.
    pub thaws: Vec<Option<u16>>,
}

type Key = (Whereabouts, &'static str, [u64; 2], u64, Memory, Limit);

/// Passages at one place; equal cases are computed once.
pub struct Passages<'a> {
    weather: &'a PlaceWeather,
    catalogue: &'a Catalogue,
    ambients: HashMap<Whereabouts, Ambient>,
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
        let table = |source| JudgeError::Table { circuit: kind.id.to_string(), source };
        let past = PastSpan::of(self.weather);
        let (content, memory) =
            Content::of(circuit, (kind, *liquid), state, past).map_err(table)?;
        let (class, water) = (content.class, content.water);
        let bits = liquid_bits(liquid);
        let grams = water.value().to_bits();
        let part = Whereabouts::of(kind, state);
        let key = (part, class.id.as_str(), bits, grams, memory.clone(), limit);
        if let Some(found) = self.found.get(&key) {
            return Ok(Rc::clone(found));
        }
        let ambient = match self.ambients.entry(part) {
            std::collections::hash_map::Entry::Occupied(known) => known.into_mut(),
            std::collections::hash_map::Entry::Vacant(free) => {
                let power = Power::AsLogged;
                let ambient = Ambient::of(part, self.weather, power);
                free.insert(ambient.map_err(table)?)
            }
        };
        let (start, ambient) = content
            .at_the_start(&memory, (part, Power::AsLogged), ambient, self.weather)
            .map_err(|source| source.of(kind.id.to_string()))?;
        let first_ice_c = start.liquid.first_ice().value();
        let (model, start) = (start.model.clone(), start.middle_j());
        let warm = ambient.coldest_c > first_ice_c + CLEARLY_ABOVE_K
            && model.temperature(start) > first_ice_c + CLEARLY_ABOVE_K;
        let passage = if warm {
            let hours = vec![None; ambient.coming.members()];
            Passage { now: Now::Liquid, hours, thaws: Vec::new() }
        } else {
            let winds = ambient.wind_factors(class, self.weather);
            first_passages(&model, start, &ambient, winds.as_deref(), limit)
        };
        let passage = Rc::new(passage);
        self.found.insert(key, Rc::clone(&passage));
        Ok(passage)
    }
}

/// Where a member stands on its way to the next harm.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    /// Liquid: the next harm is passing the limit.
    Under,
    /// Ice that has broken nothing yet.
    Ice,
    /// Nothing more can happen to it before it thaws.
    Solid,
    /// Harm has come.
    Over,
}

fn first_passages(
    model: &PartModel,
    start: f64,
    ambient: &Ambient,
    winds: Option<&[f64]>,
    limit: Limit,
) -> Passage {
    let members = ambient.coming.members();
    let mark_of = |share| model.enthalpy_at_ice_share(share).unwrap_or(f64::NEG_INFINITY);
    let mark = mark_of(limit.ice_share());
    let burst = mark_of(Limit::Burst.ice_share()).min(mark);
    let thawed = mark_of(0.0).max(mark);
    let now = match start {
        start if start >= mark => Now::Liquid,
        start if start >= burst => Now::Ice,
        _ => Now::Solid,
    };
    let first = match now {
        Now::Liquid => Way::Under,
        Now::Ice => Way::Ice,
        Now::Solid => Way::Solid,
    };
    let mut state = vec![(start, first); members];
    let mut hours = vec![None; members];
    let mut thaws = vec![None; if now == Now::Liquid { 0 } else { members }];
    for (hour, air) in (0_u16..).zip(ambient.coming.by_hour()) {
        let factor = winds.map(|winds| winds.get(usize::from(hour)).copied().unwrap_or(1.0));
        for (member, ((enthalpy, way), air_c)) in state.iter_mut().zip(air).enumerate() {
            if *way == Way::Over {
                continue;
            }
            let air_c = f64::from(*air_c);
            *enthalpy = match factor {
                Some(factor) => model.step(*enthalpy, air_c, factor),
                None => model.step_hour(*enthalpy, air_c),
            };
            let harmed = match way {
                Way::Under => *enthalpy < mark,
                Way::Ice => *enthalpy < burst,
                Way::Solid | Way::Over => false,
            };
            if harmed {
                *way = Way::Over;
                if let Some(slot) = hours.get_mut(member) {
                    *slot = Some(hour);
                }
            } else if *way != Way::Under && *enthalpy >= thawed {
                *way = Way::Under;
                if let Some(slot) = thaws.get_mut(member) {
                    *slot = Some(hour);
                }
            }
        }
    }
    Passage { now, hours, thaws }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::physics::part::thermal_class;
    use crate::domain::risk::ambient::PastAir;
    use crate::domain::weather::errors::{Ensemble, ErrorModel};

    /// A hose of water of which the share `ice` is ice, in air of so many C for so many hours.
    fn hose(ice: f64, air: &[(f32, usize)]) -> Passage {
        let class = thermal_class("hose_25mm").unwrap();
        let content = Content { class, water: class.water(), liquid: Liquid::FreshWater };
        let model = content
            .after(
                &PastAir::default(),
                &Memory { hours: 0, stood_h: 0, earlier: None, separated: false },
            )
            .unwrap()
            .model;
        let start = model.enthalpy_at_ice_share(ice).unwrap();
        let air: Vec<f32> =
            air.iter().flat_map(|(t, hours)| std::iter::repeat_n(*t, *hours)).collect();
        let coming = Ensemble::draw(&[], 0.0, &ErrorModel::default(), 1, 1).followed_by(&air);
        let ambient =
            Ambient { past: PastAir::default(), coming, coldest_c: -9.0, in_the_wind: false };
        first_passages(&model, start, &ambient, None, Limit::FirstIce)
    }

    #[test]
    fn what_is_solid_has_nothing_to_lose_before_it_thaws_and_all_in_the_next_cold() {
        let found = hose(0.9, &[(-9.0, 48)]);
        assert_eq!((found.now, found.hours[0], found.thaws[0]), (Now::Solid, None, None));
        let found = hose(0.9, &[(-9.0, 12), (8.0, 48), (-9.0, 24)]);
        let (thaw, next) = (found.thaws[0].unwrap(), found.hours[0].unwrap());
        assert_eq!(found.now, Now::Solid);
        assert!((12..60).contains(&thaw) && next >= 60, "{found:?}");
    }

    #[test]
    fn a_little_ice_is_no_burst_yet() {
        let found = hose(0.08, &[(-9.0, 48)]);
        assert_eq!(found.now, Now::Ice);
        let bursts = found.hours[0].unwrap();
        let fresh = hose(0.0, &[(-9.0, 48)]);
        assert_eq!(fresh.now, Now::Liquid);
        assert!(fresh.thaws.is_empty() && fresh.hours[0].unwrap() <= bursts, "{fresh:?} {found:?}");
        let thaws = hose(0.08, &[(5.0, 24), (-9.0, 24)]);
        assert!(thaws.thaws[0].is_some() && thaws.hours[0].unwrap() >= 24, "{thaws:?}");
    }
}
