//! How rows are judged: thresholds, horizon, working hours.

use crate::domain::catalogue::Consequence;
use crate::domain::risk::timing::WorkingHours;

/// On-thresholds by consequence, and the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgeSettings {
    /// Chance from which a minor, a major, a severe row counts.
    pub on: [f64; 3],
    /// Hours from the start for which chances are stated.
    pub horizon_h: usize,
    /// When people work.
    pub working_hours: WorkingHours,
}

impl Default for JudgeSettings {
    fn default() -> Self {
        Self { on: [0.30, 0.20, 0.10], horizon_h: 72, working_hours: WorkingHours::default() }
    }
}

/// Nobody is told of less than this chance, whatever they wish: it would be told nearly every night.
const LEAST_WANTED: f64 = 0.02;

/// The on-threshold of severe harm for an owner who wants to hear from the chance `wish` on: their wish where it is lower
/// than the usual one. A higher wish leaves the judging as it is.
#[must_use]
pub const fn wanted_on(wish: f64, usual: f64) -> f64 {
    wish.max(LEAST_WANTED).min(usual)
}

impl JudgeSettings {
    /// The on-threshold of a consequence.
    #[must_use]
    pub const fn threshold(&self, consequence: Consequence) -> f64 {
        let [minor, major, severe] = self.on;
        match consequence {
            Consequence::Minor => minor,
            Consequence::Major => major,
            Consequence::Severe => severe,
        }
    }
}
