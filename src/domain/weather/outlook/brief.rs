//! An earlier issue, reduced to what a later one is compared with: the air, hour by hour, in a twentieth of the room.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::Forecast;

/// Longest that an earlier issue matters: 36 h, and a few more.
pub const KEPT: TimeDelta = TimeDelta::hours(42);
/// An issue counts as made so long ago if it was within this of it.
const ABOUT: TimeDelta = TimeDelta::hours(4);

/// One earlier issue of a service for a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Brief {
    /// When it was made.
    pub issued_at: DateTime<Utc>,
    first: DateTime<Utc>,
    /// Air temperature of each hour from `first` on, C; not a number where missing.
    air_c: Vec<f32>,
}

impl Brief {
    /// Of an issue whose steps are an hour apart.
    #[must_use]
    pub fn of(forecast: &Forecast) -> Self {
        let first = forecast.steps.first().map_or(forecast.issued_at, |step| step.time);
        #[expect(clippy::cast_possible_truncation, reason = "a temperature fits single precision")]
        let narrow = |celsius: f64| celsius as f32;
        let air_c =
            forecast.steps.iter().map(|s| s.temperature_c.map_or(f32::NAN, narrow)).collect();
        Self { issued_at: forecast.issued_at, first, air_c }
    }

    /// What it said of the hours from `from` up to and with `to`, C; `None` where it knows fewer than nine tenths of them.
    #[must_use]
    pub fn between(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> Option<Vec<f64>> {
        Some(self.hours(from, to)?.into_iter().map(|(_, celsius)| celsius).collect())
    }

    /// The same with the time of each hour.
    #[must_use]
    pub fn hours(
        &self,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Option<Vec<(DateTime<Utc>, f64)>> {
        let wanted = usize::try_from((to - from).num_hours()).ok()?.saturating_add(1);
        let skipped = usize::try_from((from - self.first).num_hours()).ok()?;
        let known: Vec<(DateTime<Utc>, f64)> = self
            .air_c
            .iter()
            .skip(skipped)
            .take(wanted)
            .zip(0_i64..)
            .filter(|(celsius, _)| celsius.is_finite())
            .map(|(celsius, hour)| (from + TimeDelta::hours(hour), f64::from(*celsius)))
            .collect();
        let enough = known.len().saturating_mul(10) >= wanted.saturating_mul(9);
        (!known.is_empty() && enough).then_some(known)
    }
}

/// The issue made about so many hours before `issued_at`: the nearest to it.
#[must_use]
pub fn made_before(earlier: &[Brief], issued_at: DateTime<Utc>, hours: i64) -> Option<&Brief> {
    let wanted = issued_at - TimeDelta::hours(hours);
    let off = |brief: &&Brief| (brief.issued_at - wanted).abs();
    earlier.iter().filter(|brief| off(brief) <= ABOUT).min_by_key(off)
}
