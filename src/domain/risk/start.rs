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
use crate::domain::risk::unknown_past::{StartState, spread, through_hours};
use crate::domain::units::{KelvinDelta, Kilograms};
use crate::domain::weather::Step;

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

fn whole_hours(age: TimeDelta) -> usize {
    usize::try_from(age.num_hours().max(0)).unwrap_or(usize::MAX)
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

/// The past hours that there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastSpan {
    /// When they end.
    pub now: DateTime<Utc>,
    /// How many there are.
    pub stored: usize,
    /// How many hours ago the first of them was cold enough for ice in anything; 0 where none was.
    pub frost_h: usize,
}

impl PastSpan {
    /// Of a place, and of the places from which boats have come to it.
    #[must_use]
    pub fn of(weather: &PlaceWeather) -> Self {
        let elsewhere = weather.elsewhere.values().flat_map(|place| &place.past);
        let cold = |step: &&Step| step.temperature_c.is_some_and(|air_c| air_c < FROST_BELOW_C);
        let first = weather.past.iter().chain(elsewhere).filter(cold).map(|step| step.time).min();
        let stored = weather.past.len();
        let frost_h = first.map_or(0, |first| whole_hours(weather.at - first).min(stored));
        Self { now: weather.at, stored, frost_h }
    }
}

/// In warmer air than this nothing freezes under any sky, C.
const FROST_BELOW_C: f64 = 5.0;

/// The past that bears on a content.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Memory {
    /// Hours of it.
    pub hours: usize,
    /// Hours for which the content has stood there, back to the first frost at the most: ice that was in it long ago has broken what
    /// it broke.
    pub stood_h: usize,
    /// Where its boat was in them, if not always as now.
    pub earlier: Option<Earlier>,
    /// It is known to have been slush before them.
    pub separated: bool,
}

impl Content<'static> {
    /// What is in a circuit, as a part of its thermal class, and what of the `past` bears on it.
    ///
    /// # Errors
    /// [`TableError`] where the table of classes lacks a row.
    pub fn of(
        circuit: &CircuitState,
        (kind, liquid): (&CircuitKind, Liquid),
        state: &BoatState,
        past: PastSpan,
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
        let PastSpan { now, stored, frost_h } = past;
        let age = circuit.since.map(|since| now - since);
        let hours = hours_that_count(class, &liquid, age, stored);
        let stood_h = age.map_or(stored, whole_hours).min(frost_h);
        let earlier = Earlier::of(kind, state, now, hours.max(stood_h));
        let separated = circuit.separated;
        Ok((Self { class, water, liquid }, Memory { hours, stood_h, earlier, separated }))
    }
}

/// A part at the start of the coming hours.
#[derive(Debug, Clone)]
pub struct Start {
    /// With its liquid.
    pub model: PartModel,
    /// Where it may stand, each as likely as the others, coldest first: one where every hour that bears on it is known.
    pub states: Vec<StartState>,
    /// The liquid that is judged: weaker than read where it has separated.
    pub liquid: Liquid,
    /// Has the past made slush of a blend?
    pub separated: bool,
    /// So many hours up to the start are known, where hours before them bear on the part and nobody knows them.
    pub known_for_h: Option<usize>,
}

impl Start {
    /// The state in the middle, J.
    #[must_use]
    pub fn middle_j(&self) -> f64 {
        self.states.get(self.states.len() / 2).map_or(0.0, |state| state.now_j)
    }

    /// The coldest that it may have been since it was filled, C.
    #[must_use]
    pub fn coldest_ever_c(&self) -> f64 {
        let lowest = self.states.iter().map(|state| self.model.temperature(state.lowest_j));
        lowest.fold(f64::INFINITY, f64::min)
    }
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
            Some(liquid) => Start { separated: true, ..self.through(liquid, past, memory)? },
            None => self.after(past, memory)?,
        };
        Ok((start, coming))
    }

    /// The part after those hours of `past` through which this content has stood.
    ///
    /// It starts liquid, at the first hour's air or at its first ice where that is warmer. A blend that was slush has
    /// separated: ice floats, and its weakest layer is judged from then on, so that a reading of autumn never makes it
    /// stronger than it is by spring.
    ///
    /// # Errors
    /// [`PartError`] when the part holds nothing.
    pub fn after(&self, past: &PastAir, memory: &Memory) -> Result<Start, PartError> {
        let start = self.through(self.liquid, past, memory)?;
        let slush = |state: &StartState| start.model.ice_share(state.lowest_j) >= SLUSH_SHARE;
        let separated = start.states.iter().filter(|state| slush(state)).count() * 2;
        match weakest_layer(self.liquid).filter(|_| separated >= start.states.len()) {
            Some(liquid) => Ok(Start { separated: true, ..self.through(liquid, past, memory)? }),
            None => Ok(start),
        }
    }

    /// Ice counts from all of the past that this content has stood through; what it is now, from the hours that it remembers.
    fn through(&self, liquid: Liquid, past: &PastAir, memory: &Memory) -> Result<Start, PartError> {
        let class = self.class;
        let model = PartModel::new(&liquid, self.water, class.solid(), class.ua())?;
        let known_for_h = past.known_for(memory.hours);
        let first_ice_c = liquid.first_ice().value();
        let iced_h = memory.stood_h.min(past.since_frost(first_ice_c));
        let felt = past.last(memory.hours.max(iced_h), class);
        let through = |off_k: f64| through_hours(&model, first_ice_c, &felt, off_k);
        let states = match known_for_h {
            Some(_) => spread(past.spread_k).map(through).to_vec(),
            None => vec![through(0.0)],
        };
        Ok(Start { model, states, liquid, separated: false, known_for_h })
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

    fn remembers(hours: usize) -> Memory {
        Memory { hours, stood_h: hours, earlier: None, separated: false }
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
            let start = heater.after(&PastAir::still(cold.clone()), &remembers(hours)).unwrap();
            start.model.ice_share(start.middle_j())
        };
        assert!(share(336) < 0.7 && share(1440) > 0.99, "{} {}", share(336), share(1440));
    }

    #[test]
    fn a_blend_that_was_slush_is_judged_by_its_weakest_layer() {
        let volume = VolumeFraction::new(0.30).unwrap();
        let pink = Liquid::blend_by_volume(Solute::PropyleneGlycol, volume);
        let hose = content("hose_25mm", pink);
        let mild = hose.after(&PastAir::still(vec![-12.0; 48]), &remembers(48)).unwrap();
        assert!(!mild.separated && mild.liquid == pink);
        let mut snap = vec![-20.0; 72];
        snap.extend([3.0; 48]);
        let snap = PastAir::still(snap);
        let weak = hose.after(&snap, &remembers(120)).unwrap();
        // 23 % by volume: first ice about -9 C instead of -13 C.
        assert!(weak.separated && weak.liquid.first_ice().value() > -10.0, "{:?}", weak.liquid);
        assert!(
            !content("hose_25mm", Liquid::FreshWater)
                .after(&snap, &remembers(120))
                .unwrap()
                .separated
        );
    }
}
