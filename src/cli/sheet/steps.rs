//! The steps of the day sheet that this boat needs, with its own parts, litres and words to type back.

use serde::Serialize;

use crate::cli::boat::{grade, in_words};
use crate::domain::boat::{Boat, BoatState, CircuitId, CircuitState, CoolingKind, Holds};
use crate::domain::catalogue::{Catalogue, CircuitSet, DayStep};

/// One step, ready to be printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(super) struct Step {
    /// From 1, in the order of the sheet.
    pub(super) number: usize,
    /// What it is about.
    pub(super) title: String,
    /// What to do and to write down.
    pub(super) what: String,
    /// The parts of this boat that it is about, each with what the record says of it now.
    pub(super) parts: Vec<String>,
    /// The words to type back, one line for each instance.
    pub(super) record: Vec<String>,
}

/// The steps for this boat, in order. Every fitted circuit stands in one of them.
pub(super) fn steps(boat: &Boat, state: &BoatState, catalogue: &Catalogue) -> Vec<Step> {
    let facts = facts(boat, state);
    let mut named = CircuitSet::EMPTY;
    for place in catalogue
        .day_sheet()
        .iter()
        .filter(|step| holds(step, &facts))
        .flat_map(DayStep::needs)
        .filter_map(|id| catalogue.place_of(&id))
    {
        named.insert(place);
    }
    let fitted: Vec<&CircuitId> = catalogue
        .circuits()
        .iter()
        .map(|kind| &kind.id)
        .filter(|id| of(id, state).any(|circuit| circuit.holds != Holds::Absent))
        .collect();
    let mut steps = Vec::new();
    for step in catalogue.day_sheet().iter().filter(|step| holds(step, &facts)) {
        let wanted: Vec<CircuitId> = step.needs().collect();
        let own: Vec<&CircuitId> = fitted
            .iter()
            .copied()
            .filter(|id| match step.is_rest() {
                true => catalogue.place_of(id).is_some_and(|place| !named.contains(place)),
                false => wanted.contains(id),
            })
            .collect();
        if own.is_empty() && (step.is_rest() || !wanted.is_empty()) {
            continue;
        }
        steps.push(Step {
            number: steps.len() + 1,
            title: step.title.clone(),
            what: filled(&step.what, &own, boat, catalogue),
            parts: parts(&own, state, catalogue),
            record: record(step, &own, boat, state),
        });
    }
    steps
}

/// The conditions that this boat fulfils.
fn facts(boat: &Boat, state: &BoatState) -> Vec<&'static str> {
    let mut facts = Vec::new();
    if boat.engines > 0 && state.cooling != CoolingKind::Electric {
        facts.push("engine");
    }
    facts.push(if boat.fuel.to_lowercase().contains("diesel") { "diesel" } else { "petrol" });
    if boat.has_enclosed_petrol() {
        facts.push("enclosed");
    }
    facts.push(if state.cooling.block_is_raw() { "raw" } else { "closed" });
    facts.push(if state.cooling.may_have_a_loop() { "loop" } else { "no_loop" });
    if state.cooling == CoolingKind::Unknown && boat.engines > 0 {
        facts.push("cooling_unknown");
    }
    facts.push(if state.afloat { "afloat" } else { "ashore" });
    facts
}

fn holds(step: &DayStep, facts: &[&str]) -> bool {
    step.conditions().all(|condition| facts.contains(&condition))
}

fn filled(what: &str, own: &[&CircuitId], boat: &Boat, catalogue: &Catalogue) -> String {
    let litres: f64 = own
        .iter()
        .map(|id| {
            let stated = boat.volumes_l.iter().find(|(circuit, _)| circuit == *id);
            let usual = catalogue.circuit(id).map_or(0.0, |kind| kind.volume_l);
            stated.map_or(usual * f64::from(boat.engines.max(1)), |(_, litres)| *litres)
        })
        .sum();
    let (limits, mix) = (catalogue.limits(), catalogue.mix_ratios());
    let (least, most) = mix.stabiliser_months;
    what.replace("{litres}", &format!("{litres:.1}"))
        .replace("{open_min}", &format!("{:.0}", limits.drain_open_min))
        .replace("{single_min}", &format!("{:.0}", limits.single_drain_open_min))
        .replace("{tank_percent}", &format!("{:.0}", mix.tank_percent))
        .replace("{stabiliser_months}", &format!("{least:.0} to {most:.0}"))
}

fn of<'a>(id: &'a CircuitId, state: &'a BoatState) -> impl Iterator<Item = &'a CircuitState> {
    state.circuits.iter().filter(move |circuit| circuit.circuit == *id)
}

fn parts(own: &[&CircuitId], state: &BoatState, catalogue: &Catalogue) -> Vec<String> {
    let tell = |circuit: &CircuitState| {
        let label = catalogue
            .circuit(&circuit.circuit)
            .map_or(circuit.circuit.as_str(), |kind| kind.label.as_str());
        let instance = circuit.instance.as_ref().map_or(String::new(), |name| format!(", {name}"));
        let told = in_words(circuit).split(',').next().unwrap_or_default();
        format!("{label}{instance} (record: {told}, {})", grade(circuit.evidence))
    };
    own.iter().flat_map(|id| of(id, state)).map(tell).collect()
}

/// The words to type back: once, or for each of several engines, units, logs.
fn record(step: &DayStep, own: &[&CircuitId], boat: &Boat, state: &BoatState) -> Vec<String> {
    let names: Vec<&str> = own.iter().map(|id| id.as_str()).collect();
    let words = step.record.replace("{circuits}", &names.join(","));
    let line = format!("rimeward record {} {words}", boat.id);
    let mut instances: Vec<&str> = Vec::new();
    if step.is_for_each() {
        for name in own.iter().flat_map(|id| of(id, state)).filter_map(|c| c.instance.as_deref()) {
            if !instances.contains(&name) {
                instances.push(name);
            }
        }
    }
    if instances.is_empty() {
        return vec![line];
    }
    instances.iter().map(|name| format!("{line} instance=\"{name}\"")).collect()
}
