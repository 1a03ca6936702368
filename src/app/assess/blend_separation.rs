//! Which blends have been slush: a blend that was has a weak layer until it is filled in anew, however long ago the
//! cold was. The weather of the past is kept for some weeks only.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::app::assess::seen::Assessment;
use crate::app::ports::Filling;
use crate::domain::boat::{BoatState, CircuitState};

/// So much below the air a part under a clear sky gets at the most, K.
const SKY_K: f64 = 4.0;

/// Marks the blends that are known to have been slush.
pub(crate) fn remember(state: &mut BoatState, separated: &BTreeSet<Filling>) {
    let known = |state: &BoatState, circuit: &CircuitState| {
        Filling::of(state, circuit).is_some_and(|filling| {
            separated.contains(&filling) || separated.contains(&filling.of_the_whole())
        })
    };
    let marks: Vec<bool> = state.circuits.iter().map(|circuit| known(state, circuit)).collect();
    for (circuit, separated) in state.circuits.iter_mut().zip(marks) {
        circuit.separated = separated;
    }
}

/// The blends that are judged to have been slush and were not yet known to.
pub(crate) fn newly_slush(seen: &Assessment, now: DateTime<Utc>) -> Vec<(Filling, DateTime<Utc>)> {
    let rows = seen.boats.iter().flat_map(|view| {
        view.rows.iter().filter(|row| row.separated).map(|row| (&view.state, row))
    });
    rows.filter_map(|(state, row)| {
        let of = |circuit: &&CircuitState| {
            circuit.circuit == row.circuit && circuit.instance == row.instance
        };
        let circuit = state.circuits.iter().find(of).filter(|circuit| !circuit.separated)?;
        let slush_c = circuit.slush?.value();
        let weather = seen.places.get(&state.site)?.weather.as_ref()?;
        // A mark that stays all winter is made by hours that are known, not by what stands for unknown ones.
        let elsewhere = weather.elsewhere.values().flat_map(|place| &place.past);
        let known_c = weather.past.iter().chain(elsewhere).filter_map(|step| step.temperature_c);
        let cold = known_c.fold(f64::INFINITY, f64::min) < slush_c + SKY_K;
        if !cold {
            return None;
        }
        Some((Filling::of(state, circuit)?, now))
    })
    .collect()
}
