//! The numbers a decision was made on. Stored with the alert and carried by each telling, so that a message, and an
//! explanation a year later, print what was known then and compute nothing anew.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

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
}

/// The low to come at the place, with its 80 % range, in C.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Low {
    /// When it is expected.
    pub time: DateTime<Utc>,
    /// Median.
    pub median_c: f64,
    /// 10 % quantile.
    pub p10_c: f64,
    /// 90 % quantile.
    pub p90_c: f64,
}
