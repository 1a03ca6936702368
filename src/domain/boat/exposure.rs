//! Exposure memory: a circuit that stood past its limit stays on the test-before-running list until somebody looks.
//!
//! A later drain or a later flush protects the part and does not heal it: only an inspection, or the answer to a question,
//! that names the circuit clears it. Who judged the cold is told with each: by forecast, or by measurement.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::{BoatId, CircuitId, EventId, LayupEvent};
use crate::domain::catalogue::{Catalogue, EffectKind};
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
        let looked = |event: &&LayupEvent| {
            event.boat.as_ref() == Some(&self.boat)
                && event.recorded_at <= known_at
                && (self.to..=at).contains(&event.happened_at)
                && catalogue.event(&event.kind).is_some_and(|kind| {
                    matches!(kind.effect, EffectKind::Inspect | EffectKind::Clear)
                })
                && event.circuits.iter().any(|named| {
                    let place = catalogue.place_of(&self.circuit);
                    catalogue
                        .group(named)
                        .zip(place)
                        .is_some_and(|(group, place)| group.contains(place))
                })
        };
        events
            .iter()
            .filter(looked)
            .min_by_key(|event| (event.happened_at, &event.id))
            .map(|event| &event.id)
    }

    /// One line for the list, with the place's own scale first and in its own time.
    #[must_use]
    pub fn words(&self, catalogue: &Catalogue, first: TemperatureScale, zone: Tz) -> String {
        let label = catalogue
            .circuit(&self.circuit)
            .map_or(self.circuit.as_str(), |kind| kind.label.as_str());
        let instance = self.instance.as_ref().map_or_else(String::new, |name| format!(", {name}"));
        let judged = if self.measured { "measured" } else { "forecast, not measured" };
        format!(
            "{label}{instance}: past its limit for {} h from {}, coldest air {} ({judged})",
            if self.below.value() < 1.0 {
                "some".to_owned()
            } else {
                format!("{:.0}", self.below.value())
            },
            self.from.with_timezone(&zone).format("%-d %b %Y %H:%M"),
            in_both_scales(self.coldest, first)
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
            exposure.from <= at && exposure.cleared_by(events, at, known_at, catalogue).is_none()
        })
        .collect()
}
