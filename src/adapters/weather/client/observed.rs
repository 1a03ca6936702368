//! What a thermometer near a place says now. Stations fall silent one by one: the list is walked down until one has a
//! temperature that is young enough. It is never needed for a forecast, so trouble here only waits for the next turn.

use chrono::{DateTime, TimeDelta, Utc};

use super::Client;
use super::http::Ask;
use super::state::Refusal;
use crate::adapters::weather::nws::parse_observation;
use crate::adapters::weather::nws::stations::parse_stations;
use crate::adapters::weather::{Context, Place};
use crate::app::ports::{Outcome, StationState};
use crate::domain::weather::measured::{Measured, NEAR_KM, distance_km};

const ACCEPT: &str = "application/geo+json";
/// So many of the nearest stations are tried in one turn.
const STATIONS_TRIED: usize = 3;
/// The list of stations is asked for again after this, as the cell is.
const LIST_HOURS: i64 = 24;
/// A reading older than this is no present one; the service has repeated old ones for hours.
const YOUNG_MIN: i64 = 90;
/// Stations report hourly, some minutes before the hour, and the service has it some minutes later.
const NEXT_AFTER_READING_MIN: i64 = 70;
/// Least time between two turns.
const APART_MIN: i64 = 20;
/// After failures the wait doubles up to this many times the least.
const DOUBLINGS_MAX: u32 = 4;

impl Client {
    /// The newest reading near `place`, whose cell's list of stations stands under `grid_path`; `None` where it is not
    /// time yet, where there is no station, or where none says anything: `state` knows which.
    pub async fn observe(
        &self,
        place: Place,
        grid_path: &str,
        state: &mut StationState,
        now: DateTime<Utc>,
    ) -> Option<Measured> {
        if !state.is_due(now) || self.is_paused(now) {
            return None;
        }
        let found = self.look(place, grid_path, state, now).await;
        let wait = match &found {
            Ok(Some(measured)) => {
                (state.failures, state.last_failure) = (0, None);
                let next = measured.step.time + TimeDelta::minutes(NEXT_AFTER_READING_MIN);
                (next - now).max(TimeDelta::minutes(APART_MIN))
            }
            // No list, or nothing near: that does not change within the day.
            Ok(None) => TimeDelta::hours(LIST_HOURS),
            Err(why) => {
                state.last_failure = Some(why.clone());
                let doublings = state.failures.min(DOUBLINGS_MAX);
                state.failures = state.failures.saturating_add(1);
                TimeDelta::minutes(APART_MIN << doublings)
            }
        };
        state.not_before = Some(now + wait);
        found.ok().flatten()
    }

    async fn look(
        &self,
        place: Place,
        grid_path: &str,
        state: &mut StationState,
        now: DateTime<Utc>,
    ) -> Result<Option<Measured>, String> {
        let listed =
            state.listed_at.filter(|at| *at <= now && now - *at < TimeDelta::hours(LIST_HOURS));
        if listed.is_none() {
            let body = match self.body(&format!("{grid_path}/stations"), now).await {
                Ok(body) => body,
                Err(refusal) if matches!(refusal.outcome, Outcome::Permanent { .. }) => {
                    state.last_failure = Some("the service names no station here".to_owned());
                    return Ok(None);
                }
                Err(refusal) => return Err(words(&refusal)),
            };
            let stations = parse_stations(&body).map_err(|error| error.to_string())?;
            let here = (place.latitude(), place.longitude());
            let km = |at: Place| distance_km(here, (at.latitude(), at.longitude()));
            let mut near: Vec<_> = stations
                .into_iter()
                .map(|station| (station.id, km(station.place), station.elevation_m))
                .filter(|(_, km, _)| *km <= NEAR_KM)
                .collect();
            near.sort_by(|a, b| a.1.total_cmp(&b.1));
            near.truncate(STATIONS_TRIED);
            state.stations = near;
            state.listed_at = Some(now);
        }
        if state.stations.is_empty() {
            state.last_failure = Some(format!("no station within {NEAR_KM} km"));
            return Ok(None);
        }
        let mut why = String::new();
        for (station, km, height) in &state.stations {
            let path = format!("/stations/{station}/observations/latest");
            let read = match self.body(&path, now).await {
                Ok(body) => {
                    let context = Context { place: None, now: Some(now) };
                    parse_observation(&body, &context).map_err(|error| error.to_string())
                }
                Err(refusal) => Err(words(&refusal)),
            };
            match read {
                Ok(seen) if now - seen.step.time <= TimeDelta::minutes(YOUNG_MIN) => {
                    return Ok(Some(Measured {
                        station: station.clone(),
                        distance_km: *km,
                        elevation_m: seen.elevation_m.or(*height),
                        step: seen.step,
                    }));
                }
                Ok(seen) => why = format!("{station}: the last reading is of {}", seen.step.time),
                Err(error) => why = format!("{station}: {error}"),
            }
        }
        Err(why)
    }

    pub(super) async fn body(&self, path: &str, now: DateTime<Utc>) -> Result<Vec<u8>, Refusal> {
        let malformed = |why| Refusal::new(Outcome::Malformed { why });
        let url = self.http.at(path).ok_or_else(|| malformed(format!("{path} is not a path")))?;
        self.spend(now).map_err(|until| Refusal::new(Outcome::NotDue { until }))?;
        let ask = Ask { accept: ACCEPT, ..Ask::default() };
        let reply = self.http.get(url, &ask, now).await?;
        Ok(reply.body.unwrap_or_default())
    }
}

pub(super) fn words(refusal: &Refusal) -> String {
    match &refusal.outcome {
        Outcome::Transient { why }
        | Outcome::Blocked { why }
        | Outcome::Permanent { why }
        | Outcome::Malformed { why }
        | Outcome::Stale { why } => why.clone(),
        Outcome::Throttled { until } | Outcome::NotDue { until } => {
            format!("asked to wait until {until}")
        }
        Outcome::Fresh(..) | Outcome::NotModified => String::new(),
    }
}
