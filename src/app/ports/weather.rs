//! The public weather services: which there are, what is known of each place, and what one is asked.

mod state;

use std::pin::Pin;

use chrono::{DateTime, TimeDelta, Utc};

use crate::domain::weather::coordinates::Place;
use crate::domain::weather::measured::Measured;

pub use state::{FetchState, NoticeState, Outcome, SetAside, StationState};

/// What an answer is waited for in, so that ports can be handed in as objects.
pub type Pending<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// The services that can be polled, one file each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Service {
    /// The raw grid of the US National Weather Service.
    NwsGridpoint,
    /// MET Norway's Locationforecast.
    MetNorway,
    /// Open-Meteo's point forecast.
    OpenMeteo,
    /// Open-Meteo's ensemble.
    OpenMeteoEnsemble,
    /// The German service's station forecasts.
    Mosmix,
}

impl Service {
    /// Its name in configuration, store and messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NwsGridpoint => "nws-gridpoint",
            Self::MetNorway => "met-norway",
            Self::OpenMeteo => "open-meteo",
            Self::OpenMeteoEnsemble => "open-meteo-ensemble",
            Self::Mosmix => "mosmix",
        }
    }

    /// Its public base address.
    #[must_use]
    pub const fn public_base(self) -> &'static str {
        match self {
            Self::NwsGridpoint => "https://api.weather.gov",
            Self::MetNorway => "https://api.met.no",
            Self::OpenMeteo => "https://api.open-meteo.com",
            Self::OpenMeteoEnsemble => "https://ensemble-api.open-meteo.com",
            Self::Mosmix => "https://opendata.dwd.de",
        }
    }

    /// The service of a name as the store and messages have it.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|service| service.name() == name)
    }

    /// Does it bring its temperatures to the height that it is told?
    #[must_use]
    pub const fn corrects_height(self) -> bool {
        matches!(self, Self::MetNorway | Self::OpenMeteo | Self::OpenMeteoEnsemble)
    }

    /// Does it say when its data were made?
    #[must_use]
    pub const fn states_its_issue(self) -> bool {
        !matches!(self, Self::OpenMeteo | Self::OpenMeteoEnsemble)
    }

    /// Every service that is polled.
    pub const ALL: [Self; 5] = [
        Self::NwsGridpoint,
        Self::MetNorway,
        Self::OpenMeteo,
        Self::OpenMeteoEnsemble,
        Self::Mosmix,
    ];
}

/// One weather service. It never waits and never tries again by itself: what it learnt goes into the state that the
/// caller keeps, and the next call is the retry.
pub trait WeatherSource: Send + Sync {
    /// Which service it is.
    fn service(&self) -> Service;

    /// Places with the same answer share one request: what tells them, as far as it is known before asking.
    fn cell(&self, place: Place, elevation_m: Option<f64>, state: &FetchState) -> Option<String>;

    /// Asks for the forecast of `place`, if its time has come, and notes in `state` what was learnt and when to ask
    /// again. `stored_issue` is the issue time of the newest forecast that the caller holds for the place: without one
    /// the request is unconditional, and an issue older than it is never handed out as fresh. Some services correct for
    /// the height in metres.
    fn fetch<'a>(
        &'a self,
        place: (Place, Option<f64>),
        stored_issue: Option<DateTime<Utc>>,
        state: &'a mut FetchState,
        now: DateTime<Utc>,
    ) -> Pending<'a, Outcome>;

    /// The last answer that cannot be true, with the reason, since this was last asked: for whoever keeps such.
    fn take_aside(&self) -> Option<SetAside>;

    /// The newest reading near `place`, whose cell's list of stations stands under `grid_path`; `None` where it is not
    /// time yet, where there is no station, or where none says anything: `state` knows which.
    fn observe<'a>(
        &'a self,
        place: Place,
        grid_path: &'a str,
        state: &'a mut StationState,
        now: DateTime<Utc>,
    ) -> Pending<'a, Option<Measured>>;

    /// Asks for the notices in force at `place`; whether there was an answer. `state` keeps them.
    fn notices<'a>(
        &'a self,
        place: Place,
        state: &'a mut NoticeState,
        now: DateTime<Utc>,
    ) -> Pending<'a, bool>;

    /// How far the service's clock was ahead of ours, by the times that were handed in, in the answers since this was
    /// last asked; `None` for a stand-in on this machine, which has the same clock.
    fn take_clock_ahead(&self) -> Option<TimeDelta>;
}

/// The configured services.
pub trait WeatherSources: Send + Sync {
    /// All of them, in order of trust.
    fn sources(&self) -> Vec<&dyn WeatherSource>;
}
