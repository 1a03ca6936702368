//! What was forecast: at each issue time the winter as it would be, plus an error that is plausible, seeded, and slow
//! to change.
//!
//! The error of one hour is what no forecast knows (it stays from issue to issue), the news of every six hours between
//! issue and that hour, and a little that is each issue's own. Its size by lead and temperature, its shape and its
//! correlation in time follow the default error model (computed from public US forecasts and reports, 2021-22).

mod error;
mod schedule;
mod reach;

use chrono::{DateTime, Utc};
pub use reach::{AHEAD_H, BEFORE_H};

use crate::domain::weather::place::pooled_cold_k;
use crate::sim::demo::winter::Winter;

use crate::domain::units::celsius_as_fahrenheit;
use error::ErrorModel;
use schedule::Schedule;

/// One hour of a forecast in the service's own grains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IssuedHour {
    /// Hours since 1970.
    pub hour: i64,
    /// Whole degrees F.
    pub temperature_f: i32,
    /// Whole degrees F.
    pub dewpoint_f: i32,
    /// Whole knots.
    pub wind_kt: i32,
    /// Whole percent.
    pub cloud_percent: i32,
}

/// One issue for one cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue {
    /// When it was made.
    pub issued_at: DateTime<Utc>,
    /// Its hours, one apart.
    pub hours: Vec<IssuedHour>,
}

/// All issues of the winter.
#[derive(Debug, Clone)]
pub struct Issues {
    winter: Winter,
    schedule: Schedule,
    errors: ErrorModel,
}

impl Issues {
    /// Prepares the forecasts of a winter from a seed.
    #[must_use]
    pub fn new(winter: Winter, seed: u64) -> Self {
        let schedule = Schedule::make(&winter, seed);
        let errors = ErrorModel::make(&winter, seed);
        Self { winter, schedule, errors }
    }

    /// The weather that the forecasts are about.
    #[must_use]
    pub const fn winter(&self) -> &Winter {
        &self.winter
    }

    /// All issue times of a cell, in order. A round at each of them sees every issue as it comes out.
    #[must_use]
    pub fn round_instants(&self, cell: usize) -> &[DateTime<Utc>] {
        self.schedule.of(cell)
    }

    /// The newest issue of a cell at `now`, itself included.
    #[must_use]
    pub fn newest(&self, cell: usize, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let times = self.schedule.of(cell);
        let after = times.partition_point(|t| *t <= now);
        times.get(after.checked_sub(1)?).copied()
    }

    /// The first instant after `now` at which any cell gets a new issue.
    #[must_use]
    pub fn next_issue_after(&self, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let next = |cell| {
            let times = self.schedule.of(cell);
            times.get(times.partition_point(|t| *t <= now)).copied()
        };
        (0..self.winter.cells().len()).filter_map(next).min()
    }

    /// The forecast that a cell got at `issued_at`; `None` when there was none.
    #[must_use]
    pub fn issue(&self, cell: usize, issued_at: DateTime<Utc>) -> Option<Issue> {
        self.schedule.of(cell).binary_search(&issued_at).ok()?;
        let first = issued_at.timestamp().div_euclid(3600).checked_sub(BEFORE_H)?;
        let last = first.checked_add(BEFORE_H)?.checked_add(AHEAD_H)?;
        let errors = self.errors.of_issue(&self.winter, cell, issued_at, first..last);
        let named = self.winter.cells().get(cell)?;
        let (night_offset_k, at) = (named.night_offset_k, (named.latitude, named.longitude));
        let hours = (first..last).zip(errors).filter_map(|(hour, error_k)| {
            let truth = self.winter.truth_at_hour(cell, hour)?;
            // The service speaks for the cell: it does not know what pools in this very place.
            let place_c = truth.temperature_c?;
            let cell_c = place_c - pooled_cold_k(night_offset_k, at, truth);
            let forecast_c = cell_c - error_k;
            let depression_k = place_c - truth.dewpoint_c?;
            Some(IssuedHour {
                hour,
                temperature_f: whole(celsius_as_fahrenheit(forecast_c)),
                dewpoint_f: whole(celsius_as_fahrenheit(forecast_c - depression_k)),
                wind_kt: whole(truth.wind_ms? * 3600.0 / 1852.0),
                cloud_percent: whole(truth.cloud? * 100.0),
            })
        });
        Some(Issue { issued_at, hours: hours.collect() })
    }
}

/// Rounds; figures of weather always fit.
#[expect(clippy::cast_possible_truncation, reason = "clamped to the range of weather before")]
fn whole(value: f64) -> i32 {
    value.round().clamp(-1000.0, 1000.0) as i32
}
