//! What is known about the last requests for one place, and what came of the newest.

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::weather::Place;
use crate::app::ports::{FetchState, Outcome};
use crate::domain::weather::Forecast;

/// Waits after the first, second, ... failure in a row, in seconds; the last repeats. The service's own advice for its
/// bursts of errors is to try again after some seconds; a quarter of an hour is often enough to notice its return.
const RETRY_WAITS_S: [i64; 6] = [10, 30, 120, 300, 600, 900];
/// After a refusal for who we are: at most hourly.
const BLOCKED_WAIT_S: i64 = 3_600;
/// After an answer that will not change by asking again.
const PERMANENT_WAIT_S: i64 = 6 * 3_600;
/// Longest wait that is ever set, in hours, whatever a header says.
pub(super) const WAIT_HOURS_MAX: i64 = 6;

impl FetchState {
    /// The place whose cell is asked for.
    pub(super) fn land_or(&self, place: Place) -> Place {
        self.land.as_deref().and_then(|land| land.parse().ok()).unwrap_or(place)
    }
}

/// A good answer, before the state knows of it.
pub(super) struct Answer {
    pub outcome: Outcome,
    /// Seconds for which the answer is good.
    pub good_for_s: i64,
}

/// Why there is none, and how long the service asks us to wait, if it says.
pub(super) struct Refusal {
    pub outcome: Outcome,
    pub wait_s: Option<i64>,
}

impl Refusal {
    pub fn new(outcome: Outcome) -> Self {
        Self { outcome, wait_s: None }
    }
}

impl FetchState {
    /// Forgets where the grid is and what was last fetched from there.
    pub(super) fn forget_grid(&mut self) {
        self.grid_path = None;
        self.resolved_at = None;
        self.etag = None;
        self.last_modified = None;
    }

    /// Notes the result and when to ask again.
    pub(super) fn settle(
        &mut self,
        result: Result<Answer, Refusal>,
        place: Place,
        now: DateTime<Utc>,
    ) -> Outcome {
        match result {
            Ok(answer) => {
                self.consecutive_failures = 0;
                self.last_failure = words(&answer.outcome);
                self.last_answer_at = Some(now);
                self.refused = false;
                self.not_before = Some(after(now, answer.good_for_s));
                answer.outcome
            }
            Err(refusal) => {
                let steps = usize::try_from(self.consecutive_failures).unwrap_or(usize::MAX);
                // Asked too much is nothing that is wrong with the place.
                if !matches!(refusal.outcome, Outcome::Throttled { .. }) {
                    self.consecutive_failures = self.consecutive_failures.saturating_add(1);
                }
                let retry = RETRY_WAITS_S.get(steps).or(RETRY_WAITS_S.last()).copied();
                let own = match &refusal.outcome {
                    Outcome::Blocked { .. } => BLOCKED_WAIT_S,
                    Outcome::Permanent { .. } => PERMANENT_WAIT_S,
                    _ => spread(retry.unwrap_or(BLOCKED_WAIT_S), place),
                };
                let until = after(now, refusal.wait_s.map_or(own, |asked| asked.max(own)));
                self.not_before = Some(until);
                let outcome = match refusal.outcome {
                    Outcome::Throttled { .. } => Outcome::Throttled { until },
                    other => other,
                };
                self.last_failure = words(&outcome);
                self.refused |=
                    matches!(outcome, Outcome::Blocked { .. } | Outcome::Permanent { .. });
                outcome
            }
        }
    }
}

/// An issue older than this, in hours, is told.
const OLD_ISSUE_HOURS: i64 = 24;
/// An issue older than this, in hours, is refused.
const REFUSED_ISSUE_HOURS: i64 = 36;

/// What an issue is to somebody who holds one of `stored_issue` already: newer, the same, or too old.
pub(super) fn weigh(
    mut forecast: Forecast,
    length: usize,
    stored_issue: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Outcome {
    let issued = forecast.issued_at;
    let age_h = (now - issued).num_hours();
    match stored_issue {
        Some(stored) if issued < stored => {
            let why = format!("the answer was issued at {issued}, before the stored {stored}");
            return Outcome::Stale { why };
        }
        Some(stored) if issued == stored => return Outcome::NotModified,
        _ => {}
    }
    if age_h >= REFUSED_ISSUE_HOURS {
        let why = format!("the answer was issued at {issued}, {age_h} hours ago");
        return Outcome::Stale { why };
    }
    if age_h >= OLD_ISSUE_HOURS {
        forecast.warnings.push(format!("issued {age_h} hours ago"));
    }
    Outcome::Fresh(Box::new(forecast), length)
}

pub(super) fn words(outcome: &Outcome) -> Option<String> {
    match outcome {
        Outcome::Transient { why }
        | Outcome::Blocked { why }
        | Outcome::Permanent { why }
        | Outcome::Malformed { why }
        | Outcome::Stale { why } => Some(why.clone()),
        Outcome::Throttled { until } => Some(format!("throttled until {until}")),
        _ => None,
    }
}

fn after(now: DateTime<Utc>, seconds: i64) -> DateTime<Utc> {
    let seconds = seconds.clamp(0, WAIT_HOURS_MAX.saturating_mul(3600));
    now.checked_add_signed(TimeDelta::seconds(seconds)).unwrap_or(now)
}

/// Lengthens a wait by up to a quarter, by the place, so that many places do not come back in the same second.
fn spread(wait_s: i64, place: Place) -> i64 {
    let text = place.to_string();
    let hash = text.bytes().fold(17_i64, |h, b| (h * 31 + i64::from(b)).rem_euclid(1_009));
    wait_s.saturating_add(wait_s.saturating_mul(hash) / 4 / 1_009)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noon() -> DateTime<Utc> {
        "2022-12-01T12:00:00Z".parse().unwrap()
    }

    #[test]
    fn waits_grow_with_failures_and_end_with_an_answer() {
        let place: Place = "44.19,-69.07".parse().unwrap();
        let mut state = FetchState::default();
        let mut waits = Vec::new();
        for _ in 0..8 {
            let why = "503".to_owned();
            state.settle(Err(Refusal::new(Outcome::Transient { why })), place, noon());
            waits.push((state.not_before.unwrap() - noon()).num_seconds());
        }
        assert!(waits.windows(2).all(|w| w[0] <= w[1]), "{waits:?}");
        assert!(waits[0] >= 10 && waits[0] <= 13 && waits[7] <= 1125, "{waits:?}");
        assert_eq!(state.last_failure.as_deref(), Some("503"));
        state.settle(Ok(Answer { outcome: Outcome::NotModified, good_for_s: 600 }), place, noon());
        assert_eq!((state.consecutive_failures, state.last_failure.clone()), (0, None));
        assert_eq!(state.last_answer_at, Some(noon()));
    }

    #[test]
    fn no_header_can_silence_a_place_for_a_day() {
        let place: Place = "44.19,-69.07".parse().unwrap();
        let mut state = FetchState::default();
        let outcome = Outcome::Throttled { until: noon() };
        state.settle(Err(Refusal { outcome, wait_s: Some(10_000_000) }), place, noon());
        assert_eq!((state.not_before.unwrap() - noon()).num_hours(), WAIT_HOURS_MAX);
    }

    #[test]
    fn who_asked_too_much_is_not_taken_for_ill() {
        let place: Place = "44.19,-69.07".parse().unwrap();
        let mut state = FetchState::default();
        for _ in 0..3 {
            let outcome = Outcome::Throttled { until: noon() };
            state.settle(Err(Refusal { outcome, wait_s: Some(600) }), place, noon());
        }
        assert_eq!(state.consecutive_failures, 0);
        assert_eq!(state.not_before, Some(noon() + TimeDelta::minutes(10)));
    }

    #[test]
    fn a_state_survives_being_stored() {
        let state = FetchState { etag: Some("\"a\"".into()), ..FetchState::default() };
        let text = serde_json::to_string(&state).unwrap();
        assert_eq!(serde_json::from_str::<FetchState>(&text).unwrap(), state);
        assert_eq!(serde_json::from_str::<FetchState>("{}").unwrap(), FetchState::default());
    }
}
