//! The clients as the application asks them.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Client, Clients};
use crate::app::ports::{
    FetchState, NoticeState, Outcome, Pending, Service, SetAside, StationState, WeatherSource,
    WeatherSources,
};
use crate::domain::weather::coordinates::Place;
use crate::domain::weather::measured::Measured;

impl WeatherSource for Client {
    fn service(&self) -> Service {
        Self::service(self)
    }

    fn cell(&self, place: Place, elevation_m: Option<f64>, state: &FetchState) -> Option<String> {
        Self::cell(self, place, elevation_m, state)
    }

    fn fetch<'a>(
        &'a self,
        (place, elevation_m): (Place, Option<f64>),
        stored_issue: Option<DateTime<Utc>>,
        state: &'a mut FetchState,
        now: DateTime<Utc>,
    ) -> Pending<'a, Outcome> {
        Box::pin(self.fetch_at(place, elevation_m, stored_issue, state, now))
    }

    fn take_aside(&self) -> Option<SetAside> {
        Self::take_aside(self)
    }

    fn observe<'a>(
        &'a self,
        place: Place,
        grid_path: &'a str,
        state: &'a mut StationState,
        now: DateTime<Utc>,
    ) -> Pending<'a, Option<Measured>> {
        Box::pin(Self::observe(self, place, grid_path, state, now))
    }

    fn notices<'a>(
        &'a self,
        place: Place,
        state: &'a mut NoticeState,
        now: DateTime<Utc>,
    ) -> Pending<'a, bool> {
        Box::pin(Self::notices(self, place, state, now))
    }

    fn take_clock_ahead(&self) -> Option<TimeDelta> {
        if self.is_on_this_machine() { None } else { Self::take_clock_ahead(self) }
    }
}

impl WeatherSources for Clients {
    fn sources(&self) -> Vec<&dyn WeatherSource> {
        self.0.iter().map(|client| client as &dyn WeatherSource).collect()
    }
}
