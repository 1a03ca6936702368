//! From a situation to the facts that its decision rests on.

use chrono::{DateTime, Utc};

use super::facts::{Facts, RULE_VERSION};
use super::situation::Situation;
use crate::domain::risk::{CircuitRisk, Priority};

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
        // What has frozen has no more hour of its own where something else can be helped.
        let open =
            || active.iter().filter(|row| !row.frozen_now).filter_map(|row| row.first_danger).min();
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
            first_danger: open().or(active.iter().filter_map(|row| row.first_danger).min()),
            latest_start: active.iter().filter_map(|row| row.latest_start).min(),
            minutes: active.iter().map(|row| row.minutes.max(0.0)).sum(),
        }
    }
}
