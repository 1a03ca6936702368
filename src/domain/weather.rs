//! The hourly outlook of a place, its spread, and how fresh it is.

pub mod coordinates;
pub mod credit;
pub mod daily_curve;
pub mod drawn;
pub mod error_table;
pub mod errors;
pub mod fitted;
pub mod freshness;
pub mod learned;
pub mod measured;
pub mod official;
pub mod outlook;
pub mod seasons;
pub mod sun;
pub mod place;
pub mod past;
pub mod usual;
pub mod nights;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

pub use freshness::{ForecastState, FreshnessLimits};

/// One whole hour of a forecast or of the past. What is missing is `None`, never a number.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Start of the hour.
    pub time: DateTime<Utc>,
    /// 2 m air temperature in C.
    pub temperature_c: Option<f64>,
    /// 10 % quantile in C, where the service publishes one.
    pub p10_c: Option<f64>,
    /// 90 % quantile in C, where the service publishes one.
    pub p90_c: Option<f64>,
    /// Dew point in C.
    pub dewpoint_c: Option<f64>,
    /// Wind in m/s at 10 m.
    pub wind_ms: Option<f64>,
    /// Cloud cover, 0 to 1.
    pub cloud: Option<f64>,
    /// Water that falls in the hour, melted, in mm.
    #[serde(default)]
    pub precipitation_mm: Option<f64>,
    /// Fresh snow of the hour, in cm of depth.
    #[serde(default)]
    pub snow_cm: Option<f64>,
}

impl Step {
    /// An hour of which nothing is known yet.
    #[must_use]
    pub const fn empty(time: DateTime<Utc>) -> Self {
        Self {
            time,
            temperature_c: None,
            p10_c: None,
            p90_c: None,
            dewpoint_c: None,
            wind_ms: None,
            cloud: None,
            precipitation_mm: None,
            snow_cm: None,
        }
    }
}

/// A published minimum with its window `[start, end)`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WindowMinimum {
    /// Start of the window.
    pub start: DateTime<Utc>,
    /// End of the window.
    pub end: DateTime<Utc>,
    /// The minimum in C.
    pub temperature_c: f64,
}

/// Hours that two answers must share to be held against each other.
const SHARED_HOURS_LEAST: usize = 24;
/// Temperatures nearer than this are the same, K.
const SAME_K: f64 = 1e-3;

impl Forecast {
    /// Is `later` the same run given out again? Then all the hours that both have, a day of them at least, are the same.
    #[must_use]
    pub fn says_the_same(&self, later: &Self) -> bool {
        let mut own = self.steps.iter().peekable();
        let mut shared = 0_usize;
        for step in &later.steps {
            while own.next_if(|o| o.time < step.time).is_some() {}
            let Some(other) = own.next_if(|o| o.time == step.time) else { continue };
            match (other.temperature_c, step.temperature_c) {
                (Some(a), Some(b)) if (a - b).abs() < SAME_K => shared += 1,
                (None, None) => {}
                _ => return false,
            }
        }
        shared >= SHARED_HOURS_LEAST
    }
}

/// One issue of one service for one place, normalised: hourly steps in UTC, strictly increasing, one hour apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    /// Which service, such as `nws-gridpoint`.
    pub service: String,
    /// When the data were made, not when they were fetched.
    pub issued_at: DateTime<Utc>,
    /// Height of the cell that answered, in metres, where stated.
    pub cell_elevation_m: Option<f64>,
    /// The hours.
    pub steps: Vec<Step>,
    /// Night minima as published.
    pub minima: Vec<WindowMinimum>,
    /// Ensemble members where the service publishes them: one temperature in C for each step, in the order of `steps`.
    #[serde(default)]
    pub members: Vec<Vec<Option<f64>>>,
    /// Hours without a temperature among the steps.
    pub missing: usize,
    /// What a person should know about this issue.
    pub warnings: Vec<String>,
}
