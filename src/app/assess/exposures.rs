//! Feeds the exposure memory from what a round has judged: what stands past its limit by the stored forecasts.
//!
//! It is forecast and not measured, and says so. A round looks at least every few hours, and ice that a part has formed
//! stays in it for hours, so that no spell that matters falls between two looks.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::assess::seen::{AssessedBoat, Assessment, whole_hour};
use crate::app::error::ServiceError;
use crate::app::ports::ExposureMemory;
use crate::domain::boat::{Boat, BoatState, CircuitState, Exposure, Holds};
use crate::domain::catalogue::{Catalogue, CircuitId, Confinement};
use crate::domain::risk::CircuitRisk;
use crate::domain::units::{Celsius, Hours};

/// A longer gap than this between two looks is another spell.
const SAME_SPELL: TimeDelta = TimeDelta::hours(12);
/// The air of so many hours is what a part that is past its limit now was cooled by.
const COOLED_BY: TimeDelta = TimeDelta::hours(24);

type Key<'a> = (&'a str, &'a CircuitId, Option<&'a str>);

/// Every circuit that stands past its limit now: a new spell, or one that goes on. The round keeps them in its own
/// transaction.
///
/// # Errors
/// The store's.
pub fn spells_now(
    (store, catalogue): (&dyn ExposureMemory, &Catalogue),
    seen: &Assessment,
    now: DateTime<Utc>,
) -> Result<Vec<Exposure>, ServiceError> {
    let hour = whole_hour(now);
    let frozen: Vec<(&AssessedBoat, &CircuitRisk)> = seen
        .boats
        .iter()
        .flat_map(|view| view.rows.iter().map(move |row| (view, row)))
        .filter(|(view, row)| {
            row.frozen_now
                && !row.ice.thawed
                && can_break((&view.state, row), catalogue)
                && !is_empty(&view.state, row)
        })
        .collect();
    if frozen.is_empty() {
        return Ok(Vec::new());
    }
    let known = store.exposures(None)?;
    let mut going_on: HashMap<Key<'_>, &Exposure> = HashMap::new();
    for spell in known.iter().filter(|spell| hour - spell.to <= SAME_SPELL && !spell.measured) {
        let key = (spell.boat.as_str(), &spell.circuit, spell.instance.as_deref());
        going_on.insert(key, spell);
    }
    let spells = frozen
        .into_iter()
        .filter_map(|(view, row)| {
            let key = (row.boat.as_str(), &row.circuit, row.instance.as_deref());
            spell(seen, &view.boat, row, going_on.get(&key).copied(), hour)
        })
        .collect();
    Ok(spells)
}

/// What was drained without a pocket has room for what ice is left: it has no limit of its own.
fn is_empty(state: &BoatState, row: &CircuitRisk) -> bool {
    let of = |circuit: &&CircuitState| {
        circuit.circuit == row.circuit && circuit.instance == row.instance
    };
    matches!(row.holds, Holds::Drained | Holds::Dry)
        && state.circuits.iter().find(of).is_some_and(|circuit| !circuit.closed_pocket)
}

/// Ice in an open tank or a soft hose breaks nothing that must be tested before a run.
fn can_break((state, row): (&BoatState, &CircuitRisk), catalogue: &Catalogue) -> bool {
    let Some(kind) = catalogue.circuit(&row.circuit) else { return false };
    let of = |circuit: &&CircuitState| {
        circuit.circuit == row.circuit && circuit.instance == row.instance
    };
    let found = state.circuits.iter().find(of);
    let enclosed = found.map_or(kind.confinement, |circuit| circuit.confinement(kind));
    matches!(enclosed, Confinement::Hard | Confinement::Brittle | Confinement::Structure)
}

/// The spell as it stands at `hour`; `None` where nothing has been added to it.
fn spell(
    seen: &Assessment,
    boat: &Boat,
    row: &CircuitRisk,
    earlier: Option<&Exposure>,
    hour: DateTime<Utc>,
) -> Option<Exposure> {
    let past = seen.places.get(&row.site)?.weather.as_ref()?.past.as_slice();
    let coldest = past
        .iter()
        .filter(|step| step.time >= hour - COOLED_BY)
        .filter_map(|step| step.temperature_c)
        .min_by(f64::total_cmp)
        .map(Celsius::clamped)?;
    let Some(earlier) = earlier else {
        return Some(Exposure {
            boat: boat.id.clone(),
            circuit: row.circuit.clone(),
            instance: row.instance.clone(),
            from: hour,
            to: hour,
            coldest,
            below: Hours::clamped(0.0),
            measured: false,
        });
    };
    if earlier.to >= hour {
        return None;
    }
    let below = (hour - earlier.from).as_seconds_f64() / 3600.0;
    let coldest = if coldest.value() < earlier.coldest.value() { coldest } else { earlier.coldest };
    Some(Exposure { to: hour, coldest, below: Hours::clamped(below), ..earlier.clone() })
}
