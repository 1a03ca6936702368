//! The kinds of circuit: what each is called, where it sits, how it breaks, how fast, and what is to be done about it.

use serde::Deserialize;

use super::table::{list, rows};
use super::{
    CatalogueError, CircuitId, Confinement, Consequence, CoolingKind, PartExposure, SpeedClass,
};

const TABLE: &str = "circuits.csv";

/// When a run of the engine puts water into a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RunWets {
    /// On every run.
    Always,
    /// Only where raw water runs through the block.
    RawCooled,
    /// Only on a run afloat, or from sea or lake.
    Afloat,
    /// Never.
    No,
}

/// What a cold run-through of antifreeze without draining leaves in a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AfterColdRun {
    /// Whatever was in it before.
    Stays,
    /// Whatever was in it before; even a warm run reaches it only through an open thermostat.
    Thermostat,
    /// Blend, claimed at most.
    Claimed,
    /// Blend, as the entry says.
    Passes,
}

/// When ice in a circuit may ask a person to act.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Alarms {
    /// It holds water, or nothing is on record.
    Wet,
    /// Only where the record says that it holds water: nothing on record is a question.
    KnownWet,
    /// Never: it is listed.
    Never,
}

/// When a vessel with a free surface is full, so that ice in it has no room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WhenFull {
    /// It is sealed: always, until it is drained.
    Sealed,
    /// It is vented: only where the record says that it was filled to its vent.
    Vented,
}

/// One row of the circuit table.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct CircuitKind {
    /// Its id, such as `block_raw`.
    pub id: CircuitId,
    /// What owners call it.
    pub label: String,
    #[serde(rename = "groups")]
    group_list: String,
    /// Order in which one walks round the boat, ascending.
    pub walk_order: u16,
    /// How it is enclosed.
    pub confinement: Confinement,
    /// Harm ashore.
    pub consequence: Consequence,
    /// Harm afloat, where a part that keeps the sea out may sink the boat.
    pub consequence_afloat: Consequence,
    /// Row of the thermal-class table while it is full.
    pub thermal_class: String,
    /// Row of the thermal-class table once it is drained.
    pub thermal_class_drained: String,
    /// Where it sits.
    pub exposure: PartExposure,
    /// Where it sits while the boat is afloat.
    pub exposure_afloat: PartExposure,
    /// When ice in it may ask a person to act.
    pub alarms: Alarms,
    /// What one of several is called, such as `unit` or `log`; empty where a boat has one.
    pub instance_noun: String,
    /// When a run of the engine wets it.
    pub run_wets: RunWets,
    /// What a cold run of antifreeze leaves in it.
    pub after_cold_run: AfterColdRun,
    /// How soon it freezes through.
    pub speed: SpeedClass,
    /// Litres in use, a working figure where the boat has no own one.
    pub volume_l: f64,
    /// Litres left after an ordinary drain by gravity.
    pub residue_l: f64,
    /// Minutes of an emergency drain, hands on.
    pub drain_minutes: f64,
    /// Key of what to do, a row of `actions.csv`.
    pub action: String,
    #[serde(rename = "follows")]
    follow_list: String,
    /// When it gives ice no room, for a vessel that has a free surface until it is full.
    pub when_full: Option<WhenFull>,
    /// Where these figures come from.
    pub source: String,
}

impl CircuitKind {
    /// Harm if it freezes, ashore or afloat.
    #[must_use]
    pub const fn consequence_when(&self, afloat: bool) -> Consequence {
        if afloat { self.consequence_afloat } else { self.consequence }
    }

    /// Where it sits, ashore or afloat.
    #[must_use]
    pub const fn exposure_when(&self, afloat: bool) -> PartExposure {
        if afloat { self.exposure_afloat } else { self.exposure }
    }

    /// Groups that it belongs to, such as `ENGINE_RAW`.
    pub fn groups(&self) -> impl Iterator<Item = &str> {
        list(&self.group_list)
    }

    /// Circuits that it hangs on: what reaches one of these reaches it too.
    pub fn follows(&self) -> impl Iterator<Item = CircuitId> {
        list(&self.follow_list).map(CircuitId::from)
    }

    /// Whether it hangs on another circuit.
    #[must_use]
    pub fn hangs_on_another(&self) -> bool {
        !self.follow_list.is_empty()
    }

    /// How it is enclosed while it holds a liquid. `brimful`: filled to its vent, by the record.
    #[must_use]
    pub const fn confinement_when(&self, brimful: bool) -> Confinement {
        match self.when_full {
            Some(WhenFull::Sealed) => Confinement::Hard,
            Some(WhenFull::Vented) if brimful => Confinement::Hard,
            _ => self.confinement,
        }
    }

    /// Whether it is a loop of coolant that stays full over winter: then nothing is to be left after a drain.
    #[must_use]
    pub fn is_closed_loop(&self) -> bool {
        self.residue_l >= self.volume_l && self.action == "test_loop"
    }

    /// Whether one engine has two of it, a port and a starboard one, each with its own drain.
    #[must_use]
    pub fn has_two_sides(&self) -> bool {
        self.groups().any(|group| group == "TWO_SIDES")
    }

    /// Whether an electric element heats it, which burns out when it is dry.
    #[must_use]
    pub fn has_heating_element(&self) -> bool {
        self.action == "drain_heater_power_off"
    }

    /// Whether a pocket stays in it after a drain until it is cranked over.
    #[must_use]
    pub fn is_cranked_empty(&self) -> bool {
        self.groups().any(|group| group == "PUMPS")
    }

    /// Whether it is full of raw water when a boat comes out of use.
    #[must_use]
    pub fn holds_raw_water(&self) -> bool {
        self.run_wets != RunWets::No || self.groups().any(|group| group == "AC" || group == "GEN")
    }

    /// Whether a run of an engine cooled like this wets it. `open_water`: afloat, or fed from sea or lake.
    #[must_use]
    pub const fn is_wetted_by_run(&self, cooling: CoolingKind, open_water: bool) -> bool {
        match self.run_wets {
            RunWets::Always => true,
            RunWets::RawCooled => cooling.block_is_raw(),
            RunWets::Afloat => open_water,
            RunWets::No => false,
        }
    }
}

/// Reads the circuit table.
pub(crate) fn parse(text: &str) -> Result<Vec<CircuitKind>, CatalogueError> {
    let mut kinds: Vec<CircuitKind> = Vec::new();
    for (line, kind) in rows::<CircuitKind>(TABLE, text)? {
        let problem = |what: String| CatalogueError::Row { table: TABLE, line, what };
        if kinds.iter().any(|known| known.id == kind.id) {
            return Err(problem(format!("the circuit {} stands twice", kind.id)));
        }
        if !(kind.volume_l > 0.0 && (0.0..=kind.volume_l).contains(&kind.residue_l)) {
            return Err(problem(format!("{}: volume and residue do not fit together", kind.id)));
        }
        if kind.source.is_empty() {
            return Err(problem(format!("{}: a figure without a source", kind.id)));
        }
        kinds.push(kind);
    }
    if kinds.len() > 128 {
        return Err(CatalogueError::Row {
            table: TABLE,
            line: 0,
            what: "more than 128 circuits".to_owned(),
        });
    }
    Ok(kinds)
}
