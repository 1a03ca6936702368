//! Official notices of cold for a place: a cross-check beside the forecast. Nothing hangs on it, so that trouble here only waits
//! for the next turn.

use chrono::{DateTime, TimeDelta, Utc};

use super::Client;
use crate::adapters::weather::Place;
use crate::adapters::weather::nws::parse_notices;
use crate::app::ports::NoticeState;

/// Least time between two turns; notices are made hours ahead.
const APART_MIN: i64 = 30;
/// After failures the wait doubles up to this many times the least: eight hours.
const DOUBLINGS_MAX: u32 = 4;

impl Client {
    /// Asks for the notices in force at `place`; whether there was an answer. `state` keeps them.
    pub async fn notices(&self, place: Place, state: &mut NoticeState, now: DateTime<Utc>) -> bool {
        if !state.is_due(now) || self.is_paused(now) {
            return false;
        }
        let path = format!("/alerts/active?point={:.4},{:.4}", place.latitude(), place.longitude());
        let read = match self.body(&path, now).await {
            Ok(body) => parse_notices(&body, now).map_err(|error| error.to_string()),
            Err(refusal) => Err(super::observed::words(&refusal)),
        };
        let wait = match read {
            Ok(notices) => {
                *state = NoticeState { notices, read_at: Some(now), ..NoticeState::default() };
                TimeDelta::minutes(APART_MIN)
            }
            Err(why) => {
                state.last_failure = Some(why);
                let doublings = state.failures.min(DOUBLINGS_MAX);
                state.failures = state.failures.saturating_add(1);
                TimeDelta::minutes(APART_MIN << doublings)
            }
        };
        state.not_before = Some(now + wait);
        state.last_failure.is_none()
    }
}
