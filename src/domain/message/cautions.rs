//! Which cautions apply: the rules behind `[[caution]] when = ...` in the phrase catalogue.

use std::collections::BTreeSet;

use super::voice::Scope;
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::CircuitRisk;
use crate::domain::yard::{Site, SiteKind};

/// Every rule that code can switch on; the lint refuses a caution with another.
pub(super) const RULES: [&str; 11] = [
    "frozen",
    "petrol_inboard",
    "covered",
    "heater",
    "ice_ladder_night",
    "afloat",
    "battery",
    "battery_frozen",
    "antifreeze",
    "draining",
    "always",
];

/// Signal word and text of every caution that belongs on a day sheet for this boat: work with drains, antifreeze and batteries.
#[must_use]
pub fn for_day_sheet(
    phrases: &super::Phrases,
    boat: &Boat,
    state: &BoatState,
    site: &Site,
) -> Vec<(String, String)> {
    let mut rules = for_visit(boat, state, site);
    rules.extend(["heater", "ice_ladder_night", "antifreeze", "draining", "battery", "frozen"]);
    phrases
        .caution
        .iter()
        .filter(|caution| rules.contains(caution.when.as_str()))
        .map(|caution| (caution.signal.clone(), caution.text.clone()))
        .collect()
}

/// The rules that hold for work on a boat with these rows over their threshold.
pub(super) fn for_work(
    boat: &Boat,
    state: &BoatState,
    site: &Site,
    rows: &[CircuitRisk],
) -> BTreeSet<&'static str> {
    let mut rules = for_visit(boat, state, site);
    // Anybody who reads of cold may think of heat, and of going aboard now.
    rules.extend(["heater", "ice_ladder_night"]);
    if rows.iter().any(|row| !row.frozen_now) {
        rules.insert(match Scope::of(rows) {
            Scope::Blend => "antifreeze",
            Scope::Block | Scope::SmallParts => "draining",
        });
    }
    if rows.iter().any(|row| row.frozen_now) {
        rules.insert("frozen");
    }
    if rows.iter().any(is_battery) {
        rules.extend(["battery", "battery_frozen"]);
    }
    rules
}

/// The rules that hold for the whole lay-up.
pub(super) fn for_lay_up(boat: &Boat, state: &BoatState, site: &Site) -> BTreeSet<&'static str> {
    let mut rules = for_visit(boat, state, site);
    rules.extend(["heater", "draining", "antifreeze"]);
    rules
}

/// The rules that hold whenever somebody goes to the boat.
pub(super) fn for_visit(boat: &Boat, state: &BoatState, site: &Site) -> BTreeSet<&'static str> {
    let mut rules = BTreeSet::from(["always"]);
    if boat.has_enclosed_petrol() {
        rules.insert("petrol_inboard");
    }
    if is_covered(state, site) {
        rules.insert("covered");
    }
    if state.afloat {
        rules.insert("afloat");
    }
    if state.mitigations.iter().any(|held| held.kind == "charger" && held.on) {
        rules.insert("battery");
    }
    rules
}

/// Under a cover or a roof.
pub(super) fn is_covered(state: &BoatState, site: &Site) -> bool {
    state.covered || matches!(site.kind, SiteKind::IndoorUnheated | SiteKind::IndoorHeated)
}

fn is_battery(row: &CircuitRisk) -> bool {
    row.circuit.as_str().contains("battery")
}
