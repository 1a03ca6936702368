//! What was read of the forecasts of each place, so that a round reads only what has come since the last one. It never
//! changes an answer: asked about an earlier time than it has read, it stands aside and all is read anew.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::ports::{ForecastStore, Service, StoreError};
use crate::domain::boat::SiteId;
use crate::domain::weather::outlook::brief::{self, Brief};
use crate::domain::weather::past::PastHours;
use crate::domain::weather::{Forecast, Step};

/// Hours that no look goes back to are forgotten.
const KEPT: TimeDelta = TimeDelta::days(62);

/// A forecast bears the time at which its fetch began, and may land this much later: that far back is read again.
const MAY_LAND_LATE: TimeDelta = TimeDelta::minutes(10);

/// The newest forecast and the past hours of each place.
#[derive(Debug, Default)]
pub struct WeatherMemory {
    places: Mutex<BTreeMap<SiteId, Read>>,
}

#[derive(Debug, Clone, Default)]
struct Read {
    until: DateTime<Utc>,
    /// Forecasts that had been kept by then.
    kept: u64,
    /// By service, with the time that it counts by: an issue that says it is of the future counts from when it came.
    newest: BTreeMap<String, (DateTime<Utc>, Arc<Forecast>)>,
    /// By service, what the last issues said, oldest first.
    briefs: BTreeMap<String, Vec<Brief>>,
    past: PastHours,
}

impl Read {
    /// Reads what was fetched after the last reading and by `known_at`.
    fn read_on(
        &mut self,
        store: &dyn ForecastStore,
        site: &SiteId,
        known_at: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let kept = store.forecasts_kept();
        if known_at <= self.until && kept == self.kept {
            return Ok(());
        }
        // Nothing of a long pause is left out: the newest issue may lie in it.
        let first = self.until == DateTime::<Utc>::default();
        let from = if first { known_at - KEPT } else { self.until - MAY_LAND_LATE };
        // Oldest first: of two answers under one issue time the later fetched counts.
        for stored in store.forecasts_between(site, from, known_at)?.into_iter().rev() {
            self.past.take(&stored.forecast);
            // Only of what later issues are held against.
            let counts = stored.forecast.service == Service::NwsGridpoint.name();
            if counts && known_at - stored.forecast.issued_at <= brief::KEPT {
                let briefs = self.briefs.entry(stored.forecast.service.clone()).or_default();
                briefs.retain(|b| b.issued_at != stored.forecast.issued_at);
                briefs.push(Brief::of(&stored.forecast));
            }
            let counts_by = stored.forecast.issued_at.min(stored.fetched_at);
            let kept = self.newest.get(&stored.forecast.service);
            if kept.is_none_or(|(before, _)| *before <= counts_by) {
                let service = stored.forecast.service.clone();
                self.newest.insert(service, (counts_by, Arc::new(stored.forecast)));
            }
        }
        self.past.forget_before(known_at - KEPT);
        for briefs in self.briefs.values_mut() {
            briefs.retain(|b| known_at - b.issued_at <= brief::KEPT);
        }
        self.until = known_at;
        self.kept = kept;
        Ok(())
    }
}

impl Read {
    fn newest_of(&self, service: Option<&str>) -> Option<Arc<Forecast>> {
        let mut of_service =
            self.newest.iter().filter(|(name, _)| service.is_none_or(|s| s == *name));
        let first = of_service.next()?.1;
        let best = of_service.fold(first, |best, (_, one)| if one.0 > best.0 { one } else { best });
        Some(Arc::clone(&best.1))
    }
}

impl WeatherMemory {
    /// The past hours of a place in `[from, until)`, as the forecasts known at `known_at` had them.
    ///
    /// # Errors
    /// The store's.
    pub fn past(
        &self,
        store: &dyn ForecastStore,
        site: &SiteId,
        known_at: DateTime<Utc>,
        (from, until): (DateTime<Utc>, DateTime<Utc>),
    ) -> Result<Vec<Step>, StoreError> {
        self.read(store, site, known_at, |read| read.past.between(from, until))
    }

    /// The newest forecast of a place that was known at `known_at`, of one service or (`None`) of any.
    ///
    /// # Errors
    /// The store's.
    pub fn newest_of(
        &self,
        store: &dyn ForecastStore,
        site: &SiteId,
        service: Option<&str>,
        known_at: DateTime<Utc>,
    ) -> Result<Option<Arc<Forecast>>, StoreError> {
        self.read(store, site, known_at, |read| read.newest_of(service))
    }

    /// What the last issues of a service for a place said that were known at `known_at`.
    ///
    /// # Errors
    /// The store's.
    pub fn earlier(
        &self,
        store: &dyn ForecastStore,
        site: &SiteId,
        service: &str,
        known_at: DateTime<Utc>,
    ) -> Result<Vec<Brief>, StoreError> {
        let take = |read: &Read| read.briefs.get(service).cloned().unwrap_or_default();
        self.read(store, site, known_at, take)
    }

    fn read<T>(
        &self,
        store: &dyn ForecastStore,
        site: &SiteId,
        known_at: DateTime<Utc>,
        take: impl FnOnce(&Read) -> T,
    ) -> Result<T, StoreError> {
        let mut places = self.places.lock().unwrap_or_else(PoisonError::into_inner);
        let kept = places.entry(site.clone()).or_default();
        if known_at < kept.until {
            let mut anew = Read::default();
            anew.read_on(store, site, known_at)?;
            return Ok(take(&anew));
        }
        kept.read_on(store, site, known_at)?;
        Ok(take(kept))
    }
}
