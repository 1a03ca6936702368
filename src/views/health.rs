//! The service itself: what was found wrong, and how each of its loops last went.

use serde::Serialize;

/// The service as one document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HealthView {
    /// What was looked at.
    pub findings: Vec<Finding>,
    /// How the loops of the daemon last went, by name; empty where none has run.
    pub loops: Vec<LoopLine>,
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
