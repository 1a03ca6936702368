//! Who was told what: the measure of "worse" is what the reader last read, not what we last computed.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{ChanceClass, Facts, System};
use crate::domain::boat::{BoatId, PersonId};
use crate::domain::risk::{CircuitRisk, Consequence, Priority};

/// What a reader was told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LastNotified {
    /// When.
    pub at: DateTime<Utc>,
    /// How pressing it was.
    pub priority: Priority,
    /// Chance of the leading system, 0 to 1, unrounded.
    pub chance: f64,
    /// The class of its word.
    pub chance_class: ChanceClass,
    /// Median low, in C.
    pub low_c: Option<f64>,
    /// First dangerous hour.
    pub first_danger: Option<DateTime<Utc>>,
    /// Last moment to begin.
    pub latest_start: Option<DateTime<Utc>>,
    /// Minutes of work for all of it.
    pub minutes: f64,
    /// The systems named, those on their way to the threshold included.
    pub systems: Vec<System>,
    /// What was asked for: a phrase key.
    pub action: String,
}

/// One message that left for a person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sent {
    /// When it was decided.
    pub at: DateTime<Utc>,
    /// Revision of the alert.
    pub revision: u32,
    /// Step of the escalation; 0 is the first contact.
    pub step: u8,
}

/// Everything that one person was told about one alert.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ledger {
    /// The last of it.
    pub last: LastNotified,
    /// The worst of it, point by point: what is no worse than this is no news.
    pub worst: Heard,
    /// Every message, oldest first.
    pub sent: Vec<Sent>,
    /// Told of a raise and not yet of its end.
    pub awaits_closing: bool,
    /// Updates since the raise.
    #[serde(default)]
    pub updates: u8,
}

/// The worst that a reader has heard since the raise, point by point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// Most pressing.
    pub priority: Priority,
    /// Likeliest, 0 to 1.
    pub chance: f64,
    /// Coldest median low, in C.
    pub low_c: Option<f64>,
    /// Gravest harm of a system named.
    pub consequence: Consequence,
    /// Every system named, with the record as it stood: refilled after a drain, it is news again.
    pub systems: Vec<(System, Option<DateTime<Utc>>)>,
}

impl Heard {
    /// What a reader of a message with these facts has heard.
    #[must_use]
    pub fn of(facts: &Facts) -> Self {
        let named = |row: &CircuitRisk| (System::of(row), row.since);
        Self {
            priority: facts.priority,
            chance: facts.lead().map_or(0.0, |row| row.chance_limit),
            low_c: facts.low.map(|low| low.median_c),
            consequence: gravest(&facts.rows),
            systems: facts.rows.iter().map(named).collect(),
        }
    }

    /// Adds what another message says.
    pub fn add(&mut self, facts: &Facts) {
        let other = Self::of(facts);
        self.priority = self.priority.max(other.priority);
        self.chance = self.chance.max(other.chance);
        self.low_c = match (self.low_c, other.low_c) {
            (Some(one), Some(two)) => Some(one.min(two)),
            (one, two) => one.or(two),
        };
        self.consequence = self.consequence.max(other.consequence);
        for named in other.systems {
            if !self.systems.contains(&named) {
                self.systems.push(named);
            }
        }
    }

    /// Was this system named, as its record stands?
    #[must_use]
    pub fn names(&self, row: &CircuitRisk) -> bool {
        self.systems.iter().any(|(system, since)| *system == System::of(row) && *since == row.since)
    }
}

impl Facts {
    /// What a reader of a message with these facts has been told.
    #[must_use]
    pub fn as_told(&self) -> LastNotified {
        let chance = self.lead().map_or(0.0, |row| row.chance_limit);
        LastNotified {
            at: self.at,
            priority: self.priority,
            chance,
            chance_class: ChanceClass::of(chance),
            low_c: self.low.map(|low| low.median_c),
            first_danger: self.first_danger,
            latest_start: self.latest_start,
            minutes: self.minutes,
            systems: self.rows.iter().map(System::of).collect(),
            action: self.lead().map(|row| row.action.clone()).unwrap_or_default(),
        }
    }
}

/// The gravest harm among rows; minor where there are none.
fn gravest(rows: &[CircuitRisk]) -> Consequence {
    rows.iter().map(|row| row.consequence).max().unwrap_or(Consequence::Minor)
}

/// Advice that stands: what a person was last told about a boat whose alert is open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// Who was told.
    pub person: PersonId,
    /// About which boat.
    pub boat: BoatId,
    /// Its name.
    pub boat_name: String,
    /// What.
    pub told: LastNotified,
}
