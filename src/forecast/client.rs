//! The polite client: says who asks, asks again only when the answer can have changed, and bounds every answer in
//! bytes and seconds.
//!
//! It never sleeps and never retries by itself: what it learnt goes into a [`FetchState`] that the caller keeps, and
//! the next call is the retry. Nothing here reads a clock; headers with dates are compared with the caller's `now`.

mod cache;
mod http;
mod nws;
mod state;

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use thiserror::Error;

use super::Place;

pub use state::{FetchState, Outcome};

use http::Http;

/// Deadline of one call, from the connection to the last byte, unless the settings say otherwise.
pub const CALL_DEADLINE: Duration = Duration::from_secs(30);

/// The services that can be polled, one file each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Service {
    /// The raw grid of the US National Weather Service.
    NwsGridpoint,
}

impl Service {
    /// Its name in configuration, store and messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NwsGridpoint => super::nws::GRIDPOINT,
        }
    }

    /// Its public base address.
    #[must_use]
    pub const fn public_base(self) -> &'static str {
        match self {
            Self::NwsGridpoint => "https://api.weather.gov",
        }
    }
}

/// What a client needs to know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClientSettings {
    /// Base address without a path, `https` or, for a local stand-in, `http`.
    pub base: String,
    /// An address or page at which the people who run this program can be reached; the services require it.
    pub contact: String,
    /// Deadline of one call.
    pub deadline: Duration,
}

/// Why a client could not be made.
#[derive(Debug, Error)]
pub enum ClientError {
    /// The base address is not one.
    #[error("{base} is not a base address: give one such as {example}, without a path")]
    Base {
        /// What was given.
        base: String,
        /// The service's public one.
        example: &'static str,
    },
    /// No contact.
    #[error(
        "the weather services require a contact; give a mail address or a page, not {contact:?}"
    )]
    Contact {
        /// What was given.
        contact: String,
    },
    /// The cryptography provider was not installed before.
    #[error("no TLS provider is installed; the program must install one before it makes a client")]
    NoProvider,
    /// The HTTP library refused.
    #[error("setting up the HTTP client for {base}")]
    Build {
        /// The base address.
        base: String,
        /// Why.
        #[source]
        source: reqwest::Error,
    },
}

/// A client of one service at one base address; shared by all places so that connections are kept.
#[derive(Debug, Clone)]
pub struct Client {
    service: Service,
    http: Http,
    /// A refusal for who we are, or how much we ask, holds for every place.
    pause: Arc<Mutex<Option<DateTime<Utc>>>>,
}

impl Client {
    /// Makes a client; the program must have installed a rustls provider.
    ///
    /// # Errors
    /// [`ClientError`]: a bad base address, no contact, no provider.
    pub fn new(service: Service, settings: &ClientSettings) -> Result<Self, ClientError> {
        Ok(Self { service, http: Http::new(service, settings)?, pause: Arc::default() })
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
        let pause = *self.pause.lock().unwrap_or_else(PoisonError::into_inner);
        for until in [state.not_before, pause].into_iter().flatten() {
            // A wait far beyond any that we set means that the clock has been put back since.
            if until > now && until - now <= TimeDelta::hours(state::WAIT_HOURS_MAX) {
                return Outcome::NotDue { until };
            }
        }
        let result = match self.service {
            Service::NwsGridpoint => nws::fetch(&self.http, place, stored_issue, state, now).await,
        };
        let outcome = state.settle(result, place, now);
        if matches!(outcome, Outcome::Throttled { .. } | Outcome::Blocked { .. }) {
            *self.pause.lock().unwrap_or_else(PoisonError::into_inner) = state.not_before;
        }
        tracing::debug!(service = self.service.name(), %place, ?state.not_before, "{}", outcome.kind());
        outcome
    }
}
