//! The service itself: what was found wrong, how each of its loops last went, how far each place can be seen, and what waits
//! in the outbox.

use serde::Serialize;

use super::worklist::ForecastLine;
use crate::domain::boat::SiteId;

/// The service as one document.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct HealthView {
    /// What was tried just now.
    pub findings: Vec<Finding>,
    /// How the loops of the daemon last went, by name; empty where none has run.
    pub loops: Vec<LoopLine>,
    /// The forecast of each place, by id; empty where the store cannot be read.
    pub places: Vec<SightLine>,
    /// What stands where in the outbox; null where the store cannot be read.
    pub outbox: Option<OutboxLine>,
}

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// What.
    pub what: String,
    /// Is it well?
    pub ok: bool,
    /// In words.
    pub words: String,
}

/// How a loop last went.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LoopLine {
    /// `fetch`, `judge`, `deliver`, `housekeep`.
    pub name: String,
    /// Did the last pass do its work?
    pub ok: bool,
    /// When it ended, by the clock of the yard.
    pub at: String,
    /// When one last did its work.
    pub last_ok: Option<String>,
    /// One line for people.
    pub words: String,
}

/// How far a place can be seen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SightLine {
    /// The place.
    pub site: SiteId,
    /// Its newest issue.
    pub forecast: ForecastLine,
}

/// Letters by where they stand.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct OutboxLine {
    /// Not tried yet.
    pub queued: u32,
    /// Being sent.
    pub leased: u32,
    /// Tried, due again later.
    pub deferred: u32,
    /// Accepted by the server.
    pub sent: u32,
    /// Refused for good.
    pub failed: u32,
    /// Of no use any more before they went.
    pub expired: u32,
    /// Replaced by a newer one before they went.
    pub superseded: u32,
    /// Since when the oldest waits that still has to go, by the clock of the yard.
    pub oldest_waiting: Option<String>,
    /// When the next attempt is due.
    pub next_due: Option<String>,
}
