//! Exposure memory: a circuit that stood past its limit stays on the test-before-running list until somebody looks.
//!
//! A later drain or a later flush protects the part and does not heal it: only an inspection, or the answer to a question,
//! that names the circuit clears it. Who judged the cold is told with each: by forecast, or by measurement.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::event::OldOil;
use super::{BoatId, CircuitId, EventId, LayupEvent};
use crate::domain::catalogue::{Catalogue, EffectKind, EventKind, Evidence};
use crate::domain::units::{Celsius, Hours, TemperatureScale, in_both_scales};

/// One spell in which a circuit stood past its own limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// Which boat.
    pub boat: BoatId,
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// First hour past the limit.
    pub from: DateTime<Utc>,
    /// End of the last such hour.
    pub to: DateTime<Utc>,
    /// The coldest air around it from a day before.
    pub coldest: Celsius,
    /// How long it stood past its limit.
    pub below: Hours,
    /// True where a thermometer said so, false where a forecast did.
    pub measured: bool,
}

impl Exposure {
    /// The entry that cleared it: the first one after it, known by `known_at`, that looked at the circuit.
    #[must_use]
    pub fn cleared_by<'a>(
        &self,
        events: &'a [LayupEvent],
        at: DateTime<Utc>,
        known_at: DateTime<Utc>,
        catalogue: &Catalogue,
    ) -> Option<&'a EventId> {
        let withdrawn = super::fold::withdrawn(events, known_at);
        let looked = |event: &&LayupEvent| {
            !withdrawn.contains(event.id.as_str())
                && self.is_meant_by(event)
                && event.boat.as_ref() == Some(&self.boat)
                && event.recorded_at <= known_at
                && (self.to..=at).contains(&event.happened_at)
                && catalogue
                    .event(&event.kind)
                    .is_some_and(|kind| self.is_looked_at(event, kind, catalogue))
        };
        events
            .iter()
            .filter(looked)
            .min_by_key(|event| (event.happened_at, &event.id))
            .map(|event| &event.id)
    }

    /// Somebody looked at the circuit; or old gear oil came out without water, so that there was nothing to freeze.
    fn is_looked_at(&self, event: &LayupEvent, kind: &EventKind, catalogue: &Catalogue) -> bool {
        let Some(place) = catalogue.place_of(&self.circuit) else { return false };
        let mut named = event.circuits.iter().filter_map(|named| catalogue.group(named));
        match kind.effect {
            EffectKind::Inspect | EffectKind::Clear => named.any(|group| group.contains(place)),
            EffectKind::GearOil => {
                event.evidence >= Evidence::Recorded
                    && event.oil_seen() == Some(OldOil::Clear)
                    && match event.circuits.is_empty() {
                        true => kind.default_circuits.contains(place),
                        false => named.any(|group| group.contains(place)),
                    }
            }
            _ => false,
        }
    }

    /// Does the entry look at this one of several?
    fn is_meant_by(&self, event: &LayupEvent) -> bool {
        let (Some(own), Some(named)) = (&self.instance, &event.instance) else { return true };
        let (own, named) = (own.to_lowercase(), named.to_lowercase());
        let all = ["all", "both", "each"].iter().any(|word| named.contains(word));
        all || named.split([';', ',', '+']).any(|name| {
            let name = name.trim();
            own == name || own.strip_prefix(name).is_some_and(|rest| rest.starts_with(' '))
        })
    }
}

/// The spells of one circuit, or of one of several, that nobody has cleared.
#[derive(Debug, Clone, PartialEq)]
pub struct Spells<'a> {
    /// Oldest first, one at the least.
    pub spells: Vec<&'a Exposure>,
    /// How long it stood past its limit in all, up to the instant asked for.
    pub below: Hours,
    /// The coldest air of those that were over by then: of one that went on after it, what was coldest came later.
    pub coldest: Option<Celsius>,
}

impl<'a> Spells<'a> {
    /// One spell, as it stood at `at`.
    #[must_use]
    pub fn of(spell: &'a Exposure, at: DateTime<Utc>) -> Self {
        // Of a spell that goes on after it, what was until then.
        let to_then = (spell.to.min(at) - spell.from).as_seconds_f64() / 3600.0;
        let hours = spell.below.value().min(to_then.max(0.0));
        let coldest = (spell.to <= at).then_some(spell.coldest);
        Self { spells: vec![spell], below: Hours::clamped(hours), coldest }
    }

    /// Puts spells together by circuit and instance, in the order in which each first comes, as they stood at `at`.
    #[must_use]
    pub fn together(spells: &[&'a Exposure], at: DateTime<Utc>) -> Vec<Self> {
        let mut all: Vec<Self> = Vec::new();
        for spell in spells {
            let one = Self::of(spell, at);
            let same = |of: &&mut Self| {
                of.spells.first().is_some_and(|first| {
                    first.circuit == spell.circuit && first.instance == spell.instance
                })
            };
            match all.iter_mut().find(same) {
                Some(of) => {
                    of.spells.push(spell);
                    of.below = Hours::clamped(of.below.value() + one.below.value());
                    let colder = |a: Celsius, b: Celsius| if b.value() < a.value() { b } else { a };
                    of.coldest = match (of.coldest, one.coldest) {
                        (Some(known), Some(own)) => Some(colder(known, own)),
                        (known, own) => known.or(own),
                    };
                }
                None => all.push(one),
            }
        }
        all
    }

    /// One line for the list, with the place's own scale first and in its own time.
    #[must_use]
    pub fn words(&self, catalogue: &Catalogue, first: TemperatureScale, zone: Tz) -> String {
        let Some(oldest) = self.spells.first() else { return String::new() };
        let label = catalogue
            .circuit(&oldest.circuit)
            .map_or(oldest.circuit.as_str(), |kind| kind.label.as_str());
        let instance =
            oldest.instance.as_ref().map_or_else(String::new, |name| format!(", {name}"));
        let judged = match self.spells.iter().all(|spell| spell.measured) {
            true => "measured",
            false => "forecast, not measured",
        };
        let times = match self.spells.len() {
            1 => "past its limit".to_owned(),
            times => format!("{times} times past its limit"),
        };
        let coldest = self.coldest.map_or_else(String::new, |coldest| {
            format!(", coldest air {}", in_both_scales(coldest, first))
        });
        let hours = match self.below.value() {
            seen_once if seen_once < 1.0 => String::new(),
            hours => format!(" for {hours:.0} h"),
        };
        format!(
            "{label}{instance}: {times}{hours} from {}{coldest} ({judged})",
            oldest.from.with_timezone(&zone).format("%-d %b %Y %H:%M"),
        )
    }
}

/// The exposures that nobody has cleared by `at`, as known at `known_at`, in the order given.
#[must_use]
pub fn uncleared<'a>(
    exposures: &'a [Exposure],
    events: &[LayupEvent],
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
    catalogue: &Catalogue,
) -> Vec<&'a Exposure> {
    exposures
        .iter()
        .filter(|exposure| {
            exposure.from <= at.min(known_at)
                && exposure.cleared_by(events, at, known_at, catalogue).is_none()
        })
        .collect()
}
