//! Forecasts as they stood, what was read near the places, and what the next fetch has to know.

use chrono::{DateTime, Utc};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::app::ports::StoreError;
use crate::domain::boat::SiteId;
use crate::domain::weather::Forecast;
use crate::domain::weather::learned::ReadNight;
use crate::domain::weather::measured::Measured;

/// A forecast with the place that it is for and the time when we first had it.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredForecast {
    /// The place.
    pub site: SiteId,
    /// When it was first fetched.
    pub fetched_at: DateTime<Utc>,
    /// The issue.
    pub forecast: Forecast,
}

/// State of the fetching of one place from one service.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptState<T> {
    /// When the service last answered with something usable (200 or 304).
    pub last_answer: Option<DateTime<Utc>>,
    /// The fetcher's own document.
    pub document: T,
}

/// Bytes of an answer that are kept: whatever is wrong with it shows in them.
pub const KEPT_BYTES: usize = 1024 * 1024;

/// An answer that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedAnswer {
    /// The service that gave it.
    pub service: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Why it cannot serve.
    pub why: String,
    /// What it was, up to [`KEPT_BYTES`].
    pub body: Vec<u8>,
}

/// Forecasts as they stood.
pub trait ForecastStore: NightStore + ObservationStore + RefusedAnswers {
    /// Keeps a forecast. The same issue with the same content is kept once, with the time of its first fetch.
    ///
    /// Returns whether it was new.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_forecast(
        &self,
        site: &SiteId,
        forecast: &Forecast,
        fetched_at: DateTime<Utc>,
    ) -> Result<bool, StoreError>;

    /// How many new forecasts were kept through this value: for whoever remembers what it has read.
    #[must_use]
    fn forecasts_kept(&self) -> u64;

    /// The newest issue for a place that we had by `known_at`, of one service or (`None`) of any.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn latest_forecast(
        &self,
        site: &SiteId,
        service: Option<&str>,
        known_at: DateTime<Utc>,
    ) -> Result<Option<StoredForecast>, StoreError>;

    /// When the newest issue of a service for a place was made, of those that were made and fetched by `now`: what came
    /// under a clock that ran ahead, or says that it is of the future, must not shut out what is true. Cheaper than reading it.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn latest_issue(
        &self,
        site: &SiteId,
        service: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreError>;

    /// The forecasts for a place first fetched after `from` and up to `to`, newest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn forecasts_between(
        &self,
        site: &SiteId,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<StoredForecast>, StoreError>;

    /// What the fetcher left for its next turn, as it stands.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn fetch_document(
        &self,
        service: &str,
        site: &SiteId,
    ) -> Result<Option<KeptState<Value>>, StoreError>;

    /// Leaves a document for the fetcher's next turn. `last_answer` of `None` keeps the one that stands.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_fetch_document(
        &self,
        service: &str,
        site: &SiteId,
        document: &Value,
        last_answer: Option<DateTime<Utc>>,
    ) -> Result<(), StoreError>;
}

/// The fetcher's own documents as the types that they are.
pub trait StateDocuments: ForecastStore {
    /// What the fetcher left for its next turn.
    ///
    /// # Errors
    /// Whatever the database answers; [`StoreError::Document`] when the document is not a `T`.
    fn fetch_state<T: DeserializeOwned>(
        &self,
        service: &str,
        site: &SiteId,
    ) -> Result<Option<KeptState<T>>, StoreError> {
        let Some(kept) = self.fetch_document(service, site)? else { return Ok(None) };
        let document = serde_json::from_value(kept.document).map_err(|source| {
            StoreError::Document { doing: "reading the state of fetching".to_owned(), source }
        })?;
        Ok(Some(KeptState { last_answer: kept.last_answer, document }))
    }

    /// Leaves a document for the fetcher's next turn. `last_answer` of `None` keeps the one that stands.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_fetch_state<T: Serialize>(
        &self,
        service: &str,
        site: &SiteId,
        document: &T,
        last_answer: Option<DateTime<Utc>>,
    ) -> Result<(), StoreError> {
        let document = serde_json::to_value(document).map_err(|source| StoreError::Document {
            doing: "keeping the state of fetching".to_owned(),
            source,
        })?;
        self.put_fetch_document(service, site, &document, last_answer)
    }
}

impl<S: ForecastStore + ?Sized> StateDocuments for S {}

/// Lows and highs of the places' own thermometers.
pub trait NightStore: Send + Sync {
    /// Keeps nights, all or none; one that stands there with the same values is left as it is. Returns how many were kept.
    ///
    /// # Errors
    /// Whatever the database answers; nothing was kept then.
    fn put_nights(&self, nights: &[ReadNight], now: DateTime<Utc>) -> Result<usize, StoreError>;

    /// The nights of a place as known at `known_at`, oldest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn nights(&self, site: &SiteId, known_at: DateTime<Utc>) -> Result<Vec<ReadNight>, StoreError>;
}

/// Readings of stations near the places.
pub trait ObservationStore: Send + Sync {
    /// Keeps a reading, once; whether it is new.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_observation(
        &self,
        site: &SiteId,
        reading: &Measured,
        fetched: DateTime<Utc>,
    ) -> Result<bool, StoreError>;

    /// The readings near a place taken within `span`, without its end, and known at `known_at`, oldest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn observations(
        &self,
        site: &SiteId,
        span: (DateTime<Utc>, DateTime<Utc>),
        known_at: DateTime<Utc>,
    ) -> Result<Vec<Measured>, StoreError>;
}

/// Answers of weather services that cannot be true.
pub trait RefusedAnswers: Send + Sync {
    /// Puts an answer aside in place of the one that was refused before it.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_refused(&self, site: &SiteId, answer: &RefusedAnswer) -> Result<(), StoreError>;

    /// The answers put aside for a place, the newest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn refused(&self, site: &SiteId) -> Result<Vec<RefusedAnswer>, StoreError>;
}
