//! What a running service holds in its hands: the store, the tables, the settings, the way to the weather.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::app::assess::archives::Archives;
use crate::app::assess::bias_cache::BiasCache;
use crate::app::assess::forecast_cache::WeatherMemory;
use crate::app::assess::outlook::Forecasts;
use crate::app::assess::past_seasons::PastArchives;
use crate::app::clock_watch::ClockWatch;
pub use crate::app::error::{ServiceError, with_causes};
use crate::app::ports::ForecastStore;
use crate::app::ports::{AppStore, DayArchive, Mailer, Ports};
use crate::app::settings::Settings;
pub use crate::app::yard_book::YardBook;
use crate::domain::boat::LayupEvent;
use crate::domain::catalogue::Catalogue;
use crate::domain::weather::errors::{ErrorModel, StandardErrors};

/// The log, and the head and the version of the file under which it was read.
type LogRead = Option<((String, i64), Arc<[LayupEvent]>)>;

/// A working service, between rounds.
#[derive(Debug)]
pub struct AppContext {
    /// The configuration.
    pub settings: Settings,
    /// The tables.
    pub catalogue: Catalogue,
    /// The store.
    pub store: Box<dyn AppStore>,
    /// Mail as bytes.
    pub mailer: Box<dyn Mailer>,
    /// Past days of the places, as files.
    pub day_archive: Box<dyn DayArchive>,
    /// Past seasons of the places, once read.
    pub(crate) archives: Archives,
    /// What was read of the forecasts.
    pub weather: WeatherMemory,
    /// The log as last read, under the head and the version of the file at the time.
    log: Mutex<LogRead>,
    /// Standard errors by seed, drawn once: a place keeps its own all winter.
    drawn: Mutex<BTreeMap<u64, Arc<StandardErrors>>>,
    /// What the places' thermometers have taught.
    pub(crate) lessons: BiasCache,
    /// Is this machine's clock right?
    pub clock: ClockWatch,
}

impl AppContext {
    /// On what is open already; nothing of it has been read yet.
    #[must_use]
    pub fn on(settings: Settings, catalogue: Catalogue, ports: Ports) -> Self {
        let Ports { store, mailer, day_archive } = ports;
        Self {
            archives: Archives::default(),
            settings,
            catalogue,
            store,
            mailer,
            day_archive,
            weather: WeatherMemory::default(),
            log: Mutex::default(),
            drawn: Mutex::default(),
            lessons: BiasCache::default(),
            clock: ClockWatch::default(),
        }
    }

    /// The whole log, read anew only after somebody has written to it or another program to the file.
    ///
    /// # Errors
    /// Whatever the store answers.
    pub fn events(&self) -> Result<Arc<[LayupEvent]>, ServiceError> {
        let stands = (self.store.log_head()?, self.store.others_wrote()?);
        let mut known = self.log.lock().unwrap_or_else(PoisonError::into_inner);
        match &*known {
            Some((read, events)) if *read == stands => Ok(Arc::clone(events)),
            _ => {
                let events: Arc<[LayupEvent]> = self.store.all_events()?.into();
                *known = Some((stands, Arc::clone(&events)));
                Ok(events)
            }
        }
    }

    /// The yard as it is listed now.
    ///
    /// # Errors
    /// Whatever the store answers.
    pub fn yard(&self) -> Result<YardBook, ServiceError> {
        Ok(YardBook::read(&*self.store)?)
    }

    /// The forecasts, by what the rounds have read of them.
    #[must_use]
    pub fn forecasts(&self) -> Forecasts<'_> {
        let (store, settings): (&dyn ForecastStore, _) = (&*self.store, &self.settings.forecast);
        Forecasts { store, memory: &self.weather, settings }
    }

    /// The archives of past seasons.
    pub(crate) fn past_archives(&self) -> PastArchives<'_> {
        let (read, files) = (&self.archives, &*self.day_archive);
        PastArchives { read, files, settings: &self.settings.season }
    }

    /// The standard errors of a seed for every hour up to the horizon.
    #[must_use]
    pub fn standard_errors(&self, seed: u64) -> Arc<StandardErrors> {
        let mut drawn = self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        let judge = self.settings.judge;
        let make = || {
            let hours = usize::from(judge.told_h());
            StandardErrors::new(judge.members, hours, &ErrorModel::default(), seed)
        };
        Arc::clone(drawn.entry(seed).or_insert_with(|| Arc::new(make())))
    }
}
