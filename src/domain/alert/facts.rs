//! The numbers a decision was made on. Stored with the alert and carried by each telling, so that a message, and an
//! explanation a year later, print what was known then and compute nothing anew.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{ChanceClass, LastNotified, Low, Situation, System};
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::weather::ForecastState;

/// Version of the rules of this module, written into every transition.
pub const RULE_VERSION: u32 = 1;

/// What was known when somebody was told something.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Facts {
    /// When it was decided.
    pub at: DateTime<Utc>,
    /// Version of the rules.
    pub rule_version: u32,
    /// Which service the forecast is from.
    pub service: String,
    /// When that forecast was issued.
    pub issued_at: Option<DateTime<Utc>>,
    /// Whether it can be relied on.
    pub forecast: ForecastState,
    /// End of the horizon that the chances are for.
    pub until: DateTime<Utc>,
    /// The low to come until then.
    pub low: Option<Low>,
    /// The most pressing row's priority.
    pub priority: Priority,
    /// The rows over their threshold, the leading one first, then [`Facts::near`] rows on their way to it.
    pub rows: Vec<CircuitRisk>,
    /// How many of the rows, at the end, are between off and on: named so that they do not come as news later.
    pub near: usize,
    /// First dangerous hour of the rows over their threshold.
    pub first_danger: Option<DateTime<Utc>>,
    /// Earliest latest start of them.
    pub latest_start: Option<DateTime<Utc>>,
    /// Minutes of work for them together.
    pub minutes: f64,
}

impl Facts {
    /// Gathers the facts; `active` has the leading row first.
    #[must_use]
    pub fn gather(
        situation: &Situation,
        active: &[CircuitRisk],
        near: &[CircuitRisk],
        priority: Priority,
        now: DateTime<Utc>,
    ) -> Self {
        Self {
            at: now,
            rule_version: RULE_VERSION,
            service: situation.service.clone(),
            issued_at: situation.issued_at,
            forecast: situation.forecast,
            until: situation.until,
            low: situation.low,
            priority,
            rows: active.iter().chain(near).cloned().collect(),
            near: near.len(),
            first_danger: active.iter().filter_map(|row| row.first_danger).min(),
            latest_start: active.iter().filter_map(|row| row.latest_start).min(),
            minutes: active.iter().map(|row| row.minutes.max(0.0)).sum(),
        }
    }

    /// The rows over their threshold.
    #[must_use]
    pub fn active(&self) -> &[CircuitRisk] {
        let count = self.rows.len().saturating_sub(self.near);
        self.rows.get(..count).unwrap_or(&[])
    }

    /// The row that the message speaks of first.
    #[must_use]
    pub fn lead(&self) -> Option<&CircuitRisk> {
        self.rows.first()
    }

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

impl System {
    /// The system of a row.
    #[must_use]
    pub fn of(row: &CircuitRisk) -> Self {
        Self { circuit: row.circuit.clone(), instance: row.instance.clone() }
    }
}
