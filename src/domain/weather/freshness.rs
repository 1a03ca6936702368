//! When a forecast is too old to be believed, and when there is none.

use serde::{Deserialize, Serialize};

/// How far the newest usable forecast of a place can be relied on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ForecastState {
    /// Recent enough.
    Fresh,
    /// Older than it should be; judged on, with words.
    Degraded,
    /// Nothing usable: nothing may be cleared.
    Blind,
}

/// Age limits in hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FreshnessLimits {
    /// Degraded when the newest usable issue is older than this.
    pub degraded_issue_h: f64,
    /// Degraded when nothing was answered (200 or 304) for this long.
    pub degraded_answer_h: f64,
    /// Blind when the newest usable issue is older than this.
    pub blind_issue_h: f64,
    /// Blind when fewer hours than this are left of it.
    pub blind_left_h: f64,
}

impl Default for FreshnessLimits {
    fn default() -> Self {
        Self {
            degraded_issue_h: 12.0,
            degraded_answer_h: 6.0,
            blind_issue_h: 24.0,
            blind_left_h: 24.0,
        }
    }
}
