//! What was seen in one look over the yard.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, DurationRound as _, TimeDelta, Utc};

use crate::app::yard_book::YardBook;
use crate::domain::alert::Low;
use crate::domain::boat::{Boat, BoatState, SiteId};
use crate::domain::risk::CircuitRisk;
use crate::domain::risk::ambient::PlaceWeather;
use crate::domain::risk::power::PowerLoss;
use crate::domain::weather::measured::Measured;
use crate::domain::weather::official::Official;
use crate::domain::weather::{Forecast, ForecastState};
use crate::domain::yard::Site;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AsOf {
    /// The instant that is judged.
    pub at: DateTime<Utc>,
    /// Only what was known by then counts.
    pub known_at: DateTime<Utc>,
}

impl AsOf {
    /// As known at that very time.
    #[must_use]
    pub const fn now(at: DateTime<Utc>) -> Self {
        Self { at, known_at: at }
    }
}

/// One place at the instant.
#[derive(Debug, Clone)]
pub struct AssessedPlace {
    /// The place.
    pub site: Site,
    /// The newest forecast, if there is one.
    pub forecast: Option<Arc<Forecast>>,
    /// Whether it can be relied on.
    pub state: ForecastState,
    /// The coldest hour of those that people are told of.
    pub low: Option<Low>,
    /// The coldest hour of those for which chances are stated to programs.
    pub low_stated: Option<Low>,
    /// What a station nearby measured within the last two hours.
    pub measured: Option<Measured>,
    /// Official notices of cold in force: a cross-check, never an input.
    pub official: Vec<Official>,
    /// Members, hours and past of the air; `None` without a forecast.
    pub weather: Option<PlaceWeather>,
}

/// One boat at the instant.
#[derive(Debug, Clone)]
pub struct AssessedBoat {
    /// As listed.
    pub boat: Boat,
    /// What is in it.
    pub state: BoatState,
    /// Every circuit that can freeze, over the hours that people are told of; empty while its place has no forecast.
    pub rows: Vec<CircuitRisk>,
    /// The same over the hours for which chances are stated to programs.
    pub stated: Vec<CircuitRisk>,
    /// In a heated place whose heat is on: how long each circuit would stay without ice if the power failed now.
    pub if_power_fails: Vec<PowerLoss>,
}

/// The yard at an instant.
#[derive(Debug, Clone)]
pub struct Assessment {
    /// Asked for.
    pub instant: AsOf,
    /// People are told of what comes until then.
    pub until: DateTime<Utc>,
    /// Chances are stated to programs until then.
    pub until_stated: DateTime<Utc>,
    /// Places by id.
    pub places: BTreeMap<SiteId, AssessedPlace>,
    /// Boats by id.
    pub boats: Vec<AssessedBoat>,
    /// As listed.
    pub yard: YardBook,
}

impl AssessedPlace {
    /// Fresh snow up to `until`, cm, and when the last of it falls; `None` where no service speaks of snow.
    #[must_use]
    pub fn snow(&self, until: DateTime<Utc>) -> Option<(f64, DateTime<Utc>)> {
        let hours = self.weather.as_ref()?.coming.iter().filter(|step| step.time < until);
        let falls =
            hours.filter_map(|step| Some((step.snow_cm.filter(|cm| *cm > 0.0)?, step.time)));
        falls
            .reduce(|(sum, _), (cm, time)| (sum + cm, time))
            .map(|(sum, last)| (sum, last + TimeDelta::hours(1)))
    }

    /// The official notices, each with whether our own forecast shows nothing of it.
    pub fn official(&self) -> impl Iterator<Item = (&Official, bool)> {
        self.official.iter().map(|notice| {
            let steps = self.weather.iter().flat_map(|weather| &weather.coming);
            let hours = steps.filter_map(|step| Some((step.time, step.temperature_c?)));
            (notice, notice.is_not_shown(hours))
        })
    }
}

impl Assessment {
    /// Is any place without a usable forecast?
    #[must_use]
    pub fn is_blind(&self) -> bool {
        self.places.values().any(|place| place.state == ForecastState::Blind)
    }
}

/// The whole hour that holds `at`.
#[must_use]
pub fn whole_hour(at: DateTime<Utc>) -> DateTime<Utc> {
    at.duration_trunc(TimeDelta::hours(1)).unwrap_or(at)
}
