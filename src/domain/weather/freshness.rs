//! When a forecast is too old to be believed, and when there is none.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::Forecast;

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
#[serde(deny_unknown_fields, default)]
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

/// What is known of the newest usable forecast of a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// When the newest usable issue was made; `None` where there is none.
    pub issued_at: Option<DateTime<Utc>>,
    /// The end of its last hour with a temperature.
    pub ends_at: Option<DateTime<Utc>>,
    /// When a configured service last answered (with news or with "not modified").
    pub answered_at: Option<DateTime<Utc>>,
    /// Every configured service refuses to serve the place.
    pub all_refused: bool,
}

impl Standing {
    /// What `forecast` and the last answer amount to.
    #[must_use]
    pub fn of(forecast: Option<&Forecast>, answered_at: Option<DateTime<Utc>>) -> Self {
        let last = forecast.and_then(|f| f.steps.iter().rev().find(|s| s.temperature_c.is_some()));
        Self {
            issued_at: forecast.map(|f| f.issued_at),
            ends_at: last.map(|s| s.time + TimeDelta::hours(1)),
            answered_at,
            all_refused: false,
        }
    }
}

impl FreshnessLimits {
    /// Fresh, degraded or blind at `now`. Nothing known is blind.
    #[must_use]
    pub fn state(&self, standing: &Standing, now: DateTime<Utc>) -> ForecastState {
        let age_h = |then: DateTime<Utc>| hours_between(then, now);
        let (Some(issued), Some(ends)) = (standing.issued_at, standing.ends_at) else {
            return ForecastState::Blind;
        };
        let left_h = hours_between(now, ends);
        if standing.all_refused || age_h(issued) > self.blind_issue_h || left_h < self.blind_left_h
        {
            return ForecastState::Blind;
        }
        let unanswered = standing.answered_at.is_none_or(|at| age_h(at) > self.degraded_answer_h);
        if age_h(issued) > self.degraded_issue_h || unanswered {
            ForecastState::Degraded
        } else {
            ForecastState::Fresh
        }
    }

    /// When the state of a place that is known so well will change next after `now`, if nothing more comes.
    #[must_use]
    pub fn next_change(&self, standing: &Standing, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let issued = standing.issued_at?;
        let degraded = [
            Some(issued + hours(self.degraded_issue_h)),
            standing.answered_at.map(|at| at + hours(self.degraded_answer_h)),
            self.blind_from(standing),
        ];
        // The limits count when they are passed, not when they are reached.
        let passed = TimeDelta::milliseconds(1);
        degraded.into_iter().flatten().map(|at| at + passed).filter(|at| *at > now).min()
    }

    /// When a place that is not blind now would become so if nothing more came.
    #[must_use]
    pub fn blind_from(&self, standing: &Standing) -> Option<DateTime<Utc>> {
        let by_age = standing.issued_at? + hours(self.blind_issue_h);
        let by_end = standing.ends_at? - hours(self.blind_left_h);
        Some(by_age.min(by_end))
    }
}

fn hours_between(from: DateTime<Utc>, to: DateTime<Utc>) -> f64 {
    (to - from).as_seconds_f64() / 3600.0
}

#[expect(clippy::cast_possible_truncation, reason = "limits are hours; milliseconds fit an i64")]
fn hours(hours: f64) -> TimeDelta {
    TimeDelta::milliseconds((hours * 3_600_000.0) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn age_silence_and_a_short_end_each_count() {
        let now: DateTime<Utc> = "2023-01-13T12:00:00Z".parse().unwrap();
        let ago = |h: i64| Some(now - TimeDelta::hours(h));
        let limits = FreshnessLimits::default();
        let standing = |issued, left: i64, answered| Standing {
            issued_at: ago(issued),
            ends_at: ago(-left),
            answered_at: ago(answered),
            all_refused: false,
        };
        for (case, state) in [
            (standing(3, 150, 1), ForecastState::Fresh),
            (standing(13, 150, 1), ForecastState::Degraded),
            (standing(3, 150, 7), ForecastState::Degraded),
            (standing(25, 150, 1), ForecastState::Blind),
            (standing(3, 23, 1), ForecastState::Blind),
            (Standing { all_refused: true, ..standing(3, 150, 1) }, ForecastState::Blind),
            (Standing { issued_at: None, ..standing(3, 150, 1) }, ForecastState::Blind),
        ] {
            assert_eq!(limits.state(&case, now), state, "{case:?}");
        }
    }

    #[test]
    fn the_state_changes_at_the_announced_instant_and_not_before() {
        let issued: DateTime<Utc> = "2023-01-13T06:00:00Z".parse().unwrap();
        let limits = FreshnessLimits::default();
        let standing = Standing {
            issued_at: Some(issued),
            ends_at: Some(issued + TimeDelta::hours(156)),
            answered_at: Some(issued + TimeDelta::hours(1)),
            all_refused: false,
        };
        let mut now = issued;
        let mut seen = Vec::new();
        while let Some(next) = limits.next_change(&standing, now) {
            let before = limits.state(&standing, next - TimeDelta::milliseconds(1));
            assert_eq!(before, limits.state(&standing, now));
            seen.push((next - issued).num_hours());
            now = next;
        }
        assert_eq!(seen, [7, 12, 24]);
        assert_eq!(limits.state(&standing, now), ForecastState::Blind);
    }
}
