//! The state in which a part meets the coming hours: what the past hours have made of it, never assumed liquid.

use std::borrow::Cow;

use chrono::{DateTime, TimeDelta, Utc};
use thiserror::Error;

use crate::domain::boat::{BoatState, CircuitState, Holds};
use crate::domain::catalogue::CircuitKind;
use crate::domain::physics::part::{PartError, PartModel, ThermalClass, thermal_class};
use crate::domain::physics::{
    Liquid, SLUSH_SHARE, TableError, after_freeze_and_thaw, mass_from_volume, volume_from_mass,
};
use crate::domain::risk::ambient::{Ambient, Earlier, PastAir, PlaceWeather, Power, Whereabouts};
use crate::domain::units::{Celsius, KelvinDelta, Kilograms};

/// Shorter than this no past is cut, hours: a week of weather decides for most parts.
const AT_LEAST_H: f64 = 168.0;
/// After this many time constants a part has forgotten its temperature.
const TIME_CONSTANTS: f64 = 5.0;
/// A part counts as able to freeze through in the time that it takes this far below its first ice, K.
const SLOW_FREEZE_K: f64 = 1.0;
/// Content that is younger than this is followed hour by hour, older by whole days, so that boats share cases, hours.
const TO_THE_HOUR_H: usize = 336;

/// How many of the `stored` past hours bear on a part whose content is `age` old (`None`: nobody knows, so all of them).
///
/// A hose forgets within days; a water heater takes weeks to freeze, so it needs all that is stored. A blend that was
/// slush once has separated however long ago that was, so it needs all, too.
#[must_use]
fn hours_that_count(
    class: &ThermalClass,
    liquid: &Liquid,
    age: Option<TimeDelta>,
    stored: usize,
) -> usize {
    let freezes_h = class
        .plateau(1.0, KelvinDelta::clamped(SLOW_FREEZE_K))
        .map_or(f64::INFINITY, |hours| hours.value());
    let remembers_h = (TIME_CONSTANTS * class.tau_h + freezes_h).max(AT_LEAST_H);
    let memory = match liquid {
        Liquid::Blend { .. } => stored,
        _ => whole(remembers_h).min(stored),
    };
    let Some(age) = age else { return memory };
    let age_h = usize::try_from(age.num_hours().max(0)).unwrap_or(stored);
    let age_h = if age_h > TO_THE_HOUR_H { age_h / 24 * 24 } else { age_h };
    memory.min(age_h)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast ends at the largest number, which is cut by what is stored"
)]
const fn whole(hours: f64) -> usize {
    hours as usize
}

/// What a part is full of.
#[derive(Debug, Clone, Copy)]
pub struct Content<'a> {
    /// The part.
    pub class: &'a ThermalClass,
    /// How much of it is there.
    pub water: Kilograms,
    /// As it was filled in or read.
    pub liquid: Liquid,
}

/// The past that bears on a content.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Memory {
    /// Hours of it.
    pub hours: usize,
    /// Where its boat was in them, if not always as now.
    pub earlier: Option<Earlier>,
    /// It is known to have been slush before them.
    pub separated: bool,
}

impl Content<'static> {
    /// What is in a circuit, as a part of its thermal class, and what of the `stored` past hours up to `now` bears on it.
    ///
    /// # Errors
    /// [`TableError`] where the table of classes lacks a row.
    pub fn of(
        circuit: &CircuitState,
        (kind, liquid): (&CircuitKind, Liquid),
        state: &BoatState,
        (now, stored): (DateTime<Utc>, usize),
    ) -> Result<(Self, Memory), TableError> {
        // Called drained with a pocket that may be full: as if nobody had drained it.
        let drained =
            matches!(circuit.holds, Holds::Drained | Holds::Dry) && !circuit.closed_pocket;
        let class_id = if drained { &kind.thermal_class_drained } else { &kind.thermal_class };
        let class = thermal_class(class_id)?;
        // A pocket in a part that has no class of its own when drained: its own litres.
        let pocket = drained && kind.thermal_class_drained == kind.thermal_class;
        let water = if pocket {
            Kilograms::clamped(circuit.litres.clamp(0.01, class.water().value().max(0.01)))
        } else {
            class.water()
        };
        let age = circuit.since.map(|since| now - since);
        let hours = hours_that_count(class, &liquid, age, stored);
        let earlier = Earlier::of(kind, state, now, hours);
        let separated = circuit.separated;
        Ok((Self { class, water, liquid }, Memory { hours, earlier, separated }))
    }
}

/// A part at the start of the coming hours.
#[derive(Debug, Clone)]
pub struct Start {
    /// With its liquid.
    pub model: PartModel,
    /// Its state.
    pub enthalpy_j: f64,
    /// The liquid that is judged: weaker than read where it has separated.
    pub liquid: Liquid,
    /// Has the past made slush of a blend?
    pub separated: bool,
}

/// What keeps a start from being computed.
#[derive(Debug, Error)]
pub enum StartError {
    /// A table lacks a row.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The part cannot be computed.
    #[error(transparent)]
    Part(#[from] PartError),
}

impl Content<'_> {
    /// The part after the past that bears on it, and the air that it meets from there: that of its place, `here`, unless its boat
    /// has come lately with other air in her hull.
    ///
    /// # Errors
    /// [`StartError`] where a table lacks a row, or the part holds nothing.
    pub fn at_the_start<'a>(
        &self,
        memory: &Memory,
        (part, power): (Whereabouts, Power),
        here: &'a Ambient,
        weather: &PlaceWeather,
    ) -> Result<(Start, Cow<'a, Ambient>), StartError> {
        let moved = memory.earlier.as_ref();
        let before = moved.map(|earlier| earlier.air(weather)).transpose()?;
        let past = before.as_ref().map_or(&here.past, |(past, _)| past);
        // A haul that is still to come is taken as the place has it.
        let lately =
            moved.is_some_and(|moved| moved.is_recent(weather.at) && part.hauled.is_none());
        let coming = match before.as_ref().and_then(|(_, hull_c)| *hull_c).filter(|_| lately) {
            Some(hull_c) => Cow::Owned(Ambient::with_hull(part, weather, power, hull_c)?),
            None => Cow::Borrowed(here),
        };
        let layered = weakest_layer(self.liquid).filter(|_| memory.separated);
        let start = match layered {
            // Its weak layer is known: it does not weaken twice.
            Some(liquid) => {
                let past = past.last(memory.hours, self.class);
                let (model, enthalpy_j, _) = self.through(liquid, &past)?;
                Start { model, enthalpy_j, liquid, separated: true }
            }
            None => self.after(past, memory.hours)?,
        };
        Ok((start, coming))
    }

    /// The part after the last `hours` of `past`, through which this content has stood.
    ///
    /// It starts liquid, at the first hour's air or at its first ice where that is warmer. A blend that was slush has
    /// separated: ice floats, and its weakest layer is judged from then on, so that a reading of autumn never makes it
    /// stronger than it is by spring.
    ///
    /// # Errors
    /// [`PartError`] when the part holds nothing.
    pub fn after(&self, past: &PastAir, hours: usize) -> Result<Start, PartError> {
        let past = past.last(hours, self.class);
        let (model, enthalpy_j, most_ice) = self.through(self.liquid, &past)?;
        match weakest_layer(self.liquid).filter(|_| most_ice >= SLUSH_SHARE) {
            Some(liquid) => {
                let (model, enthalpy_j, _) = self.through(liquid, &past)?;
                Ok(Start { model, enthalpy_j, liquid, separated: true })
            }
            None => Ok(Start { model, enthalpy_j, liquid: self.liquid, separated: false }),
        }
    }

    /// `past`: C, and by how much the wind multiplies the heat loss.
    fn through(
        &self,
        liquid: Liquid,
        past: &[(f64, f64)],
    ) -> Result<(PartModel, f64, f64), PartError> {
        let class = self.class;
        let model = PartModel::new(&liquid, self.water, class.solid(), class.ua())?;
        let first_ice_c = liquid.first_ice().value();
        let first_c = past.first().map_or(first_ice_c, |(air_c, _)| air_c.max(first_ice_c));
        let start_j = model.enthalpy_at(Celsius::clamped(first_c), 0.0);
        let (mut end_j, mut lowest_j) = (start_j, start_j);
        for (air_c, stretch) in past {
            end_j = if *stretch > 1.0 {
                model.step(end_j, *air_c, *stretch)
            } else {
                model.step_hour(end_j, *air_c)
            };
            lowest_j = lowest_j.min(end_j);
        }
        let most_ice = model.ice_share(lowest_j);
        Ok((model, end_j, most_ice))
    }
}

/// The weakest layer of a blend that has been slush; nothing else has layers.
fn weakest_layer(liquid: Liquid) -> Option<Liquid> {
    match liquid {
        Liquid::Blend { solute, mass_fraction } => {
            let weakest = after_freeze_and_thaw(volume_from_mass(solute, mass_fraction));
            Some(Liquid::Blend { solute, mass_fraction: mass_from_volume(solute, weakest) })
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::physics::Solute;
    use crate::domain::physics::part::thermal_class;
    use crate::domain::units::VolumeFraction;

    fn content(class: &str, liquid: Liquid) -> Content<'static> {
        let class = thermal_class(class).unwrap();
        Content { class, water: class.water(), liquid }
    }

    fn counted(class: &str, days: i64, stored: usize) -> usize {
        let class = thermal_class(class).unwrap();
        hours_that_count(class, &Liquid::FreshWater, Some(TimeDelta::days(days)), stored)
    }

    #[test]
    fn a_slow_part_looks_back_further_than_a_quick_one() {
        assert_eq!(counted("hose_25mm", 90, 1440), 168);
        assert_eq!(counted("water_heater", 90, 1440), 1440);
        assert!((600..1440).contains(&counted("water_tank", 90, 1440)));
        assert_eq!(counted("water_heater", 3, 1440), 72);
        assert_eq!(counted("water_heater", 90, 100), 100);
    }

    #[test]
    fn a_water_heater_freezes_over_weeks_that_a_short_look_back_does_not_see() {
        let heater = content("water_heater", Liquid::FreshWater);
        let cold = vec![-6.0; 1440];
        let share = |hours: usize| {
            let start = heater.after(&PastAir::still(cold.clone()), hours).unwrap();
            start.model.ice_share(start.enthalpy_j)
        };
        assert!(share(336) < 0.7 && share(1440) > 0.99, "{} {}", share(336), share(1440));
    }

    #[test]
    fn a_blend_that_was_slush_is_judged_by_its_weakest_layer() {
        let volume = VolumeFraction::new(0.30).unwrap();
        let pink = Liquid::blend_by_volume(Solute::PropyleneGlycol, volume);
        let hose = content("hose_25mm", pink);
        let mild = hose.after(&PastAir::still(vec![-12.0; 48]), 48).unwrap();
        assert!(!mild.separated && mild.liquid == pink);
        let mut snap = vec![-20.0; 72];
        snap.extend([3.0; 48]);
        let snap = PastAir::still(snap);
        let weak = hose.after(&snap, 120).unwrap();
        // 23 % by volume: first ice about -9 C instead of -13 C.
        assert!(weak.separated && weak.liquid.first_ice().value() > -10.0, "{:?}", weak.liquid);
        assert!(!content("hose_25mm", Liquid::FreshWater).after(&snap, 120).unwrap().separated);
    }
}
