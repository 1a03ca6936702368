//! The polite client: says who asks, asks again only when the answer can have changed, and bounds every answer in
//! bytes and seconds.
//!
//! It never sleeps and never retries by itself: what it learnt goes into a [`FetchState`] that the caller keeps, and
//! the next call is the retry. Nothing here reads a clock; headers with dates are compared with the caller's `now`.

mod cache;
mod http;
mod nws;
mod notices;
mod observed;
mod past_days;
mod polled;
mod source;
mod state;
mod error;
mod service;

pub use error::ClientError;
pub use service::{ClientSettings, Options};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::Place;

pub use crate::app::ports::{FetchState, NoticeState, Outcome, Service, SetAside, StationState};
use http::Http;

/// Deadline of one call, from the connection to the last byte, unless the settings say otherwise.
pub const CALL_DEADLINE: Duration = Duration::from_secs(30);

/// A client of one service at one base address; shared by all places so that connections are kept.
#[derive(Debug, Clone)]
pub struct Client {
    service: Service,
    http: Http,
    /// A refusal for who we are, or how much we ask, holds for every place.
    pause: Arc<Mutex<Option<DateTime<Utc>>>>,
    options: Arc<Options>,
    /// Start of the hour in which requests are counted, and how many there were.
    budget: Arc<Mutex<(i64, u32)>>,
}

impl Client {
    /// Makes a client; the program must have installed a rustls provider.
    ///
    /// # Errors
    /// [`ClientError`]: a bad base address, no contact, no provider.
    pub fn new(service: Service, settings: &ClientSettings) -> Result<Self, ClientError> {
        Self::with(service, settings, Options::default())
    }

    /// The same with what only this service needs.
    ///
    /// # Errors
    /// As [`Client::new`].
    pub fn with(
        service: Service,
        settings: &ClientSettings,
        options: Options,
    ) -> Result<Self, ClientError> {
        let (options, budget) = (Arc::new(options), Arc::default());
        let http = Http::new(service, settings)?;
        Ok(Self { service, http, pause: Arc::default(), options, budget })
    }

    /// Places with the same answer share one request: what tells them, as far as it is known before asking.
    #[must_use]
    pub fn cell(
        &self,
        place: Place,
        elevation_m: Option<f64>,
        state: &FetchState,
    ) -> Option<String> {
        match self.service {
            Service::NwsGridpoint => state.grid_path.clone().or_else(|| Some(place.to_string())),
            Service::Mosmix => polled::station(&self.options, place).map(str::to_owned),
            _ => Some(polled::rounded(place, elevation_m)),
        }
    }

    /// Counts a request; `Err` tells when there will be room again.
    fn spend(&self, now: DateTime<Utc>) -> Result<(), DateTime<Utc>> {
        let hour = now.timestamp().div_euclid(3_600);
        let mut budget = self.budget.lock().unwrap_or_else(PoisonError::into_inner);
        if budget.0 != hour {
            *budget = (hour, 0);
        }
        if budget.1 >= self.service.hourly_max() {
            let next = DateTime::from_timestamp(hour.saturating_add(1).saturating_mul(3_600), 0);
            return Err(next.unwrap_or(now));
        }
        budget.1 = budget.1.saturating_add(1);
        Ok(())
    }

    /// Has the service refused us, or asked us to wait, whatever the place?
    fn is_paused(&self, now: DateTime<Utc>) -> bool {
        let pause = *self.pause.lock().unwrap_or_else(PoisonError::into_inner);
        pause.is_some_and(|until| {
            until > now && until - now <= TimeDelta::hours(state::WAIT_HOURS_MAX)
        })
    }

    /// How far the service's clock was ahead of ours, by the times that were handed in, in the answers since this was last
    /// asked.
    #[must_use]
    pub fn take_clock_ahead(&self) -> Option<TimeDelta> {
        self.http.take_clock_ahead()
    }

    /// The last answer that cannot be true, with the reason, since this was last asked: for whoever keeps such.
    #[must_use]
    pub fn take_aside(&self) -> Option<SetAside> {
        self.http.take_aside()
    }

    /// Does the service stand on this machine?
    #[must_use]
    pub fn is_on_this_machine(&self) -> bool {
        self.http.is_on_this_machine()
    }

    /// Which service it polls.
    #[must_use]
    pub const fn service(&self) -> Service {
        self.service
    }

    /// Asks for the forecast of `place`, if its time has come, and notes in `state` what was learnt and when to ask
    /// again. `stored_issue` is the issue time of the newest forecast that the caller holds for the place: without one
    /// the request is unconditional, and an issue older than it is never handed out as fresh.
    pub async fn fetch(
        &self,
        place: Place,
        stored_issue: Option<DateTime<Utc>>,
        state: &mut FetchState,
        now: DateTime<Utc>,
    ) -> Outcome {
        self.fetch_at(place, None, stored_issue, state, now).await
    }

    /// The same for a place of known height in metres, which some services correct for.
    pub async fn fetch_at(
        &self,
        place: Place,
        elevation_m: Option<f64>,
        stored_issue: Option<DateTime<Utc>>,
        state: &mut FetchState,
        now: DateTime<Utc>,
    ) -> Outcome {
        let pause = *self.pause.lock().unwrap_or_else(PoisonError::into_inner);
        for until in [state.not_before, pause].into_iter().flatten() {
            // A wait far beyond any that we set means that the clock has been put back since.
            if until > now && until - now <= TimeDelta::hours(state::WAIT_HOURS_MAX) {
                return Outcome::NotDue { until };
            }
        }
        if let Err(until) = self.spend(now) {
            return Outcome::NotDue { until };
        }
        let result = match self.service {
            Service::NwsGridpoint => nws::fetch(&self.http, place, stored_issue, state, now).await,
            _ => {
                let ask = polled::Ask {
                    service: self.service,
                    options: &self.options,
                    place,
                    elevation_m,
                };
                ask.fetch(&self.http, stored_issue, state, now).await
            }
        };
        let result = result.map(|answer| state::Answer {
            good_for_s: answer.good_for_s.max(self.service.floor_s()),
            ..answer
        });
        let outcome = state.settle(result, place, now);
        if matches!(outcome, Outcome::Throttled { .. } | Outcome::Blocked { .. }) {
            *self.pause.lock().unwrap_or_else(PoisonError::into_inner) = state.not_before;
        }
        tracing::debug!(service = self.service.name(), %place, ?state.not_before, "{}", outcome.kind());
        outcome
    }
}

/// The clients of all configured services, in the configured order.
#[derive(Debug, Clone)]
pub struct Clients(pub Vec<Client>);
