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
