//! The systems of a boat as alerts speak of them.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::domain::boat::{CircuitId, Holds};
use crate::domain::risk::CircuitRisk;

/// One of a boat's systems: a circuit, or one of several of its kind.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct System {
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
}

/// A system that has belonged to the episode, with the record as it stood when it joined: by this we see that the
/// record has changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// Which.
    pub system: System,
    /// What it held then.
    pub holds: Holds,
    /// Since when it had held that.
    pub since: Option<DateTime<Utc>>,
    /// When it joined.
    pub joined: DateTime<Utc>,
}

/// Does a circuit that holds this hold water without protection? What is unknown does.
#[must_use]
pub const fn is_wet(holds: Holds) -> bool {
    matches!(holds, Holds::Fresh | Holds::Sea | Holds::Unknown | Holds::LubeWet)
}

impl System {
    /// The system of a row.
    #[must_use]
    pub fn of(row: &CircuitRisk) -> Self {
        Self { circuit: row.circuit.clone(), instance: row.instance.clone() }
    }
}
