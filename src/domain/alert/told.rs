//! Who was told what: the measure of "worse" is what the reader last read, not what we last computed.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{ChanceClass, System};
use crate::domain::risk::Priority;

/// What a reader was told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Told {
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
    pub last: Told,
    /// Every message, oldest first.
    pub sent: Vec<Sent>,
    /// Told of a raise and not yet of its end.
    pub awaits_closing: bool,
}
